package option

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

// The plain version: every size by itself, every hour by itself.

type plain struct{ billBefore, billAfter, saving, netBenefit, selfUsePct float64 }

// plainSizes works out every size of the result's own building order.
func plainSizes(in Input, options []Option) []plain {
	var out []plain
	before := plainBill(in, in.Tariff, nil)
	for _, o := range options {
		counts := make([]int, len(in.Planes))
		added := 0.0
		for _, p := range o.ByPlane {
			i := slices.IndexFunc(in.Planes, func(c Candidate) bool { return c.PlaneID == p.PlaneID })
			counts[i] = p.Modules
		}
		_, whole := plainOutput(in, counts)
		_, today := plainOutput(in, nil)
		added = (total(whole) - total(today)) / 1000
		t := in.Tariff
		if t.Data.Legacy != nil && o.AddedKWDC > in.ExistingKW*t.Data.Legacy.LostWhenAddedPct/100+1e-9 {
			t = in.Successor
		}
		after := plainBill(in, t, counts)
		p := plain{billBefore: before.Total, billAfter: after.Total, saving: before.Total - after.Total,
			selfUsePct: 100 * (plainBill(in, t, nil).ImportKWh - after.ImportKWh) / added}
		m := in.Money
		p.netBenefit = -o.Cost
		for y := 1; y <= m.HorizonYears; y++ {
			s := p.saving * math.Pow(1+m.PriceEscalationPctYr/100, float64(y-1)) * math.Pow(1-m.ModuleDegradationPctYr/100, float64(y-1))
			p.netBenefit += s / math.Pow(1+m.DiscountRatePct/100, float64(y))
		}
		out = append(out, p)
	}
	return out
}

// plainBill prices today's array with counts[p] modules on plane p. Where new
// modules have terms of their own, their export is priced apart.
func plainBill(in Input, t *tariff.Tariff, counts []int) tariff.Bill {
	n := len(in.LoadWh)
	steps := n / in.Window.N
	load := in.LoadWh
	unclipped, made := plainOutput(in, counts)
	_, today := plainOutput(in, nil)
	newKW := 0.0
	for p, count := range counts {
		newKW += float64(count) * in.Planes[p].ModuleWatts / 1000
	}
	y := t.Year(in.Window, in.Location)
	terms := t.Data.Export.NewModules
	if terms == nil || counts == nil {
		return y.BillOf(load, made)
	}
	// Old and new export apart, priced by the slots' hours.
	totals := y.NewTotals()
	power := 0.0
	for s := range y.Slots {
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			for i := int(h) * steps; i < (int(h)+1)*steps; i++ {
				imports, exports := max(0, load[i]-made[i]), max(0, made[i]-load[i])
				if t.Gross() {
					imports, exports = load[i], made[i]
				}
				share := newKW / (newKW + in.ExistingKW)
				if terms.Split == "output" || t.Gross() {
					share = 0
					if made[i] > 0 {
						share = (unclipped[i] - in.ProductionWh[i]) / unclipped[i]
					}
					if t.Gross() && made[i] > 0 {
						share = (made[i] - today[i]) / made[i]
					}
				}
				totals.ImportKWh[s] += imports / 1000
				totals.ExportKWh[s] += exports / 1000
				totals.NewExportKWh[s] += exports / 1000 * share
				if power += imports / 1000; totals.PeakKW != nil && (i+1)%y.PeakSteps(steps) == 0 {
					totals.PeakKW[s] = max(totals.PeakKW[s], power*float64(steps)/float64(y.PeakSteps(steps)))
					power = 0
				}
			}
		}
	}
	var b tariff.Bill
	y.Settle(totals, &b)
	return b
}

// plainOutput is the output with counts[p] modules on plane p, before and after
// the export limit.
func plainOutput(in Input, counts []int) (whole, clipped []float64) {
	whole = slices.Clone(in.ProductionWh)
	for p, count := range counts {
		for i, u := range in.Planes[p].UnitWh {
			whole[i] += float64(count) * u
		}
	}
	clipped = slices.Clone(whole)
	for i := range clipped {
		if limit := in.ExportLimitKW * 1000 * float64(in.Window.N) / float64(len(clipped)); in.ExportLimitKW > 0 && clipped[i]-in.LoadWh[i] > limit {
			clipped[i] = in.LoadWh[i] + limit
		}
	}
	return whole, clipped
}

// TestEvaluateAgainstPlain: over random sites and tariffs of every kind, all
// sizes have the bills that the plain version gives.
func TestEvaluateAgainstPlain(t *testing.T) {
	for seed := range uint64(120) {
		rng := rand.New(rand.NewPCG(seed, 7))
		in := randomInput(t, rng, 24*(20+rng.IntN(60)))
		in.Money.Doubt.Draws = 0
		r := Evaluate(in)
		if r.Refusal != "" {
			t.Fatalf("seed %d: %s", seed, r.Refusal)
		}
		if len(r.Options) != in.reach() {
			t.Fatalf("seed %d: %d options, want %d", seed, len(r.Options), in.reach())
		}
		for k, want := range plainSizes(in, r.Options) {
			o := r.Options[k]
			got := plain{o.BillBefore, o.BillAfter, o.Saving.Value, o.NetBenefit.Value, o.AddedSelfUsePct}
			if !alike(got, want) {
				t.Fatalf("seed %d, %d modules, tariff %+v\n got %+v\nwant %+v", seed, o.Modules, in.Tariff.Data, got, want)
			}
		}
	}
}

func alike(a, b plain) bool {
	close := func(x, y float64) bool {
		return math.Abs(x-y) <= 1e-7*max(1, math.Abs(x), math.Abs(y)) || math.IsNaN(x) && math.IsNaN(y)
	}
	return close(a.billBefore, b.billBefore) && close(a.billAfter, b.billAfter) && close(a.saving, b.saving) &&
		close(a.netBenefit, b.netBenefit) && close(a.selfUsePct, b.selfUsePct)
}

// randomInput is a site of random hours: a sun that is up by day, a household,
// one to three planes, a random tariff.
func randomInput(t testing.TB, rng *rand.Rand, hours int) Input {
	loc, err := time.LoadLocation([]string{"UTC", "America/Denver", "Europe/Berlin", "Asia/Kolkata", "Australia/Lord_Howe"}[rng.IntN(5)])
	if err != nil {
		t.Fatal(err)
	}
	steps := []int{1, 1, 4}[rng.IntN(3)]
	n := hours * steps
	start := ingest.HourOf(time.Date(2025, time.Month(1+rng.IntN(12)), 1+rng.IntN(20), 0, 0, 0, 0, loc))
	in := Input{SiteID: fmt.Sprint("site-", rng.Uint32()), Window: ingest.Window{Start: start, N: hours}, Location: loc,
		LoadRelSD: 0.1, ExistingKW: 1 + 8*rng.Float64(),
		Money: Money{DiscountRatePct: 5, PriceEscalationPctYr: 2.5, HorizonYears: 25, ModuleDegradationPctYr: 0.5, CostPerModule: 20, CostPerVisit: 50, Doubt: DefaultDoubt()}}
	sun := func(i int, shift float64) float64 {
		h := math.Mod(float64(i)/float64(steps)+7, 24)
		return max(0, math.Sin(math.Pi*(h+shift-6)/12))
	}
	in.LoadWh, in.ProductionWh = make([]float64, n), make([]float64, n)
	kW := in.ExistingKW
	if rng.IntN(5) == 0 {
		kW, in.ExistingKW = 0, 0 // no array yet
	}
	for i := range n {
		in.LoadWh[i] = (200 + 1500*rng.Float64()*rng.Float64()) / float64(steps)
		in.ProductionWh[i] = 800 * kW * sun(i, 0) * rng.Float64() / float64(steps)
	}
	for p := range 1 + rng.IntN(3) {
		unit := make([]float64, n)
		shift := 3 * (rng.Float64() - 0.5)
		for i := range unit {
			unit[i] = 350 * sun(i, shift) * rng.Float64() / float64(steps)
		}
		in.Planes = append(in.Planes, Candidate{PlaneID: fmt.Sprint("p", p), MaxModules: 1 + rng.IntN(6), UnitWh: unit, RelSD: 0.06, ModuleWatts: 430, ACWatts: 380})
	}
	if rng.IntN(3) == 0 {
		in.ExportLimitKW = 3 * rng.Float64()
	}
	in.Possible = rng.IntN(8)
	in.JobSets = []JobSet{{[]string{"panelboard_upgrade"}, 100, in.Possible + 3}, {[]string{"new_permission"}, 40, in.Possible + 1}}
	in.Tariff = mustCompile(t, randomTariff(rng))
	if in.Tariff.Data.Legacy != nil {
		next := randomTariff(rng)
		next.Legacy, next.ID = nil, "next"
		in.Successor = mustCompile(t, next)
	}
	return in
}

func mustCompile(t testing.TB, data ingest.Tariff) *tariff.Tariff {
	t.Helper()
	out, err := tariff.Compile(data)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// randomTariff is any tariff that Compile takes.
func randomTariff(rng *rand.Rand) ingest.Tariff {
	cents := func(upTo int) float64 { return float64(rng.IntN(upTo)) / 100 }
	d := ingest.Tariff{ID: "random", FixedPerDay: cents(60), FixedPerMonth: cents(900)}
	if rng.IntN(2) == 0 {
		d.Import = append(d.Import, ingest.TariffPeriod{Name: "peak", Days: []string{"", "weekday", "mon,sat", "holiday,sun"}[rng.IntN(4)], Hours: []string{"16-21", "22-6", "7-9,17-20", "16:30-21:00"}[rng.IntN(4)], Price: cents(60)})
	}
	if rng.IntN(2) == 0 {
		d.Import = append(d.Import, ingest.TariffPeriod{Name: "summer", Months: []int{6, 7, 8, 9}, Price: cents(50)})
	}
	d.Import = append(d.Import, ingest.TariffPeriod{Name: "base", Price: cents(40)})
	if rng.IntN(3) == 0 {
		d.Holidays = []string{"01-01", "2025-07-04", "12-25"}
	}
	if rng.IntN(3) == 0 {
		d.Tiers = []ingest.TariffTier{{UpToKWhPerMonth: 50 + float64(rng.IntN(100)), Add: cents(4)}, {UpToKWhPerMonth: 300, Add: cents(10)}, {Add: cents(20)}}
	}
	if rng.IntN(4) == 0 {
		d.MinimumPerMonth = cents(4000)
	}
	if rng.IntN(4) == 0 {
		d.NonBypassablePerKWh = cents(5)
	}
	if rng.IntN(4) == 0 {
		d.Demand = []ingest.TariffDemand{{Name: "evening", Days: "weekday", Hours: "17-21", PerKW: cents(900)}, {Name: "any", PerKW: cents(300)}}
		d.DemandOver = []string{"", "hour"}[rng.IntN(2)]
	}
	d.SurplusPrice = cents(8)
	d.Settlement = []string{"", "interval", "monthly", "yearly"}[rng.IntN(4)]
	d.AnniversaryMonth = rng.IntN(13)
	if rng.IntN(2) == 0 {
		d.Export.Credit = "retail"
		switch d.Settlement {
		case "monthly":
			d.Bank = []string{"", "kwh", "money"}[rng.IntN(3)]
			if d.Bank == "" {
				d.Netting = []string{"", "period", "bucket"}[rng.IntN(3)]
			}
		case "yearly":
			d.Netting = []string{"", "bucket"}[rng.IntN(2)]
		}
	} else {
		d.Export = ingest.TariffExport{Credit: "rate", Price: cents(30)}
		if rng.IntN(3) == 0 {
			d.Export.Periods = []ingest.TariffPeriod{{Name: "noon", Hours: "10-15", Price: cents(5)}, {Name: "rest", Price: cents(20)}}
		}
		if rng.IntN(3) == 0 {
			d.CreditLimit = "energy"
		}
		if rng.IntN(4) == 0 {
			d.Export.Metering = "gross"
		}
		if rng.IntN(4) == 0 {
			d.Export.NewModules = &ingest.TariffExportNew{Price: cents(12), Split: []string{"", "output"}[rng.IntN(2)]}
		}
	}
	if rng.IntN(3) == 0 {
		d.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: float64(10 + rng.IntN(30)), Successor: "next"}
	}
	return d
}

func mustZone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}
