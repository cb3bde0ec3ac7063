package ledger

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/ingest/readings"
	"rowen/scripts/outside"
)

func realFile(t *testing.T, elem ...string) string {
	t.Helper()
	b, err := os.ReadFile(outside.Data(t, elem...))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The real home of running counters with blanks: the sums of 2016 are those of
// its SOURCE.txt, and so is what it says of negative derived consumption.
func TestKonstanz(t *testing.T) {
	kWh := func(c ingest.Channel, column string) readings.Channel {
		return readings.Channel{Channel: c, Column: "DE_KN_residential4_" + column, Unit: "kWh", Quantity: "counter", SpreadGap: "0"}
	}
	m := readings.Mapping{Glob: "readings/*.csv", SiteID: readings.SiteID{Value: "K4"}, Time: readings.Time{Column: "utc_timestamp"},
		Channels: []readings.Channel{kWh(ingest.Production, "pv"), kWh(ingest.Import, "grid_import"), kWh(ingest.Export, "grid_export")}}
	sites := []Site{{ID: "K4", Location: mustZone(t, "Europe/Berlin"), LatitudeDeg: 47.66, LongitudeDeg: 9.18}}
	got, rep := readAll(t, fleetDir(t, map[string]string{"readings/k.csv": realFile(t, "konstanz-home4", "household_data_60min_residential4.csv")}), sites, []readings.Mapping{m}, Options{})
	if rep.Rows.Read != 11867 || rep.Rows.SetAside != 0 {
		t.Errorf("rows %+v %v", rep.Rows, rep.Rejects)
	}
	s := got["K4"]
	from := int(ingest.HourOf(time.Date(2016, 1, 1, 0, 0, 0, 0, time.UTC)) - s.Start)
	sum := func(c ingest.Channel) (kWh float64) {
		for _, v := range s.Wh[c][from : from+8784] {
			if v == v {
				kWh += v / 1000
			}
		}
		return kWh
	}
	for _, c := range []struct {
		c    ingest.Channel
		want float64
	}{{ingest.Production, 10891}, {ingest.Import, 3884}, {ingest.Export, 8649}} {
		if got := sum(c.c); math.Abs(got-c.want) > 0.6 {
			t.Errorf("%s of 2016 is %.2f kWh, want %g", c.c, got, c.want)
		}
	}
	for _, code := range []string{"derived_negative", "clock_changes", "counter_gap_out"} {
		if c := codes(s); !strings.Contains(c, code) {
			t.Errorf("quality %s, want %s in it", c, code)
		}
	}
	for _, q := range s.Quality {
		t.Logf("%s %s: %s (%d hours, consequence %d)", q.Code, q.Channel, q.Says, q.Hours, q.Consequence)
		if q.Code == "derived_negative" && q.Hours != 11 {
			t.Errorf("derived consumption is negative in %d hours, want 11", q.Hours)
		}
		if q.Consequence == ingest.RefuseChannel {
			t.Errorf("a channel of a good home is refused: %s", q.Says)
		}
	}
}

// NEM12 and Green Button through the whole way; the expectations are counted
// from the files by their own tests in package readings.
func TestOpenFormatsThroughTheLedger(t *testing.T) {
	dir := fleetDir(t, map[string]string{
		"readings/nem.csv":    realFile(t, "nem12", "Example_NEM12_month_solar.csv"),
		"readings/desert.xml": realFile(t, "greenbutton-espi", "Desert_Single_Family_Jan_1_2011_to_Jan_1_2012_RetailCustomer_7.xml"),
	})
	got, rep := readAll(t, dir, nil, nil, Options{})
	if rep.Rows.SetAside != 0 {
		t.Errorf("%+v", rep.Rejects)
	}
	nem := got["NMI1234567"]
	if nem.StepMinutes != 5 || nem.Len() != 31*24 || nem.Start != ingest.HourOf(time.Date(2023, 2, 28, 14, 0, 0, 0, time.UTC)) {
		t.Errorf("NEM12: step %d, %d hours from %v", nem.StepMinutes, nem.Len(), nem.Start.Time())
	}
	desert := got["desert"]
	kWh := 0.0
	for _, v := range desert.Wh[ingest.Import] {
		kWh += v / 1000
	}
	if desert.StepMinutes != 60 || desert.Len() != 8760 || !(kWh > 1000) {
		t.Errorf("Green Button: step %d, %d hours, %g kWh", desert.StepMinutes, desert.Len(), kWh)
	}
	for id, s := range got {
		for _, q := range s.Quality {
			t.Logf("%s: %s %s: %s", id, q.Code, q.Channel, q.Says)
		}
	}
}

// The clock that a Green Button file claims is held against the register's.
func TestClaimedClock(t *testing.T) {
	dir := fleetDir(t, map[string]string{"readings/desert.xml.zip": realFile(t, "greenbutton-espi", "Desert_Single_Family_Jan_1_2011_to_Jan_1_2012_RetailCustomer_7.xml")})
	for zone, noted := range map[string]bool{"America/Los_Angeles": false, "America/Phoenix": true, "America/Denver": true} {
		sites := []Site{{ID: "desert", Location: mustZone(t, zone), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
		got, rep := readAll(t, dir, sites, nil, Options{})
		if n := len(got["desert"].Wh[ingest.Import]); n != 8760 {
			t.Fatalf("%d hours, %v", n, rep.Rejects)
		}
		if n := strings.Join(rep.Notes, " "); strings.Contains(n, "check the register's timezone") != noted {
			t.Errorf("%s: notes %q", zone, n)
		}
	}
}
