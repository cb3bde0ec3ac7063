package analyze

import (
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

func keysOf(findings ...*Finding) Keys {
	return func(use func(*Key)) error {
		for _, f := range findings {
			k := f.Key()
			use(&k)
		}
		return nil
	}
}

// counted is what the findings tell without a ranking.
func counted(t *testing.T, findings ...*Finding) *Ranked {
	t.Helper()
	r, err := Unranked(keysOf(findings...))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestThinReportMonth(t *testing.T) {
	site := func(pct ...float64) *Finding { // up to the report month, the last of them
		f := &Finding{Site: &ingest.Site{}, Month: Month{2026, time.January}}
		for i, p := range pct {
			m := f.Month.add(i + 1 - len(pct))
			f.Months = append(f.Months, MonthFigures{First: time.Date(m.Year, m.Month, 1, 0, 0, 0, 0, time.UTC), CoveragePct: p})
		}
		f.Completeness = f.completeness()
		return f
	}
	half, whole, gappy, young := site(100, 99, 98, 97, 48), site(100, 100, 100, 100, 99), site(60, 55, 60, 50), site(48)
	ended := site(100, 100, 100, 100)
	ended.Month = ended.Month.add(1)
	ended.Completeness = ended.completeness()
	for _, tc := range []struct {
		name string
		f    *Finding
		thin bool
	}{{"half", half, true}, {"whole", whole, false}, {"as gappy as ever", gappy, false}, {"the first month", young, false}, {"ended", ended, true}} {
		tc.f.thinCaveat()
		if tc.f.Completeness.Thin() != tc.thin || (len(tc.f.Caveats) == 1) != tc.thin {
			t.Errorf("%s: %+v, said %v", tc.name, tc.f.Completeness, tc.f.Caveats)
		}
	}
	if half.Completeness.BeforePct != 98 || half.Completeness.MonthPct != 48 {
		t.Errorf("%+v", half.Completeness)
	}
	if says := counted(t, half, half, whole, young).Thin; !strings.HasPrefix(says, "2 of 3 sites have less of the report month than of the months before it (48 % of its hours against 98 %)") {
		t.Errorf("%q", says)
	}
	if says := counted(t, half, whole, whole).Thin; says != "" {
		t.Errorf("one site: %q", says)
	}
}
