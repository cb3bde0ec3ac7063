package ledger

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"rowen/ingest"
	"rowen/ingest/readings"
)

// meterRow is one row of the contract's table as the tests make it up.
type meterRow struct {
	site string
	at   time.Time
	wh   [4]float64 // NaN: blank
}

// invented makes up rows of some sites at a step, with blank cells.
func invented(sites, days, stepMinutes int) []meterRow {
	r := rand.New(rand.NewPCG(1, 2))
	var rows []meterRow
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	for s := range sites {
		for i := range days * 1440 / stepMinutes {
			row := meterRow{site: fmt.Sprintf("S-%03d", s), at: start.Add(time.Duration(i*stepMinutes) * time.Minute)}
			for c := range row.wh {
				row.wh[c] = math.Round(r.Float64()*20000) / 10
				if r.IntN(50) == 0 {
					row.wh[c] = math.NaN()
				}
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// text writes rows as CSV, energies times factor.
func text(rows []meterRow, columns []string, factor float64, digits int) string {
	var b strings.Builder
	b.WriteString(strings.Join(columns, ",") + "\n")
	for _, r := range rows {
		for i, c := range columns {
			if i > 0 {
				b.WriteByte(',')
			}
			switch {
			case c == "site_id":
				b.WriteString(r.site)
			case c == "start":
				b.WriteString(r.at.Format(time.RFC3339))
			default:
				for k := range r.wh {
					if strings.HasPrefix(c, ingest.Channel(k).String()) && !math.IsNaN(r.wh[k]) {
						fmt.Fprintf(&b, "%.*f", digits, r.wh[k]*factor)
					}
				}
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

var contractColumns = []string{"site_id", "start", "production_wh", "consumption_wh", "import_wh", "export_wh"}

// expected sums the rows by hour with a map: an hour with a row or a cell
// missing is missing.
func expected(rows []meterRow, stepMinutes int) map[string]ingest.Series {
	type key struct {
		site string
		h    ingest.Hour
		c    int
	}
	sum, count := map[key]float64{}, map[key]int{}
	lo, hi := map[string]ingest.Hour{}, map[string]ingest.Hour{}
	for _, r := range rows {
		h := ingest.HourOf(r.at)
		if first, ok := lo[r.site]; !ok || h < first {
			lo[r.site] = h
		}
		hi[r.site] = max(hi[r.site], h+1)
		for c, v := range r.wh {
			if !math.IsNaN(v) {
				sum[key{r.site, h, c}] += v
				count[key{r.site, h, c}]++
			}
		}
	}
	out := map[string]ingest.Series{}
	for site := range lo {
		s := ingest.Series{SiteID: site, Start: lo[site], StepMinutes: stepMinutes}
		for c := range s.Wh {
			for h := lo[site]; h < hi[site]; h++ {
				v := math.NaN()
				if count[key{site, h, c}] == 60/stepMinutes {
					v = sum[key{site, h, c}]
				}
				s.Wh[c] = append(s.Wh[c], v)
			}
		}
		out[site] = s
	}
	return out
}

// fleetDir writes files into a new fleet folder.
func fleetDir(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		put(t, dir, name, content)
	}
	return dir
}

func put(t testing.TB, dir, name, content string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	switch filepath.Ext(name) {
	case ".gz":
		z := gzip.NewWriter(&b)
		z.Write([]byte(content))
		z.Close()
	case ".zip":
		z := zip.NewWriter(&b)
		w, _ := z.Create(strings.TrimSuffix(filepath.Base(name), ".zip"))
		w.Write([]byte(content))
		z.Close()
	case ".zst":
		z, _ := zstd.NewWriter(&b)
		z.Write([]byte(content))
		z.Close()
	default:
		b.WriteString(content)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// readAll updates the ledger and loads every site.
func readAll(t testing.TB, dir string, sites []Site, mappings []readings.Mapping, o Options) (map[string]ingest.Series, *Report) {
	t.Helper()
	rep, err := Update(context.Background(), dir, sites, mappings, o)
	if err != nil {
		t.Fatal(err)
	}
	checkConservation(t, rep)
	return loadAll(t, dir, sites), rep
}

func loadAll(t testing.TB, dir string, sites []Site) map[string]ingest.Series {
	t.Helper()
	l, err := Open(context.Background(), dir, sites)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	out := map[string]ingest.Series{}
	for _, id := range l.Order() {
		var s ingest.Series
		if err := l.Load(id, &s); err != nil {
			t.Fatal(err)
		}
		out[id] = s
	}
	return out
}

// checkConservation: rows kept + rows set aside = rows read, in every file.
func checkConservation(t testing.TB, rep *Report) {
	t.Helper()
	for _, f := range rep.Files {
		if f.Rows.Kept+f.Rows.SetAside != f.Rows.Read {
			t.Errorf("%s: kept %d + set aside %d != read %d", f.Path, f.Rows.Kept, f.Rows.SetAside, f.Rows.Read)
		}
	}
}

var sameSeries = cmp.Options{
	cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-6), cmpopts.EquateEmpty(),
	cmpopts.IgnoreFields(ingest.Series{}, "Fine", "Quality", "Estimated"),
}

// exactSeries holds everything, to the bit.
var exactSeries = cmp.Options{cmpopts.EquateNaNs(), cmpopts.EquateEmpty()}

// The same rows, whatever way they are written: one file or many, packed or
// not, in any column order, shuffled, as Wh or kWh, with one worker or eight.
// The expectation is a map-based sum over the made-up rows.
func TestEveryWayOfWritingTheSameRows(t *testing.T) {
	const step = 15
	rows := invented(7, 12, step)
	want := expected(rows, step)
	shuffled := append([]meterRow{}, rows...)
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	byTime := make([]meterRow, 0, len(rows))
	per := len(rows) / 7
	for i := range per {
		for s := range 7 {
			byTime = append(byTime, rows[s*per+i])
		}
	}
	odd := []string{"export_wh", "start", "note", "import_wh", "consumption_wh", "site_id", "production_wh"}
	kWh := readings.Mapping{Glob: "readings/**/*.csv"}
	for c := range ingest.NumChannels {
		kWh.Channels = append(kWh.Channels, readings.Channel{Channel: c, Unit: "kWh", Column: c.String() + "_kwh"})
	}
	cases := []struct {
		name     string
		files    map[string]string
		mappings []readings.Mapping
		workers  int
	}{
		{"one file", map[string]string{"readings/all.csv": text(rows, contractColumns, 1, 1)}, nil, 0},
		{"byte order mark and CRLF", map[string]string{"readings/all.csv": "\xef\xbb\xbf" + strings.ReplaceAll(text(rows, contractColumns, 1, 1), "\n", "\r\n")}, nil, 0},
		{"no line break at the end", map[string]string{"readings/all.csv": strings.TrimSuffix(text(rows, contractColumns, 1, 1), "\n")}, nil, 0},
		{"gzip", map[string]string{"readings/all.csv.gz": text(rows, contractColumns, 1, 1)}, nil, 0},
		{"zip", map[string]string{"readings/all.csv.zip": text(rows, contractColumns, 1, 1)}, nil, 0},
		{"zstd in folders", map[string]string{"readings/a/b.csv.zst": text(rows[:5000], contractColumns, 1, 1), "readings/c.csv": text(rows[5000:], contractColumns, 1, 1)}, nil, 2},
		{"columns in another order", map[string]string{"readings/all.csv": text(rows, odd, 1, 1)}, nil, 0},
		{"quoted", map[string]string{"readings/all.csv": quoted(text(rows, contractColumns, 1, 1))}, nil, 0},
		{"shuffled", map[string]string{"readings/all.csv": text(shuffled, contractColumns, 1, 1)}, nil, 0},
		{"by time", map[string]string{"readings/all.csv": text(byTime, contractColumns, 1, 1)}, nil, 0},
		{"kWh", map[string]string{"readings/all.csv": text(rows, []string{"site_id", "start", "production_kwh", "consumption_kwh", "import_kwh", "export_kwh"}, 0.001, 4)}, []readings.Mapping{kWh}, 0},
		{"eight workers", map[string]string{"readings/1.csv": text(shuffled[:3000], contractColumns, 1, 1), "readings/2.csv": text(shuffled[3000:], contractColumns, 1, 1)}, nil, 8},
		{"one worker", map[string]string{"readings/1.csv": text(shuffled[:3000], contractColumns, 1, 1), "readings/2.csv": text(shuffled[3000:], contractColumns, 1, 1)}, nil, 1},
	}
	var first map[string]ingest.Series
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, rep := readAll(t, fleetDir(t, c.files), nil, c.mappings, Options{Workers: c.workers})
			if d := cmp.Diff(want, got, sameSeries); d != "" {
				t.Fatal(d)
			}
			if rep.Rows.Read != int64(len(rows)) || rep.Rows.SetAside != 0 {
				t.Errorf("rows %+v, want %d read", rep.Rows, len(rows))
			}
			if first == nil {
				first = got
			}
			if d := cmp.Diff(first, got, exactSeries); d != "" {
				t.Errorf("not the very same series as the first way's: %s", d)
			}
		})
	}
}

// quoted puts every field in quotes.
func quoted(s string) string {
	lines := strings.Split(strings.TrimSuffix(s, "\n"), "\n")
	for i, l := range lines {
		lines[i] = `"` + strings.ReplaceAll(l, ",", `","`) + `"`
	}
	return strings.Join(lines, "\n") + "\n"
}

// A bucket whose new rows do not fit is merged in several passes, to the same
// series.
func TestManyPasses(t *testing.T) {
	files := map[string]string{"readings/1.csv": text(invented(60, 2, 30), contractColumns, 1, 1)}
	want, _ := fresh(t, files, nil)
	defer func(was, held int64, open int) { maxSpillBytes, maxHeldBytes, openBlocks = was, held, open }(maxSpillBytes, maxHeldBytes, openBlocks)
	openBlocks = 2
	for _, most := range []int64{1 << 12, 1 << 14, 1} {
		for _, held := range []int64{0, maxHeldBytes} {
			maxSpillBytes, maxHeldBytes = most, held
			got, _ := fresh(t, files, nil)
			if d := cmp.Diff(want, got, exactSeries); d != "" {
				t.Errorf("passes of %d bytes, %d held: %s", most, held, d)
			}
		}
	}
}

// appendRow adds a row to the stretch before it, where it goes on with that and
// join says so.
func appendRow(list []readings.Stretch, row readings.Stretch, join bool) []readings.Stretch {
	if len(list) > 0 && join {
		last := &list[len(list)-1]
		step, stride := row.Time-last.Time-int64(last.N-1)*last.Step, row.Line-last.Line-(last.N-1)*last.Stride
		if last.Site == row.Site && last.Flags == row.Flags && last.Length == row.Length && step > 0 && (last.N == 1 || step == last.Step && stride == last.Stride) {
			last.Step, last.Stride = step, stride
			last.N++
			return list
		}
	}
	return append(list, row)
}

// Segments hold every row that went in, with all that is known of it, in the
// order of its file, however the rows came in stretches and batches.
func TestSpillKeepsEveryRow(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for range 300 {
		names := readings.NewNames()
		s := newSpill(nil, names, 3, 1)
		s.room = 1 << 40
		sites := []int32{names.Number("A"), names.Number("B"), names.Number("C")}
		var want, got []string
		say := func(site, source, part, line int32, at int64, f readings.Flag, length int32, v [ingest.NumChannels]int64) string {
			return fmt.Sprint(names.IDs()[site], source, part, line, at, f, length, v)
		}
		now, site, length, flags := [3]int64{}, 0, int32(0), readings.Flag(0)
		for file := range int32(2) {
			line := int32(0)
			has := [ingest.NumChannels]bool{r.IntN(2) == 0, true, r.IntN(2) == 0, false}
			grain := []int64{1, 1000, 1000}[r.IntN(3)]
			for range 1 + r.IntN(3) {
				b := &readings.Batch{Has: has}
				for range 1 + r.IntN(900) {
					if r.IntN(200) == 0 {
						site = r.IntN(3)
					}
					if r.IntN(300) == 0 {
						length, flags = int32(r.IntN(2)*900), readings.Flag(r.IntN(3))
					}
					line += 1 + int32(r.IntN(150)/149)
					now[site] += 900 * (1 + int64(r.IntN(200)/199) - 4*int64(r.IntN(300)/299))
					v := [ingest.NumChannels]int64{readings.Missing, readings.Missing, readings.Missing, readings.Missing}
					for c := range v {
						if has[c] {
							if r.IntN(20) > 0 {
								v[c] = grain * int64(r.IntN(1000)) << (r.IntN(30) / 29 * 40)
								if r.IntN(400) == 0 {
									v[c] = grain * []int64{missingWh - 1, missingWh, math.MaxInt32 / 1000, -1}[r.IntN(4)]
								}
							}
							b.Value[c] = append(b.Value[c], v[c])
						}
					}
					b.Stretch = appendRow(b.Stretch, readings.Stretch{Site: sites[site], N: 1, Time: now[site], Line: line, Length: length, Flags: flags}, r.IntN(60) > 0)
					want = append(want, say(sites[site], file, 7, line, now[site], flags, length, v))
				}
				if err := s.add(file, 7, b); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := s.flush(); err != nil {
			t.Fatal(err)
		}
		for _, pieces := range s.held {
			for _, p := range pieces {
				for rest := p; len(rest) > 0; {
					var g segment
					g, rest = nextSegment(rest)
					var values [ingest.NumChannels][]int64
					for c := range values {
						values[c] = g.values(c, nil)
					}
					for i := range g.n {
						got = append(got, say(g.site, g.source, g.part, int32(g.order(i)), g.t0+int64(i)*g.step, g.flags, g.length,
							[ingest.NumChannels]int64{values[0][i], values[1][i], values[2][i], values[3][i]}))
					}
				}
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	}
}

// The short way for even segments is the long way.
func TestEvenIsTheLongWay(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	straight := 0
	for range 400 {
		missing, wide := r.IntN(2) == 0, r.IntN(3) == 0
		names := readings.NewNames()
		f, err := os.Create(filepath.Join(t.TempDir(), "spill"))
		if err != nil {
			t.Fatal(err)
		}
		s := newSpill(f, names, 1, 1)
		step := []int64{60, 300, 900, 1800, 3600}[r.IntN(5)]
		b := &readings.Batch{Has: [ingest.NumChannels]bool{true, false, true, false}}
		at := 1772323200 + step*int64(r.IntN(5))
		site := names.Number("A")
		for i := range 1 + r.IntN(400) {
			b.Stretch = appendRow(b.Stretch, readings.Stretch{Site: site, N: 1, Time: at, Line: int32(i + 1)}, r.IntN(50) > 0)
			for c := range b.Value {
				v := int64(r.IntN(100_000) - 1000)
				if wide {
					v <<= r.IntN(2) * 33
				}
				if missing && r.IntN(9) == 0 {
					v = readings.Missing
				}
				b.Value[c] = append(b.Value[c], v)
			}
			if at += step; r.IntN(300) == 0 {
				at += step // a gap: no longer even
			}
		}
		if err := s.add(3, 0, b); err != nil {
			t.Fatal(err)
		}
		if err := s.flush(); err != nil {
			t.Fatal(err)
		}
		var segs []segment
		err = s.each(0, func(n int) []byte { return make([]byte, n) }, nil, func(data []byte) {
			for len(data) > 0 {
				var g segment
				g, data = nextSegment(data)
				segs = append(segs, g)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(segs, func(a, b segment) int { return int(a.order(0) - b.order(0)) })
		f.Close()
		if !evenSegments(segs, &readings.Meaning{}) {
			continue
		}
		short, long := settler{rows: &rows{}}, settler{rows: &rows{}}
		short.expandEven(segs)
		long.settleLong(segs, &readings.Meaning{}, nil)
		long.rows.order = nil
		if d := cmp.Diff(long.rows, short.rows, cmp.AllowUnexported(rows{}), cmpopts.EquateEmpty()); d != "" {
			t.Fatal(d)
		}
		var regular, laid ingest.Series
		ld := loader{counter: map[int32][4]counterEntry{}}
		ld.block.take([]*rows{long.rows})
		ld.layAll("A", &laid)
		if ld.buildRegular("A", &regular) {
			straight++
			if d := cmp.Diff(laid, regular, exactSeries); d != "" {
				t.Fatal(d)
			}
		}
	}
	if straight < 50 {
		t.Errorf("only %d series were built of blocks: the test tests little", straight)
	}
}
