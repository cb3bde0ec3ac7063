package readings

import "strings"

// layoutPart is one element of a Go layout that is made of numbers only.
type layoutPart struct {
	field  byte // Y M D h m s, or 0 for the literal byte
	lit    byte
	lo, hi int // digits
}

// compileLayout gives the parts of a layout made of 2006 01 1 02 2 15 04 05
// and literal separators; nil where it holds anything else. What it reads,
// time.Parse reads alike (a fuzz test holds it to that); what it refuses goes
// to time.Parse.
func compileLayout(layout string) []layoutPart {
	elements := []struct {
		text string
		part layoutPart
	}{
		{"2006", layoutPart{field: 'Y', lo: 4, hi: 4}},
		{"01", layoutPart{field: 'M', lo: 2, hi: 2}},
		{"02", layoutPart{field: 'D', lo: 2, hi: 2}},
		{"15", layoutPart{field: 'h', lo: 1, hi: 2}},
		{"04", layoutPart{field: 'm', lo: 2, hi: 2}},
		{"05", layoutPart{field: 's', lo: 2, hi: 2}},
		{"1", layoutPart{field: 'M', lo: 1, hi: 2}},
		{"2", layoutPart{field: 'D', lo: 1, hi: 2}},
	}
	var parts []layoutPart
next:
	for len(layout) > 0 {
		for _, e := range elements {
			if strings.HasPrefix(layout, e.text) {
				parts = append(parts, e.part)
				layout = layout[len(e.text):]
				continue next
			}
		}
		c := layout[0]
		if !strings.ContainsRune("-/.: T", rune(c)) {
			return nil
		}
		parts = append(parts, layoutPart{lit: c})
		layout = layout[1:]
	}
	return parts
}

// parseFast reads f by the parts; t is the clock that it shows, as if UTC.
func parseFast(parts []layoutPart, f []byte) (t int64, ok bool) {
	y, mo, d := int64(0), int64(1), int64(1)
	var h, mi, sec int64
	i := 0
	for _, p := range parts {
		if p.field == 0 {
			if i >= len(f) || f[i] != p.lit {
				return 0, false
			}
			i++
			continue
		}
		var v int64
		n := 0
		for n < p.hi && i < len(f) && f[i] >= '0' && f[i] <= '9' {
			v = v*10 + int64(f[i]-'0')
			i++
			n++
		}
		if n < p.lo {
			return 0, false
		}
		switch p.field {
		case 'Y':
			y = v
		case 'M':
			mo = v
		case 'D':
			d = v
		case 'h':
			h = v
		case 'm':
			mi = v
		case 's':
			sec = v
		}
	}
	if i != len(f) || !validDate(y, mo, d) || h > 23 || mi > 59 || sec > 59 {
		return 0, false
	}
	t = daysFromCivil(y, mo, d)*86400 + h*3600 + mi*60 + sec
	return t, t >= minUnix && t < maxUnix
}

// layoutHasOffset tells whether stamps of a Go layout carry their offset.
func layoutHasOffset(layout string) bool {
	return strings.Contains(layout, "Z07") || strings.Contains(layout, "-07")
}
