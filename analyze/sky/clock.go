package sky

import (
	"math"

	"rowen/ingest"
)

// Rules of a clock, measured on real roofs.
const (
	clockBetter = 0.92 // what another clock must leave of the cost of the facing
	clockHalf   = 0.85 // and one that is off by half an hour, which is rare
	clockPlain  = 10.0 // cost a day above which no single weeks are judged: the planes do not explain the days
	changeDays  = 4    // days about the zone's changes
	darkLeast   = 2e-4 // of the output in the dark: the clock is doubted
	darkLeft    = 0.35 // what another clock must leave of that
	clockOff    = 0.75 // hours off the rest from which days make a stretch
	clockRun    = 6    // judged days of a stretch
	clockRounds = 2
)

// Clock is how the stamps of the readings stand to the sun.
type Clock struct {
	Late      float64   // hours by which all readings are late; negative: early
	Summer    float64   // hours by which they are later on days of summer time
	Stretches []Stretch // days that stand off the rest
	Days      []float64 // hours late by day, all in all; nil: the clock is right
}

// Stretch is a run of days on which the clock stood off the rest.
type Stretch struct {
	From, To int     // days, both included
	Late     float64 // hours more than the rest
}

// Right tells a clock that goes with the sun.
func (c *Clock) Right() bool { return c.Days == nil }

// FindClock asks whether the readings are stamped as the sun stands: first for
// one constant and one change with summer time, the facing fitted anew under
// each, then day by day.
//
//	hypotheses (b, s):  b of 0, 1/2, 1 h late or early;  s of 0, 1, -1 h on days of summer time
//	cost(b, s) = least cost of the planes with every day read b + s S_d hours late;  the least wins where it leaves 92 % of cost(0, 0)
//
// Azimuth and clock are told apart, since an azimuth moves the middle of the
// day but not sunrise and sunset.
//
// In:      hourly energy; facings of the register hold, blank ones are fitted.
// Edges:   an array whose output no plane explains has no stretches; one array whose facing is known is fitted only if its days are off.
// Source:  our choice; measured on seven series with hidden summer time.
// Cost:    one model hour a lit hour and a path over the days; where the days are off, some fifty fits.
func FindClock(data Hourly, site *ingest.Site, cat *ingest.Catalogue) Clock {
	f := newClockFit(data, site, cat)
	if f == nil {
		return Clock{}
	}
	path := f.path(Clock{})
	if f.free == nil && path.steady() {
		return Clock{}
	}
	c := f.base(f.summers())
	for range clockRounds {
		path = f.path(c)
		if !f.leaveOut(path) {
			break
		}
		c = f.base(f.summers())
	}
	c = f.proven(c)
	if f.cost <= clockPlain {
		c.Stretches = f.path(c).stretches()
		c = f.bySummer(c)
		c.Stretches = f.undark(c)
	}
	return f.byDay(c)
}

// clockFit is an array under the question what its clock says.
type clockFit struct {
	*Fit
	free   []int // arrays whose facing is fitted though nothing is known to be wrong: blank ones
	at     pose
	cost   float64
	summer []float64 // 1 on days of summer time
}

// newClockFit picks the days; nil where there are too few.
func newClockFit(data Hourly, site *ingest.Site, cat *ingest.Catalogue) *clockFit {
	data.K = nil
	blank := blanks(site, cat)
	var all []int
	for i := range site.Arrays {
		if groupOf(site, cat, &site.Arrays[i]).Watts > 0 {
			all = append(all, i)
		}
	}
	sought := blank
	if len(all) == 1 {
		sought = all // one array can be turned to go with another clock
	}
	if len(all) == 0 {
		return nil
	}
	f := &clockFit{free: blank, Fit: &Fit{set: newFitSet(data, site, cat, groupsOf(data.Sun, site, cat, sought))}}
	f.all = data.candidates(0, func(int) bool { return true })
	if f.set.others == nil && len(f.set.groups) == 0 || !f.take(spreadOut(f.all, data.Calendar.Days())) {
		return nil
	}
	for _, g := range f.set.groups {
		f.at.planes = append(f.at.planes, g.Plane)
	}
	if len(all) == 1 && len(blank) == 0 {
		p, _ := FacingOf(site, &site.Arrays[all[0]])
		f.at.planes[0] = p
	} else if len(blank) > 0 {
		f.cost, f.at = f.climb().solve(1.0 / 4)
	}
	f.summer = make([]float64, data.Calendar.Days())
	for d := range f.summer {
		if lo, hi := data.Calendar.Day(d); data.Calendar.Local((lo + hi) / 2).IsDST() {
			f.summer[d] = 1
		}
	}
	return f
}

func (f *clockFit) climb() *climb { return newClimb(f.set, f.which, max(1, len(f.set.groups))) }

// summers are the changes with summer time that the days looked at can tell.
func (f *clockFit) summers() []float64 {
	n := 0.0
	for i := range f.set.days {
		n += f.summer[f.set.days[i].d]
	}
	if share := n / float64(len(f.set.days)); share > 0 && share < 1 {
		return []float64{0, 1, -1}
	}
	return []float64{0}
}

// base finds the clock of the whole record, the first change with summer time
// being what is taken where no other is better.
func (f *clockFit) base(summers []float64) Clock {
	var right, best float64
	var rightAt, bestAt pose
	plain := Clock{Summer: summers[0]}
	c := plain
	for _, s := range summers {
		for _, b := range []float64{0, -0.5, 0.5, -1, 1} {
			f.lateBy(Clock{Late: b, Summer: s})
			cost, at := f.climb().descend(f.at, 1.0/4)
			if b == 0 && s == summers[0] {
				right, rightAt, best, bestAt = cost, at, cost, at
			}
			if b != math.Trunc(b) {
				cost *= clockBetter / clockHalf
			}
			if cost < best {
				best, bestAt, c = cost, at, Clock{Late: b, Summer: s}
			}
		}
	}
	if best < clockBetter*right {
		f.at, f.cost = bestAt, best
		return c
	}
	f.at, f.cost = rightAt, right
	return plain
}

// bySummer says stretches whose edges all lie at the zone's changes as what they
// are: stamps that follow summer time where the zone is fixed, or the other way.
func (f *clockFit) bySummer(c Clock) Clock {
	if c.Summer != 0 || len(c.Stretches) == 0 {
		return c
	}
	var on, days, late float64
	for _, s := range c.Stretches {
		if !f.changesAt(s.From) || !f.changesAt(s.To+1) || s.Late != c.Stretches[0].Late {
			return c
		}
		for d := s.From; d <= s.To; d++ {
			on, days = on+f.summer[d], days+1
		}
		late = s.Late
	}
	to := Clock{Late: c.Late, Summer: late}
	if on < days/5 {
		to = Clock{Late: c.Late + late, Summer: -late}
	} else if on < 0.8*days {
		return c
	}
	if to.Summer != 1 && to.Summer != -1 || len(f.path(to).stretches()) > 0 {
		return c
	}
	all := f.set.data.candidates(0, func(int) bool { return true })
	if !f.take(spreadOut(all, f.set.data.Calendar.Days())) {
		return to
	}
	f.lateBy(Clock{Summer: to.Summer})
	_, f.at = f.climb().solve(1.0 / 4)
	return f.proven(f.base([]float64{to.Summer})) // the constant anew, now that both seasons tell it
}

// changesAt tells a day near a change of the zone's clock or the record's end.
func (f *clockFit) changesAt(d int) bool {
	if d <= changeDays || d >= len(f.summer)-changeDays {
		return true
	}
	return f.summer[d-changeDays] != f.summer[min(len(f.summer)-1, d+changeDays)]
}

// proven keeps of a clock what the array's own days show without any model of
// its planes, since a wrong facing or a shadow bends the day's curve too: a
// change with summer time must jump at the zone's changes, and a constant must
// take output out of the dark.
func (f *clockFit) proven(c Clock) Clock {
	was := c
	if c.Summer != 0 && !f.path(c).jumps(f.summer, c.Summer) {
		c.Summer = 0
	}
	if c.Late != 0 {
		now, then := f.dark(0, len(f.summer), c.Summer, 0), f.dark(0, len(f.summer), c.Summer, c.Late)
		if now < darkLeast || then > darkLeft*now {
			c.Late = 0
		}
	}
	if c.Late != was.Late || c.Summer != was.Summer {
		f.lateBy(c)
		f.cost, f.at = f.climb().descend(f.at, 1.0/4)
	}
	return c
}

// dark is the share of the output of some days that falls in hours without sun,
// under a clock that is late by so much (whole hours; a half counts as the hour beyond).
func (f *clockFit) dark(from, to int, summer, late float64) float64 {
	data := &f.set.data
	var all, dark float64
	for d := from; d < to; d++ {
		by := float64(summer*f.summer[d]) + late
		shift := int(math.Copysign(math.Ceil(math.Abs(by)), by))
		for i, hi := data.Calendar.Day(d); i < hi; i++ {
			p := data.Wh[i]
			if !(p > 0) {
				continue
			}
			all += p
			if j := i - shift; j >= 0 && j < data.Sun.N && data.Sun.Up[j] <= 0 {
				dark += p
			}
		}
	}
	return dark / max(all, 1e-9)
}

// undark leaves out the stretches that darken, but for those next to one that
// stands: there the clock was off the day before or is the day after.
func (f *clockFit) undark(c Clock) (out []Stretch) {
	dark := make([]bool, len(c.Stretches))
	for i, s := range c.Stretches {
		dark[i] = f.darkens(c, s)
	}
	for i, s := range c.Stretches {
		after := i > 0 && !dark[i-1] && c.Stretches[i-1].To+1 == s.From
		before := i+1 < len(dark) && !dark[i+1] && s.To+1 == c.Stretches[i+1].From
		if !dark[i] || after || before {
			out = append(out, s)
		}
	}
	return out
}

// darkens tells a stretch that is no clock's: as they are its days have no output
// in the dark, and moved back by an hour they would. Weeks of clear mornings and
// dull afternoons, and a tree, move the middle of the days, but not their first
// and last light.
func (f *clockFit) darkens(c Clock, s Stretch) bool {
	now := f.dark(s.From, s.To+1, c.Summer, c.Late)
	then := f.dark(s.From, s.To+1, c.Summer, c.Late+math.Copysign(1, s.Late))
	return now < darkLeast && then >= darkLeast
}

// lateBy sets the clock of the days that are looked at.
func (f *clockFit) lateBy(c Clock) {
	for i := range f.set.days {
		day := &f.set.days[i]
		day.late = c.Late + float64(c.Summer*f.summer[day.d])
	}
}

// leaveOut takes the days anew without those that stand off the rest; false:
// there are none, or too few are left.
func (f *clockFit) leaveOut(p *clockPath) bool {
	off := false
	for _, v := range p.rel {
		off = off || math.Abs(v-p.mode) >= 0.3
	}
	if !off {
		return false
	}
	all := f.set.data.candidates(0, func(d int) bool { return math.Abs(p.rel[d]-p.mode) < 0.3 })
	return f.take(spreadOut(all, f.set.data.Calendar.Days()))
}

// byDay says how late each day is.
func (f *clockFit) byDay(c Clock) Clock {
	if c.Late == 0 && c.Summer == 0 && len(c.Stretches) == 0 {
		return c
	}
	c.Days = make([]float64, len(f.summer))
	for d := range c.Days {
		c.Days[d] = c.Late + float64(c.Summer*f.summer[d])
	}
	for _, s := range c.Stretches {
		for d := s.From; d <= s.To; d++ {
			c.Days[d] += s.Late
		}
	}
	return c
}

// Aligned gives readings as the sun says that they were made: each moved by the
// whole hours by which it is late.
func (c *Clock) Aligned(wh []float64, cal *ingest.Calendar) []float64 {
	if c.Right() {
		return wh
	}
	out := make([]float64, len(wh))
	for d := range c.Days {
		late := int(math.Trunc(c.Days[d]))
		for i, hi := cal.Day(d); i < hi; i++ {
			if out[i] = math.NaN(); i+late >= 0 && i+late < len(wh) {
				out[i] = wh[i+late]
			}
		}
	}
	return out
}
