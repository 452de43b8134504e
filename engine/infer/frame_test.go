package infer

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// some is a part of a list, in its order.
func some[T any](r *rand.Rand, of []T, chance float64) (out []T) {
	for _, x := range of {
		if r.Float64() < chance {
			out = append(out, x)
		}
	}
	return out
}

// TestFramesAnswerAsTheModelDoes holds what a frame tells, with some of its evidence left
// out and other evidence added, against enumeration.
func TestFramesAnswerAsTheModelDoes(t *testing.T) {
	served, not := 0, 0
	check(t, 50, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		whole := m.all()
		if r.IntN(3) == 0 {
			whole = []Var{Var(r.IntN(n))} // of one alone, the frame ends at it
		}
		f, err := m.Frame(ctx, math.Inf(1), ev, whole...)
		require.NoError(t, err)
		for range 4 {
			other := Evidence{}
			for _, v := range ev.vars() {
				if r.Float64() < 0.7 {
					other[v] = ev[v]
				}
			}
			for _, v := range some(r, m.all(), 0.15) {
				if ev[v] == nil {
					other[v] = throwEvidence(m, r)[v]
					if other[v] == nil {
						other[v] = Hard(r.IntN(m.States(v)), m.States(v))
					}
				}
			}
			p, joint := enumerate(m, other, nil)
			query := some(r, whole, 0.4)
			if len(query) == 0 {
				query = whole
			}
			post, err := f.infer(ctx, other, query)
			require.NoError(t, err)
			if post == nil {
				not++
			} else {
				served++
			}
			lp, err := f.LogChance(ctx, other)
			require.NoError(t, err)
			post, err = f.Infer(ctx, other, query...)
			if p == 0 {
				require.Error(t, err)
				require.True(t, lp < math.Log(1e-12) || math.IsInf(lp, -1))
				continue
			}
			require.NoError(t, err)
			require.InDelta(t, math.Log(p), lp, 1e-7)
			require.InDelta(t, math.Log(p), post.LogP, 1e-7)
			for _, v := range query {
				for s, x := range joint[v] {
					require.InDelta(t, x/p, post.P(v)[s], 1e-7, m.Name(v))
				}
			}
		}
	})
	t.Logf("%d served, %d not", served, not)
	require.Greater(t, served, 5000)
}

// throwEdit makes a model of another by giving some variables other states and numbers.
func throwEdit(t require.TestingT, r *rand.Rand, m *Model) *Model {
	b := m.Edit()
	var states []int
	changed := map[Var]bool{}
	for v := range m.nodes {
		n := &m.nodes[v]
		states = append(states, n.states)
		must := n.kind == tableKind || slices.ContainsFunc(n.levels, func(l []int) bool { return l != nil })
		if must = must && slices.ContainsFunc(n.parents, func(p Var) bool { return changed[p] }); !must && r.Float64() > 0.3 {
			continue
		}
		if k := states[v]; k > 1 && len(n.parents) > 0 && r.IntN(2) == 0 {
			states[v] = 5 - k // 2 and 3
		}
		changed[Var(v)] = states[v] != n.states
		b.Replace(Var(v))
		if r.IntN(8) == 0 {
			throwVariable(b, r, n.name, states[v], n.parents, states) // whatever it was
			continue
		}
		switch n.kind {
		case minKind:
			b.Min(n.name, states[v], n.parents)
		case maxKind:
			var links []Link
			for _, p := range n.parents {
				l := Link{Parent: p, Pass: throwProbability(r)}
				if r.IntN(4) == 0 {
					for range states[p] {
						l.Levels = append(l.Levels, r.IntN(3))
					}
				}
				links = append(links, l)
			}
			b.Max(n.name, states[v], links, throwDistribution(r, states[v]))
		default:
			rows := 1
			for _, p := range n.parents {
				rows *= states[p]
			}
			var cpt []float64
			for range rows {
				cpt = append(cpt, throwDistribution(r, states[v])...)
			}
			b.Table(n.name, states[v], n.parents, cpt)
		}
	}
	q, err := b.Build()
	require.NoError(t, err)
	return q
}

// TestFramesAnswerForEditedModels holds what a frame tells of a model in which variables
// have other states and numbers against enumeration.
func TestFramesAnswerForEditedModels(t *testing.T) {
	served, not, certain, over := 0, 0, 0, 0
	check(t, 50, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		root := Var(r.IntN(n))
		ev := throwEvidence(m, r)
		f, err := m.Frame(ctx, math.Inf(1), ev, root)
		require.NoError(t, err)
		for range 4 {
			q := throwEdit(t, r, m)
			like := make([]float64, q.States(root))
			for s := range like {
				like[s] = []float64{0, 1, 1}[r.IntN(3)]
			}
			fits := true
			for v, l := range ev {
				fits = fits && (v == root || len(l) == q.States(v))
			}
			if !fits {
				continue // it is no evidence for the other model
			}
			given := maps.Clone(ev)
			if r.IntN(2) == 0 {
				for _, v := range ev.vars() {
					if r.IntN(4) == 0 {
						delete(given, v)
					}
				}
				for _, v := range some(r, q.all(), 0.1) {
					if ev[v] == nil {
						given[v] = throwDistribution(r, q.States(v))
					}
				}
			}
			given[root] = like
			total, joint := enumerate(q, given, nil)
			if f.w != nil {
				require.False(t, (&work{}).vary(f, throwEdit(t, r, q), given), "it is made from another model")
				if w := (&work{m: q}); w.vary(f, q, given) {
					served++
					if seen := ev[root]; seen != nil && slices.Max(seen) == 1 && slices.Min(seen) == 0 {
						certain++ // the root is one in the frame, though it was seen
					}
					// What does not fit by the states alone does not fit.
					states := make([]int, n)
					for _, v := range q.edited {
						states[v] = q.States(v)
					}
					if room := 8 * r.Float64(); !f.Within(room, states) {
						over++
						require.Greater(t, w.touch(f), math.Exp2(room))
						_, fits, err := f.Ask(ctx, q, given, room)
						require.False(t, fits && f.serves)
						require.True(t, err == nil || total == 0)
					}
				} else {
					not++
				}
			}
			p, fits, err := f.Ask(ctx, q, given, math.Inf(1))
			if total == 0 {
				require.Error(t, err)
				continue
			}
			require.NoError(t, err)
			require.True(t, fits)
			for s, x := range joint[root] {
				require.InDelta(t, x/total, p[s], 1e-7)
			}
		}
	})
	t.Logf("%d served, %d not; of %d the root had been seen; %d over the room", served, not, certain, over)
	require.Greater(t, served, 1000)
	require.Greater(t, certain, 100)
	require.Greater(t, over, 100)
}

// TestFramesDecline tells what frames leave to the model: what is very unlikely beside their
// own evidence, and all where rounding makes more of that than the model is to be right to.
func TestFramesDecline(t *testing.T) {
	b := NewBuilder()
	rare := b.Root("rare", 1-1e-7, 1e-7)
	var links []Link
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		links = append(links, Link{Parent: b.Root(name, 0.7, 0.3), Pass: 0.4})
	}
	links = append(links, Link{Parent: rare, Pass: 0.5})
	b.Max("sign", 2, links, []float64{0.99, 0.01})
	m, err := b.Build()
	require.NoError(t, err)
	sign := links[5].Parent + 6
	require.Equal(t, "sign", m.Name(sign))
	ev := Evidence{sign: {0, 1}}
	f, err := m.Frame(ctx, math.Inf(1), ev, m.all()...)
	require.NoError(t, err)
	likely := Evidence{sign: {0, 1}, links[0].Parent: {0, 1}}
	post, err := f.infer(ctx, likely, m.all())
	require.NoError(t, err)
	require.NotNil(t, post)
	unlikely := Evidence{sign: {0, 1}, rare: {0, 1}}
	post, err = f.infer(ctx, unlikely, m.all())
	require.NoError(t, err)
	require.Nil(t, post)
	want, err := m.Infer(ctx, unlikely)
	require.NoError(t, err)
	post, err = f.Infer(ctx, unlikely, m.all()...)
	require.NoError(t, err)
	require.Equal(t, want.P(0), post.P(0))

	m.precise = 0
	f, err = m.Frame(ctx, math.Inf(1), ev, m.all()...)
	require.NoError(t, err)
	post, err = f.infer(ctx, likely, m.all())
	require.NoError(t, err)
	require.Nil(t, post)

	m.precise = 1e-9
	f, err = m.Frame(ctx, 2, ev, m.all()...)
	require.NoError(t, err)
	post, err = f.infer(ctx, likely, m.all())
	require.NoError(t, err)
	require.Nil(t, post, "it takes more than four numbers")
	post, err = f.Infer(ctx, likely, m.all()...)
	require.NoError(t, err)
	require.Equal(t, []float64{0, 1}, post.P(links[0].Parent))

	_, _, err = f.Ask(ctx, m, ev, 10)
	require.ErrorContains(t, err, "asked for one")
}

// TestSum adds what there is if something is so and if it is not.
func TestSum(t *testing.T) {
	check(t, 20, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		v := Var(r.IntN(n))
		if m.States(v) < 2 || ev[v] != nil {
			return
		}
		first := Hard(0, m.States(v))
		rest := make([]float64, m.States(v))
		for s := range rest {
			rest[s] = 1 - first[s]
		}
		whole, err := m.Infer(ctx, ev)
		part, partErr := m.Infer(ctx, Evidence{v: first}.with(ev))
		want, wantErr := m.Infer(ctx, Evidence{v: rest}.with(ev))
		if err != nil || partErr != nil || wantErr != nil {
			return
		}
		got, ok := Sum([]float64{1, -1}, []*Posterior{whole, part})
		if !ok {
			require.Less(t, want.LogP-whole.LogP, math.Log(3e-5))
			return
		}
		require.InDelta(t, want.LogP, got.LogP, 1e-9)
		for _, u := range m.all() {
			require.InDeltaSlice(t, want.P(u), got.P(u), 1e-9)
		}
	})
	a := &Posterior{LogP: 0, Rounding: 1e-10, probs: [][]float64{{0.5, 0.5}}}
	b := &Posterior{LogP: math.Log(0.99), Rounding: 1e-12, probs: [][]float64{{0.5, 0.5}}}
	got, ok := Sum([]float64{1, -1}, []*Posterior{a, b})
	require.True(t, ok)
	require.InDelta(t, 199*1e-10, got.Rounding, 1e-12, "what cancels rounds more")
	_, ok = Sum([]float64{1, -1}, []*Posterior{a, a})
	require.False(t, ok)
	_, ok = Sum(nil, nil)
	require.False(t, ok)
}

// with is evidence with more of it.
func (ev Evidence) with(more Evidence) Evidence {
	for v, l := range more {
		ev[v] = l
	}
	return ev
}

// TestGuidedModels holds that what follows the order of another question is as right.
func TestGuidedModels(t *testing.T) {
	followed := 0
	check(t, 30, func(t *rapid.T) {
		n, r := sizes.Draw(t, "variables"), dice(t)
		m := throwModel(t, r, n)
		ev := throwEvidence(m, r)
		guided := m.Guide(ctx, ev, m.all()...)
		require.Nil(t, m.guide, "the model is as it was")
		for range 3 {
			less := Evidence{}
			for v, l := range ev {
				if r.IntN(3) > 0 {
					less[v] = l
				}
			}
			query := some(r, m.all(), 0.5)
			want, err := m.Infer(ctx, less, query...)
			got, errGuided := guided.Infer(ctx, less, query...)
			require.Equal(t, err == nil, errGuided == nil)
			if err != nil {
				continue
			}
			if guided.guide != nil {
				followed++
			}
			require.InDelta(t, want.LogP, got.LogP, 1e-9)
			for _, v := range query {
				require.InDeltaSlice(t, want.P(v), got.P(v), 1e-9)
			}
		}
	})
	require.Greater(t, followed, 1000)
}

// TestEditsAreChecked tells what an edit can get wrong.
func TestEditsAreChecked(t *testing.T) {
	b := NewBuilder()
	x := b.Root("x", 0.5, 0.5)
	y := b.Table("y", 2, []Var{x}, []float64{1, 0, 0, 1})
	b.Max("z", 2, []Link{{Parent: y, Pass: 1, Levels: []int{0, 1}}}, nil)
	m, err := b.Build()
	require.NoError(t, err)

	edit := m.Edit()
	edit.Replace(x)
	edit.Root("x", 0.2, 0.3, 0.5)
	edit.Replace(y)
	edit.Root("w", 0.2, 0.3, 0.5)
	edit.Replace(9)
	edit.Replace(x)
	edit.Table("x", 2, []Var{y}, []float64{1, 0, 0, 1})
	_, err = edit.Build()
	require.Error(t, err)
	for _, says := range []string{
		"w: it replaces y, and must be of that name",
		"variable 9 is to be replaced, which there is not",
		"x: parent 1 is not a variable added before",
		"z: the link from w gives 2 levels, which has 3 states now",
	} {
		require.ErrorContains(t, err, says)
	}

	edit = m.Edit()
	edit.Replace(x)
	edit.Root("x", 0.2, 0.3, 0.5)
	_, err = edit.Build()
	require.ErrorContains(t, err, "y: the table has 4 entries, and 6 are needed for the states that its parents have now")

	edit = m.Edit()
	edit.Replace(x)
	edit.Root("x", 0.25, 0.75)
	edit.Root("more", 1)
	q, err := edit.Build()
	require.NoError(t, err)
	post, err := q.Infer(ctx, Evidence{})
	require.NoError(t, err)
	require.Equal(t, []float64{0.25, 0.75}, post.P(y))
	post, err = m.Infer(ctx, Evidence{})
	require.NoError(t, err)
	require.Equal(t, []float64{0.5, 0.5}, post.P(y), "the model edited is as it was")
}

// TestFramesServeConcurrently holds that a frame tells many at once, to the bit, what it
// tells one after the other.
func TestFramesServeConcurrently(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 0))
	for range 20 {
		m := throwModel(t, r, 14)
		ev := throwEvidence(m, r)
		root := Var(r.IntN(14))
		type question struct {
			q     *Model
			ev    Evidence
			query []Var
		}
		var questions []question
		for range 12 {
			given := maps.Clone(ev)
			for _, v := range ev.vars() {
				if r.IntN(5) == 0 {
					delete(given, v)
				}
			}
			questions = append(questions, question{throwEdit(t, r, m), given, some(r, m.all(), 0.5)})
		}
		ask := func(at bool) [][]float64 {
			all, err := m.Frame(ctx, math.Inf(1), ev, m.all()...)
			require.NoError(t, err)
			one, err := m.Frame(ctx, math.Inf(1), ev, root)
			require.NoError(t, err)
			out := make([][]float64, len(questions))
			var wg sync.WaitGroup
			for i, x := range questions {
				do := func() {
					if post, err := all.Infer(ctx, x.ev, x.query...); err == nil {
						out[i] = append(out[i], post.LogP)
						for _, v := range x.query {
							out[i] = append(out[i], post.P(v)...)
						}
					}
					if p, _, err := one.Ask(ctx, x.q, x.ev, math.Inf(1)); err == nil {
						out[i] = append(out[i], p...)
					}
				}
				if at {
					wg.Go(do)
				} else {
					do()
				}
			}
			wg.Wait()
			return out
		}
		require.Equal(t, ask(false), ask(true))
	}
}
