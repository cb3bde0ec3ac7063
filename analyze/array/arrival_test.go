package array

import (
	"math"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// undated is a copy of the town whose register gives no dates.
func undated(f *fleetWithField, i int) (back func()) {
	site := f.fleet.fleet.Site(f.series[i].SiteID)
	was, arrays := site.CommissionedOn, append([]ingest.Array(nil), site.Arrays...)
	site.CommissionedOn = time.Time{}
	for a := range site.Arrays {
		site.Arrays[a].CommissionedOn = time.Time{}
	}
	return func() { site.CommissionedOn, site.Arrays = was, arrays }
}

// An array that began within the readings is neither out of order before nor
// another than its register says.
func TestArrivalIsNoOutage(t *testing.T) {
	f := town()
	i := f.simple(t)
	defer undated(f, i)()
	r := f.broken(i, func(s *ingest.Series) {
		for j := range from(f, i, "2025-06-10") {
			s.Wh[ingest.Production][j] = 0
		}
	})
	if len(r.Faults) > 0 {
		t.Errorf("faults %+v", r.Faults)
	}
	if !says(r, "array_arrived", "2025-06-10") {
		t.Errorf("caveats %+v", r.Caveats)
	}
}

// Output that rose for good where the register gives no date is modules that
// came, with the date; where it gives one it is a part that was down.
func TestGrowthWithoutADate(t *testing.T) {
	f := town()
	i := f.simple(t)
	grow := func(s *ingest.Series) {
		for j := range from(f, i, "2025-06-10") {
			s.Wh[ingest.Production][j] *= 0.7
		}
	}
	if r := f.broken(i, grow); find(r, InvertersDown) == nil {
		t.Errorf("with a date: faults %+v", r.Faults)
	}
	defer undated(f, i)()
	r := f.broken(i, grow)
	if len(r.Faults) > 0 {
		t.Errorf("faults %+v", r.Faults)
	}
	if !says(r, "array_grew", "2025-06") {
		t.Errorf("caveats %+v", r.Caveats)
	}
}

// Days without readings amid days without output are no days of outage.
func TestUnjudgedDaysAreNoOutage(t *testing.T) {
	f := town()
	i := f.simple(t)
	r := f.broken(i, func(s *ingest.Series) {
		p := s.Wh[ingest.Production]
		for j := from(f, i, "2026-05-10"); j < from(f, i, "2026-05-20"); j++ {
			p[j] = 0
		}
		for j := from(f, i, "2026-05-20"); j < from(f, i, "2026-07-20"); j++ {
			p[j] = math.NaN()
		}
		for j := from(f, i, "2026-07-20"); j < from(f, i, "2026-07-22"); j++ {
			p[j] = 0
		}
	})
	c := find(r, Outage)
	if c == nil {
		t.Fatalf("faults %+v", r.Faults)
	}
	if c.On.Format(time.DateOnly) != "2026-05-10" || c.Until.Format(time.DateOnly) != "2026-05-20" || strings.Contains(c.Says, "70 days") {
		t.Errorf("%s from %s to %s", c.Says, c.On, c.Until)
	}
	if days := c.KWhYr / (r.ExpectedKWhYr / 365); days > 25 { // ten days of May, the best of the year
		t.Errorf("ten days cost %.0f days of the year", days)
	}
}

func says(r Result, code, what string) bool {
	for _, c := range r.Caveats {
		if c.Code == code && strings.Contains(c.Says, what) {
			return true
		}
	}
	return false
}
