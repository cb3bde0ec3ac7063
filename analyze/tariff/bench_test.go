package tariff

import (
	"testing"
	"time"

	"rowen/ingest"
)

func benchYear(b *testing.B) (*Year, []float64, []float64) {
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		b.Fatal(err)
	}
	t := compile(b, ingest.Tariff{FixedPerDay: 0.35, Import: []ingest.TariffPeriod{
		{Name: "peak", Months: []int{6, 7, 8, 9}, Days: "weekday", Hours: "16-21", Price: 0.42}, {Name: "base", Price: 0.21}},
		Export: ingest.TariffExport{Credit: "retail"}, Settlement: "monthly"})
	y := t.Year(year2026, loc)
	imports, exports := make([]float64, 8760), make([]float64, 8760)
	for i := range imports {
		imports[i], exports[i] = float64(i%7)*100, float64(i%5)*200
	}
	return y, imports, exports
}

// BenchmarkBill is a year of hours to a bill.
func BenchmarkBill(b *testing.B) {
	y, imports, exports := benchYear(b)
	b.ReportAllocs()
	for b.Loop() {
		y.Bill(imports, exports)
	}
}

// BenchmarkSettle is the part of it that every size and draw pays.
func BenchmarkSettle(b *testing.B) {
	y, imports, exports := benchYear(b)
	t := y.NewTotals()
	for s := range y.Slots {
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			t.ImportKWh[s] += imports[h] / 1000
			t.ExportKWh[s] += exports[h] / 1000
		}
	}
	var bill Bill
	b.ReportAllocs()
	for b.Loop() {
		y.Settle(t, &bill)
	}
}

// BenchmarkYear is a tariff laid over a window: once a zone.
func BenchmarkYear(b *testing.B) {
	y, _, _ := benchYear(b)
	for b.Loop() {
		newYear(y.Tariff, y.Window, y.Location)
	}
}
