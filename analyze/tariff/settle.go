package tariff

import "math"

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
	t := y.NewTotals()
	for s := range y.Slots {
		for _, h := range y.Order[y.SlotStart[s]:y.SlotStart[s+1]] {
			for i := int(h) * steps; i < (int(h)+1)*steps; i++ {
				t.ImportKWh[s] += importWh[i] / 1000
				t.ExportKWh[s] += exportWh[i] / 1000
				if t.PeakKW != nil {
					t.PeakKW[s] = max(t.PeakKW[s], importWh[i]/1000*float64(steps))
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
//     month's energy charges where credit_limit is energy.
//   - monthly, yearly with retail credit: credits pay the energy charges of that
//     time and no more; what is left is lost, or goes on in the bank. When the
//     period closes (with a bank: the anniversary year) the net surplus, kWh
//     sold beyond kWh bought, earns the surplus price.
//   - by bucket: as the last, but kWh against kWh within each period's bucket;
//     the bank is kWh, and what the bank holds at the end earns the surplus price.
//
// Tiers add to the month's kWh after netting. Fixed, demand and non-bypassable
// charges are never paid by credits unless credits have no limit.
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
	default:
		y.settleMoney(b)
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
		months[i] = MonthBill{Year: ym.Year, Month: ym.Month, Days: ym.Days,
			Fixed: d.FixedPerDay*float64(ym.Days) + d.FixedPerMonth}
	}
	for s := range y.Slots {
		slot := &y.Slots[s]
		m := &months[slot.Month]
		m.ImportKWh += t.ImportKWh[s]
		m.ExportKWh += t.ExportKWh[s]
		m.Energy += t.ImportKWh[s] * slot.ImportPrice
		m.Credit += t.ExportKWh[s] * slot.ExportPrice
		if t.NewExportKWh != nil {
			m.Credit += t.NewExportKWh[s] * (slot.NewPrice - slot.ExportPrice)
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
		month, peak := 0, 0.0
		for s := range y.Slots { // slots are in the order of the months
			if y.Slots[s].Month != month {
				months[month].Demand += peak * y.Tariff.demand[d].price
				month, peak = y.Slots[s].Month, 0
			}
			if y.Slots[s].Demand>>d&1 == 1 {
				peak = max(peak, t.PeakKW[s])
			}
		}
		months[month].Demand += peak * y.Tariff.demand[d].price
	}
}

// closing is how many months a settlement period holds.
func (y *Year) closing() int {
	if y.Tariff.Data.Settlement == "yearly" {
		return len(y.Months)
	}
	return 1
}

// settleMoney lets credits meet charges in money.
func (y *Year) settleMoney(b *Bill) {
	t, months, n := y.Tariff, b.Months, y.closing()
	for i := range months {
		m := &months[i]
		kWh := m.ImportKWh
		if t.spans() {
			kWh = max(0, m.ImportKWh-m.ExportKWh)
		}
		m.Energy += t.tiers(kWh, 1)
	}
	if !t.limited() {
		return
	}
	bank, banked := 0.0, t.Data.Bank == "money"
	for from := 0; from < len(months); from += n {
		period := months[from : from+n]
		last := &period[n-1]
		charge, credit := 0.0, bank
		for i := range period {
			charge += period[i].Energy
			credit += period[i].Credit
		}
		over := max(0, credit-charge)
		last.Credit += bank - over
		if bank = 0; banked {
			bank = over
		} else {
			b.Lost += over
		}
		if t.closes() && !banked {
			last.Surplus = t.Data.SurplusPrice * surplusKWh(period)
		}
	}
	b.Lost += bank
	if t.closes() && banked {
		months[len(months)-1].Surplus = t.Data.SurplusPrice * surplusKWh(months)
	}
}

// surplusKWh is what was sold beyond what was bought.
func surplusKWh(months []MonthBill) float64 {
	net := 0.0
	for i := range months {
		net += months[i].ExportKWh - months[i].ImportKWh
	}
	return max(0, net)
}

// maxBuckets bounds the buckets kept without allocation.
const maxBuckets = 16

// settleBuckets lets kWh meet kWh within each period's bucket. The price of a
// bucket's balance is the mean price of what it bought: with one price, that.
func (y *Year) settleBuckets(t Totals, b *Bill) {
	tar, months, n := y.Tariff, b.Months, y.closing()
	var stackBank [maxBuckets]float64
	bank := stackBank[:0]
	for range tar.buckets {
		bank = append(bank, 0)
	}
	s := 0
	for from := 0; from < len(months); from += n {
		end := from + n
		first := s
		for s < len(y.Slots) && y.Slots[s].Month < end {
			s++
		}
		energy, netKWh, surplus := 0.0, 0.0, 0.0
		for k := range bank {
			bought, sold, cost := y.bucket(t, first, s, k)
			net := bought - sold
			if tar.Data.Bank == "kwh" {
				draw := min(bank[k], max(0, net))
				bank[k] += max(0, -net) - draw
				net -= draw
			} else {
				surplus += max(0, -net)
			}
			if net > 0 {
				energy += cost * (net / bought)
				netKWh += net
			}
		}
		for i := from; i < end; i++ {
			months[i].Energy, months[i].Credit = 0, 0
		}
		months[end-1].Energy = energy + tar.tiers(netKWh, float64(n))
		months[end-1].Surplus = tar.Data.SurplusPrice * surplus
	}
	for k := range bank {
		b.BankKWh += bank[k]
	}
	months[len(months)-1].Surplus += tar.Data.SurplusPrice * b.BankKWh
}

// bucket sums the slots from up to to that lie in bucket k.
func (y *Year) bucket(t Totals, from, to, k int) (bought, sold, cost float64) {
	for s := from; s < to; s++ {
		if y.Slots[s].Bucket == k {
			bought += t.ImportKWh[s]
			sold += t.ExportKWh[s]
			cost += t.ImportKWh[s] * y.Slots[s].ImportPrice
		}
	}
	return bought, sold, cost
}

// tiers is what the blocks add for kWh used in a number of months.
func (t *Tariff) tiers(kWh, months float64) float64 {
	sum, below := 0.0, 0.0
	for _, tier := range t.Data.Tiers {
		limit := math.Inf(1)
		if tier.UpToKWhPerMonth > 0 {
			limit = tier.UpToKWhPerMonth * months
		}
		sum += tier.Add * max(0, min(kWh, limit)-below)
		below = limit
	}
	return sum
}

// topUp lifts each settlement period to the minimum bill. What the surplus
// earns comes off afterwards.
func (y *Year) topUp(b *Bill) {
	least := y.Tariff.Data.MinimumPerMonth
	if least == 0 {
		return
	}
	n := y.closing()
	for from := 0; from < len(b.Months); from += n {
		due := 0.0
		for i := from; i < from+n; i++ {
			m := &b.Months[i]
			due += m.Fixed + m.Energy + m.NonBypassable + m.Demand - m.Credit
		}
		b.Months[from+n-1].TopUp = max(0, least*float64(n)-due)
	}
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
