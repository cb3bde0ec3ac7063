package change

import (
	"math"
	"testing"

	"rowen/analyze/demand/fit"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v (tolerance %v)", what, got, want, tol)
	}
}

// The columns of a home by hand: a level, a winter of 2,000 K·days, a summer of
// 500 and 153 days from May to September.
func fourAnswers() *fit.Columns {
	return &fit.Columns{Answers: []fit.Column{{What: fit.ToNothing, Year: 365.25}, {What: fit.ToCold, Year: 2000},
		{What: fit.ToHeat, Year: 500}, {What: fit.ToSummer, Year: 153}}}
}

// aStep is a step that may lie three days to either side.
func aStep(what fit.Answer, day int, beta, gain float64) Step {
	return Step{Step: fit.Step{Day: day, Column: int(what), Beta: beta}, What: what, Gain: gain, Low: day - 3, Top: day + 3}
}

func wide(s Step, low, top int) Step {
	s.Low, s.Top = low, top
	return s
}

func TestEnergyOfAGroupByAnswer(t *testing.T) {
	g := Group{Parts: Steps{aStep(fit.ToNothing, 9, 2, 1), aStep(fit.ToCold, 9, 0.5, 1), aStep(fit.ToHeat, 9, 0.4, 1), aStep(fit.ToSummer, 9, -3, 1)}}
	e := g.Yearly(fourAnswers())
	near(t, "level", e.Level, 730.5, 1e-9)
	near(t, "cold", e.Cold, 1000, 1e-9)
	near(t, "heat", e.Heat, 200, 1e-9)
	near(t, "summer", e.Summer, -459, 1e-9)
	near(t, "total", e.Total(), 1471.5, 1e-9)
}

// What is one event and what are two: 24 days for steps of one kind; 45 for a
// level and an answer to the weather, 90 where their dates may be the same.
func TestStepsThatAreOneEvent(t *testing.T) {
	level, cold := fit.ToNothing, fit.ToCold
	for _, c := range []struct {
		what  string
		steps Steps
		days  []int
	}{
		{"24 days apart", Steps{aStep(level, 100, 4, 5), aStep(level, 124, 4, 3)}, []int{100}},
		{"25 days apart", Steps{aStep(level, 100, 4, 5), aStep(level, 125, 4, 3)}, []int{100, 125}},
		{"one kind with dates that overlap", Steps{wide(aStep(level, 100, 4, 5), 90, 150), aStep(level, 140, 4, 3)}, []int{100, 140}},
		{"two kinds 45 days apart", Steps{aStep(level, 100, 4, 5), aStep(cold, 145, 1, 3)}, []int{100}},
		{"two kinds 46 days apart", Steps{aStep(level, 100, 4, 5), aStep(cold, 146, 1, 3)}, []int{100, 146}},
		{"two kinds whose dates touch", Steps{wide(aStep(level, 100, 4, 5), 90, 150), wide(aStep(cold, 190, 1, 3), 150, 200)}, []int{100}},
		{"whose dates do not", Steps{wide(aStep(level, 100, 4, 5), 90, 149), wide(aStep(cold, 190, 1, 3), 150, 200)}, []int{100, 190}},
		{"91 days apart", Steps{wide(aStep(level, 100, 4, 5), 90, 150), wide(aStep(cold, 191, 1, 3), 150, 200)}, []int{100, 191}},
		{"the later is stronger", Steps{aStep(level, 100, 4, 5), aStep(level, 110, 4, 7)}, []int{110}},
		{"the second of three is strongest", Steps{aStep(level, 100, 4, 5), aStep(level, 110, 4, 9), aStep(level, 120, 4, 7)}, []int{110}},
		{"the first of three is strongest", Steps{aStep(level, 100, 4, 9), aStep(level, 110, 4, 5), aStep(level, 120, 4, 7)}, []int{100}},
		{"2 kWh a day come and 1 goes: 365 kWh a year are too little", Steps{aStep(level, 100, 2, 5), aStep(level, 110, -1, 3)}, nil},
		{"400 kWh a year are enough", Steps{aStep(cold, 100, 0.2, 5)}, []int{100}},
		{"and 400 less", Steps{aStep(cold, 100, -0.2, 5)}, []int{100}},
	} {
		got := groups(fourAnswers(), c.steps)
		same := len(got) == len(c.days)
		for k := range got {
			same = same && got[k].Day == c.days[k]
		}
		if !same {
			t.Errorf("%s: %+v, want events on %v", c.what, got, c.days)
		}
	}
	joined := groups(fourAnswers(), Steps{wide(aStep(level, 100, 4, 5), 95, 104), wide(aStep(level, 110, 4, 3), 90, 112)})
	if joined[0].Low != 90 || joined[0].Top != 112 {
		t.Errorf("the range of two steps is %d to %d", joined[0].Low, joined[0].Top)
	}
	small := aStep(level, 100, 1, 5)
	small.Known = true
	if got := groups(fourAnswers(), Steps{small}); len(got) != 1 {
		t.Error("a known event was dropped for its size")
	}
}

// A smaller step in heating within a year of a heat pump corrects it; a larger
// one, one that falls, or one a year later is an event of its own.
func TestCorrectionsOfAHeatPump(t *testing.T) {
	for _, c := range []struct {
		what   string
		day    int
		beta   float64
		events int
	}{
		{"smaller, 364 days later", 664, 0.9, 1},
		{"smaller, a year later", 665, 0.9, 2},
		{"as large", 500, 1, 2},
		{"larger", 500, 1.2, 2},
		{"falling", 500, -0.5, 2},
	} {
		steps := Steps{aStep(fit.ToNothing, 100, 3, 9), aStep(fit.ToCold, 300, 1, 20), aStep(fit.ToCold, c.day, c.beta, 30)}
		got := groups(fourAnswers(), steps)
		if len(got) != 1+c.events {
			t.Errorf("%s: %+v", c.what, got)
			continue
		}
		if c.events == 1 && (len(got[1].Parts) != 2 || got[1].Day != 300 || got[1].Top != 303) {
			t.Errorf("%s: the correction moved the event: %+v", c.what, got[1])
		}
	}
	fell := Steps{aStep(fit.ToCold, 300, -1, 20), aStep(fit.ToCold, 500, 0.5, 30)}
	if got := groups(fourAnswers(), fell); len(got) != 2 {
		t.Errorf("a rise after a fall corrects nothing: %+v", got)
	}
}

func TestMainStepAndDoubt(t *testing.T) {
	a, b := aStep(fit.ToNothing, 100, 4, 3), aStep(fit.ToCold, 110, 1, 8)
	a.Doubtful = true
	g := Group{Parts: Steps{a, b}}
	if g.Main().Day != 110 || g.Doubtful() {
		t.Errorf("main %+v, doubtful %v", g.Main(), g.Doubtful())
	}
	g.Parts[1].Doubtful = true
	if !g.Doubtful() {
		t.Error("both parts are doubtful, the group is not")
	}
	s := Steps{{Step: fit.Step{Day: 9}}, {Step: fit.Step{Day: 4, Column: 2}}, {Step: fit.Step{Day: 4, Column: 1}}}.byDay()
	if s[0].Day != 4 || s[0].Column != 1 || s[1].Column != 2 || s[2].Day != 9 {
		t.Errorf("not by day and column: %+v", s)
	}
}

// A winter of ones until day 99 and from day 250 on, 0.6 of a year's days: half
// of the year's mean is 0.3, or 6.3 of the 21 days around. It sleeps from day 104
// (6 winter days from 94 to 114) to day 245 (6 from 235 to 255), and wakes on 246.
func TestALoadIsDatedWhereItWakes(t *testing.T) {
	x := make([]float64, 365)
	for k := range x {
		if k < 100 || k >= 250 {
			x[k] = 1
		}
	}
	c := fourAnswers()
	c.Answers[fit.ToCold] = fit.Column{What: fit.ToCold, X: x, Year: 0.6 * 365.25}
	c.Answers[fit.ToHeat] = fit.Column{What: fit.ToHeat, X: x, Year: 0.6 * 365.25}
	for _, k := range []struct {
		what           string
		answer         fit.Answer
		day, low, high int
		want           int
	}{
		{"through the sleep", fit.ToCold, 200, 90, 260, 246},
		{"in the answer to heat", fit.ToHeat, 200, 90, 260, 246},
		{"62 days", fit.ToCold, 200, 198, 260, 246},
		{"61 days", fit.ToCold, 200, 199, 260, 200},
		{"later than it wakes", fit.ToCold, 255, 150, 260, 255},
		{"a level never sleeps", fit.ToNothing, 200, 90, 260, 200},
		{"it never wakes in the range", fit.ToCold, 150, 110, 240, 150},
		{"it never sleeps", fit.ToCold, 50, 0, 100, 50},
	} {
		g := Group{Day: k.day, Low: k.low, Top: k.high, Parts: Steps{aStep(k.answer, k.day, 1, 5)}}
		if got := g.Date(c); got != k.want {
			t.Errorf("%s: day %d, want %d", k.what, got, k.want)
		}
	}
	// A second, shorter sleep from day 300 to 339 does not date it. At the end of the
	// readings only the days that exist are looked at.
	for k := 300; k < 340; k++ {
		x[k] = 0
	}
	g := Group{Day: 200, Low: 90, Top: 364, Parts: Steps{aStep(fit.ToCold, 200, 1, 5)}}
	if got := g.Date(c); got != 246 {
		t.Errorf("with a second sleep: day %d", got)
	}
	for k := range x {
		x[k] = 0
		if k < 10 || k >= 360 {
			x[k] = 1
		}
	}
	g = Group{Day: 100, Low: 0, Top: 364, Parts: Steps{aStep(fit.ToCold, 100, 1, 5)}}
	if got := g.Date(c); got != 359 { // 5 of the 16 days from 349 on; of 17 it is less than 0.3
		t.Errorf("at the end of the readings: day %d", got)
	}
}
