package analyze

import (
	"math"
	"time"

	"rowen/ingest"
)

// enoughOfADay is the share of its hours that a day must have been read in to
// count (methods of the trade ask for 90 %: common practice).
const enoughOfADay = 0.9

// countDays counts how much was read: a local day counts where at least 90 % of
// its hours have every metered channel.
func (f *Finding) countDays(s *ingest.Series) {
	n := s.Len()
	if n == 0 {
		return
	}
	read := func(i int) bool {
		for c := range s.Wh {
			if s.Wh[c] != nil && math.IsNaN(s.Wh[c][i]) {
				return false
			}
		}
		return true
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
	eachSpan(s, f.Location, nextDay, func(_ time.Time, lo, hi, of int) {
		got := 0
		for i := lo; i < hi; i++ {
			if read(i) {
				got++
			}
		}
		if float64(got) >= enoughOfADay*float64(of) {
			f.Days++
		}
	})
}

// monthly sums the readings by calendar month of the site's clock, over the
// hours that were read.
func monthly(f *Finding, s *ingest.Series) []MonthFigures {
	var ms []MonthFigures
	eachSpan(s, f.Location, nextMonth, func(first time.Time, lo, hi, of int) {
		m := MonthFigures{First: first}
		m.ProductionKWh = sumKWh(s.Wh[ingest.Production], lo, hi)
		m.ConsumptionKWh = sumKWh(s.Wh[ingest.Consumption], lo, hi)
		m.ImportKWh = sumKWh(s.Wh[ingest.Import], lo, hi)
		m.ExportKWh = sumKWh(s.Wh[ingest.Export], lo, hi)
		m.ExpectedProductionKWh, m.ProductionIndex = math.NaN(), math.NaN()
		if s.Wh[ingest.Production] != nil && len(f.Array.ExpectedWh) >= hi {
			m.ExpectedProductionKWh, m.ProductionIndex = expectedOf(m.ProductionKWh, s.Wh[ingest.Production][lo:hi], f.Array.ExpectedWh[lo:hi])
		}
		read := 0
		for i := lo; i < hi; i++ {
			whole := true
			for c := range s.Wh {
				whole = whole && (s.Wh[c] == nil || !math.IsNaN(s.Wh[c][i]))
			}
			if whole {
				read++
			}
		}
		m.CoveragePct = 100 * float64(read) / float64(of)
		ms = append(ms, m)
	})
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

func nextDay(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day()+1, 0, 0, 0, 0, t.Location())
}

func nextMonth(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, t.Location())
}

// eachSpan walks the series by local days or months: lo to hi are the hours of
// the series in the span, of is how many hours the whole span has.
func eachSpan(s *ingest.Series, loc *time.Location, next func(time.Time) time.Time, do func(first time.Time, lo, hi, of int)) {
	t := s.Start.Time().In(loc)
	first := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, loc)
	if next(first).Sub(first) > 26*time.Hour { // months
		first = time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, loc)
	}
	for ingest.HourOf(first) < s.End() {
		end := next(first)
		from, to := ingest.HourOf(first), ingest.HourOf(end)
		lo, hi := max(0, int(from-s.Start)), min(s.Len(), int(to-s.Start))
		if hi > lo {
			do(first, lo, hi, int(to-from))
		}
		first = end
	}
}
