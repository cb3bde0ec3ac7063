package fit

import "math"

// Step is a step in one column: from a day on, Beta times the column is added.
type Step struct {
	Day    int
	Column int // of Columns.Answers
	Beta   float64
}

// Problem is what a fit is asked: which days, explained by which columns, each
// day with which weight, from where.
type Problem struct {
	Days    *Days
	Columns *Columns
	Root    []float64 // root of each day's weight
	Start   Start
}

// Start is what a fit takes over from the one before: the base that drifts, and
// how firmly the drift is held. The pseudo row of the drift's prior, a row r
// with target 0, adds (r·g)² to the sum of squares: a normal prior of sd σ/r.
type Start struct {
	Base     []float64
	DriftRow float64 // 0: free
}

// FirstStart is where nothing is known yet: the mean drifts, freely.
func FirstStart(d *Days) Start {
	base, mean := make([]float64, d.N()), d.MeanKWh()
	for k := range base {
		base[k] = mean
	}
	return Start{Base: base}
}

// Fit is a household's model with its steps:
//
//	y = m·(1 + g·t) + Σ steps, m = base columns · coefficients
type Fit struct {
	Base       []float64 // m by day, every day
	BaseNormal []float64 // m in normal weather
	Drift      float64   // g, a year
	EventDay   []float64 // Σ steps by day
	Resid      []float64 // on days that count, 0 elsewhere
	Params     int
	HeatSlope  float64
	CoolSlope  float64
	Beta       []float64 // of the steps, in their order

	years []float64
}

// Expected is the model's consumption on a day, steps and drift in it.
func (f *Fit) Expected(d int) float64 { return f.Undisturbed(d) + f.EventDay[d] }

// Undisturbed is the model's consumption on a day without the steps.
func (f *Fit) Undisturbed(d int) float64 { return float64(f.Base[d] * f.Drifted(d)) }

// Drifted is by how much the base has drifted on a day: 1 in the middle of the
// readings.
func (f *Fit) Drifted(d int) float64 { return 1 + float64(f.Drift*f.years[d]) }

// After is where the next fit starts from, with a drift of the given spread a
// year as its prior.
func (f *Fit) After(p Problem, spread float64) Start {
	return Start{f.Base, math.Sqrt(LongRunVariance(p.Days, Weighted(f.Resid, p.Root))) / spread}
}

// Workspace is memory that one worker reuses. It holds nothing that outlives a
// call but for the Design that the last Build returned.
type Workspace struct {
	model   Linear
	kelvin  []float64 // degree days by balance point
	masked  []float64
	targets [][]float64
	step    []float64
	place   []int
}

// Design is a problem's columns in a least-squares model. It lies in the
// workspace that it was built in and holds until the next Build there.
type Design struct {
	*Linear
	Drift int // place of the drift; -1: none
	base  []Column
	place []int // of the base columns, then of the steps; -1: it says nothing new
	p     Problem
	w     *Workspace
}

// Build puts the base columns, the drift and the steps into a model. The model
// is marked before the steps, so that With can put others in their place.
func Build(w *Workspace, p Problem, steps []Step) *Design {
	d := &Design{Linear: &w.model, Drift: -1, base: p.Columns.base(), place: w.place[:0], p: p, w: w}
	w.targets = Resize(w.targets, len(p.Days.Targets))
	for t, y := range p.Days.Targets {
		w.targets[t] = append(w.targets[t][:0], d.mask(y, 0)...)
	}
	d.Reset(w.targets)
	for _, c := range d.base {
		d.place = append(d.place, d.put(c.X, 0))
	}
	if p.Days.Span() >= p.Columns.MinDriftDays() {
		drift := Resize(w.step, p.Days.N())
		w.step = drift
		for k := range drift {
			drift[k] = p.Start.Base[k] * p.Columns.Years[k]
		}
		d.Drift = d.put(drift, p.Start.DriftRow)
	}
	d.Mark()
	return d.With(steps, -1)
}

// With puts other steps into the design, but for the one at skip.
func (d *Design) With(steps []Step, skip int) *Design {
	d.Rewind()
	d.place = d.place[:len(d.base)]
	for k, s := range steps {
		if k != skip {
			d.place = append(d.place, d.put(d.stepColumn(s), 0))
		}
	}
	d.w.place = d.place
	return d
}

func (d *Design) put(x []float64, tail float64) int {
	if !d.Add(d.mask(x, tail)) {
		return -1
	}
	return d.Columns() - 1
}

// mask gives a column's rows of the days that count, weighted, and tail below
// them.
func (d *Design) mask(x []float64, tail float64) []float64 {
	n := d.p.Days.N()
	m := Resize(d.w.masked, n+1)
	d.w.masked = m
	for k, on := range d.p.Days.Counted {
		if on {
			m[k] = x[k] * d.p.Root[k]
		} else {
			m[k] = 0
		}
	}
	m[n] = tail
	return m
}

// Masked is a column as the model sees it; it holds until the next call.
func (d *Design) Masked(x []float64) []float64 { return d.mask(x, 0) }

// stepColumn is the column of a step: x·1[d ≥ day].
func (d *Design) stepColumn(s Step) []float64 {
	out := Resize(d.w.step, d.p.Days.N())
	d.w.step = out
	clear(out)
	copy(out[s.Day:], d.p.Columns.Answers[s.Column].X[s.Day:])
	return out
}

// StepPlace is where step k stands in the model; -1: it says nothing new.
func (d *Design) StepPlace(k int) int { return d.place[len(d.base)+k] }

// SumOfSquares is what the model leaves of the day's consumption.
func (d *Design) SumOfSquares() float64 { return Dot(d.Resid(0), d.Resid(0)) }

// Solve fits the days by the columns and the steps.
func Solve(w *Workspace, p Problem, steps []Step) (Fit, *Design) {
	d := Build(w, p, steps)
	return d.read(steps), d
}

// Iterate fits again where the drift's column is the base itself: rounds fits,
// each from the one before, the drift's prior of the given spread.
func Iterate(w *Workspace, p Problem, steps []Step, f Fit, spread float64, rounds int) (Fit, *Design) {
	var d *Design
	for range rounds {
		p.Start = f.After(p, spread)
		f, d = Solve(w, p, steps)
	}
	return f, d
}

// read takes the fit out of the model as built.
func (d *Design) read(steps []Step) Fit {
	n, c := d.p.Days.N(), d.p.Columns
	solved := d.Linear.Solve()
	coef := func(place int) float64 {
		if place < 0 {
			return 0
		}
		return solved[place]
	}
	flat := make([]float64, 4*n)
	f := Fit{Params: len(solved), Base: flat[:n:n], BaseNormal: flat[n : 2*n : 2*n], EventDay: flat[2*n : 3*n : 3*n], Resid: flat[3*n:],
		Drift: coef(d.Drift), years: c.Years, Beta: make([]float64, len(steps))}
	for k, b := range d.base {
		AXPY(f.Base, coef(d.place[k]), b.X)
	}
	copy(f.BaseNormal, f.Base)
	for k, b := range d.base {
		if b.Normal == nil {
			continue
		}
		for i, v := range b.Normal {
			f.BaseNormal[i] += float64(coef(d.place[k]) * (v - b.X[i]))
		}
		switch {
		case c.HasHeat && b.What == ToCold:
			f.HeatSlope = coef(d.place[k])
		case c.HasCool && b.What == ToHeat:
			f.CoolSlope = coef(d.place[k])
		}
	}
	for k, s := range steps {
		f.Beta[k] = coef(d.StepPlace(k))
		AXPY(f.EventDay, f.Beta[k], d.stepColumn(s))
	}
	for k, on := range d.p.Days.Counted {
		if on {
			f.Resid[k] = d.p.Days.KWh[k] - f.Expected(k)
		}
	}
	return f
}
