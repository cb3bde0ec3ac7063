package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rowen/analyze/rank"
)

// standing is what is compared of a site: a few columns of sites.parquet.
type standing struct {
	SiteID            string         `parquet:"site_id"`
	Rank              *int32         `parquet:"rank,optional"`
	Lane              string         `parquet:"lane,dict"`
	Reasons           []string       `parquet:"reasons,list"`
	OnCallList        bool           `parquet:"on_call_list"`
	ModulesToAdd      *int32         `parquet:"modules_to_add,optional"`
	NetBenefit        *float64       `parquet:"net_benefit,optional"`
	Cost              *float64       `parquet:"cost,optional"`
	ExpectedUseKWhYr  *float64       `parquet:"expected_use_kwh_yr,optional"`
	ProductionIndex   *float64       `parquet:"production_index,optional"`
	Confidence        *float64       `parquet:"confidence,optional"`
	ChanceOfGain      *float64       `parquet:"chance_of_gain,optional"`
	LoadEvents        []LoadEvent    `parquet:"load_events,list"`
	ArrayFaults       []string       `parquet:"array_faults,list"`
	RoofModules       *int32         `parquet:"roof_modules,optional"`
	ServiceModules    *int32         `parquet:"service_modules,optional"`
	BranchModules     *int32         `parquet:"branch_modules,optional"`
	GatewayModules    *int32         `parquet:"gateway_modules,optional"`
	PermissionModules *int32         `parquet:"permission_modules,optional"`
	TariffID          *string        `parquet:"tariff_id,optional,dict"`
	Outcome           *string        `parquet:"last_outcome,optional,dict"`
	OutcomeOn         *int32         `parquet:"last_outcome_on,optional,date"`
	NotBefore         *int32         `parquet:"not_before,optional,date"`
	DataDays          int32          `parquet:"data_days"`
	SavingsFirstYear  *float64       `parquet:"savings_first_year,optional"`
	NetBenefitLow     *float64       `parquet:"net_benefit_low,optional"`
	NetBenefitHigh    *float64       `parquet:"net_benefit_high,optional"`
	ConsumptionKWhYr  *float64       `parquet:"consumption_kwh_yr,optional"`
	ProductionKWhYr   *float64       `parquet:"production_kwh_yr,optional"`
	CoveragePct       *float64       `parquet:"coverage_pct,optional"`
	DataCoveragePct   *float64       `parquet:"data_coverage_pct,optional"`
	Expansions        []ExpansionRow `parquet:"expansions,list"`
}

// Fact is one thing that changed at a site: an outcome, a contact, an event, its
// health, a limit, a price, its readings.
type Fact struct{ Kind, Says string }

// facts are what changed, the weightiest kind first.
func facts(was, now *standing) []Fact {
	var out []Fact
	add := func(kind, format string, args ...any) { out = append(out, Fact{kind, fmt.Sprintf(format, args...)}) }
	if now.Outcome != nil && (was.Outcome == nil || *was.Outcome != *now.Outcome || was.OutcomeOn == nil || now.OutcomeOn == nil || *was.OutcomeOn != *now.OutcomeOn) {
		add("outcome", "%s on %s", inWords(*now.Outcome), dayOr(now.OutcomeOn))
	} else if day(was.NotBefore) != day(now.NotBefore) {
		switch {
		case now.NotBefore != nil && now.Rank != nil:
			add("contact", "bought and built, no new offer before %s", dayOr(now.NotBefore))
		case now.NotBefore != nil:
			add("contact", "not to be contacted before %s", dayOr(now.NotBefore))
		case now.Lane != string(rank.Repair): // a repair does not wait
			add("contact", "may be contacted again since %s", dayOr(was.NotBefore))
		}
	}
	out = append(out, eventFacts(was.LoadEvents, now.LoadEvents)...)
	for _, code := range now.ArrayFaults {
		if !slices.Contains(was.ArrayFaults, code) {
			add("health", "%s began", inWords(code))
		}
	}
	for _, code := range was.ArrayFaults {
		if !slices.Contains(now.ArrayFaults, code) {
			add("health", "%s is over", inWords(code))
		}
	}
	for _, l := range []struct {
		name     string
		was, now *int32
	}{{"roof", was.RoofModules, now.RoofModules}, {"service", was.ServiceModules, now.ServiceModules}, {"branch", was.BranchModules, now.BranchModules},
		{"gateway", was.GatewayModules, now.GatewayModules}, {"permission", was.PermissionModules, now.PermissionModules}} {
		if limit(l.was) != limit(l.now) {
			add("limit", "the %s takes %s, was %s", l.name, limit(l.now), limit(l.was))
		}
	}
	if s, t := textOf(was.TariffID), textOf(now.TariffID); s != t {
		add("price", "tariff %s, was %s", t, s)
	}
	if sameOffer(was, now) && apart(was.Cost, now.Cost, 0.005) {
		add("price", "%s cost %s, were %s", modules(int(*now.ModulesToAdd)), figure(now.Cost, 0), figure(was.Cost, 0))
	}
	return append(out, readingFacts(was, now, 1)...)
}

// readingFacts are figures that a month's readings moved by more than a share of
// them; strict 0 names any move.
func readingFacts(was, now *standing, strict float64) []Fact {
	var out []Fact
	say := func(name string, a, b *float64, decimals int, share float64) {
		if from, to := figure(a, decimals), figure(b, decimals); from != to && (a == nil || b == nil || apart(a, b, strict*share)) {
			out = append(out, Fact{"readings", fmt.Sprintf("%s %s, was %s", name, to, from)})
		}
	}
	say("expected consumption", was.ExpectedUseKWhYr, now.ExpectedUseKWhYr, 0, 0.02)
	say("production index", was.ProductionIndex, now.ProductionIndex, 2, 0.03)
	if strict == 0 {
		say("chance of a gain", was.ChanceOfGain, now.ChanceOfGain, 3, 0)
	}
	if sameOffer(was, now) {
		say("net benefit", was.NetBenefit, now.NetBenefit, 0, 0.05)
	} else if strict == 0 && was.ModulesToAdd != nil && now.ModulesToAdd != nil {
		out = append(out, Fact{"readings", fmt.Sprintf("the best size has a net benefit of %s, the one before had %s", figure(now.NetBenefit, 0), figure(was.NetBenefit, 0))})
	}
	say("confidence", was.Confidence, now.Confidence, 2, 0.05)
	if now.DataDays < was.DataDays {
		out = append(out, Fact{"readings", fmt.Sprintf("%d days with readings, were %d", now.DataDays, was.DataDays)})
	}
	return out
}

// sameEvent is how far the date of one event may differ between two runs (our
// choice: a month, as the dating of events is judged).
const sameEvent = 31

// eventFacts pairs the events of two runs by kind and date and says which came,
// which went and which moved.
func eventFacts(was, now []LoadEvent) []Fact {
	var out []Fact
	taken := make([]bool, len(was))
	pair := func(e LoadEvent, near int32) int {
		best := -1
		for i, w := range was {
			if !taken[i] && w.Kind == e.Kind && abs(w.On-e.On) <= near && (best < 0 || abs(w.On-e.On) < abs(was[best].On-e.On)) {
				best = i
			}
		}
		return best
	}
	for _, e := range now {
		switch i := pair(e, math.MaxInt32/2); {
		case i < 0:
			out = append(out, Fact{"event", fmt.Sprintf("%s since %s, %+.0f kWh a year", inWords(e.Kind), dayText(e.On), e.KWhYr)})
		case abs(was[i].On-e.On) > sameEvent:
			taken[i] = true
			out = append(out, Fact{"event", fmt.Sprintf("%s since %s, was dated %s", inWords(e.Kind), dayText(e.On), dayText(was[i].On))})
		default:
			taken[i] = true
			if d := e.KWhYr - was[i].KWhYr; math.Abs(d) > 0.2*math.Abs(was[i].KWhYr) {
				out = append(out, Fact{"event", fmt.Sprintf("%s since %s: %+.0f kWh a year, was %+.0f", inWords(e.Kind), dayText(e.On), e.KWhYr, was[i].KWhYr)})
			}
		}
	}
	for i, e := range was {
		if !taken[i] {
			out = append(out, Fact{"event", fmt.Sprintf("%s of %s no longer found", inWords(e.Kind), dayText(e.On))})
		}
	}
	return out
}

func sameOffer(a, b *standing) bool {
	return a.ModulesToAdd != nil && b.ModulesToAdd != nil && *a.ModulesToAdd == *b.ModulesToAdd
}

// apart tells whether two figures differ by more than a share.
func apart(a, b *float64, share float64) bool {
	return a != nil && b != nil && math.Abs(*a-*b) > share*math.Max(math.Abs(*a), math.Abs(*b))
}

func limit(n *int32) string {
	if n == nil {
		return "a number not known"
	}
	return modules(int(*n))
}

func textOf(s *string) string {
	if s == nil {
		return "none"
	}
	return *s
}

func day(d *int32) int32 {
	if d == nil {
		return 0
	}
	return *d
}

func dayOr(d *int32) string {
	if d == nil {
		return "an unknown day"
	}
	return dayText(*d)
}

// inLine is a change's facts in one line.
func inLine(facts []Fact, most int) string {
	var parts []string
	for i, f := range facts {
		if i == most {
			break
		}
		parts = append(parts, f.Kind+": "+f.Says)
	}
	return strings.Join(parts, "; ")
}
