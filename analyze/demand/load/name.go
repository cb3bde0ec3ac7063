package load

import (
	"fmt"
	"math"

	"rowen/analyze/demand/change"
	"rowen/analyze/stat"
)

// fineShare of a change's energy that rectangles must carry before they alone
// name it; under a quarter of the rate before, they came with it. Our choices.
const (
	fineShare   = 0.6
	quietBefore = 0.25
)

// carShape tells a car's rectangles from an air conditioner's runs, a heater's
// and a water heater's: one or two a day, of one height, in cool months as in
// warm ones, longer than bursts where they come every day. 0 to 1.
func (m *marks) carShape() float64 {
	if !m.known || m.month < rectanglesAMonth || m.monthBefore > 0.5*m.month {
		return 0
	}
	score := ramp(3.5-m.aDay, 0.5, 1.5) * ramp(0.25-m.spread, 0, 0.10)
	if lo, hi := min(m.cool, m.warm), max(m.cool, m.warm); !math.IsNaN(lo) {
		score *= ramp(lo/hi, 0.15, 0.35)
	} else if math.IsNaN(m.cool) && m.hotHours > 0.5 {
		score *= 0.25 // an air conditioner that never rests looks like it until autumn
	} else {
		score *= 0.8 // one season says nothing of the other
	}
	if m.days > 0.7 {
		score *= 0.5 + float64(0.5*ramp(m.minutes, burstMinutes, 1.5*burstMinutes))
	}
	return score
}

// byRectangles names a group from finer readings; ok tells that they name it
// by themselves.
//
// Out: the verdict and the marks of a car, to date it by.
func (s *Scene) byRectangles(sh *Shape, total float64) (v Verdict, car marks, ok bool) {
	day := total / 365.25
	if sum := stat.Mean(sh.Delta[:]) * 24; sh.Known && sum > 0 {
		day = sum
	}
	if s.Fine == nil || day <= 0 {
		return v, car, false
	}
	car = s.marksOf(func(p pulse) bool { return p.kw >= rectangleKW && p.minutes >= rectangleMinutes })
	if !car.known {
		return v, car, false
	}
	step := float32(s.Fine.step)
	water := s.marksOf(func(p pulse) bool { return p.kw >= burstKW && p.kw <= waterMostKW && p.minutes <= burstMinutes+step })
	carries := func(m *marks) float64 { return ramp(m.kwhDay/day, 0.3, fineShare) }
	if score := water.burstScore() * carries(&water); score >= 0.5 {
		return Verdict{WaterHeating, "bursts", score,
			fmt.Sprintf("bursts of %.1f kW for about %.0f minutes, always of one height, on %.0f %% of the days", water.kw, water.minutes, 100*water.days)}, car, true
	}
	block := s.marksOf(func(p pulse) bool { return p.kw >= burstKW && p.kw <= waterMostKW })
	if score := block.blockScore(s.Fine.step) * carries(&block); score >= 0.5 {
		return Verdict{WaterHeating, "controlled_load", score,
			fmt.Sprintf("one block of %.1f kW a day, from about %s on %d days, of like energy", block.kw, s.Fine.clockOf(block.start), block.startDays)}, car, true
	}
	if score := car.carShape() * carries(&car); score >= 0.5 {
		return Verdict{EV, "", score,
			fmt.Sprintf("rectangles of %.1f kW for about %.1f hours, %.0f in 30 days against %.0f before, that rise within one interval and keep their level to 10 %%",
				car.kw, car.minutes/60, car.month, car.monthBefore)}, car, true
	}
	return v, car, false
}

// burstScore: constant height, at least as many as days, most days.
func (m *marks) burstScore() float64 {
	if !m.known || m.monthBefore > 0.5*m.month {
		return 0
	}
	return ramp(m.days, 0.5, 0.75) * ramp(0.25-m.spread, 0, 0.10)
}

// blockScore: one block at the same start nearly every day between evening and
// morning, its energy within 30 %.
func (m *marks) blockScore(stepMinutes int) float64 {
	hour := m.start * stepMinutes / 60
	if !m.known || m.monthBefore > 0.5*m.month || (hour >= 7 && hour < 20) || m.startDays < timerDays {
		return 0
	}
	return ramp(m.sameStart, 0.6, 0.85) * ramp(0.25-m.spread, 0, 0.10) * ramp(1.5*blockEnergySpread-m.energySpread, 0, 0.5*blockEnergySpread)
}

func (r *Fine) clockOf(slot int) string {
	m := slot * r.step
	return fmt.Sprintf("%02d:%02d", m/60, m%60)
}

// Probable causes of an event, as the contract names them; water_heating is
// added to its list.
const (
	EV           = "ev_charging"
	HeatPump     = "heat_pump"
	Cooling      = "cooling"
	PoolPump     = "pool_pump"
	WaterHeating = "water_heating"
	Baseload     = "baseload"
	Departure    = "departure"
	Other        = "other"
)

// Words says a kind in words.
var Words = map[string]string{
	EV: "an electric car charging at home", HeatPump: "a heat pump or other electric space heating",
	Cooling: "new or more air conditioning", PoolPump: "a pool pump on a timer",
	WaterHeating: "electric water heating", Baseload: "a load that runs all the time",
	Departure: "someone moving out, or a load that left", Other: "a lasting change of the household",
}

// Verdict is the probable cause of a group, with its score.
type Verdict struct {
	Kind, Detail string
	Score        float64
	Because      string
}

// Name weighs the signatures of section 8.4 of the method (common practice)
// against a group's answer to weather and its shape over the day. The scores
// are ours: products of how far each mark is met; hourly data halve the
// confidence of what quarter hours would show.
//
// Out: the verdict, and where the finer readings date it better than the days:
// the day, and the first day that it may as well have come; -1: they do not.
func (s *Scene) Name(sh *Shape) (v Verdict, day, low int) {
	e := s.Group.Yearly(s.Columns)
	if total := e.Total(); total < 0 {
		return s.departure(sh, total), -1, -1
	}
	v, car, ok := s.byRectangles(sh, e.Total())
	if !ok {
		v = s.byShape(sh, e, &car)
	}
	if v.Kind == EV && car.known {
		if day, low, ok := s.firstRectangle(&car); ok {
			return v, day, low
		}
	}
	return v, -1, -1
}

func (s *Scene) departure(sh *Shape, total float64) Verdict {
	detail := "use_fell"
	says := fmt.Sprintf("consumption fell by %.0f kWh a year", -total)
	if sh.Known && sh.likeBefore > 0.5 {
		detail, says = "moved_out", says+" in all hours alike, as when someone moves out"
	}
	return Verdict{Departure, detail, float64(ramp(-total/(s.Days.MeanKWh()*365.25), 0.05, 0.25)*0.5) + 0.5, says}
}

// byShape names a group from its answer to weather and its hours.
func (s *Scene) byShape(sh *Shape, e change.Energy, car *marks) Verdict {
	total := e.Total()
	best := Verdict{Kind: Other, Score: 0.3, Because: "consumption changed for good and no known pattern fits"}
	consider := func(kind, detail string, score float64, because string, args ...any) {
		if score > best.Score {
			best = Verdict{kind, detail, score, fmt.Sprintf(because, args...)}
		}
	}
	coldShare, heatShare, baseShare := max(e.Cold, 0)/total, max(e.Heat+e.Summer, 0)/total, max(e.Level, 0)/total
	seen := ramp(s.Group.SeenAfter(s.Columns, s.Days), 0, 0.08) // a few cold days are no winter
	sessions := s.sessions(sh)
	blurred := 1.0
	if s.Days.N()-s.Group.Day < youngDays {
		blurred = 1 - float64(0.75*sessions)
	}
	consider(HeatPump, "", blurred*seen*ramp(coldShare, 0.3, 0.6)*ramp(e.Cold, 500, 1500), "%.0f kWh a year more in cold weather", e.Cold)
	consider(Cooling, "", seen*ramp(heatShare, 0.3, 0.6)*ramp(e.Heat, 150, 500), "%.0f kWh a year more in hot weather", e.Heat)
	if sh.Known {
		doubt := 1.0
		if car.known && sh.sessionKW >= rectangleKW && car.month-car.monthBefore < max(rectanglesAMonth/2, 0.2*30*sh.sessionDays) {
			doubt = 0.25 // charging this fast would show its rectangles
		}
		steady := ramp(baseShare, 0.4, 0.7)
		if s.Days.N()-s.Group.Day < youngDays {
			steady = 1
		}
		consider(EV, "", doubt*steady*sessions,
			"blocks of %.1f kW for %.1f hours on %.0f %% of the days, %.0f %% of it between 18 and 7 o'clock",
			sh.sessionKW, sh.sessionHours, 100*sh.sessionDays, 100*sh.nightShare)
		daytime := 0.0
		if sh.dayBlock {
			daytime = 1
		}
		consider(PoolPump, "", ramp(sh.regularity, 0.5, 0.8)*daytime*ramp(float64(14-sh.block), 0, 3),
			"a block of %d hours in the day that is on nearly every day", sh.block)
		consider(Baseload, "", ramp(baseShare, 0.5, 0.8)*ramp(sh.flatShare, 0.3, 0.6)*ramp(24*sh.baseRise*365/total, 0.3, 0.6),
			"the nightly minimum rose by %.0f W and all hours with it", 1000*sh.baseRise)
		consider(Other, "household_grown", 0.8*ramp(baseShare, 0.4, 0.7)*ramp(sh.likeBefore, 0.4, 0.8),
			"consumption rose in all hours in the shape it had before, as when a household grows")
	}
	if best.Kind == PoolPump {
		if start, days, of := s.timer(sh); days >= timerDays {
			best.Because += fmt.Sprintf(", and starts at %s, give or take one interval, on %d of %d days", start, days, of)
			best.Score = max(best.Score, ramp(float64(days)/float64(of), 0.3, 0.6))
		}
	}
	return best
}

// youngDays is how long a change must have stood for its answer to the weather to be
// told from its level: before, a car that came in a winter looks like heating (our
// choice: about a season and a half).
const youngDays = 120

// sessions is how much the hours look like blocks of some kW on some days, 0 to 1.
func (s *Scene) sessions(sh *Shape) float64 {
	if !sh.Known {
		return 0
	}
	return ramp(sh.sessionDays, 0.08, 0.25) * ramp(sh.sessionShare, 0.3, 0.6) *
		(0.55 + float64(0.45*ramp(sh.nightShare, 0.3, 0.6))) // a car at a solar home may charge at noon
}

// ramp rises from 0 at lo to 1 at hi.
func ramp(x, lo, hi float64) float64 { return min(max((x-lo)/(hi-lo), 0), 1) }
