package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/ingest"
	"rowen/ingest/ledger"
)

// oddity is a figure of a site that people do not live with.
type oddity struct {
	SiteID  string  `json:"site_id" text:"the site; empty: the middle one of the fleet's sites"`
	Channel string  `json:"channel" text:"production, consumption, import or export"`
	Value   float64 `json:"value" text:"the figure"`
	Unit    string  `json:"unit" text:"kWh/kW a year, kWh a year or h"`
	Least   float64 `json:"least" text:"what is plausible at the least"`
	Most    float64 `json:"most" text:"and at the most"`
	Says    string  `json:"says" text:"in a sentence, with the likely cause"`
}

// What people and arrays live with. Common practice: a roof's array makes 600 to
// 1,900 kWh a year and kW between the far north and the desert, less when shaded
// or sick, and a household uses 1,000 to 30,000 kWh a year; the bounds lie well
// outside of these (our choice).
const (
	leastPerKW, mostPerKW = 150.0, 2600.0
	usualLeastPerKW       = 600.0
	usualMostPerKW        = 2000.0
	leastHome, mostHome   = 200.0, 90000.0
	usualLeastHome        = 1000.0
	usualMostHome         = 40000.0
	leastHoursSummed      = 1440 // 60 days: less is no year's share
	mostHoursFromNoon     = 3.0  // a wall to the east or west lies up to 2.5 off
	hoursLookedAt         = 4380 // half a year holds all of the sun's heights
)

// The middle of a fleet's sites lies in the narrower bounds: its sick and odd ones
// do not reach it (our choice, as is the number of sites that make a fleet).
const (
	leastFleetPerKW, mostFleetPerKW = 450.0, 2200.0
	leastFleetHome, mostFleetHome   = 800.0, 45000.0
	leastFleet                      = 5
)

// factors are what a wrong unit or quantity multiplies with.
var factors = []struct {
	by   float64
	step int // minutes between the readings that it can happen with; 0: any
	says string
}{
	{1000, 0, "values in kWh or kW are read as Wh or W: state the unit"},
	{1.0 / 1000, 0, "values in Wh or W are read as kWh or kW: state the unit"},
	{1e6, 0, "values in MWh are read as Wh: state the unit"},
	{60, 1, "energies of minutes are read as powers: state quantity: energy"},
	{1.0 / 60, 1, "powers of minutes are added up as energies: state quantity: power"},
	{12, 5, "energies of five minutes are read as powers: state quantity: energy"},
	{1.0 / 12, 5, "powers of five minutes are added up as energies: state quantity: power"},
	{4, 15, "energies of quarter hours are read as powers: state quantity: energy"},
	{1.0 / 4, 15, "powers of quarter hours are added up as energies: state quantity: power"},
}

const perKWUnit, homeUnit = "kWh/kW a year", "kWh a year"

// yearlySums are those of the sites of a fleet.
type yearlySums struct{ perKW, home []float64 }

func (y *yearlySums) join(o *yearlySums) {
	y.perKW, y.home = append(y.perKW, o.perKW...), append(y.home, o.home...)
}

// odd holds the middle one of the fleet's sites against what fleets come to: a
// unit that is wrong everywhere shows where no single site is beyond belief.
func (y *yearlySums) odd() (odd []oddity) {
	if len(y.perKW) >= leastFleet {
		odd = append(odd, beyond(figure{"", ingest.Production, perKWUnit, 0}, middle(y.perKW), [4]float64{leastFleetPerKW, usualLeastPerKW, usualMostPerKW, mostFleetPerKW})...)
	}
	if len(y.home) >= leastFleet {
		odd = append(odd, beyond(figure{"", ingest.Consumption, homeUnit, 0}, middle(y.home), [4]float64{leastFleetHome, usualLeastHome, usualMostHome, mostFleetHome})...)
	}
	return odd
}

func middle(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// implausible holds a site's yearly sums and clock against what there is.
func implausible(site *ingest.Site, s *ingest.Series, seen *yearlySums) (odd []oddity) {
	for c := ingest.Channel(0); c < ingest.NumChannels; c++ {
		kWh := yearly(s.Wh[c])
		if kWh != kWh || s.Refused(c) {
			continue
		}
		switch kW := wattsOf(site) / 1000; {
		case c == ingest.Production && kW > 0:
			seen.perKW = append(seen.perKW, kWh/kW)
			odd = append(odd, beyond(figure{site.ID, c, perKWUnit, s.StepMinutes}, kWh/kW, [4]float64{leastPerKW, usualLeastPerKW, usualMostPerKW, mostPerKW})...)
		case c == ingest.Consumption:
			seen.home = append(seen.home, kWh)
			odd = append(odd, beyond(figure{site.ID, c, homeUnit, s.StepMinutes}, kWh, [4]float64{leastHome, usualLeastHome, usualMostHome, mostHome})...)
		case c == ingest.Import:
			odd = append(odd, beyond(figure{site.ID, c, homeUnit, s.StepMinutes}, kWh, [4]float64{0, 0, usualMostHome, mostHome})...)
		}
	}
	last := lastHours(s, hoursLookedAt)
	if aroundNoon(last.Wh[ingest.Production], last.Start, site.LongitudeDeg) {
		return odd
	}
	if hours, ok := middleAgainstSun(ledger.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg}, last); ok && math.Abs(hours) > mostHoursFromNoon {
		odd = append(odd, oddity{site.ID, ingest.Production.String(), math.Round(hours*10) / 10, "h", -mostHoursFromNoon, mostHoursFromNoon,
			fmt.Sprintf("the middle of the production lies %+.1f hours from the middle of the sun's day: the stamps' zone or the site's place is wrong", hours)})
	}
	return odd
}

// Of hours that are nearly all there the sun's middle lies within half an hour of
// noon: a quarter for the equation of time, the rest for the days that the ends cut.
// The few that are missing (a hundredth) move it by a third of one. So a production
// whose middle is nearer to noon than that leaves of the limit is not odd, and the
// sun need not be worked out, which is a tenth of a check's time (TestAroundNoon).
const (
	nearNoonHours = mostHoursFromNoon - 0.9
	mostMissing   = 0.01
	leastDaysNoon = 60 // of fewer days the ends are too much
)

// aroundNoon tells that the middle of a production cannot be further from the sun's
// than mostHoursFromNoon.
func aroundNoon(wh []float64, start ingest.Hour, longitudeDeg float64) bool {
	made, missing := center{}, 0
	for i, v := range wh {
		if v != v {
			missing++
			continue
		}
		made.add(solarHour(start, i, longitudeDeg), v)
	}
	return len(wh) >= 24*leastDaysNoon && float64(missing) <= mostMissing*float64(len(wh)) &&
		made.weight > 0 && math.Abs(made.mean()-12) < nearNoonHours
}

// beyond says that a figure lies outside the first and last bound; a factor that
// brings it between the middle ones is the likely cause.
func beyond(f figure, v float64, bound [4]float64) []oddity {
	if v >= bound[0] && v <= bound[3] || v == 0 { // nothing at all is a dead meter's, and said as such
		return nil
	}
	var causes []string
	for _, by := range factors {
		if x := v * by.by; x >= bound[1] && x <= bound[2] && (by.step == 0 || f.step == 0 || by.step == f.step) {
			causes = append(causes, by.says)
		}
	}
	says := fmt.Sprintf("%s comes to %.4g %s; %.0f to %.0f is plausible", f.channel, v, f.unit, bound[0], bound[3])
	if f.site == "" {
		says = "at half of the sites and more " + says
	}
	switch {
	case len(causes) > 0:
		says += ": perhaps " + strings.Join(causes, "; or ")
	case f.channel == ingest.Production:
		says += ": look at unit, quantity and the modules in arrays.csv"
	default:
		says += ": look at unit and quantity"
	}
	return []oddity{{f.site, f.channel.String(), v, f.unit, bound[0], bound[3], says}}
}

// figure is what a yearly sum is of.
type figure struct {
	site    string // "": the middle one of the fleet
	channel ingest.Channel
	unit    string
	step    int // minutes between readings; 0: not one
}

// yearly is the sum of the hours that are there, as of a year; NaN: too few.
func yearly(wh []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range wh {
		if v == v {
			sum += v
			n++
		}
	}
	if n < leastHoursSummed {
		return math.NaN()
	}
	return sum / 1000 * 8766 / float64(n)
}

func wattsOf(site *ingest.Site) (sum float64) {
	for i := range site.Arrays {
		a := &site.Arrays[i]
		sum += float64(float64(a.Modules) * a.ModuleWatts)
	}
	return sum
}

// lastHours is the end of a series.
func lastHours(s *ingest.Series, n int) *ingest.Series {
	cut := *s
	from := max(0, s.Len()-n)
	cut.Start += ingest.Hour(from)
	for c := range cut.Wh {
		if cut.Wh[c] != nil {
			cut.Wh[c] = cut.Wh[c][from:]
		}
	}
	return &cut
}
