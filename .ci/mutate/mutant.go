package main

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// mutant is one change of one token.
type mutant struct {
	file       string // below the module's root
	row, col   int
	offset     int
	from, to   string
	line       string // as it stands in the file, without what surrounds it
	occurrence int    // which of the line's mutable tokens of this text it is, from 1
	idle       bool   // an infinity by 2 is the same as one by 1
}

func (m mutant) String() string {
	return fmt.Sprintf(
		"%s:%d:%d: %s becomes %s",
		m.file,
		m.row,
		m.col,
		strings.TrimSpace(m.from),
		strings.TrimSpace(m.to),
	)
}

// edges are the operators that take another's place: relations move the edge, and signs turn.
var edges = map[token.Token]token.Token{
	token.LSS:        token.LEQ,
	token.LEQ:        token.LSS,
	token.GTR:        token.GEQ,
	token.GEQ:        token.GTR,
	token.EQL:        token.NEQ,
	token.NEQ:        token.EQL,
	token.ADD:        token.SUB,
	token.SUB:        token.ADD,
	token.ADD_ASSIGN: token.SUB_ASSIGN,
	token.SUB_ASSIGN: token.ADD_ASSIGN,
	token.INC:        token.DEC,
	token.DEC:        token.INC,
}

// finder collects the mutants of one package.
type finder struct {
	files  *token.FileSet
	types  types.Info
	random *rand.Rand
	root   string
	text   []byte // of the file that is walked
	name   string
	loops  map[ast.Stmt]bool // steps of loops, which would only run on for ever
	signs  map[ast.Expr]int  // arguments of which only the sign counts, with the least that has it
	list   []mutant
}

// findMutants lists every mutant of a package's files, tests excepted, in the order in which they stand.
func findMutants(root, name string, seed uint64) ([]mutant, error) {
	f := finder{
		files:  token.NewFileSet(),
		random: rand.New(rand.NewPCG(seed, 1)),
		root:   root,
		loops:  map[ast.Stmt]bool{},
		signs:  map[ast.Expr]int{},
		types:  types.Info{Types: map[ast.Expr]types.TypeAndValue{}},
	}
	paths, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(name), "*.go"))
	if err != nil {
		return nil, err
	}
	var parsed []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(f.files, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		parsed = append(parsed, file)
	}
	if err := f.check(name, parsed); err != nil {
		return nil, err
	}
	for _, file := range parsed {
		if err := f.walk(file); err != nil {
			return nil, err
		}
	}
	return f.list, nil
}

// check finds the types of all expressions; imports are read from what the go command has compiled.
func (f *finder) check(name string, parsed []*ast.File) error {
	command := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}} {{.Export}}", "./"+name)
	command.Dir = f.root
	out, err := command.Output()
	if err != nil {
		return fmt.Errorf("go list %s: %w", name, err)
	}
	compiled := map[string]string{}
	for line := range strings.Lines(string(out)) {
		path, file, _ := strings.Cut(strings.TrimSpace(line), " ")
		compiled[path] = file
	}
	lookup := func(path string) (io.ReadCloser, error) { return os.Open(compiled[path]) }
	config := types.Config{Importer: importer.ForCompiler(f.files, "gc", lookup)}
	_, err = config.Check(name, f.files, parsed, &f.types)
	return err
}

func (f *finder) walk(file *ast.File) (err error) {
	f.name = f.files.Position(file.Pos()).Filename
	if f.text, err = os.ReadFile(f.name); err != nil {
		return err
	}
	relative, err := filepath.Rel(f.root, f.name)
	f.name = filepath.ToSlash(relative)
	first := len(f.list)
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			f.operator(n, n.OpPos, n.Op)
		case *ast.AssignStmt:
			f.operator(n.Lhs[0], n.TokPos, n.Tok)
		case *ast.CallExpr:
			switch types.ExprString(n.Fun) {
			case "math.Inf": // of 0 is that of 1
				f.sign(n.Args[0], 0)
			case "math.IsInf":
				f.sign(n.Args[1], 1)
			}
		case *ast.ForStmt:
			f.loops[n.Post] = true
		case *ast.IncDecStmt:
			if !f.loops[n] {
				f.operator(n.X, n.TokPos, n.Tok)
			}
		case *ast.UnaryExpr:
			if n.Op == token.SUB {
				f.add(n.OpPos, "-", " ")
			}
		case *ast.BasicLit:
			f.constant(n)
		case *ast.GenDecl:
			return n.Tok != token.IMPORT
		}
		return true
	})
	number(f.list[first:])
	return err
}

// sign notes an argument of which only the sign counts.
func (f *finder) sign(e ast.Expr, least int) {
	if minus, ok := e.(*ast.UnaryExpr); ok {
		e, least = minus.X, 1
	}
	f.signs[e] = least
}

// number puts the mutants of a file in reading order and counts equal tokens of a line.
func number(list []mutant) {
	slices.SortFunc(list, func(a, b mutant) int { return a.offset - b.offset })
	seen := map[string]int{}
	for i := range list {
		key := fmt.Sprint(list[i].row, " ", list[i].from)
		seen[key]++
		list[i].occurrence = seen[key]
	}
}

// operator adds the mutant of an operator, unless it joins texts.
func (f *finder) operator(of ast.Expr, at token.Pos, op token.Token) {
	to, ok := edges[op]
	if t := f.types.Types[of].Type; ok && t != nil && !isA(t, types.IsString) {
		f.add(at, op.String(), to.String())
	}
}

// constant adds the mutant of a number: one per cent more or less, and one step where it counts something.
func (f *finder) constant(n *ast.BasicLit) {
	t := f.types.Types[n]
	if n.Kind != token.INT && n.Kind != token.FLOAT || t.Type == nil || t.Value == nil {
		return
	}
	sign := 1 - 2*f.random.IntN(2)
	value, _ := constant.Float64Val(constant.ToFloat(t.Value))
	switch {
	case isA(t.Type, types.IsFloat) && value != 0:
		f.add(n.Pos(), n.Value, strconv.FormatFloat(value*(1+0.01*float64(sign)), 'g', 12, 64))
	case isA(t.Type, types.IsInteger) && value > 0 && value < 1<<62:
		step := max(1, int64(math.Round(value/100)))
		f.add(n.Pos(), n.Value, strconv.FormatInt(int64(value)+int64(sign)*step, 10))
		least, counts := f.signs[n]
		f.list[len(f.list)-1].idle = counts && int64(value)+int64(sign)*step >= int64(least)
	}
}

func isA(t types.Type, kind types.BasicInfo) bool {
	basic, ok := t.Underlying().(*types.Basic)
	return ok && basic.Info()&kind != 0
}

func (f *finder) add(at token.Pos, from, to string) {
	p := f.files.Position(at)
	start := strings.LastIndexByte(string(f.text[:p.Offset]), '\n') + 1
	line, _, _ := strings.Cut(string(f.text[start:]), "\n")
	f.list = append(
		f.list,
		mutant{
			file:   f.name,
			row:    p.Line,
			col:    p.Column,
			offset: p.Offset,
			from:   from,
			to:     to,
			line:   strings.TrimSpace(line),
		},
	)
}
