package register

import (
	"errors"
	"fmt"
	"io/fs"

	"rowen/ingest"
)

const tariffsFile = "tariffs.yaml"

func readTariffs(dir string, b *book) ([]ingest.Tariff, error) {
	d, text, err := openDocument(dir, tariffsFile)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		b.note("%s: not there, so no bill can be reckoned", tariffsFile)
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("reading %s: %w", tariffsFile, err)
	}
	return d.tariffs(text)
}

func (d *document) tariffs(text []byte) ([]ingest.Tariff, error) {
	var file struct {
		Tariffs []ingest.Tariff `yaml:"tariffs"`
	}
	d.decode(text, &file)
	if len(d.bad) > 0 {
		return nil, d.err()
	}
	ids := tariffIDs(&ingest.Fleet{Tariffs: file.Tariffs})
	d.named("tariffs", "id", ids)
	for i, t := range file.Tariffs {
		d.tariff(entryPath("tariffs", i, t.ID), t)
	}
	return file.Tariffs, d.err()
}

// tariff checks what only the file can tell: whether a price stands there at
// all. What the values must be, and what a successor that is not among the
// tariffs means for its sites, is said by package tariff.
func (d *document) tariff(p string, t ingest.Tariff) {
	if t.ID != "" && !idPattern.MatchString(t.ID) {
		d.say(p+": id", "must be 1 to 64 of A-Z a-z 0-9 . _ -")
	}
	d.prices(p+": import", len(t.Import), "price")
	d.prices(p+": tiers", len(t.Tiers), "add")
	d.prices(p+": demand", len(t.Demand), "per_kw")
	d.prices(p+": export: periods", len(t.Export.Periods), "price")
	if t.Export.Credit == "rate" && len(t.Export.Periods) == 0 {
		d.given(p + ": export: price")
	}
	if n := t.Export.NewModules; n != nil {
		d.prices(p+": export: new_modules: periods", len(n.Periods), "price")
	}
	if l := t.Legacy; l != nil && d.given(p+": legacy: successor") {
		d.given(p + ": legacy: lost_when_added_pct")
		if l.Successor == t.ID {
			d.say(p+": legacy: successor", "%q must be another tariff", l.Successor)
		}
	}
}

// prices wants a price in every entry of a list: one left out is not 0.
func (d *document) prices(list string, entries int, price string) {
	for i := range entries {
		d.given(entryPath(list, i, "") + ": " + price)
	}
}
