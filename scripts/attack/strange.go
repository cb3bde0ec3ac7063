package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"

	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"
)

// special puts what is no regular file among the readings.
func special(a *arena, times int) {
	outside := filepath.Join(a.dir, "outside.csv")
	os.WriteFile(outside, []byte("site_id,start,production_wh\nOM-0001,2026-10-01T12:00Z,999999\n"), 0o666)
	in := func(dir, name string) string { return filepath.Join(dir, "readings", name) }
	things := map[string]func(dir string) error{
		"a FIFO":                   func(d string) error { return syscall.Mkfifo(in(d, "z.csv"), 0o666) },
		"a link to a device":       func(d string) error { return os.Symlink("/dev/zero", in(d, "z.csv")) },
		"a link to nowhere":        func(d string) error { return os.Symlink("nowhere", in(d, "z.csv")) },
		"a link to itself":         func(d string) error { return os.Symlink("z.csv", in(d, "z.csv")) },
		"a link to its own folder": func(d string) error { return os.Symlink("..", in(d, "round")) },
		"a link out of the fleet":  func(d string) error { return os.Symlink(outside, in(d, "z.csv")) },
		"a folder named as a file": func(d string) error { return os.Mkdir(in(d, "z.csv"), 0o777) },
		"an empty file":            func(d string) error { return os.WriteFile(in(d, "z.csv"), nil, 0o666) },
		"a name with controls":     func(d string) error { return os.WriteFile(in(d, "z\x1b[31m\n.csv"), []byte("x\n"), 0o666) },
		"a name that is no text":   func(d string) error { return os.WriteFile(in(d, "z\xff\xfe.csv"), []byte("x\n"), 0o666) },
		"a socket":                 func(d string) error { return syscall.Mknod(in(d, "z.csv"), syscall.S_IFSOCK|0o666, 0) },
		"a register that is a FIFO": func(d string) error {
			os.Remove(filepath.Join(d, "outcomes.csv"))
			return syscall.Mkfifo(filepath.Join(d, "outcomes.csv"), 0o666)
		},
	}
	names := slices.Sorted(maps.Keys(things))
	for _, at := range a.rnd.Perm(len(names))[:min(times, len(names))] {
		what := names[at]
		put, dir := things[what], a.copy(false)
		if err := put(dir); err != nil {
			fmt.Printf("  special: %s: NOT TRIED: %v\n", what, err)
			continue
		}
		for _, verb := range []string{"check", "run"} {
			a.promised(dir, verb+", "+what, a.do(dir, verb, dir), 0, 1, 2, 3)
		}
		a.whole(dir, what)
		if b, err := os.ReadFile(filepath.Join(dir, "runs", filepath.Base(a.firstRun()), "run.json")); err == nil && bytes.Contains(b, []byte("outside.csv")) {
			a.breaks(dir, "%s: the record names a file outside of the fleet", what)
		}
		a.restore(dir)
		a.recovers(dir, what, "--accept-missing")
		os.RemoveAll(dir)
	}
}

// hostileTexts are what somebody may write into a register or a file's name.
var hostileTexts = []string{
	"\x1b]0;owned\x07\x1b[2J\x1b[31mred", "=HYPERLINK(\"http://x.invalid\")", "+1+cmd|' /C calc'!A0", "@SUM(1+1)*cmd", "-2+3",
	"<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "</script><svg onload=alert(1)>", "javascript:alert(1)",
	"\u202egnp.exe", "..\\..\\..\\etc", "../../../../tmp/owned", "a\r\nb,c\nd", strings.Repeat("W", 100_000), "%s%s%n", "{{.}}", "\x00\x01\x02",
}

// hostile writes such text into every column of every register and looks for it
// on the screen, in the lists and on the pages; and looks whether a contact
// stands anywhere but on the list and the briefs.
func hostile(a *arena, times int) {
	for k, at := range a.rnd.Perm(len(hostileTexts))[:min(times, len(hostileTexts))] {
		text := hostileTexts[at]
		dir := a.copy(false)
		tables, _ := filepath.Glob(filepath.Join(dir, "*.csv"))
		for _, table := range tables {
			sow(table, text, k)
		}
		os.WriteFile(filepath.Join(dir, "readings", "x.csv"), []byte("site_id,start,production_wh\n"+cell(text)+",2026-10-01T12:00Z,"+cell(text)+"\n"), 0o666)
		what := fmt.Sprintf("the text %.40q", text)
		for _, verb := range []string{"check", "run"} {
			a.promised(dir, verb+", "+what, a.do(dir, verb, dir), 0, 1, 2, 3)
		}
		a.inert(dir, what, text)
		if _, err := os.Stat("/tmp/owned"); err == nil {
			a.breaks(dir, "%s: a path led out of the run's folder", what)
		}
		a.restore(dir)
		a.recovers(dir, what, "--accept-missing")
		os.RemoveAll(dir)
	}
	a.private(a.fleet)
}

func cell(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }

// sow writes the text into one cell of every column, each in another row.
func sow(path, text string, from int) {
	b, err := os.ReadFile(path)
	if err != nil {
		return
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil || len(rows) < 2 {
		return
	}
	for c := range rows[0] {
		rows[1+(c+from)%(len(rows)-1)][c] = text
	}
	for c, name := range rows[0] { // names of people everywhere
		if name == "customer" {
			for _, r := range rows[1:] {
				r[c] = text
			}
		}
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.WriteAll(rows)
	os.WriteFile(path, out.Bytes(), 0o666)
}

var (
	active  = regexp.MustCompile(`(?i)<script>alert|<img src=x|<svg onload|href="javascript:|\x1b`)
	formula = regexp.MustCompile(`^[=+@\t\r]|^-[^0-9. ]|^-\d.*[^0-9.eE+-]`)
)

// inert checks that no page or list holds text that acts.
func (a *arena) inert(dir, what, text string) {
	for _, path := range filesBelow(filepath.Join(dir, "runs")) {
		b, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		name := filepath.Base(path)
		switch filepath.Ext(path) {
		case ".html":
			if m := active.Find(b); m != nil {
				a.breaks(dir, "%s: %s holds %q", what, name, m)
			}
		case ".xlsx":
			a.noFormula(dir, what, path, text)
		case ".csv":
			rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
			if err != nil {
				a.breaks(dir, "%s: %s is no table: %v", what, name, err)
			}
			for _, r := range rows {
				for _, c := range r {
					if formula.MatchString(c) || strings.Contains(c, "\x1b") {
						a.breaks(dir, "%s: %s has the cell %.60q", what, name, c)
					}
				}
			}
		}
	}
}

// noFormula checks that a workbook holds such text as text.
func (a *arena) noFormula(dir, what, path, text string) {
	f, err := excelize.OpenFile(path)
	if err != nil {
		a.breaks(dir, "%s: %s is no workbook: %v", what, filepath.Base(path), err)
		return
	}
	defer f.Close()
	for _, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet)
		if err != nil {
			a.breaks(dir, "%s: sheet %s: %v", what, sheet, err)
		}
		for r, row := range rows {
			for c, value := range row {
				at, _ := excelize.CoordinatesToCellName(c+1, r+1)
				if does, _ := f.GetCellFormula(sheet, at); strings.Contains(does, strings.TrimLeft(text, "=+@-")) || strings.Contains(value, "\x1b") {
					a.breaks(dir, "%s: %s of sheet %s is %.60q, formula %.60q", what, at, sheet, value, does)
				}
			}
		}
	}
}

// mayName are the outputs that may hold a contact.
var mayName = regexp.MustCompile(`^call_list\.(csv|xlsx)$|^briefs/`)

// private looks for the contact in every file of a run, tables unpacked.
func (a *arena) private(dir string) {
	run := a.firstRun()
	a.tried++
	found := 0
	for _, path := range filesBelow(run) {
		rel, _ := filepath.Rel(run, path)
		b, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		if filepath.Ext(path) == ".parquet" {
			b = unpacked(b)
		}
		if !bytes.Contains(b, []byte(secret)) {
			continue
		}
		found++
		if !mayName.MatchString(rel) {
			a.breaks(dir, "%s holds a customer's contact", rel)
		}
	}
	if found == 0 {
		a.breaks(dir, "no output names the contact: the look for it is broken")
	}
}

// unpacked is every value of a table as text.
func unpacked(b []byte) []byte {
	var out bytes.Buffer
	f, err := parquet.OpenFile(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return b
	}
	for _, g := range f.RowGroups() {
		rows := g.Rows()
		buf := make([]parquet.Row, 64)
		for {
			n, err := rows.ReadRows(buf)
			for _, r := range buf[:n] {
				for _, v := range r {
					fmt.Fprintln(&out, v)
				}
			}
			if err != nil || n == 0 {
				break
			}
		}
		rows.Close()
	}
	return out.Bytes()
}
