package report

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/cmd/tidemark/internal/pdf"
	"tidemark/engine"
	"tidemark/engine/practice"
	"tidemark/rules"
)

// ClassSheet is exercises on paper as a PDF, each on a page of its own, and the answers
// apart, after all of them.
func ClassSheet(b *rules.Book, papers []practice.Paper) ([]byte, error) {
	if len(papers) == 0 {
		return nil, fmt.Errorf("there is no exercise to write")
	}
	level := papers[0].X.Level
	title := fmt.Sprintf("Practice, %s, seed %d", level, papers[0].X.Seed)
	d := pdf.New(pdf.Info{Title: title, Lang: "en", Footer: title})
	d.Title("What killed it?", title)
	small := pdf.Style{Size: 9, Colour: pdf.Grey}
	d.Paragraph(pdf.Run{Text: "For each engine: name the cause, and how sure you are of it in per cent; draw the chain of failure from there to the question; and say what of it all is old, came after, or leads away. The answers stand after the last exercise.", Style: small})
	words := levelWords[level]
	if level == practice.Master {
		words = "Master: either two causes were needed together, or either of two would have done it alone, or it cannot be determined: one is as likely as the other. Say which, and how surely. One thing of what is told may lead away."
	}
	if words != "" {
		d.Paragraph(pdf.Run{Text: words, Style: small})
	}
	for i, p := range papers {
		if i > 0 {
			d.NewPage()
		}
		x := p.X
		d.Heading(1, fmt.Sprintf("Exercise %d", i+1))
		d.Text(engineWords(x))
		d.Paragraph(pdf.Run{Text: "The question: " + x.Question.Name + ". Why?", Style: pdf.Style{Bold: true}})
		if len(x.Told) > 0 {
			var told []string
			for _, f := range x.Told {
				told = append(told, f[0].Sign.Name)
			}
			d.Text("Told unasked: " + strings.Join(told, "; ") + ".")
		}
		d.Heading(2, "Found")
		t := pdf.Table{Columns: []pdf.Column{{Head: "Part", Share: 3}, {Head: "Looked for", Share: 5}, {Head: "Found", Share: 3}}}
		last := ""
		for _, l := range p.Found {
			part := upperFirst(l.Sign.Part.Name)
			if part == last {
				part = ""
			} else {
				last = part
			}
			t.Rows = append(t.Rows, []pdf.Cell{pdf.C(part), pdf.C(l.Sign.Name), pdf.C(stateWords(l))})
		}
		d.Table(t)
		d.Heading(2, "Your answer")
		for _, ask := range []string{"Cause, and how sure in per cent", "Chain of failure", "There, and not to blame", "What would you look at next, and before what?"} {
			d.Draw(16, func(c *pdf.Canvas) {
				c.Text(0, 5, ask, pdf.Style{Size: 9}, pdf.Start)
				c.Line(pdf.Stroke{Colour: pdf.Grey, Width: 0.2}, [2]float64{0, 14}, [2]float64{d.Width(), 14})
			})
		}
	}
	d.NewPage()
	d.Title("Answers", title)
	for i, p := range papers {
		x := p.X
		d.Heading(2, fmt.Sprintf("Exercise %d: %s", i+1, x.Question.Name))
		d.Text(truthWords(b, x))
		if x.Misleading != nil {
			d.Text("What was told of it and led away: " + x.Misleading.Name + ".")
		}
		if len(x.Truth.Ways) > 0 {
			way := slices.MaxFunc(x.Truth.Ways, func(a, b []string) int { return len(a) - len(b) })
			d.Text("It went: " + strings.Join(append(nodeNames(b, way), x.Question.Name), " → ") + ".")
		}
		for _, m := range p.Telling {
			d.Bullet("•", pdf.Plain(answer(m.Sign, m.Found)+" "+upperFirst(engine.Strength(m.Decibans))+" support for it.")...)
		}
		for _, trap := range p.Traps {
			d.Bullet("•", pdf.Plain("There, and not to blame: "+trap.Node.Name+".")...)
		}
		d.Text(upperFirst(planWords(x)))
		what, base := "", 0.0
		switch {
		case x.Open:
			what, base = "that it cannot be determined", x.BaseOpen()
		case len(x.Truth.Right) > 1:
			what, base = TogetherWords(x.Truth.How, nodeNames(b, x.Truth.Right)), x.BaseTogether(x.Truth.How, x.Truth.Right)
		case len(x.Truth.Right) == 1:
			what, base = b.Node(x.Truth.Right[0]).Name, x.Base(x.Truth.Right[0])
		}
		if what != "" {
			d.Paragraph(pdf.Run{Text: fmt.Sprintf("Base rates give %s %s. To play it look by look: %s", what, Percent(base), again(x)), Style: small})
		}
	}
	return d.Bytes()
}

// stateWords are what a look found: "seen", "not found", "rod 3, not at rod 1 and 2".
func stateWords(l practice.Look) string {
	seen, not := places(l.Found)
	yes, no := "seen", "not found"
	if l.Sign.Part.Belongs == "person" {
		yes, no = "yes", "no"
	}
	switch {
	case seen == here:
		return yes
	case seen == "":
		return no
	case not == "":
		return yes + " at " + seen
	}
	return yes + " at " + seen + ", not at " + not
}

// again is the command that draws an exercise again.
func again(x *practice.Exercise) string {
	out := fmt.Sprintf("tidemark practice --seed %d --level %s", x.Seed, x.Level)
	if x.Request.Engine != "" {
		out += " --engine " + x.Request.Engine
	}
	if x.Lean != "" {
		out += " --lean " + x.Lean
	}
	return out
}
