package report

// dataPackage describes the outputs by the Frictionless Data Package standard
// (data package and table schema, version 1), so that a program can load them
// knowing types, units and meaning.
func dataPackage(m Manifest) map[string]any {
	resources := []map[string]any{}
	for _, t := range Tables() {
		format, media := "parquet", "application/vnd.apache.parquet"
		if t.File[len(t.File)-4:] == ".csv" {
			format, media = "csv", "text/csv"
		}
		resources = append(resources, map[string]any{
			"name": t.Name, "path": t.File, "title": t.Says, "profile": "tabular-data-resource", "format": format, "mediatype": media,
			"schema": map[string]any{"fields": fieldsOf(t.Columns)},
		})
	}
	resources = append(resources, map[string]any{
		"name": "call_list_workbook", "path": "call_list.xlsx", "title": "the call list as a workbook, a sheet a branch; holds personal data",
		"profile": "data-resource", "format": "xlsx", "mediatype": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	})
	return map[string]any{
		"profile": "data-package", "name": "rowen-run-" + m.Month, "title": "expansion candidates " + m.Month,
		"version": m.Version, "resources": resources,
	}
}

func fieldsOf(cols []Column) []map[string]any {
	types := map[string]string{"text": "string", "list": "array"}
	fields := []map[string]any{}
	for _, c := range cols {
		f := map[string]any{"name": c.Name, "type": c.Type, "description": c.Says}
		if t, ok := types[c.Type]; ok {
			f["type"] = t
		}
		if c.Unit != "" {
			f["unit"] = c.Unit
		}
		if c.How != "" {
			f["method"] = c.How
		}
		if !c.Nullable {
			f["constraints"] = map[string]any{"required": true}
		}
		fields = append(fields, f)
	}
	return fields
}
