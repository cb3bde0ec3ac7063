package demand

import (
	"fmt"
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
	made    []float64       // production with swapped days mended; nil: as read
	swapped []bool          // such days; nil: none
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
	h := household{in: in, basis: pickBasis(in.Series, in.Scratch.use)}
	if h.wh == nil {
		h.readBills()
		return h
	}
	in.Scratch.use = h.wh
	if h.calendar = in.Calendar; h.calendar == nil {
		h.calendar = &in.Scratch.calendar
		h.calendar.Lay(in.Location, in.Series.Start, in.Series.Len())
	}
	h.basis = mendSwapped(in.Series, h.basis, h.calendar)
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
	if c == ingest.Production && h.made != nil {
		return h.made
	}
	return channel(h.in.Series, c)
}

func channel(s *ingest.Series, c ingest.Channel) []float64 {
	if s.Refused(c) {
		return nil
	}
	return s.Wh[c]
}

// pickBasis chooses the consumption meter; else production + import - export
// (section 7.1 of the method); else import less export, which is net.
//
// A channel that ingest refused is not used. Where the meter has less than
// half the hours that the derivation has, the derivation is taken. A gross
// meter's zero hour counts as missing (CalTRACK 2.2): no household uses
// nothing; a net meter's zero is legal.
func pickBasis(s *ingest.Series, out []float64) basis {
	if s == nil || s.Len() == 0 {
		return basis{}
	}
	consumption, production := channel(s, ingest.Consumption), channel(s, ingest.Production)
	imported, exported := channel(s, ingest.Import), channel(s, ingest.Export)

	metered := countKnown(consumption)
	derived := 0
	if production != nil && imported != nil && exported != nil {
		for i := range imported {
			if !math.IsNaN(production[i] + imported[i] - exported[i]) {
				derived++
			}
		}
	}
	out = fit.Resize(out, s.Len())
	switch {
	case metered > 0 && 2*metered >= derived:
		for i, v := range consumption {
			out[i] = v
			if v == 0 {
				out[i] = math.NaN()
			}
		}
		return basis{name: BasisMeter, wh: out, gross: true}
	case derived > 0:
		for i := range out {
			out[i] = production[i] + imported[i] - exported[i]
		}
		b := basis{name: BasisDerived, wh: out, gross: true}
		if negative := countNegative(out); negative > derived/100 {
			b.caveats = append(b.caveats, ingest.Caveat{
				Code: "derived_negative",
				Says: fmt.Sprintf("Use derived as production + import - export is below zero in %d of %d hours: the meters are not read at the same instant, or one is wired the wrong way.", negative, derived),
			})
		}
		return b
	case countKnown(imported) > 0:
		copy(out, imported)
		says := "Only import is known: what the array made for own use is not in the figures, so use is understated and growth is net growth."
		if exported != nil {
			for i, e := range exported {
				out[i] -= e // NaN where the export is missing
			}
			says = "Only import less export is known: use, growth and events are net of the array's output, and own use is unknown."
		}
		return basis{name: BasisNet, wh: out, caveats: []ingest.Caveat{{Code: "net_only", Says: says}}}
	}
	return basis{}
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

func countNegative(v []float64) int {
	n := 0
	for _, x := range v {
		if x < 0 {
			n++
		}
	}
	return n
}
