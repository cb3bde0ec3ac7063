package readings

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

func copyTo(t *testing.T, dir string, paths ...string) {
	t.Helper()
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(p)), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func sumKWh(v []float64) (sum float64, missing int) {
	for _, x := range v {
		if math.IsNaN(x) {
			missing++
			continue
		}
		sum += x / 1000
	}
	return sum, missing
}

// The yearly sums of the real files are those that their SOURCE.txt states.
// A table whose station nobody names gives one error for all of its rows.
func TestWeatherOfAnUnnamedStation(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"stations.csv": "station_id,latitude,longitude\nW1,45,9\n",
		"hours.csv":    "station_id,start,temp_c\nW2,2026-01-01T00:00:00Z,3\nW1,2026-01-01T00:00:00Z,4\nW2,2026-01-01T01:00:00Z,5\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	stations, rejects, err := ReadWeather(dir, Limits{})
	if err != nil || len(stations) != 1 || stations[0].Len() != 1 || len(rejects) != 1 {
		t.Fatal(err, stations, rejects)
	}
	want := ingest.Reject{File: "weather/hours.csv", Line: 2, Column: "station_id", Value: "W2",
		Reason: "weather/stations.csv does not name the station, so its rows are left out, 2 in all: add it there"}
	if rejects[0] != want {
		t.Errorf("%+v, want %+v", rejects[0], want)
	}
}

func TestRealWeatherFiles(t *testing.T) {
	dir := t.TempDir()
	copyTo(t, dir, outside.Data(t, "weather-us", "724666TY.csv"), outside.Data(t, "weather-us", "USA_CA_San.Francisco.Intl.AP.724940_TMY3.epw"),
		outside.Data(t, "weather-us", "201206ty.csv"), outside.Data(t, "weather-us", "201208ty.csv"))
	stations, rejects, err := ReadWeather(dir, Limits{})
	if err != nil || len(rejects) > 0 {
		t.Fatal(err, rejects)
	}
	byID := map[string]*ingest.Station{}
	for i := range stations {
		byID[stations[i].ID] = &stations[i]
	}
	for _, c := range []struct {
		id            string
		ghi, dni, dhi float64
		lat, lon      float64
	}{
		{"724666", 1620, 1867, 578, 39.742, -105.179},
		{"724940", 1716, 1771, 630, 37.62, -122.40},
	} {
		s := byID[c.id]
		if s == nil {
			t.Fatalf("no station %s", c.id)
		}
		if !s.Typical || s.Len() != 8760 || s.LatitudeDeg != c.lat || s.LongitudeDeg != c.lon {
			t.Errorf("%s: typical %v, %d hours at %g %g", c.id, s.Typical, s.Len(), s.LatitudeDeg, s.LongitudeDeg)
		}
		for i, v := range [][]float64{s.GHIWm2, s.DNIWm2, s.DHIWm2} {
			want := []float64{c.ghi, c.dni, c.dhi}[i]
			if sum, missing := sumKWh(v); math.Abs(sum-want) > 0.5 || missing > 0 {
				t.Errorf("%s: %g kWh/m2 with %d missing, want %g", c.id, sum, missing, want)
			}
		}
	}
	// The measured months: 720 hours of June 2012 and 744 of August (SOURCE.txt
	// counts its 743 line breaks; the last line has none), the first
	// hour label 01:00 at UTC-7 being 07:00 UTC.
	s := byID["123456"]
	if s == nil || s.Typical {
		t.Fatalf("the measured station is %+v", s)
	}
	if got := s.Start.Time(); !got.Equal(time.Date(2012, 6, 1, 7, 0, 0, 0, time.UTC)) {
		t.Errorf("begins %v", got)
	}
	present := 0
	for _, v := range s.TempC {
		if !math.IsNaN(v) {
			present++
		}
	}
	if present != 720+744 {
		t.Errorf("%d hours have a temperature, want %d", present, 720+744)
	}
	if s.TempC[0] != 13.2 {
		t.Errorf("the first temperature is %g, want 13.2", s.TempC[0])
	}
}

func TestWeatherTable(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("stations.csv", "longitude,station_id,latitude\n-105,north,40\n-104,south,39.5\n200,far,1\n")
	write("all.csv", strings.Join([]string{
		"station_id,start,temp_c,ghi_w_m2",
		"north,2026-01-01T00:00:00Z,1,0",
		"north,2026-01-01T02:00:00Z,,10",
		"south,2026-01-01T00:00:00Z,4,0",
		"south,2026-01-01T00:30:00Z,5,100",
		"east,2026-01-01T00:30:00Z,5,100",
		"north,2026-01-01T03:00:00Z,99,10",
		"north,yesterday,9,10",
	}, "\n")+"\n")
	stations, rejects, err := ReadWeather(dir, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if len(stations) != 2 || stations[0].ID != "north" || stations[1].ID != "south" {
		t.Fatalf("stations %+v", stations)
	}
	n, s := stations[0], stations[1]
	if n.Len() != 3 || n.TempC[0] != 1 || !math.IsNaN(n.TempC[1]) || !math.IsNaN(n.TempC[2]) || n.GHIWm2[2] != 10 || n.WindMs != nil {
		t.Errorf("north %+v", n)
	}
	if s.Len() != 1 || s.TempC[0] != 4.5 || s.GHIWm2[0] != 50 {
		t.Errorf("south is not the mean of its half hours: %+v", s)
	}
	var got []string
	for _, r := range rejects {
		got = append(got, fmt.Sprintf("%s:%d %s", r.File, r.Line, r.Column))
	}
	want := "weather/stations.csv:4 longitude; weather/all.csv:6 station_id; weather/all.csv:7 temp_c; weather/all.csv:8 start"
	if strings.Join(got, "; ") != want {
		t.Errorf("rejects %v", rejects)
	}
}

func TestNoWeatherFolder(t *testing.T) {
	stations, rejects, err := ReadWeather(filepath.Join(t.TempDir(), "none"), Limits{})
	if stations != nil || rejects != nil || err != nil {
		t.Error(stations, rejects, err)
	}
}
