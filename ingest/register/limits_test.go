package register

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"slices"
	"strings"
	"testing"
)

// TestLimitsAreThoseOfTheCheck: what the dictionary says of a number is what
// reading the catalogue asks for, and every such number is there.
func TestLimitsAreThoseOfTheCheck(t *testing.T) {
	asked := map[string][]string{} // by the key's last part
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, "catalogue.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	text := func(e ast.Expr) string {
		var b strings.Builder
		_ = printer.Fprint(&b, files, e)
		return b.String()
	}
	ast.Inspect(file, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok || len(call.Args) < 4 {
			return true
		}
		f, ok := call.Fun.(*ast.SelectorExpr)
		if !ok || f.Sel.Name != "number" && f.Sel.Name != "optional" {
			return true
		}
		_, key, _ := strings.Cut(text(call.Args[0]), `": `)
		key = strings.TrimSuffix(key, `"`)
		asked[key] = append(asked[key], text(call.Args[2])+" "+text(call.Args[3]))
		return true
	})
	said := map[string]bool{}
	known := map[string]bool{}
	for _, d := range Documents() {
		for _, k := range d.Keys {
			known[k.Name] = true
			if _, ok := catalogueLimits[k.Name]; ok && k.Limit == "" {
				t.Errorf("%s has no limit in the dictionary", k.Name)
			}
		}
	}
	for name, l := range catalogueLimits {
		last := name[strings.LastIndex(name, ".")+1:]
		said[last] = true
		var wants []string
		for _, a := range asked[last] {
			var lo, hi float64
			if _, err := fmt.Sscan(a, &lo, &hi); err != nil {
				t.Fatalf("%s: %v", a, err)
			}
			wants = append(wants, fmt.Sprint([2]float64{lo, hi}))
		}
		if !slices.Contains(wants, fmt.Sprint(l)) {
			t.Errorf("%s: the dictionary says %v, the check asks for %v", name, l, wants)
		}
		if !known[name] {
			t.Errorf("%s is no key", name)
		}
	}
	for key := range asked {
		if !said[key] {
			t.Errorf("the dictionary has no limit of %s", key)
		}
	}
	if len(asked) < 20 {
		t.Errorf("only %d limits were found: the look for them is broken", len(asked))
	}
}
