package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// otherBits are the functions of package math whose last bit hangs on the
// processor; ingest/samebits has them.
var otherBits = []string{"Exp", "Exp2", "Expm1", "Log", "Log1p", "Log2", "Pow", "Sin", "Cos", "Sincos", "Tan", "Asin", "Acos", "Atan", "Atan2", "Hypot", "Cbrt", "Sinh", "Cosh", "Tanh", "Erf", "Erfc", "Gamma", "Lgamma"}

// TestSameBits keeps those functions out of whatever reaches a table. The demo
// invents readings and may use what it likes; a page draws.
func TestSameBits(t *testing.T) {
	files := 0
	for _, top := range []string{"ingest", "analyze", "report"} {
		err := filepath.WalkDir(filepath.Join("..", "..", top), func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() && slices.Contains([]string{"demo", "samebits", "page"}, d.Name()) {
				return fs.SkipDir
			}
			if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			files++
			fset := token.NewFileSet()
			f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if s, ok := n.(*ast.SelectorExpr); ok {
					if x, ok := s.X.(*ast.Ident); ok && x.Name == "math" && slices.Contains(otherBits, s.Sel.Name) {
						t.Errorf("%s: math.%s gives other bits on other processors: use ingest/samebits", fset.Position(s.Pos()), s.Sel.Name)
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
	if files < 100 {
		t.Fatalf("only %d files were looked at: the walk is broken", files)
	}
}
