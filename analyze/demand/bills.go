package demand

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
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
func (h *household) readBills() {
	bills := h.in.Bills
	lo, hi := spanOf(bills)
	if hi <= lo {
		return
	}
	loc := h.in.Location
	if loc == nil {
		loc = time.UTC
	}
	start, end := ingest.HourOf(localMidnight(lo, loc)), ingest.HourOf(localMidnight(hi, loc))
	h.calendar = &h.in.Scratch.calendar
	h.calendar.Lay(loc, start, int(end-start))
	n := h.calendar.Days()
	d := &fit.Days{First: h.calendar.DayNumber(0), KWh: make([]float64, n), Share: make([]float64, n), Monthly: true,
		South: h.in.LatitudeDeg < 0, Counted: make([]bool, n), Absent: make([]bool, n)}
	for k := range d.KWh {
		d.KWh[k] = math.NaN()
	}
	d.Targets = [][]float64{d.KWh}
	production := h.productionByDay(d.First, n)
	h.basis = basis{name: BasisBills, gross: production != nil}
	for _, b := range bills {
		h.gross = spread(d, b, production) && h.gross
	}
	d.Gross = h.gross
	d.Recount()
	h.days = d
	says := "Consumption is taken from utility bills, spread evenly over their days: nothing finer than months is known."
	if !h.gross {
		says = "Consumption is taken from utility bills without the production or the export beside them: what the array made for own use is not in it, and growth is net growth."
	}
	h.caveats = append(h.caveats, ingest.Caveat{Code: "bills_only", Says: says})
	if short := len(bills); short < 12 {
		h.caveats = append(h.caveats, ingest.Caveat{Code: "bills_few", Says: fmt.Sprintf("Only %d bills are there.", short)})
	}
}

// spanOf is the day numbers from the first bill's start to the last one's end.
func spanOf(bills []ingest.Bill) (lo, hi int) {
	if len(bills) == 0 {
		return 0, 0
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
	return dayNumber(first), dayNumber(last)
}

// spread lays one bill over its days; it tells whether the bill can tell own
// use.
func spread(d *fit.Days, b ingest.Bill, production []float64) (gross bool) {
	from, to := dayNumber(b.From), dayNumber(b.To)
	if to <= from || math.IsNaN(b.ImportKWh) {
		return true
	}
	net, gross := b.ImportKWh, !math.IsNaN(b.ExportKWh)
	if gross {
		net -= b.ExportKWh
	}
	use := net / float64(to-from)
	begin, end := from-d.First, min(to-d.First, d.N())
	if production != nil && gross {
		use += meanOfMost(production[begin:end])
	}
	for k := begin; k < end; k++ {
		if math.IsNaN(d.KWh[k]) {
			d.KWh[k], d.Share[k] = use, 1
			d.Counted[k] = !math.IsNaN(use)
		}
	}
	return gross
}

// billsAround widens the range of a change to whole bills: from the first day of
// the bill that holds the day before the range to the last of that which holds
// its end. Within a bill nothing tells one day from another.
func (h *household) billsAround(g *change.Group) (low, high int) {
	low, high = g.Low, g.Top
	for _, b := range h.in.Bills {
		from, to := dayNumber(b.From)-h.days.First, dayNumber(b.To)-h.days.First
		if from < g.Low && g.Low <= to {
			low = min(low, from)
		}
		if from <= g.Top && g.Top < to {
			high = max(high, to)
		}
	}
	return max(low, 0), min(high, h.days.N()-1)
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

// productionByDay sums the production over n days from day number first, kWh;
// nil: not metered.
func (h *household) productionByDay(first, n int) []float64 {
	p := h.channel(ingest.Production)
	if countKnown(p) == 0 {
		return nil
	}
	c := ingest.NewCalendar(h.in.Location, h.in.Series.Start, h.in.Series.Len())
	sum, _ := daySums(c, p)
	out := make([]float64, n)
	for d := range out {
		out[d] = math.NaN()
		if k := first + d - c.DayNumber(0); k >= 0 && k < len(sum) {
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
