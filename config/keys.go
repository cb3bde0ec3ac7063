package config

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
)

// Key is one setting, for the data dictionary.
type Key struct {
	Name    string // dotted; a list's entries as readings[].glob
	Type    string // text, number, whole number, true or false, list of numbers
	Unit    string
	Default string
	Limit   string
	Text    string
}

// Keys lists every setting in the order of Settings.
func Keys() []Key {
	var ks []Key
	var walk func(prefix string, n *node)
	walk = func(prefix string, n *node) {
		if n.kind == leaf {
			ks = append(ks, Key{prefix, n.typeName(), n.unit, n.def, n.limitText(), n.text})
			return
		}
		if n.kind == list {
			prefix += "[]"
			n = n.entry
		}
		for _, c := range n.children {
			walk(strings.TrimPrefix(prefix+"."+c.name, "."), c)
		}
	}
	walk("", root)
	return ks
}

// kind tells a key with a value from one with keys below it.
type kind int

const (
	leaf kind = iota
	group
	list // of groups
)

// node is a key of the settings with what its tags say.
type node struct {
	name     string
	kind     kind
	index    int // of its field in the parent struct
	typ      reflect.Type
	children []*node // of a group
	entry    *node   // the group that a list repeats

	unit, def, text, form string
	required              bool
	oneOf                 []string
	bounds                []bound
	count                 int // of a list of numbers; 0: any
}

// bound is one side of a limit: op is >, >=, < or <=.
type bound struct {
	op    string
	value float64
}

func (b bound) String() string { return b.op + " " + strconv.FormatFloat(b.value, 'g', -1, 64) }

func (b bound) holds(v float64) bool {
	switch b.op {
	case ">":
		return v > b.value
	case ">=":
		return v >= b.value
	case "<":
		return v < b.value
	default:
		return v <= b.value
	}
}

// root is the tree of all keys, read once from the tags of Settings.
var root = groupOf(reflect.TypeFor[Settings]())

func groupOf(t reflect.Type) *node {
	g := &node{kind: group, typ: t}
	for i := range t.NumField() {
		f := t.Field(i)
		n := nodeOf(f)
		n.name, n.index = f.Tag.Get("key"), i
		g.children = append(g.children, n)
	}
	return g
}

func nodeOf(f reflect.StructField) *node {
	t := f.Type
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case t.Kind() == reflect.Struct:
		return groupOf(t)
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		return &node{kind: list, typ: t, entry: groupOf(t.Elem()), text: f.Tag.Get("text")}
	}
	n := &node{
		kind: leaf, typ: t,
		unit: f.Tag.Get("unit"), def: f.Tag.Get("default"), text: f.Tag.Get("text"), form: f.Tag.Get("form"),
		required: f.Tag.Get("required") == "true",
		oneOf:    strings.Fields(f.Tag.Get("oneof")),
	}
	n.count, _ = strconv.Atoi(f.Tag.Get("count"))
	for _, b := range strings.Fields(f.Tag.Get("limit")) {
		n.bounds = append(n.bounds, boundOf(b))
	}
	return n
}

func boundOf(s string) bound {
	op := strings.TrimRight(s, "0123456789.-")
	v, err := strconv.ParseFloat(s[len(op):], 64)
	if err != nil {
		panic(fmt.Sprintf("limit %q of a setting: %v", s, err)) // a mistake in settings.go; Keys is tested
	}
	return bound{op, v}
}

func (n *node) child(name string) *node {
	for _, c := range n.children {
		if c.name == name {
			return c
		}
	}
	return nil
}

// find gives the leaf of a dotted key; nil where there is none, and for what
// lies in a list.
func (n *node) find(key string) *node {
	for part := range strings.SplitSeq(key, ".") {
		if n = n.child(part); n == nil {
			return nil
		}
	}
	if n.kind != leaf {
		return nil
	}
	return n
}

func (n *node) typeName() string {
	switch n.typ.Kind() {
	case reflect.Float64:
		return "number"
	case reflect.Int:
		return "whole number"
	case reflect.Slice:
		return "list of numbers"
	case reflect.Bool:
		return "true or false"
	}
	return "text"
}

// aType is the type's name as a sentence takes it.
func (n *node) aType() string {
	if k := n.typ.Kind(); k == reflect.String || k == reflect.Bool {
		return n.typeName()
	}
	return "a " + n.typeName()
}

func (n *node) limitText() string {
	var parts []string
	if n.count > 0 {
		parts = append(parts, strconv.Itoa(n.count)+" values")
	}
	for _, b := range n.bounds {
		parts = append(parts, b.String())
	}
	if len(n.oneOf) > 0 {
		parts = append(parts, "one of "+strings.Join(n.oneOf, " "))
	}
	if n.form != "" {
		parts = append(parts, forms[n.form].wants)
	}
	if n.required {
		parts = append(parts, "required")
	}
	return strings.Join(parts, ", ")
}

// parse turns text into the leaf's value; an error says what is wanted.
func (n *node) parse(s string) (any, error) {
	s = strings.TrimSpace(s)
	switch n.typ.Kind() {
	case reflect.Float64:
		return parseNumber(s)
	case reflect.Int:
		v, err := strconv.Atoi(s)
		if err != nil {
			return nil, fmt.Errorf("must be a whole number")
		}
		return v, nil
	case reflect.Bool:
		if s != "true" && s != "false" {
			return nil, fmt.Errorf("must be true or false")
		}
		return s == "true", nil
	case reflect.Slice:
		var vs []float64
		for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' }) {
			v, err := parseNumber(part)
			if err != nil {
				return nil, err
			}
			vs = append(vs, v)
		}
		return vs, nil
	}
	return s, nil
}

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || v-v != 0 { // NaN and the infinities are no settings
		return 0, fmt.Errorf("must be a number with a decimal point")
	}
	return v, nil
}
