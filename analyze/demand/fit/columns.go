package fit

import (
	"math"

	"rowen/ingest/samebits"
)

// How growth and level were taken clear of the weather.
const (
	MethodDegreeDays = "degree_days"  // temperatures of the place
	MethodSeason     = "fleet_season" // the fleet's common seasonal signal
	MethodCalendar   = "calendar"     // the household's own yearly wave only
)

// What a step in consumption follows.
type Answer int

// The answers.
const (
	ToNothing Answer = iota // so many kWh more a day, whatever the weather
	ToCold                  // so many kWh more a K·day of heating (or a winter's day)
	ToHeat                  // and of cooling
	ToSummer                // so many kWh more a day from May to September
	NumAnswers
)

// Column is one thing that consumption may follow, by day.
type Column struct {
	What   Answer
	X      []float64
	Normal []float64 // X in normal weather
	Year   float64   // sum of X over a normal year
}

// Columns are what may explain a household's days. A value: nothing changes
// them, and other columns are made from them.
type Columns struct {
	Method string
	Degree DegreeDays // NaN balance points where there is no such term

	Answers []Column  // what a step may follow; the first is ToNothing
	Years   []float64 // time from the middle of the readings, years

	Measured []bool  // days with a temperature; nil: no thermometer is used
	WeatherR float64 // correlation of the temperatures with the fleet's days; NaN: not known

	HasHeat, HasCool bool // heating and cooling are in the household's base
	heating, cooling Column
	winter, summer   Column              // the fleet's signal cut into its halves; no X: none
	weekend          [Weekdays][]float64 // dummies of the days after Sunday
	wave             [4][]float64        // cos, sin of the year, and of half a year
	waves            int                 // how many of them are in the base
	kelvin           *DegreeColumns
	usual            [2][]float64 // the seasons' shapes of heating and cooling
}

// Weekdays is how many columns the days of the week take.
const Weekdays = 6

// MinDaysForWeather is how many days a weather model needs: the 328 of 365 of
// CalTRACK 2.2.
const MinDaysForWeather = 328

// Balance points that stand in where the household's own consumption shows
// none: for a heat pump that is yet to come. Common practice (18 °C base
// temperatures less the free heat of the house; cooling from 21 °C day mean).
const (
	defaultHeatBalanceC = 15
	defaultCoolBalanceC = 20
)

// Balance points tried for a load that comes: a heat pump's house and an air
// conditioner's need not be those of the household before. Our choice.
var (
	heatBalancesC = [...]float64{11, 13, 15, 17}
	coolBalancesC = [...]float64{16, 18, 20, 22, 24}
)

// NewColumns builds the columns of a household's days.
func NewColumns(w *Workspace, d *Days, weather Weather) Columns {
	c := Columns{Years: make([]float64, d.N())}
	c.calendar(d)
	if d.Count >= MinDaysForWeather {
		c.waves = 2
	}
	c.Measured, c.WeatherR = weather.thermometer(d)
	switch {
	case c.Measured != nil:
		c.Method = MethodDegreeDays
		c.kelvin = DegreeHours(d.N(), weather, DefaultGrid, &w.kelvin)
		c.fill(d)
	case weather.speaks(d):
		c.Method = MethodSeason
		c.halves(d, weather.Signal)
	default:
		c.Method = MethodCalendar
		if c.waves == 2 && d.Count >= 600 {
			c.waves = 4
		}
	}
	c = c.Refit(d, d.KWh)
	c.answers(d)
	return c
}

// calendar fills what follows from the dates alone.
func (c *Columns) calendar(d *Days) {
	n := d.N()
	ones := make([]float64, n)
	for k := range c.weekend {
		c.weekend[k] = make([]float64, n)
	}
	for k := range c.wave {
		c.wave[k] = make([]float64, n)
	}
	first, last := n, 0
	for k := range n {
		if d.Counted[k] {
			first, last = min(first, k), k
		}
	}
	mid := float64(float64(first+last) / 2)
	for k := range n {
		ones[k] = 1
		c.Years[k] = (float64(k) - mid) / 365.25
		if w := weekday(d.First + k); w > 0 {
			c.weekend[w-1][k] = 1
		}
		a := d.Angle(k)
		c.wave[0][k], c.wave[1][k] = samebits.Cos(a), samebits.Sin(a)
		c.wave[2][k], c.wave[3][k] = samebits.Cos(2*a), samebits.Sin(2*a)
	}
	c.Answers = []Column{{What: ToNothing, X: ones, Normal: ones, Year: 365.25}}
}

// Refit chooses anew what heating and cooling follow, from y by day: with the
// events known, the household's own weather is another.
func (c Columns) Refit(d *Days, y []float64) Columns {
	n := d.N()
	c.HasHeat, c.HasCool = false, false
	if c.Method != MethodDegreeDays {
		c.Degree = DegreeDays{HeatBalanceC: math.NaN(), CoolBalanceC: math.NaN()}
		heating, cooling := make([]float64, n), make([]float64, n)
		for k := range n {
			heating[k], cooling[k] = seasonShapes(d.Winter(k))
		}
		c.heating, c.cooling = Column{What: ToCold, X: heating}, Column{What: ToHeat, X: cooling}
		return c
	}
	masked := make([]float64, n)
	for k := range masked {
		masked[k] = math.NaN()
		if d.Counted[k] {
			masked[k] = y[k]
		}
	}
	c.Degree, _ = FitRelative(masked, c.kelvin)
	c.HasHeat, c.HasCool = c.Degree.BetaH > 0, c.Degree.BetaC > 0
	heat, cool := c.Degree.HeatBalanceC, c.Degree.CoolBalanceC
	if !c.HasHeat {
		heat = min(defaultHeatBalanceC, orDefault(cool, defaultHeatBalanceC))
	}
	if !c.HasCool {
		cool = max(defaultCoolBalanceC, orDefault(heat, defaultCoolBalanceC))
	}
	c.heating = weatherColumn(ToCold, c.degreeDays(c.kelvin.Heat, heat))
	c.cooling = weatherColumn(ToHeat, c.degreeDays(c.kelvin.Cool, cool))
	return c
}

func weatherColumn(what Answer, x []float64) Column {
	return Column{What: what, X: x, Normal: normalOf(x), Year: yearSum(x)}
}

// answers fills the columns that a step may follow.
func (c *Columns) answers(d *Days) {
	add := func(what Answer, x []float64) { c.Answers = append(c.Answers, weatherColumn(what, x)) }
	if c.Method == MethodDegreeDays {
		for _, b := range heatBalancesC {
			add(ToCold, c.degreeDays(c.kelvin.Heat, b))
		}
		for _, b := range coolBalancesC {
			add(ToHeat, c.degreeDays(c.kelvin.Cool, b))
		}
	} else {
		add(ToCold, c.heating.X)
		add(ToHeat, c.cooling.X)
		if c.Method == MethodSeason {
			add(ToCold, above(c.winter.X))
			add(ToHeat, above(c.summer.X))
		}
	}
	summer := make([]float64, d.N())
	for k := range summer {
		m := int(d.Date(k).Month())
		if d.South {
			m = (m+5)%12 + 1
		}
		if m >= 5 && m <= 9 {
			summer[k] = 1
		}
	}
	c.Answers = append(c.Answers, Column{What: ToSummer, X: summer, Normal: summer, Year: yearSum(summer)})
}

// fill prepares what a day without a temperature gets where no day beside it
// and no year has one: the season's shape.
func (c *Columns) fill(d *Days) {
	c.usual = [2][]float64{make([]float64, d.N()), make([]float64, d.N())}
	for k := range d.N() {
		c.usual[0][k], c.usual[1][k] = seasonShapes(d.Winter(k))
	}
}

// degreeDays is the column of a balance point. Days without a temperature have
// the mean of the days beside and a year off, else the season's shape, as high
// as it stands on the days that have one.
func (c *Columns) degreeDays(columns [][]float64, balanceC float64) []float64 {
	x := columns[c.kelvin.index(balanceC)]
	out := make([]float64, len(x))
	copy(out, x)
	shape, of, over := c.usual[0], 0.0, 0.0
	if &columns[0] == &c.kelvin.Cool[0] {
		shape = c.usual[1]
	}
	for k, v := range x {
		if !math.IsNaN(v) {
			of, over = of+v, over+shape[k]
		}
	}
	for k, v := range x {
		if math.IsNaN(v) {
			out[k] = seasonalGuess(x, k)
			if math.IsNaN(out[k]) && over > 0 {
				out[k] = of / over * shape[k]
			}
			out[k] = orDefault(out[k], 0)
		}
	}
	return out
}

// Until is the columns of the first n days, what is normal as it is known today.
func (c Columns) Until(n int) Columns {
	cut := func(x Column) Column {
		if x.X != nil {
			x.X = x.X[:n]
		}
		if x.Normal != nil {
			x.Normal = x.Normal[:n]
		}
		return x
	}
	answers := make([]Column, len(c.Answers))
	for k, a := range c.Answers {
		answers[k] = cut(a)
	}
	c.Answers, c.Years = answers, c.Years[:n]
	c.heating, c.cooling, c.winter, c.summer = cut(c.heating), cut(c.cooling), cut(c.winter), cut(c.summer)
	for k := range c.weekend {
		c.weekend[k] = c.weekend[k][:n]
	}
	for k := range c.wave {
		c.wave[k] = c.wave[k][:n]
	}
	return c
}

// MinDriftDays are needed before a drift may stand beside a season: where
// neither a thermometer nor the fleet tells the weather, two rounds of the
// seasons, less a month. Our choices.
func (c *Columns) MinDriftDays() int {
	if c.Method == MethodCalendar {
		return 700
	}
	return 480
}

// halves are the fleet's signal cut into its two halves of the year, each with
// the household's own answer to it: summers that are cooled, winters that are
// heated or lit.
func (c *Columns) halves(d *Days, s *Signal) {
	winter, summer := make([]float64, d.N()), make([]float64, d.N())
	level := s.floor()
	for k := range winter {
		v := s.At(d.First + k)
		if math.IsNaN(v) {
			v = level
		}
		w := min(max(0.5+2*d.Winter(k), 0), 1) // a quarter of the year to pass from one to the other
		winter[k], summer[k] = w*(v-level), (1-w)*(v-level)
	}
	c.winter, c.summer = weatherColumn(ToCold, winter), weatherColumn(ToHeat, summer)
}

// base lists the columns of the household without steps and drift. A column of
// weather has a Normal.
func (c *Columns) base() []Column {
	cols := make([]Column, 0, 16)
	cols = append(cols, Column{X: c.Answers[0].X})
	for k := range c.weekend {
		cols = append(cols, Column{X: c.weekend[k]})
	}
	if c.HasHeat {
		cols = append(cols, c.heating)
	}
	if c.HasCool {
		cols = append(cols, c.cooling)
	}
	if c.Method == MethodSeason {
		cols = append(cols, c.winter, c.summer)
	}
	for k := range c.waves {
		cols = append(cols, Column{X: c.wave[k]})
	}
	return cols
}

// seasonShapes are the shapes that heating and cooling loads have over a year
// where no thermometer is: half waves that peak in the middle of the winter and
// of the summer, 0 to 1. Our choice, after the monthly degree days of temperate
// places.
func seasonShapes(winter float64) (heating, cooling float64) {
	return max(0, 0.3+float64(0.7*winter)), max(0, -winter-0.1) / 0.9
}

// above is what of a column lies above none.
func above(x []float64) []float64 {
	out := make([]float64, len(x))
	for d, v := range x {
		out[d] = max(v, 0)
	}
	return out
}

// normalDays is half the width of what counts as the same season: our choice.
const normalDays = 7

// normalOf is a weather column's mean over the years at each day's season:
// the days within a week of it in every year held.
func normalOf(x []float64) []float64 {
	n := len(x)
	sum := make([]float64, n+1)
	for d, v := range x {
		sum[d+1] = sum[d] + v
	}
	out := make([]float64, n)
	for d := range out {
		total, days := 0.0, 0
		for c := d % 365; c < n; c += 365 {
			lo, hi := max(c-normalDays, 0), min(c+normalDays+1, n)
			total += sum[hi] - sum[lo]
			days += hi - lo
		}
		out[d] = total / float64(days)
	}
	return out
}

// yearSum is a column's sum over a normal year: the mean over the years held of
// every day of the year, whole years from the end, so that every season weighs
// the same.
func yearSum(x []float64) float64 {
	n := len(x)
	years := n / 365
	sum := 0.0
	if years == 0 {
		for _, v := range x {
			sum += v
		}
		return sum / float64(n) * 365.25
	}
	for _, v := range x[n-365*years:] {
		sum += v
	}
	return sum / float64(years) * (365.25 / 365)
}

func orDefault(v, def float64) float64 {
	if math.IsNaN(v) {
		return def
	}
	return v
}
