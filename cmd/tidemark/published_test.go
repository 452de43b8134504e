package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// Every published case loads and holds against the book, and says what was
// confirmed. How well they come out is measured by tidemark score, and told in
// testdata/published/README.md.
func TestPublishedCases(t *testing.T) {
	var faults source.Faults
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	files, err := filepath.Glob("../../testdata/published/*.toml")
	require.NoError(t, err)
	require.Greater(t, len(files), 100)
	ids := map[string]string{}
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		var faults source.Faults
		c, ok := evidence.Parse(filepath.Base(f), text, &faults, func(c *evidence.Case, faults *source.Faults) { engine.Check(book, c, faults) })
		if !assert.True(t, ok, faults.Error()) {
			continue
		}
		assert.Equal(t, filepath.Base(f), c.ID+".toml")
		assert.Empty(t, ids[c.ID])
		ids[c.ID] = f
		assert.True(t, len(c.Confirmed.Accept) > 0 || c.Confirmed.Undetermined, "%s confirms nothing", c.ID)
	}
}
