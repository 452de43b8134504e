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
// rules work, which steps come about by themselves, how far the "first" rules of
// each source get and where to.
type world struct {
	g     *Ground
	root  map[int]bool
	edge  map[[2]int]bool
	leak  map[int]bool
	state map[int]int // extent, letter, taken
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
		case letter, extent, taken:
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
	return out[v.edges[1].from] == 1
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
	w := &world{g, map[int]bool{}, map[[2]int]bool{}, map[int]bool{}, map[int]int{}}
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
		case extent:
			events = append(events, func(p float64, rest func(float64)) {
				for x, q := range extents {
					w.state[i] = x
					rest(p * q)
				}
			})
		case taken:
			events = append(events, func(p float64, rest func(float64)) {
				q := extentChance(w.state[v.edges[0].from], v.n)
				w.state[i] = 1
				rest(p * q)
				if q < 1 {
					w.state[i] = 0
					rest(p * (1 - q))
				}
			})
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
// conjunctions, rules that take the first or one of two positions, one or more
// from a source, to steps and to signs; observed signs.
func draw(t *rapid.T) *Ground {
	g := &Ground{Budget: DefaultBudget, letters: map[string]int{}, firsts: map[string][]int{}, outcome: -1}
	g.Engine.Facts = map[string]any{"cylinders": 2}
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
			if k != reach && k != letter && k != extent && k != taken && rapid.IntRange(0, 2).Draw(t, "parent") == 0 && len(out) < 3 {
				out = append(out, edge{from: p, pass: chance.Draw(t, "pass")})
			}
		}
		for p := 0; len(out) < least; p++ {
			out = append(out, edge{from: p, pass: chance.Draw(t, "pass")})
		}
		return out
	}
	// A rule from a source to two positions, and how it arrives at each.
	type arrives func(position int) edge
	source := 0 // of the last one
	many := func(src int) arrives {
		before := len(g.vars)
		r := &rules.Rule{ID: fmt.Sprintf("r%d", len(g.vars)), HowOften: chance.Draw(t, "reach"), Reach: rules.ReachFirst}
		if rapid.IntRange(0, 4).Draw(t, "one") == 0 {
			r.Reach = rules.ReachOne
		}
		s := g.sharedRule(r, g.Items[src], rapid.SampledFrom([]evidence.Kind{evidence.Cylinder, evidence.Rod}).Draw(t, "per"))
		coins++
		if len(g.vars) > before+1 { // first of its source
			coins += 3
		}
		source = src
		return func(i int) edge { return g.through(r, s, i) }
	}
	steps := rapid.IntRange(2, 4).Draw(t, "steps")
	for s := 0; s < steps && coins < 8; s++ {
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
			for range rapid.IntRange(1, 2).Draw(t, "rules") {
				at := many(src)
				for i := 1; i <= 2; i++ {
					item(step, variable{kind: gate, edges: []edge{at(i)}})
				}
			}
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
		if coins < 10 && rapid.IntRange(0, 2).Draw(t, "shared sign") == 0 {
			e = e[:1]
			x := many(source)(rapid.IntRange(1, 2).Draw(t, "at"))
			x.pass = chance.Draw(t, "found")
			e = append(e, x)
		}
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
		_, bounds, err := plain.WithBounds(context.Background())
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

// Two rules of one source that both show position 1: at the same positions, unless
// that is left out, and then each by its own draw.
func TestSamePositionsCanBeLeftOut(t *testing.T) {
	g := &Ground{Budget: DefaultBudget, letters: map[string]int{}, firsts: map[string][]int{}, outcome: -1}
	g.Engine.Facts = map[string]any{"cylinders": 3}
	src := &Item{Node: &rules.Node{ID: "c", Kind: rules.Cause}}
	src.v = g.add(variable{kind: root, prior: 0.2, item: src})
	g.Items = []*Item{src}
	for k, often := range []float64{0.3, 0.7} {
		r := &rules.Rule{ID: fmt.Sprint("r", k), HowOften: often, Reach: rules.ReachFirst}
		v := g.add(variable{kind: gate, edges: []edge{g.through(r, g.sharedRule(r, src, evidence.Rod), 1)}})
		g.Observed = append(g.Observed, Observation{Finding: r.ID, Seen: true, v: v, like: []float64{0, 1}})
	}
	likely := func(thin *leftOut) float64 {
		g.thin = thin
		p, err := g.Plain(t.Context())
		require.NoError(t, err)
		logP, err := p.LogP(t.Context(), nil)
		require.NoError(t, err)
		return math.Exp(logP)
	}
	taken := reachChance(3)
	far := 1
	require.Equal(t, extent, g.vars[far].kind)
	require.InDelta(t, 0.2*0.3*0.7*taken, likely(nil), 1e-12)
	require.InDelta(t, 0.2*0.3*0.7*taken*taken, likely(&leftOut{apart: map[int]bool{far: true}}), 1e-12)
}
