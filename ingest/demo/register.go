package demo

import (
	"math"

	"rowen/ingest"
)

// flaw books a flaw of the readings.
func (s *site) flaw(code string, from, to, rows int) {
	h := func(step int) ingest.Hour { return s.region.tl.start + ingest.Hour(step/s.region.tl.perHour) }
	s.truth.Flaws = append(s.truth.Flaws, Flaw{Code: code, From: h(from), To: h(to), Rows: rows})
}

// spoil puts flaws into the readings of some sites.
func (m *Made) spoil() {
	swappedOne := false
	for i, s := range m.sites {
		b := &builder{site: s, m: m, rnd: stream(s.seed, 8)}
		perHour := m.tl.perHour
		span := s.meters.to - s.meters.from
		for n := b.rnd.IntN(3); n > 0 && b.chance(0.5); n-- { // the line was down for hours or days
			from := s.meters.from + int(b.rnd.Float64()*float64(span))/perHour*perHour
			to := min(from+int(math.Exp(b.between(0, 5)))*perHour, s.meters.to)
			s.meters.gaps = append(s.meters.gaps, [2]int{from, to})
			b.flaw("gap", from, to, 0)
		}
		if b.chance(0.05) {
			s.meters.repeated = 3 + b.rnd.IntN(40)
			b.flaw("repeated_rows", s.meters.from, s.meters.to, s.meters.repeated)
		}
		if i%40 == 7 && len(s.meters.gaps) == 0 { // some rows nobody can read: the hours are lost
			at := s.meters.from + span/3/perHour*perHour
			s.meters.bad = 3
			s.meters.gaps = append(s.meters.gaps, [2]int{at, at + 3*m.opts.StepMinutes/m.tl.dtMinutes})
			b.flaw("bad_rows", at, at+3*perHour, 3)
		}
		if b.chance(0.04) { // a reading that cannot be, left by a restart
			for n := 1 + b.rnd.IntN(3); n > 0; n-- {
				at := s.meters.from + int(b.rnd.Float64()*float64(span))/perHour*perHour
				s.meters.spikes = append(s.meters.spikes, at)
				b.flaw("spike", at, at+perHour, 1)
			}
		}
		if i%90 == 31 { // a new gateway with its clock set wrong
			s.meters.lateFrom = s.meters.to - 150*24*perHour
			if s.meters.lateFrom > s.meters.from {
				b.flaw("shifted_clock", s.meters.lateFrom, s.meters.to, 0)
			} else {
				s.meters.lateFrom = 0
			}
		}
		if !swappedOne && s.meters.consumption && !s.meters.grid && len(s.faults)+len(s.events) == 0 && span > 300*24*perHour && s.truth.IntendedLane == "no_gain" {
			swappedOne = true // a service visit plugged the two in the wrong way round
			from := s.meters.to - 45*24*perHour
			s.meters.swapped = [2]int{from, s.meters.to}
			b.flaw("swapped_channels", from, s.meters.to, 0)
			s.truth.MayLanes = append(s.truth.MayLanes[:len(s.truth.MayLanes):len(s.truth.MayLanes)], "watch", "no_data", "repair")
		}
	}
}

// register is the fleet as its tables hold it.
func (m *Made) register() *ingest.Fleet {
	f := &ingest.Fleet{Catalogue: m.catalogue, Tariffs: tariffs()}
	for _, s := range m.sites {
		s.reg.Bills = s.bills(m)
		f.Sites = append(f.Sites, s.reg)
	}
	f.Outcomes = m.outcomes()
	if m.opts.Weather {
		f.Stations = []ingest.Station{m.station(m.regions[0])}
	}
	return f
}

// bills are what the utility sent to a site without a consumption meter.
func (s *site) bills(m *Made) []ingest.Bill {
	if !s.meters.bills {
		return nil
	}
	sc := m.scratch.Get().(*scratch)
	defer m.scratch.Put(sc)
	s.simulate(m, sc, s.faults, s.events)
	per := m.opts.StepMinutes / m.tl.dtMinutes
	var out []ingest.Bill
	first := timeOf(m.tl, s.first).In(s.region.loc)
	rnd := stream(s.seed, 9)
	from := first.AddDate(0, 0, 4+rnd.IntN(20)) // the meter is read on some day of the month
	for {
		to := from.AddDate(0, 1, 0)
		lo, hi := m.tl.step(ingest.HourOf(from)), m.tl.step(ingest.HourOf(to))
		if hi > s.last {
			return out
		}
		a, z := (lo-s.first)/per, (hi-s.first)/per
		out = append(out, ingest.Bill{From: dateOf(from), To: dateOf(to),
			ImportKWh: math.Round(sum(sc.wh[ingest.Import][a:z]) / 1000), ExportKWh: math.Round(sum(sc.wh[ingest.Export][a:z]) / 1000)})
		from = to
	}
}

// station is a thermometer in the middle of a region.
func (m *Made) station(r *region) ingest.Station {
	n := m.tl.n / m.tl.perHour
	st := ingest.Station{ID: "W-" + r.name, LatitudeDeg: r.latDeg, LongitudeDeg: r.lonDeg, Start: m.tl.start, TempC: make([]float64, n)}
	rnd := stream(m.opts.Seed, 12)
	for i := range st.TempC {
		mean := 0.0
		for k := range m.tl.perHour {
			mean += float64(r.tempC[i*m.tl.perHour+k])
		}
		st.TempC[i] = math.Round(10*(mean/float64(m.tl.perHour)+float64(0.3*rnd.NormFloat64()))) / 10
	}
	return st
}
