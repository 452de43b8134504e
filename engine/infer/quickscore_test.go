package infer

import (
	"fmt"
	"math"
	"math/big"
	"math/bits"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// quickscore is an oracle of its own for two-layer noisy-OR networks: D.
// Heckerman, A tractable inference algorithm for diagnosing multiple diseases (UAI
// 1989). It sums over the subsets of the present findings, with alternating sign, and so
// with more digits than float64 has: of a rare case too few would be left.
// pass[f][d] is the chance that disease d shows as finding f.
func quickscore(prior, leak []float64, pass [][]float64, present, absent []int) (p float64, posterior []float64) {
	number := func(x float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(x) }
	rest := func(x float64) *big.Float { return number(1).Sub(number(1), number(x)) }
	total := number(0)
	joint := make([]*big.Float, len(prior))
	for d := range joint {
		joint[d] = number(0)
	}
	for subset := range uint(1) << len(present) {
		quiet := append([]int(nil), absent...)
		for i, f := range present {
			if subset>>i&1 == 1 {
				quiet = append(quiet, f)
			}
		}
		term := number(1)
		if bits.OnesCount(subset)%2 == 1 {
			term.Neg(term)
		}
		for _, f := range quiet {
			term.Mul(term, rest(leak[f]))
		}
		share := make([]*big.Float, len(prior))
		for d := range prior {
			share[d] = number(prior[d])
			for _, f := range quiet {
				share[d].Mul(share[d], rest(pass[f][d]))
			}
			all := number(0).Add(share[d], rest(prior[d]))
			term.Mul(term, all)
			share[d].Quo(share[d], all)
		}
		total.Add(total, term)
		for d := range prior {
			joint[d].Add(joint[d], share[d].Mul(share[d], term))
		}
	}
	for _, x := range joint {
		q, _ := x.Quo(x, total).Float64()
		posterior = append(posterior, q)
	}
	p, _ = total.Float64()
	return p, posterior
}

func TestTwoLayersAgreeWithQuickscore(t *testing.T) {
	check(t, 1, func(t *rapid.T) {
		r := dice(t)
		diseases, findings := 20+r.IntN(20), 12
		b := NewBuilder()
		prior := make([]float64, diseases)
		var causes []Var
		for d := range prior {
			prior[d] = 0.01 + 0.2*r.Float64()
			causes = append(causes, b.Root(fmt.Sprint("d", d), 1-prior[d], prior[d]))
		}
		leak := make([]float64, findings)
		pass := make([][]float64, findings)
		var present, absent []int
		ev := Evidence{}
		for f := range findings {
			leak[f] = 0.1 * r.Float64()
			pass[f] = make([]float64, diseases)
			var links []Link
			for _, d := range r.Perm(diseases)[:1+r.IntN(10)] {
				pass[f][d] = r.Float64()
				links = append(links, Link{Parent: causes[d], Pass: pass[f][d]})
			}
			v := b.Max(fmt.Sprint("f", f), 2, links, []float64{1 - leak[f], leak[f]})
			switch {
			case r.IntN(3) == 0 && len(present) < 5:
				present = append(present, f)
				ev[v] = Hard(1, 2)
			case r.IntN(2) == 0:
				absent = append(absent, f)
				ev[v] = Hard(0, 2)
			}
		}
		m, err := b.Build()
		require.NoError(t, err)
		p, want := quickscore(prior, leak, pass, present, absent)
		post, err := m.Infer(ctx, ev, causes...)
		require.NoError(t, err)
		require.InDelta(t, 1, math.Exp(post.LogP)/p, 1e-9)
		for d, v := range causes {
			require.InDelta(t, want[d], post.P(v)[1], 1e-9)
		}
	})
}
