package claim

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/rules"
)

// builder makes a report; each section has a method of its own.
type builder struct {
	in     Input
	b      *rules.Book
	c      *evidence.Case
	d      *engine.Diagnosis
	n      report.Names
	table  *measure.Table
	things []thing
	ev     map[string]evidence.Finding // what findings come from, by id
	stand  standing
}

// Build tells all of a case, once.
func Build(in Input) *Report {
	m := newBuilder(in)
	r := &Report{Title: reportTitle, Date: caseDate(m.c), Interim: len(m.wanting()) > 0}
	name := m.c.Engine.Text("name")
	r.Subtitle = joinNonEmpty(" · ", m.c.ID, m.c.Title, name)
	if r.Subtitle == "" {
		r.Subtitle = "a case with no name"
	}
	for _, s := range []func() Section{
		m.summary, m.identification, m.asked, m.verdict, m.chain, m.answers, m.findings, m.photos, m.readings,
		m.roles, m.ruledOut, m.notLooked, m.lost, m.categories, m.overturned, m.assumptions, m.method, m.custody, m.limits, m.signatures,
	} {
		if x := s(); len(x.Blocks) > 0 {
			r.Sections = append(r.Sections, x)
		}
	}
	return r
}

func newBuilder(in Input) *builder {
	m := &builder{in: in, b: in.Book, d: in.Diagnosis, n: report.NewNames(in.Book, in.Diagnosis), table: measure.New(in.Book, in.Case), ev: map[string]evidence.Finding{}}
	m.c = m.table.Weighed(in.Case) // with the findings that come of readings
	for _, f := range m.c.All() {
		m.ev[f.ID] = f
	}
	m.things = story(m.b, m.d)
	m.stand = standingOf(m.d.Verdict.Standing)
	return m
}

func joinNonEmpty(sep string, words ...string) string {
	return strings.Join(slices.DeleteFunc(words, func(s string) bool { return s == "" }), sep)
}

// wanting says what is missing before the report can be more than interim; nothing for
// one that is whole. "Not determined" is an answer where looking on would not help.
func (m *builder) wanting() []string {
	d := m.d
	var out []string
	if d.Case.Question == "" {
		out = append(out, "Nothing is asked: the case does not say what happened (question, under [case]).")
	}
	if len(m.c.Findings)+len(m.c.Readings) == 0 {
		out = append(out, "Nothing has been found or measured yet.")
	}
	if d.Case.Question != "" && len(d.Verdict.Names) == 0 && d.Stop.WorthGoingOn {
		out = append(out, "There is no verdict yet, and more looking is worth it: see “What was not looked at”.")
	}
	return out
}

var isoDate = regexp.MustCompile(`\d{4}-\d{2}-\d{2}`)

// caseDate is the last date that the case gives; "" where it gives none.
func caseDate(c *evidence.Case) string {
	last := ""
	for _, text := range caseTimes(c) {
		for _, day := range isoDate.FindAllString(text, -1) {
			if _, err := time.Parse(time.DateOnly, day); err == nil && day > last {
				last = day
			}
		}
	}
	return last
}

func caseTimes(c *evidence.Case) []string {
	out := []string{c.Received.Date}
	for _, a := range c.Acts {
		out = append(out, a.When)
	}
	return out
}

// created is the date of the report as a time; zero where there is none.
func (r *Report) created() time.Time {
	t, _ := time.Parse(time.DateOnly, r.Date)
	return t
}

func (m *builder) question() string {
	name := m.d.Case.QuestionName
	if m.d.Case.QuestionAt != "" {
		name += " (" + m.d.Case.QuestionAt + ")"
	}
	return name
}

// named is what the verdict names, or what comes nearest; "" for neither.
func (m *builder) named() string {
	var names []string
	for _, n := range m.d.Verdict.Names {
		names = append(names, report.FullName(n))
	}
	if len(names) == 0 && m.d.Verdict.Nearest != nil {
		n := *m.d.Verdict.Nearest
		return fmt.Sprintf("%s (to blame %s)", report.FullName(n), often(n.Blame))
	}
	return report.And(names)
}

// summary is five lines for someone who reads only those.
func (m *builder) summary() Section {
	s := Section{ID: "summary", Title: "Summary"}
	var lines [][]Span
	asked := "nothing yet; so nothing is named."
	if m.d.Case.Question != "" {
		asked = "why this happened: " + m.question() + "."
	}
	lines = append(lines, lead("Asked:", asked))
	lines = append(lines, lead("Verdict:", m.verdictLine()))
	how := "no chain of failure can be drawn from what was found."
	if len(m.d.Chain) > 0 {
		var names []string
		for _, l := range m.d.Chain {
			for _, n := range l.With {
				names[len(names)-1] += ", together with " + thing{Name: n.Name, At: n.At}.label()
			}
			names = append(names, thing{Name: l.Name, At: l.At}.label())
		}
		how = strings.Join(names, " → ") + "."
	}
	lines = append(lines, lead("How:", how))
	lines = append(lines, lead("Beside it:", m.besideLine()))
	lines = append(lines, lead("What it hangs on:", m.hangsLine()))
	if w := m.wanting(); len(w) > 0 {
		s.panel("unexplained", lead("Interim report.", strings.Join(w, " ")))
	}
	s.panel(m.verdictTone(), lines...)
	return s
}

func (m *builder) verdictTone() string {
	if m.d.Verdict.Standing == engine.Undetermined {
		return "unexplained"
	}
	return "outcome"
}

// verdictLine says the verdict in the words of its standing.
func (m *builder) verdictLine() string {
	v := m.d.Verdict
	name := m.named()
	if m.d.Case.Question == "" {
		return "none, for nothing is asked."
	}
	if name == "" {
		return "what is to blame is not determined, and nothing comes near."
	}
	line := fmt.Sprintf(m.stand.opens, name)
	if len(v.Names) > 0 {
		line += fmt.Sprintf(" To blame: %s.", often(v.Blame))
	}
	if len(v.Names) > 1 {
		line += " Of these, " + report.How(v.Together) + "."
	}
	return line
}

func (m *builder) besideLine() string {
	count := map[engine.Role]int{}
	for _, f := range m.d.Findings {
		if f.State == "seen" {
			count[f.Role]++
		}
	}
	var parts []string
	for _, x := range []struct {
		n    int
		told string
	}{{count[engine.Independent], "there of something else (old wear, other faults)"}, {count[engine.MadeAfter], "made after the failure"}, {count[engine.NotExplained], "not explained"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.n, x.told))
		}
	}
	if len(parts) == 0 {
		return "nothing was found that does not belong to it."
	}
	return "of the findings, " + report.And(parts) + "."
}

func (m *builder) hangsLine() string {
	o := m.d.OverturnedBy
	switch {
	case len(o.Findings) > 0:
		var ids []string
		for _, f := range o.Findings {
			if !slices.Contains(ids, f.Finding) {
				ids = append(ids, f.Finding)
			}
		}
		return fmt.Sprintf("if any of these were mistaken, something else would come first: %s. %s", report.And(ids), m.stopLine())
	case len(m.d.Conflict.Findings) > 0 && m.d.Conflict.Value > engine.ConflictTold:
		return "some findings fight the rest: " + report.And(m.d.Conflict.Findings) + ". " + m.stopLine()
	}
	return "on no single finding; taking any one away leaves the same in front. " + m.stopLine()
}

func (m *builder) stopLine() string { return report.Sentence(m.d.Stop.Why) }

// blank stands where something is not known: to be filled in by hand.
const blank = "________________"

func (m *builder) identification() Section {
	s := Section{ID: "identification", Title: "Engine and parties"}
	var pairs []string
	for _, f := range evidence.Fields() {
		from := m.c.Engine.Facts
		if f.Table == "history" {
			from = m.c.History.Facts
		}
		v, ok := from[f.Name]
		switch {
		case f.Name == "story":
		case !ok && (f.Name == "serial" || f.Name == "maker" || f.Name == "model"):
			pairs = append(pairs, f.Name, blank)
		case ok && f.Table == "engine" && m.c.Engine.AtLeast[f.Name]:
			pairs = append(pairs, factName(f.Name), "at least "+factText(v))
		case ok:
			pairs = append(pairs, factName(f.Name), factText(v))
		}
	}
	s.sub("Engine")
	s.facts(pairs...)
	r := m.c.Received
	s.sub("Parties")
	s.facts("claim or policy number", blank, "owner or claimant", blank, "insurer or warrantor", blank, "came from", orBlank(r.From),
		"opened by", orBlank(r.OpenedBy), "inspected by", orBlank(m.inspectors()), "cost so far, and for what", blank)
	s.sub("As received")
	s.facts("date", orBlank(r.Date), "state", orBlank(r.State), "off already", orBlank(m.partNames(r.Off)),
		"turns", orBlank(r.Turns), "fluids", orBlank(r.Fluids), "note", orBlank(r.Note))
	return s
}

func factName(name string) string { return strings.ReplaceAll(name, "_", " ") }

func factText(v any) string {
	switch x := v.(type) {
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case float64:
		return num(x)
	}
	return fmt.Sprint(v)
}

func orBlank(s string) string {
	if s == "" {
		return blank
	}
	return s
}

// inspectors are those whom findings and readings name.
func (m *builder) inspectors() string {
	var who []string
	add := func(w string) {
		if w != "" && !slices.Contains(who, w) {
			who = append(who, w)
		}
	}
	for _, f := range m.c.Findings {
		if f.By != evidence.Told && f.By != evidence.Paper {
			add(f.Who)
		}
	}
	for _, r := range m.c.Readings {
		add(r.Who)
	}
	return strings.Join(who, ", ")
}

func (m *builder) partNames(parts []evidence.PartRef) string {
	var out []string
	for _, p := range parts {
		out = append(out, partName(m.b, p.Part))
	}
	return strings.Join(out, ", ")
}

func (m *builder) asked() Section {
	s := Section{ID: "asked", Title: "What was asked"}
	if m.d.Case.Question == "" {
		s.say("The case does not say what happened, so nothing can be to blame for it. What is most probably there is told below.")
		return s
	}
	s.para(Span{Text: "Why did this happen: "}, strong(m.question()), Span{Text: "? It is taken as having happened; the report does not ask whether it did."})
	if b := m.d.Verdict.BetterQuestion; b != nil {
		var list []string
		for _, l := range b.Leads {
			list = append(list, l.Name+" "+report.Percent(l.Blame))
		}
		text := fmt.Sprintf("The better question is what brought this about: %s (acted, %s).", b.Name, report.Percent(b.Acted))
		if len(list) > 0 {
			text += " To blame for that, each weighed alone: " + strings.Join(list, ", ") + "."
		}
		s.say(text)
	}
	return s
}

func (m *builder) chain() Section {
	s := Section{ID: "chain", Title: "Chain of failure"}
	if len(m.things) == 0 {
		if m.d.Case.Question != "" {
			s.say("What was found does not carry a chain from a cause to what happened.")
		}
		return s
	}
	if len(m.d.Verdict.Names) == 0 {
		s.say("Nothing is named as to blame. This is how it may have happened, if what comes nearest is right; it is not claimed.")
	} else {
		s.say("From the cause down to what was asked about, as it most probably happened. Findings hang on what they show. “Acted” is how probable it is that it was there and a working path ran from it to what happened.")
	}
	s.drawing(drawChain(m.things, m.n, pageWide), drawChain(m.things, m.n, 340))
	s.sub("In words")
	var lines [][]Span
	for _, t := range m.things {
		if t.On {
			lines = append(lines, m.linkText(t))
		}
	}
	s.numbered(lines...)
	lines = nil
	for _, t := range m.things {
		if !t.On {
			lines = append(lines, m.linkText(t))
		}
	}
	if len(lines) > 0 {
		s.sub("Beside the chain")
		s.list(lines...)
	}
	return s
}

// linkText is one thing of the story in words.
func (m *builder) linkText(t thing) []Span {
	out := []Span{strong(report.UpperFirst(t.label()) + ".")}
	text := " " + roleName(t)
	if a := t.acted(); a != "" {
		text += "; " + a
	}
	text += "."
	if len(t.With) > 0 {
		text += " It took the one above together with " + report.And(t.With) + "."
	}
	if t.Because != "" {
		text += " " + report.Sentence(t.Because)
		if t.Source != "" {
			text += " [" + t.Source + "]"
		}
	}
	if len(t.Findings) > 0 {
		text += " Shown by " + strings.Join(t.Findings, ", ") + "."
	}
	return append(out, Span{Text: text})
}
