package report

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func runOf(t *testing.T, rows ...SiteRow) string {
	t.Helper()
	dir := t.TempDir()
	for i := range rows {
		r := &rows[i]
		r.Reasons = append([]string{}, r.Reasons...)
	}
	if err := writeParquet(filepath.Join(dir, "sites.parquet"), rows); err != nil {
		t.Fatal(err)
	}
	return dir
}

func at(id, lane string, rank int, reasons ...string) SiteRow {
	r := SiteRow{SiteID: id, Lane: lane, Reasons: reasons}
	if rank > 0 {
		r.Rank = count(rank)
	}
	return r
}

func worth(r SiteRow, netBenefit, confidence float64) SiteRow {
	r.NetBenefit, r.Confidence = &netBenefit, &confidence
	return r
}

func TestCompare(t *testing.T) {
	one := func(r ...SiteRow) []SiteRow { return r }
	for _, tc := range []struct {
		name          string
		before, after []SiteRow
		want          []Change
	}{
		{"nothing", one(at("A", "call", 1)), one(at("A", "call", 1)), nil},
		{"no sites", nil, nil, nil},
		{"entered", one(at("A", "watch", 0, "x")), one(at("A", "call", 1, "x", "new_load")), []Change{{"A", "entered", "watch", "call", "new_load"}}},
		{"entered for no new reason", one(at("A", "watch", 0, "x")), one(at("A", "call", 1, "x")), []Change{{"A", "entered", "watch", "call", "x"}}},
		{"left", one(at("A", "call", 1, "x")), one(at("A", "repair", 0, "outage")), []Change{{"A", "left", "call", "repair", "outage"}}},
		{"lane", one(at("A", "watch", 0)), one(at("A", "no_gain", 0, "covered")), []Change{{"A", "lane", "watch", "no_gain", "covered"}}},
		{"lane within the ranking", one(at("A", "prepare", 1)), one(at("A", "call", 2)), []Change{{"A", "lane", "prepare", "call", ""}}},
		{"rank, others moved", one(at("A", "call", 2)), one(at("A", "call", 1)), []Change{{"A", "rank", "rank 2", "rank 1", "others moved"}}},
		{"rank, worth more", one(worth(at("A", "call", 2), 1000, 0.81)), one(worth(at("A", "call", 1), 2000, 0.81)), []Change{{"A", "rank", "rank 2", "rank 1", "net benefit 1000 to 2000"}}},
		{"rank, a hidden decimal", one(worth(at("A", "call", 2), 1000.1, 0.811)), one(worth(at("A", "call", 1), 1000.2, 0.812)), []Change{{"A", "rank", "rank 2", "rank 1", "others moved"}}},
		{"rank, surer", one(worth(at("A", "call", 2), 1000, 0.7)), one(worth(at("A", "call", 1), 1000, 0.8)), []Change{{"A", "rank", "rank 2", "rank 1", "confidence 0.70 to 0.80"}}},
		{"rank, for a new reason too", one(at("A", "call", 2, "x")), one(at("A", "call", 1, "x", "y")), []Change{{"A", "rank", "rank 2", "rank 1", "others moved"}}},
		{"new", nil, one(at("A", "call", 1, "x")), []Change{{"A", "new", "", "call", "x"}}},
		{"gone", one(at("A", "call", 1, "x")), nil, []Change{{"A", "gone", "call", "", "no longer in the register"}}},
		{"by kind, then by site", one(at("A", "call", 1), at("B", "watch", 0), at("C", "watch", 0)), one(at("D", "watch", 0), at("C", "call", 1), at("B", "call", 2)),
			[]Change{{"B", "entered", "watch", "call", ""}, {"C", "entered", "watch", "call", ""}, {"D", "new", "", "watch", ""}, {"A", "gone", "call", "", "no longer in the register"}}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a, b := runOf(t, tc.before...), runOf(t, tc.after...)
			got, err := Compare(a, b)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Error(diff)
			}
			for _, same := range []string{a, b} {
				if got, err := Compare(same, same); err != nil || len(got) > 0 {
					t.Errorf("a run against itself: %v %v", got, err)
				}
			}
		})
	}
	if _, err := Compare(t.TempDir(), runOf(t)); err == nil || !strings.Contains(err.Error(), "name a run's folder") {
		t.Errorf("%v", err)
	}
}

func TestPrintChanges(t *testing.T) {
	var b bytes.Buffer
	PrintChanges(&b, []Change{{"A", "entered", "watch", "call", "new_load"}, {"B", "new", "", "watch", ""}, {"C", "gone", "call", "", "no longer in the register"}})
	want := "\nentered the ranking\n  A: watch → call (new_load)\n\nnew in the register\n  B: watch\n\ngone from the register\n  C: call (no longer in the register)\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
	b.Reset()
	PrintChanges(&b, nil)
	if b.String() != "nothing changed\n" {
		t.Error(b.String())
	}
}
