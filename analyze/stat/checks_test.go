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
func trendData(t *testing.T, name string) (year, season []int, y []float64) {
	for _, r := range outside.Rows(t, "06_trend_series.csv") {
		if r["series"] != name {
			continue
		}
		v := math.NaN()
		if r["value"] != "" && r["value"] != "NA" {
			v = r.Num(t, "value")
		}
		year, season, y = append(year, int(r.Num(t, "year"))), append(season, int(r.Num(t, "season"))), append(y, v)
	}
	if len(y) == 0 {
		t.Fatalf("no data set %s", name)
	}
	return year, season, y
}

func TestMannKendallChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "06_mann_kendall_expected.csv") {
		year, season, y := trendData(t, r["series"])
		k := MannKendall(y)
		if r["test"] == "seasonal" {
			k = SeasonalMannKendall(year, season, y)
		}
		for c, v := range map[string]float64{"n": float64(k.N), "S": k.S, "varS": k.Var, "tau_b": k.Tau, "z_continuity": k.Z,
			"p_continuity": k.P, "z_plain": k.PlainZ, "p_plain": k.PlainP} {
			want := r.Num(t, c)
			near(t, r["series"]+" "+c, v, want, r.Num(t, "rel_tol")*math.Abs(want))
		}
	}
}

func TestTheilSenChecks(t *testing.T) {
	for _, r := range outside.Rows(t, "06_theil_sen_expected.csv") {
		year, season, y := trendData(t, r["series"])
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
			continue
		}
		near(t, what, SeasonalSlope(year, season, y), r.Num(t, "slope"), tol)
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
	var year, season []int
	for i, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[1], 64)
		if err != nil {
			v = math.NaN()
		}
		x, y = append(x, float64(i)), append(y, v)
		year, season = append(year, i/12), append(season, i%12)
	}
	k := MannKendall(y)
	near(t, "n", float64(k.N), 353, 0)
	near(t, "S", k.S, -1959, 0)
	near(t, "Var", k.Var, 4889800.333333333, 1e-6)
	near(t, "Z", k.Z, -0.8854562842589916, 1e-12)
	near(t, "P", k.P, 0.37591058740506833, 1e-12)
	s := TheilSen(x, y, 0.9)
	near(t, "slope", s.Slope, -0.006369426751592357, 1e-15)
	near(t, "intercept", s.Intercept, 96.15286624203821, 1e-9)
	sk := SeasonalMannKendall(year, season, y)
	near(t, "seasonal S", sk.S, -399, 0)
	near(t, "seasonal Var", sk.Var, 34702.333333333336, 1e-9)
	near(t, "seasonal Z", sk.Z, -2.136504114534638, 1e-12)
	near(t, "seasonal P", sk.P, 0.03263834596177739, 1e-12)
	near(t, "seasonal slope", SeasonalSlope(year, season, y), -0.08695652173913043, 1e-12)
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

func TestRobustZChecks(t *testing.T) {
	var x []float64
	rows := outside.Rows(t, "05_peer_robust_z.csv")
	for _, r := range rows {
		x = append(x, r.Num(t, "specific_yield_kWh_per_kW"))
	}
	z := RobustZ(x)
	for i, r := range rows {
		tol := r.Num(t, "abs_tol")
		near(t, r["system"]+" median", Median(x), r.Num(t, "peer_median"), tol)
		near(t, r["system"]+" MAD", MAD(x), r.Num(t, "MAD_raw"), tol)
		near(t, r["system"]+" z", z[i], r.Num(t, "robust_z"), max(tol, 1e-8)) // ten digits are printed
	}
}

func TestChangePointChecks(t *testing.T) {
	var file struct {
		Cases map[string]struct {
			Noise   float64 `json:"noise_sd_mad_of_first_differences"`
			Series  []float64
			Results []struct {
				Rule    string    `json:"penalty_rule"`
				Penalty float64   `json:"penalty"`
				Points  []int     `json:"optimal_changepoints"`
				Means   []float64 `json:"segment_means"`
				Cost    float64   `json:"penalised_cost"`
				Binary  []int     `json:"binary_segmentation_changepoints"`
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
			sameInts(t, what+" binary", BinarySegmentation(c.Series, r.Penalty, 2), r.Binary)
			near(t, what+" cost", PartitionCost(c.Series, r.Points, r.Penalty), r.Cost, 1e-9*r.Cost)
			for i, m := range SegmentMeans(c.Series, r.Points) {
				near(t, what+" mean", m, r.Means[i], 1e-9*math.Abs(r.Means[i])+1e-12)
			}
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

func TestCUSUMChecks(t *testing.T) {
	rows := outside.Rows(t, "08_cusum.csv")
	var x []float64
	for _, r := range rows {
		x = append(x, r.Num(t, "x"))
	}
	c := NewCUSUM(x, rows[0].Num(t, "target"), rows[0].Num(t, "K"), rows[0].Num(t, "H"))
	for i, r := range rows {
		near(t, "high "+r["i"], c.High[i], r.Num(t, "S_high"), 1e-6)
		near(t, "low "+r["i"], c.Low[i], r.Num(t, "S_low"), 1e-6)
	}
	if c.Alarm != -1 { // Example 16-6: no alarm
		t.Errorf("alarm at %d", c.Alarm)
	}
	if got := NewCUSUM([]float64{0, 3, 3, 3}, 0, 1, 5).Alarm; got != 3 { // 2, 4, 6 > 5
		t.Errorf("alarm at %d, want 3", got)
	}
}

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
		X, Y, SE         []float64
		Intercept, Slope float64
		LogLik           float64 `json:"log_likelihood"`
		Brier            float64
		LogLoss          float64 `json:"log_loss"`
		Tol              float64 `json:"rel_tol"`
	}
	outside.JSON(t, "12_logistic.json", &w)
	f, ok := Logistic(w.X, w.Y)
	if !ok {
		t.Fatal("refused")
	}
	p := make([]float64, len(w.X))
	for i, x := range w.X {
		p[i] = f.P(x)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"intercept", f.Intercept, w.Intercept}, {"slope", f.Slope, w.Slope}, {"se intercept", f.InterceptSE, w.SE[0]}, {"se slope", f.SlopeSE, w.SE[1]},
		{"log likelihood", f.LogLik, w.LogLik}, {"Brier", Brier(p, w.Y), w.Brier}, {"log loss", LogLoss(p, w.Y), w.LogLoss}} {
		near(t, c.what, c.got, c.want, w.Tol*math.Abs(c.want))
	}
}

func TestRankingChecks(t *testing.T) {
	var file struct {
		Meta struct {
			Tol float64 `json:"abs_tol"`
		}
		Cases []map[string]any
	}
	outside.JSON(t, "12_ranking.json", &file)
	for _, c := range file.Cases {
		rel, score := floats(c["relevance"]), floats(c["score"])
		order := Order(score, nil)
		r, s := Ranked(rel, order), Ranked(score, order)
		seen := 0
		for key, v := range c {
			want, isNum := v.(float64)
			name, tail, _ := strings.Cut(key, "@")
			ks, kind, _ := strings.Cut(tail, "_")
			k, _ := strconv.Atoi(ks)
			gain := LinearGain
			if kind == "exp2" {
				gain = Exp2Gain
			}
			var got float64
			switch name {
			case "dcg":
				got = DCG(r, k, gain)
			case "ndcg":
				got = NDCG(r, k, gain)
			case "precision":
				got = Precision(r, k)
			case "recall":
				got = Recall(r, k)
			case "lift":
				got = Lift(r, k)
			case "average_precision":
				got = AveragePrecision(r, s)
			case "roc_auc":
				got = AUC(rel, score)
			case "cumulative_gain":
				for i, g := range CumulativeGain(r) {
					near(t, key, g, floats(v)[i], file.Meta.Tol)
				}
				continue
			default:
				if isNum {
					t.Errorf("no code for %s", key)
				}
				continue
			}
			seen++
			near(t, key, got, want, file.Meta.Tol)
		}
		if seen < 8 {
			t.Errorf("only %d measures compared", seen)
		}
	}
}

func floats(v any) []float64 {
	var out []float64
	for _, e := range v.([]any) {
		out = append(out, e.(float64))
	}
	return out
}

func TestBlockBootstrapChecks(t *testing.T) {
	var w struct {
		Values []float64
		Length int     `json:"block_length"`
		Mean   float64 `json:"exact_expectation_of_bootstrap_mean"`
		SD     float64 `json:"exact_sd_of_bootstrap_mean"`
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
	mean, sd := BlockMeanMoments(w.Values, w.Length)
	near(t, "E*", mean, w.Mean, w.Tol)
	near(t, "sd*", sd, w.SD, w.Tol)
	given := NewBlocks(len(w.Values), w.Length, 1).Fill(nil, w.Values, w.Starts)
	near(t, "given mean", Mean(given), w.RMean, w.Tol)
	near(t, "given median", Median(given), w.RMed, w.Tol)
	draws := BlockBootstrapMean(w.Values, w.Length, w.MC.R, 1)
	near(t, "MC sd", SD(draws), w.MC.SD, w.MC.TolSD)
	for p, q := range map[float64]float64{0.025: w.MC.Q025, 0.05: w.MC.Q05, 0.5: w.MC.Q50, 0.95: w.MC.Q95, 0.975: w.MC.Q975} {
		near(t, "MC quantile", Quantile(draws, p), q, w.MC.TolQ)
	}
}

// TestOLSChecks: the regression of MASS::whiteside against R and statsmodels.
func TestOLSChecks(t *testing.T) {
	var w struct {
		Intercept, Slope, R2 float64
		SE0                  float64 `json:"se_intercept"`
		SE1                  float64 `json:"se_slope"`
		AdjR2                float64 `json:"adj_r2"`
		Sigma                float64 `json:"residual_sd"`
		Tol                  float64 `json:"rel_tol"`
	}
	outside.JSON(t, "07_whiteside_expected.json", &w)
	var temp, gas []float64
	for _, r := range outside.Rows(t, "07_whiteside.csv") {
		temp, gas = append(temp, r.Num(t, "temp_C")), append(gas, r.Num(t, "gas_1000ft3_per_week"))
	}
	fit, ok := OLS(gas, nil, temp)
	if !ok {
		t.Fatal("refused")
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"intercept", fit.Coef[0], w.Intercept}, {"slope", fit.Coef[1], w.Slope}, {"se intercept", fit.SE[0], w.SE0},
		{"se slope", fit.SE[1], w.SE1}, {"R2", fit.R2, w.R2}, {"adjusted R2", fit.AdjR2, w.AdjR2}, {"sigma", fit.Sigma, w.Sigma}} {
		near(t, c.what, c.got, c.want, w.Tol*math.Abs(c.want))
	}
}
