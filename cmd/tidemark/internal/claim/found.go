package claim

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/evidence"
)

// roleWords are what a role is called, and what it means.
var roleWords = []struct {
	role        engine.Role
	name, means string
}{
	{engine.Primary, "primary", "of what is to blame"},
	{engine.Consequential, "consequential", "followed from it"},
	{engine.Independent, "independent", "there, of something else"},
	{engine.MadeAfter, "made after", "by crash, fire, storage, transport, cleaning or teardown; not by running"},
	{engine.NotExplained, "not explained", "the best account does not explain it"},
	{engine.Against, "against", "looked for and not found, or measured and not so; tells against something"},
}

func roleWord(r engine.Role) string {
	for _, x := range roleWords {
		if x.role == r {
			return x.name
		}
	}
	return ""
}

// findings by part, after the plan of the engine.
func (m *builder) findings() Section {
	s := Section{ID: "findings", Title: "Findings by part"}
	if len(m.c.Findings) == 0 {
		s.say("None yet.")
		return s
	}
	s.drawing(drawPlan(m.b, m.c, m.d), nil)
	out := map[string]engine.FindingOut{}
	for _, f := range m.d.Findings {
		out[f.ID] = f
	}
	var parts []string
	by := map[string][]evidence.Finding{}
	for _, f := range m.c.All() {
		id := f.Part
		if p := partOf(m.b, f); p != nil {
			id = p.ID
		}
		if by[id] == nil {
			parts = append(parts, id)
		}
		by[id] = append(by[id], f)
	}
	t := Table{Caption: "Findings, by part", Columns: columns(col("No.", 0.8), col("Finding", 4.4), col("Where", 1.3), col("State", 1.2), col("How, how sure", 1.4), col("Role", 1.5))}
	for _, id := range parts {
		name := "Other"
		if id != "" {
			name = report.UpperFirst(partName(m.b, id))
		}
		t.Rows = append(t.Rows, row(name)) // over all columns
		for _, f := range by[id] {
			t.Rows = append(t.Rows, m.findingRow(f, out[f.ID]))
		}
	}
	s.table(t)
	return s
}

func (m *builder) findingRow(f evidence.Finding, o engine.FindingOut) []Cell {
	name := ""
	if sign := m.b.Sign(f.Sign); sign != nil {
		name = sign.Name
	} else if f.Sign != "other" {
		name = f.Sign
	}
	text := joinNonEmpty(": ", report.UpperFirst(name), f.Note)
	if f.State == evidence.Unavailable && f.Why != "" {
		text = joinNonEmpty(": ", text, f.Why)
	}
	if o.Beyond != nil {
		text = joinNonEmpty(": ", report.UpperFirst(name), o.Note)
	}
	var extra []string
	if f.Surface != "" {
		extra = append(extra, "surface "+f.Surface)
	}
	if f.HowMuch != "" {
		extra = append(extra, f.HowMuch)
	}
	if f.Made != "" {
		extra = append(extra, "made by "+f.Made)
	}
	if f.ReplacedBy != "" {
		extra = append(extra, "corrected by "+f.ReplacedBy)
	}
	if f.Replaces != "" {
		extra = append(extra, "corrects "+f.Replaces)
	}
	if len(f.Photos) > 0 {
		extra = append(extra, "photo "+strings.Join(f.Photos, ", "))
	}
	if len(extra) > 0 {
		text += " (" + strings.Join(extra, "; ") + ")"
	}
	var where []string
	for _, a := range f.At {
		where = append(where, a.String())
	}
	role := roleWord(o.Role)
	how := joinNonEmpty(", ", string(f.By), string(f.Sure), f.Who)
	if f.State == evidence.Unavailable {
		how = f.Who
	} else if !o.Counted && o.WhyNot != "" && f.Made == "" {
		role = joinNonEmpty(", ", role, "not counted: "+o.WhyNot)
	}
	state := string(f.State)
	if o.Beyond != nil {
		state = "measured"
	}
	cells := row(f.ID, text, strings.Join(where, ", "), state, how, role)
	cells[5].Tone = string(o.Role)
	return cells
}

// photos with their captions. The case says no scale, so the caption asks for it.
func (m *builder) photos() Section {
	s := Section{ID: "photos", Title: "Photos"}
	if len(m.in.Photos) == 0 {
		return s
	}
	s.say("Scaled copies, turned upright, without the camera's notes of place; the originals are listed with their hashes under “Custody and integrity”. Sizes are to be read off a photo only where a scale lies beside the part.")
	var shown []Shown
	for _, p := range m.in.Photos {
		shown = append(shown, Shown{Path: p.Path, Caption: m.caption(p), Missing: p.Missing})
	}
	s.add(Block{Kind: "photos", Photos: shown})
	return s
}

func (m *builder) caption(p Photo) string {
	var told []string
	for _, id := range p.Findings {
		told = append(told, m.n.Told(id))
	}
	text := strings.Join(told, "; ") + ". " + p.Path
	switch {
	case p.Missing != "":
	case p.Taken != "":
		text += ", taken " + p.Taken + " by the camera's clock"
	default:
		text += ", time not told"
	}
	return text + "."
}

// readings against their limits.
func (m *builder) readings() Section {
	s := Section{ID: "readings", Title: "Readings against limits"}
	t := Table{Caption: "Readings against limits", Columns: columns(col("What", 2.6), col("Where", 1.2), Column{"Value", 1.7, true}, col("Limit, and whose", 2.3), col("Margin", 1.6), Column{"Beyond it", 1.2, true}, col("What to do with the part", 2.1))}
	derived := false
	for _, v := range m.table.Values {
		if !v.Known {
			continue
		}
		value := v.Shown()
		if v.Derived {
			value += " *"
			derived = true
		}
		beyond, tone := "", ""
		if _, _, ok := v.Margin(); ok {
			p := v.Beyond()
			beyond = report.Percent(p)
			switch {
			case p >= measure.Clear:
				tone = "primary"
			case p > 1-measure.Clear:
				tone = "consequential"
			default:
				tone = "independent"
			}
		}
		what := joinNonEmpty("; ", report.Disposition(v), strings.Join(v.Notes, "; "))
		cells := row(report.UpperFirst(v.Quantity.Title())+" ["+strings.Join(v.Readings, ", ")+"]", v.At, value, report.Limit(v), report.Margin(v), beyond, what)
		cells[5].Tone = tone
		// What is the same at many positions stands once.
		if n := len(t.Rows); n > 0 && beyond == "" && t.Rows[n-1][0] == cells[0] && t.Rows[n-1][2] == cells[2] && t.Rows[n-1][6] == cells[6] {
			t.Rows[n-1][1].Text += ", " + v.At
			continue
		}
		t.Rows = append(t.Rows, cells)
	}
	if len(t.Rows) == 0 {
		if len(m.c.Readings) > 0 {
			s.say("Nothing that was read could be held against a limit.")
		}
	} else {
		s.table(t)
		note := "± covers 95 in 100; that of a margin takes in the doubt of the limit. u: standard uncertainties between value and limit. “Beyond it” is the probability that the value lies beyond its limit, with the uncertainty of both (JCGM 106:2012). A part is called serviceable or not where that is at most 5 or at least 95 in 100; between, it is to be measured again. The maker's manual goes before what stands here."
		if derived {
			note += " *: worked out from readings."
		}
		s.say(note)
	}
	var left [][]Span
	for _, l := range m.d.ReadingsLeft {
		left = append(left, lead(l.Reading+":", "kept, and not weighed: "+l.Why+"."))
	}
	s.list(left...)
	return s
}

// roles tells what every finding is.
func (m *builder) roles() Section {
	s := Section{ID: "roles", Title: "Damage by role"}
	t := Table{Caption: "Damage by role", Columns: columns(col("Role", 1.6), col("Means", 2.2), col("Findings", 6))}
	for _, r := range roleWords {
		var list []string
		for _, f := range m.d.Findings {
			if f.Role == r.role && r.role == engine.Against {
				list = append(list, f.ID) // what each tells against stands below
			} else if f.Role == r.role && f.State != "unavailable" {
				text := findingText(f)
				if made := m.ev[f.ID].Made; made != "" {
					text += ", by " + made
				}
				list = append(list, text)
			}
		}
		told := strings.Join(list, "; ") + "."
		means := r.means
		if r.role == engine.Consequential && len(m.d.Verdict.Names) == 0 {
			means = "on the way to what happened"
		}
		switch {
		case len(list) == 0:
			told = "none"
		case r.role == engine.Against:
			told = strings.Join(list, ", ") + ": see “What was ruled out, and by what”."
		}
		cells := row(r.name, means, told)
		cells[0].Tone = string(r.role)
		t.Rows = append(t.Rows, cells)
	}
	var out []string
	for _, f := range m.d.Findings {
		if !f.Counted && f.Role == "" && f.State == "seen" {
			out = append(out, findingText(f)+": "+f.WhyNot)
		}
	}
	s.table(t)
	for _, u := range out {
		s.say("Not counted: " + report.Sentence(u))
	}
	for _, u := range m.d.NotExplained {
		s.say("Not explained: " + m.n.Told(u.Finding) + ": " + report.Sentence(u.Why))
	}
	return s
}

// ruledOut lists what was looked into and does not stand, and by what.
func (m *builder) ruledOut() Section {
	s := Section{ID: "ruled-out", Title: "What was ruled out, and by what"}
	t := Table{Caption: "What was ruled out, and by what", Columns: columns(col("Looked into", 3), col("Now", 2), col("By what", 5))}
	all := slices.Concat(m.d.Causes, m.d.Steps)
	byCandidate := map[string][]string{}
	var keys []string
	for _, f := range m.d.Findings {
		if f.Role != engine.Against || f.Against == "" {
			continue
		}
		if byCandidate[f.Against] == nil {
			keys = append(keys, f.Against)
		}
		byCandidate[f.Against] = append(byCandidate[f.Against], f.ID)
	}
	for _, k := range keys {
		now := ""
		if i := slices.IndexFunc(all, func(c engine.Candidate) bool { return report.Key(c) == k }); i >= 0 {
			now = fmt.Sprintf("%s (present %s)", excluded(all[i].Present), report.Percent(all[i].Present))
		} else {
			now = excluded(0) + " (present <1 %)"
		}
		var by []string
		for _, id := range byCandidate[k] {
			by = append(by, findingText(m.n.Finding(id)))
		}
		t.Rows = append(t.Rows, row(report.UpperFirst(m.n.Candidate(k)), now, strings.Join(by, "; ")))
	}
	for _, c := range m.d.Causes {
		f, w := m.n.MostAgainst(c)
		if f == "" || byCandidate[report.Key(c)] != nil || c.Blame >= engine.ProbableAt || engine.Strength(w) == "no" || len(t.Rows) > 40 {
			continue
		}
		t.Rows = append(t.Rows, row(report.UpperFirst(report.FullName(c)), fmt.Sprintf("to blame %s: %s", report.Percent(c.Blame), excluded(c.Blame)), fmt.Sprintf("%s: %s", findingText(m.n.Finding(f)), report.Strength(w))))
	}
	if len(t.Rows) == 0 {
		s.say("Nothing: no finding tells against anything in particular. What was not looked at is listed below.")
		return s
	}
	s.say("A sign that should have been there and was looked for and not found tells against what should have left it. Nothing is ever ruled out wholly by one.")
	s.table(t)
	return s
}

// notLooked lists looks not made that would tell something.
func (m *builder) notLooked() Section {
	s := Section{ID: "not-looked", Title: "What was not looked at"}
	if len(m.d.Next) == 0 {
		s.say(report.Sentence(m.d.Stop.Why))
		return s
	}
	t := Table{Caption: "Looks not made, the most telling first", Columns: columns(col("Look", 3.2), col("What to look for", 4), Column{"Minutes", 0.9, true}, col("Before", 2.4))}
	for _, l := range m.d.Next {
		name := report.UpperFirst(l.Name)
		if l.At != "" {
			name += ", " + l.At
		}
		if l.Bits < engine.WorthTelling {
			name += " (would hardly tell)"
		}
		var off []string
		for _, id := range l.Off {
			off = append(off, m.n.Thing(id))
		}
		what := report.Sentence(l.Ask)
		if len(off) > 0 {
			what += " Comes off first: " + strings.Join(off, ", ") + "."
		}
		if l.Caution != "" {
			what += " Caution: " + report.Sentence(l.Caution)
		}
		before := ""
		if len(l.DestroyedBy) > 0 {
			before = m.n.LookBefore(l.DestroyedBy)
		}
		t.Rows = append(t.Rows, row(name, what, fmt.Sprintf("%.0f", l.Minutes), before))
	}
	s.table(t)
	s.say(report.Sentence(m.d.Stop.Why))
	return s
}

// lost lists evidence that was gone before it could be looked at.
func (m *builder) lost() Section {
	s := Section{ID: "lost", Title: "Evidence lost before inspection"}
	var lines [][]Span
	r := m.c.Received
	if r.State != "" && r.State != "whole" {
		lines = append(lines, lead("As received:", joinNonEmpty("; ", r.State, ifSaid("opened by ", r.OpenedBy), ifSaid("off already: ", m.partNames(r.Off)))+"."))
	} else if len(r.Off) > 0 {
		lines = append(lines, lead("Off already when received:", m.partNames(r.Off)+"."))
	}
	for _, f := range m.d.Findings {
		e := m.ev[f.ID]
		if f.State != "unavailable" {
			continue
		}
		why := e.Why
		if why == "" {
			why = f.WhyNot
		}
		lines = append(lines, lead(f.ID+":", joinNonEmpty(": ", f.Name, why)+"."))
	}
	for _, p := range m.c.OrderLost {
		lines = append(lines, lead("Order lost:", partName(m.b, p.Part)+": which position each piece came from can no longer be believed."))
	}
	for _, w := range m.c.Works {
		if gone := m.partNames(w.Replaced); gone != "" {
			lines = append(lines, lead(w.ID+":", "replaced before inspection, so the old ones were not seen unless a finding says so: "+gone+"."))
		}
	}
	for _, a := range m.c.Log() {
		if a.Kind == evidence.ActWash || a.Kind == evidence.ActBlow || a.Kind == evidence.ActCut {
			lines = append(lines, lead(a.ID+":", fmt.Sprintf("%s: %s. What lay on it is gone.", partName(m.b, a.Part), map[evidence.ActKind]string{evidence.ActWash: "washed", evidence.ActBlow: "blown out", evidence.ActCut: "cut"}[a.Kind])))
		}
	}
	if len(lines) == 0 {
		s.say("Nothing is known to have been lost.")
		return s
	}
	s.list(lines...)
	return s
}

func ifSaid(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}
