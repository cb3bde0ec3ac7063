package main

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"rowen/report"
)

// A site of round numbers, worked out by hand: ten modules of 400 W on a plane of
// 30 degrees to the south, a household of 12 kWh an hour (11 and 13 in turn),
// away for twenty days of the report year, which uses all that they and any new ones make, one price, a weather station.
//
//	money     0.20 a kWh, 0.50 a day; 800 a module, 1000 a visit; 5 % discount,
//	          2 % escalation, 0.5 % degradation, 20 years
//	roof      two planes of 10 x 4.5 m, no setbacks, modules of 1.722 x 1.134 m, 20 mm
//	          apart: 16 each (10_roof_packing.csv), less the ten that lie there: 22
//	service   120 % of 200 A less a main breaker of 200 A: 40 A, 32 A continuous;
//	          ten inverters of 384 W at 240 V take 16 A, ten more fit
//	branch    four spaces are two circuits of ten inverters: 20
//	permit    6.4 kW less ten times 384 W: six inverters, which binds
const (
	handMonths    = 25 // October 2024 to October 2026
	handModules   = 10
	handPrice     = 0.20
	handFixed     = 0.50
	handPerModule = 800.0
	handVisit     = 1000.0
	handPermit    = 450.0
	handPanel     = 2800.0
	handAway      = 20 // days of July 2026 at 4 kWh an hour
)

var handTables = map[string]string{
	"rowen.yaml": `currency: USD
defaults: {tariff_id: one-price, profile: split-phase-200, module: HM-400, inverter: HI-384}
money:
  discount_rate_pct: 5
  price_escalation_pct_yr: 2
  horizon_years: 20
  module_degradation_pct_yr: 0.5
  cost_per_module: 800
  cost_per_visit: 1000
  cost_of: {software_update: 0, panelboard_upgrade: 2800, new_permission: 450, gateway_swap: 900}
roof: {ridge_setback_m: 0, eave_setback_m: 0, side_setback_m: 0, module_gap_m: 0.02}
`,
	"catalogue.yaml": `modules:   [{model: HM-400, watts: 400, width_m: 1.134, height_m: 1.722, temp_coefficient_pct_per_c: -0.35}]
inverters: [{model: HI-384, family: HI, generation: 1, kind: micro, ac_watts: 384, max_module_watts: 540, efficiency_pct: 97, per_branch: 10, branch_breaker_amps: 20}]
gateways:   [{model: HG, max_inverters: 49, latest_software: "2.0"}]
`,
	"tariffs.yaml": `tariffs:
  - {id: one-price, fixed_per_day: 0.50, import: [{name: all, price: 0.20}], export: {credit: rate, price: 0.05}, settlement: interval}
`,
	"sites.csv":    "site_id,latitude,longitude,timezone,elevation_m,branch,grid_type,tariff_id,permission_limit_kw,do_not_contact\nH-1,40,-105,America/Denver,1600,north,grid_tied,one-price,6.4,false\n",
	"arrays.csv":   "site_id,array_id,modules,module_watts,module_model,tilt_deg,azimuth_deg,plane_id,inverter_model,inverters,commissioned_on\nH-1,A1,10,400,HM-400,30,180,P0,HI-384,10,2024-01-15\n",
	"planes.csv":   "site_id,plane_id,width_m,slope_m,tilt_deg,azimuth_deg,shading_pct,blocked_m2,roof_kind,roof_year\nH-1,P0,10,4.5,30,180,0,0,metal,2020\nH-1,P1,10,4.5,30,180,0,0,metal,2020\n",
	"services.csv": "site_id,phases,volts,busbar_amps,main_breaker_amps,pv_breaker_amps,other_supply_amps,free_spaces,branch_spare_amps,feed,profile\nH-1,2,240,200,200,20,0,4,0,end,split-phase-200\n",
	"gateways.csv": "site_id,gateway_model,software_version,reporting_inverters,last_seen_on,backup_controller,storage_kwh\nH-1,HG,2.0,10,2026-10-31,false,0\n",
}

// handHour is one hour: the readings in whole Wh, the weather as its means.
type handHour struct {
	at                         time.Time // UTC
	made, use                  int
	beam, diffuse, level, airC float64 // W/m2 at right angles, of the sky, on the level; degrees
}

// handHours are the readings and the weather. The array's output follows the sun
// over the plane by textbook formulas: declination and equation of time by Spencer
// 1971, the sky's light alike from all sides, a cell 0.03 K per W/m2 above the air,
// which loses 0.35 % a kelvin. It gives 0.85 of what the modules would at standard
// conditions.
func handHours(loc *time.Location) []handHour {
	var hours []handHour
	from, to := time.Date(2024, 10, 1, 0, 0, 0, 0, loc).UTC(), time.Date(2026, 11, 1, 0, 0, 0, 0, loc).UTC()
	for at := from; at.Before(to); at = at.Add(time.Hour) {
		h := handHour{at: at, use: 11000 + 2000*(len(hours)%2)}
		h.airC = 10 - 12*math.Cos(2*math.Pi*float64(at.YearDay()-20)/365)
		if local := at.In(loc); local.Year() == 2026 && local.Month() == time.July && local.Day() <= handAway {
			h.use = 4000
		}
		day := int(at.In(loc).Unix() / 86400)
		clear := 1.0 // two clear days of three, the third between 0.3 and 0.9
		if day%3 == 2 {
			clear = 0.3 + 0.6*math.Mod(float64(day)*0.618034, 1)
		}
		output := 0.0
		for minute := 5; minute < 60; minute += 10 {
			up, on := handSun(at.Add(time.Duration(minute) * time.Minute))
			if up <= 0 {
				continue
			}
			beam, diffuse := clear*1000*math.Exp(-0.13/(up+0.02)), 90*math.Sqrt(up)
			light := beam*math.Max(0, on) + diffuse*(1+math.Cos(math.Pi/6))/2
			output += light / 1000 * (1 - 0.0035*(h.airC+0.03*light-25)) / 6
			h.beam, h.diffuse, h.level = h.beam+beam/6, h.diffuse+diffuse/6, h.level+(beam*up+diffuse)/6
		}
		h.made = int(handModules * 400 * 0.85 * output)
		hours = append(hours, h)
	}
	return hours
}

// handSun gives the sines of the sun's height over the horizon and over the plane:
// one of 30 degrees to the south at 40 north is level at 10 north.
func handSun(at time.Time) (up, on float64) {
	const rad = math.Pi / 180
	b := 2 * math.Pi * float64(at.YearDay()-1) / 365
	decl := 0.006918 - 0.399912*math.Cos(b) + 0.070257*math.Sin(b) - 0.006758*math.Cos(2*b) + 0.000907*math.Sin(2*b)
	eot := 229.18 * (0.000075 + 0.001868*math.Cos(b) - 0.032077*math.Sin(b) - 0.014615*math.Cos(2*b) - 0.040849*math.Sin(2*b))
	w := ((float64(at.Hour()*60+at.Minute())+eot-4*105)/4 - 180) * rad
	up = math.Sin(40*rad)*math.Sin(decl) + math.Cos(40*rad)*math.Cos(decl)*math.Cos(w)
	on = math.Sin(10*rad)*math.Sin(decl) + math.Cos(10*rad)*math.Cos(decl)*math.Cos(w)
	return up, on
}

// handClock is the site's.
func handClock(t *testing.T) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// handRun writes the fleet, runs the whole job on it in this process and gives the
// run's folder. use writes an hour's cell of consumption; stray are more rows.
func handRun(t *testing.T, hours []handHour, use func(i int, h handHour) string, stray string) (run string) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range handTables {
		write(t, dir, name, text)
	}
	var b, sky strings.Builder
	b.WriteString("site_id,start,production_wh,consumption_wh,import_wh,export_wh\n")
	sky.WriteString("station_id,start,temp_c,ghi_w_m2,dni_w_m2,dhi_w_m2\n")
	for i, h := range hours {
		fmt.Fprintf(&b, "H-1,%s,%d,%s,%d,0\n", h.at.Format(time.RFC3339), h.made, use(i, h), h.use-h.made)
		fmt.Fprintf(&sky, "W-1,%s,%.1f,%.1f,%.1f,%.1f\n", h.at.Format(time.RFC3339), h.airC, h.level, h.beam, h.diffuse)
	}
	write(t, dir, "readings/all.csv", b.String()+stray)
	write(t, dir, "weather/stations.csv", "station_id,latitude,longitude\nW-1,40,-105\n")
	write(t, dir, "weather/W-1.csv", sky.String())
	if code, _, stderr := rowenRun("run", dir); code != 0 {
		t.Fatalf("the run ends with %d: %s", code, stderr)
	}
	return filepath.Join(dir, "runs", "2026-10")
}

// handUse is the consumption meter's cell.
func handUse(_ int, h handHour) string { return strconv.Itoa(h.use) }

// handCost is what n modules cost: beyond six they need another permission, beyond
// ten a larger panelboard too.
func handCost(n float64) float64 {
	cost := handVisit + n*handPerModule
	if n > 6 {
		cost += handPermit
	}
	if n > 10 {
		cost += handPanel
	}
	return cost
}

// handWorth is the net benefit of a first-year saving, as a geometric sum:
//
//	saving/(1+r) (1 - q^20)/(1 - q) - cost,   q = (1+e)(1-d)/(1+r)
func handWorth(saving, cost float64) float64 {
	const q = 1.02 * 0.995 / 1.05
	return saving/1.05*(1-math.Pow(q, 20))/(1-q) - cost
}

// hand compares figures.
type hand struct{ *testing.T }

func (h hand) is(what string, got *float64, want, within float64) {
	h.Helper()
	switch {
	case got == nil:
		h.Errorf("%s is null, want %g", what, want)
	case !(math.Abs(*got-want) <= within):
		h.Errorf("%s is %g, want %g within %g", what, *got, want, within)
	}
}

func (h hand) counts(what string, got *int32, want int32) {
	h.Helper()
	if got == nil || *got != want {
		h.Errorf("%s is %v, want %d", what, whole(got), want)
	}
}

func whole(n *int32) any {
	if n == nil {
		return "null"
	}
	return *n
}

// between: an interval holds its value and has a width.
func (h hand) between(what string, low, value, high *float64) {
	h.Helper()
	if low == nil || value == nil || high == nil || !(*low < *value && *value < *high) {
		h.Errorf("%s: %v < %v < %v does not hold", what, num(low), num(value), num(high))
	}
}

func num(x *float64) any {
	if x == nil {
		return "null"
	}
	return *x
}

// TestSiteByHand holds every figure of the outputs that follows from the register
// and the readings by plain arithmetic, worked out here and nowhere else.
func TestSiteByHand(t *testing.T) {
	loc := handClock(t)
	hours := handHours(loc)
	run := handRun(t, hours, handUse, "")
	sites, err := parquet.ReadFile[report.SiteRow](filepath.Join(run, "sites.parquet"))
	if err != nil || len(sites) != 1 {
		t.Fatal(len(sites), err)
	}
	options, err := parquet.ReadFile[report.OptionRow](filepath.Join(run, "options.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	months, err := parquet.ReadFile[report.MonthRow](filepath.Join(run, "monthly.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	made, used := handYear(hours, loc)
	t.Run("monthly", func(t *testing.T) { handMonthly(hand{t}, months, hours, loc) })
	t.Run("site", func(t *testing.T) { handSite(hand{t}, &sites[0], made, used) })
	t.Run("options", func(t *testing.T) { handOptions(hand{t}, options, &sites[0], made) })
}

// handYear adds up the report year, November 2025 to October 2026, in kWh.
func handYear(hours []handHour, loc *time.Location) (made, used float64) {
	for _, h := range hours {
		if local := h.at.In(loc); local.Year() == 2026 || local.Year() == 2025 && local.Month() >= time.November {
			made, used = made+float64(h.made)/1000, used+float64(h.use)/1000
		}
	}
	return made, used
}

func handMonthly(t hand, months []report.MonthRow, hours []handHour, loc *time.Location) {
	if len(months) != handMonths {
		t.Fatalf("%d months, want %d", len(months), handMonths)
	}
	type sums struct{ made, used, drawn float64 }
	want := map[int32]sums{}
	for _, h := range hours {
		local := h.at.In(loc)
		first := int32(time.Date(local.Year(), local.Month(), 1, 0, 0, 0, 0, time.UTC).Unix() / 86400)
		s := want[first]
		want[first] = sums{s.made + float64(h.made)/1000, s.used + float64(h.use)/1000, s.drawn + float64(h.use-h.made)/1000}
	}
	for _, m := range months {
		w, name := want[m.Month], time.Unix(int64(m.Month)*86400, 0).UTC().Format("2006-01")
		if m.SiteID != "H-1" || m.ReportMonth != "2026-10" {
			t.Errorf("%s: site %q, report month %q", name, m.SiteID, m.ReportMonth)
		}
		t.is(name+" production_kwh", m.ProductionKWh, w.made, 1e-6)
		t.is(name+" consumption_kwh", m.ConsumptionKWh, w.used, 1e-6)
		t.is(name+" import_kwh", m.ImportKWh, w.drawn, 1e-6)
		t.is(name+" export_kwh", m.ExportKWh, 0, 0)
		t.is(name+" data_coverage_pct", &m.DataCoveragePct, 100, 1e-9)
		t.is(name+" production_index", m.ProductionIndex, 1, 0.1)
		if m.ProductionIndex != nil {
			t.is(name+" expected_production_kwh", m.ExpectedProductionKWh, w.made / *m.ProductionIndex, 1e-6)
		}
	}
}

func handSite(t hand, s *report.SiteRow, made, used float64) {
	const normal = 8760 * 12
	t.is("consumption_kwh_yr", s.ConsumptionKWhYr, normal-handAway*24*8, 1e-6)
	t.is("the readings' consumption", &used, normal-handAway*24*8, 1e-6)
	t.is("consumption_filled_pct", s.ConsumptionFilledPct, 0, 0)
	t.is("consumption_normal_kwh_yr", s.ConsumptionNormalKWhYr, normal, 0.002*normal)
	t.is("expected_use_kwh_yr", s.ExpectedUseKWhYr, normal, 0.005*normal)
	t.is("consumption_growth_pct_yr", s.ConsumptionGrowthPctYr, 0, 0.2)
	t.is("consumption_change_12m_pct", s.ConsumptionChange12mPct, 0, 0.2)
	t.is("production_kwh_yr", s.ProductionKWhYr, made, 1e-6)
	t.is("production_filled_pct", s.ProductionFilledPct, 0, 0)
	t.is("coverage_pct", s.CoveragePct, 100*made/used, 1e-9)
	t.is("production_index", s.ProductionIndex, 1, 0.03)
	t.is("data_coverage_pct", s.DataCoveragePct, 100, 1e-9)
	if want := int32(365*2 + 31); s.DataDays != want {
		t.Errorf("data_days is %d, want %d", s.DataDays, want)
	}
	if len(s.LoadEvents)+len(s.ArrayFaults) > 0 || s.ReportMonth != "2026-10" || s.Failed != nil {
		t.Errorf("events %v, faults %v, report month %s", s.LoadEvents, s.ArrayFaults, s.ReportMonth)
	}
	t.counts("roof_modules", s.RoofModules, 22)
	t.counts("service_modules", s.ServiceModules, 10)
	t.counts("branch_modules", s.BranchModules, 20)
	t.counts("permission_modules", s.PermissionModules, 6)
	t.counts("modules_possible", s.ModulesPossible, 6)
	if s.BindingLimit == nil || *s.BindingLimit != "permission" {
		t.Errorf("binding_limit is %q", *s.BindingLimit)
	}
	if s.ModulesToAdd == nil {
		t.Fatalf("nothing is proposed: lane %s, %v", s.Lane, s.Reasons)
	}
	n := float64(*s.ModulesToAdd)
	cost := handCost(n)
	if n != 6 || s.Lane != "call" {
		t.Errorf("lane %s with %g modules, want call with 6", s.Lane, n)
	}
	t.is("added_kw_dc", s.AddedKWDC, 0.4*n, 1e-9)
	t.is("added_kw_ac", s.AddedKWAC, 0.384*n, 1e-9)
	t.is("added_kwh_yr", s.AddedKWhYr, made/handModules*n, 0.04*made/handModules*n) // like the old ones beside them
	t.is("added_self_use_pct", s.AddedSelfUsePct, 100, 1e-6)
	t.is("coverage_after_pct", s.CoverageAfterPct, 100*made*(1+n/handModules)/normal, 4*made*(1+n/handModules)/normal)
	t.is("cost", s.Cost, cost, 1e-6)
	saving := handPrice * *s.AddedKWhYr
	t.is("savings_first_year", s.SavingsFirstYear, saving, 1e-6*saving)
	t.is("net_benefit", s.NetBenefit, handWorth(saving, cost), 0.01)
	t.is("simple_payback_years", s.SimplePaybackYears, cost/saving, 1e-6)
	t.between("savings_first_year", s.SavingsFirstYearLow, s.SavingsFirstYear, s.SavingsFirstYearHigh)
	t.between("net_benefit", s.NetBenefitLow, s.NetBenefit, s.NetBenefitHigh)
	t.between("consumption_growth_pct_yr", s.ConsumptionGrowthLow, s.ConsumptionGrowthPctYr, s.ConsumptionGrowthHigh)
	t.between("consumption_normal_kwh_yr", s.ConsumptionLowKWhYr, s.ConsumptionNormalKWhYr, s.ConsumptionHighKWhYr)
	t.between("expected_use_kwh_yr", s.ExpectedUseLowKWhYr, s.ExpectedUseKWhYr, s.ExpectedUseHighKWhYr)
	handIRR(t, "irr_pct", s.IRRPct, saving, cost)
	if s.Priority != nil && s.Confidence != nil && s.ExpectedBenefit != nil && s.ChanceOfGain != nil {
		t.is("priority", s.Priority, *s.ExpectedBenefit**s.ChanceOfGain**s.Confidence, 1e-6**s.NetBenefit)
	}
	if s.TariffID == nil || *s.TariffID != "one-price" || s.TariffDefaulted {
		t.Errorf("tariff %v, defaulted %v", s.TariffID, s.TariffDefaulted)
	}
	jobs := map[string][2]float64{"new_permission": {handPermit, 10}, "new_permission+panelboard_upgrade": {handPermit + handPanel, 22}}
	for _, j := range s.EnablingJobs {
		want, ok := jobs[j.Job]
		if !ok {
			t.Errorf("nobody needs %s", j.Job)
			continue
		}
		delete(jobs, j.Job)
		t.is(j.Job+" cost", &j.Cost, want[0], 0)
		gained := float64(j.ModulesGained)
		t.is(j.Job+" modules_gained", &gained, want[1]-6, 0)
		gain := handWorth(saving/6*want[1], handCost(want[1])) - handWorth(saving, cost)
		t.is(j.Job+" net_benefit_gained", j.NetBenefitGained, gain, 0.02*gain) // the mean of the draws, not the value in the middle
	}
	if len(jobs) > 0 {
		t.Errorf("missing jobs: %v", jobs)
	}
	t.Logf("lane %s, %g modules, %g kWh, cost %g, saves %g, net benefit %v (%v to %v), payback %v, index %v, confidence %v, caveats %v",
		s.Lane, n, *s.AddedKWhYr, cost, saving, num(s.NetBenefit), num(s.NetBenefitLow), num(s.NetBenefitHigh), num(s.SimplePaybackYears), num(s.ProductionIndex), num(s.Confidence), s.Caveats)
}

// handIRR: at the internal rate the savings are worth what they cost.
func handIRR(t hand, what string, pct *float64, saving, cost float64) {
	t.Helper()
	if pct == nil {
		t.Errorf("%s is null", what)
		return
	}
	worth := -cost
	for y := 1; y <= 20; y++ {
		worth += saving * math.Pow(1.02*0.995, float64(y-1)) / math.Pow(1+*pct/100, float64(y))
	}
	t.is("worth at "+what, &worth, 0, 0.01)
}

func handOptions(t hand, options []report.OptionRow, s *report.SiteRow, made float64) {
	if len(options) != 22 { // as many as the roof has room for
		t.Fatalf("%d sizes", len(options))
	}
	chosen := 0
	for i, o := range options {
		name := fmt.Sprintf("%d modules: ", o.Modules)
		n := float64(o.Modules)
		if o.Modules != int32(i+1) || o.SiteID != "H-1" || o.ReportMonth != "2026-10" {
			t.Errorf("row %d: %d modules of %s in %s", i, o.Modules, o.SiteID, o.ReportMonth)
		}
		if o.Feasible != (o.Modules <= 6) {
			t.Errorf("%sfeasible is %v", name, o.Feasible)
		}
		cost := handCost(n)
		t.is(name+"added_kwh_yr", &o.AddedKWhYr, options[0].AddedKWhYr*n, 1e-6*o.AddedKWhYr) // all alike, on one plane
		t.is(name+"added_self_use_pct", o.AddedSelfUsePct, 100, 1e-6)
		before := handFixed*365 + handPrice*(8760*12-made) // nobody is away next year
		t.is(name+"bill_before", &o.BillBefore, before, 0.005*before)
		saving := handPrice * o.AddedKWhYr
		t.is(name+"bill_after", &o.BillAfter, o.BillBefore-saving, 1e-6*before)
		t.is(name+"savings_first_year", &o.SavingsFirstYear, saving, 1e-6*saving)
		t.is(name+"cost", &o.Cost, cost, 1e-6)
		t.is(name+"net_benefit", &o.NetBenefit, handWorth(saving, cost), 0.01)
		t.is(name+"simple_payback_years", o.SimplePaybackYears, cost/saving, 1e-6)
		handIRR(t, name+"irr_pct", o.IRRPct, saving, cost)
		t.between(name+"savings_first_year", o.SavingsFirstYearLow, &o.SavingsFirstYear, o.SavingsFirstYearHigh)
		t.between(name+"net_benefit", o.NetBenefitLow, &o.NetBenefit, o.NetBenefitHigh)
		t.between(name+"simple_payback_years", o.PaybackLowYears, o.SimplePaybackYears, o.PaybackHighYears)
		handDiscounted(t, name, o.DiscountedPayback, saving, cost)
		handPerKWh(t, name, o.CostPerKWh, o.AddedKWhYr, cost)
		if c := o.ChanceOfGain; c == nil || *c < 0.5 || *c > 1 {
			t.Errorf("%schance_of_gain is %v of a net benefit of %g", name, num(c), o.NetBenefit)
		}
		if o.Chosen {
			chosen++
			t.counts("the chosen size", s.ModulesToAdd, o.Modules)
		}
	}
	if chosen != 1 {
		t.Errorf("%d sizes are chosen", chosen)
	}
}

// handDiscounted: after so many years the discounted savings have paid the cost;
// within a year they come in evenly.
func handDiscounted(t hand, name string, got *float64, saving, cost float64) {
	t.Helper()
	left := cost
	for y := 1; y <= 20; y++ {
		worth := saving * math.Pow(1.02*0.995, float64(y-1)) / math.Pow(1.05, float64(y))
		if worth >= left {
			t.is(name+"discounted_payback_years", got, float64(y-1)+left/worth, 1e-3)
			return
		}
		left -= worth
	}
	if got != nil {
		t.Errorf("%sdiscounted_payback_years is %g, and the cost is never paid", name, *got)
	}
}

// handPerKWh: the cost over the discounted output.
func handPerKWh(t hand, name string, got *float64, kWh, cost float64) {
	t.Helper()
	output := 0.0
	for y := 1; y <= 20; y++ {
		output += kWh * math.Pow(0.995, float64(y-1)) / math.Pow(1.05, float64(y))
	}
	t.is(name+"levelised_cost_per_kwh", got, cost/output, 1e-6)
}

// TestStrayReadingsCostNothing: a consumption meter with one stray value or since
// last week, and rows of 1970 and 2030, leave lane, offer and yearly figures as
// they are: production + import - export tells the rest.
func TestStrayReadingsCostNothing(t *testing.T) {
	loc := handClock(t)
	hours := handHours(loc)
	made, used := handYear(hours, loc)
	strayRows := "H-1,1970-01-01T00:00:00Z,5,5,5,0\nH-1,2030-06-01T12:00:00Z,5,5,5,0\n"
	for _, tc := range []struct {
		name, stray, basis string
		use                func(i int, h handHour) string
	}{
		{"one stray value", "", "derived", func(i int, _ handHour) string {
			if i == 5000 {
				return "70000"
			}
			return ""
		}},
		{"a meter since last week", "", "derived", func(i int, h handHour) string {
			if i >= len(hours)-7*24 {
				return strconv.Itoa(h.use)
			}
			return ""
		}},
		{"rows of 1970 and 2030", strayRows, "meter", handUse},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := hand{t}
			rows, err := parquet.ReadFile[report.SiteRow](filepath.Join(handRun(t, hours, tc.use, tc.stray), "sites.parquet"))
			if err != nil || len(rows) != 1 {
				t.Fatal(len(rows), err)
			}
			s := &rows[0]
			h.is("consumption_kwh_yr", s.ConsumptionKWhYr, used, 1e-6)
			h.is("production_kwh_yr", s.ProductionKWhYr, made, 1e-6)
			h.is("data_coverage_pct", s.DataCoveragePct, 100, 1e-9)
			h.counts("modules_to_add", s.ModulesToAdd, 6)
			if s.Lane != "call" || s.ReportMonth != "2026-10" || s.ConsumptionBasis == nil || *s.ConsumptionBasis != tc.basis {
				t.Errorf("lane %s, month %s, basis %v", s.Lane, s.ReportMonth, s.ConsumptionBasis)
			}
		})
	}
}
