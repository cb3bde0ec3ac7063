package report

import (
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Column is the definition of one output column: name and type from the row's
// field, the rest from the dictionary.
type Column struct {
	Name     string
	Type     string // text, integer, number, boolean, date, list
	Unit     string // currency stands for the fleet's
	Says     string
	How      string
	Source   string   // a key of Sources
	Nullable bool     // in CSV: may be blank
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
	Sorted  []string // the columns that its rows are sorted by
	Columns []Column
}

// Nested tells whether a table holds lists, which a plain table cannot.
func (t *Table) Nested() bool {
	return slices.ContainsFunc(t.Columns, func(c Column) bool { return c.Type == "list" })
}

// Tables lists every table that a run writes.
func Tables() []Table {
	return []Table{
		csvTable[CallRow]("call_list", "call_list.csv", "the sales team's ranked list, one row per customer to call; holds personal data",
			"customer phone result called_on notes modules_sold price email branch enabling_jobs ask_first check_on_site net_benefit_low net_benefit_high savings_first_year_low savings_first_year_high simple_payback_years trip_with contact postcode"),
		table[SiteRow]("candidates", "every ranked candidate; no personal data", "rank"),
		table[SiteRow]("sites", "every site of the register with all findings; no personal data", "site_id"),
		table[OptionRow]("options", "every size simulated for every site", "site_id", "modules"),
		table[MonthRow]("monthly", "one row per site and month", "site_id", "month"),
		table[EventRow]("events", "load_events of sites, one row per event", "site_id"),
		table[FaultTableRow]("faults", "array_fault_details of sites, one row per fault", "site_id"),
		table[LimitRow]("limits", "the five limits of every site, one row per limit", "site_id"),
		table[JobTableRow]("jobs", "enabling_jobs of sites, one row per set of jobs", "site_id"),
		table[ReasonRow]("reasons", "reasons of sites, one row per reason", "site_id"),
		table[OutcomeRow]("outcomes", "what came of earlier calls, one row per call, with predicted and realized output of what was sold; no personal data", "site_id"),
		csvTable[RepairRow]("repairs", "repair_list.csv", "the service team's list, one row per sick array, by what it loses; holds personal data",
			"branch customer contact faults what since where confidence saving_yr look_first"),
		csvTable[RejectRow]("rejects", "rejects.csv", "what was set aside", "column site_id"),
	}
}

// table describes a Parquet table, sorted by some of its columns.
func table[T any](name, says string, sorted ...string) Table {
	return Table{name, name + ".parquet", says, sorted, columnsOf(reflect.TypeFor[T](), name)}
}

// csvTable describes a CSV table; in the columns named in blank a cell may be
// blank, which is its null.
func csvTable[T any](name, file, says, blank string) Table {
	t := Table{Name: name, File: file, Says: says, Columns: columnsOf(reflect.TypeFor[T](), name)}
	may := strings.Fields(blank)
	for i := range t.Columns {
		t.Columns[i].Nullable = slices.Contains(may, t.Columns[i].Name)
	}
	return t
}

// columnsOf reads the columns off a row's fields; scope is the table or the list
// that they stand in.
func columnsOf(t reflect.Type, scope string) []Column {
	var cols []Column
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		tag := strings.Split(f.Tag.Get("parquet"), ",")
		c := Column{Name: tag[0], Head: f.Tag.Get("head"), Printed: f.Tag.Get("print") != "", index: i}
		c.Wide, _ = strconv.Atoi(f.Tag.Get("wide"))
		c.define(scope, f.Tag)
		ft := f.Type
		if ft.Kind() == reflect.Pointer {
			c.Nullable, ft = true, ft.Elem()
		}
		c.Type = typeOf(ft, slices.Contains(tag, "date"))
		if c.Type != "number" && c.Type != "integer" { // what people enter is text, whatever it measures
			c.Unit = ""
		}
		if c.Type == "list" && ft.Elem().Kind() == reflect.Struct {
			c.Fields = columnsOf(ft.Elem(), c.Name)
		}
		cols = append(cols, c)
	}
	return cols
}

// define takes what the dictionary has of a column. The call list, which people
// read, says some columns in words of its own, in its row's tags.
func (c *Column) define(scope string, tag reflect.StructTag) {
	e := defined(scope, c.Name)
	c.Unit, c.Source, c.Says, c.How = e.unit, e.source, e.says, e.how
	if says := tag.Get("says"); says != "" {
		c.Says = says
	}
}

func typeOf(t reflect.Type, date bool) string {
	switch t.Kind() {
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "boolean"
	case reflect.Float64:
		return "number"
	case reflect.Slice:
		return "list"
	}
	if date {
		return "date"
	}
	return "integer"
}
