package main

import (
	"fmt"
	"io"
)

// one prints what is known of one site: register, truth, months, days.
func one(w io.Writer, all []judged, id string) {
	for i := range all {
		j := &all[i]
		if j.site.ID != id {
			continue
		}
		r := &j.result
		fmt.Fprintf(w, "%s lat %.3f lon %.3f factor %.3f planes %+v caveats %v\narrays %+v\ntruth %+v\nreg planes %+v\n", id, j.site.LatitudeDeg, j.site.LongitudeDeg, r.Factor, r.Planes, r.Caveats, j.site.Arrays, j.truth, j.site.Planes)
		for _, m := range r.Months {
			fmt.Fprintf(w, "  %s meas %.0f exp %.0f idx %.3f\n", m.First.Format("2006-01"), m.MeasuredKWh, m.ExpectedKWh, m.ProductionIndex)
		}
		for d := range r.IndexByDay {
			if d%10 == 0 {
				fmt.Fprintf(w, "\n%4d", d)
			}
			fmt.Fprintf(w, " %.2f", r.IndexByDay[d])
		}
		fmt.Fprintln(w)
	}
}
