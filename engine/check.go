package engine

import (
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// Check holds a case against the book: signs, parts, places, positions and the
// question must be known there. All faults are noted in one run; ok tells that
// there are none but warnings.
func Check(b *rules.Book, c *evidence.Case, faults *source.Faults) (ok bool) {
	before := faults.Errors()
	outcomes, nodes := questions(b)
	if c.Question != "" {
		switch n := b.Node(c.Question); {
		case n != nil && n.Kind != rules.Step:
			faults.Add(c.QuestionPos, "ask about what came of it", "%q is a %s, and only a step can be asked about", c.Question, n.Kind)
		case n == nil:
			hint := source.Suggest(c.Question, outcomes)
			if hint == "" {
				hint = source.Suggest(c.Question, nodes)
			}
			if hint == "" {
				hint = "one of: " + strings.Join(outcomes, ", ")
			}
			faults.Add(c.QuestionPos, hint, "the book has no step %q to ask about", c.Question)
		}
	}
	for _, f := range c.All() {
		if f.Sign == "other" {
			if f.Part != "" && b.Part(f.Part) == nil {
				faults.Add(f.PartPos, b.SuggestPart(f.Part), "there is no part %q", f.Part)
			}
			continue
		}
		s := b.Sign(f.Sign)
		if f.Sign == "" {
			continue // told already: the case has a fault of form
		}
		if s == nil {
			hint := b.SuggestSign(f.Sign)
			if hint == "" {
				hint = `tidemark signs finds one; sign = "other" with part and note keeps a sight that the book does not know`
			}
			faults.Add(f.SignPos, hint, "the book has no sign %q", f.Sign)
			continue
		}
		checkSpots(b, c, s.Part, f.At, faults)
	}
	part := func(id string, pos source.Position) *rules.Part {
		p := b.Part(id)
		if p == nil && id != "" {
			faults.Add(pos, b.SuggestPart(id), "there is no part %q", id)
		}
		return p
	}
	for _, a := range c.Acts {
		if p := part(a.Part, a.PartPos); p != nil {
			checkSpots(b, c, p, a.At, faults)
		}
	}
	for _, x := range c.Fitted {
		if p := part(x.Part, x.PartPos); p != nil {
			checkSpots(b, c, p, x.At, faults)
		}
	}
	for _, r := range c.Readings {
		id, _, _ := strings.Cut(r.Of, ".")
		if p := part(id, r.OfPos); p != nil {
			checkSpots(b, c, p, r.At, faults)
		}
	}
	for _, w := range c.Works {
		for _, p := range slices.Concat(w.Parts, w.Undone, w.Replaced) {
			part(p.Part, p.Pos)
		}
	}
	for _, p := range slices.Concat(c.OrderLost, c.Received.Off) {
		part(p.Part, p.Pos)
	}
	for _, id := range c.Confirmed.Accept {
		if b.Node(id) == nil {
			faults.Add(source.Position{File: c.File}, source.Suggest(id, nodes), "[confirmed] accepts %q, which is no cause or step of the book", id)
		}
	}
	return faults.Errors() == before
}

// questions lists what is usually asked about, and all that can be.
func questions(b *rules.Book) (outcomes, nodes []string) {
	for _, n := range b.Outcomes() {
		outcomes = append(outcomes, n.ID)
	}
	for _, n := range b.Nodes {
		if n.Kind == rules.Step {
			nodes = append(nodes, n.ID)
		}
	}
	slices.Sort(outcomes)
	slices.Sort(nodes)
	return outcomes, nodes
}

// checkSpots holds positions and places against what the part has.
func checkSpots(b *rules.Book, c *evidence.Case, p *rules.Part, spots []evidence.Spot, faults *source.Faults) {
	for _, s := range spots {
		if p.Per == evidence.One {
			if s.Unknown != "" || s.All || s.Count > 0 || len(s.Indexes) > 0 {
				faults.Add(s.Pos, "leave at away", "%q is said of the %s, of which the engine has one", s.Text, p.Name)
			}
		} else if _, err := c.Engine.Resolve(s, p.Per); err != nil {
			faults.Add(s.Pos, "", "%q does not fit the %s: %v", s.Text, p.Name, err)
		}
		if s.Place != "" && !slices.Contains(p.Places, s.Place) {
			hint := source.Suggest(s.Place, p.Places)
			if hint == "" && len(p.Places) > 0 {
				hint = "it has: " + strings.Join(p.Places, ", ")
			}
			if len(p.Places) == 0 {
				hint = "the book knows no places on it; put it in the note"
			}
			faults.Add(s.Pos, hint, "the %s has no place %q", p.Name, s.Place)
		}
	}
}
