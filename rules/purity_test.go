package rules_test

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The rule is one pure step, so that a record re-stepped on another machine, in another year, gives the same bits. A
// clock, a goroutine, I/O, randomness or a variable that outlives the call would each break that without any test of
// behaviour seeing it. So the source itself is looked at.

// allowed are the only packages that the rule may import.
var allowed = []string{"cmp", "errors", "fmt", "math", "math/bits", "slices", "sort", "strconv", "strings", "time"}

const tree = "ionward/rules"

// forbidden are the members of allowed packages that reach outside.
var forbidden = map[string]struct {
	names []string
	why   string
}{
	"time": {
		[]string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Timer", "Ticker", "Local", "LoadLocation"},
		"the rule sees only the gap that it is given: a corrected wall clock must not shorten ten minutes",
	},
	"fmt": {
		[]string{"Print", "Printf", "Println", "Fprint", "Fprintf", "Fprintln", "Scan", "Scanf", "Scanln", "Fscan", "Fscanf", "Fscanln"},
		"the rule does no I/O: it returns effects, and others deliver them",
	},
}

func TestTheRuleIsPure(t *testing.T) {
	packages := map[string][]string{}
	require.NoError(t, filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, "_test.go") {
			folder := filepath.ToSlash(filepath.Dir(path))
			packages[folder] = append(packages[folder], path)
		}
		return err
	}))
	for _, folder := range []string{".", "signal", "alarm"} {
		require.NotEmpty(t, packages[folder], "no source seen in %s: this test would prove nothing", folder)
	}
	for folder, paths := range packages {
		sources := map[string]string{}
		for _, path := range paths {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			sources[path] = string(text)
		}
		faults, err := impure(sources)
		require.NoError(t, err, folder)
		assert.Empty(t, faults, "folder %s", folder)
	}
}

// The check is worth only what it finds: each of these must be found, and only this.
func TestImpurityIsFound(t *testing.T) {
	for body, want := range map[string]string{
		`import "os"; var _ = os.Args`:                                       "imports os",
		`import "context"; func f(context.Context) {}`:                       "imports context",
		`import "math/rand/v2"; var _ = rand.N[int]`:                         "imports math/rand/v2",
		`import "ionward/agent"; var _ agent.Loop`:                           "imports ionward/agent",
		`import _ "unsafe"`:                                                  "imports unsafe",
		`import "time"; func f() { _ = time.Now() }`:                         "time.Now",
		`import t "time"; var f = t.Since`:                                   "time.Since",
		`import . "time"; var x Duration`:                                    "dot import",
		`import "fmt"; func f() { fmt.Println() }`:                           "fmt.Println",
		`func f() { println() }`:                                             "println",
		`func f() { go f() }`:                                                "goroutine",
		`func f(c chan int) {}`:                                              "channel",
		`func f() { select {} }`:                                             "select",
		`var n int; func f() { n = 1 }`:                                      "writes n",
		`var n int; func f() { n++ }`:                                        "writes n",
		`var a [3]int; func f(i int) { a[i] += 2 }`:                          "writes a",
		`var s struct{ x []int }; func f() { s.x[0], _ = 1, 2 }`:             "writes s",
		`var p = new(int); func f() { *p = 1 }`:                              "writes p",
		`var k int; func f() { for k = range 3 {} }`:                         "writes k",
		`var m = map[int]int{}; func init() { delete(m, 1) }`:                "writes m",
		`var m = map[int]int{}; var f = func() { clear(m) }`:                 "writes m",
		`import "ionward/rules/signal"; func f() { signal.Names = nil }`:     "writes signal.Names",
		`import "time"; func f() { n := 1; n++; _ = time.Duration(n) }`:      "",
		`var n = 3; func f() int { n := n; n++; return n }`:                  "",
		`import "strings"; var r = strings.ToUpper("x"); func f() { _ = r }`: "",
	} {
		faults, err := impure(map[string]string{"x.go": "package x; " + body})
		require.NoError(t, err, body)
		if want == "" {
			assert.Empty(t, faults, body)
			continue
		}
		if assert.Len(t, faults, 1, body) {
			assert.Contains(t, faults[0], want, body)
		}
	}
}

// impure lists what in the sources of one package is not allowed in the rule, and why.
func impure(sources map[string]string) ([]string, error) {
	set := token.NewFileSet()
	var files []*ast.File
	for path, text := range sources {
		file, err := parser.ParseFile(set, path, text, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		files = append(files, file)
	}
	// Names must be told apart, not types: imports may stay empty, and what does not resolve for that is no concern.
	info := &types.Info{Uses: map[*ast.Ident]types.Object{}}
	config := types.Config{Importer: empty{}, Error: func(error) {}}
	pkg, err := config.Check("x", set, files, info)
	if pkg == nil {
		return nil, err
	}
	j := &judge{set: set, info: info, scope: pkg.Scope()}
	for _, file := range files {
		ast.Inspect(file, j.look)
	}
	slices.Sort(j.faults)
	return j.faults, nil
}

// empty stands in for every imported package.
type empty struct{}

func (empty) Import(path string) (*types.Package, error) {
	if path == "C" {
		return nil, errors.New("no C")
	}
	name := path[strings.LastIndex(path, "/")+1:]
	if strings.HasPrefix(name, "v") && strings.Count(path, "/") > 1 {
		name = filepath.Base(filepath.Dir(path)) // math/rand/v2
	}
	p := types.NewPackage(path, name)
	p.MarkComplete()
	return p, nil
}

type judge struct {
	set    *token.FileSet
	info   *types.Info
	scope  *types.Scope
	faults []string
}

func (j *judge) add(at ast.Node, format string, args ...any) {
	j.faults = append(j.faults, fmt.Sprintf("%s: %s", j.set.Position(at.Pos()), fmt.Sprintf(format, args...)))
}

func (j *judge) look(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec:
		j.imported(n)
	case *ast.GoStmt:
		j.add(n, "starts a goroutine: the order of what the rule does must never depend on a scheduler")
	case *ast.ChanType:
		j.add(n, "a channel type: the rule waits for nobody")
	case *ast.SelectStmt:
		j.add(n, "a select: the rule waits for nobody")
	case *ast.SelectorExpr:
		j.member(n)
	case *ast.CallExpr:
		j.call(n)
	case *ast.AssignStmt:
		for _, to := range n.Lhs {
			j.written(to)
		}
	case *ast.IncDecStmt:
		j.written(n.X)
	case *ast.RangeStmt:
		j.written(n.Key)
		j.written(n.Value)
	}
	return true
}

func (j *judge) imported(n *ast.ImportSpec) {
	path, _ := strconv.Unquote(n.Path.Value)
	switch {
	case path != tree && !strings.HasPrefix(path, tree+"/") && !slices.Contains(allowed, path):
		j.add(n, "imports %s: the rule is pure and may import only %s and its own packages; "+
			"I/O, clocks, logging and locks belong to agent, which calls the rule", path, strings.Join(allowed, ", "))
	case n.Name != nil && n.Name.Name == ".":
		j.add(n, "dot import of %s: it hides where a name comes from", path)
	}
}

func (j *judge) member(n *ast.SelectorExpr) {
	if path := j.pkg(n.X); slices.Contains(forbidden[path].names, n.Sel.Name) {
		j.add(n, "%s.%s: %s", path, n.Sel.Name, forbidden[path].why)
	}
}

func (j *judge) call(n *ast.CallExpr) {
	name, ok := n.Fun.(*ast.Ident)
	if !ok {
		return
	}
	builtin, ok := j.info.Uses[name].(*types.Builtin)
	if !ok {
		return
	}
	switch builtin.Name() {
	case "print", "println":
		j.add(n, "%s: the rule does no I/O", name.Name)
	case "delete", "clear", "copy":
		j.written(n.Args[0])
	}
}

// written adds a fault if the place lies in a variable of a package.
func (j *judge) written(place ast.Expr) {
	const why = "a variable that outlives the call is hidden state: put it into State"
	for {
		switch e := place.(type) {
		case *ast.ParenExpr:
			place = e.X
		case *ast.StarExpr:
			place = e.X
		case *ast.IndexExpr:
			place = e.X
		case *ast.SliceExpr:
			place = e.X
		case *ast.SelectorExpr:
			if path := j.pkg(e.X); path != "" {
				j.add(e, "writes %s.%s: %s", filepath.Base(path), e.Sel.Name, why)
				return
			}
			place = e.X
		case *ast.Ident:
			if v, ok := j.info.Uses[e].(*types.Var); ok && v.Parent() == j.scope {
				j.add(e, "writes %s: %s", e.Name, why)
			}
			return
		default:
			return
		}
	}
}

// pkg is the path of the package that x names, else "".
func (j *judge) pkg(x ast.Expr) string {
	if name, ok := x.(*ast.Ident); ok {
		if p, ok := j.info.Uses[name].(*types.PkgName); ok {
			return p.Imported().Path()
		}
	}
	return ""
}
