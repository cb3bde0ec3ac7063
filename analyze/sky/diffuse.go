package sky

import (
	"math"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// One number an hour, K, leaves open how much of the light came straight from the
// sun. Arrays that face different ways tell: each reads its own K as if the share of
// diffuse light were the usual one, and where it was not, their K part by how much
// each leans on it.
//
//	K_i = K (1 + x L_i),  L_i = (dln G_i / dkd) / (dln G_i / dln K)
//
// x is how much more of the light was diffuse, as a share, and L the lean: negative for
// a plane that looks at the sun, positive for one that looks away from it. What the
// model of a tilted plane gets wrong the same way hour after hour stands in x as well.
//
// Source: our choice of the form, a step from K that costs two bytes an hour and array.
// Fleets made by other models (scripts/elsewhere, eight of them): without it the output of
// another plane is off by 2.1 to 3.7 % (95th percentile), with it by 1.8 to 2.6.

// Told is what an array's own reading of an hour says beside KW.
type Told struct {
	Lean  int8 // in 1/leanSteps; leanUnknown: it says nothing
	Apart int8 // its own K over the packed one, less 1, in 1/apartSteps
}

const (
	leanSteps   = 40
	leanUnknown = math.MinInt8
	apartSteps  = 100
	mostPacked  = math.MaxInt8
)

// told packs a lean and an own K beside the packed one; what does not fit says nothing.
func told(lean, own, k float64) Told {
	l, a := math.Round(lean*leanSteps), math.Round((own/k-1)*apartSteps)
	if !(math.Abs(l) <= mostPacked && math.Abs(a) <= mostPacked) {
		return Told{Lean: leanUnknown}
	}
	return Told{int8(l), int8(a)}
}

// leanOf is the lean of what an array makes in an hour under K, by differences; NaN
// where its output does not rise with K.
func (m *Model) leanOf(h *sun.Hours, i int, k, tempC, factor float64) float64 {
	const dk = 0.02
	dx := 0.05
	if k < 0.5 { // hardly any beam: there is no more diffuse light to be had
		dx = -dx
	}
	at := m.WattHours(h, i, k, tempC, factor)
	byK := (m.WattHours(h, i, k+dk, tempC, factor) - at) / dk
	if !(byK > 0) {
		return math.NaN()
	}
	return (m.Under(h, i, k, dx, tempC, factor) - at) / dx / (byK * k)
}

// parted is how the arrays of an hour part.
//
//	K = k (1 + off - x lean)
type parted struct {
	more  float64 // x, how much more of the light they tell to be diffuse, a share
	sure  float64 // 1/variance of it; 0: they cannot say
	off   float64 // mean of their K over the median k, less 1
	lean  float64 // mean lean
	known bool    // some spoke
}

// Rules of the parting, our choice.
const (
	leastLeaning = 3    // arrays that must speak
	leastNoise   = 0.03 // of an array's K, relative
	leanNoise    = 1    // the lean at which that noise has doubled in its square: little light is read less well
	mostMore     = 0.5
	// usualMoreSD is how far x lies off the usual one, hour by hour. Twice as much brings planes
	// turned away nearer where readings are exact, and further off where each roof has clouds
	// of its own (measured on typical years through a reference library and on invented fleets).
	usualMoreSD = 0.1
)

// heard is what a site tells of an hour: how far its K lies off k, its own level apart,
// and its lean.
func (c *cell) heard(s int, at ingest.Hour, without string, k float64) (off, lean, weight float64, ok bool) {
	e := &c.sites[s]
	j := int(at - e.Start)
	if j < 0 || j >= len(e.Told) || e.KW[j] == 0 || e.Told[j].Lean == leanUnknown || e.SiteID == without {
		return 0, 0, 0, false
	}
	own, w := unpack(e.KW[j])
	off = own*(1+float64(e.Told[j].Apart)/apartSteps)/k - 1
	if c.levels != nil {
		off -= c.levels[s]
	}
	return off, float64(e.Told[j].Lean) / leanSteps, float64(w), true
}

// part is how the cell's sites part around their median k: a line through their K by
// their leans, far ones counted less.
func (c *cell) part(at ingest.Hour, without string, k, sd float64) (p parted) {
	if !(k > darkK) {
		return p
	}
	noise := max(leastNoise, sd/k)
	for range 2 {
		var n int
		var w, l, y, ll, ly float64
		for s := range c.sites {
			off, lean, _, ok := c.heard(s, at, without, k)
			if !ok {
				continue
			}
			wi := belief(off-p.at(lean), lean, noise)
			n, w, l, y = n+1, w+wi, l+float64(wi*lean), y+float64(wi*off)
			ll, ly = ll+float64(wi*lean*lean), ly+float64(wi*lean*off)
		}
		if n == 0 {
			return parted{}
		}
		p = parted{off: y / w, lean: l / w, known: true}
		if ll -= float64(l * p.lean); n >= leastLeaning && ll > 0 {
			p.sure = ll / sq(noise)
			p.more = min(mostMore, max(-mostMore, (ly-float64(l*p.off))/ll))
		}
	}
	p.off = c.middle(at, without, k, p)
	return p
}

// at is what K of a lean lies off the median.
func (p *parted) at(lean float64) float64 { return p.off + float64(p.more*(lean-p.lean)) }

// belief is the weight of a site's K by how far it lies off the line and by its lean.
func belief(off, lean, noise float64) float64 {
	return 1 / (1 + sq(lean/leanNoise)) / (1 + sq(off/(2*noise)))
}

// middle is the weighted median of what the sites' K lie off k once their leans are
// taken out: the mean would follow the sick ones.
func (c *cell) middle(at ingest.Hour, without string, k float64, p parted) float64 {
	type told struct{ off, weight float64 }
	var room [32]told
	all, total := room[:0], 0.0
	p.off, p.more = 0, p.more*p.sure/(p.sure+1/sq(usualMoreSD))
	for s := range c.sites {
		off, lean, weight, ok := c.heard(s, at, without, k)
		if !ok {
			continue
		}
		x, i := told{off - p.at(lean), weight}, len(all)
		for all = append(all, x); i > 0 && all[i-1].off > x.off; i-- {
			all[i] = all[i-1]
		}
		all[i] = x
		total += weight
	}
	sum := 0.0
	for i := range all {
		if sum += all[i].weight; 2*sum >= total {
			return all[i].off
		}
	}
	return 0
}

// Rounds in which levels and partings are worked out in turn, and of how many days
// one is looked at; the spread that a level is granted (our choices).
const (
	levelRounds = 6
	levelDays   = 4
	levelSD     = 0.05
)

// balance works out by how much each site's K lies off throughout, once beam and
// diffuse light are told apart. A site's factor comes from its clear days under the
// usual share of diffuse light: where it is not the usual one, the factor hides it, and
// only the hours of a day in which an array turns to the sun and away show it.
func (c *cell) balance() {
	if len(c.sites) < leastLeaning {
		return
	}
	c.levels = make([]float64, len(c.sites))
	for range levelRounds {
		sum, weight := c.offLine()
		for s := range c.levels {
			c.levels[s] += sum[s] / (weight[s] + 1/sq(levelSD))
		}
	}
}

// offLine sums over the hours how far each site lies off the line of its cell.
func (c *cell) offLine() (sum, weight []float64) {
	sum, weight = make([]float64, len(c.sites)), make([]float64, len(c.sites))
	buf := make([]uint16, 0, len(c.sites))
	for at := c.start; at < c.end; at++ {
		if int(at)/24%levelDays != 0 {
			continue
		}
		if buf = c.gather(buf, at, ""); len(buf) < leastLeaning {
			continue
		}
		k, sd := medianOf(buf)
		p := c.part(at, "", k, sd)
		if !(p.sure > 0) {
			continue
		}
		noise := max(leastNoise, sd/k)
		for s := range c.sites {
			if off, lean, _, ok := c.heard(s, at, "", k); ok {
				off -= p.at(lean)
				w := belief(off, lean, noise) / sq(noise)
				sum[s], weight[s] = sum[s]+float64(w*off), weight[s]+w
			}
		}
	}
	return sum, weight
}

// Parting is a parted in four bytes.
type Parting struct{ More, Off, Lean, Sure int8 }

// Steps of a packed parting in 1; of its sureness the root is packed.
const (
	moreSteps = 250
	offSteps  = 250
	sureSteps = 2
)

func (p parted) packed() Parting {
	if !p.known {
		return Parting{Sure: -1}
	}
	whole := func(x float64) int8 { return int8(math.Round(min(mostPacked, max(-mostPacked, x)))) }
	return Parting{whole(p.more * moreSteps), whole(p.off * offSteps), whole(p.lean * leanSteps), whole(math.Sqrt(p.sure) * sureSteps)}
}

func (p Parting) unpacked() parted {
	if p.Sure < 0 {
		return parted{}
	}
	return parted{float64(p.More) / moreSteps, sq(float64(p.Sure) / sureSteps), float64(p.Off) / offSteps, float64(p.Lean) / leanSteps, true}
}

// Usual is what the whole field tells of x by K, in steps of usualSteps: what hours in
// which nobody can say are given, and others are drawn to.
type Usual [usualBins]struct{ Sum, Sure float64 }

const (
	usualBins  = 8
	usualSteps = 6 // in 1 of K
)

func usualBin(k float64) int { return min(usualBins-1, max(0, int(k*usualSteps))) }

// add takes in an hour.
func (u *Usual) add(k float64, p parted) {
	b := &u[usualBin(k)]
	b.Sum, b.Sure = b.Sum+float64(p.sure*p.more), b.Sure+p.sure
}

// at is the usual x under K.
func (u *Usual) at(k float64) float64 {
	b := &u[usualBin(k)]
	return b.Sum / (b.Sure + 1/sq(usualMoreSD))
}

// drawn is x of an hour: what its arrays tell, drawn to the usual one by how sure
// they are.
func (u *Usual) drawn(k, sum, sure float64) float64 {
	const prior = 1 / (usualMoreSD * usualMoreSD)
	return (sum + float64(prior*u.at(k))) / (sure + prior)
}
