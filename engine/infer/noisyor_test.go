package infer

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// orNet is a noisy-OR network of testdata, with evidence and its answers, which
// were computed in 128-bit arithmetic or as fractions by programs other than this.
type orNet struct {
	Name  string
	Nodes []struct {
		Name    string
		Prior   float64
		Leak    float64
		Parents []struct {
			Name string
			P    float64
		}
	}
	Cases []struct {
		Evidence map[string]int
		LogP     float64            `json:"log_p_evidence"`
		Present  map[string]float64 `json:"p_present"`
	}
}

func readNets(t testing.TB, file string) []orNet {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "infer", file))
	require.NoError(t, err)
	var many []orNet
	if json.Unmarshal(text, &many) == nil {
		return many
	}
	var net orNet
	require.NoError(t, json.Unmarshal(text, &net))
	return []orNet{net}
}

func (n *orNet) model(t testing.TB) (*Model, map[string]Var) {
	b := NewBuilder()
	vars := map[string]Var{}
	for _, x := range n.Nodes {
		if x.Parents == nil {
			vars[x.Name] = b.Root(x.Name, 1-x.Prior, x.Prior)
			continue
		}
		var links []Link
		for _, p := range x.Parents {
			links = append(links, Link{Parent: vars[p.Name], Pass: p.P})
		}
		vars[x.Name] = b.Max(x.Name, 2, links, []float64{1 - x.Leak, x.Leak})
	}
	m, err := b.Build()
	require.NoError(t, err)
	return m, vars
}

func (n *orNet) evidence(i int, vars map[string]Var) Evidence {
	ev := Evidence{}
	for name, state := range n.Cases[i].Evidence {
		ev[vars[name]] = Hard(state, 2)
	}
	return ev
}

// hardNet tells which networks are so entangled that they are asked in one way only.
func hardNet(findings int, name string) bool {
	return findings >= 80 || findings >= 40 && (name == "medium" || name == "large")
}

func TestNoisyOrNetworks(t *testing.T) {
	t.Parallel()
	for _, file := range []string{"small.json", "small_modular.json", "medium.json", "medium_modular.json", "large.json", "large_modular.json", "qmr.json"} {
		for _, net := range readNets(t, file) {
			for k, lim := range []limits{usual, {}} {
				worst, rounding := 0.0, 0.0
				m, vars := net.model(t)
				m.limits = lim
				for i, c := range net.Cases {
					if hardNet(len(c.Evidence), net.Name) && (k > 0 || testing.Short()) {
						continue
					}
					ev := net.evidence(i, vars)
					var query []Var
					for name := range c.Present {
						query = append(query, vars[name])
					}
					post, err := m.Infer(ctx, ev, query...)
					require.NoError(t, err, "%s case %d", net.Name, i)
					slack := 1e-13
					if hardNet(len(c.Evidence), net.Name) {
						slack = 1e-9 // of which not every digit fits into memory
					}
					near(t, c.LogP, post.LogP, net.Name, i, "ln P")
					for name, want := range c.Present {
						got := post.P(vars[name])[1]
						nearOr(t, slack, want, got, net.Name, i, name)
						if want > 0 {
							worst = max(worst, math.Abs(got-want)/want)
						}
					}
					rounding = max(rounding, post.Rounding)
				}
				t.Logf("%-16s %v: worst relative error %.1e, rounding foretold %.1e", net.Name, lim, worst, rounding)
			}
		}
	}
}

func BenchmarkNoisyOr(b *testing.B) {
	for _, file := range []string{"medium_modular.json", "large_modular.json"} {
		net := readNets(b, file)[0]
		m, vars := net.model(b)
		for _, k := range []int{20, 40} {
			var evs []Evidence
			var queries [][]Var
			for i, c := range net.Cases {
				if len(c.Evidence) != k {
					continue
				}
				var query []Var
				for v := range m.Len() {
					if _, ok := c.Present[m.Name(Var(v))]; ok {
						query = append(query, Var(v))
					}
				}
				evs = append(evs, net.evidence(i, vars))
				queries = append(queries, query)
			}
			for i := range evs {
				name := fmt.Sprintf("%s/%d-%d", net.Name, k, i)
				b.Run("Infer/"+name, func(b *testing.B) {
					b.ReportAllocs()
					for b.Loop() {
						_, err := m.Infer(ctx, evs[i], queries[i]...)
						require.NoError(b, err)
					}
					c := m.Estimate(ctx, evs[i], queries[i]...)
					b.ReportMetric(c.Log2, "log2")
				})
				b.Run("LogP/"+name, func(b *testing.B) {
					for b.Loop() {
						_, err := m.LogP(ctx, evs[i])
						require.NoError(b, err)
					}
				})
				b.Run("Order/"+name, func(b *testing.B) {
					for b.Loop() {
						m.Estimate(ctx, evs[i], queries[i]...)
					}
				})
			}
		}
	}
}

// A model that asks for less precision is answered at once where another is computed
// again, and tells how far off it may be.
func TestPrecision(t *testing.T) {
	infer := func(relative float64) *Posterior {
		b := NewBuilder()
		if relative > 0 {
			b.Precision(relative)
		}
		var links []Link
		var parents []Var
		for i := range 12 {
			parents = append(parents, b.Root(fmt.Sprint(i), 1-1e-4, 1e-4))
			links = append(links, Link{Parent: parents[i], Pass: 1e-4})
		}
		seen := b.Max("seen", 2, links, nil)
		post, err := build(t, b).Infer(ctx, Evidence{seen: Hard(1, 2)}, parents...)
		require.NoError(t, err)
		// One of them, and it or another showed it; by Bayes' theorem.
		silent := math.Log1p(-1e-8)
		want := 1e-4 * math.Expm1(math.Log1p(-1e-4)+11*silent) / math.Expm1(12*silent)
		for _, v := range parents {
			nearOr(t, post.Rounding, want, post.P(v)[1])
		}
		return post
	}
	require.Less(t, infer(0).Rounding, precise)
	require.Less(t, infer(1e-12).Rounding, precise)
	require.Greater(t, infer(1e-6).Rounding, precise, "one gate of so little chance loses as many digits")
	require.Less(t, infer(1).Rounding, hopeless)
}
