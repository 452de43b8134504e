package claim

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/rules"
)

func (m *builder) verdict() Section {
	s := Section{ID: "verdict", Title: "Verdict"}
	v := m.d.Verdict
	s.panel(m.verdictTone(), lead(m.stand.head+".", report.Sentence(m.verdictLine())), plain(m.stand.means), plain(m.stand.reading))
	if m.d.Case.Question == "" {
		return s
	}
	var notes []string
	if v.Why != "" {
		notes = append(notes, "It stands no higher because "+v.Why+".")
	}
	if rivals := v.Rivals(); len(rivals) > 0 {
		var list []string
		for _, b := range rivals {
			list = append(list, report.FullName(b)+" "+report.Percent(b.Blame))
		}
		notes = append(notes, "By what it came about, each weighed alone (these do not add up to 100): "+strings.Join(list, ", ")+".")
	}
	if v.Traced != nil && !slices.ContainsFunc(v.Names, func(n engine.Candidate) bool { return n.ID == v.Traced.ID }) {
		notes = append(notes, fmt.Sprintf("Farthest behind it, and only probable: %s (to blame %s).", report.FullName(*v.Traced), often(v.Traced.Blame)))
	}
	if cls := m.class(); cls != "" {
		notes = append(notes, cls)
	}
	if c := m.d.Conflict; c.Value > engine.ConflictTold {
		notes = append(notes, fmt.Sprintf("These findings fight the rest: %s.", report.And(c.Findings)))
	}
	if !m.d.Method.Exact {
		notes = append(notes, fmt.Sprintf("The figures may be off by about %s in 100.", report.Off(max(v.ErrorBound, m.d.Method.ErrorBound))))
	}
	s.bullets(notes)
	s.table(m.candidates())
	s.sub("What the words mean")
	s.table(standingTable(v.Standing))
	return s
}

// class says of what kind the cause is, where no more can be said.
func (m *builder) class() string {
	v := m.d.Verdict
	if len(v.Names) > 0 {
		var kinds []string
		for _, n := range v.Names {
			if n.Category != "" && n.Category != rules.Artefact && !slices.Contains(kinds, engine.CategoryName(n.Category)) {
				kinds = append(kinds, engine.CategoryName(n.Category))
			}
		}
		if len(kinds) > 0 {
			return "Class of cause: " + report.And(kinds) + "."
		}
		return "What is named is a state of a part, and no cause by itself; what brought it about is open. " + m.classes()
	}
	return "No single cause can be named. " + m.classes()
}

// classes says which class of cause comes nearest, in the words that it allows.
func (m *builder) classes() string {
	if len(m.d.Categories) == 0 || m.d.Categories[0].Blame < 0.05 {
		return "No class of cause stands out either."
	}
	var list []string
	for _, k := range m.d.Categories[:min(3, len(m.d.Categories))] {
		list = append(list, fmt.Sprintf("%s (%s)", k.Name, often(k.Blame)))
	}
	return "By class of cause: " + strings.Join(list, "; ") + "."
}

// candidates is the table of what was weighed, with its three figures.
func (m *builder) candidates() Table {
	t := Table{Caption: "What was weighed, the most to blame first", Columns: columns(col("Candidate", 5), Column{"To blame", 1.2, true}, Column{"Acted", 1.1, true}, Column{"Present", 1.1, true}, col("To blame, in words", 2))}
	seen := map[string]bool{}
	add := func(c engine.Candidate, bold string) {
		if seen[report.Key(c)] || c.Category == rules.Artefact {
			return
		}
		seen[report.Key(c)] = true
		name := report.UpperFirst(report.FullName(c))
		if c.At == "any" {
			name += ", at one position or more"
		}
		cells := row(name, report.Percent(c.Blame), report.Percent(c.Acted), report.Percent(c.Present), engine.Likely(c.Blame))
		if c.Kind == "unlisted" {
			cells[2], cells[3] = Cell{}, Cell{}
		}
		cells[0].Tone = bold
		t.Rows = append(t.Rows, cells)
	}
	for _, n := range m.d.Verdict.Names {
		add(n, "primary")
	}
	for _, c := range m.d.Causes {
		if len(t.Rows) < 8 && (c.Blame >= 0.01 || c.Acted >= 0.1) && (c.At == "" || c.At == "any" || !report.FamilyOf(m.d.Causes, c.ID)) {
			add(c, "")
		}
	}
	return t
}

func standingTable(now engine.Standing) Table {
	t := Table{Caption: "The three standings", Columns: columns(col("Standing", 1.3), col("To blame", 1.2), col("Means", 6))}
	for i, x := range standings {
		from := "under " + num(100*engine.ProbableAt) + " %"
		switch {
		case i == 0:
			from = "from " + num(100*x.from) + " %"
		case x.from > 0:
			from = fmt.Sprintf("%s to %s %%", num(100*x.from), num(100*standings[i-1].from))
		}
		cells := row(x.head, from, x.means)
		if x.standing == now {
			cells[0].Tone = "outcome"
			cells[0].Text += " (this report)"
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}
