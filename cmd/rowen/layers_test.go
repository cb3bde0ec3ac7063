package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// layers says what each folder may import of the project. The way is ingest →
// analyze → report; an import against it would let a later stage change an
// earlier one. A folder that is not listed fails: whoever adds one says where
// it stands.
var layers = []struct {
	folder string
	may    []string // folders, each with what lies below it
	why    string
}{
	{"cmd/rowen", []string{"config", "ingest", "analyze", "report"}, "only the command wires the stages"},
	{"config", []string{"ingest/nearest", "ingest/regular"}, "settings are plain values that every stage may be run without"},
	{"ingest/nearest", nil, "a word among words, shared by settings and tables"},
	{"ingest/regular", nil, "opening a file, for all that read one"},
	{"ingest/samebits", nil, "functions of numbers, for all"},
	{"ingest/register/profiles", []string{"ingest"}, "shipped data"},
	{"ingest", []string{"ingest"}, "reading knows nothing of judging"},
	{"analyze/stat", []string{"ingest/samebits"}, "the ground floor stands on numbers alone"},
	{"analyze/sun", []string{"ingest"}, "the ground floor knows hours and nothing else"},
	{"analyze/sky", []string{"ingest", "analyze/stat", "analyze/sun"}, "the sky comes before the array"},
	{"analyze/array", []string{"ingest", "analyze/stat", "analyze/sun", "analyze/sky"}, "the array is judged under the sky"},
	{"analyze/demand/pulse", []string{"ingest/samebits", "analyze/stat"}, "pulses are counted apart from days"},
	{"analyze/demand/fit", []string{"ingest/samebits", "analyze/stat"}, "least squares know days and columns"},
	{"analyze/demand/change", []string{"ingest", "analyze/stat", "analyze/demand/fit"}, "a change is found before it is named"},
	{"analyze/demand/load", []string{"ingest", "analyze/stat", "analyze/demand/fit", "analyze/demand/change"}, "a name is given to what was found"},
	{"analyze/demand", []string{"ingest", "analyze/stat"}, "use is judged apart from the array"},
	{"analyze/headroom", []string{"ingest", "analyze/stat"}, "limits are judged apart from money"},
	{"analyze/tariff", []string{"ingest"}, "a bill knows hours and prices"},
	{"analyze/option", []string{"ingest", "analyze/stat", "analyze/tariff"}, "a size is judged from hours, limits and a bill"},
	{"analyze/visit", []string{"ingest", "analyze/array", "analyze/headroom"}, "a sheet says what the limits and the array found"},
	{"analyze/rank", []string{"ingest/samebits", "analyze/stat"}, "the lane rules see only what was found"},
	{"analyze", []string{"ingest", "analyze"}, "the root of analyze wires its parts"},
	{"report/page", nil, "a page shows what it is given"},
	{"report", []string{"ingest", "analyze", "report"}, "report renders and never computes"},
	{"scripts", []string{"config", "ingest", "analyze", "report", "scripts"}, "tools of the workshop"},
}

func TestImportsRunOneWay(t *testing.T) {
	root := filepath.Join("..", "..")
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") {
			return nil
		}
		files++
		rel, _ := filepath.Rel(root, path)
		checkImports(t, filepath.ToSlash(rel), path)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 20 {
		t.Fatalf("only %d files were looked at: the walk is broken", files)
	}
}

func checkImports(t *testing.T, name, path string) {
	folder := name[:strings.LastIndex(name, "/")]
	at := -1
	for i, l := range layers {
		if within(folder, l.folder) {
			at = i
			break
		}
	}
	if at < 0 {
		t.Errorf("%s: the folder is not listed among the layers", name)
		return
	}
	f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	for _, spec := range f.Imports {
		imp, _ := strconv.Unquote(spec.Path.Value)
		target, ours := strings.CutPrefix(imp, "rowen/")
		if !ours || within(target, layers[at].folder) {
			continue
		}
		if strings.HasSuffix(name, "_test.go") && (target == "scripts/outside" || target == "ingest/demo") {
			continue // tests may fetch check values and use the invented fleet
		}
		if !anyWithin(target, layers[at].may) {
			t.Errorf("%s imports %s: %s", name, imp, layers[at].why)
		}
	}
}

func within(folder, parent string) bool {
	return folder == parent || strings.HasPrefix(folder, parent+"/")
}

func anyWithin(folder string, parents []string) bool {
	for _, p := range parents {
		if within(folder, p) {
			return true
		}
	}
	return false
}
