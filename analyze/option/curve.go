package option

import (
	"slices"

	"rowen/analyze/tariff"
)

// curve is what every size saves under one legal case, over the table's points.
type curve struct {
	name      string
	successor *tariff.Tariff // nil: none
	legal     bool           // the tariff's text allows it
	sizes     int            // size 0 counted
	phases    []phase
	imported  []float64 // kWh by size at the expected hours
}

// worth is a size's saving over the horizon at a point, costs apart.
func (c *curve) worth(t terms, point, size int) float64 {
	if len(c.phases) == 1 {
		return c.phases[0].parts[point*c.sizes+size].dot(t.annuity)
	}
	rest := t.rest()
	sum := 0.0
	for i := range c.phases {
		p := &c.phases[i]
		s := p.parts[point*c.sizes+size]
		sum += float64(p.share[0]*s.dot(t.first)) + s.by(p.worth).dot(rest)
	}
	return sum
}

// savings are those of every year at a point, in the first year's money.
func (c *curve) savings(point, size int) func(year int) parts {
	return func(year int) (sum parts) {
		for i := range c.phases {
			p := &c.phases[i]
			s := p.parts[point*c.sizes+size]
			for k := range sum {
				sum[k] += float64(p.share[year-1] * s[k])
			}
		}
		return sum
	}
}

// bills are those of the first year, without and with a size, at the expected
// hours.
func (c *curve) bills(size int) (before, after float64) {
	for i := range c.phases {
		p := &c.phases[i]
		before += float64(p.share[0] * p.was)
		after += float64(p.share[0] * p.bills[size])
	}
	return before, after
}

// onTariff is the index of the curve on the site's own tariff. Those of a legacy
// tariff follow it where some size within reach would lose its terms.
const onTariff = 0

var caseNames = []string{WithinThreshold, OnSuccessor, NonExport, OwnMeter}

// plan decides which curves are needed.
func (w *work) plan(in *Input, order []run) {
	w.spare = append(w.spare, w.priced...)
	w.priced = w.priced[:0]
	w.open(in.Tariff, &w.main)
	site := in.sitePath()
	site[0].tariff = in.Tariff
	w.curves = w.curves[:0]
	add := func(name string, successor *tariff.Tariff, after path) {
		legal := name == WithinThreshold || name == OnSuccessor || slices.Contains(in.Tariff.Data.Legacy.Apart, name)
		w.curves = append(w.curves, curve{name: name, successor: successor, legal: legal, sizes: len(w.newShare), phases: w.phases(in, site, after)})
	}
	add(WithinThreshold, nil, site)
	if !atStake(in, order) {
		return
	}
	successors := append([]*tariff.Tariff{in.Successor}, in.OtherSuccessors...)
	for _, s := range successors {
		add(OnSuccessor, s, in.pathOf(s))
	}
	add(NonExport, nil, site)
	for _, s := range successors {
		add(OwnMeter, s, in.pathOf(s))
	}
}

// atStake tells whether some size within reach would lose legacy terms.
func atStake(in *Input, order []run) bool {
	lost := false
	walk(order, len(in.Planes), func(_ int, n []int) {
		lost = lost || !in.Tariff.Keeps(addedKW(in, n), in.ExistingKW)
	})
	return lost
}

// keepsShape tells whether every tariff that is billed on does.
func (w *work) keepsShape() bool {
	return !slices.ContainsFunc(w.priced, func(p *account) bool { return !p.tariff.KeepsShape() })
}

// simulate works out every curve at every point of the table.
func (w *work) simulate(in *Input, order []run) {
	for i := range w.curves {
		w.curves[i].reset(w.table.points())
	}
	for _, p := range w.priced {
		w.table.sum(p.kernel, order, w.newShare, &p.exact)
	}
	for n := range w.table.ratios {
		for l, level := range w.table.levels {
			for _, p := range w.priced {
				w.table.between(&p.exact, n, level, &p.sums)
				p.kernel.year.Settle(p.sums.totals(0), &p.before)
			}
			if w.table.point(l, n) == w.table.centre() {
				w.clipped = w.priced[0].sums.clippedBySize(w.clipped, len(w.newShare))
			}
			for i := range w.curves {
				c := &w.curves[i]
				for j := range c.phases {
					w.settle(in, c, &c.phases[j], order, w.table.point(l, n), level)
				}
			}
		}
	}
}

// settle prices every size of a curve's phase at a point.
func (w *work) settle(in *Input, c *curve, ph *phase, order []run, point int, level float64) {
	before, after := w.priced[ph.before], w.priced[ph.after]
	was := split(&before.before, before.tariff.Retail()).by(before.price)
	central := point == w.table.centre()
	put := func(size int, is parts) {
		ph.parts[point*c.sizes+size] = parts{was[0] - is[0], was[1] - is[1], was[2] - is[2]}
		if central {
			ph.was, ph.bills[size] = before.before.Total, w.after.Total
			if ph == &c.phases[0] {
				c.imported[size] = w.after.ImportKWh
			}
		}
	}
	if c.name == OwnMeter {
		walk(order, len(in.Planes), func(size int, n []int) {
			extra := w.settleOwnMeter(after, n, level)
			w.after.Total += before.before.Total
			w.after.ImportKWh += before.before.ImportKWh
			put(size, parts{was[0] + extra[0], was[1] + extra[1], was[2] + extra[2]})
		})
		return
	}
	silent := c.name == NonExport && before.tariff.Data.Legacy != nil
	for size := range w.newShare {
		t := after.sums.totals(size)
		if silent && size > 0 {
			t = after.silence(t)
		}
		after.kernel.year.Settle(t, &w.after)
		put(size, split(&w.after, after.tariff.Retail()).by(after.price))
	}
}

// silence gives a size's totals with the new modules selling nothing: export
// stays at today's.
func (p *account) silence(t tariff.Totals) tariff.Totals {
	try := p.scratch()
	copy(try.ImportKWh, t.ImportKWh)
	copy(try.PeakKW, t.PeakKW)
	copy(try.ExportKWh, p.sums.totals(0).ExportKWh)
	clear(try.NewExportKWh)
	return try
}

func (p *account) scratch() tariff.Totals {
	if len(p.try.ImportKWh) != len(p.kernel.year.Slots) {
		p.try = p.kernel.year.NewTotals()
	}
	return p.try
}

// settleOwnMeter prices the new modules alone on a meter of their own. Size 0 has
// that meter too: it stands for modules that make next to nothing.
func (w *work) settleOwnMeter(on *account, n []int, level float64) parts {
	t := on.scratch()
	clear(t.ImportKWh)
	clear(t.PeakKW)
	for s := range t.ExportKWh {
		t.ExportKWh[s] = 0
		for p, count := range n {
			t.ExportKWh[s] += float64(level * float64(count) * on.kernel.sumUnit[p][s])
		}
	}
	copy(t.NewExportKWh, t.ExportKWh)
	on.kernel.year.Settle(t, &w.after)
	return split(&w.after, on.tariff.Retail()).by(on.price)
}

func (c *curve) reset(points int) {
	for i := range c.phases {
		p := &c.phases[i]
		p.parts, p.bills = make([]parts, points*c.sizes), make([]float64, c.sizes)
	}
	c.imported = make([]float64, c.sizes)
}

// pickCase ranks a size under the best case that the tariff's text allows, and
// keeps the others beside it.
//
//	(a) within the threshold: the legacy terms stay
//	(b) beyond it: the whole site moves to a successor
//	(c) beyond it, the terms stay: no feeding in by the new modules, or a meter of their own
//
// Source: methods 11.3.
func (w *work) pickCase(in *Input, o *Option, t terms) {
	if in.Tariff.Data.Legacy == nil {
		return
	}
	if in.Tariff.Keeps(o.AddedKWDC, in.ExistingKW) {
		o.Case, o.curve = WithinThreshold, onTariff
		o.Cases = []CaseOutcome{w.outcome(onTariff, o, t)}
		return
	}
	best := -1
	for i := range w.curves {
		if i == onTariff {
			continue
		}
		o.Cases = append(o.Cases, w.outcome(i, o, t))
		if at := len(o.Cases) - 1; o.Cases[at].Legal && (best < 0 || o.Cases[at].NetBenefit > o.Cases[best].NetBenefit) {
			best = at
			o.Case, o.Successor, o.curve = o.Cases[at].Case, o.Cases[at].Successor, i
		}
	}
}

func (w *work) outcome(i int, o *Option, t terms) CaseOutcome {
	c := &w.curves[i]
	_, after := c.bills(o.Modules)
	out := CaseOutcome{Case: c.name, Legal: c.legal, BillAfter: after,
		Saving: c.savings(w.table.centre(), o.Modules)(1).total(), NetBenefit: worth(t, o.Cost, o.Modules, c.worth(t, w.table.centre(), o.Modules))}
	if c.successor != nil {
		out.Successor = c.successor.ID
	}
	return out
}
