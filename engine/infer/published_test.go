package infer

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Published networks, typed from the publications, with the answers printed there
// or, where so noted, following from the printed tables by hand.

func build(t testing.TB, b *Builder) *Model {
	m, err := b.Build()
	require.NoError(t, err)
	return m
}

// The alarm of J. Pearl, as in S. Russell & P. Norvig, Artificial Intelligence: A
// Modern Approach, figure 14.2 (3rd edition): P(Burglary | JohnCalls, MaryCalls)
// is <0.284, 0.716>, and P(j, m, a, not b, not e) is 0.000628.
func TestBurglary(t *testing.T) {
	b := NewBuilder()
	burglary := b.Root("burglary", 0.999, 0.001)
	earthquake := b.Root("earthquake", 0.998, 0.002)
	alarm := b.Table("alarm", 2, []Var{burglary, earthquake}, []float64{0.999, 0.001, 0.71, 0.29, 0.06, 0.94, 0.05, 0.95})
	john := b.Table("john", 2, []Var{alarm}, []float64{0.95, 0.05, 0.10, 0.90})
	mary := b.Table("mary", 2, []Var{alarm}, []float64{0.99, 0.01, 0.30, 0.70})
	m := build(t, b)
	yes, no := Hard(1, 2), Hard(0, 2)

	post, err := m.Infer(ctx, Evidence{john: yes, mary: yes})
	require.NoError(t, err)
	require.InDelta(t, 0.2842, post.P(burglary)[1], 5e-5)
	require.InDelta(t, 0.7158, post.P(burglary)[0], 5e-5)

	logP, err := m.LogP(ctx, Evidence{john: yes, mary: yes, alarm: yes, burglary: no, earthquake: no})
	require.NoError(t, err)
	require.InDelta(t, -7.3736, logP, 1e-3) // ln 0.000628 = -7.3730, from 0.00062811
}

// The lawn of S. Russell & P. Norvig (figure 14.12), with the answers of K.
// Murphy, A Brief Introduction to Graphical Models and Bayesian Networks (1998):
// P(S=1 | W=1) = 0.4298, P(R=1 | W=1) = 0.7079, normalised by 0.6471; and, by
// explaining away, P(S=1 | W=1, R=1) = 0.1945.
func TestSprinkler(t *testing.T) {
	b := NewBuilder()
	cloudy := b.Root("cloudy", 0.5, 0.5)
	sprinkler := b.Table("sprinkler", 2, []Var{cloudy}, []float64{0.5, 0.5, 0.9, 0.1})
	rain := b.Table("rain", 2, []Var{cloudy}, []float64{0.8, 0.2, 0.2, 0.8})
	wet := b.Table("wet", 2, []Var{sprinkler, rain}, []float64{1, 0, 0.1, 0.9, 0.1, 0.9, 0.01, 0.99})
	m := build(t, b)

	post, err := m.Infer(ctx, Evidence{wet: Hard(1, 2)})
	require.NoError(t, err)
	require.InDelta(t, 0.4298, post.P(sprinkler)[1], 5e-5)
	require.InDelta(t, 0.7079, post.P(rain)[1], 5e-5)
	require.InDelta(t, -0.43525, post.LogP, 1e-4) // ln 0.6471

	post, err = m.Infer(ctx, Evidence{wet: Hard(1, 2), rain: Hard(1, 2)}, sprinkler)
	require.NoError(t, err)
	require.InDelta(t, 0.1945, post.P(sprinkler)[1], 5e-5)
	require.Nil(t, post.P(cloudy))
}

// The chest clinic of S. L. Lauritzen & D. J. Spiegelhalter, Local Computations
// with Probabilities on Graphical Structures and their Application to Expert
// Systems, J. R. Statist. Soc. B 50 (1988) 157-224, table 1. Its marginals follow
// from the table by hand: tuberculosis .0104, lung cancer .0550, bronchitis .4500,
// either .0648, positive X-ray .1103, dyspnoea .4360.
func TestChestClinic(t *testing.T) {
	b := NewBuilder()
	asia := b.Root("visit to Asia", 0.99, 0.01)
	smoking := b.Root("smoking", 0.5, 0.5)
	tub := b.Table("tuberculosis", 2, []Var{asia}, []float64{0.99, 0.01, 0.95, 0.05})
	lung := b.Table("lung cancer", 2, []Var{smoking}, []float64{0.99, 0.01, 0.90, 0.10})
	bron := b.Table("bronchitis", 2, []Var{smoking}, []float64{0.70, 0.30, 0.40, 0.60})
	either := b.Max("either", 2, []Link{{Parent: tub, Pass: 1}, {Parent: lung, Pass: 1}}, nil)
	xray := b.Table("X-ray", 2, []Var{either}, []float64{0.95, 0.05, 0.02, 0.98})
	dysp := b.Table("dyspnoea", 2, []Var{either, bron}, []float64{0.9, 0.1, 0.2, 0.8, 0.3, 0.7, 0.1, 0.9})
	m := build(t, b)

	post, err := m.Infer(ctx, nil)
	require.NoError(t, err)
	require.InDelta(t, 0, post.LogP, 1e-14)
	for v, want := range map[Var]float64{tub: 0.0104, lung: 0.0550, bron: 0.4500, either: 0.0648, xray: 0.1103, dysp: 0.4360} {
		require.InDelta(t, want, post.P(v)[1], 5e-5, m.Name(v))
	}

	// A non-smoker back from Asia, short of breath, with a clear X-ray, by the sum
	// over the two diseases and bronchitis.
	ev := Evidence{asia: Hard(1, 2), smoking: Hard(0, 2), dysp: Hard(1, 2), xray: Hard(0, 2)}
	post, err = m.Infer(ctx, ev)
	require.NoError(t, err)
	healthy := 0.95 * 0.99 * 0.95 * (0.3*0.8 + 0.7*0.1)
	ill := 0.02 * (0.3*0.9 + 0.7*0.7)
	sick := (1 - 0.95*0.99) * ill
	require.InDelta(t, sick/(healthy+sick), post.P(either)[1], 1e-12)
	require.InDelta(t, 0.05*ill/(healthy+sick), post.P(tub)[1], 1e-12)
}
