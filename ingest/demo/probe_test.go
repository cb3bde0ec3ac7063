package demo

import (
	"fmt"
	"testing"
	"time"

	"rowen/ingest"
)

func TestProbe(t *testing.T) {
	t0 := time.Now()
	m := Make(Default())
	fmt.Println("make", time.Since(t0))
	for _, r := range m.regions {
		var g, d, n, cg float64
		for j := range r.lit {
			_ = j
		}
		s := m.sites[0]
		for _, x := range m.sites {
			if x.region == r {
				s = x
			}
		}
		var q rays
		q.cast(r, s, stream(s.seed, 30))
		for j := range r.lit {
			g += q.ghi[j]
			n += q.dni[j]
			d += q.ghi[j] - q.dni[j]*q.u[j]
			cg += float64(r.dni[j])*q.u[j] + float64(r.dhi[j])
		}
		y := float64(m.tl.n) / float64(m.tl.perHour) / 8766
		k := 1 / float64(m.tl.perHour) / 1000 / y
		fmt.Printf("%s clear %.0f GHI %.0f DNI %.0f DHI %.0f snows %d cool %.0f heat %.0f\n", r.name, cg*k, g*k, n*k, d*k, len(r.snows), r.coolKh/24, r.heatKh/24)
	}
	t0 = time.Now()
	var s ingest.Series
	for _, id := range m.Source().Order() {
		if err := m.Source().Load(id, &s); err != nil {
			t.Fatal(err)
		}
	}
	fmt.Println("load all", time.Since(t0)/240)
	t0 = time.Now()
	for i, x := range m.sites {
		if i%4 != 0 {
			continue
		}
		tr := m.Truth(x.reg.ID)
		kw := 0.0
		for _, a := range tr.Arrays {
			kw += float64(a.Modules) * a.ModuleWatts / 1000
		}
		fmt.Printf("%s %-22s %-8s kW %.1f az %3.0f tilt %2.0f Y %4.0f use %5.0f und %5.0f next %5.0f cov %.2f room %d svc %d br %d gw %d perm %v clip %.0f", x.reg.ID, tr.Archetype, tr.IntendedLane, kw, tr.Arrays[0].AzimuthDeg, tr.Arrays[0].TiltDeg, tr.MendedKWhYr/kw, tr.UseKWhYr, tr.UnderlyingKWhYr, tr.NextYearKWh, tr.ProductionKWhYr/tr.UseKWhYr, tr.RoofModules, tr.ServiceModules.V, tr.BranchModules.V, tr.GatewayModules.V, tr.PermissionModules, tr.ClippedKWhYr)
		for _, f := range tr.Faults {
			fmt.Printf(" [%s %.0f%% %.0f kWh]", f.Code, f.LossPct, f.KWhYr)
		}
		for _, e := range tr.Events {
			fmt.Printf(" {%s %.0f seen %.0f}", e.Kind, e.KWhYr, e.SeenKWh)
		}
		fmt.Println()
	}
	fmt.Println("truth", time.Since(t0)/60)
}
