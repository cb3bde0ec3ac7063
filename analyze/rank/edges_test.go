package rank

import (
	"slices"
	"strings"
	"testing"
)

// TestEdges: each threshold at its very value and a hair to either side, by the
// settings' own words: "at least", "within", "below".
func TestEdges(t *testing.T) {
	o := Defaults()
	with := func(f func(*Case)) Case { c := good(); f(&c); return c }
	dry := func(c *Case) { c.Offer = nil; c.GrowthLowPctYr = 0 } // nothing pays and nothing grows
	for _, tc := range []struct {
		name string
		c    Case
		lane Lane
	}{
		{"just enough days", with(func(c *Case) { c.DataDays = o.MinDataDays }), Call},
		{"a day too few", with(func(c *Case) { c.DataDays = o.MinDataDays - 1 }), NoData},
		{"a loss at the limit", with(func(c *Case) { c.WorstFault = &Fault{"outage", o.RepairLossPct, ""} }), Repair},
		{"a loss below it", with(func(c *Case) { c.WorstFault = &Fault{"outage", o.RepairLossPct - 0.01, ""} }), Call},
		{"room for just enough", with(func(c *Case) { c.RoomNow, c.RoomWithJobs = o.MinModules, 0 }), Call},
		{"room with jobs for just enough", with(func(c *Case) { c.RoomNow, c.RoomWithJobs = 0, o.MinModules }), Call},
		{"room for one too few", with(func(c *Case) { c.RoomNow, c.RoomWithJobs = o.MinModules-1, o.MinModules-1 }), Blocked},
		{"as many modules as are worth a visit", with(func(c *Case) { c.Offer.Modules = o.MinModules }), Call},
		{"pays back just in time", with(func(c *Case) { c.Offer.Payback = o.MaxPaybackYears }), Call},
		{"pays back a hair late", with(func(c *Case) { c.Offer.Payback = o.MaxPaybackYears + 1e-9; c.GrowthLowPctYr = 0 }), NoGain},
		{"gains nothing", with(func(c *Case) { c.Offer.NetBenefit = 0; c.GrowthLowPctYr = 0 }), NoGain},
		{"gains a cent", with(func(c *Case) { c.Offer.NetBenefit = 0.01 }), Call},
		{"as sure as asked for", with(func(c *Case) { c.Offer.Chance = o.MinChance }), Call},
		{"a hair less sure", with(func(c *Case) { c.Offer.Chance = o.MinChance - 1e-9 }), Watch},
		{"growth of a point", with(func(c *Case) { dry(c); c.GrowthLowPctYr, c.GrowthPctYr, c.CoveragePct = 0.1, 1, 90 }), Watch},
		{"growth of less", with(func(c *Case) { dry(c); c.GrowthLowPctYr, c.GrowthPctYr, c.CoveragePct = 0.1, 0.99, 90 }), NoGain},
		{"growth that may be none", with(func(c *Case) { dry(c); c.GrowthLowPctYr, c.GrowthPctYr, c.CoveragePct = 0, 5, 90 }), NoGain},
		{"grows out of its coverage in three years", with(func(c *Case) { dry(c); c.GrowthLowPctYr, c.GrowthPctYr, c.CoveragePct = 1, 10, 133 }), Watch}, // 133 / 1.1^3 = 99.9
		{"and just not", with(func(c *Case) { dry(c); c.GrowthLowPctYr, c.GrowthPctYr, c.CoveragePct = 1, 10, 133.2 }), NoGain},                          // 133.1 would be 100
	} {
		if v := Judge(tc.c, o); v.Lane != tc.lane {
			t.Errorf("%s: %s, want %s: %v", tc.name, v.Lane, tc.lane, v.Reasons)
		}
	}
}

// TestWordsSayTheFigures: figures in sentences are those of the case.
func TestWordsSayTheFigures(t *testing.T) {
	o := Defaults()
	with := func(f func(*Case)) Verdict { c := good(); f(&c); return Judge(c, o) }
	all := func(v Verdict) string {
		var b strings.Builder
		for _, r := range v.Reasons {
			b.WriteString(r.Says + "\n")
		}
		return b.String() + v.NextStep
	}
	for _, tc := range []struct {
		name string
		v    Verdict
		says []string
	}{
		{"uncertain", with(func(c *Case) { c.Offer.Chance = 0.42 }), []string{"the chance of a gain is 42 %", "ask for 95 %"}},
		{"covered", with(func(c *Case) { c.Offer, c.GrowthLowPctYr, c.CoveragePct = nil, 0, 100 }), []string{"already covers 100 %"}},
		{"up to more", with(func(c *Case) { c.Offer.UpTo = 11 }), []string{"offer 8 more modules, up to 11"}},
		{"up to the same", with(func(c *Case) { c.Offer.UpTo = 8 }), []string{"offer 8 more modules"}},
		{"few days", with(func(c *Case) { c.DataDays = 17 }), []string{"17 days with readings"}},
		{"a job without words of its own", with(func(c *Case) { c.Offer.Jobs = []Job{{"roof_repair", "it leaks"}} }), []string{"arrange the roof repair", "it leaks"}},
		{"a job with them", with(func(c *Case) { c.Offer.Jobs = []Job{{"new_permission", "it is full"}} }), []string{"first apply for a new permission to operate; then offer 8 more modules"}},
		{"shade", with(func(c *Case) { c.WorstFault = &Fault{"shading", 30, "s"} }), []string{"look at what shades the array"}},
		{"no shade", with(func(c *Case) { c.WorstFault = &Fault{"outage", 30, "s"} }), []string{"book a service visit", "more modules would still pay"}},
		{"blocked for no stated reason", with(func(c *Case) { c.RoomNow, c.RoomWithJobs = 0, 0 }), []string{"no offer: there is no room for more modules"}},
	} {
		for _, s := range tc.says {
			if !strings.Contains(all(tc.v), s) {
				t.Errorf("%s: %q is not in %q", tc.name, s, all(tc.v))
			}
		}
	}
	if v := with(func(c *Case) { c.Offer.UpTo = 8 }); strings.Contains(v.NextStep, "up to") {
		t.Errorf("%q grows to what it is", v.NextStep)
	}
	if v := with(func(c *Case) { c.WorstFault, c.Offer = &Fault{"outage", 30, "s"}, nil }); slices.ContainsFunc(v.Reasons, func(r Reason) bool { return r.Code == "expansion_after_repair" }) {
		t.Error("an expansion is promised where there is no offer")
	}
	if v := with(func(c *Case) { c.Offer, c.GrowthLowPctYr, c.CoveragePct = nil, 0, 99.9 }); strings.Contains(all(v), "already covers") {
		t.Error("99.9 % covers a year")
	}
}

// TestVisits: one for the work, one for what is prepared at the house, one for
// what is found out there.
func TestVisits(t *testing.T) {
	c := good()
	visits := func(jobs ...string) float64 {
		f := *c.Offer
		for _, j := range jobs {
			f.Jobs = append(f.Jobs, Job{Name: j})
		}
		return termsOf(&c, &f, 1).Visits
	}
	if got := visits(); got != 1 {
		t.Errorf("%g visits for nothing but the work", got)
	}
	if got := visits("software_update", "new_permission"); got != 1 {
		t.Errorf("%g visits for office work", got)
	}
	if got := visits("panelboard_upgrade"); got != 2 {
		t.Errorf("%g visits with a panelboard", got)
	}
	c.Unknown = []Reason{{"roof_unknown", "the roof"}, {"service_unknown", "the service"}}
	if got := visits("subpanel"); got != 3 {
		t.Errorf("%g visits with a subpanel and a roof to measure", got)
	}
}

// TestFactorsSayTheirFigures: half of a relative width of 20 % is 10 %.
func TestFactorsSayTheirFigures(t *testing.T) {
	c := good()
	c.DemandRelWidth, c.PlaneRelSD = 0.2, 0.05
	_, said := confidence(&c)
	var all []string
	for _, f := range said {
		all = append(all, f.Says)
	}
	for _, s := range []string{"known to 10 %", "known to 5 %"} {
		if !strings.Contains(strings.Join(all, "; "), s) {
			t.Errorf("%q is not in %q", s, all)
		}
	}
	whole := good()
	whole.DemandRelWidth, whole.PlaneRelSD, whole.DataDays, whole.DataCoveragePct, whole.Caveats = 0, 0, 730, 100, 0
	if got, said := confidence(&whole); got != 1 || len(said) != 0 {
		t.Errorf("%g, because %v, where nothing is in doubt", got, said)
	}
}

// TestDistance: a degree of latitude is 111.2 km, one of longitude at 60 degrees
// half of that, and the date line is no distance.
func TestDistance(t *testing.T) {
	at := func(lat, lon float64) *Place { return &Place{LatitudeDeg: lat, LongitudeDeg: lon} }
	for _, tc := range []struct {
		a, b *Place
		km   float64
	}{{at(40, -105), at(41, -105), 111.2}, {at(60, 10), at(60, 12), 111.2}, {at(60, 179.5), at(60, -179.5), 55.6}, {at(0, 0), at(0.3, 0.4), 55.6}} {
		if got := distanceKm(tc.a, tc.b); got < tc.km-0.01 || got > tc.km+0.01 {
			t.Errorf("%.3f km, want %.1f", got, tc.km)
		}
	}
}
