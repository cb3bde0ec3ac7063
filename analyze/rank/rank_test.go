package rank

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

// good is a site that no rule holds back.
func good() Case {
	return Case{
		SiteID: "s", Branch: "b", MonthEnd: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC),
		DataDays: 900, DataCoveragePct: 99, GrowthPctYr: 3, GrowthLowPctYr: 2, CoveragePct: 70,
		ArrayJudged: true, PlaneRelSD: 0.05, DemandRelWidth: 0.1, RoomNow: 10, RoomWithJobs: 10,
		Offer: &Offer{Modules: 8, NetBenefit: 5000, Expected: 5100, Chance: 0.97, Payback: 8},
	}
}

func TestJudge(t *testing.T) {
	with := func(f func(*Case)) Case { c := good(); f(&c); return c }
	prepared := &Offer{Modules: 8, NetBenefit: 4000, Expected: 4100, Chance: 0.95, Payback: 9, Jobs: []Job{{"panelboard_upgrade", "the busbar takes 1 more module"}}, JobsCost: 2800}
	for _, tc := range []struct {
		name   string
		c      Case
		lane   Lane
		reason string
	}{
		{"nothing holds it back", good(), Call, "pays_back"},
		{"opted out comes before everything", with(func(c *Case) { c.OptedOut = true; c.DataDays = 0 }), DoNotContact, "opted_out"},
		{"contacted three months ago", with(func(c *Case) { c.LastContactOn = time.Date(2026, 8, 3, 0, 0, 0, 0, time.UTC) }), DoNotContact, "cool_down"},
		{"contacted seven months ago", with(func(c *Case) { c.LastContactOn = time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC) }), Call, "pays_back"},
		{"too few days", with(func(c *Case) { c.DataDays = 200 }), NoData, "few_days"},
		{"no consumption", with(func(c *Case) { c.Refusals = []Reason{{"no_consumption", "nothing"}} }), NoData, "no_consumption"},
		{"a sick array comes before a sale", with(func(c *Case) { c.WorstFault = &Fault{"inverters_down", 25, "5 of 20 down"} }), Repair, "inverters_down"},
		{"a small fault does not", with(func(c *Case) { c.WorstFault = &Fault{"decline", 6, "6 %"} }), Call, "pays_back"},
		{"a sick array on a full roof is still sick", with(func(c *Case) {
			c.WorstFault = &Fault{"outage", 100, "dead"}
			c.RoomNow, c.RoomWithJobs = 0, 0
		}), Repair, "outage"},
		{"a dead array is dead whatever the house consumes", with(func(c *Case) {
			c.WorstFault = &Fault{"outage", 100, "dead"}
			c.Refusals = []Reason{{"no_consumption", "nothing"}}
		}), Repair, "outage"},
		{"a fault of stale readings is none", with(func(c *Case) {
			c.WorstFault = &Fault{"outage", 100, "dead"}
			c.ArrayJudged, c.Refusals = false, []Reason{{"stale_readings", "old"}}
		}), NoData, "stale_readings"},
		{"the array makes a third of its watts", with(func(c *Case) { c.Unknown = []Reason{{"verify_array", "verify the array"}} }), Prepare, "verify_array"},
		{"no roof", with(func(c *Case) {
			c.RoomNow, c.RoomWithJobs = 1, 1
			c.BlockedBy = []Reason{{"roof_full", "the roof takes 1 more module"}}
		}), Blocked, "roof_full"},
		{"nothing pays", with(func(c *Case) { c.Offer = nil; c.GrowthLowPctYr = -1 }), NoGain, "no_net_benefit"},
		{"pays too late", with(func(c *Case) { c.Offer.Payback = 18; c.GrowthLowPctYr = -1 }), NoGain, "payback_too_long"},
		{"nothing pays yet, but use grows", with(func(c *Case) { c.Offer = nil }), Watch, "need_growing"},
		{"use grows, but the array makes plenty", with(func(c *Case) { c.Offer = nil; c.CoveragePct = 140 }), NoGain, "covered"},
		{"too uncertain", with(func(c *Case) { c.Offer.Chance = 0.6 }), Watch, "uncertain"},
		{"the successor of its tariff is not known", with(func(c *Case) { c.Uncertain = []Reason{{"successor_unknown", "tou-b is not there"}} }), Watch, "successor_unknown"},
		{"panelboard first", with(func(c *Case) { c.Offer = nil; c.OfferWithJobs = prepared; c.RoomNow = 0 }), Prepare, "panelboard_upgrade"},
		{"ready beats prepared", with(func(c *Case) { c.OfferWithJobs = prepared }), Call, "pays_back"},
		{"a ceiling is not known", with(func(c *Case) { c.Unknown = []Reason{{"service_unknown", "the busbar rating"}} }), Prepare, "pays_back"},
		{"something can be asked on the call", with(func(c *Case) { c.ToAsk = []Reason{{"permission_unknown", "what does the permission allow?"}} }), Call, "pays_back"},
		{"one module is no visit", with(func(c *Case) { c.Offer.Modules = 1; c.GrowthLowPctYr = 0 }), NoGain, "payback_too_long"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v := Judge(tc.c, Defaults())
			if v.Lane != tc.lane {
				t.Fatalf("lane %s, want %s (reasons %v)", v.Lane, tc.lane, v.Reasons)
			}
			if !hasReason(v, tc.reason) {
				t.Errorf("reasons %v lack %s", v.Reasons, tc.reason)
			}
			if v.NextStep == "" || v.Confidence < 0 || v.Confidence > 1 {
				t.Errorf("next step %q, confidence %g", v.NextStep, v.Confidence)
			}
			if (v.Priority > 0) != v.Lane.Ranked() {
				t.Errorf("priority %g in lane %s", v.Priority, v.Lane)
			}
		})
	}
}

func hasReason(v Verdict, code string) bool {
	for _, r := range v.Reasons {
		if r.Code == code {
			return true
		}
	}
	return false
}

// What makes an answer less sure must never raise its confidence.
func TestConfidenceFallsWithDoubt(t *testing.T) {
	g := good()
	base, _ := confidence(&g)
	for name, worse := range map[string]func(*Case){
		"fewer days":       func(c *Case) { c.DataDays = 400 },
		"less coverage":    func(c *Case) { c.DataCoveragePct = 80 },
		"wider use":        func(c *Case) { c.DemandRelWidth = 0.5 },
		"vaguer plane":     func(c *Case) { c.PlaneRelSD = 0.2 },
		"unknown ceiling":  func(c *Case) { c.Unknown = []Reason{{}} },
		"to ask":           func(c *Case) { c.ToAsk = []Reason{{}} },
		"caveats":          func(c *Case) { c.Caveats = 3 },
		"default tariff":   func(c *Case) { c.TariffRefused = true },
		"a stage refused":  func(c *Case) { c.Refusals = []Reason{{}} },
		"interval unknown": func(c *Case) { c.DemandRelWidth = 2 },
	} {
		c := good()
		worse(&c)
		if got, _ := confidence(&c); got >= base {
			t.Errorf("%s: confidence %g, was %g", name, got, base)
		}
	}
}

func TestOrder(t *testing.T) {
	places := []Place{{SiteID: "d", Branch: "n", Priority: 100}, {SiteID: "a", Branch: "n", Priority: 300}, {SiteID: "b", Branch: "n", Priority: 100},
		{SiteID: "c", Branch: "s", Priority: 200}, {SiteID: "e", Branch: "n", Priority: 250, Rests: true}}
	if err := Order(places, 2, 5, nil); err != nil {
		t.Fatal(err)
	}
	// by hand: 300 (a), 250 (e, who bought lately and takes no place of the list),
	// 200 (c), then 100: b before d; branch n may call two: a and b.
	want := []struct {
		rank   int
		onList bool
	}{{5, false}, {1, true}, {4, true}, {3, true}, {2, false}}
	for i, w := range want {
		if places[i].Rank != w.rank || places[i].OnList != w.onList {
			t.Errorf("%s: rank %d on list %v, want %d %v", places[i].SiteID, places[i].Rank, places[i].OnList, w.rank, w.onList)
		}
	}
}

// Three sites of a branch that can call one, in four draws, by hand: a is ahead
// in draws 1 and 3, b in draw 2, c in draw 4; in draw 2 a would lose.
func TestStability(t *testing.T) {
	drawn := map[string][]float32{"a": {30, -5, 30, 30}, "b": {20, 20, 20, 20}, "c": {10, 10, 10, 50}}
	draws := func(p *Place) ([]float32, error) { return drawn[p.SiteID], nil }
	places := []Place{{SiteID: "a", Drawn: 4, Priority: 21.25, Expected: 21.25}, {SiteID: "b", Drawn: 4, Priority: 20, Expected: 20}, {SiteID: "c", Drawn: 4, Priority: 19, Expected: 20}}
	if err := Order(places, 1, 5, draws); err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.5, 0.25, 0.25} {
		if places[i].Stability != want {
			t.Errorf("%s: %g, want %g", places[i].SiteID, places[i].Stability, want)
		}
	}
	if err := Order(places, 3, 5, draws); err != nil { // with room for all the list loses only who would lose
		t.Fatal(err)
	}
	for i, want := range []float64{0.75, 1, 1} {
		if places[i].Stability != want {
			t.Errorf("%s of three: %g, want %g", places[i].SiteID, places[i].Stability, want)
		}
	}
	failed := errors.New("gone")
	if err := Order(places, 1, 5, func(*Place) ([]float32, error) { return nil, failed }); !errors.Is(err, failed) {
		t.Errorf("%v, want %v", err, failed)
	}
}

// Going over the draws twice finds those that sorting every draw finds.
func TestStabilityAgainstSorting(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		n, calls, draws := 1+r.IntN(30), r.IntN(12), 1+r.IntN(9)
		places, drawn := make([]Place, n), map[string][]float32{}
		for i := range places {
			p := Place{SiteID: string(rune('a' + i)), Priority: float64(r.IntN(4)), Expected: float64(r.IntN(3) - 1)}
			if r.IntN(4) > 0 {
				p.Drawn = draws
				for range draws {
					drawn[p.SiteID] = append(drawn[p.SiteID], float32(r.IntN(5)-1)) // few values, so that many are equal
				}
			}
			places[i] = p
		}
		if err := Order(places, calls, 5, func(p *Place) ([]float32, error) { return drawn[p.SiteID], nil }); err != nil {
			t.Fatal(err)
		}
		if len(drawn) == 0 {
			continue
		}
		slices.SortFunc(places, func(a, b Place) int { return a.Rank - b.Rank })
		stays := make([]int, n)
		for d := range draws {
			type worth struct {
				v  float64
				at int
			}
			var all []worth
			for i, p := range places {
				v := p.Priority
				if p.Drawn > 0 && p.Expected > 0 {
					v *= float64(drawn[p.SiteID][d]) / p.Expected
				}
				if v > 0 {
					all = append(all, worth{v, i})
				}
			}
			slices.SortStableFunc(all, func(a, b worth) int { return cmp.Compare(b.v, a.v) })
			for k, w := range all {
				if calls == 0 || k < calls {
					stays[w.at]++
				}
			}
		}
		for i, p := range places {
			if want := float64(stays[i]) / float64(draws); p.Stability != want {
				t.Fatalf("%d of %d, %d calls: %g, want %g", i, n, calls, p.Stability, want)
			}
		}
	}
}

// A degree of latitude is 111.2 km: 0.03 degrees are 3.3 km, 0.06 are 6.7.
func TestTrips(t *testing.T) {
	nan := math.NaN()
	places := []Place{
		{SiteID: "a", Branch: "n", LatitudeDeg: 40, LongitudeDeg: -105}, {SiteID: "b", Branch: "n", LatitudeDeg: 40.06, LongitudeDeg: -105},
		{SiteID: "c", Branch: "n", LatitudeDeg: 40.03, LongitudeDeg: -105}, {SiteID: "d", Branch: "s", LatitudeDeg: 40, LongitudeDeg: -105},
		{SiteID: "e", Branch: "s", Postcode: "00117", LatitudeDeg: nan, LongitudeDeg: nan}, {SiteID: "f", Branch: "s", Postcode: "00117", LatitudeDeg: 50, LongitudeDeg: 0},
	}
	for i := range places {
		places[i].Priority = float64(10 - i)
	}
	if err := Order(places, 0, 5, nil); err != nil {
		t.Fatal(err)
	}
	for i, want := range []int{1, 2, 1, 3, 4, 4} {
		if places[i].Trip != want {
			t.Errorf("%s is of trip %d, want %d", places[i].SiteID, places[i].Trip, want)
		}
	}
}

func TestOrders(t *testing.T) {
	x := Terms{Expected: 6000, Chance: 0.9, Confidence: 0.8, Outcomes: 1.25, Visits: 3, Payback: 9}
	for order, want := range map[string]float64{PerCall: 5400, "": 5400, PerVisit: 1800, ShortestPayback: 0.1} {
		if got := x.Priority(order); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %g, want %g", order, got, want)
		}
	}
}

func TestOutcomeFactors(t *testing.T) {
	var os []Outcome
	addCalls := func(branch string, sold, calls int) {
		for i := range calls {
			os = append(os, Outcome{branch, i < sold})
		}
	}
	addCalls("north", 20, 40)
	if len(OutcomeFactors(os)) != 0 {
		t.Error("40 outcomes are too few to weigh")
	}
	addCalls("south", 4, 40)
	got := OutcomeFactors(os)
	// by hand: p = 24/80 = 0.3; north (20+6)/(60)/0.3 = 1.4444; south (4+6)/60/0.3 = 0.5556
	if math.Abs(got["north"]-26.0/60/0.3) > 1e-12 || math.Abs(got["south"]-10.0/60/0.3) > 1e-12 {
		t.Errorf("factors %v", got)
	}
}

func TestEveryJobHasAStepInWords(t *testing.T) {
	for _, job := range []string{"software_update", "gateway_swap", "panelboard_upgrade", "subpanel", "supply_side_connection", "new_permission"} {
		if !strings.Contains(jobSteps[job], " ") {
			t.Errorf("job %s has no step in words", job)
		}
	}
}

// TestConfidenceIsItsFactors: the product of what is said is the confidence, and
// every doubt that lowers it is said.
func TestConfidenceIsItsFactors(t *testing.T) {
	c := good()
	c.DataCoveragePct, c.DataDays, c.DemandRelWidth, c.PlaneRelSD, c.Caveats, c.TariffRefused = 90, 365, 0.2, 0.05, 3, true
	c.Unknown, c.ToAsk = []Reason{{"a", "b"}, {"c", "d"}}, []Reason{{"e", "f"}}
	got, said := confidence(&c)
	product := 1.0
	for _, f := range said {
		product *= f.Value
	}
	if want := 0.9 * 0.5 * 0.9 * 0.95 * 0.49 * 0.9 * 0.98 * 0.98 * 0.98 * 0.5; math.Abs(got-want) > 0.0006 || math.Abs(product-want) > 1e-9 || len(said) != 8 {
		t.Errorf("%.4f, its factors %.6f from %v, want %.6f", got, product, said, want)
	}
}
