package engine

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// TestScoresByTheirMemory holds that cases are scored with as much memory as is said: an
// entangled one comes out a little otherwise with a megabyte.
func TestScoresByTheirMemory(t *testing.T) {
	var faults source.Faults
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	const file = "../testdata/published/P054.toml"
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	c, ok := evidence.Parse(file, text, &faults)
	require.True(t, ok, faults.Error())
	var blames []float64
	for _, opt := range []Options{{}, {Memory: DefaultMemory}, {Memory: 1 << 20}} {
		n := 0
		s, err := ScoreCases(t.Context(), book, []*evidence.Case{c}, opt, func(k int) { n = k })
		require.NoError(t, err)
		require.Equal(t, 1, n)
		require.Len(t, s.Cases, 1)
		require.Empty(t, s.Cases[0].Error)
		blames = append(blames, s.Cases[0].Blame)
	}
	require.Equal(t, blames[0], blames[1])
	require.InDelta(t, blames[0], blames[2], 0.3)
	require.Greater(t, max(blames[0]-blames[2], blames[2]-blames[0]), 1e-6)
}
