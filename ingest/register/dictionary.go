package register

// Table is one input table, for the data dictionary.
type Table struct {
	Name     string // sites
	File     string // sites.csv
	Required bool
	Text     string
	Columns  []Column
}

// Column is one column of a table.
type Column struct {
	Name     string
	Type     string // id, text, number, whole number, date, time, yes or no, zone, one of …
	Unit     string
	Required bool
	Text     string
}

// Tables lists the input tables with their columns.
func Tables() []Table { return nil }
