package register

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"reflect"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
)

const tariffsFile = "tariffs.yaml"

// readTariffs reads tariffs.yaml, or the file given in its place. An entry that
// cannot be used is set aside; the others go on.
func readTariffs(dir, instead string, b *book) ([]ingest.Tariff, error) {
	name := tariffsFile
	if instead != "" {
		dir, name = filepath.Split(instead)
	}
	d, text, err := openDocument(dir, name)
	switch {
	case instead == "" && errors.Is(err, fs.ErrNotExist):
		b.note("%s: missing, so no bill can be calculated", tariffsFile)
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	tariffs, rejects, err := decodeTariffs(d, text)
	for _, r := range rejects {
		b.setAside(r)
	}
	return tariffs, err
}

// ParseTariffs reads the text of a tariffs file; every entry must be usable.
func ParseTariffs(file string, text []byte) ([]ingest.Tariff, error) {
	d := newDocument(file)
	tariffs, rejects, err := decodeTariffs(d, text)
	if err != nil || len(rejects) > 0 {
		return nil, d.err()
	}
	return tariffs, nil
}

// decodeTariffs reads the entries one by one.
//
// Refuses: a file that is no list of tariffs. What is wrong with one entry sets
// that entry aside, with a reject for each thing.
func decodeTariffs(d *document, text []byte) ([]ingest.Tariff, []ingest.Reject, error) {
	entries := d.entries(text, "tariffs")
	if len(d.bad) > 0 {
		return nil, nil, d.err()
	}
	var tariffs []ingest.Tariff
	from := map[string]int{}
	for i, e := range entries {
		before := len(d.bad)
		path := entryPath("tariffs", i, nameOf(e))
		d.lines[path] = e.Line
		if first, twice := from[path]; twice {
			d.wrong(e.Line, path, fmt.Sprintf("stands twice, first in line %d: keep one, or give the later one another valid_from", first))
			continue
		}
		from[path] = e.Line
		d.walk(path, e, reflect.TypeFor[ingest.Tariff]())
		var t ingest.Tariff
		if len(d.bad) == before {
			if err := e.Decode(&t); err != nil {
				d.wrong(e.Line, path, err.Error())
			}
		}
		if len(d.bad) == before {
			if t.ID == "" {
				d.say(path+": id", "must be given")
			}
			checkTariff(d, path, t)
		}
		if len(d.bad) == before {
			tariffs = append(tariffs, t)
		}
	}
	return tariffs, d.rejects, nil
}

// nameOf is what an entry calls itself: its id, and since when where that is
// said, since an id may come several times.
func nameOf(y *yaml.Node) string {
	id := idOf(y)
	if y.Kind != yaml.MappingNode || id == "" {
		return id
	}
	for i := 0; i+1 < len(y.Content); i += 2 {
		if y.Content[i].Value == "valid_from" && y.Content[i+1].Value != "" {
			return id + " from " + y.Content[i+1].Value
		}
	}
	return id
}

// checkTariff checks what only the file can tell: whether a price stands there at
// all. What the values must be, and what a successor that is not among the
// tariffs means for its sites, is said by package tariff.
func checkTariff(d *document, p string, t ingest.Tariff) {
	if t.ID != "" && !idPattern.MatchString(t.ID) {
		d.say(p+": id", "must be 1 to 64 of A-Z a-z 0-9 . _ -")
	}
	checkPrices(d, p+": import", len(t.Import), "price")
	checkPrices(d, p+": tiers", len(t.Tiers), "add")
	for i := range t.Import {
		checkPrices(d, entryPath(p+": import", i, "")+": tiers", len(t.Import[i].Tiers), "add")
	}
	checkPrices(d, p+": demand", len(t.Demand), "per_kw")
	checkPrices(d, p+": export: periods", len(t.Export.Periods), "price")
	if t.Export.Credit == "rate" && len(t.Export.Periods) == 0 {
		d.given(p + ": export: price")
	}
	if n := t.Export.NewModules; n != nil {
		checkPrices(d, p+": export: new_modules: periods", len(n.Periods), "price")
	}
	if l := t.Legacy; l != nil && d.given(p+": legacy: successor") {
		d.given(p + ": legacy: lost_when_added_pct")
		if l.Successor == t.ID {
			d.say(p+": legacy: successor", "%q must be another tariff", l.Successor)
		}
	}
}

// checkPrices wants a price in every entry of a list: one left out is not 0.
func checkPrices(d *document, list string, entries int, price string) {
	for i := range entries {
		d.given(entryPath(list, i, "") + ": " + price)
	}
}
