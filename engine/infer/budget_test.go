package infer

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// hostile models: each takes more than a small budget in another way.
func hostile(t testing.TB, budget int) map[string]struct {
	m  *Model
	ev Evidence
} {
	out := map[string]struct {
		m  *Model
		ev Evidence
	}{}
	add := func(name string, b *Builder, ev Evidence) {
		b.Budget(budget)
		out[name] = struct {
			m  *Model
			ev Evidence
		}{build(t, b), ev}
	}
	even := make([]float64, 1000)
	for i := range even {
		even[i] = 1e-3
	}

	// Everything with everything.
	b := NewBuilder()
	ev := Evidence{}
	const side = 40
	for i := range side {
		b.Root(fmt.Sprint(i), 0.5, 0.5)
	}
	for i := range side {
		for j := range i {
			ev[b.Table(fmt.Sprint(i, " ", j), 2, []Var{Var(i), Var(j)}, []float64{0.9, 0.1, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8})] = Hard(1, 2)
		}
	}
	add("clique", b, ev)

	// Gates of so many levels that a single link is a large table.
	b = NewBuilder()
	var links []Link
	for i := range 4 {
		links = append(links, Link{Parent: b.Root(fmt.Sprint(i), even...), Pass: 0.5})
	}
	g := b.Max("gate", 1000, links, nil)
	h := b.Max("below", 2, []Link{{Parent: g, Pass: 0.5}}, nil)
	below := Evidence{h: Hard(1, 2)}
	for i, l := range links {
		// What hangs on more than one gate is not just heard.
		below[b.Max(fmt.Sprint("another ", i), 2, []Link{l}, nil)] = Hard(1, 2)
	}
	add("levels", b, below)

	// Two gates over the same four.
	soft := make([]float64, 1000)
	for i := range soft {
		soft[i] = float64(i%7 + 1)
	}
	b = NewBuilder()
	links = nil
	var ends []Var
	for i := range 4 {
		ends = append(ends, b.Root(fmt.Sprint(i), even...))
		links = append(links, Link{Parent: ends[i], Pass: 0.5})
	}
	add("leaves", b, Evidence{b.Max("one", 1000, links, nil): soft, b.Min("two", 1000, ends): soft})

	// So many variables that the graph of them is beyond it.
	b = NewBuilder()
	ev = Evidence{}
	for i := range 40000 {
		v := b.Root(fmt.Sprint(i), 0.5, 0.5)
		ev[b.Table(fmt.Sprint("t", i), 2, []Var{v}, []float64{0.9, 0.1, 0.4, 0.6})] = Hard(1, 2)
	}
	add("crowd", b, ev)
	return out
}

func TestNothingIsAllocatedBeyondTheBudget(t *testing.T) {
	const budget = 1 << 20
	for name, x := range hostile(t, budget) {
		t.Run(name, func(t *testing.T) {
			var all []Var
			for v := range x.m.nodes {
				if len(x.m.nodes[v].parents) == 0 {
					all = append(all, Var(v))
				}
			}
			for what, ask := range map[string]func() error{
				"LogP":      func() error { _, err := x.m.LogP(ctx, x.ev); return err },
				"Infer":     func() error { _, err := x.m.Infer(ctx, x.ev); return err },
				"Calibrate": func() error { _, err := x.m.Calibrate(ctx, x.ev); return err },
				"MostProbable": func() error {
					_, _, err := x.m.MostProbable(ctx, x.ev, all[:4], 2, 10)
					return err
				},
				"Estimate": func() error {
					require.Greater(t, x.m.Estimate(ctx, x.ev).Log2, 20.0)
					return &TooLarge{}
				},
				"Within": func() error {
					require.False(t, x.m.Within(ctx, 20, x.ev))
					return &TooLarge{}
				},
			} {
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				err := ask()
				runtime.ReadMemStats(&after)
				require.ErrorAs(t, err, new(*TooLarge), what)
				// The numbers, what is kept by variable, and the growth of slices.
				limit := uint64(3*8*budget + 4000*x.m.Len())
				require.Less(t, after.TotalAlloc-before.TotalAlloc, limit, what)
			}
		})
	}
}

// What is answered has stayed within the budget: about twice as much is held where
// posteriors are asked for.
func TestAnswersStayWithinTheBudget(t *testing.T) {
	answered, divided := 0, 0
	logP := math.NaN()
	for budget := 1 << 22; budget >= 1<<18; budget -= budget / 5 {
		for _, marginals := range []bool{false, true} {
			b := NewBuilder()
			ev := Evidence{}
			const side = 19
			for i := range side {
				b.Root(fmt.Sprint(i), 0.5, 0.5)
			}
			for i := range side {
				for j := range i {
					ev[b.Table(fmt.Sprint(i, " ", j), 2, []Var{Var(i), Var(j)}, []float64{0.9, 0.1, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8})] = Hard(1, 2)
				}
			}
			b.Budget(budget)
			m := build(t, b)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			var got float64
			if marginals {
				post, err := m.Infer(ctx, ev, 0, 1, 2)
				require.NoError(t, err)
				got = post.LogP
			} else {
				var err error
				got, err = m.LogP(ctx, ev)
				require.NoError(t, err)
			}
			runtime.ReadMemStats(&after)
			require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(8*budget+1<<19))
			if math.IsNaN(logP) {
				logP = got
			}
			nearOr(t, 1e-9, logP, got)
			w := m.work()
			require.True(t, w.reduce(ev, []Var{0, 1, 2}, m.limits, ranked))
			if ok, err := w.propagate(ctx, marginals, false); !ok {
				require.ErrorAs(t, err, new(*TooLarge))
				divided++
			} else {
				answered++
			}
		}
	}
	require.Greater(t, divided, 3)
	require.Greater(t, answered, 3)
}

// With a budget that suffices, the answers are those of a larger one.
func TestBudgetDoesNotChangeAnswers(t *testing.T) {
	net := readNets(t, "medium_modular.json")[0]
	m, vars := net.model(t)
	ev := net.evidence(12, vars)
	want, err := m.Infer(ctx, ev, above(m, ev)...)
	require.NoError(t, err)
	answered, divided := false, 0
	for budget := 1 << 10; budget < 1<<22; budget *= 2 {
		less := &Model{nodes: m.nodes, limits: m.limits, budget: budget, precise: m.precise, shared: &Shared{}}
		got, err := less.Infer(ctx, ev, above(m, ev)...)
		if err != nil {
			require.ErrorAs(t, err, new(*TooLarge))
			require.False(t, answered, "what fits into less fits into more")
			continue
		}
		answered = true
		if w := less.work(); !w.reduce(ev, nil, less.limits, ranked) || w.prepare(ctx) != nil {
			divided++
		}
		nearOr(t, 1e-9, want.LogP, got.LogP)
		for _, v := range above(m, ev) {
			near(t, want.P(v)[1], got.P(v)[1], m.Name(v), " within ", budget)
		}
	}
	require.True(t, answered)
	require.NotZero(t, divided, "some were answered case by case")
}

// patience is a context that is done after so many looks at it.
type patience struct {
	context.Context
	left, after int
}

func (p *patience) Err() error {
	if p.left--; p.left >= 0 {
		return nil
	}
	p.after++
	return context.Canceled
}

func TestCancelled(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	m, signs := machine(t, r, 900)
	ev := observeSome(r, signs, 1350)
	causes := above(m, ev)[:40]
	for what, ask := range map[string]func(ctx context.Context) error{
		"LogP":      func(ctx context.Context) error { _, err := m.LogP(ctx, ev); return err },
		"Infer":     func(ctx context.Context) error { _, err := m.Infer(ctx, ev); return err },
		"Calibrate": func(ctx context.Context) error { _, err := m.Calibrate(ctx, ev); return err },
		"MostProbable": func(ctx context.Context) error {
			_, _, err := m.MostProbable(ctx, ev, causes, 3, 30)
			return err
		},
	} {
		looks := &patience{left: 1 << 30}
		m.forget()
		require.NoError(t, ask(looks), what)
		total := 1<<30 - looks.left
		require.Greater(t, total, 20, "%s: a long question looks at its context", what)
		for _, left := range []int{0, 1, 2, 3, 5, 8, 13, total / 4, total / 2, 3 * total / 4, total - 1} {
			m.forget()
			ctx := &patience{left: left}
			require.ErrorIs(t, ask(ctx), context.Canceled, "%s after %d of %d", what, left, total)
			require.Less(t, ctx.after, 30, "%s goes on", what)
		}
	}
	done, cancel := context.WithCancel(ctx)
	cancel()
	require.False(t, m.Within(done, 60, ev))
}

// How long a question that would take long goes on once its context is done.
func BenchmarkCancel(b *testing.B) {
	net, _ := readRefNets(b, "medium_modular")
	m, vars := net.model(b)
	ev := net.evidence(17, vars)
	for _, after := range []time.Duration{2, 10, 50, 150, 250} {
		b.Run(fmt.Sprint(after*time.Millisecond), func(b *testing.B) {
			worst := 0.0
			for b.Loop() {
				m.forget()
				ctx, cancel := context.WithTimeout(ctx, after*time.Millisecond)
				_, err := m.Infer(ctx, ev, above(m, ev)...)
				late, _ := ctx.Deadline()
				worst = max(worst, time.Since(late).Seconds()*1e3)
				cancel()
				if !errors.Is(err, context.DeadlineExceeded) {
					b.Skip("done before")
				}
			}
			b.ReportMetric(worst, "worst-ms")
		})
	}
}
