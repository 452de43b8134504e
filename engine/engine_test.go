package engine

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// A small book of our own, to see the reasoning without the knowledge.
const small = `
[pack]
id = "small"
title = "Small"
version = "1"
[part.pan]
name = "pan"
minutes_off = 30
[part.screen]
name = "screen"
behind = ["pan"]
[part.bearing]
name = "bearing"
per = "rod"
behind = ["pan"]
[part.paper]
name = "papers"
belongs = "paper"
[part.ring]
name = "ring"
[part.belt]
name = "belt"
when = "engine.timing_drive == 'belt'"

[sign.screen.clogged]
name = "clogged"
look = "Is it open?"
lost_by = ["wash screen"]
[sign.screen.strings]
name = "strings on it"
look = "Rubber?"
[sign.pan.sludge]
name = "sludge"
look = "Black?"
[sign.bearing.wiped]
name = "wiped"
look = "Smeared?"
[sign.bearing.blue]
name = "blue"
look = "Blue?"
[sign.paper.overdue]
name = "overdue"
look = "Read it."
[sign.ring.clogged]
name = "clogged"
look = "Free?"
[sign.belt.torn]
name = "torn"
look = "Torn?"

[cause.sealant]
name = "sealant"
category = "assembly"
base_rate = "occasional"
source = "common practice"
leads_to.blocked = { how_often = "sometimes", because = "it hangs there", source = "common practice" }
shows.screen.strings = { how_often = "usually", because = "strings", source = "common practice" }
[cause.overdue]
name = "overdue oil"
category = "maintenance"
base_rate = "common"
source = "common practice"
leads_to.blocked = { how_often = "seldom", because = "sludge", source = "common practice" }
shows.pan.sludge = { how_often = "usually", because = "sludge", source = "common practice" }
is.paper.overdue = { because = "it stands there" }
[cause.oil_leak]
name = "oil lost"
category = "external"
base_rate = "occasional"
source = "common practice"
leads_to.starved = { how_often = "often", because = "none left", source = "common practice" }
shows.ring.clogged = { how_often = 0.01, because = "x", source = "common practice" }
[cause.bolt_loose]
name = "bolt loose"
category = "assembly"
per = "rod"
base_rate = "uncommon"
source = "common practice"
leads_to.wiped = { how_often = "often", because = "it opens", source = "common practice" }
shows.bearing.blue = { how_often = "rarely", because = "x", source = "common practice" }
[cause.ring_carbon]
name = "oil ring full of carbon"
category = "operation"
base_rate = "common"
source = "common practice"
shows.ring.clogged = { how_often = "almost always", because = "carbon", source = "common practice" }
leads_to.starved = { how_often = "almost never", because = "it burns oil", source = "common practice" }
[cause.belt_old]
name = "belt old"
category = "maintenance"
base_rate = "common"
source = "common practice"
leads_to.seized = { how_often = "usually", because = "x", source = "common practice" }
shows.belt.torn = { how_often = "usually", because = "x", source = "common practice" }

[step.blocked]
name = "screen blocked"
leads_to.starved = { how_often = "usually", because = "no oil", source = "common practice" }
is.screen.clogged = { because = "it is that" }
[step.starved]
name = "bearings starved"
leads_to.wiped = { how_often = "almost always", because = "no film", source = "common practice", reach = "first" }
[step.wiped]
name = "bearing wiped"
per = "rod"
shows.bearing.wiped = { how_often = "almost always", because = "smear", source = "common practice" }
shows.bearing.blue = { how_often = "often", because = "heat", source = "common practice" }
leads_to.seized = { how_often = "usually", because = "it grips", source = "common practice" }
[step.seized]
name = "engine seized"
outcome = true
`

func smallBook(t *testing.T, extra string) *rules.Book {
	t.Helper()
	var faults source.Faults
	b := rules.Load(&faults, []rules.Text{{Name: "small.toml", Bytes: []byte(small + extra)}})
	require.NotNil(t, b, faults.Error())
	return b
}

const engineText = `
[engine]
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
timing_drive = "gears"
`

// diagnose works out a case given in short: "F1 seen part.sign @ rod 3".
func diagnose(t *testing.T, b *rules.Book, question, findings string) *Diagnosis {
	t.Helper()
	c := shortCase(t, question, findings)
	var faults source.Faults
	require.True(t, Check(b, c, &faults), faults.Error())
	d, err := Diagnose(t.Context(), b, c, Options{Version: "test"})
	require.NoError(t, err)
	properties(t, d)
	return d
}

func shortCase(t *testing.T, question, findings string) *evidence.Case {
	t.Helper()
	var text strings.Builder
	text.WriteString("[case]\nid = \"t\"\n")
	if question != "" {
		text.WriteString("question = \"" + question + "\"\n")
	}
	text.WriteString(engineText)
	for _, line := range strings.Split(strings.TrimSpace(findings), "\n") {
		id, rest, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok {
			continue
		}
		state := "seen"
		if r, not := strings.CutPrefix(rest, "not "); not {
			state, rest = "not found", r
		} else if r, un := strings.CutPrefix(rest, "gone "); un {
			state, rest = "unavailable", r
		}
		rest = strings.TrimPrefix(rest, "seen ")
		rest, more, _ := strings.Cut(rest, " ; ")
		sign, at, _ := strings.Cut(rest, " @ ")
		text.WriteString("[finding." + id + "]\nsign = \"" + sign + "\"\nstate = \"" + state + "\"\n")
		if at != "" {
			text.WriteString("at = \"" + at + "\"\n")
		}
		text.WriteString(strings.ReplaceAll(more, " ; ", "\n") + "\n")
	}
	var faults source.Faults
	c, ok := evidence.Parse("t.toml", []byte(text.String()), &faults)
	require.True(t, ok, faults.Error())
	return c
}

// properties hold for every diagnosis, whatever the case.
func properties(t *testing.T, d *Diagnosis) {
	t.Helper()
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for i, c := range list {
			assert.LessOrEqual(t, c.Blame, c.Acted+1e-12, c.ID)
			assert.LessOrEqual(t, c.Acted, c.Present+1e-12, c.ID)
			assert.GreaterOrEqual(t, c.Blame, 0.0)
			assert.LessOrEqual(t, c.Present, 1+1e-12)
			if i > 0 {
				assert.GreaterOrEqual(t, list[i-1].Blame, c.Blame-1e-8, "sorted by blame, but for rounding")
			}
		}
	}
	// A position stands in the chain only if something tells it from the others.
	for _, l := range d.Chain {
		if l.At != "" && l.At != "any" && l.Kind != "outcome" && len(l.Findings) == 0 {
			assert.Contains(t, d.Explanation.There, l.ID+" @ "+l.At)
		}
	}
	// Each column of shares adds up from base rate to result.
	sums := map[string]float64{}
	for _, f := range d.Findings {
		for k, w := range f.Weight {
			assert.False(t, math.IsNaN(w.Share) || math.IsInf(w.Share, 0))
			sums[k] += w.Share
		}
	}
	text, err := json.Marshal(d)
	require.NoError(t, err)
	nulls := strings.Count(string(text), ":null") - strings.Count(string(text), `"better_question":null`)
	assert.Zero(t, nulls, "an empty list is [], not null")
}

func TestVerdictReachesAsFarAsTheEvidence(t *testing.T) {
	b := smallBook(t, "")
	d := diagnose(t, b, "seized", `
F1 seen screen.clogged
F2 seen bearing.wiped @ rod 3
F3 not pan.sludge
F4 seen screen.strings`)
	assert.Equal(t, Determined, d.Verdict.Standing)
	assert.Equal(t, "sealant", d.Verdict.Names[0].ID)
	assert.Equal(t, []string{"sealant", "blocked", "starved", "wiped", "seized"}, chainIDs(d))

	// Without the strings it stops at the step and leaves open what lies behind.
	d = diagnose(t, b, "seized", `
F1 seen screen.clogged
F2 seen bearing.wiped @ rod 3`)
	assert.Equal(t, "blocked", d.Verdict.Names[0].ID)
	assert.Equal(t, Determined, d.Verdict.Standing)
	assert.GreaterOrEqual(t, len(d.Verdict.Behind), 2)
	assert.Equal(t, "overdue", d.Verdict.Behind[0].ID, "common, though it seldom does it")
	assert.Contains(t, d.Verdict.Words, "Behind it, probably: overdue oil")
}

func chainIDs(d *Diagnosis) []string {
	var out []string
	for _, l := range d.Chain {
		out = append(out, l.ID)
	}
	return out
}

func find(list []Candidate, id string) Candidate {
	for _, c := range list {
		if c.ID == id {
			return c
		}
	}
	return Candidate{}
}

// Present, and not to blame: the innocent bystander.
func TestBystander(t *testing.T) {
	d := diagnose(t, smallBook(t, ""), "seized", `
F1 seen ring.clogged
F2 seen screen.clogged
F3 seen bearing.wiped @ rod 2`)
	ring := find(d.Causes, "ring_carbon")
	assert.Greater(t, ring.Present, 0.7)
	assert.Less(t, ring.Blame, 0.05)
	assert.Equal(t, Independent, d.Findings[0].Role)
}

// A logged fact that is the cause itself is present, not guessed.
func TestConditionInTheHandIsNotGuessed(t *testing.T) {
	d := diagnose(t, smallBook(t, ""), "seized", `F1 seen paper.overdue ; by = "paper"`)
	assert.InDelta(t, 1, find(d.Causes, "overdue").Present, 1e-9)
	d = diagnose(t, smallBook(t, ""), "seized", `F1 seen paper.overdue ; by = "told"`)
	p := find(d.Causes, "overdue").Present
	assert.Greater(t, p, 0.2)
	assert.Less(t, p, 0.9)
}

// Two things that each would have done are told apart from one that is doubtful.
func TestEitherWouldHaveDone(t *testing.T) {
	b := smallBook(t, `
[cause.pump_out]
name = "pump not driven"
category = "assembly"
base_rate = "rare"
source = "common practice"
leads_to.starved = { how_often = "always", because = "no oil", source = "common practice" }
is.paper.pump_out = { because = "x" }
[cause.no_oil]
name = "no oil filled"
category = "maintenance"
base_rate = "rare"
source = "common practice"
leads_to.starved = { how_often = "always", because = "no oil", source = "common practice" }
is.paper.no_oil = { because = "x" }
[sign.paper.pump_out]
name = "pump not driven"
look = "Read."
[sign.paper.no_oil]
name = "no oil"
look = "Read."
`)
	d := diagnose(t, b, "wiped", "F1 seen paper.pump_out\nF2 seen paper.no_oil")
	require.Len(t, d.Verdict.Names, 2)
	assert.Equal(t, EitherEnough, d.Verdict.Together)
	assert.Less(t, find(d.Causes, "no_oil").Blame, 0.2)
	assert.Greater(t, find(d.Causes, "no_oil").Acted, 0.9)
	assert.Contains(t, d.Verdict.Words, "Either would have done it alone")
}

// Two things that were needed together are each to blame.
func TestBothNeeded(t *testing.T) {
	b := smallBook(t, `
[cause.filler]
name = "bore patched with filler"
category = "assembly"
base_rate = "very rare"
source = "common practice"
is.paper.filler = { because = "x" }
[cause.overtight]
name = "bolt over-tight"
category = "assembly"
base_rate = "rare"
source = "common practice"
is.paper.overtight = { because = "x" }
[sign.paper.filler]
name = "filler"
look = "Read."
[sign.paper.overtight]
name = "over-tight"
look = "Read."
[step.cracked]
name = "bearing cracked"
outcome = true
unlisted = "one in two hundred"
needs = { all = ["filler", "overtight"], how_often = "usually", because = "soft seat", source = "common practice" }
`)
	d := diagnose(t, b, "cracked", "F1 seen paper.filler\nF2 seen paper.overtight")
	assert.Equal(t, Determined, d.Verdict.Standing)
	require.Len(t, d.Verdict.Names, 2)
	assert.Equal(t, BothNeeded, d.Verdict.Together)
}

// "Not found" counts only where it could have been seen.
func TestNotFoundMustHaveBeenPossible(t *testing.T) {
	b := smallBook(t, "")
	logged := func(acts string, findings string) *Diagnosis {
		c := shortCase(t, "seized", findings)
		var faults source.Faults
		with, ok := evidence.Parse("t.toml", []byte("[case]\nid=\"t\"\n"+engineText+acts), &faults)
		require.True(t, ok, faults.Error())
		c.Acts = with.Acts
		d, err := Diagnose(t.Context(), b, c, Options{})
		require.NoError(t, err)
		return d
	}
	const off = "[act.A1]\nkind = \"off\"\npart = \"pan\"\n"
	const other = "[act.A1]\nkind = \"off\"\npart = \"ring\"\n"
	const washed = off + "[act.A2]\nkind = \"wash\"\npart = \"screen\"\n"
	d := logged(off, "F1 not screen.clogged")
	assert.True(t, d.Findings[0].Counted)
	d = logged(other, "F1 not screen.clogged")
	assert.False(t, d.Findings[0].Counted)
	assert.Equal(t, "unavailable", d.Findings[0].State)
	assert.Contains(t, d.Findings[0].WhyNot, "never reached")
	d = logged(other, `F1 not screen.clogged ; by = "lens"`)
	assert.True(t, d.Findings[0].Counted, "the way of looking says how it was reached")
	d = logged(washed, "F1 not screen.clogged")
	assert.False(t, d.Findings[0].Counted)
	d = logged(washed, `F1 not screen.clogged ; surface = "as found"`)
	assert.True(t, d.Findings[0].Counted)
}

// A part that the engine has not got takes its causes with it.
func TestPartDecidesWhatApplies(t *testing.T) {
	d := diagnose(t, smallBook(t, ""), "seized", "F1 seen bearing.wiped @ rod 1")
	assert.Empty(t, find(d.Causes, "belt_old").ID)
}

// One rod wiped and three not: with a rule that takes the first, the spared
// ones speak for nobody; several wiped are no wonder either.
func TestSparedPositionsSpeakForNobody(t *testing.T) {
	b := smallBook(t, "")
	one := diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 3\nF2 not bearing.wiped @ all but rod 3\nF3 seen screen.clogged")
	all := diagnose(t, b, "seized", "F1 seen bearing.wiped @ all\nF3 seen screen.clogged")
	assert.Greater(t, find(one.Steps, "blocked").Blame, 0.7)
	assert.Greater(t, find(all.Steps, "blocked").Blame, 0.9)
}

// An unknown position is one of them: it says less than a known one, and more
// than nothing.
func TestUnknownPosition(t *testing.T) {
	b := smallBook(t, "")
	none := diagnose(t, b, "", "")
	unknown := diagnose(t, b, "", "F1 seen bearing.wiped @ ?a")
	known := diagnose(t, b, "", "F1 seen bearing.wiped @ rod 1")
	p := func(d *Diagnosis, at string) float64 {
		for _, c := range d.Steps {
			if c.ID == "wiped" && c.At == at {
				return c.Present
			}
		}
		return -1
	}
	assert.Greater(t, p(unknown, "any"), p(none, "any"))
	assert.InDelta(t, p(unknown, "rod 1"), p(unknown, "rod 4"), 1e-9)
	assert.Greater(t, p(known, "rod 1"), p(unknown, "rod 1"))
	three := diagnose(t, b, "", "F1 seen bearing.wiped @ 3 of 4")
	assert.InDelta(t, p(three, "rod 1"), p(three, "rod 3"), 1e-9)
	assert.Greater(t, p(three, "rod 1"), p(unknown, "rod 1"))
}

// An empty case gives base rates and what to look at.
func TestEmptyCase(t *testing.T) {
	b := smallBook(t, "")
	d := diagnose(t, b, "", "")
	assert.Equal(t, Undetermined, d.Verdict.Standing)
	assert.InDelta(t, 0.025, find(d.Causes, "sealant").Present, 1e-9)
	assert.NotEmpty(t, d.Next)
	d = diagnose(t, b, "seized", "")
	assert.NotEmpty(t, d.Next)
	assert.Greater(t, find(d.Causes, "sealant").Present, 0.025)
}

// Damage made on the bench is kept and shown, and moves nothing.
func TestMadeAfterMovesNothing(t *testing.T) {
	b := smallBook(t, "")
	without := diagnose(t, b, "seized", "F1 seen screen.clogged")
	with := diagnose(t, b, "seized", "F1 seen screen.clogged\nF2 seen ring.clogged ; made = \"teardown\"")
	assert.Equal(t, MadeAfter, with.Findings[1].Role)
	assert.Equal(t, without.Causes, with.Causes)
}

// Scaling all base rates changes no ranking, because the chances of unlisted
// causes follow.
func TestScaleChangesNoRanking(t *testing.T) {
	b := smallBook(t, "")
	findings := "F1 seen screen.clogged\nF2 seen bearing.wiped @ rod 2"
	before := diagnose(t, b, "seized", findings)
	for _, n := range b.Nodes {
		n.BaseRate /= 10
	}
	after := diagnose(t, b, "seized", findings)
	for i := range 2 {
		assert.Equal(t, before.Causes[i].ID, after.Causes[i].ID)
	}
	assert.InDelta(t, find(before.Causes, "unlisted").Blame, find(after.Causes, "unlisted").Blame, 0.05)
}

// Base rates, a sign's own sources, and what conditions bring about, are told of
// engines that came in: they are scaled to engines at large. What came about on the bench is not.
func TestAtLarge(t *testing.T) {
	const extra = `
[sign.pan.rag]
name = "rag"
look = "A rag?"
[condition.old]
name = "old"
base_rate = 0.5
leads_to.starved = { how_often = 0.2, because = "x", source = "common practice" }
[cause.rag_left]
name = "rag left on the bench"
category = "artefact"
base_rate = 0.04
source = "common practice"
shows.pan.rag = { how_often = "usually", because = "x", source = "common practice" }
`
	all, few := smallBook(t, extra), smallBook(t, extra)
	few.AtLarge = 0.25
	before, after := diagnose(t, all, "", ""), diagnose(t, few, "", "")
	assert.InDelta(t, 0.025, find(before.Causes, "sealant").Present, 1e-9)
	assert.InDelta(t, 0.025/4, find(after.Causes, "sealant").Present, 1e-9)
	assert.InDelta(t, 0.04, find(after.Causes, "rag_left").Present, 1e-9)

	// What a sign tells of a cause, with nothing known of a failure, is as the packs
	// have it: its own sources are scaled too, if not what the eye may mistake.
	was := find(diagnose(t, all, "", "F1 seen screen.strings").Causes, "sealant").Present
	assert.Greater(t, find(diagnose(t, few, "", "F1 seen screen.strings").Causes, "sealant").Present, 0.7*was)
	assert.InDelta(t, 0.5, was, 0.3)

	// With every other way to it shut, the step comes about by the condition alone.
	starved := func(b *rules.Book) float64 {
		for _, n := range b.Nodes {
			if n.Kind == rules.Cause {
				n.BaseRate = 0
			}
			n.Unlisted = 0
		}
		return find(diagnose(t, b, "", "").Steps, "starved").Present
	}
	assert.InDelta(t, 0.5*0.2, starved(all), 1e-9)
	assert.InDelta(t, 0.5*0.2/4, starved(few), 1e-9)
}

// A step split in two without a share of its own makes unlisted no larger.
func TestSplitStepMakesUnlistedNoLarger(t *testing.T) {
	whole := diagnose(t, smallBook(t, ""), "seized", "F1 seen bearing.wiped @ rod 2")
	split := strings.Replace(small, `leads_to.starved = { how_often = "usually", because = "no oil", source = "common practice" }
is.screen`, `leads_to.thin_flow = { how_often = "usually", because = "no oil", source = "common practice" }
is.screen`, 1) + "\n[step.thin_flow]\nname = \"little oil\"\nunlisted = \"none\"\nleads_to.starved = { how_often = 1.0, because = \"x\", source = \"common practice\" }\n"
	var faults source.Faults
	b := rules.Load(&faults, []rules.Text{{Name: "split.toml", Bytes: []byte(split)}})
	require.NotNil(t, b, faults.Error())
	d := diagnose(t, b, "seized", "F1 seen bearing.wiped @ rod 2")
	assert.InDelta(t, find(whole.Causes, "unlisted").Blame, find(d.Causes, "unlisted").Blame, 0.01)
}

// The unlisted can lead, and says where it sits.
func TestUnlistedSits(t *testing.T) {
	b := smallBook(t, "")
	b.Node("blocked").Unlisted = 0.9
	d := diagnose(t, b, "seized", "F1 seen screen.clogged\nF2 seen bearing.wiped @ rod 2\nF3 not screen.strings\nF4 not pan.sludge")
	u := find(d.Causes, "unlisted")
	assert.Equal(t, "unlisted", d.Causes[0].ID)
	assert.Greater(t, u.Blame, 0.6)
	assert.Equal(t, "blocked", u.Sits[0].ID)
}

// Findings that fight are named, and keep the standing at probable.
func TestConflict(t *testing.T) {
	b := smallBook(t, "")
	calm := diagnose(t, b, "seized", "F1 seen screen.clogged\nF2 seen screen.strings")
	assert.Less(t, calm.Conflict.Value, ConflictTold)
	b.Sign("screen.strings").Unlisted = 0.001
	for _, r := range b.Rules {
		if r.ID == "sealant > blocked" {
			r.HowOften = 0.98
		}
	}
	fight := diagnose(t, b, "seized", "F1 seen screen.strings\nF2 not screen.clogged ; by = \"gauge\"")
	assert.Greater(t, fight.Conflict.Value, ConflictTold)
	assert.NotEmpty(t, fight.Conflict.Findings)
}

// Findings that cannot be together under the book are named.
func TestClash(t *testing.T) {
	b := smallBook(t, "")
	b.Sign("screen.strings").Unlisted = 0
	b.Node("sealant").BaseRate = 0
	c := shortCase(t, "seized", "F1 seen bearing.wiped @ rod 1\nF2 seen screen.strings ; by = \"gauge\"")
	_, err := Diagnose(t.Context(), b, c, Options{})
	findings, clash := IsClash(err)
	require.True(t, clash, "%v", err)
	assert.Equal(t, []string{"F2"}, findings)
}

// The shares of every candidate add up from the odds without findings to those
// with all of them.
func TestSharesAddUp(t *testing.T) {
	b := smallBook(t, "")
	findings := "F1 seen screen.clogged\nF2 seen bearing.wiped @ rod 2\nF3 not screen.strings\nF4 seen pan.sludge\nF5 seen ring.clogged"
	with, without := diagnose(t, b, "seized", findings), diagnose(t, b, "seized", "")
	checked := 0
	for _, id := range []string{"sealant", "overdue", "oil_leak", "ring_carbon"} {
		sum, any := 0.0, false
		for _, f := range with.Findings {
			w, ok := f.Weight[id]
			any = any || ok
			sum += w.Share
		}
		if any {
			checked++
			assert.InDelta(t, decibans(find(with.Causes, id).Present)-decibans(find(without.Causes, id).Present), sum, 1e-6, id)
		}
	}
	assert.NotZero(t, checked)
}

func TestStrengthFollowsTheGuideline(t *testing.T) {
	// ENFSI guideline for evaluative reporting in forensic science (2015).
	for lr, want := range map[float64]string{1: "no", 2: "weak", 9.9: "weak", 10: "moderate", 99: "moderate", 100: "moderately strong", 1000: "strong", 10000: "very strong", 1e6: "extremely strong"} {
		assert.Equal(t, want, Strength(10*math.Log10(lr)+1e-9), "%v", lr)
	}
}

// Work done before and parts that do not belong are evidence where they say
// which sign they are.
func TestWorkAndFittedAreEvidence(t *testing.T) {
	b := smallBook(t, "")
	c := shortCase(t, "seized", "F1 seen bearing.wiped @ rod 1")
	c.Works = []evidence.Work{{ID: "W1", What: "oil bill of three years ago", Sign: "paper.overdue", By: evidence.Paper, Sure: evidence.Certain}}
	c.Fitted = []evidence.Fitted{{ID: "X1", Part: "screen", Found: "fine mesh", Wanted: "fine mesh", Sign: "screen.strings", By: evidence.Eye, Sure: evidence.Certain}}
	var faults source.Faults
	require.True(t, Check(b, c, &faults), faults.Error())
	d, err := Diagnose(t.Context(), b, c, Options{})
	require.NoError(t, err)
	assert.InDelta(t, 1, find(d.Causes, "overdue").Present, 1e-9)
	require.Len(t, d.Findings, 3)
	assert.Equal(t, "W1", d.Findings[1].ID)
	assert.Equal(t, "not_found", d.Findings[2].State)
}
