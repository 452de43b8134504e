package engine

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/evidence/quantity"
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
	sides := measure.Sides(b)
	for _, r := range c.Readings {
		id, _, _ := strings.Cut(r.Of, ".")
		if p := part(id, r.OfPos); p != nil {
			checkSpots(b, c, p, r.At, faults)
			checkReading(b, c, r, sides, faults)
		}
	}
	for _, l := range c.Limits {
		checkLimit(b, c, l, faults)
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

// checkReading holds a reading against the quantity that it is of.
func checkReading(b *rules.Book, c *evidence.Case, r evidence.Reading, sides map[*rules.Quantity][2]bool, faults *source.Faults) {
	q := b.Quantity(r.Of)
	if q == nil {
		faults.Warn(r.OfPos, b.SuggestQuantity(r.Of), "the book has no quantity %q: %s is kept and shown, and not weighed", r.Of, r.ID)
		return
	}
	switch code := q.Kind == rules.CodeKind; {
	case code && r.Value.Said():
		faults.Add(r.ValuePos, `as in value = "19/16/13"`, "%s is a cleanliness code, and %s is a value", q.Title(), r.Value.Text)
		return
	case code:
		return
	case r.Code != nil:
		faults.Add(r.ValuePos, fmt.Sprintf("give it in %s", q.Unit), "%s is %v, and %s is a cleanliness code", q.Title(), q.Dimension(), r.CodeText)
		return
	}
	for _, x := range []struct {
		v   quantity.Value
		pos source.Position
	}{{r.Value, r.ValuePos}, {r.AtLeast, r.Pos}, {r.AtMost, r.Pos}, {r.Limit.Min, r.LimitPos}, {r.Limit.Max, r.LimitPos}, {r.Limit.Bare, r.LimitPos}} {
		checkValue(q, x.v, x.pos, faults)
	}
	checkInstrument(b, r, q, faults)
	if side := sides[q]; r.Limit.Bare.Said() && side[0] == side[1] {
		faults.Add(r.LimitPos, fmt.Sprintf(`write "max %s" or "min %s"`, r.Limit.Bare.Text, r.Limit.Bare.Text), "it is not clear to which side the limit %s of %s is one", r.Limit.Bare.Text, q.Title())
	}
	if ask := measure.Slip(b, c, &r); ask != "" && !r.Checked {
		faults.Warn(r.ValuePos, "", "%s; %s is not weighed until it says checked = true", ask, r.ID)
	}
}

// checkInstrument tells of a tool that the book does not know, or that does not read
// such values: the reading counts with the doubt that its digits show.
func checkInstrument(b *rules.Book, r evidence.Reading, q *rules.Quantity, faults *source.Faults) {
	if r.Instrument == "" {
		return
	}
	tool := b.InstrumentNamed(r.Instrument)
	switch {
	case tool == nil:
		var names []string
		for _, i := range b.Instruments {
			names = append(append(append(names, i.ID), i.Name), i.Also...)
		}
		faults.Warn(r.InstrumentPos, source.Suggest(r.Instrument, names), "the book has no instrument %q: %s counts with the doubt of its last digit, unless it says an uncertainty", r.Instrument, r.ID)
	case !tool.Reads(q.Dimension()):
		faults.Warn(r.InstrumentPos, "", "%s does not read %v: %s counts with the doubt of its last digit, unless it says an uncertainty", tool.Name, q.Dimension(), r.ID)
	}
}

// checkValue holds one value against what the quantity can be.
func checkValue(q *rules.Quantity, v quantity.Value, pos source.Position, faults *source.Faults) {
	switch {
	case !v.Said():
	case v.Unit.Dimension != q.Dimension():
		faults.Add(pos, fmt.Sprintf("give it in %s", q.Unit), "%s is %v, and %q is %v", q.Title(), q.Dimension(), v.Text, v.Unit.Dimension)
	case v.Number < 0 && (q.Kind == rules.SizeKind || q.Kind == rules.AmountKind):
		faults.Add(pos, "", "%s cannot be negative, and is %s", q.Title(), v.Text)
	case v.Number == 0 && q.Kind == rules.SizeKind:
		faults.Add(pos, "", "%s cannot be nothing, and is %s", q.Title(), v.Text)
	}
}

// checkLimit holds a limit of the case or of a shop's file against the book.
func checkLimit(b *rules.Book, c *evidence.Case, l evidence.Limit, faults *source.Faults) {
	q := b.Quantity(l.Of)
	if q == nil {
		faults.Add(l.OfPos, b.SuggestQuantity(l.Of), "the book has no quantity %q to have a limit", l.Of)
		return
	}
	checkSpots(b, c, q.Part, l.At, faults)
	for _, v := range append([]quantity.Value{l.Min, l.Max, l.New.Min, l.New.Max}, l.Sizes...) {
		checkValue(q, v, l.Pos, faults)
	}
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
