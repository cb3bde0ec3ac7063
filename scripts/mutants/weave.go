package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// fault is one change of one operator.
type fault struct {
	where, what string
}

// switches is what the woven code calls. MUTANT names the fault that is on; with
// MUTANT_SEEN every fault that a test reaches is written there once.
const switches = `package %s

import (
	"cmp"
	"os"
	"strconv"
	"sync"
)

var (
	mutant, _  = strconv.Atoi(os.Getenv("MUTANT"))
	mutantPath = os.Getenv("MUTANT_SEEN")
	mutantOpen = mutantPath != ""
	mutantLock sync.Mutex
	mutantSeen = map[int]bool{}
)

type mutantWhole interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 | ~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64
}
type mutantNumber interface {
	mutantWhole | ~float32 | ~float64
}

func mutantOn(id int) bool {
	if mutantOpen {
		mutantSee(id)
	}
	return mutant == id
}

func mutantSee(id int) {
	mutantLock.Lock()
	defer mutantLock.Unlock()
	if mutantSeen[id] {
		return
	}
	mutantSeen[id] = true
	f, err := os.OpenFile(mutantPath, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		panic(err)
	}
	f.WriteString(strconv.Itoa(id) + "\n")
	f.Close()
}

func mutantAdd[T mutantNumber](id int, a, b T) T { if mutantOn(id) { return a - b }; return a + b }
func mutantSub[T mutantNumber](id int, a, b T) T { if mutantOn(id) { return a + b }; return a - b }
func mutantMul[T mutantNumber](id int, a, b T) T { if mutantOn(id) { return a / b }; return a * b }
func mutantQuo[T mutantNumber](id int, a, b T) T { if mutantOn(id) { return a * b }; return a / b }
func mutantRem[T mutantWhole](id int, a, b T) T { if mutantOn(id) { return a * b }; return a %% b }
func mutantNeg[T mutantNumber](id int, a T) T { if mutantOn(id) { return a }; return -a }
func mutantOne(id int) int { if mutantOn(id) { return -1 }; return 1 }
func mutantLss[T cmp.Ordered](id int, a, b T) bool { if mutantOn(id) { return a >= b }; if mutantOn(id + 1) { return a <= b }; return a < b }
func mutantLeq[T cmp.Ordered](id int, a, b T) bool { if mutantOn(id) { return a > b }; if mutantOn(id + 1) { return a < b }; return a <= b }
func mutantGtr[T cmp.Ordered](id int, a, b T) bool { if mutantOn(id) { return a <= b }; if mutantOn(id + 1) { return a >= b }; return a > b }
func mutantGeq[T cmp.Ordered](id int, a, b T) bool { if mutantOn(id) { return a < b }; if mutantOn(id + 1) { return a > b }; return a >= b }

var _ = mutantAdd[int]
var _ = mutantOne
`

var names = map[token.Token]string{
	token.ADD: "mutantAdd", token.SUB: "mutantSub", token.MUL: "mutantMul", token.QUO: "mutantQuo", token.REM: "mutantRem",
	token.LSS: "mutantLss", token.LEQ: "mutantLeq", token.GTR: "mutantGtr", token.GEQ: "mutantGeq",
}

// edit is text put in at a place of a file; cut bytes of the old text go.
type edit struct {
	at, cut int
	text    string
}

type weaver struct {
	fset   *token.FileSet
	info   *types.Info
	pkg    *types.Package
	faults []fault // the fault of number i+1
	edits  []edit
}

// weave writes the package's files with every fault in them into dir, and the
// overlay that puts them in the place of the real ones.
func weave(folder, dir, only string) ([]fault, string, error) {
	w := &weaver{fset: token.NewFileSet(), info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}}
	paths, files, err := w.load(folder)
	if err != nil {
		return nil, "", err
	}
	replace := map[string]string{}
	for i, f := range files {
		if !strings.Contains(filepath.Base(paths[i]), only) {
			continue
		}
		src, err := os.ReadFile(paths[i])
		if err != nil {
			return nil, "", err
		}
		w.edits = nil
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Body != nil {
				ast.Inspect(fn.Body, w.visit)
			}
		}
		to := filepath.Join(dir, filepath.Base(paths[i]))
		if err := os.WriteFile(to, apply(src, w.edits), 0o600); err != nil {
			return nil, "", err
		}
		replace[paths[i]] = to
	}
	to := filepath.Join(dir, "zz_mutant.go")
	if err := os.WriteFile(to, fmt.Appendf(nil, switches, w.pkg.Name()), 0o600); err != nil {
		return nil, "", err
	}
	full, err := filepath.Abs(filepath.Join(folder, "zz_mutant.go"))
	if err != nil {
		return nil, "", err
	}
	replace[full] = to
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return nil, "", err
	}
	overlay := filepath.Join(dir, "overlay.json")
	return w.faults, overlay, os.WriteFile(overlay, text, 0o600)
}

// load parses and type-checks the package; its imports come from the compiler's own export data.
func (w *weaver) load(folder string) (paths []string, files []*ast.File, err error) {
	out, err := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Export,Dir,GoFiles", "./"+folder).Output()
	if err != nil {
		return nil, nil, fmt.Errorf("listing %s: %w", folder, err)
	}
	type listed struct {
		ImportPath, Export, Dir string
		GoFiles                 []string
	}
	exports, last := map[string]string{}, listed{}
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		last = listed{}
		if err := d.Decode(&last); err != nil {
			return nil, nil, err
		}
		exports[last.ImportPath] = last.Export
	}
	for _, name := range last.GoFiles {
		path := filepath.Join(last.Dir, name)
		f, err := parser.ParseFile(w.fset, path, nil, parser.ParseComments)
		if err != nil {
			return nil, nil, err
		}
		paths, files = append(paths, path), append(files, f)
	}
	look := func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) }
	c := types.Config{Importer: importer.ForCompiler(w.fset, "gc", look)}
	w.pkg, err = c.Check(last.ImportPath, w.fset, files, w.info)
	return paths, files, err
}

// visit enters the edits of one node; outer nodes come first.
func (w *weaver) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.GenDecl:
		return n.Tok != token.CONST
	case *ast.BinaryExpr:
		w.binary(n)
	case *ast.UnaryExpr:
		if n.Op == token.SUB && w.number(n) {
			w.put(n.Pos(), 1, fmt.Sprintf("mutantNeg(%d, ", w.enter(n.OpPos, "- dropped")))
			w.put(n.End(), 0, ")")
		}
	case *ast.IncDecStmt:
		op, other := "+=", "--"
		if n.Tok == token.DEC {
			op, other = "-=", "++"
		}
		kind := types.TypeString(w.info.Types[n.X].Type, func(p *types.Package) string {
			if p == w.pkg {
				return ""
			}
			return p.Name()
		})
		id := w.enter(n.TokPos, n.Tok.String()+" becomes "+other)
		w.put(n.TokPos, 2, fmt.Sprintf(" %s %s(mutantOne(%d))", op, kind, id))
	}
	return true
}

func (w *weaver) binary(n *ast.BinaryExpr) {
	v := w.info.Types[n]
	if v.Value != nil {
		return
	}
	switch op := n.Op; op {
	case token.EQL, token.NEQ:
		id := w.enter(n.OpPos, op.String()+" turned")
		w.put(n.Pos(), 0, "((")
		w.put(n.End(), 0, fmt.Sprintf(") != mutantOn(%d))", id))
	case token.ADD, token.SUB, token.MUL, token.QUO, token.REM:
		if !w.number(n) || shifted(n.X) || shifted(n.Y) {
			return
		}
		other := map[token.Token]string{token.ADD: "-", token.SUB: "+", token.MUL: "/", token.QUO: "*", token.REM: "*"}
		w.call(n, w.enter(n.OpPos, op.String()+" becomes "+other[op]))
	case token.LSS, token.LEQ, token.GTR, token.GEQ:
		id := w.enter(n.OpPos, op.String()+" turned")
		w.enter(n.OpPos, op.String()+" with or without equal")
		w.call(n, id)
	}
}

func (w *weaver) call(n *ast.BinaryExpr, id int) {
	w.put(n.Pos(), 0, fmt.Sprintf("%s(%d, ", names[n.Op], id))
	w.put(n.OpPos, len(n.Op.String()), ",")
	w.put(n.End(), 0, ")")
}

// number says whether an expression is a number that is not known when compiling.
func (w *weaver) number(e ast.Expr) bool {
	v := w.info.Types[e]
	if v.Value != nil || v.Type == nil {
		return false
	}
	b, ok := v.Type.Underlying().(*types.Basic)
	return ok && b.Info()&(types.IsInteger|types.IsFloat) != 0
}

// shifted says whether an operand is a shift, whose type the place decides.
func shifted(e ast.Expr) bool {
	b, ok := ast.Unparen(e).(*ast.BinaryExpr)
	return ok && (b.Op == token.SHL || b.Op == token.SHR)
}

func (w *weaver) enter(at token.Pos, what string) int {
	p := w.fset.Position(at)
	w.faults = append(w.faults, fault{fmt.Sprintf("%s:%d:%d", filepath.Base(p.Filename), p.Line, p.Column), what})
	return len(w.faults)
}

func (w *weaver) put(at token.Pos, cut int, text string) {
	w.edits = append(w.edits, edit{w.fset.Position(at).Offset, cut, text})
}

// apply makes the edits. Of those at one place, what ends comes before what begins,
// the inner end before the outer, and the outer beginning before the inner.
func apply(src []byte, edits []edit) []byte {
	ends := func(e edit) bool { return strings.HasPrefix(e.text, ")") }
	for i, j := 0, len(edits)-1; i < j; i, j = i+1, j-1 {
		edits[i], edits[j] = edits[j], edits[i]
	}
	rank := make([]int, len(edits))
	order := make([]int, len(edits))
	for i, e := range edits {
		order[i], rank[i] = i, i
		if !ends(e) {
			rank[i] = 2*len(edits) - i
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		if c := edits[a].at - edits[b].at; c != 0 {
			return c
		}
		return rank[a] - rank[b]
	})
	var out []byte
	from := 0
	for _, i := range order {
		e := edits[i]
		out = append(append(out, src[from:e.at]...), e.text...)
		from = e.at + e.cut
	}
	return append(out, src[from:]...)
}
