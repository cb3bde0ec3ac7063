// Command page writes the fleet's page with as many invented rows as are asked
// for, so that a browser can be timed on it (scripts/page/browse.py).
//
//	go run ./scripts/page [-rows 10000] > index.html
package main

import (
	"flag"
	"fmt"
	"math"
	"os"

	"rowen/report/page"
)

func main() {
	rows := flag.Int("rows", 10_000, "ranked sites")
	flag.Parse()
	if err := invented(*rows).Write(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "page:", err)
		os.Exit(1)
	}
}

func invented(n int) *page.Page {
	p := &page.Page{Fleet: "Ottermoor Rooftop Works", Month: "October 2026", Previous: "September 2026", Currency: "USD", Sites: 3 * n, WithReadings: 3 * n, Version: "rowen"}
	p.Lanes = []page.Lane{{Code: "call", Sites: n - n/4}, {Code: "prepare", Sites: n / 4}, {Code: "no_gain", Sites: 2 * n}}
	branches := []string{"Fernhollow", "Copperbank", "Saltmarrow", "Tanglewick"}
	var worth []float64
	for i := range n {
		lane := "call"
		if i%4 == 3 {
			lane = "prepare"
		}
		benefit := 20000 / (1 + float64(i)/2000)
		worth = append(worth, benefit)
		p.Rows = append(p.Rows, page.Row{Rank: i + 1, SiteID: fmt.Sprintf("OM-%05d", (i*7919)%n), Postcode: fmt.Sprintf("%05d", i%977), Branch: branches[i%4], Lane: lane,
			Found:   "Since March 2026 your home has used about 2,700 kWh (2,150 to 3,250) a year more than before, in a pattern that fits an electric car charging at home.",
			Offer:   "Eleven more solar modules would make about 6,700 kWh a year and lower your bill by about $1,500 ($1,350 to $1,600) a year; they cost about $10,000 and pay for themselves in about 7 years.",
			Reasons: []string{"Pattern consistent with an electric car charging at home.", "Production covers 64 % of a year's consumption (62 to 65).", "11 modules earn their cost back in 6.5 years."},
			Modules: 4 + i%9, UpTo: 12, AddedKWhYr: 6700, Cost: 9980, Saving: page.Interval{Value: 1500, Low: 1350, High: 1600}, NetBenefit: page.Interval{Value: benefit, Low: 0.6 * benefit, High: 1.4 * benefit},
			Payback: 6 + float64(i%90)/10, Confidence: 0.75, Stability: math.Max(0, 1-float64(i)/float64(n)), Trip: 1 + i/3, TripStops: 3, NextStep: "Call and offer 11 more modules.", OnList: i < 160, New: i%11 == 0,
			Brief: fmt.Sprintf("briefs/OM-%05d.html", (i*7919)%n)})
		p.Places = append(p.Places, page.Place{East: -105 + float64(i%60)/100, North: 40 + float64(i/60%50)/100, Lane: lane})
	}
	p.Benefit = page.Bins(worth)
	return p
}
