package rank

import (
	"math"
	"testing"

	"rowen/scripts/outside"
)

func tell(n int, t Told) []Told {
	out := make([]Told, n)
	for i := range out {
		out[i] = t
	}
	return out
}

// Conversion by hand: 30 calls of the first tenth sold 12, 30 of the fifth sold
// 3; 5 were not answered, 4 made without a list sold 1.
func TestLearn(t *testing.T) {
	told := append(tell(12, Told{Sold, 1, 1, "new_load"}), tell(18, Told{Declined, 1, 1, "new_load"})...)
	told = append(told, tell(3, Told{Sold, 5, 5, "low_coverage"})...)
	told = append(told, tell(27, Told{NotSuitable, 5, 5, "low_coverage"})...)
	told = append(told, tell(5, Told{NoAnswer, 1, 1, "new_load"})...)
	told = append(told, append(tell(1, Told{Result: Sold}), tell(3, Told{Result: Declined})...)...)
	l := Learn(told)
	if l.Calls != 69 || l.Answered != 64 || l.Sold != 16 || l.NoAnswer != 5 || l.NotSuitable != 27 || l.Unlisted != 4 || !l.Enough {
		t.Errorf("%+v", l)
	}
	// lift of the first three tenths: 12/30 over 15/60.
	if math.Abs(l.Lift3-1.6) > 1e-12 || !(l.NDCG > 0.7 && l.NDCG < 1) {
		t.Errorf("lift %g, NDCG %g", l.Lift3, l.NDCG)
	}
	if len(l.ByTenth) != 2 || l.ByTenth[0].Name != "1" || l.ByTenth[0].Sold != 12 || l.ByTenth[1].Calls != 30 {
		t.Errorf("%+v", l.ByTenth)
	}
	// Two points: the logistic curve goes through both.
	if l.Calibration != "logistic" || math.Abs(l.ByTenth[0].Chance-0.4) > 1e-6 || math.Abs(l.ByTenth[1].Chance-0.1) > 1e-6 {
		t.Errorf("%s %+v", l.Calibration, l.ByTenth)
	}
	few := Learn(told[:49])
	if few.Enough || few.Calibration != "" || few.Lift3 != 0 {
		t.Errorf("49 calls say something: %+v", few)
	}
}

// The rates' intervals are those of the check file.
func TestRatesAreWilsons(t *testing.T) {
	for _, r := range outside.Rows(t, "12_wilson.csv") {
		if r.Num(t, "confidence") != level {
			continue
		}
		rate := (&Rate{Sold: int(r.Num(t, "successes")), Calls: int(r.Num(t, "n"))}).interval()
		if math.Abs(rate.Low-r.Num(t, "low")) > 1e-8 || math.Abs(rate.High-r.Num(t, "high")) > 1e-8 {
			t.Errorf("%s of %s: %g to %g", r["successes"], r["n"], rate.Low, rate.High)
		}
	}
}

// With 200 calls the chance never rises from one tenth to the next: 2 of 20 in the
// third and 6 of 20 in the fourth are pooled to 8 of 40.
func TestIsotonicByTenth(t *testing.T) {
	var told []Told
	for i, sold := range []int{12, 9, 2, 6, 4, 3, 2, 2, 1, 0} {
		told = append(told, append(tell(sold, Told{Sold, i + 1, i, "x"}), tell(20-sold, Told{Declined, i + 1, i, "x"})...)...)
	}
	l := Learn(told)
	if l.Calibration != "isotonic" {
		t.Fatal(l.Calibration)
	}
	for i, want := range []float64{0.6, 0.45, 0.2, 0.2, 0.2, 0.15, 0.1, 0.1, 0.05, 0} {
		if math.Abs(l.ByTenth[i].Chance-want) > 1e-12 {
			t.Errorf("tenth %d: %g, want %g", i+1, l.ByTenth[i].Chance, want)
		}
	}
}
