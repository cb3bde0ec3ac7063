package sky

import (
	"fmt"
	"math"
	"slices"

	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/samebits"
)

// near is a cell in reach with its weight by distance.
type near struct {
	*cell
	weight float64
	few    bool // sites kept: the median is taken here
}

// At gives the sky over a place. self is the asking site's own estimate: it is
// left out where few others speak, and stands in, with a caveat, where fewer
// than two do; nil where there is none.
//
// In:      the place, hours wanted.
// Out:     K by hour with its spread and the number of arrays behind it.
// Refuses: nothing; hours that nobody saw are NaN.
// Edges:   cells count by distance and by how many arrays speak in them, up to 15; weather replaces or fills as Options say.
// Cost:    grows with the cells in reach, and where they keep few arrays with those.
func (f *Field) At(place sun.Place, start ingest.Hour, n int, self *Estimate) Sky {
	s := Sky{Start: start, K: make([]float64, n), Diffuse: make([]float64, n), Spread: make([]float64, n), Sites: make([]uint16, n), Source: FromNone, SelfFactor: math.NaN(), Typical: f.typical, Ageing: f.ageing}
	cells := f.within(place)
	s.Typical = f.typicalNear(cells)
	selfID := ""
	if self != nil {
		selfID = self.SiteID
	}
	others := othersIn(cells, selfID)
	without := selfID
	if others >= leastOthers && others < fewSites {
		without = "" // three or four with itself: the median holds against one bad one
	}
	var fleet, alone, weather int
	buf := make([]uint16, 0, f.opt.SitesPerCell)
	station := f.stationNear(place)
	for i := range s.K {
		s.K[i], s.Spread[i] = math.NaN(), math.NaN()
		at := start + ingest.Hour(i)
		if station != nil && f.opt.PreferWeather && station.into(&s, i, at) {
			weather++
			continue
		}
		if others >= leastOthers && f.combine(cells, at, without, buf, &s, i) {
			fleet++
			continue
		}
		if station != nil && station.into(&s, i, at) {
			weather++
			continue
		}
		if self != nil && selfInto(self, at, &s, i) {
			alone++
			s.SelfFactor = self.Used
			continue
		}
		if others > 0 && f.combine(cells, at, without, buf, &s, i) {
			fleet++
		}
	}
	s.describe(fleet, weather, alone, others)
	return s
}

// othersIn counts the arrays of the cells but one; a cell that keeps no single
// sites counts as many.
func othersIn(cells []near, siteID string) int {
	others := 0
	for _, c := range cells {
		if !c.few {
			return 1 << 20
		}
		for i := range c.sites {
			if c.sites[i].SiteID != siteID {
				others++
			}
		}
	}
	return others
}

// leastOthers is how many other arrays make a sky: one alone may be shaded or
// broken and nobody would know, and the site's own clear days tell more.
const leastOthers = 2

// Alone tells whether too few others speak for a site's sky, so that At needs
// its own estimate; elsewhere an Estimate with no more than the SiteID will do.
func (f *Field) Alone(place sun.Place, siteID string) bool {
	return othersIn(f.within(place), siteID) < leastOthers
}

// localFactors is how many arrays in reach make a usual factor of their own:
// light and the clear-sky model's error differ by region (our choice).
const localFactors = 20

// typicalNear is the usual factor of the arrays in reach, or of the fleet.
func (f *Field) typicalNear(cells []near) Factor {
	var x []aged
	for i := range cells {
		x = append(x, cells[i].factors...)
	}
	if len(x) < localFactors {
		return f.typical
	}
	return factorOf(x)
}

// combine averages the medians of the cells in reach, and with how their arrays part
// tells beam and diffuse light apart.
func (f *Field) combine(cells []near, at ingest.Hour, without string, buf []uint16, s *Sky, i int) bool {
	var sum, sumW, sumV, sites, more, sure, off, lean float64
	for ci := range cells {
		c := &cells[ci]
		k, sd, n, p := c.at(at, without, buf)
		if n == 0 {
			continue
		}
		w := float64(c.weight * float64(n))
		sum, sumW, sumV, sites = sum+float64(w*k), sumW+w, sumV+float64(w*(float64(sd*sd)+float64(k*k))), sites+float64(n)
		more, sure = more+float64(c.weight*p.sure*p.more), sure+float64(c.weight*p.sure)
		off, lean = off+float64(w*k*p.off), lean+float64(w*k*p.lean)
	}
	if sumW == 0 {
		return false
	}
	k := sum / sumW
	s.Spread[i], s.Sites[i] = math.Sqrt(max(0, sumV/sumW-float64(k*k))), uint16(sites)
	x := f.usual.drawn(k, more, sure)
	s.K[i], s.Diffuse[i] = min(maxK, max(0, k+(off-float64(x*lean))/sumW)), x
	return true
}

// at is the cell's median K of an hour with its spread, how many arrays stand behind
// it, and how they part.
func (c *near) at(at ingest.Hour, without string, buf []uint16) (k, sd float64, n int, p parted) {
	if c.few {
		buf = c.gather(buf, at, without)
		if len(buf) == 0 {
			return 0, 0, 0, p
		}
		k, sd = medianOf(buf)
		return k, sd, len(buf), c.part(at, without, k, sd)
	}
	j := int(at - c.start)
	if j < 0 || j >= len(c.kw) || c.kw[j] == 0 {
		return 0, 0, 0, p
	}
	k, n = unpack(c.kw[j])
	return k, float64(c.spread[j]) / spreadSteps, n, c.partings[j].unpacked()
}

// selfInto takes the site's own word; total darkness by day is not the sky's.
func selfInto(self *Estimate, at ingest.Hour, s *Sky, i int) bool {
	j := int(at - self.Start)
	if j < 0 || j >= len(self.KW) || self.KW[j] == 0 {
		return false
	}
	k, _ := unpack(self.KW[j])
	if k < darkK {
		return false
	}
	if off, known := self.off(j); known && math.Abs(off) > aloneLevel {
		k = min(maxK, k*samebits.Exp(-off))
	}
	s.K[i], s.Spread[i], s.Sites[i] = k, lonelySpread, 1
	return true
}

// within lists the cells in reach, nearest first, own weight by distance.
func (f *Field) within(place sun.Place) []near {
	own := f.key(place)
	reachLat := int32(math.Ceil(f.opt.RadiusKm / (kmPerDeg * f.opt.CellDeg)))
	reachLon := int32(math.Ceil(f.opt.RadiusKm / (kmPerDeg * f.opt.CellDeg * max(0.1, samebits.Cos(place.LatitudeDeg*math.Pi/180)))))
	var out []near
	for dLat := -reachLat; dLat <= reachLat; dLat++ {
		for dLon := -reachLon; dLon <= reachLon; dLon++ {
			c := f.cells[cellKey{own.lat + dLat, own.lon + dLon}]
			if c == nil {
				continue
			}
			d := distance(place, c.latDeg, c.lonDeg)
			if d > f.opt.RadiusKm && c.key != own {
				continue
			}
			out = append(out, near{c, samebits.Exp(-sq(d / distanceKm)), c.kw == nil})
		}
	}
	slices.SortStableFunc(out, func(a, b near) int {
		switch {
		case a.weight > b.weight:
			return -1
		case a.weight < b.weight:
			return 1
		}
		return 0
	})
	const most = 5
	if len(out) > most {
		out = out[:most]
	}
	return out
}

const kmPerDeg = 111.2 // a degree of a great circle on a sphere of 6371 km

// distance in km on a flat map around the place: good to 1 % at these reaches.
func distance(p sun.Place, latDeg, lonDeg float64) float64 {
	dx := (lonDeg - p.LongitudeDeg) * samebits.Cos(p.LatitudeDeg*math.Pi/180)
	return kmPerDeg * samebits.Hypot(dx, latDeg-p.LatitudeDeg)
}

// describe names the source of most hours and what to doubt.
func (s *Sky) describe(fleet, weather, alone, others int) {
	switch {
	case fleet+weather+alone == 0:
		s.caveat("no_sky", "no array and no weather file near saw the sky")
		return
	case weather >= fleet && weather >= alone:
		s.Source = FromWeather
	case fleet >= alone:
		s.Source = FromFleet
	default:
		s.Source = FromSelf
		s.caveat("sky_from_itself", "few other arrays are near most of the time: the sky is estimated from this array itself, so that a slow loss of level cannot be separated from haze; only the envelope of clear days shows it")
	}
	if s.Source == FromFleet && others < fewSites {
		s.caveat("few_neighbours", fmt.Sprintf("only %d other arrays are near: the sky rests on few", others))
	}
}

func (s *Sky) caveat(code, says string) {
	s.Caveats = append(s.Caveats, ingest.Caveat{Code: code, Says: says})
}
