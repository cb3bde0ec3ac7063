package main

import (
	"fmt"
	"io"
	"math"
)

// ends is at how many successive month ends a home is judged.
const (
	ends       = 10
	sameWithin = 31 // days: an event that moves further is another
)

// flickers judges real homes and transplants at ten successive month ends: of
// the pairs of neighboring months, how many events vanish, appear for one month,
// change their kind or move, and how often the coming year moves by more than
// its own interval.
func flickers(w io.Writer, homes []*home, cars []planted, judge judgeFunc) error {
	var all []*home
	var names []string
	for _, h := range homes {
		if !h.made && h.days() >= 365+(ends-1)*30 {
			all, names = append(all, h), append(names, h.name)
		}
	}
	for i := range cars {
		if cars[i].days() >= 328+(ends-1)*30 {
			all, names = append(all, cars[i].home), append(names, cars[i].source+" with a car")
		}
	}
	var cuts []*home
	for _, h := range all {
		for k := range ends {
			cuts = append(cuts, h.cut(0, h.days()-(ends-1-k)*30))
		}
	}
	answers := parallel(cuts, judge)
	pairs, vanished, once, kinds, moved, years, jumps := 0, 0, 0, 0, 0, 0, 0
	for i := range all {
		months := answers[i*ends : (i+1)*ends]
		for k := range ends - 1 {
			now, next := &months[k], &months[k+1]
			if !math.IsNaN(now.next) && !math.IsNaN(next.next) {
				years++
				if next.next < now.nextLow || next.next > now.nextH {
					jumps++
				}
			}
			for _, e := range now.events {
				pairs++
				f := closest(e, next.events)
				switch {
				case f == nil:
					vanished++
					if k > 0 && closest(e, months[k-1].events) == nil {
						once++
					}
				case abs(f.day-e.day) > sameWithin:
					moved++
				case f.kind != e.kind:
					kinds++
				default:
					continue
				}
				fmt.Fprintf(w, "  %s, end %d of %d: %v, then %v\n", names[i], k+1, ends, e, next.events)
			}
		}
	}
	bad := vanished + kinds + moved
	fmt.Fprintf(w, "%d homes at %d month ends: %d events with a month after; vanished %d (for one month only %d), kind changed %d, moved by more than %d days %d: %.1f %%\n",
		len(all), ends, pairs, vanished, once, kinds, sameWithin, moved, 100*float64(bad)/float64(max(pairs, 1)))
	fmt.Fprintf(w, "the coming year moved by more than its own interval in %d of %d months (%.1f %%)\n", jumps, years, 100*float64(jumps)/float64(max(years, 1)))
	return nil
}

// closest is the event of the same direction nearest in date, within half a year.
func closest(e said, events []said) *said {
	var best *said
	for k := range events {
		f := &events[k]
		if e.kwh*f.kwh > 0 && abs(f.day-e.day) <= 182 && (best == nil || abs(f.day-e.day) < abs(best.day-e.day)) {
			best = f
		}
	}
	return best
}
