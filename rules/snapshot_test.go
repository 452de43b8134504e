package rules

import (
	"encoding/binary"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/source"
)

// The snapshot is the book of the packs: to the byte what would be made of them
// now, and read again the same book to every field. go generate makes it anew.
func TestSnapshot(t *testing.T) {
	layers := [][]Text{Embedded()}
	var faults source.Faults
	want := loadPacks(hashOf(layers), layers, &faults)
	require.NotNil(t, want, faults.Error())
	data := writeSnapshot(t, want, layers[0], faults.List())
	if *update {
		require.NoError(t, os.WriteFile("snapshot.bin", []byte(data), 0o644))
		return
	}
	if data != builtIn {
		t.Fatal("the snapshot of the book is not that of its packs: run go generate ./rules")
	}
	var again source.Faults
	got := fromSnapshot(data, want.Hash, layers, &again)
	require.NotNil(t, got)
	assert.Equal(t, faults.List(), again.List())
	for _, c := range condsOf(got) {
		assert.NotNil(t, c.compiled(), c.Text)
	}
	for _, c := range condsOf(want) {
		c.root = nil // the snapshot compiles it when it is first asked for
	}
	// Told thing by thing, for the whole would be some megabytes.
	for i := range want.Nodes {
		require.Equal(t, want.Nodes[i].ID, got.Nodes[i].ID)
	}
	for i := range want.Rules {
		require.Equal(t, want.Rules[i].ID, got.Rules[i].ID)
		require.Equal(t, want.Rules[i].Pos, got.Rules[i].Pos)
	}
	assert.True(t, reflect.DeepEqual(want, got))
	// That the comparison sees a difference as small as there is.
	got.Rules[len(got.Rules)-1].Pos.Column++
	assert.False(t, reflect.DeepEqual(want, got))
}

// Conditions of a snapshot hold where those of the packs hold.
func TestSnapshotConditions(t *testing.T) {
	layers := [][]Text{Embedded()}
	var faults source.Faults
	want := loadPacks(hashOf(layers), layers, &faults)
	got := Load(&faults, layers...)
	require.NotNil(t, got)
	truths := map[Truth]int{}
	for _, facts := range []map[string]any{
		nil,
		{"engine.fuel": "diesel", "engine.timing_drive": "chain", "engine.cooling": "liquid", "engine.cycle": "four-stroke"},
		{"engine.fuel": "petrol", "engine.timing_drive": "belt", "engine.cooling": "air", "history.rebuilt": true, "engine.turbo": true},
	} {
		for i, c := range condsOf(want) {
			truth := c.Eval(facts)
			assert.Equal(t, truth, condsOf(got)[i].Eval(facts), c.Text)
			truths[truth]++
		}
	}
	assert.Len(t, truths, 3)
}

// For anything but the very packs that it was made of, a snapshot is no help.
func TestSnapshotIsOfItsPacksAlone(t *testing.T) {
	var faults source.Faults
	built := Embedded()
	hash := hashOf([][]Text{built})
	require.NotNil(t, fromSnapshot(builtIn, hash, [][]Text{built}, &faults))
	assert.Nil(t, fromSnapshot(builtIn, hash, [][]Text{built, nil}, &faults))
	assert.Nil(t, fromSnapshot(builtIn, hash, nil, &faults))
	assert.Nil(t, fromSnapshot(builtIn, hash[1:]+"0", [][]Text{built}, &faults))
	assert.Nil(t, fromSnapshot("", hash, [][]Text{built}, &faults))

	// The same texts in a folder are told by the names that they have there.
	moved := slices.Clone(built)
	for i := range moved {
		moved[i].Name = "own/" + moved[i].Name
	}
	b := Load(&faults, moved)
	require.NotNil(t, b)
	assert.Equal(t, hash, b.Hash)
	assert.Equal(t, "own/"+Load(&faults, built).Rules[0].Pos.File, b.Rules[0].Pos.File)

	// A changed text is read.
	changed := slices.Clone(built)
	changed[0].Bytes = append(slices.Clone(changed[0].Bytes), "\n[part.zz_new]\nname = \"new\"\n"...)
	b = Load(&faults, changed)
	require.NotNil(t, b)
	assert.NotNil(t, b.Part("zz_new"))
	assert.NotEqual(t, hash, b.Hash)
}

// A snapshot that is cut off is refused, and a broken one does no harm.
func TestBrokenSnapshot(t *testing.T) {
	layers := [][]Text{{{"base.toml", []byte(base)}}}
	hash := hashOf(layers)
	var faults source.Faults
	data := writeSnapshot(t, loadPacks(hash, layers, &faults), layers[0], nil)
	require.NotNil(t, fromSnapshot(data, hash, layers, &faults))
	for n := range data {
		assert.Nil(t, fromSnapshot(data[:n], hash, layers, &faults))
		for _, c := range []byte{0, 1, 0x7f, 0xff} {
			fromSnapshot(data[:n]+string([]byte{c})+data[n+1:], hash, layers, &faults)
		}
	}
	assert.Nil(t, fromSnapshot(data+"\x00", hash, layers, &faults))
}

// condsOf lists the conditions of a book, in its order.
func condsOf(b *Book) []*Cond {
	var out []*Cond
	add := func(c *Cond) {
		if c != nil {
			out = append(out, c)
		}
	}
	for _, p := range b.Parts {
		add(p.When)
	}
	for _, s := range b.Signs {
		add(s.When)
	}
	for _, n := range b.Nodes {
		add(n.When)
		add(n.Given)
		for _, need := range n.Needs {
			add(need.When)
		}
	}
	for _, r := range b.Rules {
		add(r.When)
	}
	for _, q := range b.Quantities {
		for _, l := range q.Limits {
			add(l.When)
		}
	}
	return out
}

// formulasOf lists the formulas and tests of a book, in its order.
func formulasOf(b *Book) (formulas []*Formula, tests []*Test) {
	add := func(f *Formula) {
		if f != nil {
			formulas = append(formulas, f)
		}
	}
	for _, q := range b.Quantities {
		add(q.Formula)
		for _, l := range q.Limits {
			add(l.Min)
			add(l.Max)
		}
	}
	for _, s := range b.Signs {
		if s.Test != nil {
			tests = append(tests, s.Test)
			add(s.Test.Left)
			add(s.Test.Right)
		}
	}
	return formulas, tests
}

// snapshotWriter writes what snapshotReader reads.
type snapshotWriter struct {
	t     testing.TB
	out   []byte
	texts map[string]int
	table []string
	at    map[any]int // of a thing that others point at: its number, from 1
}

func writeSnapshot(t testing.TB, b *Book, texts []Text, warnings []source.Fault) string {
	w := &snapshotWriter{t: t, texts: map[string]int{}, at: map[any]int{}}
	h := head{Shape: shapeOf(), Hash: b.Hash, Parts: len(b.Parts), Signs: len(b.Signs), Nodes: len(b.Nodes), Rules: len(b.Rules)}
	for _, text := range texts {
		h.Names = append(h.Names, text.Name)
	}
	var conds []*Cond
	for _, c := range condsOf(b) {
		if w.at[c] == 0 {
			conds = append(conds, c)
			w.at[c] = len(conds)
		}
	}
	h.Conds = len(conds)
	for i, x := range b.Parts {
		w.at[x] = i + 1
	}
	for i, x := range b.Signs {
		w.at[x] = i + 1
	}
	for i, x := range b.Nodes {
		w.at[x] = i + 1
	}
	for i, x := range b.Rules {
		w.at[x] = i + 1
	}
	for i, x := range b.Instruments {
		w.at[x] = i + 1
	}
	for i, x := range b.Quantities {
		w.at[x] = i + 1
	}
	formulas, tests := formulasOf(b)
	for i, x := range formulas {
		w.at[x] = i + 1
	}
	for i, x := range tests {
		w.at[x] = i + 1
	}
	h.Instruments, h.Quantities, h.Formulas, h.Tests = len(b.Instruments), len(b.Quantities), len(formulas), len(tests)
	w.value(reflect.ValueOf(h))
	each(w, conds)
	each(w, b.Parts)
	each(w, b.Signs)
	each(w, b.Nodes)
	each(w, b.Rules)
	each(w, b.Instruments)
	each(w, b.Quantities)
	each(w, formulas)
	each(w, tests)
	w.value(reflect.ValueOf(b).Elem())
	w.value(reflect.ValueOf(warnings))

	out := binary.AppendUvarint(nil, uint64(len(w.table)))
	for _, s := range w.table {
		out = binary.AppendUvarint(out, uint64(len(s)))
	}
	return string(out) + strings.Join(w.table, "") + string(w.out)
}

func each[T any](w *snapshotWriter, list []*T) {
	for _, x := range list {
		w.value(reflect.ValueOf(x).Elem())
	}
}

func (w *snapshotWriter) number(n uint64) { w.out = binary.AppendUvarint(w.out, n) }

func (w *snapshotWriter) text(s string) {
	i, ok := w.texts[s]
	if !ok {
		i = len(w.table)
		w.texts[s] = i
		w.table = append(w.table, s)
	}
	w.number(uint64(i))
}

func (w *snapshotWriter) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		w.text(v.String())
	case reflect.Bool:
		w.number(map[bool]uint64{true: 1}[v.Bool()])
	case reflect.Int:
		w.number(uint64(v.Int()))
	case reflect.Float64:
		w.out = binary.BigEndian.AppendUint64(w.out, math.Float64bits(v.Float()))
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				w.value(v.Field(i))
			}
		}
	case reflect.Slice:
		if v.IsNil() {
			w.number(0)
			return
		}
		w.number(uint64(v.Len() + 1))
		for i := range v.Len() {
			w.value(v.Index(i))
		}
	case reflect.Map:
		if v.IsNil() {
			w.number(0)
			return
		}
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		w.number(uint64(len(keys) + 1))
		for _, k := range keys {
			w.value(k)
			w.value(v.MapIndex(k))
		}
	case reflect.Interface:
		w.plain(v.Interface())
	case reflect.Pointer:
		switch v.Interface().(type) {
		case *Part, *Sign, *Node, *Rule, *Cond, *Instrument, *Quantity, *Formula, *Test:
			n := 0
			if !v.IsNil() {
				n = w.at[v.Interface()]
				require.NotZero(w.t, n, "%v is not in the book", v)
			}
			w.number(uint64(n))
		default:
			require.False(w.t, v.IsNil())
			w.value(v.Elem())
		}
	default:
		w.t.Fatalf("a book cannot hold a %s", v.Type())
	}
}

func (w *snapshotWriter) plain(x any) {
	switch x := x.(type) {
	case string:
		w.number(plainText)
		w.text(x)
	case int64:
		w.number(plainInt)
		w.number(uint64(x))
	case float64:
		w.number(plainFloat)
		w.value(reflect.ValueOf(x))
	case bool:
		w.number(plainBool)
		w.value(reflect.ValueOf(x))
	case []any:
		w.number(plainList)
		w.number(uint64(len(x)))
		for _, e := range x {
			w.plain(e)
		}
	default:
		w.t.Fatalf("a fact of an example cannot be %T", x)
	}
}
