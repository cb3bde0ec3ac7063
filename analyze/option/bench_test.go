package option

import (
	"fmt"
	"math"
	"testing"
	"time"

	"rowen/ingest"
)

// yearInput is a site's full year: use with a morning and an evening, a sun with
// seasons and clouds, so many candidate planes of 12 modules.
func yearInput(t testing.TB, tar, successor ingest.Tariff, planes, possible int) Input {
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	const n = 8760
	in := Input{SiteID: "bench", Window: ingest.Window{Start: ingest.HourOf(time.Date(2025, 11, 1, 0, 0, 0, 0, loc)), N: n}, Location: loc,
		LoadRelSD: 0.08, ExistingKW: 4.3, Possible: possible, MinModules: 2,
		Money:  Money{DiscountRatePct: 5, PriceEscalationPctYr: 2.5, HorizonYears: 25, ModuleDegradationPctYr: 0.5, CostPerModule: 780, CostPerVisit: 1400, Doubt: DefaultDoubt()},
		Tariff: mustCompile(t, tar)}
	if tar.Legacy != nil {
		in.Successor = mustCompile(t, successor)
	}
	in.LoadWh, in.ProductionWh = make([]float64, n), make([]float64, n)
	for i := range n {
		local := (in.Window.Start + ingest.Hour(i)).Time().In(loc)
		h := float64(local.Hour())
		in.LoadWh[i] = 450 + 900*math.Exp(-math.Pow(h-19, 2)/8) + 500*math.Exp(-math.Pow(h-7, 2)/4) + 150*math.Sin(float64(i)*1.7)
		in.ProductionWh[i] = 4300 * shine(local, 0)
	}
	for p := range planes {
		unit := make([]float64, n)
		for i := range unit {
			unit[i] = 430 * shine((in.Window.Start+ingest.Hour(i)).Time().In(loc), float64(p)*2-1)
		}
		in.Planes = append(in.Planes, Candidate{PlaneID: fmt.Sprint("p", p), MaxModules: 12, UnitWh: unit, RelSD: 0.06, ModuleWatts: 430, ACWatts: 380})
	}
	return in
}

// shine is the part of its rating that a plane makes, an hour earlier or later
// by its direction.
func shine(t time.Time, shift float64) float64 {
	season := 0.55 - 0.3*math.Cos(2*math.Pi*float64(t.YearDay())/365)
	half := 4.5 + 2.5*(season-0.25)/0.6
	h := float64(t.Hour()) - 12.5 + shift
	if math.Abs(h) >= half {
		return 0
	}
	cloud := 0.35 + 0.65*math.Abs(math.Sin(float64(t.YearDay())*2.3))
	return season * cloud * math.Cos(math.Pi*h/(2*half))
}

var (
	timeOfUse = ingest.Tariff{ID: "tou-a", FixedPerDay: 0.35, Import: []ingest.TariffPeriod{
		{Name: "peak", Months: []int{6, 7, 8, 9}, Days: "weekday", Hours: "16-21", Price: 0.42}, {Name: "base", Price: 0.21}},
		Export: ingest.TariffExport{Credit: "rate", Price: 0.07}, Settlement: "interval", SurplusPrice: 0.03}
	netMetering = ingest.Tariff{ID: "nem", FixedPerDay: 0.35, Import: timeOfUse.Import, Export: ingest.TariffExport{Credit: "retail"}, Settlement: "yearly", SurplusPrice: 0.03,
		Legacy: &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "tou-a"}}
)

// benchmark counts the processor's seconds, not the clock's: on a busy machine
// they are the steadier figure.
func benchmark(b *testing.B, in Input) {
	var r Result
	b.ReportAllocs()
	from := cpuSeconds(b)
	for b.Loop() {
		r = Evaluate(in)
	}
	if r.Refusal != "" || len(r.Options) == 0 {
		b.Fatal(r.Refusal)
	}
	b.ReportMetric(float64(b.N)/(cpuSeconds(b)-from), "sites/cpu-s")
	b.ReportMetric(float64(len(r.Options)), "sizes")
}

func BenchmarkEvaluate(b *testing.B) {
	for _, c := range []struct {
		name             string
		tariff           ingest.Tariff
		planes, possible int
	}{
		{"rate_1plane_10sizes", timeOfUse, 1, 10},
		{"rate_2planes_12sizes", timeOfUse, 2, 12},
		{"rate_3planes_30sizes", timeOfUse, 3, 30},
		{"legacy_2planes_12sizes", netMetering, 2, 12},
	} {
		b.Run(c.name, func(b *testing.B) { benchmark(b, yearInput(b, c.tariff, timeOfUse, c.planes, c.possible)) })
	}
}

// BenchmarkEvaluateQuarters is a site by the quarter hour.
func BenchmarkEvaluateQuarters(b *testing.B) {
	in := yearInput(b, timeOfUse, timeOfUse, 1, 10)
	fine := &ingest.Fine{Start: in.Window.Start, StepMinutes: 15}
	for _, c := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		fine.Wh[c] = make([]float32, 4*in.Window.N)
		for i := range fine.Wh[c] {
			fine.Wh[c][i] = float32(1 + (i*int(c+3))%7)
		}
	}
	if !in.AtMeteringInterval(fine) {
		b.Fatal("not refined")
	}
	benchmark(b, in)
}

// BenchmarkPlain is the same without the shared sums and without doubt.
func BenchmarkPlain(b *testing.B) {
	in := yearInput(b, timeOfUse, timeOfUse, 1, 10)
	options := Evaluate(in).Options
	for b.Loop() {
		plainSizes(in, options)
	}
}
