package config

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones are known on machines without a zone database
)

// form is a way that some texts must be written.
type form struct {
	wants string
	holds func(string) bool
}

var forms = map[string]form{
	"month": {"a month as 2026-10", func(s string) bool {
		_, err := time.Parse("2006-01", s)
		return err == nil
	}},
	"zone": {"an IANA zone as Europe/Berlin", isZone},
	"regexp": {"a regular expression with a group (?P<site_id>…)", func(s string) bool {
		re, err := regexp.Compile(s)
		return err == nil && re.SubexpIndex("site_id") > 0
	}},
	"zone_or_site": {"an IANA zone as Europe/Berlin, or site", func(s string) bool {
		return s == "site" || isZone(s)
	}},
	"step": {"minutes that divide an hour as 15m, or 1h or 1d", func(s string) bool {
		d, err := time.ParseDuration(s)
		return s == "1d" || err == nil && d >= time.Minute && time.Hour%d == 0
	}},
	"gap": {"a time as 6h, or 0", func(s string) bool {
		d, err := time.ParseDuration(s)
		return err == nil && d >= 0
	}},
}

func isZone(s string) bool {
	_, err := time.LoadLocation(s)
	return err == nil && s != "Local"
}

// check holds every value against the limits of its key.
func (r *reader) check(key string, n *node, v reflect.Value) {
	switch n.kind {
	case group:
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return
			}
			v = v.Elem()
		}
		for _, c := range n.children {
			r.check(join(key, c.name), c, v.Field(c.index))
		}
	case list:
		for i := range v.Len() {
			r.check(entryKey(key, i), n.entry, v.Index(i))
		}
	case leaf:
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return
			}
			v = v.Elem()
		}
		if limit := n.broken(v); limit != "" {
			r.say(key, valueText(v), limit, n.mend())
		}
	}
}

// broken names the limit that a value breaks; "" where it keeps them all.
func (n *node) broken(v reflect.Value) string {
	text := valueText(v)
	if n.count > 0 && v.Len() != n.count {
		return fmt.Sprintf("must have %d values, has %d", n.count, v.Len())
	}
	for _, b := range n.bounds {
		for _, x := range numbers(v) {
			if !b.holds(x) {
				return strings.TrimSpace("must be " + b.String() + " " + n.unit)
			}
		}
	}
	switch {
	case text == "" && n.required:
		return "must be given"
	case text == "":
		return ""
	case len(n.oneOf) > 0 && !slices.Contains(n.oneOf, text):
		return "must be one of " + strings.Join(n.oneOf, " ")
	case n.form != "" && !forms[n.form].holds(text):
		return "must be " + forms[n.form].wants
	}
	return ""
}

func numbers(v reflect.Value) []float64 {
	switch v.Kind() {
	case reflect.Float64:
		return []float64{v.Float()}
	case reflect.Int:
		return []float64{float64(v.Int())}
	case reflect.Slice:
		return v.Interface().([]float64)
	}
	return nil
}

func valueText(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	case reflect.Slice:
		var parts []string
		for _, x := range numbers(v) {
			parts = append(parts, strconv.FormatFloat(x, 'g', -1, 64))
		}
		return strings.Join(parts, " ")
	}
	return fmt.Sprint(v.Interface())
}

// say reports a violation at the place where the key, or else what it stands
// in, was set; one a key is enough.
func (r *reader) say(key, value, limit, mend string) {
	if slices.ContainsFunc(r.violations, func(v Violation) bool { return v.Key == key }) {
		return
	}
	where := ""
	for k := key; k != "" && where == ""; {
		where = r.where[k]
		k = k[:max(strings.LastIndex(k, "."), 0)]
	}
	r.violations = append(r.violations, Violation{Where: where, Key: key, Value: value, Limit: limit, Mend: mend})
}
