package main

import (
	"fmt"
	"strconv"
	"strings"

	"rowen/ingest/readings"
)

// mappingYAML writes a mapping as it stands in rowen.yaml. Keys at their
// default are left out.
func mappingYAML(m readings.Mapping) string {
	var b strings.Builder
	line := func(indent int, key, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%s%s: %s\n", strings.Repeat(" ", indent), key, strconv.Quote(value))
		}
	}
	b.WriteString("readings:\n  - glob: " + strconv.Quote(m.Glob) + "\n")
	line(4, "format", m.Format)
	line(4, "layout", m.Layout)
	line(4, "delimiter", strings.ReplaceAll(m.Delimiter, "\t", "tab"))
	line(4, "decimal", m.Decimal)
	if m.HeaderLine > 0 {
		fmt.Fprintf(&b, "    header_line: %d\n", m.HeaderLine)
	}
	if m.SiteID != (readings.SiteID{}) {
		b.WriteString("    site_id:\n")
		line(6, "column", m.SiteID.Column)
		line(6, "file", m.SiteID.File)
		line(6, "value", m.SiteID.Value)
		line(6, "header", m.SiteID.Header)
	}
	b.WriteString("    time:\n")
	line(6, "column", m.Time.Column)
	line(6, "time_column", m.Time.TimeColumn)
	line(6, "format", m.Time.Format)
	line(6, "zone", m.Time.Zone)
	line(6, "stamp", m.Time.Stamp)
	line(6, "start", m.Time.Start)
	line(6, "step", m.Time.Step)
	if len(m.Channels) > 0 {
		b.WriteString("    channels:\n")
	}
	for _, c := range m.Channels {
		name := c.Channel.String()
		if c.Net {
			name = "net"
		}
		fmt.Fprintf(&b, "      %s:\n", name)
		line(8, "column", c.Column)
		line(8, "header", c.Header)
		line(8, "unit", c.Unit)
		line(8, "quantity", c.Quantity)
		if c.Sign == -1 {
			b.WriteString("        sign: -1\n")
		}
	}
	return b.String()
}
