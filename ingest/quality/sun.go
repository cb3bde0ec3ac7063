package quality

import (
	"math"
	"sync"

	"rowen/ingest"
	"rowen/ingest/samebits"
)

// sunDays says when the sun is up at a place, day by day of UTC, good to a few
// minutes: the checks look for wrong clocks and wrong channels, not for light.
//
//	B     = 2 pi (doy - 1) / 365
//	delta = 0.006918 - 0.399912 cos B + 0.070257 sin B - 0.006758 cos 2B + 0.000907 sin 2B - 0.002697 cos 3B + 0.00148 sin 3B
//	EoT   = 229.18 (0.0000075 + 0.001868 cos B - 0.032077 sin B - 0.014615 cos 2B - 0.040849 sin 2B)   [min]
//	cos w = -tan phi tan delta                                                    half a day's length
//	noon  = 12 - lon/15 - EoT/60                                                  [h of UTC]
//	sin h = sin phi sin delta + cos phi cos delta cos w                           the sun's height
//
// Source: Spencer 1971 [published], worst error 0.8 degrees.
type sunDays struct {
	start      ingest.Hour
	offset     int // hours of the first day of UTC before start
	noon, half []float64
	day        []int32 // by hour: the day whose noon is nearest
	dark       []bool  // by hour: the sun stays below twilight all through it
}

// yearSun is what a day of the year, from 1 on, has of the sun at any place.
var yearSun = sync.OnceValue(func() (days [367]daySun) {
	for n := range days {
		b := 2 * math.Pi * float64(n-1) / 365
		delta := 0.006918 - float64(0.399912*samebits.Cos(b)) + float64(0.070257*samebits.Sin(b)) - float64(0.006758*samebits.Cos(2*b)) + float64(0.000907*samebits.Sin(2*b)) - float64(0.002697*samebits.Cos(3*b)) + float64(0.00148*samebits.Sin(3*b))
		eot := 229.18 * (0.0000075 + float64(0.001868*samebits.Cos(b)) - float64(0.032077*samebits.Sin(b)) - float64(0.014615*samebits.Cos(2*b)) - float64(0.040849*samebits.Sin(2*b)))
		days[n] = daySun{eot, samebits.Sin(delta), samebits.Cos(delta), samebits.Tan(delta)}
	}
	return days
})

// daySun is the equation of time, in minutes, and the declination's functions.
type daySun struct{ eot, sin, cos, tan float64 }

func newSunDays(latDeg, lonDeg float64, start ingest.Hour, n int) *sunDays {
	s := &sunDays{start: start, offset: int(floorMod(int64(start), 24))}
	days := (n+s.offset)/24 + 2
	day0 := (start - ingest.Hour(s.offset)).Time()
	phi := latDeg * math.Pi / 180
	sinPhi, cosPhi, tanPhi := samebits.Sin(phi), samebits.Cos(phi), samebits.Tan(phi)
	year := yearSun()
	reach := make([]float64, 0, days) // hours from noon within which the sun is above twilight
	for d := range days {
		sun := &year[day0.AddDate(0, 0, d).YearDay()]
		s.noon = append(s.noon, 12-lonDeg/15-sun.eot/60)
		up, swing := float64(sinPhi*sun.sin), cosPhi*sun.cos
		switch r := (sinTwilight - up) / swing; {
		case r > 1:
			reach = append(reach, -1)
		case r < -1:
			reach = append(reach, math.Inf(1))
		default:
			reach = append(reach, samebits.Acos(r)*12/math.Pi)
		}
		s.half = append(s.half, samebits.Acos(min(1, max(-1, -tanPhi*sun.tan)))*12/math.Pi)
	}
	s.day, s.dark = make([]int32, n), make([]bool, n)
	for h := range s.dark {
		day, from, _ := s.at(float64(h))
		s.day[h], s.dark[h] = int32(day), max(0, from, -from-1) > reach[day]
	}
	return s
}

// sinTwilight: five degrees below the horizon, our choice: about half an hour
// from the day at most places, for rough stamps and a rough sun.
var sinTwilight = samebits.Sin(-5 * math.Pi / 180)

// night tells whether the sun stays below twilight all through hour h of the
// series.
func (s *sunDays) night(h int) bool { return s.dark[h] }

// around gives the day whose noon is nearest to hour h, the beginning of h in
// hours after that noon, and half that day's length.
func (s *sunDays) around(h int) (day int, from, half float64) {
	day = int(s.day[h])
	return day, s.from(float64(h), day), s.half[day]
}

// at is around for a moment in hours after the series' start.
func (s *sunDays) at(hours float64) (day int, from, half float64) {
	t := hours + float64(s.offset)
	day = int(math.Floor((t + 0.5 - s.noon[0] + 12) / 24))
	day = min(max(day, 0), len(s.noon)-1)
	return day, s.from(hours, day), s.half[day]
}

// from is a moment in hours after a day's noon.
func (s *sunDays) from(hours float64, day int) float64 {
	return hours + float64(s.offset) - float64(24*float64(day)) - s.noon[day]
}

func floorMod(a, b int64) int64 {
	m := a % b
	if m < 0 {
		m += b
	}
	return m
}
