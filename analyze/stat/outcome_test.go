package stat

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"rowen/scripts/outside"
)

func TestWilsonChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "12_wilson.csv") {
		lo, hi := Wilson(int(r.Num(t, "successes")), int(r.Num(t, "n")), r.Num(t, "confidence"))
		what := r["successes"] + "/" + r["n"]
		near(t, what+" low", lo, r.Num(t, "low"), r.Num(t, "abs_tol"))
		near(t, what+" high", hi, r.Num(t, "high"), r.Num(t, "abs_tol"))
	}
}

func TestIsotonicChecks(t *testing.T) {
	var file struct {
		Cases []struct{ Y, Weights, Fitted []float64 }
		Tol   float64 `json:"abs_tol"`
	}
	outside.JSON(t, "12_isotonic.json", &file)
	for _, c := range file.Cases {
		for i, v := range PAVA(c.Y, c.Weights) {
			near(t, "fitted", v, c.Fitted[i], file.Tol)
		}
	}
}

func TestLogisticChecks(t *testing.T) {
	var w struct {
		X, Y             []float64
		Intercept, Slope float64
		Tol              float64 `json:"rel_tol"`
	}
	outside.JSON(t, "12_logistic.json", &w)
	f, ok := Logistic(w.X, w.Y)
	if !ok {
		t.Fatal("refused")
	}
	near(t, "intercept", f.Intercept, w.Intercept, w.Tol*math.Abs(w.Intercept))
	near(t, "slope", f.Slope, w.Slope, w.Tol*math.Abs(w.Slope))
}

func TestRankingChecks(t *testing.T) {
	var file struct {
		Meta struct {
			Tol float64 `json:"abs_tol"`
		}
		Cases []map[string]any
	}
	outside.JSON(t, "12_ranking.json", &file)
	seen := 0
	for _, c := range file.Cases {
		order := Order(numbers(c["score"]), nil)
		r := Ranked(numbers(c["relevance"]), order)
		for key, v := range c {
			want, isNum := v.(float64)
			name, tail, _ := strings.Cut(key, "@")
			ks, kind, _ := strings.Cut(tail, "_")
			k, _ := strconv.Atoi(ks)
			if !isNum || kind == "exp2" {
				continue
			}
			var got float64
			switch name {
			case "dcg":
				got = DCG(r, k)
			case "ndcg":
				got = NDCG(r, k)
			case "precision":
				got = Precision(r, k)
			case "lift":
				got = Lift(r, k)
			default:
				continue
			}
			seen++
			near(t, key, got, want, file.Meta.Tol)
		}
	}
	if seen < 4 {
		t.Errorf("%d figures were held against the file", seen)
	}
}

func numbers(v any) []float64 {
	list, _ := v.([]any)
	out := make([]float64, len(list))
	for i := range list {
		out[i], _ = list[i].(float64)
	}
	return out
}
