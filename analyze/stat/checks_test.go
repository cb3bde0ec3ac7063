package stat

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/scripts/outside"
)

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tol)
	}
}

// trendData is one of R's data sets in 06_trend_series.csv, blank as NaN.
func trendData(t *testing.T, name string) (y []float64) {
	for _, r := range outside.Rows(t, "06_trend_series.csv") {
		if r["series"] != name {
			continue
		}
		v := math.NaN()
		if r["value"] != "" && r["value"] != "NA" {
			v = r.Num(t, "value")
		}
		y = append(y, v)
	}
	if len(y) == 0 {
		t.Fatalf("no data set %s", name)
	}
	return y
}

func TestTheilSenChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "06_theil_sen_expected.csv") {
		y := trendData(t, r["series"])
		tol := r.Num(t, "abs_tol")
		what := r["series"] + " " + r["method"]
		if level, ok := strings.CutPrefix(r["method"], "theil_sen_"); ok {
			l, err := strconv.ParseFloat(level, 64)
			if err != nil {
				t.Fatal(err)
			}
			x := make([]float64, len(y))
			for i := range x {
				x[i] = float64(i + 1)
			}
			got := TheilSen(x, y, l)
			near(t, what+" slope", got.Slope, r.Num(t, "slope"), tol)
			near(t, what+" intercept", got.Intercept, r.Num(t, "intercept"), tol)
			near(t, what+" low", got.Low, r.Num(t, "slope_low"), tol)
			near(t, what+" high", got.High, r.Num(t, "slope_high"), tol)
		}
	}
}

// TestTrendVectors uses Sen's own example and 360 months whose expected values
// were compared with R (SOURCE.txt beside them).
func TestTrendVectors(t *testing.T) {
	sen := TheilSen([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, 0.93)
	near(t, "Sen slope", sen.Slope, 4, 1e-12)
	near(t, "Sen intercept", sen.Intercept, 4, 1e-12)
	near(t, "Sen low", sen.Low, 3.71, 0.005)
	near(t, "Sen high", sen.High, 4.38, 0.005)

	f, err := os.Open(outside.Data(t, "trend-vectors", "monthly_360.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var x, y []float64
	for i, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[1], 64)
		if err != nil {
			v = math.NaN()
		}
		x, y = append(x, float64(i)), append(y, v)
	}
	s := TheilSen(x, y, 0.9)
	near(t, "slope", s.Slope, -0.006369426751592357, 1e-15)
	near(t, "intercept", s.Intercept, 96.15286624203821, 1e-9)
}

func TestYearOnYearChecks(t *testing.T) {
	var want struct {
		Reference float64            `json:"reference_median"`
		Pairs     int                `json:"n_pairs"`
		Median    float64            `json:"median_pct_per_year"`
		Mean      float64            `json:"mean_pct_per_year"`
		At        map[string]float64 `json:"percentiles_of_pair_rates"`
		Tol       float64            `json:"abs_tol"`
	}
	outside.JSON(t, "06_yoy_expected.json", &want)
	var day []int
	var v []float64
	for _, r := range outside.Rows(t, "06_yoy_series.csv") {
		d, err := time.Parse("2006-01-02", r["date"])
		if err != nil {
			t.Fatal(err)
		}
		day, v = append(day, int(d.Unix()/86400)), append(v, r.Num(t, "normalised_yield"))
	}
	got := YearOnYear(day, v, 0.95, 2000, Seed("x"))
	near(t, "reference", got.Reference, want.Reference, want.Tol)
	near(t, "pairs", float64(got.Pairs), float64(want.Pairs), 0)
	near(t, "median", got.PctYr, want.Median, want.Tol)
	near(t, "mean", Mean(got.Rates), want.Mean, want.Tol)
	for p, w := range want.At {
		pct, err := strconv.ParseFloat(p, 64)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "percentile "+p, Quantile(got.Rates, pct/100), w, want.Tol)
	}
	if !got.Enough || !(got.Low < got.PctYr && got.PctYr < got.High) {
		t.Errorf("enough %v, interval %v..%v around %v", got.Enough, got.Low, got.High, got.PctYr)
	}
	if !(got.Low < -0.7 && -0.7 < got.High) { // the rate that made the series
		t.Errorf("interval %v..%v misses -0.7", got.Low, got.High)
	}
}

func TestChangePointChecks(t *testing.T) {
	var file struct {
		Cases map[string]struct {
			Noise   float64 `json:"noise_sd_mad_of_first_differences"`
			Series  []float64
			Results []struct {
				Rule    string  `json:"penalty_rule"`
				Penalty float64 `json:"penalty"`
				Points  []int   `json:"optimal_changepoints"`
				Cost    float64 `json:"penalised_cost"`
			}
		}
	}
	outside.JSON(t, "08_changepoint.json", &file)
	if len(file.Cases) < 2 {
		t.Fatalf("only %d cases", len(file.Cases))
	}
	for name, c := range file.Cases {
		if c.Noise != 0 {
			near(t, name+" noise", NoiseSD(c.Series), c.Noise, 1e-9*c.Noise)
		}
		for _, r := range c.Results {
			what := name + " " + r.Rule
			sameInts(t, what+" optimal", OptimalPartition(c.Series, r.Penalty, 2), r.Points)
			sameInts(t, what+" PELT", PELT(c.Series, r.Penalty, 2), r.Points)
			near(t, what+" cost", PartitionCost(c.Series, r.Points, r.Penalty), r.Cost, 1e-9*r.Cost)
		}
	}
}

func sameInts(t *testing.T, what string, got, want []int) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: got %v, want %v", what, got, want)
		return
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("%s: got %v, want %v", what, got, want)
			return
		}
	}
}

func TestStepPenalty(t *testing.T) {
	// Nile, 100 values: 2 ln(100) 115.31938907582837^2 (08_changepoint.json).
	near(t, "SIC", StepPenalty(2, 115.31938907582837, 100, 0), 122484.27784339029, 1e-6)
	near(t, "phi 0.5 triples", StepPenalty(2, 1, 100, 0.5), 3*StepPenalty(2, 1, 100, 0), 1e-12)
	near(t, "phi below 0 counts not", StepPenalty(2, 1, 100, -0.5), StepPenalty(2, 1, 100, 0), 0)
}

func TestBlockBootstrapChecks(t *testing.T) {
	var w struct {
		Values []float64
		Length int     `json:"block_length"`
		Starts []int   `json:"given_block_starts_0based"`
		RMean  float64 `json:"resampled_mean"`
		RMed   float64 `json:"resampled_median"`
		MC     struct {
			SD    float64 `json:"sd"`
			Q025  float64 `json:"q2.5"`
			Q05   float64 `json:"q5"`
			Q50   float64 `json:"q50"`
			Q95   float64 `json:"q95"`
			Q975  float64 `json:"q97.5"`
			R     int
			TolSD float64 `json:"mc_tol_sd"`
			TolQ  float64 `json:"mc_tol_quantile"`
		} `json:"monte_carlo_R_boot_tsboot_fixed_endcorr_FALSE"`
		Tol float64 `json:"abs_tol_exact"`
	}
	outside.JSON(t, "12_block_bootstrap.json", &w)
	given := NewBlocks(len(w.Values), w.Length, 1).Fill(nil, w.Values, w.Starts)
	near(t, "given mean", Mean(given), w.RMean, w.Tol)
	near(t, "given median", Median(given), w.RMed, w.Tol)
	ones := make([]float64, len(w.Values))
	for i := range ones {
		ones[i] = 1
	}
	draws := BlockBootstrapRatio(w.Values, ones, w.Length, w.MC.R, 1)
	near(t, "MC sd", SD(draws), w.MC.SD, w.MC.TolSD)
	for p, q := range map[float64]float64{0.025: w.MC.Q025, 0.05: w.MC.Q05, 0.5: w.MC.Q50, 0.95: w.MC.Q95, 0.975: w.MC.Q975} {
		near(t, "MC quantile", Quantile(draws, p), q, w.MC.TolQ)
	}
}
