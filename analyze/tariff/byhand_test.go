package tariff

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// metered is the calendar year 2026 by UTC, in which nothing is bought or sold
// but what is set.
type metered struct {
	*Year
	steps            int
	imports, exports []float64
}

func lay(t *testing.T, data ingest.Tariff, steps int) *metered {
	t.Helper()
	w := ingest.Window{Start: ingest.HourOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)), N: 8760}
	return &metered{compile(t, data).Year(w, time.UTC), steps, make([]float64, 8760*steps), make([]float64, 8760*steps)}
}

// at is the interval at a moment.
func (y *metered) at(month time.Month, day, hour, interval int) int {
	return int(ingest.HourOf(time.Date(2026, month, day, hour, 0, 0, 0, time.UTC))-y.Window.Start)*y.steps + interval
}

func (y *metered) bill() Bill { return y.Bill(y.imports, y.exports) }

var flat = []ingest.TariffPeriod{{Name: "base", Price: 0.2}}

// Hours that cross midnight, that begin within an hour, weekends and holidays.
// 2026-01-05 is a Monday, 2026-01-10 a Saturday.
func TestPricesOfTheClock(t *testing.T) {
	for _, c := range []struct {
		hours, days string
		day         int
		want        string // hours at 0.1
	}{
		{"22-6", "", 5, "0 1 2 3 4 5 22 23"},
		{"6-22", "", 5, "6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21"},
		{"0-24", "", 5, "0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23"},
		{"22-24", "", 5, "22 23"},
		{"22-0", "", 5, "22 23"},
		{"16:30-19:00", "", 5, "17 18"}, // an hour belongs to the period that its start lies in
		{"16:00-18:30", "", 5, "16 17 18"},
		{"1-2, 5-7", "", 5, "1 5 6"},
		{"22-6", "weekday", 10, ""},
		{"22-24", "weekend", 10, "22 23"},
		{"22-24", "sat", 10, "22 23"},
		{"22-24", "sun", 10, ""},
		{"22-24", "weekday", 6, ""}, // a holiday is no weekday
		{"22-24", "tue", 6, ""},
		{"22-24", "holiday", 6, "22 23"},
		{"22-24", "weekend", 6, "22 23"}, // and counts as a weekend
		{"22-24", "mon,fri", 9, "22 23"},
	} {
		y := lay(t, ingest.Tariff{Holidays: []string{"01-06"}, Import: []ingest.TariffPeriod{{Name: "low", Price: 0.1, Hours: c.hours, Days: c.days}, {Name: "high", Price: 0.3}}}, 1)
		var got []string
		for h := range 24 {
			if y.ImportPrice[y.at(1, c.day, h, 0)] == 0.1 {
				got = append(got, fmt.Sprint(h))
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s %s on the %dth: %v, want %s", c.hours, c.days, c.day, got, c.want)
		}
	}
	for text, want := range map[string]string{
		"24-6": "must look like", "6-6": "the same", "6": "must look like", "6-25": "must look like", "16:60-17": "must look like", "16:5-17": "must look like", "0-24:01": "must look like",
		"16:59-17": "", "0-24:00": "", "-1-5": "must look like", strings.Repeat("1-2,", 23) + "1-2": "", strings.Repeat("1-2,", 24) + "1-2": "at most 24",
	} {
		_, err := parseHours(text)
		if (want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("hours %q: %v, want %q", text, err, want)
		}
	}
	for m, ok := range map[int]bool{0: false, 1: true, 12: true, 13: false} {
		if _, err := parseMonths([]int{m}); (err == nil) != ok {
			t.Errorf("month %d: %v", m, err)
		}
	}
	// The first moment without a price is named.
	for _, c := range []struct {
		period ingest.TariffPeriod
		want   string
	}{
		{ingest.TariffPeriod{Hours: "6-24"}, "January, monday, 00:00"}, {ingest.TariffPeriod{Hours: "0-18:30"}, "January, monday, 18:30"},
		{ingest.TariffPeriod{Days: "mon,tue,wed,thu,fri,sat"}, "January, sunday, 00:00"}, {ingest.TariffPeriod{Days: "weekday"}, "January, saturday, 00:00"},
		{ingest.TariffPeriod{Months: []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}}, "December, monday, 00:00"},
	} {
		if _, err := Compile(ingest.Tariff{ID: "x", Import: []ingest.TariffPeriod{c.period}}); err == nil || !strings.Contains(err.Error(), "no price for "+c.want) {
			t.Errorf("%+v: %v, want %s", c.period, err, c.want)
		}
	}
}

// 0.5 a day, 2 a month and 120 a year: 182.5 + 24 + 120. Spread evenly every
// month has 365/12 days' charge, else February has 28.
func TestFixedCharges(t *testing.T) {
	d := ingest.Tariff{Import: flat, FixedPerDay: 0.5, FixedPerMonth: 2, FixedPerYear: 120}
	b := lay(t, d, 1).bill()
	near(t, "year", b.Total, 326.5, 1e-12)
	near(t, "February", b.Months[1].Fixed, 14+2+10, 1e-12)
	d.FixedSpread = "even"
	b = lay(t, d, 1).bill()
	near(t, "year", b.Total, 326.5, 1e-12)
	near(t, "February", b.Months[1].Fixed, 0.5*365/12+2+10, 1e-12)
	if b.Months[1].Days != 28 || b.Months[0].Days != 31 {
		t.Errorf("days %d, %d", b.Months[0].Days, b.Months[1].Days)
	}
	// A minimum of 600 a year is topped up by the rest in the last month.
	d.MinimumPerYear = 600
	b = lay(t, d, 1).bill()
	near(t, "minimum", b.Total, 600, 1e-12)
	near(t, "in the last month", b.Months[11].TopUp, 600-326.5, 1e-12)
	d.MinimumPerYear = 300
	near(t, "above the minimum", lay(t, d, 1).bill().TopUp, 0, 0)
}

// One quarter hour of 1 kWh is 4 kW; over its hour it is 1 kW. Two quarters of 1
// and 0.5 kWh in one hour: 4 kW, or 1.5 kW. 10 a kW, in each month.
func TestDemandCharge(t *testing.T) {
	for over, want := range map[string]float64{"": 40, "interval": 40, "hour": 15} {
		y := lay(t, ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "free"}}, Demand: []ingest.TariffDemand{{Name: "peak", PerKW: 10, Hours: "16-20"}}, DemandOver: over}, 4)
		y.imports[y.at(3, 2, 17, 1)], y.imports[y.at(3, 2, 17, 3)] = 1000, 500
		y.imports[y.at(3, 2, 9, 0)] = 9000 // outside the window
		y.imports[y.at(3, 2, 20, 0)] = 9000
		y.imports[y.at(12, 31, 19, 0)] = 250 // 1 kW in December
		b := y.bill()
		near(t, "March", b.Months[2].Demand, want, 1e-12)
		near(t, "December", b.Months[11].Demand, map[bool]float64{true: 2.5, false: 10}[over == "hour"], 1e-12)
		near(t, "April", b.Months[3].Demand, 0, 0)
		near(t, "bought", b.ImportKWh, 19.75, 1e-12)
	}
	// Quarter hours and hours of the same energy cost the same without a demand charge.
	a, b := lay(t, ingest.Tariff{Import: flat}, 4), lay(t, ingest.Tariff{Import: flat}, 1)
	a.imports[a.at(5, 1, 3, 2)], b.imports[b.at(5, 1, 3, 0)] = 700, 700
	a.exports[a.at(5, 1, 3, 0)], b.exports[b.at(5, 1, 3, 0)] = 300, 300
	near(t, "energy", a.bill().Total, 0.14, 1e-12)
	near(t, "energy", b.bill().Total, 0.14, 1e-12)
	if lay(t, ingest.Tariff{Import: flat}, 1).NewTotals().PeakKW != nil {
		t.Error("power is kept where none is charged")
	}
}

// 100 kWh sold, 40 of them by new modules: 60 x 0.10 + 40 x 0.04 = 7.60.
func TestExportOfNewModules(t *testing.T) {
	y := lay(t, ingest.Tariff{Import: flat, Export: ingest.TariffExport{Price: 0.10, NewModules: &ingest.TariffExportNew{Price: 0.04}}}, 1)
	totals := y.NewTotals()
	totals.ExportKWh[0], totals.NewExportKWh[0] = 100, 40
	var b Bill
	y.Settle(totals, &b)
	near(t, "credit", b.Credit, 7.6, 1e-12)
	near(t, "total", b.Total, -7.6, 1e-12)
	if lay(t, ingest.Tariff{Import: flat}, 1).NewTotals().NewExportKWh != nil {
		t.Error("new export is kept where it has no price of its own")
	}
}

// 10 kWh sold in a bucket that is not carried on are lost; 10 in the other wait
// for the next month, and what is left at the end earns the surplus price.
func TestBankOfBuckets(t *testing.T) {
	y := lay(t, ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "peak", Hours: "16-20", Price: 0.4}, {Name: "rest", Price: 0.2}}, SurplusPrice: 0.05,
		Export: ingest.TariffExport{Credit: "retail"}, Settlement: "monthly", Bank: "kwh", BankExcludes: []string{"peak"}}, 1)
	y.exports[y.at(5, 1, 17, 0)] = 10000
	y.exports[y.at(5, 1, 12, 0)] = 10000
	y.imports[y.at(6, 1, 12, 0)] = 4000
	y.imports[y.at(6, 1, 17, 0)] = 1000
	b := y.bill()
	near(t, "lost", b.LostKWh, 10, 1e-12)
	near(t, "left in the bank", b.BankKWh, 6, 1e-12)
	near(t, "energy", b.Energy, 0.4, 1e-12) // the kWh at 17 o'clock
	near(t, "surplus", b.Surplus, 0.3, 1e-12)
	near(t, "total", b.Total, 0.1, 1e-12)
}

// Limits hold at their value and break past it.
func TestLimitsOfATariff(t *testing.T) {
	pct := func(v float64) *float64 { return &v }
	periods := func(n int) (out []ingest.TariffPeriod) {
		for i := range n {
			out = append(out, ingest.TariffPeriod{Name: fmt.Sprint(i), Price: 0.2})
		}
		return out
	}
	demands := func(n int) (out []ingest.TariffDemand) {
		for i := range n {
			out = append(out, ingest.TariffDemand{Name: fmt.Sprint(i), PerKW: 1})
		}
		return out
	}
	legacy := func(l ingest.TariffLegacy) *ingest.TariffLegacy { l.Successor = "y"; return &l }
	for _, c := range []struct {
		what string
		d    ingest.Tariff
		says string // "": it is taken
	}{
		{"tax of none", ingest.Tariff{Export: ingest.TariffExport{IncomeTaxPct: pct(0)}}, ""},
		{"tax of all", ingest.Tariff{Export: ingest.TariffExport{IncomeTaxPct: pct(100)}}, ""},
		{"tax below", ingest.Tariff{Export: ingest.TariffExport{IncomeTaxPct: pct(-1)}}, "income_tax_pct"},
		{"tax above", ingest.Tariff{Export: ingest.TariffExport{IncomeTaxPct: pct(101)}}, "income_tax_pct"},
		{"tax not a number", ingest.Tariff{Export: ingest.TariffExport{IncomeTaxPct: pct(math.NaN())}}, "income_tax_pct"},
		{"escalation", ingest.Tariff{Escalation: &ingest.TariffEscalation{ImportPctYr: pct(49.9), ExportPctYr: pct(-49.9), FixedPctYr: pct(0)}}, ""},
		{"escalation above", ingest.Tariff{Escalation: &ingest.TariffEscalation{ImportPctYr: pct(50)}}, "import_pct_yr"},
		{"escalation below", ingest.Tariff{Escalation: &ingest.TariffEscalation{ExportPctYr: pct(-50)}}, "export_pct_yr"},
		{"escalation of the fixed", ingest.Tariff{Escalation: &ingest.TariffEscalation{FixedPctYr: pct(math.NaN())}}, "fixed_pct_yr"},
		{"December", ingest.Tariff{AnniversaryMonth: 12}, ""},
		{"month 13", ingest.Tariff{AnniversaryMonth: 13}, "anniversary_month"},
		{"month -1", ingest.Tariff{AnniversaryMonth: -1}, "anniversary_month"},
		{"16 demand charges", ingest.Tariff{Demand: demands(16)}, ""},
		{"17 demand charges", ingest.Tariff{Demand: demands(17)}, "at most 16"},
		{"200 periods", ingest.Tariff{Import: periods(200)}, ""},
		{"201 periods", ingest.Tariff{Import: periods(201)}, "at most 200"},
		{"a price of 0", ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "free"}}}, ""},
		{"a price below 0", ingest.Tariff{Import: []ingest.TariffPeriod{{Name: "x", Price: -0.01}}}, "negative_prices"},
		{"a price below 0 that is meant", ingest.Tariff{NegativePrices: true, Import: []ingest.TariffPeriod{{Name: "x", Price: -0.01}}}, ""},
		{"a price without end", ingest.Tariff{NegativePrices: true, Import: []ingest.TariffPeriod{{Name: "x", Price: math.Inf(-1)}}}, "must be a number"},
		{"a tier that takes the whole price", ingest.Tariff{Tiers: []ingest.TariffTier{{UpToKWhPerMonth: 100, Add: -0.2}, {}}}, ""},
		{"a tier that takes more", ingest.Tariff{Tiers: []ingest.TariffTier{{UpToKWhPerMonth: 100, Add: -0.21}, {}}}, "negative"},
		{"tiers of one limit", ingest.Tariff{Tiers: []ingest.TariffTier{{UpToKWhPerMonth: 100}, {UpToKWhPerMonth: 100}, {}}}, "overlaps"},
		{"rising tiers", ingest.Tariff{Tiers: []ingest.TariffTier{{UpToKWhPerMonth: 100}, {UpToKWhPerMonth: 101}, {}}}, ""},
		{"an owner who stays", ingest.Tariff{Legacy: legacy(ingest.TariffLegacy{EndsWithOwner: true, OwnerStaysYears: 8})}, ""},
		{"an owner who stays for nothing", ingest.Tariff{Legacy: legacy(ingest.TariffLegacy{OwnerStaysYears: 8})}, "ends_with_owner"},
		{"no years", ingest.Tariff{Legacy: legacy(ingest.TariffLegacy{})}, ""},
	} {
		c.d.ID = "x"
		if c.d.Import == nil {
			c.d.Import = flat
		}
		_, err := Compile(c.d)
		if (c.says == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.what, err, c.says)
		}
	}
}

// What stands in a tariff without effect is said, and nothing else.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		d    ingest.Tariff
		want string
	}{
		{ingest.Tariff{}, ""},
		{ingest.Tariff{Export: ingest.TariffExport{Price: 0.1}}, ""},
		{ingest.Tariff{Export: ingest.TariffExport{Price: 0.1, Credit: "retail"}}, "export: price 0.1"},
		{ingest.Tariff{Export: ingest.TariffExport{Credit: "retail"}}, ""},
		{ingest.Tariff{SurplusPrice: 0.05}, "surplus_price 0.05"},
		{ingest.Tariff{SurplusPrice: 0.05, Settlement: "yearly", Export: ingest.TariffExport{Credit: "retail"}}, ""},
		{ingest.Tariff{Undecided: []string{"the tax"}}, "not decided yet: the tax"},
	} {
		c.d.Import = flat
		got := strings.Join(compile(t, c.d).Notes, "; ")
		if (c.want == "") != (got == "") || !strings.HasPrefix(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.d, got, c.want)
		}
	}
}

// Blocks of 100 kWh a month: 150 kWh cost 50 x 0.05 more. Of 2 kWh a day: the
// 62 kWh of May leave 88. What is sold comes off first where kWh net.
func TestBlocks(t *testing.T) {
	bill := func(d ingest.Tariff) Bill {
		y := lay(t, d, 1)
		y.imports[y.at(5, 1, 12, 0)] = 150000
		y.exports[y.at(5, 2, 12, 0)] = 30000
		return y.bill()
	}
	perMonth := []ingest.TariffTier{{UpToKWhPerMonth: 100}, {Add: 0.05}}
	near(t, "a month", bill(ingest.Tariff{Import: flat, Tiers: perMonth}).Energy, 30+2.5, 1e-12)
	near(t, "a day", bill(ingest.Tariff{Import: flat, Tiers: []ingest.TariffTier{{UpToKWhPerDay: 2}, {Add: 0.05}}}).Energy, 30+4.4, 1e-12)
	netted := bill(ingest.Tariff{Import: flat, Tiers: perMonth, Settlement: "monthly", Export: ingest.TariffExport{Credit: "retail"}})
	near(t, "netted", netted.Total, 24+1, 1e-12) // 120 kWh at 0.2, 20 of them 0.05 more
}
