package option

import (
	"math"

	"rowen/analyze/tariff"
)

// building is which modules come first.
type building int

const (
	byGain    building = iota // the plane that gains most is filled whole
	sureFirst                 // what the planes take surely comes before what they take perhaps
)

// allocation is the order in which modules are built, in the making.
type allocation struct {
	k            *kernel // on the site's tariff
	order        []run
	room, counts []int // by plane
	try          tariff.Totals
	bill         tariff.Bill // scratch
}

// allocate gives the order in which modules are built, up to sizes modules:
// plane after plane, each filled before the next is begun, so that no size
// scatters single modules over the roof. Planes that face away from the sun come
// last; of the others the one whose next module lowers the bill most comes next,
// and one that faces as today's array where it costs nearly nothing.
//
// By gain alone, a doubtful row on the best plane makes every larger size
// doubtful. Surely first, no size that the roof surely holds rests on one, at the
// price of modules on a plane that gives less: Evaluate offers what gains more.
//
// Filling planes one after another instead of module by module loses a little
// where two facings share the day; nobody builds the other way (our choice).
//
// Edges:  equal gains go to the plane listed first.
// Cost:   about one walk over the lit hours a plane and switch; none with one plane.
func (a *allocation) allocate(in *Input, sizes int, by building) []run {
	a.order = a.order[:0]
	a.room, a.counts = resizeInts(a.room, len(in.Planes)), resizeInts(a.counts, len(in.Planes))
	for p := range in.Planes {
		a.room[p] = max(0, in.Planes[p].MaxModules)
	}
	if only := a.onlyPlane(); only >= 0 {
		a.build(only, min(sizes, a.room[only]))
		return a.order
	}
	k := a.k
	k.net = resize(k.net, len(k.load))
	for i := range k.net {
		k.net[i] = k.load[i] - k.pv[i]
	}
	if by == sureFirst {
		sure := 0
		for p := range in.Planes {
			a.room[p] = in.Planes[p].sureRoom()
			sure += a.room[p]
		}
		a.fill(in, min(sizes, sure))
		sizes -= min(sizes, sure)
		for p := range in.Planes {
			a.room[p] = max(0, in.Planes[p].MaxModules) - a.counts[p]
		}
	}
	a.fill(in, sizes)
	return a.order
}

// doubtsPlanes tells whether the two ways of building differ: several planes have
// room, and one takes fewer surely than perhaps.
func (in *Input) doubtsPlanes() bool {
	planes, doubtful := 0, false
	for i := range in.Planes {
		if c := &in.Planes[i]; c.MaxModules > 0 {
			planes++
			doubtful = doubtful || c.sureRoom() < c.MaxModules
		}
	}
	return planes > 1 && doubtful
}

// sureRoom is how many modules the plane takes whatever is not known of it. A
// single one is none: nobody builds it beside others elsewhere.
func (c *Candidate) sureRoom() int {
	most := max(0, c.MaxModules)
	sure := min(most, c.Sure.Or(most))
	if sure == 1 && most > 1 {
		return 0
	}
	return sure
}

// fill adds so many modules to the order, as far as the planes' room goes.
func (a *allocation) fill(in *Input, modules int) {
	k := a.k
	for modules > 0 {
		p := a.onlyPlane()
		if p < 0 {
			p = a.nextPlane(in)
		}
		if p < 0 {
			return
		}
		n := min(modules, a.room[p])
		a.build(p, n)
		a.counts[p] += n
		modules -= n
		if modules == 0 {
			return
		}
		for i, u := range k.unit[p] {
			k.net[i] -= float64(float64(n) * u)
		}
	}
}

// nearlyNothing is the share of a plane's gain that its facing as today's array
// is worth: one string, one look (our choice).
const nearlyNothing = 0.02

// nextPlane is the plane to fill next; -1: none has room.
func (a *allocation) nextPlane(in *Input) int {
	before, best, most := a.billNext(-1), -1, math.Inf(-1)
	for p, room := range a.room {
		if room == 0 {
			continue
		}
		gain := before - a.billNext(p)
		switch in.Planes[p].Facing {
		case AsToday:
			gain += float64(nearlyNothing * math.Abs(gain))
		case AwayFromSun:
			gain -= float64(1e6 * (1 + math.Abs(gain))) // after all others, by what it gains among its like
		}
		if best < 0 || gain > most {
			best, most = p, gain
		}
	}
	return best
}

// onlyPlane is the one plane with room; -1 where there are more, or none.
func (a *allocation) onlyPlane() int {
	only := -1
	for p, room := range a.room {
		if room > 0 {
			if only >= 0 {
				return -1
			}
			only = p
		}
	}
	return only
}

// build puts modules on a plane, next in the order.
func (a *allocation) build(plane, modules int) {
	a.room[plane] -= modules
	if n := len(a.order); n > 0 && a.order[n-1].plane == plane {
		a.order[n-1].modules += modules
	} else {
		a.order = append(a.order, run{plane, modules})
	}
}

// billNext is the bill with one module more on plane p; -1: without.
func (a *allocation) billNext(p int) float64 {
	k := a.k
	gross, peaks, newTerms := k.year.Tariff.Gross(), k.year.Tariff.HasDemand(), k.year.Tariff.NewTerms() != ""
	if a.try.ImportKWh == nil || len(a.try.ImportKWh) != len(k.year.Slots) || (a.try.NewExportKWh != nil) != newTerms || (a.try.PeakKW != nil) != peaks {
		a.try = k.year.NewTotals()
	}
	for s := range k.year.Slots {
		from, to := k.bound[s], k.bound[s+1]
		produced := 0.0
		for q, n := range a.counts {
			produced += float64(float64(n) * k.sumUnit[q][s])
		}
		if p >= 0 {
			produced += k.sumUnit[p][s]
		}
		switch {
		case gross:
			a.try.ImportKWh[s], a.try.ExportKWh[s] = k.sumLoad[s]+k.nightLoad[s], max(0, k.sumPV[s]+produced-a.overLimit(p, from, to))
		default:
			balance := k.sumLoad[s] - k.sumPV[s] - produced
			bought := 0.0
			if p < 0 {
				bought = balance + sumAbs(k.net[from:to])
			} else {
				bought = balance + sumAbsLess(k.net[from:to], k.unit[p][from:to])
			}
			bought = max(0, bought/2) // max(0, x) = (x + |x|) / 2
			a.try.ImportKWh[s], a.try.ExportKWh[s] = bought+k.nightLoad[s], max(0, bought-balance-a.overLimit(p, from, to))
		}
		if newTerms {
			a.try.NewExportKWh[s] = min(produced, a.try.ExportKWh[s])
		}
		if peaks {
			a.try.PeakKW[s] = 0 // one module hardly moves the month's peak: left out of the order
		}
	}
	k.year.Settle(a.try, &a.bill)
	return a.bill.Total
}

// overLimit is what the export limit takes from the intervals from up to to with
// one module more on plane p; -1: without.
func (a *allocation) overLimit(p, from, to int) float64 {
	k, sum := a.k, 0.0
	if math.IsInf(k.limit, 1) {
		return sum
	}
	for i := from; i < to; i++ {
		over := -k.net[i] - k.limit
		if p >= 0 {
			over += k.unit[p][i]
		}
		sum += max(0, over)
	}
	return sum
}

// sumAbs is the sum of |x|, in four strands so that the additions overlap.
func sumAbs(x []float64) float64 {
	a, b, c, d := 0.0, 0.0, 0.0, 0.0
	for len(x) >= 4 {
		a += math.Abs(x[0])
		b += math.Abs(x[1])
		c += math.Abs(x[2])
		d += math.Abs(x[3])
		x = x[4:]
	}
	for _, v := range x {
		a += math.Abs(v)
	}
	return a + b + (c + d)
}

// sumAbsLess is the sum of |x - y|.
func sumAbsLess(x, y []float64) float64 {
	a, b, c, d := 0.0, 0.0, 0.0, 0.0
	for len(x) >= 4 && len(y) >= 4 {
		a += math.Abs(x[0] - y[0])
		b += math.Abs(x[1] - y[1])
		c += math.Abs(x[2] - y[2])
		d += math.Abs(x[3] - y[3])
		x, y = x[4:], y[4:]
	}
	for i := range x {
		a += math.Abs(x[i] - y[i])
	}
	return a + b + (c + d)
}

func resizeInts(s []int, n int) []int {
	if cap(s) < n {
		return make([]int, n)
	}
	s = s[:n]
	clear(s)
	return s
}
