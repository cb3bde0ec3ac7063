package demand

import (
	"math"
	"time"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// coverage holds production against consumption.
//
//	coverage = production / consumption
//	own use = (production - export) / production
//	self-sufficiency = (production - export) / consumption
//
// by the hour over the hours where both are known; export is the meter's, or
// what production is above consumption in the hour.
// Out:    NaN where production or gross consumption is not metered.
// Source: section 7.1 of the method.
func (h *household) coverage(months []Month) Coverage {
	nan := math.NaN()
	c := Coverage{NowPct: nan, StartPct: nan, TrendPtsYr: nan, TrendLow: nan, TrendHigh: nan,
		ProductionKWh: nan, ConsumptionKWh: nan, OwnUsePct: nan, ExportPct: nan, SelfSufficiencyPct: nan}
	for k := range c.ShortfallKWh {
		c.ShortfallKWh[k] = nan
	}
	coverageByMonth(&c, months, h.windowEnd())
	production, exported := h.channel(ingest.Production), h.channel(ingest.Export)
	if production == nil || h.wh == nil || !h.gross {
		return c
	}
	made, used, sent, k := 0.0, 0.0, 0.0, 0
	for i := range h.in.Window.N {
		at := int(h.in.Window.Start-h.calendar.Start) + i
		if at < 0 || at >= len(production) {
			continue
		}
		p, u := production[at], h.wh[at]
		if math.IsNaN(p) || math.IsNaN(u) {
			continue
		}
		out := max(p-u, 0)
		if exported != nil && !math.IsNaN(exported[at]) {
			out = exported[at]
		}
		made, used, sent, k = made+p, used+u, sent+min(out, p), k+1
	}
	if k == 0 || made <= 0 || used <= 0 {
		return c
	}
	scale := float64(h.in.Window.N) / float64(k) / 1000
	c.ProductionKWh, c.ConsumptionKWh = made*scale, used*scale
	c.NowPct = 100 * made / used
	c.ExportPct = 100 * sent / made
	c.OwnUsePct = 100 - c.ExportPct
	c.SelfSufficiencyPct = 100 * (made - sent) / used
	return c
}

// coverageByMonth gives the start, the trend and the shortfall: the trend is
// the Theil-Sen slope of the months' coverage against the same months of the
// first year, so that the season does not enter.
func coverageByMonth(c *Coverage, months []Month, end time.Time) {
	var at, pts []float64
	first := map[time.Month]float64{}
	made, used := 0.0, 0.0
	for k, m := range months {
		slot := 11 - monthsBetween(m.First, end)
		if slot >= 0 && slot < 12 {
			c.ShortfallKWh[slot] = m.ConsumptionKWh - m.ProductionKWh
		}
		cover := 100 * m.ProductionKWh / m.ConsumptionKWh
		if math.IsNaN(cover) || math.IsInf(cover, 0) {
			continue
		}
		if k < 12 {
			made, used = made+m.ProductionKWh, used+m.ConsumptionKWh
		}
		base, ok := first[m.First.Month()]
		if !ok {
			first[m.First.Month()] = cover
			base = cover
		}
		at, pts = append(at, float64(k)/12), append(pts, cover-base)
	}
	if used > 0 && len(first) == 12 {
		c.StartPct = 100 * made / used
	}
	if len(at) >= 18 {
		t := stat.TheilSen(at, pts, 0.9)
		c.TrendPtsYr, c.TrendLow, c.TrendHigh = t.Slope, t.Low, t.High
	}
}

func monthsBetween(a, b time.Time) int {
	return (b.Year()-a.Year())*12 + int(b.Month()) - int(a.Month())
}

// windowEnd lies in the window's last month; without a window, the readings'.
func (h *household) windowEnd() time.Time {
	if w := h.in.Window; w.N > 0 {
		return (w.Start + ingest.Hour(w.N) - 1).Time().In(h.calendar.Location)
	}
	return h.calendar.Date(h.calendar.Days() - 1)
}
