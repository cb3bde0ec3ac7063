package tariff

import (
	"slices"

	"rowen/ingest"
)

func (t *Tariff) retail() bool { return t.Data.Export.Credit == "retail" }

// Retail tells whether a kWh sold earns the import price of its hour.
func (t *Tariff) Retail() bool { return t.retail() }

// Gross tells whether all output is sold and all use is bought.
func (t *Tariff) Gross() bool { return t.Data.Export.Metering == "gross" }

// HasDemand tells whether power is charged: bills then need PeakKW.
func (t *Tariff) HasDemand() bool { return len(t.demand) > 0 }

// NewTerms is how the export of modules added from now on is told from the old
// ones': "", capacity or output.
func (t *Tariff) NewTerms() string {
	switch n := t.Data.Export.NewModules; {
	case n == nil:
		return ""
	case n.Split == "output":
		return "output"
	default:
		return "capacity"
	}
}

// spans tells whether retail credits net over a month or a year.
func (t *Tariff) spans() bool {
	return t.retail() && (t.Data.Settlement == "monthly" || t.Data.Settlement == "yearly")
}

// Nets tells whether a kWh sold pays for a kWh bought at another hour, so that
// the metering interval hardly matters.
func (t *Tariff) Nets() bool { return t.spans() || t.netsPeriods() }

// KeepsShape tells whether twice the energies are twice the bill, fixed charges
// apart: no blocks in kWh, nothing held against an amount of money.
func (t *Tariff) KeepsShape() bool {
	d := &t.Data
	return !t.tiered() && d.MinimumPerMonth == 0 && d.MinimumPerYear == 0 && d.CreditLimit != "bill"
}

// tiered tells whether some kWh cost more than others of the same hour.
func (t *Tariff) tiered() bool {
	return slices.ContainsFunc(t.ladders, func(l []ingest.TariffTier) bool { return len(l) > 0 })
}

// creditLimit is what credits may pay: none, energy, bill or import.
func (t *Tariff) creditLimit() string {
	switch limit := t.Data.CreditLimit; {
	case limit != "":
		return limit
	case t.spans(), t.Data.Bank == "money":
		return "energy"
	}
	return "none"
}

// limited tells whether credits stop somewhere.
func (t *Tariff) limited() bool { return t.creditLimit() != "none" }

// netsPeriods tells whether kWh net within each bucket before the balance sold
// earns the export price.
func (t *Tariff) netsPeriods() bool { return !t.retail() && t.Data.Netting == "period" }

// closes tells whether a net surplus is left and paid when a period closes.
func (t *Tariff) closes() bool {
	return t.limited() && (t.Data.Settlement == "monthly" || t.Data.Settlement == "yearly")
}

// byBucket tells whether kWh net against kWh within each bucket.
func (t *Tariff) byBucket() bool {
	return t.spans() && (t.Data.Netting == "bucket" || t.Data.Bank == "kwh")
}
