package analyze

import (
	"context"
	"testing"

	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/ingest/demo"
)

func testOptions(workers int) Options {
	h := headroom.DefaultOptions()
	h.RidgeSetbackM, h.SideSetbackM, h.ModuleGapM = 0.46, 0.30, 0.02
	h.CostOf = map[string]float64{"software_update": 0, "panelboard_upgrade": 2800, "new_permission": 450, "gateway_swap": 900}
	return Options{
		Workers: workers, DefaultModule: "TN-430", DefaultInverter: "KV2-380", DefaultTariff: "tou-a", WeatherMaxKM: 60,
		Headroom: h, Rank: rank.Defaults(),
		Money: option.Money{DiscountRatePct: 5, PriceEscalationPctYr: 2.5, HorizonYears: 25, ModuleDegradationPctYr: 0.5,
			CostPerModule: 780, CostPerVisit: 1400, Doubt: option.DefaultDoubt()},
	}
}

func TestLanesOfTheInventedFleet(t *testing.T) {
	o := demo.Default()
	m := demo.Make(o)
	fl := NewFleet(m.Fleet(), m.Source(), testOptions(2))
	survey, err := fl.Survey(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	findings, err := fl.Judge(context.Background(), survey, func(*Finding) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	Rank(findings, 40)
	hits := 0
	table := map[string]map[string]int{}
	for _, f := range findings {
		truth := m.Truth(f.Site.ID)
		lane := string(f.Verdict.Lane)
		if table[truth.IntendedLane] == nil {
			table[truth.IntendedLane] = map[string]int{}
		}
		table[truth.IntendedLane][lane]++
		if testing.Verbose() && lane != truth.IntendedLane {
			c := f.Verdict
			nb := 0.0
			if f.Chosen != nil {
				nb = f.Chosen.NetBenefit.Value
			}
			t.Logf("%s %-28s want %-8s got %-8s may %v why %v | possible %v bind %s nb %.0f cover %.0f next %.0f true %.0f", f.Site.ID, truth.Archetype, truth.IntendedLane, lane, truth.MayLanes, codesOf(c.Reasons), f.Room.Possible, f.Room.Binding, nb, f.Demand.Coverage.NowPct, f.Demand.NextYearKWh, truth.NextYearKWh)
		}
		if lane == truth.IntendedLane {
			hits++
		}
		if f.Failed != "" {
			t.Errorf("%s failed: %s", f.Site.ID, f.Failed)
		}
	}
	for want, got := range table {
		t.Logf("%-16s %v", want, got)
	}
	t.Logf("%d of %d as intended", hits, len(findings))
}

func codesOf(rs []rank.Reason) (codes []string) {
	for _, r := range rs {
		codes = append(codes, r.Code)
	}
	return codes
}
