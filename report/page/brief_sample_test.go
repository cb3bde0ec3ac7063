package page

import (
	"math"
)

// sampleBrief is a candidate with as long a visit sheet as a real one.
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
		Visit: []List{
			{"cautions", "First: what can go wrong", []string{"Work in a panelboard can kill: the line side of the main breaker stays live. Only licensed people open it; prove dead before touching.", "This sheet is a desk screening, not a design: roof structure, panelboard, labels and the utility's rules are checked here, on site, under the local code.", "Nothing new is left running before the inspection and the permission to operate.", "The roof was covered in 1998: look at it before modules go on.", "Not known, find out: the sum of the load breakers."}},
			{"before_leaving", "Before leaving the office", []string{"Update the gateway's software from the office: HG-2 has 5.1.20 and must have at least 5.2.1180. Wait until it reports the new version.", "The new permission for 6 modules (5.28 kW AC in all) must be granted before anything is mounted.", "Print the site's array map as it is today and the list of inverter serial numbers."}},
			{"bring", "Bring along", []string{"6 modules TN-430, 430 W, 1.134 x 1.762 m.", "Of these 4 on plane P1, in portrait, beside the 12 that are there.", "Of these 2 on plane P2, in landscape.", "6 inverters KV2-380 and their mounting hardware.", "Cable and end caps for 1 new branch circuit, the fullest with 6 inverters; 1 breaker of 20 A listed for the panelboard.", "About 144 kg go on the roof, 12 kg/m2 where modules lie; labels for every new breaker and disconnect."}},
			{"panelboard", "At the panelboard", []string{"1 new breaker of 20 A in 2 free spaces (the register has 4).", "120 % of the 200 A busbar less the 200 A main breaker leaves 40 A, of which the old array takes 18.8 A at 125 %.", "New PV breakers go to the end of the busbar opposite to the main breaker, next to the old ones, and are labelled so that nobody moves them."}},
			{"devices", "Device count in the gateway", []string{"Enter at commissioning: 12 before + 6 added = 18 after.", "Enter the serial numbers from the array map, row by row, and match them against the count. Then close the gateway's device list: no open scan, which would take in a neighbor's devices.", "A device that is missing afterwards is looked for on the roof (plug, serial number on its label), not scanned for."}},
			{"record", "Record on the array map", []string{"The serial numbers of all 6 new inverters, each in its place on the array map.", "The serial numbers of the new modules by row and column, and which branch each inverter hangs on.", "The old inverters' serial numbers where the map does not have them yet."}},
			{"measure", "Measure and photograph", []string{"Width along the eave, slope length and tilt of plane P1, P2; distance of every vent, skylight and old module from the edges.", "Rafters, their spacing and condition from inside; the covering's condition from outside.", "Photograph the panelboard closed, open and its label; the main breaker; the meter; the grounding; the way up to the roof.", "Voltage at the panelboard with the old array running, and the torque of every new terminal.", "Photograph the finished rows, the cable runs and every label before leaving."}},
			{"sign", "Who must sign", []string{"A licensed electrician, for what profile split-phase-200 leaves open:", "- that the busbar's rating is on its label", "- that the PV breakers sit opposite to the main breaker", "- conductors, grounding and rapid shutdown", "The customer: layout, interruption of supply, and any change of tariff terms.", "The inspector, and the utility for the permission to operate."}},
			{"order", "Order of commissioning", []string{"Take the old array and the branch circuits dead and lock them; prove dead.", "Mount rails, inverters and modules; plug the branches; note the serial numbers while they can be seen.", "Fit breakers and labels. Test dead: continuity, polarity, insulation resistance, torque.", "Keep the new branches off and locked until the inspection has passed and the permission to operate is there.", "After inspection and permission to operate: switch on branch by branch, set the grid profile that today's rules ask for, and compare the gateway's count with the one above.", "Enter the new modules in the register on the same day."}},
		},
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
