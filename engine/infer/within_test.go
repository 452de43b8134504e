package infer

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What is foretold of a question does not hang on what was asked before: neither of
// the same model nor of another that shares its memory.
func TestForetellingHasNoHistory(t *testing.T) {
	net := readNets(t, "medium_modular.json")[0]
	shared := &Shared{}
	for i := range net.Cases {
		if hardNet(len(net.Cases[i].Evidence), net.Name) {
			continue
		}
		fresh, vars := net.model(t)
		used, _ := net.model(t)
		used.shared = shared
		ev := net.evidence(i, vars)
		for range 2 { // what is met again is kept
			_, err := used.Infer(ctx, ev)
			require.NoError(t, err)
			_, err = used.LogP(ctx, ev)
			require.NoError(t, err)
		}
		var query []Var
		for log2 := 6.0; log2 < 22; log2 += 0.5 {
			require.Equal(t, fresh.Within(ctx, log2, ev, query...), used.Within(ctx, log2, ev, query...), "case %d, 2^%v", i, log2)
		}
		require.Equal(t, fresh.Estimate(ctx, ev), used.Estimate(ctx, ev))
	}
}

// A question asked only if there is room says so as Within does, tells the size that
// Estimate tells, and answers as without a limit.
func TestOnlyWithinRoom(t *testing.T) {
	net := readNets(t, "medium_modular.json")[0]
	m, vars := net.model(t)
	refused, answered := 0, 0
	for i, c := range net.Cases {
		if hardNet(len(c.Evidence), net.Name) {
			continue
		}
		ev := net.evidence(i, vars)
		query := above(m, ev)
		want, err := m.Infer(ctx, ev, query...)
		require.NoError(t, err)
		whole := m.Estimate(ctx, ev, query...).Log2
		for _, log2 := range []float64{whole - 8, whole - 0.01, whole + 0.01, 40} {
			size, fits := m.Size(ctx, log2, ev, query...)
			require.Equal(t, log2 > whole, fits, "case %d, 2^%v of 2^%v", i, log2, whole)
			if fits {
				require.InDelta(t, whole, size, 1e-9)
			} else {
				require.Greater(t, size, log2)
			}
			got, fits, err := m.InferWithin(ctx, log2, ev, query...)
			require.NoError(t, err)
			require.Equal(t, log2 > whole, fits)
			if !fits {
				refused++
				require.Nil(t, got)
				continue
			}
			answered++
			for _, v := range query {
				require.InDeltaSlice(t, want.P(v), got.P(v), 1e-9)
			}
		}
	}
	require.NotZero(t, refused)
	require.NotZero(t, answered)
}
