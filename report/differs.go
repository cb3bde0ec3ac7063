package report

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Differs says in what two runs were not run alike: their versions, settings
// and register files, one a line. The month and the readings are left out: they
// differ from one run to the next by nature.
//
// Edges: a run without a run.json says nothing.
func Differs(runA, runB string) ([]string, error) {
	a, err := askedOf(runA)
	if err != nil {
		return nil, err
	}
	b, err := askedOf(runB)
	if err != nil || a == nil || b == nil {
		return nil, err
	}
	var keys []string
	for k := range a {
		keys = append(keys, k)
	}
	for k := range b {
		if _, both := a[k]; !both {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	var out []string
	for _, k := range keys {
		from, before := a[k]
		to, after := b[k]
		switch {
		case from == to && before == after:
		case strings.HasPrefix(k, "file ") && before && after:
			out = append(out, k+": other content")
		case strings.HasPrefix(k, "file ") && before:
			out = append(out, k+": only in the first")
		case strings.HasPrefix(k, "file "):
			out = append(out, k+": only in the second")
		default:
			out = append(out, fmt.Sprintf("%s: %s → %s", k, from, to))
		}
	}
	return out, nil
}

// askedOf flattens what a run was asked for; nil where it keeps no record.
func askedOf(run string) (map[string]string, error) {
	text, err := os.ReadFile(filepath.Join(run, "run.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var m Manifest
	if err == nil {
		err = json.Unmarshal(text, &m)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the record of the run: %w", err)
	}
	asked := map[string]string{"version": m.Version}
	flatten(asked, "", m.Settings)
	delete(asked, "month")
	for _, f := range m.Inputs {
		if !strings.Contains(f.File, "/") { // readings and weather lie in folders
			asked["file "+f.File] = f.SHA256
		}
	}
	return asked, nil
}

func flatten(into map[string]string, key string, v any) {
	group, ok := v.(map[string]any)
	if !ok {
		text, _ := json.Marshal(v) // it came from JSON
		into[key] = string(text)
		return
	}
	for k, inner := range group {
		flatten(into, strings.TrimPrefix(key+"."+k, "."), inner)
	}
}

// PrintDiffers prints in what two runs were not run alike.
func PrintDiffers(w io.Writer, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintln(w, "run differently")
	for _, l := range lines {
		printWrapped(w, "  ", l)
	}
}
