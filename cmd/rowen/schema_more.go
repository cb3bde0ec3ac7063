package main

import (
	"reflect"
	"strings"

	"rowen/ingest/ledger"
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

// fieldsOf describes a document by the tags of its type.
func fieldsOf(t reflect.Type) (out []describedColumn) {
	for i := range t.NumField() {
		f := t.Field(i)
		name := f.Tag.Get("json")
		if name == "" || name == "-" {
			continue
		}
		c := describedColumn{Name: name, Required: true, Says: f.Tag.Get("text")}
		of := f.Type
		if of.Kind() == reflect.Slice {
			of = of.Elem()
			c.Type = "list of "
		}
		switch of.Kind() {
		case reflect.Struct:
			c.Type += "object"
			c.Fields = fieldsOf(of)
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

// folders are the run's folder and the ledger's, file by file.
func folders() []described {
	run := described{Name: "run", Is: "output", File: "FLEET/runs/YYYY-MM/", Says: "what a run writes; a run is seen whole or not at all"}
	for _, f := range report.Files() {
		run.Columns = append(run.Columns, describedColumn{Name: f.Name, Type: f.Type, Required: f.Always, Says: f.Says})
	}
	kept := described{Name: "ledger", Is: "cache", File: "FLEET/.rowen/ledger/", Says: "what has been read so far: a cache, made anew where it is gone or damaged; do not edit it"}
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
