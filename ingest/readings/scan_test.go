package readings

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
)

// read is what a reading of a file gives, in comparable form.
type read struct {
	Rows           []string
	Read, SetAside int64
	Rejects        []ingest.Reject
}

// gather reads all parts of a file, cut at partSize; plain reads it by the
// twin.
func gather(t testing.TB, f *File, plain bool) (out read) {
	t.Helper()
	names := NewNames()
	emit := func(first int64) func(b *Batch) error {
		return func(b *Batch) error {
			ids := names.IDs()
			for i, r := range rowsOf(b) {
				row := fmt.Sprintf("%d %s %d %d", first+int64(r.Line), ids[r.Site], r.Time, r.Flags)
				for c := range b.Value {
					if b.Has[c] {
						row += fmt.Sprintf(" %d", b.Value[c][i])
					}
				}
				out.Rows = append(out.Rows, row)
			}
			return nil
		}
	}
	take := func(tally Tally, first int64) {
		out.Read += tally.Rows
		out.SetAside += tally.SetAside
		for _, r := range tally.Rejects {
			r.Line += int(first)
			out.Rejects = append(out.Rejects, r)
		}
	}
	limits := Limits{MaxRejects: 1000}
	twin := func() read {
		out = read{}
		tally, err := f.ReadPlain(context.Background(), names, limits, emit(f.FirstLine(0)))
		if err != nil {
			t.Fatal(err)
		}
		take(tally, f.FirstLine(0))
		return out
	}
	if plain {
		return twin()
	}
	lines := int64(0)
	for _, p := range f.Parts() {
		tally, err := p.Read(context.Background(), names, limits, emit(f.FirstLine(lines)))
		if err != nil {
			t.Fatal(err)
		}
		if tally.Odd {
			return twin()
		}
		take(tally, f.FirstLine(lines))
		lines += tally.Lines
	}
	return out
}

func prepared(t testing.TB, m Mapping, name, text string) *File {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := Prepare(dir, name, m, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Every bad row is set aside with its line, column and reason, by the scanner
// and by its twin alike; the rows around it are kept.
func TestBadRows(t *testing.T) {
	text := strings.Join([]string{
		"site_id,start,production_wh,note,import_wh",
		"A,2026-03-01T00:00:00Z,1,x,2",
		"A,2026-03-01T00:15:00Z,abc,x,2",
		"A,2026-03-01 00:30,1,x,2",
		",2026-03-01T00:45:00Z,1,x,2",
		"A b,2026-03-01T01:00:00Z,1,x,2",
		"A,2026-03-01T01:15:00Z,1,x",
		"A,2026-03-01T01:30:00Z,1,5,x,2",
		"",
		`A,2026-03-01T01:45:00Z,1,"a ""quoted"" note",2`,
		`A,2026-03-01T02:00:00Z,1,a "bad" note,2`,
		"A,2026-03-01T02:15:00Z,,,",
		"A,2026-03-01T02:30:00+01:00, 7 ,x,1e3",
	}, "\n")
	f := prepared(t, Mapping{}, "a.csv", text)
	got := gather(t, f, false)
	if d := cmp.Diff(gather(t, f, true), got); d != "" {
		t.Fatal("the scanner is not its twin: ", d)
	}
	wantRows := []string{
		"2 A 1772323200 0 1000 2000",
		"10 A 1772329500 0 1000 2000",
		"12 A 1772331300 0 -9223372036854775808 -9223372036854775808",
		"13 A 1772328600 0 7000 1000000",
	}
	if d := cmp.Diff(wantRows, got.Rows); d != "" {
		t.Error(d)
	}
	var rejects []string
	for _, r := range got.Rejects {
		rejects = append(rejects, fmt.Sprintf("%s:%d %s", r.File, r.Line, r.Column))
		if r.Reason == "" {
			t.Errorf("line %d has no reason", r.Line)
		}
	}
	wantRejects := []string{"a.csv:3 production_wh", "a.csv:4 start", "a.csv:5 site_id", "a.csv:6 site_id", "a.csv:7 ", "a.csv:8 ", "a.csv:11 "}
	if d := cmp.Diff(wantRejects, rejects); d != "" {
		t.Error(d)
	}
	if got.Read != 11 || got.SetAside != 7 {
		t.Errorf("read %d, set aside %d", got.Read, got.SetAside)
	}
	if strings.Join(f.Notes, "") != "columns kept out: note" {
		t.Errorf("notes %q", f.Notes)
	}
}

// A quoted line break sends the whole file to the plain reader.
func TestQuotedLineBreak(t *testing.T) {
	text := "site_id,start,note,production_wh\nA,2026-03-01T00:00:00Z,\"two\nlines\",1\nA,2026-03-01T00:15:00Z,,2\n"
	f := prepared(t, Mapping{}, "a.csv", text)
	tally, err := f.Parts()[0].Read(context.Background(), NewNames(), Limits{}, func(*Batch) error { return nil })
	if err != nil || !tally.Odd {
		t.Fatalf("%+v %v", tally, err)
	}
	want := []string{"2 A 1772323200 0 1000", "4 A 1772324100 0 2000"}
	if d := cmp.Diff(want, gather(t, f, false).Rows); d != "" {
		t.Error(d)
	}
}

// However a file is cut into ranges, the same rows come out.
func TestRanges(t *testing.T) {
	var b strings.Builder
	b.WriteString("start,site_id,consumption_wh\r\n")
	for i := range 300 {
		fmt.Fprintf(&b, "2026-03-%02dT%02d:00:00Z,site-%d,%d.%d\r\n", 1+i/24, i%24, i%7, i, i%10)
	}
	f := prepared(t, Mapping{}, "a.csv", b.String())
	want := gather(t, f, true)
	for _, size := range []int64{1, 2, 7, 33, 34, 35, 100, 1000, 5000, 1 << 20} {
		var parts []Part
		for from := f.body; from < f.Size; from += size {
			parts = append(parts, Part{f, from, min(from+size, f.Size), len(parts) == 0, size, nil})
		}
		got, lines := read{}, int64(0)
		for _, p := range parts {
			names := NewNames()
			first := f.FirstLine(lines)
			tally, err := p.Read(context.Background(), names, Limits{}, func(b *Batch) error {
				for i, r := range rowsOf(b) {
					got.Rows = append(got.Rows, fmt.Sprintf("%d %s %d %d %d", first+int64(r.Line), names.IDs()[r.Site], r.Time, r.Flags, b.Value[ingest.Consumption][i]))
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			lines += tally.Lines
			got.Read += tally.Rows
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("ranges of %d bytes: %s", size, d)
		}
	}
}

// FuzzScanner: the scanner and encoding/csv give the same rows, the same
// rejects and the same counts for any text.
func FuzzScanner(f *testing.F) {
	seeds := []string{
		"A,2026-03-01T00:00:00Z,1.5,2\nA,2026-03-01T00:15:00Z,,3\n",
		"A,2026-03-01T00:00:00-06:00,1,2\r\nB,2026-03-01T00:00:00-06:00,1,2",
		"\"A\",\"2026-03-01T00:00:00Z\",\"1\",\"2\"\n",
		"A,2026-03-01T00:00:00Z,\"1\n2\",3\n",
		"A,2026-03-01T24:00Z,12345678,1e3\n\nA,x,1,2\n",
		"A,2026-03-01T00:00:00Z,1,2,3\nA\n,,,\n",
		"A,2026-02-30T00:00:00Z,-1,+2\n A , 2026-03-01T00:00:00Z , 1 ,-\n",
		"A,2026-03-01T00:00:00Z,1.,.5\nA,2026-03-01T00:00:61Z,0001,NaN\n",
		"A,2026-03-01T00:00:00Z,\"1\"\"\",2\nA,2026-03-01T00:00:00Z,1\"2,2\n",
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, body string) {
		if strings.Contains(body, "\x00") || len(body) > 4096 {
			return
		}
		text := "site_id,start,production_wh,import_wh\n" + body
		file := prepared(t, Mapping{}, "a.csv", text)
		want := gather(t, file, true)
		got := gather(t, file, false)
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%q: %s", body, d)
		}
		if got.Read != int64(len(got.Rows))+got.SetAside {
			t.Errorf("%q: read %d, kept %d, set aside %d", body, got.Read, len(got.Rows), got.SetAside)
		}
	})
}

func benchText(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("site_id,start,production_wh,consumption_wh\n")
	for i := range rows {
		fmt.Fprintf(&b, "S%05d,2026-%02d-%02dT%02d:%02d:00Z,%d.%d,%d.%d\n", i/35040, 1+i/2880%12, 1+i/96%28, i/4%24, i%4*15, i%1200, i%10, 100+i%400, i%7)
	}
	return b.Bytes()
}

func BenchmarkScan(b *testing.B) {
	text := benchText(200_000)
	f := prepared(b, Mapping{}, "a.csv", string(text))
	for _, plain := range []bool{false, true} {
		b.Run(fmt.Sprintf("plain=%v", plain), func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				names, n := NewNames(), 0
				emit := func(b *Batch) error { n += b.Len(); return nil }
				if plain {
					if _, err := f.ReadPlain(context.Background(), names, Limits{}, emit); err != nil {
						b.Fatal(err)
					}
				} else {
					for _, p := range f.Parts() {
						if _, err := p.Read(context.Background(), names, Limits{}, emit); err != nil {
							b.Fatal(err)
						}
					}
				}
				if n != 200_000 {
					b.Fatal(n)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/200_000, "ns/row")
		})
	}
}
