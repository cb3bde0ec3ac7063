package ledger

import (
	"slices"
	"testing"

	"rowen/ingest/readings"
)

// The progress goes forward only, and ends with every file, byte, row and group
// done: with files that are plain, packed, unreadable, and read a second time
// for a line break in a quoted field.
func TestProgressEndsWhole(t *testing.T) {
	rows := invented(3, 20, 15)
	plain := text(rows, contractColumns, 1, 1)
	odd := "site_id,start,production_wh,note\nX,2026-03-01T00:00:00Z,1,\"two\nlines\"\nX,2026-03-01T00:15:00Z,2,\n"
	dir := fleetDir(t, map[string]string{
		"readings/a.csv": plain, "readings/b.csv.gz": text(rows, contractColumns, 1, 1), "readings/c.csv": odd, "readings/d.csv": "no,columns\n1,2\n",
	})
	var said []Progress
	_, rep := readAll(t, dir, nil, nil, Options{Workers: 2, Progress: func(p Progress) { said = append(said, p) }})
	sorting := slices.IndexFunc(said, func(p Progress) bool { return p.Stage == Sorting })
	if sorting < 1 {
		t.Fatalf("no stage of sorting after one of reading among %d", len(said))
	}
	for _, stage := range [][]Progress{said[:sorting], said[sorting:]} {
		last := stage[len(stage)-1]
		if last.Done != last.Total || last.FilesDone != 4 || last.FilesTotal != 4 || last.Rows < rep.Rows.Read {
			t.Errorf("ends with %+v, of %d rows read", last, rep.Rows.Read)
		}
		for i := 1; i < len(stage); i++ {
			if stage[i].Stage != last.Stage || stage[i].Done < stage[i-1].Done && stage[i].FilesDone >= stage[i-1].FilesDone {
				t.Errorf("%+v after %+v", stage[i], stage[i-1])
			}
		}
	}
	// Nothing new to read: nothing to say, but for the file that is tried again.
	said = nil
	readAll(t, dir, nil, []readings.Mapping(nil), Options{Progress: func(p Progress) { said = append(said, p) }})
	for _, p := range said {
		if p.FilesTotal != 1 || p.Rows != 0 {
			t.Errorf("says %+v though nothing is new", p)
		}
	}
}
