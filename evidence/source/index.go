package source

import (
	"bytes"
	"math"
	"sort"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// node is where a key of a document stands. The TOML library keeps one place a
// path, so that all elements of a list share that of the last, and tells it
// only by an error that reads the whole text again: the places are gathered
// here in one walk over a text that the library has accepted.
type node struct {
	at      int  // where a reader looks: the key, or the bracket of its table
	value   int  // where its value begins: inside the quotes or bracket
	first   int  // its number among the keys of the document, from 1, where it first stands
	rank    int  // the same where it is stated; 0 where it stands by implication alone
	inline  bool // the key stands in { … }
	element bool // it is a table of a list
	kids    map[string]*node
	items   []*node // tables of a list; nil at elements that are none
}

// order is the rank of a key among those of its table.
func (n *node) order() int {
	switch {
	case n == nil:
		return math.MaxInt
	case n.rank > 0:
		return n.rank
	}
	return n.first
}

// indexer walks a text. What it cannot make out it leaves out, and faults are
// then told at the table around it.
type indexer struct {
	text []byte
	i    int
	rank int
}

func index(text []byte) *node {
	x := &indexer{text: text}
	root := &node{}
	table := root
	for x.i < len(x.text) {
		switch c := x.text[x.i]; c {
		case ' ', '\t', '\r', '\n':
			x.i++
		case '#':
			x.i = skip(x.text, x.i)
		case '[':
			table = x.header(root)
		default:
			x.pair(table, false)
		}
	}
	return root
}

// header reads [a.b] or [[a.b]] and returns the table that it opens.
func (x *indexer) header(root *node) *node {
	start := x.i
	x.i++
	list := x.peek() == '['
	if list {
		x.i++
	}
	parts, _ := x.key()
	for x.peek() == ']' {
		x.i++
	}
	n := root
	for _, p := range parts {
		if k := len(n.items); k > 0 && n.items[k-1] != nil {
			n = n.items[k-1]
		}
		n = x.kid(n, p)
	}
	if !list {
		x.state(n, start, start, false)
		return n
	}
	if len(n.items) == 0 {
		x.state(n, start, start, false)
	}
	item := &node{at: start, value: start, element: true}
	n.items = append(n.items, item)
	return item
}

func (x *indexer) kid(n *node, name string) *node {
	k := n.kids[name]
	if k == nil {
		if n.kids == nil {
			n.kids = map[string]*node{}
		}
		x.rank++
		k = &node{first: x.rank}
		n.kids[name] = k
	}
	return k
}

func (x *indexer) state(n *node, at, value int, inline bool) {
	n.at, n.value, n.inline = at, value, inline
	if n.rank == 0 {
		x.rank++
		n.rank = x.rank
	}
}

// pair reads key = value.
func (x *indexer) pair(table *node, inline bool) {
	begin := x.i
	parts, at := x.key()
	if x.peek() == '=' {
		x.i++
	}
	n := table
	for _, p := range parts {
		n = x.kid(n, p)
	}
	if len(parts) > 0 {
		x.state(n, at, at, inline)
	}
	x.blank(false)
	n.value = x.val(n)
	if x.i == begin {
		x.i++ // whatever it is, the walk goes on
	}
}

// key reads a dotted key, and tells where its last part begins.
func (x *indexer) key() (parts []string, at int) {
	for {
		x.blank(false)
		at = x.i
		switch c := x.peek(); c {
		case '"', '\'':
			end := skip(x.text, x.i)
			parts = append(parts, unquote(x.text[x.i:end]))
			x.i = end
			at++
		default:
			for x.i < len(x.text) && bareKey(x.text[x.i]) {
				x.i++
			}
			if x.i > at {
				parts = append(parts, string(x.text[at:x.i]))
			}
		}
		x.blank(false)
		if x.peek() != '.' {
			return parts, at
		}
		x.i++
	}
}

func bareKey(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c == '-'
}

// unquote reads a quoted key. One with escapes, which nobody writes, is left to
// the library.
func unquote(quoted []byte) string {
	if len(quoted) < 2 {
		return ""
	}
	inner := quoted[1 : len(quoted)-1]
	if quoted[0] == '"' && bytes.IndexByte(inner, '\\') >= 0 {
		var v struct{ K string }
		if _, err := toml.Decode("K = "+string(quoted), &v); err == nil {
			return v.K
		}
	}
	return string(inner)
}

// val reads a value, gathers the keys of tables in it under n, and tells where
// it begins.
func (x *indexer) val(n *node) int {
	switch c := x.peek(); c {
	case '"', '\'':
		start := x.i + 1
		if bytes.HasPrefix(x.text[x.i:], []byte{c, c, c}) {
			start += 2
		}
		x.i = skip(x.text, x.i)
		return start
	case '[':
		x.i++
		start := x.i
		for x.more(']') {
			before := x.i
			var item *node
			into := n // which a plain value leaves alone
			switch x.text[x.i] {
			case '{':
				item = &node{at: x.i, element: true}
				into = item
			case '[':
				into = &node{} // the keys in a list of lists cannot be asked for
			}
			n.items = append(n.items, item)
			if begin := x.val(into); item != nil {
				item.value = begin
			}
			if x.i == before {
				x.i++
			}
		}
		return start
	case '{':
		x.i++
		start := x.i
		for x.more('}') {
			x.pair(n, true)
		}
		return start
	}
	start := x.i
	for x.i < len(x.text) && bytes.IndexByte([]byte(",]}#\n"), x.text[x.i]) < 0 {
		x.i++
	}
	return start
}

// more goes to the next element of a list or table; false, and past the
// bracket, at its end.
func (x *indexer) more(end byte) bool {
	for {
		x.blank(true)
		switch c := x.peek(); {
		case x.i >= len(x.text):
			return false
		case c == '#':
			x.i = skip(x.text, x.i)
		case c == ',':
			x.i++
		case c == end:
			x.i++
			return false
		default:
			return true
		}
	}
}

func (x *indexer) peek() byte {
	if x.i < len(x.text) {
		return x.text[x.i]
	}
	return 0
}

func (x *indexer) blank(lines bool) {
	for x.i < len(x.text) {
		switch c := x.text[x.i]; {
		case c == ' ', c == '\t', lines && (c == '\n' || c == '\r'):
			x.i++
		default:
			return
		}
	}
}

// lineStarts lists where the lines of a text begin.
func lineStarts(text []byte) []int {
	starts := make([]int, 1, 1+bytes.Count(text, []byte("\n")))
	for i, c := range text {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	return starts
}

// place turns a byte offset into line and column.
func (d *document) place(offset int) Position {
	if d.lines == nil {
		d.lines = lineStarts(d.text)
	}
	offset = max(0, min(offset, len(d.text)))
	line := sort.SearchInts(d.lines, offset+1)
	return Position{File: d.name, Line: line, Column: 1 + utf8.RuneCount(d.text[d.lines[line-1]:offset])}
}
