package report

import (
	"math"
	"testing"
	"time"

	"rowen/analyze"
	"rowen/analyze/demand"
	"rowen/analyze/option"
	"rowen/analyze/rank"
	"rowen/ingest"
)

func sayDay(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

func told(lead string) *analyze.Finding {
	f := &analyze.Finding{Site: &ingest.Site{ID: "A"}, Month: analyze.Month{Year: 2026, Month: time.October}, Location: time.UTC}
	d := &f.Demand
	d.LevelKWhYr, d.LevelLow, d.LevelHigh = 9000, 8700, 9400
	d.GrowthPctYr, d.GrowthLow, d.GrowthHigh = 4.2, 2.1, 6.3
	d.Change12mPct, d.Change12mLow, d.Change12mHigh = 19.6, 15.2, 24.4
	d.Events = []demand.Event{{On: sayDay(2026, 3, 3), OnLow: sayDay(2026, 2, 25), OnHigh: sayDay(2026, 3, 9), Kind: demand.KindEV, KWhYr: 3120, KWhYrLow: 2640, KWhYrHigh: 3610, Live: true}}
	f.Year.CoveragePct = 61
	f.Verdict = rank.Verdict{Lane: rank.Call, Reasons: []rank.Reason{{Code: lead}}}
	f.Chosen = &option.Option{Modules: 8, AddedKWhYr: 4480, Cost: 7640, SimplePaybackYears: 7.4, BillBefore: 1283,
		Saving: option.Spread{Value: 1027, Low: 896, High: 1088}}
	return f
}

// What is said, letter for letter: from the first reason, with ranges that hold
// those that were found.
func TestSay(t *testing.T) {
	us := words{"en-US", "USD"}
	for lead, want := range map[string]string{
		analyze.NewLoad:     "Since March 2026 your home has used about 3,100 kWh (2,600 to 3,700) a year more than before, in a pattern that fits an electric car charging at home.",
		analyze.UsedMore:    "In the last twelve months you used about 20 % more electricity than in the twelve before (15 to 25 %, the weather taken out).",
		analyze.UseGrowing:  "Your consumption grows by about 4.2 % a year (2.1 to 6.3 %), anything new in the home apart.",
		analyze.LowCoverage: "Over a year your solar modules make about 61 % of the electricity you use (58 to 64 %); the rest is bought.",
		"pays_back":         "With the solar modules you have, your electricity bill comes to about $1,300 a year.",
	} {
		found, offer := us.say(told(lead))
		if found != want {
			t.Errorf("%s\n%s\n%s", lead, found, want)
		}
		if want := "Eight more solar modules would make about 4,500 kWh a year and lower your bill by about $1,050 ($850 to $1,100) a year; they cost about $7,600 and pay for themselves in about 7 years."; offer != want {
			t.Errorf("\n%s\n%s", offer, want)
		}
	}
	// A change that only bills show has a range of dates; a kind without a name is said without one.
	f := told(analyze.NewLoad)
	e := &f.Demand.Events[0]
	e.OnLow, e.OnHigh, e.Kind = sayDay(2025, 12, 4), sayDay(2026, 3, 20), demand.KindOther
	if found, _ := us.say(f); found != "Since some time between December 2025 and March 2026 your home has used about 3,100 kWh (2,600 to 3,700) a year more than before." {
		t.Error(found)
	}
}

func TestLocales(t *testing.T) {
	at := sayDay(2026, 3, 4)
	for _, tc := range []struct {
		w                  words
		date, clock, money string
	}{
		{words{"en-US", "USD"}, "March 4, 2026", "6 pm", "$12,340"}, {words{"en-GB", "GBP"}, "4 March 2026", "18:00", "£12,340"},
		{words{"en-AU", "AUD"}, "4 March 2026", "6 pm", "$12,340"}, {words{"en-IE", "EUR"}, "4 March 2026", "18:00", "€12,340"}, {words{"", "SEK"}, "March 4, 2026", "6 pm", "SEK 12,340"},
	} {
		if d, c, m := tc.w.date(at), tc.w.clock(18), tc.w.money(12340.4); d != tc.date || c != tc.clock || m != tc.money {
			t.Errorf("%v: %q %q %q", tc.w, d, c, m)
		}
	}
	if us := (words{"", "USD"}); us.clock(0) != "midnight" || us.clock(12) != "noon" || us.clock(31) != "7 am" || us.money(-1240) != "−$1,240" {
		t.Error(us.clock(0), us.clock(12), us.clock(31), us.money(-1240))
	}
}

func TestPlain(t *testing.T) {
	says := "Since about 2025-09-10: blocks of 7.1 kW, 89 % of it between 18 and 7 o'clock; part 2025-13-40."
	for locale, want := range map[string]string{
		"en-US": "Since about September 10, 2025: blocks of 7.1 kW, 89 % of it between 6 pm and 7 am; part 2025-13-40.",
		"en-GB": "Since about 10 September 2025: blocks of 7.1 kW, 89 % of it between 18:00 and 07:00; part 2025-13-40.",
	} {
		if got := (words{locale, "USD"}).plain(says); got != want {
			t.Errorf("%s: %s", locale, got)
		}
	}
}

// By hand: two digits, or a half of the second below three; the ends outwards.
func TestSpoken(t *testing.T) {
	for _, tc := range [][6]float64{{3120, 2640, 3610, 3100, 2600, 3700}, {1526, 1378, 1573, 1550, 1350, 1600}, {87, 80.2, 93.1, 87, 80, 94}, {6.4, 5.8, 7.1, 6, 5, 8}, {-240, -310, 20, -240, -310, 20}} {
		if v, low, high := spoken(tc[0], tc[1], tc[2]); v != tc[3] || low != tc[4] || high != tc[5] {
			t.Errorf("%v: %g %g %g", tc, v, low, high)
		}
	}
	if v, low, _ := spoken(1526, math.NaN(), math.NaN()); v != 1550 || !math.IsNaN(low) {
		t.Error(v, low)
	}
}

func TestReach(t *testing.T) {
	for contact, want := range map[string][2]string{
		"una.applethwart.181@example.com, 555-0180": {"555-0180", "una.applethwart.181@example.com"},
		"+1 (555) 010-0142 · wenna@example.org":     {"+1 (555) 010-0142", "wenna@example.org"},
		"01 5550 0142":                              {"01 5550 0142", ""},
		"a.b-12345678@example.org":                  {"", "a.b-12345678@example.org"},
		"through the neighbor, no 4":                {"", ""},
		"":                                          {"", ""},
	} {
		if phone, email := reach(contact); phone != want[0] || email != want[1] {
			t.Errorf("%q: %q %q", contact, phone, email)
		}
	}
}
