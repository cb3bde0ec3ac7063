package register

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rowen/ingest"
)

// TestTariffsSetAside: what is wrong with one entry sets it aside by file, line,
// key and reason; the entry added at the end is read all the same.
func TestTariffsSetAside(t *testing.T) {
	text, err := os.ReadFile("testdata/tariffs.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range strings.Split(string(text), "\n== ")[1:] {
		name, rest, _ := strings.Cut(c, "\n")
		t.Run(name, func(t *testing.T) {
			body, want, _ := strings.Cut(rest, "\n-- want\n")
			body += "\n  - {id: kept, import: [{price: 0.2}]}\n"
			f, err := Read(folder(t, map[string]string{"tariffs.yaml": body}), Options{Timezone: "America/Denver"})
			if err != nil {
				t.Fatal(err)
			}
			if ingest.FindTariff(f.Tariffs, "kept") == nil {
				t.Error("the other tariff is gone")
			}
			var got []string
			for _, r := range f.Rejects {
				if r.File == "tariffs.yaml" {
					got = append(got, fmt.Sprintf("%s:%d: %s", r.File, r.Line, r.Reason))
				}
			}
			if diff := cmp.Diff(strings.Split(strings.TrimSpace(want), "\n"), got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

// TestTariffsInstead: another file takes the place of the folder's; where it is
// not there that is an error, and no note.
func TestTariffsInstead(t *testing.T) {
	dir := folder(t, nil)
	other := dir + "/what-if.yaml"
	if err := os.WriteFile(other, []byte("tariffs: [{id: other, import: [{price: 0.3}]}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := Read(dir, Options{Timezone: "America/Denver", TariffsFile: other})
	if err != nil || len(f.Tariffs) != 1 || f.Tariffs[0].ID != "other" {
		t.Errorf("tariffs %v, %v", f.Tariffs, err)
	}
	if _, err := Read(dir, Options{Timezone: "America/Denver", TariffsFile: dir + "/none.yaml"}); err == nil {
		t.Error("a file that is not there was taken")
	}
}
