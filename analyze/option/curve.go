package option

// curve is what every size saves under one legal case, over the table's points.
type curve struct {
	name     string
	sizes    int       // size 0 counted
	parts    []parts   // first-year saving, point by point, size by size
	after    []float64 // bill by size at the expected hours
	imported []float64 // kWh by size at the expected hours
}

func (c *curve) saving(point, size int) parts { return c.parts[point*c.sizes+size] }

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
func (w *work) plan(in *Input, order []run) {
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

// simulate reckons every curve at every point of the table.
func (w *work) simulate(in *Input, order []run) {
	legacy := w.curves[onSuccessor].sizes > 0
	for i := range w.curves {
		w.curves[i].reset(w.table.points())
	}
	w.table.sum(&w.main, order, w.newShare, &w.exact)
	if legacy {
		w.table.sum(&w.next, order, w.newShare, &w.exactNext)
	}
	for n := range w.table.ratios {
		for l, level := range w.table.levels {
			w.table.between(&w.exact, n, level, &w.sums)
			w.settle(in, w.table.point(l, n), legacy)
			if legacy {
				w.table.between(&w.exactNext, n, level, &w.sums)
				w.settleSuccessor(in, order, w.table.point(l, n), level)
			}
		}
	}
}

// settle prices every size on the site's own tariff; w.bill keeps today's.
func (w *work) settle(in *Input, point int, legacy bool) {
	retail := in.Tariff.Retail()
	w.main.year.Settle(w.sums.totals(0), &w.bill)
	for size := range w.newShare {
		t := w.sums.totals(size)
		w.main.year.Settle(t, &w.after)
		w.put(onTariff, point, size, saved(&w.bill, &w.after, retail, retail))
		if !legacy {
			continue
		}
		if size > 0 { // the new modules sell nothing: export stays at today's
			copy(t.ExportKWh, w.sums.totals(0).ExportKWh)
			clear(t.NewExportKWh)
			w.main.year.Settle(t, &w.after)
		}
		w.put(nonExport, point, size, saved(&w.bill, &w.after, retail, retail))
	}
}

// settleSuccessor prices every size on the successor, and then the new modules
// alone on a meter of their own beside today's bill. Size 0 has that meter too:
// it stands for modules that make next to nothing.
func (w *work) settleSuccessor(in *Input, order []run, point int, level float64) {
	was, is := in.Tariff.Retail(), in.Successor.Retail()
	for size := range w.newShare {
		w.next.year.Settle(w.sums.totals(size), &w.after)
		w.put(onSuccessor, point, size, saved(&w.bill, &w.after, was, is))
	}
	walk(order, len(in.Planes), func(size int, n []int) { // the sums have served: their memory is used again
		t := w.sums.totals(size)
		clear(t.ImportKWh)
		clear(t.PeakKW)
		for s := range t.ExportKWh {
			t.ExportKWh[s] = 0
			for p, count := range n {
				t.ExportKWh[s] += level * float64(count) * w.next.sumUnit[p][s]
			}
		}
		copy(t.NewExportKWh, t.ExportKWh)
		w.next.year.Settle(t, &w.after)
		extra := split(&w.after, is)
		w.after.Total += w.bill.Total
		w.after.ImportKWh += w.bill.ImportKWh
		w.put(ownMeter, point, size, parts{-extra[0], -extra[1], -extra[2]})
	})
}

// put stores a size's saving, w.after being its bill.
func (w *work) put(curve, point, size int, saving parts) {
	c := &w.curves[curve]
	c.parts[point*c.sizes+size] = saving
	if point == w.table.centre() {
		c.after[size], c.imported[size] = w.after.Total, w.after.ImportKWh
	}
}

func (c *curve) reset(points int) {
	n := points * c.sizes
	if cap(c.parts) < n {
		c.parts = make([]parts, n)
	}
	c.parts = c.parts[:n]
	c.after, c.imported = resize(c.after, c.sizes), resize(c.imported, c.sizes)
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
	saving := w.curves[i].saving(w.table.centre(), o.Modules)
	return CaseOutcome{Case: caseNames[i], Legal: legal, BillAfter: w.curves[i].after[o.Modules],
		Saving: saving.total(), NetBenefit: worth(t, o.Cost, o.Modules, saving)}
}
