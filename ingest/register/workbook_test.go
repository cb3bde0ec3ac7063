package register

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

// A workbook with a sheet per table reads like the same tables as CSV. The day
// counts are those of ECMA-376 part 1, 18.17.4.1: 45306 is 15 January 2024.
func TestWorkbook(t *testing.T) {
	dir := folder(t, map[string]string{"sites.csv": "", "arrays.csv": ""})
	f := excelize.NewFile()
	defer f.Close()
	for sheet, rows := range map[string][][]any{
		"Sites": {
			{"site_id", "latitude", "longitude", "timezone", "do_not_contact", "last_contact_on", nil},
			{"S1", 39.5, -105.25, "America/Denver", true, 45306},
			{},
			{"S2", 1, 1, "UTC"},
		},
		"arrays": {{"site_id", "array_id", "modules", "module_watts"}, {"S1", "a", 12, 400}, {"S1", "b", "many", 400}},
		"Notes":  {{"not a table"}},
	} {
		if _, err := f.NewSheet(sheet); err != nil {
			t.Fatal(err)
		}
		for i, r := range rows {
			at, _ := excelize.CoordinatesToCellName(1, i+1)
			if err := f.SetSheetRow(sheet, at, &r); err != nil {
				t.Fatal(err)
			}
		}
	}
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.SetCellStyle("Sites", "F2", "F2", style); err != nil {
		t.Fatal(err)
	}
	if err := f.SaveAs(filepath.Join(dir, "register.xlsx")); err != nil {
		t.Fatal(err)
	}

	fleet, err := Read(dir, smallOptions)
	if err != nil {
		t.Fatal(err)
	}
	s := fleet.Site("S1")
	if fleet.Len() != 2 || s == nil || s.LatitudeDeg != 39.5 || !s.DoNotContact || len(s.Arrays) != 1 || s.Arrays[0].Modules != 12 {
		t.Fatalf("%+v", listed(fleet))
	}
	if want := time.Date(2024, 1, 15, 0, 0, 0, 0, time.UTC); !s.LastContactOn.Equal(want) {
		t.Errorf("last contact %s, want %s", s.LastContactOn, want)
	}
	var lines []string
	for _, l := range said(fleet) {
		if strings.HasPrefix(l, "arrays.csv:") {
			lines = append(lines, l)
		}
	}
	if d := cmp.Diff([]string{`arrays.csv:3: column "modules": must be a whole number [many] S1`}, lines); d != "" {
		t.Error(d)
	}
}

// A workbook that is none stops the run with what to do, and does not hide the
// tables that are there.
func TestWorkbookThatIsNone(t *testing.T) {
	write := func(dir string) string {
		if err := os.WriteFile(filepath.Join(dir, workbookFile), []byte("site_id,latitude"), 0o600); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	if _, err := Read(write(folder(t, map[string]string{"sites.csv": ""})), smallOptions); err == nil || !strings.Contains(err.Error(), "save it as xlsx, or each table as CSV") {
		t.Errorf("%v", err)
	}
	if f, err := Read(write(folder(t, nil)), smallOptions); err != nil || f.Len() == 0 {
		t.Errorf("%v", err)
	}
}
