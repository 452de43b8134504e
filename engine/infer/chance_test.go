package infer

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// LogChance is LogP, but for what cannot be.
func TestLogChance(t *testing.T) {
	b := NewBuilder()
	rain := b.Root("rain", 0.8, 0.2)
	wet := b.Max("wet", 2, []Link{{Parent: rain, Pass: 0.9}}, nil)
	m, err := b.Build()
	require.NoError(t, err)
	seen := Evidence{wet: {0, 1}}
	want, err := m.LogP(t.Context(), seen)
	require.NoError(t, err)
	got, err := m.LogChance(t.Context(), seen)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	assert.InDelta(t, math.Log(0.18), got, 1e-12)
	got, err = m.LogChance(t.Context(), Evidence{wet: {0, 1}, rain: {1, 0}})
	require.NoError(t, err)
	assert.Equal(t, math.Inf(-1), got)
	_, err = m.LogChance(t.Context(), Evidence{wet: {0}})
	assert.Error(t, err)
}
