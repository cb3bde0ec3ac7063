package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"rowen/analyze"
	"rowen/analyze/demand"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// until is a source whose readings end at an hour.
type until struct {
	ingest.Source
	end ingest.Hour
}

func (u until) Load(id string, s *ingest.Series) error {
	if err := u.Source.Load(id, s); err != nil {
		return err
	}
	n := max(0, min(s.Len(), int(u.end-s.Start)))
	if n == 0 {
		return ingest.ErrNoReadings
	}
	for c := range s.Wh {
		if s.Wh[c] != nil {
			s.Wh[c] = s.Wh[c][:n:n]
		}
	}
	if s.Estimated != nil {
		s.Estimated = s.Estimated[:n]
	}
	if f := s.Fine; f != nil {
		cut := *f
		m := max(0, int(u.end-f.Start)*60/f.StepMinutes)
		for c := range cut.Wh {
			if len(cut.Wh[c]) > m {
				cut.Wh[c] = cut.Wh[c][:m:m]
			}
		}
		s.Fine = &cut
	}
	return nil
}

// movedBy is how far an event may move from one month end to the next.
const movedBy = 31 * 24 * time.Hour

// steadiness counts what becomes of what is said from one month end to the
// next.
type steadiness struct {
	pairs, vanished, moved, renamed, fleeting int
	years, outside                            int // next year's consumption against the interval of the month before
	lines                                     []string
}

// flicker judges an invented fleet at successive month ends.
func flicker(w io.Writer, o demo.Options, ends, named int) error {
	made := demo.Make(o)
	t, err := steadyOver(made.Fleet(), made.Source(), analyze.Month{Year: 2026, Month: 10}, ends)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "seed %d, %d sites at %d month ends: ", o.Seed, o.Sites, ends)
	t.print(w, named)
	return nil
}

// steadyOver judges a fleet at the month ends up to last.
func steadyOver(register *ingest.Fleet, source ingest.Source, last analyze.Month, ends int) (*steadiness, error) {
	said := make([]map[string]demand.Result, ends) // oldest first
	for k := range ends {
		set := settings()
		at := time.Date(last.Year, last.Month, 1, 0, 0, 0, 0, time.UTC).AddDate(0, k-ends+1, 0)
		set.Month = analyze.Month{Year: at.Year(), Month: at.Month()}
		said[k] = map[string]demand.Result{}
		cut := until{source, ingest.HourOf(set.Month.End(register.At(0).Location))}
		if err := judge(register, cut, set, func(f *analyze.Finding) {
			r := f.Demand
			r.Events = slices.Clone(r.Events)
			said[k][f.Site.ID] = r
		}); err != nil {
			return nil, err
		}
	}
	t := &steadiness{}
	for k := 1; k < ends; k++ {
		for _, id := range slices.Sorted(maps.Keys(said[k])) {
			var next []demand.Event
			if k+1 < ends {
				next = said[k+1][id].Events
			}
			t.compare(fmt.Sprintf("%s at end %d of %d", id, k+1, ends), said[k-1][id], said[k][id], next, k+1 < ends)
		}
	}
	return t, nil
}

// compare holds a site's month end against the one before.
func (t *steadiness) compare(name string, before, now demand.Result, next []demand.Event, hasNext bool) {
	for _, e := range before.Events {
		t.pairs++
		i, off := nearest(now.Events, e)
		switch {
		case i < 0 || off > 4*movedBy:
			t.vanished++
			t.lines = append(t.lines, fmt.Sprintf("%s vanished: %s; now %s", name, describe([]demand.Event{e}), describe(now.Events)))
		case off > movedBy:
			t.moved++
			t.lines = append(t.lines, fmt.Sprintf("%s moved: %s; now %s", name, describe([]demand.Event{e}), describe(now.Events)))
		case now.Events[i].Kind != e.Kind:
			t.renamed++
			t.lines = append(t.lines, fmt.Sprintf("%s renamed: %s; now %s", name, describe([]demand.Event{e}), describe(now.Events)))
		}
	}
	for _, e := range now.Events {
		if _, was := nearest(before.Events, e); hasNext && was > 4*movedBy {
			if _, will := nearest(next, e); will > 4*movedBy {
				t.fleeting++
				t.lines = append(t.lines, fmt.Sprintf("%s for one month only: %s", name, describe([]demand.Event{e})))
			}
		}
	}
	if before.Refusal == "" && now.Refusal == "" {
		t.years++
		if now.NextYearKWh < before.NextYearLow || now.NextYearKWh > before.NextYearHigh {
			t.outside++
		}
	}
}

// nearest is the event nearest in time, and how far it is.
func nearest(events []demand.Event, e demand.Event) (at int, off time.Duration) {
	at, off = -1, 1<<62
	for i := range events {
		if d := events[i].On.Sub(e.On).Abs(); d < off {
			at, off = i, d
		}
	}
	return at, off
}

func (t *steadiness) print(w io.Writer, named int) {
	pct := func(n int) float64 { return 100 * float64(n) / float64(max(t.pairs, 1)) }
	fmt.Fprintf(w, "of %d events said, a month later %d had vanished, %d moved by more than 31 days, %d changed their kind (%.1f %%); %d were there for one month only; next year's consumption moved by more than its interval in %d of %d months (%.1f %%)\n",
		t.pairs, t.vanished, t.moved, t.renamed, pct(t.vanished+t.moved+t.renamed), t.fleeting, t.outside, t.years, 100*float64(t.outside)/float64(max(t.years, 1)))
	for i, line := range t.lines {
		if i == named {
			fmt.Fprintf(w, "  ... %d more (-named)\n", len(t.lines)-i)
			break
		}
		fmt.Fprintln(w, "  "+line)
	}
}
