package report

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/parquet-go/parquet-go"

	"rowen/analyze"
)

// An earlier run whose table is damaged at any byte is read, or left out and said:
// it neither ends the month nor takes its memory.
func TestADamagedEarlierRun(t *testing.T) {
	runs := t.TempDir()
	rank, rows := int32(1), []pastSite{}
	for i := range int32(40) {
		rank = i + 1
		rows = append(rows, pastSite{SiteID: string(rune('A' + i)), OnCallList: i < 20, Rank: &rank})
	}
	var whole bytes.Buffer
	if err := parquet.Write(&whole, rows, parquet.Compression(&parquet.Zstd)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(runs, "2026-09", "sites.parquet")
	os.Mkdir(filepath.Dir(path), 0o777)
	month, err := analyze.ParseMonth("2026-10")
	if err != nil {
		t.Fatal(err)
	}
	read := func(b []byte) *Past {
		os.WriteFile(path, b, 0o666)
		p, err := ReadPast(runs, month)
		if err != nil || len(p.runs)+len(p.Notes) != 1 {
			t.Fatalf("%v: %d runs, notes %q", err, len(p.runs), p.Notes)
		}
		return p
	}
	if p := read(whole.Bytes()); len(p.runs) != 1 {
		t.Fatalf("the whole table: %q", p.Notes)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	left := 0
	for at := range whole.Len() {
		bad := bytes.Clone(whole.Bytes())
		bad[at] ^= 0x48
		left += len(read(bad).Notes)
	}
	runtime.ReadMemStats(&after)
	if left < 20 {
		t.Errorf("%d damages were noticed: the test is broken", left)
	}
	if took := (after.TotalAlloc - before.TotalAlloc) / uint64(whole.Len()); took > 4<<20 {
		t.Errorf("%d MB were set aside for each table", took>>20)
	}
}
