package infer

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var ctx = context.Background()

// prob is P(v = s | parents), computed from the declaration in the plainest way:
// by enumerating which links work.
func (n *node) prob(states []int, s int) float64 {
	switch n.kind {
	case tableKind:
		row := 0
		for i, p := range n.parents {
			row = row*n.sizes(i) + states[p]
		}
		return n.cpt[row*n.states+s]
	case minKind:
		least := n.states - 1
		for _, p := range n.parents {
			least = min(least, states[p])
		}
		if s == least {
			return 1
		}
		return 0
	}
	leak := n.leak
	if leak == nil {
		leak = Hard(0, n.states)
	}
	sum := 0.0
	for works := range 1 << len(n.parents) {
		p, top := 1.0, 0
		for i, q := range n.parents {
			if works>>i&1 == 1 {
				p *= n.pass[i]
				l := states[q]
				if n.levels != nil && n.levels[i] != nil {
					l = n.levels[i][l]
				}
				top = max(top, min(l, n.states-1))
			} else {
				p *= 1 - n.pass[i]
			}
		}
		for y, l := range leak {
			if max(y, top) == s {
				sum += p * l
			}
		}
	}
	return sum
}

// sizes recovers the number of states of parent i; the test networks note it here.
var testSizes map[*node][]int

func (n *node) sizes(i int) int { return testSizes[n][i] }

// enumerate is the oracle: it goes through all joint states. It returns P(evidence)
// and, by variable and state, the joint probability with it.
func enumerate(m *Model, ev Evidence, visit func(states []int, p float64)) (float64, [][]float64) {
	testSizes = map[*node][]int{}
	joint := make([][]float64, m.Len())
	for v := range m.nodes {
		n := &m.nodes[v]
		joint[v] = make([]float64, n.states)
		for _, p := range n.parents {
			testSizes[n] = append(testSizes[n], m.nodes[p].states)
		}
	}
	total := 0.0
	states := make([]int, m.Len())
	var walk func(v int, p float64)
	walk = func(v int, p float64) {
		if p == 0 {
			return
		}
		if v == m.Len() {
			total += p
			for u, s := range states {
				joint[u][s] += p
			}
			if visit != nil {
				visit(states, p)
			}
			return
		}
		for s := range m.nodes[v].states {
			states[v] = s
			q := p * m.nodes[v].prob(states, s)
			if l, ok := ev[Var(v)]; ok {
				q *= l[s]
			}
			walk(v+1, q)
		}
	}
	walk(0, 1)
	return total, joint
}

// dice draws a seed. Networks are thrown with it rather than drawn number by
// number: drawn numbers lean to the trivial, and so would the networks.
func dice(t *rapid.T) *rand.Rand {
	return rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
}

// throwProbability makes a random probability, now and then a certain or a tiny one.
func throwProbability(r *rand.Rand) float64 {
	switch r.IntN(8) {
	case 0:
		return float64(r.IntN(2))
	case 1:
		return math.Pow(10, -5*r.Float64())
	}
	return r.Float64()
}

func throwDistribution(r *rand.Rand, k int) []float64 {
	d := make([]float64, k)
	sum := 0.0
	for i := range d {
		d[i] = throwProbability(r)
		sum += d[i]
	}
	if sum == 0 {
		d[0], sum = 1, 1
	}
	for i := range d {
		d[i] /= sum
	}
	return d
}

// throwVariable declares a variable of a random kind, with some of these parents, whose
// numbers of states are told by variable.
func throwVariable(b *Builder, r *rand.Rand, name string, k int, parents []Var, states []int) {
	switch kind := r.IntN(8); {
	case len(parents) == 0 || kind < 2:
		b.Root(name, throwDistribution(r, k)...)
	case kind == 2:
		parents = parents[:min(len(parents), 3)]
		rows := 1
		for _, p := range parents {
			rows *= states[p]
		}
		var cpt []float64
		for range rows {
			cpt = append(cpt, throwDistribution(r, k)...)
		}
		b.Table(name, k, parents, cpt)
	case kind == 3:
		b.Min(name, k, parents)
	default:
		var links []Link
		for _, p := range parents {
			l := Link{Parent: p, Pass: throwProbability(r)}
			if r.IntN(4) == 0 {
				for range states[p] {
					l.Levels = append(l.Levels, r.IntN(3))
				}
			}
			links = append(links, l)
		}
		var leak []float64
		if r.IntN(2) == 0 {
			leak = throwDistribution(r, k)
		}
		b.Max(name, k, links, leak)
	}
}

// throwStates is how many states a random variable has.
func throwStates(r *rand.Rand) int { return []int{1, 2, 2, 2, 2, 2, 3, 3}[r.IntN(8)] }

// throwModel makes a random network of all kinds of variables.
func throwModel(t require.TestingT, r *rand.Rand, n int) *Model {
	b := NewBuilder()
	var states []int
	for i := range n {
		k := throwStates(r)
		var parents []Var
		if i >= 2 {
			for _, p := range r.Perm(i)[:min(i, []int{1, 2, 2, 3, 4, 5, 7}[r.IntN(7)])] {
				parents = append(parents, Var(p))
			}
		}
		throwVariable(b, r, fmt.Sprintf("v%d", i), k, parents, states)
		states = append(states, k)
	}
	m, err := b.Build()
	require.NoError(t, err)
	m.limits = []limits{usual, {parents: 1, observed: 1, entries: 8}, {}}[r.IntN(3)]
	return m
}

// throwEvidence makes random evidence, hard and soft.
func throwEvidence(m *Model, r *rand.Rand) Evidence {
	ev := Evidence{}
	for v := range m.Len() {
		k := m.States(Var(v))
		switch r.IntN(6) {
		case 0:
			ev[Var(v)] = Hard(r.IntN(k), k)
		case 1:
			l := make([]float64, k)
			for i := range l {
				l[i] = []float64{0, 0.1, 0.5, 1, 1, 3}[r.IntN(6)]
			}
			ev[Var(v)] = l
		}
	}
	return ev
}

// check runs a property some multiple of the usual number of times.
func check(t *testing.T, times int, property func(*rapid.T)) {
	t.Helper()
	for range times {
		rapid.Check(t, property)
	}
}

var sizes = rapid.SampledFrom([]int{9, 10, 8, 6, 4, 2, 11, 12, 13, 14})

// near fails unless got is want to 1e-9, relatively, or to 1e-13 absolutely.
func near(t require.TestingT, want, got float64, msg ...any) {
	nearOr(t, 1e-13, want, got, msg...)
}

// nearOr fails unless got is want to 1e-9, relatively, or to slack absolutely.
func nearOr(t require.TestingT, slack, want, got float64, msg ...any) {
	if !(math.Abs(want-got) <= 1e-9*math.Abs(want)+slack) {
		require.FailNow(t, fmt.Sprintf("want %.17g, got %.17g: %v", want, got, fmt.Sprint(msg...)))
	}
}

func TestInferAgreesWithEnumeration(t *testing.T) {
	signed, clashes := 0, 0
	check(t, 30, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		w := m.work()
		if w.reduce(ev, nil, m.limits, ranked); w.signed {
			signed++
		}
		post, err := m.Infer(ctx, ev)
		logP, errP := m.LogP(ctx, ev)
		if p == 0 {
			clashes++
			require.ErrorAs(t, err, new(*Contradiction))
			require.ErrorAs(t, errP, new(*Contradiction))
			return
		}
		require.NoError(t, err)
		require.NoError(t, errP)
		near(t, 1, math.Exp(post.LogP)/p, "P(evidence)")
		near(t, 1, math.Exp(logP)/p, "P(evidence) alone")
		for v := range joint {
			alone, err := m.Infer(ctx, ev, Var(v))
			require.NoError(t, err)
			for s, j := range joint[v] {
				nearOr(t, post.Rounding+1e-13, j/p, post.P(Var(v))[s], m.Name(Var(v)), s)
				nearOr(t, alone.Rounding+1e-13, j/p, alone.P(Var(v))[s], m.Name(Var(v)), s, "alone")
			}
		}
	})
	require.Greater(t, signed, 50)
	require.Greater(t, clashes, 50)
}

// The encodings are tried one by one here, for usually the first will do. That
// without signed numbers must be exact to the last few digits of the smallest
// probability, and must tell zero from small.
func TestEveryEncodingAgreesWithEnumeration(t *testing.T) {
	check(t, 10, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		var all []Var
		for v := range n {
			all = append(all, Var(v))
		}
		for _, try := range []struct {
			limits
			encoding
		}{{limits{}, chained}, {usual, chained}, {careful, chained}, {limits{}, ranked}, {careful, ranked}} {
			w := m.work()
			ok := w.reduce(ev, all, try.limits, try.encoding)
			if ok {
				var err error
				ok, err = w.propagate(ctx, true, false)
				require.NoError(t, err)
			}
			if try.encoding == chained {
				require.Equal(t, p > 0, ok)
			}
			if p == 0 || !ok {
				continue
			}
			post := &Posterior{probs: make([][]float64, n)}
			w.read(all, post)
			slack := 1e-12
			if w.signed {
				slack = 1e-9 + 10*w.run.rounded
				if slack > 1 {
					continue
				}
			}
			require.InDelta(t, 1, math.Exp(post.LogP)/p, slack)
			for v := range joint {
				for s, j := range joint[v] {
					got := post.P(Var(v))[s]
					require.InDelta(t, j/p, got, slack)
					if !w.signed {
						require.LessOrEqual(t, math.Abs(j/p-got), 1e-11*j/p)
					}
				}
			}
		}
	})
}

// Signed numbers lose all digits here, and what is computed must not.
func TestCancellation(t *testing.T) {
	for _, prior := range []float64{1e-3, 1e-6, 1e-9, 1e-12, 1e-15} {
		for _, parents := range []int{2, 4, 7, 12, 20} {
			b := NewBuilder()
			var links []Link
			quiet := 0.0
			for i := range parents {
				p := prior * float64(1+i)
				links = append(links, Link{Parent: b.Root(string(rune('A'+i)), 1-p, p), Pass: 0.5})
				quiet += math.Log1p(-p / 2)
			}
			gate := b.Max("gate", 2, links, nil)
			leaf := b.Max("leaf", 2, []Link{{Parent: gate, Pass: 0.5}}, nil)
			m := build(t, b)
			heard := -math.Expm1(quiet)
			for _, x := range []struct {
				ev   Evidence
				want float64
			}{
				{Evidence{gate: Hard(1, 2)}, heard},
				{Evidence{leaf: Hard(1, 2)}, heard / 2},
				{Evidence{leaf: {0, 0.3}}, heard * 0.15},
			} {
				logP, err := m.LogP(ctx, x.ev)
				require.NoError(t, err)
				near(t, math.Log(x.want), logP, prior, parents)
				post, err := m.Infer(ctx, x.ev)
				require.NoError(t, err)
				near(t, math.Log(x.want), post.LogP, prior, parents)
				for i := range parents {
					near(t, prior*float64(1+i)*(1-0.5*math.Exp(quiet-math.Log1p(-prior*float64(1+i)/2)))/heard, post.P(Var(i))[1], prior, parents, i)
				}
			}
			// Posteriors that are small beside the rest of their table.
			post, err := m.Infer(ctx, nil, gate)
			require.NoError(t, err)
			require.InDelta(t, heard, post.P(gate)[1], 1e-9*heard+2*precise*1e-2)
		}
	}
}
