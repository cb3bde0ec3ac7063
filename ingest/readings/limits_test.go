package readings

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"rowen/ingest"
)

// TestLimitsReachEveryReader: what the settings allow of a line or of a packed
// file holds for weather, JSON, folded text and workbooks as for plain text.
func TestLimitsReachEveryReader(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	long := strings.Repeat("x", 3000)
	put("weather/stations.csv", "station_id,latitude,longitude\nA,40,-105\n")
	put("weather/a.csv", "station_id,start,temp_c\nA,2026-03-01T00:00Z,1\n"+long+"\n")
	put("wide.csv", "id;at;value\nA;2026-03-01T00:00Z;1\n"+long+";2026-03-01T01:00Z;1\n")
	folded := Mapping{NoHeader: true, Delimiter: ";", SiteID: SiteID{Column: "#1"}, Time: Time{Column: "#2"}, Channels: []Channel{{Channel: ingest.Import, Column: "#3"}}}
	small := Limits{MaxRejects: 10, LineBytes: 1000, UnpackedRatio: 10}

	for _, o := range []Limits{small, {MaxRejects: 10}} {
		tight := o.LineBytes > 0
		_, rejects, err := ReadWeather(filepath.Join(dir, "weather"), o)
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.Contains(fmt.Sprint(rejects), "max_line_mb"); said != tight {
			t.Errorf("weather under %+v: %v", o, rejects)
		}
		if _, err := readWhole(dir, "wide.csv", folded, o); (err != nil && strings.Contains(err.Error(), "max_line_mb")) != tight {
			t.Errorf("folded text under %+v: %v", o, err)
		}
	}

	// A workbook of equal cells unpacks some twenty times; with a ratio of one it is refused.
	x := excelize.NewFile()
	w, _ := x.NewStreamWriter("Sheet1")
	w.SetRow("A1", []any{"site_id", "start", "import_wh"})
	for i := range 300_000 {
		w.SetRow(fmt.Sprintf("A%d", i+2), []any{"A", "2026-03-01T00:00Z", 1, 1, 1, 1, 1, 1, 1, 1})
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := x.SaveAs(filepath.Join(dir, "a.xlsx")); err != nil {
		t.Fatal(err)
	}
	x.Close()
	if _, err := openSheets(filepath.Join(dir, "a.xlsx"), "", Limits{UnpackedRatio: 1}); err == nil || !strings.Contains(err.Error(), "unzip") {
		t.Errorf("a workbook that unpacks far: %v", err)
	}
}

// TestParquetThatUnpacksFar: thirty million equal values in a few kilobytes are
// refused before a page of them is held.
func TestParquetThatUnpacksFar(t *testing.T) {
	type row struct {
		SiteID string  `parquet:"site_id,dict"`
		Start  int64   `parquet:"start,timestamp(millisecond)"`
		Import float64 `parquet:"import_wh,plain"`
	}
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "a.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	w := parquet.NewGenericWriter[row](f, parquet.Compression(&parquet.Zstd))
	rows := make([]row, 1<<16)
	for i := range rows {
		rows[i] = row{"A", 1767225600000, 1}
	}
	for range 200 {
		if _, err := w.Write(rows); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	f.Close()
	if _, err := readWhole(dir, "a.parquet", Mapping{}, Limits{MaxRejects: 10, UnpackedRatio: 10}); err == nil || !strings.Contains(err.Error(), "limits.max_unpacked_ratio") {
		t.Errorf("%v", err)
	}
}

// TestLateStamps: stamps beyond what tables of clock changes hold are read or
// refused at once by every reader, on a clock with summer time.
func TestLateStamps(t *testing.T) {
	local := Time{Column: "start", Format: "2006-01-02 15:04", Zone: "Europe/Berlin"}
	nem := func(day string) string {
		return "100,NEM12,202610010000,MDP,RET\n200,4001234567,E1,1,E1,N1,METER1,kWh,30,\n300," + day + strings.Repeat(",1", 48) + ",A,,,20261001000000,\n900\n"
	}
	for name, c := range map[string]struct {
		text           string
		m              Mapping
		rows, setAside int64
	}{
		"a.csv":  {"site_id,start,import_wh\nA,2041-07-01 05:00,1\nA,2077-01-01 05:00,1\nA,9999-12-31 23:00,1\n", Mapping{Time: local}, 3, 1},
		"b.csv":  {"2041-07-01 05:00,1\n9999-12-31 23:00,1\n", Mapping{NoHeader: true, SiteID: SiteID{Value: "A"}, Time: Time{Column: "#1", Format: local.Format, Zone: local.Zone}, Channels: []Channel{{Channel: ingest.Import, Column: "#2"}}}, 2, 1},
		"a.json": {`[{"site_id":"A","start":"2041-07-01 05:00","import_wh":1},{"site_id":"A","start":"9999-12-31 05:00","import_wh":1}]`, Mapping{Time: local}, 2, 1},
		"a.nem":  {nem("20410701"), Mapping{Format: "nem12", SiteID: SiteID{File: `(?P<site_id>[^/]+)\.nem$`}, Time: Time{Zone: local.Zone}}, 48, 0},
		"z.nem":  {nem("99991231"), Mapping{Format: "nem12", SiteID: SiteID{File: `(?P<site_id>[^/]+)\.nem$`}, Time: Time{Zone: local.Zone}}, 48, 48},
		"a.xml": {`<feed xmlns="http://www.w3.org/2005/Atom"><entry><content><IntervalBlock xmlns="http://naesb.org/espi"><IntervalReading><timePeriod><duration>3600</duration><start>99999999999999</start></timePeriod><value>1</value></IntervalReading></IntervalBlock></content></entry></feed>`,
			Mapping{Format: "green_button", SiteID: SiteID{File: `(?P<site_id>[^/]+)\.xml$`}}, 1, 1},
	} {
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, name), []byte(c.text), 0o666)
		done := make(chan error, 1)
		go func() {
			total, err := readWhole(dir, name, c.m, Limits{MaxRejects: 10})
			if err == nil && (total.Rows != c.rows || total.SetAside != c.setAside) {
				err = fmt.Errorf("%d rows and %d set aside, want %d and %d", total.Rows, total.SetAside, c.rows, c.setAside)
			}
			done <- err
		}()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%s: still reading after ten seconds", name)
		}
	}
	dir := filepath.Join(t.TempDir(), "weather")
	os.MkdirAll(dir, 0o777)
	os.WriteFile(filepath.Join(dir, "stations.csv"), []byte("station_id,latitude,longitude\nA,40,-105\n"), 0o666)
	os.WriteFile(filepath.Join(dir, "a.csv"), []byte("station_id,start,temp_c\nA,9999-12-31T23:00Z,1\nA,2041-07-01T00:00Z,1\nA,2026-07-01T00:00Z,1\n"), 0o666)
	stations, rejects, err := ReadWeather(dir, Limits{})
	if err != nil || len(stations) != 1 || len(rejects) != 1 || rejects[0].Line != 2 {
		t.Fatalf("%d stations, rejects %v, %v", len(stations), rejects, err)
	}
	// From 2026-07-01 to 2041-07-01 there are 15 years, four of them with a leap day:
	// the two hours that are in time or late are there, and none between them.
	st := stations[0]
	if st.Start.Time() != time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC) || st.Len() != (15*365+4)*24+1 {
		t.Fatalf("%d hours from %v on", st.Len(), st.Start.Time())
	}
	for i, c := range st.TempC {
		if there := i == 0 || i == st.Len()-1; there && c != 1 || !there && c == c {
			t.Fatalf("hour %d is %g", i, c)
		}
	}
}

// FuzzWorkbook: damaged bytes of a workbook are that file's error.
func FuzzWorkbook(f *testing.F) {
	x := excelize.NewFile()
	x.SetSheetRow("Sheet1", "A1", &[]any{"site_id", "start", "import_wh"})
	for i := range 30 {
		x.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+2), &[]any{"A", fmt.Sprintf("2026-03-01T%02d:00Z", i%24), i})
	}
	b, err := x.WriteToBuffer()
	if err != nil {
		f.Fatal(err)
	}
	x.Close()
	whole := b.Bytes()
	f.Add(0, byte(1), len(whole))
	for at := 1; at < len(whole); at += len(whole) / 30 {
		f.Add(at, byte(1<<(at%8)), len(whole))
		f.Add(at, byte(0xff), at)
	}
	f.Fuzz(func(t *testing.T, at int, flip byte, length int) {
		if at < 0 || at >= len(whole) || length < 0 || length > len(whole) {
			return
		}
		bad := append([]byte(nil), whole...)
		bad[at] ^= flip
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, "a.xlsx"), bad[:length], 0o666)
		readWhole(dir, "a.xlsx", Mapping{}, Limits{MaxRejects: 10})
	})
}

// A footer whose length is damaged is the file's error, and costs no memory.
func TestParquetFooterThatClaimsGigabytes(t *testing.T) {
	bad := parquetSeed(t)
	bad[len(bad)-5] ^= 'H' // the highest byte of the footer's length: 1.2 GB more
	dir := t.TempDir()
	os.WriteFile(filepath.Join(dir, "a.parquet"), bad, 0o644)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := readWhole(dir, "a.parquet", Mapping{}, Limits{MaxRejects: 10})
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; err == nil || took > 20<<20 {
		t.Errorf("%d MB were set aside; %v", took>>20, err)
	}
}

// A note that lists columns is short, however long their names are.
func TestLongColumnsAreListedShort(t *testing.T) {
	if got := nameList([]string{"a", strings.Repeat("b", 1<<20)}); len(got) > 500 || !strings.HasPrefix(got, "a, bbb") {
		t.Errorf("%d bytes: %.40s", len(got), got)
	}
}
