package source

import (
	"bytes"
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
	path   []string
	values map[string]any
	prims  map[string]toml.Primitive
	asked  map[string]bool
	pos    Position
}

type document struct {
	name   string
	text   []byte
	md     toml.MetaData
	order  map[string]int // dotted path → rank in the document
	faults *Faults
}

// Parse reads TOML text into its root table. A syntax error is noted in
// faults and ok is false; the TOML library stops at the first of them.
func Parse(name string, text []byte, faults *Faults) (root *Table, ok bool) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	if i := invalidUTF8(text); i >= 0 {
		faults.Add(place(name, text, i), "save it as UTF-8", "is not UTF-8 text")
		return nil, false
	}
	if i := tooDeep(text); i >= 0 {
		faults.Add(place(name, text, i), "", "brackets are nested more than %d deep", maxDepth)
		return nil, false
	}
	d := &document{name: name, text: text, order: map[string]int{}, faults: faults}
	values := map[string]any{}
	if _, err := toml.Decode(string(text), &values); err != nil {
		d.syntax(err)
		return nil, false
	}
	prims := map[string]toml.Primitive{}
	md, err := toml.Decode(string(text), &prims)
	if err != nil {
		d.syntax(err)
		return nil, false
	}
	d.md = md
	for i, k := range md.Keys() {
		p := strings.Join(k, "\x00")
		if _, seen := d.order[p]; !seen {
			d.order[p] = i
		}
	}
	return &Table{doc: d, values: values, prims: prims, asked: map[string]bool{}, pos: Position{File: name, Line: 1, Column: 1}}, true
}

func (d *document) syntax(err error) {
	var pe toml.ParseError
	if errors.As(err, &pe) {
		msg := pe.Message
		if msg == "" {
			msg = strings.TrimPrefix(err.Error(), "toml: ")
		}
		d.faults.Add(place(d.name, d.text, min(pe.Position.Start, len(d.text))), "", "%s", msg)
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
				return j + 3
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

// place turns a byte offset into line and column.
func place(name string, text []byte, offset int) Position {
	offset = max(0, min(offset, len(text)))
	before := text[:offset]
	line := 1 + bytes.Count(before, []byte("\n"))
	start := bytes.LastIndexByte(before, '\n') + 1
	return Position{File: name, Line: line, Column: 1 + utf8.RuneCount(before[start:])}
}

// located is a type that never decodes: its error carries the place, which
// the TOML library tells in no other way.
type located struct{}

var errLocate = errors.New("located")

func (*located) UnmarshalTOML(any) error { return errLocate }

// offset is the byte where the value of key begins, or -1.
func (t *Table) offset(key string) int {
	prim, ok := t.prims[key]
	if !ok {
		return -1
	}
	var l located
	err := t.doc.md.PrimitiveDecode(prim, &l)
	var pe toml.ParseError
	if !errors.As(err, &pe) || pe.Position.Line == 0 {
		return -1
	}
	return min(pe.Position.Start, len(t.doc.text))
}

// Pos is where key stands, or where the table stands if it has no such key.
func (t *Table) Pos(key string) Position {
	o := t.offset(key)
	if o < 0 {
		return t.pos
	}
	// The library points at the value; a reader looks for the key.
	lineStart := bytes.LastIndexByte(t.doc.text[:o], '\n') + 1
	if i := bytes.LastIndex(t.doc.text[lineStart:o], []byte(key)); i >= 0 {
		o = lineStart + i
	}
	return place(t.doc.name, t.doc.text, o)
}

// ValuePos is where the value of key begins; element i of it if it is an
// array and i is not negative.
func (t *Table) ValuePos(key string, i int) Position {
	o := t.offset(key)
	if o < 0 {
		return t.pos
	}
	if i >= 0 {
		o = element(t.doc.text, o, i)
	}
	return place(t.doc.name, t.doc.text, o)
}

// element finds where element n of the array at offset o begins.
func element(text []byte, o, n int) int {
	for o > 0 && text[o] != '[' && o+1 < len(text) {
		if text[o-1] == '[' {
			o--
			break
		}
		if text[o-1] == '\n' {
			break
		}
		o--
	}
	if o >= len(text) || text[o] != '[' {
		return o
	}
	depth, at, fresh := 0, 0, true
	for i := o + 1; i < len(text); {
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

// Position is where the table begins.
func (t *Table) Position() Position { return t.pos }

// Name is the last part of the table's path: the id in [finding.F07].
func (t *Table) Name() string {
	if len(t.path) == 0 {
		return ""
	}
	return t.path[len(t.path)-1]
}

// Path is the table's dotted path.
func (t *Table) Path() string { return strings.Join(t.path, ".") }

// Keys lists the keys in the order of the document.
func (t *Table) Keys() []string {
	keys := make([]string, 0, len(t.values))
	for k := range t.values {
		keys = append(keys, k)
	}
	prefix := ""
	if len(t.path) > 0 {
		prefix = strings.Join(t.path, "\x00") + "\x00"
	}
	slices.SortFunc(keys, func(a, b string) int {
		ra, oka := t.doc.order[prefix+a]
		rb, okb := t.doc.order[prefix+b]
		if oka && okb && ra != rb {
			return ra - rb
		}
		return strings.Compare(a, b)
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
		t.doc.faults.Add(t.pos, "", "%s has no %s", t.describe(), key)
		return ""
	}
	s := t.String(key)
	if _, isText := t.values[key].(string); isText && s == "" {
		t.Fault(key, "", "%s is empty", key)
	}
	return s
}

func (t *Table) describe() string {
	if len(t.path) == 0 {
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
	s := &Table{doc: t.doc, path: append(slices.Clone(t.path), key), values: v, asked: map[string]bool{}, pos: t.Pos(key)}
	if prim, ok := t.prims[key]; ok {
		// A value that is no table leaves prims empty: positions then fall
		// back to the parent's.
		_ = t.doc.md.PrimitiveDecode(prim, &s.prims)
	}
	if t.offset(key) < 0 {
		// Tables that exist only by implication have no place of their own:
		// take that of their first key.
		for _, k := range s.Keys() {
			if p := s.Pos(k); p != s.pos {
				s.pos = p
				break
			}
		}
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

// item is element i of a list of tables. Its keys have no place of their own
// (the library keeps one place a path), so all faults point at the element.
func (t *Table) item(key string, i int, m map[string]any) *Table {
	return &Table{doc: t.doc, path: append(slices.Clone(t.path), key), values: m, asked: map[string]bool{}, pos: t.ValuePos(key, i)}
}

// Done notes every key that was never asked for, with the nearest of those
// that were.
func (t *Table) Done() {
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
			if v, ok := t.values[k].(map[string]any); ok && t.offset(k) < 0 {
				// [findings.F1] makes findings by implication alone, and it
				// stands where its own first key does.
				pos = t.sub(k, v).pos
			}
			t.doc.faults.Add(pos, Suggest(k, known), "%s has no key %q", t.describe(), k)
		}
	}
}
