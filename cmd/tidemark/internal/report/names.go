package report

import (
	"slices"
	"strings"

	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/rules"
)

// Names puts the ids of a diagnosis into words.
type Names struct {
	b *rules.Book
	d *engine.Diagnosis
}

// NewNames is for a diagnosis and the book that it was worked out with.
func NewNames(b *rules.Book, d *engine.Diagnosis) Names { return Names{b, d} }

// Thing is the name of a cause, step, sign or part.
func (t Names) Thing(id string) string { return t.thing(id) }

// Candidate is the name of what a key of a map of weights stands for ("id @ rod 3").
func (t Names) Candidate(key string) string { return t.candidateName(key) }

// Finding is a finding of the diagnosis; only its id is set where there is none.
func (t Names) Finding(id string) engine.FindingOut { return t.finding(id) }

// Told is a finding with its name, as a part of a sentence.
func (t Names) Told(id string) string { return t.told(id) }

// Leading is what comes nearest where nothing is named, and its family.
func (t Names) Leading() []engine.Candidate { return t.leading() }

// MostAgainst is the finding that tells most against a candidate, and its weight in
// decibans; "" where none does.
func (t Names) MostAgainst(c engine.Candidate) (finding string, weight float64) {
	return t.against(Key(c))
}

// Bounds tells, rule by rule, between what how-often the verdict holds.
func (t Names) Bounds() []string {
	var out []string
	for _, r := range bounds(t.d.OverturnedBy.Rules) {
		out = append(out, t.ruleWords(r.rule)+" "+t.boundWords(r))
	}
	return out
}

// Joint tells the smallest change of two judgements of the book that puts something
// else in front; "" where none was found.
func (t Names) Joint() string {
	if j := t.d.OverturnedBy.Joint; j != nil {
		return t.jointWords(j)
	}
	return ""
}

// Key is a candidate as maps of weights name it.
func Key(c engine.Candidate) string { return key(c) }

// FullName is a candidate with its position.
func FullName(c engine.Candidate) string { return fullName(c) }

// FamilyOf tells whether all positions of a candidate stand in a list as one.
func FamilyOf(all []engine.Candidate, id string) bool { return familyOf(all, id) }

// Bystanders are what is there and did nothing; nothing where nothing is asked.
func Bystanders(d *engine.Diagnosis) []engine.Candidate {
	if d.Case.Question == "" {
		return nil
	}
	// Only what a finding shows: what the book alone presumes was seen by nobody.
	shown := map[string]bool{}
	for _, f := range d.Findings {
		for _, k := range f.ExplainedBy {
			id, _, _ := strings.Cut(k, " @ ")
			shown[id] = true
		}
	}
	var list []engine.Candidate
	all := slices.Concat(d.Causes, d.Steps)
	for _, c := range all {
		if !shown[c.ID] || c.Present < 0.5 || c.Blame >= 0.05 || c.Acted >= 0.25 || c.Kind == "unlisted" || c.Category == "artefact" || c.Follows {
			continue
		}
		if c.At == "any" || c.At != "" && !familyOf(all, c.ID) || c.At == "" {
			list = append(list, c)
		}
	}
	return list
}

// How says how the members of a set stand to each other.
func How(h engine.Together) string { return howWords(h) }

// Strength is a weight in words, with the way it pulls.
func Strength(decibans float64) string { return strengthWords(decibans) }

// And lists words with "and" before the last.
func And(words []string) string { return and(words) }

// Sentence begins with a capital and ends with a full stop.
func Sentence(s string) string { return sentence(s) }

// UpperFirst begins with a capital.
func UpperFirst(s string) string { return upperFirst(s) }

// LookBefore says before which acts ("wash oil_pan") one must look.
func (t Names) LookBefore(destroyedBy []string) string { return lookBefore(t.acts(destroyedBy)) }

// Margin is how far inside its limit a value lies, or beyond it; "" where it has none.
func Margin(v measure.Value) string {
	si, sigmas, ok := v.Margin()
	if !ok {
		return ""
	}
	return margin(v, si, sigmas)
}

// Limit is what a value is held against, and whose that is; "" where it has none.
func Limit(v measure.Value) string { return limitText(v) }

// Disposition is what is to be done with a part by a value of it; "" where nothing
// can be said.
func Disposition(v measure.Value) string {
	if d := measure.Dispose(v); d != nil {
		return d.Words
	}
	return ""
}
