package report

import (
	"reflect"
	"strconv"
	"strings"
)

// Column is the definition of one output column, read off a row's tags.
type Column struct {
	Name     string
	Type     string // text, integer, number, boolean, date, list
	Unit     string
	Says     string
	How      string
	Nullable bool
	Fields   []Column // of a list of records
	Head     string   // heading in the workbook; "": it is not in one
	Wide     int      // width there, in characters
	Printed  bool     // on a printed page of it
	index    int
}

// Table is one output table with its columns.
type Table struct {
	Name    string
	File    string
	Says    string
	Columns []Column
}

// Tables lists every table that a run writes.
func Tables() []Table {
	return []Table{
		{"call_list", "call_list.csv", "the sales team's ranked list, one row a customer to call; holds personal data", columnsOf(reflect.TypeFor[CallRow]())},
		{"candidates", "candidates.parquet", "every ranked candidate, no personal data", columnsOf(reflect.TypeFor[SiteRow]())},
		{"sites", "sites.parquet", "every site of the register with all findings, no personal data", columnsOf(reflect.TypeFor[SiteRow]())},
		{"options", "options.parquet", "every size simulated for every site", columnsOf(reflect.TypeFor[OptionRow]())},
		{"monthly", "monthly.parquet", "site by month", columnsOf(reflect.TypeFor[MonthRow]())},
		{"repairs", "repair_list.csv", "the service team's list, one row a sick array, by what it loses; holds personal data", columnsOf(reflect.TypeFor[RepairRow]())},
		{"rejects", "rejects.csv", "what was set aside", columnsOf(reflect.TypeFor[RejectRow]())},
	}
}

func columnsOf(t reflect.Type) []Column {
	var cols []Column
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		tag := strings.Split(f.Tag.Get("parquet"), ",")
		c := Column{Name: tag[0], Unit: f.Tag.Get("unit"), Says: f.Tag.Get("says"), How: f.Tag.Get("how"), Head: f.Tag.Get("head"), Printed: f.Tag.Get("print") != "", index: i}
		c.Wide, _ = strconv.Atoi(f.Tag.Get("wide"))
		ft := f.Type
		if ft.Kind() == reflect.Pointer {
			c.Nullable, ft = true, ft.Elem()
		}
		switch ft.Kind() {
		case reflect.String:
			c.Type = "text"
		case reflect.Bool:
			c.Type = "boolean"
		case reflect.Float64:
			c.Type = "number"
		case reflect.Slice:
			c.Type = "list"
			if ft.Elem().Kind() == reflect.Struct {
				c.Fields = columnsOf(ft.Elem())
			}
		default:
			c.Type = "integer"
			for _, o := range tag[1:] {
				if o == "date" {
					c.Type = "date"
				}
			}
		}
		cols = append(cols, c)
	}
	return cols
}
