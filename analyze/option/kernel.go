package option

import (
	"math"

	"rowen/analyze/tariff"
)

// kernel is a site's year, sorted by the slots of one tariff and stripped of
// the night: what every size of the site shares.
//
// The sums of all sizes come from one walk over the lit hours, whatever the
// number of sizes. In hour i the sizes draw
//
//	import_k = max(0, net_i - sum over planes p of n_p(k) u_pi),  net_i = l L_i - w P_i
//
// from the grid, which falls with k until it is 0 at the hour's last size b_i.
// So the hour adds net_i and u_pi to bucket b_i of its slot, and afterwards
//
//	import_k(slot) = sum over b >= k of net_b - sum over p of n_p(k) (sum over b >= k of u_pb)
//
// with export from the slot's balance: export = import - sum of net.
//
// Here l scales the load, w the output of old and new modules alike. Hours
// without any output are settled once: their import is l times their load.
type kernel struct {
	year    *tariff.Year
	stepsHr float64 // intervals an hour
	limit   float64 // kWh an interval that may be sold; +Inf: no limit

	load, pv  []float64   // kWh, lit intervals, slot by slot
	unit      [][]float64 // by plane
	bound     []int       // lit intervals of slot s are bound[s] to bound[s+1]
	nightLoad []float64   // by slot
	nightPeak []float64   // kW by slot
	sumLoad   []float64   // lit intervals, by slot
	sumPV     []float64
	sumUnit   [][]float64 // by plane, by slot

	bucketNet  []float64
	bucketUnit [][]float64
	net        []float64
}

// run is a stretch of the building order on one plane.
type run struct{ plane, modules int }

// load fills the kernel for a site. Slices are reused.
func (k *kernel) fill(y *tariff.Year, in *Input) {
	steps := y.Steps(len(in.LoadWh))
	slots := len(y.Slots)
	k.year, k.stepsHr, k.limit = y, float64(steps), in.exportLimitKW()/float64(steps)
	k.load, k.pv, k.bound = k.load[:0], k.pv[:0], k.bound[:0]
	k.unit = resizeRows(k.unit, len(in.Planes), 0)
	k.nightLoad, k.nightPeak = resize(k.nightLoad, slots), resize(k.nightPeak, slots)
	k.sumLoad, k.sumPV = resize(k.sumLoad, slots), resize(k.sumPV, slots)
	k.sumUnit = resizeRows(k.sumUnit, len(in.Planes), slots)
	for s := range slots {
		k.bound = append(k.bound, len(k.load))
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			k.put(in, s, int(h)*steps, (int(h)+1)*steps)
		}
	}
	k.bound = append(k.bound, len(k.load))
}

// put adds the intervals of one hour: all of them are lit where one is, so that
// the power of an hour can be summed.
func (k *kernel) put(in *Input, s, from, to int) {
	lit := false
	for i := from; i < to; i++ {
		lit = lit || in.ProductionWh[i] > 0
		for p := range in.Planes {
			lit = lit || in.Planes[p].UnitWh[i] > 0
		}
	}
	over, power := k.year.PeakSteps(int(k.stepsHr)), 0.0
	for i := from; i < to; i++ {
		load, pv := in.LoadWh[i]/1000, in.ProductionWh[i]/1000
		if !lit {
			k.nightLoad[s] += load
			if power += load; (i+1)%over == 0 {
				k.nightPeak[s] = max(k.nightPeak[s], power*k.stepsHr/float64(over))
				power = 0
			}
			continue
		}
		k.load, k.pv = append(k.load, load), append(k.pv, pv)
		k.sumLoad[s] += load
		k.sumPV[s] += pv
		for p := range in.Planes {
			u := in.Planes[p].UnitWh[i] / 1000
			k.unit[p] = append(k.unit[p], u)
			k.sumUnit[p][s] += u
		}
	}
}

// sums holds the totals of every size: row k is size k.
type sums struct {
	slots, sizes int // sizes counts size 0 too
	imports      []float64
	exports      []float64
	exportsNew   []float64
	peaks        []float64
	clipped      []float64 // output that the export limit takes away
}

func (m *sums) reset(y *tariff.Year, sizes int) {
	m.slots, m.sizes = len(y.Slots), sizes
	m.imports, m.exports = resize(m.imports, m.slots*sizes), resize(m.exports, m.slots*sizes)
	m.exportsNew, m.peaks, m.clipped = m.exportsNew[:0], m.peaks[:0], m.clipped[:0]
	if y.Tariff.NewTerms() != "" {
		m.exportsNew = resize(m.exportsNew, m.slots*sizes)
	}
	if y.Tariff.HasDemand() {
		m.peaks = resize(m.peaks, m.slots*sizes)
	}
}

// totals are size k's sums.
func (m *sums) totals(k int) tariff.Totals {
	at, to := k*m.slots, (k+1)*m.slots
	t := tariff.Totals{ImportKWh: m.imports[at:to], ExportKWh: m.exports[at:to]}
	if len(m.exportsNew) > 0 {
		t.NewExportKWh = m.exportsNew[at:to]
	}
	if len(m.peaks) > 0 {
		t.PeakKW = m.peaks[at:to]
	}
	return t
}

// clippedBySize is what the export limit takes from each size.
func (m *sums) clippedBySize(into []float64, sizes int) []float64 {
	into = resize(into, sizes)
	if len(m.clipped) > 0 {
		for size := range into {
			into[size] = total(m.clipped[size*m.slots : (size+1)*m.slots])
		}
	}
	return into
}

// simulate sums every size of the building order, load scaled by l and output
// by w. newShare gives the new modules' share of the capacity by size.
func (k *kernel) simulate(order []run, l, w float64, newShare []float64, out *sums) {
	out.reset(k.year, len(newShare))
	k.clip(order, l, w, out)
	if k.year.Tariff.Gross() {
		k.gross(order, l, w, out)
	} else {
		for s := range k.year.Slots {
			k.surplus(s, order, l, w, out)
		}
		k.splitExport(order, l, w, newShare, out)
	}
	if k.year.Tariff.HasDemand() {
		k.peaks(order, l, w, out)
	}
}

// clip sums what the export limit takes from the output of every size.
//
//	clipped_k = max(0, added - net_i - limit)
//
// is to import_k as export is, with the limit added to the load: the same walk.
func (k *kernel) clip(order []run, l, w float64, out *sums) {
	if math.IsInf(k.limit, 1) {
		return
	}
	out.clipped = resize(out.clipped, out.slots*out.sizes)
	for s := range out.slots {
		k.fillBuckets(s, order, l, w, k.limit, out.sizes)
		balance := float64(l*k.sumLoad[s]) - float64(w*k.sumPV[s]) + float64(k.limit*float64(k.bound[s+1]-k.bound[s]))
		k.unroll(s, order, w, func(size int, drawn, produced float64) {
			out.clipped[size*out.slots+s] = max(0, drawn-balance+produced)
		})
	}
}

// surplus sums slot s where what the household does not use is sold.
func (k *kernel) surplus(s int, order []run, l, w float64, out *sums) {
	k.fillBuckets(s, order, l, w, 0, out.sizes)
	balance := float64(l*k.sumLoad[s]) - float64(w*k.sumPV[s])
	night := l * k.nightLoad[s]
	k.unroll(s, order, w, func(size int, drawn, produced float64) {
		at := size*out.slots + s
		out.imports[at] = drawn + night
		out.exports[at] = max(0, drawn-balance+produced)
		if len(out.clipped) > 0 {
			out.exports[at] = max(0, out.exports[at]-out.clipped[at])
		}
	})
}

// fillBuckets puts slot s's lit intervals, with more load of so much each, into
// the buckets of the last size that does not sell in them.
func (k *kernel) fillBuckets(s int, order []run, l, w, more float64, sizes int) {
	planes := len(k.unit)
	k.bucketNet = resize(k.bucketNet, sizes)
	k.bucketUnit = resizeRows(k.bucketUnit, planes, sizes)
	single := len(order) == 1
	for i := k.bound[s]; i < k.bound[s+1]; i++ {
		net := float64(l*k.load[i]) - float64(w*k.pv[i]) + more
		if net <= 0 {
			continue
		}
		b := 0
		if single {
			b = lastSize(net, w*k.unit[order[0].plane][i], order[0].modules)
		} else {
			left := net
			for _, r := range order {
				u := w * k.unit[r.plane][i]
				n := lastSize(left, u, r.modules)
				b += n
				if n < r.modules {
					break
				}
				left -= float64(float64(r.modules) * u)
				if left <= 0 {
					break
				}
			}
		}
		k.bucketNet[b] += net
		for p := range planes {
			k.bucketUnit[p][b] += k.unit[p][i]
		}
	}
}

// lastSize is how many modules of u an hour's net can take and still not sell.
func lastSize(net, u float64, modules int) int {
	if net >= u*float64(modules) {
		return modules
	}
	return int(net / u)
}

// unroll turns slot s's buckets into what every size draws and has produced.
func (k *kernel) unroll(s int, order []run, w float64, put func(size int, drawn, produced float64)) {
	for size := len(k.bucketNet) - 2; size >= 0; size-- { // from the top down: sums over b >= size
		k.bucketNet[size] += k.bucketNet[size+1]
		for p := range k.bucketUnit {
			k.bucketUnit[p][size] += k.bucketUnit[p][size+1]
		}
	}
	walk(order, len(k.unit), func(size int, n []int) {
		taken, produced := 0.0, 0.0
		for p, count := range n {
			taken += float64(float64(count) * k.bucketUnit[p][size])
			produced += float64(float64(count) * k.sumUnit[p][s])
		}
		put(size, max(0, k.bucketNet[size]-float64(w*taken)), float64(w*produced))
	})
}

// walk visits every size of the building order with its counts by plane.
func walk(order []run, planes int, visit func(size int, n []int)) {
	var few [8]int
	n := few[:]
	if planes > len(few) {
		n = make([]int, planes)
	}
	n = n[:planes]
	size := 0
	visit(0, n)
	for _, r := range order {
		for range r.modules {
			size++
			n[r.plane]++
			visit(size, n)
		}
	}
}

// gross sums every slot where all output is sold and all use is bought.
func (k *kernel) gross(order []run, l, w float64, out *sums) {
	walk(order, len(k.unit), func(size int, n []int) {
		for s := range out.slots {
			produced := 0.0
			for p, count := range n {
				produced += float64(float64(count) * k.sumUnit[p][s])
			}
			at := size*out.slots + s
			out.imports[at] = l * (k.sumLoad[s] + k.nightLoad[s])
			out.exports[at] = w * (k.sumPV[s] + produced)
			added := float64(w * produced)
			if len(out.clipped) > 0 {
				out.exports[at] = max(0, out.exports[at]-out.clipped[at])
				added = max(0, added-(out.clipped[at]-out.clipped[s]))
			}
			if len(out.exportsNew) > 0 {
				out.exportsNew[at] = added
			}
		}
	})
}

// splitExport says which part of the export is the new modules'.
func (k *kernel) splitExport(order []run, l, w float64, newShare []float64, out *sums) {
	switch k.year.Tariff.NewTerms() {
	case "capacity":
		for size, share := range newShare {
			for s := range out.slots {
				out.exportsNew[size*out.slots+s] = share * out.exports[size*out.slots+s]
			}
		}
	case "output":
		k.eachInterval(order, w, func(size, s, i int, added float64) {
			pv := float64(w * k.pv[i])
			if sold := min(pv+added-float64(l*k.load[i]), k.limit); sold > 0 && added > 0 {
				out.exportsNew[size*out.slots+s] += float64(sold * added / (pv + added))
			}
		})
	}
}

// peaks finds the highest import power of every slot and size.
func (k *kernel) peaks(order []run, l, w float64, out *sums) {
	for size := range out.sizes {
		for s := range out.slots {
			out.peaks[size*out.slots+s] = l * k.nightPeak[s]
		}
	}
	gross := k.year.Tariff.Gross()
	over, power := k.year.PeakSteps(int(k.stepsHr)), 0.0
	k.eachInterval(order, w, func(size, s, i int, added float64) {
		net := float64(l * k.load[i])
		if !gross {
			net -= float64(w*k.pv[i]) + added
		}
		// The lit intervals of an hour stand together: see fill.
		if power += max(0, net); (i+1)%over == 0 {
			at := size*out.slots + s
			out.peaks[at] = max(out.peaks[at], power*k.stepsHr/float64(over))
			power = 0
		}
	})
}

// eachInterval visits every size and lit interval: the slow way, for the few
// tariffs that need it.
func (k *kernel) eachInterval(order []run, w float64, visit func(size, slot, i int, added float64)) {
	walk(order, len(k.unit), func(size int, n []int) {
		for s := range k.year.Slots {
			for i := k.bound[s]; i < k.bound[s+1]; i++ {
				added := 0.0
				for p, count := range n {
					added += float64(float64(count) * k.unit[p][i])
				}
				visit(size, s, i, w*added)
			}
		}
	})
}

// resize gives a zeroed slice of length n, reusing s.
func resize(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n)
	}
	s = s[:n]
	clear(s)
	return s
}

func resizeRows(rows [][]float64, n, length int) [][]float64 {
	for len(rows) < n {
		rows = append(rows, nil)
	}
	rows = rows[:n]
	for i := range rows {
		rows[i] = resize(rows[i], length)
	}
	return rows
}
