package page

import (
	"math"
)

// sampleBrief is a candidate with as much on it as a real one.
func sampleBrief() *Brief {
	b := &Brief{
		Fleet: "Ottermoor Rooftop Works", Month: "October 2026", Currency: "USD", Rank: 3, SiteID: "OT-0035", Branch: "Ridgeway", Lane: "prepare",
		Customer: "Wenna Tolliver", Contact: "+1 555 0142 · wenna@example.org",
		Reasons:  []string{"A lasting load of about 4,600 kWh a year began in November 2025, consistent with a heat pump.", "Production covers 58 % of the use, 21 points less than two years ago.", "The array is in good order (production index 0.98)."},
		NextStep: "Ask the utility for a new permission, then call and offer 6 modules.", Jobs: []string{"a new permission (USD 450, about 6 weeks)", "a software update of the gateway"},
		Modules: 6, AddedKWDC: 2.58, AddedKWhYr: 3920, SelfUsePct: 63, CoverageNowPct: 58, CoverageAfterPct: 84, Cost: 6530, BillBefore: 1832, BillAfter: 1043,
		Saving: Interval{789, 655, 921}, NetBenefit: Interval{7420, 4180, 10640}, Payback: 8.3, HorizonYears: 25, Confidence: 0.84,
		Places: []string{"4 on plane P1 (south, 20°)", "2 on plane P2 (west, 20°)"},
		Ceilings: []Ceiling{
			{"Roof", "14", "10 fit on plane P1 in portrait beside the 12 that are there, 4 on plane P2.", false},
			{"Service", "9", "120 % of the 200 A busbar less the 200 A main breaker leaves 40 A, of which the old array takes 18.8 A at 125 %.", false},
			{"Branch circuits", "10", "One new branch of 20 A takes 10 inverters; 4 spaces are free and it needs 2.", false},
			{"Gateway", "108", "HG-2 takes 120 devices and 12 report.", false},
			{"Permission", "0", "The permission of 3.0 kW is used up; a new one is asked for at the size that is built.", true},
		},
		Events:  []string{"November 2025 (20 October to 14 November): about 4,600 kWh a year more, pattern consistent with a heat pump."},
		Doubts:  []string{"The tilt of array a is estimated from clear days (21°, give or take 4°).", "2.3 % of the hours are missing.", "The load breakers are not in the register: the sum rule was not asked."},
		Version: "rowen 0.1.0",
		Sheet:   sampleSheet(),
	}
	for i := range 30 {
		m := Month{Year: 2024 + (i+4)/12, Month: (i+4)%12 + 1}
		season := 1 - math.Cos(2*math.Pi*(float64(m.Month)-0.5)/12)
		m.ExpectedKWh = 180 + 210*season
		m.ProductionKWh = m.ExpectedKWh * (0.96 + 0.05*math.Sin(float64(i)))
		m.ConsumptionKWh = 640 - 90*season
		if i >= 18 {
			m.ConsumptionKWh += 180 * (2 - season)
		}
		if i == 14 {
			m.ProductionKWh, m.ConsumptionKWh = math.NaN(), math.NaN()
		}
		b.Months = append(b.Months, m)
	}
	return b
}

// sampleSheet is a work sheet with a step of every kind.
func sampleSheet() *Sheet {
	s := &Sheet{Kind: "work", Title: "Work sheet: add 6 modules", Lead: "Everything that decides the size is in the register.", Month: "October 2026",
		SiteID: "OT-0035", Branch: "Ridgeway", Customer: "Wenna Tolliver", Contact: "+1 555 0142 · wenna@example.org", Version: "rowen 0.1.0",
		Materials: []SheetMaterial{{4, "modules TN-430, 430 W", "plane P1 (facing south, tilt 20°)"}, {0, "branch cable, rails", ""}},
		Sums:      []string{"Branch: 6 × 1.71 A × 1.25 = 12.8 A of 20 A."},
		Rows:      []SheetRows{{"arrays.csv", "site_id,array_id,modules", []string{"OT-0035,A2,6"}}}}
	number := 0
	for _, who := range []string{"anyone", "trained crew", "licensed electrician", "utility"} {
		part := SheetPart{Head: "What " + who + " does"}
		for range 9 {
			number++
			part.Steps = append(part.Steps, SheetStep{number, who, "Switch off the PV breakers and every other supply; lock and tag (29 CFR 1910.147 and 1910.333(b)).", "A"})
		}
		s.Parts = append(s.Parts, part)
	}
	return s
}
