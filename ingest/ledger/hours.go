package ledger

import (
	"slices"

	"rowen/ingest"
)

// writeHours sums the slots by hour; an hour with a slot missing is missing.
func (ld *loader) writeHours(siteID string, s *ingest.Series) {
	hours := int(int64(ld.slots) * ld.slot / 3600)
	s.SiteID, s.Start = siteID, ingest.Hour(ld.base/3600)
	s.Quality = s.Quality[:0]
	per := int(3600 / ld.slot)
	for c := range ld.grid {
		g := &ld.grid[c]
		if !g.used {
			s.Wh[c] = nil
			continue
		}
		out := slices.Grow(s.Wh[c][:0], hours)[:hours]
		if per == 1 {
			for h := range out {
				if g.piece[h] == 0 {
					out[h] = nan
				} else {
					out[h] = float64(g.value[h]) / 1000
				}
			}
		} else {
			for h := range out {
				out[h] = hourSum(g.value[h*per:(h+1)*per], g.piece[h*per:(h+1)*per])
			}
		}
		s.Wh[c] = out
	}
	best := 0
	for step, covered := range ld.tally {
		if covered > ld.tally[best] {
			best = step
		}
	}
	s.StepMinutes = best
	ld.markEstimated(s, hours)
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

func (ld *loader) markEstimated(s *ingest.Series, hours int) {
	if len(ld.found.estimated) == 0 {
		s.Estimated = nil
		return
	}
	s.Estimated = slices.Grow(s.Estimated[:0], hours)[:hours]
	clear(s.Estimated)
	for _, e := range ld.found.estimated {
		for t := e.from; t < e.to; t += 3600 {
			s.Estimated[(t-ld.base)/3600] = true
		}
		s.Estimated[(e.to-1-ld.base)/3600] = true
	}
}

// writeFine keeps the slots where they are finer than an hour and native.
func (ld *loader) writeFine(s *ingest.Series) {
	if ld.slot >= 3600 || ld.slot < 60 || ld.tally[ld.slot/60] == 0 {
		s.Fine = nil
		return
	}
	if s.Fine == nil {
		s.Fine = &ingest.Fine{}
	}
	s.Fine.Start, s.Fine.StepMinutes = s.Start, int(ld.slot/60)
	for c := range ld.grid {
		g := &ld.grid[c]
		if !g.used {
			s.Fine.Wh[c] = nil
			continue
		}
		out := slices.Grow(s.Fine.Wh[c][:0], ld.slots)[:ld.slots]
		for i, p := range g.piece {
			if p == 1 {
				out[i] = float32(g.value[i]) / 1000
			} else {
				out[i] = nan32
			}
		}
		s.Fine.Wh[c] = out
	}
}
