package analyze

import (
	"math"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// earthRadiusKM is the mean radius of the IUGG, 6371.0 km.
const earthRadiusKM = 6371.0

// distanceKM is the great-circle distance by the haversine formula.
func distanceKM(lat1, lon1, lat2, lon2 float64) float64 {
	const rad = math.Pi / 180
	dLat, dLon := (lat2-lat1)*rad, (lon2-lon1)*rad
	a := samebits.Pow(samebits.Sin(dLat/2), 2) + float64(samebits.Cos(lat1*rad)*samebits.Cos(lat2*rad)*samebits.Pow(samebits.Sin(dLon/2), 2))
	return 2 * earthRadiusKM * samebits.Asin(math.Sqrt(math.Min(a, 1)))
}

// nearestTemperatures gives the station with temperatures nearest to a site
// within reach; nil: none. Of equals the first by ID stands first in the fleet.
func nearestTemperatures(stations []ingest.Station, s *ingest.Site, maxKM float64) *ingest.Station {
	var best *ingest.Station
	nearest := maxKM
	for i := range stations {
		st := &stations[i]
		if st.TempC == nil {
			continue
		}
		if d := distanceKM(s.LatitudeDeg, s.LongitudeDeg, st.LatitudeDeg, st.LongitudeDeg); d <= nearest && (best == nil || d < nearest) {
			best, nearest = st, d
		}
	}
	return best
}

// aligned cuts n hours from start out of an hourly record; hours that it does
// not have are NaN. The result is into, grown as needed.
func aligned(values []float64, at, start ingest.Hour, n int, into []float64) []float64 {
	if cap(into) < n {
		into = make([]float64, n)
	}
	into = into[:n]
	for i := range into {
		j := int(start-at) + i
		if j >= 0 && j < len(values) {
			into[i] = values[j]
		} else {
			into[i] = math.NaN()
		}
	}
	return into
}
