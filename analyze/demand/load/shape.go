package load

import (
	"math"
	"slices"

	"rowen/analyze/demand/change"
	"rowen/analyze/stat"
)

// Shape is how a change lies over the hours of the day.
type Shape struct {
	Known  bool
	before [24]float64 // mean kWh by local hour
	Delta  [24]float64 // after less before
	paired bool        // days of one season held against the same season a year before

	// Sessions: hours that stand out from what those hours used before.
	sessionDays  float64 // share of the days after with a session, less the share before
	sessionKWh   float64 // energy a session day above the usual
	sessionKW    float64 // median height of a session hour
	sessionShare float64 // of the change's energy that lies in sessions
	sessionHours float64 // mean length
	nightShare   float64 // of the rise that lies between 18 and 7 o'clock
	flatShare    float64 // the fourth smallest rise of an hour over the mean rise: 1 = all hours alike
	block        int     // hours of the day that carry nine tenths of the rise
	regularity   float64 // share of the days after on which the block's hours are all up
	dayBlock     bool    // the block lies between 7 and 20 o'clock
	likeBefore   float64 // correlation of the change with the shape before
	baseRise     float64 // rise of the nightly minimum, kWh an hour
}

// Shape holds the hours after a group against the hours before it.
//
// Pairs of days 52 weeks apart are taken where there are at least 28 of them,
// else the 60 days on either side.
// Refuses: daily data, or fewer than 14 days on a side.
func (s *Scene) Shape() Shape {
	var sh Shape
	if s.Wh == nil {
		return sh
	}
	var before, after []int
	before, after, sh.paired = s.compared()
	if len(before) < 14 || len(after) < 14 {
		return sh
	}
	sh.Known = true
	b, a := s.byHour(before), s.byHour(after)
	sum, rise, night := 0.0, 0.0, 0.0
	for h := range 24 {
		mb, ma := stat.Mean(b[h]), stat.Mean(a[h])
		sh.before[h], sh.Delta[h] = mb, ma-mb
		sum += sh.Delta[h]
		if sh.Delta[h] > 0 {
			rise += sh.Delta[h]
			if h >= 18 || h < 7 {
				night += sh.Delta[h]
			}
		}
	}
	if rise > 0 {
		sh.nightShare = night / rise
	}
	if sum > 0 {
		rises := sh.Delta
		slices.Sort(rises[:])
		sh.flatShare = 24 * rises[3] / sum
	}
	sh.likeBefore = correlation(sh.before[:], sh.Delta[:])
	sh.baseRise = s.nightMinimum(after) - s.nightMinimum(before)
	sh.sessions(b, a, sum)
	sh.timedBlock(b, a)
	return sh
}

// compared lists the days before and after that are held against each other,
// and whether they are pairs of one season.
func (s *Scene) compared() (before, after []int, paired bool) {
	d := s.Days
	on := s.Columns.Answers[s.Group.Main().Column].X // only days on which the load could show
	for k := max(s.afterLo, 0); k < s.afterHi; k++ {
		b := k - 364
		if on[k] > 0 && d.Whole(k) && b >= s.beforeLo && b < s.beforeHi && d.Whole(b) {
			before, after = append(before, b), append(after, k)
		}
	}
	if len(after) >= change.MinSegmentDays {
		return before, after, true
	}
	before, after = before[:0], after[:0]
	for k := max(s.beforeLo, s.beforeHi-120); k < s.beforeHi; k++ {
		if d.Whole(k) && (on[k] > 0 || s.beforeHi-k < 60) {
			before = append(before, k)
		}
	}
	for k := s.afterLo; k < min(s.afterHi, s.afterLo+120); k++ {
		if d.Whole(k) && on[k] > 0 {
			after = append(after, k)
		}
	}
	return before, after, false
}

// sessionRiseKW is how far above the usual (the 95th percentile of that hour
// before) an hour must be to belong to a session: below the slowest charging
// at home (1.3 kW, section 8.4 of the method). Our choice.
const sessionRiseKW = 0.9

// sessions looks for charging: hours that stand far above what those hours
// used before.
func (sh *Shape) sessions(b, a [24][]float64, sum float64) {
	limit, usual := [24]float64{}, [24]float64{}
	for h := range 24 {
		limit[h] = stat.Quantile(b[h], 0.95) + sessionRiseKW
		usual[h] = stat.Median(b[h])
	}
	count := func(v [24][]float64) (share, energy, hours float64, heights []float64) {
		n := len(v[0])
		days := 0
		for k := range n {
			on := 0
			for h := range 24 {
				if v[h][k] > limit[h] {
					on++
					energy += v[h][k] - usual[h]
					heights = append(heights, v[h][k]-usual[h])
				}
			}
			if on > 0 {
				days++
				hours += float64(on)
			}
		}
		share = float64(days) / float64(n)
		energy /= float64(n)
		if days > 0 {
			hours /= float64(days)
		}
		return share, energy, hours, heights
	}
	shareB, energyB, _, _ := count(b)
	shareA, energyA, hours, heights := count(a)
	sh.sessionDays = shareA - shareB
	sh.sessionHours = hours
	if len(heights) > 0 {
		sh.sessionKW = stat.MedianInPlace(heights)
	}
	if shareA > 0 {
		sh.sessionKWh = energyA / shareA
	}
	if sum > 0 {
		sh.sessionShare = (energyA - energyB) / sum
	}
}

// timedBlock looks for a load on a fixed timer: a few hours of the day that
// carry nine tenths of the rise, and are up nearly every day.
func (sh *Shape) timedBlock(b, a [24][]float64) {
	order := make([]int, 24)
	for h := range order {
		order[h] = h
	}
	slices.SortStableFunc(order, func(x, y int) int {
		switch {
		case sh.Delta[x] > sh.Delta[y]:
			return -1
		case sh.Delta[x] < sh.Delta[y]:
			return 1
		}
		return x - y
	})
	rise := 0.0
	for _, d := range sh.Delta {
		rise += max(d, 0)
	}
	if rise <= 0 {
		return
	}
	got := 0.0
	for _, h := range order {
		if got >= 0.9*rise {
			break
		}
		got += max(sh.Delta[h], 0)
		sh.block++
	}
	hours := order[:sh.block]
	core, daytime := 0, 0
	up := make([]int, len(a[0]))
	for _, h := range hours {
		if h >= 7 && h < 20 {
			daytime++
		}
		if sh.Delta[h] < 0.5*sh.Delta[order[0]] {
			continue // an edge of the block
		}
		core++
		base := stat.Quantile(b[h], 0.25)
		for k, v := range a[h] {
			if v > base+float64(0.6*sh.Delta[h]) {
				up[k]++
			}
		}
	}
	all := 0
	for _, u := range up {
		if u >= core {
			all++
		}
	}
	sh.regularity = float64(all) / float64(len(up))
	sh.dayBlock = float64(daytime) >= 0.8*float64(sh.block)
}

func correlation(x, y []float64) float64 {
	mx, my := stat.Mean(x), stat.Mean(y)
	xy, xx, yy := 0.0, 0.0, 0.0
	for i := range x {
		xy += float64((x[i] - mx) * (y[i] - my))
		xx += float64((x[i] - mx) * (x[i] - mx))
		yy += float64((y[i] - my) * (y[i] - my))
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}
