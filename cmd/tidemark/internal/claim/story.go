package claim

import (
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/rules"
)

// thing is a cause or step in the story of how it happened, with what shows it.
type thing struct {
	ID, At, Name string
	Role         string // primary, consequential, outcome, unclaimed
	Kind         string // cause, step, outcome
	Acted        float64
	HasActed     bool
	Because      string // by which rule the one above led to it
	Source       string
	Findings     []string
	On           bool     // on the chain of failure itself
	From         int      // index of what brought it about; -1 for none
	With         []string // what was needed for it together with the one above
	// Into is, for a cause beside the first, the index of what it went into.
	Into int
}

// story is the chain of failure with what branched off it and what came in beside it,
// in the order in which it is drawn: each thing after what brought it about.
func story(b *rules.Book, d *engine.Diagnosis) []thing {
	var all []thing
	index := map[string]int{}
	for i, l := range d.Chain {
		t := thing{ID: l.ID, At: l.At, Name: l.Name, Kind: l.Kind, Acted: l.Probability, HasActed: l.Kind != "outcome", Because: l.Because, Source: l.Source, Findings: l.Findings, On: true, From: i - 1, Into: -1, With: report.WithWords(l.With)}
		t.Role = roleOnChain(d, l)
		if _, ok := index[l.ID]; !ok {
			index[l.ID] = len(all)
		}
		all = append(all, t)
	}
	all = needed(d, all, index)
	all = partners(b, d, all, index)
	return ordered(branches(b, d, all, index))
}

// unclaimed is the role of what is on the way where nothing is named.
const unclaimed = "unclaimed"

// roleOnChain: what the verdict names, and what lies before it, is primary.
func roleOnChain(d *engine.Diagnosis, l engine.ChainLink) string {
	switch {
	case l.Kind == "outcome":
		return "outcome"
	case len(d.Verdict.Names) == 0:
		return unclaimed
	}
	last := -1
	for i, c := range d.Chain {
		for _, n := range d.Verdict.Names {
			if n.ID == c.ID {
				last = i
			}
		}
	}
	for i, c := range d.Chain {
		if c.ID == l.ID && c.At == l.At && i <= last {
			return "primary"
		}
	}
	return "consequential"
}

// needed adds what was needed beside a link of the chain, and is not on it.
func needed(d *engine.Diagnosis, all []thing, index map[string]int) []thing {
	for i, l := range d.Chain {
		for _, n := range l.With {
			if _, ok := index[n.ID]; ok {
				continue
			}
			t := thing{ID: n.ID, At: n.At, Name: n.Name, Kind: n.Kind, Role: all[i-1].Role, Acted: n.Acted, HasActed: n.Kind != "condition", From: -1, Into: i}
			for _, f := range d.Findings {
				if f.State == "seen" && f.Counted && slices.ContainsFunc(f.ExplainedBy, func(k string) bool { return bare(k) == n.ID }) {
					t.Findings = append(t.Findings, f.ID)
				}
			}
			index[n.ID] = len(all)
			all = append(all, t)
		}
	}
	return all
}

// partners adds what the verdict names beside the chain: both were needed, or either
// would have done.
func partners(b *rules.Book, d *engine.Diagnosis, all []thing, index map[string]int) []thing {
	for _, n := range d.Verdict.Names {
		if _, ok := index[n.ID]; ok || b.Node(n.ID) == nil {
			continue
		}
		t := thing{ID: n.ID, At: n.At, Name: n.Name, Kind: "cause", Role: "primary", Acted: n.Acted, HasActed: true, From: -1, Into: into(b, d, all, n.ID)}
		if n.At == "any" {
			t.At = ""
		}
		for _, f := range d.Findings {
			if f.State == "seen" && f.Counted && slices.ContainsFunc(f.ExplainedBy, func(k string) bool { return bare(k) == n.ID }) {
				t.Findings = append(t.Findings, f.ID)
			}
		}
		index[n.ID] = len(all)
		all = append(all, t)
	}
	return all
}

// into is the thing of the chain that a cause leads to in the fewest steps.
func into(b *rules.Book, d *engine.Diagnosis, all []thing, id string) int {
	seen := map[string]bool{id: true}
	for layer := []string{id}; len(layer) > 0; {
		var next []string
		for _, from := range layer {
			for _, r := range b.Node(from).Out {
				if r.To == nil || seen[r.To.ID] {
					continue
				}
				seen[r.To.ID] = true
				if i := slices.IndexFunc(all, func(t thing) bool { return t.On && t.ID == r.To.ID }); i > 0 {
					return i
				}
				next = append(next, r.To.ID)
			}
		}
		layer = next
	}
	return len(d.Chain) - 1
}

func bare(key string) string { id, _, _ := strings.Cut(key, " @ "); return id }

// branches adds what followed and is not on the chain, as far as a finding shows it,
// under what brought it about.
func branches(b *rules.Book, d *engine.Diagnosis, all []thing, index map[string]int) []thing {
	there := map[string]bool{}
	for _, k := range d.Explanation.There {
		there[bare(k)] = true
	}
	type seenAt struct {
		id       string
		findings []string
		at       []string
	}
	var order []*seenAt
	by := map[string]*seenAt{}
	for _, f := range d.Findings {
		if f.Role != engine.Consequential || f.State != "seen" {
			continue
		}
		for _, k := range f.ExplainedBy {
			id := bare(k)
			if n := b.Node(id); n == nil || n.Kind != rules.Step {
				continue
			}
			if _, on := index[id]; on {
				continue
			}
			s := by[id]
			if s == nil {
				s = &seenAt{id: id}
				by[id] = s
				order = append(order, s)
			}
			if !slices.Contains(s.findings, f.ID) {
				s.findings = append(s.findings, f.ID)
			}
			if _, at, ok := strings.Cut(k, " @ "); ok && !slices.Contains(s.at, at) {
				s.at = append(s.at, at)
			}
		}
	}
	// A thing whose only reason is another branch hangs under that one: try until
	// nothing more finds its place.
	for placed := true; placed; {
		placed = false
		for i, s := range order {
			if s == nil {
				continue
			}
			from, rule := reason(b, all, index, there, s.id)
			if rule == nil {
				continue
			}
			index[s.id] = len(all)
			role := "consequential"
			if len(d.Verdict.Names) == 0 {
				role = unclaimed
			}
			all = append(all, thing{ID: s.id, At: strings.Join(s.at, ", "), Name: b.Node(s.id).Name, Kind: "step", Role: role, Because: rule.Because, Source: rule.Source, Findings: s.findings, From: from, Into: -1})
			order[i], placed = nil, true
		}
	}
	return all
}

// reason is what of the things drawn brought a step about, at once or by steps that
// are there and are not drawn, and the rule by which it came to it; nil where nothing
// did.
func reason(b *rules.Book, all []thing, index map[string]int, there map[string]bool, id string) (int, *rules.Rule) {
	type at struct {
		id   string
		rule *rules.Rule // the last, into the step itself
	}
	seen := map[string]bool{id: true}
	for layer := []at{{id: id}}; len(layer) > 0; {
		var next []at
		best, rule := -1, (*rules.Rule)(nil)
		for _, x := range layer {
			for _, r := range b.Node(x.id).In {
				last := x.rule
				if last == nil {
					last = r
				}
				if i, ok := index[r.From.ID]; ok && all[i].Kind != "outcome" {
					if rule == nil || r.HowOften > rule.HowOften {
						best, rule = i, last
					}
					continue
				}
				if there[r.From.ID] && r.From.Kind == rules.Step && !seen[r.From.ID] {
					seen[r.From.ID] = true
					next = append(next, at{r.From.ID, last})
				}
			}
		}
		if rule != nil {
			return best, rule
		}
		layer = next
	}
	return -1, nil
}

// ordered puts each thing after what brought it about, its branches before the next of
// the chain, and causes that came in before what they went into.
func ordered(all []thing) []thing {
	var out []thing
	place := map[int]int{}
	var put func(i int)
	put = func(i int) {
		if all[i].On {
			for k, t := range all {
				if t.Into == i {
					place[k] = len(out)
					out = append(out, t)
				}
			}
		}
		place[i] = len(out)
		out = append(out, all[i])
		for k, t := range all {
			if t.From == i && !t.On {
				put(k)
			}
		}
	}
	for i, t := range all {
		if t.On {
			put(i)
		}
	}
	for i := range out {
		if out[i].From >= 0 {
			out[i].From = place[out[i].From]
		}
		if out[i].Into >= 0 {
			out[i].Into = place[out[i].Into]
		}
	}
	return out
}

// label is the thing with its position, as a reader says it.
func (t thing) label() string {
	switch t.At {
	case "":
		return t.Name
	case "any":
		return t.Name + ", at one position or more"
	}
	return t.Name + ", " + t.At
}

// acted is the figure of a thing in words.
func (t thing) acted() string {
	if !t.HasActed {
		return ""
	}
	return "acted, " + report.Percent(t.Acted)
}
