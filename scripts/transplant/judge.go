package main

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/demand"
	"rowen/analyze/demand/pulse"
)

// said is an event as judged, days counted from the home's first day.
type said struct {
	day, low, top        int
	kind                 string
	kwh, kwhLow, kwhHigh float64
	score                float64
}

func (s said) String() string {
	return fmt.Sprintf("[%s day %d (%d..%d) %.0f kWh score %.2f]", s.kind, s.day, s.low, s.top, s.kwh, s.score)
}

// judged is what is said of one home.
type judged struct {
	events               []said
	next, nextLow, nextH float64 // the coming year, kWh; NaN: refused
	refused              bool
}

type judgeFunc func(h *home) judged

// judgeDemand judges at the product's defaults.
func judgeDemand(h *home) judged {
	r := demand.Assess(h.input())
	out := judged{next: r.NextYearKWh, nextLow: r.NextYearLow, nextH: r.NextYearHigh, refused: r.Refusal != ""}
	at := func(t time.Time) int { return int(math.Round(t.Sub(h.first).Hours() / 24)) }
	for _, e := range r.Events {
		out.events = append(out.events, said{at(e.On), at(e.OnLow), at(e.OnHigh), e.Kind, e.KWhYr, e.KWhYrLow, e.KWhYrHigh, e.Score})
	}
	return out
}

// judgeRaw judges by the search for pulses alone.
func judgeRaw(h *home) judged {
	v := pulse.Intervals{PerDay: h.slots(), FirstDay: int(h.first.Unix() / 86400), KW: make([]float64, len(h.kwh))}
	for i, x := range h.kwh {
		v.KW[i] = x * 60 / float64(h.step)
	}
	if h.tempC != nil {
		v.Cold, v.Hot = make([]float64, h.days()), make([]float64, h.days())
		for d := range v.Cold {
			sum := 0.0
			for _, t := range h.tempC[d*24 : d*24+24] {
				sum += t / 24
			}
			v.Cold[d], v.Hot[d] = math.Max(15-sum, 0), math.Max(sum-20, 0)
		}
	}
	out := judged{next: math.NaN()}
	for _, a := range pulse.Find(&v, pulse.Came, pulse.Left) {
		kind := "ev_charging"
		if a.Left {
			kind, a.KWhYr = "departure", -a.KWhYr
		}
		out.events = append(out.events, said{a.Day, a.Low, a.Top, kind, a.KWhYr, a.KWhYr, a.KWhYr, a.Score})
	}
	return out
}
