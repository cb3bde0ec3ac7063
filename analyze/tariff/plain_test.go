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

type plainMonth struct {
	imports, exports, energy, credit float64
	days                             map[int]bool
	byBucket                         map[string][3]float64 // bought, sold, cost of what was bought
	peaks                            map[int]float64
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

func plainPeriod(ps []ingest.TariffPeriod, at time.Time, holiday bool) *ingest.TariffPeriod {
	for i := range ps {
		if plainMatches(ps[i].Months, ps[i].Days, ps[i].Hours, at, holiday) {
			return &ps[i]
		}
	}
	return nil
}

func plainTiers(d ingest.Tariff, kWh, months float64) float64 {
	sum := 0.0
	for i, tier := range d.Tiers {
		from := 0.0
		if i > 0 {
			from = d.Tiers[i-1].UpToKWhPerMonth * months
		}
		if to := tier.UpToKWhPerMonth * months; to > 0 && kWh > to {
			sum += (to - from) * tier.Add
		} else if kWh > from {
			sum += (kWh - from) * tier.Add
		}
	}
	return sum
}

// plainTotal is what the hours cost.
func plainTotal(d ingest.Tariff, hours []plainHour) float64 {
	months := map[string]*plainMonth{}
	var keys []string
	for _, h := range hours {
		key := h.at.Format("2006-01")
		m := months[key]
		if m == nil {
			m = &plainMonth{byBucket: map[string][3]float64{}, peaks: map[int]float64{}, days: map[int]bool{}}
			months[key] = m
			keys = append(keys, key)
		}
		if h.at.Hour() == 12 {
			m.days[h.at.Day()] = true
		}
		holiday := plainHoliday(d, h.at)
		p := plainPeriod(d.Import, h.at, holiday)
		m.imports += h.imports
		m.exports += h.exports
		m.energy += h.imports * p.Price
		switch sold := plainPeriod(d.Export.Periods, h.at, holiday); {
		case d.Export.Credit == "retail":
			m.credit += h.exports * p.Price
		case sold != nil:
			m.credit += h.exports * sold.Price
		default:
			m.credit += h.exports * d.Export.Price
		}
		name := p.Bucket
		if name == "" {
			name = p.Name
		}
		b := m.byBucket[name]
		m.byBucket[name] = [3]float64{b[0] + h.imports, b[1] + h.exports, b[2] + h.imports*p.Price}
		for i, c := range d.Demand {
			if plainMatches(c.Months, c.Days, c.Hours, h.at, holiday) {
				m.peaks[i] = math.Max(m.peaks[i], h.kW)
			}
		}
	}
	anniversary := d.AnniversaryMonth
	if anniversary == 0 {
		anniversary = 1
	}
	slices.SortStableFunc(keys, func(a, b string) int {
		order := func(k string) int { m, _ := strconv.Atoi(k[5:]); return (m - anniversary + 12) % 12 }
		return order(a) - order(b)
	})
	total := 0.0
	due := map[string]float64{} // what the minimum is held against, by month
	for _, k := range keys {
		m := months[k]
		due[k] = d.FixedPerDay*float64(len(m.days)) + d.FixedPerMonth + d.NonBypassablePerKWh*m.imports
		for i, kW := range m.peaks {
			due[k] += kW * d.Demand[i].PerKW
		}
	}
	retail, year := d.Export.Credit == "retail", d.Settlement == "yearly"
	nets := retail && (year || d.Settlement == "monthly")
	bank, banks := 0.0, map[string]float64{}
	yearEnergy, yearCredit, yearNet := 0.0, 0.0, 0.0
	for _, k := range keys {
		m := months[k]
		net := m.imports - m.exports
		yearNet += net
		switch {
		case nets && (d.Netting == "bucket" || d.Bank == "kwh"):
			if year {
				continue // below
			}
			left := 0.0
			for name, b := range m.byBucket {
				bal := b[0] - b[1]
				if d.Bank == "kwh" {
					if bal < 0 {
						banks[name] -= bal
						continue
					}
					take := math.Min(bal, banks[name])
					banks[name] -= take
					bal -= take
				}
				if bal < 0 {
					total -= -bal * d.SurplusPrice
				} else if bal > 0 {
					due[k] += bal * b[2] / b[0]
					left += bal
				}
			}
			due[k] += plainTiers(d, left, 1)
		case nets:
			charge := m.energy + plainTiers(d, math.Max(0, net), 1)
			if year {
				yearEnergy += charge
				yearCredit += m.credit
				continue
			}
			pay := charge - m.credit - bank
			bank = 0
			if pay < 0 && d.Bank == "money" {
				bank = -pay
			}
			due[k] += math.Max(0, pay)
			if net < 0 && d.Bank != "money" {
				total -= -net * d.SurplusPrice
			}
		default:
			charge := m.energy + plainTiers(d, m.imports, 1)
			if d.CreditLimit != "energy" && d.Bank != "money" {
				due[k] += charge - m.credit
				continue
			}
			if year {
				yearEnergy += charge
				yearCredit += m.credit
				continue
			}
			pay := charge - m.credit - bank
			bank = 0
			if pay < 0 && d.Bank == "money" {
				bank = -pay
			}
			due[k] += math.Max(0, pay)
			if d.Settlement == "monthly" && net < 0 && d.Bank != "money" {
				total -= -net * d.SurplusPrice
			}
		}
	}
	for _, left := range banks {
		total -= left * d.SurplusPrice
	}
	if d.Bank == "money" && d.Settlement == "monthly" && yearNet < 0 {
		total -= -yearNet * d.SurplusPrice
	}
	yearDue := 0.0
	if year {
		limited := nets || d.CreditLimit == "energy"
		switch {
		case nets && d.Netting == "bucket":
			sums := map[string][3]float64{}
			for _, m := range months {
				for name, b := range m.byBucket {
					s := sums[name]
					sums[name] = [3]float64{s[0] + b[0], s[1] + b[1], s[2] + b[2]}
				}
			}
			left := 0.0
			for _, b := range sums {
				if bal := b[0] - b[1]; bal > 0 {
					yearDue += bal * b[2] / b[0]
					left += bal
				} else {
					total -= -bal * d.SurplusPrice
				}
			}
			yearDue += plainTiers(d, left, float64(len(keys)))
		case limited:
			yearDue = math.Max(0, yearEnergy-yearCredit)
			if yearNet < 0 {
				total -= -yearNet * d.SurplusPrice
			}
		}
		for _, k := range keys {
			yearDue += due[k]
		}
		return total + math.Max(yearDue, floor(d)*float64(len(keys)))
	}
	for _, k := range keys {
		total += math.Max(due[k], floor(d))
	}
	return total
}

func floor(d ingest.Tariff) float64 {
	if d.MinimumPerMonth == 0 {
		return math.Inf(-1)
	}
	return d.MinimumPerMonth
}

// TestBillAgainstPlain: random tariffs and hours over zones with clock changes,
// by the hour and by the quarter hour.
func TestBillAgainstPlain(t *testing.T) {
	zones := []string{"UTC", "America/Denver", "Europe/Berlin", "Asia/Kolkata", "Australia/Lord_Howe", "Asia/Kathmandu"}
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 11))
		loc, err := time.LoadLocation(zones[rng.IntN(len(zones))])
		if err != nil {
			t.Fatal(err)
		}
		data := randomTariff(rng)
		steps := []int{1, 1, 1, 2, 4}[rng.IntN(5)]
		window := ingest.Window{Start: ingest.HourOf(time.Date(2025, time.Month(1+rng.IntN(12)), 1, 0, 0, 0, 0, loc)), N: 24 * (1 + rng.IntN(1+rng.IntN(400)))}
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
	if rng.IntN(4) == 0 {
		d.MinimumPerMonth = 0.01 + cents(8000)
	}
	if rng.IntN(4) == 0 {
		d.NonBypassablePerKWh = cents(5)
	}
	for range rng.IntN(3) {
		d.Demand = append(d.Demand, ingest.TariffDemand{Days: days(), Hours: hours(), PerKW: cents(900)})
	}
	d.Settlement = one("", "interval", "monthly", "yearly")
	if rng.IntN(2) == 0 {
		d.Export.Credit = "retail"
		switch d.Settlement {
		case "monthly":
			if d.Bank = one("", "kwh", "money"); d.Bank == "" {
				d.Netting = one("", "money", "period", "bucket")
			}
		case "yearly":
			d.Netting = one("", "period", "bucket")
		default:
			d.CreditLimit = one("", "energy")
		}
		return d
	}
	d.Export = ingest.TariffExport{Credit: "rate", Price: 0.01 + cents(30)}
	for range rng.IntN(3) {
		d.Export.Periods = append(d.Export.Periods, ingest.TariffPeriod{Days: days(), Hours: hours(), Price: cents(30)})
	}
	if d.CreditLimit = one("", "energy"); d.CreditLimit == "energy" && d.Settlement != "yearly" {
		d.Bank = one("", "money")
	}
	return d
}
