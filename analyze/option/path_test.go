package option

import (
	"math"
	"testing"
	"time"

	"rowen/analyze/tariff"
	"rowen/ingest"
)

var newYear = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

func nearly(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-6 {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// TestExportLimitByHand: three modules on the day of TestOptionByHand, with 1.5
// kW of export allowed.
//
//	at 12 output 4, use 2: 2 left, 1.5 sold, 0.5 lost
//	at 13 output 4, use 1: 3 left, 1.5 sold, 1.5 lost
//	added 6 - 2 = 4; bought 5 x 0.50 = 2.50, sold 3 x 0.10 = 0.30: after 2.20
func TestExportLimitByHand(t *testing.T) {
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.ExportLimitKW = 1.5
	o := Evaluate(in).Options[2]
	nearly(t, "after", o.BillAfter, 2.20)
	nearly(t, "clipped", o.ClippedKWhYr, 2)
	nearly(t, "added", o.AddedKWhYr, 4)
	nearly(t, "own use", o.AddedSelfUsePct, 25)
	nearly(t, "coverage", o.CoverageAfterPct, 75)
}

// TestAnnouncedTariff: the tariff changes after 730 days of ten years.
//
//	until then 0.50 and 0.10: saves 1.00 a year for 730 / 365.25 = 1.998631 years
//	then 0.20 and 0.02: 6 x 0.20 - (5 x 0.20 - 5 x 0.02) = 0.30 for 8.001369 years
//	net benefit 1.998631 + 2.400411 - 4 = 0.399042; the first year saves 1.00
func TestAnnouncedTariff(t *testing.T) {
	later := priced("a", 0.20, 0.02)
	later.ValidFrom = "2028-01-01"
	set, err := tariff.CompileAll([]ingest.Tariff{priced("a", 0.50, 0.10), later})
	if err != nil {
		t.Fatal(err)
	}
	in := dayInput(t, priced("a", 0.50, 0.10), nil)
	in.Tariff, in.AsOf = set["a"], newYear
	r := Evaluate(in)
	o := r.Options[2]
	nearly(t, "first year", o.Saving.Value, 1)
	nearly(t, "net benefit", o.NetBenefit.Value, 0.399042)
	if len(r.Caveats) == 0 || r.Caveats[0].Code != "tariff_changes" {
		t.Errorf("caveats %v", r.Caveats)
	}
	// The discounted payback walks the same years: 4 is reached in year 9, where
	// 1 + 0.999042 + 6 x 0.30 = 3.799042 are paid after 8: (4 - 3.799042) / 0.30.
	nearly(t, "payback over the years", o.DiscountedPayback, 8+(4-3.7990417)/0.30)
	// From that day on the later entry is the tariff.
	in.AsOf = time.Date(2028, 1, 1, 0, 0, 0, 0, time.UTC)
	nearly(t, "after the change", Evaluate(in).Options[2].Saving.Value, 0.30)
	// Prices announced for a later year do not rise before it: 10 % a year, two
	// whole years on, are 0.30 in the third year and not 0.30 x 1.21.
	in.AsOf, in.Money.PriceEscalationPctYr, in.Money.HorizonYears = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 10, 3
	year3 := 1 - 0.998631 // of year 2 that is billed on the new entry already
	nearly(t, "with rising prices", Evaluate(in).Options[2].NetBenefit.Value+4, 1+1.1*(0.998631+year3*0.30/1.1)+1.21*0.30/1.1)
}

// TestLegacyEnds: the terms of TestLegalCases end after four of ten years.
//
//	within (1):    4 x 1.00 + 6 x (6 x 0.40 - 5 x 0.40 + 0.05) = 4 + 6 x 0.45 = 6.70; less 2: 4.70
//	successor (4): 4 x 1.35 + 6 x (2.40 - 1.65) = 5.40 + 4.50 = 9.90; less 5: 4.90
func TestLegacyEnds(t *testing.T) {
	legacy, next := priced("old", 0.50, 0.50), priced("new", 0.40, 0.05)
	legacy.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "new", EndsWithOwner: true, OwnerStaysYears: 4}
	in := dayInput(t, legacy, &next)
	in.AsOf = newYear
	r := Evaluate(in)
	nearly(t, "within", r.Options[0].NetBenefit.Value, 4.70)
	nearly(t, "successor", r.Options[3].NetBenefit.Value, 4.90)
	// By date: 1461 days are 4 years of 365.25.
	in.Tariff.Data.Legacy.EndsOn, in.Tariff.Data.Legacy.OwnerStaysYears = "2029-12-31", 0
	nearly(t, "until a day", Evaluate(in).Options[0].NetBenefit.Value, 4.70)
	// Terms that have ended are none: the whole site is on the successor.
	in.Tariff.Data.Legacy.EndsOn = "2025-12-31"
	r = Evaluate(in)
	if o := r.Options[0]; o.Case != "" {
		t.Errorf("a case %q is left", o.Case)
	}
	nearly(t, "after the end", r.Options[0].BillBefore, 2.40)
}

// TestSeveralSuccessors: the customer takes the better one.
//
//	alt 0.30 and 0.05 (4): 5 x 0.30 - 7 x 0.05 = 1.15, saves 1.85; 18.50 - 5 = 13.50
func TestSeveralSuccessors(t *testing.T) {
	legacy, next := priced("old", 0.50, 0.50), priced("new", 0.40, 0.05)
	legacy.Legacy = &ingest.TariffLegacy{LostWhenAddedPct: 10, Successor: "new", OtherSuccessors: []string{"alt"}}
	in := dayInput(t, legacy, &next)
	in.OtherSuccessors = []*tariff.Tariff{mustCompile(t, priced("alt", 0.30, 0.05))}
	o := Evaluate(in).Options[3]
	if o.Case != OnSuccessor || o.Successor != "alt" {
		t.Errorf("%s on %q", o.Case, o.Successor)
	}
	nearly(t, "net benefit", o.NetBenefit.Value, 13.50)
}

// TestNoPaybackOfRounding: a saving of rounding size pays nothing back.
func TestNoPaybackOfRounding(t *testing.T) {
	if got := ratio(4000, 1e-13); !math.IsNaN(got) {
		t.Errorf("payback of %v years", got)
	}
	nearly(t, "payback", ratio(4000, 400), 10)
}

// TestExportTax: 20 % on what feeding in earns, by the tariff itself: 0.10 a kWh
// sold are 0.08 in the net benefit, and the tariff's 0 comes before the settings'.
func TestExportTax(t *testing.T) {
	tax, none := 20.0, 0.0
	data := priced("a", 0.50, 0.10)
	data.Export.IncomeTaxPct = &tax
	in := dayInput(t, data, nil)
	nearly(t, "taxed", Evaluate(in).Options[2].NetBenefit.Value, 10*(0.50+5*0.08)-4)
	data.Export.IncomeTaxPct = &none
	in = dayInput(t, data, nil)
	in.Money.ExportIncomeTaxPct = 50
	nearly(t, "free of tax", Evaluate(in).Options[2].NetBenefit.Value, 6)
}
