package ledger

import (
	"slices"

	"rowen/ingest"
)

// writeHours sums the slots by hour; an hour with a slot missing is missing.
func (g *ground) writeHours(siteID string, s *ingest.Series) {
	hours := int(int64(g.slots) * g.slot / 3600)
	s.SiteID, s.Start = siteID, ingest.Hour(g.base/3600)
	s.Quality = s.Quality[:0]
	per := int(3600 / g.slot)
	for c := range g.grid {
		ch := &g.grid[c]
		if !ch.used {
			s.Wh[c] = nil
			continue
		}
		out := slices.Grow(s.Wh[c][:0], hours)[:hours]
		if per == 1 {
			for h := range out {
				if ch.piece[h] == 0 {
					out[h] = nan
				} else {
					out[h] = float64(ch.value[h]) / 1000
				}
			}
		} else {
			for h := range out {
				out[h] = hourSum(ch.value[h*per:(h+1)*per], ch.piece[h*per:(h+1)*per])
			}
		}
		s.Wh[c] = out
	}
	best := 0
	for step, covered := range g.tally {
		if covered > g.tally[best] {
			best = step
		}
	}
	s.StepMinutes = best
	g.markEstimated(s, hours)
}

func hourSum(value []int64, piece []uint16) float64 {
	var sum int64
	for i, p := range piece {
		if p == 0 {
			return nan
		}
		sum += value[i]
	}
	return float64(sum) / 1000
}

func (g *ground) markEstimated(s *ingest.Series, hours int) {
	if len(g.found.estimated) == 0 {
		s.Estimated = nil
		return
	}
	s.Estimated = slices.Grow(s.Estimated[:0], hours)[:hours]
	clear(s.Estimated)
	for _, e := range g.found.estimated {
		for t := e.from; t < e.to; t += 3600 {
			s.Estimated[(t-g.base)/3600] = true
		}
		s.Estimated[(e.to-1-g.base)/3600] = true
	}
}

// writeFine keeps the slots where they are finer than an hour and native.
func (g *ground) writeFine(s *ingest.Series) {
	if g.slot >= 3600 || g.slot < 60 || g.tally[g.slot/60] == 0 {
		s.Fine = nil
		return
	}
	if s.Fine == nil {
		s.Fine = &ingest.Fine{}
	}
	s.Fine.Start, s.Fine.StepMinutes = s.Start, int(g.slot/60)
	for c := range g.grid {
		ch := &g.grid[c]
		if !ch.used {
			s.Fine.Wh[c] = nil
			continue
		}
		out := slices.Grow(s.Fine.Wh[c][:0], g.slots)[:g.slots]
		for i, p := range ch.piece {
			if p == 1 {
				out[i] = float32(ch.value[i]) / 1000
			} else {
				out[i] = nan32
			}
		}
		s.Fine.Wh[c] = out
	}
}
