// Package rates turns tariffs as they are published, in open formats, into
// entries for tariffs.yaml. It reads the JSON of the open U.S. utility rate
// database and the plans of the Australian Consumer Data Right.
//
// What a file does not say is asked, never guessed; what it says and the entry
// does not hold is named.
package rates

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"rowen/ingest"
)

// Rate is one published rate as an entry of tariffs.yaml.
type Rate struct {
	Tariff ingest.Tariff
	Notes  []string // how the file was read
	Left   []string // what stands in the file and not in the entry
	Ask    []string // what somebody must decide; also in Tariff.Undecided
}

// Answers are decisions that a file leaves open.
type Answers struct {
	Metering     string              // net_metering, net_billing, sell_all, none; "": by the file
	ExportPrice  ingest.Opt[float64] // per kWh sold, where the file has none
	SurplusPrice ingest.Opt[float64] // per kWh of net surplus when the year closes
	NoLegacy     bool                // the tariff has no legacy terms
	TaxPct       ingest.Opt[float64] // on charges of plans that are given without it
	BlockPeriod  string              // day, month, year: what a doubtful block's volume counts in
}

// Meterings are the rules that Answers.Metering knows.
var Meterings = []string{"net_metering", "net_billing", "sell_all", "none"}

// Problem is one thing in a file that keeps a rate from being used.
type Problem struct {
	File, Field, Value, Limit, Mend string
}

func (p *Problem) Error() string {
	s := p.File + ": " + p.Field
	if p.Value != "" {
		s += " " + p.Value
	}
	return s + " " + p.Limit + ": " + p.Mend
}

// problems collects what is wrong with one rate.
type problems struct {
	file, prefix string
	list         []error
}

func (p *problems) add(field, value, limit, mend string) {
	p.list = append(p.list, &Problem{p.file, p.prefix + field, value, limit, mend})
}

// Read gives the rates of a file.
//
// In:      the text of a file: an object, a list of objects, one of these below
// "items" or "data", or a JSON string that holds any of them.
// Out:     every rate that can be used, in the file's order.
// Refuses: in the error, a *Problem for everything that keeps a rate from being
// used; the others are returned all the same.
func Read(file string, text []byte, a Answers) ([]Rate, error) {
	objects, err := unwrap(text, 0)
	if err == nil && len(objects) == 0 {
		err = errors.New("nothing in it is a rate")
	}
	if err != nil {
		return nil, &Problem{file, "the file", "", "is no JSON that holds rates (" + err.Error() + ")", "give a rate or a plan as the database's interface returns it"}
	}
	var out []Rate
	var errs []error
	for i, o := range objects {
		p := &problems{file: file}
		if len(objects) > 1 {
			p.prefix = fmt.Sprintf("rate %d: ", i+1)
		}
		var r Rate
		switch {
		case has(o, "energyratestructure"), has(o, "energyweekdayschedule"), has(o, "flatdemandstructure"):
			r = readURDB(o, a, p)
		case has(o, "electricityContract"), has(o, "planId"):
			r = readPlan(o, a, p)
		default:
			p.add("the object", "", "holds neither energyratestructure nor electricityContract", "give a rate of the open utility rate database or a plan of the Consumer Data Right")
		}
		if len(p.list) > 0 {
			errs = append(errs, p.list...)
			continue
		}
		r.Tariff.Undecided = r.Ask
		out = append(out, r)
	}
	return out, errors.Join(errs...)
}

type object map[string]json.RawMessage

func has(o object, key string) bool { return len(o[key]) > 0 && string(o[key]) != "null" }

// unwrap finds the objects in what may be wrapped: lists, "items", "data", text.
func unwrap(text []byte, depth int) ([]object, error) {
	const deepest = 6
	trimmed := strings.TrimSpace(strings.TrimPrefix(string(text), "\ufeff"))
	if depth > deepest || trimmed == "" {
		return nil, errors.New("nothing in it is a rate")
	}
	switch trimmed[0] {
	case '"':
		var inner string
		if err := json.Unmarshal([]byte(trimmed), &inner); err != nil {
			return nil, err
		}
		return unwrap([]byte(inner), depth+1)
	case '[':
		var list []json.RawMessage
		if err := json.Unmarshal([]byte(trimmed), &list); err != nil {
			return nil, err
		}
		var all []object
		for _, e := range list {
			o, err := unwrap(e, depth+1)
			if err != nil {
				return nil, err
			}
			all = append(all, o...)
		}
		return all, nil
	}
	var o object
	if err := json.Unmarshal([]byte(trimmed), &o); err != nil {
		return nil, err
	}
	for _, key := range []string{"items", "data"} {
		if has(o, key) {
			return unwrap(o[key], depth+1)
		}
	}
	return []object{o}, nil
}

// get reads a key of an object; what is of another kind is a problem.
func get[T any](o object, key string, p *problems) (v T, there bool) {
	if !has(o, key) {
		return v, false
	}
	if err := json.Unmarshal(o[key], &v); err != nil {
		p.add(key, shorten(string(o[key])), "is not of the kind that belongs there", fmt.Sprintf("give %s", kindOf(v)))
		return v, false
	}
	return v, true
}

func kindOf(v any) string {
	switch v.(type) {
	case float64:
		return "a number"
	case string:
		return "text"
	case [][]int:
		return "12 lists of 24 whole numbers"
	case []int:
		return "a list of 12 whole numbers"
	}
	return "a list of periods, each a list of tiers"
}

func shorten(s string) string {
	if len(s) > 60 {
		return s[:57] + "..."
	}
	return s
}

// idFrom makes an id of words: lower case, other signs as hyphens.
func idFrom(words ...string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.Join(words, " ")) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '_', r == '.':
			b.WriteRune(r)
		default:
			if s := b.String(); s != "" && !strings.HasSuffix(s, "-") {
				b.WriteByte('-')
			}
		}
	}
	id := strings.Trim(b.String(), "-")
	if len(id) > 64 {
		id = strings.Trim(id[:64], "-")
	}
	return id
}
