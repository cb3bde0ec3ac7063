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
