package analyze

import (
	"fmt"
	"math"

	"rowen/ingest"
)

// A report month is thin where its hours are thinPts points less complete than
// those of the thinMonths before it, and a fleet's where thinShare of its sites
// are: half of the newest file is missing, or a gateway stopped. Our choices.
const (
	thinPts    = 10
	thinMonths = 3
	thinShare  = 0.1
)

// Completeness holds the report month against the months before it.
type Completeness struct {
	MonthPct, BeforePct float64 // of the hours due; NaN: not known
}

// Thin tells whether the report month lacks what the months before had.
func (c Completeness) Thin() bool { return c.MonthPct < c.BeforePct-thinPts }

// completeness looks at the months of the readings. A month that the readings do
// not reach has none of its hours.
func (f *Finding) completeness() Completeness {
	c := Completeness{math.NaN(), math.NaN()}
	before, n := 0.0, 0
	for back := 1; back <= thinMonths; back++ {
		if pct := f.monthPct(f.Month.add(-back)); pct == pct {
			before, n = before+pct, n+1
		}
	}
	if n == 0 {
		return c
	}
	c.BeforePct = before / float64(n)
	if c.MonthPct = f.monthPct(f.Month); math.IsNaN(c.MonthPct) {
		c.MonthPct = 0
	}
	return c
}

func (f *Finding) monthPct(m Month) float64 {
	for _, x := range f.Months {
		if x.First.Year() == m.Year && x.First.Month() == m.Month {
			return x.CoveragePct
		}
	}
	return math.NaN()
}

// thinCaveat says that a site's report month is thin.
func (f *Finding) thinCaveat() {
	if c := f.Completeness; c.Thin() {
		f.Caveats = append(f.Caveats, ingest.Caveat{Code: "report_month_incomplete",
			Says: fmt.Sprintf("Of the report month %.0f %% of the hours were read, of the months before it %.0f %%.", c.MonthPct, c.BeforePct)})
	}
}

// thinMonth counts the sites whose report month is thin.
type thinMonth struct {
	thin, known   int
	month, before float64
}

func (t *thinMonth) add(c Completeness) {
	switch {
	case c.Thin():
		t.thin++
		t.known++
		t.month, t.before = t.month+c.MonthPct, t.before+c.BeforePct
	case c.BeforePct == c.BeforePct:
		t.known++
	}
}

// says tells that the report month of many sites is thin; "": it is not.
func (t *thinMonth) says() string {
	if t.thin < 2 || float64(t.thin) < thinShare*float64(t.known) {
		return ""
	}
	n := float64(t.thin)
	return fmt.Sprintf("%d of %d sites have less of the report month than of the months before it (%.0f %% of its hours against %.0f %%): a file may be cut short or missing", t.thin, t.known, t.month/n, t.before/n)
}
