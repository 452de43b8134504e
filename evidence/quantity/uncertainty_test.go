package quantity

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// JCGM 106:2012, 7.3.2, example 1: a Zener voltage of −5.47 V, standard
// uncertainty 0.05 V, at most −5.40 V: it conforms with 92 in 100.
func TestZenerDiode(t *testing.T) {
	p := 1 - Above(-5.47, -5.40, Doubt{Repeat: 0.05})
	assert.InDelta(t, 0.9192, p, 5e-5)
	assert.InDelta(t, p, Within(-5.47, math.Inf(-1), -5.40, Doubt{Repeat: 0.05}), 1e-15)
}

// JCGM 106:2012, 7.4: kinematic viscosity of an SAE 40 oil at 100 °C, 13.6 mm²/s
// with 1.8 mm²/s, from 12.5 to 16.3 mm²/s: 0.933 − 0.271 = 0.66.
func TestSAE40Oil(t *testing.T) {
	at := func(text string) float64 {
		v, err := Parse(text)
		require.NoError(t, err)
		return v.SI()
	}
	d := Doubt{Repeat: at("1.8 mm²/s")}
	y, low, high := at("13.6 mm²/s"), at("12.5 cSt"), at("16.3 cSt")
	assert.InDelta(t, 0.933, 1-Above(y, high, d), 5e-4)
	assert.InDelta(t, 0.271, 1-Above(y, low, d), 5e-4)
	assert.InDelta(t, 0.6626, Within(y, low, high, d), 5e-5)
}

// JCGM 106:2012, 9.5.4: resistors of 1500 Ω, production 0.12 Ω, measured with 0.04
// Ω, tolerance ± 0.20 Ω, accepted within ± 0.18 Ω. Of what is made 0.90 conform;
// the consumer's risk is 1 in 100 and the producer's 7 in 100. Worked out here by
// integration over what may be measured.
func TestResistorRisks(t *testing.T) {
	const nominal, u0, um, tolerance = 1500.0, 0.12, 0.04, 0.20
	assert.InDelta(t, 0.9044, Within(nominal, nominal-tolerance, nominal+tolerance, Doubt{Repeat: u0}), 5e-5)

	risks := func(accept float64) (consumer, producer float64) {
		// What is known once y is measured: the mean of production and y, each by
		// its weight (JCGM 106:2012, 6.5.2 with a normal prior).
		after := Doubt{Repeat: u0 * um / math.Hypot(u0, um)}
		spread := math.Hypot(u0, um)
		const steps = 40000
		h := 12 * spread / steps
		for i := range steps {
			y := nominal + (float64(i)+0.5)*h - 6*spread
			best := (nominal*um*um + y*u0*u0) / (u0*u0 + um*um)
			conforms := Within(best, nominal-tolerance, nominal+tolerance, after)
			z := (y - nominal) / spread
			density := math.Exp(-z*z/2) / (math.Sqrt(2*math.Pi) * spread) * h
			if math.Abs(y-nominal) <= accept {
				consumer += (1 - conforms) * density
			} else {
				producer += conforms * density
			}
		}
		return consumer, producer
	}
	consumer, producer := risks(0.18)
	assert.InDelta(t, 0.00987, consumer, 5e-5)
	assert.InDelta(t, 0.0690, producer, 5e-4)
	// Accepted up to the tolerance itself (worked out from the same data).
	consumer, producer = risks(tolerance)
	assert.InDelta(t, 0.0189, consumer, 5e-4)
	assert.InDelta(t, 0.0372, producer, 5e-4)
}

// ISO 14253-1: up to 0.060 mm, u = 0.003 mm, U = 0.006 mm (k = 2): up to 0.054 mm
// conformity is proved, over 0.066 mm the contrary, and between the two neither.
// By the edition of 2017 it is proved at 95 in 100, on one side at 1.645 u.
func TestZonesOfISO14253(t *testing.T) {
	d := Doubt{Repeat: 0.003}
	const twoSigma = 0.02275 // 1 − Φ(2)
	assert.InDelta(t, twoSigma, Above(0.054, 0.060, d), 1e-5)
	assert.InDelta(t, 1-twoSigma, Above(0.066, 0.060, d), 1e-5)
	assert.InDelta(t, 0.05, Above(0.060-1.645*0.003, 0.060, d), 1e-4)
	assert.InDelta(t, 0.95, Above(0.060+1.645*0.003, 0.060, d), 1e-4)
	assert.Equal(t, 0.5, Above(0.060, 0.060, d))
}

// GUM (JCGM 100:2008), annex H.1: an end gauge of 50 mm against a standard.
// Contributions 25, 9.7, 2.9 and 16.6 nm, and none from the two inputs of which
// the factor is nil; together 32 nm (31.7). Lengths in nm.
func TestGaugeBlockOfGUM(t *testing.T) {
	const (
		standard = iota
		difference
		alpha
		theta
		dAlpha
		dTheta
	)
	in := []Input{
		standard:   {Value: 50.000623e6, Doubt: Doubt{Repeat: 25}},
		difference: {Value: 215, Doubt: Doubt{Repeat: 9.7}},
		alpha:      {Value: 11.5e-6, Doubt: Doubt{Half: 2e-6}}, // rectangular, u = 1.2e-6
		theta:      {Value: -0.1, Doubt: Doubt{Repeat: 0.41}},
		dAlpha:     {Value: 0, Doubt: Doubt{Half: 1e-6}}, // rectangular, u = 0.58e-6
		dTheta:     {Value: 0, Doubt: Doubt{Half: 0.05}}, // rectangular, u = 0.029
	}
	l := func(x []float64) float64 {
		return x[standard] + x[difference] - x[standard]*(x[dAlpha]*x[theta]+x[alpha]*x[dTheta])
	}
	out, ok := Combine(l, in)
	require.True(t, ok)
	assert.InDelta(t, 50.000838e6, out.Value, 0.5)
	for i, want := range map[int]float64{standard: 25, difference: 9.7, dAlpha: 2.9, dTheta: -16.6, alpha: 0, theta: 0} {
		assert.InDelta(t, want, out.Change[i], 0.05, "input %d", i)
	}
	assert.InDelta(t, 31.7, out.Doubt.Standard(), 0.05)
	assert.InDelta(t, 1002, math.Pow(out.Doubt.Standard(), 2), 3)
}

// A clearance is the difference of two readings: 2.0 and 1.5 µm make 2.5 µm (GUM
// 5.1.2), 5 µm with k = 2.
func TestClearanceByDifference(t *testing.T) {
	out, ok := Combine(func(x []float64) float64 { return x[0] - x[1] }, []Input{{Value: 60.060e-3, Doubt: Doubt{Repeat: 2e-6}}, {Value: 60e-3, Doubt: Doubt{Repeat: 1.5e-6}}})
	require.True(t, ok)
	assert.InDelta(t, 0.060e-3, out.Value, 1e-12)
	assert.InEpsilon(t, 2.5e-6, out.Doubt.Standard(), 1e-9)
}

// GUM 4.3.7: within ± 2 µm and nothing more known, u = 2/√3 = 1.155 µm; and where
// that is all the doubt there is, the value lies surely within.
func TestRectangular(t *testing.T) {
	d := Doubt{Half: 2}
	assert.InDelta(t, 1.1547, d.Standard(), 5e-5)
	for limit, want := range map[float64]float64{7: 1, 7.9: 1, 8: 1, 9: 0.75, 10: 0.5, 11: 0.25, 12: 0, 13: 0} {
		assert.InDelta(t, want, Above(10, limit, d), 1e-12, "limit %v", limit)
	}
	// A single such input stays what it is, whatever the factor; two of them do not.
	one, ok := Combine(func(x []float64) float64 { return 3*x[0] + x[1] }, []Input{{Value: 1, Doubt: d}, {Value: 5}})
	require.True(t, ok)
	assert.InDelta(t, 6, one.Doubt.Half, 1e-9)
	assert.Zero(t, one.Doubt.Repeat)
	two, ok := Combine(func(x []float64) float64 { return x[0] + x[1] }, []Input{{Value: 1, Doubt: d}, {Value: 5, Doubt: d}})
	require.True(t, ok)
	assert.Zero(t, two.Doubt.Half)
	assert.InEpsilon(t, math.Sqrt(8.0/3), two.Doubt.Standard(), 1e-9)
}

// Without any doubt it is yes or no, and one half at the limit.
func TestNoDoubt(t *testing.T) {
	assert.Equal(t, []float64{0, 0.5, 1}, []float64{Above(1, 2, Doubt{}), Above(2, 2, Doubt{}), Above(3, 2, Doubt{})})
	assert.Equal(t, 1.0, Within(1, math.Inf(-1), math.Inf(1), Doubt{}))
}

// Factors of the normal distribution: GUM, table G.1.
func TestStated(t *testing.T) {
	for coverage, factor := range map[string]float64{"standard": 1, "k=1": 1, "": 1.960, "expanded": 1.960, "95 %": 1.960, "95%": 1.960, " 95 % ": 1.960, "90 %": 1.645, "99 %": 2.576, "68.27 %": 1, "95.45 %": 2, "99.73 %": 3, "k=2": 2, "K = 2": 2, "k=2.5": 2.5} {
		d, err := FromStated(6e-6, coverage)
		require.NoError(t, err, coverage)
		assert.InEpsilon(t, 6e-6/factor, d.Repeat, 5e-4, coverage)
		assert.Zero(t, d.Half)
	}
	for _, coverage := range []string{"limits", "resolution", "100 %"} {
		d, err := FromStated(6e-6, coverage)
		require.NoError(t, err, coverage)
		assert.Equal(t, Doubt{Half: 6e-6}, d)
	}
	for _, coverage := range []string{"about", "0 %", "120 %", "k=0", "k", "2 %%", "0.5 %"} {
		_, err := FromStated(6e-6, coverage)
		var e ErrValue
		require.ErrorAs(t, err, &e, coverage)
		assert.Equal(t, "write one of: standard, 95 %, 99 %, k=2, limits", e.Hint)
	}
	for _, coverage := range Coverages {
		_, err := FromStated(1, coverage)
		assert.NoError(t, err, coverage)
	}
}

func drawDoubt(t *rapid.T) Doubt {
	return Doubt{Repeat: rapid.Float64Range(0, 3).Draw(t, "repeat"), Bias: rapid.Float64Range(0, 3).Draw(t, "bias"), Half: rapid.Float64Range(0, 3).Draw(t, "half")}
}

// The more is read the surer it lies above, and the higher the limit the less so;
// above and below it make up the whole; so do below, within and above of a range.
func TestConformityIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDoubt(t)
		if rapid.Bool().Draw(t, "rectangular") {
			d.Repeat, d.Bias = 0, 0
		}
		r := rapid.Float64Range(-10, 10)
		y, limit, more := r.Draw(t, "y"), r.Draw(t, "limit"), rapid.Float64Range(0, 5).Draw(t, "more")
		p := Above(y, limit, d)
		switch {
		case p < 0 || p > 1 || math.IsNaN(p):
			t.Fatalf("probability %v", p)
		case Above(y+more, limit, d) < p:
			t.Fatalf("less probable above with a higher reading")
		case Above(y, limit+more, d) > p:
			t.Fatalf("more probable above a higher limit")
		case math.Abs(p+Above(limit, y, d)-1) > 1e-12:
			t.Fatalf("above %v and below %v do not make one", p, Above(limit, y, d))
		case math.Abs(1-Above(y, limit, d)+Within(y, limit, limit+more, d)+Above(y, limit+more, d)-1) > 1e-12:
			t.Fatalf("below, within and above do not make one")
		}
	})
}

// Of a linear function the uncertainty is that of the closed form (GUM 5.1.2 and
// 5.2.2), the bias of one tool moving all its readings together.
func TestLinearCombination(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "n")
		in, c := make([]Input, n), make([]float64, n)
		repeat, lone, shared, value := 0.0, 0.0, map[string]float64{}, 0.0
		for i := range in {
			in[i] = Input{Value: rapid.Float64Range(-100, 100).Draw(t, "value"), Doubt: drawDoubt(t), Instrument: rapid.SampledFrom([]string{"", "micrometer", "bore gauge"}).Draw(t, "tool")}
			c[i] = rapid.Float64Range(-3, 3).Draw(t, "factor")
			d := in[i].Doubt
			value += c[i] * in[i].Value
			repeat += c[i] * c[i] * (d.Repeat*d.Repeat + d.Half*d.Half/3)
			if in[i].Instrument == "" {
				lone += c[i] * c[i] * d.Bias * d.Bias
			} else {
				shared[in[i].Instrument] += c[i] * d.Bias
			}
		}
		want := repeat + lone
		for _, s := range shared {
			want += s * s
		}
		out, ok := Combine(func(x []float64) float64 {
			s := 0.0
			for i := range x {
				s += c[i] * x[i]
			}
			return s
		}, in)
		if !ok {
			t.Fatal("not known")
		}
		if math.Abs(out.Value-value) > 1e-9 || math.Abs(out.Doubt.Standard()-math.Sqrt(want)) > 1e-9 {
			t.Fatalf("%v ± %v, and should be %v ± %v", out.Value, out.Doubt.Standard(), value, math.Sqrt(want))
		}
		for i := range in {
			if math.Abs(out.Change[i]-c[i]*in[i].Doubt.Standard()) > 1e-9 {
				t.Fatalf("input %d moves it by %v, and should by %v", i, out.Change[i], c[i]*in[i].Doubt.Standard())
			}
		}
	})
}

// What two readings of one tool share falls out of their difference, and adds in
// their sum; of two tools it does neither (GUM F.1.2.3).
func TestBiasOfOneTool(t *testing.T) {
	for _, tc := range []struct {
		tools      [2]string
		difference float64
		sum        float64
	}{
		{[2]string{"micrometer", "micrometer"}, 3 * math.Sqrt2, math.Sqrt(2*9 + 8*8)},
		{[2]string{"micrometer", "micrometer 2"}, 5 * math.Sqrt2, 5 * math.Sqrt2},
		{[2]string{"", ""}, 5 * math.Sqrt2, 5 * math.Sqrt2},
	} {
		in := []Input{{Value: 60, Doubt: Doubt{Repeat: 3, Bias: 4}, Instrument: tc.tools[0]}, {Value: 50, Doubt: Doubt{Repeat: 3, Bias: 4}, Instrument: tc.tools[1]}}
		out, ok := Combine(func(x []float64) float64 { return x[0] - x[1] }, in)
		require.True(t, ok)
		assert.InEpsilon(t, tc.difference, out.Doubt.Standard(), 1e-9, tc.tools)
		out, ok = Combine(func(x []float64) float64 { return x[0] + x[1] }, in)
		require.True(t, ok)
		assert.InEpsilon(t, tc.sum, out.Doubt.Standard(), 1e-9, tc.tools)
	}
}

// Two equal readings have a difference of nil, and of which the size is not known
// to be nil: each can be off. The mean square of |a − b| with a, b independent, of
// one mean and standard deviation u, is 2u².
func TestDoubtAtABend(t *testing.T) {
	gap := func(x []float64) float64 { return math.Abs(x[0] - x[1]) }
	out, ok := Combine(gap, []Input{{Value: 60, Doubt: Doubt{Repeat: 3}}, {Value: 60, Doubt: Doubt{Repeat: 3}}})
	require.True(t, ok)
	assert.InEpsilon(t, 3*math.Sqrt2, out.Doubt.Standard(), 1e-9)
	// Far from equal it is the plain difference again, and the tool's bias drops out.
	for _, b := range []float64{60, 90} {
		out, ok = Combine(gap, []Input{{Value: 60, Doubt: Doubt{Repeat: 3, Bias: 7}, Instrument: "micrometer"}, {Value: b, Doubt: Doubt{Repeat: 3, Bias: 7}, Instrument: "micrometer"}})
		require.True(t, ok)
		assert.InEpsilon(t, 3*math.Sqrt2, out.Doubt.Standard(), 1e-9, b)
	}
	// Of two tools, or of tools that are not named, it does not.
	for _, tools := range [][2]string{{"a", "b"}, {"", ""}} {
		out, ok = Combine(gap, []Input{{Value: 60, Doubt: Doubt{Bias: 3}, Instrument: tools[0]}, {Value: 60, Doubt: Doubt{Bias: 4}, Instrument: tools[1]}})
		require.True(t, ok)
		assert.InEpsilon(t, 5, out.Doubt.Standard(), 1e-9, tools)
	}
	// The spread of four equal readings is in doubt too.
	spread := func(x []float64) float64 { return max(x[0], x[1], x[2], x[3]) - min(x[0], x[1], x[2], x[3]) }
	in := make([]Input, 4)
	for i := range in {
		in[i] = Input{Value: 60, Doubt: Doubt{Repeat: 3}}
	}
	out, ok = Combine(spread, in)
	require.True(t, ok)
	assert.Greater(t, out.Doubt.Standard(), 3.0)
}

// Where a function has no value, there or near, nothing is known.
func TestCombineHasNoValue(t *testing.T) {
	at := func(y, u float64, f func(float64) float64) bool {
		_, ok := Combine(func(x []float64) float64 { return f(x[0]) }, []Input{{Value: y, Doubt: Doubt{Repeat: u}}})
		return ok
	}
	inverse := func(x float64) float64 { return 1 / x }
	assert.False(t, at(0, 0.1, inverse))
	assert.False(t, at(0.1, 0.1, inverse))
	assert.False(t, at(0.01, 0.1, math.Sqrt))
	assert.True(t, at(1, 0.1, math.Sqrt))
	// No doubt at all stays none.
	out, ok := Combine(func(x []float64) float64 { return x[0] * x[0] }, []Input{{Value: 3}})
	assert.True(t, ok)
	assert.Equal(t, Combined{Value: 9, Change: []float64{0}}, out)
}

// The doubt of a constant is none, of a mean of n readings that of one by √n, but
// not what they share.
func TestMean(t *testing.T) {
	in := make([]Input, 9)
	for i := range in {
		in[i] = Input{Value: 60, Doubt: Doubt{Repeat: 3, Bias: 2}, Instrument: "micrometer"}
	}
	out, ok := Combine(func(x []float64) float64 {
		s := 0.0
		for _, v := range x {
			s += v
		}
		return s / float64(len(x))
	}, in)
	require.True(t, ok)
	assert.InDelta(t, 1, out.Doubt.Repeat, 1e-9)
	assert.InDelta(t, 2, out.Doubt.Bias, 1e-9)
}
