package option

import (
	"math"
	"reflect"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat"

	"rowen/ingest"
)

// evaluated runs a site and keeps the work, so that the draws can be looked at.
func evaluated(t testing.TB, in Input) (*work, Result) {
	t.Helper()
	if says := in.refuse(); says != "" {
		t.Fatal(says)
	}
	w := new(work)
	return w, w.evaluate(&in, byGain)
}

// scaled is the site in another world: its use, all its output, and the output
// of its new planes scaled.
func scaled(in Input, load, output, plane float64) Input {
	times := func(x []float64, f float64) []float64 {
		y := slices.Clone(x)
		for i := range y {
			y[i] *= f
		}
		return y
	}
	in.LoadWh, in.ProductionWh = times(in.LoadWh, load), times(in.ProductionWh, output)
	in.Planes = slices.Clone(in.Planes)
	for p := range in.Planes {
		in.Planes[p].UnitWh = times(in.Planes[p].UnitWh, output*plane)
	}
	return in
}

// TestDrawsAgainstBruteForce works every draw out in full, hour by hour, and
// compares the first-year saving and the net benefit that the table gives. The
// bounds are shares of the spread between the 5 and 95 % points, which is what
// the table must not disturb: for those points and the mean, and for the root
// mean square over the draws.
func TestDrawsAgainstBruteForce(t *testing.T) {
	tiers := timeOfUse
	tiers.Tiers = []ingest.TariffTier{{UpToKWhPerMonth: 300}, {Add: 0.08}}
	least := timeOfUse
	least.MinimumPerMonth = 40
	demand := timeOfUse
	demand.Demand = []ingest.TariffDemand{{Hours: "16-21", PerKW: 6}}
	monthly := netMetering
	monthly.Settlement, monthly.Legacy = "monthly", nil
	bank := monthly
	bank.Bank = "kwh"
	yearly := netMetering
	yearly.Legacy = nil
	apart := netMetering
	apart.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "tou-a", Apart: []string{NonExport}}
	newTerms := timeOfUse
	newTerms.Export.NewModules = &ingest.TariffExportNew{Price: 0.02, Split: "output"}
	stormy := func(m *Money) { m.HorizonYears, m.PaybackWithinYears, m.Doubt = 2, 2, Doubt{WeatherRelSDPct: 25} }
	for _, c := range []struct {
		name   string
		tariff ingest.Tariff
		planes int
		with   func(*Money)
	}{
		{"time of use", timeOfUse, 1, nil}, {"two planes", timeOfUse, 2, nil}, {"tiers", tiers, 1, nil}, {"minimum", least, 1, nil}, {"demand", demand, 1, nil},
		{"monthly", monthly, 1, nil}, {"bank", bank, 1, nil}, {"yearly", yearly, 1, nil}, {"legacy", netMetering, 1, nil}, {"no feed-in", apart, 1, nil},
		{"new terms", newTerms, 1, nil}, {"weather, two years", timeOfUse, 1, stormy},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := yearInput(t, c.tariff, timeOfUse, c.planes, 10)
			in.Money.PaybackWithinYears = 15
			in.Money.CostPerModule, in.Money.CostPerVisit = 450, 300 // some draws gain and pay back, some do not
			if c.with != nil {
				c.with(&in.Money)
			}
			in.Money.Doubt.Draws = 64
			w, r := evaluated(t, in)
			saving := savingsUnsorted(w, &in, &r)
			for _, k := range []int{0, 4, 9} {
				o := &r.Options[k]
				savings, nets, paid := bruteForce(in, &w.doubt, o)
				net := w.doubt.net[k*w.doubt.n : (k+1)*w.doubt.n]
				compareDraws(t, "saving", o.Modules, saving[k], savings)
				compareDraws(t, "net benefit", o.Modules, net, nets)
				if math.Abs(o.PaybackChance-paid) > 2./64 { // two draws may lie on the edge
					t.Errorf("%d modules: chance of paying back %v, want %v", o.Modules, o.PaybackChance, paid)
				}
				above := 0.0
				for _, v := range nets {
					if v > 0 {
						above += 1. / 64
					}
				}
				if math.Abs(o.Chance-above) > 2./64 {
					t.Errorf("%d modules: chance of a gain %v, want %v", o.Modules, o.Chance, above)
				}
			}
		})
	}
}

// bruteForce is an option in every world that was drawn; paid is the share of
// them in which the savings add up to the cost within 15 years.
func bruteForce(in Input, d *draws, o *Option) (savings, nets []float64, paid float64) {
	after := in.Tariff
	if o.Case == OnSuccessor {
		after = in.Successor
	}
	counts := make([]int, len(in.Planes))
	for _, p := range o.ByPlane {
		counts[slices.IndexFunc(in.Planes, func(c Candidate) bool { return c.PlaneID == p.PlaneID })] = p.Modules
	}
	m := in.Money
	for i := range d.n {
		full := func(output float64) float64 {
			world := scaled(in, d.load[i], output, 1+d.planeSD[o.Modules]*d.plane[i])
			if o.Case == NonExport {
				return plainNonExport(world, counts)
			}
			return plainBill(world, in.Tariff, nil).Total - plainBill(world, after, counts).Total
		}
		now, later := full(d.firstYear[i]), full(d.laterYears[i])
		net, left := -o.Cost*d.cost[i], o.Cost*d.cost[i]
		for y := 1; y <= m.HorizonYears; y++ {
			s := later
			if y == 1 {
				s = now
			}
			s *= math.Pow(1+(m.PriceEscalationPctYr+d.escalation[i])/100, float64(y-1)) * math.Pow(1-max(0, m.ModuleDegradationPctYr+d.ageing[i])/100, float64(y-1))
			if y <= 15 {
				left -= s
			}
			net += s / math.Pow(1+m.DiscountRatePct/100, float64(y))
		}
		if left <= 0 {
			paid += 1 / float64(d.n)
		}
		savings, nets = append(savings, now), append(nets, net)
	}
	return savings, nets, paid
}

// plainNonExport is what modules save that may not feed in.
func plainNonExport(in Input, counts []int) float64 {
	n := len(in.LoadWh)
	before, after, sold := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		net := in.LoadWh[i] - in.ProductionWh[i]
		before[i], sold[i] = max(0, net), max(0, -net)
		for p, c := range counts {
			net -= float64(c) * in.Planes[p].UnitWh[i]
		}
		after[i] = max(0, net)
	}
	y := in.Tariff.Year(in.Window, in.Location)
	return y.Bill(before, sold).Total - y.Bill(after, sold).Total
}

func compareDraws(t *testing.T, what string, modules int, got, want []float64) {
	t.Helper()
	square := 0.0
	for i := range got {
		square += (got[i] - want[i]) * (got[i] - want[i])
	}
	var a, b Spread
	a.fill(slices.Clone(got))
	b.fill(slices.Clone(want))
	width := b.High - b.Low
	rms := math.Sqrt(square/float64(len(got))) / width
	worst := 0.0
	for _, pair := range [][2]float64{{a.Mean, b.Mean}, {a.Low, b.Low}, {a.Median, b.Median}, {a.High, b.High}} {
		worst = max(worst, math.Abs(pair[0]-pair[1])/width)
	}
	t.Logf("%d modules, %s %.0f [%.0f %.0f]: points off by at most %.2f %% of the spread, root mean square %.2f %%", modules, what, b.Mean, b.Low, b.High, 100*worst, 100*rms)
	if worst > 0.08 || rms > 0.05 {
		t.Errorf("%d modules, %s: points off by %.2f %% of the spread, limit 8 %%; root mean square %.2f %%, limit 5 %%", modules, what, 100*worst, 100*rms)
	}
}

// savingsUnsorted draws the savings anew: the spreads have sorted them.
func savingsUnsorted(w *work, in *Input, r *Result) [][]float64 {
	d := &w.doubt
	out := make([][]float64, len(r.Options))
	for k := range r.Options {
		o := &r.Options[k]
		for i := range d.n {
			t := in.Money.terms(in.Tariff, d.escalation[i], d.ageing[i])
			w.valueSizes(&w.curves[o.curve], i, t, in.Money.undiscounted(t))
			x := float64(o.Modules) * max(leastPart, 1+d.planeSD[o.Modules]*d.plane[i])
			at := min(int(x), len(d.firstAt)-2)
			out[k] = append(out[k], d.firstAt[at]+(d.firstAt[at+1]-d.firstAt[at])*(x-float64(at)))
		}
	}
	return out
}

// TestWeatherMovesTogether: where the use follows the sun (cooling), the draws
// in which the sun is strong are those in which more is used; where it does not,
// they have nothing to do with each other.
func TestWeatherMovesTogether(t *testing.T) {
	in := yearInput(t, timeOfUse, timeOfUse, 1, 10)
	in.LoadRelSD = 0
	correlation := func(in Input) float64 {
		w, _ := evaluated(t, in)
		if r := stat.Correlation(w.doubt.firstYear, w.doubt.laterYears, nil); math.Abs(r) > 0.3 {
			t.Errorf("the first year and the later ones are other years: correlation %.3f", r)
		}
		return stat.Correlation(w.doubt.firstYear, w.doubt.load, nil)
	}
	for i := range in.LoadWh {
		in.LoadWh[i] = 300 + 4*in.Planes[0].UnitWh[i]
	}
	if r := correlation(in); !(r >= 0.99) {
		t.Errorf("cooling: correlation %.3f", r)
	}
	for i := range in.LoadWh {
		in.LoadWh[i] = 300 + 200*math.Sin(float64(i/24)*0.9) // of another rhythm
	}
	if r := correlation(in); !(math.Abs(r) <= 0.3) {
		t.Errorf("nothing in common: correlation %.3f", r)
	}
}

// TestSpreadByHand: with a flat price, everything credited at it and no other
// doubt, a year's saving is energy x price x factor, so that its spread is the
// factor's own: 1.645 standard deviations to either side.
func TestSpreadByHand(t *testing.T) {
	flat := ingest.Tariff{ID: "flat", Import: []ingest.TariffPeriod{{Name: "base", Price: 0.2}}, Export: ingest.TariffExport{Credit: "retail"}}
	in := yearInput(t, flat, flat, 1, 10)
	in.LoadRelSD = 0
	in.Planes[0].RelSD = 0.10
	in.Money.Doubt = Doubt{Draws: 2000}
	r := Evaluate(in)
	o := r.Options[5]
	want := o.AddedKWhYr * 0.2
	if math.Abs(o.Saving.Value-want) > 1e-6*want {
		t.Errorf("saving %v, want energy x price = %v", o.Saving.Value, want)
	}
	// The weather has no floor here; its own resampled spread is small against 10 %.
	for _, c := range []struct{ got, sds float64 }{{o.Saving.Low, -1.645}, {o.Saving.Median, 0}, {o.Saving.High, 1.645}} {
		if got := (c.got/want - 1) / 0.10; math.Abs(got-c.sds) > 0.08 {
			t.Errorf("at %+.3f sds: got %+.3f", c.sds, got)
		}
	}
}

// TestSameAgain: the site's ID is the seed; the number of workers and what the
// memory held before change nothing.
func TestSameAgain(t *testing.T) {
	in := yearInput(t, netMetering, timeOfUse, 2, 8)
	other := yearInput(t, timeOfUse, timeOfUse, 3, 20)
	want := Evaluate(in)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			Evaluate(other)
			if got := Evaluate(in); !same(got, want) {
				t.Error("another run gives another result")
			}
		})
	}
	wg.Wait()
	in.SiteID = "another"
	if got := Evaluate(in); got.Options[3].NetBenefit.Low == want.Options[3].NetBenefit.Low || got.Options[3].NetBenefit.Value != want.Options[3].NetBenefit.Value {
		t.Error("another site must draw other worlds around the same value")
	}
}

// same compares with NaN equal to itself.
func same(a, b Result) bool {
	fix := func(r Result) Result {
		r.Options = slices.Clone(r.Options)
		for i := range r.Options {
			o := &r.Options[i]
			for _, v := range []*float64{&o.IRRPct, &o.DiscountedPayback, &o.CO2KgYr, &o.SimplePaybackYears} {
				if math.IsNaN(*v) {
					*v = -1e9
				}
			}
		}
		r.RepairSavingYr = 0
		return r
	}
	return reflect.DeepEqual(fix(a), fix(b))
}
