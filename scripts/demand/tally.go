package main

import (
	"fmt"
	"math"
	"time"

	"rowen/analyze/demand"
	"rowen/ingest/demo"
)

// dateTolerance is how near a date must be found.
const dateTolerance = 14 * 24 * time.Hour

// tally is what came of all fleets.
type tally struct {
	named int

	sites, refused            int
	byKind                    map[string]*kindTally
	without, falseOn          int // sites without a lasting event, and those of them with one reported
	growthErr                 []float64
	covered, judged           int
	growthErrPlain            []float64
	coveredPlain, judgedPlain int
	nextErr                   []float64
	nextCovered               int
	confusion                 map[[2]string]int
	failures                  []string
	halfWidth                 []float64
	byMethod                  map[string]int
}

type kindTally struct{ truth, found, hit int }

func (k *kindTally) f1() float64 {
	if k.truth+k.found == 0 {
		return math.NaN()
	}
	return 2 * float64(k.hit) / float64(k.truth+k.found)
}

// flaws lists what is wrong with a site's readings.
func flaws(t demo.Truth) string {
	text := ""
	for _, f := range t.Flaws {
		text += fmt.Sprintf(" %s %s..%s", f.Code, f.From.Time().Format("060102"), f.To.Time().Format("060102"))
	}
	return text
}

// lasting are a truth's events that are lasting changes: a long absence is
// none.
func lasting(t demo.Truth) []demo.Event {
	var out []demo.Event
	for _, e := range t.Events {
		if e.Kind != "absence" {
			out = append(out, e)
		}
	}
	return out
}

func newTally(named int) *tally {
	return &tally{named: named, byKind: map[string]*kindTally{}, confusion: map[[2]string]int{}, byMethod: map[string]int{}}
}

func (t *tally) kind(k string) *kindTally {
	if t.byKind[k] == nil {
		t.byKind[k] = &kindTally{}
	}
	return t.byKind[k]
}

func (t *tally) add(a answer, seed uint64) {
	t.sites++
	r := &a.result
	name := fmt.Sprintf("seed %d %s (%s, %s%s)", seed, a.truth.SiteID, r.Basis, r.Method, flaws(a.truth))
	if r.Refusal != "" {
		t.refused++
		return
	}
	t.byMethod[r.Basis+"/"+r.Method]++
	truth := lasting(a.truth)
	if len(truth) == 0 {
		t.without++
		if len(r.Events) > 0 {
			t.falseOn++
			t.fail("%s: false event %s; growth %.1f %%", name, describe(r.Events), a.truth.GrowthPctYr)
		}
	}
	t.events(name, r, truth)
	t.growth(name, &a, len(truth) == 0)
	t.next(name, &a)
}

// events counts what was found of the truth.
func (t *tally) events(name string, r *demand.Result, truth []demo.Event) {
	used := make([]bool, len(r.Events))
	counted := map[int]string{}
	for _, e := range truth {
		k := t.kind(e.Kind)
		k.truth++
		hit, as := false, "missed"
		for i := range r.Events {
			if used[i] || !near(&r.Events[i], e) {
				continue
			}
			as, used[i] = r.Events[i].Kind, true
			if hit = same(as, e.Kind); hit {
				counted[i] = e.Kind
			}
			break
		}
		t.confusion[[2]string{e.Kind, as}]++
		if hit {
			k.hit++
		} else {
			t.fail("%s: %s of %s, %.0f kWh a year (%.0f seen; %s): got %s", name, e.Kind, e.On.Format("2006-01-02"), e.KWhYr, e.SeenKWh, e.Says, describe(r.Events))
		}
	}
	for i, e := range r.Events {
		if k, ok := counted[i]; ok {
			t.kind(k).found++ // tenants' change has no kind of its own: any event at its date is a find
			continue
		}
		t.kind(e.Kind).found++
		if len(truth) > 0 {
			t.fail("%s: extra event %s; true: %s of %s", name, describe(r.Events[i:i+1]), truth[0].Kind, truth[0].On.Format("2006-01-02"))
		}
	}
}

// near tells whether a found event has the truth's date: within 14 days, or,
// for a load that sleeps until its season comes, with the truth inside the
// range that the finding gives.
func near(e *demand.Event, truth demo.Event) bool {
	if d := e.On.Sub(truth.On).Abs(); d <= dateTolerance {
		return true
	}
	seasonal := truth.Kind == "heat_pump" || truth.Kind == "cooling" || truth.Kind == "pool_pump"
	return seasonal && !truth.On.Before(e.OnLow.Add(-dateTolerance)) && !truth.On.After(e.OnHigh.Add(dateTolerance))
}

func same(found, truth string) bool { return found == truth || truth == "tenants" }

func describe(events []demand.Event) string {
	if len(events) == 0 {
		return "nothing"
	}
	text := ""
	for _, e := range events {
		text += fmt.Sprintf("[%s %s (%s..%s) %.0f kWh score %.2f] ", e.Kind, e.On.Format("2006-01-02"), e.OnLow.Format("060102"), e.OnHigh.Format("060102"), e.KWhYr, e.Score)
	}
	return text
}

func (t *tally) growth(name string, a *answer, plain bool) {
	r := &a.result
	if math.IsNaN(r.GrowthPctYr) {
		return
	}
	err := r.GrowthPctYr - a.truth.GrowthPctYr
	in := a.truth.GrowthPctYr >= r.GrowthLow && a.truth.GrowthPctYr <= r.GrowthHigh
	t.growthErr = append(t.growthErr, math.Abs(err))
	t.halfWidth = append(t.halfWidth, (r.GrowthHigh-r.GrowthLow)/2)
	t.judged++
	if in {
		t.covered++
	}
	if plain {
		t.growthErrPlain = append(t.growthErrPlain, math.Abs(err))
		t.judgedPlain++
		if in {
			t.coveredPlain++
		}
	}
	if math.Abs(err) > 5 {
		t.fail("%s: growth %.1f (%.1f..%.1f), truth %.1f %%; events %s", name, r.GrowthPctYr, r.GrowthLow, r.GrowthHigh, a.truth.GrowthPctYr, describe(r.Events))
	}
}

func (t *tally) next(name string, a *answer) {
	r := &a.result
	if a.truth.NextYearKWh <= 0 {
		return
	}
	err := 100 * (r.NextYearKWh/a.truth.NextYearKWh - 1)
	t.nextErr = append(t.nextErr, math.Abs(err))
	if a.truth.NextYearKWh >= r.NextYearLow && a.truth.NextYearKWh <= r.NextYearHigh {
		t.nextCovered++
	}
	if math.Abs(err) > 12 {
		t.fail("%s: next year %.0f, truth %.0f (%.0f %% off); events %s", name, r.NextYearKWh, a.truth.NextYearKWh, err, describe(r.Events))
	}
}

func (t *tally) fail(format string, args ...any) {
	t.failures = append(t.failures, fmt.Sprintf(format, args...))
}
