package ingest_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// household is n hours of a site whose four meters agree: 500 Wh used, 300 made
// at the third hour of four, the rest drawn from or sent to the grid.
func household(n int) *ingest.Series {
	s := &ingest.Series{Start: 480000, StepMinutes: 60}
	for c := range s.Wh {
		s.Wh[c] = make([]float64, n)
	}
	for i := range n {
		use, made := 500.0, 0.0
		if i%4 == 2 {
			made = 800
		}
		s.Wh[ingest.Consumption][i], s.Wh[ingest.Production][i] = use, made
		s.Wh[ingest.Import][i], s.Wh[ingest.Export][i] = max(0, use-made), max(0, made-use)
	}
	return s
}

func blank(v []float64, from, to int) {
	for i := from; i < to; i++ {
		v[i] = math.NaN()
	}
}

func TestJoinConsumption(t *testing.T) {
	const n = 24 * 100
	for _, tc := range []struct {
		name   string
		do     func(s *ingest.Series)
		basis  string
		gross  bool
		known  int
		seams  []int // hours
		caveat string
		value  float64 // of every known hour
	}{
		{"all four meters", func(*ingest.Series) {}, "meter", true, n, nil, "", 500},
		{"one stray value of the meter", func(s *ingest.Series) {
			blank(s.Wh[ingest.Consumption], 0, n)
			s.Wh[ingest.Consumption][700] = 90000
		}, "derived", true, n, nil, "", 500},
		{"a meter that began last month", func(s *ingest.Series) {
			blank(s.Wh[ingest.Consumption], 0, 70*24)
			blank(s.Wh[ingest.Import], 70*24, n)
		}, "derived", true, n, []int{70 * 24}, "consumption_joined", 500},
		{"a meter that began last month beside the others", func(s *ingest.Series) {
			blank(s.Wh[ingest.Consumption], 0, 70*24)
		}, "derived", true, n, nil, "", 500},
		{"holes of the meter", func(s *ingest.Series) { blank(s.Wh[ingest.Consumption], 1000, 1020) }, "meter", true, n, nil, "", 500},
		{"a month without the meter", func(s *ingest.Series) { blank(s.Wh[ingest.Consumption], 720, 1440) }, "meter", true, n, []int{720, 1440}, "consumption_joined", 500},
		{"meters that differ by a tenth", func(s *ingest.Series) {
			blank(s.Wh[ingest.Consumption], 720, 1440)
			for i := range s.Wh[ingest.Consumption] {
				s.Wh[ingest.Consumption][i] *= 0.9
			}
		}, "meter", true, n - 720, nil, "consumption_meters_differ", 450},
		{"no meter", func(s *ingest.Series) { s.Wh[ingest.Consumption] = nil }, "derived", true, n, nil, "", 500},
		{"a refused meter", func(s *ingest.Series) {
			s.Quality = []ingest.Quality{{Channel: ingest.Consumption, Consequence: ingest.RefuseChannel}}
		}, "derived", true, n, nil, "", 500},
		{"import alone", func(s *ingest.Series) {
			s.Wh[ingest.Consumption], s.Wh[ingest.Export], s.Wh[ingest.Production] = nil, nil, nil
			blank(s.Wh[ingest.Import], 0, 3)
		}, "net", false, n - 3, nil, "net_only", math.NaN()},
		{"nothing", func(s *ingest.Series) { s.Wh = [ingest.NumChannels][]float64{} }, "", false, 0, nil, "", math.NaN()},
		{"clocks apart", func(s *ingest.Series) {
			s.Wh[ingest.Consumption] = nil
			for i := 0; i < n; i += 40 {
				s.Wh[ingest.Import][i] = -700
			}
		}, "derived", true, n, nil, "derived_negative", math.NaN()},
	} {
		s := household(n)
		tc.do(s)
		c := ingest.JoinConsumption(s, nil)
		known := 0
		for i, x := range c.Wh {
			if x != x {
				continue
			}
			known++
			if tc.value == tc.value && x != tc.value {
				t.Errorf("%s: hour %d is %g, want %g", tc.name, i, x, tc.value)
				break
			}
		}
		var seams []int
		for _, x := range c.Seams {
			seams = append(seams, int(x.At-s.Start))
		}
		var said []string
		for _, x := range c.Caveats {
			said = append(said, x.Code)
		}
		if c.Basis != tc.basis || c.Gross != tc.gross || known != tc.known || !slices.Equal(seams, tc.seams) || strings.Join(said, " ") != tc.caveat {
			t.Errorf("%s: basis %q, gross %v, %d hours, seams %v, said %v", tc.name, c.Basis, c.Gross, known, seams, c.Caveats)
		}
	}
}
