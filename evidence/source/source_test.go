package source

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPlaces(t *testing.T) {
	const text = `# a comment
[case]
id = "x"
ncylinders = 4

[finding.F01]
sign = "rod.bent"
at = ["rod 1", "rod 9",
      "rod 3"]
[finding.F02]
  state = 3
[rule]
a.b.c = { how_often = 1.3, because = "é" }
list = [ { x = 1 }, { x = "]" }, 
  { x = 3 } ]
`
	var fs Faults
	root, ok := Parse("case.toml", []byte(text), &fs)
	require.True(t, ok)
	assert.Equal(t, []string{"case", "finding", "rule"}, root.Keys())
	at := func(p Position) string { return strings.TrimPrefix(p.String(), "case.toml:") }

	c := root.Table("case")
	assert.Equal(t, "2:", at(c.Position())[:2])
	assert.Equal(t, "x", c.String("id"))
	assert.Equal(t, "4:1", at(c.Pos("ncylinders")))
	c.Has("cylinders")
	c.Done()

	f := root.Table("finding")
	f1 := f.Table("F01")
	assert.Equal(t, "6:", at(f1.Position())[:2])
	assert.Equal(t, []string{"rod 1", "rod 9", "rod 3"}, f1.Strings("at"))
	assert.Equal(t, "8:16", at(f1.ValuePos("at", 1)))
	assert.Equal(t, "9:7", at(f1.ValuePos("at", 2)))
	f2 := f.Table("F02")
	f2.String("state")

	r := root.Table("rule").Table("a").Table("b").Table("c")
	assert.Equal(t, "13:11", at(r.Pos("how_often")))
	items := root.Table("rule").Tables("list")
	require.Len(t, items, 3)
	assert.Equal(t, "14:10", at(items[0].Position()))
	assert.Equal(t, "14:21", at(items[1].Position()))
	assert.Equal(t, "15:3", at(items[2].Position()))

	assert.Equal(t, `case.toml:4:1: [case] has no key "ncylinders" (did you mean "cylinders"?)
case.toml:11:3: state must be a text in quotes, and is the number 3`, fs.Error())
}

func TestRefused(t *testing.T) {
	for name, tc := range map[string]struct{ text, want string }{
		"latin1":  {"a = 1\nb = \"caf\xe9\"\n", "f:2:9: is not UTF-8 text (save it as UTF-8)"},
		"syntax":  {"[case]\nid = \n", "f:2:6: expected value but found '\\n' instead"},
		"nesting": {"a = " + strings.Repeat("[", 4000000), "f:1:69: brackets are nested more than 64 deep"},
		"twice":   {"[a]\nx = 1\n[a]\n", "f:3:2: Key 'a' has already been defined."},
	} {
		t.Run(name, func(t *testing.T) {
			var fs Faults
			_, ok := Parse("f", []byte(tc.text), &fs)
			assert.False(t, ok)
			assert.Equal(t, tc.want, fs.Error())
		})
	}
}

func TestReadFileRefuses(t *testing.T) {
	var fs Faults
	_, ok := ReadFile(t.TempDir()+"/none.toml", &fs)
	assert.False(t, ok)
	_, ok = ReadFile(t.TempDir(), &fs)
	assert.False(t, ok)
	assert.Equal(t, 2, fs.Errors())
}

func TestSuggest(t *testing.T) {
	known := []string{"oil_pickup.screen_clogged", "rod_bearing.lining_wiped", "oil_pan.sludge"}
	assert.Equal(t, `did you mean "oil_pickup.screen_clogged"?`, Suggest("oil_pickup.screen_cloged", known))
	assert.Equal(t, "", Suggest("turbo.blue", known))
}

// Whatever the bytes, reading ends in a table or in a fault with a place.
func FuzzParse(f *testing.F) {
	f.Add([]byte("[a]\nb = [1, {c = \"x\"}]\n"))
	f.Add([]byte("a.b.\"c d\" = '''x\ny'''\n[[t]]\nx=1"))
	f.Add([]byte("t = [[{a=1}], {'b' = 1979-05-27 07:32:00, c.\"\\u0041\" = [ # ]\n '\"' ]}]\n[x]\n[[x.y]]\nz={}\n[x.y.w]\nv=+inf"))
	f.Add([]byte("0=[[],{''=0}]"))
	f.Fuzz(func(t *testing.T, text []byte) {
		var fs Faults
		root, ok := Parse("f", text, &fs)
		if !ok {
			if fs.Errors() == 0 {
				t.Fatal("refused without a fault")
			}
			return
		}
		// Of a list that mixes tables with other things the library leaves out
		// some, so that its tables may be told at their list.
		var walk func(tb *Table, listed bool)
		walk = func(tb *Table, listed bool) {
			for _, k := range tb.Keys() {
				if p := tb.Pos(k); p.Line < 1 || p.Column < 1 {
					t.Fatalf("no place for %q", k)
				}
				if !listed && (tb.node == nil || tb.node.kids[k] == nil) {
					t.Fatalf("no key %q in the index", k)
				}
				tb.ValuePos(k, 1)
				tb.TextPos(k, 2)
				tb.Strings(k)
				_, one := tb.Any(k).(map[string]any)
				for _, s := range tb.Tables(k) {
					walk(s, listed || !one)
				}
			}
			tb.Done()
		}
		walk(root, false)
	})
}

// A table that exists only because another stands in it is told where that one
// stands.
func TestUnknownTableByImplication(t *testing.T) {
	var fs Faults
	root, ok := Parse("f", []byte("[case]\n[findings.F1]\nsign = \"a.b\"\n"), &fs)
	require.True(t, ok)
	root.Has("finding")
	root.Table("case")
	root.Done()
	require.Len(t, fs.List(), 1)
	assert.Equal(t, 2, fs.List()[0].Line)
	assert.Equal(t, `did you mean "finding"?`, fs.List()[0].Hint)
}
