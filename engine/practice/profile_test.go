package practice

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// unsaid lists the facts that some condition of the book asks about and a case does not
// state.
func unsaid(b *rules.Book, c *evidence.Case) map[string]bool {
	facts := rules.Facts(c.Engine, c.History)
	out := map[string]bool{}
	ask := func(conds ...*rules.Cond) {
		for _, w := range conds {
			for _, f := range w.Missing(facts) {
				out[f] = true
			}
		}
	}
	for _, p := range b.Parts {
		ask(p.When)
	}
	for _, s := range b.Signs {
		ask(s.When)
	}
	for _, n := range b.Nodes {
		ask(n.When) // what settles a condition may be left to be found out
		for _, r := range n.In {
			ask(r.When)
		}
		for _, r := range n.Out {
			ask(r.When)
		}
		for _, x := range n.Needs {
			ask(x.When)
		}
	}
	return out
}

// A drawn engine states all that the book asks about, as a real one has it all: what is
// unknown keeps parts and rules of other engines. At every age, of every engine.
func TestProfilesStateAllFacts(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	for _, p := range profiles {
		ages := map[any]bool{}
		for seed := range uint64(40) {
			c, err := p.blank(rand.New(rand.NewPCG(seed, 1)), "overheated")
			require.NoError(t, err, p.ID)
			assert.Empty(t, unsaid(b, c), p.ID)
			ages[c.History.Facts["hours"]] = true
			hours, _ := c.History.Facts["hours"].(float64)
			since, _ := c.History.Facts["hours_since_rebuild"].(float64)
			assert.LessOrEqual(t, since, hours, p.ID)
			if rebuilt, _ := c.History.Facts["rebuilt"].(bool); rebuilt {
				assert.Less(t, since, hours, p.ID)
			} else {
				assert.Equal(t, hours, since, p.ID)
			}
		}
		assert.Len(t, ages, len(p.Hours), p.ID)
		// And it is told of one that leaves something out.
		c, err := p.blank(rand.New(rand.NewPCG(1, 1)), "overheated")
		require.NoError(t, err)
		delete(c.Engine.Facts, "induction")
		assert.Equal(t, map[string]bool{"engine.induction": true}, unsaid(b, c))
	}
}
