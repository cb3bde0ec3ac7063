package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What one reader takes in at once. Our choice.
const (
	mostFuncLines  = 60
	mostFileLines  = 400
	mostMethods    = 20
	mostParameters = 6
)

// TestShape holds the product's code to a size that a reader takes in. Tables
// may be longer: a function or file most of whose lines are one composite
// literal is read by its rows.
func TestShape(t *testing.T) {
	found, files := map[string]int{}, 0
	methods := map[string]int{}
	for _, top := range []string{"cmd", "config", "ingest", "analyze", "report"} {
		err := filepath.WalkDir(filepath.Join("..", "..", top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			files++
			rel, _ := filepath.Rel(filepath.Join("..", ".."), path)
			return shapeOf(filepath.ToSlash(rel), path, found, methods)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 100 {
		t.Fatalf("only %d files were looked at: the walk is broken", files)
	}
	for name, n := range methods {
		if n > mostMethods {
			found[name+" methods"] = n
		}
	}
	for _, name := range slices.Sorted(maps.Keys(found)) {
		t.Errorf("%s: %d (limits: %d lines a function, %d a file, %d methods a type, %d parameters)",
			name, found[name], mostFuncLines, mostFileLines, mostMethods, mostParameters)
	}
}

// shapeOf enters what is too large in one file, and counts methods by type.
func shapeOf(name, path string, found, methods map[string]int) error {
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
	if err != nil {
		return err
	}
	lines := func(n ast.Node) int { return fset.Position(n.End()).Line - fset.Position(n.Pos()).Line + 1 }
	folder := filepath.ToSlash(filepath.Dir(name))
	if all := fset.File(f.FileStart).LineCount() - 1; all > mostFileLines && 2*tableLines(f, lines) < all {
		found[name] = all
	}
	ast.Inspect(f, func(n ast.Node) bool {
		var kind *ast.FuncType
		at := fmt.Sprintf("%s func in line", name)
		switch fn := n.(type) {
		case *ast.FuncDecl:
			kind, at = fn.Type, folder+" "+fn.Name.Name
			if fn.Recv != nil {
				at = folder + " " + receiver(fn) + "." + fn.Name.Name
				methods[folder+" "+receiver(fn)]++
			}
			if l := lines(fn); l > mostFuncLines && 3*tableLines(fn, lines) < 2*l {
				found[at] = l
			}
		case *ast.FuncLit:
			kind = fn.Type
		}
		if kind != nil {
			if p := kind.Params.NumFields(); p > mostParameters {
				found[at+" parameters"] = p
			}
		}
		return true
	})
	return nil
}

func receiver(fn *ast.FuncDecl) string {
	e := fn.Recv.List[0].Type
	if s, ok := e.(*ast.StarExpr); ok {
		e = s.X
	}
	switch g := e.(type) {
	case *ast.IndexExpr:
		e = g.X
	case *ast.IndexListExpr:
		e = g.X
	}
	return e.(*ast.Ident).Name
}

// tableLines is the length of the longest composite literal in a node.
func tableLines(in ast.Node, lines func(ast.Node) int) int {
	most := 0
	ast.Inspect(in, func(n ast.Node) bool {
		if c, ok := n.(*ast.CompositeLit); ok {
			most = max(most, lines(c))
		}
		return true
	})
	return most
}
