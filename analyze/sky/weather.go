package sky

import (
	"math"

	"rowen/analyze/stat"
	"rowen/analyze/sun"
	"rowen/ingest"
)

// stationSky is a weather station with measured light.
type stationSky struct {
	id             string
	latDeg, lonDeg float64
	start          ingest.Hour
	k              []float64
}

// AddStation takes in a weather station with measured light, before Close.
//
//	K = GHI / (a GHIclear),  a the level of its clear hours
//
// The scale a makes clear skies 1, as they are for the arrays, so that K from
// weather and K from the fleet may stand side by side.
//
// In:      the station; its sun over the same hours.
// Refuses: a station without measured light is left out.
func (f *Field) AddStation(st *ingest.Station, h *sun.Hours) {
	if st.GHIWm2 == nil {
		return
	}
	s := stationSky{id: st.ID, latDeg: st.LatitudeDeg, lonDeg: st.LongitudeDeg, start: st.Start, k: make([]float64, len(st.GHIWm2))}
	scale := clearScale(st.GHIWm2, h)
	for i, g := range st.GHIWm2 {
		s.k[i] = math.NaN()
		if h.ClearGHI[i] > 0 && h.Up[i] > gateUp && g == g {
			s.k[i] = min(maxK, max(0, g/(scale*h.ClearGHI[i])))
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.stations = append(f.stations, s)
}

// clearScale is the 90th percentile of a station's days over their clear
// curve: the level of clear days, which section 2.2 calls alpha.
func clearScale(ghi []float64, h *sun.Hours) float64 {
	var ratios []float64
	for d := 0; d+24 <= len(ghi); d += 24 {
		var sum, clear float64
		for i := d; i < d+24; i++ {
			if ghi[i] == ghi[i] {
				sum, clear = sum+ghi[i], clear+h.ClearGHI[i]
			}
		}
		if clear > 0 {
			ratios = append(ratios, sum/clear)
		}
	}
	if len(ratios) < 2*minClearDays {
		return 1
	}
	return stat.Quantile(ratios, 0.9)
}

// stationNear is the nearest station in reach; ties go to the smaller ID.
func (f *Field) stationNear(p sun.Place) *stationSky {
	var best *stationSky
	bestD := f.opt.WeatherKm
	for i := range f.stations {
		s := &f.stations[i]
		d := distance(p, s.latDeg, s.lonDeg)
		if d < bestD || d == bestD && (best == nil || s.id < best.id) {
			best, bestD = s, d
		}
	}
	return best
}

// stationSpread is the standard deviation granted to a station's K at a site
// some kilometres off (our choice).
const stationSpread = 0.05

func (s *stationSky) into(out *Sky, i int, at ingest.Hour) bool {
	j := int(at - s.start)
	if j < 0 || j >= len(s.k) || s.k[j] != s.k[j] {
		return false
	}
	out.K[i], out.Spread[i], out.Sites[i] = s.k[j], stationSpread, 0
	return true
}
