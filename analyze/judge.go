package analyze

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze/array"
	"rowen/analyze/demand"
	"rowen/analyze/headroom"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/analyze/sky"
	"rowen/analyze/tariff"
	"rowen/analyze/visit"
	"rowen/ingest"
)

// screeningModules is up to how many modules are simulated at a site whose
// limits nobody knows: the page says what they would be worth and what to ask
// (our choice).
const screeningModules = 16

// Judge goes over a shard of the fleet a second time and gives one Finding a site:
// deliver may write them out, and is done with them when it returns. Sites are
// delivered from neighbour to neighbour, always in the same order; those whose own
// row in the register could not be used come last of all.
func (fl *Fleet) Judge(ctx context.Context, s *Survey, shard Shard, deliver func(*Finding) error) error {
	j, err := fl.newJudge(s)
	if err != nil {
		return err
	}
	from, to := shard.of(len(fl.sites))
	benches := make([]bench, fl.Options.Workers)
	err = eachSite(ctx, to-from, fl.Options.Workers,
		func(worker, i int) (*Finding, error) { return j.site(from+i, &benches[worker]) },
		func(i int, f *Finding, failed error) error {
			if failed != nil {
				f = j.failed(fl.site(from+i), failed)
			}
			return deliver(f)
		})
	if shard.last() {
		for i := 0; err == nil && i < len(fl.Register.SitesSetAside); i++ {
			err = deliver(j.setAside(fl.Register.SitesSetAside[i]))
		}
	}
	if err != nil {
		return fmt.Errorf("judging the fleet: %w", err)
	}
	return nil
}

// judge is what judging a site needs of the fleet.
type judge struct {
	*Fleet
	survey  *Survey
	tariffs tariff.Set
	// withoutLegacy are the tariffs whose successor nobody wrote down, as if their
	// terms were kept: the sizes are worked out, and the site is watched only.
	withoutLegacy tariff.Set
	offer
	past  []ingest.Outcome   // by site
	fares map[string]float64 // how calls fare, by branch
}

func (fl *Fleet) newJudge(s *Survey) (*judge, error) {
	j := &judge{Fleet: fl, survey: s}
	var err error
	if j.offer, err = offered(fl.Register, fl.Options); err != nil {
		return nil, err
	}
	// A tariff that cannot be used is refused by itself: its sites go on with the
	// default, and say so. The command reports the reasons.
	j.tariffs = fl.Tariffs
	j.withoutLegacy = tariff.Set{}
	for id, t := range j.tariffs {
		if t.Data.Legacy != nil && j.tariffs.Successor(t) == nil {
			data := t.Data
			data.Legacy = nil
			if j.withoutLegacy[id], err = tariff.Compile(data); err != nil {
				return nil, err
			}
			j.withoutLegacy[id].Later = t.Later
		}
	}
	j.past = pastCalls(fl.Register.Outcomes)
	var told []rank.Outcome
	branch := map[string]string{} // of the sites that were called
	for _, o := range j.past {
		if o.Result == "sold" || o.Result == "declined" {
			branch[o.SiteID] = ""
		}
	}
	for _, s := range fl.Register.All() {
		if _, asked := branch[s.ID]; asked {
			branch[s.ID] = s.Branch
		}
	}
	for _, o := range fl.Register.Outcomes {
		if o.Result == "sold" || o.Result == "declined" {
			told = append(told, rank.Outcome{Branch: branch[o.SiteID], Sold: o.Result == "sold"})
		}
	}
	j.fares = rank.OutcomeFactors(told)
	return j, nil
}

// Check tells whether the fleet can be judged at all.
func (fl *Fleet) Check() error {
	_, err := offered(fl.Register, fl.Options)
	return err
}

func (j *judge) begin(site *ingest.Site) *Finding {
	inverter, assumed := j.inverterFor(site, &j.Register.Catalogue)
	f := &Finding{
		Site: site, Month: j.survey.Month, Window: j.survey.Month.window(site.Location), Location: site.Location,
		CoveragePct: math.NaN(), WindowPct: math.NaN(), Year: unknownYear(), Module: j.module, Inverter: inverter,
	}
	if assumed {
		f.Caveats = append(f.Caveats, ingest.Caveat{Code: "inverter_assumed",
			Says: fmt.Sprintf("which inverters the site has is not in the register: an expansion is judged with %s, the newest of the family that most sites have; find out the old inverters' model", inverter.Model)})
	}
	return f
}

// failed is the finding of a site that could not be judged.
func (j *judge) failed(site *ingest.Site, err error) *Finding {
	f := j.begin(site)
	f.Failed = err.Error()
	f.Array.Refusal, f.Demand.Refusal, f.Worth.Refusal = "failed", "failed", "failed"
	c := rank.Case{
		SiteID: site.ID, OptedOut: site.DoNotContact, LastContactOn: site.LastContactOn, MonthEnd: f.Month.End(f.Location),
		Refusals: []rank.Reason{{Code: "failed", Says: f.Failed}},
	}
	j.pastOf(f, &c)
	f.Verdict = rank.Judge(c, j.Options.Rank)
	return f
}

// SetAside is a site whose own row in the register could not be used: its id is all
// that is known of it.
func SetAside(id string) *ingest.Site { return &ingest.Site{ID: id, Location: time.UTC} }

// setAside is the finding of a site whose own row in the register could not be
// used: it is reported, with nothing known of it.
func (j *judge) setAside(id string) *Finding {
	f := j.begin(SetAside(id))
	f.Array.Refusal, f.Demand.Refusal, f.Worth.Refusal = "register_row", "register_row", "register_row"
	f.Verdict = rank.Judge(rank.Case{SiteID: id, Refusals: []rank.Reason{{Code: "register_row", Says: "the site's row in sites.csv could not be used"}}}, j.Options.Rank)
	f.Verdict.NextStep = "mend the site's row in sites.csv; rejects.csv says what is wrong"
	return f
}

// site judges one site: the whole way, one stage after the other.
func (j *judge) site(i int, b *bench) (*Finding, error) {
	site := j.Fleet.site(i)
	if says := j.survey.seen[i].Failed; says != "" {
		return nil, errors.New(says)
	}
	f := j.begin(site)
	s := &b.series
	if err := j.Source.Load(site.ID, s); errors.Is(err, ingest.ErrNoReadings) {
		*s = ingest.Series{SiteID: site.ID, Start: f.Window.Start}
	} else if err != nil {
		return nil, err
	}
	f.StepMinutes, f.Quality = s.StepMinutes, append(f.Quality, s.Quality...) // s is reused for the next site
	cal := &b.calendar
	cal.Lay(f.Location, s.Start, s.Len())
	use := ingest.JoinConsumption(s, b.use)
	b.use = use.Wh
	read := whole(s, &use)
	f.countDays(s, cal, read)
	tempC := j.temperatures(site, b)

	j.judgeArray(f, s, cal, tempC, j.survey.seen[i].Clock)
	j.judgeDemand(f, s, &use, tempC, b)
	f.yearFigures(s, &use)
	f.Months = monthly(f, s, cal, &use, read)
	f.Completeness = f.completeness()
	units := j.judgeRoom(f, s)
	j.judgeWorth(f, s, units)
	f.gatherCaveats()
	f.Verdict = rank.Judge(j.caseOf(f), j.Options.Rank)
	j.judgeExpansion(f, s)
	f.choose()
	f.keepWorth(&j.Options.Rank)
	if f.Verdict.Lane.Ranked() || f.Verdict.Lane == rank.Repair {
		j.planVisit(f, s)
	}
	return f, nil
}

func (j *judge) judgeArray(f *Finding, s *ingest.Series, cal *ingest.Calendar, tempC []float64, clock *sky.Clock) {
	if s.Len() == 0 {
		f.Array.Refusal = "no_production"
		return
	}
	h := j.hours(f.Site, s)
	at := j.places.Of(f.Site)
	own := &sky.Estimate{SiteID: f.Site.ID}
	if j.survey.Sky.Alone(at, f.Site.ID) {
		if self, err := sky.FromSite(sky.Input{Site: f.Site, Catalogue: &j.Register.Catalogue, Series: s, Calendar: cal, Sun: h, TempC: tempC}); err == nil {
			own = &self
		}
	}
	over := j.survey.Sky.At(at, s.Start, s.Len(), own)
	f.SkySource = over.Source
	f.Array = array.Assess(array.Input{
		Site: f.Site, Catalogue: &j.Register.Catalogue, Series: s, Calendar: cal, Sun: h, Sky: over, TempC: tempC, Clock: clock,
		Window: f.Window, Options: j.Options.Array,
	})
}

func (j *judge) judgeDemand(f *Finding, s *ingest.Series, use *ingest.ConsumptionHours, tempC []float64, b *bench) {
	f.Demand = demand.Assess(demand.Input{
		SiteID: f.Site.ID, Location: f.Location, LatitudeDeg: f.Site.LatitudeDeg, Series: s, Bills: f.Site.Bills, TempC: tempC,
		Season: j.survey.Season.At(f.Site.LatitudeDeg, f.Site.LongitudeDeg), Calendar: &b.calendar, Consumption: use,
		Window: f.Window, Options: j.Options.Demand, Scratch: &b.scratch,
	})
}

// judgeRoom finds the limits, and what one new module makes on each plane.
func (j *judge) judgeRoom(f *Finding, s *ingest.Series) map[string]array.UnitOutput {
	units := map[string]array.UnitOutput{}
	yield := math.NaN()
	for _, p := range candidatePlanes(f) {
		if f.Array.Refusal != "" {
			break
		}
		u := f.Array.ModuleOutput(p, j.module, f.Inverter)
		units[p.ID] = u
		if y := sum(u.Wh) / j.module.Watts; math.IsNaN(yield) || y > yield {
			yield = y
		}
	}
	in := j.roomInput(f, s)
	in.YieldKWhPerKW = yield
	f.Room = headroom.Assess(in)
	return units
}

func (j *judge) roomInput(f *Finding, s *ingest.Series) headroom.Input {
	in := headroom.Input{
		Site: f.Site, Catalogue: &j.Register.Catalogue, Module: j.module, Inverter: f.Inverter,
		Tariff: ingest.FindTariff(j.Register.Tariffs, f.Site.TariffID), AsOf: f.Month.End(f.Location),
		ExistingWatts: math.NaN(), UseKWhYr: math.NaN(), PastUseKWhYr: math.NaN(),
		ProductionKWhYr: math.NaN(), YieldKWhPerKW: math.NaN(), PeakLoadKW: peakKW(f, s),
		Options: j.Options.Headroom,
	}
	if f.Demand.Refusal == "" {
		in.UseKWhYr, in.PastUseKWhYr = f.Demand.NextYearKWh, f.Demand.LevelKWhYr
	}
	if f.Array.Refusal == "" {
		in.ProductionKWhYr = f.Array.ExpectedKWhYr
	}
	return in
}

// candidatePlanes are the planes that could take modules: those of the
// register, or for want of any the ones that today's modules lie on, by the
// arrays' names and with nothing known of their size.
func candidatePlanes(f *Finding) []ingest.Plane {
	if len(f.Site.Planes) > 0 {
		return f.Site.Planes
	}
	var planes []ingest.Plane
	nan := math.NaN()
	for _, p := range f.Array.Planes {
		planes = append(planes, ingest.Plane{ID: "of " + strings.Join(p.ArrayIDs, " and "), WidthM: nan, SlopeM: nan,
			TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg, ShadingPct: nan, BlockedM2: nan})
	}
	return planes
}

// planVisit writes the sheet for the size that is proposed, or for mending.
func (j *judge) planVisit(f *Finding, s *ingest.Series) {
	in := visit.Input{Room: j.roomInput(f, s), Limits: f.Room, Array: &f.Array, RepairSavingYr: f.Worth.RepairSavingYr,
		Repair: f.Verdict.Lane == rank.Repair, TariffDefaulted: f.TariffDefaulted, AsOf: f.Month.End(f.Location)}
	if f.Chosen != nil {
		in.Plan = headroom.Plan{Modules: f.Chosen.Modules, Jobs: f.Chosen.Jobs}
		for _, p := range f.Chosen.ByPlane {
			in.Plan.ByPlane = append(in.Plan.ByPlane, headroom.PlaneCount{PlaneID: p.PlaneID, Modules: p.Modules})
		}
	}
	f.Visit = visit.Write(in)
}

// choose takes the option that the verdict proposes. A sick array is sized as if
// it were mended, so that the visit knows what could follow; elsewhere nothing is
// proposed and nothing is chosen.
func (f *Finding) choose() {
	at := -1
	switch o := f.Verdict.Offer; {
	case o != nil:
		at = slices.IndexFunc(f.Worth.Options, func(p option.Option) bool { return p.Modules == o.Modules })
	case f.Verdict.Lane == rank.Repair && f.Worth.Best >= 0:
		at = f.Worth.Best
	case f.Verdict.Lane == rank.Repair:
		at = f.Worth.BestWithJobs
	}
	if at >= 0 {
		chosen := f.Worth.Options[at]
		f.Chosen = &chosen
	}
}

// gatherCaveats brings the doubts of every stage together.
func (f *Finding) gatherCaveats() {
	for _, q := range f.Quality {
		if q.Consequence == ingest.CountAsZero { // a night without sun is no doubt
			continue
		}
		f.Caveats = append(f.Caveats, ingest.Caveat{Code: q.Code, Says: q.Says})
	}
	for _, r := range f.Site.Problems {
		f.Caveats = append(f.Caveats, ingest.Caveat{Code: "register_row", Says: fmt.Sprintf("a row of %s could not be used: %s", r.File, r.Reason)})
	}
	f.thinCaveat()
	f.Caveats = append(f.Caveats, f.Array.Caveats...)
	f.Caveats = append(f.Caveats, f.Demand.Caveats...)
	f.Caveats = append(f.Caveats, f.Room.Cautions...)
	f.Caveats = append(f.Caveats, f.Worth.Caveats...)
}

func sum(x []float64) float64 {
	total := 0.0
	for _, v := range x {
		total += v
	}
	return total
}
