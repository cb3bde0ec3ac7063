package analyze

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"rowen/analyze/rank"
	"rowen/ingest"
)

// pastOf gives the lane rules the site's earlier calls. The latest of a site
// counts, whenever it was made: a list must not hold who was sold to since.
func (j *judge) pastOf(f *Finding, c *rank.Case) {
	f.Past = callsTo(f.Site.ID, j.past)
	f.RegisterDigest = registerDigest(f.Site)
	for _, o := range f.Past {
		c.Calls = append(c.Calls, rank.PastCall{On: o.CalledOn, Result: o.Result, Reason: strings.ToLower(strings.TrimSpace(o.Reason))})
	}
	last := f.LastOutcome()
	if last == nil {
		return
	}
	switch last.Result {
	case rank.Sold:
		for _, a := range f.Site.Arrays {
			if !a.CommissionedOn.IsZero() && !a.CommissionedOn.Before(last.CalledOn) && (c.BuiltOn.IsZero() || a.CommissionedOn.Before(c.BuiltOn)) {
				c.BuiltOn = a.CommissionedOn
			}
		}
	case rank.NotSuitable:
		f.OutcomeRegister = last.Listed.Register
		if f.OutcomeRegister == "" { // nothing tells what the rows were: from now on these are
			f.OutcomeRegister = f.RegisterDigest
		}
		c.RegisterChanged = f.OutcomeRegister != f.RegisterDigest
	}
}

// LastOutcome is the latest earlier call; nil: there was none.
func (f *Finding) LastOutcome() *ingest.Outcome {
	if len(f.Past) == 0 {
		return nil
	}
	return &f.Past[len(f.Past)-1]
}

// pastCalls gives the outcomes by site; those of the register are.
func pastCalls(outcomes []ingest.Outcome) []ingest.Outcome {
	bySite := func(a, b ingest.Outcome) int { return strings.Compare(a.SiteID, b.SiteID) }
	if !slices.IsSortedFunc(outcomes, bySite) {
		outcomes = slices.Clone(outcomes)
		slices.SortStableFunc(outcomes, bySite)
	}
	return outcomes
}

// callsTo gives a site's outcomes by day. Of one day the one that says most about the
// customer comes last and counts.
func callsTo(siteID string, all []ingest.Outcome) []ingest.Outcome {
	from, there := slices.BinarySearchFunc(all, siteID, func(o ingest.Outcome, id string) int { return strings.Compare(o.SiteID, id) })
	if !there {
		return nil
	}
	to := from
	for to < len(all) && all[to].SiteID == siteID {
		to++
	}
	list := slices.Clone(all[from:to])
	weight := []string{rank.NoAnswer, rank.Declined, rank.NotSuitable, rank.Sold}
	slices.SortStableFunc(list, func(a, b ingest.Outcome) int {
		if c := a.CalledOn.Compare(b.CalledOn); c != 0 {
			return c
		}
		return slices.Index(weight, a.Result) - slices.Index(weight, b.Result)
	})
	return list
}

// registerDigest stands for what the register says of a site's place, planes,
// arrays and equipment. Left out are personal data, the dates of contacts, bills
// and what a gateway reports of itself each day: they change without anything
// having changed.
func registerDigest(s *ingest.Site) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%v %v %v %v %v %v %v\n", s.LatitudeDeg, s.LongitudeDeg, s.GridType, s.TariffID, s.PermissionLimitKW, s.RoofPlanM2, s.CommissionedOn.Unix())
	for _, a := range s.Arrays {
		fmt.Fprintf(&b, "%+v\n", a)
	}
	for _, p := range s.Planes {
		fmt.Fprintf(&b, "%+v\n", p)
	}
	if s.Service != nil {
		fmt.Fprintf(&b, "%+v\n", *s.Service)
	}
	if g := s.Gateway; g != nil {
		fmt.Fprintf(&b, "%v %v %v %v\n", g.Model, g.SoftwareVersion, g.BackupController, g.StorageKWh)
	}
	sum := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(sum[:8])
}
