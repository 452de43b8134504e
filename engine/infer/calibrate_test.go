package infer

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// changed is P(evidence) by enumeration, with one variable declared otherwise.
func changed(m *Model, ev Evidence, v Var, n node) float64 {
	other := &Model{nodes: slices.Clone(m.nodes), precise: m.precise, shared: &Shared{}}
	other.nodes[v] = n
	p, _ := enumerate(other, ev, nil)
	return p
}

// Slopes against enumeration at both ends of what is a straight line.
func TestSlopesAgreeWithEnumeration(t *testing.T) {
	forms := map[form]int{}
	zeros := 0
	check(t, 30, func(t *rapid.T) {
		n, r := rapid.SampledFrom([]int{8, 7, 6, 5, 4, 2}).Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, joint := enumerate(m, ev, nil)
		c, err := m.Calibrate(ctx, ev)
		if p == 0 {
			require.ErrorAs(t, err, new(*Contradiction))
			return
		}
		require.NoError(t, err)
		near(t, 1, math.Exp(c.LogP)/p, "P(evidence)")
		for v := range m.Len() {
			for s, x := range c.P(Var(v)) {
				nearOr(t, c.Rounding+1e-13, joint[v][s]/p, x, "posterior")
			}
		}
		slack := func(x ...float64) float64 { return (1e-12 + 10*c.Rounding) * (1 + slices.Max(x)/p) }
		for v := range m.nodes {
			x := m.nodes[v]
			forms[c.w.made[v].form]++
			switch x.kind {
			case maxKind:
				for i, parent := range x.parents {
					with := x
					with.pass = slices.Clone(x.pass)
					with.pass[i] = 1
					most := changed(m, ev, Var(v), with)
					with.pass[i] = 0
					least := changed(m, ev, Var(v), with)
					nearOr(t, slack(most, least), (most-least)/p, c.LinkSlope(Var(v), parent), "link of", x.name, "from", parent)
					if x.pass[i] == 0 && most > 1.1*least {
						zeros++
					}
				}
				if c.w.made[v].form == nothing {
					continue // the difference of its slopes is nothing
				}
				for level := range x.states {
					with := x
					with.leak = Hard(level, x.states)
					q := changed(m, ev, Var(v), with)
					nearOr(t, slack(q), q/p, c.LeakSlope(Var(v), level), "leak of", x.name, level)
				}
			case tableKind:
				if c.w.made[v].form == nothing {
					continue
				}
				parents := make([]int, len(x.parents))
				for at := range x.cpt {
					row := at / x.states
					for i := len(parents) - 1; i >= 0; i-- {
						k := m.nodes[x.parents[i]].states
						parents[i] = row % k
						row /= k
					}
					with := x
					with.cpt = slices.Clone(x.cpt)
					with.cpt[at] = 1
					most := changed(m, ev, Var(v), with)
					with.cpt[at] = 0
					least := changed(m, ev, Var(v), with)
					nearOr(t, slack(most, least), (most-least)/p, c.TableSlope(Var(v), parents, at%x.states), "table of", x.name, at)
				}
			}
		}
	})
	t.Logf("%d zero links that matter; forms %v", zeros, forms)
	if testing.Short() {
		return // too few networks for all of these
	}
	require.Greater(t, zeros, 20)
	for f := asRoot; f < asChain; f++ {
		require.Greater(t, forms[f], 30, "form %d", f)
	}
}

// The form without signed numbers is rarely needed; its slopes are tried by themselves.
func TestSlopesOfChains(t *testing.T) {
	chains := 0
	check(t, 5, func(t *rapid.T) {
		n, r := rapid.SampledFrom([]int{8, 7, 6, 5}).Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		p, _ := enumerate(m, ev, nil)
		w := m.work()
		w.keep, w.whole = true, true
		if p == 0 || !w.reduce(ev, nil, limits{}, chained) {
			return
		}
		ok, err := w.propagate(ctx, true, true)
		require.NoError(t, err)
		require.True(t, ok)
		c := &Calibration{LogP: w.run.total.ln(), m: m, w: w, ev: ev, children: make([][]Var, n)}
		for v := range m.nodes {
			if w.relevant[v] {
				for _, q := range m.nodes[v].parents {
					c.children[q] = append(c.children[q], Var(v))
				}
			}
		}
		for v := range m.nodes {
			x := m.nodes[v]
			if w.made[v].form == asChain && len(c.children[v]) == 0 {
				without := maps.Clone(ev)
				delete(without, Var(v))
				q, _ := enumerate(m, without, nil)
				logP, ok := c.without(Var(v))
				if ok && w.made[v].extra == 1 {
					near(t, 1, math.Exp(logP)/q, "without", x.name)
				}
			}
			if w.made[v].form != asChain || x.kind != maxKind {
				continue
			}
			chains++
			for i, parent := range x.parents {
				with := x
				with.pass = slices.Clone(x.pass)
				with.pass[i] = 1
				most := changed(m, ev, Var(v), with)
				with.pass[i] = 0
				least := changed(m, ev, Var(v), with)
				nearOr(t, 1e-12*(1+max(most, least)/p), (most-least)/p, c.LinkSlope(Var(v), parent), "link of", x.name, "from", parent)
			}
			for level := range x.states {
				with := x
				with.leak = Hard(level, x.states)
				q := changed(m, ev, Var(v), with)
				nearOr(t, 1e-12*(1+q/p), q/p, c.LeakSlope(Var(v), level), "leak of", x.name, level)
			}
		}
	})
	require.Greater(t, chains, 4)
}

func TestWithoutAgreesWithEnumeration(t *testing.T) {
	told, rerun := 0, 0
	forms := map[form]int{}
	check(t, 20, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		c, err := m.Calibrate(ctx, ev)
		if errors.As(err, new(*Contradiction)) {
			return
		}
		require.NoError(t, err)
		for _, v := range ev.vars() {
			less := maps.Clone(ev)
			delete(less, v)
			p, _ := enumerate(m, less, nil)
			if logP, ok := c.without(v); ok {
				told++
				forms[c.w.made[v].form]++
				nearOr(t, 10*c.Rounding+1e-10, 1, math.Exp(logP)/p, "told", m.Name(v))
			} else {
				rerun++
			}
			logP, err := c.Without(ctx, v)
			require.NoError(t, err)
			nearOr(t, 10*c.Rounding+1e-10, 1, math.Exp(logP)/p, m.Name(v))
		}
	})
	t.Logf("%d told, %d asked anew; forms told %v", told, rerun, forms)
	require.Greater(t, told, rerun)
	if testing.Short() {
		return
	}
	for _, f := range []form{asNumber, asTable, asFold, asDense, asHidden} {
		require.Greater(t, forms[f], 20, "form %d", f)
	}
}

// On networks of the size that matters, against asking anew.
func TestCalibrationOfLargeNetworks(t *testing.T) {
	told, all := 0, 0
	for _, file := range []string{"medium_modular.json", "large_modular.json"} {
		net := readNets(t, file)[0]
		m, vars := net.model(t)
		for _, i := range []int{3, 6, 10, 14} {
			ev := net.evidence(i, vars)
			c, err := m.Calibrate(ctx, ev)
			require.NoError(t, err)
			near(t, net.Cases[i].LogP, c.LogP)
			for name, want := range net.Cases[i].Present {
				near(t, want, c.P(vars[name])[1], name)
			}
			for _, v := range ev.vars() {
				less := maps.Clone(ev)
				delete(less, v)
				want, err := m.LogP(ctx, less)
				require.NoError(t, err)
				all++
				if _, ok := c.without(v); ok {
					told++
				}
				got, err := c.Without(ctx, v)
				require.NoError(t, err)
				near(t, 1, math.Exp(got-want), m.Name(v))
			}
			// A few links by running again with the link sure, and cut.
			for _, v := range ev.vars()[:5] {
				for k, parent := range m.nodes[v].parents {
					var end [2]float64
					for pass := range end {
						other := &Model{nodes: slices.Clone(m.nodes), limits: m.limits, budget: m.budget, precise: m.precise, shared: &Shared{}}
						other.nodes[v].pass = slices.Clone(other.nodes[v].pass)
						other.nodes[v].pass[k] = float64(pass)
						lp, err := other.LogP(ctx, ev)
						require.NoError(t, err)
						end[pass] = math.Exp(lp - c.LogP)
					}
					nearOr(t, 1e-10*max(end[0], end[1]), end[1]-end[0], c.LinkSlope(v, parent))
				}
			}
		}
	}
	t.Logf("%d of %d observations by the calibration itself", told, all)
	require.Greater(t, told, all/3)
}

func TestCalibrationOfStrangers(t *testing.T) {
	b := NewBuilder()
	a := b.Root("a", 0.5, 0.5)
	g := b.Max("g", 2, []Link{{Parent: a, Pass: 0.5}}, nil)
	m := build(t, b)
	c, err := m.Calibrate(context.Background(), Evidence{a: Hard(1, 2)})
	require.NoError(t, err)
	require.Nil(t, c.P(g))
	require.Nil(t, c.P(99))
	require.Zero(t, c.LinkSlope(g, a))
	require.Zero(t, c.LinkSlope(a, g))
	require.Zero(t, c.LinkSlope(-1, a))
	require.Zero(t, c.LeakSlope(g, 1))
	require.True(t, math.IsNaN(c.LeakSlope(a, 0)))
	require.True(t, math.IsNaN(c.LeakSlope(g, 2)))
	require.True(t, math.IsNaN(c.TableSlope(a, []int{0}, 0)))
	require.True(t, math.IsNaN(c.TableSlope(a, nil, 2)))
	logP, err := c.Without(ctx, 99)
	require.NoError(t, err)
	require.Equal(t, c.LogP, logP)
	_, err = m.Calibrate(ctx, Evidence{7: {1}})
	require.Error(t, err)
	_, err = m.Calibrate(ctx, nil, 9)
	require.Error(t, err)
	_, err = m.Calibrate(ctx, Evidence{a: {0, 0}})
	require.ErrorAs(t, err, new(*Contradiction))
}
