package report

// File is one file of a run's folder.
type File struct {
	Name, Type, Says string
	Always           bool // written by every run that publishes a list
}

// Files lists what a run writes, the tables of Tables among them.
func Files() []File {
	files := []File{
		{"index.html", "page", "the month on one page: lists, lanes, warnings; works offline", true},
		{"call_list.xlsx", "workbook", "the call list to work in; what sales write into it is read back; personal data", true},
		{"briefs/SITE.html", "page", "the brief of a customer to call with the survey or work sheet, or a repair sheet; personal data", false},
		{"visits.json", "document", "the sheets' steps as data, for an app; no personal data", true},
		{"run.json", "document", "the record: settings, inputs and outputs with their digests, counts, warnings, timings", true},
		{"datapackage.json", "document", "the tables described as a Frictionless data package", true},
	}
	for _, t := range Tables() {
		kind := "table (Parquet)"
		if t.File != t.Name+".parquet" {
			kind = "table (CSV)"
		}
		files = append(files, File{t.File, kind, t.Says, true})
	}
	return files
}
