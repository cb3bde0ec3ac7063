package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Change is one site that stands elsewhere than in an earlier run.
type Change struct {
	SiteID   string
	Kind     string // entered, left (the ranking), lane, rank, new, gone
	From, To string // lanes, or ranks
	Why      string
}

// standing is what is compared of a site: a few columns of sites.parquet.
type standing struct {
	SiteID           string   `parquet:"site_id"`
	Rank             *int32   `parquet:"rank,optional"`
	Lane             string   `parquet:"lane,dict"`
	Reasons          []string `parquet:"reasons,list"`
	NetBenefit       *float64 `parquet:"net_benefit,optional"`
	ExpectedUseKWhYr *float64 `parquet:"expected_use_kwh_yr,optional"`
	Confidence       *float64 `parquet:"confidence,optional"`
}

// Compare says who entered the ranking, who left, who moved, and why.
func Compare(runA, runB string) ([]Change, error) {
	a, err := readTable[standing](runA, "sites.parquet")
	if err != nil {
		return nil, err
	}
	b, err := readTable[standing](runB, "sites.parquet")
	if err != nil {
		return nil, err
	}
	before := map[string]*standing{}
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
	slices.SortFunc(changes, func(x, y Change) int {
		return cmp.Or(slices.Index(kinds, x.Kind)-slices.Index(kinds, y.Kind), strings.Compare(x.SiteID, y.SiteID))
	})
	return changes, nil
}

var kinds = []string{"entered", "left", "lane", "rank", "new", "gone"}

func change(was, now *standing) (Change, bool) {
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
func moved(was, now *standing) string {
	var parts []string
	say := func(name string, a, b *float64, decimals int) {
		if from, to := figure(a, decimals), figure(b, decimals); from != to {
			parts = append(parts, fmt.Sprintf("%s %s to %s", name, from, to))
		}
	}
	say("net benefit", was.NetBenefit, now.NetBenefit, 0)
	say("expected use", was.ExpectedUseKWhYr, now.ExpectedUseKWhYr, 0)
	say("confidence", was.Confidence, now.Confidence, 2)
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
			if c.Why != "" {
				arrow += " (" + c.Why + ")"
			}
			printWrapped(w, "  ", c.SiteID+": "+arrow)
		}
	}
	if len(changes) == 0 {
		fmt.Fprintln(w, "nothing changed")
	}
}
