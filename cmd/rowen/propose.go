package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"rowen/ingest/readings"
)

// proposeMapping looks at an unknown export, prints the mapping that it seems to
// need, what it does not tell, and how the sample reads under it.
func (sh *shell) proposeMapping(ctx context.Context, fleet sampleFleet, path string) error {
	p, err := readings.Propose(path)
	if err != nil {
		return err
	}
	w := sh.stdout
	if p.Bills != nil {
		fmt.Fprintf(w, "%s: %s.\n\n", path, p.Bills.Says)
		printQuestions(w, p.Questions)
		fmt.Fprintln(w, "Rows for bills.csv, with SITE to be replaced:\n\nsite_id,from,to,import_kwh")
		for _, r := range p.Bills.Rows {
			fmt.Fprintln(w, r)
		}
		return nil
	}
	fmt.Fprintf(w, "# A proposal from looking at %s: confirm each line before it is used.\n", path)
	for _, n := range p.Notes {
		fmt.Fprintln(w, "#", n)
	}
	io.WriteString(w, mappingYAML(p))
	if len(p.NotUsed) > 0 {
		fmt.Fprintf(w, "\nColumns that are not used: %s\n", strings.Join(p.NotUsed, ", "))
	}
	if len(p.Questions) > 0 {
		fmt.Fprintln(w)
		printQuestions(w, p.Questions)
	}
	return fleet.show(ctx, w, path, p)
}

func printQuestions(w io.Writer, qs []readings.Question) {
	fmt.Fprintln(w, "The file does not tell; answer before the mapping is used:")
	for _, q := range qs {
		fmt.Fprintf(w, "  %s: %s\n", q.Key, q.Says)
		for _, a := range q.Answers {
			fmt.Fprintf(w, "      %-14s %s\n", a.Value, a.Means)
		}
	}
	fmt.Fprintln(w)
}

// mappingYAML writes a proposal as it stands in rowen.yaml. Keys at their
// default are left out. A key that only a person can fill is "?", which the
// settings refuse.
func mappingYAML(p readings.Proposal) string {
	m := p.Mapping
	asked := func(key string) bool {
		return slices.ContainsFunc(p.Questions, func(q readings.Question) bool { return q.Key == key })
	}
	y := yamlWriter{asked: asked}
	y.b.WriteString("readings:\n  - glob: " + strconv.Quote(m.Glob) + "\n")
	y.text(4, "format", m.Format)
	y.text(4, "layout", m.Layout)
	y.text(4, "delimiter", strings.ReplaceAll(m.Delimiter, "\t", "tab"))
	y.text(4, "decimal", m.Decimal)
	y.text(4, "thousands", m.Thousands)
	y.number(4, "header_line", m.HeaderLine)
	if m.NoHeader {
		y.b.WriteString("    no_header: true\n")
	}
	y.number(4, "data_line", m.DataLine)
	y.text(4, "register", m.Register)
	y.text(4, "scale", m.Scale)
	y.text(4, "records", m.Records)
	y.text(4, "sheet", m.Sheet)
	if m.SiteID != (readings.SiteID{}) {
		y.b.WriteString("    site_id:\n")
		y.text(6, "column", m.SiteID.Column)
		y.text(6, "file", m.SiteID.File)
		y.text(6, "value", m.SiteID.Value)
		y.text(6, "header", m.SiteID.Header)
		y.text(6, "sheet", m.SiteID.Sheet)
	}
	if m.Time != (readings.Time{}) {
		y.b.WriteString("    time:\n")
		y.in = "time."
		y.text(6, "column", m.Time.Column)
		y.text(6, "time_column", m.Time.TimeColumn)
		y.text(6, "end_column", m.Time.EndColumn)
		y.text(6, "pattern", m.Time.Pattern)
		y.text(6, "format", m.Time.Format)
		y.text(6, "zone", m.Time.Zone)
		y.text(6, "stamp", m.Time.Stamp)
		y.text(6, "start", m.Time.Start)
		y.text(6, "step", m.Time.Step)
	}
	y.channels(m.Channels)
	return y.b.String()
}

type yamlWriter struct {
	b     strings.Builder
	in    string // the group that a key is in, with its dot
	asked func(key string) bool
}

func (y *yamlWriter) text(indent int, key, value string) {
	if y.asked(y.in + key) {
		value = "?"
	}
	if value != "" {
		fmt.Fprintf(&y.b, "%s%s: %s\n", strings.Repeat(" ", indent), key, strconv.Quote(value))
	}
}

func (y *yamlWriter) number(indent int, key string, value int) {
	if value > 0 {
		fmt.Fprintf(&y.b, "%s%s: %d\n", strings.Repeat(" ", indent), key, value)
	}
}

func (y *yamlWriter) channels(cs []readings.Channel) {
	if len(cs) > 0 {
		y.b.WriteString("    channels:\n")
	}
	for _, c := range cs {
		name := c.Channel.String()
		if c.Net {
			name = "net"
		}
		y.in = "channels." + name + "."
		if y.asked("channels") {
			name = `"?"` // production, consumption, import, export or net
		}
		fmt.Fprintf(&y.b, "      %s:\n", name)
		y.text(8, "column", c.Column)
		y.text(8, "also", c.Also)
		y.text(8, "rows", c.Rows)
		y.text(8, "header", c.Header)
		y.text(8, "unit", c.Unit)
		y.text(8, "quantity", c.Quantity)
		if c.Sign == -1 {
			y.b.WriteString("        sign: -1\n")
		}
	}
}
