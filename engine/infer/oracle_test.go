package infer

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

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
				if n.levels[i] != nil {
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

// throwModel makes a random network of all kinds of variables.
func throwModel(t require.TestingT, r *rand.Rand, n int) *Model {
	b := NewBuilder()
	prob := func() float64 {
		switch r.IntN(8) {
		case 0:
			return float64(r.IntN(2))
		case 1:
			return math.Pow(10, -5*r.Float64())
		}
		return r.Float64()
	}
	dist := func(k int) []float64 {
		d := make([]float64, k)
		sum := 0.0
		for i := range d {
			d[i] = prob()
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
	var states []int
	for i := range n {
		name := fmt.Sprintf("v%d", i)
		k := []int{1, 2, 2, 2, 2, 2, 3, 3}[r.IntN(8)]
		var parents []Var
		for _, p := range r.Perm(i)[:min(i, []int{1, 2, 2, 3, 4, 5, 7}[r.IntN(7)])] {
			parents = append(parents, Var(p))
		}
		switch kind := r.IntN(8); {
		case i < 2 || kind < 2:
			b.Root(name, dist(k)...)
		case kind == 2:
			parents = parents[:min(len(parents), 3)]
			rows := 1
			for _, p := range parents {
				rows *= states[p]
			}
			var cpt []float64
			for range rows {
				cpt = append(cpt, dist(k)...)
			}
			b.Table(name, k, parents, cpt)
		case kind == 3:
			b.Min(name, k, parents)
		default:
			var links []Link
			for _, p := range parents {
				l := Link{Parent: p, Pass: prob()}
				if r.IntN(4) == 0 {
					for range states[p] {
						l.Levels = append(l.Levels, r.IntN(3))
					}
				}
				links = append(links, l)
			}
			var leak []float64
			if r.IntN(2) == 0 {
				leak = dist(k)
			}
			b.Max(name, k, links, leak)
		}
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

var sizes = rapid.SampledFrom([]int{9, 10, 8, 6, 4, 2, 11, 12, 13, 14})

// near fails unless got is want to 1e-9, relatively, or to 1e-13 absolutely.
func near(t require.TestingT, want, got float64, msg ...any) {
	if !(math.Abs(want-got) <= 1e-9*math.Abs(want)+1e-13) {
		require.FailNow(t, fmt.Sprintf("want %.17g, got %.17g: %v", want, got, fmt.Sprint(msg...)))
	}
}

func TestInferAgreesWithEnumeration(t *testing.T) {
	signed, clashes := 0, 0
	t.Cleanup(func() { t.Logf("%d runs with signed gates, %d contradictions", signed, clashes) })
	rapid.Check(t, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		w := m.work()
		if w.reduce(ev, nil, m.limits, ranked); w.signed {
			signed++
		}
		post, err := m.Infer(ev)
		logP, errP := m.LogP(ev)
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
			for s, j := range joint[v] {
				near(t, j/p, post.P(Var(v))[s], m.Name(Var(v)), s)
			}
		}
	})
}
