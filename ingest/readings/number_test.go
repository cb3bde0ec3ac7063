package readings

import (
	"math/big"
	"regexp"
	"strings"
	"testing"
)

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		text    string
		decimal byte
		unit    string
		want    int64
		refuse  bool
	}{
		{"622.7", '.', "Wh", 622_700, false},
		{"622,7", ',', "kWh", 622_700_000, false},
		{"-0.5", '.', "Wh", -500, false},
		{"+3", '.', "Wh", 3000, false},
		{"", '.', "Wh", Missing, false},
		{"  ", '.', "Wh", Missing, false},
		{"NaN", '.', "Wh", Missing, false},
		{"null", '.', "Wh", Missing, false},
		{"-", '.', "Wh", Missing, false},
		{".5", '.', "Wh", 500, false},
		{"5.", '.', "Wh", 5000, false},
		{"1e3", '.', "Wh", 1_000_000, false},
		{"0.0004", '.', "Wh", 0, false}, // below half a thousandth
		{"0.0005", '.', "Wh", 1, false}, // half away from zero
		{"-0.0005", '.', "Wh", -1, false},
		{"0.123456789", '.', "kWh", 123_457, false},
		{"000123", '.', "Wh", 123_000, false},
		{"1.234,5", ',', "Wh", 0, true},
		{"1,234.5", '.', "Wh", 0, true},
		{"12 kWh", '.', "Wh", 0, true},
		{"0x10", '.', "Wh", 0, true},
		{"Inf", '.', "Wh", 0, true},
		{"1e30", '.', "Wh", 0, true},
		{"99999999999999999999", '.', "Wh", 0, true},
	} {
		got, reason := parseMilli([]byte(c.text), c.decimal, perUnit(c.unit))
		if (reason != "") != c.refuse || !c.refuse && got != c.want {
			t.Errorf("%q in %s: %d %q, want %d", c.text, c.unit, got, reason, c.want)
		}
	}
}

var plainNumber = regexp.MustCompile(`^[+-]?[0-9]{1,17}(\.[0-9]{1,8})?$`)

// FuzzNumber holds plain decimals to exact rational arithmetic.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0", "622.7", "-12.345", "0.0005", "12345678.12345678", "99999999999999999", "1.99999999"} {
		f.Add(s, uint8(0))
		f.Add(s, uint8(1))
	}
	f.Fuzz(func(t *testing.T, s string, u uint8) {
		unit := perUnit([]string{"Wh", "kWh", "MWh"}[u%3])
		got, reason := parseMilli([]byte(s), '.', unit)
		if !plainNumber.MatchString(s) {
			return
		}
		r, ok := new(big.Rat).SetString(s)
		if !ok {
			t.Fatalf("%q", s)
		}
		r.Mul(r, new(big.Rat).SetInt64(unit))
		// Half away from zero: floor(|x| + 1/2) with the sign put back.
		neg := r.Sign() < 0
		r.Abs(r).Add(r, big.NewRat(1, 2))
		want := new(big.Int).Quo(r.Num(), r.Denom())
		if want.Cmp(big.NewInt(maxMilli)) > 0 {
			if reason == "" {
				t.Errorf("%q is over the limit and gives %d", s, got)
			}
			return
		}
		if neg {
			want.Neg(want)
		}
		// Beyond 17 digits the value goes through float64, exact to 15.
		if d := new(big.Int).Sub(want, big.NewInt(got)); reason != "" || d.Sign() != 0 && len(strings.Trim(s, "+-.")) <= 16 {
			t.Errorf("%q x %d: %d %q, want %s", s, unit, got, reason, want)
		}
	})
}
