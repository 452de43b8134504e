package infer

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The bookkeeping of a greedy order against counting everything anew at each step.
func TestGreedyOrderKeepsItsBooks(t *testing.T) {
	check(t, 2, func(t *rapid.T) {
		r := dice(t)
		n := 2 + r.IntN(50)
		w := &work{m: &Model{budget: DefaultBudget}}
		binary := r.IntN(2) == 0
		for range n {
			k := 2
			if !binary {
				k = 1 + r.IntN(4)
			}
			w.card = append(w.card, int32(k))
		}
		for range n * (1 + r.IntN(3)) {
			f := w.begin()
			for _, v := range r.Perm(n)[:1+r.IntN(min(n, 4))] {
				w.scopes = append(w.scopes, int32(v))
			}
			f.scope.to = int32(len(w.scopes))
			w.factors = append(w.factors, f)
		}
		require.NoError(t, w.connect())
		p := &w.plan.rim
		for _, by := range []criterion{byWeight, byFill} {
			require.True(t, p.eliminate(ctx, by, 0, math.Inf(1)))
			got := append([]int32(nil), p.order...)
			total := p.total

			// Once more, with sets.
			near := make([]map[int32]bool, n)
			for v := range near {
				near[v] = map[int32]bool{}
			}
			for _, f := range w.factors {
				for _, a := range w.scopes[f.scope.from:f.scope.to] {
					for _, b := range w.scopes[f.scope.from:f.scope.to] {
						if a != b {
							near[a][b] = true
						}
					}
				}
			}
			gone := make([]bool, n)
			sum := 0.0
			for _, v := range got {
				weight := func(v int32) float64 {
					x := float64(w.card[v])
					for u := range near[v] {
						x *= float64(w.card[u])
					}
					return x
				}
				fill := func(v int32) float64 {
					x := 0.0
					for a := range near[v] {
						for b := range near[v] {
							if a != b && !near[a][b] {
								x += float64(w.card[a]) * float64(w.card[b])
							}
						}
					}
					return x
				}
				for u := range int32(n) {
					if gone[u] {
						continue
					}
					if by == byWeight {
						require.LessOrEqual(t, weight(v), weight(u)*(1+1e-12))
					} else {
						require.LessOrEqual(t, fill(v), fill(u))
					}
				}
				sum += weight(v)
				gone[v] = true
				for a := range near[v] {
					delete(near[a], v)
					for b := range near[v] {
						if a != b {
							near[a][b] = true
						}
					}
				}
			}
			require.InEpsilon(t, sum, total, 1e-12)
		}
	})
}

// The order of rim and core together, made once more on the whole graph: the same
// clusters, sorted by elimination, and the same sum of their sizes.
func TestPlanOfRimAndCore(t *testing.T) {
	cores := 0
	check(t, 2, func(t *rapid.T) {
		m, ev := throwLarge(t, dice(t), 80)
		w := m.work()
		defer m.release(w)
		if !w.reduce(ev, nil, limits{parents: 1, observed: 1, entries: 1 << 10}, ranked) || len(w.card) == 0 {
			return
		}
		require.NoError(t, w.arrange(ctx))
		p := &w.plan
		cores += len(p.core.order)
		require.NoError(t, w.connect())
		whole := graph{}
		whole.size(w.card)
		copy(whole.edges, p.rim.edges)
		whole.follow(p.order)
		require.Len(t, whole.order, len(w.card))
		require.InEpsilon(t, whole.total, p.total, 1e-9)
		require.LessOrEqual(t, p.total, p.first*(1+1e-9))
		require.Equal(t, whole.width, p.width)
		for i, c := range p.clusters {
			got := p.scopes[c.from:c.to]
			require.Equal(t, p.order[i], got[0])
			require.True(t, slices.IsSortedFunc(got, func(a, b int32) int { return int(p.place[a] - p.place[b]) }))
			d := whole.clusters[i]
			require.ElementsMatch(t, whole.scopes[d.from:d.to], got)
		}
	})
	require.NotZero(t, cores, "some have a core")
}
