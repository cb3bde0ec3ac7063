package demand

import (
	"rowen/ingest"
	"time"
)

// SeasonBuilder gathers the fleet's common seasonal signal in the first pass:
// how much more or less than their own habit the households of a region used
// on each day. It stands in for a thermometer where there is none. Add may be
// called from any number of goroutines in any order; the memory is bounded by
// regions x days, whatever the number of sites.
type SeasonBuilder struct{}

// NewSeasonBuilder gathers for the days from first to last (unix days).
func NewSeasonBuilder(first, last time.Time) *SeasonBuilder { return &SeasonBuilder{} }

// Add takes one site in. A site without consumption adds nothing.
func (b *SeasonBuilder) Add(latitudeDeg, longitudeDeg float64, loc *time.Location, s *ingest.Series) {
}

// Close ends the gathering.
func (b *SeasonBuilder) Close() *Season { return &Season{} }

// Season is the fleet's common seasonal signal by region.
type Season struct{}

// At gives the signal of a place; nil where too few sites (fewer than 12)
// stand behind it.
func (s *Season) At(latitudeDeg, longitudeDeg float64) *Signal { return nil }

// Signal is the common seasonal signal of one region by day.
type Signal struct{}
