package infer

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// rank is the oracle for MostProbable: all assignments, the most probable first.
func rank(m *Model, ev Evidence, over []Var) []Explanation {
	mass := map[string]*Explanation{}
	enumerate(m, ev, func(states []int, p float64) {
		var at []int
		for _, v := range over {
			at = append(at, states[v])
		}
		key := fmt.Sprint(at)
		if mass[key] == nil {
			mass[key] = &Explanation{States: at}
		}
		mass[key].LogP += p
	})
	var all []Explanation
	for _, e := range mass {
		e.LogP = math.Log(e.LogP)
		all = append(all, *e)
	}
	slices.SortFunc(all, func(a, b Explanation) int { return cmp.Compare(b.LogP, a.LogP) })
	return all
}

func TestMostProbableAgreesWithEnumeration(t *testing.T) {
	check(t, 10, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		var over []Var
		for range r.IntN(n + 1) {
			over = append(over, Var(r.IntN(n))) // in any order, some twice
		}
		want := rank(m, ev, over)
		k := 1 + r.IntN(10)
		got, proven, err := m.MostProbable(ctx, ev, over, k, 100000)
		if len(want) == 0 {
			require.ErrorAs(t, err, new(*Contradiction))
			return
		}
		require.NoError(t, err)
		require.True(t, proven)
		require.Len(t, got, min(k, len(want)))
		byStates := map[string]float64{}
		for _, e := range want {
			byStates[fmt.Sprint(e.States)] = e.LogP
		}
		for i, e := range got {
			near(t, 1, math.Exp(e.LogP-want[i].LogP), "place", i)
			near(t, 1, math.Exp(e.LogP-byStates[fmt.Sprint(e.States)]), "its own", i)
			delete(byStates, fmt.Sprint(e.States)) // never the same one again
		}
	})
}

func TestMostProbableOnALeash(t *testing.T) {
	check(t, 10, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		over := []Var{Var(r.IntN(n)), Var(r.IntN(n)), Var(r.IntN(n))}
		want := rank(m, ev, over)
		got, proven, err := m.MostProbable(ctx, ev, over, 2, rapid.IntRange(0, 6).Draw(t, "budget"))
		if len(want) == 0 {
			require.ErrorAs(t, err, new(*Contradiction))
			return
		}
		require.NoError(t, err)
		require.NotEmpty(t, got)
		if proven {
			near(t, 1, math.Exp(got[0].LogP-want[0].LogP))
		}
		for _, e := range got {
			require.LessOrEqual(t, e.LogP, want[0].LogP+1e-9)
			at := slices.IndexFunc(want, func(w Explanation) bool { return slices.Equal(w.States, e.States) })
			near(t, 1, math.Exp(e.LogP-want[at].LogP))
		}
	})
}

func TestMostProbableCausesOfALargeNetwork(t *testing.T) {
	net := readNets(t, "large_modular.json")[0]
	m, vars := net.model(t)
	ev := net.evidence(12, vars)
	var over []Var
	for v := range m.Len() {
		if _, ok := net.Cases[12].Present[m.Name(Var(v))]; ok && m.Name(Var(v))[0] == 'R' {
			over = append(over, Var(v))
		}
	}
	for _, budget := range []int{20, 3000} {
		found, proven, err := m.MostProbable(ctx, ev, over, 3, budget)
		require.NoError(t, err)
		require.NotEmpty(t, found)
		require.Equal(t, budget == 3000, proven)
		t.Logf("%d causes, %d runs: %d found, proven %v, %v", len(over), budget, len(found), proven, found[0].LogP)
		for _, e := range found {
			sure := ev
			for i, s := range e.States {
				sure = sure.and(over[i], Hard(s, 2))
			}
			logP, err := m.LogP(ctx, sure)
			require.NoError(t, err)
			near(t, logP, e.LogP)
		}
	}
}

// No assignment is more probable than the bound on any of its states, and a state
// that is possible has a bound.
func TestCeilings(t *testing.T) {
	tight, all := 0, 0
	check(t, 10, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		over := []Var{Var(r.IntN(n)), Var(r.IntN(n)), Var(r.IntN(n)), Var(r.IntN(n))}
		slices.Sort(over)
		over = slices.Compact(over)
		climber, err := m.climber(ctx, ev, over, 1000)
		require.NoError(t, err)
		require.NotNil(t, climber)
		c, err := climber.look(ctx, nil)
		require.NoError(t, err)
		want := rank(m, ev, over)
		if len(want) == 0 {
			require.True(t, math.IsInf(c.whole, -1))
			return
		}
		require.GreaterOrEqual(t, c.whole, want[0].LogP-margin)
		for i, v := range over {
			for s := range m.States(v) {
				best := math.Inf(-1)
				for _, e := range want {
					if e.States[i] == s {
						best = max(best, e.LogP)
					}
				}
				if math.IsInf(best, -1) {
					require.True(t, math.IsInf(c.states[i][s], -1))
					continue
				}
				require.GreaterOrEqual(t, c.states[i][s], best-margin, "%d state %d", i, s)
				all++
				if c.states[i][s] < best+0.1 {
					tight++
				}
			}
		}
	})
	t.Logf("%d of %d bounds within a tenth", tight, all)
	require.Greater(t, tight, all/2)
}

// On machines like those that the package is for, the ten best are proven to be.
func TestTenBestOfMachinesAreProven(t *testing.T) {
	all := 0
	for seed := range uint64(6) {
		for _, findings := range []int{6, 12, 20} {
			r := rand.New(rand.NewPCG(seed, 9))
			m, signs := machine(t, r, 40)
			ev := observeSome(r, signs, findings)
			steps := above(m, ev)
			var causes []Var
			for _, v := range steps {
				if m.nodes[v].kind == tableKind {
					causes = append(causes, v)
				}
			}
			for _, over := range [][]Var{causes, steps} {
				found, proven, err := m.MostProbable(ctx, ev, over, 10, 300)
				require.NoError(t, err)
				require.True(t, proven, "machine %d, %d findings, %d variables", seed, findings, len(over))
				require.Len(t, found, 10)
				all++
				for i, e := range found {
					sure := ev
					for k, s := range e.States {
						sure = sure.and(over[k], Hard(s, 2))
					}
					logP, err := m.LogP(ctx, sure)
					require.NoError(t, err)
					near(t, logP, e.LogP)
					if i > 0 {
						require.LessOrEqual(t, e.LogP, found[i-1].LogP+margin)
					}
				}
			}
		}
	}
	require.Equal(t, 36, all)
}

func BenchmarkMostProbable(b *testing.B) {
	for _, findings := range []int{6, 12, 20} {
		r := rand.New(rand.NewPCG(1, 9))
		m, signs := machine(b, r, 40)
		ev := observeSome(r, signs, findings)
		over := above(m, ev)
		b.Run(fmt.Sprintf("%d of %d by %d findings", 10, len(over), findings), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				m.forget()
				_, _, err := m.MostProbable(ctx, ev, over, 10, 300)
				require.NoError(b, err)
			}
		})
	}
}

// States that are likeliest one by one may be impossible together: then a dive settles the
// surest of them first.
func TestDiveIntoWhatCannotBeTogether(t *testing.T) {
	b := NewBuilder()
	one, other := b.Root("one", 0.1, 0.9), b.Root("other", 0.2, 0.8)
	both := b.Min("both", 2, []Var{one, other})
	m := build(t, b)
	s := &search{ctx: ctx, m: m, ev: Evidence{both: Hard(0, 2)}, query: []Var{one, other}}
	n := &region{rating: [][]float64{{-10, -1}, {-10, -2}}}
	next, err := s.settled(n, []int{0, 1})
	require.NoError(t, err)
	require.Nil(t, next)
	require.NoError(t, s.dive(n))
	require.Len(t, s.front, 1)
	require.Equal(t, []int{1, 0}, s.front[0].states)
	near(t, math.Log(0.9*0.2), s.front[0].bound)
}
