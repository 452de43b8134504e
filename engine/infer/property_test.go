package infer

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// throwLarge makes a layered network with locality, too large to enumerate.
func throwLarge(t require.TestingT, r *rand.Rand, n int) (*Model, Evidence) {
	b := NewBuilder()
	b.Root("origin", 0.5, 0.5)
	for v := 1; v < n; v++ {
		name := string(rune('a'+v%26)) + string(rune('0'+v/26))
		if v < 4 || r.IntN(3) == 0 {
			b.Root(name, 0.9, 0.1)
			continue
		}
		var links []Link
		for range 1 + r.IntN(5) {
			links = append(links, Link{Parent: Var(max(0, v-1-r.IntN(9))), Pass: r.Float64()})
		}
		b.Max(name, 2+r.IntN(2), links, nil)
	}
	m, err := b.Build()
	require.NoError(t, err)
	ev := Evidence{}
	for v := range n {
		if r.IntN(4) == 0 {
			l := make([]float64, m.States(Var(v)))
			for i := range l {
				l[i] = 0.05 + r.Float64()
			}
			ev[Var(v)] = l
		}
	}
	return m, ev
}

// renumber declares the same network in another order of its variables.
func renumber(t require.TestingT, m *Model, r *rand.Rand) (*Model, []Var) {
	to := make([]Var, m.Len())
	for v := range to {
		to[v] = -1
	}
	out := &Model{limits: m.limits, budget: m.budget, precise: m.precise, shared: &Shared{}}
	for len(out.nodes) < m.Len() {
		v := r.IntN(m.Len())
		n := m.nodes[v]
		ready := to[v] < 0
		n.parents = nil
		for _, p := range m.nodes[v].parents {
			ready = ready && to[p] >= 0
			n.parents = append(n.parents, to[p])
		}
		if ready {
			to[v] = Var(len(out.nodes))
			out.nodes = append(out.nodes, n)
		}
	}
	return out, to
}

func TestNumberingDoesNotMatter(t *testing.T) {
	check(t, 1, func(t *rapid.T) {
		r := dice(t)
		m, ev := throwLarge(t, r, 60)
		other, to := renumber(t, m, r)
		moved := Evidence{}
		for v, l := range ev {
			moved[to[v]] = l
		}
		a, err := m.Infer(ctx, ev)
		require.NoError(t, err)
		b, err := other.Infer(ctx, moved)
		require.NoError(t, err)
		near(t, a.LogP, b.LogP)
		for v := range m.Len() {
			for s, p := range a.P(Var(v)) {
				nearOr(t, precise, p, b.P(to[v])[s])
			}
		}
	})
}

func TestSameInputSameBits(t *testing.T) {
	check(t, 1, func(t *rapid.T) {
		m, ev := throwLarge(t, dice(t), 60)
		a, err := m.Infer(ctx, ev)
		require.NoError(t, err)
		_, err = m.LogP(ctx, Evidence{0: {1, 2}}) // other use in between leaves no trace
		require.NoError(t, err)
		b, err := m.Infer(ctx, maps.Clone(ev))
		require.NoError(t, err)
		require.Equal(t, a, b)
	})
}

func TestUseByManyAtOnce(t *testing.T) {
	m, ev := throwLarge(t, rand.New(rand.NewPCG(1, 2)), 60)
	want, err := m.Infer(ctx, ev)
	require.NoError(t, err)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for v := range m.Len() {
				_, _ = m.Infer(ctx, ev.and(Var(v), Hard(0, m.States(Var(v)))))
				got, err := m.Infer(ctx, ev)
				assert.NoError(t, err)
				assert.Equal(t, want, got)
			}
		})
	}
	all.Wait()
}

// Models that share memory and programs answer as they do by themselves.
func TestSharing(t *testing.T) {
	shared := &Shared{}
	r := rand.New(rand.NewPCG(5, 5))
	for range 30 {
		m, ev := throwLarge(t, r, 20+r.IntN(40))
		twin := &Model{nodes: m.nodes, limits: m.limits, budget: m.budget, precise: m.precise, shared: shared}
		for range 3 { // the third time from the cache
			want, err := m.Infer(ctx, ev)
			require.NoError(t, err)
			got, err := twin.Infer(ctx, ev)
			require.NoError(t, err)
			require.Equal(t, want, got)
			m.forget()
		}
	}
	require.NotEmpty(t, shared.cache.entries)
}

func TestEvidenceThatSaysNothing(t *testing.T) {
	check(t, 1, func(t *rapid.T) {
		r := dice(t)
		m, ev := throwLarge(t, r, 60)
		more := maps.Clone(ev)
		for v := range m.Len() {
			if more[Var(v)] == nil && r.IntN(2) == 0 {
				more[Var(v)] = slices.Repeat([]float64{1}, m.States(Var(v)))
			}
		}
		a, err := m.Infer(ctx, ev)
		require.NoError(t, err)
		b, err := m.Infer(ctx, more)
		require.NoError(t, err)
		require.Equal(t, a, b)
	})
}

func TestLawsOfProbability(t *testing.T) {
	check(t, 1, func(t *rapid.T) {
		r := dice(t)
		m, ev := throwLarge(t, r, 60)
		post, err := m.Infer(ctx, ev)
		require.NoError(t, err)
		logP, err := m.LogP(ctx, ev)
		require.NoError(t, err)
		near(t, 1, math.Exp(logP-post.LogP), "LogP and Infer")

		v := Var(r.IntN(m.Len()))
		sum := 0.0
		for s, p := range post.P(v) {
			require.GreaterOrEqual(t, p, 0.0)
			require.LessOrEqual(t, p, 1.0)
			sum += p
			// The chain rule: a posterior is a quotient of two masses.
			joint, err := m.LogP(ctx, ev.and(v, Hard(s, m.States(v))))
			if errors.As(err, new(*Contradiction)) {
				nearOr(t, precise, 0, p)
				continue
			}
			require.NoError(t, err)
			nearOr(t, precise, p, math.Exp(joint-logP), "chain rule")
		}
		near(t, 1, sum)

		// Asking for less changes nothing.
		alone, err := m.Infer(ctx, ev, v)
		require.NoError(t, err)
		for s, p := range post.P(v) {
			nearOr(t, precise, p, alone.P(v)[s])
		}

		// A likelihood may be scaled.
		scaled := maps.Clone(ev)
		for u, l := range ev {
			scaled[u] = Times(l, slices.Repeat([]float64{4}, len(l)))
		}
		logS, err := m.LogP(ctx, scaled)
		require.NoError(t, err)
		near(t, logP+float64(len(ev))*math.Log(4), logS)
	})
}

func TestContradictionIsIrreducible(t *testing.T) {
	clashes := 0
	check(t, 5, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		_, err := m.LogP(ctx, ev)
		var c *Contradiction
		if !errors.As(err, &c) {
			require.NoError(t, err)
			return
		}
		clashes++
		part := Evidence{}
		for _, v := range c.Vars {
			part[v] = ev[v]
		}
		p, _ := enumerate(m, part, nil)
		require.Zero(t, p)
		for _, v := range c.Vars {
			fewer := maps.Clone(part)
			delete(fewer, v)
			p, _ := enumerate(m, fewer, nil)
			require.NotZero(t, p)
		}
	})
	require.NotZero(t, clashes)
}

func TestContradictionNamesItsVariables(t *testing.T) {
	b := NewBuilder()
	bystander := b.Root("bystander", 0.5, 0.5)
	oil := b.Root("oil gone", 0.9, 0.1)
	dry := b.Max("dry bearing", 2, []Link{{Parent: oil, Pass: 1}}, nil)
	blue := b.Max("blue journal", 2, []Link{{Parent: dry, Pass: 1}, {Parent: bystander, Pass: 0.5}}, nil)
	m := build(t, b)
	ev := Evidence{bystander: Hard(0, 2), oil: Hard(1, 2), blue: Hard(0, 2)}
	_, err := m.Infer(ctx, ev, dry)
	var c *Contradiction
	require.ErrorAs(t, err, &c)
	require.Equal(t, []Var{oil, blue}, c.Vars)
	require.EqualError(t, err, `the evidence contradicts itself: "oil gone" and "blue journal" cannot be so together`)

	_, _, err = m.MostProbable(ctx, ev, []Var{dry}, 1, 10)
	require.ErrorAs(t, err, &c)
	require.Equal(t, []Var{oil, blue}, c.Vars)

	_, err = m.LogP(ctx, Evidence{bystander: {0, 0}})
	require.EqualError(t, err, `the evidence contradicts itself: "bystander" cannot be so`)
}

// A clash of few among many is found in few runs.
func TestContradictionIsFoundByHalves(t *testing.T) {
	b := NewBuilder()
	ev := Evidence{}
	const crowd = 500
	for i := range crowd {
		v := b.Root(fmt.Sprint("bystander ", i), 0.5, 0.5)
		ev[v] = []float64{1, 2}
		if i%3 == 0 {
			ev[b.Max(fmt.Sprint("sign ", i), 2, []Link{{Parent: v, Pass: 0.5}}, nil)] = Hard(i/3%2, 2)
		}
		switch i {
		case 100, 300, 301:
			ev[b.Root(fmt.Sprint("part ", i), 0.5, 0.5)] = Hard(1, 2)
		}
	}
	var parts []Var
	for v := range ev {
		if strings.HasPrefix(b.nodes[v].name, "part") {
			parts = append(parts, v)
		}
	}
	slices.Sort(parts)
	all := b.Min("all", 2, parts)
	ev[b.Max("shown", 2, []Link{{Parent: all, Pass: 1}}, nil)] = Hard(0, 2)
	m := build(t, b)
	w := m.work()
	err := m.contradiction(ctx, w, ev)
	var c *Contradiction
	require.ErrorAs(t, err, &c)
	require.Equal(t, []string{"part 100", "part 300", "part 301", "shown"}, c.Names)
	require.Less(t, w.solved, 60)
}
