package engine

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/rules"
)

// numbers are present, acted and blame of every candidate, by its key.
func numbers(d *Diagnosis) map[string][3]float64 {
	out := map[string][3]float64{}
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for _, c := range list {
			out[c.ID+" @ "+c.At] = [3]float64{c.Present, c.Acted, c.Blame}
		}
	}
	return out
}

func sameNumbers(t *testing.T, want, got map[string][3]float64, within float64) {
	t.Helper()
	require.Len(t, got, len(want))
	for k, w := range want {
		g, ok := got[k]
		require.True(t, ok, k)
		for i := range w {
			assert.InDelta(t, w[i], g[i], within, "%s, number %d", k, i)
		}
	}
}

const someFindings = `F1 seen screen.clogged
F2 seen bearing.wiped @ rod 3
F3 not pan.sludge
F4 seen bearing.blue @ rod 2`

// The order in which findings stand changes no number.
func TestOrderOfFindingsDoesNotMatter(t *testing.T) {
	b := smallBook(t, "")
	lines := strings.Split(someFindings, "\n")
	want := numbers(diagnose(t, b, "seized", someFindings))
	for i := range lines {
		turned := append(append([]string{}, lines[i:]...), lines[:i]...)
		sameNumbers(t, want, numbers(diagnose(t, b, "seized", strings.Join(turned, "\n"))), 1e-9)
	}
}

// Another name for the rods changes the names in the answer and nothing else: exactly
// on a small book, and nearly on the whole book with the engine seen from its other end.
func TestRelabelling(t *testing.T) {
	swap := strings.NewReplacer("rod 2", "rod 3", "rod 3", "rod 2")
	b := smallBook(t, "")
	want := numbers(diagnose(t, b, "seized", someFindings))
	got := map[string][3]float64{}
	for k, v := range numbers(diagnose(t, b, "seized", swap.Replace(someFindings))) {
		got[swap.Replace(k)] = v
	}
	sameNumbers(t, want, got, 1e-9)

	mirror := strings.NewReplacer("rod 1", "rod 4", "rod 4", "rod 1", "rod 2", "rod 3", "rod 3", "rod 2",
		"cyl 1", "cyl 4", "cyl 4", "cyl 1", "cyl 2", "cyl 3", "cyl 3", "cyl 2",
		"main 1", "main 5", "main 5", "main 1", "main 2", "main 4", "main 4", "main 2")
	const found = `F1 seen rod_bearing.lining_wiped @ rod 1
F2 not oil_pickup.screen_clogged
F3 not rod_bearing.lining_wiped @ rod 3`
	one := scenario(t, diesel4, "crankshaft_seized", found)
	other := scenario(t, diesel4, "crankshaft_seized", mirror.Replace(found))
	mirrored := numbers(other)
	for k, w := range numbers(one) {
		g, ok := mirrored[mirror.Replace(k)]
		if !ok {
			continue // of two camshafts or valves, which have no mirror in these words
		}
		for i := range w {
			// Of a case that is not exact, how many rules fit may hang on the order of the
			// variables by a hair: far less than what is told as the error.
			assert.InDelta(t, w[i], g[i], 1e-6+one.Method.ErrorBound/10, "%s, number %d", k, i)
		}
	}
}

// A cause that has nothing to do with the case changes none of its numbers.
func TestIrrelevantCauseChangesNothing(t *testing.T) {
	want := numbers(diagnose(t, smallBook(t, ""), "seized", someFindings))
	more := diagnose(t, smallBook(t, `
[sign.pan.painted]
name = "painted"
look = "Painted?"
[cause.painter]
name = "a painter"
category = "external"
base_rate = "common"
source = "common practice"
shows.pan.painted = { how_often = "usually", because = "x", source = "common practice" }
`), "seized", someFindings)
	got := numbers(more)
	delete(got, "painter @ ")
	sameNumbers(t, want, got, 1e-9)
}

// A finding that could not be made weighs nothing.
func TestUnavailableWeighsNothing(t *testing.T) {
	b := smallBook(t, "")
	want := diagnose(t, b, "seized", someFindings)
	more := diagnose(t, b, "seized", someFindings+"\nF5 gone ring.clogged\nF6 gone paper.overdue")
	sameNumbers(t, numbers(want), numbers(more), 0)
}

// Where the answer turns with a rule, it does: on one side of the turning point the
// leader leads, on the other side the one that is named.
func TestRulesTurnWhereTheySay(t *testing.T) {
	const found = "F1 seen screen.clogged\nF2 seen bearing.wiped @ rod 3"
	// Without unlisted causes, whose chances follow the rules.
	book := func() *rules.Book {
		b := smallBook(t, "")
		for _, n := range b.Nodes {
			n.Unlisted = 0
		}
		return b
	}
	d := diagnose(t, book(), "seized", found)
	require.NotEmpty(t, d.OverturnedBy.Rules)
	lead := d.Verdict.Names[0].ID
	for _, f := range d.OverturnedBy.Rules {
		at := f.HoldsAbove
		if at == nil {
			at = f.HoldsBelow
		}
		leads := func(db float64) string {
			b := book()
			for _, r := range b.Rules {
				if r.ID == f.Rule {
					r.HowOften = chance(decibans(*at) + db)
				}
			}
			n := numbers(diagnose(t, b, "seized", found))
			if n[lead+" @ "][2] > n[f.ThenLeads+" @ "][2] {
				return lead
			}
			return f.ThenLeads
		}
		// The turning point is told to two hundredths of a deciban.
		holds, turns := 0.05, -0.05
		if f.HoldsBelow != nil {
			holds, turns = turns, holds
		}
		assert.Equal(t, lead, leads(holds), f.Rule)
		assert.Equal(t, f.ThenLeads, leads(turns), f.Rule)
	}
}

// Two rules changed at once: neither change alone brings another ahead, both do, and a
// little less of both does not.
func TestTwoRulesTurnTogether(t *testing.T) {
	const more = `
[cause.heat]
name = "heat"
category = "operation"
base_rate = 0.05
source = "common practice"
leads_to.warped = { how_often = 0.8, because = "x", source = "common practice" }
[cause.cold]
name = "cold"
category = "operation"
base_rate = 0.02
source = "common practice"
leads_to.stuck = { how_often = 0.4, because = "x", source = "common practice" }
[step.warped]
name = "warped"
leads_to.gripping = { how_often = 0.7, because = "x", source = "common practice" }
[step.gripping]
name = "gripping"
leads_to.stuck = { how_often = 0.6, because = "x", source = "common practice" }
[step.stuck]
name = "stuck"
outcome = true
`
	book := func() *rules.Book {
		b := smallBook(t, more)
		for _, n := range b.Nodes {
			n.Unlisted = 0
		}
		return b
	}
	const lead = "heat"
	d := diagnose(t, book(), "stuck", "")
	require.GreaterOrEqual(t, len(d.OverturnedBy.Rules), 2)
	j := d.OverturnedBy.Joint
	require.NotNil(t, j)
	assert.Less(t, j.Decibans, d.OverturnedBy.Rules[0].distance())
	leads := func(first, second, less float64) bool {
		b := book()
		for _, r := range b.Rules {
			for i, part := range []float64{first, second} {
				if r.ID == j.Rules[i] {
					now, at := decibans(j.Now[i]), decibans(j.At[i])
					r.HowOften = chance(now + part*(at-now)*(1-less/math.Abs(at-now)))
				}
			}
		}
		n := numbers(diagnose(t, b, "stuck", ""))
		return n[lead+" @ "][2] > n[j.ThenLeads+" @ "][2]
	}
	assert.True(t, leads(1, 0, 0))
	assert.True(t, leads(0, 1, 0))
	assert.True(t, leads(1, 1, 0.05))
	assert.False(t, leads(1, 1, -0.05))
}
