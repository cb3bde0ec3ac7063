package analyze

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/ingest"
	"rowen/ingest/demo"
)

func testOptions(workers int) Options {
	h := headroom.DefaultOptions()
	h.CostOf = map[string]float64{"software_update": 0, "panelboard_upgrade": 2800, "new_permission": 450, "gateway_swap": 900}
	return Options{
		Workers: workers, DefaultModule: "TN-430", DefaultInverter: "KV2-410", DefaultTariff: "tou-a", WeatherMaxKM: 60,
		Headroom: h, Rank: rank.Defaults(),
		Money: option.Money{DiscountRatePct: 5, PriceEscalationPctYr: 2.5, HorizonYears: 25, ModuleDegradationPctYr: 0.5,
			CostPerModule: 780, CostPerVisit: 1400, Doubt: option.DefaultDoubt()},
	}
}

// broken is a source that fails in its own way for some sites.
type broken struct {
	ingest.Source
	panics, errs, none string
}

func (b broken) Load(id string, s *ingest.Series) error {
	switch id {
	case b.panics:
		panic("index out of range")
	case b.errs:
		return errors.New("the ledger is damaged")
	case b.none:
		return ingest.ErrNoReadings
	}
	return b.Source.Load(id, s)
}

// One site's failure is its own: the others come out as if it were not there to
// fail.
func TestAFailureStaysWithItsSite(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 12, 14
	m := demo.Make(o)
	fleet := m.Fleet()
	ids := []string{fleet.Sites[2].ID, fleet.Sites[5].ID, fleet.Sites[7].ID}
	fleet.Sites[5].DoNotContact = true
	fleet.SitesSetAside = []string{"ZZ-0001"}
	findings := judgeAll(t, fleet, broken{m.Source(), ids[0], ids[1], ids[2]}, 3)
	if len(findings) != 13 {
		t.Fatalf("%d findings for 12 sites and one whose row was set aside", len(findings))
	}
	if last := findings[12]; last.Site.ID != "ZZ-0001" || last.Verdict.Lane != rank.NoData || last.Verdict.Reasons[0].Code != "register_row" {
		t.Errorf("the site whose row was set aside: %+v", last.Verdict)
	}
	for _, f := range findings {
		failed := f.Site.ID == ids[0] || f.Site.ID == ids[1]
		if (f.Failed != "") != failed {
			t.Errorf("%s: failed %q", f.Site.ID, f.Failed)
		}
		switch f.Site.ID {
		case ids[0]:
			if f.Verdict.Lane != rank.NoData || !strings.Contains(f.Failed, "index out of range") {
				t.Errorf("lane %s, failed %q", f.Verdict.Lane, f.Failed)
			}
		case ids[1]:
			if f.Verdict.Lane != rank.DoNotContact {
				t.Errorf("a site that fails and opted out is in lane %s", f.Verdict.Lane)
			}
		case ids[2]:
			if f.Verdict.Lane != rank.NoData {
				t.Errorf("a site without readings is in lane %s", f.Verdict.Lane)
			}
		}
	}
}

// thinned is a source whose series lack a channel, or keep only one.
type thinned struct {
	ingest.Source
	only []ingest.Channel
}

func (t thinned) Load(id string, s *ingest.Series) error {
	err := t.Source.Load(id, s)
	for c := range s.Wh {
		if !slices.Contains(t.only, ingest.Channel(c)) {
			s.Wh[c] = nil
			if s.Fine != nil {
				s.Fine.Wh[c] = nil
			}
		}
	}
	return err
}

// Whatever is metered, nothing panics, and what is not metered is not judged.
func TestEverySetOfChannels(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months, o.PlainHomes = 6, 14, true
	m := demo.Make(o)
	p, c, i, e := ingest.Production, ingest.Consumption, ingest.Import, ingest.Export
	for _, only := range [][]ingest.Channel{{}, {p}, {c}, {i}, {i, e}, {p, c}, {p, i}, {p, i, e}, {c, i, e}, {p, c, i, e}} {
		for _, f := range judgeAll(t, m.Fleet(), thinned{m.Source(), only}, 2) {
			if f.Failed != "" {
				t.Errorf("%v: %s failed: %s", only, f.Site.ID, f.Failed)
			}
			if !slices.Contains(only, p) && f.Verdict.Lane.Ranked() {
				t.Errorf("%v: %s is in lane %s, and nobody knows what its array makes", only, f.Site.ID, f.Verdict.Lane)
			}
			use := slices.Contains(only, c) || (slices.Contains(only, p) && slices.Contains(only, i))
			if !use && f.Verdict.Lane.Ranked() {
				t.Errorf("%v: %s is in lane %s, and nobody knows what it uses", only, f.Site.ID, f.Verdict.Lane)
			}
		}
	}
}

func judgeAll(t *testing.T, fleet *ingest.Fleet, source ingest.Source, workers int) []*Finding {
	t.Helper()
	fl := NewFleet(fleet, source, testOptions(workers))
	survey, err := fl.Survey(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var findings []*Finding
	if err := fl.Judge(context.Background(), survey, Whole, func(f *Finding) error {
		f.Shed()
		findings = append(findings, f)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(findings, func(a, b *Finding) int { return strings.Compare(a.Site.ID, b.Site.ID) })
	return findings
}

// The order of the register's rows changes nothing.
func TestOrderOfTheRegisterDoesNotMatter(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 16, 14
	m := demo.Make(o)
	a := judgeAll(t, m.Fleet(), m.Source(), 1)
	turned := m.Fleet()
	turned.Sites = slices.Clone(turned.Sites)
	slices.Reverse(turned.Sites)
	b := judgeAll(t, turned, m.Source(), 4)
	for i := range a {
		x, y := a[i], b[i]
		if x.Site.ID != y.Site.ID || x.Verdict.Lane != y.Verdict.Lane || x.Verdict.Priority != y.Verdict.Priority ||
			math.Float64bits(x.Demand.NextYearKWh) != math.Float64bits(y.Demand.NextYearKWh) {
			t.Errorf("%s: %s %g, turned round %s %g", x.Site.ID, x.Verdict.Lane, x.Verdict.Priority, y.Verdict.Lane, y.Verdict.Priority)
		}
	}
}

func TestEachSiteDeliversInOrder(t *testing.T) {
	for _, workers := range []int{1, 2, 7} {
		var got []int
		err := eachSite(context.Background(), 100, workers, func(_, i int) (int, error) {
			time.Sleep(time.Duration((i*7)%5) * 100 * time.Microsecond)
			return i * i, nil
		}, func(i, sq int, failed error) error {
			if sq != i*i || failed != nil {
				t.Errorf("site %d: %d %v", i, sq, failed)
			}
			got = append(got, i)
			return nil
		})
		if err != nil || len(got) != 100 || !slices.IsSorted(got) {
			t.Errorf("%d workers: %v %v", workers, got, err)
		}
	}
}

// A site that fails, by an error or a panic, fails alone, and its error is the
// one that was returned.
func TestEachSiteFailsAlone(t *testing.T) {
	broken := errors.New("the readings are damaged")
	failed := map[int]error{}
	err := eachSite(context.Background(), 9, 2, func(_, i int) (int, error) {
		switch i {
		case 3:
			return 7, broken
		case 5:
			panic("index out of range")
		}
		return 1, nil
	}, func(i, n int, err error) error {
		if err != nil {
			failed[i] = err
		}
		if (err != nil) != (n == 0) {
			t.Errorf("site %d: %d, %v", i, n, err)
		}
		return nil
	})
	if err != nil || len(failed) != 2 || !errors.Is(failed[3], broken) || !strings.Contains(failed[5].Error(), "out of range") {
		t.Error(err, failed)
	}
}

// A pass ends when what it delivers cannot be taken, and when it is called off.
func TestEachSiteEnds(t *testing.T) {
	full := errors.New("the disk is full")
	err := eachSite(context.Background(), 1000, 3, func(_, i int) (int, error) { return i, nil }, func(i, _ int, _ error) error {
		if i == 10 {
			return full
		}
		return nil
	})
	if !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	err = eachSite(ctx, 1000, 3, func(_, i int) (int, error) { return i, nil }, func(i, _ int, _ error) error {
		if i == 10 {
			stop()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// Distances by hand: one degree of latitude on a sphere of 6371.0 km is
// 6371·π/180 = 111.195 km; a degree of longitude at 60° half of that.
func TestNearestTemperatures(t *testing.T) {
	if d := distanceKM(10, 20, 11, 20); math.Abs(d-111.195) > 0.001 {
		t.Errorf("a degree of latitude is %.3f km", d)
	}
	if d := distanceKM(60, 20, 60, 21); math.Abs(d-55.597) > 0.005 {
		t.Errorf("a degree of longitude at 60° is %.3f km", d)
	}
	temps := []float64{1}
	stations := []ingest.Station{
		{ID: "light-only", LatitudeDeg: 40, LongitudeDeg: -105},
		{ID: "far", LatitudeDeg: 41, LongitudeDeg: -105, TempC: temps},
		{ID: "near", LatitudeDeg: 40.2, LongitudeDeg: -105, TempC: temps},
	}
	site := &ingest.Site{LatitudeDeg: 40, LongitudeDeg: -105}
	if st := nearestTemperatures(stations, site, 60); st == nil || st.ID != "near" {
		t.Errorf("got %v", st)
	}
	if st := nearestTemperatures(stations, site, 10); st != nil {
		t.Errorf("%s is out of reach", st.ID)
	}
}

func TestAligned(t *testing.T) {
	got := aligned([]float64{1, 2, 3}, 10, 9, 5, nil)
	want := []float64{math.NaN(), 1, 2, 3, math.NaN()}
	for i := range want {
		if got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
			t.Fatalf("got %v, want %v", got, want)
		}
	}
}

// What earlier calls did stands in the lanes, and modules that a call sold are
// found to make what the generator had them make.
func TestOutcomesOfAFleet(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 72, 25
	m := demo.Make(o)
	waiting, expanded := 0, 0
	for _, f := range judgeAll(t, m.Fleet(), m.Source(), 2) {
		last := f.LastOutcome()
		if last == nil {
			continue
		}
		if last.Result == rank.Sold && f.Verdict.OnList && last.CalledOn.AddDate(0, 18, 0).After(f.Month.End(f.Location)) {
			t.Errorf("%s was sold to on %s and is on a call list", f.Site.ID, last.CalledOn.Format(time.DateOnly))
		}
		if x := f.Expansion; x != nil {
			expanded++
			made := 0.0
			for _, a := range f.Site.Arrays {
				if a.CommissionedOn.Equal(x.BuiltOn) {
					mod, inv := m.Fleet().Catalogue.Module(a.ModuleModel), m.Fleet().Catalogue.Inverter(a.InverterModel)
					for _, wh := range m.CandidateTruth(f.Site.ID, a.PlaneID, mod.Watts, mod.TempCoefficientPctPC, inv.ACWatts, f.Window) {
						made += float64(a.Modules) * wh / 1000
					}
				}
			}
			if x.Refusal != "" || made < x.RealizedLow || made > x.RealizedHigh {
				t.Errorf("%s: realized %.0f kWh (%.0f to %.0f), the generator's %.0f; %s", f.Site.ID, x.RealizedKWhYr, x.RealizedLow, x.RealizedHigh, made, x.Refusal)
			}
			continue
		}
		if last.Result == rank.Sold && last.CalledOn.AddDate(0, 18, 0).After(f.Month.End(f.Location)) {
			waiting++
			if f.Verdict.Lane != rank.DoNotContact || f.Verdict.NotBefore.IsZero() {
				t.Errorf("%s was sold to and is in lane %s", f.Site.ID, f.Verdict.Lane)
			}
		}
	}
	if expanded != 3 || waiting == 0 {
		t.Errorf("%d sites were expanded, want 3; %d wait to be built", expanded, waiting)
	}
}

// once is a source that fails the first time that a site is asked for.
type once struct {
	ingest.Source
	id   string
	fail *atomic.Bool
}

func (o once) Load(id string, s *ingest.Series) error {
	if id == o.id && o.fail.Swap(false) {
		return errors.New("input/output error")
	}
	return o.Source.Load(id, s)
}

// A site that the survey could not read left its neighbors without its sky and
// its season: that it can be read later does not make the run whole.
func TestAFailureOfTheSurveyIsReported(t *testing.T) {
	o := demo.Default()
	o.Sites, o.Months = 6, 14
	m := demo.Make(o)
	fleet := m.Fleet()
	fail := new(atomic.Bool)
	fail.Store(true)
	id := fleet.Sites[3].ID
	for _, f := range judgeAll(t, fleet, once{m.Source(), id, fail}, 2) {
		if (f.Failed != "") != (f.Site.ID == id) {
			t.Errorf("%s: failed %q", f.Site.ID, f.Failed)
		}
		if f.Site.ID == id && !strings.Contains(f.Failed, "input/output error") {
			t.Errorf("failed %q", f.Failed)
		}
	}
}
