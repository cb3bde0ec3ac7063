package demo

import (
	"context"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rowen/ingest"
	"rowen/ingest/ledger"
	"rowen/ingest/readings"
	"rowen/ingest/register"
	"rowen/scripts/outside"
)

// small is a fleet that a test can afford.
func small(sites int) Options {
	o := Default()
	o.Sites, o.Months = sites, 14
	return o
}

func digest(t *testing.T, dir string) string {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		fmt.Fprintf(h, "%s %d\n", strings.TrimPrefix(path, dir), len(b))
		h.Write(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

func TestSameSeedSameBytes(t *testing.T) {
	write := func(o Options, workers int) string {
		dir := t.TempDir()
		if err := Make(o).Write(dir, WriteOptions{SitesPerFile: 3, Workers: workers}); err != nil {
			t.Fatal(err)
		}
		return digest(t, dir)
	}
	o := small(14)
	one := write(o, 1)
	if four := write(o, 4); one != four {
		t.Error("one worker and four write different bytes")
	}
	o.Seed++
	if other := write(o, 1); one == other {
		t.Error("another seed writes the same bytes")
	}
}

func TestWriteRefusesAFolderWithReadings(t *testing.T) {
	dir := t.TempDir()
	m := Make(small(2))
	if err := m.Write(dir, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := m.Write(dir, WriteOptions{}); err == nil || !strings.Contains(err.Error(), "already holds readings") {
		t.Errorf("a second fleet over the first: %v, want a refusal", err)
	}
}

// Loading in another order, at the same time, into used memory, gives the same.
func TestLoadIsIndependentOfOrder(t *testing.T) {
	for _, step := range []int{60, 15} {
		o := small(9)
		o.StepMinutes = step
		m := Make(o)
		ids := m.Source().Order()
		want := map[string]ingest.Series{}
		for _, id := range ids {
			var s ingest.Series
			if err := m.Source().Load(id, &s); err != nil {
				t.Fatal(err)
			}
			want[id] = s
		}
		other := Make(o)
		var wg sync.WaitGroup
		for w := range 3 {
			wg.Go(func() {
				var s ingest.Series
				for k := len(ids) - 1; k >= 0; k-- {
					id := ids[(k+w*3)%len(ids)]
					if err := other.Source().Load(id, &s); err != nil {
						t.Error(err)
					}
					if !sameSeries(want[id], s) {
						t.Errorf("step %d: site %s differs", step, id)
					}
				}
			})
		}
		wg.Wait()
	}
	if err := Make(small(2)).Source().Load("nobody", new(ingest.Series)); !errors.Is(err, ingest.ErrNoReadings) {
		t.Errorf("a site that is not there: %v, want ErrNoReadings", err)
	}
}

// sameSeries compares bit by bit, NaN equal to NaN; a cmp.Diff of so many
// numbers takes minutes.
func sameSeries(a, b ingest.Series) bool {
	if a.SiteID != b.SiteID || a.Start != b.Start || a.StepMinutes != b.StepMinutes || (a.Fine == nil) != (b.Fine == nil) {
		return false
	}
	for c := range a.Wh {
		if !slices.EqualFunc(a.Wh[c], b.Wh[c], func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) }) {
			return false
		}
		if a.Fine != nil && !slices.EqualFunc(a.Fine.Wh[c], b.Fine.Wh[c], func(x, y float32) bool { return math.Float32bits(x) == math.Float32bits(y) }) {
			return false
		}
	}
	return true
}

// production + import = consumption + export, in truth to the Wh, in the
// readings within the meters' tolerance.
func TestEnergyBalances(t *testing.T) {
	m := Make(small(40))
	checked := 0
	for _, s := range m.sites {
		sc := new(scratch)
		s.simulate(m, sc, s.faults, s.events)
		for i := range sc.wh[0] {
			d := sc.wh[ingest.Production][i] + sc.wh[ingest.Import][i] - sc.wh[ingest.Consumption][i] - sc.wh[ingest.Export][i]
			if math.Abs(d) > 1e-6 {
				t.Fatalf("%s hour %d: %g Wh appear", s.reg.ID, i, d)
			}
			if sc.wh[ingest.Production][i] < 0 || sc.wh[ingest.Consumption][i] <= 0 || sc.wh[ingest.Import][i] < 0 || sc.wh[ingest.Export][i] < 0 {
				t.Fatalf("%s hour %d: a negative energy", s.reg.ID, i)
			}
		}
		if s.meters.deadFrom >= 0 || len(s.meters.spikes) > 0 || !s.meters.consumption || !s.meters.grid {
			continue
		}
		var in ingest.Series
		if err := m.Source().Load(s.reg.ID, &in); err != nil {
			t.Fatal(err)
		}
		var got, want float64
		for h := range in.Len() {
			if !math.IsNaN(in.Wh[0][h]) {
				want += in.Wh[ingest.Production][h] + in.Wh[ingest.Import][h] - in.Wh[ingest.Export][h]
				got += in.Wh[ingest.Consumption][h]
			}
		}
		if math.Abs(got/want-1) > 0.02 {
			t.Errorf("%s: the meters disagree by %.1f %%", s.reg.ID, 100*(got/want-1))
		}
		checked++
	}
	if checked == 0 {
		t.Error("no site has all its meters")
	}
}

// The quarter hours of a fleet sum up to what the same fleet has as hours.
func TestStepsAgree(t *testing.T) {
	o := small(6)
	o.PlainHomes = true
	hours := Make(o)
	o.StepMinutes = 15
	quarters := Make(o)
	var a, b ingest.Series
	for _, id := range hours.Source().Order() {
		drift := 0.0
		if err := errors.Join(hours.Source().Load(id, &a), quarters.Source().Load(id, &b)); err != nil {
			t.Fatal(err)
		}
		for c := range a.Wh {
			if (a.Wh[c] == nil) != (b.Wh[c] == nil) {
				t.Fatalf("%s: channel %v in one only", id, ingest.Channel(c))
			}
			for h := range a.Wh[c] {
				if c == int(ingest.Production) {
					drift += a.Wh[c][h] - b.Wh[c][h]
				}
				if math.Abs(a.Wh[c][h]-b.Wh[c][h]) > 2 { // rounding to whole Wh
					t.Fatalf("%s %v hour %d: %g and %g Wh", id, ingest.Channel(c), h, a.Wh[c][h], b.Wh[c][h])
				}
				if sum := float64(b.Fine.Wh[c][4*h]) + float64(b.Fine.Wh[c][4*h+1]) + float64(b.Fine.Wh[c][4*h+2]) + float64(b.Fine.Wh[c][4*h+3]); sum != b.Wh[c][h] {
					t.Fatalf("%s %v hour %d: the quarters are %g Wh, the hour %g", id, ingest.Channel(c), h, sum, b.Wh[c][h])
				}
			}
		}
		if math.Abs(drift) > 1 {
			t.Errorf("%s: counters by quarters and by hours are %.0f Wh apart at the end", id, drift)
		}
	}
}

// yearOf sums the report year of a channel, kWh.
func yearOf(s *ingest.Series, c ingest.Channel, w ingest.Window) float64 {
	total := 0.0
	for i := range w.N {
		if v := s.Wh[c][int(w.Start-s.Start)+i]; !math.IsNaN(v) {
			total += v / 1000
		}
	}
	return total
}

// The same fleet without events, and without faults, differs by exactly what
// the truth says.
func TestTruthIsTheDifference(t *testing.T) {
	o := small(5)
	o.Months = 22 // that some come before the report year
	o.PlainHomes, o.Faults, o.Events = true, 0, 0
	without := Make(o)
	for _, kind := range []string{"ev_charging", "heat_pump", "pool_pump", "baseload", "departure", "other", "tenants", "absence"} {
		o.Events, o.EventKinds = 1, []string{kind}
		with := Make(o)
		var a, b ingest.Series
		for _, id := range with.Source().Order() {
			tr := with.Truth(id)
			if len(tr.Events) != 1 || tr.Events[0].Kind != kind {
				t.Fatalf("%s: events %+v, want one %s", id, tr.Events, kind)
			}
			if kind == "heat_pump" { // the old furnace's fan goes with it
				continue
			}
			if err := errors.Join(without.Source().Load(id, &a), with.Source().Load(id, &b)); err != nil {
				t.Fatal(err)
			}
			seen, before := 0.0, 0.0
			for h := range a.Len() {
				d := (b.Wh[ingest.Consumption][h] - a.Wh[ingest.Consumption][h]) / 1000
				seen += d
				if (b.Start + ingest.Hour(h)).Time().Before(tr.Events[0].On) {
					before += math.Abs(d)
				}
			}
			gain := with.sites[with.index[id]].meters.consumptionGain
			if math.Abs(seen/gain-tr.Events[0].SeenKWh) > 0.5+1e-3*math.Abs(seen) {
				t.Errorf("%s %s: the readings differ by %.1f kWh, the truth says %.1f", id, kind, seen, tr.Events[0].SeenKWh)
			}
			// What came before the report year has the year's energy in it, and
			// the days are the same ones wherever it starts.
			if tr.Events[0].On.Before(tr.Window.Start.Time()) && kind != "absence" {
				year := (yearOf(&b, ingest.Consumption, tr.Window) - yearOf(&a, ingest.Consumption, tr.Window)) / gain
				if math.Abs(year-tr.Events[0].KWhYr) > 0.5+1e-3*math.Abs(year) {
					t.Errorf("%s %s: the year differs by %.1f kWh, the truth says %.1f", id, kind, year, tr.Events[0].KWhYr)
				}
			}
			if before > 0.01 {
				t.Errorf("%s %s: %.2f kWh before it came", id, kind, before)
			}
		}
	}
	o.Events, o.EventKinds = 0, nil
	for _, code := range []string{"outage", "inverters_down", "decline", "shading", "unregistered_modules", "curtailment"} {
		o.Faults, o.FaultCodes = 1, []string{code}
		with := Make(o)
		var a, b ingest.Series
		for _, id := range with.Source().Order() {
			tr := with.Truth(id)
			if err := errors.Join(without.Source().Load(id, &a), with.Source().Load(id, &b)); err != nil {
				t.Fatal(err)
			}
			lost := yearOf(&a, ingest.Production, tr.Window) - yearOf(&b, ingest.Production, tr.Window)
			if len(tr.Faults) == 0 || tr.Faults[0].Code != code || math.Abs(lost-tr.Faults[0].KWhYr) > 0.5 {
				t.Errorf("%s %s: the report year differs by %.1f kWh, the truth says %+v", id, code, lost, tr.Faults)
			}
			if math.Abs(yearOf(&b, ingest.Production, tr.Window)-tr.ProductionKWhYr) > 0.5 {
				t.Errorf("%s %s: production %.1f kWh, the truth says %.1f", id, code, yearOf(&b, ingest.Production, tr.Window), tr.ProductionKWhYr)
			}
		}
	}
}

// What loads use lies in the published and common ranges.
func TestEventsWithinRanges(t *testing.T) {
	// methods handbook's table of loads: single-speed pool pump, Level 1 or 2
	// charging, space heat pump, air conditioning from room units to central.
	ranges := map[string][2]float64{"ev_charging": {1500, 4500}, "heat_pump": {2000, 9000}, "cooling": {200, 4500}, "pool_pump": {1000, 4500}}
	o := Default()
	o.Sites, o.PlainHomes, o.Faults, o.Events = 10, true, 0, 1
	for kind, lim := range ranges {
		o.EventKinds = []string{kind}
		m := Make(o)
		out := 0
		for _, id := range m.Source().Order() {
			e := m.Truth(id).Events[0]
			if e.KWhYr < lim[0] || e.KWhYr > lim[1] {
				out++
				t.Logf("%s %s: %.0f kWh a year", id, kind, e.KWhYr)
			}
		}
		if out > 1 { // a warm region's heat pump or a cool one's air conditioner may fall out
			t.Errorf("%s: %d of %d outside %v kWh a year", kind, out, o.Sites, lim)
		}
	}
}

// Growth is what the household's use grows by, weather and noise left in.
func TestGrowthShows(t *testing.T) {
	o := Default()
	o.Sites, o.PlainHomes, o.Faults, o.Events = 16, true, 0, 0
	m := Make(o)
	var diffs []float64
	for _, s := range m.sites {
		sc := new(scratch)
		s.simulate(m, sc, nil, nil)
		grown := sum(sc.wh[ingest.Consumption])
		s.house.growth = 0
		s.simulate(m, sc, nil, nil)
		flat := sum(sc.wh[ingest.Consumption])
		// The mean of e^{gt} over 2.5 years, g in 1/yr.
		g := math.Log1p(m.Truth(s.reg.ID).GrowthPctYr / 100)
		want := 1.0
		if g != 0 {
			want = math.Expm1(2.5*g) / (2.5 * g)
		}
		diffs = append(diffs, grown/flat-want)
	}
	for i, d := range diffs {
		if math.Abs(d) > 0.004 {
			t.Errorf("site %d: use is off its growth by %.4f", i, d)
		}
	}
}

// The yearly yield per kW stands in the relation to the light on the plane
// that real arrays have (performance ratio 0.70 to 0.90; common practice).
func TestYieldAgainstTypicalYear(t *testing.T) {
	tmy := golden(t, "724666TY.csv")
	poa := func(tiltDeg, azimuthDeg float64) float64 {
		nx, ny, nz := normal(tiltDeg, azimuthDeg)
		p := newPlace(39.742, -105.179)
		total := 0.0
		for _, h := range tmy {
			d, ha := sunPosition(float64(h.at.Unix()))
			tl := &timeline{sinD: []float64{math.Sin(d)}, cosD: []float64{math.Cos(d)}, sinH: []float64{math.Sin(ha)}, cosH: []float64{math.Cos(ha)}}
			e, n, u := p.sun(tl, 0)
			total += h.dni*math.Max(0, e*nx+n*ny+u*nz) + h.dhi*(1+nz)/2 + 0.2*h.ghi*(1-nz)/2 // isotropic: simple and a little low
		}
		return total / 1000
	}
	o := Default()
	o.Sites = 60
	o.PlainHomes, o.Faults, o.Events = true, 0, 0
	m := Make(o)
	checked := 0
	for _, s := range m.sites {
		if s.region.name != "foothills" || len(s.roof.arrays) > 1 || checked >= 25 {
			continue
		}
		a := s.roof.arrays[0]
		tr := m.Truth(s.reg.ID)
		yield := (tr.ProductionKWhYr + tr.ClippedKWhYr) / (float64(a.modules) * a.watts / 1000)
		ratio := yield / poa(a.tiltDeg, a.azimuthDeg)
		if ratio < 0.70 || ratio > 0.93 {
			t.Errorf("%s: tilt %.0f azimuth %.0f shade %.0f makes %.0f kWh/kW, %.2f of the typical year's light", s.reg.ID, a.tiltDeg, a.azimuthDeg, a.shadingPct, yield, ratio)
		}
		checked++
	}
	if checked < 15 {
		t.Errorf("only %d arrays looked at", checked)
	}
}

// A day is as long before noon as after it: an array that looks south has its
// energy's centre near solar noon, clouds of the afternoon apart.
func TestNoonIsInTheMiddle(t *testing.T) {
	m := Make(small(30))
	for _, s := range m.sites {
		only := *s
		only.roof.arrays = []roofArray{{modules: 1, watts: 400, tiltDeg: 25, azimuthDeg: 180, gammaPctPC: -0.34, efficiency: 0.97, moduleACWatts: 400}}
		only.roof.stringACW = 0
		var q rays
		q.cast(s.region, s, stream(s.seed, 30))
		q.generate(s.region, &only, nil, nil)
		var moment, mass float64
		for j := range q.out {
			step := int(s.region.lit[j])
			// The hour angle at the site, hours.
			ha := math.Atan2(m.tl.sinH[step], m.tl.cosH[step])/rad/15 + s.reg.LongitudeDeg/15
			ha = math.Remainder(ha, 24)
			moment += ha * q.out[j]
			mass += q.out[j]
		}
		if c := 60 * moment / mass; math.Abs(c) > 18 {
			t.Errorf("%s: the energy's centre is %.0f minutes off solar noon", s.reg.ID, c)
		}
	}
}

// dailyStats are what a day's use does from day to day: the coefficient of
// variation about a running median of 29 days, its lag-1 correlation, and the
// coefficient of variation of the hours about their mean day.
func dailyStats(hours []float64) (dayCV, lag1, hourCV float64) {
	var days []float64
	for i := 0; i+24 <= len(hours); i += 24 {
		days = append(days, sum(hours[i:i+24]))
	}
	mean := sum(days) / float64(len(days))
	var rest []float64
	for i := range days {
		w := slices.Clone(days[max(0, i-14):min(len(days), i+15)])
		slices.Sort(w)
		rest = append(rest, days[i]-w[len(w)/2])
	}
	mr, v, c := sum(rest)/float64(len(rest)), 0.0, 0.0
	for i := range rest {
		v += (rest[i] - mr) * (rest[i] - mr)
		if i > 0 {
			c += (rest[i] - mr) * (rest[i-1] - mr)
		}
	}
	var shape [24]float64
	for i, h := range hours {
		shape[i%24] += h / (float64(len(hours)) / 24)
	}
	hv := 0.0
	for i, h := range hours {
		hv += (h - shape[i%24]) * (h - shape[i%24])
	}
	return math.Sqrt(v/float64(len(rest))) / mean, c / v, math.Sqrt(hv/float64(len(hours))) / (mean / 24)
}

// The households are as restless as five metered ones: the median of each
// figure lies within the real homes' range, widened by a seventh.
func TestHouseholdsAgainstRealHomes(t *testing.T) {
	var real [3][]float64
	for _, name := range []string{"01", "02", "05", "10", "16"} {
		f, err := os.Open(outside.Data(t, "fontana-5homes", "home_"+name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		col := slices.Index(rows[0], "non_shiftable_load")
		var hours []float64
		for _, r := range rows[1:] {
			v, err := strconv.ParseFloat(r[col], 64)
			if err != nil {
				t.Fatal(err)
			}
			hours = append(hours, v)
		}
		a, b, c := dailyStats(hours)
		real[0], real[1], real[2] = append(real[0], a), append(real[1], b), append(real[2], c)
	}
	o := Default()
	o.Sites, o.PlainHomes, o.Faults, o.Events = 40, true, 0, 0
	m := Make(o)
	var made [3][]float64
	var s ingest.Series
	for _, id := range m.Source().Order() {
		if err := m.Source().Load(id, &s); err != nil {
			t.Fatal(err)
		}
		a, b, c := dailyStats(s.Wh[ingest.Consumption][:8760])
		made[0], made[1], made[2] = append(made[0], a), append(made[1], b), append(made[2], c)
	}
	for k, what := range []string{"variation of days", "correlation of days", "variation of hours"} {
		slices.Sort(real[k])
		slices.Sort(made[k])
		mid := made[k][len(made[k])/2]
		t.Logf("%s: made %.2f (%.2f to %.2f), real %.2f to %.2f", what, mid, made[k][0], made[k][len(made[k])-1], real[k][0], real[k][4])
		if mid < real[k][0]/1.15 || mid > real[k][4]*1.15 {
			t.Errorf("%s: the middle household has %.2f, the real ones %.2f to %.2f", what, mid, real[k][0], real[k][4])
		}
	}
}

// departures are production's relative departures from the mean of the same
// month and hour, by hour and by day, where that mean is worth looking at.
func departures(wh []float64, month, hour []int) (hourly, daily []float64) {
	var total, n [13][25]float64
	for i, v := range wh {
		total[month[i]][hour[i]] += v
		n[month[i]][hour[i]]++
	}
	peak := 0.0
	for i := range wh {
		peak = math.Max(peak, total[month[i]][hour[i]]/n[month[i]][hour[i]])
	}
	var got, usual float64
	for i, v := range wh {
		mean := total[month[i]][hour[i]] / n[month[i]][hour[i]]
		if mean > 0.1*peak {
			hourly = append(hourly, (v-mean)/mean)
		} else {
			hourly = append(hourly, math.NaN())
		}
		got, usual = got+v, usual+mean
		if i%24 == 23 {
			daily = append(daily, got/usual)
			got, usual = 0, 0
		}
	}
	return hourly, daily
}

// Near arrays see the same weather, by the hour and by the day as much as five
// real homes of one place do; arrays of two regions do not.
func TestNeighboursShareTheSky(t *testing.T) {
	var real [2][]float64
	var hs, ds [][]float64
	for _, name := range []string{"01", "02", "05", "16"} { // the clock of home 10 is off for weeks
		f, err := os.Open(outside.Data(t, "fontana-5homes", "home_"+name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		col := slices.Index(rows[0], "solar_generation")
		var wh []float64
		var mo, ho []int
		for _, r := range rows[2:] { // the first row is the last hour of a day
			v, e1 := strconv.ParseFloat(r[col], 64)
			m, e2 := strconv.Atoi(r[0])
			h, e3 := strconv.Atoi(r[1])
			if err := errors.Join(e1, e2, e3); err != nil {
				t.Fatal(err)
			}
			wh, mo, ho = append(wh, v), append(mo, m), append(ho, h)
		}
		h, d := departures(wh, mo, ho)
		hs, ds = append(hs, h), append(ds, d)
	}
	pairs := func(xs [][]float64) (out []float64) {
		for i := range xs {
			for j := range i {
				out = append(out, correlation(xs[i], xs[j]))
			}
		}
		slices.Sort(out)
		return out
	}
	real[0], real[1] = pairs(hs), pairs(ds)

	o := Default()
	o.Sites, o.PlainHomes, o.Faults, o.Events = 24, true, 0, 0
	m := Make(o)
	byRegion := [2][2][][]float64{}
	for _, s := range m.sites {
		var in ingest.Series
		if err := m.Source().Load(s.reg.ID, &in); err != nil {
			t.Fatal(err)
		}
		var mo, ho []int
		for i := range 8760 {
			at := (in.Start + ingest.Hour(i)).Time().In(s.region.loc)
			mo, ho = append(mo, int(at.Month())), append(ho, at.Hour())
		}
		h, d := departures(in.Wh[ingest.Production][:8760], mo, ho)
		k := slices.Index(m.regions, s.region)
		byRegion[k][0], byRegion[k][1] = append(byRegion[k][0], h), append(byRegion[k][1], d)
	}
	for k, what := range []string{"hour", "day"} {
		for r := range byRegion {
			made := pairs(byRegion[r][k])
			mid := made[len(made)/2]
			t.Logf("%s by %s: made %.2f (%.2f to %.2f), real %.2f to %.2f", m.regions[r].name, what, mid, made[0], made[len(made)-1], real[k][0], real[k][len(real[k])-1])
			if mid < real[k][0] || mid > real[k][len(real[k])-1] {
				t.Errorf("%s: the middle pair correlates to %.3f by %s, the real ones %.3f to %.3f", m.regions[r].name, mid, what, real[k][0], real[k][len(real[k])-1])
			}
		}
	}
	n := min(len(byRegion[0][1][0]), len(byRegion[1][1][0]))
	if c := correlation(byRegion[0][1][0][:n], byRegion[1][1][0][:n]); math.Abs(c) > 0.25 {
		t.Errorf("two regions correlate to %.2f by day", c)
	}
}

// correlation is Pearson's, over the pairs where both are there.
func correlation(a, b []float64) float64 {
	var n, ma, mb, ab, aa, bb float64
	for i := range a {
		if !math.IsNaN(a[i] + b[i]) {
			n, ma, mb = n+1, ma+a[i], mb+b[i]
		}
	}
	ma, mb = ma/n, mb/n
	for i := range a {
		if math.IsNaN(a[i] + b[i]) {
			continue
		}
		ab += (a[i] - ma) * (b[i] - mb)
		aa += (a[i] - ma) * (a[i] - ma)
		bb += (b[i] - mb) * (b[i] - mb)
	}
	return ab / math.Sqrt(aa*bb)
}

// Every lane of the contract is meant for some site, and the books hold.
func TestTheDemoHoldsEveryLane(t *testing.T) {
	m := Make(Default())
	lanes := map[string]int{}
	names := map[string]bool{}
	for _, s := range m.sites {
		lanes[s.truth.IntendedLane]++
		names[s.truth.Archetype] = true
		total := 0
		for _, n := range s.truth.RoofByPlane {
			total += n
		}
		if total != s.truth.RoofModules {
			t.Errorf("%s: planes hold %d, the roof %d", s.reg.ID, total, s.truth.RoofModules)
		}
		if !strings.HasSuffix(s.reg.Contact, fmt.Sprintf("@example.com, 555-01%02d", mustIndex(s.reg.ID)%100)) {
			t.Errorf("%s: contact %q could be somebody's", s.reg.ID, s.reg.Contact)
		}
	}
	for _, lane := range []string{"call", "prepare", "repair", "watch", "no_gain", "blocked", "no_data", "do_not_contact"} {
		if lanes[lane] < 3 {
			t.Errorf("lane %s: %d sites, want at least 3", lane, lanes[lane])
		}
	}
	if want := len(cast(Default())); len(names) != want {
		t.Errorf("%d of %d kinds of case occur", len(names), want)
	}
	if len(m.sites) != 240 {
		t.Errorf("%d sites, want 240", len(m.sites))
	}
	t.Log(lanes)
}

func mustIndex(id string) int {
	n, err := strconv.Atoi(strings.TrimPrefix(id, "OM-"))
	if err != nil {
		panic(err)
	}
	return n - 1
}

// A candidate module on the plane of an old, new, clean array makes what that
// array makes, per module; and without light nothing.
func TestCandidateIsTheArraysTwin(t *testing.T) {
	o := small(12)
	o.PlainHomes, o.Faults, o.Events = true, 0, 0
	m := Make(o)
	for _, s := range m.sites {
		if len(s.roof.arrays) > 1 {
			continue
		}
		a := s.roof.arrays[0]
		old := s.roof
		s.roof.arrayFactor, s.roof.ageYears, s.roof.ageingPctYr = 1, 0, 0
		sc := new(scratch)
		s.simulate(m, sc, nil, nil)
		s.roof = old
		start := m.localStart(s.region)
		got := m.CandidateTruth(s.reg.ID, s.reg.Arrays[0].PlaneID, a.watts, a.gammaPctPC, a.moduleACWatts, ingest.Window{Start: start, N: len(sc.wh[0])})
		// The inverters' efficiencies differ where the old one is of the first
		// generation: half a point.
		one, all := sum(got), sum(sc.wh[0])/float64(a.modules)
		if math.Abs(one/all-0.97/a.efficiency) > 0.002 {
			t.Errorf("%s: one new module makes %.0f kWh, one of the old %.0f", s.reg.ID, one/1000, all/1000)
		}
	}
	if v := m.CandidateTruth(m.sites[0].reg.ID, "P1", 430, -0.34, 380, ingest.Window{Start: m.tl.start - 5, N: 3}); !math.IsNaN(v[0]) {
		t.Error("output before the fleet's time is a number")
	}
}

func TestOptionsAreChecked(t *testing.T) {
	if err := Default().Check(); err != nil {
		t.Errorf("the default options: %v", err)
	}
	bad := Default()
	bad.Sites, bad.Months, bad.StepMinutes, bad.Faults, bad.EventKinds = 0, 0, 7, 1.5, []string{"fusion"}
	err := bad.Check()
	for _, want := range []string{"sites 0 must be", "months 0 must be", "step 7 must be", "faults 1.5 must be", `event kind "fusion"`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("bad options: %v, want it to say %q", err, want)
		}
	}
}

// Short fleets, fine steps, other ends: everything is made, nothing panics.
func TestOddFleets(t *testing.T) {
	for _, o := range []Options{
		{Seed: 3, Sites: 45, Months: 1, StepMinutes: 60, Faults: 0.5, Events: 1},
		{Seed: 4, Sites: 45, Months: 5, StepMinutes: 30, Faults: 0, Events: 0, Weather: true},
		{Seed: 5, Sites: 3, Months: 2, StepMinutes: 5, Faults: 1, Events: 1, PlainHomes: true},
		{Seed: 6, Sites: 1, Months: 13, StepMinutes: 15, Faults: 1, Events: 1},
		{Seed: 7, Sites: 2, Months: 1, StepMinutes: 1, PlainHomes: true},
	} {
		o.End = time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)
		m := Make(o)
		var s ingest.Series
		for _, id := range m.Source().Order() {
			if err := m.Source().Load(id, &s); err != nil {
				t.Fatal(err)
			}
			m.Truth(id)
		}
		if err := m.Write(t.TempDir(), WriteOptions{}); err != nil {
			t.Error(err)
		}
	}
}

func BenchmarkMake(b *testing.B) {
	for b.Loop() {
		Make(Default())
	}
}

func BenchmarkLoadHours(b *testing.B) { benchLoad(b, 60) }

func BenchmarkLoadQuarters(b *testing.B) { benchLoad(b, 15) }

func benchLoad(b *testing.B, step int) {
	o := Default()
	o.Sites, o.StepMinutes = 20, step
	m := Make(o)
	ids := m.Source().Order()
	var s ingest.Series
	i := 0
	for b.Loop() {
		if err := m.Source().Load(ids[i%len(ids)], &s); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

func BenchmarkWrite(b *testing.B) {
	o := Default()
	o.Sites = 24
	m := Make(o)
	for b.Loop() {
		if err := m.Write(b.TempDir(), WriteOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// The written register, read by the program's own reader, is the register in
// memory, with nothing set aside.
func TestWrittenRegisterReadsBack(t *testing.T) {
	o := Default()
	o.Months = 13
	m := Make(o)
	dir := t.TempDir()
	if err := m.writeRegister(dir); err != nil {
		t.Fatal(err)
	}
	got, err := register.Read(dir, register.Options{Timezone: "America/Denver", TariffID: tariffFlat, Profile: "split-phase-200"})
	if err != nil {
		t.Fatal(err)
	}
	want := *m.Fleet()
	want.Stations = nil // weather is read elsewhere
	want.RowsRead = got.RowsRead
	same := cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateEmpty(), cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })}
	var sites []ingest.Site
	for _, s := range got.All() {
		sites = append(sites, *s)
	}
	if d := cmp.Diff(want.Sites, sites, same); d != "" {
		t.Errorf("the sites read back differ (-made +read):\n%.3000s", d)
	}
	want.Sites = nil
	if d := cmp.Diff(&want, got, same, cmpopts.IgnoreUnexported(ingest.Fleet{})); d != "" {
		t.Errorf("the register read back differs (-made +read):\n%.3000s", d)
	}
}

// The written readings, read by the program's own reader, are the readings in
// memory: every value, every hole, and as many rows set aside as were spoilt.
func TestWrittenReadingsReadBack(t *testing.T) {
	for _, step := range []int{60, 15} {
		o := small(44)
		o.StepMinutes = step
		if step == 15 {
			o.Sites, o.Months = 10, 3
		}
		m := Make(o)
		dir := t.TempDir()
		if err := m.Write(dir, WriteOptions{SitesPerFile: 7}); err != nil {
			t.Fatal(err)
		}
		report, err := ledger.Update(t.Context(), dir, ledger.Sites(m.Fleet()), readings.Default(), ledger.Options{})
		if err != nil {
			t.Fatal(err)
		}
		bad := 0
		for _, s := range m.sites {
			bad += s.meters.bad
		}
		if int(report.Rows.SetAside) != bad || len(report.Rejects) != bad {
			t.Errorf("step %d: %d rows set aside, %d were spoilt: %+v", step, report.Rows.SetAside, bad, report.Rejects)
		}
		if step == 60 && bad == 0 {
			t.Error("no row was spoilt")
		}
		l, err := ledger.Open(context.Background(), dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		var want, got ingest.Series
		for _, id := range m.Source().Order() {
			if err := errors.Join(m.Source().Load(id, &want), l.Load(id, &got)); err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			if got.StepMinutes != want.StepMinutes {
				t.Errorf("%s: step %d, want %d", id, got.StepMinutes, want.StepMinutes)
			}
			for c := range want.Wh {
				at := func(s *ingest.Series, h ingest.Hour) float64 {
					if i := int(h - s.Start); s.Wh[c] != nil && i >= 0 && i < len(s.Wh[c]) {
						return s.Wh[c][i]
					}
					return math.NaN()
				}
				wrong := 0
				for h := min(want.Start, got.Start); h < max(want.End(), got.End()); h++ {
					a, b := at(&want, h), at(&got, h)
					if a >= 4194303 || math.IsNaN(b) && leftOut(&got, ingest.Channel(c), h) {
						a = math.NaN() // a counter's full width: the reader leaves such hours out, and says so
					}
					if ingest.Channel(c) == ingest.Consumption && a == 0 && math.IsNaN(b) {
						continue // a house that draws nothing at all: the quality rules leave the hour out, and say so
					}
					if a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
						if wrong++; wrong < 3 {
							t.Errorf("step %d, %s %v at %v: read %g, made %g", step, id, ingest.Channel(c), h.Time(), b, a)
						}
					}
				}
			}
		}
	}
}

// leftOut tells whether a finding says that an hour was left out.
func leftOut(s *ingest.Series, c ingest.Channel, h ingest.Hour) bool {
	return slices.ContainsFunc(s.Quality, func(q ingest.Quality) bool {
		return q.Consequence == ingest.LeaveHoursOut && q.Channel == c && q.From <= h && h < q.To
	})
}

// TestShortFleets: no number of months breaks the generator, whatever befalls
// its sites.
func TestShortFleets(t *testing.T) {
	for _, months := range []int{1, 4} {
		for seed := range uint64(2) {
			o := Default()
			o.Sites, o.Months, o.Seed = 120, months, seed+1
			if err := Make(o).Write(t.TempDir(), WriteOptions{}); err != nil {
				t.Errorf("%d months, seed %d: %v", months, seed+1, err)
			}
		}
	}
}
