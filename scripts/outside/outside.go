// Package outside finds what tests compare against: the check values in
// testdata/checks, whose sources 00_index.csv names, and the real data sets
// that lie beside the project and are not part of it.
package outside

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// Root is the project's folder.
func Root() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(filepath.Dir(file)))
}

// Data gives the path of a real data file or folder beside the project. Where
// it is absent the test is skipped with a clear line, but fails where CI is
// set: there it must not pass unseen.
func Data(t testing.TB, elem ...string) string {
	t.Helper()
	path := filepath.Join(append([]string{Root(), "..", "shared", "data"}, elem...)...)
	if _, err := os.Stat(path); err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("real data %s is not here, and CI is set: it must not be skipped", filepath.Join(elem...))
	}
	t.Skipf("skipped: real data %s is not on this machine", filepath.Join(elem...))
	return ""
}

// Check gives the path of a file of check values.
func Check(t testing.TB, name string) string {
	t.Helper()
	return filepath.Join(Root(), "testdata", "checks", name)
}

// Row is one line of a check file by column name.
type Row map[string]string

// Num is a cell as a number; the test fails where it is none.
func (r Row) Num(t testing.TB, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(r[column]), 64)
	if err != nil {
		t.Fatalf("check column %q: %v (row %v)", column, err, r)
	}
	return v
}

// Rows reads a CSV file of check values; the test fails where it is empty.
func Rows(t testing.TB, name string) []Row {
	t.Helper()
	f, err := os.Open(Check(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 2 {
		t.Fatalf("%s holds no check rows", name)
	}
	rows := make([]Row, 0, len(all)-1)
	for _, rec := range all[1:] {
		row := Row{}
		for i, v := range rec {
			if i < len(all[0]) {
				row[all[0][i]] = v
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// JSON reads a JSON file of check values into v.
func JSON(t testing.TB, name string, v any) {
	t.Helper()
	b, err := os.ReadFile(Check(t, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}
