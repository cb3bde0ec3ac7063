package rank

import (
	"testing"
	"time"
)

func on(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// What an outcome does, by the contract; the report month ends on 1 November
// 2026.
func TestOutcomesAct(t *testing.T) {
	call := func(when time.Time, result string) PastCall { return PastCall{On: when, Result: result} }
	for _, tc := range []struct {
		name   string
		set    func(*Case)
		lane   Lane
		reason string
		until  time.Time
	}{
		{"sold last month", func(c *Case) { c.Calls = []PastCall{call(on(2026, 10, 5), Sold)} }, DoNotContact, "sold", on(2028, 4, 5)},
		{"sold after the month's end", func(c *Case) { c.Calls = []PastCall{call(on(2026, 11, 20), Sold)} }, DoNotContact, "sold", on(2028, 5, 20)},
		{"sold and built", func(c *Case) {
			c.Calls, c.BuiltOn = []PastCall{call(on(2026, 2, 1), Sold)}, on(2026, 4, 1)
		}, Call, "pays_back", on(2027, 8, 1)},
		{"sold and built 18 months ago", func(c *Case) {
			c.Calls, c.BuiltOn = []PastCall{call(on(2025, 5, 1), Sold)}, on(2025, 7, 1)
		}, Call, "pays_back", time.Time{}},
		{"sold and built lately: the sale was a contact", func(c *Case) {
			c.Calls, c.BuiltOn = []PastCall{call(on(2026, 7, 1), Sold)}, on(2026, 9, 1)
		}, DoNotContact, "cool_down", on(2027, 1, 1)},
		{"sold 19 months ago, never built", func(c *Case) { c.Calls = []PastCall{call(on(2025, 3, 31), Sold)} }, Call, "pays_back", time.Time{}},
		{"declined 11 months ago", func(c *Case) { c.Calls = []PastCall{call(on(2025, 12, 1), Declined)} }, DoNotContact, "declined", on(2026, 12, 1)},
		{"declined a year ago", func(c *Case) { c.Calls = []PastCall{call(on(2025, 11, 1), Declined)} }, Call, "pays_back", time.Time{}},
		{"no answer three weeks ago", func(c *Case) { c.Calls = []PastCall{call(on(2026, 10, 10), NoAnswer)} }, DoNotContact, "no_answer", on(2026, 11, 10)},
		{"no answer a month ago", func(c *Case) { c.Calls = []PastCall{call(on(2026, 10, 1), NoAnswer)} }, Call, "pays_back", time.Time{}},
		{"no answer, the contact is that call", func(c *Case) {
			c.Calls, c.LastContactOn = []PastCall{call(on(2026, 9, 1), NoAnswer)}, on(2026, 9, 1)
		}, Call, "pays_back", time.Time{}},
		{"no answer, another contact since", func(c *Case) {
			c.Calls, c.LastContactOn = []PastCall{call(on(2026, 9, 1), NoAnswer)}, on(2026, 9, 2)
		}, DoNotContact, "cool_down", on(2027, 3, 2)},
		{"three attempts within a year", func(c *Case) {
			c.Calls = []PastCall{call(on(2026, 2, 1), NoAnswer), call(on(2026, 5, 1), NoAnswer), call(on(2026, 8, 1), NoAnswer)}
		}, DoNotContact, "no_answer", on(2027, 2, 1)},
		{"three attempts, the first over a year ago", func(c *Case) {
			c.Calls = []PastCall{call(on(2025, 10, 1), NoAnswer), call(on(2026, 5, 1), NoAnswer), call(on(2026, 8, 1), NoAnswer)}
		}, Call, "pays_back", time.Time{}},
		{"not suitable", func(c *Case) { c.Calls = []PastCall{{on(2025, 1, 1), NotSuitable, "roof"}} }, Blocked, "not_suitable", on(2027, 1, 1)},
		{"not suitable, the register changed", func(c *Case) {
			c.Calls, c.RegisterChanged = []PastCall{call(on(2025, 1, 1), NotSuitable)}, true
		}, Call, "pays_back", time.Time{}},
		{"not suitable long ago", func(c *Case) { c.Calls = []PastCall{call(on(2024, 10, 31), NotSuitable)} }, Call, "pays_back", time.Time{}},
		{"the latest counts", func(c *Case) {
			c.Calls = []PastCall{call(on(2026, 1, 5), Declined), call(on(2026, 9, 5), NoAnswer)}
		}, Call, "pays_back", time.Time{}},
		{"sold and built, and sick", func(c *Case) {
			c.Calls, c.BuiltOn = []PastCall{call(on(2026, 2, 1), Sold)}, on(2026, 4, 1)
			c.WorstFault = &Fault{"inverters_down", 30, "a third is down"}
		}, Repair, "inverters_down", time.Time{}},
		{"opted out stays so", func(c *Case) { c.OptedOut, c.Calls = true, []PastCall{call(on(2026, 10, 5), Sold)} }, DoNotContact, "opted_out", time.Time{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := good()
			tc.set(&c)
			v := Judge(c, Defaults())
			if v.Lane != tc.lane || !hasReason(v, tc.reason) || !v.NotBefore.Equal(tc.until) {
				t.Errorf("lane %s, reasons %v, not before %s; want %s, %s, %s", v.Lane, v.Reasons, v.NotBefore, tc.lane, tc.reason, tc.until)
			}
		})
	}
}

// A caller's own words may name people: only the common ones are repeated.
func TestFreeWordsStayWhereTheyWere(t *testing.T) {
	c := good()
	c.Calls = []PastCall{{on(2026, 10, 1), Declined, "mrs kettlewhistle wants to think"}}
	if says := Judge(c, Defaults()).Reasons[0].Says; says != "declined on 2026-10-01" {
		t.Errorf("%q", says)
	}
	c.Calls[0].Reason = "price"
	if says := Judge(c, Defaults()).Reasons[0].Says; says != "declined on 2026-10-01 (price)" {
		t.Errorf("%q", says)
	}
}
