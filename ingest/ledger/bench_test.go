package ledger

import (
	"context"
	"os"
	"testing"

	"rowen/ingest"
)

// BenchmarkUpdate reads the files of a fleet's folder named by
// ROWEN_BENCH_FLEET into a new ledger.
func BenchmarkUpdate(b *testing.B) {
	dir := os.Getenv("ROWEN_BENCH_FLEET")
	if dir == "" {
		b.Skip("ROWEN_BENCH_FLEET names no fleet's folder")
	}
	for b.Loop() {
		os.RemoveAll(ledgerDir(dir))
		rep, err := Update(context.Background(), dir, nil, nil, Options{})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(rep.Rows.Read)/float64(b.N), "ns/row")
	}
}

// BenchmarkLoad loads every site of that fleet's ledger.
func BenchmarkLoad(b *testing.B) {
	dir := os.Getenv("ROWEN_BENCH_FLEET")
	if dir == "" {
		b.Skip("ROWEN_BENCH_FLEET names no fleet's folder")
	}
	if _, err := Update(context.Background(), dir, nil, nil, Options{}); err != nil {
		b.Fatal(err)
	}
	l, err := Open(context.Background(), dir, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	var s ingest.Series
	count := 0
	for b.Loop() {
		count = 0
		for _, id := range l.Order() {
			if err := l.Load(id, &s); err != nil {
				b.Fatal(err)
			}
			for c := range s.Wh {
				count += len(s.Wh[c]) * 60 / s.StepMinutes
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(count)/float64(b.N), "ns/reading")
}
