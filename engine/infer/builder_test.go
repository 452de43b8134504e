package infer

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestBuildReportsEveryFault(t *testing.T) {
	b := NewBuilder()
	a := b.Root("a", 0.5, 0.6)
	b.Root("a", 1)
	b.Root("", 1)
	b.Root("none")
	b.Root("nan", math.NaN(), 1)
	b.Table("short", 2, []Var{a}, []float64{1, 0})
	b.Table("later", 2, []Var{99}, []float64{1, 0, 1, 0})
	b.Table("twice", 2, []Var{a, a}, make([]float64, 8))
	b.Max("over", 2, []Link{{Parent: a, Pass: 1.5}}, nil)
	b.Max("leaky", 2, []Link{{Parent: a, Pass: 0.5}}, []float64{1})
	b.Max("leakier", 2, nil, []float64{0.5, 0.4})
	b.Max("orphan", 2, []Link{{Parent: -1, Pass: 0.5}}, nil)
	b.Max("crooked", 3, []Link{{Parent: a, Pass: 0.5, Levels: []int{0}}}, nil)
	b.Max("sunken", 3, []Link{{Parent: a, Pass: 0.5, Levels: []int{0, -1}}}, nil)
	b.Max("split", 3, []Link{{Parent: a, Pass: 0.5}, {Parent: a, Pass: 0.5, Levels: []int{0, 2}}}, nil)
	b.Min("empty", 2, nil)
	b.Min("flat", 0, []Var{a})
	_, err := b.Build()
	require.EqualError(t, err, `a: row 0: the probabilities sum to 1.1, not to 1
none: 0 states; there must be 1..1024
nan: row 0: NaN is not a probability
short: the table has 2 entries, but 2 rows of 2 states are needed
later: parent 99 is not a variable added before
twice: parent a is listed twice
over: the link from a passes with probability 1.5, which is not in 0..1
leaky: the leak has 1 entries for 2 states
leakier: leak: the probabilities sum to 0.9, not to 1
orphan: parent -1 is not a variable added before
crooked: the link from a gives 1 levels for 2 states
sunken: the link from a gives a level below 0
split: two links from a see different levels
empty: a conjunction needs at least one parent
flat: 0 states; there must be 1..1024
a: two variables have this name
variable 2 has no name`)
}

func TestBadQuestions(t *testing.T) {
	b := NewBuilder()
	a := b.Root("a", 0.5, 0.5)
	m := build(t, b)
	for _, ev := range []Evidence{
		{7: {1, 1}}, {-1: {1, 1}}, {a: {1}}, {a: nil}, {a: {1, -1}}, {a: {1, math.NaN()}}, {a: {math.Inf(1), 1}},
		{a: Hard(2, 2)}, {a: Hard(-1, 2)}, {a: Times([]float64{1, 0}, []float64{0, 1})}, {a: Times([]float64{1}, []float64{1, 1})},
	} {
		_, err := m.LogP(ctx, ev)
		require.Error(t, err, ev)
		_, err = m.Infer(ctx, ev)
		require.Error(t, err, ev)
		_, _, err = m.MostProbable(ctx, ev, []Var{a}, 1, 10)
		require.Error(t, err, ev)
		require.Zero(t, m.Estimate(ctx, ev, a))
	}
	_, err := m.Infer(ctx, nil, 5)
	require.Error(t, err)
	_, _, err = m.MostProbable(ctx, nil, []Var{-3}, 1, 10)
	require.Error(t, err)
	require.Equal(t, "", m.Name(9))
	require.Equal(t, 0, m.States(-1))
}

func TestEmptyModel(t *testing.T) {
	m := build(t, NewBuilder())
	post, err := m.Infer(ctx, nil)
	require.NoError(t, err)
	require.Zero(t, post.LogP)
	require.Nil(t, post.P(0))
	found, proven, err := m.MostProbable(ctx, nil, nil, 3, 10)
	require.NoError(t, err)
	require.True(t, proven)
	require.Len(t, found, 1)
}

// A gate with many parents must never become a table over them.
func TestManyParentsStaySmall(t *testing.T) {
	for _, states := range []int{2, 3} {
		b := NewBuilder()
		var links []Link
		var parents []Var
		silent := 0.99
		for i := range 60 {
			parents = append(parents, b.Root(string(rune('A'+i)), 0.9, 0.1))
			links = append(links, Link{Parent: parents[i], Pass: 0.5})
			silent *= 0.95
		}
		gate := b.Max("gate", states, links, []float64{0.99, 0.01, 0}[:states])
		leaf := b.Max("leaf", states, []Link{{Parent: gate, Pass: 0.25}}, nil)
		m := build(t, b)
		for _, ev := range []Evidence{{gate: Hard(0, states)}, {gate: Hard(1, states)}, {leaf: Hard(1, states)}, {leaf: Hard(0, states)}} {
			require.LessOrEqual(t, m.Estimate(ctx, ev, parents...).Width, 4)
			// Where nothing is asked of them, they are summed out as they are heard.
			require.LessOrEqual(t, m.Estimate(ctx, ev).Width, 1)
		}
		logP, err := m.LogP(ctx, Evidence{gate: Hard(0, states)})
		require.NoError(t, err)
		near(t, math.Log(silent), logP)
		logP, err = m.LogP(ctx, Evidence{leaf: Hard(1, states)})
		require.NoError(t, err)
		near(t, math.Log(0.25*(1-silent)), logP)
		// Not found: each parent has its own factor, and there is no table.
		require.Equal(t, 1, m.Estimate(ctx, Evidence{gate: Hard(0, states)}, parents...).Width)
	}
}

// What is too entangled is refused, not attempted.
func TestTooLarge(t *testing.T) {
	b := NewBuilder()
	const side = 40
	ev := Evidence{}
	for i := range side {
		b.Root(string(rune('A'+i)), 0.5, 0.5)
	}
	for i := range side {
		for j := range i {
			v := b.Table(string(rune('A'+i))+string(rune('A'+j)), 2, []Var{Var(i), Var(j)}, []float64{0.9, 0.1, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8})
			ev[v] = Hard(1, 2)
		}
	}
	m := build(t, b)
	_, err := m.LogP(ctx, ev)
	var large *TooLarge
	require.ErrorAs(t, err, &large)
	require.Equal(t, side, large.Cost.Width)
}

// Evidence beyond the range of float64 is no matter.
func TestTinyProbabilities(t *testing.T) {
	b := NewBuilder()
	cause := b.Root("cause", 0.5, 0.5)
	ev := Evidence{}
	want := [2]float64{math.Log(0.5), math.Log(0.5)}
	for i := range 600 {
		v := b.Table(string(rune('A'+i)), 2, []Var{cause}, []float64{1 - 1e-5, 1e-5, 1 - 1.01e-5, 1.01e-5})
		ev[v] = Hard(1, 2)
		want[0] += math.Log(1e-5)
		want[1] += math.Log(1.01e-5)
	}
	m := build(t, b)
	post, err := m.Infer(ctx, ev, cause)
	require.NoError(t, err)
	near(t, want[1]+math.Log1p(math.Exp(want[0]-want[1])), post.LogP)
	near(t, 1/(1+math.Exp(want[0]-want[1])), post.P(cause)[1])
}

// The same for what was not found, which makes no tables.
func TestManyNotFound(t *testing.T) {
	b := NewBuilder()
	cause := b.Root("cause", 0, 0.5, 0.5)
	ev := Evidence{}
	want := [2]float64{math.Log(0.5), math.Log(0.5)}
	for i := range 200 {
		levels := []int{0, 1, i % 2}
		v := b.Max(string(rune('A'+i)), 2, []Link{{Parent: cause, Pass: 0.99, Levels: levels}}, nil)
		ev[v] = Hard(0, 2)
		for s := range want {
			if levels[s+1] == 1 {
				want[s] += math.Log(0.01)
			}
		}
	}
	m := build(t, b)
	post, err := m.Infer(ctx, ev, cause)
	require.NoError(t, err)
	near(t, want[1], post.LogP)
	near(t, want[0]-want[1], math.Log(post.P(cause)[1]))
}

// Tables are printed with few digits; their rows are taken to be meant to sum to one.
func TestRowsAreNormalised(t *testing.T) {
	b := NewBuilder()
	third := b.Root("third", 0.3333333, 0.3333333, 0.3333333)
	m := build(t, b)
	post, err := m.Infer(ctx, nil, third)
	require.NoError(t, err)
	require.InDelta(t, 1.0/3, post.P(third)[2], 1e-15)
	logP, err := m.LogP(ctx, Evidence{third: Hard(0, 3)})
	require.NoError(t, err)
	require.InDelta(t, math.Log(1.0/3), logP, 1e-15)
}
