// Package pulse finds regular loads that came or left, an electric car above
// all, by the weekly count of their pulses. A car that charges every third night
// hardly moves the day's consumption; pulses of its height go from none to ten a
// month.
package pulse

// Intervals are a household's readings as power by interval of the local day.
type Intervals struct {
	PerDay   int       // intervals a day: 24, 48 or 96
	FirstDay int       // number of the first day: days since 1970-01-01
	KW       []float64 // PerDay a day, whole days; NaN: missing

	// Cold and Hot are degrees below and above what a home needs no heating and
	// cooling at, by day; NaN: not known; nil: no thermometer, and the calendar
	// stands in.
	Cold, Hot []float64

	whole *Intervals // what this is the beginning of; nil: it is itself
	runs  []run      // nil: not looked for yet
}

// Days is the number of whole days.
func (v *Intervals) Days() int { return len(v.KW) / v.PerDay }

// Until is the first days' intervals.
func (v *Intervals) Until(days int) *Intervals {
	w := *v
	if w.whole == nil {
		w.whole = v
	}
	w.KW, w.runs = v.KW[:days*v.PerDay], nil
	if v.Cold != nil {
		w.Cold, w.Hot = v.Cold[:days], v.Hot[:days]
	}
	return &w
}

// Change is regular pulses that began or, where Left is set, that ended.
type Change struct {
	Left          bool
	Day, Low, Top int     // first day with (Left: without) them, and the days that it may as well be
	KWhYr         float64 // energy a year, the season off
	PerWeek       float64 // pulses a week that came (left)
	BeforePerWeek float64 // like pulses a week without them
	MinKW, MaxKW  float64 // heights of the pulses that told it
	MinKWh        float64 // their least energy
	EachKWh       float64 // mean energy of those since (Left: until) the day
	DayShare      float64 // share of them that begin between 8 and 17 o'clock
	OneSeason     bool    // heating or cooling may be all that it is: see oneSeason
	FromHour      int     // they start from FromHour to ToHour, round the clock
	ToHour        int
	Score         float64 // log odds for a change against none, the tries paid for
}

// Limits of the search: those of the reference measurement on real homes with
// real charging sessions (cars of 1.4 to 11 kW; 434 windows without a car).
const (
	pulseKW     = 1.2   // a run stands this far above the baseline: under the smallest charger
	minPulses   = 6     // in a cell
	weeksBefore = 4     // least evidence on either side
	weeksAfter  = 8     //
	sayScore    = 2.0   // needed to say it
	minKWhYr    = 200.0 // without new energy it is a shift of habits
	early       = 3.0   // the earliest date within this much of the best is taken
	dayAhead    = 36    // the day is sought this far after the week, and dayBack before
	dayBack     = 21
	nearDay     = 2.0 // days within this much of the best may as well be it
)
