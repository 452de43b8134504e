package claim

import (
	"fmt"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

func (m *builder) categories() Section {
	s := Section{ID: "categories", Title: "Blame by class of cause"}
	if m.d.Case.Question == "" {
		return s
	}
	s.say("In whose hands a cause of this kind lies, without naming anyone: how likely it is that, had no cause of this kind been there, it would not have happened. More than one kind may have been needed, so these do not add up to 100.")
	t := Table{Caption: "Blame by class of cause (ISO 14224)", Columns: columns(col("Class", 1.5), col("What it is", 3), col("To blame", 2), col("What leads in it, each alone", 4))}
	for _, c := range categories {
		k := engine.CategoryBlame{}
		for _, x := range m.d.Categories {
			if x.Category == c.id {
				k = x
			}
		}
		var leads []string
		for _, x := range k.Leads {
			leads = append(leads, report.FullName(x)+" "+report.Percent(x.Blame))
		}
		t.Rows = append(t.Rows, row(report.UpperFirst(engine.CategoryName(c.id)), c.what, often(k.Blame), strings.Join(leads, "; ")))
	}
	for _, c := range m.d.Causes {
		if c.Kind == "unlisted" && c.Blame >= 0.005 {
			t.Rows = append(t.Rows, row("Not in the book", "a cause that the book does not list", often(c.Blame), ""))
		}
	}
	s.table(t)
	return s
}

func (m *builder) overturned() Section {
	s := Section{ID: "overturned", Title: "What would overturn the conclusion"}
	if m.d.Case.Question == "" {
		return s
	}
	o := m.d.OverturnedBy
	var lines [][]Span
	for _, f := range o.Findings {
		lines = append(lines, lead("A finding mistaken:", fmt.Sprintf("if %s is, %s comes first.", m.n.Told(f.Finding), m.n.Candidate(f.ThenLeads))))
	}
	for _, l := range o.Looks {
		name := m.n.Thing(l.Sign)
		if l.At != "" {
			name += " (" + l.At + ")"
		}
		lines = append(lines, lead("A look not made:", fmt.Sprintf("if %s is looked for and %s (%s), %s comes first.", name, l.Result, often(l.Probability), m.n.Candidate(l.ThenLeads))))
	}
	for _, b := range m.n.Bounds() {
		lines = append(lines, lead("A judgement of the book:", "what leads stays in front as long as "+b+"."))
	}
	if j := m.n.Joint(); j != "" {
		lines = append(lines, lead("Two judgements of the book at once:", j+"."))
	}
	if sec := m.d.Explanation.Second; sec != nil {
		text := fmt.Sprintf("the next best account of all findings is %s times less probable", report.Times(sec.Odds))
		if sec.Odds < 1.05 {
			text = "another account of all findings is hardly less probable"
		}
		if len(sec.Believe) > 0 {
			text += "; in it there was as well: " + report.And(sec.Believe)
		}
		if len(sec.Drop) > 0 {
			text += "; in it there was not: " + report.And(sec.Drop)
		}
		lines = append(lines, lead("Another account:", text+"."))
	}
	if len(o.Findings)+len(o.Looks)+len(o.Rules) == 0 {
		s.say("No single finding, look or judgement of the book that was tried would put anything else in front.")
	}
	s.list(lines...)
	return s
}

func (m *builder) assumptions() Section {
	s := Section{ID: "assumptions", Title: "Assumptions"}
	var lines [][]Span
	for _, a := range m.d.Assumed {
		lines = append(lines, lead(report.UpperFirst(a.What)+":", a.Because+"."))
	}
	if t := m.c.Engine.BankNumbering(); t != "" {
		lines = append(lines, lead("Numbering of cylinders:", t+"."))
	}
	if len(lines) == 0 {
		s.say("None beyond those of the book.")
	}
	s.list(lines...)
	return s
}

func (m *builder) method() Section {
	s := Section{ID: "method", Title: "Method"}
	d := m.d
	s.say("The book is a causal model of engines: causes with how often they are met, what each leads to and how often, and what each leaves to be seen. What was found and measured is entered; what it makes of each cause and step follows from that by the rules of probability alone. Present: it was there. Acted: it was there, and a working path ran from it to what happened. To blame: it was there, and without it, everything else staying as it was, what is asked about would not have happened. These need not add up to 100.")
	s.say(fmt.Sprintf("The verdict names what lies farthest back and is still to blame by %s or more (determined) or %s or more (probable). A sign that was looked for and not found counts only where it could have been seen. Signs of one fact count once. Damage made after the failure does not count. What was told counts little: %s.",
		percent100(engine.DeterminedAt), percent100(engine.ProbableAt), toldWorth()))
	how := "The figures follow exactly from the book."
	if !d.Method.Exact {
		how = fmt.Sprintf("The case is too entangled to be worked out whole: rules of which hardly anything comes were left out. The figures moved by at most %s in 100 when about five times as much was kept, and may be off by twice that; it is measured, not proven.", report.Share(d.Method.ErrorBound/2))
	}
	s.say(how)
	var packs []string
	for _, p := range d.Book.Packs {
		packs = append(packs, p.ID+" "+p.Version)
	}
	s.table(Table{Caption: "Book and program", Columns: columns(col("What", 2), col("Which", 7)), Rows: [][]Cell{
		row("book, SHA-256", d.Book.Hash), row("packs of the book", strings.Join(packs, ", ")), row("program", "tidemark "+d.Program.Version), row("numbers", exactness(d)),
	}})
	s.sub("Words for probabilities, this program's own")
	s.facts(likelihoodWords()...)
	s.sub("Words for the strength of evidence, by likelihood ratio")
	var pairs []string
	for _, b := range engine.Bands {
		pairs = append(pairs, "from "+num(b.From), engine.SupportOf(b.Words))
	}
	s.facts(pairs...)
	s.sub("Words for how often one thing follows from another, of 100")
	pairs = nil
	for _, w := range rules.HowOften {
		pairs = append(pairs, num(100*w.Value), w.Word)
	}
	s.facts(pairs...)
	s.sub("Sources")
	s.bullets(m.sources())
	return s
}

// likelihoodWords are the bands of the one table of words for probabilities.
func likelihoodWords() []string {
	var out []string
	for i, l := range engine.Likelihoods {
		from := fmt.Sprintf("from %s %%", num(100*l.From))
		if i == len(engine.Likelihoods)-1 {
			from = fmt.Sprintf("under %s %%", num(100*engine.Likelihoods[i-1].From))
		}
		out = append(out, from, l.Words)
	}
	return out
}

func percent100(p float64) string { return num(100*p) + " %" }

// toldWorth is what the book takes hearsay to be worth.
func toldWorth() string {
	w := rules.Chances(evidence.Told)
	return fmt.Sprintf("it is taken to miss %s and to be mistaken in %s of 100", num(100*w.Missed), num(100*w.Mistaken))
}

func exactness(d *engine.Diagnosis) string {
	if d.Method.Exact {
		return "exact"
	}
	return fmt.Sprintf("to within about %s in 100", report.Off(d.Method.ErrorBound))
}

// sources are those of the method, and of the rules on which the chain stands.
func (m *builder) sources() []string {
	out := []string{
		"Causes, steps and roles: IEC 60812:2018 (failure modes and effects analysis); ISO 14224:2016 (classes of cause); ISO 7146 (damage to plain bearings).",
		"Limits and uncertainty: JCGM 100:2008 (GUM) and JCGM 106:2012; decision rule after ISO 14253-1:2017.",
		"Strength of evidence in words: ENFSI guideline for evaluative reporting in forensic science, 2015.",
		"How often in words: F. Mosteller and C. Youtz, Quantifying probabilistic expressions, Statistical Science 5 (1990).",
	}
	seen := map[string]bool{}
	for _, t := range m.things {
		if t.Source != "" && t.Source != "common practice" && !seen[t.Source] {
			seen[t.Source] = true
			out = append(out, "Chain of failure: "+report.Sentence(t.Source))
		}
	}
	return out
}

// custody lists what is kept by whom, and every file with its hash.
func (m *builder) custody() Section {
	s := Section{ID: "custody", Title: "Custody and integrity"}
	s.sub("Parts")
	t := m.partsKept()
	if len(t.Rows) == 0 {
		s.say("The case does not say who holds the parts.")
	}
	s.table(t)
	s.sub("Files")
	f := Table{Caption: "Files, with their SHA-256", Columns: columns(col("File", 2.2), col("What", 2), col("Time", 1.6), col("SHA-256", 5))}
	for i, x := range m.in.Files {
		what := "file of limits"
		if i == 0 {
			what = "the case"
		}
		f.Rows = append(f.Rows, row(x.Name, what, "", x.SHA256))
	}
	for _, p := range m.in.Photos {
		what := fmt.Sprintf("photo, %d × %d, %d bytes", p.Width, p.Height, p.Bytes)
		sum := p.SHA256
		if p.Missing != "" {
			what, sum = "photo: "+p.Missing, "none"
		}
		f.Rows = append(f.Rows, row(p.Path, what, p.Taken, sum))
		if p.Copy != nil {
			f.Rows = append(f.Rows, row("", fmt.Sprintf("its copy here, %d × %d", p.Copy.Width, p.Copy.Height), "", p.Copy.SHA256))
		}
	}
	s.table(f)
	s.say("Times of photos are those of the camera's clock. The case file, the findings and all figures are within this report as data: “tidemark verify”, with the same book, works them out again and tells whatever differs, and holds the hashes against the originals.")
	return s
}

// partsKept lists the acts that say who holds a part.
func (m *builder) partsKept() Table {
	t := Table{Caption: "Parts kept", Columns: columns(col("Act", 0.8), col("Part", 3), col("Where from", 1.6), col("Held by", 2), col("Bag", 1.2), col("When, by whom", 2))}
	for _, a := range m.c.Log() {
		if a.HeldBy == "" && a.Bag == "" {
			continue
		}
		var at []string
		for _, x := range a.At {
			at = append(at, x.String())
		}
		t.Rows = append(t.Rows, row(a.ID, partName(m.b, a.Part), strings.Join(at, ", "), a.HeldBy, a.Bag, joinNonEmpty(", ", a.When, a.Who)))
	}
	return t
}

func (m *builder) limits() Section {
	s := Section{ID: "limits", Title: "Limits and cautions"}
	s.bullets(cautions)
	return s
}

func (m *builder) signatures() Section {
	s := Section{ID: "signatures", Title: "Signatures"}
	t := Table{Caption: "Signatures", Columns: columns(col("Who", 2.4), col("Name", 3), col("Place and date", 2.4), col("Signature", 3))}
	for _, who := range []string{"Inspected by", "Report checked by", "Seen by the owner", "Seen by the insurer or warrantor"} {
		t.Rows = append(t.Rows, row(who, "\n", "\n", "\n"))
	}
	s.table(t)
	return s
}
