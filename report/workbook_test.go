package report

import (
	"archive/zip"
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

// calls are three customers of two branches; the second's texts are formulas to
// a spreadsheet that takes them for such.
func calls() []CallRow {
	return []CallRow{
		{Rank: 1, Branch: "north", SiteID: "A", Customer: "Zyxwine Quorrel", Contact: "zq@example.org", Lane: "call", Why: "Use grows.",
			ModulesToAdd: 6, AddedKWhYr: 3120, Cost: 6080, SavingsFirstYear: 812.34, SavingsLow: 700, SavingsHigh: 900,
			NetBenefit: 5000.5, NetBenefitLow: -20, NetBenefitHigh: 9000, SimplePaybackYears: 7.5, Confidence: 0.83},
		{Rank: 2, Branch: "south/east", SiteID: "B", Customer: `=HYPERLINK("http://example.org","x")`, Contact: "+1 (555) 0100", Why: "@SUM(A1)", SimplePaybackYears: math.NaN(), SavingsLow: math.NaN()},
		{Rank: 3, Branch: "north", SiteID: "C", Customer: "-2+3", Contact: "\tx"},
	}
}

func openWorkbook(t *testing.T, rows []CallRow) *excelize.File {
	t.Helper()
	path := filepath.Join(t.TempDir(), "call_list.xlsx")
	if err := writeWorkbook(path, rows, Manifest{Program: "rowen", Version: "1", Month: "2026-10", Currency: "EUR"}); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func TestWorkbook(t *testing.T) {
	f := openWorkbook(t, calls())
	if diff := cmp.Diff([]string{"read first", "whole fleet", "north", "south east"}, f.GetSheetList()); diff != "" {
		t.Fatal(diff)
	}
	shown, err := f.GetRows("whole fleet")
	if err != nil {
		t.Fatal(err)
	}
	// 812.34 and 5000.5 without decimals, years with one, 0.83 as per cent.
	want := "1|north|A|Zyxwine Quorrel|zq@example.org|call|Use grows.||6|3,120|6,080|812|700|900|5,001|-20|9,000|7.5|83%"
	if got := strings.TrimRight(strings.Join(shown[1], "|"), "|"); got != want {
		t.Errorf("first row\n%s\n%s", got, want)
	}
	if diff := cmp.Diff([]string{"rank", "branch", "site", "customer"}, shown[0][:4]); diff != "" || shown[0][15] != "net benefit (low)" {
		t.Error(diff, shown[0])
	}
	for cell, want := range map[string]string{"R2": "7.5", "R3": "", "M3": ""} {
		if got, _ := f.GetCellValue("whole fleet", cell); got != want {
			t.Errorf("%s is %q, want %q", cell, got, want)
		}
	}
	for sheet, ids := range map[string]string{"whole fleet": "A B C", "north": "A C", "south east": "B"} {
		rows, _ := f.GetRows(sheet)
		var got []string
		for _, r := range rows[1:] {
			got = append(got, r[2])
		}
		if strings.Join(got, " ") != ids {
			t.Errorf("sheet %s holds %v", sheet, got)
		}
		if p, err := f.GetPanes(sheet); err != nil || !p.Freeze || p.YSplit != 1 {
			t.Errorf("sheet %s: the heading is not frozen: %+v %v", sheet, p, err)
		}
		if l, err := f.GetPageLayout(sheet); err != nil || *l.Orientation != "landscape" || *l.FitToWidth != 1 {
			t.Errorf("sheet %s: %+v %v", sheet, l, err)
		}
	}
	if ok, link, _ := f.GetCellHyperLink("whole fleet", "C2"); !ok || link != "briefs/A.html" {
		t.Errorf("the site links to %q", link)
	}
}

// TestWorkbookRunsNothing: text stays text, letter for letter, and no cell of
// the file is a formula.
func TestWorkbookRunsNothing(t *testing.T) {
	f := openWorkbook(t, calls())
	for cell, want := range map[string]string{"D3": calls()[1].Customer, "E3": calls()[1].Contact, "G3": "@SUM(A1)", "D4": "-2+3"} {
		if got, _ := f.GetCellValue("whole fleet", cell); got != want {
			t.Errorf("%s is %q, want %q", cell, got, want)
		}
		if kind, _ := f.GetCellType("whole fleet", cell); kind != excelize.CellTypeSharedString && kind != excelize.CellTypeInlineString {
			t.Errorf("%s is of type %v", cell, kind)
		}
		if is, _ := f.GetCellFormula("whole fleet", cell); is != "" {
			t.Errorf("%s runs %s", cell, is)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range z.File {
		r, _ := part.Open()
		var text bytes.Buffer
		text.ReadFrom(r)
		if strings.Contains(text.String(), "<f>") || strings.Contains(text.String(), "<f ") {
			t.Errorf("%s holds a formula", part.Name)
		}
	}
}

func TestWorkbookOfNobody(t *testing.T) {
	f := openWorkbook(t, nil)
	rows, err := f.GetRows("whole fleet")
	if err != nil || len(rows) != 1 {
		t.Errorf("%v %v", rows, err)
	}
}

func TestReadFirst(t *testing.T) {
	f := openWorkbook(t, calls())
	rows, _ := f.GetRows("read first")
	var all strings.Builder
	for _, r := range rows {
		all.WriteString(strings.Join(r, "|") + "\n")
	}
	for _, want := range []string{"licensed people", "Nothing is switched on before inspection", "net benefit (low)|net_benefit_low|EUR|", "Call list October 2026", "personal data"} {
		if !strings.Contains(all.String(), want) {
			t.Errorf("the sheet to read first does not say %q", want)
		}
	}
	for _, c := range Tables()[0].Columns {
		if !strings.Contains(all.String(), c.Head+"|"+c.Name+"|") || c.Head == "" || c.Wide == 0 {
			t.Errorf("column %s is not described", c.Name)
		}
	}
}

// TestWorkbookBytes: the same list gives the same bytes, whatever the order in
// which the library keeps its parts.
func TestWorkbookBytes(t *testing.T) {
	var first []byte
	for i := range 4 {
		path := filepath.Join(t.TempDir(), strconv.Itoa(i))
		if err := writeWorkbook(path, calls(), Manifest{Month: "2026-10"}); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if i > 0 && !bytes.Equal(first, b) {
			t.Fatal("two workbooks of one list differ")
		}
		first = b
	}
	// A list of October was made when October was over, by no clock.
	if p, err := openWorkbook(t, calls()).GetDocProps(); err != nil || p.Created != "2026-11-01T00:00:00Z" || p.Modified != p.Created {
		t.Errorf("made %+v %v", p, err)
	}
}

// BenchmarkWorkbook writes the list of 25 branches that call 40 customers each.
func BenchmarkWorkbook(b *testing.B) {
	var rows []CallRow
	for i := range 1000 {
		r := calls()[0]
		r.Rank, r.Branch, r.Why = int32(i+1), "branch "+strconv.Itoa(i%25), strings.Repeat("Use grows by much. ", 12)
		rows = append(rows, r)
	}
	path := filepath.Join(b.TempDir(), "call_list.xlsx")
	for b.Loop() {
		if err := writeWorkbook(path, rows, Manifest{Month: "2026-10"}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N*len(rows))/b.Elapsed().Seconds(), "rows/s")
}

func TestSheetName(t *testing.T) {
	taken := map[string]bool{"read first": true, "whole fleet": true}
	long := strings.Repeat("x", 40)
	for _, tc := range []struct{ branch, want string }{
		{"north", "north"}, {"North", "North (2)"}, {"", "branch"}, {"a/b", "a b"}, {"'q'", "q"}, {"History", "branch History"},
		{"Whole Fleet", "Whole Fleet (2)"}, {long, long[:31]}, {long, long[:27] + " (2)"}, {"[*]", "branch (2)"},
	} {
		if got := sheetName(tc.branch, taken); got != tc.want {
			t.Errorf("%q: %q, want %q", tc.branch, got, tc.want)
		}
	}
}

// FuzzSheetName: whatever a branch is called, the workbook can be made.
func FuzzSheetName(f *testing.F) {
	for _, s := range []string{"", "north", "😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀", "a\x00b", "\xff", "'''"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, branch string) {
		name := sheetName(branch, map[string]bool{})
		if n := len(utf16.Encode([]rune(name))); n == 0 || n > 31 {
			t.Fatalf("%q makes %q of %d", branch, name, n)
		}
		w := excelize.NewFile()
		defer w.Close()
		if _, err := w.NewSheet(name); err != nil {
			t.Fatalf("%q: %v", branch, err)
		}
	})
}

// TestLines: by hand, in columns of ten.
func TestLines(t *testing.T) {
	for _, tc := range []struct {
		text string
		want int
	}{{"", 1}, {"0123456789", 1}, {"01234 6789", 1}, {"01234 67890", 2}, {"0123456789a", 2}, {"ab 0123456789abcdefghijk", 4}, {"aaaa bbbb cccc", 2}} {
		if got := lines(tc.text, 10); got != tc.want {
			t.Errorf("%q: %d lines, want %d", tc.text, got, tc.want)
		}
	}
}
