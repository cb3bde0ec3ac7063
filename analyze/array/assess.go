package array

import (
	"math"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// Assess judges one site's array: its hours, the levels of its days, what is
// wrong with it.
//
//	index of a day = sum P / sum expected,  expected = WattHours(K of the sky around, f)
//
// In:      register, hourly production, sun and sky of the same hours, window.
// Out:     see Result.
// Refuses: no array whose watts and facing are known or can be read off the data.
// Edges:   without production there is an expectation from the register and the fleet's usual factor, and no index.
// Cost:    a few model hours a lit hour, and O(days^2) at most for the steps.
func Assess(in Input) Result {
	in.Options = in.Options.withDefaults()
	out := Result{Start: in.Series.Start, Year: in.Window, Factor: math.NaN(), FactorSD: math.NaN(),
		ProductionIndex: math.NaN(), IndexLow: math.NaN(), IndexHigh: math.NaN(),
		TrendPctYr: math.NaN(), TrendLow: math.NaN(), TrendHigh: math.NaN(), MeasuredKWhYr: math.NaN()}
	notes := said{caveats: append([]ingest.Caveat(nil), in.Sky.Caveats...)}
	v, say := readHours(in)
	notes.add(say)
	for _, step := range []step{findArrival, checkClock} {
		v, say = step(v)
		notes.add(say)
	}
	v, say = v.facings()
	notes.add(say)
	if v.model == nil {
		out.Refusal = "no array with known watts and a facing that the register gives or the data show"
		out.Caveats = notes.caveats
		return out
	}
	for _, step := range stepsFor(in.Series) {
		v, say = step(v)
		notes.add(say)
	}
	v, level, say := findSteps(v)
	notes.add(say)
	notes.add(findCapacity(v, level))
	if in.Series.StepMinutes <= 60 {
		notes.add(findClipping(v, notes))
	}
	out.of(v, level, notes)
	return out
}

// A step takes the array as it is seen so far and gives it as it is seen next,
// with what there is to say.
type step func(view) (view, said)

// said is what a step has to say.
type said struct {
	faults  []Fault
	caveats []ingest.Caveat
}

func (s *said) add(o said) {
	s.faults, s.caveats = append(s.faults, o.faults...), append(s.caveats, o.caveats...)
}

func (s *said) caveat(code, says string) {
	s.caveats = append(s.caveats, ingest.Caveat{Code: code, Says: says})
}

func (s *said) has(code string) bool {
	for i := range s.faults {
		if s.faults[i].Code == code {
			return true
		}
	}
	return false
}

// stepsFor are the steps from the hours to levels that can be compared: those
// that need hours are left out where only the sums of days are metered.
func stepsFor(s *ingest.Series) []step {
	if s.StepMinutes > 60 {
		return []step{daysOnly, calibrate, silent, findOutages}
	}
	return []step{frozen, denyNights, lookAlone, calibrate, findDeadMeter,
		findOrientation, findOutages, findCurtailment, learnSkyline, findShading}
}

// of fills the result from the array as it was seen at last.
func (r *Result) of(v view, level healthyLevel, notes said) {
	end := v.Series.End()
	r.Planes, r.ExpectedWh = v.planes, v.expected
	r.CapacityKW, r.ACLimitKW = v.model.Watts(end)/1000, v.model.LimitW(end)/1000
	if math.IsInf(r.ACLimitKW, 1) {
		r.ACLimitKW = math.NaN()
	}
	r.Factor, r.FactorSD = level.factor, level.factorSD
	notes.add(r.index(v))
	r.trend(v)
	r.candidate = candidate(&v, level, r, &notes)
	year, say := v.lived()
	notes.add(say)
	r.candidate.lived = year
	r.year(v)
	if v.Sky.Source == sky.FromNone || !(r.ExpectedKWhYr > 0) {
		r.Refusal = "nothing tells what sky the array had in the report year"
	}
	r.Months = months(&v)
	r.Verify = verify(v, level)
	r.Faults, r.Caveats = notes.faults, notes.caveats
	r.price(v.Window)
}

// Defaults are the thresholds that users run with.
func Defaults() Options {
	return Options{MinLossPct: 5, CapacityPct: 15, AzimuthDeg: 30, UsualFactor: 0.9}
}

func (o Options) withDefaults() Options {
	d := Defaults()
	for _, v := range []struct {
		is *float64
		to float64
	}{{&o.MinLossPct, d.MinLossPct}, {&o.CapacityPct, d.CapacityPct}, {&o.AzimuthDeg, d.AzimuthDeg}, {&o.UsualFactor, d.UsualFactor}} {
		if *v.is <= 0 {
			*v.is = v.to
		}
	}
	return o
}

func sum(x []float64) float64 {
	t := 0.0
	for _, v := range x {
		t += v
	}
	return t
}
