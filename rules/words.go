package rules

import (
	"fmt"
	"strconv"
	"strings"

	"tidemark/evidence"
)

// WordValue is a word and the number that it stands for.
type WordValue struct {
	Word  string
	Value float64
}

// HowOften are the words for how often an effect follows. They and their
// values follow F. Mosteller and C. Youtz, "Quantifying Probabilistic
// Expressions", Statistical Science 5 (1990) 2–12, who averaged what people in
// twenty studies meant by them. The averages are from memory of that paper's
// table; "as often as not" is put at one half, and "almost never" is kept
// lower than the study has it, because rules from a common circumstance to a
// rare damage need a word that low. Any number from 0 to 1 may stand in place
// of a word.
var HowOften = []WordValue{
	{"always", 0.98},
	{"almost always", 0.91},
	{"usually", 0.77},
	{"often", 0.66},
	{"as often as not", 0.50},
	{"sometimes", 0.28},
	{"seldom", 0.16},
	{"rarely", 0.07},
	{"almost never", 0.02},
}

// BaseRates are the words for how often a cause is there in an engine that
// comes in to be stripped for an unplanned failure, whether or not it does
// harm. Their values are this book's own convention, spaced about threefold so
// that a neighbouring word never decides a case.
var BaseRates = []WordValue{
	{"common", 0.08},
	{"occasional", 0.025},
	{"uncommon", 0.008},
	{"rare", 0.0025},
	{"very rare", 0.0006},
}

// DefaultUnlisted is the share of a step's occurrences that the book does not
// explain, where the pack does not say. DefaultSignUnlisted is the chance that
// a sign is seen without any of its listed parents. Both are conventions of
// this book; trials showed that rankings hold over a factor of five either way.
const (
	DefaultUnlisted     = 0.02
	DefaultSignUnlisted = 0.02
)

// WayChances are the chances that a way of looking overlooks what is there,
// and that it takes something for the sign that is not it.
type WayChances struct {
	Way              evidence.Way
	Missed, Mistaken float64
}

// Ways is the one table of what a way of looking is worth. The values are
// from memory: detection trials of visual inspection find misses of five to
// thirty in a hundred depending on the defect; a gauge or a crack test on the
// right spot misses far fewer.
var Ways = []WayChances{
	{evidence.Eye, 0.05, 0.005},
	{evidence.Lens, 0.03, 0.003},
	{evidence.Gauge, 0.01, 0.001},
	{evidence.CrackTest, 0.02, 0.002},
	{evidence.Laboratory, 0.01, 0.001},
	{evidence.Paper, 0.02, 0.002},
	{evidence.Told, 0.30, 0.10},
}

// Chances looks up a way; an unknown one counts as the bare eye.
func Chances(w evidence.Way) WayChances {
	for _, c := range Ways {
		if c.Way == w {
			return c
		}
	}
	return Ways[0]
}

// SureChances say what a degree of sureness adds: Missed to the chance that a
// sign looked for was overlooked, Doubt is 1 over the likelihood ratio that a
// seen sign still carries.
type SureChances struct {
	Sure          evidence.Sureness
	Missed, Doubt float64
}

// Sures is the table for how sure the looker is: a fairly sure sight is worth
// at most 20 to 1, a doubtful one 4 to 1.
var Sures = []SureChances{
	{evidence.Certain, 0, 0},
	{evidence.Fairly, 0.10, 0.05},
	{evidence.Doubtful, 0.40, 0.25},
}

// Sure looks up a degree; an unknown one counts as certain.
func Sure(s evidence.Sureness) SureChances {
	for _, c := range Sures {
		if c.Sure == s {
			return c
		}
	}
	return Sures[0]
}

// WordFor is the word nearest to a chance, for rules written as numbers.
func WordFor(p float64) string {
	best, dist := "", 2.0
	for _, w := range HowOften {
		if d := max(w.Value, p) - min(w.Value, p); d < dist {
			best, dist = w.Word, d
		}
	}
	return best
}

func lookup(words []WordValue, s string) (float64, bool) {
	for _, w := range words {
		if w.Word == s {
			return w.Value, true
		}
	}
	return 0, false
}

func names(words []WordValue) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = w.Word
	}
	return out
}

var numerals = map[string]float64{"two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12, "fifteen": 15, "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "a hundred": 100, "one hundred": 100, "hundred": 100, "two hundred": 200, "five hundred": 500, "a thousand": 1000, "thousand": 1000}

// share reads "one in twenty", "one in 20", "none".
func share(s string) (float64, error) {
	if s == "none" || s == "never" {
		return 0, nil
	}
	rest, ok := strings.CutPrefix(s, "one in ")
	if !ok {
		return 0, fmt.Errorf("%q is no share: write \"one in twenty\", a number below 1, or \"none\"", s)
	}
	if n, ok := numerals[rest]; ok {
		return 1 / n, nil
	}
	if n, err := strconv.ParseFloat(rest, 64); err == nil && n >= 1 {
		return 1 / n, nil
	}
	return 0, fmt.Errorf("%q is no share: write \"one in twenty\", a number below 1, or \"none\"", s)
}
