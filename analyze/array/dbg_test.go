package array

import (
	"fmt"
	"testing"

	"rowen/ingest"
)

func TestDbg(t *testing.T) {
	f := town()
	for i := range f.series {
		if f.series[i].SiteID != "OM-0032" {
			continue
		}
		r := f.broken(i, func(*ingest.Series) {})
		fmt.Printf("%+v\n%+v\n%+v\n", f.fleet.fleet.Site("OM-0032").Arrays, f.made.Truth("OM-0032"), f.fleet.fleet.Site("OM-0032").Planes)
		fmt.Println(r.Factor, r.FactorSD, r.Faults, r.Caveats)
		for _, m := range r.Months {
			fmt.Printf("  %s meas %.0f exp %.0f idx %.3f\n", m.First.Format("2006-01"), m.MeasuredKWh, m.ExpectedKWh, m.ProductionIndex)
		}
		for d := 0; d < 500; d++ {
			if d%15 == 0 {
				fmt.Println()
			}
			fmt.Printf(" %.2f", r.IndexByDay[d])
		}
	}
}
