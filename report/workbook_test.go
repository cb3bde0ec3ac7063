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
	"time"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"

	"rowen/ingest"
)

// calls are three customers of two branches; the second's texts are formulas to
// a spreadsheet that takes them for such.
func listedCalls() []CallRow {
	return []CallRow{
		{Rank: 1, Branch: "north", SiteID: "A", Customer: "Zyxwine Quorrel", Contact: "zq@example.org", Phone: "555 0100", Lane: "call", Say: "It grows.", Why: "Use grows.", NextStep: "call",
			listed:       listed{Tenth: 1, Reason: "use_growing", Register: "ab12", AddedKWhYr: 3120, Saving: 812.34, SavingLow: 700, SavingHigh: math.NaN(), ModulesToAdd: 6, RankOf: 1},
			ModulesToAdd: 6, AddedKWhYr: 3120, Cost: 6080, SavingsFirstYear: 812.34, SavingsLow: 700, SavingsHigh: 900,
			NetBenefit: 5000.5, NetBenefitLow: -20, NetBenefitHigh: 9000, SimplePaybackYears: 7.5, Confidence: 0.83},
		{Rank: 2, Branch: "south/east", SiteID: "B", Customer: `=HYPERLINK("http://example.org","x")`, Contact: "+1 (555) 0100", Say: "@SUM(A1)", SimplePaybackYears: math.NaN(), SavingsLow: math.NaN()},
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
	f := openWorkbook(t, listedCalls())
	if diff := cmp.Diff([]string{"read first", "whole fleet", "north", "south east", "list as made"}, f.GetSheetList()); diff != "" {
		t.Fatal(diff)
	}
	shown, err := f.GetRows("whole fleet")
	if err != nil {
		t.Fatal(err)
	}
	// 812.34 without decimals; what sales fill in is empty.
	want := "1|A|Zyxwine Quorrel|555 0100|It grows.|6|6,080|812|call|||||||north|call|Use grows."
	if got := strings.TrimRight(strings.Join(shown[1], "|"), "|"); !strings.HasPrefix(got, want) {
		t.Errorf("first row\n%s\n%s", got, want)
	}
	heads := map[string]string{}
	for i, h := range shown[0] {
		heads[h], _ = excelize.ColumnNumberToName(i + 1)
	}
	for head, want := range map[string]string{"net benefit": "5,001", "net benefit (low)": "-20", "pays back (years)": "7.5", "confidence": "83%"} {
		if got, _ := f.GetCellValue("whole fleet", heads[head]+"2"); got != want {
			t.Errorf("%s is %q, want %q", head, got, want)
		}
	}
	for _, head := range []string{"pays back (years)", "saves a year (low)"} {
		if got, _ := f.GetCellValue("whole fleet", heads[head]+"3"); got != "" {
			t.Errorf("%s, not known, is %q", head, got)
		}
	}
	for sheet, ids := range map[string]string{"whole fleet": "A B C", "north": "A C", "south east": "B"} {
		rows, _ := f.GetRows(sheet)
		var got []string
		for _, r := range rows[1:] {
			got = append(got, r[1])
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
	if ok, link, _ := f.GetCellHyperLink("whole fleet", "B2"); !ok || link != "briefs/A.html" {
		t.Errorf("the site links to %q", link)
	}
}

// TestWorkbookRunsNothing: text stays text, letter for letter, and no cell of
// the file is a formula.
func TestWorkbookRunsNothing(t *testing.T) {
	f := openWorkbook(t, listedCalls())
	for cell, want := range map[string]string{"C3": listedCalls()[1].Customer, "E3": "@SUM(A1)", "C4": "-2+3"} {
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
	f := openWorkbook(t, listedCalls())
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
		if err := writeWorkbook(path, listedCalls(), Manifest{Month: "2026-10"}); err != nil {
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
	if p, err := openWorkbook(t, listedCalls()).GetDocProps(); err != nil || p.Created != "2026-11-01T00:00:00Z" || p.Modified != p.Created {
		t.Errorf("made %+v %v", p, err)
	}
}

// BenchmarkWorkbook writes the list of 25 branches that call 40 customers each.
func BenchmarkWorkbook(b *testing.B) {
	var rows []CallRow
	for i := range 1000 {
		r := listedCalls()[0]
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

// A printed page holds its columns at 8 points or more, on the narrower of the
// two common sheets: Letter, 11 inches less the margins of 0.4. A character of
// 11 points is 7 pixels of 1/96 inch wide, a column 5 pixels more.
func TestPrintsLegibly(t *testing.T) {
	cols := Tables()[0].Columns
	px := 0
	for _, c := range cols[:printedColumns(cols)] {
		px += 7*c.Wide + 5
	}
	if points := 11 * (11 - 2*0.4) * 96 / float64(px); points < 8 {
		t.Errorf("the printed columns are %d pixels wide: %.1f points", px, points)
	}
	for i, c := range cols {
		if c.Printed != (i < printedColumns(cols)) {
			t.Errorf("column %s: the printed columns do not stand first", c.Name)
		}
	}
}

// fill writes into a workbook as a person does and gives its path.
func fill(t *testing.T, rows []CallRow, write func(*excelize.File)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "call_list.xlsx")
	if err := writeWorkbook(path, rows, Manifest{Program: "rowen", Month: "2026-10"}); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	write(f)
	if err := f.Save(); err != nil {
		t.Fatal(err)
	}
	return path
}

// The filled columns come back, each call once, though it stands on two sheets;
// with them what the list said.
func TestFilledWorkbookComesBack(t *testing.T) {
	path := fill(t, listedCalls(), func(f *excelize.File) {
		f.SetCellStr("whole fleet", "J2", "sold")  // site A: result, called on (serial), notes, modules, price
		f.SetCellValue("whole fleet", "K2", 46331) // 2026-11-05
		f.SetCellStr("whole fleet", "L2", "wants them in spring")
		f.SetCellInt("whole fleet", "M2", 8)
		f.SetCellStr("north", "J2", "Sold ") // the same call on the branch's sheet
		f.SetCellStr("north", "K2", "2026-11-05")
		f.SetCellFloat("north", "N2", 7500.5, -1, 64)
		f.SetCellStr("south east", "J2", "no answer")
		f.SetCellValue("south east", "K2", time.Date(2026, 11, 6, 9, 30, 0, 0, time.UTC))
		f.SetCellStr("north", "L3", "call in the evening") // site C: a note alone
	})
	got, err := ReadFilled(path)
	if err != nil {
		t.Fatal(err)
	}
	day := func(d int) time.Time { return time.Date(2026, 11, d, 0, 0, 0, 0, time.UTC) }
	nan := math.NaN()
	want := []ingest.Outcome{
		{SiteID: "A", CalledOn: day(5), Result: "sold", Reason: "wants them in spring", ModulesSold: ingest.Some(8), Price: 7500.5,
			Listed: ingest.Listed{Month: "2026-10", Rank: ingest.Some(1), Tenth: ingest.Some(1), Reason: "use_growing", Modules: ingest.Some(6), AddedKWhYr: 3120, Saving: 812.34, SavingLow: 700, SavingHigh: nan, Register: "ab12"}},
		{SiteID: "B", CalledOn: day(6), Result: "no_answer", Price: nan, Listed: ingest.Listed{Month: "2026-10", Rank: ingest.Some(0), Tenth: ingest.Some(0), Modules: ingest.Some(0)}},
	}
	if diff := cmp.Diff(want, got.Outcomes, cmpopts.EquateNaNs()); diff != "" {
		t.Error(diff)
	}
	if len(got.Notes) != 1 || !strings.Contains(got.Notes[0], "site C") {
		t.Errorf("%q", got.Notes)
	}
}

// What cannot be taken in is named, all of it, and nothing is.
func TestFilledWorkbookRefuses(t *testing.T) {
	path := fill(t, listedCalls(), func(f *excelize.File) {
		f.SetCellStr("whole fleet", "J2", "sold")
		f.SetCellStr("whole fleet", "K2", "2026-11-05")
		f.SetCellStr("north", "J2", "declined")
		f.SetCellStr("north", "K2", "2026-11-05")
		f.SetCellStr("whole fleet", "J3", "maybe")
		f.SetCellStr("whole fleet", "K3", "5.11.26")
		f.SetCellStr("whole fleet", "J4", "sold")
		f.SetCellStr("whole fleet", "M4", "many")
	})
	_, err := ReadFilled(path)
	if err == nil {
		t.Fatal("taken in")
	}
	for _, want := range []string{"whole fleet, row 2 and north, row 2: site A", `result "maybe"`, `"5.11.26"`, "called on is blank", `modules sold "many"`, "nothing was taken in"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("the error does not say %q:\n%v", want, err)
		}
	}
	if _, err := ReadFilled(fill(t, nil, func(f *excelize.File) { f.DeleteSheet("whole fleet") })); err == nil || !strings.Contains(err.Error(), "no sheet has the headings") {
		t.Errorf("%v", err)
	}
}
