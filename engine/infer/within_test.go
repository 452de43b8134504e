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
