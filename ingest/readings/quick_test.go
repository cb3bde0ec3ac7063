package readings

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Rows in the order of their sites, broken now and then by anything else, come
// out as encoding/csv and the careful reader give them, whatever the delimiter,
// the decimal sign, the unit and the clock.
func TestQuickIsItsTwin(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	quickRows := 0
	for round := range 300 {
		delimiter, decimal := ",", "."
		if round%3 == 0 {
			delimiter, decimal = ";", ","
		}
		zone := pick("", "UTC", "site")
		blank := []int{0, 2, 20}[r.IntN(3)]
		value := func() string {
			if blank > 0 && r.IntN(blank) == 0 {
				return ""
			}
			if r.IntN(40) == 0 {
				return pick("", "-1", "+2", "1"+decimal, decimal+"5", "0007", "1e3", "12345678", "1234567", "123456", "99999"+decimal+"9", "1"+decimal+"2345678", "NaN", "x", " 7 ", `"8"`, "1"+decimal+"2"+decimal+"3")
			}
			whole := fmt.Sprint(r.IntN(pow(10, 1+r.IntN(5))))
			if r.IntN(3) == 0 {
				return whole
			}
			return whole + decimal + fmt.Sprint(r.IntN(pow(10, 1+r.IntN(3))))
		}
		site, offset := "", ""
		minute, step := r.IntN(1440), []int{1, 5, 15, 15, 60, 1440}[r.IntN(6)]
		var b strings.Builder
		b.WriteString(strings.Join([]string{"site_id", "start", "p", "c"}, delimiter) + "\n")
		for i := range 400 {
			if i == 0 || r.IntN(60) == 0 {
				site = pick("A", "B", "site-1", "a.much.longer.id", "AB", strings.Repeat("x", 36), strings.Repeat("x", 36)+"y", strings.Repeat("x", 64))
				offset = pick("Z", "Z", "+01:00", "-06:30", "", "z", "+25:00", "+0100")
			}
			if minute += step; r.IntN(50) == 0 {
				minute = max(0, minute+r.IntN(200)-100)
			}
			stamp := fmt.Sprintf("2026-03-%02d%s%02d:%02d:00%s", 1+minute/1440%30, pick("T", "T", "T", "T", "T", "T", "T", "T", " "), minute/60%24, minute%60, offset)
			if r.IntN(50) == 0 {
				stamp = pick("2026-03-01T24:00:00Z", "2026-03-01T23:60:00Z", "2026-03-01T00:00:61Z", "2026-03-01T1:00:00Z", "2026-03-01T00:00:00.5Z", "1969-12-31T23:00:00Z", "2026-03-01", "2026-02-30T00:00:00Z")
			}
			b.WriteString(strings.Join([]string{site, stamp, value(), value()}, delimiter) + pick("\n", "\n", "\n", "\r\n"))
			if r.IntN(80) == 0 {
				b.WriteString(pick("\n", "A\n", site+delimiter+"\n", "\r\n"))
			}
		}
		unit := pick("Wh", "kWh", "MWh")
		m := Mapping{Decimal: decimal, Time: Time{Zone: zone}, Channels: []Channel{
			{Channel: 0, Column: "p", Unit: unit, Sign: 1}, {Channel: 1, Column: "c", Unit: "Wh", Sign: 1},
		}}
		f := prepared(t, m, "a.csv", strings.TrimSuffix(b.String(), pick("", "\n")))
		if usable := f.newScanner(NewNames(), Limits{}, nil).quick.usable; usable != (unit != "MWh") {
			t.Fatalf("in %s the quick way is taken: %v", unit, usable)
		}
		want, got := gather(t, f, true), gather(t, f, false)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
		quickRows += len(got.Rows)
	}
	if quickRows < 50_000 {
		t.Errorf("only %d rows were kept: the test tests little", quickRows)
	}
}

func pow(base, n int) int {
	v := 1
	for range n {
		v *= base
	}
	return v
}
