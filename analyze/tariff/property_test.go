package tariff

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// TestMonthsStandAlone: where nothing is carried from month to month, a year's
// bill is the sum of its months billed by themselves.
func TestMonthsStandAlone(t *testing.T) {
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 2))
		data := randomTariff(rng)
		if data.Settlement == "yearly" || data.Bank != "" {
			continue
		}
		tar := compile(t, data)
		start := time.Date(2026, 1, 1, 0, 0, 0, 0, loc)
		sum := 0.0
		var imports, exports []float64
		for m := range 12 {
			from, to := ingest.HourOf(start.AddDate(0, m, 0)), ingest.HourOf(start.AddDate(0, m+1, 0))
			a, b := make([]float64, to-from), make([]float64, to-from)
			for i := range a {
				a[i], b[i] = 900*rng.Float64(), 900*rng.Float64()*float64(rng.IntN(2))
			}
			imports, exports = append(imports, a...), append(exports, b...)
			sum += tar.Year(ingest.Window{Start: from, N: len(a)}, loc).Bill(a, b).Total
		}
		if year := tar.Year(ingest.Window{Start: ingest.HourOf(start), N: len(imports)}, loc).Bill(imports, exports).Total; math.Abs(year-sum) > 1e-8*max(1, math.Abs(sum)) {
			t.Fatalf("seed %d: the year costs %v, its months %v\n%+v", seed, year, sum, data)
		}
	}
}

// TestYearIsShared: one year a tariff, zone and window; every hour has one slot
// and a price of one of the periods.
func TestYearIsShared(t *testing.T) {
	loc, _ := time.LoadLocation("America/Denver")
	tar := compile(t, ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "peak", Days: "weekday", Hours: "16-21", Price: 0.4}, {Name: "base", Price: 0.2}}})
	y := tar.Year(year2026, loc)
	if tar.Year(year2026, loc) != y || tar.Year(year2026, time.UTC) == y {
		t.Error("the same zone and window share a year, another zone does not")
	}
	seen := make([]bool, year2026.N)
	for s := range y.Slots {
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			if seen[h] {
				t.Fatalf("hour %d is in two slots", h)
			}
			seen[h] = true
			if y.ImportPrice[h] != y.Slots[s].ImportPrice || int(y.Month[h]) != y.Slots[s].Month || int(y.Period[h]) != y.Slots[s].Period {
				t.Fatalf("hour %d does not fit slot %+v", h, y.Slots[s])
			}
		}
	}
	for h, in := range seen {
		if !in {
			t.Fatalf("hour %d is in no slot", h)
		}
	}
	for i := range 100 { // the cache stays bounded
		tar.Year(ingest.Window{Start: year2026.Start + ingest.Hour(i), N: 24}, loc)
	}
	if n := len(tar.years); n > maxYears {
		t.Errorf("%d years are kept, limit %d", n, maxYears)
	}
}

// TestClockChanges: the night of 2026-03-08 in Denver has no hour 2, that of
// 2026-11-01 has hour 1 twice: both are hours of the period of their clock.
// By hand: hours 1-2 at 1.00, others 0; every hour of the two days buys 1 kWh:
// 2026-03-08 01:00 once, 2026-11-01 01:00 twice: 3.00.
func TestClockChanges(t *testing.T) {
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	tar := compile(t, ingest.Tariff{FixedPerDay: 10, Import: []ingest.TariffPeriod{{Name: "one", Hours: "1-2", Price: 1}, {Name: "base"}}})
	total, days := 0.0, 0
	for _, day := range []time.Time{time.Date(2026, 3, 8, 0, 0, 0, 0, loc), time.Date(2026, 11, 1, 0, 0, 0, 0, loc)} {
		n := int(ingest.HourOf(day.AddDate(0, 0, 1)) - ingest.HourOf(day))
		imports := make([]float64, n)
		for i := range imports {
			imports[i] = 1000
		}
		b := tar.Year(ingest.Window{Start: ingest.HourOf(day), N: n}, loc).Bill(imports, make([]float64, n))
		total += b.Energy
		days += b.Months[0].Days
	}
	if math.Abs(total-3) > 1e-12 || days != 2 {
		t.Errorf("energy %v over %d days, want 3.00 over 2", total, days)
	}
}

// TestRealHome bills one real home's calendar year from its hourly counters: at
// one price the bill is what the counters' ends say, whatever lies between.
func TestRealHome(t *testing.T) {
	f, err := os.Open(outside.Data(t, "konstanz-home4", "household_data_60min_residential4.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	start := ingest.HourOf(time.Date(2016, 1, 1, 0, 0, 0, 0, loc))
	window := ingest.Window{Start: start, N: 8784}
	read := func(suffix string) (wh []float64, kWh float64) { // the counter's steps, and its ends
		wh = make([]float64, window.N)
		at := -1
		for name, i := range column {
			if len(name) >= len(suffix) && name[len(name)-len(suffix):] == suffix {
				at = i
			}
		}
		last := math.NaN()
		for _, row := range rows[1:] {
			when, err := time.Parse("2006-01-02T15:04:05Z", row[column["utc_timestamp"]])
			if err != nil {
				t.Fatal(err)
			}
			v, err := strconv.ParseFloat(row[at], 64)
			if err != nil {
				continue
			}
			switch ingest.HourOf(when) {
			case start:
				kWh -= v
			case start + ingest.Hour(window.N):
				kWh += v
			}
			if h := int(ingest.HourOf(when)-start) - 1; h >= 0 && h < window.N && !math.IsNaN(last) {
				wh[h] += 1000 * (v - last)
			}
			last = v
		}
		return wh, kWh
	}
	imports, bought := read("grid_import")
	exports, sold := read("grid_export")
	b := compile(t, ingest.Tariff{FixedPerMonth: 10, Import: []ingest.TariffPeriod{{Name: "base", Price: 0.30}}, Export: ingest.TariffExport{Credit: "rate", Price: 0.12}}).Year(window, loc).Bill(imports, exports)
	want := 12*10 + bought*0.30 - sold*0.12
	if !(bought > 3800 && bought < 4000) || math.Abs(b.ImportKWh-bought) > 1e-6 || math.Abs(b.ExportKWh-sold) > 1e-6 || math.Abs(b.Total-want) > 1e-6 {
		t.Errorf("import %v, export %v, bill %v; the counters' ends say %v, %v, %v", b.ImportKWh, b.ExportKWh, b.Total, bought, sold, want)
	}
}

// FuzzCompile: whatever is written, the tariff is refused or every hour of a
// year has a price and the bill is a number.
func FuzzCompile(f *testing.F) {
	f.Add("16-21", "weekday", 7, 0.42, 0.21, "retail", "monthly", "kwh", 400.0)
	f.Add("22-6,7:30-8", "mon,holiday", 0, -1.0, 0.2, "rate", "", "money", 0.0)
	f.Add("24-0", "sun", 13, math.NaN(), math.Inf(1), "x", "yearly", "", -5.0)
	loc, err := time.LoadLocation("Australia/Lord_Howe")
	if err != nil {
		f.Fatal(err)
	}
	window := ingest.Window{Start: year2026.Start, N: 24 * 40}
	imports, exports := make([]float64, window.N), make([]float64, window.N)
	for i := range imports {
		imports[i], exports[i] = float64(i%11)*100, float64(i%13)*100
	}
	f.Fuzz(func(t *testing.T, hours, days string, month int, price, base float64, credit, settlement, bank string, tier float64) {
		data := ingest.Tariff{ID: "fuzz", Settlement: settlement, Bank: bank, Export: ingest.TariffExport{Credit: credit, Price: price},
			Import: []ingest.TariffPeriod{{Name: "a", Hours: hours, Days: days, Price: price}, {Name: "b", Price: base}},
			Tiers:  []ingest.TariffTier{{UpToKWhPerMonth: tier, Add: 0.1}, {Add: 0.2}}}
		if month != 0 {
			data.Import[0].Months = []int{month}
		}
		tar, err := Compile(data)
		if err != nil {
			return
		}
		b := tar.Year(window, loc).Bill(imports, exports)
		if math.IsNaN(b.Total) || (math.IsInf(b.Total, 0) && price < 1e100 && base < 1e100) {
			t.Fatalf("bill %v of %+v", b.Total, data)
		}
		if price < 1e6 && base < 1e6 {
			checkSums(t, b)
		}
	})
}
