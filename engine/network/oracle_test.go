package network

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"tidemark/evidence"
	"tidemark/rules"
)

// world is one outcome of every chance event: which roots are there, which
// rules work, which steps come about by themselves, how far each "first" rule
// got.
type world struct {
	g     *Ground
	root  map[int]bool
	edge  map[[2]int]bool
	leak  map[int]bool
	state map[int]int     // reach: how far it would get; letter
	took  map[[2]int]bool // hit, extent: whether this position would be taken
}

// value evaluates a world with some variables held at absent, and optionally
// chance events by themselves taken away.
func (w *world) value(removed map[int]bool, noLeak func(int) bool) []int {
	out := make([]int, len(w.g.vars))
	for i, v := range w.g.vars {
		switch v.kind {
		case root:
			if w.root[i] {
				out[i] = 1
			}
		case letter:
			out[i] = w.state[i]
		case reach:
			if out[v.edges[0].from] == 1 && w.edge[[2]int{i, 0}] {
				out[i] = 1
			}
		case gate:
			for k, e := range v.edges {
				if out[e.from] == 1 && w.edge[[2]int{i, k}] {
					out[i] = 1
				}
			}
			if w.leak[i] && (noLeak == nil || !noLeak(i)) {
				out[i] = 1
			}
		case both:
			out[i] = 1
			for _, e := range v.edges {
				out[i] = min(out[i], out[e.from])
			}
		case hit, kindAt:
			if w.through(i, out) {
				out[i] = out[v.edges[0].from]
			}
		case sum:
			for _, e := range v.edges {
				out[i] += out[e.from]
			}
		}
		if removed[i] {
			out[i] = 0
		}
	}
	return out
}

func (w *world) through(i int, out []int) bool {
	v := w.g.vars[i]
	if v.kind == kindAt {
		return out[v.edges[1].from] == v.state
	}
	return w.took[[2]int{i, w.state[v.edges[0].from]}]
}

// acted marks what a working path reaches from the variables under test.
func (w *world) acted(test map[int]bool, leaks func(int) bool) []bool {
	out := w.value(nil, nil)
	on := make([]bool, len(out))
	for i, v := range w.g.vars {
		switch v.kind {
		case gate, reach:
			for k, e := range v.edges {
				on[i] = on[i] || on[e.from] && w.edge[[2]int{i, k}]
			}
			on[i] = on[i] || w.leak[i] && leaks != nil && leaks(i)
		case both:
			for _, e := range v.edges {
				on[i] = on[i] || on[e.from] && out[i] == 1
			}
		case hit, kindAt:
			on[i] = on[v.edges[0].from] && w.through(i, out)
		}
		if test[i] && out[i] == 1 {
			on[i] = true
		}
	}
	return on
}

// worlds enumerates all chance events with their probability.
func worlds(g *Ground, visit func(w *world, p float64)) {
	w := &world{g, map[int]bool{}, map[[2]int]bool{}, map[int]bool{}, map[int]int{}, map[[2]int]bool{}}
	var events []func(p float64, rest func(p float64))
	coin := func(chance float64, set func(bool)) {
		if chance == 0 || chance == 1 {
			set(chance == 1)
			return
		}
		events = append(events, func(p float64, rest func(float64)) {
			set(true)
			rest(p * chance)
			set(false)
			rest(p * (1 - chance))
		})
	}
	for i, v := range g.vars {
		switch v.kind {
		case root:
			coin(v.prior, func(b bool) { w.root[i] = b })
		case gate:
			for k, e := range v.edges {
				coin(e.pass, func(b bool) { w.edge[[2]int{i, k}] = b })
			}
			coin(v.leak, func(b bool) { w.leak[i] = b })
		case reach:
			coin(v.edges[0].pass, func(b bool) { w.edge[[2]int{i, 0}] = b })
			events = append(events, func(p float64, rest func(float64)) {
				for x, q := range extents {
					w.state[i] = x
					rest(p * q)
				}
			})
		case hit:
			for x := range extents {
				coin(extentChance(x, g.vars[v.edges[0].from].n), func(b bool) { w.took[[2]int{i, x}] = b })
			}
		case letter:
			events = append(events, func(p float64, rest func(float64)) {
				for s := range v.n {
					w.state[i] = s
					rest(p / float64(v.n))
				}
			})
		}
	}
	var run func(k int, p float64)
	run = func(k int, p float64) {
		if k == len(events) {
			visit(w, p)
			return
		}
		events[k](p, func(q float64) { run(k+1, q) })
	}
	run(0, 1)
}

// draw makes a small random ground: roots, steps with chances by themselves,
// conjunctions, a rule that takes the first, observed signs.
func draw(t *rapid.T) *Ground {
	g := &Ground{Budget: DefaultBudget, letters: map[string]int{}, outcome: -1}
	cause, step := &rules.Node{ID: "c", Kind: rules.Cause}, &rules.Node{ID: "s", Kind: rules.Step}
	chance := rapid.Float64Range(0.05, 0.95)
	roots := rapid.IntRange(2, 3).Draw(t, "roots")
	coins := 0
	item := func(n *rules.Node, v variable) int {
		it := &Item{Node: n, At: fmt.Sprint(len(g.vars)), v: len(g.vars)}
		v.item = it
		g.Items = append(g.Items, it)
		return g.add(v)
	}
	for range roots {
		item(cause, variable{kind: root, prior: chance.Draw(t, "prior")})
		coins++
	}
	parents := func(least int) []edge {
		var out []edge
		for p := range g.vars {
			k := g.vars[p].kind
			if k != reach && k != letter && rapid.IntRange(0, 2).Draw(t, "parent") == 0 && len(out) < 3 {
				out = append(out, edge{from: p, pass: chance.Draw(t, "pass")})
			}
		}
		for p := 0; len(out) < least; p++ {
			out = append(out, edge{from: p, pass: chance.Draw(t, "pass")})
		}
		return out
	}
	steps := rapid.IntRange(2, 4).Draw(t, "steps")
	for s := 0; s < steps && coins < 9; s++ {
		switch rapid.IntRange(0, 5).Draw(t, "kind") {
		case 0:
			e := parents(2)
			seen := map[int]bool{}
			v := variable{kind: both}
			for _, x := range e {
				if !seen[x.from] {
					v.edges = append(v.edges, edge{from: x.from, pass: 1})
				}
				seen[x.from] = true
			}
			b := g.add(v)
			item(step, variable{kind: gate, edges: []edge{{from: b, pass: chance.Draw(t, "need")}}})
			coins++
		case 1:
			src := rapid.IntRange(0, roots-1).Draw(t, "src")
			pk := g.add(variable{kind: reach, n: 2, edges: []edge{{from: src, pass: chance.Draw(t, "reach")}}})
			for range 2 {
				h := g.add(variable{kind: hit, edges: []edge{{from: pk, pass: 1}}})
				item(step, variable{kind: gate, edges: []edge{{from: h, pass: 1}}})
			}
			coins += 6
		default:
			e := parents(1)
			coins += len(e)
			v := variable{kind: gate, edges: e}
			if rapid.Bool().Draw(t, "leaky") {
				v.leak = chance.Draw(t, "leak")
				coins++
			}
			item(step, v)
		}
	}
	last := g.Items[len(g.Items)-1]
	g.outcome = last.v
	for k := range rapid.IntRange(0, 2).Draw(t, "signs") {
		e := parents(1)
		v := g.add(variable{kind: gate, edges: e, leak: 0.1})
		seen := rapid.Bool().Draw(t, "seen")
		o := Observation{Finding: fmt.Sprintf("F%d", k), Seen: seen, v: v, like: []float64{1, 0}}
		if seen {
			o.like = []float64{rapid.SampledFrom([]float64{0, 0.2}).Draw(t, "doubt"), 1}
		}
		g.Observed = append(g.Observed, o)
	}
	return g
}

// likelihood is that of all observations and the outcome in a world.
func (g *Ground) likelihood(out []int) float64 {
	l := 1.0
	for _, o := range g.Observed {
		l *= o.like[out[o.v]]
	}
	if out[g.outcome] == 0 {
		return 0
	}
	return l
}

// Present, acted and to blame agree with the enumeration of all chance events,
// where the thing under test is literally taken away and the world run again:
// for single items, for sets, for families and for what is not listed.
func TestThreeNumbersAgreeWithEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := draw(t)
		var tests []Test
		for _, it := range g.Items {
			if it.v != g.outcome {
				tests = append(tests, Test{Items: []*Item{it}})
			}
		}
		if n := len(g.Items); n >= 4 {
			tests = append(tests, Test{Items: g.Items[:2]}, Test{Items: []*Item{g.Items[0], g.Items[n-2]}})
		}
		tests = append(tests, Test{Unlisted: true}, Test{Unlisted: true, At: g.Items[len(g.Items)-1]})
		total := 0.0
		present, act, blamed := make([]float64, len(tests)), make([]float64, len(tests)), make([]float64, len(tests))
		worlds(g, func(w *world, p float64) {
			out := w.value(nil, nil)
			p *= g.likelihood(out)
			if p == 0 {
				return
			}
			total += p
			for k, tt := range tests {
				held := map[int]bool{}
				there := false
				for _, it := range tt.Items {
					held[it.v] = true
					there = there || out[it.v] == 1
				}
				var leaks func(int) bool
				if tt.Unlisted {
					leaks = func(i int) bool {
						it := g.vars[i].item
						return it != nil && it.Node.Kind == rules.Step && (tt.At == nil || tt.At == it)
					}
				}
				if there {
					present[k] += p
				}
				if w.acted(held, leaks)[g.outcome] {
					act[k] += p
				}
				if w.value(held, leaks)[g.outcome] == 0 {
					blamed[k] += p
				}
			}
		})
		plain, err := g.Plain(context.Background())
		require.NoError(t, err)
		post, err := plain.Posterior(context.Background(), nil)
		if total == 0 {
			require.Error(t, err)
			return
		}
		require.NoError(t, err)
		require.InDelta(t, math.Log(total), post.LogP, 1e-9)
		bounds, err := plain.ActedBounds(context.Background())
		require.NoError(t, err)
		for k, tt := range tests {
			asked := len(tt.Items) == 1 && (plain.Relevant(tt.Items[0]) || tt.Items[0].Node.Kind == rules.Cause)
			if asked {
				require.InDelta(t, present[k]/total, post.Item(tt.Items[0]), 1e-9, "present")
			}
			a, err := g.Acted(context.Background(), tt)
			require.NoError(t, err)
			b, err := g.Blame(context.Background(), tt)
			require.NoError(t, err)
			require.InDelta(t, act[k]/total, a, 1e-9, "acted of test %d", k)
			require.InDelta(t, blamed[k]/total, b, 1e-9, "to blame of test %d", k)
			require.LessOrEqual(t, b, a+1e-12, "to blame is at most acted")
			if len(tt.Items) == 1 {
				require.LessOrEqual(t, a, bounds[tt.Items[0]]+1e-9, "acted is at most its bound")
			}
			if asked {
				require.LessOrEqual(t, a, post.Item(tt.Items[0])+1e-12, "acted is at most present")
			}
		}
	})
}

var _ = evidence.One
