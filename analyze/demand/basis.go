package demand

import (
	"math"

	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/ingest"
)

// basis is what counts as the household's consumption, by hour.
type basis struct {
	name    string
	wh      []float64       // NaN: missing; nil: no hours tell it
	gross   bool            // what the array made for own use is in it
	seams   []ingest.Seam   // where the meters that tell it change
	caveats []ingest.Caveat // what is doubtful about it
}

// household is what was read of one site: its consumption on its clock. It is
// not changed once it is read.
type household struct {
	in *Input
	basis
	calendar *ingest.Calendar // of the days: the readings' or the bills'
	days     *fit.Days
}

// read takes the meters' hours for the household's consumption, or its bills
// where no meter tells it. days is nil where nothing does.
func read(in *Input) household {
	use := in.Consumption
	if use == nil {
		joined := ingest.JoinConsumption(in.Series, in.Scratch.use)
		use, in.Scratch.use = &joined, joined.Wh
	}
	h := household{in: in}
	if use.Basis == "" {
		h.readBills()
		return h
	}
	h.basis = basis{name: use.Basis, wh: use.Wh, gross: use.Gross, seams: use.Seams, caveats: use.Caveats}
	if h.calendar = in.Calendar; h.calendar == nil {
		h.calendar = &in.Scratch.calendar
		h.calendar.Lay(in.Location, in.Series.Start, in.Series.Len())
	}
	h.days = daysOf(h.basis, h.calendar, in.LatitudeDeg < 0)
	if !h.onlyDaily() {
		h.days.Targets = load.Targets(h.calendar, h.wh, h.days)
	}
	return h
}

// onlyDaily tells that nothing finer than a day is known.
func (h *household) onlyDaily() bool {
	return h.name == BasisBills || h.in.Series == nil || h.in.Series.StepMinutes >= 1440
}

// channel is a channel's hours; nil where not metered or refused.
func (h *household) channel(c ingest.Channel) []float64 {
	if h.in.Series == nil {
		return nil
	}
	return channel(h.in.Series, c)
}

func channel(s *ingest.Series, c ingest.Channel) []float64 {
	if s.Refused(c) {
		return nil
	}
	return s.Wh[c]
}

func countKnown(v []float64) int {
	n := 0
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}
