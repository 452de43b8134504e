package rules

import (
	"crypto/sha256"
	_ "embed"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"reflect"
	"slices"

	"tidemark/evidence/source"
)

// The built-in book is carried a second time, as it is once its packs are read
// and checked: reading them takes longer than a diagnosis. This snapshot is
// made from the packs by go generate, and is used only for texts of which it is
// the snapshot; for any others, and where it is out of date, the packs are
// read. A test sees that it is the same book. Where the file is lost, an empty
// one does until it is made anew.
//
//go:generate go test -run ^TestSnapshot$ -update .
//go:embed snapshot.bin
var builtIn string

// head begins a snapshot.
type head struct {
	Shape string   // what shapeOf said when it was made
	Hash  string   // of the packs
	Names []string // of the packs, as told in faults
	// How many there are of the things that others point at.
	Parts, Signs, Nodes, Rules, Conds, Instruments, Quantities, Formulas, Tests int
}

// shapeOf is the hash of all types that a snapshot holds and of the numbers
// that stand in it for words: of another shape it cannot be read, and with
// other numbers it would be another book.
func shapeOf() string {
	h := sha256.New()
	seen := map[reflect.Type]bool{}
	var walk func(t reflect.Type)
	walk = func(t reflect.Type) {
		fmt.Fprint(h, t, " ", t.Kind(), "\n")
		switch t.Kind() {
		case reflect.Pointer, reflect.Slice:
			walk(t.Elem())
		case reflect.Map:
			walk(t.Key())
			walk(t.Elem())
		case reflect.Struct:
			if seen[t] {
				return
			}
			seen[t] = true
			for f := range t.Fields() {
				if f.IsExported() {
					fmt.Fprint(h, f.Name, " ")
					walk(f.Type)
				}
			}
		}
	}
	walk(reflect.TypeFor[head]())
	walk(reflect.TypeFor[Book]())
	walk(reflect.TypeFor[source.Fault]())
	fmt.Fprint(h, HowOften, BaseRates, DefaultUnlisted, DefaultSignUnlisted)
	return hex.EncodeToString(h.Sum(nil))
}

// fromSnapshot is the book of a snapshot, and notes the warnings that its packs
// give; nil if the snapshot is not of these layers.
func fromSnapshot(data, hash string, layers [][]Text, faults *source.Faults) *Book {
	if len(layers) != 1 {
		return nil
	}
	r := &snapshotReader{rest: data}
	r.strings()
	var h head
	r.value(reflect.ValueOf(&h).Elem())
	if r.bad || h.Hash != hash || h.Shape != shapeOf() || !slices.EqualFunc(h.Names, layers[0], func(n string, t Text) bool { return n == t.Name }) {
		return nil
	}
	for _, n := range []int{h.Parts, h.Signs, h.Nodes, h.Rules, h.Conds, h.Instruments, h.Quantities, h.Formulas, h.Tests} {
		if n < 0 || n > len(data) {
			return nil
		}
	}
	r.parts, r.signs, r.nodes, r.rules, r.conds = make([]Part, h.Parts), make([]Sign, h.Signs), make([]Node, h.Nodes), make([]Rule, h.Rules), make([]Cond, h.Conds)
	r.instruments, r.quantities, r.formulas, r.tests = make([]Instrument, h.Instruments), make([]Quantity, h.Quantities), make([]Formula, h.Formulas), make([]Test, h.Tests)
	list(r, r.conds)
	list(r, r.parts)
	list(r, r.signs)
	list(r, r.nodes)
	list(r, r.rules)
	list(r, r.instruments)
	list(r, r.quantities)
	list(r, r.formulas)
	list(r, r.tests)
	b := &Book{part: map[string]*Part{}, sign: map[string]*Sign{}, node: map[string]*Node{}, quantity: map[string]*Quantity{}}
	r.value(reflect.ValueOf(b).Elem())
	var warnings []source.Fault
	r.value(reflect.ValueOf(&warnings).Elem())
	if r.bad || r.rest != "" {
		return nil
	}
	for _, p := range b.Parts {
		b.part[p.ID] = p
	}
	for _, s := range b.Signs {
		b.sign[s.ID] = s
	}
	for _, n := range b.Nodes {
		b.node[n.ID] = n
	}
	for _, q := range b.Quantities {
		b.quantity[q.ID] = q
	}
	for _, w := range warnings {
		faults.Warn(w.Position, w.Hint, "%s", w.Message)
	}
	return b
}

// snapshotReader reads what snapshotWriter wrote: numbers as varints, texts as
// numbers of a table at the front, lists behind their length and one (none at
// all is 0), pointers as the number and one of what they point at.
type snapshotReader struct {
	rest  string
	texts []string
	bad   bool

	parts []Part
	signs []Sign
	nodes []Node
	rules []Rule
	conds []Cond

	instruments []Instrument
	quantities  []Quantity
	formulas    []Formula
	tests       []Test
}

// list reads all things of one kind.
func list[T any](r *snapshotReader, things []T) {
	for i := range things {
		r.value(reflect.ValueOf(&things[i]).Elem())
	}
}

func (r *snapshotReader) number() uint64 {
	// As binary.Uvarint, which reads bytes and no text.
	var x uint64
	for i := 0; i < len(r.rest) && i < binary.MaxVarintLen64; i++ {
		c := r.rest[i]
		x |= uint64(c&0x7f) << (7 * i)
		if c < 0x80 {
			r.rest = r.rest[i+1:]
			return x
		}
	}
	r.bad, r.rest = true, ""
	return 0
}

// count is a number of things of which each takes a byte at least.
func (r *snapshotReader) count() int {
	n := r.number()
	if n > uint64(len(r.rest)) {
		r.bad, r.rest = true, ""
		return 0
	}
	return int(n)
}

func (r *snapshotReader) strings() {
	lengths := make([]int, r.count())
	for i := range lengths {
		lengths[i] = r.count()
	}
	r.texts = make([]string, len(lengths))
	for i, n := range lengths {
		if n > len(r.rest) {
			r.bad = true
			return
		}
		r.texts[i], r.rest = r.rest[:n], r.rest[n:]
	}
}

func (r *snapshotReader) text() string {
	if i := r.number(); i < uint64(len(r.texts)) {
		return r.texts[i]
	}
	r.bad = true
	return ""
}

func (r *snapshotReader) float() float64 {
	if len(r.rest) < 8 {
		r.bad, r.rest = true, ""
		return 0
	}
	var x uint64
	for i := range 8 {
		x = x<<8 | uint64(r.rest[i])
	}
	r.rest = r.rest[8:]
	return math.Float64frombits(x)
}

// pointer is one of a list of things, or nil.
func pointer[T any](r *snapshotReader, list []T) *T {
	switch i := r.number(); {
	case i == 0:
		return nil
	case i <= uint64(len(list)):
		return &list[i-1]
	}
	r.bad = true
	return nil
}

// value reads into v what stands next.
func (r *snapshotReader) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(r.text())
	case reflect.Bool:
		v.SetBool(r.number() == 1)
	case reflect.Int:
		v.SetInt(int64(r.number()))
	case reflect.Float64:
		v.SetFloat(r.float())
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Field(i); f.CanSet() { // is exported
				r.value(f)
			}
		}
	case reflect.Slice:
		n := r.count()
		if n == 0 {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), n-1, n-1))
		for i := range n - 1 {
			e := v.Index(i)
			r.value(e)
			r.bad = r.bad || e.Kind() == reflect.Pointer && e.IsNil()
		}
	case reflect.Map:
		n := r.count()
		if n == 0 {
			return
		}
		m := reflect.MakeMapWithSize(v.Type(), n-1)
		for range n - 1 {
			key, elem := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			r.value(key)
			r.value(elem)
			m.SetMapIndex(key, elem)
		}
		v.Set(m)
	case reflect.Interface:
		if x := r.plain(); x != nil {
			v.Set(reflect.ValueOf(x))
		}
	case reflect.Pointer:
		switch p := v.Addr().Interface().(type) {
		case **Part:
			*p = pointer(r, r.parts)
		case **Sign:
			*p = pointer(r, r.signs)
		case **Node:
			*p = pointer(r, r.nodes)
		case **Rule:
			*p = pointer(r, r.rules)
		case **Cond:
			*p = pointer(r, r.conds)
		case **Instrument:
			*p = pointer(r, r.instruments)
		case **Quantity:
			*p = pointer(r, r.quantities)
		case **Formula:
			*p = pointer(r, r.formulas)
		case **Test:
			*p = pointer(r, r.tests)
		default:
			v.Set(reflect.New(v.Type().Elem()))
			r.value(v.Elem())
		}
	default:
		r.bad = true
	}
}

// The kinds of plain values that the facts of an example may be.
const (
	plainText = iota
	plainInt
	plainFloat
	plainBool
	plainList
)

func (r *snapshotReader) plain() any {
	switch r.number() {
	case plainText:
		return r.text()
	case plainInt:
		return int64(r.number())
	case plainFloat:
		return r.float()
	case plainBool:
		return r.number() == 1
	case plainList:
		list := make([]any, r.count())
		for i := range list {
			list[i] = r.plain()
		}
		return list
	}
	r.bad = true
	return nil
}
