package option

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"rowen/scripts/outside"
)

// TestFinance holds every measure against testdata/checks/11_finance.csv, to
// the tolerance that each row gives.
func TestFinance(t *testing.T) {
	for _, row := range outside.Rows(t, "11_finance.csv") {
		t.Run(row["quantity"]+" "+row["inputs"][:min(30, len(row["inputs"]))], func(t *testing.T) {
			got := measure(t, row["quantity"], readInputs(t, row["inputs"]))
			if strings.TrimSpace(row["value"]) == "" {
				if !math.IsNaN(got) {
					t.Errorf("got %v, want none", got)
				}
				return
			}
			if want, tol := row.Num(t, "value"), row.Num(t, "abs_tol"); !(math.Abs(got-want) <= tol) {
				t.Errorf("got %.12g, want %.12g within %g", got, want, tol)
			}
		})
	}
}

func measure(t *testing.T, quantity string, in map[string][]float64) float64 {
	one := func(name string) float64 {
		if len(in[name]) == 0 {
			t.Fatalf("no input %q in %v", name, in)
		}
		return in[name][0]
	}
	n := func() int { return int(one("n")) }
	switch quantity {
	case "npv":
		return NPV(one("rate"), in["cf"])
	case "irr":
		rate, _ := IRR(in["cf"])
		return rate
	case "mirr":
		return MIRR(in["cf"], one("finance"), one("reinvest"))
	case "pmt":
		return PMT(one("rate"), one("n"), one("pv"))
	case "spv":
		return SPV(one("d"), one("n"))
	case "upv":
		return UPV(one("d"), n())
	case "ucrf":
		return UCRF(one("d"), n())
	case "upv_star":
		return UPVStar(one("d"), one("e"), n())
	case "simple_payback_interpolated":
		return SimplePayback(one("I"), in["savings"])
	case "discounted_payback_interpolated":
		return DiscountedPayback(one("I"), in["savings"], one("d"))
	case "npv_of_same":
		return NPV(one("d"), append([]float64{-one("I")}, in["savings"]...))
	case "sir_of_same":
		return SIR(one("I"), in["savings"], one("d"))
	case "airr_of_same_reinvest_at_d":
		return AIRR(SIR(one("I"), in["savings"], one("d")), one("d"), len(in["savings"]))
	case "lcoe_real":
		return Levelised{Cost: one("I"), UpkeepYr: one("om"), Replacement: in["replace"][0], ReplacementYear: int(in["replace"][1]),
			FirstYearKWh: one("e1_kWh"), DegradationYr: one("deg"), Years: n(), Discount: one("d")}.PerKWh()
	}
	t.Fatalf("no measure is called %q", quantity)
	return 0
}

// readInputs reads "rate=0.08/12;n=60;cf=-1,2,3".
func readInputs(t *testing.T, s string) map[string][]float64 {
	in := map[string][]float64{}
	for part := range strings.SplitSeq(s, ";") {
		name, values, _ := strings.Cut(part, "=")
		values, _, _ = strings.Cut(values, " (")
		for v := range strings.FieldsFuncSeq(values, func(r rune) bool { return r == ',' || r == '@' }) {
			num, den, over := strings.Cut(v, "/")
			x, err := strconv.ParseFloat(num, 64)
			if err != nil {
				t.Fatal(err)
			}
			if over {
				y, err := strconv.ParseFloat(den, 64)
				if err != nil {
					t.Fatal(err)
				}
				x /= y
			}
			in[name] = append(in[name], x)
		}
	}
	return in
}

// TestIRRFlags: several changes of sign are said, the nearest root to 0 is given.
func TestIRRFlags(t *testing.T) {
	// (1+r)^2 - 2.3(1+r) + 1.32 = 0 has 1.1 and 1.2: by hand, 1.1*1.2 = 1.32 and 1.1+1.2 = 2.3.
	rate, unique := IRR([]float64{-1, 2.3, -1.32})
	if unique || math.Abs(rate-0.1) > 1e-9 {
		t.Errorf("got %v unique %v, want 0.1 and not unique", rate, unique)
	}
	// -100 now and 110 next year: 10 %, once.
	if rate, unique = IRR([]float64{-100, 110}); !unique || math.Abs(rate-0.1) > 1e-9 {
		t.Errorf("got %v unique %v, want 0.1, unique", rate, unique)
	}
}

// TestGrowing holds the closed form against the contract's sum written out.
func TestGrowing(t *testing.T) {
	for _, c := range [][3]float64{{0.05, 0.025, 0.005}, {0.03, 0.03, 0}, {0, 0, 0}, {0.08, -0.02, 0.02}, {0.02, 0.0251, 0.005}} {
		want := 0.0
		for y := 1; y <= 25; y++ {
			want += math.Pow(1+c[1], float64(y-1)) * math.Pow(1-c[2], float64(y-1)) / math.Pow(1+c[0], float64(y))
		}
		if got := growing(c[0], c[1], c[2], 25); math.Abs(got-want) > 1e-10*want {
			t.Errorf("%v: got %v, want %v", c, got, want)
		}
	}
}
