package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// Change is one site that stands elsewhere than in an earlier run.
type Change struct {
	SiteID       string
	Kind         string // entered, left (the ranking), lane, rank, new, gone
	From, To     string // lanes, or ranks
	Why          string
	fromAt, toAt int
}

// Compare says who entered the ranking, who left, who moved, and why.
func Compare(runA, runB string) ([]Change, error) {
	a, err := siteRows(runA)
	if err != nil {
		return nil, err
	}
	b, err := siteRows(runB)
	if err != nil {
		return nil, err
	}
	before := map[string]*SiteRow{}
	for i := range a {
		before[a[i].SiteID] = &a[i]
	}
	var changes []Change
	seen := map[string]bool{}
	for i := range b {
		now := &b[i]
		seen[now.SiteID] = true
		if c, changed := change(before[now.SiteID], now); changed {
			changes = append(changes, c)
		}
	}
	for i := range a {
		if !seen[a[i].SiteID] {
			changes = append(changes, Change{SiteID: a[i].SiteID, Kind: "gone", From: a[i].Lane, Why: "no longer in the register"})
		}
	}
	slices.SortStableFunc(changes, func(x, y Change) int {
		return strings.Compare(kindOrder(x.Kind)+x.SiteID, kindOrder(y.Kind)+y.SiteID)
	})
	return changes, nil
}

var kinds = []string{"entered", "left", "lane", "rank", "new", "gone"}

func kindOrder(k string) string { return fmt.Sprint(slices.Index(kinds, k)) }

func change(was, now *SiteRow) (Change, bool) {
	c := Change{SiteID: now.SiteID, To: now.Lane, Why: strings.Join(now.Reasons, ", ")}
	if was == nil {
		c.Kind = "new"
		return c, true
	}
	c.From = was.Lane
	switch {
	case was.Rank == nil && now.Rank != nil:
		c.Kind = "entered"
	case was.Rank != nil && now.Rank == nil:
		c.Kind = "left"
	case was.Lane != now.Lane:
		c.Kind = "lane"
	case was.Rank != nil && *was.Rank != *now.Rank:
		c.Kind, c.From, c.To = "rank", fmt.Sprintf("rank %d", *was.Rank), fmt.Sprintf("rank %d", *now.Rank)
		c.Why = moved(was, now)
	default:
		return c, false
	}
	if gained := added(was.Reasons, now.Reasons); gained != "" && c.Kind != "rank" {
		c.Why = gained
	}
	return c, true
}

// moved names what changed most in a site that kept its lane.
func moved(was, now *SiteRow) string {
	var parts []string
	say := func(name string, a, b *float64) {
		if a != nil && b != nil && *a != 0 && (*b-*a)/(*a) != 0 {
			parts = append(parts, fmt.Sprintf("%s %.0f to %.0f", name, *a, *b))
		}
	}
	say("net benefit", was.NetBenefit, now.NetBenefit)
	say("expected use", was.ExpectedUseKWhYr, now.ExpectedUseKWhYr)
	if was.Confidence != nil && now.Confidence != nil && *was.Confidence != *now.Confidence {
		parts = append(parts, fmt.Sprintf("confidence %.2f to %.2f", *was.Confidence, *now.Confidence))
	}
	if len(parts) == 0 {
		return "others moved"
	}
	return strings.Join(parts, ", ")
}

func added(was, now []string) string {
	var fresh []string
	for _, r := range now {
		if !slices.Contains(was, r) {
			fresh = append(fresh, r)
		}
	}
	return strings.Join(fresh, ", ")
}

// PrintChanges prints the changes by kind.
func PrintChanges(w io.Writer, changes []Change) {
	heads := map[string]string{"entered": "entered the ranking", "left": "left the ranking", "lane": "changed lane", "rank": "moved in the ranking", "new": "new in the register", "gone": "gone from the register"}
	for _, k := range kinds {
		n := 0
		for _, c := range changes {
			if c.Kind != k {
				continue
			}
			if n == 0 {
				fmt.Fprintf(w, "\n%s\n", heads[k])
			}
			n++
			arrow := c.From + " → " + c.To
			if c.From == "" || c.To == "" {
				arrow = c.From + c.To
			}
			fmt.Fprintf(w, "  %s: %s (%s)\n", c.SiteID, arrow, c.Why)
		}
	}
	if len(changes) == 0 {
		fmt.Fprintln(w, "nothing changed")
	}
}
