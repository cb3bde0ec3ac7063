package tariff

import (
	"math"

	"rowen/ingest"
)

// Totals are the sums of a year by slot: all that a bill looks at.
type Totals struct {
	ImportKWh, ExportKWh []float64
	NewExportKWh         []float64 // the part of ExportKWh that modules added from now on sold; nil: none
	PeakKW               []float64 // highest import power; nil where the tariff charges none
}

// NewTotals makes empty totals for the year's slots.
func (y *Year) NewTotals() Totals {
	n := len(y.Slots)
	t := Totals{ImportKWh: make([]float64, n), ExportKWh: make([]float64, n)}
	if y.Tariff.exportsNew != nil {
		t.NewExportKWh = make([]float64, n)
	}
	if y.Tariff.HasDemand() {
		t.PeakKW = make([]float64, n)
	}
	return t
}

// Bill prices a year of metered hours.
//
// In:      Wh bought and sold, as long as the window or the same whole number
// of times as long (4: quarter hours); no NaN; not modified.
// Out:     the bill, with its months.
// Edges:   all export counts as the old modules'; an hour may both buy and sell.
// Cost:    one walk over the intervals.
func (y *Year) Bill(importWh, exportWh []float64) Bill {
	steps := y.Steps(len(importWh))
	if len(exportWh) != len(importWh) {
		panic("tariff: import and export differ in length")
	}
	over := y.PeakSteps(steps)
	t := y.NewTotals()
	for s := range y.Slots {
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			power := 0.0
			for i := int(h) * steps; i < (int(h)+1)*steps; i++ {
				t.ImportKWh[s] += importWh[i] / 1000
				t.ExportKWh[s] += exportWh[i] / 1000
				if t.PeakKW == nil {
					continue
				}
				if power += importWh[i] / 1000; (i+1)%over == 0 {
					t.PeakKW[s] = max(t.PeakKW[s], power*float64(steps)/float64(over))
					power = 0
				}
			}
		}
	}
	var b Bill
	y.Settle(t, &b)
	return b
}

// BillOf prices a year of use and output: what the household does not use is
// sold or, where metering is gross, all output is sold and all use is bought.
func (y *Year) BillOf(loadWh, productionWh []float64) Bill {
	if y.Tariff.Gross() {
		return y.Bill(loadWh, productionWh)
	}
	imports, exports := make([]float64, len(loadWh)), make([]float64, len(loadWh))
	for i, load := range loadWh {
		imports[i], exports[i] = max(0, load-productionWh[i]), max(0, productionWh[i]-load)
	}
	return y.Bill(imports, exports)
}

// PeakSteps is over how many of an hour's intervals the tariff averages power.
func (y *Year) PeakSteps(steps int) int {
	if y.Tariff.Data.DemandOver == "hour" {
		return steps
	}
	return 1
}

// Steps is how many intervals of a series of length n make an hour of the
// window; it panics where n is no whole multiple, which is a caller's mistake.
func (y *Year) Steps(n int) int {
	if n == 0 || n%y.Window.N != 0 {
		panic("tariff: a series is no whole multiple of the window's hours")
	}
	return n / y.Window.N
}

// Settle prices the sums of the slots into b, whose months it reuses.
//
//	charges of a month = fixed + energy + non-bypassable + demand, at least the minimum
//
// Energy and credits meet as the tariff says:
//
//   - interval: every hour by itself; credits are paid in full, or up to the
//     tariff's credit limit.
//   - monthly, yearly with retail credit: credits pay the energy charges of that
//     time and no more; what is left is lost, or goes on in the bank. When the
//     period closes (with a bank: the anniversary year) the net surplus, kWh
//     sold beyond kWh bought, earns the surplus price.
//   - by bucket: as the last, but kWh against kWh within each period's bucket;
//     the bank is kWh, and what the bank holds at the end earns the surplus price.
//   - monthly with a rate, netting period: kWh against kWh within each bucket
//     first; the balance sold earns the export price of what was sold.
//
// Tiers add to the month's kWh after netting. What credits may pay is the credit
// limit's to say; without one they are paid out.
//
// A kWh may be credited at retail within a period that ends with a surplus: the
// contract pays the net surplus whatever the balance in money; so do we.
//
// Source: contract section 4; methods 11.1 (common practice).
// Cost:   O(slots), no allocation once b has its months.
func (y *Year) Settle(t Totals, b *Bill) {
	months := b.Months
	if cap(months) < len(y.Months) {
		months = make([]MonthBill, len(y.Months))
	}
	*b = Bill{Months: months[:len(y.Months)]}
	y.accrue(t, b.Months)
	y.chargeDemand(t, b.Months)
	switch {
	case y.Tariff.byBucket():
		y.settleBuckets(t, b)
	case y.Tariff.netsPeriods():
		y.netPeriods(t, b)
		y.payCredits(b)
	default:
		y.addTiers(t, b)
		y.payCredits(b)
	}
	y.topUp(b)
	for i := range b.Months {
		m := &b.Months[i]
		m.Total = m.Fixed + m.Energy + m.NonBypassable + m.Demand + m.TopUp - m.Credit - m.Surplus
		b.add(m)
	}
}

// accrue fills each month's energies, charges and credits as if nothing netted.
func (y *Year) accrue(t Totals, months []MonthBill) {
	d := &y.Tariff.Data
	for i := range months {
		ym := y.Months[i]
		days := float64(ym.Days)
		if d.FixedSpread == "even" {
			days = 365.0 / 12
		}
		months[i] = MonthBill{Year: ym.Year, Month: ym.Month, Days: ym.Days,
			Fixed: float64(d.FixedPerDay*days) + d.FixedPerMonth + d.FixedPerYear/12}
	}
	for s := range y.Slots {
		slot := &y.Slots[s]
		m := &months[slot.Month]
		m.ImportKWh += t.ImportKWh[s]
		m.ExportKWh += t.ExportKWh[s]
		m.Energy += float64(t.ImportKWh[s] * slot.ImportPrice)
		m.Credit += float64(t.ExportKWh[s] * slot.ExportPrice)
		if t.NewExportKWh != nil {
			m.Credit += float64(t.NewExportKWh[s] * (slot.NewPrice - slot.ExportPrice))
		}
	}
	for i := range months {
		months[i].NonBypassable = d.NonBypassablePerKWh * months[i].ImportKWh
	}
}

// chargeDemand charges each demand window's highest power of the month.
func (y *Year) chargeDemand(t Totals, months []MonthBill) {
	if t.PeakKW == nil {
		return
	}
	for d := range y.Tariff.demand {
		price := y.Tariff.demand[d].price
		month, peak := 0, 0.0
		for s := range y.Slots { // slots are in the order of the months
			if y.Slots[s].Month != month {
				months[month].Demand += float64(peak * price)
				month, peak = y.Slots[s].Month, 0
			}
			if y.Slots[s].Demand>>d&1 == 1 {
				peak = max(peak, t.PeakKW[s])
			}
		}
		months[month].Demand += float64(peak * price)
	}
}

// closing is how many months a settlement period holds.
func (y *Year) closing() int {
	if y.Tariff.Data.Settlement == "yearly" {
		return len(y.Months)
	}
	return 1
}

// addTiers adds what the blocks cost to each month's energy.
func (y *Year) addTiers(t Totals, b *Bill) {
	tar := y.Tariff
	if !tar.tiered() {
		return
	}
	s := 0
	for i := range b.Months {
		m := &b.Months[i]
		kWh := m.ImportKWh
		if tar.spans() {
			kWh = max(0, m.ImportKWh-m.ExportKWh)
		}
		if len(tar.ladders) == 1 {
			m.Energy += y.tiers(0, kWh, i, i+1)
			continue
		}
		var few [fewOf]float64
		shares := zeros(few[:0], len(tar.ladders))
		for ; s < len(y.Slots) && y.Slots[s].Month == i; s++ {
			shares[y.Slots[s].Ladder] += t.ImportKWh[s]
		}
		m.Energy += y.shared(shares, m.ImportKWh, kWh, i, i+1)
	}
}

// shared is what the blocks add for kWh of the months from to to, when parts of
// whole lie on the different ladders: each in the proportion in which the kWh
// fill its blocks.
func (y *Year) shared(parts []float64, whole, kWh float64, from, to int) float64 {
	sum := 0.0
	if !(whole > 0) {
		return sum
	}
	for l, part := range parts {
		if part > 0 {
			sum += float64(y.tiers(l, kWh, from, to) * (part / whole))
		}
	}
	return sum
}

// tiers is what the blocks of a ladder add for kWh of the months from to to.
func (y *Year) tiers(ladder int, kWh float64, from, to int) float64 {
	days := 0
	for i := from; i < to; i++ {
		days += y.Months[i].Days
	}
	sum, below := 0.0, 0.0
	for _, tier := range y.Tariff.ladders[ladder] {
		limit := limitKWh(tier, float64(to-from), float64(days))
		sum += float64(tier.Add * max(0, min(kWh, limit)-below))
		below = limit
	}
	return sum
}

func limitKWh(tier ingest.TariffTier, months, days float64) float64 {
	switch {
	case tier.UpToKWhPerMonth > 0:
		return tier.UpToKWhPerMonth * months
	case tier.UpToKWhPerDay > 0:
		return tier.UpToKWhPerDay * days
	}
	return math.Inf(1)
}

// payCredits lets credits meet charges in money.
func (y *Year) payCredits(b *Bill) {
	t, months, n := y.Tariff, b.Months, y.closing()
	if !t.limited() {
		return
	}
	limit, banked, later := t.creditLimit(), t.Data.Bank == "money", t.Data.CreditFrom == "next_month"
	bank := 0.0
	for from := 0; from < len(months); from += n {
		period := months[from : from+n]
		last := &period[n-1]
		if limit == "import" {
			b.Lost += creditImport(period)
		}
		charge, earned := 0.0, 0.0
		for i := range period {
			charge += period[i].Energy
			if limit == "bill" {
				charge += period[i].Fixed + period[i].NonBypassable + period[i].Demand
			}
			earned += period[i].Credit
		}
		if limit == "import" {
			charge = math.Inf(1)
		}
		credit := bank + earned
		if later {
			credit = bank
		}
		over := max(0, credit-max(0, charge))
		last.Credit += bank - over
		if later {
			last.Credit -= earned
			over += earned
		}
		if bank = 0; banked {
			bank = over
		} else {
			b.Lost += over
		}
		if t.closes() && !banked {
			last.Surplus = t.Data.SurplusPrice * surplusKWh(period)
		}
	}
	final := &months[len(months)-1]
	if t.closes() && banked {
		final.Surplus = t.Data.SurplusPrice * surplusKWh(months)
	}
	if t.Data.BankClose == "paid" {
		final.Surplus += bank
	} else {
		b.Lost += bank
	}
}

// creditImport leaves a settlement period credit for as many kWh as were bought
// in it and gives what that took away.
func creditImport(period []MonthBill) (lost float64) {
	bought, sold := 0.0, 0.0
	for i := range period {
		bought += period[i].ImportKWh
		sold += period[i].ExportKWh
	}
	if sold <= bought {
		return 0
	}
	for i := range period {
		kept := float64(period[i].Credit * (bought / sold))
		lost += period[i].Credit - kept
		period[i].Credit = kept
	}
	return lost
}

// surplusKWh is what was sold beyond what was bought.
func surplusKWh(months []MonthBill) float64 {
	net := 0.0
	for i := range months {
		net += months[i].ExportKWh - months[i].ImportKWh
	}
	return max(0, net)
}

// topUp lifts each settlement period to the minimum bill. What the surplus
// earns comes off afterwards.
func (y *Year) topUp(b *Bill) {
	if least, n := y.Tariff.Data.MinimumPerMonth, y.closing(); least > 0 {
		for from := 0; from < len(b.Months); from += n {
			b.Months[from+n-1].TopUp = max(0, float64(least*float64(n))-due(b.Months[from:from+n]))
		}
	}
	if least := y.Tariff.Data.MinimumPerYear; least > 0 {
		n := len(b.Months)
		b.Months[n-1].TopUp += max(0, least*float64(n)/12-due(b.Months))
	}
}

// due is what the months cost before anything is paid for a surplus.
func due(months []MonthBill) float64 {
	sum := 0.0
	for i := range months {
		m := &months[i]
		sum += m.Fixed + m.Energy + m.NonBypassable + m.Demand + m.TopUp - m.Credit
	}
	return sum
}

func (b *Bill) add(m *MonthBill) {
	b.Total += m.Total
	b.Fixed += m.Fixed
	b.Energy += m.Energy
	b.NonBypassable += m.NonBypassable
	b.Demand += m.Demand
	b.TopUp += m.TopUp
	b.Credit += m.Credit
	b.Surplus += m.Surplus
	b.ImportKWh += m.ImportKWh
	b.ExportKWh += m.ExportKWh
}
