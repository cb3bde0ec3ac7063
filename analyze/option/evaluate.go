package option

import (
	"fmt"
	"math"
	"sync"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

// Evaluate simulates every size from one module to what is within reach, jobs
// counted, and finds the best.
//
// In:      next year's hours of use and of output, the candidate planes, the
// limits, the tariff, the money; see Input. Nothing is modified.
// Out:     every size with bill, cost, saving, net benefit, payback and their
// doubt; the best as the site stands and the best with jobs.
// Refuses: hours that are missing or do not fit the window, no tariff, a legacy
// tariff without its successor, settings that cannot be counted with.
// Edges:   without room there are no options and no refusal; BillBefore stands.
// Source:  contract section 2 (net benefit), section 4 (bill); methods 11.
// Cost:    nine walks over the lit hours for all sizes together, and a few sums
// a size and draw.
func Evaluate(in Input) Result {
	in.beginAfresh()
	if says := in.refuse(); says != "" {
		return Result{Refusal: says, Best: -1, BestWithJobs: -1, UpTo: -1, UpToWithJobs: -1, RepairSavingYr: math.NaN()}
	}
	w := works.Get().(*work)
	defer works.Put(w)
	asGained := w.evaluate(&in, byGain)
	if !asGained.heldBack() || !in.doubtsPlanes() {
		return asGained
	}
	if asSure := w.evaluate(&in, sureFirst); asSure.offered() > asGained.offered() {
		return asSure
	}
	return asGained
}

// heldBack tells whether a larger offer than the proposed one would gain more but
// rests on what is not known of the roof.
func (r *Result) heldBack() bool { return r.UpTo > r.Best || r.UpToWithJobs > r.BestWithJobs }

// offered is the expected net benefit of what is proposed; 0 where nothing is.
func (r *Result) offered() float64 {
	most := 0.0
	for _, at := range []int{r.Best, r.BestWithJobs} {
		if at >= 0 {
			most = max(most, r.Options[at].NetBenefit.Mean)
		}
	}
	return most
}

// work is the memory of one evaluation, used again for the next site.
type work struct {
	main       kernel     // on the site's tariff
	priced     []*account // what some year is billed on, the site's own first
	spare      []*account // of earlier sites, used again
	sums       sums
	table      table
	allocation allocation
	after      tariff.Bill // scratch
	newShare   []float64
	clipped    []float64 // kWh by size at the expected hours
	flow       []float64
	curves     []curve
	doubt      draws
}

var works = sync.Pool{New: func() any { return new(work) }}

func (in *Input) refuse() string {
	n := len(in.LoadWh)
	switch {
	case in.Tariff == nil:
		return "no tariff is known for the site"
	case in.Tariff.Data.Legacy != nil && in.Successor == nil:
		return fmt.Sprintf("tariff %q has legacy terms, but its successor is not known", in.Tariff.ID)
	case in.Location == nil:
		return "the site's time zone is not known"
	case in.Window.N <= 0 || n == 0 || n%in.Window.N != 0:
		return fmt.Sprintf("the use covers %d intervals, which is no whole multiple of the window's %d hours", n, in.Window.N)
	}
	if err := in.Money.Check(); err != nil {
		return err.Error()
	}
	if says := usable("use", in.LoadWh, n); says != "" {
		return says
	}
	if says := usable("output of today's array", in.ProductionWh, n); says != "" {
		return says
	}
	for i := range in.Planes {
		if says := usable("output of a module on plane "+in.Planes[i].PlaneID, in.Planes[i].UnitWh, n); says != "" {
			return says
		}
	}
	if in.SickWh != nil {
		return usable("output of the sick array", in.SickWh, n)
	}
	return ""
}

// usable says what is wrong with hours that must be whole.
func usable(what string, x []float64, n int) string {
	if len(x) != n {
		return fmt.Sprintf("the %s covers %d intervals, the use %d", what, len(x), n)
	}
	sum, low := 0.0, 0.0
	for _, v := range x {
		sum += v
		low = min(low, v)
	}
	if math.IsNaN(sum) || math.IsInf(sum, 0) || low < 0 {
		return fmt.Sprintf("the %s has hours that are missing, negative or not finite", what)
	}
	return ""
}

func (w *work) evaluate(in *Input, by building) Result {
	year := in.Tariff.Year(in.Window, in.Location)
	w.main.fill(year, in)
	sizes := in.reach()
	w.allocation.k = &w.main
	order := w.allocation.allocate(in, sizes, by)
	w.shares(in, order)
	w.plan(in, order)

	r := Result{Best: -1, BestWithJobs: -1, UpTo: -1, UpToWithJobs: -1, RepairSavingYr: math.NaN()}
	w.doubt.prepare(in, order)
	w.table.lay(w.doubt.loadSD, w.doubt.outputSD, w.keepsShape() && math.IsInf(w.main.limit, 1))
	w.simulate(in, order)
	r.BillBefore = w.billBefore(in)
	w.list(in, order, &r)
	w.resample(in, &r)
	choose(in, &w.doubt, &r)
	w.explain(in, &r)
	r.RepairSavingYr = repairSaving(in, year, r.BillBefore.Total)
	r.Caveats = caveats(in, year)
	return r
}

// reach is the largest size that any set of jobs makes possible.
func (in *Input) reach() int {
	most := in.Possible
	for _, set := range in.JobSets {
		most = max(most, set.Modules)
	}
	room := 0
	for i := range in.Planes {
		room += max(0, in.Planes[i].MaxModules)
	}
	return max(0, min(most, room))
}

// shares gives the new modules' share of the capacity by size.
func (w *work) shares(in *Input, order []run) {
	w.newShare = w.newShare[:0]
	walk(order, len(in.Planes), func(_ int, n []int) {
		added := addedKW(in, n)
		share := 0.0
		if added > 0 {
			share = added / (added + max(0, in.ExistingKW))
		}
		w.newShare = append(w.newShare, share)
	})
}

func addedKW(in *Input, n []int) float64 {
	kW := 0.0
	for p, count := range n {
		kW += float64(float64(count) * in.Planes[p].ModuleWatts / 1000)
	}
	return kW
}

// billBefore keeps its own months: the work's are used again.
func (w *work) billBefore(in *Input) tariff.Bill {
	var b tariff.Bill
	w.main.simulate(nil, 1, 1, w.newShare[:1], &w.sums)
	w.main.year.Settle(w.sums.totals(0), &b)
	return b
}

// list makes the options at the expected hours.
func (w *work) list(in *Input, order []run, r *Result) {
	m := &in.Money
	t := m.terms(in.Tariff, 0, 0)
	use, made := total(in.LoadWh)/1000, total(in.ProductionWh)/1000
	centre := w.table.centre()
	r.Options = make([]Option, 0, len(w.newShare)-1)
	walk(order, len(in.Planes), func(size int, n []int) {
		if size == 0 {
			return
		}
		o := Option{Modules: size, BillBefore: r.BillBefore.Total, CO2KgYr: math.NaN(), curve: onTariff}
		var kWh float64
		for p, count := range n {
			if count == 0 {
				continue
			}
			c := &in.Planes[p]
			o.ByPlane = append(o.ByPlane, PlaneCount{c.PlaneID, count})
			o.AddedKWAC += float64(count) * c.ACWatts / 1000
			kWh += float64(float64(count) * w.unitKWh(p))
		}
		o.ClippedKWhYr = w.clipped[size] - w.clipped[0]
		kWh -= o.ClippedKWhYr
		o.AddedKWDC, o.AddedKWhYr = addedKW(in, n), kWh
		o.Feasible, o.Jobs, o.JobsCost = in.jobsFor(size)
		o.Cost = m.cost(size, o.AddedKWDC, o.JobsCost)
		o.CoverageAfterPct = percent(made-w.clipped[0]+kWh, use)
		if m.CO2KgPerKWh > 0 {
			o.CO2KgYr = kWh * m.CO2KgPerKWh
		}
		w.pickCase(in, &o, t)
		c := &w.curves[o.curve]
		o.BillBefore, o.BillAfter = c.bills(size)
		o.AddedSelfUsePct = percent(c.imported[0]-c.imported[size], kWh)
		o.CostPerKWh = m.levelised(o.Cost, size, kWh)
		o.Saving = certain(o.BillBefore - o.BillAfter)
		o.NetBenefit = certain(worth(t, o.Cost, size, c.worth(t, centre, size)))
		o.SimplePaybackYears = ratio(o.Cost, o.Saving.Value)
		o.Payback = certain(neverInf(o.SimplePaybackYears))
		w.flow = m.flows(w.flow, o.Cost, size, c.savings(centre, size), t)
		irr, unique := IRR(w.flow)
		o.IRRPct, o.IRRUnique = 100*irr, unique
		o.DiscountedPayback = DiscountedPayback(o.Cost, w.flow[1:], m.DiscountRatePct/100)
		o.Chance, o.PaybackChance = math.NaN(), math.NaN()
		r.Options = append(r.Options, o)
	})
}

// worth is the net benefit: see Money.terms.
func worth(t terms, cost float64, modules int, saving float64) float64 {
	return saving - float64(cost*t.perCost) - float64(float64(modules)*t.perPiece)
}

// jobsFor says whether a size is possible as the site stands, and which jobs
// make it so at the least cost.
func (in *Input) jobsFor(size int) (feasible bool, jobs []string, cost float64) {
	if size <= in.Possible {
		return true, in.FreeJobs, 0
	}
	best := -1
	for i, set := range in.JobSets {
		if set.Modules >= size && (best < 0 || set.Cost < in.JobSets[best].Cost) {
			best = i
		}
	}
	return false, in.JobSets[best].Jobs, in.JobSets[best].Cost
}

func (w *work) unitKWh(p int) float64 { return total(w.main.sumUnit[p]) }

func total(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum
}

func percent(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return 100 * a / b
}

// ratio of a cost to what pays it; NaN where nothing does but the rounding of
// sums.
func ratio(cost, saving float64) float64 {
	if !(saving > cost*rounding) {
		return math.NaN()
	}
	return cost / saving
}

func neverInf(years float64) float64 {
	if math.IsNaN(years) {
		return math.Inf(1)
	}
	return years
}

func certain(v float64) Spread { return Spread{v, v, v, v, v} }

// repairSaving is what mending saves in a year: the addition is counted on top
// of the mended array.
func repairSaving(in *Input, y *tariff.Year, mended float64) float64 {
	if in.SickWh == nil {
		return math.NaN()
	}
	return y.BillOf(in.LoadWh, in.clip(in.SickWh)).Total - mended
}

// exportLimitKW is +Inf where there is no limit.
func (in *Input) exportLimitKW() float64 {
	if in.ExportLimitKW > 0 {
		return in.ExportLimitKW
	}
	return math.Inf(1)
}

// clip gives an output without what the export limit takes away.
func (in *Input) clip(made []float64) []float64 {
	limit := 1000 * in.exportLimitKW() / float64(len(made)/in.Window.N)
	if math.IsInf(limit, 1) {
		return made
	}
	out := make([]float64, len(made))
	for i, wh := range made {
		out[i] = min(wh, in.LoadWh[i]+limit)
	}
	return out
}

func caveats(in *Input, y *tariff.Year) []ingest.Caveat {
	var out []ingest.Caveat
	add := func(code, format string, args ...any) {
		out = append(out, ingest.Caveat{Code: code, Says: fmt.Sprintf(format, args...)})
	}
	out = append(out, in.changes()...)
	if in.TariffDefaulted {
		add("tariff_defaulted", "the site's own tariff is not known; the default %s is counted with", in.Tariff.ID)
	}
	if y.Steps(len(in.LoadWh)) == 1 && !in.Tariff.Gross() && !in.Tariff.Nets() {
		if in.HourlyBias > 0 {
			add("hourly_metering", "consumption and output are matched by the hour; by this site's finer readings %.1f %% of the output more is sold instead of used, so that the saving is a little high", 100*in.HourlyBias)
		} else {
			add("hourly_metering", "consumption and output are matched by the hour; by quarter hours 3 to 8 %% of the output more is sold instead of used (common practice), so that the saving is a little high")
		}
	}
	if in.Phases == 3 && !in.Tariff.Gross() {
		add("phases_summed", "the meter is taken to sum the three phases; where each is counted by itself, more is bought and more is sold")
	}
	if in.SickWh != nil {
		add("counted_as_mended", "today's array is counted as mended")
	}
	return out
}
