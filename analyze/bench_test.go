package analyze

import (
	"context"
	"testing"

	"rowen/ingest"
	"rowen/ingest/demo"
)

// kept hands out series that were made beforehand, so that a benchmark times the
// judgement and not the generator.
type kept map[string]*ingest.Series

func (k kept) Order() []string { return nil }

func (k kept) Load(id string, s *ingest.Series) error {
	have, ok := k[id]
	if !ok {
		return ingest.ErrNoReadings
	}
	*s = *have
	return nil
}

// BenchmarkBothPasses judges an invented fleet of 60 sites with 30 months of
// hours; sites/s on one worker.
func BenchmarkBothPasses(b *testing.B) {
	o := demo.Default()
	o.Sites = 60
	m := demo.Make(o)
	fleet, source := m.Fleet(), kept{}
	for _, id := range m.Source().Order() {
		s := &ingest.Series{}
		if err := m.Source().Load(id, s); err == nil {
			source[id] = s
		}
	}
	b.ResetTimer()
	for range b.N {
		fl := NewFleet(fleet, source, testOptions(1))
		survey, err := fl.Survey(context.Background())
		if err != nil {
			b.Fatal(err)
		}
		if err := fl.Judge(context.Background(), survey, Whole, func(*Finding) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N*o.Sites)/b.Elapsed().Seconds(), "sites/s")
}
