package option

import (
	"rowen/analyze/tariff"
)

// curve is what every size saves under one legal case, at every node.
type curve struct {
	name      string
	sizes     int       // size 0 counted
	parts     []parts   // first-year saving, node by node, size by size
	totals    []float64 // their totals
	after     []float64 // bill by size at the expected hours
	imported  []float64 // kWh by size at the expected hours
	successor bool      // the bill is on the successor
}

// node is a point at which the bills are reckoned in full: the load scaled by
// load, all output by output. Between the nodes the draws interpolate.
type node struct{ load, output float64 }

func (c *curve) saving(node, size int) parts { return c.parts[node*c.sizes+size] }

// Indices of the curves. Those of a legacy tariff stand only where some size
// within reach would lose its terms.
const (
	onTariff = iota
	onSuccessor
	nonExport
	ownMeter
	numCurves
)

var caseNames = [numCurves]string{WithinThreshold, OnSuccessor, NonExport, OwnMeter}

// plan decides which curves are needed.
func (w *work) plan(in *Input, year *tariff.Year, order []run) {
	n := 1
	if atStake(in, order) {
		n = numCurves
		w.next.fill(in.Successor.Year(in.Window, in.Location), in)
	}
	for len(w.curves) < numCurves {
		w.curves = append(w.curves, curve{})
	}
	w.curves = w.curves[:numCurves]
	for i := range w.curves {
		w.curves[i].name, w.curves[i].sizes = caseNames[i], 0
		if i < n {
			w.curves[i].sizes = len(w.newShare)
		}
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

// simulate reckons every curve at every node.
func (w *work) simulate(in *Input, order []run) {
	legacy := w.curves[onSuccessor].sizes > 0
	for i := range w.curves {
		w.curves[i].reset(len(w.nodes))
	}
	retail := in.Tariff.Retail()
	for g, at := range w.nodes {
		centre := at == node{1, 1}
		w.main.simulate(order, at.load, at.output, w.newShare, &w.sums)
		w.main.year.Settle(w.sums.totals(0), &w.bill)
		before := &w.bill
		for size := range w.newShare {
			t := w.sums.totals(size)
			w.main.year.Settle(t, &w.after)
			w.curves[onTariff].put(g, size, centre, saved(before, &w.after, retail, retail), &w.after)
			if legacy {
				w.withoutExport(t, size)
				w.main.year.Settle(t, &w.after)
				w.curves[nonExport].put(g, size, centre, saved(before, &w.after, retail, retail), &w.after)
			}
		}
		if legacy {
			w.simulateSuccessor(in, order, g, centre, before)
		}
	}
}

// withoutExport keeps the sales at what today's array sells. It changes t, which
// nobody looks at afterwards.
func (w *work) withoutExport(t tariff.Totals, size int) {
	if size == 0 {
		return // the later sizes still need it, and it is right as it stands
	}
	copy(t.ExportKWh, w.sums.totals(0).ExportKWh)
	clear(t.NewExportKWh)
}

func (w *work) simulateSuccessor(in *Input, order []run, g int, centre bool, before *tariff.Bill) {
	at := w.nodes[g]
	w.next.simulate(order, at.load, at.output, w.newShare, &w.nextSums)
	was, is := in.Tariff.Retail(), in.Successor.Retail()
	for size := range w.newShare {
		w.next.year.Settle(w.nextSums.totals(size), &w.after)
		w.curves[onSuccessor].put(g, size, centre, saved(before, &w.after, was, is), &w.after)
	}
	walk(order, len(in.Planes), func(size int, n []int) { // reuses the sums' memory, size by size
		t := w.nextSums.totals(size)
		clear(t.ImportKWh)
		clear(t.PeakKW)
		for s := range t.ExportKWh {
			t.ExportKWh[s] = 0
			for p, count := range n {
				t.ExportKWh[s] += at.output * float64(count) * w.next.sumUnit[p][s]
			}
		}
		copy(t.NewExportKWh, t.ExportKWh)
		w.next.year.Settle(t, &w.after)
		if size == 0 {
			w.after = tariff.Bill{Months: w.after.Months} // no meter without modules
		}
		extra := split(&w.after, is)
		w.after.Total += before.Total
		w.after.ImportKWh += before.ImportKWh
		w.curves[ownMeter].put(g, size, centre, parts{-extra[0], -extra[1], -extra[2]}, &w.after)
	})
}

func (c *curve) reset(nodes int) {
	n := nodes * c.sizes
	if cap(c.parts) < n {
		c.parts = make([]parts, n)
	}
	c.parts = c.parts[:n]
	c.totals = resize(c.totals, n)
	c.after, c.imported = resize(c.after, c.sizes), resize(c.imported, c.sizes)
}

func (c *curve) put(node, size int, centre bool, saving parts, after *tariff.Bill) {
	c.parts[node*c.sizes+size] = saving
	c.totals[node*c.sizes+size] = saving.total()
	if centre {
		c.after[size], c.imported[size] = after.Total, after.ImportKWh
	}
}

// pickCase ranks a size under the best case that the tariff's text allows, and
// keeps the others beside it.
//
//	(a) within the threshold: the legacy terms stay
//	(b) beyond it: the whole site moves to the successor
//	(c) beyond it, the terms stay: no feeding in by the new modules, or a meter of their own
//
// Source: methods 11.3.
func (w *work) pickCase(in *Input, o *Option, t terms) {
	if in.Tariff.Data.Legacy == nil {
		return
	}
	if in.Tariff.Keeps(o.AddedKWDC, in.ExistingKW) {
		o.Case, o.curve = WithinThreshold, onTariff
		o.Cases = []CaseOutcome{w.outcome(onTariff, true, o, t)}
		return
	}
	best := -1
	for i := onSuccessor; i < numCurves; i++ {
		legal := i == onSuccessor
		for _, a := range in.Tariff.Data.Legacy.Apart {
			legal = legal || a == caseNames[i]
		}
		o.Cases = append(o.Cases, w.outcome(i, legal, o, t))
		if at := len(o.Cases) - 1; legal && (best < 0 || o.Cases[at].NetBenefit > o.Cases[best].NetBenefit) {
			best = at
			o.Case, o.curve = caseNames[i], i
		}
	}
}

func (w *work) outcome(i int, legal bool, o *Option, t terms) CaseOutcome {
	saving := w.curves[i].saving(w.centre(), o.Modules)
	return CaseOutcome{Case: caseNames[i], Legal: legal, BillAfter: w.curves[i].after[o.Modules],
		Saving: saving.total(), NetBenefit: worth(t, o.Cost, o.Modules, saving)}
}
