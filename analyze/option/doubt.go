package option

import (
	"math"
	"math/rand/v2"
	"sync"

	"rowen/analyze/stat"
)

// draws are the worlds that one site is looked at in: everything that nobody
// knows for sure, drawn together.
type draws struct {
	n                      int
	loadSD, outputSD       float64
	load                   []float64 // factor on the use
	firstYear, laterYears  []float64 // factors on all output: the weather
	plane                  []float64 // standard normal: output of the new planes
	escalation, ageing     []float64 // points
	cost                   []float64 // factor
	planeSD                []float64 // relative, by size
	net                    []float64 // net benefit, size by size, draw by draw
	sorted                 []float64
	saving, payback, cover []float64 // of one draw after the other, size by size
	worthAt, firstAt, flat []float64 // one curve's values by size in one draw
	day, dayUse            []float64
	upkeep                 float64 // a module's, undiscounted, within the customer's horizon
}

// leastPart is the least that a drawn factor can be: nothing turns negative.
const leastPart = 0.05

// prepare draws the worlds of a site.
//
// The site's ID is the seed, so that a rerun draws the same. All but the
// weather are stratified: each draw holds one n-th of every distribution, in
// shuffled order, so that few draws tell much (Latin hypercube, McKay, Beckman
// and Conover 1979, from memory). The weather is resampled in blocks of seven
// days (methods 12), each from within three weeks of its own date so that the
// seasons stay where they are; sun and use come from the same days. A single
// year holds less than the spread between years, so the spread is widened to
// the settings' where it is smaller.
func (d *draws) prepare(in *Input, order []run) {
	doubt := &in.Money.Doubt
	d.n = doubt.Draws
	d.planeSpread(in, order)
	d.loadSD, d.outputSD = 0, 0
	if d.n == 0 {
		return
	}
	d.loadSD = orPct(in.LoadRelSD, doubt.LoadRelSDPct)
	rng := stat.Rand(stat.Seed(in.SiteID))
	normal := normals(d.n)
	d.load = stratified(d.load, normal, rng, 1, d.loadSD)
	d.plane = stratified(d.plane, normal, rng, 0, 1)
	d.escalation = stratified(d.escalation, normal, rng, 0, doubt.EscalationSDPct)
	d.ageing = stratified(d.ageing, normal, rng, 0, doubt.DegradationSDPct)
	d.cost = stratified(d.cost, normal, rng, 1, doubt.CostRelSDPct/100)
	d.weather(in, order, rng)
	for i := range d.load {
		d.load[i], d.cost[i] = max(leastPart, d.load[i]), max(leastPart, d.cost[i])
	}
}

func orPct(v, pct float64) float64 {
	if math.IsNaN(v) || v < 0 {
		return pct / 100
	}
	return v
}

// planeSpread mixes the planes' doubt by size; it is taken as one and the same
// error on all planes, which is the careful way.
func (d *draws) planeSpread(in *Input, order []run) {
	d.planeSD = d.planeSD[:0]
	walk(order, len(in.Planes), func(size int, n []int) {
		sum := 0.0
		for p, count := range n {
			sum += float64(float64(count) * orPct(in.Planes[p].RelSD, in.Money.Doubt.PlaneRelSDPct))
		}
		d.planeSD = append(d.planeSD, sum/float64(max(1, size)))
	})
}

var normalTables sync.Map // by number of draws

// normals are the middles of n equal slices of the standard normal distribution.
func normals(n int) []float64 {
	if t, ok := normalTables.Load(n); ok {
		return t.([]float64)
	}
	t := make([]float64, n)
	for i := range t {
		t[i] = stat.NormalQuantile((float64(i) + 0.5) / float64(n))
	}
	normalTables.Store(n, t)
	return t
}

func stratified(into, normal []float64, rng *rand.Rand, mean, sd float64) []float64 {
	into = append(into[:0], normal...)
	rng.Shuffle(len(into), func(i, j int) { into[i], into[j] = into[j], into[i] })
	for i, z := range into {
		into[i] = mean + float64(sd*z)
	}
	return into
}

const (
	blockDays  = 7  // methods 12: for daily load
	seasonDays = 21 // our choice: a block moves this far at most
)

// weather draws the output of the first year and of the mean of the later ones.
func (d *draws) weather(in *Input, order []run, rng *rand.Rand) {
	d.days(in, order)
	d.firstYear, d.laterYears = resize(d.firstYear, d.n), resize(d.laterYears, d.n)
	sum, sumSq := 0.0, 0.0
	for i := range d.n {
		sun, use := d.year(rng)
		d.firstYear[i] = sun
		d.load[i] *= use
		sum += sun
		sumSq += float64(sun * sun)
	}
	mean := sum / float64(d.n)
	sd := math.Sqrt(max(0, sumSq/float64(d.n)-float64(mean*mean)))
	least := in.Money.Doubt.WeatherRelSDPct / 100
	d.outputSD = max(sd, least)
	for i := range d.firstYear {
		switch {
		case sd > 1e-6:
			d.firstYear[i] = max(leastPart, 1+(d.firstYear[i]-mean)*d.outputSD/sd)
		default: // every day alike: nothing to resample
			d.firstYear[i] = max(leastPart, 1+float64(least*rng.NormFloat64()))
		}
	}
	// The mean of the later years: other years, so another order of the draws.
	shrink := 1 / math.Sqrt(float64(max(1, in.Money.HorizonYears-1)))
	for i := range d.laterYears {
		d.laterYears[i] = 1 + float64((d.firstYear[(i+d.n/2)%d.n]-1)*shrink)
	}
}

// days sums the window's days, running.
func (d *draws) days(in *Input, order []run) {
	steps := len(in.LoadWh) / in.Window.N * 24
	n := len(in.LoadWh) / steps
	d.day, d.dayUse = resize(d.day, n+1), resize(d.dayUse, n+1)
	for i := range n {
		sun, use := 0.0, 0.0
		for _, v := range in.LoadWh[i*steps : (i+1)*steps] {
			use += v
		}
		for _, r := range order {
			for _, v := range in.Planes[r.plane].UnitWh[i*steps : (i+1)*steps] {
				sun += float64(float64(r.modules) * v)
			}
		}
		d.day[i+1], d.dayUse[i+1] = d.day[i]+sun, d.dayUse[i]+use
	}
}

// year puts a year together from blocks of days and gives its sun and its use
// against the window's.
func (d *draws) year(rng *rand.Rand) (sun, use float64) {
	n := len(d.day) - 1
	for at := 0; at < n; at += blockDays {
		length := min(blockDays, n-at)
		from := at + rng.IntN(2*seasonDays+1) - seasonDays
		if from = ((from % n) + n) % n; from+length <= n {
			sun += d.day[from+length] - d.day[from]
			use += d.dayUse[from+length] - d.dayUse[from]
			continue
		}
		over := from + length - n // across the turn of the window
		sun += d.day[n] - d.day[from] + d.day[over]
		use += d.dayUse[n] - d.dayUse[from] + d.dayUse[over]
	}
	return orOne(sun, d.day[n]), orOne(use, d.dayUse[n])
}

func orOne(a, b float64) float64 {
	if !(b > 0) {
		return 1
	}
	return a / b
}

// resample gives every option its doubt.
//
// In a draw the savings of all sizes are looked up in the table. What a plane
// makes more or less than expected acts like a part of a module more or
// less: the savings are read between the sizes.
func (w *work) resample(in *Input, r *Result) {
	d := &w.doubt
	sizes := len(r.Options)
	if d.n == 0 || sizes == 0 {
		for i := range r.Options {
			o := &r.Options[i]
			o.Chance, o.PaybackChance = sure(o.NetBenefit.Value > 0), sure(o.SimplePaybackYears <= float64(in.Money.within()))
		}
		return
	}
	d.net, d.saving = resize(d.net, sizes*d.n), resize(d.saving, sizes*d.n)
	d.payback, d.cover = resize(d.payback, sizes*d.n), resize(d.cover, sizes)
	used := make([]bool, len(w.curves))
	for k := range r.Options {
		used[r.Options[k].curve] = true
	}
	for i := range d.n {
		t := in.Money.terms(in.Tariff, d.escalation[i], d.ageing[i])
		flat := in.Money.undiscounted(t)
		d.upkeep = in.Money.UpkeepPerModuleYr * float64(in.Money.within())
		for c := range w.curves {
			if !used[c] {
				continue
			}
			w.valueSizes(&w.curves[c], i, t, flat)
			for k := range r.Options {
				if r.Options[k].curve == c {
					d.one(&r.Options[k], k, i, t)
				}
			}
		}
	}
	for k := range r.Options {
		d.spread(&r.Options[k], k)
	}
}

func sure(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// valueSizes fills the worth, the first year's saving and the undiscounted
// saving of every size of a curve in draw i.
func (w *work) valueSizes(c *curve, i int, t terms, flat parts) {
	d := &w.doubt
	d.worthAt, d.firstAt, d.flat = resize(d.worthAt, c.sizes), resize(d.firstAt, c.sizes), resize(d.flat, c.sizes)
	rest := t.rest()
	restFlat := parts{flat[0] - t.kept[0], flat[1] - t.kept[1], flat[2] - t.kept[2]}
	now, later := w.table.place(d.load[i], d.firstYear[i]), w.table.place(d.load[i], d.laterYears[i])
	for p := range c.phases {
		ph := &c.phases[p]
		for j := range now.n {
			row, f := ph.parts[now.point[j]*c.sizes:][:c.sizes], now.weight[j]*ph.share[0]
			for k := range row {
				d.worthAt[k] += float64(f * row[k].dot(t.first))
				d.firstAt[k] += float64(f * row[k].total())
				d.flat[k] += float64(f * row[k].dot(t.kept))
			}
		}
		rest, restFlat := rest.by(ph.worth), restFlat.by(ph.flat)
		for j := range later.n {
			row, f := ph.parts[later.point[j]*c.sizes:][:c.sizes], later.weight[j]
			for k := range row {
				d.worthAt[k] += float64(f * row[k].dot(rest))
				d.flat[k] += float64(f * row[k].dot(restFlat))
			}
		}
	}
}

// one is option k in draw i.
func (d *draws) one(o *Option, k, i int, t terms) {
	x := float64(float64(o.Modules) * max(leastPart, 1+float64(d.planeSD[o.Modules]*d.plane[i])))
	at := min(int(x), len(d.worthAt)-2)
	part := x - float64(at)
	between := func(v []float64) float64 { return v[at] + float64((v[at+1]-v[at])*part) }
	cost := float64(o.Cost * d.cost[i])
	d.net[k*d.n+i] = worth(t, cost, o.Modules, between(d.worthAt))
	saving := between(d.firstAt)
	d.saving[k*d.n+i] = saving
	d.payback[k*d.n+i] = neverInf(ratio(cost, saving))
	if between(d.flat) >= cost+float64(float64(o.Modules)*d.upkeep) {
		d.cover[k]++
	}
}

// spread sums up option k's draws.
func (d *draws) spread(o *Option, k int) {
	net := d.net[k*d.n : (k+1)*d.n]
	above := 0
	for _, v := range net {
		if v > 0 {
			above++
		}
	}
	o.Chance = float64(above) / float64(d.n)
	o.PaybackChance = d.cover[k] / float64(d.n)
	d.sorted = append(d.sorted[:0], net...)
	o.NetBenefit.fill(d.sorted)
	o.Saving.fill(d.saving[k*d.n : (k+1)*d.n])
	o.Payback.fill(d.payback[k*d.n : (k+1)*d.n])
}

// fill reorders x. Where a draw is infinite (it never pays back) the mean is so
// too.
func (s *Spread) fill(x []float64) {
	s.Mean = total(x) / float64(len(x))
	s.Median, s.Low, s.High = point(x, 0.5), point(x, 0.05), point(x, 0.95)
}

// point is the quantile (type 7), infinite where its neighbour is.
func point(x []float64, p float64) float64 {
	if q := stat.QuantileInPlace(x, p); !math.IsNaN(q) {
		return q
	}
	return math.Inf(1)
}
