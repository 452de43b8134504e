package engine

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// A book of few words: loose nuts, of which one lets a rod go through the block,
// and two ways to lose oil that lead to it by long chains.
const thrown = `
[pack]
id = "thrown"
title = "Thrown"
version = "1"
[part.nut]
name = "nut"
per = "rod"
[part.block]
name = "block"
[part.tank]
name = "tank"

[sign.nut.off]
name = "off"
look = "Off?"
[sign.nut.fretted]
name = "fretted"
look = "Rubbed?"
unlisted = 0.01
[sign.block.hole]
name = "hole"
look = "A hole?"
[sign.block.prints]
name = "prints of a dropped thing"
look = "Prints?"
[sign.nut.dropped_on]
name = "struck from above"
look = "Struck?"
unlisted = 0.001
[sign.tank.plug_gone]
name = "plug gone"
look = "Gone?"
[sign.tank.cock_open]
name = "cock open"
look = "Open?"

[cause.nut_loose]
name = "nut loose"
category = "assembly"
per = "rod"
base_rate = "common"
source = "common practice"
leads_to.holed = { how_often = 0.98, because = "x", source = "common practice" }
shows.nut.off = { how_often = "usually", because = "x", source = "common practice" }
shows.nut.fretted = { how_often = "sometimes", because = "x", source = "common practice" }
[step.holed]
name = "block holed"
unlisted = "none"
leads_to.stopped = { how_often = 0.99, because = "x", source = "common practice" }
is.block.hole = { because = "x" }
[step.stopped]
name = "engine stopped"
unlisted = "none"
outcome = true

[cause.plug_lost]
name = "plug lost"
category = "external"
base_rate = "rare"
source = "common practice"
leads_to.p1 = { how_often = 0.99, because = "x", source = "common practice" }
is.tank.plug_gone = { because = "x" }
[cause.cock_left_open]
name = "cock left open"
category = "operation"
base_rate = "rare"
source = "common practice"
leads_to.c1 = { how_often = 0.99, because = "x", source = "common practice" }
is.tank.cock_open = { because = "x" }
[cause.washer_dropped]
name = "washer dropped in"
category = "assembly"
base_rate = 0.3
source = "common practice"
leads_to.struck = { how_often = 0.5, reach = "one", because = "x", source = "common practice" }
shows.nut.dropped_on = { how_often = 0.9, reach = "one", because = "x", source = "common practice" }
shows.block.prints = { how_often = 0.995, because = "x", source = "common practice" }
[step.struck]
name = "struck"
unlisted = "none"
per = "rod"
leads_to.stopped = { how_often = 0.02, because = "x", source = "common practice" }
`

// chainOf writes the steps of a chain that loses oil and stops the engine.
func chainOf(letter string, n int) string {
	var b strings.Builder
	for i := 1; i <= n; i++ {
		next := "stopped"
		if i < n {
			next = letter + string(rune('1'+i))
		}
		id := letter + string(rune('0'+i))
		b.WriteString("[step." + id + "]\nname = \"" + id + "\"\nleads_to." + next + ` = { how_often = 0.99, because = "x", source = "common practice" }` + "\n")
	}
	return b.String()
}

func thrownBook(t *testing.T) *rules.Book {
	t.Helper()
	var faults source.Faults
	text := thrown + chainOf("p", 5) + chainOf("c", 5)
	b := rules.Load(&faults, []rules.Text{{Name: "thrown.toml", Bytes: []byte(text)}})
	require.NotNil(t, b, faults.Error())
	return b
}

// Whether a family passes does not hang on which of its positions it was: where no
// single nut is sure, the loose nut is named all the same, and not the hole behind
// which it stands.
func TestVerdictJudgesTheFamily(t *testing.T) {
	d := diagnose(t, thrownBook(t), "stopped", `
F1 seen block.hole
F2 seen nut.off @ ?a
F3 seen nut.fretted @ rod 3`)
	require.Len(t, d.Verdict.Names, 1)
	n := d.Verdict.Names[0]
	assert.Equal(t, Determined, d.Verdict.Standing)
	assert.Equal(t, "nut_loose", n.ID)
	assert.Equal(t, "family", n.Kind)
	assert.Contains(t, n.Name, "most probably rod 3")
	single := at(t, d, "nut_loose", "rod 3")
	assert.Less(t, single.Blame, DeterminedAt, "or the test shows nothing")
	assert.Greater(t, single.Blame, 0.5)

	// Seen where it is, it is named where it is.
	d = diagnose(t, thrownBook(t), "stopped", "F1 seen block.hole\nF2 seen nut.off @ rod 3\nF3 seen nut.fretted @ rod 3")
	require.Len(t, d.Verdict.Names, 1)
	assert.Equal(t, "rod 3", d.Verdict.Names[0].At)
	assert.Equal(t, "cause", d.Verdict.Names[0].Kind)
}

// Two sufficient causes at the far ends of long chains are found as a pair, though
// the links of one chain alone would fill the list of what may make sets.
func TestSetsLookPastOneChain(t *testing.T) {
	d := diagnose(t, thrownBook(t), "stopped", "F1 seen tank.plug_gone\nF2 seen tank.cock_open")
	require.Len(t, d.Verdict.Names, 2)
	assert.Equal(t, EitherEnough, d.Verdict.Together)
	ids := []string{d.Verdict.Names[0].ID, d.Verdict.Names[1].ID}
	assert.ElementsMatch(t, []string{"plug_lost", "cock_left_open"}, ids)
	assert.Greater(t, d.Verdict.Blame, ProbableAt)
}

// A thing that falls in is in one place: what strikes one position spares the
// others, and all rules of it mean the same one.
func TestReachOne(t *testing.T) {
	const found = "F1 seen block.prints\nF2 seen nut.dropped_on @ rod 2"
	d := diagnose(t, thrownBook(t), "stopped", found)
	struck := func(rod string) float64 { return at(t, d, "struck", rod).Present }
	assert.Greater(t, struck("rod 2"), 0.5)
	for _, rod := range []string{"rod 1", "rod 3", "rod 4"} {
		assert.Less(t, struck(rod), 0.03, rod)
	}
	assert.InDelta(t, of2(d, "struck").Present, struck("rod 2"), 0.03)
	// Seen at two positions it is a contradiction but for what else may show it.
	b := thrownBook(t)
	c := shortCase(t, "stopped", found+"\nF3 seen nut.dropped_on @ rod 3")
	_, err := Diagnose(t.Context(), b, c, Options{})
	_, clash := IsClash(err)
	assert.True(t, clash || err == nil)
}

// A rule that takes the first takes the same ones as the other rules of its source,
// be they to steps or to signs, of cylinders or of rods: what a twisted seal shows on
// one skirt tells which piston it scuffed.
func TestReachFirst(t *testing.T) {
	b := smallBook(t, `
[part.piston]
name = "piston"
per = "cylinder"
[sign.piston.band]
name = "band on the skirt"
look = "A band?"
[sign.bearing.pinched]
name = "pinched"
look = "Pinched?"
[cause.seal_twisted]
name = "seal twisted"
category = "assembly"
base_rate = 0.01
source = "common practice"
leads_to.scuffed = { how_often = 0.3, reach = "first", because = "x", source = "common practice" }
shows.piston.band = { how_often = 0.8, reach = "first", because = "x", source = "common practice" }
shows.bearing.pinched = { how_often = 0.8, reach = "first", because = "x", source = "common practice" }
[step.scuffed]
name = "piston scuffed"
per = "cylinder"
unlisted = "none"
leads_to.seized = { how_often = 0.5, because = "x", source = "common practice" }
`)
	b.Sign("piston.band").Unlisted, b.Sign("bearing.pinched").Unlisted = 0, 0
	for _, look := range []string{"piston.band @ cyl 2", "bearing.pinched @ rod 2"} {
		d := diagnose(t, b, "seized", "F1 seen "+look+"\nF2 not "+strings.Replace(look, "2", "3", 1))
		assert.Greater(t, at(t, d, "scuffed", "cyl 2").Present, 0.85, look)
		assert.Greater(t, at(t, d, "scuffed", "cyl 2").Acted, 0.5, look)
		// Not shown on 3, though it may have been overlooked; of 1 and 4 nothing is known.
		three, four := at(t, d, "scuffed", "cyl 3").Present, at(t, d, "scuffed", "cyl 4").Present
		assert.Less(t, three, 0.25, look)
		assert.Greater(t, four, three+0.1, look)
		assert.Less(t, four, at(t, d, "scuffed", "cyl 2").Present-0.3, look)
	}
}

// A sign on something of which the engine has none (a camshaft on a small two-stroke) is
// not offered as a look.
func TestNothingToLookAt(t *testing.T) {
	b := smallBook(t, `
[part.camshaft]
name = "camshaft"
per = "camshaft"
[sign.camshaft.lobe_worn]
name = "lobe worn"
look = "Worn?"
[cause.soft_lobe]
name = "soft lobe"
category = "manufacture"
base_rate = 0.01
source = "common practice"
leads_to.seized = { how_often = 0.3, because = "x", source = "common practice" }
shows.camshaft.lobe_worn = { how_often = 0.9, because = "x", source = "common practice" }
`)
	for cycle, offered := range map[string]bool{"two-stroke": false, "four-stroke": true} {
		c := shortCase(t, "seized", "")
		c.Engine.Facts["cycle"], c.Engine.Facts["fuel"] = cycle, "petrol"
		d, err := Diagnose(t.Context(), b, c, Options{Looks: 50})
		require.NoError(t, err)
		assert.Equal(t, offered, slices.ContainsFunc(d.Next, func(l Look) bool { return l.Sign == "camshaft.lobe_worn" }), cycle)
	}
}

// On an engine of one cylinder the first is the only one: it is reached as often as
// the rule works.
func TestReachOfOne(t *testing.T) {
	for _, reach := range []string{"first", "one", "all"} {
		b := smallBook(t, `
[cause.seal_twisted]
name = "seal twisted"
category = "assembly"
base_rate = 0.01
source = "common practice"
leads_to.scuffed = { how_often = 0.3, reach = "`+reach+`", because = "x", source = "common practice" }
is.bearing.twisted = { because = "x" }
[sign.bearing.twisted]
name = "twisted"
look = "Twisted?"
[step.scuffed]
name = "piston scuffed"
per = "cylinder"
unlisted = "none"
leads_to.seized = { how_often = 0.5, because = "x", source = "common practice" }
shows.piston.band = { how_often = 0.5, because = "x", source = "common practice" }
[part.piston]
name = "piston"
per = "cylinder"
[sign.piston.band]
name = "band on the skirt"
look = "A band?"
`)
		c := shortCase(t, "", "F1 seen bearing.twisted @ rod 1\nF2 not piston.band @ cyl 1")
		c.Engine.Facts["cylinders"], c.Engine.Facts["layout"] = 1, "single"
		d, err := Diagnose(t.Context(), b, c, Options{})
		require.NoError(t, err)
		// By Bayes' rule: 0.3 that it works, and half the bands are there to be seen.
		unseen := 1 - 0.5*(1-rules.Chances(evidence.Eye).Missed)
		assert.InDelta(t, 0.3*unseen/(0.3*unseen+0.7), at(t, d, "scuffed", "cyl 1").Present, 1e-9, reach)
	}
}

// A sign that is told by comparing cylinders is not to be looked for where there is
// one, and does not count if it is entered. Where the number is not known it may be.
func TestSignForSomeEnginesOnly(t *testing.T) {
	b := smallBook(t, `
[part.port]
name = "port"
per = "cylinder"
[sign.port.pale]
name = "pale, the others dark"
look = "One pale?"
when = "engine.cylinders > 1"
[cause.lean]
name = "lean"
category = "maintenance"
base_rate = "common"
source = "common practice"
leads_to.seized = { how_often = 0.5, because = "x", source = "common practice" }
shows.port.pale = { how_often = 0.9, reach = "each", because = "x", source = "common practice" }
`)
	work := func(cylinders any, findings string) *Diagnosis {
		c := shortCase(t, "seized", findings)
		delete(c.Engine.Facts, "cylinders")
		if cylinders != nil {
			c.Engine.Facts["cylinders"] = cylinders
		}
		c.Engine.AtLeast = map[string]bool{"cylinders": cylinders == 2}
		d, err := Diagnose(t.Context(), b, c, Options{Version: "test", Looks: 100})
		require.NoError(t, err)
		properties(t, d)
		return d
	}
	offered := func(d *Diagnosis) bool {
		return slices.ContainsFunc(d.Next, func(l Look) bool { return l.Sign == "port.pale" })
	}
	for _, cylinders := range []any{4, 2, nil, 1} {
		d := work(cylinders, "F1 not screen.clogged")
		assert.Equal(t, cylinders != 1, offered(d), "%v", cylinders)
		assumed := slices.ContainsFunc(d.Assumed, func(a Assumed) bool { return a.What == "[engine] does not give cylinders" })
		assert.Equal(t, cylinders == nil, assumed, "%v: %v", cylinders, d.Assumed)
		seen := work(cylinders, "F1 not screen.clogged\nF2 seen port.pale @ cyl 1")
		assert.Equal(t, cylinders != 1, seen.Findings[1].Counted, "%v", cylinders)
		if cylinders == 1 {
			assert.Equal(t, "does not apply to this engine: only where engine.cylinders > 1", seen.Findings[1].WhyNot)
			sameNumbers(t, numbers(d), numbers(seen), 0)
		}
	}
}

// of2 is the family of a cause or step in any book.
func of2(d *Diagnosis, id string) Candidate {
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for _, c := range list {
			if c.ID == id && c.At == "any" {
				return c
			}
		}
	}
	return Candidate{}
}

// Findings that agree do not hide one that fights another: the sum over all is far
// below nothing then.
func TestConflictIsNotHiddenByAgreement(t *testing.T) {
	b := thrownBook(t)
	const agree = "F1 seen block.hole\nF2 seen nut.off @ rod 3\nF3 seen nut.fretted @ rod 3\n"
	calm := diagnose(t, b, "stopped", agree+"F4 seen nut.dropped_on @ rod 2 ; by = \"gauge\"\nF5 seen block.prints")
	assert.LessOrEqual(t, calm.Conflict.Value, ConflictTold)
	assert.Empty(t, calm.Conflict.Findings)
	fight := diagnose(t, b, "stopped", agree+"F4 seen nut.dropped_on @ rod 2 ; by = \"gauge\"\nF5 not block.prints ; by = \"gauge\"")
	assert.Greater(t, fight.Conflict.Value, ConflictTold)
	assert.ElementsMatch(t, []string{"F4", "F5"}, fight.Conflict.Findings)
}

// A finding which says that what is asked about did not happen is told so, and no
// verdict is determined then.
func TestDeniedOutcome(t *testing.T) {
	t.Parallel()
	d := scenario(t, balanced, "balance_drive_shredded", "F1 not balance_drive.shredded\nF2 seen balance_tensioner.stiff")
	assert.NotEqual(t, Determined, d.Verdict.Standing)
	assert.Contains(t, d.Verdict.Why, "F1 says that what is asked about did not happen")
	d = scenario(t, balanced, "balance_drive_shredded", "F1 seen balance_drive.shredded\nF2 seen balance_tensioner.stiff")
	assert.Empty(t, d.Verdict.Why)
}

// A finding that is rather taken to be mistaken is not counted among the consequences
// in silence: it is doubted, and what speaks most against it is named.
func TestDoubtedFinding(t *testing.T) {
	b := smallBook(t, "")
	b.Sign("bearing.blue").Unlisted = 0.005 // much else makes steel blue
	d := diagnose(t, b, "", "F1 seen bearing.blue @ rod 3\nF2 not bearing.wiped @ rod 3")
	require.Len(t, d.NotExplained, 1)
	assert.Equal(t, "F1", d.NotExplained[0].Finding)
	assert.Contains(t, d.NotExplained[0].Why, "doubted")
	assert.Contains(t, d.NotExplained[0].Why, "F2 speaks most against it")
	d = diagnose(t, b, "", "F1 seen bearing.blue @ rod 3")
	for _, u := range d.NotExplained {
		assert.NotContains(t, u.Why, "doubted")
	}
}

// A position on a part of which the engine has one, and a cause as a question, are
// faults of the case.
func TestCheckPositionsAndQuestion(t *testing.T) {
	b := smallBook(t, "")
	c := shortCase(t, "sealant", "F1 seen screen.clogged @ rod 1")
	var faults source.Faults
	assert.False(t, Check(b, c, &faults))
	assert.Contains(t, faults.Error(), `"sealant" is a cause, and only a step can be asked about`)
	assert.Contains(t, faults.Error(), `"rod 1" is said of the screen, of which the engine has one`)
}

// Positions are named from what was seen there or is hardly in doubt, not from what
// is merely likely.
func TestOnlySurePositionsAreNamed(t *testing.T) {
	b := smallBook(t, "")
	c := shortCase(t, "seized", "F1 seen bearing.wiped @ rod 3\nF2 seen bearing.wiped @ rod 2")
	g := network.New(b, c)
	g.Observe(c)
	require.NoError(t, g.Ask("seized", nil))
	w := &work{ctx: t.Context(), book: b, c: c, g: g, d: &Diagnosis{}}
	var err error
	w.plain, err = g.Plain(w.ctx)
	require.NoError(t, err)
	w.post, err = w.plain.Posterior(w.ctx, nil)
	require.NoError(t, err)
	wiped := g.FamilyOf(b.Node("wiped"))
	assert.Greater(t, w.post.Item(wiped.Items[0]), 0.8, "or the test shows nothing")
	assert.Equal(t, "rod 2 and 3", w.sureOf(wiped))
}

// A verdict is no surer than its numbers.
func TestTooRough(t *testing.T) {
	for _, c := range []struct {
		standing     Standing
		blame, bound float64
		rough        bool
	}{{Determined, 0.95, 0.05, false}, {Determined, 0.95, 0.34, false}, {Determined, 0.95, 0.36, true}, {Probable, 0.7, 0.5, false}} {
		v := &Verdict{Standing: c.standing, Blame: c.blame, ErrorBound: c.bound, Traced: &Candidate{}}
		assert.Equal(t, c.rough, v.tooRough(), "%v", c)
		if c.rough {
			assert.Equal(t, Probable, v.Standing)
			assert.Nil(t, v.Traced)
			assert.NotEmpty(t, v.Why)
		} else {
			assert.Equal(t, c.standing, v.Standing)
			assert.NotNil(t, v.Traced)
		}
	}
}
