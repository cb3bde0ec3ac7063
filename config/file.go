package config

import (
	"fmt"
	"regexp"
	"rowen/ingest/nearest"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// reader walks a settings file beside the tree of keys. It keeps what is good
// and says of the rest, line by line, what is wrong with it.
type reader struct {
	file       string
	where      map[string]string // key to file:line
	violations []Violation
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// read gives the good settings of a file as nested maps.
func (r *reader) read(text []byte) map[string]any {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		where, why := r.file, err.Error()
		if m := yamlLine.FindStringSubmatch(why); m != nil {
			why = m[2]
			if m[1] != "" {
				where += ":" + m[1]
			}
		}
		r.violations = append(r.violations, Violation{Where: where, Limit: "cannot be read as YAML (" + why + ")", Mend: "indent with spaces, one key a line"})
		return nil
	}
	if len(doc.Content) == 0 || isNull(doc.Content[0]) {
		return nil
	}
	return r.group("", root, doc.Content[0])
}

func (r *reader) bad(y *yaml.Node, key, value, limit, mend string) {
	r.violations = append(r.violations, Violation{Where: r.at(y), Key: key, Value: value, Limit: limit, Mend: mend})
}

func (r *reader) at(y *yaml.Node) string { return fmt.Sprintf("%s:%d", r.file, y.Line) }

func isNull(y *yaml.Node) bool { return y.Kind == yaml.ScalarNode && y.Tag == "!!null" }

func resolve(y *yaml.Node) *yaml.Node {
	for y.Kind == yaml.AliasNode {
		y = y.Alias
	}
	return y
}

func (r *reader) group(prefix string, n *node, y *yaml.Node) map[string]any {
	if y.Kind != yaml.MappingNode {
		r.bad(y, prefix, y.Value, "must hold nested keys", "write them below it, indented, or leave it out")
		return nil
	}
	out := map[string]any{}
	lines := map[string]int{}
	for i := 0; i+1 < len(y.Content); i += 2 {
		name, value := y.Content[i], resolve(y.Content[i+1])
		key := join(prefix, name.Value)
		if first, twice := lines[name.Value]; twice {
			r.bad(name, key, "", fmt.Sprintf("stands twice, first in line %d", first), "keep one")
			continue
		}
		lines[name.Value] = name.Line
		c := n.child(name.Value)
		if c == nil {
			limit, mend := unknown(key, siblings(prefix, n))
			r.bad(name, key, "", limit, mend)
			continue
		}
		r.where[key] = r.at(name)
		if isNull(value) {
			continue // as if it were absent
		}
		if v, ok := r.value(key, c, value); ok {
			out[name.Value] = v
		}
	}
	return out
}

func (r *reader) value(key string, n *node, y *yaml.Node) (any, bool) {
	switch n.kind {
	case group:
		v := r.group(key, n, y)
		return v, v != nil
	case list:
		if y.Kind != yaml.SequenceNode {
			r.bad(y, key, y.Value, "must be a list", "begin each entry with a dash")
			return nil, false
		}
		entries := []any{}
		for i, e := range y.Content {
			entry := entryKey(key, i)
			r.where[entry] = r.at(e)
			v := r.group(entry, n.entry, resolve(e))
			if v == nil {
				v = map[string]any{} // keeps the count of the entries after it
			}
			entries = append(entries, v)
		}
		return entries, true
	}
	text, ok := scalarText(n, y)
	if !ok {
		r.bad(y, key, y.Value, "must be "+n.aType(), n.mend())
		return nil, false
	}
	v, err := n.parse(text)
	if err != nil {
		r.bad(y, key, text, err.Error(), n.mend())
		return nil, false
	}
	return v, true
}

// scalarText gives the text of a leaf's value, and false where the YAML holds
// another kind of thing: keys or a list, or words where a number belongs.
func scalarText(n *node, y *yaml.Node) (string, bool) {
	numbers := n.typeName() == "list of numbers"
	if numbers && y.Kind == yaml.SequenceNode {
		text := ""
		for _, e := range y.Content {
			if e.Kind != yaml.ScalarNode || (e.Tag != "!!int" && e.Tag != "!!float") {
				return "", false
			}
			text += e.Value + " "
		}
		return text, true
	}
	return y.Value, y.Kind == yaml.ScalarNode && !numbers
}

// mend says how a value of the key is to be written.
func (n *node) mend() string {
	m := "give " + n.aType()
	if l := n.limitText(); l != "" {
		m += " (" + l + ")"
	}
	if n.def != "" {
		m += ", or leave the key out for the default " + strconv.Quote(n.def)
	}
	return m
}

func join(prefix, name string) string {
	if prefix == "" {
		return name
	}
	return prefix + "." + name
}

// entryKey names the i-th entry of a list; people count from 1.
func entryKey(key string, i int) string { return fmt.Sprintf("%s entry %d", key, i+1) }

// siblings lists the full names that could have been meant at a place: the
// group's own keys first, then every other.
func siblings(prefix string, n *node) []string {
	var names []string
	for _, c := range n.children {
		names = append(names, join(prefix, c.name))
	}
	for _, k := range Keys() {
		names = append(names, k.Name)
	}
	return names
}

func unknown(key string, known []string) (limit, mend string) {
	if strings.HasSuffix(key, "channels.?") {
		return "is a question that is still open", "write production, consumption, import, export or net in place of the question mark"
	}
	if near := nearest.Word(key, known); near != "" {
		return "is not a setting", fmt.Sprintf("did you mean %q?", near)
	}
	return "is not a setting", "rowen schema settings lists them"
}
