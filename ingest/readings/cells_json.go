package readings

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// openJSON reads a list of objects; the first record holds the names of their
// keys, nested ones with dots.
func openJSON(path, where string, o Limits) (cellReader, error) {
	tree, err := readJSON(path, o)
	if err != nil {
		return nil, err
	}
	list, at := listIn(tree, "")
	if where != "" {
		at, list = where, listAt(tree, where)
	}
	if list == nil {
		return nil, fmt.Errorf("no list of objects at records %q: name the keys that lead to it, as energy.values", at)
	}
	return &memoryReader{records: recordsOf(list)}, nil
}

func readJSON(path string, o Limits) (any, error) {
	f, err := openText(path, o)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxJSON+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxJSON {
		return nil, fmt.Errorf("the JSON text is larger than %d MiB: split it", maxJSON>>20)
	}
	if decoded, _, err := transform.Bytes(unicode.BOMOverride(transform.Nop), text); err == nil {
		text = decoded
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var tree any
	if err := d.Decode(&tree); err != nil {
		return nil, fmt.Errorf("the text is not JSON: %w", err)
	}
	return tree, nil
}

// unitBeside is the unit that a JSON text states beside its list; "" for none.
func unitBeside(path string, o Limits) string {
	tree, err := readJSON(path, o)
	if err != nil {
		return ""
	}
	_, where := listIn(tree, "")
	for key := range strings.SplitSeq(where, ".") {
		m, ok := tree.(map[string]any)
		if !ok {
			return ""
		}
		if u, ok := m["unit"].(string); ok {
			return unitNamed(u)
		}
		tree = m[key]
	}
	return ""
}

// listAt follows dotted keys to a list of objects; nil where there is none.
func listAt(tree any, where string) []any {
	for key := range strings.SplitSeq(where, ".") {
		m, ok := tree.(map[string]any)
		if !ok {
			return nil
		}
		tree = m[key]
	}
	list, _ := tree.([]any)
	return list
}

// listIn finds the longest list of objects in a tree and the keys that lead to it.
func listIn(tree any, at string) (best []any, where string) {
	switch t := tree.(type) {
	case []any:
		if len(t) > 0 {
			if _, isObject := t[0].(map[string]any); isObject {
				return t, at
			}
		}
	case map[string]any:
		keys := make([]string, 0, len(t))
		for k := range t {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if l, w := listIn(t[k], strings.TrimPrefix(at+"."+k, ".")); len(l) > len(best) {
				best, where = l, w
			}
		}
	}
	return best, where
}

func recordsOf(list []any) []record {
	var names []string
	place := map[string]int{}
	flat := make([]map[string]string, len(list))
	for i, o := range list {
		flat[i] = map[string]string{}
		flatten(o, "", flat[i])
		keys := make([]string, 0, len(flat[i]))
		for k := range flat[i] {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if _, known := place[k]; !known {
				place[k] = len(names)
				names = append(names, k)
			}
		}
	}
	records := []record{{cells: names, line: 0}}
	for i, m := range flat {
		cells := make([]string, len(names))
		for k, v := range m {
			cells[place[k]] = v
		}
		records = append(records, record{cells: cells, line: i + 1})
	}
	return records
}

func flatten(v any, key string, out map[string]string) {
	switch t := v.(type) {
	case map[string]any:
		for k, inner := range t {
			flatten(inner, strings.TrimPrefix(key+"."+k, "."), out)
		}
	case json.Number:
		out[key] = t.String()
	case string:
		out[key] = strings.TrimSpace(t)
	case bool:
		out[key] = strconv.FormatBool(t)
	case nil:
		out[key] = ""
	}
}
