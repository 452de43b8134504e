package rules

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"sync"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

// maxCondition bounds a `when`, in bytes: the expression parser recurses, and
// a page of conditions is a mistake anyway.
const maxCondition = 4 << 10

// Cond is a condition over plain facts of engine and history. It is three
// valued: where the case does not say what it asks about, it is unknown unless
// the rest settles it.
type Cond struct {
	Text   string
	Fields []string // "engine.fuel", … sorted

	once sync.Once
	root *term // nil until it is first asked for, where the book did not come from its packs
}

// term is a node of the condition: and, or, not, or a comparison that the
// expression library evaluates once all its facts are known.
type term struct {
	op     string // "&&", "||", "!", ""
	kids   []*term
	prog   *vm.Program
	fields []string
}

// Truth is yes, no or not known.
type Truth int

// The three values.
const (
	No Truth = iota
	Unknown
	Yes
)

// Eval evaluates over facts named "engine.fuel". A nil condition holds.
func (c *Cond) Eval(facts map[string]any) Truth {
	if c == nil {
		return Yes
	}
	c.once.Do(func() {
		if c.root == nil {
			c.root = c.compiled()
		}
	})
	return c.root.eval(facts)
}

// compiled makes the terms of a condition that was checked when the snapshot
// was made.
func (c *Cond) compiled() *term {
	tree, err := parser.Parse(c.Text)
	if err != nil {
		return nil
	}
	root, fault := build(tree.Node)
	if fault != nil {
		return nil
	}
	return root
}

// Missing lists the fields of the condition that facts do not have.
func (c *Cond) Missing(facts map[string]any) []string {
	if c == nil {
		return nil
	}
	var out []string
	for _, f := range c.Fields {
		if _, ok := facts[f]; !ok {
			out = append(out, f)
		}
	}
	return out
}

func (t *term) eval(facts map[string]any) Truth {
	if t == nil {
		return Unknown
	}
	switch t.op {
	case "!":
		return Yes - t.kids[0].eval(facts)
	case "&&":
		return min(t.kids[0].eval(facts), t.kids[1].eval(facts))
	case "||":
		return max(t.kids[0].eval(facts), t.kids[1].eval(facts))
	}
	for _, f := range t.fields {
		if _, ok := facts[f]; !ok {
			return Unknown
		}
	}
	out, err := expr.Run(t.prog, environment(facts))
	if err != nil {
		return Unknown
	}
	if b, _ := out.(bool); b {
		return Yes
	}
	return No
}

// environmentType is a struct made from the one table of facts, so that the
// expression library checks names and types when the book is loaded.
var environmentType, environmentIndex = makeEnvironment()

func makeEnvironment() (reflect.Type, map[string][2]int) {
	tables := map[string][]reflect.StructField{}
	index := map[string][2]int{}
	order := []string{"engine", "history"}
	for _, f := range evidence.Fields() {
		var t reflect.Type
		switch f.Type {
		case evidence.Int:
			t = reflect.TypeFor[int]()
		case evidence.Number:
			t = reflect.TypeFor[float64]()
		case evidence.Bool:
			t = reflect.TypeFor[bool]()
		default:
			t = reflect.TypeFor[string]()
		}
		index[f.Table+"."+f.Name] = [2]int{slices.Index(order, f.Table), len(tables[f.Table])}
		tables[f.Table] = append(tables[f.Table], reflect.StructField{
			Name: "F" + strings.ToUpper(f.Name[:1]) + f.Name[1:], Type: t, Tag: reflect.StructTag(`expr:"` + f.Name + `"`),
		})
	}
	var fields []reflect.StructField
	for _, name := range order {
		fields = append(fields, reflect.StructField{Name: "T" + name, Type: reflect.StructOf(tables[name]), Tag: reflect.StructTag(`expr:"` + name + `"`)})
	}
	return reflect.StructOf(fields), index
}

func environment(facts map[string]any) any {
	env := reflect.New(environmentType).Elem()
	for name, v := range facts {
		at, ok := environmentIndex[name]
		if !ok {
			continue
		}
		field := env.Field(at[0]).Field(at[1])
		if rv := reflect.ValueOf(v); rv.IsValid() && rv.CanConvert(field.Type()) {
			field.Set(rv.Convert(field.Type()))
		}
	}
	return env.Interface()
}

// Facts gathers what a case says, under the names that conditions use. A
// number of which the case gives only a least value is not among them; that of
// the cylinders is, where it is certain without being said.
func Facts(e evidence.Engine, h evidence.History) map[string]any {
	facts := map[string]any{}
	for k, v := range e.Facts {
		if v == "not stated" || e.AtLeast[k] {
			continue
		}
		facts["engine."+k] = v
	}
	if n, assumed := e.Count(evidence.Cylinder); assumed == "" {
		facts["engine.cylinders"] = n
	}
	for k, v := range h.Facts {
		facts["history."+k] = v
	}
	for _, u := range UsualOf(e) {
		facts["engine."+u.Fact] = u.Value
	}
	return facts
}

// Usual is a fact that goes without saying for engines of a kind, so that a case
// which leaves it out is not asked about belts on an aircraft engine.
type Usual struct {
	Fact  string
	Value any
	Words string // how it is told among what was assumed
}

// UsualOf lists what goes without saying for an engine and is not said of it.
// Opposed and radial aircraft engines drive their camshafts or cam rings by gears, and
// have no balance shafts (common practice; it holds of all that are certificated).
func UsualOf(e evidence.Engine) []Usual {
	layout := e.Text("layout")
	if e.Text("use") != "aircraft" || layout != "opposed" && layout != "radial" {
		return nil
	}
	var out []Usual
	for _, u := range []Usual{
		{"timing_drive", "gears", "gears drive the camshaft"},
		{"balance_shafts", 0, "there are no balance shafts"},
		{"balance_drive", "none", ""},
	} {
		if _, said := e.Facts[u.Fact]; !said {
			out = append(out, u)
		}
	}
	return out
}

// condError is a fault inside a condition; at counts characters from its
// beginning, -1 where there is no place.
type condError struct {
	at      int
	message string
	hint    string
}

// compileCond parses and type-checks a condition.
func compileCond(text string) (*Cond, *condError) {
	if len(text) > maxCondition {
		return nil, &condError{-1, fmt.Sprintf("the condition is longer than %d characters", maxCondition), ""}
	}
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, asCondError(err)
	}
	v := &allowed{}
	ast.Walk(&tree.Node, v)
	if v.fault != nil {
		return nil, v.fault
	}
	if _, err := expr.Compile(text, expr.Env(reflect.New(environmentType).Elem().Interface()), expr.AsBool(), expr.DisableAllBuiltins()); err != nil {
		ce := asCondError(err)
		if v.unknown != "" {
			ce.message, ce.hint = "a case has no fact "+v.unknown, v.suggest()
		}
		return nil, ce
	}
	root, cerr := build(tree.Node)
	if cerr != nil {
		return nil, cerr
	}
	return &Cond{Text: text, Fields: slices.Sorted(maps.Keys(v.fields)), root: root}, nil
}

func build(n ast.Node) (*term, *condError) {
	if b, ok := n.(*ast.BinaryNode); ok {
		op := map[string]string{"and": "&&", "&&": "&&", "or": "||", "||": "||"}[b.Operator]
		if op != "" {
			l, err := build(b.Left)
			if err != nil {
				return nil, err
			}
			r, err := build(b.Right)
			if err != nil {
				return nil, err
			}
			return &term{op: op, kids: []*term{l, r}}, nil
		}
	}
	if u, ok := n.(*ast.UnaryNode); ok && (u.Operator == "!" || u.Operator == "not") {
		k, err := build(u.Node)
		if err != nil {
			return nil, err
		}
		return &term{op: "!", kids: []*term{k}}, nil
	}
	prog, err := expr.Compile(n.String(), expr.Env(reflect.New(environmentType).Elem().Interface()), expr.AsBool())
	if err != nil {
		return nil, asCondError(err)
	}
	v := &allowed{}
	ast.Walk(&n, v)
	return &term{prog: prog, fields: slices.Sorted(maps.Keys(v.fields))}, nil
}

func asCondError(err error) *condError {
	if fe, ok := err.(*file.Error); ok {
		return &condError{fe.From, fe.Message, ""}
	}
	return &condError{-1, err.Error(), ""}
}

// allowed lets only comparisons of facts with literals through: no calls, no
// ranges, no patterns. It gathers the facts that are asked for.
type allowed struct {
	fields  map[string]bool
	unknown string
	fault   *condError
}

func (v *allowed) suggest() string {
	if v.unknown == "" {
		return ""
	}
	return source.Suggest(v.unknown, slices.Sorted(maps.Keys(environmentIndex)))
}

func (v *allowed) Visit(node *ast.Node) {
	refuse := func(what string) {
		if v.fault == nil {
			v.fault = &condError{(*node).Location().From, what + " cannot be used in a condition", ""}
		}
	}
	switch n := (*node).(type) {
	case *ast.BoolNode, *ast.IntegerNode, *ast.FloatNode, *ast.StringNode, *ast.IdentifierNode, *ast.ArrayNode, *ast.ConstantNode:
	case *ast.UnaryNode:
	case *ast.MemberNode:
		table, okT := n.Node.(*ast.IdentifierNode)
		name, okN := n.Property.(*ast.StringNode)
		if !okT || !okN {
			refuse("anything but engine.… and history.…")
			return
		}
		field := table.Value + "." + name.Value
		if _, ok := environmentIndex[field]; !ok {
			v.unknown = field
		}
		if v.fields == nil {
			v.fields = map[string]bool{}
		}
		v.fields[field] = true
	case *ast.BinaryNode:
		if n.Operator == "matches" || n.Operator == ".." {
			refuse(n.Operator)
			return
		}
		v.checkWord(n.Left, n.Right)
		v.checkWord(n.Right, n.Left)
	default:
		refuse("this")
	}
}

// checkWord compares a literal with the words that the fact may be.
func (v *allowed) checkWord(member, literal ast.Node) {
	m, ok := member.(*ast.MemberNode)
	if !ok {
		return
	}
	table, ok1 := m.Node.(*ast.IdentifierNode)
	prop, ok2 := m.Property.(*ast.StringNode)
	if !ok1 || !ok2 {
		return
	}
	for _, f := range evidence.Fields() {
		if f.Table != table.Value || f.Name != prop.Value || f.Type != evidence.Word {
			continue
		}
		literals := []ast.Node{literal}
		if a, ok := literal.(*ast.ArrayNode); ok {
			literals = a.Nodes
		}
		for _, l := range literals {
			if s, ok := l.(*ast.StringNode); ok && !slices.Contains(f.Words, s.Value) && !slices.ContainsFunc(f.Words, func(w string) bool { return strings.Contains(w, s.Value) && s.Value != "" }) && v.fault == nil {
				v.fault = &condError{l.Location().From, fmt.Sprintf("%s.%s is never %q", f.Table, f.Name, s.Value), source.Suggest(s.Value, f.Words)}
			}
		}
	}
}
