package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"tidemark/evidence"
)

// TestScoresByTheirMemory holds that cases are scored with as much memory as is said: an
// entangled one comes out a little otherwise with a megabyte.
func TestScoresByTheirMemory(t *testing.T) {
	c := published(t, "P054")
	var blames []float64
	for _, opt := range []Options{{}, {Memory: DefaultMemory}, {Memory: 1 << 20}} {
		n := 0
		s, err := ScoreCases(t.Context(), wholeBook(), []*evidence.Case{c}, opt, func(k int) { n = k })
		require.NoError(t, err)
		require.Equal(t, 1, n)
		require.Len(t, s.Cases, 1)
		require.Empty(t, s.Cases[0].Error)
		blames = append(blames, s.Cases[0].Blame)
	}
	require.Equal(t, blames[0], blames[1])
	require.InDelta(t, blames[0], blames[2], 0.3)
	require.Greater(t, math.Abs(blames[0]-blames[2]), 1e-6)
}
