package source

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// located never decodes: the error of the library then carries the place of
// the value, which it tells in no other way.
type located struct{}

var errLocate = errors.New("located")

func (*located) UnmarshalTOML(any) error { return errLocate }

// Wherever the library knows a place of its own for a key, it is the one that
// the index has.
func TestIndexAgreesWithTheLibrary(t *testing.T) {
	files, err := filepath.Glob("../../rules/packs/*.toml")
	require.NoError(t, err)
	for _, glob := range []string{"../../testdata/*/*.toml", "../../testdata/rules/bad/*.toml"} {
		more, err := filepath.Glob(glob)
		require.NoError(t, err)
		files = append(files, more...)
	}
	seen := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		lines := len(lineStarts(text))
		prims := map[string]toml.Primitive{}
		md, err := toml.Decode(string(text), &prims)
		if err != nil {
			continue
		}
		var walk func(path string, prims map[string]toml.Primitive, n *node)
		walk = func(path string, prims map[string]toml.Primitive, n *node) {
			// Each look-up in the library reads the whole text: of a long one,
			// every so many keys are enough.
			for key, prim := range prims {
				at := n.kids[key]
				require.NotNil(t, at, "%s: %s%s", file, path, key)
				if seen++; lines < 200 || seen%7 == 0 {
					var pe toml.ParseError
					err := md.PrimitiveDecode(prim, &located{})
					switch known := errors.As(err, &pe) && pe.Position.Line > 0; {
					case !known:
						assert.Zero(t, at.rank, "%s: %s%s", file, path, key)
					case at.inline:
						assert.Equal(t, pe.Position.Start, at.at, "%s: %s%s", file, path, key)
					default:
						assert.Equal(t, pe.Position.Start, at.value, "%s: %s%s", file, path, key)
					}
				}
				var inner map[string]toml.Primitive
				if md.PrimitiveDecode(prim, &inner) == nil {
					walk(path+key+".", inner, at)
				}
			}
		}
		walk("", prims, index(text))
	}
	assert.Greater(t, seen, 10000)
}

// Places that the library would tell as those of the last element, or not at
// all.
func TestPlacesInLists(t *testing.T) {
	const text = `[[rule]]
how = 1
[[rule]]
how = 2
[rule.inner]
x = 1
[case]
all = [ { a = "x" }, { b.c = 2, a = """"q"""", d = [[1], [2]] } ]
"k\u00e9y" = 1
'' = 2
when = '''
one
two'''
[case.deep]
"a.b" = { at = [ "x", # ] }
 "y" ], one = "#x" }
`
	var fs Faults
	root, ok := Parse("f", []byte(text), &fs)
	require.True(t, ok, fs.Error())
	at := func(p Position) string { return strings.TrimPrefix(p.String(), "f:") }
	rules := root.Tables("rule")
	require.Len(t, rules, 2)
	assert.Equal(t, "1:1", at(root.Pos("rule")))
	assert.Equal(t, "1:1", at(rules[0].Position()))
	assert.Equal(t, "2:1", at(rules[0].Pos("how")))
	assert.Equal(t, "3:1", at(rules[1].Position()))
	assert.Equal(t, "4:7", at(rules[1].ValuePos("how", -1)))
	assert.Equal(t, "6:1", at(rules[1].Table("inner").Pos("x")))

	c := root.Table("case")
	all := c.Tables("all")
	require.Len(t, all, 2)
	assert.Equal(t, "8:9", at(all[0].Position()))
	assert.Equal(t, "8:11", at(all[0].Pos("a")))
	assert.Equal(t, "8:22", at(all[1].Position()))
	assert.Equal(t, "8:26", at(all[1].Table("b").Pos("c")))
	assert.Equal(t, "8:26", at(all[1].Table("b").Position()))
	assert.Equal(t, "8:33", at(all[1].Pos("a")))
	assert.Equal(t, "8:48", at(all[1].Pos("d")))
	assert.Equal(t, "8:58", at(all[1].ValuePos("d", 1)))
	assert.Equal(t, "9:2", at(c.Pos("kéy")))
	assert.Equal(t, "10:2", at(c.Pos("")))
	assert.Equal(t, "13:2", at(c.TextPos("when", len("one\nt"))))
	assert.Equal(t, "16:2", at(c.Table("deep").Table("a.b").ValuePos("at", 1)))
	assert.Equal(t, "16:16", at(c.Table("deep").Table("a.b").ValuePos("one", 0)))
	assert.Equal(t, "15:17", at(c.Table("deep").Table("a.b").TextPos("at", 0)))
	assert.Equal(t, []string{"all", "kéy", "", "when", "deep"}, c.Keys())
}

// Quotes at the end of a text in triple quotes hide nothing that follows.
func TestDepthBehindQuotes(t *testing.T) {
	for _, q := range []string{`"""a""""`, `'''a'''''`, `""""""""`, `"""a\""""`} {
		var fs Faults
		_, ok := Parse("f", []byte("x = ["+q+", "+strings.Repeat("[", 100000)), &fs)
		assert.False(t, ok)
		assert.Contains(t, fs.Error(), "brackets are nested more than 64 deep", q)
	}
}
