package report

import (
	"slices"
	"testing"

	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/ingest"
)

func of[T any](v T) *T { return &v }

// What is said of a site between two runs, and what is too little to say: an event's
// date by 31 days, its energy by a fifth, a price by half a percent, an expected
// consumption by 2 %.
func TestFactsBetweenTwoRuns(t *testing.T) {
	const day0 = 20513 // 2026-03-01
	car := func(on int32, kwh float64) []LoadEvent { return []LoadEvent{{On: on, Kind: "ev_charging", KWhYr: kwh}} }
	for _, c := range []struct {
		what     string
		was, now standing
		says     []string
	}{
		{"nothing", standing{Lane: "call"}, standing{Lane: "call"}, nil},
		{"a call", standing{}, standing{Outcome: of("no_answer"), OutcomeOn: of[int32](day0)}, []string{"outcome: no answer on 2026-03-01"}},
		{"the same call", standing{Outcome: of("sold"), OutcomeOn: of[int32](day0)}, standing{Outcome: of("sold"), OutcomeOn: of[int32](day0)}, nil},
		{"a second one", standing{Outcome: of("sold"), OutcomeOn: of[int32](day0)}, standing{Outcome: of("sold"), OutcomeOn: of[int32](day0 + 1)}, []string{"outcome: sold on 2026-03-02"}},
		{"may be called", standing{NotBefore: of[int32](day0)}, standing{Lane: "call"}, []string{"contact: may be contacted again since 2026-03-01"}},
		{"a repair does not wait", standing{NotBefore: of[int32](day0)}, standing{Lane: string(rank.Repair)}, nil},
		{"has to wait", standing{}, standing{NotBefore: of[int32](day0)}, []string{"contact: not to be contacted before 2026-03-01"}},
		{"bought", standing{}, standing{NotBefore: of[int32](day0), Rank: of[int32](3)}, []string{"contact: bought and built, no new offer before 2026-03-01"}},
		{"a car", standing{}, standing{LoadEvents: car(day0, 2000)}, []string{"event: ev charging since 2026-03-01, +2000 kWh a year"}},
		{"31 days later", standing{LoadEvents: car(day0, 2000)}, standing{LoadEvents: car(day0+31, 2000)}, nil},
		{"32 days later", standing{LoadEvents: car(day0, 2000)}, standing{LoadEvents: car(day0+32, 2000)}, []string{"event: ev charging since 2026-04-02, was dated 2026-03-01"}},
		{"a fifth more", standing{LoadEvents: car(day0, 2000)}, standing{LoadEvents: car(day0, 2400)}, nil},
		{"more than a fifth", standing{LoadEvents: car(day0, 2000)}, standing{LoadEvents: car(day0, 2401)}, []string{"event: ev charging since 2026-03-01: +2401 kWh a year, was +2000"}},
		{"a fall by more", standing{LoadEvents: car(day0, -2000)}, standing{LoadEvents: car(day0, -1500)}, []string{"event: ev charging since 2026-03-01: -1500 kWh a year, was -2000"}},
		{"gone", standing{LoadEvents: car(day0, 2000)}, standing{}, []string{"event: ev charging of 2026-03-01 no longer found"}},
		{"of two the nearer is the same", standing{LoadEvents: append(car(day0-90, 1000), car(day0, 2000)...)}, standing{LoadEvents: car(day0+5, 2000)}, []string{"event: ev charging of 2025-12-01 no longer found"}},
		{"two are not one", standing{LoadEvents: car(day0, 2000)}, standing{LoadEvents: append(car(day0, 2000), car(day0+9, 900)...)}, []string{"event: ev charging since 2026-03-10, +900 kWh a year"}},
		{"a fault", standing{ArrayFaults: []string{"step"}}, standing{ArrayFaults: []string{"outage"}}, []string{"health: outage began", "health: step is over"}},
		{"a limit", standing{RoofModules: of[int32](1)}, standing{RoofModules: of[int32](4), GatewayModules: of[int32](0)}, []string{"limit: the roof takes 4 modules, was 1 module", "limit: the gateway takes 0 modules, was a number not known"}},
		{"a tariff", standing{TariffID: of("a")}, standing{}, []string{"price: tariff none, was a"}},
		{"half a percent dearer", standing{ModulesToAdd: of[int32](4), Cost: of(1990.0)}, standing{ModulesToAdd: of[int32](4), Cost: of(2000.0)}, nil},
		{"more", standing{ModulesToAdd: of[int32](4), Cost: of(1989.0)}, standing{ModulesToAdd: of[int32](4), Cost: of(2000.0)}, []string{"price: 4 modules cost 2000, were 1989"}},
		{"of another size", standing{ModulesToAdd: of[int32](3), Cost: of(1500.0)}, standing{ModulesToAdd: of[int32](4), Cost: of(2000.0)}, nil},
		{"2 % more expected", standing{ExpectedUseKWhYr: of(9800.0)}, standing{ExpectedUseKWhYr: of(10000.0)}, nil},
		{"more", standing{ExpectedUseKWhYr: of(9799.0)}, standing{ExpectedUseKWhYr: of(10000.0)}, []string{"readings: expected consumption 10000, was 9799"}},
		{"fewer days", standing{DataDays: 700}, standing{DataDays: 699}, []string{"readings: 699 days with readings, were 700"}},
		{"as many", standing{DataDays: 700}, standing{DataDays: 700}, nil},
	} {
		var says []string
		for _, f := range facts(&c.was, &c.now) {
			says = append(says, f.Kind+": "+f.Says)
		}
		if !slices.Equal(says, c.says) {
			t.Errorf("%s: %q, want %q", c.what, says, c.says)
		}
	}
	if got := inLine([]Fact{{"a", "b"}, {"c", "d"}, {"e", "f"}}, 2); got != "a: b; c: d" {
		t.Errorf("in a line: %s", got)
	}
}

// Two sites whose service binds at 2 and at 4 modules: the next limits known are 5 and
// 3, so that three more fit at the first and none at the second. The best job that
// lifts the service brings 900.
func TestLimitsOverAFleet(t *testing.T) {
	holds := func(n int) headroom.Ceiling { return headroom.Ceiling{Modules: ingest.Some(n)} }
	site := func(binding string, service, roof int, jobs ...option.JobGain) *analyze.Finding {
		f := &analyze.Finding{Site: &ingest.Site{Branch: "north", LatitudeDeg: 40.128, LongitudeDeg: -105.004}}
		f.Room = headroom.Result{Binding: binding, Service: holds(service), Roof: holds(roof), Branch: headroom.Ceiling{}, Gateway: holds(9), Permission: holds(9)}
		f.Worth.Jobs = jobs
		return f
	}
	gain := func(worth float64, jobs ...string) option.JobGain {
		return option.JobGain{Jobs: jobs, NetBenefitGained: worth}
	}
	all := []*analyze.Finding{
		site("service", 2, 5, gain(700, headroom.PanelboardUpgrade), gain(900, headroom.PanelboardUpgrade, headroom.Subpanel), gain(5000, headroom.GatewaySwap)),
		site("service", 4, 3), site("roof", 9, 6), site("", 1, 1),
	}
	refused := site("service", 2, 5)
	refused.Worth.Refusal = "no prices"
	got := glanced(append(all, refused), nil).limits()
	if len(got) != 2 || got[0].Name != "Electrical service" || got[0].Sites != 2 || got[0].Modules != 3 || got[0].NetBenefit != 900 || got[0].Job != "mostly by: panelboard upgrade" {
		t.Errorf("%+v", got)
	}
	if got[1].Name != "Roof" || got[1].Sites != 1 || got[1].Modules != 3 || got[1].Job != "" {
		t.Errorf("%+v", got[1])
	}
	all[0].Verdict.Lane, all[1].Verdict.Lane, all[0].Verdict.OnList, all[3].Site.Branch = rank.Call, rank.Prepare, true, "east"
	if b := glanced(all, nil).branches(); len(b) != 2 || b[0].Name != "east" || b[1].Sites != 3 || b[1].Call != 1 || b[1].Prepare != 1 || b[1].OnList != 1 {
		t.Errorf("%+v", b)
	}
	all[3].Site.LatitudeDeg, all[3].Site.LongitudeDeg = 0, 0
	if p := glanced(all, nil).places; len(p) != 3 || p[0].North != 40.13 || p[0].East != -105 {
		t.Errorf("%+v", p)
	}
}

// Numbers as people say them: to two digits, to a half of the second below 3; counts
// to twelve in words.
func TestNumbersAsTheyAreSaid(t *testing.T) {
	for _, c := range [][2]float64{{0.4, 0}, {29, 29}, {31, 31}, {127, 125}, {299, 300}, {1027, 1050}, {3149, 3100}, {3151, 3200}, {-1027, -1050}, {46000, 46000}} {
		if got, _, _ := spoken(c[0], 0, 0); got != c[1] {
			t.Errorf("%g is said as %g, want %g", c[0], got, c[1])
		}
	}
	if _, low, high := spoken(3120, 2601, 3601); low != 2600 || high != 3700 {
		t.Errorf("from %g to %g", low, high)
	}
	for n, want := range map[int]string{0: "no", 1: "one", 12: "twelve", 13: "13"} {
		if got := number0(n); got != want {
			t.Errorf("%d is %q", n, got)
		}
	}
	if plainYears(1) != "a year" || plainYears(2) != "2 years" || years(7.44) != "7.4 years" || capital("eight") != "Eight" {
		t.Errorf("%q %q %q %q", plainYears(1), plainYears(2), years(7.44), capital("eight"))
	}
	if short("abcd", 4) != "abcd" || short("abcde", 4) != "abc…" || short("äöüßé", 4) != "äöü…" {
		t.Errorf("%q %q", short("abcde", 4), short("äöüßé", 4))
	}
	for hour, want := range map[int]string{0: "midnight", 12: "noon", 18: "6 pm", -1: "11 pm", 25: "1 am", 24: "midnight"} {
		if got := (words{"en-US", "USD"}).clock(hour); got != want {
			t.Errorf("hour %d is %q", hour, got)
		}
	}
	if got := (words{"en-GB", "GBP"}).clock(18) + (words{"en-GB", "SEK"}).money(-1240) + (words{"en-GB", "GBP"}).money(1240); got != "18:00−SEK 1,240£1,240" {
		t.Error(got)
	}
}
