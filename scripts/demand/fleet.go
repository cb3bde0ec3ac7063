package main

import (
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"sort"
	"sync"
	"time"

	"rowen/analyze/demand"
	"rowen/analyze/stat"
	"rowen/ingest"
	"rowen/ingest/demo"
	"rowen/ingest/quality"
)

// dateTolerance is how near a date must be found.
const dateTolerance = 14 * 24 * time.Hour

// tally is what came of all fleets.
type tally struct {
	named int

	sites, refused            int
	byKind                    map[string]*kindTally
	without, falseOn          int // sites without a lasting event, and those of them with one reported
	growthErr                 []float64
	covered, judged           int
	growthErrPlain            []float64
	coveredPlain, judgedPlain int
	nextErr                   []float64
	nextCovered               int
	confusion                 map[[2]string]int
	failures                  []string
	cpu                       time.Duration
	halfWidth                 []float64
	byMethod                  map[string]int
}

type kindTally struct{ truth, found, hit int }

func (k *kindTally) f1() float64 {
	if k.truth+k.found == 0 {
		return math.NaN()
	}
	return 2 * float64(k.hit) / float64(k.truth+k.found)
}

// answer is one site's result beside its truth.
type answer struct {
	truth  demo.Truth
	result demand.Result
	took   time.Duration
}

// fleet judges one invented fleet in the two passes of the job.
func (t *tally) fleet(o demo.Options, useSeason bool) {
	made := demo.Make(o)
	source := made.Source()
	ids := source.Order()
	fleet := made.Fleet()

	builder := demand.NewSeasonBuilder(o.End.AddDate(0, -o.Months-1, 0), o.End.AddDate(0, 1, 0))
	parallel(ids, func(id string) {
		var s ingest.Series
		if readSite(source, fleet.Site(id), &s) == nil {
			site := fleet.Site(id)
			builder.Add(site.LatitudeDeg, site.LongitudeDeg, site.Location, &s)
		}
	})
	season := builder.Close()

	answers := make([]answer, len(ids))
	index := map[string]int{}
	for i, id := range ids {
		index[id] = i
	}
	parallel(ids, func(id string) {
		a := &answers[index[id]]
		a.truth = made.Truth(id)
		site := fleet.Site(id)
		in := demand.Input{SiteID: id, Location: site.Location, LatitudeDeg: site.LatitudeDeg, Bills: site.Bills, Window: a.truth.Window}
		var s ingest.Series
		if err := readSite(source, site, &s); err == nil {
			in.Series = &s
			in.TempC = temperatures(fleet.Stations, site, &s)
		}
		if useSeason {
			in.Season = season.At(site.LatitudeDeg, site.LongitudeDeg)
		}
		start := time.Now()
		a.result = demand.Assess(in)
		a.took = time.Since(start)
	})
	for _, a := range answers {
		t.add(a, o.Seed)
	}
}

// readSite is a site's readings as the job sees them: after the rules of quality.
func readSite(source ingest.Source, site *ingest.Site, s *ingest.Series) error {
	if err := source.Load(site.ID, s); err != nil {
		return err
	}
	found := quality.Check(s, quality.Site{LatitudeDeg: site.LatitudeDeg, LongitudeDeg: site.LongitudeDeg, Location: site.Location})
	s.Quality = append(s.Quality, found...)
	quality.Apply(s, found)
	return nil
}

// flaws lists what is wrong with a site's readings.
func flaws(t demo.Truth) string {
	text := ""
	for _, f := range t.Flaws {
		text += fmt.Sprintf(" %s %s..%s", f.Code, f.From.Time().Format("060102"), f.To.Time().Format("060102"))
	}
	return text
}

func parallel(ids []string, f func(id string)) {
	work := make(chan string)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for id := range work {
				f(id)
			}
		})
	}
	for _, id := range ids {
		work <- id
	}
	close(work)
	wg.Wait()
}

// stationReachKm is how far a station speaks for a site; CalTRACK flags more
// than 200 km.
const stationReachKm = 100

// temperatures aligns the nearest station with a series; nil: none near.
func temperatures(stations []ingest.Station, site *ingest.Site, s *ingest.Series) []float64 {
	for _, st := range stations {
		north := 111.2 * (st.LatitudeDeg - site.LatitudeDeg)
		east := 111.2 * (st.LongitudeDeg - site.LongitudeDeg) * math.Cos(site.LatitudeDeg*math.Pi/180)
		if math.Hypot(north, east) > stationReachKm {
			continue
		}
		out := make([]float64, s.Len())
		for i := range out {
			out[i] = math.NaN()
			if k := int(s.Start-st.Start) + i; k >= 0 && k < len(st.TempC) {
				out[i] = st.TempC[k]
			}
		}
		return out
	}
	return nil
}

// lasting are a truth's events that are lasting changes: a long absence is
// none.
func lasting(t demo.Truth) []demo.Event {
	var out []demo.Event
	for _, e := range t.Events {
		if e.Kind != "absence" {
			out = append(out, e)
		}
	}
	return out
}

func (t *tally) add(a answer, seed uint64) {
	if t.byKind == nil {
		t.byKind, t.confusion, t.byMethod = map[string]*kindTally{}, map[[2]string]int{}, map[string]int{}
	}
	kind := func(k string) *kindTally {
		if t.byKind[k] == nil {
			t.byKind[k] = &kindTally{}
		}
		return t.byKind[k]
	}
	t.sites++
	t.cpu += a.took
	r := &a.result
	name := fmt.Sprintf("seed %d %s (%s, %s%s)", seed, a.truth.SiteID, r.Basis, r.Method, flaws(a.truth))
	if r.Refusal != "" {
		t.refused++
		return
	}
	t.byMethod[r.Basis+"/"+r.Method]++
	truth := lasting(a.truth)
	if len(truth) == 0 {
		t.without++
		if len(r.Events) > 0 {
			t.falseOn++
			t.fail("%s: false event %s; growth %.1f %%", name, describe(r.Events), a.truth.GrowthPctYr)
		}
	}
	used := make([]bool, len(r.Events))
	counted := map[int]string{}
	for _, e := range truth {
		k := kind(e.Kind)
		k.truth++
		hit, as := -1, "missed"
		for i := range r.Events {
			if !used[i] && near(&r.Events[i], e) {
				as = r.Events[i].Kind
				if same(r.Events[i].Kind, e.Kind) {
					hit = i
					counted[i] = e.Kind
				}
				used[i] = true
				break
			}
		}
		t.confusion[[2]string{e.Kind, as}]++
		if hit >= 0 {
			k.hit++
		} else {
			t.fail("%s: %s of %s, %.0f kWh a year (%.0f seen; %s): got %s", name, e.Kind, e.On.Format("2006-01-02"), e.KWhYr, e.SeenKWh, e.Says, describe(r.Events))
		}
	}
	for i, e := range r.Events {
		if k, ok := counted[i]; ok {
			kind(k).found++ // tenants' change has no kind of its own: any event at its date is a find
		} else {
			kind(e.Kind).found++
			if len(truth) > 0 {
				t.fail("%s: extra event %s; true: %s of %s", name, describe(r.Events[i:i+1]), truth[0].Kind, truth[0].On.Format("2006-01-02"))
			}
		}
	}
	t.growth(name, &a, len(truth) == 0)
	t.next(name, &a)
}

// near tells whether a found event has the truth's date: within 14 days, or,
// for a load that sleeps until its season comes, with the truth inside the
// range that the finding gives.
func near(e *demand.Event, truth demo.Event) bool {
	if d := e.On.Sub(truth.On).Abs(); d <= dateTolerance {
		return true
	}
	seasonal := truth.Kind == "heat_pump" || truth.Kind == "cooling" || truth.Kind == "pool_pump"
	return seasonal && !truth.On.Before(e.OnLow.Add(-dateTolerance)) && !truth.On.After(e.OnHigh.Add(dateTolerance))
}

func same(found, truth string) bool { return found == truth || truth == "tenants" }

func describe(events []demand.Event) string {
	if len(events) == 0 {
		return "nothing"
	}
	text := ""
	for _, e := range events {
		text += fmt.Sprintf("[%s %s (%s..%s) %.0f kWh score %.2f] ", e.Kind, e.On.Format("2006-01-02"), e.OnLow.Format("060102"), e.OnHigh.Format("060102"), e.KWhYr, e.Score)
	}
	return text
}

func (t *tally) growth(name string, a *answer, plain bool) {
	r := &a.result
	if math.IsNaN(r.GrowthPctYr) {
		return
	}
	err := r.GrowthPctYr - a.truth.GrowthPctYr
	in := a.truth.GrowthPctYr >= r.GrowthLow && a.truth.GrowthPctYr <= r.GrowthHigh
	t.growthErr = append(t.growthErr, math.Abs(err))
	t.halfWidth = append(t.halfWidth, (r.GrowthHigh-r.GrowthLow)/2)
	t.judged++
	if in {
		t.covered++
	}
	if plain {
		t.growthErrPlain = append(t.growthErrPlain, math.Abs(err))
		t.judgedPlain++
		if in {
			t.coveredPlain++
		}
	}
	if math.Abs(err) > 5 {
		t.fail("%s: growth %.1f (%.1f..%.1f), truth %.1f %%; events %s", name, r.GrowthPctYr, r.GrowthLow, r.GrowthHigh, a.truth.GrowthPctYr, describe(r.Events))
	}
}

func (t *tally) next(name string, a *answer) {
	r := &a.result
	if a.truth.NextYearKWh <= 0 {
		return
	}
	err := 100 * (r.NextYearKWh/a.truth.NextYearKWh - 1)
	t.nextErr = append(t.nextErr, math.Abs(err))
	if a.truth.NextYearKWh >= r.NextYearLow && a.truth.NextYearKWh <= r.NextYearHigh {
		t.nextCovered++
	}
	if math.Abs(err) > 12 {
		t.fail("%s: next year %.0f, truth %.0f (%.0f %% off); events %s", name, r.NextYearKWh, a.truth.NextYearKWh, err, describe(r.Events))
	}
}

func (t *tally) fail(format string, args ...any) {
	t.failures = append(t.failures, fmt.Sprintf(format, args...))
}

func (t *tally) print(w io.Writer) {
	fmt.Fprintf(w, "sites %d, refused %d; judged %v\n", t.sites, t.refused, sorted(t.byMethod))
	fmt.Fprintf(w, "%-14s %6s %6s %6s %6s\n", "event", "truth", "found", "hit", "F1")
	var kinds []string
	for k := range t.byKind {
		kinds = append(kinds, k)
	}
	sort.Strings(kinds)
	for _, k := range kinds {
		v := t.byKind[k]
		fmt.Fprintf(w, "%-14s %6d %6d %6d %6.3f\n", k, v.truth, v.found, v.hit, v.f1())
	}
	fmt.Fprintf(w, "false events: on %d of %d sites without one (%.1f %%)\n", t.falseOn, t.without, 100*float64(t.falseOn)/float64(max(t.without, 1)))
	fmt.Fprintf(w, "growth: median error %.2f points a year (sites without events %.2f), 90 %% interval holds the truth on %.1f %% of %d (without events %.1f %% of %d), median half width %.2f\n",
		stat.Median(t.growthErr), stat.Median(t.growthErrPlain),
		100*float64(t.covered)/float64(max(t.judged, 1)), t.judged, 100*float64(t.coveredPlain)/float64(max(t.judgedPlain, 1)), t.judgedPlain, stat.Median(t.halfWidth))
	fmt.Fprintf(w, "next year: median error %.1f %%, 90th percentile %.1f %%, interval holds the truth on %.1f %%\n",
		stat.Median(t.nextErr), stat.Quantile(t.nextErr, 0.9), 100*float64(t.nextCovered)/float64(max(len(t.nextErr), 1)))
	fmt.Fprintf(w, "time: %.1f ms a site (elapsed within a worker)\n", t.cpu.Seconds()*1000/float64(max(t.sites, 1)))
	fmt.Fprintln(w, "what became of each event (truth, found):")
	var pairs [][2]string
	for p := range t.confusion {
		pairs = append(pairs, p)
	}
	slices.SortFunc(pairs, func(a, b [2]string) int {
		if a[0] != b[0] {
			if a[0] < b[0] {
				return -1
			}
			return 1
		}
		return t.confusion[b] - t.confusion[a]
	})
	for _, p := range pairs {
		fmt.Fprintf(w, "  %-13s %-13s %d\n", p[0], p[1], t.confusion[p])
	}
	fmt.Fprintf(w, "failures: %d\n", len(t.failures))
	for i, f := range t.failures {
		if i == t.named {
			fmt.Fprintf(w, "  ... %d more (-named)\n", len(t.failures)-i)
			break
		}
		fmt.Fprintln(w, "  "+f)
	}
}

func sorted(m map[string]int) string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	text := ""
	for _, k := range keys {
		text += fmt.Sprintf("%s %d  ", k, m[k])
	}
	return text
}
