package ingest

import (
	"fmt"
	"math"
	"time"
)

// Where the consumption of an hour comes from.
const (
	BasisMeter   = "meter"   // a consumption meter
	BasisDerived = "derived" // production + import - export
	BasisNet     = "net"     // import (less export) only: what the array makes for own use is not in it
)

// ConsumptionHours is what counts as the household's consumption, by hour.
type ConsumptionHours struct {
	Basis string    // of most hours; "": nothing tells it
	Wh    []float64 // NaN: missing
	// Gross tells that what the array made for own use is in it.
	Gross bool
	// Seams are the hours from which on, for a week and more, the other basis
	// tells it: a step of the level there may be the meters'.
	Seams   []Seam
	Caveats []Caveat
}

// Seam is a change of the basis.
type Seam struct {
	At            Hour
	Before, After string
	Compared      bool // the two were read at the same time, and agree
}

// The two ways to know consumption are compared over the hours where both are
// known: they belong together where their sums differ by differPct at most. Fewer
// than strayHours of the meter are stray values. Our choices; common practice
// wants 2 % of meters read at the same moment.
const (
	differPct  = 5
	strayHours = 48
	seamHours  = 7 * 24
)

// JoinConsumption chooses and joins what tells a household's consumption.
//
//	derived = production + import - export
//
// The meter counts where it has at least half the hours that the derivation has,
// else the derivation; the other one fills the holes of the first where the two
// agree, or were never known at the same time. Where neither is known, import
// less export stands for it, which is net.
//
// In:     a series whose findings have been applied; a refused channel is not used. out is reused.
// Out:    hours as long as the series, with the seams and what is doubtful.
// Edges:  fewer than two days of meter beside a derivation are stray values, and not used; a net or derived hour may be below zero.
// Cost:   O(hours).
func JoinConsumption(s *Series, out []float64) ConsumptionHours {
	if s == nil || s.Len() == 0 {
		return ConsumptionHours{}
	}
	n := s.Len()
	if cap(out) < n {
		out = make([]float64, n)
	}
	c := ConsumptionHours{Wh: out[:n]}
	meter, imported, exported := s.usable(Consumption), s.usable(Import), s.usable(Export)
	derived := derive(s.usable(Production), imported, exported)
	t := tallyMeters(meter, derived)
	switch {
	case t.meter == 0 && t.derived == 0:
		return c.net(imported, exported)
	case t.derived == 0 || t.meter >= strayHours && 2*t.meter >= t.derived:
		c.Basis, c.Gross = BasisMeter, true
		c.join(s, meter, derived, BasisDerived, t)
	default:
		c.Basis, c.Gross = BasisDerived, true
		if t.meter < strayHours {
			meter = nil
		}
		c.join(s, derived, meter, BasisMeter, t)
		c.sayNegative()
	}
	return c
}

// usable is a channel's hours; nil where not metered or refused.
func (s *Series) usable(c Channel) []float64 {
	if s.Wh[c] == nil || s.Refused(c) {
		return nil
	}
	return s.Wh[c]
}

func derive(production, imported, exported []float64) []float64 {
	if production == nil || imported == nil || exported == nil {
		return nil
	}
	wh := make([]float64, len(production))
	for i := range wh {
		wh[i] = production[i] + imported[i] - exported[i]
	}
	return wh
}

// tally is how much each way knows, and how they compare where both do.
type tally struct {
	meter, derived, both int
	meterWh, derivedWh   float64 // over the hours of both
}

func tallyMeters(meter, derived []float64) tally {
	var t tally
	for i := range max(len(meter), len(derived)) {
		m, d := at(meter, i), at(derived, i)
		if m == m {
			t.meter++
		}
		if d == d {
			t.derived++
		}
		if m == m && d == d {
			t.both, t.meterWh, t.derivedWh = t.both+1, t.meterWh+m, t.derivedWh+d
		}
	}
	return t
}

func at(v []float64, i int) float64 {
	if i >= len(v) {
		return math.NaN()
	}
	return v[i]
}

// agree tells whether the two ways may be joined, and how far the meter is off.
func (t tally) agree() (ok bool, offPct float64) {
	if t.both == 0 {
		return true, math.NaN()
	}
	offPct = 100 * (t.meterWh/t.derivedWh - 1)
	return t.both >= strayHours && math.Abs(offPct) <= differPct, offPct
}

// join fills the holes of the first way with the second.
func (c *ConsumptionHours) join(s *Series, first, second []float64, otherBasis string, t tally) {
	copy(c.Wh, first)
	if second == nil {
		return
	}
	ok, off := t.agree()
	filled := 0
	var from []bool // by hour: the other basis tells it
	for i, x := range second {
		if x == x && c.Wh[i] != c.Wh[i] {
			filled++
			if ok {
				if from == nil {
					from = make([]bool, len(second))
				}
				c.Wh[i], from[i] = x, true
			}
		}
	}
	switch {
	case filled == 0:
	case !ok:
		c.say("consumption_meters_differ", "The consumption meter differs from production + import - export by %+.0f %% over %d hours where both are known: %d hours that only the other one knows are not used.", off, t.both, filled)
	default:
		c.Seams = seams(s, from, c.Basis, otherBasis, c.Wh)
		for i := range c.Seams {
			c.Seams[i].Compared = t.both > 0
		}
		if len(c.Seams) == 0 {
			return
		}
		compared := "they were never read at the same time, so a step there may be the meters'"
		if t.both > 0 {
			compared = fmt.Sprintf("over %d hours where both are known they differ by %+.1f %%", t.both, off)
		}
		c.say("consumption_joined", "Consumption is the meter's for a part and production + import - export for another, joined at %s: %s.", seamDates(c.Seams), compared)
	}
}

// seams finds where, for a week and more, the other basis tells it. Hours that
// nothing tells belong to what came before.
func seams(s *Series, from []bool, basis, other string, wh []float64) []Seam {
	names := map[bool]string{false: basis, true: other}
	type run struct {
		at, hours int
		is        bool
	}
	var runs []run
	for i, is := range from {
		if wh[i] != wh[i] {
			continue
		}
		if n := len(runs); n > 0 && runs[n-1].is == is {
			runs[n-1].hours++
		} else {
			runs = append(runs, run{i, 1, is})
		}
	}
	var list []Seam
	now, known := false, false
	for _, r := range runs {
		if r.hours < seamHours {
			continue
		}
		if known && r.is != now {
			list = append(list, Seam{At: s.Start + Hour(r.at), Before: names[now], After: names[r.is]})
		}
		now, known = r.is, true
	}
	return list
}

func seamDates(list []Seam) string {
	text := ""
	for i, s := range list {
		if i > 0 {
			text += ", "
		}
		if i == 3 {
			return fmt.Sprintf("%sand %d more dates", text, len(list)-i)
		}
		text += s.At.Time().Format(time.DateOnly)
	}
	return text
}

func (c *ConsumptionHours) say(code, format string, a ...any) {
	c.Caveats = append(c.Caveats, Caveat{Code: code, Says: fmt.Sprintf(format, a...)})
}

// sayNegative: meters that are not read at the same instant make a derivation
// negative; more than a hundredth of its hours is worth saying (our choice).
func (c *ConsumptionHours) sayNegative() {
	negative, known := 0, 0
	for _, x := range c.Wh {
		if x == x {
			known++
		}
		if x < 0 {
			negative++
		}
	}
	if 100*negative > known {
		c.say("derived_negative", "Consumption derived as production + import - export is below zero in %d of %d hours: the meters are not read at the same instant, or one is wired the wrong way.", negative, known)
	}
}

// net takes import less export, or import alone.
func (c ConsumptionHours) net(imported, exported []float64) ConsumptionHours {
	known := false
	for _, x := range imported {
		known = known || x == x
	}
	if !known {
		return ConsumptionHours{}
	}
	c.Basis = BasisNet
	copy(c.Wh, imported)
	says := "Only import is known: what the array made for own use is not in the figures, so consumption is understated and growth is net growth."
	if exported != nil {
		for i, e := range exported {
			c.Wh[i] -= e // NaN where the export is missing
		}
		says = "Only import less export is known: consumption, growth and events are net of the array's output, and own use is unknown."
	}
	c.Caveats = append(c.Caveats, Caveat{Code: "net_only", Says: says})
	return c
}
