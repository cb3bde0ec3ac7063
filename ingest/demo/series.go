package demo

import (
	"math"

	"rowen/ingest"
)

// simulate fills sc.wh with the true energies by native step from the site's
// first step to its last, all four channels, for the faults and events given.
func (s *site) simulate(m *Made, sc *scratch, faults []fault, events []event) {
	r := s.region
	sc.rays.cast(r, s, stream(s.seed, 30))
	sc.rays.generate(r, s, faults, nil)
	sc.loads.use(r, s, events)
	s.meter(m, sc, hasFault(faults, "curtailment"))
}

func hasFault(faults []fault, code string) bool {
	for i := range faults {
		if faults[i].code == code {
			return true
		}
	}
	return false
}

// meter sums power over the native step. What is used at once and what passes
// the grid meter is settled within the finest step.
func (s *site) meter(m *Made, sc *scratch, capped bool) {
	tl, r := m.tl, s.region
	per := m.opts.StepMinutes / tl.dtMinutes
	n := (s.last - s.first) / per
	for c := range sc.wh {
		if cap(sc.wh[c]) < n {
			sc.wh[c] = make([]float64, n)
		}
		sc.wh[c] = sc.wh[c][:n]
	}
	prod, use, imp, exp := sc.wh[ingest.Production], sc.wh[ingest.Consumption], sc.wh[ingest.Import], sc.wh[ingest.Export]
	toWh := 1 / float64(tl.perHour) // of W
	j := sc.rays.from(r, s.first)
	for i := range n {
		var p, u, in, out float64
		for k := range per {
			step := s.first + i*per + k
			load := float64(sc.loads.kW[step] * 1000)
			made := 0.0
			if j < len(r.lit) && int(r.lit[j]) == step {
				made = sc.rays.out[j]
				j++
			}
			if capped && step >= s.roof.capFrom && made > load+s.roof.exportCapW {
				made = load + s.roof.exportCapW
			}
			p += made
			u += load
			if made > load {
				out += made - load
			} else {
				in += load - made
			}
		}
		prod[i], use[i], imp[i], exp[i] = p*toWh, u*toWh, in*toWh, out*toWh
	}
}

// series fills out with what the meters say.
func (s *site) series(m *Made, sc *scratch, out *ingest.Series) {
	s.simulate(m, sc, s.faults, s.events)
	s.read(m, sc)
	mt := &s.meters
	stepsPerHour := 60 / m.opts.StepMinutes
	out.SiteID, out.StepMinutes = s.reg.ID, m.opts.StepMinutes
	out.Estimated, out.Quality = nil, nil
	out.Start = m.tl.start + ingest.Hour(mt.from/m.tl.perHour)
	lo := (mt.from - s.first) / m.tl.perHour * stepsPerHour
	hi := (mt.to - s.first) / m.tl.perHour * stepsPerHour
	hours := (hi - lo) / stepsPerHour
	if m.opts.StepMinutes < 60 {
		if out.Fine == nil {
			out.Fine = new(ingest.Fine)
		}
		out.Fine.Start, out.Fine.StepMinutes = out.Start, m.opts.StepMinutes
	} else {
		out.Fine = nil
	}
	for c := range out.Wh {
		if !s.metered(ingest.Channel(c)) {
			out.Wh[c] = nil
			if out.Fine != nil {
				out.Fine.Wh[c] = nil
			}
			continue
		}
		if cap(out.Wh[c]) < hours {
			out.Wh[c] = make([]float64, hours)
		}
		out.Wh[c] = out.Wh[c][:hours]
		src := sc.wh[c][lo:hi]
		for h := range out.Wh[c] {
			sum := 0.0
			for k := range stepsPerHour {
				sum += src[h*stepsPerHour+k]
			}
			out.Wh[c][h] = sum
		}
		if out.Fine != nil {
			if cap(out.Fine.Wh[c]) < len(src) {
				out.Fine.Wh[c] = make([]float32, len(src))
			}
			out.Fine.Wh[c] = out.Fine.Wh[c][:len(src)]
			for i, v := range src {
				out.Fine.Wh[c][i] = float32(v)
			}
		}
	}
}

func (s *site) metered(c ingest.Channel) bool {
	switch c {
	case ingest.Production:
		return s.meters.production
	case ingest.Consumption:
		return s.meters.consumption
	}
	return s.meters.grid
}

// read turns true energies into readings: whole Wh, the consumption meter's
// gain, gaps, a dead meter, channels plugged in the wrong way round.
func (s *site) read(m *Made, sc *scratch) {
	mt := &s.meters
	per, n := m.opts.StepMinutes/m.tl.dtMinutes, len(sc.wh[0])
	slot := func(at int) int { return min(max((at-s.first)/per, 0), n) } // what befell the site may lie outside of a short fleet
	for c := range sc.wh {
		gain := 1.0
		if ingest.Channel(c) == ingest.Consumption {
			gain = mt.consumptionGain
		}
		carry := 0.0 // a counter loses nothing to rounding
		for i, v := range sc.wh[c] {
			carry += float64(v * gain)
			w := math.Round(carry)
			carry -= w
			sc.wh[c][i] = w
		}
	}
	if mt.deadFrom >= 0 {
		for i := slot(mt.deadFrom); i < n; i++ {
			sc.wh[ingest.Production][i] = 0
		}
	}
	if mt.swapped[1] > mt.swapped[0] {
		a, b := sc.wh[ingest.Production], sc.wh[ingest.Consumption]
		for i := slot(mt.swapped[0]); i < slot(mt.swapped[1]); i++ {
			a[i], b[i] = b[i], a[i]
		}
	}
	if mt.lateFrom > 0 {
		hour := 60 / m.opts.StepMinutes
		from := slot(mt.lateFrom)
		for c := range sc.wh {
			copy(sc.wh[c][min(from+hour, n):], sc.wh[c][from:])
		}
	}
	for _, at := range mt.spikes {
		if i := slot(at); at >= s.first && i < n {
			for c := range sc.wh {
				sc.wh[c][i] = 4194303 // a counter's full width
			}
		}
	}
	for _, g := range mt.gaps {
		for c := range sc.wh {
			for i := slot(g[0]); i < slot(g[1]); i++ {
				sc.wh[c][i] = math.NaN()
			}
		}
	}
}
