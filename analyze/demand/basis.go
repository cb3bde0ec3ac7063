package demand

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// basis is what counts as the household's use, by hour.
type basis struct {
	name string
	wh   []float64 // NaN: missing
	// gross tells that what the array made for own use is in it.
	gross   bool
	caveats []ingest.Caveat
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
	channel := func(c ingest.Channel) []float64 {
		if s.Wh[c] == nil || s.Refused(c) {
			return nil
		}
		return s.Wh[c]
	}
	consumption, production := channel(ingest.Consumption), channel(ingest.Production)
	imported, exported := channel(ingest.Import), channel(ingest.Export)

	metered := countKnown(consumption)
	derived := 0
	if production != nil && imported != nil && exported != nil {
		for i := range imported {
			if !math.IsNaN(production[i] + imported[i] - exported[i]) {
				derived++
			}
		}
	}
	out = resize(out, s.Len())
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
