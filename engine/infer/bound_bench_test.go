package infer

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// referenceNet reads a network of noisy-ORs with its evidence from beside the
// repository, where the larger ones are; it skips where they are absent.
func referenceNet(tb testing.TB, name string) *orNet {
	dir := os.Getenv("TIDEMARK_REFERENCE")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "reference")
	}
	text, err := os.ReadFile(filepath.Join(dir, "noisyor", name+".json"))
	if err != nil {
		tb.Skip("the reference networks are not here: ", err)
	}
	var net orNet
	require.NoError(tb, json.Unmarshal(text, &net))
	return &net
}

// asked are the unobserved variables above the evidence.
func (n *orNet) asked(m *Model, vars map[string]Var, ev Evidence) []Var {
	above := make([]bool, m.Len())
	for v := range ev {
		above[v] = true
	}
	var query []Var
	for i := len(n.Nodes) - 1; i >= 0; i-- {
		x := n.Nodes[i]
		v := vars[x.Name]
		if !above[v] {
			continue
		}
		for _, p := range x.Parents {
			above[vars[p.Name]] = true
		}
		if _, seen := ev[v]; !seen {
			query = append(query, v)
		}
	}
	return query
}

// BenchmarkBound tells how wide the bounds remain, and after how much work.
func BenchmarkBound(b *testing.B) {
	for _, name := range []string{"medium_modular", "large_modular", "medium", "large"} {
		for _, k := range []int{40, 80} {
			net := referenceNet(b, name)
			m, vars := net.model(b)
			for i, c := range net.Cases {
				if len(c.Evidence) != k {
					continue
				}
				ev := net.evidence(i, vars)
				query := net.asked(m, vars, ev)
				b.Run(fmt.Sprintf("%s/%d-%d", name, k, i), func(b *testing.B) {
					var out *Bounds
					for b.Loop() {
						var err error
						out, err = m.Bound(context.Background(), ev, BoundLimits{}, query...)
						require.NoError(b, err)
					}
					b.ReportMetric(out.Width(), "width")
					b.ReportMetric(out.LogPHigh-out.LogPLow, "lnP-width")
					b.ReportMetric(float64(out.Runs), "runs")
					b.ReportMetric(float64(out.Rounds), "rounds")
					b.ReportMetric(float64(out.Contexts), "contexts")
				})
			}
		}
	}
}
