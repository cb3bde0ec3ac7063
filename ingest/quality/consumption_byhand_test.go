package quality

import (
	"math"
	"testing"
	"time"

	"rowen/ingest"
)

// dayNight is n hours of one value by day (6 to 18 o'clock) and one by night.
func dayNight(n int, day, night float64) []float64 {
	v := make([]float64, n)
	for h := range v {
		if v[h] = night; h%24 >= 6 && h%24 < 18 {
			v[h] = day
		}
	}
	return v
}

var inUTC = Site{Location: time.UTC}

// By night at most a hundredth of the day's: a production meter.
func TestConsumptionIsProductionByHand(t *testing.T) {
	const january, n = 31 * 24, (31 + 28) * 24
	for _, c := range []struct {
		what        string
		v           []float64
		consequence ingest.Consequence
		hours       int
		words       string
	}{
		{"a hundredth", dayNight(n, 500, 5), refused, n, "in 2 of 2 months"},
		{"more", dayNight(n, 500, 5.1), refused, 0, ""},
		{"below nothing by night", dayNight(n, 500, -5.1), refused, 0, ""},
		{"nothing at all", dayNight(n, 0, 0), refused, 0, ""},
		{"one of two months", append(dayNight(january, 500, 0), dayNight(n-january, 500, 300)...), goes, january, "in 1 of 2 months (2026-01)"},
		{"five days in all", append(dayNight(120, 500, 5), runs(216, nan)...), refused, 0, ""},
		{"a second month of five days", append(dayNight(january, 500, 300), dayNight(120, 500, 0)...), goes, 120, "in 1 of 2"},
		{"of less", append(dayNight(january, 500, 300), dayNight(119, 500, 0)...), goes, 0, ""},
		{"of less by day", append(dayNight(january, 500, 300), append(runs(7, nan), dayNight(120, 500, 0)[7:]...)...), goes, 0, ""},
	} {
		found := oneRule(t, "consumption_is_production", one(use, c.v), inUTC, plainSun(len(c.v), 12))
		said(t, c.what, found, c.consequence, c.hours, c.words)
	}
	if got := monthNames(ingest.NewCalendar(time.UTC, one(use, nil).Start, 120*24).Months()); got != "2026-01, 2026-02, 2026-03, 2026-04" {
		t.Errorf("four months: %s", got)
	}
	if got := monthNames(ingest.NewCalendar(time.UTC, one(use, nil).Start, 150*24).Months()); got != "2026-01 to 2026-05" {
		t.Errorf("five months: %s", got)
	}
}

// y = 7 - 2x has a slope of -2 and explains all. x 1 2 3 4 and y 2 1 4 3: sxx = syy
// = 5, sxy = 3: a slope of 0.6, 0.36 of the variance.
func TestRegressByHand(t *testing.T) {
	for _, c := range []struct {
		x, y         []float64
		slope, share float64
	}{
		{[]float64{0, 1, 5}, []float64{7, 5, -3}, -2, 1},
		{[]float64{1, 2, 3, 4}, []float64{2, 1, 4, 3}, 0.6, 0.36},
		{[]float64{2, 2}, []float64{1, 3}, 0, 0}, {[]float64{1, 3}, []float64{2, 2}, 0, 0}, {nil, nil, 0, 0},
	} {
		if slope, share := regress(c.x, c.y); math.Abs(slope-c.slope) > 1e-12 || math.Abs(share-c.share) > 1e-12 {
			t.Errorf("%v on %v: %g, %g", c.y, c.x, slope, share)
		}
	}
}

// The hours within two of noon, 10 to 14 o'clock, are four a day; they need to
// be 40. Consumption falls by half of what production rises, and more or less.
func TestConsumptionIsNetByHand(t *testing.T) {
	for _, c := range []struct {
		what  string
		slope float64
		noise float64 // up and down with no regard to production
		days  int     // with hours around noon
		words string
	}{
		{"by half of it", -0.5, 0, 14, "in 1 of 1 months"},
		{"by less", -0.49, 0, 14, ""},
		{"half is explained", -0.5, 99, 14, "in 1 of 1 months"},
		{"less is explained", -0.5, 101, 14, ""},
		{"ten days", -0.5, 0, 10, "in 1 of 1 months"},
		{"nine days", -0.5, 0, 9, ""},
	} {
		n := 16 * 24
		p, u := runs(float64(n), 100), runs(float64(n), 100)
		for d := range 16 {
			for h := range 24 {
				at := 24*d + h
				if h < 10 || h > 13 {
					u[at] = 50 + 3*float64(h) // what other hours say does not count
					p[at] = 50 + 3*float64(h)
					continue
				}
				// Two by two: production 100 up or down, noise up or down, each pair alike often.
				rise, noise := 200*float64(h%2)-100, c.noise*(float64((h/2)%2)*2-1)/2
				p[at], u[at] = 1000+rise, 2000+c.slope*rise+noise
				if d >= c.days {
					u[at] = nan
				}
			}
		}
		s := one(use, u)
		s.Wh[pv] = p
		said(t, c.what, oneRule(t, "consumption_is_net", s, inUTC, plainSun(n, 12)), refused, 16*24-4*(16-c.days), c.words)
	}
}

// Sunny hours are those with 0.4 of the array's most, five a day here; 0.4 of them
// at zero and 0.02 of the nights' at most make it the import.
func TestConsumptionIsImportByHand(t *testing.T) {
	const days = 20
	for _, c := range []struct {
		what   string
		zeros  int // of 100 sunny hours
		dark   int // of 240 hours of night
		wh     float64
		bright float64
		words  string
	}{
		{"40 of 100 sunny hours", 40, 4, 2, 400, "in 1 of 1 months"},
		{"39", 39, 0, 2, 400, ""},
		{"5 of 240 in the dark", 60, 5, 2, 400, ""},
		{"a little more than nothing", 60, 0, 2.1, 400, ""},
		{"in dull hours only", 60, 0, 0, 399, ""},
	} {
		p, u := dayNight(days*24, 10, 0), runs(days*24, 300)
		zeros, dark := c.zeros, c.dark
		for h := range u {
			switch clock := h % 24; {
			case clock == 12:
				p[h] = 1000
			case clock >= 10 && clock < 15:
				p[h] = c.bright
			}
			if clock := h % 24; clock >= 10 && clock < 15 && (clock != 12 || c.bright >= 400) && zeros > 0 {
				u[h], zeros = c.wh, zeros-1
			}
			if clock := h % 24; clock < 6 && dark > 0 {
				u[h], dark = 0, dark-1
			}
		}
		s := one(use, u)
		s.Wh[pv] = p
		if c.bright < 400 { // only noon is sunny then: 20 hours, of which none is at zero
			said(t, c.what, oneRule(t, "consumption_is_import", s, inUTC, plainSun(days*24, 12)), refused, 0, "")
			continue
		}
		said(t, c.what, oneRule(t, "consumption_is_import", s, inUTC, plainSun(days*24, 12)), refused, days*24, c.words)
	}
	// Without the array's meter the sunny hours are the four around noon: 14 days of
	// them at zero; an hour beside them counts for neither.
	u := runs(14*24, 300)
	for h := range u {
		if h%24 >= 10 && h%24 < 14 {
			u[h] = 0
		}
	}
	said(t, "no array's meter", oneRule(t, "consumption_is_import", one(use, u), inUTC, plainSun(14*24, 12)), refused, 14*24, "in 1 of 1 months")
	for h := range u {
		if u[h] = 300; h%24 == 9 || h%24 == 14 || h%24 == 8 || h%24 == 15 {
			u[h] = 0
		}
	}
	said(t, "at zero beside noon", oneRule(t, "consumption_is_import", one(use, u), inUTC, plainSun(14*24, 12)), refused, 0, "")
}

// Next to nothing is at most 10 Wh an hour and a twentieth of the median, for 72 hours.
func TestNextToNothingByHand(t *testing.T) {
	for _, c := range []struct {
		what  string
		v     []float64
		hours int
		words string
	}{
		{"10 Wh for three days", runs(300, 400, 72, 10, 300, 400), 72, "10 Wh an hour or less for days on end once, 72 hours in all, the first on 2026-01-13"},
		{"for an hour less", runs(300, 400, 71, 10, 300, 400), 0, ""},
		{"11 Wh", runs(300, 400, 72, 11, 300, 400), 0, ""},
		{"a twentieth of 100 Wh", runs(300, 100, 72, 5, 300, 100), 72, "5 Wh an hour"},
		{"more of 100 Wh", runs(300, 100, 72, 5.1, 300, 100), 0, ""},
		{"twice, the second to the end", runs(300, 400, 72, 0, 2, 400, 80, 1), 152, "twice"},
	} {
		said(t, c.what, oneRule(t, "consumption_near_zero", one(use, c.v), Site{}, nil), goes, c.hours, c.words)
	}
	// The other meters say that at most 20 Wh an hour were used, in half of the hours.
	for _, c := range []struct {
		wh    float64
		known int
		off   bool
	}{{20, 100, true}, {-20, 100, true}, {21, 100, false}, {0, 50, true}, {0, 49, false}} {
		s := one(use, runs(300, 400, 100, 0, 300, 400))
		s.Wh[pv], s.Wh[ingest.Import], s.Wh[ingest.Export] = runs(700, 50), runs(700, 30), runs(700, 80-c.wh)
		for h := 300 + c.known; h < 400; h++ {
			s.Wh[ingest.Import][h] = nan
		}
		found := oneRule(t, "consumption_near_zero", s, Site{}, nil)
		if c.off {
			said(t, "off", found, stands, 100, "100 hours in all, and so say")
		} else {
			said(t, "not off", found, goes, 100, "left out")
		}
	}
}

// Exactly nothing in over a tenth of a month's hours, of ten days at least.
func TestZeroHoursByHand(t *testing.T) {
	fine := func(n, zeros, known int) []float64 { // readings to 10 Wh
		v := make([]float64, n)
		for h := range v {
			if v[h] = 300 + 10*float64(h%7); h < zeros {
				v[h] = 0
			} else if h >= known {
				v[h] = nan
			}
		}
		return v
	}
	const january = 31 * 24
	for _, c := range []struct {
		what        string
		v           []float64
		consequence ingest.Consequence
		hours       int
		words       string
	}{
		{"a tenth", fine(january, 74, january), stands, 74, "in 74 of 744 hours"},
		{"more", fine(january, 75, january), goes, january, "of 2026-01: these months are left out"},
		{"of 14 days", fine(january, 40, 336), goes, 336, "left out"},
		{"none", fine(january, 0, january), stands, 0, ""},
	} {
		said(t, c.what, oneRule(t, "consumption_zero", one(use, c.v), inUTC, nil), c.consequence, c.hours, c.words)
	}
	for known, out := range map[int]bool{240: true, 239: false} { // of February, beside a January without zeros
		v := append(fine(january, 0, january), fine(28*24, 100, known)...)
		if found := oneRule(t, "consumption_zero", one(use, v), inUTC, nil); len(found) != 1 || (found[0].Consequence == goes) != out {
			t.Errorf("%d hours of February: %+v", known, found)
		}
	}
	for step, out := range map[float64]bool{20: true, 21: false} { // of readings to 21 Wh a zero may be a little
		v := fine(january, 100, january)
		for h := range v {
			if v[h] > 0 {
				v[h] = step * (10 + float64(h%2))
			}
		}
		if found := oneRule(t, "consumption_zero", one(use, v), inUTC, nil); len(found) != 1 || (found[0].Consequence == goes) != out {
			t.Errorf("readings to %g Wh: %+v", step, found)
		}
	}
}

// From 22 to 4 o'clock: the consumption meter at 5 Wh and less, the array's at 20
// and more, in four hours of a night and with no hour to the contrary, for three days.
func TestExchangedMetersByHand(t *testing.T) {
	for _, c := range []struct {
		what         string
		use, made    float64
		days, hours  int // of each night
		odd          int // hours of the nights that read a use, as if by themselves
		wrong, mixed int
	}{
		{"three days", 5, 20, 3, 6, 0, 3, 0},
		{"two days", 5, 20, 2, 6, 0, 0, 0},
		{"four hours of the night", 5, 20, 3, 4, 0, 3, 0},
		{"three hours of the night", 5, 20, 3, 3, 0, 0, 0},
		{"more than a standby", 5.1, 20, 3, 6, 0, 0, 0},
		{"less than a household", 5, 19.9, 3, 6, 0, 0, 0},
		{"a fourth day of two kinds", 5, 20, 4, 6, 1, 3, 1},
	} {
		const n = 20 * 24
		s := one(use, runs(n, 300))
		s.Wh[pv] = runs(n, 0)
		for d := range c.days {
			at := 24 * (5 + d)
			for i, h := range []int{0, 1, 2, 3, 22, 23} {
				switch {
				case c.odd > 0 && d == 3 && i < c.odd:
				case i < c.hours:
					s.Wh[use][at+h], s.Wh[pv][at+h] = c.use, c.made
				default:
					s.Wh[use][at+h] = nan
				}
			}
			for h := 4; h < 22; h++ { // by day nothing is asked
				s.Wh[use][at+h], s.Wh[pv][at+h] = 2000, 100
			}
		}
		found := oneRule(t, "channels_swapped", s, inUTC, nil)
		wrong, mixed := 0, 0
		for _, q := range found {
			if q.Consequence == ingest.ExchangeChannels {
				wrong = q.Hours / 24
			} else {
				mixed = q.Hours / 24
			}
		}
		if wrong != c.wrong || mixed != c.mixed {
			t.Errorf("%s: %d days exchanged, %d left out: %+v", c.what, wrong, mixed, found)
		}
	}
}
