package pulse

import (
	"math"
	"testing"
	"time"

	"rowen/scripts/outside"
)

// made is a home that scripts/crosscheck/pulse.py makes from the same numbers.
type made struct {
	Seed     uint64
	Step     int
	First    string
	Days     int
	Arrive   int
	KW       float64
	Hours    int
	Every    int
	HeatKW   float64 `json:"heat_kw"`
	Holes    float64
	Expected struct {
		KWh, Base      float64
		Pulses         int
		Height, Energy float64
		Score          float64
		Day, Low, Top  int
		KWhYear        float64 `json:"kwh_year"`
		MinKW          float64 `json:"min_kw"`
		MinKWh         float64 `json:"min_kwh"`
		FromHour       int     `json:"from_hour"`
	}
}

// intervals makes the home's power: make of pulse.py, draw by draw.
func (h *made) intervals(t testing.TB) *Intervals {
	x := h.Seed
	rnd := func() float64 { // Knuth's MMIX generator
		x = x*6364136223846793005 + 1442695040888963407
		return float64(x>>11) / (1 << 53)
	}
	first, err := time.Parse("2006-01-02", h.First)
	if err != nil {
		t.Fatal(err)
	}
	per := 1440 / h.Step
	v := &Intervals{PerDay: per, FirstDay: int(first.Unix() / 86400)}
	for d := range h.Days {
		yday := first.AddDate(0, 0, d).YearDay()
		cold := max(0, 1-math.Abs(float64((yday+172)%365-182))/110)
		heat, wash, at := rnd() < cold, rnd() < 0.2, int(rnd()*float64(per))
		car := false
		if h.Arrive <= d {
			car = rnd() < 1/float64(h.Every)
		}
		begin := float64((22 + int(rnd()*3)) % 24)
		for s := range per {
			clock := float64(s) * 24 / float64(per)
			kw := 0.3 + 0.3*rnd()
			if clock >= 18 && clock < 22 {
				kw += 0.6
			}
			if heat && clock >= 5 && clock < 7 {
				kw += h.HeatKW
			}
			if wash && s >= at && s < at+per/12 {
				kw += 2.1
			}
			if car && clock >= begin && clock < begin+float64(h.Hours) {
				kw += h.KW
			}
			if rnd() < h.Holes {
				kw = math.NaN()
			}
			v.KW = append(v.KW, kw)
		}
	}
	return v
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %v, want %v (give or take %g)", what, got, want, tol)
	}
}

// Baseline, pulses, score, date and energy agree step by step with an
// independent implementation in Python.
func TestAgreesWithTheReference(t *testing.T) {
	var check struct{ Homes []made }
	outside.JSON(t, "15_pulse.json", &check)
	if len(check.Homes) < 7 {
		t.Fatalf("%d homes", len(check.Homes))
	}
	for i := range check.Homes {
		h := &check.Homes[i]
		v, want := h.intervals(t), &h.Expected
		kwh, base, height, energy := 0.0, 0.0, 0.0, 0.0
		usual := make([]float64, v.PerDay)
		for k, x := range v.KW {
			if k%(7*v.PerDay) == 0 {
				v.baseline(k/v.PerDay/7, usual)
			}
			if x == x {
				kwh += x * float64(h.Step) / 60
			}
			base += usual[k%v.PerDay]
		}
		runs := findRuns(v)
		for _, r := range runs {
			height, energy = height+r.kw, energy+r.kwh
		}
		c := newCounting(v.calendar(), runs, false)
		kept := c.look()
		best := c.best(kept)
		w := c.earliest(kept, best)
		theta := c.fitted(&w.tally, w.week)
		day, low, top := c.date(w, &theta)
		near(t, "energy", kwh, want.KWh, 1e-6)
		near(t, "baseline", base, want.Base, 1e-6)
		near(t, "pulses", float64(len(runs)), float64(want.Pulses), 0)
		near(t, "their heights", height, want.Height, 1e-6)
		near(t, "their energy", energy, want.Energy, 1e-6)
		near(t, "score", best.gain()-c.tries, want.Score, 1e-6)
		near(t, "day", float64(day), float64(want.Day), 0)
		near(t, "first day", float64(low), float64(want.Low), 0)
		near(t, "last day", float64(top), float64(want.Top), 0)
		near(t, "energy a year", c.energy(w), want.KWhYear, 1e-6)
		near(t, "height from", w.height.lo, want.MinKW, 0)
		near(t, "energy from", w.cell.energy, want.MinKWh, 0)
		near(t, "hour from", w.window.lo, float64(want.FromHour), 0)
		if t.Failed() {
			t.Fatalf("home of seed %d", h.Seed)
		}
	}
}
