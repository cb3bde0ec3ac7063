package register

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"rowen/ingest"

	"github.com/google/go-cmp/cmp"
)

// TestErrors runs the text cases of testdata/documents.txt: what stops a run.
func TestErrors(t *testing.T) {
	text, err := os.ReadFile("testdata/documents.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range strings.Split(string(text), "\n== ")[1:] {
		name, rest, _ := strings.Cut(c, "\n")
		t.Run(name, func(t *testing.T) {
			input, want, _ := strings.Cut(rest, "\n-- want\n")
			file, body, _ := strings.Cut(input, "\n")
			f, err := Read(folder(t, map[string]string{file: body + "\n"}), smallOptions)
			if err == nil {
				t.Fatalf("no error, but %d sites", f.Len())
			}
			if diff := cmp.Diff(strings.Split(strings.TrimSpace(want), "\n"), strings.Split(err.Error(), "\n")); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

// TestAbsentFiles: every file but sites.csv may be absent, and a note says so.
func TestAbsentFiles(t *testing.T) {
	for file := range small {
		_, err := Read(folder(t, map[string]string{file: ""}), Options{Timezone: "America/Denver"})
		switch {
		case file == "sites.csv":
			if err == nil || err.Error() != "reading sites.csv: not there: a fleet's folder holds it, with one row per customer site" {
				t.Errorf("without %s: %v", file, err)
			}
		case err != nil:
			t.Errorf("without %s: %v", file, err)
		}
	}
	f, err := Read(folder(t, map[string]string{"catalogue.yaml": "", "tariffs.yaml": "", "bills.csv": ""}), Options{Timezone: "America/Denver"})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"catalogue.yaml: not there, so no module can be offered",
		"tariffs.yaml: missing, so no bill can be calculated",
		"bills.csv: not there, so nothing is known of its bills",
	}
	if diff := cmp.Diff(want, f.Notes); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if f.Site("S1").TariffID != "" || f.Site("S2").TariffID != "tou-b" {
		t.Errorf("tariffs %q and %q", f.Site("S1").TariffID, f.Site("S2").TariffID)
	}
}

func TestEmptyAndForeignFiles(t *testing.T) {
	for text, want := range map[string]string{
		"":              "reading sites.csv: it is empty: begin it with a row of column names",
		"\n\r\n":        "reading sites.csv: it is empty: begin it with a row of column names",
		"site_id,\"lat": `reading sites.csv: line 1 has a quote that is not closed before the cell ends: close it, and double a quote that belongs to the text`,
	} {
		_, err := sites.parse(newScanner(text), &book{})
		if err == nil || err.Error() != want {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	b := &book{}
	rows, err := sites.parse(newScanner("site_id,latitude,longitude,customer\nS1,1,1,M\xfcller\n"), b)
	if err != nil || len(rows) != 0 || len(b.rejects) != 1 || b.rejects[0].Value != "" || b.rejects[0].Reason != "must be UTF-8: save the file as UTF-8" {
		t.Errorf("%v %v %+v", rows, err, b.rejects)
	}
}

// TestEveryKindHasARule: a field of a new kind in the catalogue or a tariff
// must not wait for a user's file to be noticed.
func TestEveryKindHasARule(t *testing.T) {
	var look func(reflect.Type)
	look = func(ty reflect.Type) {
		switch ty.Kind() {
		case reflect.Pointer, reflect.Slice:
			look(ty.Elem())
		case reflect.Struct:
			for f := range ty.Fields() {
				if f.Tag.Get("yaml") == "" {
					t.Errorf("%s.%s has no yaml name", ty, f.Name)
				}
				look(f.Type)
			}
		case reflect.String, reflect.Float64, reflect.Int, reflect.Bool:
		default:
			t.Errorf("no rule for %s", ty)
		}
	}
	look(reflect.TypeFor[ingest.Catalogue]())
	look(reflect.TypeFor[ingest.Tariff]())
}

// FuzzDocuments: whatever the text, no panic, and what is refused names a line
// of the file.
func FuzzDocuments(f *testing.F) {
	f.Add(contractCatalogue)
	f.Add(contractTariffs)
	f.Add("modules: [{model: 1}]\n? x\n")
	place := regexp.MustCompile(`^x\.yaml(:\d+)?: `)
	f.Fuzz(func(t *testing.T, text string) {
		var c ingest.Catalogue
		_, _, tariffs := decodeTariffs(newDocument("x.yaml"), []byte(text))
		for _, err := range []error{decodeCatalogue(newDocument("x.yaml"), []byte(text), &c), tariffs} {
			if err != nil && !place.MatchString(err.Error()) {
				t.Errorf("%q: %v", text, err)
			}
		}
	})
}
