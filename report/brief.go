package report

import (
	"fmt"
	"math"
	"regexp"
	"time"

	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/ingest"
	"rowen/report/page"
)

// briefFile is where a site's brief lies in a run's folder. Site IDs hold no
// character that a path could turn on; what Windows takes for a device, whatever
// follows it, gets a line in front, on every system.
func briefFile(siteID string) string {
	if device.MatchString(siteID) {
		siteID = "_" + siteID
	}
	return "briefs/" + siteID + ".html"
}

var device = regexp.MustCompile(`^(?i:CON|PRN|AUX|NUL|COM[0-9]|LPT[0-9])(\.|$)`)

// briefMonths keeps what the brief of a site will draw, where it may get one.
// Use that is not metered is what the judgement derived it to be.
func briefMonths(f *analyze.Finding) []page.Month {
	if !f.Verdict.Lane.Ranked() || f.Chosen == nil {
		return nil
	}
	derived := map[time.Time]float64{}
	for _, m := range f.Demand.Months {
		derived[monthOf(m.First)] = m.ConsumptionKWh
	}
	ms := f.Months[max(0, len(f.Months)-24):]
	out := make([]page.Month, 0, len(ms))
	for _, m := range ms {
		use := m.ConsumptionKWh
		if kWh, ok := derived[monthOf(m.First)]; ok && math.IsNaN(use) {
			use = kWh
		}
		out = append(out, page.Month{Year: m.First.Year(), Month: int(m.First.Month()),
			ProductionKWh: m.ProductionKWh, ConsumptionKWh: use, ExpectedKWh: m.ExpectedProductionKWh})
	}
	return out
}

// monthOf names a month apart from clocks and zones.
func monthOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
}

// siteBrief is what one sheet says of a ranked site.
func siteBrief(f *analyze.Finding, m Manifest) *page.Brief {
	v, o, s := &f.Verdict, f.Chosen, f.Site
	w := words{m.Locale, m.Currency}
	b := &page.Brief{
		Month: monthInWords(m.Month), Currency: m.Currency, Version: m.Program + " " + m.Version,
		Rank: v.Rank, SiteID: s.ID, Branch: s.Branch, Lane: string(v.Lane), Customer: s.Customer, Contact: s.Contact,
		Reasons: w.reasons(v.Reasons), NextStep: w.plain(sentence(v.NextStep)), Jobs: jobsInWords(o.Jobs),
		Modules: o.Modules, AddedKWDC: o.AddedKWDC, AddedKWhYr: o.AddedKWhYr, SelfUsePct: o.AddedSelfUsePct,
		CoverageNowPct: f.Year.CoveragePct, CoverageAfterPct: o.CoverageAfterPct, Cost: o.Cost, BillBefore: o.BillBefore, BillAfter: o.BillAfter,
		Saving: interval(o.Saving), NetBenefit: interval(o.NetBenefit), Payback: o.SimplePaybackYears, Confidence: v.Confidence,
	}
	for _, p := range o.ByPlane {
		if p.Modules > 0 {
			b.Places = append(b.Places, placeInWords(p.Modules, p.PlaneID, s))
		}
	}
	for _, e := range f.Demand.Events {
		if e.Live {
			b.Events = append(b.Events, w.plain(sentence(e.Says)))
		}
	}
	said := map[string]bool{}
	b.Sheet = sheetOf(f, m)
	b.Ceilings = ceilings(&f.Room)
	for _, c := range b.Ceilings {
		said[c.Says] = true
	}
	for _, c := range f.Caveats {
		if says := w.plain(sentence(c.Says)); !said[says] {
			said[says] = true
			b.Doubts = append(b.Doubts, says)
		}
	}
	return b
}

func placeInWords(modules int, planeID string, s *ingest.Site) string {
	for _, p := range s.Planes {
		if p.ID == planeID {
			return fmt.Sprintf("%d on plane %s (tilt %.0f°, facing %.0f°)", modules, planeID, p.TiltDeg, p.AzimuthDeg)
		}
	}
	return fmt.Sprintf("%d on the plane that today's modules lie on", modules)
}

func ceilings(r *headroom.Result) []page.Ceiling {
	var out []page.Ceiling
	for _, l := range r.Limits() {
		p := page.Ceiling{Name: limitName[l.Name], Modules: "not known", Says: l.Says, Binds: l.Name == r.Binding}
		switch {
		case l.Unlimited:
			p.Modules = "no limit"
		case l.Modules.Known:
			p.Modules = fmt.Sprint(l.Modules.V)
		case l.Ask != "":
			p.Says += " Ask: " + l.Ask + "."
		}
		out = append(out, p)
	}
	return out
}

// limitName is what people call each limit.
var limitName = map[string]string{headroom.Roof: "Roof", headroom.Service: "Service", headroom.Branch: "Branch circuits",
	headroom.Gateway: "Gateway", headroom.Permission: "Permission"}
