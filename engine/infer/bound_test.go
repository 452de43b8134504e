package infer

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// holds checks bounds against true masses.
func holds(t require.TestingT, b *Bounds, logP float64, probs func(v Var, s int) (p float64, known bool), msg ...any) {
	if !(b.LogPLow <= logP+1e-12 && b.LogPHigh >= logP-1e-12) {
		require.FailNow(t, fmt.Sprintf("ln P is %v, not in %v..%v: %v", logP, b.LogPLow, b.LogPHigh, msg))
	}
	for v := range b.low {
		low, high := b.Low(Var(v)), b.High(Var(v))
		for s := range low {
			if !(low[s] >= 0 && low[s] <= high[s] && high[s] <= 1) {
				require.FailNow(t, fmt.Sprintf("%v..%v are no bounds of a probability: %v", low[s], high[s], msg))
			}
			p, known := probs(Var(v), s)
			if known && !(low[s] <= p+1e-12 && high[s] >= p-1e-12) {
				require.FailNow(t, fmt.Sprintf("P(%d = %d) is %v, not in %v..%v: %v", v, s, p, low[s], high[s], msg))
			}
		}
	}
}

func given(p float64, joint [][]float64) func(Var, int) (float64, bool) {
	return func(v Var, s int) (float64, bool) { return joint[v][s] / p, true }
}

// squeeze bounds with tables and searches so small that nearly everything is relaxed,
// and with what steps there are taken at random.
func squeeze(m *Model, ev Evidence, r *rand.Rand) (*Bounds, bool) {
	t := newBounder(m, ev, BoundLimits{}, m.all())
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, t.query, []limits{boundTables, usual, {parents: 1, observed: 1, entries: 8}}[r.IntN(3)], chained) {
		return nil, false
	}
	t.settled(w)
	o := newBoundOrder(w)
	order, _ := o.greedy(r.IntN(2) == 0, uint64(r.IntN(3)))
	b := newBoundNet(w, order, float64(int(2)<<r.IntN(6)))
	if !b.begin() {
		return nil, false
	}
	s := newBoundSearch(b)
	for range r.IntN(6) {
		b.tighten(r.Float64(), 2*r.Float64())
		if !b.relax() {
			return nil, false
		}
	}
	for range 1 + r.IntN(3) {
		s.follow(context.Background(), math.Pow(10, -6*r.Float64()), 1+r.IntN(40))
		t.read(context.Background(), w, b, s)
	}
	return t.result(), true
}

func TestBoundsHoldWhenSqueezed(t *testing.T) {
	loose, close, exact := 0, 0, 0
	check(t, 50, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		b, ok := squeeze(m, ev, r)
		if p == 0 {
			require.True(t, !ok || math.IsInf(b.LogPLow, -1))
			return
		}
		require.True(t, ok)
		holds(t, b, math.Log(p), given(p, joint))
		switch {
		case b.Exact:
			exact++
			require.Less(t, b.Width(), 1e-8)
		case b.Width() > 0.01:
			loose++
		default:
			close++
		}
	})
	t.Logf("%d exact, %d close, %d loose", exact, close, loose)
	require.Greater(t, exact, 500)
	require.Greater(t, close, 100)
	require.Greater(t, loose, 500)
}

// tight are limits that refuse nearly everything.
func tight(r *rand.Rand) BoundLimits {
	return BoundLimits{Log2: 2 + 6*r.Float64(), Runs: 1 + r.IntN(4), Rounds: 1 + r.IntN(4), Width: 1e-12}
}

func TestBoundsHold(t *testing.T) {
	byRuns, byRounds, clashes := 0, 0, 0
	check(t, 20, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		limits := tight(r)
		b, err := m.Bound(context.Background(), ev, limits)
		if p == 0 {
			if err == nil {
				require.Equal(t, math.Inf(-1), b.LogPLow)
				return
			}
			clashes++
			require.ErrorAs(t, err, new(*Contradiction))
			return
		}
		require.NoError(t, err)
		holds(t, b, math.Log(p), given(p, joint), limits)
		require.LessOrEqual(t, b.Runs, limits.Runs)
		require.LessOrEqual(t, b.Rounds, limits.Rounds)
		if b.Runs > 1 {
			byRuns++
		}
		if b.Rounds > 0 {
			byRounds++
		}
	})
	t.Logf("%d by several runs, %d by rounds, %d clashes", byRuns, byRounds, clashes)
	require.Greater(t, byRuns, 100)
	require.Greater(t, byRounds, 300)
	require.Greater(t, clashes, 50)
}

// More rounds only tighten, in all of the evidence and all of the query.
func TestMoreRoundsTighten(t *testing.T) {
	tightened := 0
	check(t, 1, func(t *rapid.T) {
		r := dice(t)
		m, ev := throwLarge(t, r, 60)
		post, err := m.Infer(context.Background(), ev)
		require.NoError(t, err)
		last := (*Bounds)(nil)
		room := 8 + 5*r.Float64()
		for _, rounds := range []int{1, 3, 5} {
			b, err := m.Bound(context.Background(), ev, BoundLimits{Log2: room, Runs: 1, Rounds: rounds, Width: 1e-12})
			require.NoError(t, err)
			holds(t, b, post.LogP, func(v Var, s int) (float64, bool) { return post.P(v)[s], post.Rounding < 1e-12 })
			if last != nil {
				require.GreaterOrEqual(t, b.LogPLow, last.LogPLow)
				require.LessOrEqual(t, b.LogPHigh, last.LogPHigh)
				for v := range b.low {
					for s := range b.low[v] {
						require.GreaterOrEqual(t, b.low[v][s], last.low[v][s])
						require.LessOrEqual(t, b.high[v][s], last.high[v][s])
					}
				}
				if b.LogPHigh < last.LogPHigh {
					tightened++
				}
			}
			last = b
		}
	})
	require.Greater(t, tightened, 20)
}

// expiring is a context that ends when it was asked so many times.
type expiring struct {
	context.Context
	left int
}

func (e *expiring) Err() error {
	if e.left--; e.left < 0 {
		return context.DeadlineExceeded
	}
	return nil
}

func TestBoundsHoldWhenCutShort(t *testing.T) {
	check(t, 2, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		if p == 0 {
			return
		}
		limits := tight(r)
		for left := range 60 {
			b, err := m.Bound(&expiring{context.Background(), left}, ev, limits)
			require.NoError(t, err)
			holds(t, b, math.Log(p), given(p, joint), left)
		}
	})
}

// The answers here were computed by other programs; with so little room nearly none of
// the cases is solved exactly.
func TestBoundsHoldOnNetworks(t *testing.T) {
	for _, file := range []string{"small.json", "small_modular.json", "medium.json", "medium_modular.json", "large_modular.json"} {
		net := readNets(t, file)[0]
		m, vars := net.model(t)
		widest := map[float64]float64{}
		for i, c := range net.Cases {
			ev := net.evidence(i, vars)
			var query []Var
			for v := range m.Len() {
				if _, ok := c.Present[m.Name(Var(v))]; ok {
					query = append(query, Var(v))
				}
			}
			known := func(v Var, s int) (float64, bool) {
				p := c.Present[m.Name(v)]
				if s == 0 {
					p = 1 - p
				}
				return p, true
			}
			for _, room := range []float64{10, 13, 16} {
				b, err := m.Bound(context.Background(), ev, BoundLimits{Log2: room, Runs: 1, Rounds: 4}, query...)
				require.NoError(t, err)
				holds(t, b, c.LogP, known, net.Name, i, room)
				widest[room] = max(widest[room], b.Width())
			}
		}
		t.Logf("%-16s width by room: %v", net.Name, widest)
	}
}

func TestBoundsAreTheSameOnAnyNumberOfCores(t *testing.T) {
	net := readNets(t, "medium_modular.json")[0]
	m, vars := net.model(t)
	i := len(net.Cases) - 1
	run := func(cores int) *Bounds {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		b, err := m.Bound(context.Background(), net.evidence(i, vars), BoundLimits{Log2: 13, Runs: 1, Rounds: 4}, net.asked(m, vars, net.evidence(i, vars))...)
		require.NoError(t, err)
		return b
	}
	a := run(1)
	require.NotZero(t, a.Contexts)
	require.Equal(t, a, run(2))
	require.Equal(t, a, run(1))
}

func TestBoundRefusesBadInput(t *testing.T) {
	b := NewBuilder()
	cause := b.Root("cause", 0.9, 0.1)
	effect := b.Max("effect", 2, []Link{{Parent: cause, Pass: 0.5}}, nil)
	m := build(t, b)
	ctx := context.Background()
	_, err := m.Bound(ctx, Evidence{7: Hard(0, 2)}, BoundLimits{})
	require.ErrorContains(t, err, "variable 7")
	_, err = m.Bound(ctx, Evidence{effect: Hard(0, 3)}, BoundLimits{})
	require.ErrorContains(t, err, "3 likelihoods")
	_, err = m.Bound(ctx, nil, BoundLimits{}, 9)
	require.ErrorContains(t, err, "variable 9")
	var clash *Contradiction
	for _, limits := range []BoundLimits{{}, {Log2: 1, Runs: 1}, {Log2: -5, Runs: -1, Rounds: -1, Width: -1}} {
		_, err = m.Bound(ctx, Evidence{cause: Hard(0, 2), effect: Hard(1, 2)}, limits)
		require.True(t, errors.As(err, &clash), err)
		out, err := m.Bound(ctx, Evidence{effect: Hard(1, 2)}, limits, cause, cause)
		require.NoError(t, err)
		require.Equal(t, []float64{0, 1}, []float64{math.Round(out.Low(cause)[0]), math.Round(out.High(cause)[1])})
		require.Nil(t, out.Low(effect))
		require.Nil(t, out.High(-1))
	}
}
