package report

import (
	"path/filepath"
	"strings"
)

// dataPackage describes the outputs by the Frictionless Data Package standard
// (data package and table schema, version 1), so that a program can load them
// knowing types, units and meaning.
//
// It gives each file's SHA-256 as of m.Outputs.
func dataPackage(m Manifest) map[string]any {
	resources := []map[string]any{}
	for _, t := range Tables() {
		resources = append(resources, resourceOf(t, m))
	}
	resources = append(resources, map[string]any{
		"name": "call_list_workbook", "path": "call_list.xlsx", "title": "the call list as a workbook, one sheet per branch; holds personal data",
		"profile": "data-resource", "type": "file", "format": "xlsx", "mediatype": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	})
	for _, r := range resources {
		if sum := m.Outputs[r["path"].(string)]; sum != "" {
			r["hash"] = "sha256:" + sum
		}
	}
	return map[string]any{
		"profile": "data-package", "name": "rowen-run-" + m.Month, "title": "expansion candidates " + m.Month,
		"version": m.Version, "run_id": m.RunID, "schema_version": schemaVersion, "resources": resources,
	}
}

// resourceOf describes one table. A table with lists is no tabular resource by
// the standard: it is described as a file, its columns as nested_fields.
func resourceOf(t Table, m Manifest) map[string]any {
	r := map[string]any{"name": t.Name, "path": t.File, "title": t.Says, "profile": "tabular-data-resource", "type": "table"}
	if filepath.Ext(t.File) == ".csv" {
		r["format"], r["mediatype"], r["encoding"] = "csv", "text/csv", "utf-8"
	} else {
		r["format"], r["mediatype"] = "parquet", "application/vnd.apache.parquet"
	}
	fields := fieldsOf(t.Columns, m.Currency)
	if t.Nested() {
		r["profile"], r["type"], r["nested_fields"] = "data-resource", "file", fields
		return r
	}
	// A reader that goes by way of pandas hands the null of a number over as nan.
	r["schema"] = map[string]any{"fields": fields, "missingValues": []string{"", "nan"}}
	return r
}

func fieldsOf(cols []Column, currency string) []map[string]any {
	types := map[string]string{"text": "string", "list": "array"}
	fields := []map[string]any{}
	for _, c := range cols {
		f := map[string]any{"name": c.Name, "type": c.Type, "description": c.Says, "source": c.Source}
		if t, ok := types[c.Type]; ok {
			f["type"] = t
		}
		if c.Unit != "" {
			f["unit"] = unitIn(c.Unit, currency)
		}
		if c.How != "" {
			f["method"] = c.How
		}
		if !c.Nullable {
			f["constraints"] = map[string]any{"required": true}
		}
		if len(c.Fields) > 0 {
			f["fields"] = fieldsOf(c.Fields, currency)
		}
		fields = append(fields, f)
	}
	return fields
}

// unitIn is a unit with the fleet's currency in it; "" leaves the word.
func unitIn(unit, currency string) string {
	if currency == "" {
		return unit
	}
	return strings.ReplaceAll(unit, "currency", currency)
}
