package report

import (
	"html/template"
	"os"

	"rowen/analyze"
)

var pageTemplate = template.Must(template.New("page").Parse(`<!doctype html><meta charset="utf-8"><title>rowen {{.Month}}</title>
<h1>{{.Month}}</h1><p>{{.Caution}}</p><ul>{{range .Lanes}}<li>{{.Lane}} {{.Sites}}</li>{{end}}</ul>
<table>{{range .Rows}}<tr><td>{{.Rank}}</td><td>{{.SiteID}}</td><td>{{.NextStep}}</td></tr>{{end}}</table>`))

func writePage(path string, findings []*analyze.Finding, m Manifest) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return pageTemplate.Execute(f, map[string]any{"Month": m.Month, "Caution": Caution, "Lanes": m.Lanes, "Rows": CallRows(findings)})
}
