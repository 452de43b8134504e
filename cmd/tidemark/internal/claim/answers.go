package claim

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

// answers are what a claim turns on.
func (m *builder) answers() Section {
	s := Section{ID: "answers", Title: "What claims turn on"}
	m.known(&s)
	m.fits(&s)
	m.before(&s)
	m.first(&s)
	m.contract(&s)
	m.again(&s)
	return s
}

// known parts what was seen from what was told.
func (m *builder) known(s *Section) {
	s.sub("Seen, and told")
	t := Table{Caption: "How each finding came to be known", Columns: columns(col("How it is known", 2), col("Findings", 6))}
	for _, w := range waysOfKnowing {
		var ids []string
		for _, f := range m.c.Findings {
			if f.State != evidence.Unavailable && slices.Contains(w.ways, string(f.By)) {
				ids = append(ids, f.ID)
			}
		}
		for _, r := range m.c.Readings {
			if slices.Contains(w.ways, string(r.By)) {
				ids = append(ids, r.ID)
			}
		}
		for _, k := range m.c.Works {
			if slices.Contains(w.ways, string(k.By)) {
				ids = append(ids, k.ID)
			}
		}
		if len(ids) > 0 {
			t.Rows = append(t.Rows, row(w.title, strings.Join(ids, ", ")))
		}
	}
	s.table(t)
}

// fits holds what was told against what was found.
func (m *builder) fits(s *Section) {
	s.sub("Does the damage fit the story?")
	story, _ := m.c.History.Facts["story"].(string)
	if story != "" {
		s.para(strong("Told, in their own words: "), Span{Text: "“" + story + "” This text is shown and not weighed; only what was entered of it as a finding is."})
	}
	t := Table{Caption: "What was told, against what was found", Columns: columns(col("Told", 4), col("Does it fit?", 4))}
	fit, not := 0, 0
	for _, f := range m.d.Findings {
		e := m.ev[f.ID]
		p := partOf(m.b, e)
		if f.State == "unavailable" || e.By != evidence.Told && (p == nil || p.Belongs != "person") {
			continue
		}
		answer := ""
		tone := ""
		switch {
		case !f.Counted:
			answer = "kept, not weighed: " + f.WhyNot
		case f.Role == engine.Against:
			answer = "tells against " + m.n.Candidate(f.Against)
		case f.Role == engine.NotExplained:
			not++
			answer, tone = "not needed: the best account of the damage does without it", "unexplained"
			for _, u := range m.d.NotExplained {
				if u.Finding == f.ID {
					answer = "not explained: " + u.Why
				}
			}
		case len(f.ExplainedBy) > 0:
			fit++
			answer = "fits: explained by " + m.explained(f)
			tone = "independent"
		default:
			answer = "neither for nor against"
		}
		cells := row(findingText(f), answer)
		cells[1].Tone = tone
		t.Rows = append(t.Rows, cells)
	}
	if len(t.Rows) == 0 {
		s.say("Nothing that was told is entered as a finding, so the story was not held against the damage.")
		return
	}
	s.say(fmt.Sprintf("Of what was told and could be weighed, %s with the damage, and %s.", report.Count(fit, "thing fits", "things fit"), report.Count(not, "is not explained by the best account", "are not explained by the best account")))
	s.table(t)
}

// explained names what explains a finding, each thing once.
func (m *builder) explained(f engine.FindingOut) string {
	var out []string
	for _, k := range f.ExplainedBy {
		if name := m.n.Thing(bare(k)); !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return report.And(out)
}

func findingText(f engine.FindingOut) string {
	s := strings.TrimSpace(f.ID + " " + f.Name)
	if f.At != "" {
		s += " (" + f.At + ")"
	}
	switch {
	case f.State == "not_found" && f.Beyond != nil:
		s += ": measured, and not so"
	case f.State == "not_found":
		s += ": not found"
	}
	return s
}

// before lists what was there before the failure, as far as is known.
func (m *builder) before(s *Section) {
	s.sub("What was there before?")
	var lines [][]Span
	for _, w := range m.c.Works {
		text := w.What
		if w.HoursSince != nil {
			text += fmt.Sprintf(", %s h before", num(*w.HoursSince))
		}
		if w.KmSince != nil {
			text += fmt.Sprintf(", %s km before", num(*w.KmSince))
		}
		text += joinTail(w.When, w.Who, string(w.By))
		lines = append(lines, lead(w.ID+" (work done):", text+"."))
	}
	for _, c := range m.d.Conditions {
		if c.Present >= 0.5 {
			lines = append(lines, lead("Circumstance:", fmt.Sprintf("%s (%s). Given, and never to blame.", c.Name, report.Percent(c.Present))))
		}
	}
	for _, f := range m.d.Findings {
		if f.Role == engine.Independent && f.State == "seen" {
			lines = append(lines, lead("Independent of the failure:", findingText(f)+"."))
		}
	}
	var there []string
	for _, c := range bystanders(m.d) {
		there = append(there, fmt.Sprintf("%s (%s)", report.FullName(c), often(c.Present)))
	}
	if len(there) > 0 {
		lines = append(lines, lead("There by what was found and by the book, and not to blame:", strings.Join(there, "; ")+"."))
	}
	if len(lines) == 0 {
		s.say("Nothing was found that must have been there before. That is no proof that there was nothing.")
		return
	}
	s.list(lines...)
}

func joinTail(words ...string) string {
	if t := joinNonEmpty(", ", words...); t != "" {
		return " (" + t + ")"
	}
	return ""
}

// first says in what order it happened, and what that rests on.
func (m *builder) first(s *Section) {
	s.sub("Which came first, and how is that known?")
	if len(m.d.Chain) < 2 {
		s.say("The order is not known: no chain of failure can be drawn.")
		return
	}
	on := map[string]bool{}
	for _, t := range m.things {
		if t.Role != "primary" {
			on[t.ID] = true
		}
	}
	var own []string
	for _, f := range m.d.Findings {
		if f.Role != engine.Primary || f.State != "seen" {
			continue
		}
		sign := m.b.Sign(m.ev[f.ID].Sign)
		if sign != nil && !slices.ContainsFunc(sign.By, func(r *rules.Rule) bool { return on[r.From.ID] }) {
			own = append(own, findingText(f))
		}
	}
	firstName := thing{Name: m.d.Chain[0].Name, At: m.d.Chain[0].At}.label()
	s.say(fmt.Sprintf("First: %s. Last: %s. The order is inferred from what leads to what, as each step of the chain says; nobody saw it.", firstName, m.question()))
	var lines [][]Span
	if len(own) > 0 {
		lines = append(lines, lead("It did not come of the damage:", "nothing further down the chain leaves these: "+strings.Join(own, "; ")+"."))
	}
	for _, w := range m.c.Works {
		if w.HoursSince != nil {
			lines = append(lines, lead("By the papers or as told:", fmt.Sprintf("%s was done %s h before (%s).", w.ID, num(*w.HoursSince), w.By)))
		}
	}
	if len(own) == 0 {
		lines = append(lines, lead("Doubt:", "no finding shows the beginning by a mark that the damage could not have left as well. The order rests on the book alone."))
	}
	for _, c := range m.d.Causes {
		if c.Kind == "unlisted" && c.Blame >= 0.05 {
			lines = append(lines, lead("Otherwise:", fmt.Sprintf("a cause that the book does not list, %s to blame.", often(c.Blame))))
		}
	}
	s.list(lines...)
}

// contract answers what contracts ask, as far as the book knows it.
func (m *builder) contract(s *Section) {
	if m.d.Case.Question == "" {
		return
	}
	s.sub("Questions that contracts ask")
	t := Table{Caption: "Questions that contracts ask", Columns: columns(col("Question", 3), col("Was it there?", 3), Column{"To blame", 1.4, true}, col("Findings that bear on it", 3))}
	all := slices.Concat(m.d.Causes, m.d.Steps)
	for _, q := range contractQuestions {
		var best *engine.Candidate
		var ids []string
		for i, c := range all {
			if slices.Contains(q.ids, c.ID) && (best == nil || c.Present > best.Present) {
				best = &all[i]
			}
		}
		for _, f := range m.d.Findings {
			sign := m.b.Sign(m.ev[f.ID].Sign)
			if sign != nil && f.State != "unavailable" && slices.ContainsFunc(sign.By, func(r *rules.Rule) bool { return slices.Contains(q.ids, r.From.ID) }) {
				ids = append(ids, f.ID)
			}
		}
		answer, blame := "nothing points to it", ""
		if best != nil {
			answer, blame = often(best.Present), report.Percent(best.Blame)
		}
		if len(ids) == 0 {
			ids = []string{"none"}
			answer += "; not looked into"
		}
		t.Rows = append(t.Rows, row(q.question, answer, blame, strings.Join(ids, ", ")))
	}
	s.table(t)
}

// again says whether it would happen again, and what must be put right.
func (m *builder) again(s *Section) {
	if m.d.Case.Question == "" {
		return
	}
	s.sub("Would it happen again?")
	v := m.d.Verdict
	if len(v.Names) == 0 {
		s.say(m.stand.again + ", so an engine put together again with new parts may fail in the same way.")
		return
	}
	s.say(m.stand.again + ". With only the broken parts renewed, what is named would still be there, or could be done again.")
	var lines [][]Span
	for _, n := range v.Names {
		text := again[n.Category]
		if text == "" {
			text = "What brought it about is open; until that is found, it can come back."
		}
		lines = append(lines, lead(report.UpperFirst(report.FullName(n))+":", text))
	}
	var right []string
	for _, l := range m.d.Chain {
		if l.Kind == "step" {
			right = append(right, thing{Name: l.Name, At: l.At}.label())
		}
	}
	if len(right) > 0 {
		lines = append(lines, lead("To be put right before it runs:", strings.Join(right, "; ")+"."))
	}
	var still []string
	for _, c := range bystanders(m.d) {
		if c.Kind != "cause" {
			still = append(still, report.FullName(c))
		}
	}
	if len(still) > 0 {
		lines = append(lines, lead("Not to blame, and still there:", strings.Join(still, "; ")+"."))
	}
	s.list(lines...)
}

// bystanders are what was there and did nothing, as far as it is more likely than not.
func bystanders(d *engine.Diagnosis) []engine.Candidate {
	return slices.DeleteFunc(report.Bystanders(d), func(c engine.Candidate) bool { return c.Present < engine.ProbableAt })
}
