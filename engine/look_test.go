package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Findings of one look at one place count as one, and it is said why and what to do; at
// other places they count each. What tells one fact is told as that.
func TestOneLookIsTold(t *testing.T) {
	b := smallBook(t, "")
	why := func(d *Diagnosis, id string) string {
		for _, f := range d.Findings {
			if f.ID == id {
				return f.WhyNot
			}
		}
		return "?"
	}
	d := diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 3 ; look = \"L1\"\nF2 seen bearing.blue @ rod 3 ; look = \"L1\"")
	assert.Empty(t, why(d, "F1"))
	assert.Equal(t, "of one look with F1 at the same place, of which the strongest counts; if it tells something else, give it a look of its own, or none", why(d, "F2"))
	d = diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 3 ; look = \"L1\"\nF2 seen bearing.blue @ rod 2 ; look = \"L1\"")
	assert.Empty(t, why(d, "F1")+why(d, "F2"))
	require.Len(t, d.Groups, 1)
	assert.Equal(t, []string{"F1", "F2"}, d.Groups[0].Findings)
	// What could not be looked at is of no group.
	d = diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 3 ; look = \"L1\"\nF2 gone bearing.blue @ rod 2 ; look = \"L1\"")
	assert.Empty(t, d.Groups)
	d = diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 3 ; look = \"L1\"\nF2 seen bearing.wiped @ rod 3 ; look = \"L1\"")
	assert.Equal(t, "the same fact as F1, which counts", why(d, "F2"))
}

// The bits of a diagnosis are of what is there, those of next of what is to blame, and
// both say so.
func TestBitsSayOfWhat(t *testing.T) {
	b := smallBook(t, "")
	const found = "F1 seen bearing.wiped @ rod 3\nF2 seen screen.clogged"
	d := diagnose(t, b, "seized", found)
	require.NotEmpty(t, d.Next)
	for _, l := range d.Next {
		assert.Equal(t, OfPresence, l.BitsOf)
	}
	for question, of := range map[string]string{"seized": OfBlame, "": OfPresence} {
		n, err := NextLooks(t.Context(), b, shortCase(t, question, found), LookOptions{})
		require.NoError(t, err)
		require.NotEmpty(t, n.Looks)
		for _, l := range n.Looks {
			assert.Equal(t, of, l.BitsOf, question)
		}
		for _, x := range n.Destroys {
			assert.Equal(t, of, x.BitsOf, question)
		}
	}
}

// The curve through three points of a ratio of straight lines meets zero where that does;
// through two it is a line; and what cannot be told leaves the line.
func TestZero(t *testing.T) {
	f := func(x float64) float64 { return (3*x - 1) / (1 + 4*x) }
	at := func(xs ...float64) (out []point) {
		for _, x := range xs {
			out = append(out, point{x, f(x)})
		}
		return out
	}
	assert.InDelta(t, 1.0/3, zero(at(0.05, 0.9, 0.5)), 1e-12)
	assert.InDelta(t, 1.0/3, zero(at(0.7, 0.05, 0.9, 0.5)), 1e-12, "the last three count")
	assert.Greater(t, math.Abs(zero(at(0.05, 0.9))-1.0/3), 0.01)
	line := []point{{0, -1}, {0.5, 0}, {1, 1}}
	assert.InDelta(t, 0.5, zero(line), 1e-12)
	assert.InDelta(t, 0.5, zero(line[:2]), 1e-12)
	// Two alike: nothing better than the line through the last two.
	assert.InDelta(t, 0.5, zero([]point{{0.25, 1}, {0, -1}, {1, 1}}), 1e-12)
}
