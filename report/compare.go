package report

import (
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
)

// Change is one site that stands elsewhere than in an earlier run.
type Change struct {
	SiteID   string
	Kind     string // entered, left (the ranking), lane, offer, rank, other, new, gone
	From, To string // lanes, offers or ranks
	Facts    []Fact // what changed, the weightiest first
	Matters  bool   // shown without being asked for
}

// Comparison is what changed between two runs.
type Comparison struct {
	MonthA, MonthB string
	RankedA        int
	RankedB        int
	OnListA        int
	OnListB        int
	Settings       []string // settings that differ, in sentences
	Changes        []Change
	Calls          *CallsRecord // what earlier calls came to, by the later run; nil: it does not say
	Expansions     []ExpansionRow

	moves string // what moved the figures of a site: readings; settings or register where both runs judged the same readings
}

// Compare says who entered the ranking, who left, who moved, and why. A site
// that moves by at least moved ranks matters; so does every change of lane or
// offer.
func Compare(runA, runB string, moved int) (*Comparison, error) {
	a, err := readTable[standing](runA, "sites.parquet")
	if err != nil {
		return nil, err
	}
	b, err := readTable[standing](runB, "sites.parquet")
	if err != nil {
		return nil, err
	}
	c := &Comparison{MonthA: filepath.Base(runA), MonthB: filepath.Base(runB)}
	c.records(runA, runB)
	before := map[string]*standing{}
	for i := range a {
		before[a[i].SiteID] = &a[i]
		c.RankedA, c.OnListA = c.RankedA+one(a[i].Rank != nil), c.OnListA+one(a[i].OnCallList)
	}
	seen := map[string]bool{}
	for i := range b {
		now := &b[i]
		seen[now.SiteID] = true
		c.RankedB, c.OnListB = c.RankedB+one(now.Rank != nil), c.OnListB+one(now.OnCallList)
		c.Expansions = append(c.Expansions, now.Expansions...)
		if change, changed := change(before[now.SiteID], now, moved); changed {
			change.relabel(c.moves)
			c.Changes = append(c.Changes, change)
		}
	}
	for i := range a {
		if !seen[a[i].SiteID] {
			c.Changes = append(c.Changes, Change{SiteID: a[i].SiteID, Kind: "gone", From: a[i].Lane, Matters: true, Facts: []Fact{{"register", "no longer in the register"}}})
		}
	}
	slices.SortFunc(c.Changes, func(x, y Change) int {
		return cmp.Or(slices.Index(kinds, x.Kind)-slices.Index(kinds, y.Kind), strings.Compare(x.SiteID, y.SiteID))
	})
	return c, nil
}

// moves names what moved the figures between two runs.
func moves(a, b *record, settings []string) string {
	switch {
	case a.Month == "" || a.Month != b.Month || !slices.Equal(a.readings(), b.readings()):
		return "readings"
	case len(settings) > 0:
		return "settings"
	}
	return "register"
}

// relabel calls the figures that no new reading can have moved after what moved
// them.
func (c *Change) relabel(kind string) {
	for i := range c.Facts {
		if c.Facts[i].Kind == "readings" {
			c.Facts[i].Kind = kind
		}
	}
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// kinds in the order in which they are printed.
var kinds = []string{"entered", "left", "lane", "offer", "rank", "new", "gone", "other"}

// change holds one site against what it was.
func change(was, now *standing, moved int) (Change, bool) {
	c := Change{SiteID: now.SiteID, To: now.Lane, Matters: true}
	if was == nil {
		c.Kind = "new"
		c.Facts = []Fact{{"register", "new in the register"}}
		return c, true
	}
	c.From = was.Lane
	c.Facts = facts(was, now)
	switch {
	case was.Rank == nil && now.Rank != nil:
		c.Kind = "entered"
	case was.Rank != nil && now.Rank == nil:
		c.Kind = "left"
	case was.Lane != now.Lane:
		c.Kind = "lane"
	case was.Rank != nil && offered(was) != offered(now):
		c.Kind, c.From, c.To = "offer", offered(was), offered(now)
	case was.Rank != nil && *was.Rank != *now.Rank:
		c.Kind, c.From, c.To = "rank", fmt.Sprintf("rank %d", *was.Rank), fmt.Sprintf("rank %d", *now.Rank)
		c.Matters = abs(*was.Rank-*now.Rank) >= int32(moved)
	case len(c.Facts) > 0 && c.Facts[0].Kind != "readings":
		c.Kind, c.Matters = "other", false
	default:
		return c, false
	}
	if len(c.Facts) == 0 && c.Matters {
		c.Facts = readingFacts(was, now, 0)
	}
	if len(c.Facts) == 0 {
		c.Facts = []Fact{{"readings", unmoved(c.Kind)}}
	}
	return c, true
}

// unmoved is what is said of a change at a site none of whose figures moved.
func unmoved(kind string) string {
	if kind == "rank" {
		return "its own figures are the same; others moved"
	}
	return "none of its figures moved by more than they are rounded to"
}

func abs(x int32) int32 { return max(x, -x) }

func offered(s *standing) string {
	if s.ModulesToAdd == nil {
		return "no offer"
	}
	return modules(int(*s.ModulesToAdd))
}

// records reads what the runs' own records hold: settings and earlier calls.
func (c *Comparison) records(runA, runB string) {
	a, b := readRecord(runA), readRecord(runB)
	if a.Month != "" && b.Month != "" && a.Month != b.Month {
		c.MonthA, c.MonthB = a.Month, b.Month // else the folders' names tell them apart
	}
	c.Calls = b.Calls
	var differ func(path string, x, y any)
	differ = func(path string, x, y any) {
		mx, okx := x.(map[string]any)
		my, oky := y.(map[string]any)
		if okx && oky {
			keys := map[string]bool{}
			for k := range mx {
				keys[k] = true
			}
			for k := range my {
				keys[k] = true
			}
			for k := range keys {
				differ(strings.TrimPrefix(path+"."+k, "."), mx[k], my[k])
			}
			return
		}
		if path != "month" && !reflect.DeepEqual(x, y) {
			c.Settings = append(c.Settings, fmt.Sprintf("%s: %v, was %v", path, orBlank(y), orBlank(x)))
		}
	}
	if a.Settings != nil && b.Settings != nil {
		differ("", a.Settings, b.Settings)
	}
	slices.Sort(c.Settings)
	c.moves = moves(&a, &b, c.Settings)
}

func orBlank(v any) any {
	if v == nil || v == "" {
		return "blank"
	}
	return v
}

// record is what is compared of a run's own record.
type record struct {
	Month    string         `json:"month"`
	Settings map[string]any `json:"settings"`
	Calls    *CallsRecord   `json:"earlier_calls"`
	Inputs   []Input        `json:"inputs"`
}

// readings are the files of readings and weather that the run judged.
func (r *record) readings() []Input {
	return slices.DeleteFunc(slices.Clone(r.Inputs), func(i Input) bool { return !strings.Contains(i.File, "/") })
}

// readRecord reads run.json; an older or a damaged one says nothing.
func readRecord(run string) record {
	var r record
	if b, err := os.ReadFile(filepath.Join(run, "run.json")); err == nil {
		_ = json.Unmarshal(b, &r)
	}
	return r
}
