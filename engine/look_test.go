package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine/network"
	"tidemark/evidence/source"
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

// Rough chances rank looks; they must be near what the model says. Of no posterior there
// is none. And what counts is listed as the case has it, though the strongest is entered
// first.
func TestRoughChancesNearTheModel(t *testing.T) {
	b := smallBook(t, "")
	c := shortCase(t, "seized", someFindings)
	var faults source.Faults
	require.True(t, Check(b, c, &faults), faults.Error())
	w, err := begin(t.Context(), b, c, Options{})
	require.NoError(t, err)
	var ids []string
	for _, f := range c.All() {
		ids = append(ids, f.ID)
	}
	assert.Equal(t, ids, w.counted())
	least, most := 1.0, 0.0
	for _, s := range b.Signs {
		for _, index := range w.g.Positions(s.Part) {
			rough := w.g.RoughChances(s, index, []*network.Posterior{nil, w.post})
			not, err := w.plain.IfNotFound(t.Context(), []network.Unseen{{Sign: s, Index: index}}, nil, nil)
			require.NoError(t, err)
			exact := 1 - math.Exp(not.LogP-w.post.LogP)
			assert.Zero(t, rough[0])
			assert.InDelta(t, exact, rough[1], 0.1, "%s %d", s.ID, index)
			least, most = min(least, exact), max(most, exact)
		}
	}
	assert.Greater(t, most-least, 0.3, "some are likely, and some not")
}
