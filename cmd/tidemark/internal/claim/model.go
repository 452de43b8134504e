// Package claim makes the claim report: what is told of a case, once, as sections of
// text, tables, drawings and photos; that as a page, on paper, or as data; and the
// check, later and by others, that a report is what was worked out.
package claim

import (
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

// Input is what a report is made of.
type Input struct {
	Book      *rules.Book
	Case      *evidence.Case
	Diagnosis *engine.Diagnosis
	Photos    []Photo
	Files     []File // the case and its files of limits
}

// Report is what is told, in the order in which it is read.
type Report struct {
	Title    string    `json:"title"`
	Subtitle string    `json:"subtitle,omitempty"`
	Interim  bool      `json:"interim"`
	Date     string    `json:"date,omitempty"` // of the last dated entry of the case
	Sections []Section `json:"sections"`
}

// Section is a part of the report under a heading of its own.
type Section struct {
	ID     string  `json:"id"`
	Title  string  `json:"title"`
	Blocks []Block `json:"blocks"`
}

// Block is one of: a heading, a paragraph, a panel of paragraphs, a list, a table, a
// drawing, photos.
type Block struct {
	Kind   string   `json:"kind"`
	Tone   string   `json:"tone,omitempty"`
	Text   []Span   `json:"text,omitempty"`
	Lines  [][]Span `json:"lines,omitempty"` // of a panel or list
	Table  *Table   `json:"table,omitempty"`
	Alt    string   `json:"alt,omitempty"` // of a drawing, in words
	Photos []Shown  `json:"photos,omitempty"`
	labels []Label  // of the custody sheet
	wide   *Scene
	narrow *Scene // for a phone; nil where wide does for both
}

// Span is a run of text.
type Span struct {
	Text string `json:"text"`
	Bold bool   `json:"bold,omitempty"`
}

// Table has a caption for those who cannot see it, and the first column as heads of its
// rows.
type Table struct {
	Caption string   `json:"caption"`
	Columns []Column `json:"columns"`
	Rows    [][]Cell `json:"rows"`
}

// Column of a table; Share is of the width on paper.
type Column struct {
	Head  string  `json:"head"`
	Share float64 `json:"-"`
	Right bool    `json:"-"`
}

// Cell of a table; Tone colours it.
type Cell struct {
	Text string `json:"text"`
	Tone string `json:"tone,omitempty"`
	Bold bool   `json:"-"`
}

// Shown is a photo with what stands under it.
type Shown struct {
	Path    string `json:"path"`
	Caption string `json:"caption"`
	Missing string `json:"missing,omitempty"` // why there is none to show
}

func (s *Section) add(b Block) { s.Blocks = append(s.Blocks, b) }

// sub writes a heading within the section.
func (s *Section) sub(text string) { s.add(Block{Kind: "heading", Text: plain(text)}) }

func (s *Section) para(spans ...Span) { s.add(Block{Kind: "paragraph", Text: spans}) }

func (s *Section) say(text string) { s.para(Span{Text: text}) }

func (s *Section) list(lines ...[]Span) {
	if len(lines) > 0 {
		s.add(Block{Kind: "list", Lines: lines})
	}
}

// bullets is a list of plain lines.
func (s *Section) bullets(lines []string) {
	var out [][]Span
	for _, l := range lines {
		out = append(out, plain(l))
	}
	s.list(out...)
}

func (s *Section) numbered(lines ...[]Span) {
	if len(lines) > 0 {
		s.add(Block{Kind: "numbered", Lines: lines})
	}
}

func (s *Section) panel(tone string, lines ...[]Span) {
	s.add(Block{Kind: "panel", Tone: tone, Lines: lines})
}

func (s *Section) table(t Table) {
	if len(t.Rows) > 0 {
		s.add(Block{Kind: "table", Table: &t})
	}
}

func (s *Section) drawing(wide, narrow *Scene) {
	s.add(Block{Kind: "drawing", Alt: wide.Alt, wide: wide, narrow: narrow})
}

func plain(text string) []Span { return []Span{{Text: text}} }

func strong(text string) Span { return Span{Text: text, Bold: true} }

// lead is a line with a bold opening.
func lead(head, text string) []Span { return []Span{strong(head + " "), {Text: text}} }

func row(cells ...string) []Cell {
	out := make([]Cell, len(cells))
	for i, c := range cells {
		out[i] = Cell{Text: c}
	}
	return out
}

func columns(heads ...Column) []Column { return heads }

func col(head string, share float64) Column { return Column{Head: head, Share: share} }
