package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rowen/config"
	"rowen/ingest"
	"rowen/ingest/readings"
)

// What is proposed, written into rowen.yaml as it is printed, is the mapping
// that was meant.
func TestProposedMappingIsLoadedAsMeant(t *testing.T) {
	for name, m := range map[string]readings.Mapping{
		"long": {
			Glob: "readings/**/*.tsv", Format: "csv", Layout: "long", Delimiter: "\t", Decimal: ",", HeaderLine: 3,
			SiteID:   readings.SiteID{Column: "Anlage"},
			Time:     readings.Time{Column: "Datum", TimeColumn: "Uhrzeit", Format: "02.01.2006 15:04", Zone: "Europe/Vienna", Stamp: "end"},
			Channels: []readings.Channel{{Channel: ingest.Production, Column: "Ertrag \"neu\" (kWh)", Unit: "kWh", Quantity: "counter", Sign: 1, SpreadGap: "6h"}, {Channel: ingest.Import, Net: true, Column: "Saldo", Unit: "W", Quantity: "power", Sign: -1, SpreadGap: "6h"}},
		},
		"wide": {
			Glob: "readings/**/*.csv", Format: "csv", Layout: "wide", Delimiter: ";", Decimal: ",",
			Time: readings.Time{Column: "t", Format: "unix", Stamp: "start"},
			Channels: []readings.Channel{
				{Channel: ingest.Production, Header: `^home_(?P<site_id>.+)_pv\.W$`, Unit: "W", Quantity: "power", Sign: 1, SpreadGap: "6h"},
				{Channel: ingest.Consumption, Header: `^home_(?P<site_id>.+)_load\.W$`, Unit: "W", Quantity: "power", Sign: 1, SpreadGap: "6h"},
			},
		},
		"by files, without stamps": {
			Glob: "readings/**/*.csv", Format: "csv", Layout: "long", Decimal: ".",
			SiteID:   readings.SiteID{File: `(?P<site_id>[^/]+?)\.[^/]*$`},
			Time:     readings.Time{Start: "2026-03-01T00:00:00Z", Step: "15m", Format: "rfc3339", Stamp: "start"},
			Channels: []readings.Channel{{Channel: ingest.Export, Column: "x", Unit: "Wh", Quantity: "energy", Sign: -1, SpreadGap: "6h"}},
		},
	} {
		dir := t.TempDir()
		text := mappingYAML(readings.Proposal{Mapping: m})
		if err := os.WriteFile(filepath.Join(dir, config.FileName), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		set, err := config.Load(dir, nil, nil)
		if err != nil {
			t.Errorf("%s: %v in\n%s", name, err, text)
			continue
		}
		if d := cmp.Diff([]readings.Mapping{m}, mappings(set)); d != "" {
			t.Errorf("%s: %s in\n%s", name, d, text)
		}
	}
}

// Lines one after the other with one fault are said once, and others apart.
func TestRejectsOfOneKindAreOneLine(t *testing.T) {
	r := func(file string, line int, reason string) aside {
		return aside{File: file, Line: line, Reason: reason}
	}
	var b strings.Builder
	sayRejects(&b, []aside{r("a", 0, "cannot be read"), r("a", 2, "cut"), r("a", 3, "cut"), r("a", 4, "cut"), r("a", 6, "cut"), r("a", 7, "no number"), r("b", 8, "no number"), r("b", 9, "no number")})
	want := "a: cannot be read\na:2: cut (and so the 2 lines after it)\na:6: cut\na:7: no number\nb:8: no number (and so the line after it)\n"
	if b.String() != want {
		t.Errorf("%s, want\n%s", b.String(), want)
	}
}
