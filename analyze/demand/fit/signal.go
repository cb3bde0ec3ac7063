package fit

import (
	"math"
	"slices"
)

// Signal is the common seasonal signal of one region by local day: the log of
// the median household's consumption over its own median day.
type Signal struct {
	Sites int // behind it
	First int // number of the first day
	Log   []float64
	// DriftSE is the standard error of the common drift that was taken out, a
	// year.
	DriftSE float64
}

// At is the signal of a local day number; NaN where not known.
func (s *Signal) At(dayNumber int) float64 {
	if s == nil || dayNumber < s.First || dayNumber >= s.First+len(s.Log) {
		return math.NaN()
	}
	return s.Log[dayNumber-s.First]
}

// floor is the signal of a mild day: its lowest tenth.
func (s *Signal) floor() float64 {
	known := make([]float64, 0, len(s.Log))
	for _, v := range s.Log {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return 0
	}
	slices.Sort(known)
	return known[len(known)/10]
}
