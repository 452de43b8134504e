package claim

import (
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/evidence"
	"tidemark/rules"
)

// NoPhotos lists the photos of a case that are not to be read, with the reason.
func NoPhotos(c *evidence.Case, why string) []Photo {
	list := photosOf(c)
	for i := range list {
		list[i].Missing = why
	}
	return list
}

// The titles of what this package writes, by which a PDF is known.
const (
	reportTitle  = "Claim report"
	custodyTitle = "Custody sheet"
	photosTitle  = "Photo sheet"
	interimMark  = "INTERIM "
)

// sheetData stands in the page of a sheet where that of a report has its data.
const sheetData = "null\n"

// WriteSheet writes a sheet for the bench: custody or photos.
func WriteSheet(in Input, sheet string, opt Options) ([]byte, error) {
	m := newBuilder(in)
	r := &Report{Title: custodyTitle, Date: caseDate(m.c), Subtitle: joinNonEmpty(" · ", m.c.ID, m.c.Title, m.c.Engine.Text("name"))}
	if sheet == "photos" {
		r.Title = photosTitle
		r.Sections = m.photoSheet()
	} else {
		r.Sections = m.custodySheet()
	}
	if opt.Form == "pdf" {
		return paper(r, nil, opt.Paper, nil)
	}
	before, after := page(r, nil, opt.Paper)
	return append(append(before, sheetData...), after...), nil
}

// custodySheet is what is kept, by whom, how it is packed, and labels for bags.
func (m *builder) custodySheet() []Section {
	kept := Section{ID: "kept", Title: "Parts kept"}
	t := m.partsKept()
	if len(t.Rows) == 0 {
		kept.say("The case does not say yet who holds what: held_by and bag, under [act.…].")
	}
	kept.table(t)
	hand := Table{Caption: "Handed over", Columns: columns(col("Part, bag", 3), col("From", 2), col("To", 2), col("Date, time", 2), col("Seal no.", 1.4), col("Signed by both", 3))}
	for range 6 {
		hand.Rows = append(hand.Rows, row("\n", "", "", "", "", ""))
	}
	kept.sub("Handed over")
	kept.table(hand)
	pack := Section{ID: "packing", Title: "How to keep and pack them"}
	pack.bullets(handling)
	pack.say("By common practice of failure investigation; a laboratory's own rules go before these.")
	labels := Section{ID: "labels", Title: "Labels, to cut out"}
	if list := m.exhibits(); len(list) == 0 {
		labels.say("None yet: no finding was seen on a part.")
	} else {
		labels.add(Block{Kind: "labels", labels: list})
	}
	return []Section{kept, pack, labels}
}

// Label is one for a bag.
type Label struct{ Head, Part, Where, What, Held string }

// lines are what stands on it, the part second.
func (l Label) lines() []string {
	return []string{"Case: " + orBlank(l.Head), joinNonEmpty(", ", l.Part, l.Where), "Findings: " + l.What, "Held by: " + orBlank(l.Held), "Taken off by, date: " + blank, "Bag no., seal no.: " + blank, "Do not wash. Do not fit broken faces together."}
}

// exhibits are the parts on which something was seen, each position of one by itself.
func (m *builder) exhibits() []Label {
	var out []Label
	index := map[string]int{}
	held := map[string]string{}
	for _, a := range m.c.Log() {
		if h := joinNonEmpty(", ", a.HeldBy, ifSaid("bag ", a.Bag)); h != "" {
			held[a.Part] = h
		}
	}
	for _, f := range m.c.Findings {
		p := partOf(m.b, f)
		if f.State != evidence.Seen || p == nil || p.Belongs == "person" || p.Belongs == "paper" {
			continue
		}
		where := []string{""}
		if len(f.At) > 0 {
			where = nil
			for _, a := range f.At {
				where = append(where, a.String())
			}
		}
		for _, w := range where {
			key := p.ID + " " + w
			i, ok := index[key]
			if !ok {
				i = len(out)
				index[key] = i
				out = append(out, Label{Head: joinNonEmpty(" · ", m.c.ID, m.c.Engine.Text("serial")), Part: report.UpperFirst(p.Name), Where: w, Held: held[p.ID]})
			}
			out[i].What = joinNonEmpty(", ", out[i].What, f.ID)
		}
	}
	return out
}

// photoSheet is what is still to be photographed, and before what.
func (m *builder) photoSheet() []Section {
	how := Section{ID: "how", Title: "How"}
	how.bullets([]string{
		"Each thing twice: once from far enough that one sees where it is, once from near.",
		"From near with a scale beside it, in the plane of the part, and the exhibit's number in the picture.",
		"As found first: before wiping, washing, turning or taking off. Light from the side shows a surface.",
		"Bearing shells, caps and pistons laid out in the order of the engine, with their numbers and the front marked.",
		"Leave the originals as the camera wrote them, and set its clock before you begin.",
	})
	first := Section{ID: "first", Title: "Of every engine"}
	tick := func(lines ...string) Table {
		t := Table{Caption: "To be photographed", Columns: columns(col("Done", 0.7), col("What", 6), col("Before what", 3.2), col("Photo no.", 1.4))}
		for _, l := range lines {
			what, before, _ := strings.Cut(l, "|")
			t.Rows = append(t.Rows, row("☐", what, before, ""))
		}
		return t
	}
	first.table(tick("Engine number and plate|", "Hours or distance as shown|the battery comes off", "All four sides, and from above, as received|anything is moved", "What is missing, loose or broken, as received|anything is moved", "Oil, coolant and fuel, levels and samples|they are drained", "Oil filter, outside, then cut open and unfolded|it is washed or thrown away", "Papers and bills that were shown|they are given back"))
	missing := Section{ID: "findings", Title: "Findings with no photo yet"}
	t := tick()
	for _, f := range m.c.Findings {
		p := partOf(m.b, f)
		if f.State != evidence.Seen || len(f.Photos) > 0 || p == nil || p.Belongs == "person" || f.By == evidence.Told || f.By == evidence.Laboratory {
			continue
		}
		if s := m.b.Sign(f.Sign); s != nil {
			if !m.toPhotograph(s) {
				continue
			}
			var acts []string
			for _, l := range s.LostBy {
				acts = append(acts, string(l.Kind)+" "+l.Part)
			}
			t.Rows = append(t.Rows, row("☐", findingText(m.n.Finding(f.ID))+scaleNote(p.Belongs), beforeWhat(m, acts), ""))
			continue
		}
		t.Rows = append(t.Rows, row("☐", joinNonEmpty(" ", f.ID, p.Name)+ifSaid(": ", f.Note)+", with a scale", "", ""))
	}
	if len(t.Rows) == 0 {
		missing.say("Every finding that was seen has one.")
	}
	missing.table(t)
	next := Section{ID: "next", Title: "Still to be looked at"}
	t = tick()
	for _, l := range m.d.Next {
		if !m.toPhotograph(m.b.Sign(l.Sign)) {
			continue
		}
		name := report.UpperFirst(l.Name)
		if l.At != "" {
			name += ", " + l.At
		}
		what := name + ", with a scale."
		if l.Caution != "" {
			what += " Caution: " + report.Sentence(l.Caution)
		}
		t.Rows = append(t.Rows, row("☐", what, beforeWhat(m, slices.Clone(l.DestroyedBy)), ""))
	}
	switch {
	case len(t.Rows) == 0 && len(m.d.Next) > 0:
		next.say("Nothing that a photograph would show: what is left to find out is told by people or by a laboratory.")
	case len(t.Rows) == 0:
		next.say(report.Sentence(m.d.Stop.Why))
	}
	next.table(t)
	return []Section{how, first, missing, next}
}

// toPhotograph tells whether a photograph can show a sign: none shows what people tell,
// what a laboratory finds, or a figure of oil, coolant or fuel.
func (m *builder) toPhotograph(s *rules.Sign) bool {
	if s == nil || s.Part.Belongs == "person" || strings.Contains(strings.ToLower(s.Name), "laborator") {
		return false
	}
	return s.Test == nil && s.Trend == nil || !m.drained(s.Part.ID)
}

// drained tells whether a part is what one drains: oil, coolant, fuel.
func (m *builder) drained(part string) bool {
	return slices.ContainsFunc(m.b.Signs, func(s *rules.Sign) bool {
		return slices.Contains(s.LostBy, rules.LostBy{Kind: evidence.ActDrain, Part: part})
	})
}

func scaleNote(belongs string) string {
	if belongs == "paper" {
		return ""
	}
	return ", with a scale"
}

// beforeWhat says before which acts, where they are still to come.
func beforeWhat(m *builder, acts []string) string {
	acts = slices.DeleteFunc(acts, func(a string) bool {
		kind, part, _ := strings.Cut(a, " ")
		_, done := m.c.Done(evidence.ActKind(kind), part)
		return done
	})
	if len(acts) == 0 {
		return ""
	}
	return m.n.LookBefore(acts)
}
