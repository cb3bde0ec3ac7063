package main

import (
	"fmt"
	"reflect"
	"strings"

	"rowen/ingest/ledger"
	"rowen/ingest/register"
	"rowen/ingest/register/profiles"
	"rowen/report"
)

// codesTable is every code that outputs carry beside a sentence, by kind.
func codesTable() described {
	d := described{Name: "codes", Is: "output", File: "*.parquet, run.json, rowen check --format json", Says: "lanes, reasons, caveats, cautions, faults, events, jobs and limits: programs go by the code, people by the sentence beside it"}
	for _, c := range report.Codes() {
		d.Columns = append(d.Columns, describedColumn{Name: c.Code, Type: c.Kind, Required: true, Says: c.Says})
	}
	return d
}

// checkTable is the document of check --format json.
func checkTable() described {
	return described{Name: "check", Is: "output", File: "rowen check --format json", Says: "what check finds out, for schedulers; no personal data",
		Columns: fieldsOf(reflect.TypeOf(checked{}))}
}

// documents are the JSON files of a run, by their types.
func documents() []described {
	return []described{
		{Name: "run.json", Is: "output", File: "run.json", Says: "the run's record; the same for the same inputs, settings and version, timings apart", Columns: fieldsOf(reflect.TypeOf(report.Manifest{}))},
		{Name: "visits.json", Is: "output", File: "visits.json", Says: "survey, work and repair sheets as data; no personal data", Columns: fieldsOf(reflect.TypeOf(report.Visits{}))},
	}
}

// fieldsOf describes a document by the tags of its type.
func fieldsOf(t reflect.Type) (out []describedColumn) {
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			out = append(out, fieldsOf(bareType(f.Type))...)
			continue
		}
		name, more, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" || name == "-" {
			continue
		}
		c := describedColumn{Name: name, Required: more == "", Says: f.Tag.Get("text")}
		of := f.Type
		if of.Kind() == reflect.Slice {
			of = of.Elem()
			c.Type = "list of "
		}
		of = bareType(of)
		switch of.Kind() {
		case reflect.Struct:
			c.Type += "object"
			c.Fields = fieldsOf(of)
		case reflect.Map, reflect.Interface:
			c.Type += "object"
		case reflect.Int, reflect.Int64:
			c.Type += "int"
		case reflect.Float64:
			c.Type += "float"
		default:
			c.Type += "text"
		}
		out = append(out, c)
	}
	return out
}

func bareType(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Pointer {
		return t.Elem()
	}
	return t
}

// profilesTable is what the shipped service profiles set, in the catalogue's keys.
func profilesTable() described {
	says := map[string]register.Key{}
	for _, d := range register.Documents() {
		for _, k := range d.Keys {
			says[k.Name] = k
		}
	}
	d := described{Name: "profiles", Is: "input", File: "shipped; services.csv and defaults.profile name one", Says: "service profiles that come with the program; an entry of the same id under profiles in catalogue.yaml replaces one"}
	for _, p := range profiles.Shipped() {
		c := describedColumn{Name: p.ID, Type: "profile", Required: true, Says: p.Place, Source: p.Source}
		v := reflect.ValueOf(p)
		for i := range v.NumField() {
			key, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ",")
			k, ok := says["profiles[]."+key]
			if !ok || v.Field(i).IsZero() || key == "id" || key == "place" || key == "source" {
				continue
			}
			c.Fields = append(c.Fields, describedColumn{Name: key, Type: k.Type, Unit: k.Unit, Default: fmt.Sprint(v.Field(i).Interface()), Says: k.Text})
		}
		d.Columns = append(d.Columns, c)
	}
	return d
}

// folders are the run's folder and the ledger's, file by file.
func folders() []described {
	run := described{Name: "run", Is: "output", File: "FLEET/runs/YYYY-MM/", Says: "what a run writes; a run is seen whole or not at all"}
	for _, f := range report.Files() {
		run.Columns = append(run.Columns, describedColumn{Name: f.Name, Type: f.Type, Required: f.Always, Says: f.Says})
	}
	kept := described{Name: "ledger", Is: "cache", File: "FLEET/.rowen/ledger/", Says: "what has been read so far: a cache, rebuilt where it is missing or damaged; do not edit it"}
	for _, f := range ledger.Files() {
		kept.Columns = append(kept.Columns, describedColumn{Name: f.Name, Type: f.Type, Required: true, Says: f.Says})
	}
	return []described{run, kept}
}

// fullName tells apart an input and an output of one name.
func fullName(d described, all []described) string {
	for _, o := range all {
		if o.Name == d.Name && o.Is != d.Is {
			return d.Is + "/" + d.Name
		}
	}
	return d.Name
}

func names(ts []described) string {
	var ns []string
	for _, t := range ts {
		ns = append(ns, fullName(t, ts))
	}
	return strings.Join(ns, ", ")
}
