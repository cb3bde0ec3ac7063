package ingest

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Hour counts whole hours of UTC since 1970-01-01T00:00Z.
type Hour int32

// HourOf gives the hour that t lies in.
func HourOf(t time.Time) Hour { return Hour(floorDiv(t.Unix(), 3600)) }

// Time gives the beginning of the hour.
func (h Hour) Time() time.Time { return time.Unix(int64(h)*3600, 0).UTC() }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

// Channel names one metered quantity.
type Channel int

// The channels of the readings, all energies in Wh at the site's own meters.
const (
	Production  Channel = iota // the array's AC output
	Consumption                // the household's gross use
	Import                     // from the grid
	Export                     // to the grid
	NumChannels
)

var channelNames = [NumChannels]string{"production", "consumption", "import", "export"}

func (c Channel) String() string {
	if c < 0 || c >= NumChannels {
		return "series" // NumChannels stands for the series as a whole
	}
	return channelNames[c]
}

// Series is one site's readings: dense hours of UTC from Start.
//
// Every channel is either nil (never metered) or as long as the others, in Wh,
// NaN where missing. An hour is present only where all of its native intervals
// are. Where StepMinutes is 1440 only the sum of a local day is known: its
// hours hold an even share, and nothing but daily sums may be read from them.
type Series struct {
	SiteID      string
	Start       Hour
	StepMinutes int // the native step that most readings have: 1, 5, 15, 30, 60 or 1440
	Wh          [NumChannels][]float64

	// Fine holds the same readings at the native step where it is finer than
	// an hour and was kept; nil elsewhere.
	Fine *Fine

	// Estimated marks hours whose value is an estimate (a counter's lump
	// spread over a gap); nil: none.
	Estimated []bool

	// Quality is what was found wrong or doubtful with the readings.
	Quality []Quality
}

// Fine is a series at a step that divides the hour.
type Fine struct {
	Start       Hour
	StepMinutes int
	Wh          [NumChannels][]float32 // NaN: missing; nil: not metered
}

// Len is the number of hours.
func (s *Series) Len() int {
	for _, c := range s.Wh {
		if c != nil {
			return len(c)
		}
	}
	return 0
}

// End is the hour after the last.
func (s *Series) End() Hour { return s.Start + Hour(s.Len()) }

// Has tells whether a channel has any reading at all.
func (s *Series) Has(c Channel) bool {
	for _, v := range s.Wh[c] {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

// Times says how many times, for sentences.
func Times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// Quality is one thing found about a site's readings.
type Quality struct {
	Code        string  // gap, repeated_stamp, counter_reset, stuck, night_production, ...
	Channel     Channel // NumChannels: the series as a whole
	Says        string  // one sentence with the figures that show it
	From, To    Hour    // the hours concerned, To exclusive
	Hours       int     // how many hours
	Consequence Consequence
	Spans       []Span // LeaveHoursOut, CountAsZero, ExchangeChannels: the hours that it is done to
}

// Span is a run of hours, To exclusive.
type Span struct{ From, To Hour }

// Consequence is what a quality finding does to the numbers.
type Consequence int

// The consequences.
const (
	KeepWithCaveat   Consequence = iota // the numbers stand, with the caveat beside them
	RefuseChannel                       // the channel is not used
	LeaveHoursOut                       // the hours of Spans are taken as missing: no meter can have seen them
	CountAsZero                         // what is missing in the hours of Spans is nothing: the sun was down
	ExchangeChannels                    // production and consumption are exchanged in the hours of Spans
)

// Refused tells whether the channel must not be used.
func (s *Series) Refused(c Channel) bool {
	for _, q := range s.Quality {
		if q.Consequence == RefuseChannel && (q.Channel == c || q.Channel == NumChannels) {
			return true
		}
	}
	return false
}

// ErrNoReadings is what a Source answers for a site without any.
var ErrNoReadings = errors.New("no readings")

// Source hands out the readings of one site at a time. It is safe for
// concurrent use, and holds no more than a few sites in memory.
type Source interface {
	// Order lists the sites that have readings, in the order in which loading
	// them is cheapest. It is the same for the same input.
	Order() []string
	// Load fills s, reusing its slices. ErrNoReadings: the site has none.
	Load(siteID string, s *Series) error
}
