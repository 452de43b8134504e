package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestRoundingTellsNothing holds that chances which differ by rounding alone stand alike and
// are no decibans apart.
func TestRoundingTellsNothing(t *testing.T) {
	for _, p := range []float64{1e-4, 0.1, 0.5, 0.99} {
		near := p * (1 + 1e-13)
		require.Zero(t, order(p, near))
		require.Zero(t, rise(p, near))
		require.Equal(t, 1, order(p+1e-6, p))
		require.Equal(t, -1, order(p, p+1e-6))
		require.Positive(t, rise(p+1e-6, p))
		require.InDelta(t, -rise(p+1e-6, p), rise(p, p+1e-6), 1e-12)
	}
	require.InDelta(t, 10*math.Log10(4), rise(0.8, 0.5), 1e-9)
}
