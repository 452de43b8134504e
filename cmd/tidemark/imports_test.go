package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// layers, from the top: a package imports only from its own layer or a lower
// one. Package infer stands apart: it knows nothing of engines.
var layers = map[string]int{"cmd": 3, "engine": 2, "rules": 1, "evidence": 0}

func TestImportsPointOneWay(t *testing.T) {
	files := 0
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() || !strings.HasSuffix(path, ".go") {
			return nil
		}
		files++
		rel, err := filepath.Rel("../..", path)
		require.NoError(t, err)
		rel = filepath.ToSlash(rel)
		from := strings.Split(rel, "/")[0]
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range f.Imports {
			target, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			rest, ours := strings.CutPrefix(target, "tidemark/")
			if !ours {
				continue
			}
			to := strings.Split(rest, "/")[0]
			assert.LessOrEqual(t, layers[to], layers[from], "%s imports %s", rel, target)
			assert.False(t, strings.HasPrefix(rel, "engine/infer/") && rest != "engine/infer", "%s imports %s: inference knows nothing of engines", rel, target)
			assert.False(t, (strings.HasPrefix(rel, "evidence/quantity/") || strings.HasPrefix(rel, "evidence/source/")) && rest == "evidence", "%s imports %s: that runs upwards", rel, target)
		}
		return nil
	})
	require.NoError(t, err)
	assert.Greater(t, files, 10)
}

// The top level holds what DEVELOPERS.md names, and nothing else.
func TestTopLevel(t *testing.T) {
	allowed := map[string]bool{"cmd": true, "rules": true, "engine": true, "evidence": true, "testdata": true, "go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true}
	entries, err := os.ReadDir("../..")
	require.NoError(t, err)
	for _, e := range entries {
		assert.True(t, allowed[e.Name()] || strings.HasPrefix(e.Name(), "."), "the top level holds %s", e.Name())
	}
}
