package demand

import (
	"math"
	"slices"
	"sync"

	"rowen/analyze/demand/fit"
	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// SeasonBuilder gathers the fleet's common seasonal signal in the first pass:
// how much more or less than their own habit the households of a region used
// on each day. It stands in for a thermometer where there is none. Add may be
// called from any number of goroutines in any order; the memory is bounded by
// regions x days, whatever the number of sites.
//
// What is kept is a histogram a day of ln(use of the day / the site's median
// day), in whole counts, so that the sum does not depend on the order.
type SeasonBuilder struct {
	mu      sync.Mutex
	regions map[region]*homes
}

// region is a cell of a coarse grid: a square of regionDeg degrees.
type region struct{ lat, lon int16 }

// Our choices: cells of 4 degrees share their weather well enough for a
// daily mean; 64 bins of ln 2/16 (4.4 %) span a factor of four either way;
// below 12 sites a daily median says more of the homes than of the weather.
const (
	regionDeg      = 4
	seasonBins     = 64
	seasonBinWidth = math.Ln2 / 16
	seasonMinSites = 12
)

type dayCounts struct {
	Sites int
	First int // local day number of the first of Bins
	Bins  [][seasonBins]uint32
}

// cover makes room for the local days from lo up to hi.
func (r *dayCounts) cover(lo, hi int) {
	if len(r.Bins) == 0 {
		r.First = lo
	}
	from, to := min(lo, r.First), max(hi, r.First+len(r.Bins))
	if to-from == len(r.Bins) {
		return
	}
	wider := make([][seasonBins]uint32, to-from)
	copy(wider[r.First-from:], r.Bins)
	r.First, r.Bins = from, wider
}

// homes are a region's counts: of every home, and of those whose level keeps.
type homes struct{ All, Steady dayCounts }

// NewSeasonBuilder gathers for the days on which anything was read.
func NewSeasonBuilder() *SeasonBuilder {
	return &SeasonBuilder{regions: map[region]*homes{}}
}

func regionOf(latitudeDeg, longitudeDeg float64) region {
	return region{int16(math.Floor(latitudeDeg / regionDeg)), int16(math.Floor(longitudeDeg / regionDeg))}
}

// Add takes one site in, c the calendar of its series. A site without gross consumption, or with less than
// a year of it, adds nothing.
func (b *SeasonBuilder) Add(latitudeDeg, longitudeDeg float64, c *ingest.Calendar, s *ingest.Series) {
	use := ingest.JoinConsumption(s, nil)
	if !use.Gross {
		return
	}
	day, share := daySums(c, use.Wh)
	known := make([]float64, 0, len(day))
	for d, v := range day {
		if share[d] >= shareForSum && v > 0 {
			known = append(known, v)
		}
	}
	if len(known) < 365 {
		return
	}
	slices.Sort(known)
	median := known[len(known)/2]
	if median <= 0 {
		return
	}
	steady := keepsLevel(day, share)
	b.mu.Lock()
	defer b.mu.Unlock()
	key := regionOf(latitudeDeg, longitudeDeg)
	r := b.regions[key]
	if r == nil {
		r = &homes{}
		b.regions[key] = r
	}
	r.All.cover(c.DayNumber(0), c.DayNumber(len(day)))
	r.All.Sites++
	if steady {
		r.Steady.Sites++
		r.Steady.cover(c.DayNumber(0), c.DayNumber(len(day)))
	}
	for d, v := range day {
		if share[d] < shareForSum || !(v > 0) {
			continue
		}
		bin := int(math.Floor(samebits.Log(v/median)/seasonBinWidth)) + seasonBins/2
		bin = min(max(bin, 0), seasonBins-1)
		r.All.Bins[c.DayNumber(d)-r.All.First][bin]++
		if steady {
			r.Steady.Bins[c.DayNumber(d)-r.Steady.First][bin]++
		}
	}
}

// A home keeps its level where no quarter of its readings lies further than
// steadyLog (a tenth to a sixth of the use) from the same quarter a year before:
// weather alone moves a home by 5 to 10 % (section 7.5 of the method), a car or
// a heat pump by 20 % and more. The figure is our choice.
const (
	steadyLog   = 0.15
	quarterDays = 91
)

// keepsLevel tells whether a home may speak for the season: cars that come to
// half of a fleet within two years are a common rise, and no season. Less than
// a year and a quarter of days says nothing of it.
func keepsLevel(day, share []float64) bool {
	quarters := 0
	diffs := make([]float64, 0, quarterDays)
	for from := 364; from+quarterDays <= len(day); from += quarterDays {
		diffs = diffs[:0]
		for d := from; d < from+quarterDays; d++ {
			if share[d] >= shareForSum && share[d-364] >= shareForSum && day[d] > 0 && day[d-364] > 0 {
				diffs = append(diffs, samebits.Log(day[d]/day[d-364]))
			}
		}
		if len(diffs) < quarterDays/2 {
			continue
		}
		quarters++
		if math.Abs(stat.MedianInPlace(diffs)) > steadyLog {
			return false
		}
	}
	return quarters > 0
}

// Close ends the gathering.
//
// The homes that keep their level speak, where there are seasonMinSites of
// them; else all do.
// Each day's signal is the median over the region's sites; a common drift of
// the fleet is taken out of it (the median of the differences between days
// one year apart), since drift is what the signal must not explain away.
func (b *SeasonBuilder) Close() *Season {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := &Season{signals: map[region]*fit.Signal{}}
	for key, r := range b.regions {
		switch {
		case r.Steady.Sites >= seasonMinSites:
			s.signals[key] = r.Steady.signal()
		case r.All.Sites >= seasonMinSites:
			s.signals[key] = r.All.signal()
		}
	}
	return s
}

// driftOrigin is the local day from which a common drift is counted, 2004-12-31:
// any day would do, as long as it is the same for every fleet and month.
const driftOrigin = 12783

func (r *dayCounts) signal() *fit.Signal {
	sig := &fit.Signal{First: r.First, Log: make([]float64, len(r.Bins)), Sites: r.Sites}
	for d := range r.Bins {
		sig.Log[d] = medianOfBins(&r.Bins[d])
	}
	var diffs []float64
	for d := 364; d < len(sig.Log); d++ {
		if v := sig.Log[d] - sig.Log[d-364]; !math.IsNaN(v) {
			diffs = append(diffs, v)
		}
	}
	if len(diffs) >= 90 {
		// The doubt of that median, by blocks of four weeks: weather holds.
		sig.DriftSE = stat.SD(stat.BlockBootstrap(diffs, bootstrapBlockDays, 400, uint64(r.Sites), stat.Median))
		slices.Sort(diffs)
		perDay := diffs[len(diffs)/2] / 364
		for d := range sig.Log {
			sig.Log[d] -= float64(perDay * float64(r.First+d-driftOrigin))
		}
	}
	return sig
}

// medianOfBins interpolates within the bin; NaN under seasonMinSites/2 counts.
func medianOfBins(bins *[seasonBins]uint32) float64 {
	total := uint32(0)
	for _, c := range bins {
		total += c
	}
	if total < seasonMinSites/2 {
		return math.NaN()
	}
	half, below := float64(float64(total)/2), 0.0
	for k, c := range bins {
		if below+float64(c) >= half {
			return (float64(k-seasonBins/2) + float64((half-below)/float64(c))) * seasonBinWidth
		}
		below += float64(c)
	}
	return math.NaN()
}

// Season is the fleet's common seasonal signal by region.
type Season struct{ signals map[region]*fit.Signal }

// At gives the signal of a place; nil where fewer than 12 sites stand behind
// it.
func (s *Season) At(latitudeDeg, longitudeDeg float64) *fit.Signal {
	if s == nil {
		return nil
	}
	return s.signals[regionOf(latitudeDeg, longitudeDeg)]
}
