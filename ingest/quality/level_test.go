package quality

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
)

// oneRule gives what one rule says by itself; sun nil: the place is not known.
func oneRule(t *testing.T, code string, s *ingest.Series, site Site, sun *sunDays) []ingest.Quality {
	t.Helper()
	c := &checker{s: s, site: site, slot: new([ingest.NumChannels][]float64), code: code}
	c.survey()
	c.sun = sun
	for _, r := range rules {
		if r.code == code {
			r.find(c)
			return c.found
		}
	}
	t.Fatalf("no rule %q", code)
	return nil
}

// plainSun rises at 6 and sets at 18 o'clock of UTC, with noon at 12, every day.
func plainSun(n int, noon float64) *sunDays {
	s := &sunDays{day: make([]int32, n), dark: make([]bool, n)}
	for range n/24 + 2 {
		s.noon, s.half = append(s.noon, noon), append(s.half, 6)
	}
	for h := range n {
		day, from, _ := s.at(float64(h))
		s.day[h], s.dark[h] = int32(day), from < -6 || from >= 6
	}
	return s
}

// one is a series of one channel from 1 January 2026.
func one(k ingest.Channel, v []float64) *ingest.Series {
	s := &ingest.Series{Start: ingest.HourOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)), StepMinutes: 60}
	s.Wh[k] = v
	return s
}

// runs is n values, from one list of (how many, of what) after the other.
func runs(pairs ...float64) (v []float64) {
	for i := 0; i < len(pairs); i += 2 {
		for range int(pairs[i]) {
			v = append(v, pairs[i+1])
		}
	}
	return v
}

var (
	nan = math.NaN()
	pv  = ingest.Production
	use = ingest.Consumption
)

// said tells whether a finding is there, alone, with its consequence and words;
// words "" wants none.
func said(t *testing.T, what string, found []ingest.Quality, consequence ingest.Consequence, hours int, words string) {
	t.Helper()
	switch {
	case words == "":
		if len(found) > 0 {
			t.Errorf("%s: %+v", what, found)
		}
	case len(found) != 1 || found[0].Consequence != consequence || found[0].Hours != hours || !strings.Contains(found[0].Says, words):
		t.Errorf("%s: %+v, want %d hours, consequence %v, %q", what, found, hours, consequence, words)
	}
}

const (
	stands  = ingest.KeepWithCaveat
	refused = ingest.RefuseChannel
	goes    = ingest.LeaveHoursOut
)

// From hour 3 to hour 96 five hours and eight are missing: 13 of 94.
func TestGapsByHand(t *testing.T) {
	v := runs(3, nan, 7, 1, 5, nan, 35, 1, 8, nan, 39, 1, 3, nan)
	found := oneRule(t, "gap", one(use, v), Site{}, nil)
	said(t, "two gaps", found, stands, 13, "13 of 94 hours (13.8 %), at most 8 in a row, from 2026-01-03 on")
	if len(found) > 0 && (found[0].From-found[0].To != -94 || found[0].To != one(use, v).Start+97) {
		t.Errorf("from %d to %d", found[0].From, found[0].To)
	}
	said(t, "none", oneRule(t, "gap", one(use, runs(3, nan, 7, 1)), Site{}, nil), stands, 0, "")
}

func TestWrongSignsByHand(t *testing.T) {
	for _, c := range []struct {
		what        string
		k           ingest.Channel
		v           []float64
		ratedW      float64
		consequence ingest.Consequence
		hours       int
		words       string
	}{
		{"most hours and most energy", pv, runs(13, -10, 11, 5), 0, refused, 13, "-0 kWh against 0 kWh"},
		{"zeros count for neither side", pv, runs(13, -10, 40, 0), 0, refused, 13, "sign: -1"},
		{"half of the hours", pv, runs(12, -10, 12, 5), 0, stands, 12, "12 of 24 hours, -0.1 kWh"},
		{"less energy", pv, runs(13, -10, 11, 20), 0, stands, 13, "below nothing"},
		{"less than a day", pv, runs(13, -10, 10, 5), 0, stands, 13, "below nothing"},
		{"a thousandth of the energy", use, runs(1, -1, 10, 100), 0, stands, 0, ""},
		{"a little more", use, runs(1, -1.1, 10, 100), 0, stands, 1, "below nothing"},
		{"47 stray hours", use, runs(47, -51, 500, 400), 0, goes, 47, "47 of 547 hours, down to -0.1 kW"},
		{"48 are not stray", use, runs(48, -51, 500, 400), 0, stands, 48, "below nothing"},
		{"50 W are not stray", use, runs(47, -50, 500, 400), 0, stands, 47, "below nothing"},
		{"a fiftieth of 5 kW", pv, runs(9, -100, 500, 400), 5000, stands, 9, "below nothing"},
		{"more", pv, runs(9, -101, 500, 400), 5000, goes, 9, "left out"},
		{"of another channel", use, runs(9, -99, 500, 400), 5000, goes, 9, "left out"},
	} {
		said(t, c.what, oneRule(t, "wrong_sign", one(c.k, c.v), Site{RatedACWatts: c.ratedW}, nil), c.consequence, c.hours, c.words)
	}
	s := one(use, runs(100, 400)) // a quarter hour of -30 Wh is -120 W
	s.StepMinutes, s.Fine = 15, &ingest.Fine{Start: s.Start, StepMinutes: 15}
	s.Fine.Wh[use] = make([]float32, 400)
	s.Fine.Wh[use][41], s.Fine.Wh[use][42], s.Fine.Wh[use][50] = -30, -20, -12.4
	found := oneRule(t, "wrong_sign", s, Site{}, nil)
	said(t, "a quarter hour", found, goes, 1, "1 of 100 hours, down to -0.1 kW")
	if len(found) == 1 && found[0].From != s.Start+10 {
		t.Errorf("hour %d", found[0].From-s.Start)
	}
}

func TestUnitsByHand(t *testing.T) {
	for _, c := range []struct {
		what        string
		k           ingest.Channel
		v           []float64
		step        int
		consequence ingest.Consequence
		words       string
	}{
		{"twice the rating", pv, runs(336, 10000), 60, refused, ""},
		{"more", pv, runs(336, 10001), 60, refused, "10.0 kW where the array is rated 5.0 kW: check its unit and"},
		{"13 days", pv, runs(335, 10001), 60, refused, ""},
		{"300 times", pv, runs(336, 1.5e6), 60, refused, "check its unit and the register"},
		{"more than that", pv, runs(336, 1.6e6), 60, refused, "Wh taken for kWh"},
		{"quarter hours, 2.1 times", pv, runs(336, 10500), 15, refused, "quantity: power"},
		{"quarter hours, 5.1 times", pv, runs(336, 25500), 15, refused, "quantity: power"},
		{"quarter hours, 5.2 times", pv, runs(336, 26000), 15, refused, "check its unit and"},
		{"five minutes, 6 times", pv, runs(336, 30000), 5, refused, "check its unit and"}, // 12 · 0.5 is the least
		{"five minutes, 6.1 times", pv, runs(336, 30500), 5, refused, "quantity: power"},
		{"a fiftieth", pv, runs(1440, 100), 60, refused, ""},
		{"less", pv, runs(1440, 99), 60, refused, "never passes 0.099 kW"},
		{"less, for less than two months", pv, runs(1439, 99), 60, refused, ""},
		{"nothing at all is no unit", pv, runs(1440, 0), 60, refused, ""},
		{"50 kW on average", use, runs(336, 50e3), 60, stands, ""},
		{"more than 50 kW", use, runs(336, 50001), 60, stands, "50 kW on average"},
		{"for 13 days", use, runs(335, 50001), 60, stands, ""},
		{"10 W on average", use, runs(336, 10), 60, stands, ""},
		{"less than 10 W", use, runs(336, 9.9), 60, stands, "9.90 W on average"},
		{"nothing on average", use, runs(336, 0), 60, stands, ""},
		{"little import", ingest.Import, runs(336, 9), 60, stands, ""},
		{"much import", ingest.Import, runs(336, 60e3), 60, stands, "60 kW on average"},
	} {
		s := one(c.k, c.v)
		s.StepMinutes = c.step
		said(t, c.what, oneRule(t, "unit", s, Site{RatedACWatts: 5000}, nil), c.consequence, len(c.v), c.words)
	}
	said(t, "no rating", oneRule(t, "unit", one(pv, runs(336, 1e6)), Site{}, nil), refused, 0, "")
	said(t, "the modules' rating", oneRule(t, "unit", one(pv, runs(336, 1e4)), Site{RatedDCWatts: 4000}, nil), refused, 336, "rated 4.0 kW")
}

// Inverters of 5 kW give at most 1.1 · 1.02 · 5 = 5.61 kW; hours over 0.92 of
// that, 5.16 kW, are near it. Modules of 4 kW give 1.3 · 4 = 5.2 kW.
func TestImpossiblePowerByHand(t *testing.T) {
	for _, c := range []struct {
		what        string
		v           []float64
		dcW         float64
		consequence ingest.Consequence
		hours       int
		words       string
	}{
		{"just below", runs(400, 900, 9, 5600), 0, goes, 0, ""},
		{"one above", runs(400, 900, 1, 5620), 0, goes, 1, "inverters of 5.0 kW can give in 1 of 401 hours, up to 5.6 kW"},
		{"above what the modules give", runs(400, 900, 1, 5210), 4000, goes, 1, "modules of 4.0 kW can give"},
		{"not above it", runs(400, 900, 1, 5190), 4000, goes, 0, ""},
		{"the inverters limit larger modules", runs(400, 900, 1, 5620), 6000, goes, 1, "inverters of 5.0 kW"},
		{"one above and twelve near", runs(400, 900, 1, 5620, 12, 5170), 0, goes, 1, "left out"},
		{"one above and thirteen near: a larger array", runs(400, 900, 1, 5620, 13, 5170), 0, stands, 1, "in 1 of 414 hours"},
		{"not so near", runs(400, 900, 1, 5620, 13, 5150), 0, goes, 1, "left out"},
		{"47 hours", runs(400, 900, 47, 5620), 0, goes, 47, "left out"},
		{"48 hours", runs(400, 900, 48, 5620), 0, stands, 48, "can give in 48"},
	} {
		said(t, c.what, oneRule(t, "impossible", one(pv, c.v), Site{RatedACWatts: 5000, RatedDCWatts: c.dcW}, nil), c.consequence, c.hours, c.words)
	}
	found := oneRule(t, "impossible", one(pv, runs(400, 900, 48, 5620, 30, 1, 2, 5620)), Site{RatedACWatts: 5000}, nil)
	if len(found) != 1 || found[0].To-found[0].From != 80 {
		t.Errorf("from the first to the last: %+v", found)
	}
}

// Quartiles of 1 and 2 kWh: a spike is above 2 + 20 · 1 = 22 kWh; of small ones,
// above 20 kWh.
func TestSpikesByHand(t *testing.T) {
	large, small := runs(200, 1000, 200, 2000), runs(200, 100, 200, 200)
	for _, c := range []struct {
		what  string
		k     ingest.Channel
		base  []float64
		n     int
		top   float64
		rated float64
		words string
	}{
		{"at the limit", use, large, 1, 22000, 0, ""},
		{"above it", use, large, 1, 22001, 0, "above 22 kWh in 1 of 401 hours, up to 22 kWh, where most are below 2.0 kWh"},
		{"47 hours", use, large, 47, 22001, 0, "in 47 of"},
		{"48 hours", use, large, 48, 22001, 0, ""},
		{"20 kWh", use, small, 1, 20000, 0, ""},
		{"more than 20 kWh", use, small, 1, 20001, 0, "above 20 kWh"},
		{"production of a rated array", pv, large, 1, 30000, 5000, ""},
		{"production", pv, large, 1, 30000, 0, "up to 30 kWh"},
		{"a short record", use, large[:334], 1, 99000, 0, ""},
	} {
		v := append(slices.Clone(c.base), runs(float64(c.n), c.top)...)
		said(t, c.what, oneRule(t, "spike", one(c.k, v), Site{RatedACWatts: c.rated}, nil), goes, c.n, c.words)
	}
}

func TestDeadStretchesByHand(t *testing.T) {
	for _, c := range []struct {
		what  string
		k     ingest.Channel
		v     []float64
		hours int
		words string
	}{
		{"three days", use, runs(100, 5, 72, 0, 5, 5), 72, "exactly zero for 72 hours from 2026-01-05 on, 72 hours in such stretches: a dead meter"},
		{"an hour less", use, runs(100, 5, 71, 0, 5, 5), 0, ""},
		{"two stretches", pv, runs(100, 5, 80, 0, 5, 5, 72, 0, 5, 5, 9, 0), 152, "for 80 hours from 2026-01-05 on, 152 hours in such stretches: the array was off"},
		{"the longer comes later", use, runs(10, 5, 72, 0, 14, 5, 80, 0), 152, "for 80 hours from 2026-01-05"},
		{"to the end", use, runs(10, 5, 72, 0), 72, "72 hours"},
		{"nothing was exported", ingest.Export, runs(10, 5, 72, 0), 0, ""},
	} {
		found := oneRule(t, "dead", one(c.k, c.v), Site{}, nil)
		said(t, c.what, found, stands, c.hours, c.words)
	}
}

// Type 7: of 10, 20, 40 and 80 the median is 30, the lower quartile 17.5.
func TestQuantilesByHand(t *testing.T) {
	v := []float64{40, nan, 10, 80, 20}
	for q, want := range map[float64]float64{0: 10, 0.25: 17.5, 0.5: 30, 1: 80} {
		if got := quantile(v, q); got != want {
			t.Errorf("quantile %g is %g, want %g", q, got, want)
		}
	}
	if got := quantile([]float64{nan}, 0.5); got == got {
		t.Errorf("of nothing: %g", got)
	}
	if n := len(sorted(make([]float64, 8759))); n != 8759 {
		t.Errorf("of a short record %d", n)
	}
	if n := len(sorted(make([]float64, 8760))); n != 1252 { // every seventh from the first
		t.Errorf("of a long record %d", n)
	}
}
