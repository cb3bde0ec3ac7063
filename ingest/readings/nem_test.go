package readings

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"rowen/ingest"
	"rowen/scripts/outside"
)

// nemTwin sums the values of the E and B streams of a file with nothing but
// encoding/csv: per suffix letter, in kWh.
func nemTwin(t *testing.T, path string) (sum map[byte]float64, values int) {
	t.Helper()
	in, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	r := csv.NewReader(in)
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sum = map[byte]float64{}
	suffix, factor, n := byte(0), 0.0, 0
	for _, rec := range all {
		switch rec[0] {
		case "200":
			minutes, _ := strconv.Atoi(rec[8])
			suffix, n = rec[4][0], 1440/minutes
			factor = map[string]float64{"KWH": 1, "WH": 0.001}[strings.ToUpper(rec[7])]
		case "300":
			if factor == 0 || suffix != 'E' && suffix != 'B' {
				continue
			}
			for _, v := range rec[2 : 2+n] {
				x, err := strconv.ParseFloat(v, 64)
				if err != nil {
					t.Fatal(err)
				}
				sum[suffix] += x * factor
				values++
			}
		}
	}
	return sum, values
}

// The real files against a twin that only adds up columns; they have no values
// without a reading, and each stream's days are there once.
func TestNEMFiles(t *testing.T) {
	for _, name := range []string{
		"Example_NEM12_actual_interval.csv", "Example_NEM12_different_interval_length.csv", "Example_NEM12_month_solar.csv",
		"Example_NEM12_multiple_meters.csv", "Example_NEM12_multiple_quality.csv", "Example_NEM12_no_scheduled_read.csv",
		"Example_NEM12_substituted_interval.csv", "Example_NEM12_upper_case_units.csv",
	} {
		path := outside.Data(t, "nem12", name)
		want, values := nemTwin(t, path)
		f := prepare(t, path, Mapping{Format: "nem12"})
		sum := map[ingest.Channel]float64{}
		tally, err := f.Parts()[0].Read(context.Background(), NewNames(), Limits{MaxRejects: 10}, func(b *Batch) error {
			for c := range ingest.NumChannels {
				for i := range b.Len() {
					if b.Has[c] && b.Value[c][i] != Missing {
						sum[c] += float64(b.Value[c][i]) / 1e6
					}
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(name, err)
		}
		if math.Abs(sum[ingest.Import]-want['E']) > 1e-6 || math.Abs(sum[ingest.Export]-want['B']) > 1e-6 {
			t.Errorf("%s: import %g, export %g; want %g, %g", name, sum[ingest.Import], sum[ingest.Export], want['E'], want['B'])
		}
		if tally.Rows != int64(values) || tally.SetAside != 0 {
			t.Errorf("%s: %d read, %d aside, want %d: %v", name, tally.Rows, tally.SetAside, values, tally.Rejects)
		}
	}
}

// Times, lengths and qualities of the files, read off them by eye.
func TestNEMDetails(t *testing.T) {
	at := func(s string) int64 {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.Unix()
	}
	got, tally := cells(t, prepare(t, outside.Data(t, "nem12", "Example_NEM12_multiple_quality.csv"), Mapping{Format: "nem12"}))
	in := got[ingest.Import]
	// 2004-04-17 begins at 14:00 UTC the day before; intervals 1 to 20 are F,
	// 21 to 24 A, 25 to 48 S.
	first := in[at("2004-04-16T14:00:00Z")]
	if first.kWh != 18.023 || first.seconds != 1800 || first.flags != Estimated {
		t.Errorf("first %+v", first)
	}
	if v := in[at("2004-04-16T14:00:00Z")+20*1800]; v.flags != 0 {
		t.Errorf("interval 21 is %+v", v)
	}
	if v := in[at("2004-04-16T14:00:00Z")+24*1800]; v.flags != Estimated {
		t.Errorf("interval 25 is %+v", v)
	}
	if len(in) != 48 || len(tally.Notes) != 0 {
		t.Errorf("%d intervals, notes %v", len(in), tally.Notes)
	}

	// Two import streams are added up; the voltage is left out, and said.
	got, tally = cells(t, prepare(t, outside.Data(t, "nem12", "Example_NEM12_different_interval_length.csv"), Mapping{Format: "nem12"}))
	if v := got[ingest.Import][at("2004-04-01T14:00:00Z")]; v.kWh != 9+4 {
		t.Errorf("E1 + E2 at first is %+v, want 13", v)
	}
	if len(tally.Notes) != 1 || !strings.Contains(tally.Notes[0], "V1") {
		t.Errorf("notes %v", tally.Notes)
	}

	// A channel that covers part of the month leaves the rest missing.
	got, _ = cells(t, prepare(t, outside.Data(t, "nem12", "Example_NEM12_partialchannel.csv"), Mapping{Format: "nem12"}))
	if len(got[ingest.Export]) == len(got[ingest.Import]) {
		t.Errorf("export has %d intervals as import", len(got[ingest.Export]))
	}

	// NEM13 is set aside with the row that bills.csv wants.
	_, tally = cells(t, prepare(t, outside.Data(t, "nem12", "Example_NEM13_consumption_data.csv"), Mapping{}))
	if tally.Rows != 1 || tally.SetAside != 1 || !strings.Contains(tally.Rejects[0].Reason, "from 2003-10-05, to 2004-01-07, import_kwh 1312.1 kWh") {
		t.Errorf("NEM13 %+v", tally)
	}
}

func TestNEMBadRecords(t *testing.T) {
	text := "100,NEM12,200405011135,MDA1,Ret1\n" +
		"200,A,E1,1,E1,N1,M,kWh,60,\n" +
		"300,20040201," + strings.Repeat("1,", 23) + "A\n" + // one value short
		"300,2004020," + strings.Repeat("1,", 24) + "A,,,\n" +
		"300,20040202," + strings.Repeat("1,", 23) + "x,A,,,\n" +
		"300,20040203," + strings.Repeat("1,", 24) + "N,,,\n" +
		"999\n900\n"
	f := prepared(t, Mapping{Format: "nem12"}, "a.csv", text)
	got, tally := cells(t, f)
	if tally.Rows != 4*24+1 || tally.SetAside != 24+24+1+1 || len(got[ingest.Import]) != 23 {
		t.Errorf("%d cells, %+v", len(got[ingest.Import]), tally)
	}
	for i, line := range []int{3, 4, 5, 7} {
		if tally.Rejects[i].Line != line {
			t.Errorf("reject %d is on line %d, want %d", i, tally.Rejects[i].Line, line)
		}
	}
}

func FuzzNEM(f *testing.F) {
	day := strings.Repeat("1.5,", 24)
	for _, s := range []string{
		"200,A,E1,1,E1,N1,M,kWh,60,\n300,20040201," + day + "V,,,\n400,1,12,A,,\n400,13,24,S14,76,\n900\n",
		"200,A,E1B1,1,B1,N1,M,Wh,60,\n300,20040201," + day + "A\n200,B,E1,1,E1,N1,M,kW,30,\n",
		"250,VABC005890,11,1,11,11,METSER123,E,006342.8,20031005093055,A,,,007654.9,20040107100333,A,,,1312.1,kWh,20040407,\n900\n",
		"300,1\n400,1,2\n200\n",
	} {
		f.Add("100,NEM12,200405011135,MDA1,Ret1\n" + s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		file := prepared(t, Mapping{Format: "nem12"}, "a.txt", "site_id,start,import_wh\n"+text)
		file.Format = "nem12"
		tally, err := file.Parts()[0].Read(context.Background(), NewNames(), Limits{MaxRejects: 10}, func(b *Batch) error {
			for _, r := range b.Stretch {
				if r.Length < 60 || r.Length > 3600 {
					t.Errorf("length %d", r.Length)
				}
			}
			return nil
		})
		if err == nil && tally.SetAside > tally.Rows {
			t.Errorf("tally %+v", tally)
		}
	})
}

// Two import streams of which one lacks a day in its midst: the sum of that day
// is not known; before it begins and after it ends the other stands alone.
func TestNEMStreamWithAHole(t *testing.T) {
	day := func(d string, v string) string { return "300," + d + strings.Repeat(","+v, 24) + ",A,,,\n" }
	text := "100,NEM12,200405011135,MDA1,Ret1\n" +
		"200,A,E1E2,1,E1,N1,M,kWh,60,\n" + day("20240201", "1") + day("20240202", "1") + day("20240203", "1") + day("20240204", "1") + day("20240205", "1") +
		"200,A,E1E2,2,E2,N1,M,kWh,60,\n" + day("20240202", "10") + day("20240204", "10") + "900\n"
	got, _ := cells(t, prepared(t, Mapping{Format: "nem12"}, "a.csv", text))
	first := time.Date(2024, 1, 31, 14, 0, 0, 0, time.UTC).Unix()
	for d, want := range []float64{1, 11, -1, 11, 1} {
		v, ok := got[ingest.Import][first+int64(d)*86400]
		if ok != (want > 0) || ok && v.kWh != want {
			t.Errorf("day %d: %g %v, want %g", d+1, v.kWh, ok, want)
		}
	}
}
