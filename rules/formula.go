package rules

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

// Formula is a derived value: an expression over what is measured, in SI units,
// of which the dimensions have been checked.
type Formula struct {
	Text string
	Uses []Use // what it asks for, in the order in which it first does

	once sync.Once
	prog *vm.Program
}

// Use is one thing that a formula asks for.
type Use struct {
	// Of is how a quantity is taken: "" for its value here, else the name of a
	// function over positions ("lowest", "outlier", "at", …). "engine" and
	// "history" are for facts of the case, of which Fact is the name.
	Of       string
	Quantity *Quantity
	Word     string // the second argument, where there is one
	Fact     string
}

// overPositions are the functions of formulas that take a quantity, with how many
// arguments they have.
var overPositions = map[string]int{
	"lowest": 1, "highest": 1, "mean": 1, "median": 1, "spread": 1, "count": 1, "trend": 1, // of all positions
	"rest": 1, "outlier": 1, "neighbours": 1, "bank": 1, // of the others
	"at": 2, "range_here": 1, // at this one
	"upper": 1, "lower": 1, // its limits here
	"code": 2, // a number of a cleanliness code
}

// Eval works the formula out from what it uses, in the order of Uses. The result
// may be infinite or not a number.
func (f *Formula) Eval(values []float64) float64 {
	f.once.Do(func() {
		tree, err := parser.Parse(f.Text)
		if err != nil {
			return
		}
		w := &formulaReader{have: f.Uses}
		code, _ := w.read(tree.Node)
		if w.fault == nil {
			f.prog, _ = compileCode(code)
		}
	})
	if f.prog == nil {
		return math.NaN()
	}
	out, err := expr.Run(f.prog, formulaEnv{values})
	if err != nil {
		return math.NaN()
	}
	x, ok := out.(float64)
	if !ok {
		return math.NaN()
	}
	return x
}

type formulaEnv struct {
	V []float64
}

func compileCode(code string) (*vm.Program, error) {
	return expr.Compile(code, expr.Env(formulaEnv{}), expr.AsFloat64(),
		expr.Function("sqrt", func(p ...any) (any, error) { return math.Sqrt(p[0].(float64)), nil }, new(func(float64) float64)))
}

// formulaReader turns an expression into one over numbers in SI units, checks
// its dimensions, and gathers what it uses.
type formulaReader struct {
	quantity func(id string) *Quantity // nil where the formula was checked before: no dimensions then
	suggest  func(id string) string
	have     []Use // where it was checked before
	uses     []Use
	fault    *condError
}

func (w *formulaReader) refuse(n ast.Node, hint, format string, args ...any) (string, quantity.Dimension) {
	if w.fault == nil {
		w.fault = &condError{n.Location().From, fmt.Sprintf(format, args...), hint}
	}
	return "0.0", quantity.Dimension{}
}

func (w *formulaReader) checking() bool { return w.quantity != nil }

// use is the code that stands for a use.
func (w *formulaReader) use(u Use) string {
	if w.checking() {
		i := slices.Index(w.uses, u)
		if i < 0 {
			i = len(w.uses)
			w.uses = append(w.uses, u)
		}
		return fmt.Sprintf("V[%d]", i)
	}
	i := slices.IndexFunc(w.have, func(h Use) bool {
		return h.Of == u.Of && h.Word == u.Word && h.Fact == u.Fact && (h.Quantity == nil) == (u.Quantity == nil) && (h.Quantity == nil || h.Quantity.ID == u.Quantity.ID)
	})
	if i < 0 {
		w.fault = &condError{-1, "not what was checked", ""}
	}
	return fmt.Sprintf("V[%d]", max(i, 0))
}

func (w *formulaReader) member(n ast.Node) (id string, ok bool) {
	m, isMember := n.(*ast.MemberNode)
	if !isMember {
		return "", false
	}
	part, okP := m.Node.(*ast.IdentifierNode)
	name, okN := m.Property.(*ast.StringNode)
	if !okP || !okN {
		return "", false
	}
	return part.Value + "." + name.Value, true
}

// of finds a quantity; where the formula was checked before, it need not be the
// book's own.
func (w *formulaReader) of(n ast.Node, id string) *Quantity {
	if !w.checking() {
		return &Quantity{ID: id}
	}
	q := w.quantity(id)
	switch {
	case q == nil:
		w.refuse(n, w.suggest(id), "there is no quantity %q", id)
	case q.Unit == "" && q.Kind != CodeKind:
		w.refuse(n, "", "") // that its unit is none is told where it stands
	}
	return q
}

func number(x float64) string {
	s := strconv.FormatFloat(x, 'g', -1, 64)
	if !strings.ContainsAny(s, ".eE") {
		s += ".0"
	}
	return s
}

func (w *formulaReader) read(n ast.Node) (code string, d quantity.Dimension) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return number(float64(n.Value)), d
	case *ast.FloatNode:
		return number(n.Value), d
	case *ast.ConstantNode:
		return w.refuse(n, "", "%v cannot be used in a formula", n.Value)
	case *ast.StringNode:
		v, err := quantity.Parse(n.Value)
		if err != nil {
			return w.refuse(n, cmp.Or(hintOf(err), `as in '0.05 mm'`), "%v", err)
		}
		return number(v.SI()), w.known(v.Unit.Dimension)
	case *ast.IdentifierNode:
		if n.Value == "pi" {
			return number(math.Pi), d
		}
		return w.refuse(n, "", "%q is neither a quantity (part.quantity) nor pi", n.Value)
	case *ast.UnaryNode:
		if n.Operator != "-" && n.Operator != "+" {
			return w.refuse(n, "", "%s cannot be used in a formula", n.Operator)
		}
		code, d = w.read(n.Node)
		return "(" + n.Operator + code + ")", d
	case *ast.BinaryNode:
		return w.binary(n)
	case *ast.MemberNode:
		return w.value(n)
	case *ast.BuiltinNode:
		return w.call(n, n.Name, n.Arguments)
	case *ast.CallNode:
		name, ok := n.Callee.(*ast.IdentifierNode)
		if !ok {
			return w.refuse(n, "", "this cannot be called in a formula")
		}
		return w.call(n, name.Value, n.Arguments)
	}
	return w.refuse(n, "", "this cannot be used in a formula")
}

func (w *formulaReader) binary(n *ast.BinaryNode) (string, quantity.Dimension) {
	l, dl := w.read(n.Left)
	r, dr := w.read(n.Right)
	code := "(" + l + " " + n.Operator + " " + r + ")"
	switch n.Operator {
	case "+", "-":
		if w.checking() && dl != dr {
			return w.refuse(n, "", "%v and %v cannot be added or taken from each other", dl, dr)
		}
		return code, dl
	case "*":
		return w.sane(n, code, dl.Times(dr))
	case "/":
		return w.sane(n, code, dl.Over(dr))
	case "**", "^":
		code = "(" + l + " ** " + r + ")"
		if dl == (quantity.Dimension{}) && dr == dl {
			return code, dl
		}
		i, whole := n.Right.(*ast.IntegerNode)
		if !whole || i.Value < 0 || i.Value > 9 {
			return w.refuse(n.Right, "", "a value with a unit can only be raised to a whole number below ten")
		}
		return w.sane(n, code, dl.Power(int8(i.Value)))
	}
	return w.refuse(n, "", "%s cannot be used in a formula", n.Operator)
}

// sane refuses powers that nothing measured has, before they grow past what a
// Dimension holds: of two of maxPower the product is held, and of one its ninth power.
func (w *formulaReader) sane(n ast.Node, code string, d quantity.Dimension) (string, quantity.Dimension) {
	for _, p := range []int8{d.Length, d.Mass, d.Time, d.Temperature, d.Current, d.Angle} {
		if p > maxPower || p < -maxPower {
			return w.refuse(n, "", "nothing is measured in so high a power")
		}
	}
	return code, d
}

const maxPower = 12

// value reads part.quantity, or a fact of the case.
func (w *formulaReader) value(n ast.Node) (string, quantity.Dimension) {
	id, ok := w.member(n)
	if !ok {
		return w.refuse(n, "", "this cannot be used in a formula")
	}
	table, name, _ := strings.Cut(id, ".")
	if table == "engine" || table == "history" {
		d, known := evidence.FactDimension(table, name)
		if !known {
			return w.refuse(n, source.Suggest(id, evidence.MeasuredFacts()), "a case has no measured fact %s", id)
		}
		return w.use(Use{Of: table, Fact: name}), w.known(d)
	}
	q := w.of(n, id)
	if q == nil {
		return "0.0", quantity.Dimension{}
	}
	if w.checking() && q.Kind == CodeKind {
		return w.refuse(n, "as in code("+id+", 6)", "%s is a code of three numbers", id)
	}
	return w.use(Use{Quantity: q}), w.dimension(q)
}

func (w *formulaReader) dimension(q *Quantity) quantity.Dimension {
	if !w.checking() {
		return quantity.Dimension{}
	}
	return q.Dimension()
}

// known is a dimension where dimensions are checked, and none where they were: a
// formula of which some were known and some not would be refused.
func (w *formulaReader) known(d quantity.Dimension) quantity.Dimension {
	if !w.checking() {
		return quantity.Dimension{}
	}
	return d
}

func (w *formulaReader) call(n ast.Node, name string, args []ast.Node) (string, quantity.Dimension) {
	_, over := overPositions[name]
	want, function := arguments(name)
	switch {
	case function && len(args) != want:
		return w.refuse(n, "", "%s() needs %d in its brackets, and has %d", name, want, len(args))
	case over:
		return w.over(n, name, args)
	case name == "abs":
		code, d := w.read(args[0])
		return "abs(" + code + ")", d
	case name == "sqrt":
		code, d := w.read(args[0])
		root, ok := d.Root()
		if !ok {
			return w.refuse(n, "", "%v has no square root", d)
		}
		return "sqrt(" + code + ")", root
	case name == "min" || name == "max":
		a, da := w.read(args[0])
		b, db := w.read(args[1])
		if w.checking() && da != db {
			return w.refuse(n, "", "%v and %v cannot be compared", da, db)
		}
		return name + "(" + a + ", " + b + ")", da
	}
	known := []string{"abs", "sqrt", "min", "max"}
	for f := range overPositions {
		known = append(known, f)
	}
	slices.Sort(known)
	return w.refuse(n, source.Suggest(name, known), "a formula knows no %s()", name)
}

// arguments is how many things a function is given; ok is false where formulas
// know no such function.
func arguments(name string) (n int, ok bool) {
	switch name {
	case "abs", "sqrt":
		return 1, true
	case "min", "max":
		return 2, true
	}
	n, ok = overPositions[name]
	return n, ok
}

func (w *formulaReader) over(n ast.Node, name string, args []ast.Node) (string, quantity.Dimension) {
	id, ok := w.member(args[0])
	if !ok || strings.HasPrefix(id, "engine.") || strings.HasPrefix(id, "history.") {
		return w.refuse(args[0], "", "%s() needs a quantity (part.quantity)", name)
	}
	u := Use{Of: name, Quantity: w.of(args[0], id)}
	if u.Quantity == nil {
		return "0.0", quantity.Dimension{}
	}
	switch name {
	case "at":
		word, isText := args[1].(*ast.StringNode)
		if !isText || word.Value == "" {
			return w.refuse(args[1], `as in at(rod_journal.diameter, 'front')`, "at() needs a word of a place")
		}
		if w.checking() && !slices.ContainsFunc(u.Quantity.Part.Places, func(p string) bool { return HasWord(p, word.Value) }) {
			words := strings.Fields(strings.Join(u.Quantity.Part.Places, " "))
			return w.refuse(args[1], source.Suggest(word.Value, words), "the %s has no place %q", u.Quantity.Part.Name, word.Value)
		}
		u.Word = word.Value
	case "code":
		size, isNumber := args[1].(*ast.IntegerNode)
		if !isNumber || size.Value != 4 && size.Value != 6 && size.Value != 14 {
			return w.refuse(args[1], "", "a cleanliness code has numbers for 4, 6 and 14 µm")
		}
		if w.checking() && u.Quantity.Kind != CodeKind {
			return w.refuse(args[0], "", "%s is no code", id)
		}
		u.Word = strconv.Itoa(size.Value)
		return w.use(u), quantity.Dimension{}
	case "count":
		return w.use(u), quantity.Dimension{}
	}
	if w.checking() && u.Quantity.Kind == CodeKind {
		return w.refuse(args[0], "", "%s is a code of three numbers", id)
	}
	return w.use(u), w.dimension(u.Quantity)
}

// HasWord tells whether a place ("front vertical") has a word in it.
func HasWord(place, word string) bool {
	return place == word || slices.Contains(strings.Fields(place), word)
}

// formula reads and checks an expression that must come to dimension want.
func (b *Book) formula(text string, want quantity.Dimension) (*Formula, *condError) {
	if len(text) > maxCondition {
		return nil, &condError{-1, fmt.Sprintf("the formula is longer than %d characters", maxCondition), ""}
	}
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, asCondError(err)
	}
	f, d, fault := b.formulaOf(tree.Node)
	if fault != nil {
		return nil, fault
	}
	if d != want {
		return nil, &condError{-1, fmt.Sprintf("the formula comes to %v, and must come to %v", d, want), ""}
	}
	f.Text = text
	return f, nil
}

func (b *Book) formulaOf(n ast.Node) (*Formula, quantity.Dimension, *condError) {
	w := &formulaReader{quantity: b.Quantity, suggest: b.SuggestQuantity}
	code, d := w.read(n)
	if w.fault != nil {
		return nil, d, w.fault
	}
	if _, err := compileCode(code); err != nil {
		return nil, d, &condError{-1, "the formula cannot be worked out: " + err.Error(), ""}
	}
	return &Formula{Text: n.String(), Uses: w.uses}, d, nil
}

// test reads "left > right" or "left < right".
func (b *Book) test(text string) (*Test, *condError) {
	if len(text) > maxCondition {
		return nil, &condError{-1, fmt.Sprintf("the test is longer than %d characters", maxCondition), ""}
	}
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, asCondError(err)
	}
	n, ok := tree.Node.(*ast.BinaryNode)
	if !ok || n.Operator != "<" && n.Operator != ">" {
		return nil, &condError{-1, "a test is one comparison by < or >", `as in "rod_bearing.oil_clearance > limit"`}
	}
	t := &Test{Text: text, Above: n.Operator == ">"}
	left, dl, fault := b.formulaOf(n.Left)
	if fault != nil {
		return nil, fault
	}
	t.Left = left
	for _, u := range left.Uses {
		if u.Quantity != nil && u.Quantity.Dimension() == dl && u.Quantity.Kind != CodeKind && u.Of != "count" {
			t.Unit, t.InchUnit, t.Digits = u.Quantity.Unit, u.Quantity.InchUnit, u.Quantity.Digits
			break
		}
	}
	if r, isName := n.Right.(*ast.IdentifierNode); isName && r.Value == "limit" {
		if len(left.Uses) != 1 || left.Uses[0].Of != "" {
			return nil, &condError{n.Left.Location().From, "only a plain quantity has a limit", "make the left side a quantity of its own, with a formula"}
		}
		if _, plain := n.Left.(*ast.MemberNode); !plain {
			return nil, &condError{n.Left.Location().From, "only a plain quantity has a limit", "make the left side a quantity of its own, with a formula"}
		}
		t.Of = left.Uses[0].Quantity
		return t, nil
	}
	right, dr, fault := b.formulaOf(n.Right)
	if fault != nil {
		return nil, fault
	}
	if dl != dr {
		return nil, &condError{n.Location().From, fmt.Sprintf("%v is compared with %v", dl, dr), ""}
	}
	t.Right = right
	return t, nil
}

// Quantities lists the quantities that the test asks about, each once.
func (t *Test) Quantities() []*Quantity {
	var out []*Quantity
	for _, f := range []*Formula{t.Left, t.Right} {
		if f == nil {
			continue
		}
		for _, u := range f.Uses {
			if u.Quantity != nil && !slices.Contains(out, u.Quantity) {
				out = append(out, u.Quantity)
			}
		}
	}
	return out
}
