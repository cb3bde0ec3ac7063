package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rowen/analyze/visit"
)

// TestVisitCodesAreWhole: every step and part that a sheet may have is described,
// and nothing is described that no sheet has.
func TestVisitCodesAreWhole(t *testing.T) {
	given := map[string]bool{}
	for _, kind := range []visit.Kind{visit.Survey, visit.Work, visit.Repair} {
		given["sheet "+string(kind)] = true
	}
	files, _ := filepath.Glob("../analyze/visit/*.go")
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if code := visitCode(n); code != "" {
				given[code] = true
			}
			return true
		})
	}
	var described []string
	for _, c := range visitCodes {
		described = append(described, c.Kind+" "+c.Code)
		if !given[c.Kind+" "+c.Code] {
			t.Errorf("%s %s is never given", c.Kind, c.Code)
		}
	}
	for code := range given {
		if !slices.Contains(described, code) {
			t.Errorf("the dictionary lacks %s", code)
		}
	}
	if len(given) < 70 {
		t.Errorf("only %d codes were found: the look for them is broken", len(given))
	}
}

// visitCode is the code of step("x", …), fill("x", …), Part{"x", …} or
// Part{Code: "x"}; a list of parts leaves the type out.
func visitCode(n ast.Node) string {
	switch x := n.(type) {
	case *ast.CallExpr:
		if f, ok := x.Fun.(*ast.Ident); ok && (f.Name == "step" || f.Name == "fill") && len(x.Args) > 2 {
			if code := literal(x.Args[0]); code != "" {
				return "step " + code
			}
		}
	case *ast.CompositeLit:
		if len(x.Elts) < 2 {
			return ""
		}
		if f, ok := x.Type.(*ast.Ident); x.Type != nil && (!ok || f.Name != "Part") {
			return ""
		}
		first := x.Elts[0]
		if kv, ok := first.(*ast.KeyValueExpr); ok {
			first = kv.Value
		}
		if code := literal(first); aCode.MatchString(code) {
			return "part " + code
		}
	}
	return ""
}
