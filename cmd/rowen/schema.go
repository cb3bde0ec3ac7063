package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"rowen/config"
	"rowen/ingest/register"
	"rowen/report"
)

// described is one table of the data dictionary, input or output.
type described struct {
	Name    string            `json:"name"`
	File    string            `json:"file"`
	Is      string            `json:"is"` // input, output, settings, cache
	Says    string            `json:"says"`
	Columns []describedColumn `json:"columns"`
}

type describedColumn struct {
	Name     string            `json:"name"`
	Type     string            `json:"type"`
	Unit     string            `json:"unit,omitempty"`
	Limit    string            `json:"limit,omitempty"`
	Required bool              `json:"required"`
	Default  string            `json:"default,omitempty"`
	Says     string            `json:"says"`
	How      string            `json:"how,omitempty"`
	Source   string            `json:"source,omitempty"`
	Fields   []describedColumn `json:"fields,omitempty"`
}

func (sh *shell) schemaCommand() *cobra.Command {
	format := "text"
	c := &cobra.Command{
		Use:     "schema [TABLE]",
		Example: "  rowen schema\n  rowen schema output/sites\n  rowen schema input sites\n  rowen schema codes/caveat\n  rowen schema settings --format json",
		Short:   "the data dictionary of inputs, settings, outputs, codes and folders",
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 2 {
				return fmt.Errorf("%w: rowen schema takes one table at most, as input/sites or input sites", errUsage)
			}
			tables := dictionary()
			if len(args) > 0 {
				name := strings.Join(args, "/")
				found := find(tables, name)
				if len(found) == 0 {
					return fmt.Errorf("%w: there is no table %q; the tables are %s", errUsage, name, names(tables))
				}
				tables = found
			}
			switch format {
			case "json":
				e := json.NewEncoder(sh.stdout)
				e.SetIndent("", "  ")
				e.SetEscapeHTML(false)
				return e.Encode(tables)
			case "text":
				printTables(sh.stdout, tables, len(args) > 0)
				return nil
			}
			return fmt.Errorf("%w: --format %q must be text or json", errUsage, format)
		},
	}
	c.Flags().StringVar(&format, "format", format, "text or json")
	return c
}

// dictionary brings the definitions together from where each stands once.
func dictionary() []described {
	var ts []described
	for _, t := range register.Tables() {
		d := described{Name: t.Name, File: t.File, Is: "input", Says: t.Text}
		for _, c := range t.Columns {
			d.Columns = append(d.Columns, describedColumn{Name: c.Name, Type: c.Type, Unit: c.Unit, Limit: c.Limit, Required: c.Required, Says: c.Text})
		}
		ts = append(ts, d)
	}
	keys := described{Name: "settings", File: config.FileName, Is: "settings", Says: "flags over ROWEN_* environment over rowen.yaml over defaults"}
	for _, k := range config.Keys() {
		keys.Columns = append(keys.Columns, describedColumn{Name: k.Name, Type: k.Type, Unit: k.Unit, Limit: k.Limit, Default: k.Default, Says: k.Text})
	}
	ts = append(ts, keys)
	for _, d := range register.Documents() {
		doc := described{Name: d.Name, File: d.File, Is: "input", Says: d.Text}
		for _, k := range d.Keys {
			doc.Columns = append(doc.Columns, describedColumn{Name: k.Name, Type: k.Type, Unit: k.Unit, Limit: k.Limit, Required: k.Blank == "", Default: k.Blank, Says: k.Text, How: "find it: " + k.Where})
		}
		ts = append(ts, doc)
	}
	for _, t := range append(report.Tables(), report.HistoryTable()) {
		ts = append(ts, described{Name: t.Name, File: t.File, Is: "output", Says: t.Says, Columns: columns(t.Columns)})
	}
	ts = append(ts, profilesTable(), codesTable(), checkTable())
	return append(append(ts, documents()...), folders()...)
}

func columns(cs []report.Column) []describedColumn {
	var ds []describedColumn
	for _, c := range cs {
		ds = append(ds, describedColumn{Name: c.Name, Type: c.Type, Unit: c.Unit, Required: !c.Nullable, Says: c.Says, How: c.How, Source: c.Source, Fields: columns(c.Fields)})
	}
	return ds
}

// find gives the tables of a name: input/sites and output/sites are one each,
// sites is both; codes/caveat is one kind of the codes.
func find(ts []described, name string) []described {
	var found []described
	for _, t := range ts {
		if kind, ok := strings.CutPrefix(name, t.Name+"/"); ok && t.Name == "codes" {
			t.Columns = slices.DeleteFunc(slices.Clone(t.Columns), func(c describedColumn) bool { return c.Type != kind })
			if len(t.Columns) > 0 {
				found = append(found, t)
			}
			continue
		}
		if t.Name == name || t.Is+"/"+t.Name == name {
			found = append(found, t)
		}
	}
	return found
}

func printTables(w io.Writer, ts []described, whole bool) {
	if !whole {
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, d := range ts {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", fullName(d, ts), d.Is, d.File, d.Says)
		}
		t.Flush()
		fmt.Fprintln(w, "\nSources of output columns")
		for _, source := range report.Sources {
			fmt.Fprintf(t, "  %s\t%s\n", source.Name, source.Says)
		}
		t.Flush()
		fmt.Fprintln(w, "\nrowen schema TABLE shows its columns.")
		return
	}
	for i, d := range ts {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s (%s, %s): %s\n\n", d.Name, d.Is, d.File, d.Says)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		printColumns(t, d.Columns, "")
		t.Flush()
	}
}

func printColumns(w io.Writer, cs []describedColumn, indent string) {
	for _, c := range cs {
		kind := c.Type
		if c.Required {
			kind += ", required"
		}
		says := c.Says
		if c.Limit != "" {
			says += "; " + c.Limit
		}
		if c.Default != "" {
			says += " (default " + c.Default + ")"
		}
		if c.How != "" {
			says += ". How: " + c.How
		}
		if c.Source != "" {
			says += ". Source: " + c.Source
		}
		fmt.Fprintf(w, "%s%s\t%s\t%s\t%s\n", indent, c.Name, kind, c.Unit, says)
		printColumns(w, c.Fields, indent+"  ")
	}
}
