package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var aCode = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)

// TestCodesAreWhole: every code that the product's text gives to an output is in
// the dictionary, and nothing stands there that the product never says.
func TestCodesAreWhole(t *testing.T) {
	described := map[string]bool{}
	for _, c := range Codes() {
		if described[c.Kind+" "+c.Code] {
			t.Errorf("%s %s stands twice", c.Kind, c.Code)
		}
		described[c.Code], described[c.Kind+" "+c.Code] = true, true
		if c.Says == "" || strings.HasSuffix(c.Says, ".") {
			t.Errorf("%s %s says %q", c.Kind, c.Code, c.Says)
		}
	}
	words := map[string]bool{} // every text of the product that could be a code
	found := 0
	for _, top := range []string{"../analyze", "../ingest"} {
		err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() && slices.Contains([]string{"demo", "register", "rates", "readings", "visit", "tariff"}, d.Name()) {
				if d != nil && d.IsDir() {
					return fs.SkipDir
				}
				return err
			}
			if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if s := literal(n); aCode.MatchString(s) {
					words[s] = true
				}
				if code := codeGiven(n); aCode.MatchString(code) {
					found++
					if !described[code] {
						t.Errorf("%s gives the code %q, which the dictionary lacks", path, code)
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range codeTable {
		if !words[c.Code] && !words[strings.TrimSuffix(c.Code, "_unknown")] {
			t.Errorf("%s %s is never given", c.Kind, c.Code)
		}
	}
	if found < 90 {
		t.Errorf("only %d codes were found in the product: the look for them is broken", found)
	}
}

func literal(n ast.Node) string {
	b, ok := n.(*ast.BasicLit)
	if !ok || b.Kind != token.STRING {
		return ""
	}
	s, _ := strconv.Unquote(b.Value)
	return s
}

// givers are the functions that take a code and a sentence.
var givers = []string{"add", "caveat", "say", "unknown", "none", "whole", "tell"}

// codeGiven is the code of a call such as caveat("x", "…") or of a value such as
// Reason{"x", …}; "": it is none.
func codeGiven(n ast.Node) string {
	switch x := n.(type) {
	case *ast.AssignStmt:
		if to, ok := x.Lhs[0].(*ast.SelectorExpr); ok && to.Sel.Name == "Reason" {
			return literal(x.Rhs[0])
		}
	case *ast.CallExpr:
		name := ""
		switch f := x.Fun.(type) {
		case *ast.Ident:
			name = f.Name
		case *ast.SelectorExpr:
			name = f.Sel.Name
		}
		if len(x.Args) < 2 || !slices.Contains(givers, name) {
			return ""
		}
		if s := literal(x.Args[0]); aCode.MatchString(s) {
			return s
		}
	case *ast.CompositeLit:
		name := ""
		switch f := x.Type.(type) {
		case *ast.Ident:
			name = f.Name
		case *ast.SelectorExpr:
			name = f.Sel.Name
		}
		if !slices.Contains([]string{"Caveat", "Caution", "Reason", "Quality", "Fault", "Ceiling", "verdict"}, name) {
			return ""
		}
		for i, e := range x.Elts {
			if kv, ok := e.(*ast.KeyValueExpr); ok {
				if id, ok := kv.Key.(*ast.Ident); ok && (id.Name == "Code" || id.Name == "Reason") {
					return literal(kv.Value)
				}
			} else if i == 0 && name != "verdict" || i == 2 && name == "verdict" {
				return literal(e)
			}
		}
	}
	return ""
}
