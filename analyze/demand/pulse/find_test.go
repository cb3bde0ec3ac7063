package pulse

import (
	"math"
	"math/rand/v2"
	"testing"
)

// home is a quiet household by the hour: 0.3 kW with noise and an evening, and
// from day arrive on a charger of 7 kW for three hours every third night.
func home(days, arrive int) *Intervals {
	r := rand.New(rand.NewPCG(7, 11))
	v := &Intervals{PerDay: 24, FirstDay: 19000, KW: make([]float64, 24*days)}
	for i := range v.KW {
		day, hour := i/24, i%24
		v.KW[i] = 0.3 + 0.1*r.Float64()
		if hour >= 18 && hour < 22 {
			v.KW[i] += 0.5 * r.Float64()
		}
		if day >= arrive && day%3 == 0 && hour >= 1 && hour < 4 {
			v.KW[i] += 7
		}
	}
	return v
}

// reversed is a home with its days in reverse.
func reversed(v *Intervals) *Intervals {
	out := *v
	out.KW = nil
	for d := v.Days() - 1; d >= 0; d-- {
		out.KW = append(out.KW, v.KW[d*v.PerDay:(d+1)*v.PerDay]...)
	}
	return &out
}

// The truth is how the home was made: 21 kWh every third day are 2,557 kWh a year.
func TestFind(t *testing.T) {
	one := func(v *Intervals, left bool, day int) {
		t.Helper()
		got := Find(v, Came, Left)
		if len(got) != 1 || got[0].Left != left || got[0].Low > day+2 || got[0].Top < day ||
			math.Abs(float64(got[0].Day-day)) > 7 || math.Abs(got[0].KWhYr-2557) > 256 {
			t.Errorf("pulses that begin or end on day %d: %+v", day, got)
		}
	}
	one(home(500, 250), false, 250)
	one(reversed(home(500, 250)), true, 250)
	for name, v := range map[string]*Intervals{"no car": home(500, 500), "a car all along": home(500, 0), "ten weeks": home(70, 30)} {
		if got := Find(v, Came, Left); len(got) != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Days added before shift the date by as many; a load that always runs changes
// nothing.
func TestFindDoesNotDependOnWhereItBegins(t *testing.T) {
	v := home(500, 250)
	for i := range v.KW {
		v.KW[i] += 1.7
	}
	plain, more := Find(home(500, 250), Came, Left), Find(v, Came, Left)
	if len(plain) != 1 || len(more) != 1 || more[0].Day != plain[0].Day || math.Abs(more[0].Score-plain[0].Score) > 1e-6 || math.Abs(more[0].KWhYr-plain[0].KWhYr) > 1e-6 {
		t.Errorf("with 1.7 kW all the time: %+v, without: %+v", more, plain)
	}
	later := home(500, 250)
	later.KW, later.FirstDay = later.KW[84*24:], later.FirstDay+84
	if cut := Find(later, Came, Left); len(cut) != 1 || cut[0].Day != plain[0].Day-84 {
		t.Errorf("12 weeks later: %+v, at first: %+v", cut, plain)
	}
}

// A heater of 2 kW for three hours on four nights a week from late September to April: in
// a year from May to May nothing tells it from a load that came for good, and the
// finding says so; a second autumn does.
func TestFindSaysWhatASeasonMayBe(t *testing.T) {
	heated := func(days int) *Intervals {
		v := home(days, days)
		v.FirstDay = 19844 // 2024-05-01
		for i := range v.KW {
			if day, hour := i/24%365, i%24; day >= 147 && day < 350 && i/24%7 < 4 && hour >= 2 && hour < 5 {
				v.KW[i] += 2
			}
		}
		return v
	}
	one := Find(heated(365), Came)
	if len(one) != 1 || !one[0].OneSeason || math.Abs(one[0].EachKWh-6) > 0.5 || one[0].DayShare > 0 {
		t.Errorf("one winter: %+v", one)
	}
	if two := Find(heated(730), Came); len(two) != 0 {
		t.Errorf("two winters: %+v", two)
	}
	car := Find(home(500, 250), Came)
	if len(car) != 1 || car[0].OneSeason || math.Abs(car[0].EachKWh-21) > 0.5 {
		t.Errorf("a car between two winters: %+v", car)
	}
}
