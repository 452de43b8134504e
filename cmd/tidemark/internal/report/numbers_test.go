package report

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine"
	"tidemark/evidence/source"
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

// What was needed at once is named together, on the chain, on a way, and on a card.
func TestTogetherIsTold(t *testing.T) {
	d := determined()
	d.Chain = []engine.ChainLink{
		{ID: "oil_overdue", Kind: "cause", Name: "oil left in too long", Probability: 0.9},
		{ID: "stopped", Kind: "outcome", Name: "stopped by itself", Probability: 1, Because: "both at once", With: []engine.Needed{{ID: "bolt_loose", Name: "bolt left loose", At: "rod 3", Kind: "cause", Acted: 0.8}, {ID: "x", Name: "cold climate", Kind: "condition"}}},
	}
	assert.Contains(t, shown(t, d, Options{}), "oil left in too long (acted, 90 %) together with bolt left loose, rod 3 (acted, 80 %) and cold climate → stopped by itself (asked about) Both at once.")

	a := &engine.Argument{Of: engine.Candidate{ID: "oil_overdue", Name: "oil left in too long"}, Scale: "present", Case: d.Case}
	a.Way = []engine.Rung{{From: "oil_overdue", To: "stopped", HowOften: 0.5, Because: "both at once", With: []string{"bolt_loose"}}}
	a.Points = []engine.Point{{Finding: "F01", Name: "sludge", Strength: "weak", Weight: engine.Weight{Share: 4}, How: []engine.Rung{a.Way[0], {From: "sludge_formed", To: "oil_pan.sludge", HowOften: 0.66, Because: "b"}}}}
	said := argued(t, a)
	assert.Contains(t, said, "Oil left in too long together with bolt left loose → stopped by itself, as often as not (50 of 100). Both at once.")
	assert.Contains(t, said, "F01 sludge: weak support. Oil left in too long together with bolt left loose → sludge formed.")

	var faults source.Faults
	b := rules.Load(&faults, []rules.Text{{Name: "small.toml", Bytes: []byte(smallBook + "needs = [ { all = [\"bolt_loose\", \"sludge_formed\"], how_often = \"often\", because = \"both\", source = \"s\" } ]\n")}})
	require.NotNil(t, b, faults.Error())
	var card bytes.Buffer
	require.NoError(t, NodeCard(&card, b, b.Node("bolt_loose"), Options{}))
	assert.Contains(t, strings.Join(strings.Fields(card.String()), " "), "stopped by itself (stopped), together with sludge formed (sludge_formed): often (66 of 100). Both. [s]")
}

func argued(t *testing.T, a *engine.Argument) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Why(&b, book(t), a, Options{}))
	return strings.Join(strings.Fields(b.String()), " ")
}

// Why a bystander is not to blame, in words.
func TestInnocentInWords(t *testing.T) {
	for want, in := range map[string]engine.Innocent{
		"Nothing in the book leads from it to what happened.": {Unrelated: true},
		"Its surest way to what happened goes by “sludge formed”, and that is most probably not there (present 4 %). What says so most: F02 oil pan: sludge (all): not found; F03 thing.": {Missing: &engine.Missing{Name: "sludge formed", Present: 0.04, Says: []engine.Says{{Finding: "F02", Name: "oil pan: sludge", At: "all", State: "not_found"}, {Finding: "F03", Name: "thing", State: "seen"}}}},
		"On its surest way to what happened it takes as well “nut off, rod 2”, and that is most probably not there (present 10 %). Nothing that was found shows it.":                      {Missing: &engine.Missing{Name: "nut off", At: "rod 2", Present: 0.1, Beside: true}},
		"Its surest way to what happened goes by “nut off”, and that is most probably not there (present 10 %). No finding says so by itself: all of them together do.":                   {Missing: &engine.Missing{Name: "nut off", At: "any", Present: 0.1, Shown: true}},
		"It leads to “nut off, rod 2”, and that rather came about by bolt left loose (acted, 88 %).":                                                                                      {Otherwise: &engine.Otherwise{Name: "nut off", At: "rod 2", By: &engine.Needed{Name: "bolt left loose", Acted: 0.88}}},
		"It leads to “nut off”, and that rather came about by something else; by what is open.":                                                                                           {Otherwise: &engine.Otherwise{Name: "nut off"}},
		"It acted, and without it the same would most probably have come of bolt left loose (acted, 70 %). Without both it would not have happened (91 %).":                               {Anyway: &engine.Anyway{Name: "bolt left loose", Acted: 0.7, Both: 0.91}},
		"What happened would most probably have come about without it; by what is open.":                                                                                                  {},
	} {
		a := &engine.Argument{Of: engine.Candidate{ID: "oil_overdue", Name: "oil left in too long"}, Scale: "present", Innocent: &in}
		assert.Contains(t, argued(t, a), "WHY IT IS NOT TO BLAME "+want)
	}
}

// Findings told as not found that do not count are told by their number, and with Full
// with why; readings are none of them.
func TestNotCountedIsTold(t *testing.T) {
	inside := 0.01
	d := determined()
	d.Findings = []engine.FindingOut{
		{ID: "F01", Name: "a", State: "unavailable", Told: "not_found", WhyNot: "never reached"},
		{ID: "F02", Name: "b", State: "not_found", WhyNot: "the same fact as F03, which counts"},
		{ID: "F03", Name: "c", State: "not_found", Counted: true, Role: engine.Against},
		{ID: "F04", Name: "d", State: "unavailable", WhyNot: "could not be looked at"},
		{ID: "R01", Name: "e", State: "not_found", Beyond: &inside, WhyNot: "the same fact as F03, which counts"},
	}
	assert.Contains(t, shown(t, d, Options{}), "Told as not found and not counted: 2 (F01 F02); --full says why.")
	full := shown(t, d, Options{Full: true})
	assert.Contains(t, full, "F01 (a), told as not found, is not counted: never reached. F02 (b), told as not found, is not counted: the same fact as F03, which counts.")
	assert.NotContains(t, full, "--full says why")
}

// The report that was checked fits the width, and nothing in it steers the terminal.
func TestCheckedFits(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Checked(&b, []string{"what was checked " + strings.Repeat("and holds ", 20)}, []string{"a \x1b[31mred\x07 one"}, []string{"n"}, Options{Width: 40}))
	for l := range strings.Lines(b.String()) {
		assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(l, "\n"))), 40, l)
	}
	assert.Contains(t, b.String(), "\n         ", "hung under its word")
	assert.NotContains(t, b.String(), "\x1b")
	assert.NotContains(t, b.String(), "\x07")
}

// Where nothing is asked, nothing is independent of it.
func TestNothingAskedNothingIndependent(t *testing.T) {
	d := asked()
	d.Case.Question, d.Case.QuestionName = "", ""
	d.Findings = []engine.FindingOut{{ID: "F01", Name: "sight", State: "seen", Counted: true, Role: engine.Independent}}
	said := shown(t, d, Options{})
	assert.Contains(t, said, "Explained by what is there: F01 sight.")
	assert.NotContains(t, said, "Independent")
}
