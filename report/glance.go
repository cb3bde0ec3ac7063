package report

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"rowen/analyze"
	"rowen/analyze/headroom"
	"rowen/analyze/rank"
	"rowen/report/page"
)

// Sums over the fleet, for the page. They count what the findings say and judge
// nothing.

var limitNames = map[string]string{headroom.Roof: "Roof", headroom.Service: "Electrical service", headroom.Branch: "Branch circuits",
	headroom.Gateway: "Gateway", headroom.Permission: "Permission to operate"}

// limits says how many sites each limit binds and what lifting it would release:
// up to the next limit that is known, and the net benefit of the best set of jobs
// that lifts it.
func limits(findings []*analyze.Finding) []page.Limit {
	by := map[string]*page.Limit{}
	jobs := map[string]map[string]int{}
	for _, f := range findings {
		r := &f.Room
		if r.Binding == "" || f.Worth.Refusal != "" {
			continue
		}
		l := by[r.Binding]
		if l == nil {
			l = &page.Limit{Name: limitNames[r.Binding]}
			by[r.Binding], jobs[r.Binding] = l, map[string]int{}
		}
		l.Sites++
		l.Modules += released(r)
		most, job := 0.0, ""
		for _, g := range f.Worth.Jobs {
			for _, name := range g.Jobs {
				if slices.Contains(headroom.Lifts(name), r.Binding) && g.NetBenefitGained > most {
					most, job = g.NetBenefitGained, name
				}
			}
		}
		if job != "" {
			l.NetBenefit += most
			jobs[r.Binding][job]++
		}
	}
	out := []page.Limit{}
	for name, l := range by {
		best := ""
		for job, n := range jobs[name] {
			if best == "" || n > jobs[name][best] || n == jobs[name][best] && job < best {
				best = job
			}
		}
		if best != "" {
			l.Job = "mostly by: " + inWords(best)
		}
		out = append(out, *l)
	}
	slices.SortFunc(out, func(a, b page.Limit) int { return cmp.Or(b.Sites-a.Sites, strings.Compare(a.Name, b.Name)) })
	return out
}

// released is how many modules more would fit were the binding limit lifted.
func released(r *headroom.Result) int {
	now, next := headroom.Many, headroom.Many
	for _, l := range r.Limits() {
		switch {
		case !l.Modules.Known:
		case l.Name == r.Binding:
			now = l.Modules.V
		default:
			next = min(next, l.Modules.V)
		}
	}
	if now == headroom.Many || next == headroom.Many {
		return 0
	}
	return max(0, next-now)
}

func branches(findings []*analyze.Finding) []page.Branch {
	by := map[string]*page.Branch{}
	for _, f := range findings {
		b := by[f.Site.Branch]
		if b == nil {
			b = &page.Branch{Name: f.Site.Branch}
			by[f.Site.Branch] = b
		}
		b.Sites++
		switch f.Verdict.Lane {
		case rank.Call:
			b.Call++
		case rank.Prepare:
			b.Prepare++
		}
		if f.Verdict.OnList {
			b.OnList++
		}
	}
	out := make([]page.Branch, 0, len(by))
	for _, b := range by {
		out = append(out, *b)
	}
	slices.SortFunc(out, func(a, b page.Branch) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// places are the sites' coordinates to a hundredth of a degree, about a
// kilometer: enough for a map of a fleet, too little to find a house by.
func places(findings []*analyze.Finding) []page.Place {
	var out []page.Place
	for _, f := range findings {
		if f.Site.LatitudeDeg != 0 || f.Site.LongitudeDeg != 0 {
			out = append(out, page.Place{East: hundredth(f.Site.LongitudeDeg), North: hundredth(f.Site.LatitudeDeg), Lane: string(f.Verdict.Lane)})
		}
	}
	return out
}

func hundredth(x float64) float64 { return math.Round(x*100) / 100 }

// left are the sites that the earlier run ranked and this one does not.
func left(findings []*analyze.Finding, before *pastRun, w words) []page.Left {
	if before == nil {
		return nil
	}
	var out []page.Left
	for _, f := range findings {
		if v := &f.Verdict; before.ranked(f.Site.ID) && v.Rank == 0 {
			out = append(out, page.Left{SiteID: f.Site.ID, Branch: f.Site.Branch, Lane: string(v.Lane), Why: strings.Join(w.reasons(v.Reasons), " ")})
		}
	}
	return out
}

// calls sums up what every earlier call came to.
func calls(findings []*analyze.Finding) page.Calls {
	l := Learn(findings)
	c := page.Calls{Made: l.Calls, Answered: l.Answered, Sold: l.Sold, NoAnswer: l.NoAnswer, NotSuitable: l.NotSuitable, Unlisted: l.Unlisted,
		Needed: rank.MinOutcomes, Enough: l.Enough, All: rate(l.All, ""), Lift: l.Lift3, NDCG: l.NDCG, Calibration: l.Calibration}
	for _, r := range l.ByTenth {
		c.ByTenth = append(c.ByTenth, rate(r, "tenth "+r.Name))
	}
	for _, r := range l.ByReason {
		c.ByReason = append(c.ByReason, rate(r, inWords(r.Name)))
	}
	return c
}

func rate(r rank.Rate, name string) page.Rate {
	p := page.Rate{Name: name, Sold: r.Sold, Calls: r.Calls, Low: r.Low, High: r.High, Chance: r.Chance}
	if r.Calls > 0 {
		p.Share = float64(r.Sold) / float64(r.Calls)
	}
	return p
}

// Learn sums up every earlier call of the fleet.
func Learn(findings []*analyze.Finding) rank.Learned {
	var told []rank.Told
	for _, f := range findings {
		for _, o := range f.Past {
			told = append(told, rank.Told{Result: o.Result, Tenth: o.Listed.Tenth.Or(0), Rank: o.Listed.Rank.Or(0), Reason: o.Listed.Reason})
		}
	}
	return rank.Learn(told)
}

// resting counts the sites that an earlier call keeps from the next.
func resting(findings []*analyze.Finding, w words) []page.Resting {
	type rest struct {
		n     int
		until time.Time
	}
	by := map[string]*rest{}
	for _, f := range findings {
		v, o := &f.Verdict, f.LastOutcome()
		if o == nil || v.NotBefore.IsZero() || len(v.Reasons) == 0 || v.Reasons[0].Code != o.Result {
			continue
		}
		r := by[o.Result]
		if r == nil {
			r = &rest{until: v.NotBefore}
			by[o.Result] = r
		}
		r.n++
		if v.NotBefore.Before(r.until) {
			r.until = v.NotBefore
		}
	}
	var out []page.Resting
	for _, word := range resultWords {
		if r := by[word[1]]; r != nil {
			out = append(out, page.Resting{Result: word[0], Sites: r.n, Until: w.date(r.until)})
		}
	}
	return out
}

func expanded(findings []*analyze.Finding, w words) []page.Expanded {
	var out []page.Expanded
	for _, f := range findings {
		if x := f.Expansion; x != nil {
			out = append(out, page.Expanded{SiteID: f.Site.ID, Branch: f.Site.Branch, Built: w.date(x.BuiltOn), Modules: x.Modules, Months: x.Months,
				PredictedKWhYr: x.PredictedKWhYr, Realized: page.Interval{Value: x.RealizedKWhYr, Low: x.RealizedLow, High: x.RealizedHigh},
				PredictedSaving: x.PredictedSaving, Saved: page.Interval{Value: x.RealizedSaving, Low: x.SavedLow, High: x.SavedHigh}, Refusal: sentence(x.Refusal)})
		}
	}
	return out
}

func callsRecord(findings []*analyze.Finding) *CallsRecord {
	l := Learn(findings)
	if l.Calls == 0 {
		return nil
	}
	r := &CallsRecord{Made: l.Calls, Answered: l.Answered, Sold: l.Sold, NoAnswer: l.NoAnswer, NotSuitable: l.NotSuitable, Unlisted: l.Unlisted,
		Needed: rank.MinOutcomes, Lift: l.Lift3, NDCG: l.NDCG, Calibration: l.Calibration, ByTenth: []RateRecord{}, ByReason: []RateRecord{}}
	for _, x := range l.ByTenth {
		r.ByTenth = append(r.ByTenth, RateRecord{"tenth " + x.Name, x.Sold, x.Calls, x.Low, x.High, x.Chance})
	}
	for _, x := range l.ByReason {
		r.ByReason = append(r.ByReason, RateRecord{x.Name, x.Sold, x.Calls, x.Low, x.High, x.Chance})
	}
	return r
}
