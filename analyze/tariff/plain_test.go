package tariff

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// The plain version reads the tariff's own data hour by hour and keeps its
// books in maps. It shares no code with the package.

type plainHour struct {
	at               time.Time
	imports, exports float64 // kWh
	kW               float64
}

// plainPart is what one bucket, or one import period, holds in a month.
type plainPart struct{ bought, sold, cost, earned float64 }

type plainMonth struct {
	number, days          int
	whole                 plainPart
	buckets               map[string]plainPart
	periods               map[int]map[string]float64 // kWh bought by period, by its bucket
	peaks                 map[string]float64         // by name and price of the charge
	energy, credit, fixed float64                    // fixed: with demand and non-bypassable charges
}

func plainMatches(months []int, days, hours string, at time.Time, holiday bool) bool {
	if len(months) > 0 && !slices.Contains(months, int(at.Month())) {
		return false
	}
	if days != "" {
		hit := false
		weekend := at.Weekday() == time.Saturday || at.Weekday() == time.Sunday
		for _, d := range strings.Split(days, ",") {
			switch d {
			case "weekday":
				hit = hit || !weekend && !holiday
			case "weekend":
				hit = hit || weekend || holiday
			case "holiday":
				hit = hit || holiday
			default:
				named := strings.HasPrefix(strings.ToLower(at.Weekday().String()), d)
				hit = hit || named && (!holiday || weekend)
			}
		}
		if !hit {
			return false
		}
	}
	if hours == "" {
		return true
	}
	clock := func(s string) float64 {
		h, m, found := strings.Cut(s, ":")
		a, _ := strconv.ParseFloat(h, 64)
		if found {
			b, _ := strconv.ParseFloat(m, 64)
			a += b / 60
		}
		return a
	}
	now := float64(at.Hour()) + float64(at.Minute())/60
	for _, span := range strings.Split(hours, ",") {
		a, b, _ := strings.Cut(span, "-")
		from, to := clock(a), clock(b)
		if from < to && from <= now && now < to || from > to && (now >= from || now < to) {
			return true
		}
	}
	return false
}

func plainHoliday(d ingest.Tariff, at time.Time) bool {
	return slices.Contains(d.Holidays, at.Format("2006-01-02")) || slices.Contains(d.Holidays, at.Format("01-02"))
}

// plainLadder is what kWh on a period's tiers cost on top, in a stretch of months.
func plainLadder(d ingest.Tariff, period int, kWh float64, months, days int) float64 {
	tiers := d.Import[period].Tiers
	if len(tiers) == 0 {
		tiers = d.Tiers
	}
	sum, from := 0.0, 0.0
	for _, tier := range tiers {
		to := math.Inf(1)
		if tier.UpToKWhPerMonth > 0 {
			to = tier.UpToKWhPerMonth * float64(months)
		}
		if tier.UpToKWhPerDay > 0 {
			to = tier.UpToKWhPerDay * float64(days)
		}
		if kWh > from {
			sum += (math.Min(kWh, to) - from) * tier.Add
		}
		from = to
	}
	return sum
}

// plainTiers shares kWh among the periods as their parts stand to the whole.
func plainTiers(d ingest.Tariff, parts map[int]float64, kWh float64, months, days int) float64 {
	whole, sum := 0.0, 0.0
	for _, part := range parts {
		whole += part
	}
	for period, part := range parts {
		if whole > 0 {
			sum += part / whole * plainLadder(d, period, kWh, months, days)
		}
	}
	return sum
}

func plainIndex(ps []ingest.TariffPeriod, at time.Time, holiday bool) int {
	for i := range ps {
		if plainMatches(ps[i].Months, ps[i].Days, ps[i].Hours, at, holiday) {
			return i
		}
	}
	return -1
}

func plainBucket(d ingest.Tariff, period int) string {
	if b := d.Import[period].Bucket; b != "" {
		return b
	}
	return d.Import[period].Name
}

// plainMonths sorts the hours into months, in the order of the settlement year.
func plainMonths(d ingest.Tariff, hours []plainHour) []*plainMonth {
	byKey, noons := map[string]*plainMonth{}, map[string]bool{}
	var order []*plainMonth
	for _, h := range hours {
		key := h.at.Format("2006-01")
		m := byKey[key]
		if m == nil {
			m = &plainMonth{number: int(h.at.Month()), buckets: map[string]plainPart{}, periods: map[int]map[string]float64{}, peaks: map[string]float64{}}
			byKey[key] = m
			order = append(order, m)
		}
		if day := h.at.Format("2006-01-02"); h.at.Hour() == 12 && !noons[day] {
			noons[day] = true
			m.days++
		}
		holiday := plainHoliday(d, h.at)
		p := plainIndex(d.Import, h.at, holiday)
		sell := d.Export.Price
		if x := plainIndex(d.Export.Periods, h.at, holiday); x >= 0 {
			sell = d.Export.Periods[x].Price
		}
		if d.Export.Credit == "retail" {
			sell = d.Import[p].Price
		}
		add := func(a plainPart) plainPart {
			return plainPart{a.bought + h.imports, a.sold + h.exports, a.cost + h.imports*d.Import[p].Price, a.earned + h.exports*sell}
		}
		bucket := plainBucket(d, p)
		m.whole, m.buckets[bucket] = add(m.whole), add(m.buckets[bucket])
		if m.periods[p] == nil {
			m.periods[p] = map[string]float64{}
		}
		m.periods[p][bucket] += h.imports
		for i, c := range d.Demand {
			if plainMatches(c.Months, c.Days, c.Hours, h.at, holiday) {
				name := strconv.Itoa(i)
				if c.Name != "" {
					name = c.Name + strconv.FormatFloat(c.PerKW, 'g', -1, 64)
				}
				m.peaks[name] = math.Max(m.peaks[name], h.kW*c.PerKW)
			}
		}
	}
	slices.SortStableFunc(order, func(a, b *plainMonth) int {
		first := max(1, d.AnniversaryMonth)
		return (a.number-first+12)%12 - (b.number-first+12)%12
	})
	return order
}

// plainTotal is what the hours cost.
func plainTotal(d ingest.Tariff, hours []plainHour) float64 {
	months := plainMonths(d, hours)
	for _, m := range months {
		days := float64(m.days)
		if d.FixedSpread == "even" {
			days = 365.0 / 12
		}
		m.fixed = d.FixedPerDay*days + d.FixedPerMonth + d.FixedPerYear/12 + d.NonBypassablePerKWh*m.whole.bought
		for _, charge := range m.peaks {
			m.fixed += charge
		}
	}
	retail := d.Export.Credit == "retail"
	spans := retail && (d.Settlement == "monthly" || d.Settlement == "yearly")
	n := 1
	if d.Settlement == "yearly" {
		n = len(months)
	}
	var paid float64 // for a surplus
	switch {
	case spans && (d.Netting == "bucket" || d.Bank == "kwh"):
		paid = plainBuckets(d, months, n)
	default:
		for _, m := range months {
			m.energy, m.credit = m.whole.cost, m.whole.earned
			kWh, parts := m.whole.bought, map[int]float64{}
			for p, by := range m.periods {
				for _, bought := range by {
					parts[p] += bought
				}
			}
			if spans {
				kWh = math.Max(0, m.whole.bought-m.whole.sold)
			}
			if !retail && d.Netting == "period" {
				kWh, parts = plainNet(m)
			}
			m.energy += plainTiers(d, parts, kWh, 1, m.days)
		}
		paid = plainCredits(d, months, n, spans)
	}
	return plainDue(d, months, n) - paid
}

// plainNet nets a month's kWh in each bucket before money is counted.
func plainNet(m *plainMonth) (kWh float64, parts map[int]float64) {
	m.energy, m.credit, parts = 0, 0, map[int]float64{}
	for name, b := range m.buckets {
		if net := b.bought - b.sold; net > 0 {
			m.energy += b.cost / b.bought * net
			kWh += net
			for p, by := range m.periods {
				parts[p] += by[name] / b.bought * net
			}
		} else if net < 0 {
			m.credit += b.earned / b.sold * -net
		}
	}
	return kWh, parts
}

// plainBuckets settles kWh against kWh and gives what is paid for what is left.
func plainBuckets(d ingest.Tariff, months []*plainMonth, n int) (paid float64) {
	bank, one := map[string]float64{}, 0.0
	for from := 0; from < len(months); from += n {
		if d.BankFollows == "time_of_day" && from > 0 {
			for _, hour := range []int{0, 12, 18} {
				at := func(m *plainMonth) string { // a Monday of that month
					day := time.Date(2024, time.Month(m.number), 8, hour, 0, 0, 0, time.UTC)
					for day.Weekday() != time.Monday {
						day = day.AddDate(0, 0, 1)
					}
					return plainBucket(d, plainIndex(d.Import, day, false))
				}
				a, b := at(months[from-1]), at(months[from])
				if _, here := months[from].buckets[a]; a != b && !here {
					bank[b] += bank[a]
					bank[a] = 0
				}
			}
		}
		sums, parts, days, left := map[string]plainPart{}, map[int]float64{}, 0, 0.0
		for _, m := range months[from : from+n] {
			days += m.days
			one = math.Max(0, one+m.whole.sold-m.whole.bought)
			for name, b := range m.buckets {
				s := sums[name]
				sums[name] = plainPart{s.bought + b.bought, s.sold + b.sold, s.cost + b.cost, 0}
			}
		}
		last := months[from+n-1]
		for name, b := range sums {
			net := b.bought - b.sold
			if d.Bank == "kwh" && !slices.Contains(d.BankExcludes, name) {
				take := math.Min(bank[name], math.Max(0, net))
				bank[name] += math.Max(0, -net) - take
				net -= take
			} else if net < 0 && d.Bank != "kwh" {
				paid += -net * d.SurplusPrice
			}
			if net > 0 {
				last.energy += b.cost / b.bought * net
				left += net
				for _, m := range months[from : from+n] {
					for p, by := range m.periods {
						parts[p] += by[name] / b.bought * net
					}
				}
			}
		}
		last.energy += plainTiers(d, parts, left, n, days)
	}
	if d.SurplusOn == "total" {
		return paid + one*d.SurplusPrice
	}
	for _, kWh := range bank {
		paid += kWh * d.SurplusPrice
	}
	return paid
}

// plainCredits lets money meet money: a group's credit is cut to what it may pay.
func plainCredits(d ingest.Tariff, months []*plainMonth, n int, spans bool) (paid float64) {
	limit := d.CreditLimit
	if limit == "" {
		limit = "none"
		if spans || d.Bank == "money" {
			limit = "energy"
		}
	}
	if limit == "none" {
		return 0
	}
	settles := d.Settlement == "monthly" || d.Settlement == "yearly"
	bank, yearNet := 0.0, 0.0
	for from := 0; from < len(months); from += n {
		charge, credit, bought, sold := 0.0, 0.0, 0.0, 0.0
		for _, m := range months[from : from+n] {
			charge += m.energy
			if limit == "bill" {
				charge += m.fixed
			}
			credit += m.credit
			bought += m.whole.bought
			sold += m.whole.sold
			m.credit = 0
		}
		yearNet += sold - bought
		if limit == "import" {
			charge = math.Inf(1)
			if sold > bought {
				credit *= bought / sold
			}
		}
		ready := bank + credit
		if d.CreditFrom == "next_month" {
			ready = bank
		}
		pays := math.Min(ready, math.Max(0, charge))
		months[from+n-1].credit = pays
		if d.Bank == "money" {
			bank += credit - pays
		} else if settles {
			paid += math.Max(0, sold-bought) * d.SurplusPrice
		}
	}
	if d.Bank == "money" && settles {
		paid += math.Max(0, yearNet) * d.SurplusPrice
	}
	if d.BankClose == "paid" {
		paid += bank
	}
	return paid
}

// plainDue is what is owed before anything is paid for a surplus, with the
// minimum bills.
func plainDue(d ingest.Tariff, months []*plainMonth, n int) float64 {
	total := 0.0
	for from := 0; from < len(months); from += n {
		due := 0.0
		for _, m := range months[from : from+n] {
			due += m.energy + m.fixed - m.credit
		}
		if d.MinimumPerMonth > 0 {
			due = math.Max(due, d.MinimumPerMonth*float64(n))
		}
		total += due
	}
	if d.MinimumPerYear > 0 {
		total = math.Max(total, d.MinimumPerYear*float64(len(months))/12)
	}
	return total
}

// TestBillAgainstPlain: 10,000 random tariffs and hours over zones with clock changes,
// by the hour and by the quarter hour.
func TestBillAgainstPlain(t *testing.T) {
	zones := []string{"UTC", "America/Denver", "Europe/Berlin", "Asia/Kolkata", "Australia/Lord_Howe", "Asia/Kathmandu"}
	for seed := range uint64(10000) {
		rng := rand.New(rand.NewPCG(seed, 11))
		loc, err := time.LoadLocation(zones[rng.IntN(len(zones))])
		if err != nil {
			t.Fatal(err)
		}
		data := randomTariff(rng)
		steps := []int{1, 1, 1, 2, 4}[rng.IntN(5)]
		window := ingest.Window{Start: ingest.HourOf(time.Date(2025, time.Month(1+rng.IntN(12)), 1, 0, 0, 0, 0, loc)), N: 24 * (1 + rng.IntN(1+rng.IntN(1+rng.IntN(1+rng.IntN(400)))))}
		imports, exports := make([]float64, window.N*steps), make([]float64, window.N*steps)
		hours := make([]plainHour, len(imports))
		for i := range imports {
			switch rng.IntN(3) {
			case 0:
				imports[i] = 2000 * rng.Float64()
			case 1:
				exports[i] = 3000 * rng.Float64() * rng.Float64()
			}
			// a quarter hour belongs to the period of its hour
			at := (window.Start + ingest.Hour(i/steps)).Time().In(loc)
			hours[i] = plainHour{at, imports[i] / 1000, exports[i] / 1000, imports[i] / 1000 * float64(steps)}
		}
		if data.DemandOver == "hour" {
			for i := range hours {
				sum := 0.0
				for _, wh := range imports[i/steps*steps : (i/steps+1)*steps] {
					sum += wh / 1000
				}
				hours[i].kW = sum
			}
		}
		b := compile(t, data).Year(window, loc).Bill(imports, exports)
		if want := plainTotal(data, hours); math.Abs(b.Total-want) > 1e-7*max(1, math.Abs(want)) {
			t.Fatalf("seed %d, %s, %d hours: got %.8f, want %.8f\n%+v", seed, loc, window.N, b.Total, want, data)
		}
		checkSums(t, b)
	}
}

// randomTariff is any tariff that Compile takes.
func randomTariff(rng *rand.Rand) ingest.Tariff {
	cents := func(upTo int) float64 { return float64(rng.IntN(upTo)) / 100 }
	one := func(of ...string) string { return of[rng.IntN(len(of))] }
	d := ingest.Tariff{ID: "random", FixedPerDay: cents(60), FixedPerMonth: cents(900), SurplusPrice: cents(8), AnniversaryMonth: rng.IntN(13)}
	days := func() string { return one("", "weekday", "weekend", "holiday", "mon,sat", "holiday,sun", "fri") }
	hours := func() string { return one("", "16-21", "22-6", "7-9,17-20", "16:30-21:00", "0-24", "12-24") }
	for i := range rng.IntN(4) {
		d.Import = append(d.Import, ingest.TariffPeriod{Name: one("peak", "shoulder", "x"+strconv.Itoa(i)), Days: days(), Hours: hours(), Price: cents(60)})
		if rng.IntN(2) == 0 {
			d.Import[i].Months = []int{1 + rng.IntN(12), 7}
		}
		if rng.IntN(4) == 0 {
			d.Import[i].Bucket = "shared"
		}
	}
	d.Import = append(d.Import, ingest.TariffPeriod{Name: "base", Price: cents(40)})
	if rng.IntN(3) == 0 {
		d.Holidays = []string{"01-01", "2025-07-04", "12-25", "2026-03-01"}
	}
	if rng.IntN(3) == 0 {
		d.Tiers = []ingest.TariffTier{{UpToKWhPerMonth: 50 + float64(rng.IntN(100)), Add: cents(4)}, {UpToKWhPerMonth: 300, Add: cents(10)}, {Add: cents(20)}}
	}
	for i := range d.Import {
		switch rng.IntN(5) {
		case 0:
			d.Import[i].Tiers = []ingest.TariffTier{{UpToKWhPerDay: 1 + 9*rng.Float64(), Add: cents(4)}, {Add: cents(20)}}
		case 1:
			d.Import[i].Tiers = []ingest.TariffTier{{UpToKWhPerMonth: 200 * rng.Float64(), Add: cents(9)}, {UpToKWhPerMonth: 400, Add: -cents(9)}, {Add: cents(8)}}
		}
	}
	d.NegativePrices = true
	d.FixedPerYear, d.FixedSpread, d.DemandOver = cents(3000), one("", "days", "even"), one("", "interval", "hour")
	if rng.IntN(4) == 0 {
		d.MinimumPerMonth = 0.01 + cents(8000)
	}
	if rng.IntN(6) == 0 {
		d.MinimumPerYear = cents(60000)
	}
	if rng.IntN(4) == 0 {
		d.NonBypassablePerKWh = cents(5)
	}
	for range rng.IntN(4) {
		d.Demand = append(d.Demand, ingest.TariffDemand{Name: one("", "", "late"), Days: days(), Hours: hours(), PerKW: float64(rng.IntN(3))})
	}
	d.Settlement = one("", "interval", "monthly", "yearly")
	randomCredits(rng, &d)
	return d
}

func randomCredits(rng *rand.Rand, d *ingest.Tariff) {
	cents := func(upTo int) float64 { return float64(rng.IntN(upTo)) / 100 }
	one := func(of ...string) string { return of[rng.IntN(len(of))] }
	limits := []string{"", "none", "energy", "bill", "import"}
	if rng.IntN(2) == 0 {
		d.Export.Credit = "retail"
		switch d.Settlement {
		case "monthly":
			if d.Bank = one("", "kwh", "money"); d.Bank == "" {
				d.Netting = one("", "money", "period", "bucket")
			}
		case "yearly":
			d.Netting = one("", "period", "bucket")
		}
	} else {
		d.Export = ingest.TariffExport{Credit: "rate", Price: 0.01 + cents(30)}
		for range rng.IntN(3) {
			d.Export.Periods = append(d.Export.Periods, ingest.TariffPeriod{Days: one("", "weekday", "sun"), Hours: one("", "10-15", "22-6"), Price: cents(30)})
		}
		if d.Settlement == "monthly" {
			d.Netting = one("", "period")
		}
		if d.Settlement != "yearly" {
			d.Bank = one("", "", "money")
		}
	}
	switch {
	case d.Bank == "kwh":
		d.BankFollows, d.SurplusOn = one("", "time_of_day"), one("", "bank", "total")
		if rng.IntN(3) == 0 {
			d.BankExcludes = []string{"base"}
		}
	case d.Bank == "money":
		d.BankClose, d.CreditFrom = one("", "lost", "paid"), one("", "same_month", "next_month")
		d.CreditLimit = one("", "energy", "bill", "import")
	case d.Netting != "bucket":
		d.CreditLimit = one(limits...)
	}
}
