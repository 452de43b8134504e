package engine

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// BenchmarkDiagnose works out whole cases on the built-in book: the built-in example
// and the published investigations.
func BenchmarkDiagnose(b *testing.B) {
	var faults source.Faults
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(b, book, faults.Error())
	for _, file := range []string{"../cmd/tidemark/internal/cli/demo.toml", "../testdata/published/P054.toml", "../testdata/published/P122.toml", "../testdata/published/P137.toml", "../testdata/cases/backed_off_nut.toml", "../testdata/published/P126.toml", "../testdata/published/P146.toml"} {
		text, err := os.ReadFile(file)
		require.NoError(b, err)
		c, ok := evidence.Parse(file, text, &faults)
		require.True(b, ok, faults.Error())
		b.Run(filepath.Base(file), func(b *testing.B) {
			b.ReportAllocs()
			best := math.Inf(1) // on a machine that does other things besides
			for b.Loop() {
				start := time.Now()
				_, err := Diagnose(b.Context(), book, c, Options{})
				require.NoError(b, err)
				best = min(best, time.Since(start).Seconds())
			}
			b.ReportMetric(1000*best, "best-ms")
		})
	}
}
