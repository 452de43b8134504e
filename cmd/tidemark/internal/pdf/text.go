package pdf

import (
	"strings"

	"tidemark/cmd/tidemark/internal/font"
)

// Colour is red, green and blue from 0 to 255.
type Colour struct{ R, G, B int }

// Colours of text that stand out on white paper with a contrast of at least 4.5,
// also when printed in grey.
var (
	Black = Colour{20, 20, 20}
	Grey  = Colour{95, 95, 95}
	Red   = Colour{150, 20, 20}
	White = Colour{255, 255, 255}
)

// Style is how letters look.
type Style struct {
	Size   float64 // points; 0 for 9.5
	Bold   bool
	Colour Colour
}

const textSize = 9.5

func (s Style) size() float64 {
	if s.Size == 0 {
		return textSize
	}
	return s.Size
}

func (s Style) line() float64 { return s.size() * pointMM * leading }

// Run is text in one style within a paragraph.
type Run struct {
	Text  string
	Style Style
}

// Plain is text as one run.
func Plain(text string) []Run { return []Run{{Text: text}} }

// Bold is text as one bold run.
func Bold(text string) []Run { return []Run{{Text: text, Style: Style{Bold: true}}} }

// has tells whether a letter can be written, in both weights.
func has(r rune) bool { return font.Regular().Has(r) && font.Bold().Has(r) }

// clean takes out what cannot be printed, and marks letters that no font has.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n' || r == '\r' || r == 0xa0:
			return ' '
		case r < ' ' || r == 0x7f || r == 0xfeff || r >= 0x200b && r <= 0x200f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		case !has(r):
			return '�'
		}
		return r
	}, s)
}

func (d *Doc) font(s Style) {
	style := ""
	if s.Bold {
		style = "B"
	}
	d.f.SetFont(family, style, s.size())
	d.f.SetTextColor(s.Colour.R, s.Colour.G, s.Colour.B)
}

// textWidth is the width of one line.
func (d *Doc) textWidth(text string, s Style) float64 {
	d.font(s)
	return d.f.GetStringWidth(visual(clean(text)))
}

// draw puts one line with its foot at y.
func (d *Doc) draw(x, y float64, text string, s Style) {
	if text == "" {
		return
	}
	d.font(s)
	d.f.Text(x, y, visual(clean(text)))
}

// fit cuts text to a width, with an ellipsis.
func (d *Doc) fit(text string, s Style, width float64) string {
	if d.textWidth(text, s) <= width {
		return text
	}
	r := []rune(text)
	for len(r) > 1 && d.textWidth(string(r)+"…", s) > width {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// word is what is never broken, unless it is wider than the line.
type word struct {
	text  string
	style Style
	space bool // a space before it
	width float64
}

// wrap breaks runs into lines of at most width. A line break in the text is one
// on the page.
func (d *Doc) wrap(runs []Run, width float64) [][]word {
	lines := [][]word{nil}
	used := 0.0
	spaced := false
	for _, r := range runs {
		for i, part := range strings.Split(strings.ReplaceAll(r.Text, "\r\n", "\n"), "\n") {
			if i > 0 {
				lines, used, spaced = append(lines, nil), 0, false
			}
			spaced = spaced || strings.HasPrefix(part, " ")
			for _, w := range strings.Fields(glue.Replace(part)) {
				for _, piece := range d.pieces(strings.ReplaceAll(w, "\x00", " "), r.Style, width) {
					wide := d.textWidth(piece, r.Style)
					gap := 0.0
					if spaced && used > 0 {
						gap = d.textWidth(" ", r.Style)
					}
					if used > 0 && used+gap+wide > width+0.01 {
						lines, used, gap, spaced = append(lines, nil), 0, 0, false
					}
					last := len(lines) - 1
					lines[last] = append(lines[last], word{piece, r.Style, spaced && used > 0, wide})
					used += gap + wide
					spaced = false
				}
				spaced = true
			}
			spaced = strings.HasSuffix(part, " ") || part == "" && spaced
		}
	}
	return lines
}

// glue keeps a per cent sign with its number.
var glue = strings.NewReplacer(" %", "\x00%", "\u00a0", "\x00")

// pieces breaks a word that is wider than a line.
func (d *Doc) pieces(w string, s Style, width float64) []string {
	if d.textWidth(w, s) <= width {
		return []string{w}
	}
	var out []string
	piece := ""
	for _, r := range w {
		if piece != "" && d.textWidth(piece+string(r), s) > width {
			out, piece = append(out, piece), ""
		}
		piece += string(r)
	}
	return append(out, piece)
}

// height is that of lines, each as high as its largest letters.
func height(lines [][]word) float64 {
	h := 0.0
	for _, l := range lines {
		h += lineHeight(l)
	}
	return h
}

func lineHeight(l []word) float64 {
	h := 0.0
	for _, w := range l {
		h = max(h, w.style.line())
	}
	if h == 0 {
		return Style{}.line()
	}
	return h
}

// put draws lines from the top y down and gives the y below them. Words of one
// style are drawn as one, so that letters that run from right to left do so.
func (d *Doc) put(x, y float64, lines [][]word) float64 {
	for _, l := range lines {
		h := lineHeight(l)
		at := x
		for i := 0; i < len(l); {
			text, s := "", l[i].style
			first := i
			for ; i < len(l) && l[i].style == s; i++ {
				if l[i].space && i > first {
					text += " "
				}
				text += l[i].text
			}
			if l[first].space && first > 0 {
				at += d.textWidth(" ", s)
			}
			d.draw(at, y+h*0.76, text, s)
			at += d.textWidth(text, s)
		}
		y += h
	}
	return y
}
