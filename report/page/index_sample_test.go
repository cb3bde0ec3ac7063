package page

import (
	"fmt"
	"math"
)

// sample is a page of an invented fleet, as long and as uneven as real ones.
func sample() *Page {
	p := &Page{
		Fleet: "Ottermoor Rooftop Works", Month: "October 2026", Currency: "USD", Sites: 240, WithReadings: 236, Previous: "September 2026",
		Lanes:    []Lane{{"call", 31}, {"prepare", 19}, {"repair", 14}, {"watch", 62}, {"no_gain", 74}, {"blocked", 17}, {"no_data", 16}, {"do_not_contact", 7}},
		RowsMore: 26, Version: "rowen 0.1.0",
		DigestsAll: 2, Digests: []Digest{{"arrays.csv", "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}, {"readings/2026-10.csv.zst", "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752"}},
		Warnings: []string{`sites.csv: column "Latitude" is kept out: it is not one of the table's: did you mean "latitude"?`, "0.31 % of the readings were set aside; rejects.csv says why"},
		Repairs: []Repair{
			{"OT-0117", "Ridgeway", "Output has been about a third lower since 2026-04-11: pattern consistent with 1 of 3 inverters down.", 2410, "Send a service visit: check the inverters of array a.", "briefs/OT-0077.html"},
			{"OT-0162", "Lowmarsh", "No production since 2026-09-02 while the arrays around ran.", 9120, "Send a service visit.", "briefs/OT-0077.html"},
			{"OT-0203", "", "Slow decline of 4.1 % a year, more than ageing explains.", math.NaN(), "Inspect for soiling and failed strings.", "briefs/OT-0077.html"},
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
			Found: reasons[k][0], Offer: fmt.Sprintf("%d more solar modules would save about $900 a year.", 8-i%5), Postcode: fmt.Sprintf("001%02d", i), New: i%5 == 0, Stability: 0.98, Trip: 1 + i/3, TripStops: 3,
			Modules: 8 - i%5, AddedKWhYr: 4980 - 90*float64(i), Cost: 7640 - 100*float64(i),
			Saving: Interval{912 - 20*float64(i), 780 - 20*float64(i), 1051 - 20*float64(i)}, NetBenefit: Interval{mid, mid - 2600, mid + 3100},
			Payback: 8.4 + 0.2*float64(i), Confidence: 0.91 - 0.02*float64(i), NextStep: steps[k], OnList: i < 22, Brief: fmt.Sprintf("briefs/OT-%04d.html", 17+i*9),
		}
		if k == 2 {
			r.ComesFirst, r.AskFirst, r.UpTo = "new permission + software update (together $450)", "the roof's plan area", 12
		}
		if i == 7 {
			r.Modules, r.NetBenefit.Low, r.NetBenefit.High = 1, math.NaN(), math.NaN()
		}
		p.Rows = append(p.Rows, r)
	}
	for i := range 60 {
		p.Places = append(p.Places, Place{-105.2 + 0.01*float64(i%9), 39.9 + 0.01*float64(i/9), p.Lanes[i%8].Code})
	}
	p.Benefit = Bins([]float64{1200, 3400, 5100, 5200, 9400, 12100})
	p.Limits = []Limit{{"Roof", 40, 210, 0, ""}, {"Permission to operate", 12, 96, 41200, "mostly by: new permission"}}
	p.Branches = []Branch{{"Ridgeway", 90, 12, 8, 14}, {"", 30, 1, 0, 1}}
	p.Left = []Left{{"OT-0301", "Ridgeway", "do_not_contact", "Sold on 2026-10-12."}}
	p.Resting = []Resting{{"sold", 3, "April 5, 2028"}, {"no answer", 2, "November 20, 2026"}}
	rates := []Rate{{Name: "tenth 1", Sold: 9, Calls: 30, Share: 0.3, Low: 0.18, High: 0.45, Chance: 0.28}, {Name: "tenth 2", Sold: 3, Calls: 30, Share: 0.1, Low: 0.04, High: 0.22, Chance: 0.12}}
	p.Calls = Calls{Made: 74, Answered: 60, Sold: 12, NoAnswer: 14, NotSuitable: 3, Unlisted: 8, Needed: 50, Enough: true, All: Rate{Share: 0.2, Low: 0.13, High: 0.3}, ByTenth: rates, ByReason: rates, Lift: 1.5, NDCG: 0.8, Calibration: "logistic"}
	p.Expanded = []Expanded{{"OT-0411", "Lowmarsh", "September 25, 2025", 6, 12, 2696, Interval{2581, 2453, 2708}, 512, Interval{506, 481, 531}, ""},
		{"OT-0412", "Lowmarsh", "October 2, 2026", 4, 0.9, 1889, Interval{}, 321, Interval{}, "0 months of readings; something is said after 3."}}
	return p
}
