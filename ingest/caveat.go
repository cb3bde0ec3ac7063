package ingest

// Caveat is a doubt that travels with a number: the number stands.
type Caveat struct {
	Code string // snake_case, stable
	Says string // one sentence, with the figures that show it
}

// Window is the year of hours that sizing is done on: the last twelve complete
// months of the site's own calendar, up to the report month.
type Window struct {
	Start Hour
	N     int // 8760 or 8784
}
