package source

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// MaxSize is the largest file that is read, in bytes. A case with a thousand
// findings is some 200 kB.
const MaxSize = 8 << 20

// maxDepth bounds nested brackets, so that a hostile file cannot exhaust the
// stack of the parser.
const maxDepth = 64

// ReadFile reads a text file, refusing what cannot be one. What is wrong is
// noted in faults and ok is false.
func ReadFile(path string, faults *Faults) (text []byte, ok bool) {
	pos := Position{File: path}
	f, err := os.Open(path)
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		faults.Add(pos, "", "cannot be read: %v", err)
		return nil, false
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && st.IsDir() {
		faults.Add(pos, "give the file itself", "is a folder")
		return nil, false
	}
	text, err = io.ReadAll(io.LimitReader(f, MaxSize+1))
	if err != nil {
		faults.Add(pos, "", "cannot be read: %v", err)
		return nil, false
	}
	if len(text) > MaxSize {
		faults.Add(pos, "is this the right file?", "is larger than %d MB, which no such file needs to be", MaxSize>>20)
		return nil, false
	}
	return text, true
}

// Table is a TOML table being read. Ask for keys with the methods below; Done
// reports what was never asked for.
type Table struct {
	doc    *document
	parent *Table
	name   string
	values map[string]any
	node   *node // nil where the places of its keys are not known
	asked  map[string]bool
}

type document struct {
	name   string
	text   []byte
	lines  []int // where each begins; nil until a place is asked for
	faults *Faults
}

// Parse reads TOML text into its root table. A syntax error is noted in
// faults and ok is false; the TOML library stops at the first of them.
func Parse(name string, text []byte, faults *Faults) (root *Table, ok bool) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	d := &document{name: name, text: text, faults: faults}
	if i := invalidUTF8(text); i >= 0 {
		faults.Add(d.place(i), "save it as UTF-8", "is not UTF-8 text")
		return nil, false
	}
	if i := tooDeep(text); i >= 0 {
		faults.Add(d.place(i), "", "brackets are nested more than %d deep", maxDepth)
		return nil, false
	}
	values := map[string]any{}
	if _, err := toml.Decode(string(text), &values); err != nil {
		d.syntax(err)
		return nil, false
	}
	return &Table{doc: d, values: values, node: index(text), asked: map[string]bool{}}, true
}

func (d *document) syntax(err error) {
	var pe toml.ParseError
	if errors.As(err, &pe) {
		msg := pe.Message
		if msg == "" {
			msg = strings.TrimPrefix(err.Error(), "toml: ")
		}
		d.faults.Add(d.place(pe.Position.Start), "", "%s", msg)
		return
	}
	d.faults.Add(Position{File: d.name}, "", "%v", err)
}

func invalidUTF8(text []byte) int {
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
	return -1
}

// tooDeep scans brackets outside strings and comments.
func tooDeep(text []byte) int {
	depth := 0
	for i := 0; i < len(text); {
		switch c := text[i]; c {
		case '#', '"', '\'':
			i = skip(text, i)
			continue
		case '[', '{':
			if depth++; depth > maxDepth {
				return i
			}
		case ']', '}':
			depth = max(0, depth-1)
		}
		i++
	}
	return -1
}

// skip returns the index after the comment or string that begins at i.
func skip(text []byte, i int) int {
	q := text[i]
	if q == '#' {
		if n := bytes.IndexByte(text[i:], '\n'); n >= 0 {
			return i + n
		}
		return len(text)
	}
	triple := bytes.Repeat([]byte{q}, 3)
	if bytes.HasPrefix(text[i:], triple) {
		for j := i + 3; j < len(text); j++ {
			if q == '"' && text[j] == '\\' {
				j++
			} else if bytes.HasPrefix(text[j:], triple) {
				// A text may end in one or two quotes of its own.
				j += 3
				for end := min(j+2, len(text)); j < end && text[j] == q; {
					j++
				}
				return j
			}
		}
		return len(text)
	}
	for j := i + 1; j < len(text) && text[j] != '\n'; j++ {
		if q == '"' && text[j] == '\\' {
			j++
		} else if text[j] == q {
			return j + 1
		}
	}
	if n := bytes.IndexByte(text[i:], '\n'); n >= 0 {
		return i + n
	}
	return len(text)
}

// stated is where a key of the table stands; nil where it stands only by
// implication, or not at all.
func (t *Table) stated(key string) *node {
	if t.node == nil {
		return nil
	}
	if n := t.node.kids[key]; n != nil && n.rank > 0 {
		return n
	}
	return nil
}

// Pos is where key stands, or where the table stands if it has no such key.
func (t *Table) Pos(key string) Position {
	if n := t.stated(key); n != nil {
		return t.doc.place(n.at)
	}
	return t.Position()
}

// ValuePos is where the value of key begins; element i of it if it is an
// array and i is not negative. In { … } the key stands close enough.
func (t *Table) ValuePos(key string, i int) Position {
	n := t.stated(key)
	switch {
	case n == nil:
		return t.Position()
	case i >= 0 && i < len(n.items) && n.items[i] != nil:
		return t.doc.place(n.items[i].at)
	case i >= 0:
		return t.doc.place(element(t.doc.text, n.value, i))
	case n.inline:
		return t.doc.place(n.at)
	}
	return t.doc.place(n.value)
}

// TextPos is where character i of the text of key stands.
func (t *Table) TextPos(key string, i int) Position {
	n := t.stated(key)
	if n == nil {
		return t.Position()
	}
	o := n.value
	if bytes.HasSuffix(t.doc.text[:o], []byte("'''")) || bytes.HasSuffix(t.doc.text[:o], []byte(`"""`)) {
		// A line break right after the quotes is no part of the text.
		o += len(t.doc.text[o:]) - len(bytes.TrimPrefix(bytes.TrimPrefix(t.doc.text[o:], []byte("\r")), []byte("\n")))
	}
	for ; i > 0 && o < len(t.doc.text); i-- {
		_, size := utf8.DecodeRune(t.doc.text[o:])
		o += size
	}
	return t.doc.place(o)
}

// element finds where element n of the array that opens before offset o begins.
func element(text []byte, o, n int) int {
	if o == 0 || text[o-1] != '[' {
		return o // a single value may stand for a list of one
	}
	depth, at, fresh := 0, 0, true
	for i := o; i < len(text); {
		c := text[i]
		if c == ' ' || c == '\t' || c == '\n' || c == '\r' {
			i++
			continue
		}
		if c == '#' {
			i = skip(text, i)
			continue
		}
		if fresh && depth == 0 && c != ']' && c != ',' {
			if at == n {
				return i
			}
			fresh = false
		}
		switch c {
		case '"', '\'':
			i = skip(text, i)
			continue
		case '[', '{':
			depth++
		case ']', '}':
			if depth == 0 {
				return o
			}
			depth--
		case ',':
			if depth == 0 {
				at++
				fresh = true
			}
		}
		i++
	}
	return o
}

// Position is where the table begins. One that exists only by implication has
// no place of its own, and takes that of its first key that has one.
func (t *Table) Position() Position {
	switch {
	case t.parent == nil:
		return Position{File: t.doc.name, Line: 1, Column: 1}
	case t.node != nil && (t.node.rank > 0 || t.node.element):
		return t.doc.place(t.node.at)
	}
	for _, k := range t.Keys() {
		if n := t.stated(k); n != nil {
			return t.doc.place(n.at)
		}
	}
	return t.parent.Position()
}

// Name is the last part of the table's path: the id in [finding.F07].
func (t *Table) Name() string { return t.name }

// Path is the table's dotted path.
func (t *Table) Path() string {
	if t.parent == nil || t.parent.parent == nil {
		return t.name
	}
	return t.parent.Path() + "." + t.name
}

// Keys lists the keys in the order of the document. Where none is stated, and
// all are there because others stand in them, as pump is in shows.pump.stiff,
// they come in the order of their letters.
func (t *Table) Keys() []string {
	keys := make([]string, 0, len(t.values))
	stated := false
	for k := range t.values {
		keys = append(keys, k)
		stated = stated || t.stated(k) != nil
	}
	if !stated {
		slices.Sort(keys)
		return keys
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(cmp.Compare(t.node.kids[a].order(), t.node.kids[b].order()), strings.Compare(a, b))
	})
	return keys
}

// Has tells whether the key is there, and counts it as asked for.
func (t *Table) Has(key string) bool {
	t.asked[key] = true
	_, ok := t.values[key]
	return ok
}

// Any is the plain value of a key.
func (t *Table) Any(key string) any {
	t.asked[key] = true
	return t.values[key]
}

// Fault notes a fault at a key of this table.
func (t *Table) Fault(key, hint, format string, args ...any) {
	t.doc.faults.Add(t.Pos(key), hint, format, args...)
}

// FaultAt notes a fault at the value of key, element i of it if i ≥ 0.
func (t *Table) FaultAt(key string, i int, hint, format string, args ...any) {
	t.doc.faults.Add(t.ValuePos(key, i), hint, format, args...)
}

// Warn notes a warning at a key.
func (t *Table) Warn(key, hint, format string, args ...any) {
	t.doc.faults.Warn(t.Pos(key), hint, format, args...)
}

func (t *Table) wrong(key, want string) {
	t.Fault(key, "", "%s must be %s, and is %s", key, want, kind(t.values[key]))
}

func kind(v any) string {
	switch v := v.(type) {
	case string:
		return fmt.Sprintf("the text %q", shorten(v))
	case int64, float64:
		return fmt.Sprintf("the number %v", v)
	case bool:
		return fmt.Sprintf("%v", v)
	case []any:
		return "a list"
	case map[string]any, []map[string]any:
		return "a table"
	case nil:
		return "missing"
	}
	return "a date or time"
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// String reads a text; "" if the key is not there.
func (t *Table) String(key string) string {
	v, ok := t.Any(key).(string)
	if !ok && t.Has(key) {
		t.wrong(key, "a text in quotes")
	}
	return strings.TrimSpace(v)
}

// Need reads a text that must be there.
func (t *Table) Need(key string) string {
	if !t.Has(key) {
		t.doc.faults.Add(t.Position(), "", "%s has no %s", t.describe(), key)
		return ""
	}
	s := t.String(key)
	if _, isText := t.values[key].(string); isText && s == "" {
		t.Fault(key, "", "%s is empty", key)
	}
	return s
}

func (t *Table) describe() string {
	if t.parent == nil {
		return "the file"
	}
	return "[" + t.Path() + "]"
}

// OneOf reads a text that must be one of the given words; "" if not there.
func (t *Table) OneOf(key string, words ...string) string {
	s := t.String(key)
	if s != "" && !slices.Contains(words, s) {
		t.FaultAt(key, -1, Suggest(s, words), "%s is %q, and must be one of: %s", key, s, strings.Join(words, ", "))
		return ""
	}
	return s
}

// Number reads a number; ok is false if the key is not there or is no number.
func (t *Table) Number(key string) (x float64, ok bool) {
	switch v := t.Any(key).(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	}
	if t.Has(key) {
		t.wrong(key, "a number")
	}
	return 0, false
}

// Int reads a whole number; ok is false if the key is not there or is none.
func (t *Table) Int(key string) (n int, ok bool) {
	if v, ok := t.Any(key).(int64); ok {
		return int(v), true
	}
	if t.Has(key) {
		t.wrong(key, "a whole number")
	}
	return 0, false
}

// Bool reads true or false.
func (t *Table) Bool(key string) bool {
	v, ok := t.Any(key).(bool)
	if !ok && t.Has(key) {
		t.wrong(key, "true or false")
	}
	return v
}

// Strings reads a list of texts; a single text counts as a list of one.
func (t *Table) Strings(key string) []string {
	switch v := t.Any(key).(type) {
	case string:
		return []string{strings.TrimSpace(v)}
	case []any:
		out := make([]string, 0, len(v))
		for i, e := range v {
			s, ok := e.(string)
			if !ok {
				t.FaultAt(key, i, "", "%s must be a list of texts, and holds %s", key, kind(e))
				continue
			}
			out = append(out, strings.TrimSpace(s))
		}
		return out
	}
	if t.Has(key) {
		t.wrong(key, "a text or a list of texts")
	}
	return nil
}

// Table reads a sub-table; nil if it is not there.
func (t *Table) Table(key string) *Table {
	v, ok := t.Any(key).(map[string]any)
	if !ok {
		if t.Has(key) {
			t.wrong(key, "a table")
		}
		return nil
	}
	return t.sub(key, v)
}

func (t *Table) sub(key string, v map[string]any) *Table {
	s := &Table{doc: t.doc, parent: t, name: key, values: v, asked: map[string]bool{}}
	if t.node != nil {
		s.node = t.node.kids[key]
	}
	return s
}

// Tables reads one table or a list of tables, as rules are written.
func (t *Table) Tables(key string) []*Table {
	switch v := t.Any(key).(type) {
	case map[string]any:
		return []*Table{t.sub(key, v)}
	case []map[string]any:
		out := make([]*Table, len(v))
		for i, m := range v {
			out[i] = t.item(key, i, m)
		}
		return out
	case []any:
		var out []*Table
		for i, e := range v {
			m, ok := e.(map[string]any)
			if !ok {
				t.FaultAt(key, i, "", "%s must hold tables { … }, and holds %s", key, kind(e))
				continue
			}
			out = append(out, t.item(key, i, m))
		}
		return out
	}
	if t.Has(key) {
		t.wrong(key, "a table { … } or a list of them")
	}
	return nil
}

// item is element i of a list of tables.
func (t *Table) item(key string, i int, m map[string]any) *Table {
	s := t.sub(key, m)
	if n := s.node; n != nil && i < len(n.items) {
		s.node = n.items[i]
	}
	return s
}

// Done notes every key that was never asked for, with the nearest of those
// that were.
func (t *Table) Done() {
	unknown := false
	for k := range t.values {
		unknown = unknown || !t.asked[k]
	}
	if !unknown {
		return
	}
	known := make([]string, 0, len(t.asked))
	for k := range t.asked {
		if _, there := t.values[k]; !there {
			known = append(known, k)
		}
	}
	slices.Sort(known)
	for _, k := range t.Keys() {
		if !t.asked[k] {
			pos := t.Pos(k)
			if v, ok := t.values[k].(map[string]any); ok {
				// [findings.F1] makes findings by implication alone, and it
				// stands where its own first key does.
				pos = t.sub(k, v).Position()
			}
			t.doc.faults.Add(pos, Suggest(k, known), "%s has no key %q", t.describe(), k)
		}
	}
}
