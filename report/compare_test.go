package report

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
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

func with(r SiteRow, set func(*SiteRow)) SiteRow {
	set(&r)
	return r
}

func whole32(n int32) *int32 { return &n }

// Each kind of change, with the fact that changed.
func TestCompare(t *testing.T) {
	rows := func(r ...SiteRow) []SiteRow { return r }
	str := func(s string) *string { return &s }
	num := func(x float64) *float64 { return &x }
	offer := func(id string, rank int, modules int32, benefit float64) SiteRow {
		return with(at(id, "call", rank), func(r *SiteRow) { r.ModulesToAdd, r.NetBenefit, r.Cost = whole32(modules), num(benefit), num(5000) })
	}
	car := LoadEvent{On: 20515, Kind: "ev_charging", KWhYr: 3100} // 2026-03-03
	for _, tc := range []struct {
		name          string
		before, after []SiteRow
		want          string // site: kind from to matters facts
	}{
		{"nothing", rows(at("A", "call", 1)), rows(at("A", "call", 1)), ""},
		{"no sites", nil, nil, ""},
		{"entered for an event", rows(at("A", "watch", 0)), rows(with(at("A", "call", 1), func(r *SiteRow) { r.LoadEvents = []LoadEvent{car} })),
			"A: entered watch call true event: ev charging since 2026-03-03, +3100 kWh a year"},
		{"left for an outcome", rows(at("A", "call", 1)), rows(with(at("A", "do_not_contact", 0), func(r *SiteRow) {
			r.Outcome, r.OutcomeOn, r.NotBefore = str("declined"), whole32(20738), whole32(21103)
		})), "A: left call do_not_contact true outcome: declined on 2026-10-12"},
		{"a cool-down is over", rows(with(at("A", "do_not_contact", 0), func(r *SiteRow) { r.NotBefore = whole32(20738) })), rows(at("A", "no_gain", 0)),
			"A: lane do_not_contact no_gain true contact: may be contacted again since 2026-10-12"},
		{"left for its health", rows(at("A", "call", 1)), rows(with(at("A", "repair", 0), func(r *SiteRow) { r.ArrayFaults = []string{"inverters_down"} })),
			"A: left call repair true health: inverters down began"},
		{"an event moved", rows(with(at("A", "call", 30), func(r *SiteRow) { r.LoadEvents = []LoadEvent{car} })), rows(with(at("A", "call", 2), func(r *SiteRow) {
			r.LoadEvents = []LoadEvent{{On: car.On + 60, Kind: car.Kind, KWhYr: 3100}}
		})), "A: rank rank 30 rank 2 true event: ev charging since 2026-05-02, was dated 2026-03-03"},
		{"a limit", rows(with(at("A", "prepare", 1), func(r *SiteRow) { r.PermissionModules = whole32(0) })), rows(with(at("A", "call", 1), func(r *SiteRow) { r.PermissionModules = whole32(12) })),
			"A: lane prepare call true limit: the permission takes 12 modules, was 0 modules"},
		{"a price", rows(with(offer("A", 1, 8, 9000), func(r *SiteRow) { r.TariffID = str("flat") })), rows(with(offer("A", 20, 8, 9000), func(r *SiteRow) { r.TariffID, r.Cost = str("tou"), num(6000) })),
			"A: rank rank 1 rank 20 true price: tariff tou, was flat; price: 8 modules cost 6000, were 5000"},
		{"another offer", rows(offer("A", 1, 8, 9000)), rows(offer("A", 1, 6, 7000)), "A: offer 8 modules 6 modules true readings: the best size has a net benefit of 7000, the one before had 9000"},
		{"another offer for a little", rows(with(offer("A", 1, 8, 9000), func(r *SiteRow) { r.ExpectedUseKWhYr = num(9000) })), rows(with(offer("A", 1, 7, 8000), func(r *SiteRow) { r.ExpectedUseKWhYr = num(8990) })),
			"A: offer 8 modules 7 modules true readings: expected consumption 8990, was 9000; readings: the best size has a net benefit of 8000, the one before had 9000"},
		{"readings", rows(offer("A", 1, 8, 9000)), rows(offer("A", 14, 8, 7000)), "A: rank rank 1 rank 14 true readings: net benefit 7000, was 9000"},
		{"a small move", rows(offer("A", 3, 8, 9000)), rows(offer("A", 1, 8, 9010)), "A: rank rank 3 rank 1 false readings: its own figures are the same; others moved"},
		{"new and gone", rows(at("A", "call", 1)), rows(at("B", "watch", 0)), "B: new  watch true register: new in the register\nA: gone call  true register: no longer in the register"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a, b := runOf(t, tc.before...), runOf(t, tc.after...)
			got, err := Compare(a, b, 10)
			if err != nil {
				t.Fatal(err)
			}
			var lines []string
			for _, c := range got.Changes {
				lines = append(lines, fmt.Sprintf("%s: %s %s %s %v %s", c.SiteID, c.Kind, c.From, c.To, c.Matters, inLine(c.Facts, 9)))
			}
			if diff := cmp.Diff(tc.want, strings.Join(lines, "\n")); diff != "" {
				t.Error(diff)
			}
			for _, same := range []string{a, b} {
				if got, err := Compare(same, same, 10); err != nil || len(got.Changes) > 0 {
					t.Errorf("a run against itself: %v %v", got, err)
				}
			}
		})
	}
	if _, err := Compare(t.TempDir(), runOf(t), 10); err == nil || !strings.Contains(err.Error(), "name a run's folder") {
		t.Errorf("%v", err)
	}
}

// The summary comes first, small changes are counted and shown when asked for, the
// later run's record says what calls came to.
func TestPrintComparison(t *testing.T) {
	c := &Comparison{MonthA: "2026-09", MonthB: "2026-10", RankedA: 2, RankedB: 3, OnListA: 2, OnListB: 3, Settings: []string{"money.cost_per_module: 700, was 780"},
		Changes: []Change{{"A", "entered", "watch", "call", []Fact{{"event", "e"}, {"limit", "l"}, {"price", "p"}}, true}, {"B", "rank", "rank 3", "rank 1", []Fact{{"readings", "r"}}, false}},
		Calls:   &CallsRecord{Made: 31, Answered: 20, Sold: 3, NoAnswer: 11, Unlisted: 4, Needed: 50}}
	var b bytes.Buffer
	c.Print(&b, false)
	want := `2026-10 against 2026-09: 3 ranked, were 2; 3 on the lists, were 2
1 entered the ranking, 1 moved in the ranking
setting money.cost_per_module: 700, was 780

entered the ranking
  A: watch → call; event: e; limit: l

1 smaller changes are not shown; --all shows them

what earlier calls came to
  31 calls: 3 sold, 11 without an answer, 0 not suitable; 4 were proposed by no list that is known, and count all the
    same
  too few outcomes to say what sells: 20 answered calls, 50 are needed
`
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
	b.Reset()
	c.Print(&b, true)
	for _, want := range []string{"  B: rank 3 → rank 1; readings: r\n", "limit: l; price: p"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	b.Reset()
	(&Comparison{}).Print(&b, false)
	if !strings.Contains(b.String(), "nothing changed") {
		t.Error(b.String())
	}
}

// TestMoves: figures that no new reading can have moved are not put down to
// readings.
func TestMoves(t *testing.T) {
	read := func(file, digest string) Input { return Input{File: file, Bytes: 1, SHA256: digest} }
	base := record{Month: "2026-10", Inputs: []Input{read("sites.csv", "s"), read("readings/a.csv", "a"), read("tariffs.yaml", "t")}}
	later, more, tariff := base, base, base
	later.Month = "2026-11"
	more.Inputs = append(slices.Clone(base.Inputs), read("readings/b.csv", "b"))
	tariff.Inputs = []Input{read("sites.csv", "s"), read("readings/a.csv", "a"), read("tariffs.yaml", "other")}
	for _, tc := range []struct {
		what     string
		b        record
		settings []string
		want     string
	}{
		{"a month later", later, []string{"x"}, "readings"},
		{"more readings", more, nil, "readings"},
		{"another setting", base, []string{"money.cost_per_module: 700, was 780"}, "settings"},
		{"another tariff", tariff, nil, "register"},
		{"no record", record{}, nil, "readings"},
	} {
		if got := moves(&base, &tc.b, tc.settings); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.what, got, tc.want)
		}
	}
	c := Change{Facts: []Fact{{"event", "e"}, {"readings", "r"}}}
	if c.relabel("settings"); c.Facts[0].Kind != "event" || c.Facts[1].Kind != "settings" {
		t.Errorf("%+v", c)
	}
}
