package rules

import (
	"slices"
	"strings"
)

// Coverage is what a book still wants, each list by id, sorted.
type Coverage struct {
	// NoExample are causes that lead in no example.
	NoExample []string `json:"causes_without_example"`
	// Untried are signs that stand in no example, so that no rule to them was ever
	// tried.
	Untried []string `json:"signs_never_tried"`
	// FewSigns are causes with fewer than two rules to signs, of their own or of the
	// steps that they lead to directly.
	FewSigns []string `json:"causes_with_few_signs"`
	// NothingAgainst are causes of which no sign, of their own or of the steps that
	// they lead to directly, is shown often enough for its absence to speak against
	// them.
	NothingAgainst []string `json:"causes_with_nothing_against"`
	// NoLookAlike are causes that nothing is said to be mistaken for.
	NoLookAlike []string `json:"causes_without_look_alike"`
	// NoOutcome are causes from which no rules run to anything that a case can ask
	// about, artefacts apart.
	NoOutcome []string `json:"causes_without_outcome"`
}

// tells is how often a sign must be shown for its absence to speak against what
// shows it: as often as not.
const tells = 0.5

// Cover tells what the book still wants. Steps and signs of examples count whatever
// pack they stand in.
func Cover(b *Book) Coverage {
	leads, tried := map[string]bool{}, map[string]bool{}
	for _, e := range b.Examples {
		for _, id := range e.Leads {
			leads[id] = true
		}
		for _, f := range slices.Concat(e.Seen, e.NotFound) {
			tried[f.Sign] = true
		}
		for _, r := range e.Readings {
			for _, s := range b.Signs {
				if s.Test != nil && slices.ContainsFunc(s.Test.Quantities(), func(q *Quantity) bool { return q.ID == r.Of }) {
					tried[s.ID] = true
				}
			}
		}
	}
	reaches := map[*Node]bool{}
	var reach func(n *Node) bool
	needing := map[*Node][]*Node{}
	for _, n := range b.Nodes {
		for _, need := range n.Needs {
			for _, o := range need.Of {
				needing[o] = append(needing[o], n)
			}
		}
	}
	reach = func(n *Node) bool {
		if known, ok := reaches[n]; ok {
			return known
		}
		found := n.Outcome
		for _, to := range targets(n, needing[n]) {
			found = reach(to) || found
		}
		reaches[n] = found
		return found
	}
	var c Coverage
	for _, n := range b.ByKind(Cause) {
		if !leads[n.ID] && n.Category != Artefact {
			c.NoExample = append(c.NoExample, n.ID)
		}
		if len(n.LookAlike) == 0 {
			c.NoLookAlike = append(c.NoLookAlike, n.ID)
		}
		if n.Category != Artefact && !reach(n) {
			c.NoOutcome = append(c.NoOutcome, n.ID)
		}
		signs, most := 0, 0.0
		for _, r := range n.Out {
			switch {
			case r.Sign != nil:
				signs++
				most = max(most, r.HowOften)
			default:
				for _, next := range r.To.Out {
					if next.Sign != nil {
						signs++
						most = max(most, r.HowOften*next.HowOften)
					}
				}
			}
		}
		if signs < 2 {
			c.FewSigns = append(c.FewSigns, n.ID)
		}
		if most < tells {
			c.NothingAgainst = append(c.NothingAgainst, n.ID)
		}
	}
	for _, s := range b.Signs {
		if !tried[s.ID] {
			c.Untried = append(c.Untried, s.ID)
		}
	}
	slices.Sort(c.Untried)
	return c
}

// duplicates warns of rules that say the same thing twice.
func duplicates(b *Book, warn func(r *Rule, first *Rule)) {
	type key struct{ from, to, when, where, relation string }
	first := map[key]*Rule{}
	for _, r := range b.Rules {
		k := key{from: r.From.ID, where: r.Where, relation: r.Relation}
		if r.To != nil {
			k.to = r.To.ID
		} else {
			k.to = r.Sign.ID
		}
		if r.When != nil {
			k.when = strings.Join(strings.Fields(r.When.Text), " ")
		}
		if was := first[k]; was != nil {
			warn(r, was)
			continue
		}
		first[k] = r
	}
}
