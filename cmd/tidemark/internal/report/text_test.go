package report

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine"
	"tidemark/evidence/source"
	"tidemark/rules"
)

const smallBook = `
[pack]
id = "small"
title = "small"
version = "1"
[part.oil_pan]
name = "oil pan"
[part.rod_bolt]
name = "rod bolts"
[part.main_bearing]
name = "main bearing"
[sign.oil_pan.sludge]
name = "thick black sludge"
look = "Is there any?"
lost_by = ["off main_bearing", "off rod_bolt", "wash oil_pan"]
[cause.oil_overdue]
name = "oil left in too long"
category = "maintenance"
base_rate = "rare"
source = "s"
leads_to.sludge_formed = { how_often = "often", because = "b", source = "s" }
[cause.bolt_loose]
name = "bolt left loose"
category = "assembly"
base_rate = "rare"
source = "s"
leads_to.stopped = { how_often = "often", because = "b", source = "s" }
[step.sludge_formed]
name = "sludge formed"
shows.oil_pan.sludge = { how_often = "often", because = "b", source = "s" }
leads_to.stopped = { how_often = "often", because = "b", source = "s" }
[step.stopped]
name = "stopped by itself"
outcome = true
`

func book(t *testing.T) *rules.Book {
	t.Helper()
	var faults source.Faults
	b := rules.Load(&faults, []rules.Text{{Name: "small.toml", Bytes: []byte(smallBook)}})
	require.NotNil(t, b, faults.Error())
	return b
}

// shown is a diagnosis as text on one line, so that no wrapping is in the way.
func shown(t *testing.T, d *engine.Diagnosis, o Options) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, Text(&b, book(t), d, o))
	return strings.Join(strings.Fields(b.String()), " ")
}

// asked is a diagnosis with two causes, of which none is named.
func asked() *engine.Diagnosis {
	d := &engine.Diagnosis{
		Case:    engine.CaseInfo{ID: "t", Question: "stopped", QuestionName: "stopped by itself"},
		Verdict: engine.Verdict{Standing: engine.Undetermined, Words: "Not determined."},
		Causes: []engine.Candidate{
			{ID: "oil_overdue", Kind: "cause", Name: "oil left in too long", Present: 0.5, Acted: 0.5, Blame: 0.4},
			{ID: "bolt_loose", Kind: "cause", Name: "bolt left loose", Present: 0.3, Acted: 0.3, Blame: 0.3},
		},
		Method: engine.Method{Exact: true},
	}
	d.Verdict.Nearest = &d.Causes[0]
	return d
}

// determined is the same with the first named.
func determined() *engine.Diagnosis {
	d := asked()
	d.Verdict = engine.Verdict{Standing: engine.Determined, Words: "Determined: oil left in too long.", Names: d.Causes[:1]}
	return d
}

func at(x float64) *float64 { return &x }

// What would overturn it is told in the names of things, the two bounds of one
// rule in one sentence, and of a candidate where nothing is named.
func TestOverturned(t *testing.T) {
	turned := engine.Overturned{
		Rules: []engine.RuleFlip{
			{Rule: "oil_overdue > sludge_formed", Now: 0.4, HoldsAbove: at(0.02), ThenLeads: "bolt_loose"},
			{Rule: "sludge_formed > stopped", Now: 0.4, HoldsBelow: at(0.9), ThenLeads: "bolt_loose"},
			{Rule: "oil_overdue > sludge_formed", Now: 0.4, HoldsBelow: at(0.8), ThenLeads: "bolt_loose"},
			{Rule: "sludge_formed > oil_pan.sludge #2", Now: 0.4, HoldsAbove: at(0.001), ThenLeads: "bolt_loose @ rod 3"},
		},
		Findings: []engine.FindingFlip{{Finding: "F01", ThenLeads: "bolt_loose"}},
		Looks:    []engine.LookFlip{{Sign: "oil_pan.sludge", Result: "not found", Probability: 0.4, ThenLeads: "bolt_loose"}},
	}
	d := determined()
	d.OverturnedBy = turned
	d.Findings = []engine.FindingOut{{ID: "F01", Name: "oil pan: thick black sludge", State: "not_found"}}
	text := shown(t, d, Options{})
	_, text, _ = strings.Cut(text, "WHAT WOULD OVERTURN IT ")
	text, _, _ = strings.Cut(text, " Determined from")
	assert.Equal(t, "If F01 (oil pan: thick black sludge, not found) is mistaken, bolt left loose comes first."+
		" It holds as long as “oil left in too long” leads to “sludge formed” in more than 2 and less than 80 of 100 (now 40); else bolt left loose comes first."+
		" It holds as long as “sludge formed” leads to “stopped by itself” in less than 90 of 100 (now 40); else bolt left loose comes first."+
		" It holds as long as “sludge formed” shows “oil pan: thick black sludge” in more than 0.1 of 100 (now 40); else bolt left loose, rod 3 comes first."+
		" If oil pan: thick black sludge is looked for and not found (40 % likely), bolt left loose comes first.", text)
	assert.NotContains(t, shown(t, d, Options{Full: true}), "_")

	d = asked()
	d.OverturnedBy = turned
	text = shown(t, d, Options{})
	assert.NotContains(t, text, "It holds")
	assert.Equal(t, 3, strings.Count(text, "Oil left in too long stays first as long as “"))

	d.OverturnedBy.Rules = []engine.RuleFlip{
		{Rule: "sludge_formed > stopped", Now: 0.4, HoldsAbove: at(0.02), ThenLeads: "bolt_loose"},
		{Rule: "sludge_formed > stopped", Now: 0.4, HoldsBelow: at(0.8), ThenLeads: "sludge_formed"},
	}
	assert.Contains(t, shown(t, d, Options{}), "; below that bolt left loose comes first, above it sludge formed.")
}

// A finding is told as speaking against a candidate only where it weighs
// something.
func TestMostAgainst(t *testing.T) {
	d := determined()
	for db, want := range map[float64]bool{-2.9: false, -3.1: true, -20: true, 12: false} {
		d.Findings = []engine.FindingOut{{ID: "F08", Name: "oil pan: dry", State: "seen", Weight: map[string]engine.Weight{"bolt_loose": {Alone: db, Last: db, Share: db}}}}
		text := shown(t, d, Options{})
		assert.Contains(t, text, "OTHER CANDIDATES bolt left loose: to blame 30 %")
		assert.Equal(t, want, strings.Contains(text, "most against it: F08 (oil pan: dry), "), db)
	}
}

// weights are seven findings: one strong, one weak and against, five that weigh
// hardly anything.
func weights() []engine.FindingOut {
	var out []engine.FindingOut
	for i, db := range []float64{0.5, -4, 1, 22, 0.2, -0.01, 2.9} {
		out = append(out, engine.FindingOut{ID: fmt.Sprintf("F%02d", i+1), Name: "sight", State: "seen", Weight: map[string]engine.Weight{
			"oil_overdue": {Alone: db, Last: db / 2, Share: db}, "bolt_loose": {Alone: -db, Last: -db, Share: -db},
		}})
	}
	return out
}

// For and against: in words with --full, in columns as well with --numbers, which
// alone tells it of what is named or comes nearest.
func TestForAndAgainst(t *testing.T) {
	section := func(d *engine.Diagnosis, o Options) string {
		d.Findings = weights()
		text := shown(t, d, o)
		if i := strings.Index(text, "FOR AND AGAINST"); i >= 0 {
			text = text[i:]
			text, _, _ = strings.Cut(text, " WHAT WOULD OVERTURN IT")
			text, _, _ = strings.Cut(text, " Determined from")
			return text
		}
		return ""
	}
	for _, d := range []*engine.Diagnosis{asked(), determined()} {
		assert.Empty(t, section(d, Options{}))
		words := section(d, Options{Full: true})
		assert.Equal(t, "FOR AND AGAINST: OIL LEFT IN TOO LONG F04 sight: moderately strong support for it. F02 sight: weak support against it."+
			" Hardly any weight: F01 F03 F05 F06 F07."+
			" FOR AND AGAINST: BOLT LEFT LOOSE F04 sight: moderately strong support against it. F02 sight: weak support for it."+
			" Hardly any weight: F01 F03 F05 F06 F07.", words)
		numbers := section(d, Options{Numbers: true})
		assert.Equal(t, 1, strings.Count(numbers, "FOR AND AGAINST"))
		assert.Contains(t, numbers, "FOR AND AGAINST: OIL LEFT IN TOO LONG In decibans: ")
		assert.Contains(t, numbers, " +22.0 +11.0 +22.0 F04 sight, moderately strong support for it -4.0 -2.0 -4.0 F02 sight, weak support against it +2.9 +1.4 +2.9 F07 ")
		assert.Contains(t, numbers, "Hardly any weight: F06. Sum of shares +22.6.")
		both := section(d, Options{Full: true, Numbers: true})
		assert.Equal(t, 2, strings.Count(both, "FOR AND AGAINST"))
		assert.Contains(t, both, "FOR AND AGAINST: BOLT LEFT LOOSE In decibans: ")
	}
	// The one named comes first, whatever its blame.
	d := asked()
	d.Verdict.Names = d.Causes[1:]
	assert.Contains(t, section(d, Options{Numbers: true}), "FOR AND AGAINST: BOLT LEFT LOOSE")
	// Where nothing is asked there is no blame, and it is told all the same.
	d = asked()
	d.Case.Question = ""
	assert.Contains(t, section(d, Options{Numbers: true}), "FOR AND AGAINST: OIL LEFT IN TOO LONG")
}

// What comes nearest, and after a position its family.
func TestLeading(t *testing.T) {
	text := &text{Names: Names{d: asked()}}
	text.d.Causes = []engine.Candidate{
		{ID: "nut", At: "rod 3", Kind: "cause", Blame: 0.3},
		{ID: "nut", At: "any", Kind: "family", Blame: 0.3},
	}
	text.d.Verdict.Nearest = &text.d.Causes[0]
	var got []string
	for _, c := range text.leading() {
		got = append(got, key(c))
	}
	assert.Equal(t, []string{"nut @ rod 3", "nut"}, got)
	text.d.Verdict.Nearest = nil
	assert.Empty(t, text.leading())
}

// What is given stands apart from what is assumed, which is cut late.
func TestGivenAndAssumed(t *testing.T) {
	d := determined()
	d.Conditions = []engine.Condition{{ID: "long_in_service", Name: "long in service", Present: 0.98}}
	text := shown(t, d, Options{})
	assert.NotContains(t, text, "ASSUMED")
	assert.Contains(t, text, "TAKEN AS GIVEN Long in service (98 %).")
	for n, cut := range map[int]string{8: "", 9: "and 1 more; --full lists it.", 12: "and 4 more; --full lists them."} {
		d.Assumed = nil
		for i := range n {
			d.Assumed = append(d.Assumed, engine.Assumed{What: fmt.Sprintf("thing %d", i+1), Because: "not said"})
		}
		text = shown(t, d, Options{})
		assert.Equal(t, min(n, 8), strings.Count(text, ": not said."))
		assert.Contains(t, text, strings.TrimSpace("Thing 8: not said. "+cut)+" Taken as given: long in service (98 %).")
		assert.Equal(t, n, strings.Count(shown(t, d, Options{Full: true}), ": not said."))
	}
}

// An error that matters stands beside the verdict.
func TestErrorBesideVerdict(t *testing.T) {
	for _, x := range []struct {
		m    engine.Method
		told bool
	}{{engine.Method{Exact: true, ErrorBound: 0.2}, false}, {engine.Method{ErrorBound: 0.05}, false}, {engine.Method{ErrorBound: 0.052}, true}} {
		d := determined()
		d.Method, d.Verdict.ErrorBound = x.m, x.m.ErrorBound
		assert.Equal(t, x.told, strings.Contains(shown(t, d, Options{}), "VERDICT Determined: oil left in too long. This figure may be off by about 6 in 100"))
	}
}

// A better question, and the next best account, in plain words.
func TestPlainWords(t *testing.T) {
	d := asked()
	d.Verdict.BetterQuestion = &engine.BetterQuestion{ID: "sludge_formed", Name: "sludge formed", Acted: 0.97, Leads: d.Causes[:1]}
	d.NotExplained = []engine.Unexplained{{Finding: "F01", Why: "the book has no such sign"}}
	d.Explanation.Second = &engine.Second{Believe: []string{"bolt left loose"}, Drop: []string{"oil left in too long", "sludge formed"}, Odds: 2}
	d.Findings = []engine.FindingOut{{ID: "F02", Name: "sight", State: "seen", Role: engine.Consequential}}
	text := shown(t, d, Options{Full: true})
	assert.Contains(t, text, `Better to ask what brought this about: sludge formed (acted, 97 %). In the case: question = "sludge_formed". To blame for that: oil left in too long 40 %.`)
	assert.Contains(t, text, "The next best account of it all is 2 times less probable. There as well: bolt left loose. Not there: oil left in too long and sludge formed.")
	// Nothing is named, so nothing is a consequence of it.
	assert.Contains(t, text, "On the way to what happened: F02 sight.")
	assert.NotContains(t, text, "Consequence of it")
	d.Verdict.Names = d.Causes[:1]
	assert.Contains(t, shown(t, d, Options{}), "Consequence of it: F02.")
	assert.Contains(t, shown(t, d, Options{Full: true}), "Consequence of it: F02 sight.")
}

// What is left to look at is not hidden.
func TestLooksLeft(t *testing.T) {
	d := determined()
	d.Stop.Why = "No look left would tell much more."
	assert.Contains(t, shown(t, d, Options{}), "No look left would tell much more. Determined")
	d.Next = []engine.Look{{Sign: "oil_pan.sludge", Name: "oil pan: thick black sludge", Ask: "Is there any?", Minutes: 3, Bits: engine.WorthTelling / 2, Off: []string{"main_bearing"}, DestroyedBy: []string{"off main_bearing", "off rod_bolt"}}}
	assert.Contains(t, shown(t, d, Options{}), "No look left would tell much more; --full lists what is left. Determined")
	text := shown(t, d, Options{Full: true})
	assert.NotContains(t, text, "--full")
	assert.Contains(t, text, "Is there any? 3 min. Comes off first: main bearing. Look before the main bearing or the rod bolts come off.")
	d.Next[0].Bits = engine.WorthTelling
	assert.NotContains(t, shown(t, d, Options{}), "--full")
}

func TestLookBefore(t *testing.T) {
	for want, acts := range map[string][]act{
		"Look before the main bearing or the crankshaft comes off.":                             {{"off", "main bearing"}, {"off", "crankshaft"}},
		"Look before the oil pan is washed.":                                                    {{"wash", "oil pan"}},
		"Look before the rod bolts are turned, or the main oilways in the block are blown out.": {{"turn", "rod bolts"}, {"blow", "main oilways in the block"}},
		"Look before the engine oil is drained, or the oil pickup and its screen comes off.":    {{"drain", "engine oil"}, {"off", "oil pickup and its screen"}},
		"Look before the guides of the timing chain are taken apart.":                           {{"part", "guides of the timing chain"}},
		"Look before the timing belt is cut, or the injector is tested.":                        {{"cut", "timing belt"}, {"test", "injector"}},
		"Look before the oil pan is washed or blown out.":                                       {{"wash", "oil pan"}, {"blow", "oil pan"}},
	} {
		assert.Equal(t, want, lookBefore(acts))
	}
	var b strings.Builder
	require.NoError(t, SignCard(&b, book(t), book(t).Sign("oil_pan.sludge"), Options{Width: 100}))
	assert.Contains(t, b.String(), "\n  Look before the main bearing or the rod bolts come off, or the oil pan is washed.\n")
	assert.NotContains(t, b.String(), "Only where")
}

// A card says which engines its sign is for.
func TestSignForSomeEngines(t *testing.T) {
	var faults source.Faults
	whole := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, whole, faults.Error())
	sign := whole.Sign("cylinder_bore.carbon_line_low")
	var b strings.Builder
	require.NoError(t, SignCard(&b, whole, sign, Options{Width: 100}))
	assert.Contains(t, b.String(), "\n  Only where engine.cylinders > 1.\n")
	assert.Equal(t, "engine.cylinders > 1", SignJSON(sign).When)
	assert.Empty(t, SignJSON(book(t).Sign("oil_pan.sludge")).When)
}

// Colour and weight only where they are wanted, and no word is told by them alone;
// plain ASCII where nothing else can be shown.
func TestColourAndASCII(t *testing.T) {
	d := asked()
	d.Verdict.Standing, d.Verdict.Words = engine.Probable, "Probable: oil left in too long → “sludge” (±1 °C)."
	var plain, coloured, old bytes.Buffer
	require.NoError(t, Text(&plain, &rules.Book{}, d, Options{}))
	require.NoError(t, Text(&coloured, &rules.Book{}, d, Options{Colour: true}))
	require.NoError(t, Text(&old, &rules.Book{}, d, Options{ASCII: true}))
	assert.NotContains(t, plain.String(), "\x1b")
	assert.Contains(t, coloured.String(), "\x1b[1mVERDICT\x1b[m")
	assert.Regexp(t, `\x1b\[1;33m  Probable: oil`, coloured.String())
	assert.Equal(t, plain.String(), regexp.MustCompile(`\x1b\[[0-9;]*m`).ReplaceAllString(coloured.String(), ""))
	assert.Regexp(t, `^[\x00-\x7f]+$`, old.String())
	assert.Contains(t, old.String(), `Probable: oil left in too long -> "sludge" (+/-1 deg C).`)
}
