package array

import (
	"math"
	"testing"

	"rowen/analyze/sky"
	"rowen/ingest"
)

// alone copies a site's readings, lets do change them, and judges as if there
// were no other array.
func (f *fleetWithField) alone(t *testing.T, i int, do func(s *ingest.Series)) Result {
	t.Helper()
	s := clone(&f.series[i])
	do(s)
	site := f.fleet.fleet.Site(s.SiteID)
	field := sky.NewField(sky.Options{})
	own, err := sky.FromSite(sky.Input{Site: site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i]})
	self := &own
	if err != nil {
		self = nil
	} else {
		field.Add(own)
	}
	field.Close()
	return Assess(Input{Site: site, Catalogue: &f.fleet.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i],
		Sky: field.At(f.sun[i].Place, s.Start, s.Len(), self), Window: f.made.Truth(site.ID).Window})
}

// A wall in the east that a lone array has had before it all along: its curve is
// never that of a clear day, and yet the shadow is found.
func TestAShadowOfALoneArray(t *testing.T) {
	f := town()
	i := f.simple(t)
	h := f.sun[i]
	r := f.alone(t, i, func(s *ingest.Series) {
		for j, p := range s.Wh[ingest.Production] {
			if az := math.Mod(math.Atan2(h.East[j], h.North[j])*180/math.Pi+360, 360); h.Up[j] > 0 && h.Up[j] < math.Sin(35*math.Pi/180) && az > 60 && az < 150 {
				s.Wh[ingest.Production][j] = 0.25 * p
			}
		}
	})
	if c := find(r, Shading); c == nil || !c.On.IsZero() {
		t.Errorf("faults %+v", r.Faults)
	}
}

// Months that are duller than the year before, coming and going by and by, are
// no dead inverter of an array that is its own sky.
func TestDullMonthsOfALoneArray(t *testing.T) {
	f := town()
	i := f.simple(t)
	a, b := from(f, i, "2025-09-15"), from(f, i, "2026-04-15")
	r := f.alone(t, i, func(s *ingest.Series) {
		for j := a; j < b; j++ {
			x := float64(j-a) / float64(b-a)
			s.Wh[ingest.Production][j] *= 1 - 0.2*math.Sin(math.Pi*x)
		}
	})
	if c := find(r, InvertersDown); c != nil {
		t.Errorf("%s from %s to %s", c.Says, c.On, c.Until)
	}
}

// Sums of days without any other array: the arrival has its date, and so has
// half of the array that went for good.
func TestDaysOfALoneArray(t *testing.T) {
	f := town()
	i := f.simple(t)
	defer undated(f, i)()
	r := f.alone(t, i, func(s *ingest.Series) {
		s.StepMinutes = 1440
		p, cal := s.Wh[ingest.Production], f.calendar(s)
		for d := range cal.Days() {
			lo, hi := cal.Day(d)
			total := sum(p[lo:hi])
			switch {
			case lo < from(f, i, "2025-02-10"):
				total = 0
			case lo >= from(f, i, "2026-04-10"):
				total /= 2
			}
			for j := lo; j < hi; j++ {
				p[j] = total / float64(hi-lo)
			}
		}
	})
	if !says(r, "array_arrived", "2025-02-1") {
		t.Errorf("caveats %+v", r.Caveats)
	}
	if c := find(r, InvertersDown); c == nil || daysOff(c.On, "2026-04-10") > 15 || !c.Live || math.Abs(c.LossPct-50) > 8 {
		t.Errorf("refused %q, faults %+v", r.Refusal, r.Faults)
	}
	if find(r, Outage) != nil {
		t.Errorf("faults %+v", r.Faults)
	}
}

// Output that stands at one level for single hours all year is clipping, also
// where the register knows no limit.
func TestClippingOfSingleHours(t *testing.T) {
	f := town()
	i := f.simple(t)
	site := f.fleet.fleet.Site(f.series[i].SiteID)
	was := site.Arrays[0].InverterModel
	defer func() { site.Arrays[0].InverterModel = was }()
	site.Arrays[0].InverterModel = ""
	top := 0.0
	for _, p := range f.series[i].Wh[ingest.Production] {
		if p > top {
			top = p
		}
	}
	if c := find(f.broken(i, func(*ingest.Series) {}), Clipping); c != nil {
		t.Errorf("as it is: %s", c.Says)
	}
	r := f.broken(i, func(s *ingest.Series) {
		for j, p := range s.Wh[ingest.Production] {
			if p > 0.87*top {
				s.Wh[ingest.Production][j] = 0.87 * top
			}
		}
	})
	if c := find(r, Clipping); c == nil {
		t.Errorf("cut at the top: %+v", r.Faults)
	}
}
