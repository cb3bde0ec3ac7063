package analyze

import (
	"math"

	"rowen/ingest"
)

// enoughOfADay is the share of its hours that a day must have been read in to
// count (methods of the trade ask for 90 %: common practice).
const enoughOfADay = 0.9

// whole tells, by hour, whether what was read tells of the household: production
// where it is metered, and consumption by whatever tells it. A meter of a few
// stray values, or one that began late, takes nothing from the hours without it.
func whole(s *ingest.Series, use *ingest.ConsumptionHours) func(i int) bool {
	made := s.Wh[ingest.Production]
	if !s.Has(ingest.Production) {
		made = nil
	}
	return func(i int) bool {
		return (made == nil || !math.IsNaN(made[i])) && (use.Basis == "" || !math.IsNaN(use.Wh[i])) && (made != nil || use.Basis != "")
	}
}

// countDays counts how much was read: a local day counts where at least 90 % of
// its hours tell of production and of consumption.
func (f *Finding) countDays(s *ingest.Series, cal *ingest.Calendar, read func(i int) bool) {
	n := s.Len()
	if n == 0 {
		return
	}
	hours, inWindow := 0, 0
	for i := range n {
		if !read(i) {
			continue
		}
		hours++
		if h := s.Start + ingest.Hour(i); h >= f.Window.Start && h < f.Window.Start+ingest.Hour(f.Window.N) {
			inWindow++
		}
	}
	f.CoveragePct = 100 * float64(hours) / float64(n)
	f.WindowPct = 100 * float64(inWindow) / float64(f.Window.N)
	for d := range cal.Days() {
		got := 0
		lo, hi := cal.Day(d)
		for i := lo; i < hi; i++ {
			if read(i) {
				got++
			}
		}
		if got > 0 && float64(got) >= enoughOfADay*float64(cal.DayDue(d)) {
			f.Days++
		}
	}
}

// monthly sums the readings by calendar month of the site's clock, over the
// hours that were read.
func monthly(f *Finding, s *ingest.Series, cal *ingest.Calendar, use *ingest.ConsumptionHours, read func(i int) bool) []MonthFigures {
	var ms []MonthFigures
	for _, month := range cal.Months() {
		lo, hi := month.Lo, month.Hi
		m := MonthFigures{First: month.First, ConsumptionKWh: math.NaN(), ExpectedProductionKWh: math.NaN(), ProductionIndex: math.NaN()}
		m.ProductionKWh = sumKWh(s.Wh[ingest.Production], lo, hi)
		if use.Gross {
			m.ConsumptionKWh = sumKWh(use.Wh, lo, hi)
		}
		m.ImportKWh = sumKWh(s.Wh[ingest.Import], lo, hi)
		m.ExportKWh = sumKWh(s.Wh[ingest.Export], lo, hi)
		if s.Wh[ingest.Production] != nil && len(f.Array.ExpectedWh) >= hi {
			m.ExpectedProductionKWh, m.ProductionIndex = expectedOf(m.ProductionKWh, s.Wh[ingest.Production][lo:hi], f.Array.ExpectedWh[lo:hi])
		}
		n := 0
		for i := lo; i < hi; i++ {
			if read(i) {
				n++
			}
		}
		m.CoveragePct = 100 * float64(n) / float64(month.Due)
		ms = append(ms, m)
	}
	return ms
}

// expectedOf says what the array in order would have made in the hours read, and
// the index of what it made. The sky of a few hours may not be known: they count
// like the rest, as long as at least half of the output fell under a known sky
// (our choice); else nothing is said.
func expectedOf(madeKWh float64, madeWh, expectedWh []float64) (expectedKWh, index float64) {
	made, expected := 0.0, 0.0
	for i, e := range expectedWh {
		if !math.IsNaN(e) && !math.IsNaN(madeWh[i]) {
			made, expected = made+madeWh[i], expected+e
		}
	}
	switch {
	case expected > 0 && made == 0 && madeKWh == 0: // dead while the sun shone
		return expected / 1000, 0
	case expected > 0 && made >= 500*madeKWh:
		index = made / expected
		return madeKWh / index, index
	}
	return math.NaN(), math.NaN()
}

func sumKWh(wh []float64, lo, hi int) float64 {
	total, any := 0.0, false
	for i := lo; i < hi && i < len(wh); i++ {
		if !math.IsNaN(wh[i]) {
			total, any = total+wh[i], true
		}
	}
	if !any {
		return math.NaN()
	}
	return total / 1000
}
