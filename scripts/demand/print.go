package main

import (
	"fmt"
	"io"
	"slices"
	"sort"

	"rowen/analyze/stat"
)

func (t *tally) print(w io.Writer) {
	fmt.Fprintf(w, "sites %d, refused %d; judged %v\n", t.sites, t.refused, sorted(t.byMethod))
	fmt.Fprintf(w, "%-14s %6s %6s %6s %6s\n", "event", "truth", "found", "hit", "F1")
	var kinds []string
	for k := range t.byKind {
		kinds = append(kinds, k)
	}
	sort.Strings(kinds)
	for _, k := range kinds {
		v := t.byKind[k]
		fmt.Fprintf(w, "%-14s %6d %6d %6d %6.3f\n", k, v.truth, v.found, v.hit, v.f1())
	}
	fmt.Fprintf(w, "false events: on %d of %d sites without one (%.1f %%)\n", t.falseOn, t.without, 100*float64(t.falseOn)/float64(max(t.without, 1)))
	fmt.Fprintf(w, "growth: median error %.2f points a year (sites without events %.2f), 90 %% interval holds the truth on %.1f %% of %d (without events %.1f %% of %d), median half width %.2f\n",
		stat.Median(t.growthErr), stat.Median(t.growthErrPlain),
		100*float64(t.covered)/float64(max(t.judged, 1)), t.judged, 100*float64(t.coveredPlain)/float64(max(t.judgedPlain, 1)), t.judgedPlain, stat.Median(t.halfWidth))
	fmt.Fprintf(w, "next year: median error %.1f %%, 90th percentile %.1f %%, interval holds the truth on %.1f %%\n",
		stat.Median(t.nextErr), stat.Quantile(t.nextErr, 0.9), 100*float64(t.nextCovered)/float64(max(len(t.nextErr), 1)))
	fmt.Fprintln(w, "what became of each event (truth, found):")
	var pairs [][2]string
	for p := range t.confusion {
		pairs = append(pairs, p)
	}
	slices.SortFunc(pairs, func(a, b [2]string) int {
		if a[0] != b[0] {
			if a[0] < b[0] {
				return -1
			}
			return 1
		}
		return t.confusion[b] - t.confusion[a]
	})
	for _, p := range pairs {
		fmt.Fprintf(w, "  %-13s %-13s %d\n", p[0], p[1], t.confusion[p])
	}
	fmt.Fprintf(w, "failures: %d\n", len(t.failures))
	for i, f := range t.failures {
		if i == t.named {
			fmt.Fprintf(w, "  ... %d more (-named)\n", len(t.failures)-i)
			break
		}
		fmt.Fprintln(w, "  "+f)
	}
}

func sorted(m map[string]int) string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	text := ""
	for _, k := range keys {
		text += fmt.Sprintf("%s %d  ", k, m[k])
	}
	return text
}
