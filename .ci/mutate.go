//go:build ignore

// mutate [-n 60] [-need 54] [-limit 60s] [-skip TESTS] PACKAGE... asks whether the
// tests of a package notice when its code is changed: it makes N small changes, one
// at a time, spread evenly over the package, runs the package's tests against each,
// and prints which were found and which survived. The work tree is not touched (go
// test -overlay). The same code gives the same changes. Exit status 1: fewer than
// -need were found. -skip leaves out tests by go test's pattern: those that take
// long and find nothing that the others do not.
//
// Changes: a comparison gets its neighbour or its opposite, a condition is
// negated, && becomes || and back, + becomes - and back, a whole number grows by
// one, true becomes false and back, a call or an assignment whose result is not
// used is left out, break and continue change places.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// change replaces the bytes from one offset to another of a file.
type change struct {
	file     string
	place    token.Position
	from, to int
	text     string
}

// tests are what is run against each change.
type tests struct {
	limit time.Duration
	skip  string
}

func main() {
	n := flag.Int("n", 60, "how many changes of each package")
	need := flag.Int("need", 0, "how many must be found; 0: nine of ten")
	t := tests{}
	flag.DurationVar(&t.limit, "limit", time.Minute, "how long the tests may run; longer counts as found")
	flag.StringVar(&t.skip, "skip", "", "tests that are not run, as go test -skip takes them")
	flag.Parse()
	if flag.NArg() == 0 || *n < 1 {
		fmt.Fprintln(os.Stderr, "mutate: name packages: mutate [-n 60] [-need 54] ./report/cache ...")
		os.Exit(2)
	}
	good := true
	for _, name := range flag.Args() {
		ok, err := mutate(name, *n, *need, t)
		if err != nil {
			fmt.Fprintln(os.Stderr, "mutate:", err)
			os.Exit(3)
		}
		good = good && ok
	}
	if !good {
		os.Exit(1)
	}
}

func mutate(name string, n, need int, t tests) (bool, error) {
	if out, survived, err := t.try(name, nil); err != nil || !survived {
		return false, fmt.Errorf("%s: the tests do not pass as they are (%v)\n%s", name, err, out)
	}
	changes, err := changesOf(name)
	if err != nil {
		return false, err
	}
	// In any order, but always the same: those that do not compile make room for others.
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(changes), func(i, j int) { changes[i], changes[j] = changes[j], changes[i] })
	tried, found := 0, 0
	for _, c := range changes {
		if tried == n {
			break
		}
		out, survived, err := t.try(name, &c)
		if err != nil {
			return false, err
		}
		if bytes.Contains(out, []byte("[build failed]")) || bytes.Contains(out, []byte("[setup failed]")) {
			continue
		}
		tried++
		word := "SURVIVED"
		if !survived {
			word = "found   "
			found++
		}
		fmt.Printf("%s %s:%d:%d: %s\n", word, filepath.Base(c.file), c.place.Line, c.place.Column, c)
	}
	if need == 0 || need > tried {
		need = (9*tried + 9) / 10
	}
	fmt.Printf("%s: %d of %d changes found, %d needed (%d places for changes)\n", name, found, tried, need, len(changes))
	return found >= need, nil
}

func (c change) String() string {
	source, err := os.ReadFile(c.file)
	if err != nil {
		return err.Error()
	}
	return fmt.Sprintf("%s -> %s", short(string(source[c.from:c.to])), short(c.text))
}

func short(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if s == "" {
		return "nothing"
	}
	if len(s) > 60 {
		s = s[:60] + "..."
	}
	return s
}

// try runs the tests of a package with one change, nil for none.
func (t tests) try(name string, c *change) (out []byte, survived bool, err error) {
	args := []string{"test", "-vet=off", "-failfast", "-timeout", t.limit.String(), "-skip", t.skip}
	if c != nil {
		dir, err := os.MkdirTemp("", "mutate-")
		if err != nil {
			return nil, false, err
		}
		defer os.RemoveAll(dir)
		overlay, err := c.overlay(dir)
		if err != nil {
			return nil, false, err
		}
		args = append(args, "-overlay", overlay)
	}
	command := exec.Command("go", append(args, name)...)
	out, err = command.CombinedOutput()
	if _, failed := err.(*exec.ExitError); failed {
		return out, false, nil
	}
	return out, err == nil, err
}

// overlay writes the changed file and the list that has go read it instead.
func (c *change) overlay(dir string) (string, error) {
	source, err := os.ReadFile(c.file)
	if err != nil {
		return "", err
	}
	changed := filepath.Join(dir, filepath.Base(c.file))
	if err := os.WriteFile(changed, slices.Concat(source[:c.from], []byte(c.text), source[c.to:]), 0o600); err != nil {
		return "", err
	}
	list, err := json.Marshal(map[string]any{"Replace": map[string]string{c.file: changed}})
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "overlay.json")
	return path, os.WriteFile(path, list, 0o600)
}

// changesOf finds every place of a package that can be changed.
func changesOf(name string) (out []change, err error) {
	p, err := build.ImportDir(name, 0)
	if err != nil {
		return nil, err
	}
	files := token.NewFileSet()
	for _, f := range slices.Concat(p.GoFiles, p.CgoFiles) {
		path, err := filepath.Abs(filepath.Join(name, f))
		if err != nil {
			return nil, err
		}
		tree, err := parser.ParseFile(files, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		source, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		w := finder{files: files, file: path, source: source}
		ast.Inspect(tree, w.visit)
		out = append(out, w.found...)
	}
	return out, nil
}

type finder struct {
	files  *token.FileSet
	file   string
	source []byte
	found  []change
}

func (w *finder) add(from, to token.Pos, text string) {
	place := w.files.Position(from)
	w.found = append(w.found, change{w.file, place, place.Offset, w.files.Position(to).Offset, text})
}

func (w *finder) text(n ast.Node) string {
	return string(w.source[w.files.Position(n.Pos()).Offset:w.files.Position(n.End()).Offset])
}

// operators are what an operator may become.
var operators = map[token.Token][]string{
	token.EQL: {"!="}, token.NEQ: {"=="},
	token.LSS: {"<=", ">="}, token.LEQ: {"<", ">"}, token.GTR: {">=", "<="}, token.GEQ: {">", "<"},
	token.LAND: {"||"}, token.LOR: {"&&"}, token.ADD: {"-"}, token.SUB: {"+"},
}

func (w *finder) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec, *ast.StructType: // no code
		return false
	case *ast.BinaryExpr:
		for _, to := range operators[n.Op] {
			w.add(n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), to)
		}
	case *ast.IfStmt:
		if _, compared := n.Cond.(*ast.BinaryExpr); !compared { // the others are changed above
			w.add(n.Cond.Pos(), n.Cond.End(), "!("+w.text(n.Cond)+")")
		}
	case *ast.BasicLit:
		if n.Kind == token.INT {
			w.add(n.Pos(), n.End(), "("+n.Value+" + 1)")
		}
	case *ast.Ident:
		if to, ok := map[string]string{"true": "false", "false": "true"}[n.Name]; ok {
			w.add(n.Pos(), n.End(), to)
		}
	case *ast.ExprStmt:
		w.add(n.Pos(), n.End(), "")
	case *ast.AssignStmt:
		if n.Tok != token.DEFINE {
			w.add(n.Pos(), n.End(), "")
		}
	case *ast.BranchStmt:
		if to, ok := map[token.Token]string{token.BREAK: "continue", token.CONTINUE: "break"}[n.Tok]; ok && n.Label == nil {
			w.add(n.Pos(), n.End(), to)
		}
	}
	return true
}
