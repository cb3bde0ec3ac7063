package rates

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"rowen/ingest"
)

// Entry writes a rate as an entry of the list in tariffs.yaml, indented by so
// many spaces, with what was left out and what must be decided as comments.
func (r Rate) Entry(indent int) string {
	w := &writer{pad: strings.Repeat(" ", indent)}
	for _, c := range []struct {
		head  string
		lines []string
	}{{"read", r.Notes}, {"not taken", r.Left}, {"DECIDE", r.Ask}} {
		for _, l := range c.lines {
			fmt.Fprintf(&w.text, "%s# %s: %s\n", w.pad, c.head, strings.Join(strings.Fields(l), " "))
		}
	}
	v := reflect.ValueOf(r.Tariff)
	first := true
	for i := range v.NumField() {
		if isEmpty(v.Field(i)) {
			continue
		}
		lead := w.pad + "  "
		if first {
			lead, first = w.pad+"- ", false
		}
		w.field(lead, v.Type().Field(i).Tag.Get("yaml"), v.Field(i))
	}
	return w.text.String()
}

type writer struct {
	pad  string
	text strings.Builder
}

// field writes a key of the entry: lists of entries one a line, all else flat.
func (w *writer) field(lead, key string, v reflect.Value) {
	if v.Kind() == reflect.Slice && (v.Type().Elem().Kind() == reflect.Struct || key == "undecided") {
		fmt.Fprintf(&w.text, "%s%s:\n", lead, key)
		for i := range v.Len() {
			fmt.Fprintf(&w.text, "%s    - %s\n", w.pad, flat(v.Index(i)))
		}
		return
	}
	fmt.Fprintf(&w.text, "%s%s: %s\n", lead, key, flat(v))
}

// isEmpty tells whether a value says nothing: absent keys are none of it.
func isEmpty(v reflect.Value) bool {
	return v.IsZero() || v.Kind() == reflect.Slice && v.Len() == 0
}

// flat writes a value on one line. A price, a charge and what a tier adds are
// written even where they are 0: left out, they would be missing.
func flat(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Pointer:
		return flat(v.Elem())
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	case reflect.Slice:
		parts := make([]string, v.Len())
		for i := range parts {
			parts[i] = flat(v.Index(i))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case reflect.Struct:
		var parts []string
		for i := range v.NumField() {
			key := v.Type().Field(i).Tag.Get("yaml")
			if isEmpty(v.Field(i)) && !always(v.Type(), key) {
				continue
			}
			parts = append(parts, key+": "+flat(v.Field(i)))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case reflect.String:
		return strconv.Quote(v.String())
	}
	return fmt.Sprint(v.Interface())
}

func always(t reflect.Type, key string) bool {
	switch t {
	case reflect.TypeFor[ingest.TariffPeriod](), reflect.TypeFor[ingest.TariffExport]():
		return key == "price"
	case reflect.TypeFor[ingest.TariffTier]():
		return key == "add"
	case reflect.TypeFor[ingest.TariffDemand]():
		return key == "per_kw"
	}
	return false
}
