package ledger

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// parquetText writes rows with the given row type in small pages and row
// groups.
func parquetText[T any](t testing.TB, rows []T, o ...parquet.WriterOption) string {
	t.Helper()
	var b bytes.Buffer
	w := parquet.NewGenericWriter[T](&b, append(o, parquet.PageBufferSize(700), parquet.MaxRowsPerRowGroup(1000))...)
	if _, err := w.Write(rows); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func number(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

// The same rows in the shapes that Parquet writers give them come out as from
// the contract's CSV.
func TestParquetShapes(t *testing.T) {
	rows := invented(4, 6, 15)
	for i := range rows {
		for c := range rows[i].wh {
			rows[i].wh[c] = math.Round(rows[i].wh[c]) // so that whole numbers can hold them too
		}
	}
	want, _ := fresh(t, map[string]string{"readings/a.csv": text(rows, contractColumns, 1, 0)}, nil)

	type contract struct {
		Site        string    `parquet:"site_id,dict,zstd"`
		Start       time.Time `parquet:"start,timestamp(millisecond),delta"`
		Production  *float64  `parquet:"production_wh"`
		Consumption *float64  `parquet:"consumption_wh,dict"`
		Import      *float64  `parquet:"import_wh,split"`
		Export      *float64  `parquet:"export_wh"`
		Note        string    `parquet:"note"`
	}
	type loose struct { // plain strings, kWh in float, microseconds without a zone, NaN for missing, another order
		Export      float32 `parquet:"sold_kwh"`
		Import      float64 `parquet:"bought_kwh"`
		When        int64   `parquet:"when"`
		Consumption float32 `parquet:"used_kwh,snappy"`
		Production  float64 `parquet:"made_kwh"`
		Site        string  `parquet:"home"`
	}
	type texts struct {
		Site  string `parquet:"site_id"`
		Start string `parquet:"start,dict"`
		Values
	}
	var a []contract
	var b []loose
	var c []texts
	for _, r := range rows {
		a = append(a, contract{r.site, r.at, number(r.wh[0]), number(r.wh[1]), number(r.wh[2]), number(r.wh[3]), "x"})
		b = append(b, loose{float32(r.wh[3] / 1000), r.wh[2] / 1000, r.at.Unix(), float32(r.wh[1] / 1000), r.wh[0] / 1000, r.site})
		v := texts{Site: r.site, Start: r.at.Format(time.RFC3339)}
		for k, p := range []**int64{&v.Production, &v.Consumption, &v.Import, &v.Export} {
			if !math.IsNaN(r.wh[k]) {
				n := int64(r.wh[k])
				*p = &n
			}
		}
		c = append(c, v)
	}
	kWh := readings.Mapping{Glob: "readings/*.parquet", SiteID: readings.SiteID{Column: "home"}, Time: readings.Time{Column: "when", Format: "unix"}}
	for k, column := range []string{"made_kwh", "used_kwh", "bought_kwh", "sold_kwh"} {
		kWh.Channels = append(kWh.Channels, readings.Channel{Channel: ingest.Channel(k), Column: column, Unit: "kWh"})
	}
	for _, w := range []struct {
		name     string
		content  string
		mappings []readings.Mapping
	}{
		{"the contract's", parquetText(t, a), nil},
		{"page format version 1", parquetText(t, a, parquet.DataPageVersion(1)), nil},
		{"other names, floats and unix seconds", parquetText(t, b), []readings.Mapping{kWh}},
		{"stamps as text, whole numbers", parquetText(t, c), nil},
	} {
		t.Run(w.name, func(t *testing.T) {
			got, rep := readAll(t, fleetDir(t, map[string]string{"readings/a.parquet": w.content}), nil, w.mappings, Options{})
			if d := cmp.Diff(want, got, exactSeries); d != "" {
				t.Error(d)
			}
			if rep.Rows.Read != int64(len(rows)) || rep.Rows.SetAside != 0 {
				t.Errorf("%+v %v", rep.Rows, rep.Rejects)
			}
		})
	}
}

// Values are the contract's columns as whole numbers that may be missing.
type Values struct {
	Production  *int64 `parquet:"production_wh"`
	Consumption *int64 `parquet:"consumption_wh"`
	Import      *int64 `parquet:"import_wh"`
	Export      *int64 `parquet:"export_wh"`
}

func TestParquetWide(t *testing.T) {
	type wide struct {
		Time time.Time `parquet:"time,timestamp(microsecond)"`
		A    *float64  `parquet:"A"`
		B    *float64  `parquet:"B"`
	}
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	rows := []wide{{at, number(1), number(2)}, {at.Add(time.Hour), nil, number(3)}, {at.Add(2 * time.Hour), number(5), number(math.Inf(1))}}
	m := readings.Mapping{Glob: "readings/*.parquet", Layout: "wide", Time: readings.Time{Column: "time"}, Channels: []readings.Channel{{Channel: ingest.Consumption}}}
	got, rep := readAll(t, fleetDir(t, map[string]string{"readings/a.parquet": parquetText(t, rows)}), nil, []readings.Mapping{m}, Options{})
	if h := hours(got["A"], ingest.Consumption); h != "2026-03-01T00: 1 . 5" {
		t.Error(h)
	}
	if h := hours(got["B"], ingest.Consumption); h != "2026-03-01T00: 2 3 ." {
		t.Error(h)
	}
	if rep.Rows.SetAside != 1 || rep.Rejects[0].Line != 3 || rep.Rejects[0].Column != "B" {
		t.Errorf("%+v %+v", rep.Rows, rep.Rejects)
	}
}

// Sites may be numbers too.
func TestParquetSitesByNumber(t *testing.T) {
	type row struct {
		Site int64     `parquet:"site_id"`
		Time time.Time `parquet:"start,timestamp(microsecond)"`
		Made float64   `parquet:"production_wh"`
	}
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	rows := []row{{7, at, 1}, {7, at.Add(time.Hour), 2}, {1234, at, 3}, {1234, at.Add(time.Hour), 4}, {7, at.Add(2 * time.Hour), 5}}
	got, rep := readAll(t, fleetDir(t, map[string]string{"readings/a.parquet": parquetText(t, rows)}), nil, nil, Options{})
	if h := hours(got["7"], ingest.Production) + " " + hours(got["1234"], ingest.Production); h != "2026-03-01T00: 1 2 5 2026-03-01T00: 3 4" || rep.Rows.SetAside != 0 {
		t.Errorf("%s %+v", h, rep.Rows)
	}
}

// A timestamp that carries no zone is refused until the mapping states one.
func TestParquetTimestampWithoutZone(t *testing.T) {
	schema := parquet.NewSchema("x", parquet.Group{
		"site_id":   parquet.String(),
		"start":     parquet.TimestampAdjusted(parquet.Millisecond, false),
		"import_wh": parquet.Leaf(parquet.DoubleType),
	})
	var b bytes.Buffer
	w := parquet.NewWriter(&b, schema)
	at := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC).UnixMilli()
	for i := range 3 {
		row := parquet.Row{parquet.DoubleValue(float64(i)).Level(0, 0, 0), parquet.ByteArrayValue([]byte("A")).Level(0, 0, 1), parquet.Int64Value(at+int64(i)*3600_000).Level(0, 0, 2)}
		if _, err := w.WriteRows([]parquet.Row{row}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	dir := fleetDir(t, map[string]string{"readings/a.parquet": b.String()})
	_, rep := readAll(t, dir, nil, nil, Options{})
	if len(rep.Rejects) != 1 || rep.Rejects[0].Line != 0 {
		t.Fatalf("rejects %+v", rep.Rejects)
	}
	sites := []Site{{ID: "A", Location: mustZone(t, "America/Denver"), LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN()}}
	got, _ := readAll(t, dir, sites, []readings.Mapping{{Glob: "readings/*.parquet", Time: readings.Time{Zone: "site"}}}, Options{})
	if h := hours(got["A"], ingest.Import); h != "2026-07-01T06: 0 1 2" {
		t.Error(h)
	}
}
