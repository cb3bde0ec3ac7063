package demand

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// A heat pump that comes in the first autumn of the readings, five and a half
// months after they begin: 1.6 kWh a K·day over the 2,500 K·days or so of the
// place are about 4,000 kWh a year, by construction.
func TestHeatPumpOfTheFirstAutumn(t *testing.T) {
	for seed := range uint64(4) {
		h := home{seed: 40 + seed, baseKWhDay: 20, noise: 0.12, heatSlope: 0.15, hpFrom: 190, hpSlope: 1.6}
		r := Assess(h.input(true))
		on := synthStart.AddDate(0, 0, h.hpFrom)
		found := false
		for _, e := range r.Events {
			near := e.On.Sub(on).Abs() < 14*24*time.Hour || (e.OnLow.Before(on.AddDate(0, 0, 14)) && e.OnHigh.After(on.AddDate(0, 0, -14)))
			found = found || (near && e.Kind == KindHeatPump)
		}
		if !found {
			t.Errorf("seed %d: a heat pump of %s was not found: %v", h.seed, on.Format("2006-01-02"), r.Events)
		}
	}
}

// A real home with sixteen months and no temperatures: its heat pump was there
// all along, its second winter was colder. Nothing new has come.
func TestColdSecondWinter(t *testing.T) {
	f, err := os.Open(outside.Data(t, "konstanz-home4", "household_data_60min_residential4.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	first, err := time.Parse(time.RFC3339, rows[1][column["utc_timestamp"]])
	if err != nil {
		t.Fatal(err)
	}
	s := &ingest.Series{SiteID: "residential4", Start: ingest.HourOf(first), StepMinutes: 60}
	before := math.NaN()
	for _, r := range rows[1:] {
		sum := 0.0
		for _, c := range []struct {
			name string
			sign float64
		}{{"pv", 1}, {"grid_import", 1}, {"grid_export", -1}} {
			v, err := strconv.ParseFloat(r[column["DE_KN_residential4_"+c.name]], 64)
			if err != nil {
				v = math.NaN()
			}
			sum += c.sign * v
		}
		s.Wh[ingest.Consumption] = append(s.Wh[ingest.Consumption], 1000*(sum-before))
		before = sum
	}
	r := Assess(Input{SiteID: "residential4", LatitudeDeg: 47.7, Series: s, Window: ingest.Window{Start: s.End() - 8760, N: 8760}})
	for _, e := range r.Events {
		if e.Kind == KindHeatPump {
			t.Errorf("a colder winter was taken for: %s", e.Says)
		}
	}
}
