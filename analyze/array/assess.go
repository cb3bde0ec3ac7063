package array

import (
	"fmt"
	"math"

	"rowen/analyze/sky"
	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// study is one site under examination: what Assess hands from step to step.
type study struct {
	in     Input
	opt    Options
	wh     []float64 // measured AC energy; NaN missing or set aside as the meter's own fault
	k      []float64 // the sky that the array is judged by
	temp   []float64
	days   []int
	day    []day
	model  *sky.Model
	factor float64 // of the healthy array, without ageing
	noise  float64 // standard deviation of a bright day's level
	masked []bool  // hours that do not tell the level: shaded directions, curtailment; nil: none

	alone      bool      // the sky is read off this array itself
	clearRatio []float64 // by day, for the second witness; nil: not asked yet
	clockOff   []bool    // days on which the readings' clock is off the sun; nil: none

	grown   float64 // share that modules outside the register add, from day grownOn
	grownOn int
	out     Result
}

// Assess judges one site's array.
//
//	index of a day = sum P / sum expected,  expected = WattHours(K of the sky around, f)
//
// In:      register, hourly production, sun and sky of the same hours, window.
// Out:     see Result.
// Refuses: no array whose watts and facing are known or can be read off the data.
// Edges:   without production there is an expectation from the register and the fleet's usual factor, and no index.
// Cost:    a few model hours a lit hour, and O(days^2) at most for the steps.
func Assess(in Input) Result {
	s := &study{in: in, opt: in.Options.withDefaults()}
	s.out = Result{Start: in.Series.Start, Year: in.Window, Factor: math.NaN(), FactorSD: math.NaN(),
		ProductionIndex: math.NaN(), IndexLow: math.NaN(), IndexHigh: math.NaN(),
		TrendPctYr: math.NaN(), TrendLow: math.NaN(), TrendHigh: math.NaN(), MeasuredKWhYr: math.NaN()}
	s.out.Caveats = append(s.out.Caveats, in.Sky.Caveats...)
	s.read()
	if !s.facings() {
		return s.out
	}
	if s.in.Series.StepMinutes > 60 {
		s.judgeDays()
	} else {
		s.judgeHours()
	}
	s.findSteps()
	s.findCapacity()
	if s.in.Series.StepMinutes <= 60 {
		s.findLimits()
	}
	s.index()
	s.trend()
	s.settle()
	s.year()
	s.price()
	return s.out
}

// judgeHours does what needs hours.
func (s *study) judgeHours() {
	s.frozen()
	s.denyNights()
	s.checkClock()
	s.lookAlone()
	s.calibrate()
	s.findDeadMeter()
	s.findOrientation()
	s.findOutages()
	s.findCurtailment()
	s.learnSkyline()
	s.findShading()
}

// judgeDays is the same for sums of days.
func (s *study) judgeDays() {
	s.caveat("days_only", "only the sums of days are metered: facing, shadows, clipping and curtailment cannot be judged")
	if s.alone { // nobody's sky, and none of its own: days are too coarse for one
		s.k = make([]float64, s.in.Sun.N)
		for i := range s.k {
			s.k[i] = math.NaN()
		}
	}
	s.factor = s.usualFactor()
	s.sumDays()
	s.shapeDays()
	s.calibrate()
	s.silent()
	s.findOutages()
}

func (o Options) withDefaults() Options {
	def := func(v *float64, to float64) {
		if *v <= 0 {
			*v = to
		}
	}
	def(&o.MinLossPct, 8)
	def(&o.CapacityPct, 15)
	def(&o.AzimuthDeg, 30)
	def(&o.UsualFactor, 0.9)
	return o
}

// read lays out the series by the site's days.
func (s *study) read() {
	n := s.in.Sun.N
	s.temp = sky.Temperature(s.in.TempC, s.in.Sun)
	s.days = sky.Days(s.in.Site.Location, s.in.Series.Start, n)
	s.day = make([]day, len(s.days)-1)
	s.wh = make([]float64, n)
	s.alone = s.in.Sky.Source == sky.FromSelf
	if !s.alone {
		s.k = s.in.Sky.K
	}
	p := s.in.Series.Wh[ingest.Production]
	if p == nil || s.in.Series.Refused(ingest.Production) {
		for i := range s.wh {
			s.wh[i] = math.NaN()
		}
		s.caveat("no_production", "production is not metered or cannot be used: there is no index, and the expectation rests on the register")
		return
	}
	copy(s.wh, p)
	if s.in.TempC == nil {
		s.caveat("air_typical", "no weather is near: the air is taken as typical for latitude and season, which leaves 2 to 3 % of an hour's power in doubt and little of a year's")
	}
}

// facings settles which way every array faces, from the register or, where it
// is blank, from the data.
func (s *study) facings() bool {
	in := s.in
	var fits []sky.FacingFit
	if in.Series.StepMinutes <= 60 {
		fits = sky.Facings(in.Site, in.Catalogue, in.Sun, s.wh, s.temp, s.days, s.k)
	}
	s.use(fits)
	if s.model == nil {
		s.out.Refusal = "no array with known watts and a facing that the register gives or the data show"
		return false
	}
	return true
}

// use builds the model on the register and the fits.
func (s *study) use(fits []sky.FacingFit) {
	facing := map[string]sun.Plane{}
	s.out.Planes = nil
	for _, f := range fits {
		for _, id := range f.ArrayIDs {
			facing[id] = f.Plane
		}
		s.out.Planes = append(s.out.Planes, PlaneFit{ArrayIDs: f.ArrayIDs, TiltDeg: f.Plane.TiltDeg, AzimuthDeg: f.Plane.AzimuthDeg,
			SDDeg: f.SDDeg, Estimated: true, FitTiltDeg: f.Plane.TiltDeg, FitAzimuthDeg: f.Plane.AzimuthDeg})
	}
	s.model = sky.NewModel(s.in.Site, s.in.Catalogue, s.in.Sun, facing)
	if s.model == nil {
		return
	}
	end := s.in.Series.End()
	s.out.CapacityKW, s.out.ACLimitKW = s.model.Watts(end)/1000, s.model.LimitW(end)/1000
	if math.IsInf(s.out.ACLimitKW, 1) {
		s.out.ACLimitKW = math.NaN()
	}
	for i := range s.in.Site.Arrays {
		a := &s.in.Site.Arrays[i]
		p, known := sky.FacingOf(s.in.Site, a)
		if _, fitted := facing[a.ID]; known && !fitted {
			s.out.Planes = append(s.out.Planes, PlaneFit{ArrayIDs: []string{a.ID}, TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg,
				SDDeg: math.NaN(), FitTiltDeg: math.NaN(), FitAzimuthDeg: math.NaN()})
		}
	}
}

// calibrate finds the factor of the array as the days show it: first the
// usual day, then, in findSteps, the healthy day.
func (s *study) calibrate() {
	s.factor = s.usualFactor()
	s.sumDays()
	f := s.freeRatio()
	if f != f {
		return
	}
	if s.inScale(f) {
		s.factor = f
	}
	s.sumDays()
}

// inScale tells whether a factor can be an array's; where not, the production
// is put aside.
func (s *study) inScale(f float64) bool {
	if f >= leastFactor && f <= mostFactor {
		return true
	}
	s.caveat("production_out_of_scale", fmt.Sprintf("output is %.3g times what the registered modules can make: wrong unit, wrong site or wrong register; it is not used", f))
	for i := range s.wh {
		s.wh[i] = math.NaN()
	}
	return false
}

// Factors beyond these are no array's (our choice: a tenth of the modules left
// working, four times the modules registered).
const (
	leastFactor = 0.1
	mostFactor  = 4
)

// usualFactor is what arrays around make of their watts.
func (s *study) usualFactor() float64 {
	if t := s.in.Sky.Typical; t.Sites > 0 && t.Value == t.Value {
		return t.Value
	}
	return s.opt.UsualFactor
}

// index is measured over expected in the last twelve months.
func (s *study) index() {
	last := s.lastYear()
	var p, e []float64
	for d := last; d < len(s.day); d++ {
		if s.day[d].usable() {
			p, e = append(p, s.day[d].measured), append(e, s.day[d].expected)
		}
	}
	s.out.IndexDays = len(p)
	s.out.IndexByDay = make([]float64, len(s.day))
	for d := range s.day {
		s.out.IndexByDay[d] = s.day[d].index()
	}
	if len(p) < minIndexDays {
		if s.out.Refusal == "" && s.in.Series.Has(ingest.Production) {
			s.caveat("few_days", fmt.Sprintf("%d days of the last year can be judged, %d are needed for an index", len(p), minIndexDays))
		}
		return
	}
	s.out.ProductionIndex = sum(p) / sum(e)
	draws := stat.BlockBootstrapRatio(p, e, 7, 200, stat.Seed(s.in.Site.ID))
	s.out.IndexLow, s.out.IndexHigh = stat.Interval(draws, 0.9)
}

const minIndexDays = 30

// lastYear is the first day of the window, or of the last twelve months.
func (s *study) lastYear() int {
	from := s.in.Window.Start
	if s.in.Window.N == 0 {
		from = s.in.Series.End() - 8760
	}
	for d := range s.day {
		if s.in.Series.Start+ingest.Hour(s.days[d]) >= from {
			return d
		}
	}
	return len(s.day)
}

func (s *study) caveat(code, says string) {
	s.out.Caveats = append(s.out.Caveats, ingest.Caveat{Code: code, Says: says})
}

func sum(x []float64) float64 {
	t := 0.0
	for _, v := range x {
		t += v
	}
	return t
}
