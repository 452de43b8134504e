package rules

import (
	"slices"
	"strings"

	"tidemark/evidence/source"
)

// check finds what is wrong with a book as a whole. Of lost things rules were
// left out, because there is nothing at their other end: that these then lead
// nowhere would only be the wake of a fault that is told already.
func check(b *Book, lost map[*Node]bool, faults *source.Faults) {
	needed := needing(b)
	for _, n := range b.Nodes {
		if n.Kind == Step && len(n.In) == 0 && len(n.Needs) == 0 {
			faults.Add(n.Pos, "let a cause or step lead to it, or make it a cause", "nothing leads to step %s", n.ID)
		}
		if n.Kind != Step && len(n.Out) == 0 && len(needed[n]) == 0 && !lost[n] {
			faults.Add(n.Pos, "", "%s %s leads to nothing and shows nothing", n.Kind, n.ID)
		}
	}
	for _, s := range b.Signs {
		if len(s.By) == 0 {
			faults.Add(s.Pos, "let a cause or step show it", "nothing shows sign %s", s.ID)
		}
	}
	cycles(b, needed, faults)
	behindCycles(b, faults)
	twins(b, faults)
	duplicates(b, func(r, first *Rule) {
		faults.Warn(r.Pos, "take one of them away, or say when or where each holds", "%s stands twice: also at %s", first.ID, first.Pos)
	})
	for _, r := range b.Rules {
		if r.Source == "" && !r.Is {
			faults.Warn(r.Pos, "", "%s has no source", r.ID)
		}
	}
}

// cycles sorts the nodes so that parents come before children, and tells
// loops: a loop of the real world is written as an early and a late step.
func cycles(b *Book, needed map[*Node][]*Node, faults *source.Faults) {
	const (
		fresh = iota
		open
		done
	)
	state := map[*Node]int{}
	var order, trail []*Node
	var visit func(n *Node)
	visit = func(n *Node) {
		state[n] = open
		trail = append(trail, n)
		for _, to := range targets(n, needed[n]) {
			switch state[to] {
			case fresh:
				visit(to)
			case open:
				from := slices.Index(trail, to)
				var names []string
				for _, t := range append(slices.Clone(trail[from:]), to) {
					names = append(names, t.ID)
				}
				faults.Add(to.Pos, "write it as an early and a late step", "steps run in a loop: %s", strings.Join(names, " → "))
			}
		}
		trail = trail[:len(trail)-1]
		state[n] = done
		order = append(order, n)
	}
	sorted := slices.Clone(b.Nodes)
	slices.SortFunc(sorted, func(a, c *Node) int { return strings.Compare(a.ID, c.ID) })
	for _, n := range sorted {
		if state[n] == fresh {
			visit(n)
		}
	}
	slices.Reverse(order)
	b.Nodes = order
}

// targets lists what a node leads to, by rule or by need, sorted by id.
func targets(n *Node, needing []*Node) []*Node {
	out := slices.Clone(needing)
	for _, r := range n.Out {
		if r.To != nil {
			out = append(out, r.To)
		}
	}
	slices.SortFunc(out, func(a, c *Node) int { return strings.Compare(a.ID, c.ID) })
	return slices.Compact(out)
}

func behindCycles(b *Book, faults *source.Faults) {
	for _, p := range b.Parts {
		seen := map[string]bool{}
		var walk func(id string) bool
		walk = func(id string) bool {
			if seen[id] {
				return false
			}
			seen[id] = true
			q := b.part[id]
			if q == nil {
				return false
			}
			for _, x := range q.Behind {
				if x == p.ID || walk(x) {
					return true
				}
			}
			return false
		}
		if walk(p.ID) {
			faults.Add(p.Pos, "", "part %s lies behind itself", p.ID)
		}
	}
}

// twins warns of two signs of one part that the same things show: they may be
// one fact told twice, which is the real source of over-confidence.
func twins(b *Book, faults *source.Faults) {
	byPart := map[string][]*Sign{}
	shownBy := map[*Sign]string{}
	for _, s := range b.Signs {
		byPart[s.Part.ID] = append(byPart[s.Part.ID], s)
		var by []string
		for _, r := range s.By {
			by = append(by, r.From.ID+"/"+r.Where)
		}
		slices.Sort(by)
		shownBy[s] = strings.Join(by, " ")
	}
	for _, p := range b.Parts {
		signs := byPart[p.ID]
		for i, s := range signs {
			if len(s.By) < 2 {
				continue
			}
			for _, o := range signs[:i] {
				if shownBy[s] == shownBy[o] && (s.SameFact == "" || s.SameFact != o.SameFact) {
					faults.Warn(s.Pos, `give both the same same_fact = "…" if they are one`, "%s and %s are shown by the same things: are they one fact told twice?", s.ID, o.ID)
				}
			}
		}
	}
}
