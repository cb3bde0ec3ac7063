package main

import (
	"fmt"
	"io"
	"math"

	"rowen/analyze/stat"
)

// facings prints how well a facing that is struck from the register is found.
func facings(w io.Writer, all []judged) {
	fmt.Fprintf(w, "facing struck from the register and fitted on clear days: angle between found and true normal\n%-28s %6s %8s %8s %8s %12s\n", "", "n", "50 % <", "95 % <", "worst", "in radius %")
	for arrays := 1; arrays <= 2; arrays++ {
		var off []float64
		inside := 0
		worst, what := 0.0, ""
		for i := range all {
			for _, f := range all[i].fitted {
				if f.arrays != arrays {
					continue
				}
				off = append(off, f.off)
				if f.off <= 2.15*f.sd { // the radius that holds nine of ten
					inside++
				}
				if f.off > worst {
					worst, what = f.off, fmt.Sprintf("%d/%s: true tilt %.0f azimuth %.0f, found %.0f and %.0f, sd %.0f", all[i].fleet, all[i].site.ID, f.tilt, f.azimuth, f.found.TiltDeg, f.found.AzimuthDeg, f.sd)
				}
			}
		}
		if len(off) > 0 {
			fmt.Fprintf(w, "%-28s %6d %8.1f %8.1f %8.1f %12.0f\n    worst: %s\n", fmt.Sprintf("%d planes on the meter", arrays), len(off), medianAbs(off), quantileAbs(off, 0.95), worst, pct(inside, len(off)), what)
		}
	}
	fmt.Fprintln(w)
}

// planes prints how far the year of new modules on other planes is off.
func planes(w io.Writer, all []judged) {
	type miss struct {
		err  float64
		what string
	}
	classes := []struct {
		name     string
		from, to float64
	}{{"facing within 30 degrees", 0, 30}, {"30 to 60", 30, 60}, {"60 to 90", 60, 90.01}, {"within 90 (wanted 3 / 8)", 0, 90.01}, {"90 to 135", 90.01, 135}, {"135 to 180", 135, 181}}
	fmt.Fprintf(w, "yearly output of a new module on another plane\n%-28s %6s %8s %8s %8s %10s %12s\n", "source and target", "n", "bias %", "50 % <", "95 % <", "worst %", "in 2 sd %")
	for _, c := range classes {
		var e []float64
		var worst miss
		inside := 0
		for i := range all {
			for _, p := range all[i].planes {
				if !(p.turnDeg >= c.from && p.turnDeg < c.to) || !(p.truth > 0) {
					continue
				}
				x := 100 * (p.found/p.truth - 1)
				e = append(e, x)
				if math.Abs(x) <= 200*p.relSD {
					inside++
				}
				if math.Abs(x) > math.Abs(worst.err) {
					worst = miss{err: x, what: fmt.Sprintf("%d/%s plane %s tilt %.0f, %s; truth %.0f found %.0f kWh; built in %s, found %s", all[i].fleet, all[i].site.ID, p.id, p.tilt, doubts(all[i].result.Caveats), p.truth, p.found, built(all[i].truth.Faults), codes(all[i].result.Faults))}
				}
			}
		}
		if len(e) == 0 {
			continue
		}
		fmt.Fprintf(w, "%-28s %6d %8.1f %8.1f %8.1f %10.1f %12.0f\n", c.name, len(e), stat.Median(e), medianAbs(e), quantileAbs(e, 0.95), worst.err, pct(inside, len(e)))
		fmt.Fprintf(w, "    worst: %s\n", worst.what)
	}
}
