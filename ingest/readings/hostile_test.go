package readings

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
)

// gzipped writes a packed file of what fill writes.
func gzipped(t *testing.T, path string, fill func(w io.Writer)) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(f)
	fill(z)
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	f.Close()
}

func repeat(w io.Writer, text string, bytes int) {
	block := strings.Repeat(text, max(1, (1<<20)/len(text)))
	for n := 0; n < bytes; n += len(block) {
		io.WriteString(w, block)
	}
}

// readWhole reads a file as the ledger does, and gives its tally and error.
func readWhole(dir, name string, m Mapping, o Limits) (Tally, error) {
	f, err := Prepare(dir, name, m, o)
	if err != nil {
		return Tally{}, err
	}
	total := Tally{}
	for _, p := range f.Parts() {
		tally, err := p.Read(context.Background(), NewNames(), o, func(*Batch) error { return nil })
		if err == nil && tally.Odd {
			tally, err = f.ReadPlain(context.Background(), NewNames(), o, func(*Batch) error { return nil })
		}
		if err != nil {
			return total, err
		}
		total.Rows += tally.Rows
		total.SetAside += tally.SetAside
		total.Rejects = append(total.Rejects, tally.Rejects...)
		total.Lines += tally.Lines
	}
	return total, nil
}

// One stray quote costs its own line, wherever it stands; the rest of the file
// is read, and nothing is passed over without a count.
func TestStrayQuotes(t *testing.T) {
	const lines = 12000
	good := make([]string, lines)
	for i := range good {
		good[i] = fmt.Sprintf("S-1,%s,%d,7", time.Unix(1767225600+int64(i)*900, 0).UTC().Format(time.RFC3339), i)
	}
	header := "site_id,start,production_wh,consumption_wh"
	for name, spoil := range map[string]func(lines []string) int{
		"none":               func([]string) int { return 0 },
		"an opening quote":   func(l []string) int { l[190] = strings.Replace(l[190], ",7", `,"7`, 1); return 1 },
		"a quote in a field": func(l []string) int { l[190] = strings.Replace(l[190], ",7", `,7"`, 1); return 1 },
		"two, five lines apart": func(l []string) int {
			l[190] = strings.Replace(l[190], ",7", `,"7`, 1)
			l[195] = strings.Replace(l[195], ",7", `,7"`, 1)
			return 2
		},
		"two that close a field": func(l []string) int {
			l[190] = strings.Replace(l[190], ",7", `,"7`, 1)
			l[195] += `"`
			return 2
		},
		"on the last line":  func(l []string) int { l[lines-1] = `"` + l[lines-1]; return 1 },
		"on the first line": func(l []string) int { l[0] = `"` + l[0]; return 1 },
		"on forty lines": func(l []string) int {
			for i := range 40 {
				l[200+i*3] = `"` + l[200+i*3]
			}
			return 40
		},
	} {
		for _, ending := range []string{".csv", ".csv.gz"} {
			rows := append([]string{}, good...)
			bad := spoil(rows)
			dir := t.TempDir()
			text := header + "\n" + strings.Join(rows, "\n") + "\n"
			if ending == ".csv" {
				os.WriteFile(filepath.Join(dir, "a.csv"), []byte(text), 0o644)
			} else {
				gzipped(t, filepath.Join(dir, "a.csv.gz"), func(w io.Writer) { io.WriteString(w, text) })
			}
			tally, err := readWhole(dir, "a"+ending, Mapping{}, Limits{MaxRejects: 100})
			if err != nil || tally.Rows != lines || tally.SetAside != int64(bad) {
				t.Errorf("%s%s: %d rows, %d set aside, want %d and %d: %v", name, ending, tally.Rows, tally.SetAside, lines, bad, err)
			}
		}
	}
}

// A remark of several lines in a column that is kept out is no fault.
func TestQuotedRemarksOfSeveralLines(t *testing.T) {
	dir := t.TempDir()
	os.WriteFile(filepath.Join(dir, "a.csv"), []byte("site_id,start,import_wh,remark\nA,2026-03-01T00:00Z,1,\"two\nlines, \"\"quoted\"\"\"\nA,2026-03-01T01:00Z,2,\n"), 0o644)
	tally, err := readWhole(dir, "a.csv", Mapping{}, Limits{MaxRejects: 9})
	if err != nil || tally.Rows != 2 || tally.SetAside != 0 {
		t.Errorf("%+v %v", tally, err)
	}
}

// Files that unpack to a line, a record, a text or a number of things that no
// export has are refused, by whatever reader meets them, in bounded memory.
func TestFilesThatFillMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: unpacks a gigabyte")
	}
	const big = 300 << 20
	feed := `<feed xmlns="http://www.w3.org/2005/Atom">`
	head := "site_id,start,import_wh\n"
	for name, c := range map[string]struct {
		file string
		m    Mapping
		fill func(w io.Writer)
	}{
		"a line of CSV":            {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, head+"A,"); repeat(w, "1", big) }},
		"a header":                 {"a.csv.gz", Mapping{}, func(w io.Writer) { repeat(w, "a", big) }},
		"a quoted field":           {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, head+`A,"`); repeat(w, "x\n", big) }},
		"a quoted field, one line": {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, head+`A,"`); repeat(w, "x", big) }},
		"fields":                   {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, head); repeat(w, ",", big) }},
		"a wide line":              {"a.csv.gz", Mapping{Layout: "wide", Channels: []Channel{{Channel: ingest.Import}}}, func(w io.Writer) { io.WriteString(w, "start,A\n2026-03-01T00:00Z,"); repeat(w, "1", big) }},
		"a line of NEM12":          {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, "100,NEM12,202601010000,A,B\n200,"); repeat(w, "x", big) }},
		"a day of NEM12": {"a.csv.gz", Mapping{}, func(w io.Writer) {
			io.WriteString(w, "100,NEM12,202601010000,A,B\n300,20260101,")
			repeat(w, "1,", big)
		}},
		"a text of XML":       {"a.xml.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, feed+"<entry><title>"); repeat(w, "x", big) }},
		"a comment of XML":    {"a.xml.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, feed+"<!-- "); repeat(w, "> x <", big) }},
		"an attribute of XML": {"a.xml.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, feed+`<entry a="`); repeat(w, "x", big) }},
		"depth of XML":        {"a.xml.gz", Mapping{}, func(w io.Writer) { repeat(w, "<a>", big) }},
		"entries of XML": {"a.xml.gz", Mapping{}, func(w io.Writer) {
			io.WriteString(w, feed)
			repeat(w, `<entry><x xmlns="http://naesb.org/espi"><b>1</b></x></entry>`, big)
		}},
		"links of XML": {"a.xml.gz", Mapping{}, func(w io.Writer) {
			io.WriteString(w, feed)
			repeat(w, `<entry>`+strings.Repeat(`<link rel="related" href="`+strings.Repeat("x", 3000)+`"/>`, 200)+`</entry>`, big)
		}},
		"an endless file": {"a.csv.gz", Mapping{}, func(w io.Writer) { io.WriteString(w, head); repeat(w, "\n", big) }},
		"JSON":            {"a.json.gz", Mapping{Format: "json"}, func(w io.Writer) { io.WriteString(w, "["); repeat(w, "0,", big) }},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			gzipped(t, filepath.Join(dir, c.file), c.fill)
			peak := peakOf(func() {
				tally, err := readWhole(dir, c.file, c.m, Limits{MaxRejects: 10})
				if err == nil && tally.SetAside == 0 && name != "an endless file" {
					t.Errorf("not refused: %+v", tally)
				}
			})
			if peak > 600<<20 {
				t.Errorf("took %d MB", peak>>20)
			}
		})
	}
}

// peakOf is the most memory that was held while do ran.
func peakOf(do func()) (peak uint64) {
	stop, done := make(chan bool), make(chan bool)
	go func() {
		defer close(done)
		var m runtime.MemStats
		for {
			runtime.ReadMemStats(&m)
			peak = max(peak, m.HeapInuse)
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	do()
	close(stop)
	<-done
	runtime.GC()
	return peak
}

// Weather files with stray quotes, without a line, or that are none.
func TestHostileWeather(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "weather")
	os.Mkdir(dir, 0o755)
	files := map[string]string{
		"stations.csv": "station_id,latitude,longitude\nA,40,-105\nB,\"40,-105\nC,41,-106\n",
		"a.csv":        "station_id,start,temp_c\nA,2026-03-01T00:00Z,1\n\"A,2026-03-01T01:00Z,2\nA,2026-03-01T02:00Z,3\n",
		"quote.csv":    "\"",
		"quote2.csv":   "\"\n\"\n",
		"empty.csv":    "",
		"quote.epw":    "LOCATION,\"a\n\"",
		"cut.epw":      "LOCATION,a,b,c,TMY3,1,40,-105,-7,1600\n",
		"t.csv":        "\"1\nDate (MM/DD/YYYY),\"\n",
		"t2.csv":       "1,n,s,-7,40,-105,1600\nDate (MM/DD/YYYY),Time (HH:MM)\n\"\n01/01/2020\n",
	}
	for name, text := range files {
		os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644)
	}
	makePipe(filepath.Join(dir, "pipe.csv"))
	os.Symlink("/dev/zero", filepath.Join(dir, "zero.csv"))
	gzipped(t, filepath.Join(dir, "big.csv.gz"), func(w io.Writer) { io.WriteString(w, "station_id,start\nA,"); repeat(w, "x", 100<<20) })
	stations, rejects, err := ReadWeather(dir, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if len(stations) != 1 || stations[0].Len() != 3 {
		t.Errorf("%d stations, %+v", len(stations), stations)
	}
	said := map[string]bool{}
	for _, r := range rejects {
		said[filepath.Base(r.File)] = true
	}
	for _, name := range []string{"stations.csv", "a.csv", "quote.csv", "quote2.csv", "empty.csv", "quote.epw", "cut.epw", "pipe.csv", "zero.csv", "big.csv.gz"} {
		if !said[name] {
			t.Errorf("%s is not said", name)
		}
	}
}

// FuzzWeather: no file of weather breaks its reader down.
func FuzzWeather(f *testing.F) {
	f.Add("a.csv", []byte("station_id,start,temp_c\nA,2026-03-01T00:00Z,1\n"))
	f.Add("a.epw", []byte("LOCATION,a,b,c,TMY3,1,40,-105,-7,1600\n"))
	f.Add("a.csv", []byte("1,n,s,-7,40,-105,1600\nDate (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2)\n01/01/2020,01:00,3\n"))
	f.Add("stations.csv", []byte("\"\n"))
	f.Fuzz(func(t *testing.T, name string, text []byte) {
		if name = filepath.Base(name); name == "." || name == "/" || strings.ContainsAny(name, "\x00") || len(name) > 100 {
			return
		}
		dir := filepath.Join(t.TempDir(), "weather")
		os.Mkdir(dir, 0o755)
		os.WriteFile(filepath.Join(dir, "stations.csv"), []byte("station_id,latitude,longitude\nA,40,-105\n"), 0o644)
		if os.WriteFile(filepath.Join(dir, name), text, 0o644) != nil {
			return
		}
		if _, _, err := ReadWeather(dir, Limits{}); err != nil {
			t.Error(err)
		}
	})
}

// FuzzParquet: damaged bytes of a Parquet file are that file's error.
func FuzzParquet(f *testing.F) {
	whole := parquetSeed(f)
	f.Add(0, byte(1), len(whole))
	for at := 1; at < len(whole); at += len(whole) / 40 {
		f.Add(at, byte(1<<(at%8)), len(whole))
		f.Add(at, byte(0xff), at)
	}
	f.Fuzz(func(t *testing.T, at int, flip byte, length int) {
		bad := bytes.Clone(whole)
		if at < 0 || at >= len(bad) || length < 0 || length > len(bad) {
			return
		}
		bad[at] ^= flip
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, "a.parquet"), bad[:length], 0o644)
		readWhole(dir, "a.parquet", Mapping{}, Limits{MaxRejects: 10}) // an error or not, but no panic and no flood
	})
}

// FuzzText: any bytes under any ending are read or refused, and every row is
// counted.
func FuzzText(f *testing.F) {
	f.Add("a.csv", []byte("site_id,start,import_wh\nA,2026-03-01T00:00Z,1\n\"A,2026-03-01T00:00Z,1\n"))
	f.Add("a.json", []byte(`[{"site_id":"A","start":"2026-03-01T00:00Z","import_wh":1}]`))
	f.Add("a.csv", []byte("100,NEM12,202601010000,A,B\n200,N,E1,,E1,,,kWh,30,\n"))
	f.Add("a.xml", []byte(`<feed xmlns="http://www.w3.org/2005/Atom"><entry/></feed>`))
	f.Fuzz(func(t *testing.T, name string, text []byte) {
		switch name {
		case "a.csv", "a.json", "a.xml", "a.csv.gz", "a.csv.zst", "a.csv.zip", "a.xlsx":
		default:
			name = "a.csv"
		}
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, name), text, 0o644)
		tally, err := readWhole(dir, name, Mapping{}, Limits{MaxRejects: 10})
		if err == nil && (tally.SetAside < 0 || tally.SetAside > tally.Rows) {
			t.Errorf("%d of %d rows set aside", tally.SetAside, tally.Rows)
		}
	})
}

// parquetSeed is a small Parquet file of the contract's columns.
func parquetSeed(t testing.TB, as ...parquet.WriterOption) []byte {
	type row struct {
		SiteID string   `parquet:"site_id,dict"`
		Start  int64    `parquet:"start,timestamp(millisecond)"`
		Import *float64 `parquet:"import_wh,optional"`
	}
	var b bytes.Buffer
	w := parquet.NewGenericWriter[row](&b, append([]parquet.WriterOption{parquet.Compression(&parquet.Zstd)}, as...)...)
	for i := range 300 {
		r := row{SiteID: fmt.Sprint("S-", i/100), Start: 1767225600000 + int64(i)*900000}
		if v := float64(i); i%7 > 0 {
			r.Import = &v
		}
		if _, err := w.Write([]row{r}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
