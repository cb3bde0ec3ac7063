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

// glance is what the sums ask of one site.
type glance struct {
	SiteID, Branch, Lane string
	Rank, Trip           int
	OnList, Candidate    bool // on the call list; with a size that is proposed
	NetBenefit           float64

	Binding     string // "": none that a worth was found under
	Released    int    // modules that fit when that limit is lifted
	Job         string // the job that gains most by lifting it; "": none does
	JobGain     float64
	Mapped      bool    // where it stands is known
	East, North float64 // to a hundredth of a degree
	Mend        float64 // of a site with a repair sheet: kWh a year that mending gives back
	Repair      bool
	Told        []rank.Told
	Rests       string // the result of the call that keeps the site from the next; "": none does
	Until       time.Time
	Expanded    *page.Expanded
}

func glanceOf(f *analyze.Finding, w words) glance {
	v := &f.Verdict
	g := glance{SiteID: f.Site.ID, Branch: f.Site.Branch, Lane: string(v.Lane), Rank: v.Rank, Trip: v.Trip, OnList: v.OnList, Candidate: f.Chosen != nil}
	if f.Chosen != nil {
		g.NetBenefit = f.Chosen.NetBenefit.Value
	}
	if r := &f.Room; r.Binding != "" && f.Worth.Refusal == "" {
		g.Binding, g.Released = r.Binding, released(r)
		for _, x := range f.Worth.Jobs {
			for _, name := range x.Jobs {
				if slices.Contains(headroom.Lifts(name), r.Binding) && x.NetBenefitGained > g.JobGain {
					g.JobGain, g.Job = x.NetBenefitGained, name
				}
			}
		}
	}
	if f.Site.LatitudeDeg != 0 || f.Site.LongitudeDeg != 0 {
		g.Mapped, g.East, g.North = true, hundredth(f.Site.LongitudeDeg), hundredth(f.Site.LatitudeDeg)
	}
	if v.Lane == rank.Repair && f.Visit != nil {
		g.Repair = true
		g.Mend, _ = toMend(f)
	}
	for _, o := range f.Past {
		g.Told = append(g.Told, rank.Told{Result: o.Result, Tenth: o.Listed.Tenth.Or(0), Rank: o.Listed.Rank.Or(0), Reason: o.Listed.Reason})
	}
	if o := f.LastOutcome(); o != nil && !v.NotBefore.IsZero() && len(v.Reasons) > 0 && v.Reasons[0].Code == o.Result {
		g.Rests, g.Until = o.Result, v.NotBefore
	}
	if x := f.Expansion; x != nil {
		g.Expanded = &page.Expanded{SiteID: f.Site.ID, Branch: f.Site.Branch, Built: w.date(x.BuiltOn), Modules: x.Modules, Months: x.Months,
			PredictedKWhYr: x.PredictedKWhYr, Realized: page.Interval{Value: x.RealizedKWhYr, Low: x.RealizedLow, High: x.RealizedHigh},
			PredictedSaving: x.PredictedSaving, Saved: page.Interval{Value: x.RealizedSaving, Low: x.SavedLow, High: x.SavedHigh}, Refusal: sentence(x.Refusal)}
	}
	return g
}

var limitNames = map[string]string{headroom.Roof: "Roof", headroom.Service: "Electrical service", headroom.Branch: "Branch circuits",
	headroom.Gateway: "Gateway", headroom.Permission: "Permission to operate"}

// sums are what the page says of the fleet as a whole, added up site by site.
type sums struct {
	limit    map[string]*page.Limit
	jobs     map[string]map[string]int // by limit: how many sites each job gains most at
	branch   map[string]*page.Branch
	rest     map[string]*resting // by result
	places   []page.Place        // coordinates to a hundredth of a degree: enough for a map, too little to find a house by
	told     []rank.Told         // of every earlier call
	expanded []page.Expanded
}

func newSums() sums {
	return sums{limit: map[string]*page.Limit{}, jobs: map[string]map[string]int{}, branch: map[string]*page.Branch{}, rest: map[string]*resting{}}
}

func (s *sums) add(g *glance) {
	s.addLimit(g)
	s.addBranch(g)
	if g.Mapped {
		s.places = append(s.places, page.Place{East: g.East, North: g.North, Lane: g.Lane})
	}
	s.told = append(s.told, g.Told...)
	if g.Rests != "" {
		r := s.rest[g.Rests]
		if r == nil {
			r = &resting{until: g.Until}
			s.rest[g.Rests] = r
		}
		r.n++
		if g.Until.Before(r.until) {
			r.until = g.Until
		}
	}
	if g.Expanded != nil {
		s.expanded = append(s.expanded, *g.Expanded)
	}
}

// addLimit counts the limit that binds a site, and what lifting it would release: up
// to the next limit that is known, and the net benefit of the best set of jobs that
// lifts it.
func (s *sums) addLimit(g *glance) {
	if g.Binding == "" {
		return
	}
	l := s.limit[g.Binding]
	if l == nil {
		l = &page.Limit{Name: limitNames[g.Binding]}
		s.limit[g.Binding], s.jobs[g.Binding] = l, map[string]int{}
	}
	l.Sites++
	l.Modules += g.Released
	if g.Job != "" {
		l.NetBenefit += g.JobGain
		s.jobs[g.Binding][g.Job]++
	}
}

func (s *sums) limits() []page.Limit {
	out := []page.Limit{}
	for name, l := range s.limit {
		best := ""
		for job, n := range s.jobs[name] {
			if best == "" || n > s.jobs[name][best] || n == s.jobs[name][best] && job < best {
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

func (s *sums) addBranch(g *glance) {
	b := s.branch[g.Branch]
	if b == nil {
		b = &page.Branch{Name: g.Branch}
		s.branch[g.Branch] = b
	}
	b.Sites++
	switch rank.Lane(g.Lane) {
	case rank.Call:
		b.Call++
	case rank.Prepare:
		b.Prepare++
	}
	if g.OnList {
		b.OnList++
	}
}

func (s *sums) branches() []page.Branch {
	out := make([]page.Branch, 0, len(s.branch))
	for _, b := range s.branch {
		out = append(out, *b)
	}
	slices.SortFunc(out, func(a, b page.Branch) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func hundredth(x float64) float64 { return math.Round(x*100) / 100 }

// calls sums up what every earlier call came to.
func calls(l rank.Learned) page.Calls {
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

// resting counts the sites that an earlier call of one result keeps from the next.
type resting struct {
	n     int
	until time.Time // the first of them
}

func (s *sums) resting(w words) []page.Resting {
	var out []page.Resting
	for _, word := range resultWords {
		if r := s.rest[word[1]]; r != nil {
			out = append(out, page.Resting{Result: word[0], Sites: r.n, Until: w.date(r.until)})
		}
	}
	return out
}

func callsRecord(l rank.Learned) *CallsRecord {
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
