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
	Type     string // id, text, number, whole number, date, yes or no, one of …
	Unit     string
	Limit    string
	Required bool
	Text     string
}

// Tables lists the input tables with their columns, in the contract's order.
func Tables() []Table {
	return []Table{
		sites.dictionary(), arrays.dictionary(), planes.dictionary(), services.dictionary(),
		gateways.dictionary(), readings, bills.dictionary(), weather, stations, outcomes.dictionary(),
	}
}

// readings and weather are read by other packages, by mappings; these are the
// names that their columns have unless mapped.
var readings = Table{Name: "readings", File: "readings/", Text: "interval data, any number of .csv, .csv.gz, .csv.zst and .parquet files, in sub-folders too", Columns: []Column{
	{Name: "site_id", Type: "id", Required: true, Text: "or taken from the file name by a mapping"},
	{Name: "start", Type: "time", Required: true, Text: "beginning of the interval, RFC 3339 with offset; the interval's length is inferred per site: it divides an hour, or is one hour or one day"},
	{Name: "production_wh", Type: "number", Unit: "Wh", Text: "what the array made in the interval; at least one of the four; blank is missing, which is not zero"},
	{Name: "consumption_wh", Type: "number", Unit: "Wh", Text: "what the household used"},
	{Name: "import_wh", Type: "number", Unit: "Wh", Text: "what came from the grid"},
	{Name: "export_wh", Type: "number", Unit: "Wh", Text: "what went to the grid"},
}}

var weather = Table{Name: "weather", File: "weather/", Text: "hourly weather by station", Columns: []Column{
	{Name: "station_id", Type: "id", Required: true, Text: "a station of stations.csv"},
	{Name: "start", Type: "time", Required: true, Text: "beginning of the hour, RFC 3339 with offset"},
	{Name: "temp_c", Type: "number", Unit: "°C", Text: "air temperature"},
	{Name: "ghi_w_m2", Type: "number", Unit: "W/m2", Text: "global light on the level, mean of the hour"},
	{Name: "dni_w_m2", Type: "number", Unit: "W/m2", Text: "beam light square to the sun"},
	{Name: "dhi_w_m2", Type: "number", Unit: "W/m2", Text: "diffuse light on the level"},
	{Name: "wind_m_s", Type: "number", Unit: "m/s", Text: "wind speed"},
}}

var stations = Table{Name: "stations", File: "weather/stations.csv", Text: "where the weather stations stand", Columns: []Column{
	{Name: "station_id", Type: "id", Required: true, Text: "as in the weather files"},
	{Name: "latitude", Type: "number", Unit: "deg", Limit: ">= -90 and <= 90", Required: true, Text: "north positive"},
	{Name: "longitude", Type: "number", Unit: "deg", Limit: ">= -180 and <= 180", Required: true, Text: "east positive"},
}}

func (t table[R]) dictionary() Table {
	d := Table{Name: t.name, File: t.file(), Required: t.required, Text: t.text}
	for _, c := range t.columns {
		d.Columns = append(d.Columns, c.Column)
	}
	return d
}
