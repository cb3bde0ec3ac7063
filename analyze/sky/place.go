package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// Places knows where each site lies, its elevation lent by neighbours where
// the register leaves it blank.
//
// A mile of height is 8 % of clear light: an array in the mountains that is
// taken to lie by the sea would seem that much better than its register.
type Places struct {
	cells map[cellKey][]float64 // elevations known
}

// placeCellDeg is the side of the squares within which heights are lent, about
// 50 km (our choice: most of a region's houses stand in its valleys).
const placeCellDeg = 0.5

// NewPlaces gathers the elevations of a fleet.
func NewPlaces(register *ingest.Fleet) *Places {
	p := &Places{cells: map[cellKey][]float64{}}
	for _, s := range register.All() {
		if s.ElevationM == s.ElevationM {
			k := placeCell(s)
			p.cells[k] = append(p.cells[k], s.ElevationM)
		}
	}
	return p
}

func placeCell(s *ingest.Site) cellKey {
	return cellKey{int32(math.Floor(s.LatitudeDeg / placeCellDeg)), int32(math.Floor(s.LongitudeDeg / placeCellDeg))}
}

// Of gives a site's place: its own elevation, else the median of those in its
// square and, where none is known there, of the squares around; else NaN.
func (p *Places) Of(s *ingest.Site) sun.Place {
	at := sun.Place{LatitudeDeg: s.LatitudeDeg, LongitudeDeg: s.LongitudeDeg, ElevationM: s.ElevationM}
	if at.ElevationM == at.ElevationM {
		return at
	}
	k := placeCell(s)
	if own := p.cells[k]; len(own) > 0 {
		at.ElevationM = stat.Median(own)
		return at
	}
	var around []float64
	for dLat := int32(-1); dLat <= 1; dLat++ {
		for dLon := int32(-1); dLon <= 1; dLon++ {
			around = append(around, p.cells[cellKey{k.lat + dLat, k.lon + dLon}]...)
		}
	}
	at.ElevationM = stat.Median(around)
	return at
}
