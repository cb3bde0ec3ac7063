// Package page renders the two pages that people read: the fleet at a glance
// with its ranked list, and the one-sheet brief of a candidate. It shows what
// it is given and computes nothing but the layout; it knows no other package.
//
// Every page stands alone: no network, no font, no picture, no script from
// elsewhere, and all of it can be read with scripts switched off.
package page

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
)

// Cautions are what every page, list and terminal text says that leads to work
// on a house.
var Cautions = []string{
	"This is a desk screening, not a design.",
	"Roof structure and access, the panelboard's real condition and labels, and the utility's rules are checked on site by licensed people under local codes.",
	"Nothing is switched on before inspection and the permission to operate.",
	"Work in a panelboard can kill.",
}

//go:embed index.html.tmpl brief.html.tmpl alone.html.tmpl sheet.html.tmpl base.css index.css brief.css sheet.css index.js
var files embed.FS

var (
	styles = mustRead("base.css") // what every page shares
	list   = mustRead("index.css")
	sheet  = mustRead("brief.css")
	visit  = mustRead("sheet.css")
	script = mustRead("index.js")

	pages = template.Must(template.New("").Funcs(functions).ParseFS(files, "*.tmpl"))
)

func mustRead(name string) string {
	b, err := files.ReadFile(name)
	if err != nil {
		panic(err) // embedded at build time
	}
	return string(b)
}

// policy lets a page run its own script, by its digest, and nothing else: text
// that came from a register cannot run even if it were let through.
var policy = func() string {
	sum := sha256.Sum256([]byte(script))
	return "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}()
