package report

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rowen/ingest"
)

// unitOf tells a column's unit by its name, as names are read here: the suffix
// holds the unit, low and high ends of an interval have that of their middle.
// known: the name holds one.
func unitOf(name string) (unit string, known bool) {
	base := strings.TrimSuffix(strings.TrimSuffix(name, "_low"), "_high")
	for _, s := range []struct{ suffix, unit string }{
		{"_per_kwh", "currency/kWh"}, {"_kwh_yr", "kWh/yr"}, {"_kwh", "kWh"}, {"_kg_yr", "kg/yr"}, {"_pct_yr", "%/yr"}, {"_pct", "%"},
		{"_kw_dc", "kW"}, {"_kw_ac", "kW"}, {"_years", "yr"}, {"_days", "days"}, {"_deg", "degrees"}, {"_read", "months"},
	} {
		if strings.HasSuffix("_"+base, s.suffix) {
			return s.unit, true
		}
	}
	return "", false
}

// unitless are the numbers without a unit in the name: ratios, places and money,
// and modules, whose names are that of the thing counted.
var unitless = map[string]string{
	"rank": "", "place": "", "list_rank": "", "list_tenth": "", "line": "", "trip": "", "score": "", "confidence": "", "priority": "", "outcome_factor": "",
	"list_stability": "", "events": "", "rank_before": "", "production_index": "", "chance_of_gain": "", "chance_of_payback": "", "visits": "visits",
	"cost": "currency", "price": "currency", "net_benefit": "currency", "net_benefit_expected": "currency", "net_benefit_median": "currency", "net_benefit_gained": "currency", "net_benefit_over_limits": "currency", "ask_most_net_benefit": "currency",
	"savings_first_year": "currency/yr", "saving_yr": "currency/yr", "bill_before": "currency/yr", "bill_after": "currency/yr", "predicted_saving": "currency/yr",
	"realized_saving": "currency/yr", "offered_saving": "currency/yr",
}

// wants is the unit that a number of this name has to have.
func wants(name string) string {
	if name == "coverage_change_pct" { // points of coverage: a percentage that a percentage changes by
		return "points/yr"
	}
	if u, known := unitOf(name); known {
		return u
	}
	for _, w := range strings.Split(name, "_") {
		if w == "modules" {
			return "modules"
		}
	}
	base := strings.TrimSuffix(strings.TrimSuffix(name, "_low"), "_high")
	if u, ok := unitless[base]; ok {
		return u
	}
	return "a suffix that says it"
}

// complaints are what is wrong with the definitions of a table's columns.
func complaints(table string, cols []Column) []string {
	var out []string
	say := func(c Column, what string) { out = append(out, table+"."+c.Name+": "+what) }
	name := regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	seen := map[string]bool{}
	for _, c := range cols {
		if !name.MatchString(c.Name) || seen[c.Name] {
			say(c, "the name is no name, or twice there")
		}
		seen[c.Name] = true
		if c.Says == "" {
			say(c, "no text")
		}
		if !slices.ContainsFunc(Sources, func(s struct{ Name, Says string }) bool { return s.Name == c.Source }) {
			say(c, "no source")
		}
		number := c.Type == "number" || c.Type == "integer"
		if number && c.Unit != wants(c.Name) || !number && c.Unit != "" {
			say(c, "the unit is "+c.Unit+", the name says "+wants(c.Name))
		}
		modeled := c.Source == "consumption" || c.Source == "array" || c.Source == "limits" || c.Source == "money"
		if c.Type == "number" && modeled && c.How == "" {
			say(c, "a number of a model without its method")
		}
		if c.Type == "list" && c.Nullable {
			say(c, "a list that may be null")
		}
		out = append(out, complaints(table+"."+c.Name, c.Fields)...)
	}
	return out
}

// TestDictionary: every column of every table is there once, with its text, its
// source, its method where a model makes it, and a unit that its name agrees with.
func TestDictionary(t *testing.T) {
	used, elsewhere := map[string]bool{}, map[string]bool{}
	var mark func(scope string, cols []Column)
	mark = func(scope string, cols []Column) {
		for _, c := range cols {
			used[defined(scope, c.Name).name] = true
			elsewhere[defined(scope, c.Name).name] = elsewhere[defined(scope, c.Name).name] || scope != "call_list"
			mark(c.Name, c.Fields)
		}
	}
	for _, tab := range append(Tables(), HistoryTable()) {
		for _, c := range complaints(tab.Name, tab.Columns) {
			t.Error(c)
		}
		mark(tab.Name, tab.Columns)
	}
	for _, d := range dictionary {
		if !used[d.name] {
			t.Errorf("%s is in the dictionary and in no table", d.name)
		}
		if d.says != "" && !elsewhere[d.name] {
			t.Errorf("%s is said twice: here and in the call list's row", d.name)
		}
	}
}

// TestDictionaryFails: the check sees what it is for.
func TestDictionaryFails(t *testing.T) {
	good := Column{Name: "loss_kwh", Type: "number", Unit: "kWh", Says: "x", Source: "array", How: "y"}
	for what, spoil := range map[string]func(*Column){
		"no text":                        func(c *Column) { c.Says = "" },
		"no source":                      func(c *Column) { c.Source = "" },
		"no method":                      func(c *Column) { c.How = "" },
		"another unit than the suffix's": func(c *Column) { c.Unit = "kWh/yr" },
		"a number without a unit":        func(c *Column) { c.Name, c.Unit = "loss", "" },
		"a missing definition":           func(c *Column) { *c = columnsOf(fieldNobodyDefined, "sites")[0] },
	} {
		c := good
		spoil(&c)
		if len(complaints("t", []Column{c})) == 0 {
			t.Errorf("%s passes", what)
		}
	}
	if got := complaints("t", []Column{good}); len(got) > 0 {
		t.Error(got)
	}
}

// TestCSVNullability: a blank cell stands only where its column may be blank, in a
// fleet whose register says as little as it may.
func TestCSVNullability(t *testing.T) {
	r, err := NewRun(filepath.Join(t.TempDir(), "2026-10"), false)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Discard()
	findings := fleetFound()
	for _, f := range findings {
		f.Site.Customer, f.Site.Contact, f.Site.Branch, f.Site.Postcode = "", "", "", ""
		f.Worth.RepairSavingYr = math.NaN()
	}
	kept := keep(t, r.Scratch("judged"), findings)
	if err := errors.Join(finished(r, kept, []ingest.Reject{{File: "a.csv", Reason: "cannot be read"}}, manifest()), r.Publish()); err != nil {
		t.Fatal(err)
	}
	dir := r.Final()
	for _, tab := range Tables() {
		if filepath.Ext(tab.File) != ".csv" {
			continue
		}
		rows := csvRows(t, filepath.Join(dir, tab.File))
		for _, row := range rows[1:] {
			for i, c := range tab.Columns {
				if row[i] == "" && !c.Nullable {
					t.Errorf("%s: %s is required and blank", tab.File, c.Name)
				}
			}
		}
	}
}

func TestDataPackage(t *testing.T) {
	b, err := json.Marshal(dataPackage(Manifest{Month: "2026-10", Version: "1", Currency: "EUR"}))
	if err != nil {
		t.Fatal(err)
	}
	type field struct {
		Name, Type, Description, Unit, Source, Method string
		Constraints                                   struct{ Required bool }
	}
	var p struct {
		Profile, Name string
		Resources     []struct {
			Name, Path, Format, Mediatype, Profile string
			Schema                                 struct{ Fields []field }
			Nested                                 []field `json:"nested_fields"`
		}
	}
	if err := json.Unmarshal(b, &p); err != nil {
		t.Fatal(err)
	}
	// Table Schema, version 1, "types and formats".
	types := map[string]bool{"string": true, "number": true, "integer": true, "boolean": true, "date": true, "array": true}
	name := regexp.MustCompile(`^[-a-z0-9._/]+$`) // Data Package, version 1, "name"
	if p.Profile != "data-package" || !name.MatchString(p.Name) || len(p.Resources) != len(Tables())+1 {
		t.Fatalf("%+v", p)
	}
	for i, tab := range Tables() {
		r := p.Resources[i]
		fields := r.Schema.Fields
		if r.Profile == "data-resource" {
			fields = r.Nested
		}
		if r.Path != tab.File || r.Name != tab.Name || !name.MatchString(r.Name) || tab.Nested() != (r.Profile == "data-resource") || len(fields) != len(tab.Columns) {
			t.Errorf("resource %+v", r)
			continue
		}
		for k, c := range tab.Columns {
			f := fields[k]
			if f.Name != c.Name || !types[f.Type] || f.Description != c.Says || f.Unit != strings.Replace(c.Unit, "currency", "EUR", 1) ||
				f.Source != c.Source || f.Method != c.How || f.Constraints.Required == c.Nullable {
				t.Errorf("%s: field %+v of column %+v", tab.Name, f, c)
			}
		}
	}
	if last := p.Resources[len(p.Resources)-1]; last.Path != "call_list.xlsx" {
		t.Errorf("the workbook is not described: %+v", last)
	}
}

var fieldNobodyDefined = reflect.TypeFor[struct {
	X float64 `parquet:"nobody_kwh"`
}]()

func csvRows(t *testing.T, path string) [][]string {
	t.Helper()
	f, _ := open(t, path)
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}
