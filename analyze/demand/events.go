package demand

import (
	"fmt"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/fit"
	"rowen/analyze/demand/load"
	"rowen/analyze/demand/pulse"
	"rowen/ingest"
)

// eventsOf names the groups of a household's story.
func eventsOf(h *household, s *change.Story, rates []pulse.Change) []Event {
	out := make([]Event, 0, len(s.Groups))
	home := load.Home{Calendar: h.calendar, Days: s.Days, Columns: &s.Columns}
	if !h.onlyDaily() {
		home.Wh = h.wh
	}
	if len(s.Groups) > 0 {
		home.Fine = h.fine()
	}
	for k := range s.Groups {
		if e := eventOf(h, s, load.SceneOf(&home, s.Groups, k), s.SDKWhYr[k], rates); !h.atSeam(e) {
			out = append(out, e)
		}
	}
	return out
}

// unseenWeather is the most that a load known by its answer to the weather scores
// where neither a thermometer nor other homes tell the weather (our choice: a real
// home's use rose one July and stayed up through the winter, and passed for
// cooling).
const unseenWeather = 0.6

// seamDays: a change dated this close to where the meters change may be theirs (our
// choice).
const seamDays = 45

// atSeam tells whether an event lies where the meters that tell consumption
// change and were never compared: its step stays in the fit, but nobody can say
// that it is the household's.
func (h *household) atSeam(e Event) bool {
	for _, s := range h.seams {
		at := s.At.Time()
		if !s.Compared && !e.OnLow.AddDate(0, 0, -seamDays).After(at) && !e.OnHigh.AddDate(0, 0, seamDays).Before(at) {
			return true
		}
	}
	return false
}

func eventOf(h *household, s *change.Story, scene load.Scene, sd float64, rates []pulse.Change) Event {
	g := scene.Group
	shape := scene.Shape()
	v, day, low := scene.Name(&shape)
	if v.Kind == KindDeparture && h.name == BasisNet {
		v = load.Verdict{Kind: KindOther, Detail: "net_fell", Score: 0.3, Because: "net consumption fell: a load that left, or an array that grew"}
	}
	if s.Columns.Method == fit.MethodCalendar && (v.Kind == KindHeatPump || v.Kind == KindCooling) {
		v.Score = min(v.Score, unseenWeather)
	}
	pulses := stepOf(rates, g)
	if pulses != nil {
		v = ofPulses(v, pulses, scene.Fine)
	} else if v.Kind == KindEV {
		pulses = arrivalNear(rates, g, &s.Columns)
	}
	e := Event{
		On: h.calendar.DayBegin(g.Date(&s.Columns)), OnLow: h.calendar.DayBegin(g.Low), OnHigh: h.calendar.DayBegin(g.Top),
		Kind: v.Kind, Detail: v.Detail, Score: v.Score, KWhYr: g.Yearly(&s.Columns).Total(), Live: true, Doubtful: g.Doubtful(),
	}
	e.profile = profileOf(g, &shape, e.KWhYr < 0)
	half := float64(1.645 * sd)
	e.KWhYrLow, e.KWhYrHigh = e.KWhYr-half, e.KWhYr+half
	switch {
	case pulses != nil:
		h.dateByRate(&e, pulses, half)
	case day >= 0:
		e.On, e.OnLow, e.OnHigh = h.calendar.DayBegin(day), h.calendar.DayBegin(low), h.calendar.DayBegin(day)
		e.profile.day = day
	}
	if unnamed(v) {
		share := seenShare(s, g, &e.profile)
		e.KWhYr, e.KWhYrLow, e.KWhYrHigh = share*e.KWhYr, share*e.KWhYrLow, share*e.KWhYrHigh
	}
	far := ""
	if h.name == BasisBills {
		low, high := h.billsAround(g)
		e.OnLow, e.OnHigh = h.calendar.DayBegin(low), h.calendar.DayBegin(high)
		far = ", as far as bills tell"
	}
	e.Says = says(&e, far, &v)
	if e.Doubtful {
		e.Score *= doubtfulScore
		e.Says += " The latest months leave it in doubt."
	}
	return e
}

// says is an event as a sentence; far: how well its date is known.
func says(e *Event, far string, v *load.Verdict) string {
	return fmt.Sprintf("Since about %s%s: pattern consistent with %s (%s).", e.On.Format("2006-01-02"), far, load.Words[v.Kind], v.Because)
}

// fine are the readings finer than an hour of what counts as consumption; nil:
// none, or net consumption (the array's output is in it).
func (h *household) fine() *load.Fine {
	if h.in.Series == nil || h.in.Series.Fine == nil || !h.gross {
		return nil
	}
	f := h.in.Series.Fine
	return load.ReadFine(h.calendar, f, h.fineWh(f))
}

// fineWh is the consumption by native interval, Wh, on the basis chosen; nil: a
// channel of it has no finer readings.
func (h *household) fineWh(f *ingest.Fine) []float32 {
	if h.name == BasisMeter {
		return append([]float32(nil), f.Wh[ingest.Consumption]...)
	}
	production, imported, exported := f.Wh[ingest.Production], f.Wh[ingest.Import], f.Wh[ingest.Export]
	if production == nil || imported == nil || exported == nil {
		return nil
	}
	out := make([]float32, min(len(production), len(imported), len(exported)))
	for i := range out {
		out[i] = production[i] + imported[i] - exported[i]
	}
	return out
}

// doubtfulScore is what is left of the score of an event that was clear at an
// earlier month end and is not now: our choice.
const doubtfulScore = 0.5

// unnamed tells that nothing says a change lasts over the year: no load is known
// by its marks, and nobody is seen to come or go in all hours alike.
func unnamed(v load.Verdict) bool {
	return (v.Kind == KindOther && v.Detail == "") || (v.Kind == KindDeparture && v.Detail == "use_fell")
}

// seenDays is how near in the year a day must have been read after a change for
// the change to be taken to hold on it: our choice.
const seenDays = 45

// seenShare keeps in p the days of the year on which a group has been seen, and
// gives their share of its energy: a summer's doubling is not next year's winter.
func seenShare(s *change.Story, g *change.Group, p *profile) float64 {
	d := s.Days
	seen := make([]bool, 365)
	for k := g.Day; k < d.N(); k++ {
		if d.Counted[k] {
			for off := -seenDays; off <= seenDays; off++ {
				seen[((k+off)%365+365)%365] = true
			}
		}
	}
	p.seen = seen
	sum, all := 0.0, 0.0
	for k := max(0, d.N()-365); k < d.N(); k++ {
		kwh := 0.0
		for _, part := range g.Parts {
			kwh += float64(part.Beta * s.Columns.Answers[part.Column].Normal[k])
		}
		all += kwh
		if seen[k%365] {
			sum += kwh
		}
	}
	if sum*all <= 0 {
		return 1
	}
	return min(sum/all, 1)
}

// profileOf is how a group lies over the hours.
func profileOf(g *change.Group, sh *load.Shape, falls bool) profile {
	p := profile{day: g.Day, parts: g.Parts}
	sum := 0.0
	for h := range p.share {
		v := plainDay[h]
		if sh.Known {
			v = sh.Delta[h]
			if falls {
				v = -v
			}
			v = max(v, 0)
		}
		p.share[h] = v
		sum += v
	}
	for h := range p.share {
		if sum > 0 {
			p.share[h] /= sum
		} else {
			p.share[h] = plainDay[h]
		}
	}
	return p
}
