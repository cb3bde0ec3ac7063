package demand

import (
	"math"
	"slices"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// site is one household on its way through the judgement: its calendar, its
// days of use, and the columns that explain them. Days that do not count stay
// in place as rows of zeros, so that a row is a day.
type site struct {
	in      *Input
	opts    Options
	caveats []ingest.Caveat

	basis basis
	cal   calendar
	n     int // days

	kwh     []float64 // use of the day; NaN: too little of it is there
	share   []float64 // of the day's hours that are there
	tempC   []float64 // the day's mean; nil: no temperatures
	counted []bool    // takes part in the regressions
	absent  []bool    // a long absence: counts for nothing
	days    int       // counted

	method  string
	degree  degreeDays
	kelvin  degreeColumns // degree days by balance point
	ones    []float64
	weekend [6][]float64 // dummies of the days after Sunday
	wave    [4][]float64 // cos, sin of the year, and of half a year
	waves   int          // how many of them are in the model
	heating []float64    // the column that heating follows: K·day, or a winter's shape
	cooling []float64    // and cooling
	hasHeat bool         // heating is in the base model
	hasCool bool
	winter  []float64 // the fleet's signal cut into its halves; nil: none yet
	summer  []float64
	years   []float64 // time from the middle of the readings, years

	model       linear
	target      [][]float64 // what is watched, by day; the first is the use
	answers     []answerColumn
	beta        [][]float64
	left        []float64
	place       []int     // of each base column and change in the model; -1: it says nothing new
	driftAt     int       // and of the drift
	root        []float64 // root of each day's weight in the model
	masked      []float64
	liveliness  float64
	priorSpread float64 // of the drift, while fitting
	maskedY     [][]float64
	changes     []change
	groups      []group
	fit         fit
	made        []float64  // production with swapped days mended; nil: as read
	swapped     []bool     // such days; nil: none
	rects       rectangles // of the finer readings, where there are any
}

// fit is the household's model with its events:
//
//	y = m·(1 + g·t) + Σ events, m = base columns · coefficients
type fit struct {
	base       []float64 // m by day, every day
	baseNormal []float64 // m in normal weather
	drift      float64   // g, a year
	eventDay   []float64 // Σ events by day
	resid      []float64 // on counted days, 0 elsewhere
	params     int
	heatSlope  float64
	coolSlope  float64
}

// newSite lays the readings out by day.
func newSite(in *Input) *site {
	s := &site{in: in, opts: in.Options}
	if s.opts.Replicates == 0 {
		s.opts.Replicates = 2000
	}
	in.Scratch.lend(s)
	s.basis = pickBasis(in.Series, in.Scratch.use)
	if s.basis.wh == nil {
		return s
	}
	s.caveats = append(s.caveats, s.basis.caveats...)
	newCalendar(in.Series.Start, in.Series.Len(), in.Location, &s.cal)
	s.n = s.cal.days()
	s.mendSwapped()
	s.kwh, s.share = daySums(&s.cal, s.basis.wh, nil, nil)
	for d := range s.kwh {
		s.kwh[d] /= 1000
	}
	if in.TempC != nil {
		s.tempC = dayMeans(&s.cal, in.TempC, nil)
	}
	s.counted = make([]bool, s.n)
	s.absent = make([]bool, s.n)
	for d, v := range s.kwh {
		s.counted[d] = !math.IsNaN(v) && (v > 0 || !s.basis.gross)
	}
	s.count()
	return s
}

func (s *site) count() {
	s.days = 0
	for d := range s.counted {
		if s.counted[d] {
			s.days++
		}
	}
}

// minDaysForWeather is how many counted days a weather model needs: the 328
// of 365 of CalTRACK 2.2.
const minDaysForWeather = 328

// prepare builds the columns of the model.
func (s *site) prepare() {
	n := s.n
	s.ones, s.years = make([]float64, n), make([]float64, n)
	s.root = make([]float64, n)
	for d := range s.root {
		s.root[d] = 1
	}
	for k := range s.weekend {
		s.weekend[k] = make([]float64, n)
	}
	for k := range s.wave {
		s.wave[k] = make([]float64, n)
	}
	first, last := s.n, 0
	for d := range n {
		if s.counted[d] {
			first, last = min(first, d), d
		}
	}
	mid := float64(first+last) / 2
	for d := range n {
		s.ones[d] = 1
		s.years[d] = (float64(d) - mid) / 365.25
		if w := weekday(s.cal.firstDay + d); w > 0 {
			s.weekend[w-1][d] = 1
		}
		a := yearAngle(s.cal.firstDay + d)
		s.wave[0][d], s.wave[1][d] = math.Cos(a), math.Sin(a)
		s.wave[2][d], s.wave[3][d] = math.Cos(2*a), math.Sin(2*a)
	}
	s.waves = 0
	if s.days >= minDaysForWeather {
		s.waves = 2
	}
	s.weather(s.kwh)
	s.answerColumns()
	s.channels()
}

// Balance points that stand in where the household's own use shows none: for
// a heat pump that is yet to come. Common practice (18 °C base temperatures
// less the free heat of the house; cooling from 21 °C day mean).
const (
	defaultHeatBalanceC = 15
	defaultCoolBalanceC = 20
)

// weather chooses what takes the weather out, from y a day.
func (s *site) weather(y []float64) {
	n := s.n
	s.heating, s.cooling = resize(s.heating, n), resize(s.cooling, n)
	if s.tempC != nil && s.coveredBy(s.tempC) {
		s.method = MethodDegreeDays
		masked := make([]float64, n)
		for d := range masked {
			masked[d] = math.NaN()
			if s.counted[d] {
				masked[d] = y[d]
			}
		}
		if s.kelvin.heat == nil {
			s.kelvin = degreeHours(&s.cal, s.hourlyTempC(), defaultGrid, &s.in.Scratch.kelvin)
		}
		s.degree, _ = fitRelative(masked, &s.kelvin)
		s.hasHeat, s.hasCool = s.degree.betaH > 0, s.degree.betaC > 0
		heat, cool := s.degree.heatBalance, s.degree.coolBalance
		if !s.hasHeat {
			heat = min(defaultHeatBalanceC, orDefault(cool, defaultHeatBalanceC))
		}
		if !s.hasCool {
			cool = max(defaultCoolBalanceC, orDefault(heat, defaultCoolBalanceC))
		}
		s.heating, s.cooling = s.kelvin.at(s.kelvin.heat, heat), s.kelvin.at(s.kelvin.cool, cool)
		return
	}
	s.degree = degreeDays{heatBalance: math.NaN(), coolBalance: math.NaN()}
	for d := range n {
		s.heating[d], s.cooling[d] = seasonShapes(s.cal.firstDay+d, s.in.LatitudeDeg)
	}
	s.hasHeat, s.hasCool = false, false
	if s.in.Season != nil && s.signalCovers() {
		s.method = MethodSeason
		return
	}
	s.method = MethodCalendar
	if s.waves == 2 && s.days >= 600 {
		s.waves = 4
	}
}

func orDefault(v, def float64) float64 {
	if math.IsNaN(v) {
		return def
	}
	return v
}

// hourlyTempC is the temperatures by the hours of the days: of the readings,
// or, where bills give the days, of what part of them the readings cover.
func (s *site) hourlyTempC() []float64 {
	off := int(s.cal.start - s.in.Series.Start)
	if off == 0 && len(s.in.TempC) == s.cal.hours {
		return s.in.TempC
	}
	out := make([]float64, s.cal.hours)
	for i := range out {
		out[i] = math.NaN()
		if k := i + off; k >= 0 && k < len(s.in.TempC) {
			out[i] = s.in.TempC[k]
		}
	}
	return out
}

// seasonalGuess is the mean of the days beside, and of a year before and after.
func seasonalGuess(t []float64, d int) float64 {
	s, k := 0.0, 0
	for _, at := range [...]int{d - 365, d + 365, d - 1, d + 1} {
		if at >= 0 && at < len(t) && !math.IsNaN(t[at]) {
			s += t[at]
			k++
		}
	}
	if k == 0 {
		return math.NaN()
	}
	return s / float64(k)
}

// seasonShapes are the shapes that heating and cooling loads have over a year
// where no thermometer is: half waves that peak in the middle of January and
// of July (half a year later south of the equator), 0 to 1. Our choice, after
// the monthly degree days of temperate places.
func seasonShapes(dayNumber int, latitudeDeg float64) (heating, cooling float64) {
	c := math.Cos(yearAngle(dayNumber - 17))
	if latitudeDeg < 0 {
		c = -c
	}
	return max(0, 0.3+0.7*c) / 1.0, max(0, -c-0.1) / 0.9
}

// coveredBy tells whether at least 90 % of the counted days have a value.
func (s *site) coveredBy(v []float64) bool {
	have := 0
	for d, on := range s.counted {
		if on && !math.IsNaN(v[d]) {
			have++
		}
	}
	return s.days > 0 && float64(have) >= 0.9*float64(s.days)
}

func (s *site) signalCovers() bool {
	have := 0
	for d, on := range s.counted {
		if on && !math.IsNaN(s.in.Season.at(s.cal.firstDay+d)) {
			have++
		}
	}
	return s.days > 0 && float64(have) >= 0.9*float64(s.days)
}

// seasonColumns are the fleet's signal cut into its two halves of the year,
// each with the household's own answer to it: summers that are cooled, winters
// that are heated or lit.
func (s *site) seasonColumns() (winter, summer []float64) {
	if s.winter != nil {
		return s.winter, s.summer
	}
	winter, summer = make([]float64, s.n), make([]float64, s.n)
	level := s.in.Season.floor()
	for d := range s.n {
		v := s.in.Season.at(s.cal.firstDay + d)
		if math.IsNaN(v) {
			v = level
		}
		c := math.Cos(yearAngle(s.cal.firstDay + d - 17))
		if s.in.LatitudeDeg < 0 {
			c = -c
		}
		w := min(max(0.5+2*c, 0), 1) // a quarter of the year to pass from one to the other
		winter[d], summer[d] = w*(v-level), (1-w)*(v-level)
	}
	s.winter, s.summer = winter, summer
	return winter, summer
}

// baseColumns are the columns of the household without events and drift.
func (s *site) baseColumns() [][]float64 {
	cols := [][]float64{s.ones}
	for k := range s.weekend {
		cols = append(cols, s.weekend[k])
	}
	if s.hasHeat {
		cols = append(cols, s.heating)
	}
	if s.hasCool {
		cols = append(cols, s.cooling)
	}
	if s.method == MethodSeason {
		winter, summer := s.seasonColumns()
		cols = append(cols, winter, summer)
	}
	for k := range s.waves {
		cols = append(cols, s.wave[k])
	}
	return cols
}

// mask gives a column's rows of the days that count, and tail below them.
func (s *site) mask(x []float64, tail float64) []float64 {
	s.masked = resize(s.masked, s.n+1)
	for d, on := range s.counted {
		if on {
			s.masked[d] = x[d] * s.root[d]
		} else {
			s.masked[d] = 0
		}
	}
	s.masked[s.n] = tail
	return s.masked
}

// longRunVariance is the variance a day that counts for means over weeks and
// months: the largest of the daily, the weekly and the four-weekly estimate,
// the last two from differences of neighbouring blocks, which a single step
// cannot raise much. It is how autocorrelation is allowed for.
//
// Source: long-run variance by batch means (from memory); block lengths of 7
// and 28 days, and of two bills where bills give the days, are our choice.
func (s *site) longRunVariance(r []float64) float64 {
	daily := 0.0
	k := 0
	for d, on := range s.counted {
		if on {
			daily += r[d] * r[d]
			k++
		}
	}
	if k < 60 {
		return daily / math.Max(float64(k), 1)
	}
	sd := stat.NoiseSD(s.present(r))
	best := sd * sd
	for _, length := range [...]int{7, 28} {
		best = max(best, s.blockVariance(r, length))
	}
	if s.basis.name == BasisBills { // the days of a bill are one reading
		best = max(best, s.blockVariance(r, 61))
	}
	return best
}

func (s *site) blockVariance(r []float64, length int) float64 {
	sum, k := 0.0, 0
	prev := math.NaN()
	for lo := 0; lo+length <= s.n; lo += length {
		m, c := 0.0, 0
		for d := lo; d < lo+length; d++ {
			if s.counted[d] {
				m += r[d]
				c++
			}
		}
		if 2*c < length {
			prev = math.NaN()
			continue
		}
		m /= float64(c)
		if !math.IsNaN(prev) {
			sum += (m - prev) * (m - prev)
			k++
		}
		prev = m
	}
	if k < 3 {
		return 0
	}
	return float64(length) * sum / (2 * float64(k))
}

// present lists the counted days' values in order.
func (s *site) present(r []float64) []float64 {
	out := make([]float64, 0, s.days)
	for d, on := range s.counted {
		if on {
			out = append(out, r[d])
		}
	}
	return out
}

// normalDays is half the width of what counts as the same season: our choice.
const normalDays = 7

// normalOf is a weather column's mean over the years at each day's season:
// the days within a week of it in every year held.
func normalOf(x []float64) []float64 {
	n := len(x)
	sum := make([]float64, n+1)
	for d, v := range x {
		sum[d+1] = sum[d] + v
	}
	out := make([]float64, n)
	for d := range out {
		total, days := 0.0, 0
		for c := d % 365; c < n; c += 365 {
			lo, hi := max(c-normalDays, 0), min(c+normalDays+1, n)
			total += sum[hi] - sum[lo]
			days += hi - lo
		}
		out[d] = total / float64(days)
	}
	return out
}

// weigh sets the weights of the days: a household's noise grows with its use,
// so that the heaviest days must not speak loudest. The noise is taken as a
// power of the use expected,
//
//	σ_d ∝ ŷ_d^p, 0 ≤ p ≤ 1
//
// with p from the differences of neighbouring days' residuals in the lower and
// the upper third of the days by ŷ: a step that is not yet known moves neither.
//
// Refuses: no thermometer and no signal of the fleet, since ŷ then knows no
// weather, and bills, whose days do not differ; all weights stay 1.
// Edges:  fewer than 60 pairs of days in a third, or thirds less than 15 % apart,
// leave all weights 1; ŷ is held between 0.4 and 3 times the mean use.
// Source: feasible generalised least squares (from memory); the limits are our
// choice.
func (s *site) weigh() {
	if s.method == MethodCalendar || s.basis.name == BasisBills {
		return
	}
	use := make([]float64, 0, s.days)
	for d, on := range s.counted {
		if on {
			use = append(use, s.expected(d))
		}
	}
	slices.Sort(use)
	low, high := use[len(use)/3], use[2*len(use)/3]
	var diffs, sizes [2][]float64
	for d := 1; d < s.n; d++ {
		if !s.counted[d] || !s.counted[d-1] {
			continue
		}
		e := (s.expected(d) + s.expected(d-1)) / 2
		side := 0
		if e >= high {
			side = 1
		} else if e > low {
			continue
		}
		diffs[side] = append(diffs[side], math.Abs(s.fit.resid[d]-s.fit.resid[d-1]))
		sizes[side] = append(sizes[side], e)
	}
	mean := s.meanUse()
	p := 0.0
	if len(diffs[0]) >= 60 && len(diffs[1]) >= 60 {
		ratio := stat.MedianInPlace(sizes[1]) / stat.MedianInPlace(sizes[0])
		noise := stat.MedianInPlace(diffs[1]) / stat.MedianInPlace(diffs[0])
		if ratio > 1.15 && noise > 1 {
			p = min(math.Log(noise)/math.Log(ratio), 1)
		}
	}
	for d := range s.root {
		y := min(max(s.expected(d), 0.4*mean), 3*mean)
		s.root[d] = math.Pow(mean/y, p)
	}
}

// weighted is a residual times the roots of the days' weights.
func (s *site) weighted(r []float64) []float64 {
	out := make([]float64, s.n)
	for d, w := range s.root {
		out[d] = r[d] * w
	}
	return out
}
