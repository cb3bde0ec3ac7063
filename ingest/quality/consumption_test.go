package quality

import (
	"math"
	"slices"
	"testing"
	"time"

	"rowen/ingest"
)

// What the consumption channel is for one month, that month is left out, and no
// other; what it is for all of them costs the channel.
func TestConsumptionByMonth(t *testing.T) {
	site := denver(t)
	from := int(ingest.HourOf(time.Date(2025, 9, 1, 6, 0, 0, 0, time.UTC)) - start)
	to := int(ingest.HourOf(time.Date(2025, 10, 1, 6, 0, 0, 0, time.UTC)) - start)
	for _, tc := range []struct {
		code string
		is   func(use, made float64) float64
	}{
		{"consumption_is_production", func(_, made float64) float64 { return made }},
		{"consumption_is_production", func(use, made float64) float64 { return math.Max(0, made-use) }}, // the export meter
		{"consumption_is_import", func(use, made float64) float64 { return math.Max(0, use-made) }},
		{"consumption_is_net", func(use, made float64) float64 { return use - made }},
	} {
		for _, all := range []bool{false, true} {
			s := home()
			made := s.Wh[ingest.Production]
			s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
			for h := range s.Wh[ingest.Consumption] {
				if all || h >= from && h < to {
					s.Wh[ingest.Consumption][h] = tc.is(s.Wh[ingest.Consumption][h], made[h])
				}
			}
			found := Check(s, site)
			i := slices.IndexFunc(found, func(q ingest.Quality) bool { return q.Code == tc.code })
			if i < 0 {
				t.Errorf("%s, all %v: not found: %+v", tc.code, all, found)
				continue
			}
			q := found[i]
			if all {
				if q.Consequence != ingest.RefuseChannel {
					t.Errorf("%s of all months: %+v", tc.code, q)
				}
				continue
			}
			if q.Consequence != ingest.LeaveHoursOut || q.From != start+ingest.Hour(from) || q.To != start+ingest.Hour(to) {
				t.Errorf("%s: %+v", tc.code, q)
			}
			Apply(s, found)
			for h, x := range s.Wh[ingest.Consumption] {
				if in := h >= from && h < to; in != math.IsNaN(x) {
					t.Errorf("%s: hour %d is %g", tc.code, h, x)
					break
				}
			}
		}
	}
}

// Next to nothing for days is left out, unless the other meters say so as well;
// single zeros stand with a word, months of them do not.
func TestNextToNoConsumption(t *testing.T) {
	site := denver(t)
	find := func(s *ingest.Series, code string) *ingest.Quality {
		for _, q := range Check(s, site) {
			if q.Code == code {
				return &q
			}
		}
		return nil
	}
	s := home()
	s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
	for h := 1000; h < 1100; h++ {
		s.Wh[ingest.Consumption][h] = float64(h % 3)
	}
	if q := find(s, "consumption_near_zero"); q == nil || q.Consequence != ingest.LeaveHoursOut || q.Hours != 100 {
		t.Errorf("a dead meter: %+v", q)
	}
	s = home() // off in truth: all that is made is exported
	for h := 1000; h < 1100; h++ {
		s.Wh[ingest.Consumption][h], s.Wh[ingest.Import][h], s.Wh[ingest.Export][h] = 0, 0, s.Wh[ingest.Production][h]
	}
	if q := find(s, "consumption_near_zero"); q == nil || q.Consequence != ingest.KeepWithCaveat || q.Hours != 100 {
		t.Errorf("a house that is off: %+v", q)
	}
	s = home()
	s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
	for h := 900; h < 4000; h += 100 {
		s.Wh[ingest.Consumption][h] = 0
	}
	if q := find(s, "consumption_zero"); q == nil || q.Consequence != ingest.KeepWithCaveat || q.Hours != 31 {
		t.Errorf("single zeros: %+v", q)
	}
	for h := 1500; h < 2240; h += 6 { // a sixth of September
		s.Wh[ingest.Consumption][h] = 0
	}
	if q := find(s, "consumption_zero"); q == nil || q.Consequence != ingest.LeaveHoursOut || q.Hours != 720 {
		t.Errorf("a month of zeros: %+v", q)
	}
	for h, x := range s.Wh[ingest.Consumption] { // a meter that counts whole kilowatt-hours
		s.Wh[ingest.Consumption][h] = math.Floor(x/1000) * 1000
	}
	if q := find(s, "consumption_zero"); q == nil || q.Consequence != ingest.KeepWithCaveat {
		t.Errorf("a coarse meter: %+v", q)
	}
}

// Days on which the two meters are exchanged are read the other way round.
func TestExchangedMeters(t *testing.T) {
	s, want := finer(home()), finer(home())
	s.Wh[ingest.Import], s.Wh[ingest.Export] = nil, nil
	from, to := 24*30, 24*40 // of local days
	swap := func(a, b []float32) {
		for i := from * 4; i < to*4; i++ {
			a[i], b[i] = b[i], a[i]
		}
	}
	swap(s.Fine.Wh[ingest.Production], s.Fine.Wh[ingest.Consumption])
	for _, k := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		s.Wh[k] = hourly(s.Fine.Wh[k], 4)
	}
	Apply(s, Check(s, denver(t)))
	for _, k := range []ingest.Channel{ingest.Production, ingest.Consumption} {
		missing := 0
		for h, x := range s.Wh[k] {
			if x != x {
				missing++
			} else if x != want.Wh[k][h] || s.Fine.Wh[k][4*h] != want.Fine.Wh[k][4*h] {
				t.Fatalf("%s: hour %d is %g, want %g", k, h, x, want.Wh[k][h])
			}
		}
		if missing > 48 { // the days on which it begins and ends
			t.Errorf("%s: %d hours are missing", k, missing)
		}
	}
}
