package register

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"rowen/ingest"
	"rowen/ingest/nearest"
	"rowen/ingest/regular"
)

// document is a YAML file that is decoded strictly: every key must be known,
// every value of its kind, and what is wrong is said with its line, all at
// once. A path names a value as a message does: modules "TN-430": watts.
type document struct {
	file  string
	lines map[string]int
	bad   []error

	rejects []ingest.Reject // the same as bad, for what goes on without them
}

func openDocument(dir, file string) (*document, []byte, error) {
	text, err := regular.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return nil, nil, err
	}
	return newDocument(file), text, nil
}

func newDocument(file string) *document { return &document{file: file, lines: map[string]int{}} }

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// root reads the text as YAML; nil where it is empty or cannot be read.
func (d *document) root(text []byte) *yaml.Node {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		where, why := d.file, err.Error()
		if m := yamlLine.FindStringSubmatch(why); m != nil {
			why = m[2]
			if m[1] != "" {
				where += ":" + m[1]
			}
		}
		d.bad = append(d.bad, fmt.Errorf("%s: cannot be read as YAML (%s): indent with spaces, one key a line", where, why))
		return nil
	}
	if len(doc.Content) == 0 || isNull(doc.Content[0]) {
		return nil
	}
	return doc.Content[0]
}

// decode fills out, a pointer to a struct with yaml tags.
func (d *document) decode(text []byte, out any) {
	y := d.root(text)
	if y == nil {
		return
	}
	d.walk("", y, reflect.TypeOf(out).Elem())
	if len(d.bad) > 0 {
		return
	}
	if err := y.Decode(out); err != nil {
		d.bad = append(d.bad, fmt.Errorf("%s: %w", d.file, err))
	}
}

// entries gives the entries of the one list that the file holds.
func (d *document) entries(text []byte, list string) []*yaml.Node {
	y := d.root(text)
	switch {
	case y == nil:
		return nil
	case y.Kind != yaml.MappingNode:
		d.wrong(y.Line, "", "must hold nested keys")
		return nil
	}
	var found *yaml.Node
	for i := 0; i+1 < len(y.Content); i += 2 {
		name, value := y.Content[i], y.Content[i+1]
		switch {
		case name.Value != list:
			d.wrong(name.Line, name.Value, "is not a key of this place"+nearest.Hint(name.Value, []string{list}))
		case found != nil:
			d.wrong(name.Line, name.Value, "stands twice: keep one")
		default:
			found = value
		}
	}
	if found == nil || isNull(found) {
		return nil
	}
	if found.Kind != yaml.SequenceNode {
		d.wrong(found.Line, list, "must be a list")
		return nil
	}
	return found.Content
}

func isNull(y *yaml.Node) bool { return y.Kind == yaml.ScalarNode && y.Tag == "!!null" }

func (d *document) walk(path string, y *yaml.Node, t reflect.Type) {
	if y.Kind == yaml.AliasNode {
		d.wrong(y.Line, path, "must be written out: aliases are not read")
		return
	}
	if isNull(y) {
		return
	}
	switch t.Kind() {
	case reflect.Pointer:
		d.walk(path, y, t.Elem())
	case reflect.Struct:
		d.walkKeys(path, y, t)
	case reflect.Slice:
		if y.Kind != yaml.SequenceNode {
			d.wrong(y.Line, path, "must be a list")
			return
		}
		for i, e := range y.Content {
			p := entryPath(path, i, idOf(e))
			if first, twice := d.lines[p]; twice {
				d.wrong(e.Line, p, fmt.Sprintf("stands twice, first in line %d: keep one", first))
				continue
			}
			d.lines[p] = e.Line
			d.walk(p, e, t.Elem())
		}
	case reflect.Bool:
		if y.Kind != yaml.ScalarNode || y.Tag != "!!bool" {
			d.wrong(y.Line, path, strings.TrimSpace(y.Value+" must be true or false"))
		}
	case reflect.String:
		if y.Kind != yaml.ScalarNode {
			d.wrong(y.Line, path, "must be text")
		}
	case reflect.Float64:
		if _, err := parseNumber(y.Value); err != nil || y.Kind != yaml.ScalarNode || (y.Tag != "!!int" && y.Tag != "!!float") {
			d.wrong(y.Line, path, strings.TrimSpace(y.Value+" must be a number with a decimal point, without unit"))
		}
	case reflect.Int:
		if y.Kind != yaml.ScalarNode || y.Tag != "!!int" {
			d.wrong(y.Line, path, strings.TrimSpace(y.Value+" must be a whole number"))
		}
	default:
		panic("document: no rule for " + t.String())
	}
}

func (d *document) walkKeys(path string, y *yaml.Node, t reflect.Type) {
	if y.Kind != yaml.MappingNode {
		d.wrong(y.Line, path, "must hold nested keys")
		return
	}
	var known []string
	types := map[string]reflect.Type{}
	for f := range t.Fields() {
		name := f.Tag.Get("yaml")
		known = append(known, name)
		types[name] = f.Type
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(y.Content); i += 2 {
		name := y.Content[i]
		p := joinPath(path, name.Value)
		if first, twice := seen[name.Value]; twice {
			d.wrong(name.Line, p, fmt.Sprintf("stands twice, first in line %d: keep one", first))
			continue
		}
		seen[name.Value] = name.Line
		if types[name.Value] == nil {
			d.wrong(name.Line, p, "is not a key of this place"+nearest.Hint(name.Value, known))
			continue
		}
		if !isNull(y.Content[i+1]) {
			d.lines[p] = name.Line
		}
		d.walk(p, y.Content[i+1], types[name.Value])
	}
}

// idOf is what an entry of a list calls itself; "" where it has no name.
func idOf(y *yaml.Node) string {
	if y.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(y.Content); i += 2 {
			if k := y.Content[i].Value; k == "id" || k == "model" {
				return y.Content[i+1].Value
			}
		}
	}
	return ""
}

func entryPath(list string, i int, id string) string {
	if id != "" {
		return fmt.Sprintf("%s %q", list, id)
	}
	return fmt.Sprintf("%s entry %d", list, i+1)
}

func joinPath(path, name string) string {
	if path == "" {
		return name
	}
	return path + ": " + name
}

func (d *document) wrong(line int, path, what string) {
	where := fmt.Sprintf("%s:%d", d.file, line)
	reason := what
	if path != "" {
		where += ": " + path
		reason = path + ": " + what
	}
	d.bad = append(d.bad, errors.New(where+": "+what))
	d.rejects = append(d.rejects, ingest.Reject{File: d.file, Line: line, Reason: reason})
}

// say reports what is wrong at a path, by the line of it or of what it is in.
func (d *document) say(path, format string, args ...any) {
	line := 1
	for p := path; p != ""; {
		if l, ok := d.lines[p]; ok {
			line = l
			break
		}
		p = p[:max(strings.LastIndex(p, ": "), 0)]
	}
	d.wrong(line, path, fmt.Sprintf(format, args...))
}

func (d *document) given(path string) bool {
	if _, ok := d.lines[path]; !ok {
		d.say(path, "must be given")
		return false
	}
	return true
}

// number wants a value between limits, and given.
func (d *document) number(path string, v, lo, hi float64, unit string) {
	if d.given(path) {
		d.optional(path, v, lo, hi, unit)
	}
}

// optional wants a value between limits where it is given.
func (d *document) optional(path string, v, lo, hi float64, unit string) {
	if _, ok := d.lines[path]; ok && (math.IsNaN(v) || v < lo || v > hi) {
		d.say(path, "%s", strings.TrimSpace(fmt.Sprintf("%g must be %s %s", v, limitText(lo, hi), unit)))
	}
}

// among wants one of some words.
func (d *document) among(path, v string, words ...string) {
	if !slices.Contains(words, v) {
		d.say(path, "%q must be one of %s%s", v, strings.Join(words, ", "), nearest.Hint(v, words))
	}
}

// named wants the entries of a list to have names.
func (d *document) named(list, key string, names []string) {
	for i, n := range names {
		if n == "" {
			d.say(entryPath(list, i, "")+": "+key, "must be given")
		}
	}
}

func (d *document) err() error { return errors.Join(d.bad...) }
