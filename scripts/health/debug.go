package main

import (
	"fmt"
	"os"
)

// debug prints the months of one site.
func debug(all []judged, id string) {
	for i := range all {
		j := &all[i]
		if j.site.ID != id {
			continue
		}
		r := &j.result
		fmt.Fprintf(os.Stderr, "%s lat %.3f lon %.3f factor %.3f planes %+v caveats %v\narrays %+v\ntruth %+v\nreg planes %+v\n", id, j.site.LatitudeDeg, j.site.LongitudeDeg, r.Factor, r.Planes, r.Caveats, j.site.Arrays, j.truth, j.site.Planes)
		for _, m := range r.Months {
			fmt.Fprintf(os.Stderr, "  %s meas %.0f exp %.0f idx %.3f\n", m.First.Format("2006-01"), m.MeasuredKWh, m.ExpectedKWh, m.ProductionIndex)
		}
		for d := 0; d < len(r.IndexByDay); d += 1 {
			if d%10 == 0 {
				fmt.Fprintf(os.Stderr, "\n%4d", d)
			}
			fmt.Fprintf(os.Stderr, " %.2f", r.IndexByDay[d])
		}
	}
}

// factors lists how the factor compares with the generator's own.
func factors(all []judged) {
	for i := range all {
		j := &all[i]
		w, t := 0.0, 0.0
		for k, a := range j.site.Arrays {
			w += float64(a.Modules) * a.ModuleWatts
			t += float64(j.truth.Arrays[k].Modules) * j.truth.Arrays[k].ModuleWatts
		}
		fmt.Fprintf(os.Stderr, "%s %.3f  factor %.3f typical %.3f true %.3f cap %.3f lat %.1f n %d shade %v %s %s\n", j.site.ID,
			j.result.Factor/(j.truth.SiteFactor*j.truth.ArrayFactor*t/w), j.result.Factor, 0.0, j.truth.SiteFactor*j.truth.ArrayFactor, t/w, j.site.LatitudeDeg, len(j.site.Arrays), j.site.Planes[0].ShadingPct, built(j.truth.Faults), j.site.Arrays[0].InverterModel)
	}
}
