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
	// NotToldApart are pairs of look-alikes, "one ~ other", of which no sign that the
	// one shows is shown much less often by the other: no look tells them apart.
	NotToldApart []string `json:"look_alikes_not_told_apart"`
	// Drowned are steps, "step < condition", that a circumstance which is certain once
	// it is given brings about so often that it drowns all that else leads to them.
	Drowned []string `json:"steps_drowned_by_a_condition"`
	// UnusedRules are rules that no example tries: to a sign that stands in none, or
	// between causes and steps of which none lies on a way from what must lead, or must
	// not, to the question.
	UnusedRules []string `json:"rules_never_used"`
}

// apart is how many times as often one of two look-alikes must show a sign for a
// look at it to tell them apart, if the one shows it at all often; drowns is how many
// times as often a condition must bring a step about as all the rest together.
const (
	apart  = 4
	often  = 0.25
	drowns = 4
)

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
	needing := needing(b)
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
	c.NotToldApart = notToldApart(b)
	c.Drowned = drowned(b)
	c.UnusedRules = unusedRules(b, tried)
	return c
}

// signsOf is, by sign, how often about it is shown by a node or what follows from it,
// along the best way.
func signsOf(n *Node, known map[*Node]map[*Sign]float64, needing map[*Node][]*Node) map[*Sign]float64 {
	if m := known[n]; m != nil {
		return m
	}
	m := map[*Sign]float64{}
	known[n] = m
	take := func(to *Node, pass float64) {
		for s, p := range signsOf(to, known, needing) {
			m[s] = max(m[s], p*pass)
		}
	}
	for _, r := range n.Out {
		if r.Sign != nil {
			m[r.Sign] = max(m[r.Sign], r.HowOften)
		} else {
			take(r.To, r.HowOften)
		}
	}
	for _, to := range needing[n] {
		for _, need := range to.Needs {
			if slices.Contains(need.Of, n) {
				take(to, need.HowOften)
			}
		}
	}
	return m
}

// needing lists, by node, the steps that need it together with others.
func needing(b *Book) map[*Node][]*Node {
	out := map[*Node][]*Node{}
	for _, n := range b.Nodes {
		for _, need := range n.Needs {
			for _, o := range need.Of {
				if !slices.Contains(out[o], n) {
					out[o] = append(out[o], n)
				}
			}
		}
	}
	return out
}

func notToldApart(b *Book) []string {
	known, needing := map[*Node]map[*Sign]float64{}, needing(b)
	tells := func(x, y *Node) bool {
		other := signsOf(y, known, needing)
		for s, p := range signsOf(x, known, needing) {
			if p >= often && p >= apart*other[s] {
				return true
			}
		}
		return false
	}
	var out []string
	for _, n := range b.Nodes {
		for id := range n.LookAlike {
			o := b.Node(id)
			if o == nil || o == n || o.LookAlike[n.ID] != "" && o.ID < n.ID {
				continue // told from the other side
			}
			if !tells(n, o) && !tells(o, n) {
				out = append(out, n.ID+" ~ "+id)
			}
		}
	}
	slices.Sort(out)
	return out
}

func drowned(b *Book) []string {
	chance := map[*Node]float64{}
	var out []string
	for _, n := range b.Nodes {
		if n.Kind != Step {
			chance[n] = n.BaseRate
			continue
		}
		none, sure := 1.0, map[*Node]float64{}
		for _, r := range n.In {
			if r.From.Kind == Condition && r.From.Given != nil {
				sure[r.From] = max(sure[r.From], r.HowOften)
				continue
			}
			none *= 1 - chance[r.From]*r.HowOften
		}
		for _, need := range n.Needs {
			p := need.HowOften
			for _, o := range need.Of {
				p *= chance[o]
			}
			none *= 1 - p
		}
		chance[n] = 1 - none
		for c, p := range sure {
			if p > drowns*chance[n] {
				out = append(out, n.ID+" < "+c.ID)
			}
		}
	}
	slices.Sort(out)
	return out
}

func unusedRules(b *Book, tried map[string]bool) []string {
	needing := needing(b)
	below := func(from []*Node) map[*Node]bool {
		seen := map[*Node]bool{}
		for len(from) > 0 {
			n := from[len(from)-1]
			from = from[:len(from)-1]
			if n == nil || seen[n] {
				continue
			}
			seen[n] = true
			from = append(from, targets(n, needing[n])...)
		}
		return seen
	}
	above := func(n *Node) map[*Node]bool {
		seen, todo := map[*Node]bool{}, []*Node{n}
		for len(todo) > 0 {
			n := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			if n == nil || seen[n] {
				continue
			}
			seen[n] = true
			for _, r := range n.In {
				todo = append(todo, r.From)
			}
			for _, need := range n.Needs {
				todo = append(todo, need.Of...)
			}
		}
		return seen
	}
	used := map[*Rule]bool{}
	for _, e := range b.Examples {
		var from []*Node
		for _, id := range slices.Concat(e.Leads, e.NotLeads) {
			from = append(from, b.Node(id))
		}
		down, up := below(from), above(b.Node(e.Question))
		for _, r := range b.Rules {
			if r.To != nil && down[r.From] && up[r.To] {
				used[r] = true
			}
		}
	}
	var out []string
	for _, r := range b.Rules {
		if r.Sign != nil && !tried[r.Sign.ID] || r.To != nil && !used[r] {
			out = append(out, r.ID)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
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
