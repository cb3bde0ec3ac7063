package ledger

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// lateRow is one hour of a file on the clock of Berlin, an hour ahead of UTC in
// winter.
type lateRow struct {
	Site   string `json:"site_id" parquet:"site_id"`
	Start  string `json:"start" parquet:"start"`
	Import int64  `json:"import_wh" parquet:"import_wh"`
}

const (
	lateClock = "2006-01-02 15:04"
	lateHours = 59 * 24 // the hours in time: January and February 2026
	lateWh    = 100     // of the first of them, each next one a Wh more
)

// lateRows are the hours in time, and between them one stamp of 2041, one of 2077
// and two of 9999.
func lateRows() []lateRow {
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) // the clock's own date and time
	var rows []lateRow
	for h := range lateHours {
		switch h {
		case 300:
			rows = append(rows, lateRow{"A", "2041-07-01 05:00", 7}, lateRow{"A", "9999-12-31 23:00", 7})
		case 900:
			rows = append(rows, lateRow{"A", "2077-01-01 05:00", 7}, lateRow{"A", "9999-07-01 02:00", 7})
		}
		rows = append(rows, lateRow{"A", at.Add(time.Duration(h) * time.Hour).Format(lateClock), int64(lateWh + h)})
	}
	return rows
}

func lateCSV(header, site string) string {
	b := strings.Builder{}
	b.WriteString(header)
	for _, r := range lateRows() {
		fmt.Fprintf(&b, "%s%s,%d\n", site, r.Start, r.Import)
	}
	return b.String()
}

func lateSheet(t *testing.T) string {
	x := excelize.NewFile()
	defer x.Close()
	x.SetSheetRow("Sheet1", "A1", &[]any{"site_id", "start", "import_wh"})
	for i, r := range lateRows() {
		x.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+2), &[]any{r.Site, r.Start, r.Import})
	}
	b, err := x.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// lateNEM has a day a line, of half hours in kWh, on a clock ten hours ahead of UTC
// all year (the specification of the format): two days come late, 2041 and 9999.
func lateNEM() string {
	b := strings.Builder{}
	b.WriteString("100,NEM12,202610010000,MDP,RET\n200,4001234567,E1,1,E1,N1,METER1,kWh,30,\n")
	day := func(date string, wh func(hour int) int) {
		b.WriteString("300," + date)
		for half := range 48 {
			fmt.Fprintf(&b, ",%.4f", float64(wh(half/2))/2000)
		}
		b.WriteString(",A,,,20261001000000,\n")
	}
	for d := range lateHours / 24 {
		day(time.Date(2026, 1, 1+d, 0, 0, 0, 0, time.UTC).Format("20060102"), func(hour int) int { return lateWh + 24*d + hour })
		if d == 20 {
			day("20410701", func(int) int { return 7 })
			day("99991231", func(int) int { return 7 })
		}
	}
	b.WriteString("900\n")
	return b.String()
}

// lateXML has seconds of UTC: two readings come late, of 2041 and 9999.
func lateXML() string {
	b := strings.Builder{}
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?><feed xmlns="http://www.w3.org/2005/Atom">
<entry><link rel="self" href="/UsagePoint/1"/><content><UsagePoint xmlns="http://naesb.org/espi"><ServiceCategory><kind>0</kind></ServiceCategory></UsagePoint></content></entry>
<entry><link rel="self" href="/UsagePoint/1/MeterReading/1"/><link rel="related" href="/ReadingType/1"/><content><MeterReading xmlns="http://naesb.org/espi"/></content></entry>
<entry><link rel="self" href="/ReadingType/1"/><content><ReadingType xmlns="http://naesb.org/espi"><accumulationBehaviour>4</accumulationBehaviour><commodity>1</commodity><flowDirection>1</flowDirection><intervalLength>3600</intervalLength><powerOfTenMultiplier>0</powerOfTenMultiplier><uom>72</uom></ReadingType></content></entry>
<entry><link rel="self" href="/UsagePoint/1/MeterReading/1/IntervalBlock/1"/><link rel="up" href="/UsagePoint/1/MeterReading/1/IntervalBlock"/><content><IntervalBlock xmlns="http://naesb.org/espi">
`)
	hour := func(at int64, wh int) {
		fmt.Fprintf(&b, "<IntervalReading><timePeriod><duration>3600</duration><start>%d</start></timePeriod><value>%d</value></IntervalReading>\n", at, wh)
	}
	for h := range lateHours {
		hour(1767222000+3600*int64(h), lateWh+h) // 2025-12-31T23:00Z
		if h == 300 {
			hour(2256260400, 7)   // 2041-07-01T03:00Z
			hour(253402297200, 7) // 9999-12-31T23:00Z
		}
	}
	b.WriteString("</IntervalBlock></content></entry></feed>\n")
	return b.String()
}

// Stamps of 2041, 2077 and 9999 among two months of hours, in every format, on a
// clock with summer time: every hour in time is there with its value, each late row
// is counted, and what was done with it is said. (Tables of clock changes end in
// 2037; from then on the clock's rule is worked out.)
func TestLateStampsCostNothingElse(t *testing.T) {
	local := readings.Time{Column: "start", Format: lateClock, Zone: "Europe/Berlin"}
	byName := func(suffix string) readings.SiteID {
		return readings.SiteID{File: `(?P<site_id>[^/]+)\.` + suffix + `$`}
	}
	inJSON, err := json.Marshal(lateRows())
	if err != nil {
		t.Fatal(err)
	}
	var inParquet bytes.Buffer
	if err := parquet.Write(&inParquet, lateRows()); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		text          string
		m             readings.Mapping
		read, refused int64 // rows
	}{
		"A.csv": {lateCSV("site_id,start,import_wh\n", "A,"), readings.Mapping{Time: local}, lateHours + 4, 2},
		"A.txt": {lateCSV("", ""), readings.Mapping{Format: "csv", NoHeader: true, SiteID: readings.SiteID{Value: "A"},
			Time:     readings.Time{Column: "#1", Format: lateClock, Zone: "Europe/Berlin"},
			Channels: []readings.Channel{{Channel: ingest.Import, Column: "#2"}}}, lateHours + 4, 2},
		"A.json":    {string(inJSON), readings.Mapping{Time: local}, lateHours + 4, 2},
		"A.xlsx":    {lateSheet(t), readings.Mapping{Time: local}, lateHours + 4, 2},
		"A.parquet": {inParquet.String(), readings.Mapping{Time: local}, lateHours + 4, 2},
		"A.nem":     {lateNEM(), readings.Mapping{Format: "nem12", SiteID: byName("nem")}, 2 * (lateHours + 48), 48},
		"A.xml":     {lateXML(), readings.Mapping{Format: "green_button", SiteID: byName("xml")}, lateHours + 2, 1},
	} {
		t.Run(name, func(t *testing.T) {
			dir := fleetDir(t, map[string]string{"readings/" + name: c.text})
			written := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
			if err := os.Chtimes(filepath.Join(dir, "readings", name), written, written); err != nil {
				t.Fatal(err)
			}
			c.m.Glob = "readings/*"
			if c.m.Format == "nem12" {
				c.m.Time.Zone = "Europe/Berlin" // which these files do not keep to
			}
			series, rep := readAll(t, dir, nil, []readings.Mapping{c.m}, Options{})
			if want := (Rows{Read: c.read, Kept: c.read - c.refused, SetAside: c.refused}); rep.Rows != want {
				t.Errorf("rows %+v, want %+v", rep.Rows, want)
			}
			if said := strings.Contains(strings.Join(rep.Notes, "\n"), "time.zone Europe/Berlin is passed over"); said != (c.m.Format == "nem12") {
				t.Errorf("notes %q", rep.Notes)
			}
			if len(rep.Rejects) == 0 {
				t.Error("nothing is said of 9999")
			}
			for _, r := range rep.Rejects {
				if !strings.Contains(r.Reason, "outside the years 1970 to 2200") {
					t.Errorf("line %d: %s", r.Line, r.Reason)
				}
			}
			s := series["A"]
			first := time.Date(2025, 12, 31, 23, 0, 0, 0, time.UTC)
			if c.m.Format == "nem12" {
				first = first.Add(-9 * time.Hour)
			}
			if s.Start.Time() != first || s.Len() != lateHours {
				t.Fatalf("%d hours from %v on", s.Len(), s.Start.Time())
			}
			for h, wh := range s.Wh[ingest.Import] {
				if wh != float64(lateWh+h) {
					t.Fatalf("hour %d is %g Wh, want %d", h, wh, lateWh+h)
				}
			}
			said := ""
			for _, q := range s.Quality {
				if q.Code == "stray_stamp" {
					said += q.Says
				}
			}
			if said == "" {
				t.Errorf("nothing is said of 2041: %v", s.Quality)
			}
		})
	}
}
