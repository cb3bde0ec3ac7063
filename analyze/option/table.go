package option

import "rowen/ingest/samebits"

// table is where the savings of every size are worked out in full; the draws look
// them up between its points.
//
// What is bought and sold keeps its shape when use and output grow alike:
//
//	import(l, w) = sum of max(0, l L - w P) = w import(l/w, 1)
//
// so that one axis, the ratio of use to output, holds everything, and the sums
// of a point are those of its ratio times w. Prices, credits, their limits and
// banks keep that shape too; blocks and minimum bills, which stand in kWh and in
// money, do not: their table has three levels of w as well. An export limit does
// not either; at the outer levels it is taken to go with w, which moves the
// interval a little and the expected value not at all.
//
// The sums are walked for at every third ratio and follow a parabola between
// them: they are smooth, being sums over many hours. The bills, which have
// corners, are settled at every ratio; between two neighbours the draws go
// straight.
type table struct {
	ratios []float64 // l/w, even steps; the middle one is 1
	levels []float64 // w; the middle one is 1
	step   float64
	rise   float64 // between two levels
}

// The table's reach and its steps (our choice; the tests compare the draws with
// savings worked out in full).
const (
	reachSDs   = 3.0
	exactSides = 4 // exact ratios to either side of the middle
	finer      = 3 // ratios an exact step
)

// lay spans the table over the doubt of use and of output.
func (t *table) lay(loadSD, outputSD float64, shaped bool) {
	t.ratios, t.levels = append(t.ratios[:0], 1), append(t.levels[:0], 1)
	if reach := min(reachSDs*samebits.Hypot(loadSD, outputSD), 1-leastPart); reach > 0 {
		const side = exactSides * finer
		t.step = reach / side
		t.ratios = t.ratios[:0]
		for i := -side; i <= side; i++ {
			t.ratios = append(t.ratios, 1+float64(float64(i)*t.step))
		}
	}
	if reach := min(reachSDs*outputSD, 1-leastPart); reach > 0 && !shaped {
		t.rise = reach
		t.levels = append(t.levels[:0], 1-reach, 1, 1+reach)
	}
}

func (t *table) points() int                { return len(t.ratios) * len(t.levels) }
func (t *table) point(level, ratio int) int { return level*len(t.ratios) + ratio }
func (t *table) centre() int                { return t.point(len(t.levels)/2, len(t.ratios)/2) }

// sum walks the hours at every exact ratio.
func (t *table) sum(k *kernel, order []run, newShare []float64, exact *[]sums) {
	n := (len(t.ratios)-1)/finer + 1
	for len(*exact) < n {
		*exact = append(*exact, sums{})
	}
	for e := range n {
		k.simulate(order, t.ratios[e*finer], 1, newShare, &(*exact)[e])
	}
}

// between gives the sums at a ratio and a level.
func (t *table) between(exact *[]sums, ratio int, level float64, out *sums) {
	e := ratio / finer
	if ratio%finer == 0 {
		out.mix(level, &(*exact)[e], 0, nil, 0, nil)
		return
	}
	last := (len(t.ratios)-1)/finer - 1
	mid := min(max(1, (ratio+finer/2)/finer), last)
	x := float64(ratio-mid*finer) / finer
	out.mix(level*x*(x-1)/2, &(*exact)[mid-1], level*(1-float64(x*x)), &(*exact)[mid], level*x*(x+1)/2, &(*exact)[mid+1])
}

// mix makes m the weighted sum of others.
func (m *sums) mix(a float64, x *sums, b float64, y *sums, c float64, z *sums) {
	m.slots, m.sizes = x.slots, x.sizes
	if y == nil {
		y, z = x, x
	}
	mix := func(into, x, y, z []float64) []float64 {
		if cap(into) < len(x) {
			into = make([]float64, len(x))
		}
		into = into[:len(x)]
		for i := range into {
			into[i] = max(0, float64(a*x[i])+float64(b*y[i])+float64(c*z[i]))
		}
		return into
	}
	m.imports = mix(m.imports, x.imports, y.imports, z.imports)
	m.exports = mix(m.exports, x.exports, y.exports, z.exports)
	m.exportsNew = mix(m.exportsNew, x.exportsNew, y.exportsNew, z.exportsNew)
	m.peaks = mix(m.peaks, x.peaks, y.peaks, z.peaks)
	m.clipped = mix(m.clipped, x.clipped, y.clipped, z.clipped)
}

// place is where a use and an output lie: four points and their weights. What
// is stored at a level is a saving at that output, so that between levels the
// saving goes straight; with one level it is scaled.
type place struct {
	point  [4]int
	weight [4]float64
	n      int
}

func (t *table) place(load, output float64) (p place) {
	a, x := axis(load/output, t.step, len(t.ratios))
	b, y := axis(output, t.rise, len(t.levels))
	scale := 1.0
	if len(t.levels) == 1 {
		scale = output
	}
	add := func(level, ratio int, weight float64) {
		if weight != 0 {
			p.point[p.n], p.weight[p.n] = t.point(level, ratio), scale*weight
			p.n++
		}
	}
	add(b, a, (1-x)*(1-y))
	add(b, a+1, x*(1-y))
	add(b+1, a, (1-x)*y)
	add(b+1, a+1, x*y)
	return p
}

// axis finds the step that v lies in and how far: the middle of n values is 1.
// Beyond the ends the last step is drawn on.
func axis(v, step float64, n int) (at int, part float64) {
	if n == 1 {
		return 0, 0
	}
	x := (v-1)/step + float64(n/2)
	at = min(max(0, int(x)), n-2)
	return at, x - float64(at)
}
