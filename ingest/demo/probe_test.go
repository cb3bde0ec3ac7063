package demo

import (
	"bufio"
	"fmt"
	"os"
	"rowen/ingest"
	"testing"
)

func TestDump(t *testing.T) {
	o := Default()
	o.PlainHomes = true
	o.Faults = 0
	o.Events = 0
	o.Sites = 12
	m := Make(o)
	var s ingest.Series
	f, _ := os.Create("/tmp/dump.txt")
	w := bufio.NewWriter(f)
	for _, id := range m.Source().Order() {
		m.Source().Load(id, &s)
		fmt.Fprint(w, id)
		for _, v := range s.Wh[ingest.Consumption] {
			fmt.Fprintf(w, " %g", v/1000)
		}
		fmt.Fprintln(w)
	}
	w.Flush()
}
