package demand

import (
	"fmt"
	"math"
	"time"

	"rowen/ingest"
)

// readBills takes the bills for the household's use where no meter tells it:
// each bill's energy spread evenly over its days, with the production where it
// is metered.
//
//	use a day = (import - export + production over the bill's days) / days
//
// The production is spread like the rest: added day by day it would make sunny
// days those of high use, and hot days are sunny.
// Edges: a bill without an export column beside a metered production cannot
// tell own use, nor can one without a production meter: the result is net.
// Days without production are the mean of the bill's others, where nine tenths
// of them are there; else the bill counts for nothing.
// Bills that overlap: the first by its start holds the day.
// Source: CalTRACK 2.2 drops reads under 25 days; here they are kept, since
// they are not regressed one by one.
func (s *site) readBills() {
	bills := s.in.Bills
	if len(bills) == 0 {
		return
	}
	first, last := bills[0].From, bills[0].To
	for _, b := range bills {
		if b.From.Before(first) {
			first = b.From
		}
		if b.To.After(last) {
			last = b.To
		}
	}
	lo, hi := dayNumber(first), dayNumber(last)
	if hi <= lo {
		return
	}
	start := ingest.HourOf(localMidnight(lo, s.location()))
	end := ingest.HourOf(localMidnight(hi, s.location()))
	newCalendar(start, int(end-start), s.in.Location, &s.cal)
	s.n = s.cal.days()
	s.kwh, s.share = make([]float64, s.n), make([]float64, s.n)
	s.counted, s.absent = make([]bool, s.n), make([]bool, s.n)
	for d := range s.kwh {
		s.kwh[d] = math.NaN()
	}
	production := s.productionByDay()
	s.basis = basis{name: BasisBills, gross: production != nil}
	for _, b := range bills {
		from, to := dayNumber(b.From), dayNumber(b.To)
		if to <= from || math.IsNaN(b.ImportKWh) {
			continue
		}
		net := b.ImportKWh
		if !math.IsNaN(b.ExportKWh) {
			net -= b.ExportKWh
		} else {
			s.basis.gross = false
		}
		use := net / float64(to-from)
		begin, end := from-s.cal.firstDay, min(to-s.cal.firstDay, s.n)
		if production != nil && !math.IsNaN(b.ExportKWh) {
			use += meanOfMost(production[begin:end])
		}
		for d := begin; d < end; d++ {
			if !math.IsNaN(s.kwh[d]) {
				continue
			}
			s.kwh[d], s.share[d] = use, 1
			s.counted[d] = !math.IsNaN(use)
		}
	}
	s.count()
	says := "Use is taken from utility bills, spread evenly over their days: months are as fine as it gets."
	if !s.basis.gross {
		says = "Use is taken from utility bills without the production or the export beside them: what the array made for own use is not in it, and growth is net growth."
	}
	s.caveats = append(s.caveats, ingest.Caveat{Code: "bills_only", Says: says})
	if short := len(bills); short < 12 {
		s.caveats = append(s.caveats, ingest.Caveat{Code: "bills_few", Says: fmt.Sprintf("Only %d bills are there.", short)})
	}
}

// billsAround widens the range of a change to whole bills: from the first day of
// the bill that holds the day before the range to the last of that which holds
// its end. Within a bill nothing tells one day from another.
func (s *site) billsAround(g group) (low, high int) {
	low, high = g.low, g.top
	for _, b := range s.in.Bills {
		from, to := dayNumber(b.From)-s.cal.firstDay, dayNumber(b.To)-s.cal.firstDay
		if from < g.low && g.low <= to {
			low = min(low, from)
		}
		if from <= g.top && g.top < to {
			high = max(high, to)
		}
	}
	return max(low, 0), min(high, s.n-1)
}

// meanOfMost is the mean of what is known; NaN where that is under nine tenths.
func meanOfMost(v []float64) float64 {
	sum, k := 0.0, 0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum, k = sum+x, k+1
		}
	}
	if float64(k) < shareForSum*float64(len(v)) {
		return math.NaN()
	}
	return sum / float64(k)
}

// productionByDay sums the production over the bills' days; nil: not metered.
func (s *site) productionByDay() []float64 {
	p := s.channel(ingest.Production)
	if countKnown(p) == 0 {
		return nil
	}
	var c calendar
	newCalendar(s.in.Series.Start, s.in.Series.Len(), s.in.Location, &c)
	sum, _ := daySums(&c, p, nil, nil)
	out := make([]float64, s.n)
	for d := range out {
		out[d] = math.NaN()
		if k := s.cal.firstDay + d - c.firstDay; k >= 0 && k < len(sum) {
			out[d] = sum[k] / 1000
		}
	}
	return out
}

// dayNumber is the day number of a date, whatever zone it was written in.
func dayNumber(t time.Time) int {
	y, m, d := t.Date()
	return int(floorDiv(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix(), 86400))
}

func localMidnight(number int, loc *time.Location) time.Time {
	y, m, d := time.Unix(int64(number)*86400, 0).UTC().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc)
}

func daysIn(year, month int) int {
	return time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC).Day()
}
