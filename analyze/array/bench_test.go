package array

import (
	"testing"

	"rowen/analyze/sky"
	"rowen/analyze/sun"
	"rowen/ingest"
	"rowen/ingest/demo"
)

// fleet is a small invented fleet with its readings loaded.
type fleet struct {
	made   *demo.Made
	fleet  *ingest.Fleet
	series []ingest.Series
	sun    []*sun.Hours
	years  float64
}

func loadFleet(t testing.TB, o demo.Options) *fleet {
	t.Helper()
	f := &fleet{made: demo.Make(o)}
	f.fleet = f.made.Fleet()
	cache := sun.NewCache(1000, sun.SkyModel{})
	places := sky.NewPlaces(f.fleet)
	src := f.made.Source()
	for _, id := range src.Order() {
		var s ingest.Series
		if err := src.Load(id, &s); err != nil {
			t.Fatal(err)
		}
		site := f.fleet.Site(id)
		f.series = append(f.series, s)
		f.sun = append(f.sun, cache.Hours(places.Of(site), s.Start, s.Len()))
		f.years += float64(s.Len()) / 8766
	}
	return f
}

// calendar is the days of a site's readings.
func (f *fleet) calendar(s *ingest.Series) *ingest.Calendar {
	return ingest.NewCalendar(f.fleet.Site(s.SiteID).Location, s.Start, s.Len())
}

func (f *fleet) estimate(i int) (sky.Estimate, error) {
	s := &f.series[i]
	return sky.FromSite(sky.Input{Site: f.fleet.Site(s.SiteID), Catalogue: &f.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i]})
}

func (f *fleet) field() *sky.Field {
	field := sky.NewField(sky.Options{})
	for i := range f.series {
		if e, err := f.estimate(i); err == nil {
			field.Add(e)
		}
	}
	field.Close()
	return field
}

func (f *fleet) assess(i int, field *sky.Field) Result {
	s := &f.series[i]
	return Assess(Input{Site: f.fleet.Site(s.SiteID), Catalogue: &f.fleet.Catalogue, Series: s, Calendar: f.calendar(s), Sun: f.sun[i],
		Sky: field.At(f.sun[i].Place, s.Start, s.Len(), nil), Window: f.made.Truth(s.SiteID).Window})
}

func benchFleet(b *testing.B) *fleet {
	o := demo.Default()
	o.Seed, o.Sites, o.PlainHomes, o.Faults = 77, 24, true, 0.5
	return loadFleet(b, o)
}

// BenchmarkPass1 reads skies off arrays and closes the field.
func BenchmarkPass1(b *testing.B) {
	f := benchFleet(b)
	before := cpuSeconds(b)
	for b.Loop() {
		f.field()
	}
	b.ReportMetric((cpuSeconds(b)-before)*1000/float64(b.N)/f.years, "cpu-ms/site-year")
}

// BenchmarkAssess reads the field and judges the arrays.
func BenchmarkAssess(b *testing.B) {
	f := benchFleet(b)
	field := f.field()
	for i := range f.series {
		f.made.Truth(f.series[i].SiteID) // simulated once, kept
	}
	before := cpuSeconds(b)
	for b.Loop() {
		for i := range f.series {
			f.assess(i, field)
		}
	}
	b.ReportMetric((cpuSeconds(b)-before)*1000/float64(b.N)/f.years, "cpu-ms/site-year")
}
