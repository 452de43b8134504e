package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// The screens of an engine half stripped, and what is said of two that were stripped
// whole, at three widths, against stored ones; and every per cent on them is a number of
// the JSON.
func TestScreens(t *testing.T) {
	var faults source.Faults
	c, ok := evidence.Load("../../testdata/cases/half_stripped.toml", &faults)
	require.True(t, ok, faults.Error())
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	require.True(t, engine.Check(book, c, &faults), faults.Error())
	d, err := engine.Diagnose(t.Context(), book, c, engine.Options{})
	require.NoError(t, err)
	next, err := engine.NextLooks(t.Context(), book, c, engine.LookOptions{Within: 45})
	require.NoError(t, err)
	why, err := engine.Argue(t.Context(), book, c, "oil_starvation", "", engine.Options{})
	require.NoError(t, err)
	over, err := engine.Argue(t.Context(), book, c, "sealant_excess", "oil_overdue", engine.Options{})
	require.NoError(t, err)
	type screen struct {
		name string
		of   any
		show func(b *bytes.Buffer, o report.Options) error
	}
	screens := []screen{
		{"diagnose", d, func(b *bytes.Buffer, o report.Options) error { return report.Text(b, book, d, o) }},
		{"next", next, func(b *bytes.Buffer, o report.Options) error { return report.Next(b, book, next, o) }},
		{"why", why, func(b *bytes.Buffer, o report.Options) error { return report.Why(b, book, why, o) }},
		{"why_over", over, func(b *bytes.Buffer, o report.Options) error { return report.Why(b, book, over, o) }},
	}
	for _, name := range []string{"belt_and_valves", "backed_off_nut"} {
		var told source.Faults
		c, ok := evidence.Load("../../testdata/cases/"+name+".toml", &told)
		require.True(t, ok, told.Error())
		require.True(t, engine.Check(book, c, &told), told.Error())
		require.Empty(t, told.List(), "%s loads without a warning", name)
		d, err := engine.Diagnose(t.Context(), book, c, engine.Options{})
		require.NoError(t, err)
		screens = append(screens, screen{name, d, func(b *bytes.Buffer, o report.Options) error { return report.Text(b, book, d, o) }})
	}
	for _, s := range screens {
		var all bytes.Buffer
		for _, width := range []int{60, 80, 120} {
			var b bytes.Buffer
			require.NoError(t, s.show(&b, report.Options{Width: width}))
			fits(t, b.String(), min(width, 100))
			assert.Empty(t, mathWords.FindAllString(b.String(), -1))
			// By how much numbers may be off is that of the JSON, rounded up.
			if d, ok := s.of.(*engine.Diagnosis); ok {
				words := strings.Join(strings.Fields(b.String()), " ")
				assert.Contains(t, words, fmt.Sprintf("Numbers may be off by about %.0f in 100 either way, because rules that matter least here were left out; they follow from the book", math.Ceil(100*d.Method.ErrorBound)))
				assert.False(t, d.Method.Exact)
			}
			fmt.Fprintf(&all, "---- at %d columns\n%s", width, b.String())
		}
		text := regexp.MustCompile(`from the book\s+[0-9a-f]{12}`).ReplaceAllString(all.String(), "from the book ............")
		golden := filepath.Join("testdata", "screens", s.name+".golden")
		if *update {
			require.NoError(t, os.MkdirAll(filepath.Dir(golden), 0o755))
			require.NoError(t, os.WriteFile(golden, []byte(text), 0o644))
		}
		want, err := os.ReadFile(golden)
		require.NoError(t, err)
		assert.Equal(t, string(want), text, s.name)

		told := percents(t, s.of)
		var full bytes.Buffer
		require.NoError(t, s.show(&full, report.Options{Width: 100, Full: true, Numbers: true}))
		// Thresholds and common figures of speech are none of the case's numbers.
		shown := strings.Join(strings.Fields(full.String()), " ")
		shown, _, _ = strings.Cut(shown, " Determined from")
		checked := 0
		for _, p := range regexp.MustCompile(`[<>]?\d+ %`).FindAllString(shown, -1) {
			if !told[p] && p != "5 %" {
				assert.Fail(t, "a number on the screen that is not in the JSON", "%s: %s", s.name, p)
			}
			checked++
		}
		assert.NotZero(t, checked, s.name)
	}
}

// percents are all numbers of a result as the screen would tell them.
func percents(t *testing.T, v any) map[string]bool {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	var data any
	require.NoError(t, json.Unmarshal(text, &data))
	out := map[string]bool{}
	var walk func(v any)
	walk = func(v any) {
		switch x := v.(type) {
		case map[string]any:
			for _, y := range x {
				walk(y)
			}
		case []any:
			for _, y := range x {
				walk(y)
			}
		case string:
			for _, p := range regexp.MustCompile(`[<>]?\d+ %`).FindAllString(x, -1) {
				out[p] = true
			}
		case float64:
			if x >= 0 && x <= 1 {
				out[report.Percent(x)], out[report.Percent(1-x)] = true, true
			}
		}
	}
	walk(data)
	return out
}
