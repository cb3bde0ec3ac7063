package readings

import (
	"math"
	"math/bits"
	"strconv"
)

// maxMilli bounds a value, so that a power of a whole day still fits 64 bits as
// milli-W times seconds. It is 100 GWh.
const maxMilli = 1e14

var pow10 = [19]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

// parseMilli reads a decimal number and scales it by perUnit to whole
// thousandths, half away from zero. A blank field and the usual words for
// nothing give Missing. A reason other than "" refuses the field.
func parseMilli(field []byte, decimal byte, perUnit int64) (v int64, reason string) {
	f := trimBlanks(field)
	if isNothing(f) {
		return Missing, ""
	}
	neg := false
	i := 0
	if f[0] == '-' || f[0] == '+' {
		neg = f[0] == '-'
		i++
	}
	var mant int64
	digits, frac, point := 0, 0, false
	for ; i < len(f); i++ {
		c := f[i]
		if c >= '0' && c <= '9' {
			if mant == 0 && c == '0' && !point {
				digits = max(digits, 1)
				continue
			}
			mant = mant*10 + int64(c-'0')
			digits++
			if point {
				frac++
			}
			if digits > 17 {
				return parseMilliFloat(f, decimal, perUnit)
			}
			continue
		}
		if c == decimal && !point {
			point = true
			continue
		}
		return parseMilliFloat(f, decimal, perUnit)
	}
	if digits == 0 {
		return 0, "must be a number"
	}
	v, ok := scale(mant, frac, perUnit)
	if !ok {
		return parseMilliFloat(f, decimal, perUnit)
	}
	if v > maxMilli {
		return 0, "is too large to be an energy or a power: check the unit"
	}
	if neg {
		v = -v
	}
	return v, ""
}

// scale gives mant x 10^-frac x perUnit rounded half up, for mant >= 0.
func scale(mant int64, frac int, perUnit int64) (int64, bool) {
	hi, lo := bits.Mul64(uint64(mant), uint64(perUnit))
	div := uint64(pow10[frac])
	if hi >= div {
		return 0, false
	}
	q, r := bits.Div64(hi, lo, div)
	if r*2 >= div && div > 1 {
		q++
	}
	if q > math.MaxInt64 {
		return 0, false
	}
	return int64(q), true
}

// parseMilliFloat is the way for exponents and for numbers of many digits.
func parseMilliFloat(f []byte, decimal byte, perUnit int64) (int64, string) {
	b := make([]byte, len(f))
	for i, c := range f {
		switch {
		case c == decimal:
			c = '.'
		case c >= '0' && c <= '9', c == '+', c == '-', c == 'e', c == 'E':
		case c == '.' || c == ',':
			return 0, "must be a number with the decimal sign " + strconv.Quote(string(decimal)) + ": state decimal in the mapping"
		default:
			return 0, "must be a number"
		}
		b[i] = c
	}
	x, err := strconv.ParseFloat(string(b), 64)
	if err != nil && !math.IsInf(x, 0) {
		return 0, "must be a number"
	}
	x = math.Round(x * float64(perUnit))
	if !(math.Abs(x) <= maxMilli) {
		return 0, "is too large to be an energy or a power: check the unit"
	}
	return int64(x), ""
}

func isNothing(f []byte) bool {
	switch len(f) {
	case 0:
		return true
	case 1:
		return f[0] == '-'
	case 2, 3, 4:
		switch string(f) {
		case "NA", "na", "N/A", "n/a", "NaN", "nan", "NAN", "null", "NULL", "Null":
			return true
		}
	}
	return false
}

func trimBlanks(f []byte) []byte {
	for len(f) > 0 && (f[0] == ' ' || f[0] == '\t') {
		f = f[1:]
	}
	for len(f) > 0 && (f[len(f)-1] == ' ' || f[len(f)-1] == '\t') {
		f = f[:len(f)-1]
	}
	return f
}
