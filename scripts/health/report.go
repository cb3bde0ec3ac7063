package main

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// sick are the codes by which an array is called sick; clipping is how it was
// built, and a dead meter is no fault of the array.
func sick(code string) bool { return code != array.Clipping && code != array.MeterDead }

// tally is what became of the faults of one kind.
type tally struct {
	n, found, named int
	onset           []float64
	ranged          int // true onset within the stated range, a day either way
	loss            []float64
	missed          []string
	misnamed        []string
	late            []string // whose onset is more than ten days off
}

// health prints how well faults are found.
func health(w io.Writer, all []judged, verbose bool) {
	soundness(w, all, verbose)
	by, big := tallies(all)
	fmt.Fprintf(w, "arrays that lost a tenth or more for two months: %d of %d found = %.1f %% (wanted: at least 95)\n", big.found, big.n, pct(big.found, big.n))
	list(w, big.missed, 12, verbose)
	within := 0
	for _, e := range big.onset {
		if math.Abs(e) <= 10 {
			within++
		}
	}
	fmt.Fprintf(w, "onset of those (slides apart): %d dated, %d within 10 days = %.1f %%, median error %.1f days, 95 %% below %.1f days; true day within the stated range %.0f %%\n\n",
		len(big.onset), within, pct(within, len(big.onset)), medianAbs(big.onset), quantileAbs(big.onset, 0.95), pct(big.ranged, len(big.onset)))
	if verbose {
		list(w, big.late, 40, true)
	}
	fmt.Fprintf(w, "%-22s %5s %6s %6s %18s %18s\n", "fault built in", "n", "found", "named", "onset days 50/95 %", "loss points 50/95 %")
	for _, c := range slices.Sorted(maps.Keys(by)) {
		a := by[c]
		fmt.Fprintf(w, "%-22s %5d %6d %6d %9.1f %8.1f %9.1f %8.1f\n", c, a.n, a.found, a.named,
			medianAbs(a.onset), quantileAbs(a.onset, 0.95), medianAbs(a.loss), quantileAbs(a.loss, 0.95))
		if verbose {
			list(w, a.missed, 40, true)
			for _, what := range a.misnamed {
				fmt.Fprintf(w, "    another name: %s\n", what)
			}
		}
	}
	indices(w, all)
}

// soundness prints what was said of arrays that are well.
func soundness(w io.Writer, all []judged, verbose bool) {
	healthy, called, dead := 0, 0, 0
	var wrong []string
	for i := range all {
		j := &all[i]
		if len(j.truth.Faults) > 0 {
			continue
		}
		healthy++
		var codes []string
		for _, f := range j.result.Faults {
			if sick(f.Code) {
				codes = append(codes, fmt.Sprintf("%s %.0f%% on %s: %s", f.Code, f.LossPct, f.On.Format("2006-01-02"), f.Says))
			} else if f.Code == array.MeterDead && len(j.truth.Flaws) == 0 {
				dead++
			}
		}
		if len(codes) > 0 {
			called++
			wrong = append(wrong, fmt.Sprintf("%d/%s: %s", j.fleet, j.site.ID, strings.Join(codes, "; ")))
		}
	}
	fmt.Fprintf(w, "healthy arrays called sick: %d of %d = %.1f %% (wanted: at most 2)\n", called, healthy, pct(called, healthy))
	list(w, wrong, 12, verbose)
	off := clocksOff(all)
	fmt.Fprintf(w, "meters called dead without cause: %d; clocks called off: %d of %d (none is)\n", dead, len(off), len(all))
	list(w, off, 4, verbose)
}

// clocksOff lists the sites without flaws in their readings whose clock is called off.
func clocksOff(all []judged) (off []string) {
	for i := range all {
		j := &all[i]
		if len(j.truth.Flaws) > 0 {
			continue
		}
		for _, c := range j.result.Caveats {
			if c.Code == "clock_off" {
				off = append(off, fmt.Sprintf("%d/%s: %s; built in %s", j.fleet, j.site.ID, c.Says, built(j.truth.Faults)))
			}
		}
	}
	return off
}

// tallies counts the faults built in by kind, and those that took much.
func tallies(all []judged) (by map[string]*tally, big tally) {
	by = map[string]*tally{}
	for i := range all {
		j := &all[i]
		for _, t := range j.truth.Faults {
			a := by[t.Code]
			if a == nil {
				a = &tally{}
				by[t.Code] = a
			}
			found, named := match(t, j.result.Faults)
			what := fmt.Sprintf("%d/%s: %s loss %.1f %% from %s to %s; found %s", j.fleet, j.site.ID, t.Code, t.LossPct, date(t.On), date(t.Until), codes(j.result.Faults))
			a.add(t, found, named, what)
			if isBig(t, j) {
				big.addBig(t, found, what)
			}
		}
	}
	return by, big
}

func (a *tally) add(t demo.Fault, found, named *array.Fault, what string) {
	a.n++
	if found != nil {
		a.found++
	} else {
		a.missed = append(a.missed, what)
	}
	if found != nil && named == nil {
		a.misnamed = append(a.misnamed, what)
	}
	if named != nil {
		a.named++
		if !t.On.IsZero() && !named.On.IsZero() {
			a.onset = append(a.onset, named.On.Sub(t.On).Hours()/24)
		}
		a.loss = append(a.loss, named.LossPct-t.LossPct)
	}
}

func (a *tally) addBig(t demo.Fault, found *array.Fault, what string) {
	a.n++
	if found == nil {
		a.missed = append(a.missed, what)
		return
	}
	a.found++
	if t.On.IsZero() || found.On.IsZero() || t.Code == array.Decline {
		return
	}
	off := found.On.Sub(t.On).Hours() / 24
	if a.onset = append(a.onset, off); math.Abs(off) > 10 {
		a.late = append(a.late, fmt.Sprintf("onset off by %.0f days: %s", off, what))
	}
	if !t.On.Before(found.OnLow.AddDate(0, 0, -1)) && !t.On.After(found.OnHigh.AddDate(0, 0, 1)) {
		a.ranged++
	}
}

// indices prints how far index, trend and year are off.
func indices(w io.Writer, all []judged) {
	var healthy, index, year []float64
	worst, what := 0.0, ""
	for i := range all {
		j := &all[i]
		r := &j.result
		if j.truth.MendedKWhYr > 0 && r.Refusal == "" {
			year = append(year, 100*(r.ExpectedKWhYr/j.truth.MendedKWhYr-1))
		}
		if r.ProductionIndex != r.ProductionIndex {
			continue
		}
		if len(j.truth.Faults) == 0 {
			healthy = append(healthy, r.ProductionIndex)
		}
		if !(j.truth.MendedKWhYr > 0) || hasFault(j.truth, array.UnregisteredModules) || len(j.truth.Flaws) > 0 {
			continue
		}
		e := 100 * (r.ProductionIndex - j.truth.ProductionKWhYr/j.truth.MendedKWhYr)
		index = append(index, e)
		if math.Abs(e) > math.Abs(worst) {
			worst, what = e, fmt.Sprintf("%d/%s: %.3f, truly %.3f; built in %s, found %s", j.fleet, j.site.ID, r.ProductionIndex, j.truth.ProductionKWhYr/j.truth.MendedKWhYr, built(j.truth.Faults), codes(r.Faults))
		}
	}
	if slices.Sort(healthy); len(healthy) > 0 {
		fmt.Fprintf(w, "\nproduction index of healthy arrays: 5 %% %.3f, median %.3f, 95 %% %.3f\n", stat.QuantileSorted(healthy, 0.05), stat.QuantileSorted(healthy, 0.5), stat.QuantileSorted(healthy, 0.95))
	}
	trends(w, all)
	fmt.Fprintf(w, "production index of all arrays against made over mended: median error %.1f points, 95 %% below %.1f; worst %s\n", medianAbs(index), quantileAbs(index, 0.95), what)
	fmt.Fprintf(w, "year of the old array as if mended against truth: median error %.1f %%, 95 %% below %.1f %%\n\n", medianAbs(year), quantileAbs(year, 0.95))
}

func hasFault(t demo.Truth, code string) bool {
	return slices.ContainsFunc(t.Faults, func(f demo.Fault) bool { return f.Code == code })
}

// trends prints how well the drift of healthy arrays is found; the truth is
// the generator's ageing.
func trends(w io.Writer, all []judged) {
	var off []float64
	inside := 0
	for i := range all {
		r, truth := &all[i].result, &all[i].truth
		if len(truth.Faults) > 0 || r.TrendPctYr != r.TrendPctYr {
			continue
		}
		off = append(off, r.TrendPctYr-truth.AgeingPctYr)
		if truth.AgeingPctYr >= r.TrendLow && truth.AgeingPctYr <= r.TrendHigh {
			inside++
		}
	}
	if len(off) > 0 {
		fmt.Fprintf(w, "trend of healthy arrays against true ageing: n %d, median error %.2f %%/yr, 95 %% below %.2f, inside the stated 90 %% interval %.0f %%\n",
			len(off), medianAbs(off), quantileAbs(off, 0.95), pct(inside, len(off)))
	}
}

// isBig tells a fault that took a tenth or more for two months.
func isBig(t demo.Fault, j *judged) bool {
	switch t.Code {
	case array.Outage, array.InvertersDown, array.Decline, array.Shading, array.Curtailment:
	default:
		return false
	}
	until := t.Until
	if until.IsZero() {
		until = (j.truth.Window.Start.Time()).Add(time.Duration(j.truth.Window.N) * time.Hour)
	}
	return t.LossPct >= 10 && (t.On.IsZero() || until.Sub(t.On) >= 60*24*time.Hour)
}

// match finds a fault of the right time, and one that has the right name too.
func match(t demo.Fault, found []array.Fault) (any, named *array.Fault) {
	far := time.Date(3000, 1, 1, 0, 0, 0, 0, time.UTC)
	end := func(u time.Time) time.Time {
		if u.IsZero() {
			return far
		}
		return u
	}
	for i := range found {
		f := &found[i]
		if f.On.After(end(t.Until)) || end(f.Until).Before(t.On) {
			continue
		}
		if f.Code == t.Code && named == nil {
			named = f
		}
		if (sick(f.Code) || f.Code == t.Code) && any == nil {
			any = f
		}
	}
	if named != nil {
		any = named
	}
	return any, named
}

func built(fs []demo.Fault) string {
	var s []string
	for _, f := range fs {
		s = append(s, f.Code)
	}
	if s == nil {
		return "nothing"
	}
	return strings.Join(s, ", ")
}

func codes(fs []array.Fault) string {
	var s []string
	for _, f := range fs {
		s = append(s, fmt.Sprintf("%s %.0f%% %s..%s", f.Code, f.LossPct, date(f.On), date(f.Until)))
	}
	if s == nil {
		return "nothing"
	}
	return strings.Join(s, ", ")
}

// doubts lists caveats by code; that the air is typical is so everywhere.
func doubts(cs []ingest.Caveat) string {
	var s []string
	for _, c := range cs {
		if c.Code != "air_typical" {
			s = append(s, c.Code)
		}
	}
	if s == nil {
		return "no caveat"
	}
	return strings.Join(s, ", ")
}

func date(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format("2006-01-02")
}

func list(w io.Writer, lines []string, most int, verbose bool) {
	for i, l := range lines {
		if i >= most && !verbose {
			fmt.Fprintf(w, "    ... and %d more (-v)\n", len(lines)-i)
			return
		}
		fmt.Fprintf(w, "    %s\n", l)
	}
}

func pct(a, b int) float64 {
	if b == 0 {
		return math.NaN()
	}
	return 100 * float64(a) / float64(b)
}

func medianAbs(x []float64) float64 { return quantileAbs(x, 0.5) }

func quantileAbs(x []float64, p float64) float64 {
	a := make([]float64, len(x))
	for i, v := range x {
		a[i] = math.Abs(v)
	}
	return stat.QuantileInPlace(a, p)
}

func sumKWh(wh []float64) float64 {
	t := 0.0
	for _, v := range wh {
		t += v
	}
	return t / 1000
}

// turn is the least angle between the azimuth of a plane and those of the
// modules that stand.
func turn(arrays []demo.TrueArray, azimuthDeg float64) float64 {
	least := 180.0
	for _, a := range arrays {
		least = min(least, math.Abs(math.Remainder(a.AzimuthDeg-azimuthDeg, 360)))
	}
	return least
}
