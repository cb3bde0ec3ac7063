package quality

import (
	"math"

	"rowen/ingest"
)

// swapped: nothing is exported at night without a battery, and a household
// imports then. Export mostly at night beside import mostly by day is the other
// way round.
func swapped(c *checker) {
	if c.sun == nil || !c.hourly() || !c.has(ingest.Import, days14) || !c.has(ingest.Export, days14) {
		return
	}
	share := func(k ingest.Channel) float64 {
		var night, all float64
		for h, x := range c.s.Wh[k] {
			if x == x {
				all += x
				if c.sun.night(h) {
					night += x
				}
			}
		}
		return night / all
	}
	in, out := share(ingest.Import), share(ingest.Export)
	if !(out > 0.3 && in < 0.05) {
		return
	}
	for _, k := range [...]ingest.Channel{ingest.Import, ingest.Export} {
		l := c.level[k]
		c.say(k, ingest.RefuseChannel, part{l.first, l.last + 1, l.present}, "%.0f %% of export but %.0f %% of import comes at night: the two are swapped; exchange their columns in the mapping", 100*out, 100*in)
	}
}

// Balance holds within 2 % of a day's consumption [CP]; a site where a fifth of
// the days break it has channels that do not belong together. Where the days
// miss by more than a fifth in the median, our choice, consumption is refused
// where it can be derived from the other three.
const (
	balancePct     = 0.02
	balanceDays    = 0.2
	balanceRefuse  = 0.2
	balanceMinDays = 14
)

// balance holds production + import against consumption + export day by day.
func balance(c *checker) {
	w := &c.s.Wh
	for k := range ingest.NumChannels {
		if !c.has(k, days14) || c.refused(k) {
			return
		}
	}
	var miss []float64
	broken, days := 0, 0
	var first, last int
	for d := 0; d+24 <= c.s.Len(); d += 24 {
		var p, use, in, out float64
		for h := d; h < d+24; h++ {
			p += w[ingest.Production][h]
			use += w[ingest.Consumption][h]
			in += w[ingest.Import][h]
			out += w[ingest.Export][h]
		}
		rest := p + in - out - use
		if rest != rest || use <= 0 {
			continue
		}
		days++
		m := math.Abs(rest) / math.Max(use, 1000)
		miss = append(miss, m)
		if m > balancePct {
			if broken == 0 {
				first = d
			}
			broken, last = broken+1, d+24
		}
	}
	if days < balanceMinDays || float64(broken) < balanceDays*float64(days) {
		return
	}
	mid := median(miss)
	consequence := ingest.KeepWithCaveat
	if mid > balanceRefuse {
		consequence = ingest.RefuseChannel
	}
	c.say(ingest.Consumption, consequence, part{first, last, broken * 24}, "production + import differs from consumption + export by more than %.0f %% on %d of %d days, by %.0f %% in the median", 100*balancePct, broken, days, 100*mid)
}

// derivedNegative: where consumption is derived from the other three, it cannot
// be below nothing; meters read at different moments make it so by a little.
func derivedNegative(c *checker) {
	w := &c.s.Wh
	if w[ingest.Production] == nil || w[ingest.Import] == nil || w[ingest.Export] == nil || c.has(ingest.Consumption, days14) {
		return
	}
	n, first, last, least, sum, all := 0, 0, 0, 0.0, 0.0, 0.0
	for h := range w[ingest.Production] {
		use := w[ingest.Production][h] + w[ingest.Import][h] - w[ingest.Export][h]
		if use != use {
			continue
		}
		all += use
		if use < 0 {
			if n == 0 {
				first = h
			}
			n, last, least, sum = n+1, h, math.Min(least, use), sum+use
		}
	}
	if n == 0 {
		return
	}
	c.say(ingest.NumChannels, ingest.KeepWithCaveat, part{first, last + 1, n}, "production + import - export is below nothing in %d hours, down to %.2f kWh, %.1f kWh in all of %.0f kWh: the meters are not read at the same moment, or one misses a source", n, least/1000, sum/1000, all/1000)
}
