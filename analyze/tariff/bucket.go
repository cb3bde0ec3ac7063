package tariff

import (
	"slices"
	"time"
)

// fewOf is how many buckets or ladders are kept without allocation.
const fewOf = 16

func zeros(s []float64, n int) []float64 {
	for range n {
		s = append(s, 0)
	}
	return s
}

// settleBuckets lets kWh meet kWh within each period's bucket. The price of a
// bucket's balance is the mean price of what it bought: with one price, that.
func (y *Year) settleBuckets(t Totals, b *Bill) {
	tar, months, n := y.Tariff, b.Months, y.closing()
	var few, fewShares [fewOf]float64
	bank, shares := zeros(few[:0], len(tar.buckets)), zeros(fewShares[:0], len(tar.ladders))
	s := 0
	for from := 0; from < len(months); from += n {
		end := from + n
		first := s
		for s < len(y.Slots) && y.Slots[s].Month < end {
			s++
		}
		clear(shares)
		if from > 0 && tar.Data.BankFollows != "" {
			y.follow(bank, from, first, s)
		}
		energy, netKWh, surplus := 0.0, 0.0, 0.0
		for k := range bank {
			in := y.bucket(t, first, s, k)
			net := in.bought - in.sold
			switch {
			case tar.Data.Bank != "kwh":
				surplus += max(0, -net)
			case tar.noCarry[k]:
				b.LostKWh += max(0, -net)
			default:
				draw := min(bank[k], max(0, net))
				bank[k] += max(0, -net) - draw
				net -= draw
			}
			if net > 0 {
				energy += float64(in.cost * (net / in.bought))
				netKWh += net
				y.share(t, first, s, k, net/in.bought, shares)
			}
		}
		for i := from; i < end; i++ {
			months[i].Energy, months[i].Credit = 0, 0
		}
		months[end-1].Energy = energy + y.netTiers(shares, netKWh, from, end)
		months[end-1].Surplus = tar.Data.SurplusPrice * surplus
	}
	for k := range bank {
		b.BankKWh += bank[k]
	}
	left := b.BankKWh
	if tar.Data.SurplusOn == "total" {
		left = oneBank(months)
	}
	months[len(months)-1].Surplus += float64(tar.Data.SurplusPrice * left)
}

// follow moves what is banked in buckets that have no hours in a month to the
// buckets that hold at the same time of day.
func (y *Year) follow(bank []float64, month, first, end int) {
	for _, minute := range []int{0, 12 * 60, 18 * 60} {
		a, b := y.Tariff.bucketAt(y.Months[month-1].Month, minute), y.Tariff.bucketAt(y.Months[month].Month, minute)
		if a == b || bank[a] == 0 || slices.ContainsFunc(y.Slots[first:end], func(s Slot) bool { return s.Bucket == a }) {
			continue
		}
		bank[b] += bank[a]
		bank[a] = 0
	}
}

// bucketAt is the bucket of a minute of a month's weekdays.
func (t *Tariff) bucketAt(month time.Month, minute int) int {
	return t.bucketOf[first(t.imports, civil{month, 1 << time.Monday, minute})]
}

// oneBank is what one bank for all buckets would hold when the year closes.
func oneBank(months []MonthBill) float64 {
	bank := 0.0
	for i := range months {
		bank = max(0, bank+months[i].ExportKWh-months[i].ImportKWh)
	}
	return bank
}

// netPeriods nets each month's kWh within each bucket; what is left to buy costs
// the mean price of what was bought, what is left to sell earns that of what was
// sold.
func (y *Year) netPeriods(t Totals, b *Bill) {
	var few [fewOf]float64
	shares := zeros(few[:0], len(y.Tariff.ladders))
	s := 0
	for i := range b.Months {
		first := s
		for s < len(y.Slots) && y.Slots[s].Month == i {
			s++
		}
		clear(shares)
		m := &b.Months[i]
		m.Energy, m.Credit = 0, 0
		netKWh := 0.0
		for k := range y.Tariff.buckets {
			in := y.bucket(t, first, s, k)
			switch net := in.bought - in.sold; {
			case net > 0:
				m.Energy += float64(in.cost * (net / in.bought))
				netKWh += net
				y.share(t, first, s, k, net/in.bought, shares)
			case net < 0:
				m.Credit += float64(in.earned * (-net / in.sold))
			}
		}
		m.Energy += y.netTiers(shares, netKWh, i, i+1)
	}
}

// inBucket is what a bucket's slots hold together.
type inBucket struct{ bought, sold, cost, earned float64 }

// bucket sums the slots from up to to that lie in bucket k.
func (y *Year) bucket(t Totals, from, to, k int) (in inBucket) {
	for s := from; s < to; s++ {
		if y.Slots[s].Bucket == k {
			in.bought += t.ImportKWh[s]
			in.sold += t.ExportKWh[s]
			in.cost += float64(t.ImportKWh[s] * y.Slots[s].ImportPrice)
			in.earned += float64(t.ExportKWh[s] * y.Slots[s].ExportPrice)
		}
	}
	return in
}

// share adds a part of what bucket k bought to the ladders that it lies on.
func (y *Year) share(t Totals, from, to, k int, part float64, shares []float64) {
	if len(shares) == 1 {
		return // one ladder has it all
	}
	for s := from; s < to; s++ {
		if y.Slots[s].Bucket == k {
			shares[y.Slots[s].Ladder] += float64(part * t.ImportKWh[s])
		}
	}
}

// netTiers is what the blocks add for the kWh left to buy.
func (y *Year) netTiers(shares []float64, kWh float64, from, to int) float64 {
	if len(shares) == 1 {
		return y.tiers(0, kWh, from, to)
	}
	return y.shared(shares, kWh, kWh, from, to)
}
