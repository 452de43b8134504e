package report

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine"
	"tidemark/rules"
)

// A share reads the same on every screen, and a word has one number only.
func TestSharesAreTold(t *testing.T) {
	for p, want := range map[float64]string{0.02: "2", 0.025: "2.5", 0.03: "3", 0.012: "1.2", 0.05: "5", 0.0006: "0.06", 0.0996: "10", 0.125: "12", 0.66: "66", 0.98: "98", 0.995: "99.5", 0.99999: "99.9", 0: "0", 1: "100"} {
		assert.Equal(t, want, Share(p), "%v", p)
	}
	number := map[string]string{}
	word := regexp.MustCompile(`^(\D+) \(([0-9.]+) of 100\)$`)
	for p := 0.005; p < 1; p += 0.005 {
		if m := word.FindStringSubmatch(howOften(p)); m != nil {
			if was := number[m[1]]; was != "" && was != m[2] {
				t.Errorf("%s is %s and %s of 100", m[1], was, m[2])
			}
			number[m[1]] = m[2]
		}
	}
	for _, w := range rules.HowOften {
		assert.Equal(t, w.Word+" ("+Share(w.Value)+" of 100)", howOften(w.Value))
	}
	assert.Equal(t, "in 5 of 100", howOften(0.05))
	assert.Equal(t, "in 1 of 100", howOften(0.01))
	r := &rules.Rule{HowOften: 0.03}
	assert.Equal(t, "in 3 of 100", often(r), "a card says it as the argument does")
}

func TestTimes(t *testing.T) {
	for x, want := range map[float64]string{1.26: "1.3", 9.4: "9.4", 12.6: "13", 73705: "74000", 214: "210", 2e6: "more than a million"} {
		assert.Equal(t, want, Times(x), "%v", x)
	}
}

// A bound is rounded up, and no further.
func TestOff(t *testing.T) {
	for x, want := range map[float64]string{0.07: "7", 0.0701: "8", 0.0001: "1", 0: "1", 0.29: "29", 1: "100"} {
		assert.Equal(t, want, Off(x), "%v", x)
	}
}

// One of a thing is told as one.
func TestOneIsOne(t *testing.T) {
	one := &engine.Score{N: 1, Open: 1, OpenKept: 1, SaidSure: 1, SureRight: 1, Calibration: []engine.ScoreBand{{From: 0.9, To: 1, N: 1, Right: 1, Said: 0.95}}}
	var b bytes.Buffer
	require.NoError(t, Score(&b, one, Options{}))
	said := strings.Join(strings.Fields(b.String()), " ")
	assert.Empty(t, regexp.MustCompile(`\b1 (?:closed )?cases\b|\b1 are\b`).FindAllString(said, -1), said)
	assert.Contains(t, said, "1 closed case of which")
	assert.Contains(t, said, "said 90 to 100 %: 1 case, of which right 100 %")
}
