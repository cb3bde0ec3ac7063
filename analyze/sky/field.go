package sky

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// Field is the sky over the fleet: cells of a quarter of a degree, each the
// weighted median of a bounded number of arrays. Its memory grows with the
// ground covered, not with the number of sites.
//
// Add is safe for concurrent use; the field is the same whatever the order.
// Close comes once, after the last Add; At is safe for concurrent use after it.
type Field struct {
	opt      Options
	mu       sync.Mutex
	cells    map[cellKey]*cell
	stations []stationSky
	typical  Factor
	ageing   Ageing
	usual    Usual // once a light is split, see parted
}

const (
	fewSites   = 5  // section 5.3: five peers or more make a peer set
	distanceKm = 20 // a cell this far counts 1/e (our choice: hourly cloud fields stay alike over tens of kilometres)
)

// cellKey is a square of latitude and longitude.
type cellKey struct{ lat, lon int32 }

// cell is one square of the field.
type cell struct {
	key   cellKey
	sites []Estimate // by hash and ID; after Close only where they are few
	hash  []uint64   // beside sites

	// after Close
	latDeg, lonDeg float64 // mean place of the sites
	factors        []aged
	start, end     ingest.Hour
	kw             []uint16 // median K packed with the number of sites, at most 15
	spread         []uint8  // in 1/spreadSteps of K
	partings       []Parting
	levels         []float64 // beside sites: how far their K lie off throughout, relative
}

const spreadSteps = 250

// NewField makes an empty field.
func NewField(opt Options) *Field {
	return &Field{opt: opt.withDefaults(), cells: map[cellKey]*cell{}}
}

func (f *Field) key(p sun.Place) cellKey {
	return cellKey{int32(math.Floor(p.LatitudeDeg / f.opt.CellDeg)), int32(math.Floor(p.LongitudeDeg / f.opt.CellDeg))}
}

// Add takes in one site. Of more sites in a cell than the bound those with the
// smallest hash stay, so that neither order nor number of workers matters.
func (f *Field) Add(e Estimate) {
	h := stat.Seed(e.SiteID)
	f.mu.Lock()
	defer f.mu.Unlock()
	k := f.key(e.Place)
	c := f.cells[k]
	if c == nil {
		c = &cell{key: k}
		f.cells[k] = c
	}
	at := 0
	for at < len(c.sites) && (c.hash[at] < h || c.hash[at] == h && c.sites[at].SiteID < e.SiteID) {
		at++
	}
	if at >= f.opt.SitesPerCell {
		return
	}
	c.sites, c.hash = slices.Insert(c.sites, at, e), slices.Insert(c.hash, at, h)
	if len(c.sites) > f.opt.SitesPerCell {
		c.sites, c.hash = c.sites[:f.opt.SitesPerCell], c.hash[:f.opt.SitesPerCell]
	}
}

// Close reduces every cell to its median and lets the sites go where they are
// enough.
func (f *Field) Close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	var factors []aged
	var cells [][]aged
	for _, k := range f.keys() {
		f.cells[k].settle()
	}
	for _, k := range f.keys() {
		f.cells[k].level(f.around(f.cells[k]))
	}
	for _, k := range f.keys() {
		c := f.cells[k]
		c.reduce(&f.usual)
		factors, cells = append(factors, c.factors...), append(cells, c.factors)
	}
	f.typical, f.ageing = factorOf(factors), ageingOf(cells)
}

// keys lists the cells in a fixed order.
func (f *Field) keys() []cellKey {
	keys := make([]cellKey, 0, len(f.cells))
	for k := range f.cells {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b cellKey) int {
		return cmp.Or(cmp.Compare(a.lat, b.lat), cmp.Compare(a.lon, b.lon))
	})
	return keys
}

// factorOf is the robust middle of the sites' factors.
func factorOf(sites []aged) Factor {
	if len(sites) == 0 {
		return Factor{Value: math.NaN(), SD: math.NaN(), AgeYears: math.NaN()}
	}
	x := make([]float64, len(sites))
	age, dated := 0.0, 0
	for i, s := range sites {
		x[i] = s.factor
		if s.ageYears == s.ageYears {
			age += s.ageYears
			dated++
		}
	}
	v := Factor{Value: stat.Median(x), AgeYears: age / float64(dated), Sites: len(x)}
	v.SD = 1.4826 * stat.MAD(x)
	return v
}

// settle is what the cell's sites have in common: their middle, their hours, their
// factors.
func (c *cell) settle() {
	var lat, lon float64
	c.start = c.sites[0].Start
	for i := range c.sites {
		e := &c.sites[i]
		lat, lon = lat+e.Place.LatitudeDeg, lon+e.Place.LongitudeDeg
		c.start = min(c.start, e.Start)
		c.end = max(c.end, e.Start+ingest.Hour(len(e.KW)))
		if e.Factor == e.Factor {
			c.factors = append(c.factors, aged{e.Factor, e.Age})
		}
	}
	n := float64(len(c.sites))
	c.latDeg, c.lonDeg = lat/n, lon/n
}

// levelSites are enough to tell what haze all have in common.
const levelSites = 15

// around lists the sites that stand under the same haze as a cell's: its own, and where
// they are few those of the nearest cells in reach.
func (f *Field) around(c *cell) (sites []*Estimate) {
	if len(c.sites) >= levelSites {
		return c.each(nil)
	}
	for _, near := range f.within(sun.Place{LatitudeDeg: c.latDeg, LongitudeDeg: c.lonDeg}) {
		if sites = near.each(sites); len(sites) >= levelSites {
			break
		}
	}
	return sites
}

func (c *cell) each(sites []*Estimate) []*Estimate {
	for i := range c.sites {
		sites = append(sites, &c.sites[i])
	}
	return sites
}

// reduce makes the cell's median by the hour.
func (c *cell) reduce(usual *Usual) {
	c.balance()
	if len(c.sites) < fewSites { // At takes the median itself, without the asking site
		return
	}
	c.kw, c.spread, c.partings = make([]uint16, c.end-c.start), make([]uint8, c.end-c.start), make([]Parting, c.end-c.start)
	buf := make([]uint16, 0, len(c.sites))
	for i := range c.kw {
		buf = c.gather(buf, c.start+ingest.Hour(i), "")
		if len(buf) == 0 {
			continue
		}
		k, sd := medianOf(buf)
		c.kw[i] = pack(k, float64(min(15, len(buf)))/15)
		c.spread[i] = uint8(min(255, math.Round(sd*spreadSteps)))
		p := c.part(c.start+ingest.Hour(i), "", k, sd)
		c.partings[i] = p.packed()
		usual.add(k, p)
	}
	c.sites, c.hash, c.levels = nil, nil, nil
}

// gather collects what the cell's sites say of an hour.
func (c *cell) gather(buf []uint16, at ingest.Hour, without string) []uint16 {
	buf = buf[:0]
	for s := range c.sites {
		e := &c.sites[s]
		if j := int(at - e.Start); j >= 0 && j < len(e.KW) && e.KW[j] != 0 && e.SiteID != without {
			buf = append(buf, e.KW[j])
		}
	}
	return buf
}

// medianOf is the weighted median of packed estimates and 1.4826 times the
// median distance from it. The slice is sorted in place: K is in the high bits.
func medianOf(x []uint16) (k, sd float64) {
	for i := 1; i < len(x); i++ {
		for j := i; j > 0 && x[j] < x[j-1]; j-- {
			x[j], x[j-1] = x[j-1], x[j]
		}
	}
	total := 0
	for _, v := range x {
		total += int(v & 15)
	}
	k = weightedMiddle(x, total)
	if len(x) < 3 {
		return k, lonelySpread
	}
	// the distances rise to both sides of the middle: merge them until half
	// the weight is passed
	hi := 0
	for hi < len(x) && float64(x[hi]>>4) < k*kSteps {
		hi++
	}
	lo, passed, dist := hi-1, 0, 0.0
	for 2*passed < total {
		switch {
		case lo < 0 || hi < len(x) && float64(x[hi]>>4)-float64(k*kSteps) <= float64(k*kSteps)-float64(x[lo]>>4):
			dist = float64(x[hi]>>4)/kSteps - k
			passed += int(x[hi] & 15)
			hi++
		default:
			dist = k - float64(x[lo]>>4)/kSteps
			passed += int(x[lo] & 15)
			lo--
		}
	}
	return k, 1.4826 * dist
}

// lonelySpread is the standard deviation granted to K where fewer than three
// arrays speak (our choice: what one array's hour is worth).
const lonelySpread = 0.1

func weightedMiddle(x []uint16, total int) float64 {
	sum := 0
	for i, v := range x {
		sum += int(v & 15)
		if 2*sum == total && i+1 < len(x) {
			return float64(v>>4+x[i+1]>>4) / (2 * kSteps)
		}
		if 2*sum >= total {
			return float64(v>>4) / kSteps
		}
	}
	return math.NaN()
}
