package readings

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/format"
)

// decoder appends a page's values to dst; usable: none of them is missing or
// bad.
type decoder func(p parquet.Page, dst []int64) (values []int64, usable bool, err error)

// ofText makes a decoder of a conversion of strings.
func ofText(convert func([]byte) int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		bytes, offsets := data.ByteArray()
		for i := 1; i < len(offsets); i++ {
			dst = append(dst, convert(bytes[offsets[i-1]:offsets[i]]))
		}
		return dst, allUsable(dst), nil
	})
}

// throughDictionary makes a decoder of plain pages one of any pages: the last
// dictionary is converted once, as a page of its entries.
func throughDictionary(plain decoder) decoder {
	var last parquet.Dictionary
	var table []int64
	usable := false
	return func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		of := p.Dictionary()
		if of == nil {
			return plain(p, dst)
		}
		if of != last {
			var err error
			if table, usable, err = plain(of.Page(), table[:0]); err != nil {
				return nil, false, err
			}
			last = of
		}
		data := p.Data()
		return lookUp(dst, table, data.Int32()), usable, nil
	}
}

// lookUp appends what a dictionary's table has at the indexes.
func lookUp(dst, table []int64, index []int32) []int64 {
	dst, out := extend(dst, len(index))
	for i, at := range index {
		out[i] = table[at]
	}
	return dst
}

// extend makes room for n more values, and gives that room.
func extend(dst []int64, n int) (all, more []int64) {
	all = slices.Grow(dst, n)[:len(dst)+n]
	return all, all[len(dst):]
}

func (r *parquetReader) siteDecoder(typ parquet.Type) (decoder, error) {
	if k := typ.Kind(); k == parquet.Int32 || k == parquet.Int64 {
		last, number, text := int64(-1), int64(badCell), []byte(nil) // of one site's rows, most follow each other
		return ofWhole(func(v int64) int64 {
			if v != last {
				text = strconv.AppendInt(text[:0], v, 10)
				last, number = v, badCell
				if idReason(text) == "" {
					number = int64(r.sites.number(text))
				}
			}
			return number
		}), nil
	} else if k != parquet.ByteArray {
		return nil, errors.New("site ids must be strings or whole numbers")
	}
	return ofText(func(id []byte) int64 {
		if idReason(id) != "" {
			return badCell
		}
		return int64(r.sites.number(id))
	}), nil
}

// stampReader gives the decoder of a column of stamps: seconds times two, plus
// one where they are on the file's own clock.
func stampReader(typ parquet.Type, clock *clock) (decoder, error) {
	unit, err := stampUnitOf(typ)
	if err != nil {
		return nil, err
	}
	kind := typ.Kind()
	switch {
	case kind == parquet.ByteArray:
		return ofText(func(f []byte) int64 {
			t, civil, reason := clock.parse(f)
			if reason != "" {
				return badCell
			}
			if civil {
				return t<<1 | 1
			}
			return t << 1
		}), nil
	case kind == parquet.Int96:
		unit.perSecond, unit.civil = 1e9, true
	case unit.perSecond == 0 && !unit.date:
		switch clock.format {
		case "unix":
			unit.perSecond = 1
		case "unix_ms":
			unit.perSecond = 1e3
		default:
			return nil, fmt.Errorf("must be a timestamp, a date or text, or time.format unix or unix_ms (it is %s)", strings.ToLower(kind.String()))
		}
	}
	if unit.civil && clock.offsetOnly {
		return nil, errors.New("is a timestamp without a zone: state time.zone in the mapping (UTC, an IANA zone or site)")
	}
	civil, perSecond := int64(0), unit.perSecond
	if unit.civil && clock.civil {
		civil = 1
	}
	switch {
	case unit.date:
		return ofWhole(func(v int64) int64 { return v*day<<1 | civil }), nil
	case kind != parquet.Int64:
		return ofWhole(func(v int64) int64 { return stampValue(floorDiv(v, perSecond), civil) }), nil
	}
	return wholeStamps(perSecond, civil), nil
}

// stampUnit is what a column's type says of its stamps.
type stampUnit struct {
	perSecond int64 // 0: not said
	civil     bool  // by a clock, not in UTC
	date      bool  // whole days
}

func stampUnitOf(typ parquet.Type) (u stampUnit, err error) {
	if l := typ.LogicalType(); l != nil {
		switch v := l.Value.(type) {
		case *format.TimestampType:
			if v.Unit.Value == nil || v.Unit.Value.Duration() <= 0 {
				return u, errors.New("the file's footer names no unit of its timestamps: it is damaged; export it again")
			}
			u.perSecond = int64(1e9 / v.Unit.Value.Duration().Nanoseconds())
			u.civil = !v.IsAdjustedToUTC
		case *format.DateType:
			u.date, u.civil = true, true
		}
	} else if c := typ.ConvertedType(); c != nil {
		switch *c {
		case deprecated.TimestampMillis:
			u.perSecond = 1e3
		case deprecated.TimestampMicros:
			u.perSecond = 1e6
		case deprecated.Date:
			u.date, u.civil = true, true
		}
	}
	return u, nil
}

// wholeStamps decodes stamps of 64 bits, a page at a time.
func wholeStamps(perSecond, civil int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		in := data.Int64()
		dst, out := extend(dst, len(in))
		lowest := int64(math.MaxInt64) // a bad one is far below all others
		switch perSecond {             // a division by a constant is a multiplication
		case 1e3:
			for i, v := range in {
				out[i] = stampValue(v/1e3-int64(uint64(v)>>63), civil)
				lowest = min(lowest, out[i])
			}
		case 1e6:
			for i, v := range in {
				out[i] = stampValue(v/1e6-int64(uint64(v)>>63), civil)
				lowest = min(lowest, out[i])
			}
		default:
			for i, v := range in {
				out[i] = stampValue(floorDiv(v, perSecond), civil)
				lowest = min(lowest, out[i])
			}
		}
		return dst, lowest > badCell, nil
	})
}

// stampValue keeps a stamp with its clock. All before 1970 are refused, so that
// it does not matter how their seconds are rounded.
func stampValue(t, civil int64) int64 {
	if t < minUnix || t >= maxUnix {
		return badCell
	}
	return t<<1 | civil
}

const day = 86400

// ofWhole makes a decoder of a conversion of whole numbers.
func ofWhole(convert func(int64) int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		switch p.Type().Kind() {
		case parquet.Int32:
			for _, v := range data.Int32() {
				dst = append(dst, convert(int64(v)))
			}
		case parquet.Int64:
			for _, v := range data.Int64() {
				dst = append(dst, convert(v))
			}
		case parquet.Int96:
			for _, v := range data.Int96() {
				dst = append(dst, convert(int96Nanos(v)))
			}
		default:
			return nil, false, errors.New("must hold whole numbers")
		}
		return dst, allUsable(dst), nil
	})
}

// int96Nanos reads the old timestamp: nanoseconds of the day, and the Julian day.
func int96Nanos(v deprecated.Int96) int64 {
	return (int64(v[2])-2440588)*day*1e9 + int64(v[0]) + int64(v[1])<<32
}

// valueDecoder gives the decoder of a column of energies or powers.
func valueDecoder(typ parquet.Type, decimal byte, perUnit int64) (decoder, error) {
	scale := 1.0
	if l := typ.LogicalType(); l != nil {
		if d, ok := l.Value.(*format.DecimalType); ok {
			scale = math.Pow10(-int(d.Scale))
		}
	}
	switch typ.Kind() {
	case parquet.Int32, parquet.Int64:
		return ofWhole(func(v int64) int64 { return milliOf(float64(v)*scale, perUnit) }), nil
	case parquet.Double, parquet.Float:
		return ofFloats(perUnit), nil
	case parquet.ByteArray:
		if scale != 1 {
			return nil, errors.New("is a decimal kept as bytes: write it as a double")
		}
		return ofText(func(f []byte) int64 {
			v, reason := parseMilli(f, decimal, perUnit)
			if reason != "" {
				return badCell
			}
			return v
		}), nil
	}
	return nil, fmt.Errorf("must hold numbers (it is %s)", strings.ToLower(typ.Kind().String()))
}

func ofFloats(perUnit int64) decoder {
	return throughDictionary(func(p parquet.Page, dst []int64) ([]int64, bool, error) {
		data := p.Data()
		if p.Type().Kind() == parquet.Float {
			for _, v := range data.Float() {
				dst = append(dst, milliOf(float64(v), perUnit))
			}
			return dst, allUsable(dst), nil
		}
		in := data.Double()
		dst, out := extend(dst, len(in))
		times, odd := float64(perUnit), false
		for i, v := range in {
			if x := float64(v * times); x >= 0 && x <= maxMilli {
				out[i] = int64(x + 0.5)
			} else {
				out[i], odd = milliOf(v, perUnit), true
			}
		}
		return dst, !odd || allUsable(out), nil
	})
}

// milliOf scales a number to whole thousandths, half away from zero; NaN is
// missing.
func milliOf(x float64, perUnit int64) int64 {
	if x != x {
		return Missing
	}
	x = float64(x * float64(perUnit)) // rounded before a half is added, on every processor
	if x > maxMilli || x < -maxMilli {
		return badCell
	}
	if x < 0 {
		return -int64(0.5 - x)
	}
	return int64(x + 0.5)
}
