package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// Ageing is what arrays of different ages tell of a year's loss. Every array is
// granted AgeingPrior before its factor is told; where older arrays then stand
// above younger ones nearby, they truly lose less.
type Ageing struct {
	Gain float64 // of the factor, a year of age: the loss is AgeingPrior - Gain
	SD   float64 // its doubt
}

const (
	// priorAgeingSD is the doubt of a fleet's mean loss a year before any array
	// was looked at (section 6.2: published medians lie between 0.50 and 0.77 %).
	priorAgeingSD = 0.0015
	// ageingSites is how many arrays the slope rests on at most (our choice: the
	// slopes grow with the square, and 600 tell the mean loss to 0.05 %).
	ageingSites = 600
)

// aged is an array's factor and how long it had stood at the middle of its
// readings; NaN: not registered.
type aged struct{ factor, ageYears float64 }

// ageingOf compares the arrays of each cell with the cell's median, so that
// what differs from region to region is no age.
//
//	ln factor - median over the cell = Gain (age - median over the cell)
//
// Edges:   cells of fewer than three dated arrays say nothing; none: the prior.
// Source:  Theil-Sen (6.3), shrunk to the prior by the variances (6.2).
func ageingOf(cells [][]aged) Ageing {
	var x, y []float64
	for _, c := range cells {
		var age, level []float64
		for _, a := range c {
			if a.ageYears == a.ageYears && a.factor > 0 {
				age, level = append(age, a.ageYears), append(level, samebits.Log(a.factor))
			}
		}
		if len(age) < 3 {
			continue
		}
		midAge, midLevel := stat.Median(age), stat.Median(level)
		for i := range age {
			x, y = append(x, age[i]-midAge), append(y, level[i]-midLevel)
		}
	}
	prior := Ageing{SD: priorAgeingSD}
	if len(x) < minAgeing {
		return prior
	}
	if step := (len(x) + ageingSites - 1) / ageingSites; step > 1 {
		n := 0
		for i := 0; i < len(x); i += step {
			x[n], y[n] = x[i], y[i]
			n++
		}
		x, y = x[:n], y[:n]
	}
	t := stat.TheilSen(x, y, 0.9)
	sd := (t.High - t.Low) / (2 * 1.645)
	if !(sd > 0) {
		return prior
	}
	a, b := 1/(sd*sd), 1/(prior.SD*prior.SD)
	return Ageing{Gain: t.Slope * a / (a + b), SD: 1 / math.Sqrt(a+b)}
}

const minAgeing = 10 // dated arrays that tell a slope (our choice)

// AgeAt is how long the modules have stood at an hour, in years, weighted by
// their watts; NaN where the register dates less than half of them.
func (m *Model) AgeAt(at ingest.Hour) float64 {
	var sum, dated, all float64
	for i := range m.Groups {
		g := &m.Groups[i]
		all += g.Watts
		if g.From != 0 {
			dated += g.Watts
			sum += float64(g.Watts * float64(max(0, at-g.Born)) / hoursPerYear)
		}
	}
	if dated < all/2 || dated == 0 {
		return math.NaN()
	}
	return sum / dated
}
