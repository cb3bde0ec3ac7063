package demand

import (
	"math"
	"slices"

	"rowen/analyze/stat"
)

// answer is what of a household's use a change alters.
type answer int

const (
	toNothing answer = iota // so many kWh more a day, whatever the weather
	toCold                  // so many kWh more a K·day of heating (or a winter's day)
	toHeat                  // and of cooling
	toSummer                // so many kWh more a day from May to September
)

// answerColumn is one column that a change may follow.
type answerColumn struct {
	what   answer
	x      []float64
	normal []float64 // x in normal weather
}

// change is one step in one answer: from day on, beta times the column is
// added.
type change struct {
	day      int
	col      int // of site.answers
	what     answer
	beta     float64
	gain     float64 // what it takes off the sum of squares, in units of the long-run variance
	low, top int     // days that the step may as well lie on
}

// group is changes that came together: one event.
type group struct {
	day, low, top int
	parts         []change
}

// Limits of what counts as an event (sections 8.1, 8.2 and 8.4 of the
// method): the penalty of a change point is 3·σ²·ln n, segments are at least
// 28 days, a level step is at least 2 kWh a day and 10 % of the use, a heating
// slope at least 0.5 kWh a K·day. The least yearly energy is our choice.
const (
	penaltyFactor   = 3.0
	minSegmentDays  = 28
	minStepKWhDay   = 2.0
	minStepShare    = 0.10
	minHeatSlope    = 0.3
	minEventKWhYr   = 400.0
	maxChanges      = 6
	sameChangeDays  = 24  // changes this close are one event
	driftPriorPctYr = 2.0 // how far a household drifts a year: our choice, used only to tell steps from drift
)

// maxEventTimes the household's use is more than any load adds: a few odd weeks
// spun out to a year, as when a meter goes wrong. Our choice.
const maxEventTimes = 1.5

// Balance points tried for a load that comes: a heat pump's house and an air
// conditioner's need not be those of the household before. Our choice.
var (
	heatBalancesC = [...]float64{11, 13, 15, 17}
	coolBalancesC = [...]float64{16, 18, 20, 22, 24}
)

// answerColumns are the columns that changes may follow.
func (s *site) answerColumns() {
	s.answers = append(s.answers[:0], answerColumn{toNothing, s.ones, s.ones})
	add := func(what answer, x []float64) {
		s.answers = append(s.answers, answerColumn{what, x, normalOf(x)})
	}
	if s.method == MethodDegreeDays {
		for _, b := range heatBalancesC {
			add(toCold, s.kelvin.at(s.kelvin.heat, b))
		}
		for _, b := range coolBalancesC {
			add(toHeat, s.kelvin.at(s.kelvin.cool, b))
		}
	} else {
		add(toCold, s.heating)
		add(toHeat, s.cooling)
		if s.method == MethodSeason {
			winter, summer := s.seasonColumns()
			add(toCold, above(winter))
			add(toHeat, above(summer))
		}
	}
	summer := make([]float64, s.n)
	for d := range summer {
		m := int(s.cal.date(d).Month())
		if s.in.LatitudeDeg < 0 {
			m = (m+5)%12 + 1
		}
		if m >= 5 && m <= 9 {
			summer[d] = 1
		}
	}
	s.answers = append(s.answers, answerColumn{toSummer, summer, summer})
}

// above is what of a column lies above none.
func above(x []float64) []float64 {
	out := make([]float64, len(x))
	for d, v := range x {
		out[d] = max(v, 0)
	}
	return out
}

func (s *site) column(c change) []float64 { return s.answers[c.col].x }

// stepColumn is the column of a change: x·1[d ≥ day].
func (s *site) stepColumn(c change, out []float64) []float64 {
	out = resize(out, s.n)
	clear(out)
	copy(out[c.day:], s.column(c)[c.day:])
	return out
}

// build fits the base columns, the drift and the given changes. The drift is
// held by a prior of driftPriorPctYr in one more row, so that a step is not
// taken for a drift; free lets it go.
func (s *site) build(changes []change, skip int) {
	m := &s.model
	s.maskedY = resize(s.maskedY, len(s.target))
	for t, y := range s.target {
		s.maskedY[t] = append(s.maskedY[t][:0], s.mask(y, 0)...)
	}
	m.reset(s.maskedY)
	s.place = s.place[:0]
	add := func(x []float64, tail float64) int {
		if !m.add(s.mask(x, tail)) {
			return -1
		}
		return len(m.q) - 1
	}
	for _, c := range s.baseColumns() {
		s.place = append(s.place, add(c, 0))
	}
	s.driftAt = -1
	drift := make([]float64, s.n)
	for d := range drift {
		drift[d] = s.fit.base[d] * s.years[d]
	}
	if s.span() >= minDriftDays {
		s.driftAt = add(drift, s.driftPriorRow())
	}
	step := make([]float64, s.n)
	for k, c := range changes {
		if k != skip {
			s.place = append(s.place, add(s.stepColumn(c, step), 0))
		}
	}
}

// minDriftDays are needed before a drift may stand beside a season.
const minDriftDays = 480

// span is from the first counted day to the last.
func (s *site) span() int {
	first, last := -1, -1
	for d, on := range s.counted {
		if on {
			if first < 0 {
				first = d
			}
			last = d
		}
	}
	if first < 0 {
		return 0
	}
	return last - first + 1
}

// driftPriorRow is the pseudo row of the drift's prior: a row r with target 0
// adds (r·g)² to the sum of squares, that is a normal prior of sd σ/r.
func (s *site) driftPriorRow() float64 {
	if s.fit.resid == nil {
		return 0
	}
	return math.Sqrt(s.longRunVariance(s.weighted(s.fit.resid))) / s.priorSpread
}

// findChanges selects the changes one by one, each time the one that explains
// most, then moves each to its best place with the others in.
//
// Source: the penalty and the segments of PELT (Killick, Fearnhead, Eckley
// 2012); the search over typed steps is ours, since a heating slope that
// appears is no shift of a mean.
func (s *site) findChanges() {
	penalty := penaltyFactor * math.Log(float64(max(s.days, 2)))
	s.relocate(penalty)
	// A change that relocate drops may be found again: the rounds are bounded.
	for round := 0; round < 2*maxChanges && len(s.changes) < maxChanges; round++ {
		s.build(s.changes, -1)
		c, ok := s.bestChange(penalty, 0, s.n)
		if !ok {
			break
		}
		had := len(s.changes)
		s.changes = append(s.changes, c)
		s.relocate(penalty)
		if len(s.changes) <= had {
			break // what came in pushed another out: no more to be had this way
		}
	}
	slices.SortFunc(s.changes, func(a, b change) int {
		if a.day != b.day {
			return a.day - b.day
		}
		return a.col - b.col
	})
}

// relocate moves each change to its best place given the others, and drops
// what no longer pays.
func (s *site) relocate(penalty float64) {
	for range 2 {
		moved := false
		for k := 0; k < len(s.changes); k++ {
			s.build(s.changes, k)
			old := s.changes[k]
			c, ok := s.bestChange(penalty, 0, s.n)
			if !ok {
				s.changes = slices.Delete(s.changes, k, k+1)
				k--
				moved = true
				continue
			}
			if c.day != old.day || c.col != old.col {
				moved = true
			}
			s.changes[k] = c
		}
		if !moved || len(s.changes) < 2 {
			return
		}
	}
}

// Heating as large as a heat pump's least (section 8.4 of the method) may come
// in the first weeks of the first season or the last of the last one: in the
// day's use and in a witness it then needs heatPumpGain of the penalty, both.
// What is smaller is a home that switches on late in a mild autumn, which without
// a thermometer nothing tells from a load that came. The shares are our choices,
// checked by the false events on generated fleets.
const (
	heatPumpKWhYr  = 2000.0
	heatPumpGain   = 0.7
	seenColdBefore = 0.03 // of a year's heating, before it
)

// A change that a sharper target sees clearly needs less from the day's use:
// our choice, checked by the false events on generated fleets.
const (
	weakGain     = 6.0
	witnessTimes = 2.0 // times the penalty
)

// bestChange scans every column over every day: the best is the one with the
// most gain in the day's use and in the target that sees it best, together.
func (s *site) bestChange(penalty float64, from, to int) (change, bool) {
	m := &s.model
	s.left = resize(s.left, m.n)
	s.beta = resize(s.beta, len(s.target))
	var lr [maxTargets]float64
	for t := range s.target {
		s.beta[t] = resize(s.beta[t], m.n)
		lr[t] = max(s.longRunVariance(m.resid[t][:s.n]), 1e-12)
	}
	// By what is answered: among the columns of one answer the day's use alone
	// decides (a peak knows the hot days only), among the answers both.
	//
	blind := s.isBlind()
	var found [toSummer + 1]change
	var sums [toSummer + 1]float64
	for col := range s.answers {
		a := &s.answers[col]
		m.scan(s.mask(a.x, 0), s.beta, s.left)
		lo, hi := s.stepRange(a)
		seenFrom, seenTo := s.wellSeen(a)
		if blind && a.what != toNothing {
			continue
		}
		year := s.normalYearSum(a.x)
		top, topSum := change{day: -1}, 0.0
		for d := max(lo, from); d < min(hi, to); d++ {
			own, witness := s.gains(d, &lr)
			if own+witness <= topSum || !s.counted[d] {
				continue
			}
			seen := d >= seenFrom && d < seenTo
			if (seen && own > penalty && !blind) || (seen && own > weakGain && witness > witnessTimes*penalty) ||
				(a.what == toCold && s.beta[0][d]*year >= heatPumpKWhYr && min(own, witness) > heatPumpGain*penalty &&
					(d >= seenFrom || s.method == MethodDegreeDays) && s.seasonsBefore(a.x, d) > seenColdBefore) {
				top, topSum = change{day: d, col: col, what: a.what, gain: own}, own+witness
			}
		}
		if top.day < 0 || top.gain <= found[a.what].gain {
			continue
		}
		top.beta = s.beta[0][top.day]
		if s.bigEnough(top, topSum-top.gain > witnessTimes*penalty) {
			top.low, top.top = s.rangeOf(top, topSum, &lr, lo, hi)
			if top.day < seenFrom && top.low == 0 {
				continue // the home without it may never have been seen
			}
			found[a.what], sums[a.what] = top, topSum
		}
	}
	best := 0
	for k := range sums {
		if sums[k] > sums[best] {
			best = k
		}
	}
	return found[best], sums[best] > 0
}

// isBlind tells that a step in the day's use may as well be the season, so that
// only what a sharper target sees counts: no thermometer and one round of the
// seasons, or two that are not whole where the fleet says nothing of them
// either. A second winter that is colder than the first is then no new load.
func (s *site) isBlind() bool {
	switch s.method {
	case MethodSeason:
		return s.span() < minDriftDays
	case MethodCalendar:
		return s.span() < twoYearsDays
	}
	return false
}

// twoYearsDays are two rounds of the seasons, less a month: our choice.
const twoYearsDays = 700

// gains are a step's gain in the day's use and in the sharper target that
// gains most and moves the same way, in long-run variances.
func (s *site) gains(d int, lr *[maxTargets]float64) (own, witness float64) {
	left := s.left[d]
	if left == 0 {
		return 0, 0
	}
	b := s.beta[0][d]
	own = b * b * left / lr[0]
	for t := 1; t < len(s.target); t++ {
		if v := s.beta[t][d]; v*b > 0 {
			witness = max(witness, v*v*left/lr[t])
		}
	}
	return own, witness
}

// Least evidence on either side of a step: four weeks of days for a level, ten
// days for an answer to weather (section 7.2 asks for ten days with degree
// days).
func (s *site) stepRange(a *answerColumn) (lo, hi int) {
	need := minSegmentDays
	if a.what == toCold || a.what == toHeat {
		need = minDegreeDayDays
	}
	lo, hi = s.n, 0
	k := 0
	for d := 0; d < s.n; d++ {
		if s.counted[d] && a.x[d] > 0 {
			if k++; k == need {
				lo = d + 1
				break
			}
		}
	}
	k = 0
	for d := s.n - 1; d >= 0; d-- {
		if s.counted[d] && a.x[d] > 0 {
			if k++; k == need {
				hi = d + 1
				break
			}
		}
	}
	return lo, hi
}

// wellSeenShare of a year's worth of a column must lie behind a step: what is
// seen of an air conditioner in a few mild weeks must not be spun out to a
// summer. Before it must lie a third of a season: a spring in which nobody has
// switched on yet is no household without; and as much of a summer behind it,
// since its last warm weeks are no summer either. Our choices.
const (
	wellSeenShare = 0.10
	seenPart      = 1. / 3
)

func (s *site) wellSeen(a *answerColumn) (from, to int) {
	if a.what == toNothing {
		return 0, s.n
	}
	year := s.normalYearSum(a.x)
	need := seenPart * year
	sum := 0.0
	for from = 0; from < s.n && sum < need; from++ {
		if s.counted[from] {
			sum += a.x[from]
		}
	}
	need, sum = wellSeenShare*year, 0
	if a.what == toHeat {
		need = seenPart * year
	}
	for to = s.n; to > 0 && sum < need; to-- {
		if s.counted[to-1] {
			sum += a.x[to-1]
		}
	}
	return from, to
}

// sleepShare of a year's energy may pass before a load is seen; without a
// thermometer the season's first weeks are mild or cold by chance, and the
// shape that stands in knows no more of them than sleepShareBlind. Our choices.
const (
	sleepShare      = 0.04
	sleepShareBlind = 0.15
)

// rangeOf is the days whose gain is within 2.71 long-run variances of the
// best: the 90 % point of χ² with one degree of freedom.
func (s *site) rangeOf(c change, sum float64, lr *[maxTargets]float64, lo, hi int) (int, int) {
	near := func(d int) bool {
		own, witness := s.gains(d, lr)
		return own+witness > sum-2.71 || !s.counted[d]
	}
	low, top := c.day, c.day
	for low-1 >= lo && near(low-1) {
		low--
	}
	for top+1 < hi && near(top+1) {
		top++
	}
	// A load that follows the weather sleeps until its season, and its
	// balance point is known to a few K only: what it would have used in the
	// days before may be too little to see.
	if x := s.column(c); c.what != toNothing {
		share := sleepShare
		if s.method != MethodDegreeDays {
			share = sleepShareBlind
		}
		asleep := share * s.normalYearSum(x)
		for sum := 0.0; low > 0 && sum+x[low-1] <= asleep; low-- {
			sum += x[low-1]
		}
		for sum := 0.0; top+1 < s.n && sum+x[top] <= asleep; top++ {
			sum += x[top]
		}
	}
	return low, top
}

// bigEnough holds a change against the least size of an event; one that a
// sharper target sees clearly may be a smaller share of the use.
func (s *site) bigEnough(c change, seen bool) bool {
	yearly := math.Abs(c.beta) * s.normalYearSum(s.column(c))
	if yearly < minEventKWhYr || yearly > maxEventTimes*365.25*s.meanUse() {
		return false
	}
	switch c.what {
	case toNothing:
		return math.Abs(c.beta) >= minStepKWhDay && (seen || math.Abs(c.beta) >= minStepShare*s.meanUse())
	case toSummer:
		return math.Abs(c.beta) >= minStepKWhDay
	case toHeat:
		// One summer may be answered otherwise than the ones before, as when it
		// is hot: what has lived through no second one must be a share of the
		// year's use that counts as a step.
		return s.seasonsAfter(c) >= 1.5 || math.Abs(yearly) >= minStepShare*365.25*s.meanUse()
	case toCold:
		return s.method != MethodDegreeDays || math.Abs(c.beta) >= minHeatSlope
	}
	return true
}

// seasonsBefore is how many years' worth of a column lie before a day.
func (s *site) seasonsBefore(x []float64, day int) float64 {
	sum := 0.0
	for d := range day {
		if s.counted[d] {
			sum += x[d]
		}
	}
	return sum / math.Max(s.normalYearSum(x), 1e-12)
}

// seasonsAfter is how many years' worth of a change's column lie after it.
func (s *site) seasonsAfter(c change) float64 {
	x, sum := s.column(c), 0.0
	for d := c.day; d < s.n; d++ {
		if s.counted[d] {
			sum += x[d]
		}
	}
	return sum / math.Max(s.normalYearSum(x), 1e-12)
}

func (s *site) meanUse() float64 {
	sum := 0.0
	for d, on := range s.counted {
		if on {
			sum += s.kwh[d]
		}
	}
	return sum / math.Max(float64(s.days), 1)
}

// normalYearSum is a column's sum over a normal year: the mean over the years
// held of every day of the year.
func (s *site) normalYearSum(x []float64) float64 {
	if &x[0] == &s.ones[0] {
		return 365.25
	}
	// Whole years from the end, so that every season weighs the same.
	years := s.n / 365
	if years == 0 {
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		return sum / float64(s.n) * 365.25
	}
	sum := 0.0
	for _, v := range x[s.n-365*years:] {
		sum += v
	}
	return sum / float64(years) * (365.25 / 365)
}

// findEvents cleans the days of weather and weekday, finds what changed, and
// fits the whole.
func (s *site) findEvents() {
	s.priorSpread = driftPriorPctYr / 100
	s.fit = fit{base: make([]float64, s.n)}
	for d := range s.fit.base {
		s.fit.base[d] = s.meanUse()
	}
	s.findLiveliness()
	s.build(nil, -1)
	s.settle(nil)
	s.weigh()
	s.build(nil, -1)
	s.settle(nil)
	if s.markAbsences() {
		s.build(nil, -1)
		s.settle(nil)
	}
	s.changes = s.changes[:0]
	s.findChanges()
	s.finish()
	if len(s.changes) > 0 {
		// With the events known, the household's own weather is another, and
		// absences show that were hidden.
		clean := make([]float64, s.n)
		for d := range clean {
			clean[d] = s.kwh[d] - s.fit.eventDay[d]
		}
		s.weather(clean)
		s.dropNeedless()
		s.finish()
		s.weigh()
		s.markAbsences()
		s.findChanges()
		s.dropNeedless()
		s.finish()
	}
	s.groupChanges()
}

// finish fits base, drift and changes together, the drift under the wide prior
// that its own doubt gives it; three times, since its column is the base.
func (s *site) finish() {
	s.priorSpread = driftSpread
	for range 3 {
		s.build(s.changes, -1)
		s.settle(s.changes)
	}
	s.priorSpread = driftPriorPctYr / 100
}

// dropNeedless takes heating or cooling out of the household before its
// changes where a change explains as much without: most who buy an air
// conditioner had none. A change that hardly any season lies before always
// explains as much, and says nothing of the household before.
func (s *site) dropNeedless() {
	try := func(has *bool, what answer) {
		if !*has || !slices.ContainsFunc(s.changes, func(c change) bool {
			return c.what == what && c.beta > 0 && s.seasonsBefore(s.column(c), c.day) >= seenPart
		}) {
			return
		}
		s.build(s.changes, -1)
		with := dot(s.model.resid[0], s.model.resid[0])
		lr := max(s.longRunVariance(s.model.resid[0][:s.n]), 1e-12)
		*has = false
		s.build(s.changes, -1)
		without := dot(s.model.resid[0], s.model.resid[0])
		*has = (without-with)/lr > penaltyFactor*math.Log(float64(max(s.days, 2)))
	}
	try(&s.hasHeat, toCold)
	try(&s.hasCool, toHeat)
}

func (s *site) buildFree() {
	keep := s.fit.resid
	s.fit.resid = nil // no prior row
	s.build(s.changes, -1)
	s.fit.resid = keep
}

// settle reads the fit out of the model as built.
func (s *site) settle(changes []change) {
	f := &s.fit
	solved := s.model.solve()
	f.params = len(solved)
	coef := func(place int) float64 {
		if place < 0 {
			return 0
		}
		return solved[place]
	}
	base := s.baseColumns()
	f.base = resize(f.base, s.n)
	clear(f.base)
	for k, c := range base {
		axpy(f.base, coef(s.place[k]), c)
	}
	f.drift = coef(s.driftAt)
	f.baseNormal = resize(f.baseNormal, s.n)
	copy(f.baseNormal, f.base)
	for k, c := range base {
		if k >= 1+len(s.weekend) && k < len(base)-s.waves {
			for d, v := range normalOf(c) {
				f.baseNormal[d] += coef(s.place[k]) * (v - c[d])
			}
		}
	}
	f.eventDay = resize(f.eventDay, s.n)
	clear(f.eventDay)
	step := make([]float64, s.n)
	for k := range changes {
		changes[k].beta = coef(s.place[len(base)+k])
		axpy(f.eventDay, changes[k].beta, s.stepColumn(changes[k], step))
	}
	f.resid = resize(f.resid, s.n)
	for d, on := range s.counted {
		f.resid[d] = 0
		if on {
			f.resid[d] = s.kwh[d] - s.expected(d)
		}
	}
	f.heatSlope, f.coolSlope = 0, 0
	at := 1 + len(s.weekend)
	if s.hasHeat {
		f.heatSlope = coef(s.place[at])
		at++
	}
	if s.hasCool {
		f.coolSlope = coef(s.place[at])
	}
}

// expected is the model's use on a day, events and drift in it.
func (s *site) expected(d int) float64 {
	return s.fit.base[d]*(1+float64(s.fit.drift*s.years[d])) + s.fit.eventDay[d]
}

// Long absences: at least minAbsenceDays in a row below absenceShare of what
// the model expects, with use coming back afterwards. Our choice: a house that
// stands empty keeps its refrigerator and standby, a fifth to a third.
const (
	minAbsenceDays  = 4
	absenceShare    = 0.62
	maxAbsenceDays  = 200
	flatShare       = 0.7
	openAbsenceDays = 120
)

// markAbsences takes the days of long absences out of the count. One that
// lasts to the last reading is an absence too, up to openAbsenceDays: whoever
// has left for good has been gone for longer.
func (s *site) markAbsences() bool {
	found := false
	for lo := 0; lo < s.n; {
		if !s.isLow(lo) {
			lo++
			continue
		}
		hi, low := lo, 0
		for hi < s.n && (s.isLow(hi) || !s.counted[hi]) {
			if s.counted[hi] {
				low++
			}
			hi++
		}
		longest := maxAbsenceDays
		if hi >= s.n-minAbsenceDays {
			longest = openAbsenceDays
		}
		if low >= minAbsenceDays && hi-lo <= longest {
			for d := lo; d < hi; d++ {
				if s.counted[d] {
					s.counted[d] = false
					s.absent[d] = true
					found = true
				}
			}
		}
		lo = hi
	}
	s.count()
	return found
}

// isLow tells whether a day looks lived in by nobody: little use, and no peak.
// Drops that were found do not lower what is expected: a drop that comes back
// is an absence sooner than two changes.
func (s *site) isLow(d int) bool {
	if !s.counted[d] || !s.basis.gross {
		return false
	}
	expected := s.fit.base[d] * (1 + float64(s.fit.drift*s.years[d]))
	for _, c := range s.changes {
		if d >= c.day && c.beta > 0 {
			expected += c.beta * s.column(c)[d]
		}
	}
	return s.kwh[d] < absenceShare*expected && (s.liveliness == 0 || s.peakOver(d) < flatShare*s.liveliness)
}

// peakOver is how far the highest hour stands above the night's floor, kWh.
func (s *site) peakOver(d int) float64 {
	return s.target[peakHour][d] - s.target[nightFloor][d]/24
}

// findLiveliness is the lower quartile of peakOver: a quiet day with people.
func (s *site) findLiveliness() {
	s.liveliness = 0
	if len(s.target) < maxTargets {
		return
	}
	v := make([]float64, 0, s.days)
	for d, on := range s.counted {
		if on {
			v = append(v, s.peakOver(d))
		}
	}
	s.liveliness = stat.QuantileInPlace(v, 0.25)
}

// groupChanges joins the changes that came together.
func (s *site) groupChanges() {
	s.groups = s.groups[:0]
	defer func() {
		s.groups = slices.DeleteFunc(s.groups, func(g group) bool {
			base, cold, heat, summer := s.yearly(g)
			return math.Abs(base+cold+heat+summer) < minEventKWhYr
		})
	}()
	for _, c := range s.changes {
		if g := s.sameHeating(c); g != nil {
			g.parts = append(g.parts, c)
			continue
		}
		if k := len(s.groups); k > 0 {
			g := &s.groups[k-1]
			if c.day-g.day <= sameChangeDays || (c.low <= g.top && c.what != g.parts[0].what && c.day-g.day <= 90) ||
				(c.what != g.parts[0].what && c.day-g.day <= 45) {
				g.parts = append(g.parts, c)
				if c.gain > g.strongest() {
					g.day = c.day
				}
				g.low, g.top = min(g.low, c.low), max(g.top, c.top)
				continue
			}
		}
		s.groups = append(s.groups, group{day: c.day, low: c.low, top: c.top, parts: []change{c}})
	}
}

// sameHeating is the group whose heating load a further step in the answer to
// cold belongs to: one that comes within a year of it and is smaller corrects
// the shape that the load was given, as when a mild autumn and a hard winter
// follow each other. Nobody buys a second heat pump in their first winter. What
// falls again is no such correction.
func (s *site) sameHeating(c change) *group {
	if c.what != toCold || c.beta < 0 {
		return nil
	}
	energy := func(c change) float64 { return c.beta * s.normalYearSum(s.column(c)) }
	for k := range s.groups {
		g := &s.groups[k]
		for _, p := range g.parts {
			if p.what == toCold && p.beta > 0 && c.day-p.day < 365 && math.Abs(energy(c)) < energy(p) {
				return g
			}
		}
	}
	return nil
}

func (g *group) strongest() float64 {
	best := 0.0
	for _, p := range g.parts[:len(g.parts)-1] {
		best = max(best, p.gain)
	}
	return best
}

// residualSteps are the level shifts that PELT still sees in a residual, by
// weeks from its start: weeks of at least four days that count, each their mean.
// A week is as fine as a caveat needs, and far cheaper than days.
func (s *site) residualSteps() []int {
	var weeks []float64
	for lo := 0; lo+7 <= s.n; lo += 7 {
		sum, days := 0.0, 0
		for d := lo; d < lo+7; d++ {
			if s.counted[d] {
				sum += s.fit.resid[d] * s.root[d]
				days++
			}
		}
		if days >= 4 {
			weeks = append(weeks, sum/float64(days))
		}
	}
	if len(weeks) < 3 {
		return nil
	}
	penalty := stat.StepPenalty(penaltyFactor, stat.NoiseSD(weeks), len(weeks), stat.Lag1(weeks))
	return stat.PELT(weeks, penalty, minSegmentDays/7)
}

// main is the change of the most energy among those that came together.
func (g *group) main() change {
	best := g.parts[0]
	for _, p := range g.parts[1:] {
		if p.gain > best.gain {
			best = p
		}
	}
	return best
}
