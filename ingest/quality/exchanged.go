package quality

import "rowen/ingest"

// A day's night hours show exchanged meters where the consumption channel reads
// next to nothing in all of them and the production channel a household's least
// use or more. Our choices; what a standby draws and what a sleeping inverter
// draws lie apart by far.
const (
	asleepWh      = 5
	leastUseWh    = 20
	nightHours    = 4 // of the six from 22 to 4 o'clock
	exchangedDays = 3 // fewer may be an outage with lamps on
)

// exchanged finds days on which the production and the consumption meter stand in
// each other's place: no household uses nothing by night while its array
// produces. Their days are read the other way round; a day on which it begins or
// ends is left out.
//
// Edges: a white night is no exchange: the consumption meter then reads a use.
func exchanged(c *checker) {
	use, made := c.s.Wh[ingest.Consumption], c.s.Wh[ingest.Production]
	if use == nil || made == nil || !c.hourly() {
		return
	}
	cal := ingest.NewCalendar(c.site.Location, c.s.Start, c.s.Len())
	clock := cal.HourOfDay()
	var wrong, mixed []int
	days := 0
	for d := range cal.Days() {
		odd, plain := 0, 0
		lo, hi := cal.Day(d)
		for i := lo; i < hi; i++ {
			switch h := clock[i]; {
			case h >= 4 && h < 22 || use[i] != use[i] || made[i] != made[i]:
			case use[i] <= asleepWh && made[i] >= leastUseWh:
				odd++
			case use[i] > asleepWh:
				plain++
			}
		}
		switch {
		case odd >= nightHours && plain == 0:
			days++
			wrong = appendHours(wrong, lo, hi)
		case odd > 0:
			mixed = appendHours(mixed, lo, hi)
		}
	}
	if days < exchangedDays {
		return
	}
	c.change(ingest.Production, ingest.ExchangeChannels, wrong, "on %d days, the first on %s, the consumption meter reads nothing by night while the array's reads a household: the two channels are swapped and are read the other way round", days, c.date(wrong[0]))
	if len(mixed) > 0 {
		for _, k := range [...]ingest.Channel{ingest.Production, ingest.Consumption} {
			c.leaveOut(k, mixed, "%s is left out in %d hours of days on which the production and the consumption meter are exchanged for a part", k, len(mixed))
		}
	}
}

func appendHours(hours []int, lo, hi int) []int {
	for h := lo; h < hi; h++ {
		hours = append(hours, h)
	}
	return hours
}
