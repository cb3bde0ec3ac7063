package demo

import (
	"math"
	"slices"
	"time"

	"rowen/ingest"
)

// expansion is what was sold to a site and put on its roof within the readings.
type expansion struct {
	modules  int
	soldOn   time.Time
	builtOn  time.Time
	kwhYr    float64 // predicted when it was sold
	savingYr float64
}

// expandedSites is how many sites of a fleet were expanded earlier: ten of the
// demo's 240.
func expandedSites(o Options) int {
	if o.PlainHomes || o.Months < 18 {
		return 0
	}
	return o.Sites * 10 / 240
}

// expandable are the cases that may have been expanded, the likeliest first: an
// array that just keeps up with the household today.
var expandable = []string{"not there yet", "makes plenty"}

// expandSome puts modules that were sold earlier on some roofs.
func (m *Made) expandSome() {
	done := 0
	for _, name := range expandable {
		for _, s := range m.sites {
			if done < expandedSites(m.opts) && s.truth.Archetype == name && s.expand(m, done) {
				done++
			}
		}
	}
}

// expand takes some modules of the array as it stands for ones that were added
// later: half of the sites more than a year ago, half some months ago.
func (s *site) expand(m *Made, nth int) bool {
	a := &s.roof.arrays[0]
	if a.moduleACWatts == 0 || a.modules < 8 {
		return false
	}
	rnd := stream(s.seed, 40)
	months := -3 - nth%5
	if nth%2 == 0 {
		months = -13 - nth%4
	}
	end := dateOf(timeOf(m.tl, s.last))
	built := end.AddDate(0, months, -rnd.IntN(12))
	x := &expansion{modules: min(max(a.modules/4, 3), 8), builtOn: built, soldOn: built.AddDate(0, -2, -5-rnd.IntN(30))}
	if contactDays := int(end.Sub(x.soldOn).Hours() / 24); contactDays < 200 { // long enough ago to be judged again
		x.soldOn = end.AddDate(0, 0, -200)
	}
	later, reg := *a, s.reg.Arrays[0]
	later.id, reg.ID = "X1", "X1"
	later.modules, reg.Modules, reg.Inverters = x.modules, x.modules, ingest.Some(x.modules)
	later.from, reg.CommissionedOn = m.tl.step(ingest.HourOf(time.Date(built.Year(), built.Month(), built.Day(), 0, 0, 0, 0, s.region.loc))), built
	a.modules -= x.modules
	s.reg.Arrays[0].Modules, s.reg.Arrays[0].Inverters = a.modules, ingest.Some(a.modules)
	s.roof.arrays, s.reg.Arrays = append(s.roof.arrays, later), append(s.reg.Arrays, reg)
	s.truth.Arrays[0].Modules = a.modules
	s.truth.Arrays = append(s.truth.Arrays, TrueArray{ID: "X1", Modules: x.modules, ModuleWatts: a.watts, TiltDeg: a.tiltDeg, AzimuthDeg: a.azimuthDeg, ACWattsPerModule: a.moduleACWatts})
	x.kwhYr = math.Round(float64(x.modules) * a.watts / 1000 * s.region.yieldKWhPerKW(a.tiltDeg, a.azimuthDeg) * (1 - a.shadingPct/100) * (1 + float64(0.03*rnd.NormFloat64())))
	x.savingYr = math.Round(x.kwhYr * worthOf(s.reg.TariffID))
	s.expansion = x
	s.reg.LastContactOn = time.Time{} // the sale was the last contact
	s.truth.MayLanes = append(slices.Clone(s.truth.MayLanes), "call")
	return true
}

// worthOf is roughly what a kWh of more output saves, money a kWh.
func worthOf(tariffID string) float64 {
	return map[string]float64{tariffFlat: 0.19, tariffTiers: 0.105, tariffPoor: 0.06, tariffLegacy: 0.24, tariffTOU: 0.11, tariffCoop: 0.21}[tariffID]
}

// outcomes are earlier calls and what came of them; the better the case, the
// sooner it sold. A call that the rules of the contract still count changes the
// lane that the site's truth says.
func (m *Made) outcomes() []ingest.Outcome {
	var out []ingest.Outcome
	attempts := false
	for _, s := range m.sites {
		rnd := stream(s.seed, 10)
		end := dateOf(timeOf(m.tl, s.last))
		switch x := s.expansion; {
		case x != nil:
			o := ingest.Outcome{SiteID: s.reg.ID, CalledOn: x.soldOn, Result: "sold", ModulesSold: ingest.Some(x.modules), Price: float64(1400 + 780*x.modules), InstalledOn: x.builtOn}
			o.Listed = listedAs(s, x.soldOn, 1+rnd.IntN(4), rnd.IntN(10))
			o.Listed.Modules, o.Listed.AddedKWhYr, o.Listed.Saving = ingest.Some(x.modules), x.kwhYr, x.savingYr
			o.Listed.Reason = pick(rnd, []string{"new_load", "low_coverage", "use_growing"})
			o.Listed.SavingLow, o.Listed.SavingHigh = math.Round(0.85*x.savingYr), math.Round(1.15*x.savingYr)
			out = append(out, o)
		case !s.reg.LastContactOn.IsZero():
			o := m.answered(s, s.reg.LastContactOn)
			if o.Result == "no_answer" && !attempts && end.Sub(o.CalledOn) < 300*24*time.Hour {
				attempts = true // twice more within the year: no further attempt is due
				for _, days := range []int{20, 41} {
					out = append(out, ingest.Outcome{SiteID: s.reg.ID, CalledOn: o.CalledOn.AddDate(0, 0, -days), Result: o.Result, Price: math.NaN(), Listed: unlisted()})
				}
				s.truth.held("do_not_contact")
			}
			out = append(out, o)
			s.holdBack(o, end)
		case !m.opts.PlainHomes && rnd.Float64() < 0.4: // called long ago: no result counts any more
			on := end.AddDate(0, 0, -400-rnd.IntN(470))
			o := ingest.Outcome{SiteID: s.reg.ID, CalledOn: on, Result: "declined", Price: math.NaN(), Listed: listedAs(s, on, 1+rnd.IntN(10), rnd.IntN(10))}
			if rnd.Float64() < 0.25 {
				o.Result = "no_answer"
			} else {
				o.Reason = pick(rnd, []string{"too early", "price", "moving", ""})
			}
			out = append(out, o)
		}
	}
	slices.SortStableFunc(out, func(a, b ingest.Outcome) int {
		if a.SiteID != b.SiteID {
			return m.index[a.SiteID] - m.index[b.SiteID]
		}
		return a.CalledOn.Compare(b.CalledOn)
	})
	return out
}

// answered is what came of a call; one in four was made without a list.
func (m *Made) answered(s *site, on time.Time) ingest.Outcome {
	rnd := stream(s.seed, 10)
	o := ingest.Outcome{SiteID: s.reg.ID, CalledOn: on, Price: math.NaN(), Listed: unlisted()}
	switch u := rnd.Float64(); {
	case u < 0.3:
		o.Result = "no_answer"
	case u < 0.75:
		o.Result, o.Reason = "declined", pick(rnd, []string{"too early", "price", "moving", ""})
	case u < 0.85:
		o.Result, o.Reason = "not_suitable", pick(rnd, []string{"roof", "shade"})
	default:
		o.Result = "sold"
		o.ModulesSold = ingest.Some(4 + rnd.IntN(5))
		o.Price = float64(1400 + 780*o.ModulesSold.V)
	}
	if rnd.Float64() < 0.75 {
		tenth := 1 + rnd.IntN(10)
		if o.Result == "sold" {
			tenth = 1 + rnd.IntN(5)
		}
		o.Listed = listedAs(s, on, tenth, rnd.IntN(10))
	}
	return o
}

// holdBack writes into the truth what the contract's rules make of a call.
func (s *site) holdBack(o ingest.Outcome, end time.Time) {
	months := map[string]int{"sold": 18, "declined": 12, "no_answer": 1, "not_suitable": 24}[o.Result]
	if !o.CalledOn.AddDate(0, months, 0).After(end) {
		return
	}
	if lane := "do_not_contact"; o.Result != "not_suitable" {
		s.truth.held(lane)
	} else {
		s.truth.held("blocked")
	}
}

// held is the one lane that an earlier call leaves; who asked not to be called
// stays so.
func (t *Truth) held(lane string) {
	if t.IntendedLane == "do_not_contact" && t.Archetype == "asked not to be called" {
		return
	}
	t.IntendedLane, t.MayLanes = lane, nil
}

func unlisted() ingest.Listed {
	nan := math.NaN()
	return ingest.Listed{AddedKWhYr: nan, Saving: nan, SavingLow: nan, SavingHigh: nan}
}

// listedAs is what the list of the month before a call said of the site.
func listedAs(s *site, on time.Time, tenth, place int) ingest.Listed {
	l := unlisted()
	l.Month = on.AddDate(0, 0, 1-on.Day()).AddDate(0, -1, 0).Format("2006-01")
	l.Tenth, l.Rank = ingest.Some(tenth), ingest.Some(10*(tenth-1)+1+place)
	l.Reason = "low_coverage"
	if len(s.events) > 0 {
		l.Reason = "new_load"
	} else if s.house.growth > 0.02 {
		l.Reason = "use_growing"
	}
	return l
}
