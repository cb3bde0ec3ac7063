package demand

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// Loads that come to two thirds of the homes within two years are no season: the
// signal of like days of two years must not have them. By construction the
// homes' own use does not drift; the loads add 500 W to about 900, which is half
// of the use.
func TestSignalWithoutArrivals(t *testing.T) {
	b := NewSeasonBuilder()
	for k := range 45 {
		h := home{seed: uint64(100 + k), baseKWhDay: 22, heatSlope: 0.2, coolSlope: 1, noise: 0.12}
		if k >= 15 {
			h.baseloadFrom, h.baseloadW = 250+20*(k-15), 500
		}
		s, _, _ := h.make()
		b.Add(45, 9, ingest.NewCalendar(time.UTC, s.Start, s.Len()), s)
	}
	signal := b.Close().At(45, 9)
	if signal == nil {
		t.Fatal("no signal of 45 homes")
	}
	if signal.Sites != 15 {
		t.Errorf("%d homes speak, 15 keep their level", signal.Sites)
	}
	// March to May, of 2025 and 2026: without weather's reach, and apart by the
	// arrivals of most of the homes if they spoke.
	first := int(synthStart.Unix() / 86400)
	sum, n := 0.0, 0
	for d := 304; d < 304+60; d++ {
		if v := signal.At(first+d+364) - signal.At(first+d); !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	if change := sum / float64(n); n < 50 || math.Abs(change) > 0.05 {
		t.Errorf("the season changes by %.3f from one spring to the next (%d days)", change, n)
	}
}

// One year of readings and no thermometer: a summer's cooling, in five real
// homes of a hot place, is neither an arrival nor a departure. Use of home_01
// falls from 40 kWh a day in its first month (August) to 22 in April and is
// back at 36 in the last (July); home_16 rises by half into its last two
// months, which are June and July.
func TestRealHomesOfOneYear(t *testing.T) {
	dir := outside.Data(t, "fontana-5homes")
	for _, name := range []string{"home_01", "home_02", "home_05", "home_10", "home_16"} {
		text, err := os.ReadFile(filepath.Join(dir, name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		s := &ingest.Series{SiteID: name, Start: ingest.HourOf(time.Date(2016, 7, 31, 23, 0, 0, 0, time.UTC)), StepMinutes: 60}
		for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
			kwh, err := strconv.ParseFloat(strings.Split(line, ",")[7], 64)
			if err != nil {
				t.Fatal(err)
			}
			s.Wh[ingest.Consumption] = append(s.Wh[ingest.Consumption], 1000*kwh)
		}
		w := ingest.Window{Start: s.Start, N: s.Len()}
		r := Assess(Input{SiteID: name, LatitudeDeg: 34, Series: s, Window: w})
		whole(t, r, w)
		if len(r.Events) > 0 || r.FromEventsKWh != 0 {
			t.Errorf("%s: %.0f kWh carried on by %v", name, r.FromEventsKWh, r.Events)
		}
		if !slices.ContainsFunc(r.Caveats, func(c ingest.Caveat) bool { return c.Code == "events_blunt" }) {
			t.Errorf("%s: nothing says that events are blunt", name)
		}
	}
}
