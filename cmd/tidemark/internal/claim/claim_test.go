package claim

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/pdf"
	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

var update = flag.Bool("update", false, "write the golden files anew")

var book = sync.OnceValue(func() *rules.Book {
	var faults source.Faults
	return rules.Load(&faults, rules.Embedded())
})

const demoFile = "../cli/demo.toml"

// workedOut is a case of the repository with its diagnosis.
func workedOut(t *testing.T, path string) Input {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return inputOf(t, filepath.Base(path), string(text))
}

// inputOf is a case with its diagnosis, worked out once.
func inputOf(t testing.TB, name, text string) Input {
	t.Helper()
	var faults source.Faults
	c, ok := evidence.Parse(name, []byte(text), &faults, func(c *evidence.Case, faults *source.Faults) { engine.Check(book(), c, faults) })
	require.True(t, ok, faults.Error())
	d, err := remembered(context.Background(), book(), c, engine.Options{Version: "test", Memory: engine.DefaultMemory})
	require.NoError(t, err)
	return Input{Book: book(), Case: c, Diagnosis: d, Files: []File{NewFile(name, []byte(text))}, Photos: NoPhotos(c, "none here")}
}

func write(t testing.TB, in Input, form string) []byte {
	t.Helper()
	out, err := Write(in, Options{Form: form, Paper: pdf.A4, Memory: engine.DefaultMemory})
	require.NoError(t, err)
	return out
}

const emptyCase = "[case]\nid = \"empty\"\n[engine]\nfuel = \"diesel\"\ncycle = \"four-stroke\"\ncooling = \"liquid\"\nlayout = \"inline\"\n"

// text is all that a report says, without its form.
func text(r *Report) string {
	var b strings.Builder
	b.WriteString(r.Title + " " + r.Subtitle + "\n")
	for _, s := range r.Sections {
		b.WriteString("\n## " + s.Title + "\n")
		for _, x := range s.Blocks {
			for _, sp := range x.Text {
				b.WriteString(sp.Text)
			}
			if x.Text != nil {
				b.WriteString("\n")
			}
			for _, l := range x.Lines {
				b.WriteString("- ")
				for i, sp := range l {
					if i > 0 && x.Kind == "facts" {
						b.WriteString(": ")
					}
					b.WriteString(sp.Text)
				}
				b.WriteString("\n")
			}
			if x.Alt != "" {
				b.WriteString("[drawing] " + x.Alt + "\n")
			}
			for _, p := range x.Photos {
				b.WriteString("[photo] " + p.Caption + " " + p.Missing + "\n")
			}
			if x.Table != nil {
				for _, r := range x.Table.Rows {
					var cells []string
					for _, c := range r {
						cells = append(cells, strings.TrimSpace(c.Text))
					}
					b.WriteString("| " + strings.Join(cells, " | ") + "\n")
				}
			}
		}
	}
	return b.String()
}

// The whole report of the built-in example, as it reads.
func TestReportReads(t *testing.T) {
	in := workedOut(t, demoFile)
	// The hash of the book changes with every word of it.
	got := strings.ReplaceAll(text(Build(in)), in.Diagnosis.Book.Hash, "(hash of the book)")
	const golden = "testdata/demo.golden"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// The same case gives the same bytes, in every form and on both papers.
func TestSameBytes(t *testing.T) {
	in := workedOut(t, demoFile)
	for _, form := range []string{"html", "pdf", "json"} {
		assert.Equal(t, hash(write(t, in, form)), hash(write(t, in, form)), form)
	}
	letter, err := Write(in, Options{Form: "pdf", Paper: pdf.Letter})
	require.NoError(t, err)
	assert.Contains(t, string(letter), "/MediaBox [0 0 612.00 792.00]")
}

// A verdict never reads surer than it is: words of a higher standing stand nowhere but in
// the table that says what they mean.
func TestCalibratedWords(t *testing.T) {
	in := workedOut(t, demoFile)
	d := *in.Diagnosis
	in.Diagnosis = &d
	d.Verdict.Standing = engine.Probable
	names := d.Verdict.Names
	require.NotEmpty(t, names)
	check := func(in Input, never ...string) {
		for _, s := range Build(in).Sections {
			if s.ID != "summary" && s.ID != "verdict" && s.ID != "answers" {
				continue
			}
			for _, b := range s.Blocks {
				if b.Table != nil {
					continue
				}
				said := strings.ToLower(text(&Report{Sections: []Section{{Blocks: []Block{b}}}}))
				for _, word := range never {
					assert.NotContains(t, said, word, s.ID)
				}
			}
		}
	}
	check(in, "is determined", "certainly", "proves", "was caused by", "no doubt", "what has to be put right is known")
	d.Verdict.Standing, d.Verdict.Names = engine.Undetermined, nil
	d.Verdict.Nearest = &names[0]
	check(in, "is determined:", "probably to blame", "is probably known", "what has to be put right is known")
	assert.Contains(t, text(Build(in)), "not determined. What comes nearest, and is not claimed: ")
}

// The words of the table go with their numbers, for every standing and band.
func TestWordsGoWithNumbers(t *testing.T) {
	assert.Equal(t, []float64{engine.DeterminedAt, engine.ProbableAt, 0}, []float64{standings[0].from, standings[1].from, standings[2].from})
	for p := 0.0; p < 0.989; p += 0.001 {
		assert.NotContains(t, engine.Likely(p), "certain")
		assert.Equal(t, p < 0.005, excluded(p) == "as good as ruled out")
	}
	assert.Equal(t, "as good as ruled out", excluded(0.004))
	assert.Equal(t, "very unlikely", excluded(0.009))
	assert.Equal(t, "not ruled out; unlikely", excluded(0.05))
	assert.Equal(t, "not ruled out; about as likely as not", excluded(0.5))
	assert.Equal(t, "more likely than not", excluded(0.6))
}

// What the tables of the report name is in the book.
func TestContractQuestionsAreInTheBook(t *testing.T) {
	for _, q := range contractQuestions {
		for _, id := range q.ids {
			assert.NotNil(t, book().Node(id), "%s: %s", q.question, id)
		}
	}
	var ids []string
	for _, c := range categories {
		ids = append(ids, c.id)
		assert.NotEmpty(t, again[c.id])
	}
	assert.ElementsMatch(t, append(ids, rules.Artefact), rules.Categories)
}

// A case without a verdict is interim and says what is missing; a case that cannot be
// settled by more looking is not.
func TestInterim(t *testing.T) {
	empty := inputOf(t, "case.toml", emptyCase)
	r := Build(empty)
	assert.True(t, r.Interim)
	said := text(r)
	assert.Contains(t, said, "Nothing is asked")
	assert.Contains(t, said, "Nothing has been found or measured yet")
	assert.Contains(t, string(write(t, empty, "html")), ">INTERIM<")
	in := workedOut(t, demoFile)
	assert.False(t, Build(in).Interim)
	d := *in.Diagnosis
	d.Verdict.Standing, d.Verdict.Names, d.Stop.WorthGoingOn = engine.Undetermined, nil, false
	in.Diagnosis = &d
	assert.False(t, Build(in).Interim, "not determined is an answer where no look is left")
	d.Stop.WorthGoingOn = true
	assert.True(t, Build(in).Interim)
}

// Every number of the diagnosis that the report tells is that of the diagnosis.
func TestNumbersAreTheDiagnosis(t *testing.T) {
	in := workedOut(t, demoFile)
	said := text(Build(in))
	for _, n := range in.Diagnosis.Verdict.Names {
		assert.Contains(t, said, report.UpperFirst(n.Name)+" | "+report.Percent(n.Blame)+" | "+report.Percent(n.Acted)+" | "+report.Percent(n.Present))
	}
	for _, l := range in.Diagnosis.Chain {
		if l.Kind != "outcome" {
			assert.Contains(t, said, "acted, "+report.Percent(l.Probability))
		}
	}
	for _, f := range in.Case.Findings {
		assert.Contains(t, said, "| "+f.ID+" | ", f.ID)
	}
	assert.Contains(t, said, in.Diagnosis.Book.Hash)
}
