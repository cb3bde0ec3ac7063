package demand

import (
	"math"

	"rowen/ingest"
)

// minMonthShare is what of a month must be measured for its sum to be scaled
// to the whole month (section 13 of the method).
const minMonthShare = 0.75

// months sums every channel by calendar month of the site's clock.
func (h *household) months() []Month {
	// On bills the days are the bills' own, not the readings'.
	off := 0
	if h.in.Series != nil {
		off = int(h.calendar.Start - h.in.Series.Start)
	}
	var out []Month
	for _, m := range h.calendar.Months() {
		sum := func(c ingest.Channel) float64 {
			kwh, _ := scaledSum(h.channel(c), m.Lo+off, m.Hi+off, float64(m.Due))
			return kwh
		}
		month := Month{First: m.First, ProductionKWh: sum(ingest.Production),
			ImportKWh: sum(ingest.Import), ExportKWh: sum(ingest.Export), ConsumptionKWh: math.NaN()}
		if h.name == BasisBills {
			month.ConsumptionKWh, month.DataPct = h.billedMonth(m)
		} else if h.wh != nil {
			kwh, share := scaledSum(h.wh, m.Lo, m.Hi, float64(m.Due))
			month.DataPct = 100 * share
			if h.gross {
				month.ConsumptionKWh = kwh
			}
		}
		out = append(out, month)
	}
	return out
}

// scaledSum is the hours' sum in kWh, scaled to the length where enough of it
// is there, and the share that is.
func scaledSum(wh []float64, lo, hi int, length float64) (kwh, share float64) {
	lo, hi = max(lo, 0), min(hi, len(wh))
	if hi <= lo {
		return math.NaN(), 0
	}
	k := 0
	for _, v := range wh[lo:hi] {
		if !math.IsNaN(v) {
			kwh += v / 1000
			k++
		}
	}
	share = min(float64(k)/length, 1)
	if share < minMonthShare {
		return math.NaN(), share
	}
	return kwh / share, share
}

// billedMonth is the month's consumption from bills prorated by day.
func (h *household) billedMonth(m ingest.CalendarMonth) (kwh, pct float64) {
	k := 0
	from, to := h.calendar.DayOf(h.calendar.Start+ingest.Hour(m.Lo)), h.calendar.DayOf(h.calendar.Start+ingest.Hour(m.Hi))
	for d := from; d < to; d++ {
		if !math.IsNaN(h.days.KWh[d]) {
			kwh += h.days.KWh[d]
			k++
		}
	}
	share := min(float64(24*k)/float64(m.Due), 1)
	if share < minMonthShare {
		return math.NaN(), 100 * share
	}
	return kwh / share, 100 * share
}
