package page

import (
	"fmt"
	"math"
)

// sample is a page of an invented fleet, as long and as uneven as real ones.
func sample() *Page {
	p := &Page{
		Fleet: "Ottermoor Rooftop Works", Month: "October 2026", Currency: "USD", Sites: 240, WithReadings: 236, OnList: 22,
		Lanes:    []Lane{{"call", 31}, {"prepare", 19}, {"repair", 14}, {"watch", 62}, {"no_gain", 74}, {"blocked", 17}, {"no_data", 16}, {"do_not_contact", 7}},
		RowsMore: 26, Version: "rowen 0.1.0",
		Digests:  []Digest{{"arrays.csv", "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}, {"readings/2026-10.csv.zst", "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752"}},
		Warnings: []string{`sites.csv: column "Latitude" is kept out: it is not one of the table's: did you mean "latitude"?`, "0.31 % of the readings were set aside; rejects.csv says why"},
		Repairs: []Repair{
			{"OT-0117", "Ridgeway", "Output has been about a third lower since 2026-04-11: pattern consistent with 1 of 3 inverters down.", 2410, "Send a service visit: check the inverters of array a."},
			{"OT-0162", "Lowmarsh", "No production since 2026-09-02 while the arrays around ran.", 9120, "Send a service visit."},
			{"OT-0203", "", "Slow decline of 4.1 % a year, more than ageing explains.", math.NaN(), "Inspect for soiling and failed strings."},
		},
	}
	reasons := [][]string{
		{"A lasting load of about 3,100 kWh a year began in March 2026, consistent with charging a car.", "Production covers 61 % of the use, 24 points less than two years ago."},
		{"Use grows by 6.2 % a year (2.9 to 9.4), events apart.", "Room for 12 modules as the site stands."},
		{"A lasting load of about 4,600 kWh a year began in November 2025, consistent with a heat pump.", "The south plane is free of shade.", "The array is in good order (production index 0.98)."},
		{"Production covers half of the use.", "Bills are on time-of-use prices with a peak at 0.42."},
	}
	lanes := []string{"call", "call", "prepare", "call"}
	steps := []string{"Call the customer and offer 8 modules.", "Call the customer and offer 5 modules.", "Ask the utility for a new permission, then call.", "Call, and ask whether the garage roof is free."}
	branches := []string{"Ridgeway", "Lowmarsh", "Ridgeway", "Harbour Street"}
	for i := range 24 {
		k := i % 4
		mid := 9400 - 340*float64(i)
		r := Row{
			Rank: i + 1, SiteID: fmt.Sprintf("OT-%04d", 17+i*9), Branch: branches[k], Lane: lanes[k], Reasons: reasons[k],
			Modules: 8 - i%5, AddedKWhYr: 4980 - 90*float64(i), Cost: 7640 - 100*float64(i),
			Saving: Interval{912 - 20*float64(i), 780 - 20*float64(i), 1051 - 20*float64(i)}, NetBenefit: Interval{mid, mid - 2600, mid + 3100},
			Payback: 8.4 + 0.2*float64(i), Confidence: 0.91 - 0.02*float64(i), NextStep: steps[k], OnList: i < 22, Brief: fmt.Sprintf("briefs/OT-%04d.html", 17+i*9),
		}
		if k == 2 {
			r.Jobs = []string{"a new permission (USD 450, about 6 weeks)", "a software update of the gateway"}
		}
		if i == 7 {
			r.Modules, r.NetBenefit.Low, r.NetBenefit.High = 1, math.NaN(), math.NaN()
		}
		p.Rows = append(p.Rows, r)
	}
	return p
}
