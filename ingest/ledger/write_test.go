package ledger

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"

	"rowen/ingest"
)

// someRows are settled rows of one file.
func someRows(r *rand.Rand, source int32, unit int64) *rows {
	x := &rows{source: source}
	has := [ingest.NumChannels]bool{r.IntN(2) == 0, r.IntN(2) == 0, r.IntN(2) == 0, r.IntN(2) == 0}
	at := int64(1700000000)
	for range r.IntN(300) {
		at += 900 * (1 + int64(r.IntN(50)/49))
		x.start, x.seconds, x.state = append(x.start, at), append(x.seconds, 900), append(x.state, int32(r.IntN(40)/39*r.IntN(1<<secondShift)))
		for c := range has {
			if has[c] {
				x.value[c] = append(x.value[c], unit*int64(r.IntN(1000)-100))
			}
		}
	}
	return x
}

// A bucket that is put together by hand is to the library's own readers, by column and
// by row, the file that the library's writer makes of the same rows.
func TestBucketIsTheLibrarys(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	defer func(n int) { pageRows = n }(pageRows)
	w := &bucketWriter{}
	for range 60 {
		pageRows = []int{1, 100, 128 << 10}[r.IntN(3)]
		has := [ingest.NumChannels]bool{r.IntN(2) == 0, true, true, r.IntN(3) > 0}
		var hand, library bytes.Buffer
		theirs := parquet.NewGenericWriter[any](&library, bucketSchema(has))
		if err := w.begin(&hand, has); err != nil {
			t.Fatal(err)
		}
		for _, id := range []string{"A", "B", "C"}[:r.IntN(4)] {
			unit := []int64{1, 10, 100, 1000}[r.IntN(4)]
			var list []*rows
			for source := range int32(r.IntN(3)) {
				one := someRows(r, source, unit)
				for c := range has {
					if !has[c] {
						one.value[c] = nil
					}
				}
				list = append(list, one)
			}
			if err := w.site(id, list); err != nil {
				t.Fatal(err)
			}
			writePlainly(t, theirs, bucketSchema(has), list)
		}
		if err := errors.Join(w.end(), theirs.Close()); err != nil {
			t.Fatal(err)
		}
		mine, err := openBucket(bytes.NewReader(hand.Bytes()), int64(hand.Len()))
		if err != nil {
			t.Fatal(err)
		}
		other, err := parquet.OpenFile(bytes.NewReader(library.Bytes()), int64(library.Len()))
		if err != nil {
			t.Fatal(err)
		}
		if len(mine.sites) != len(other.RowGroups()) {
			t.Fatalf("%d sites in %d row groups", len(mine.sites), len(other.RowGroups()))
		}
		them := bucketFile{other, mine.sites, mine.units, mine.at}
		for i := range mine.sites {
			var a, b block
			if err := errors.Join(mine.load(i, &a), them.load(i, &b)); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(b, a, cmp.AllowUnexported(block{}), cmpopts.EquateEmpty()); d != "" {
				t.Fatal(d)
			}
		}
		if d := cmp.Diff(allRows(t, other), allRows(t, mine.file)); d != "" {
			t.Fatal(d)
		}
	}
}

// writePlainly writes a site's rows by the library, row by row.
func writePlainly(t *testing.T, w *parquet.GenericWriter[any], schema *parquet.Schema, list []*rows) {
	at, err := placesOf(schema)
	if err != nil {
		t.Fatal(err)
	}
	unit := int64(1000)
	for _, x := range list {
		unit = unitOf(x, unit)
	}
	for _, x := range list {
		for i := range x.start {
			row := make(parquet.Row, len(schema.Columns()))
			row[at.source] = parquet.ValueOf(x.source).Level(0, 0, at.source)
			row[at.start] = parquet.ValueOf(1000*x.start[i]).Level(0, 0, at.start)
			row[at.state] = parquet.ValueOf(x.state[i]|x.seconds[i]<<secondShift).Level(0, 0, at.state)
			for c, k := range at.channel {
				if k >= 0 {
					v := int64(0)
					if len(x.value[c]) > 0 {
						v = x.value[c][i] / unit
					}
					row[k] = parquet.ValueOf(v).Level(0, 0, k)
				}
			}
			if _, err := w.WriteRows([]parquet.Row{row}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
}

func allRows(t *testing.T, f *parquet.File) (out []string) {
	for _, g := range f.RowGroups() {
		in := g.Rows()
		for buf := make([]parquet.Row, 64); ; {
			n, err := in.ReadRows(buf)
			for _, row := range buf[:n] {
				text := ""
				for _, v := range row {
					text += v.String() + " "
				}
				out = append(out, text)
			}
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		in.Close()
	}
	return out
}
