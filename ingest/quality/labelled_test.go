package quality

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// labelled reads a series of 15 minutes with hand-made labels as one of an
// array of 1 kW.
func labelled(t *testing.T, name string) (s *ingest.Series, label []bool) {
	t.Helper()
	rows := gzipped(t, outside.Data(t, "pv-labelled-faults", name))
	first, err := time.Parse("2006-01-02 15:04", rows[0][0])
	if err != nil {
		t.Fatal(err)
	}
	s = &ingest.Series{Start: ingest.HourOf(first), StepMinutes: 15}
	lead := first.Minute() / 15
	n := (lead + len(rows) + 3) / 4
	s.Fine = &ingest.Fine{Start: s.Start, StepMinutes: 15}
	fine := make([]float32, 4*n)
	for i := range fine {
		fine[i] = float32(math.NaN())
	}
	label = make([]bool, 4*n)
	for i, row := range rows {
		if v, err := strconv.ParseFloat(row[1], 64); err == nil {
			fine[lead+i] = float32(250 * v)
		}
		label[lead+i] = row[2] == "1"
	}
	s.Fine.Wh[ingest.Production], s.Wh[ingest.Production] = fine, hourly(fine, 4)
	return s, label
}

func hourly(fine []float32, per int) []float64 {
	out := make([]float64, len(fine)/per)
	for h := range out {
		for _, x := range fine[h*per : (h+1)*per] {
			out[h] += float64(x)
		}
	}
	return out
}

func gzipped(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// TestLabelledFaults holds precision and recall, by hour, on series whose faults
// others have labelled. An hour counts as faulty where a labelled reading of it
// is not zero: a line from nothing to nothing by night is no fault to anybody.
//
// Not held: clipping, which is judged with the array, and the dip of one
// reading among the outliers, which any cloud makes.
func TestLabelledFaults(t *testing.T) {
	for _, tc := range []struct {
		file              string
		codes             []string
		precision, recall float64
	}{
		{"stale_labelled_15min.csv.gz", []string{"stuck"}, 0.9, 0.95},
		{"interpolated_labelled_15min.csv.gz", []string{"interpolated"}, 0.9, 0.9},
		{"outliers_labelled_15min.csv.gz", []string{"impossible", "wrong_sign"}, 1, 0.8},
	} {
		s, label := labelled(t, tc.file)
		found := Check(s, Site{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN(), RatedACWatts: 1000})
		said := map[int]bool{}
		for _, q := range found {
			t.Log(q.Code, q.Says)
			for _, code := range tc.codes {
				for _, span := range q.Spans {
					for h := span.From; h < span.To && q.Code == code; h++ {
						said[int(h-s.Start)] = true
					}
				}
			}
		}
		hit, missed, wrong := 0, 0, 0
		for h := range s.Wh[ingest.Production] {
			is := false
			for i := 4 * h; i < 4*h+4; i++ {
				is = is || label[i] && s.Fine.Wh[ingest.Production][i] != 0
			}
			switch {
			case is && said[h]:
				hit++
			case is:
				missed++
			case said[h]:
				wrong++
			}
		}
		precision, recall := float64(hit)/float64(hit+wrong), float64(hit)/float64(hit+missed)
		t.Logf("%s: %d hours right, %d missed, %d wrong: precision %.3f, recall %.3f", tc.file, hit, missed, wrong, precision, recall)
		if !(precision >= tc.precision) || !(recall >= tc.recall) {
			t.Errorf("%s: precision %.3f, recall %.3f, want %.2f and %.2f", tc.file, precision, recall, tc.precision, tc.recall)
		}
	}
}
