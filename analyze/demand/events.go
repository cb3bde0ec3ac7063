package demand

import (
	"fmt"

	"rowen/analyze/demand/change"
	"rowen/analyze/demand/load"
	"rowen/ingest"
)

// eventsOf names the groups of a household's story.
func eventsOf(h *household, s *change.Story) []Event {
	out := make([]Event, 0, len(s.Groups))
	home := load.Home{Calendar: h.calendar, Days: s.Days, Columns: &s.Columns}
	if !h.onlyDaily() {
		home.Wh = h.wh
	}
	if len(s.Groups) > 0 {
		home.Fine = h.fine()
	}
	for k := range s.Groups {
		if e := eventOf(h, s, load.SceneOf(&home, s.Groups, k), s.SDKWhYr[k]); !h.atSeam(e) {
			out = append(out, e)
		}
	}
	return out
}

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

func eventOf(h *household, s *change.Story, scene load.Scene, sd float64) Event {
	g := scene.Group
	shape := scene.Shape()
	v, day, low := scene.Name(&shape)
	e := Event{
		On: h.calendar.DayBegin(g.Day), OnLow: h.calendar.DayBegin(g.Low), OnHigh: h.calendar.DayBegin(g.Top),
		Kind: v.Kind, Detail: v.Detail, Score: v.Score, KWhYr: g.Yearly(&s.Columns).Total(), Live: true,
	}
	e.profile = profileOf(g, &shape, e.KWhYr < 0)
	if day >= 0 {
		e.On, e.OnLow, e.OnHigh = h.calendar.DayBegin(day), h.calendar.DayBegin(low), h.calendar.DayBegin(day)
		e.profile.day = day
	}
	since := e.On.Format("2006-01-02")
	if h.name == BasisBills {
		low, high := h.billsAround(g)
		e.OnLow, e.OnHigh = h.calendar.DayBegin(low), h.calendar.DayBegin(high)
		since += ", as far as bills tell"
	}
	e.Says = fmt.Sprintf("Since about %s: pattern consistent with %s (%s).", since, load.Words[v.Kind], v.Because)
	half := 1.645 * sd
	e.KWhYrLow, e.KWhYrHigh = e.KWhYr-half, e.KWhYr+half
	return e
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
