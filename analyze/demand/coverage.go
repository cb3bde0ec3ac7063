package demand

import (
	"math"
	"time"

	"rowen/analyze/stat"
	"rowen/ingest"
)

// minMonthShare is what of a month must be measured for its sum to be scaled
// to the whole month (section 13 of the method).
const minMonthShare = 0.75

// months sums every channel by calendar month of the site's clock.
func (s *site) months() []Month {
	series := s.in.Series
	if series == nil {
		series = &ingest.Series{Start: s.cal.start}
	}
	var out []Month
	for d := 0; d < s.n; {
		first := s.cal.date(d)
		y, m, _ := first.Date()
		end := d
		for end < s.n {
			ey, em, _ := s.cal.date(end).Date()
			if ey != y || em != m {
				break
			}
			end++
		}
		// On bills the days are the bills' own, not the readings'.
		off := int(s.cal.start - series.Start)
		lo, hi := int(s.cal.dayStart[d])+off, int(s.cal.dayStart[end])+off
		length := s.monthHours(y, m)
		sum := func(v []float64) float64 {
			kwh, _ := scaledSum(v, lo, hi, length)
			return kwh
		}
		month := Month{
			First:          time.Date(y, m, 1, 0, 0, 0, 0, s.location()),
			ProductionKWh:  sum(s.channel(ingest.Production)),
			ImportKWh:      sum(s.channel(ingest.Import)),
			ExportKWh:      sum(s.channel(ingest.Export)),
			ConsumptionKWh: math.NaN(),
		}
		if s.basis.name == BasisBills {
			month.ConsumptionKWh, month.DataPct = s.billedMonth(d, end, length)
		} else if s.basis.wh != nil {
			kwh, share := scaledSum(s.basis.wh, lo, hi, length)
			month.DataPct = 100 * share
			if s.basis.gross {
				month.ConsumptionKWh = kwh
			}
		}
		out = append(out, month)
		d = end
	}
	return out
}

func (s *site) location() *time.Location {
	if s.in.Location == nil {
		return time.UTC
	}
	return s.in.Location
}

// channel is a channel's hours; nil where not metered or refused.
func (s *site) channel(c ingest.Channel) []float64 {
	if s.in.Series == nil || s.in.Series.Refused(c) {
		return nil
	}
	if c == ingest.Production && s.made != nil {
		return s.made
	}
	return s.in.Series.Wh[c]
}

// monthHours is how many hours the calendar month has on the site's clock.
func (s *site) monthHours(y int, m time.Month) float64 {
	loc := s.location()
	return time.Date(y, m+1, 1, 0, 0, 0, 0, loc).Sub(time.Date(y, m, 1, 0, 0, 0, 0, loc)).Hours()
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

// billedMonth is the month's use from bills prorated by day.
func (s *site) billedMonth(from, to int, length float64) (kwh, pct float64) {
	k := 0
	for d := from; d < to; d++ {
		if !math.IsNaN(s.kwh[d]) {
			kwh += s.kwh[d]
			k++
		}
	}
	share := min(float64(24*k)/length, 1)
	if share < minMonthShare {
		return math.NaN(), 100 * share
	}
	return kwh / share, 100 * share
}

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
func (s *site) coverage(months []Month) Coverage {
	nan := math.NaN()
	c := Coverage{NowPct: nan, StartPct: nan, TrendPtsYr: nan, TrendLow: nan, TrendHigh: nan,
		ProductionKWh: nan, ConsumptionKWh: nan, OwnUsePct: nan, ExportPct: nan, SelfSufficiencyPct: nan}
	for k := range c.ShortfallKWh {
		c.ShortfallKWh[k] = nan
	}
	s.coverageByMonth(&c, months)
	production, exported := s.channel(ingest.Production), s.channel(ingest.Export)
	if production == nil || s.basis.wh == nil || !s.basis.gross {
		return c
	}
	made, used, sent, k := 0.0, 0.0, 0.0, 0
	for i := range s.in.Window.N {
		at := int(s.in.Window.Start-s.cal.start) + i
		if at < 0 || at >= len(production) {
			continue
		}
		p, u := production[at], s.basis.wh[at]
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
	scale := float64(s.in.Window.N) / float64(k) / 1000
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
func (s *site) coverageByMonth(c *Coverage, months []Month) {
	var at, pts []float64
	first := map[time.Month]float64{}
	made, used := 0.0, 0.0
	end := s.cal.date(s.n - 1)
	if s.in.Window.N > 0 {
		end = (s.in.Window.Start + ingest.Hour(s.in.Window.N) - 1).Time().In(s.location())
	}
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
