package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"charm.land/lipgloss/v2"
)

// Options are how a person wants it shown.
type Options struct {
	Width   int  // characters a line; 0 for 80
	Colour  bool // headings, standing and cautions stand out by colour and weight
	ASCII   bool // no character that an old terminal cannot show
	Full    bool // everything that was worked out
	Numbers bool // decibans beside the words
	Example bool // it is the built-in one
}

// narrowest and widest lines that are written, in characters: below the one
// nothing can be read, beyond the other the eye loses the line.
const (
	narrowest = 40
	widest    = 100
)

func (o Options) width() int {
	if o.Width == 0 {
		return 80
	}
	return max(narrowest, min(widest, o.Width))
}

// tone is what a line is, where that is shown by colour and weight as well: it is
// always told in words too.
type tone int

const (
	plain tone = iota
	heading
	sure    // determined
	likely  // probable
	open    // not determined
	caution // of danger, or to evidence
)

// tones are made of the terminal's own colours, so that they fit its background.
var tones = map[tone]lipgloss.Style{
	heading: lipgloss.NewStyle().Bold(true),
	sure:    lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Green),
	likely:  lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Yellow),
	open:    lipgloss.NewStyle().Bold(true),
	caution: lipgloss.NewStyle().Foreground(lipgloss.Red),
}

// plainly replaces what an old terminal cannot show.
var plainly = strings.NewReplacer("→", "->", "·", "-", "“", `"`, "”", `"`, "‘", "'", "’", "'", "…", "...", "±", "+/-", "≤", "<=", "≥", ">=", "×", "x", "−", "-", "–", "-", "°", " deg ", "µ", "u", "²", "2", "³", "3", "½", "1/2", "¼", "1/4", "¾", "3/4", "₂", "2", "●", "o", "│", "|", "─", "-", "ø", "dia. ", "é", "e", "è", "e", "ä", "ae", "ö", "oe", "ü", "ue", "å", "aa", "\u00a0", " ")

// ascii is text in ASCII; what has no likeness becomes a question mark.
func ascii(text string) string {
	return strings.Map(func(r rune) rune {
		if r > 126 {
			return '?'
		}
		return r
	}, plainly.Replace(text))
}

// page writes wrapped text; it keeps the first error, so that callers need not
// look after each line.
type page struct {
	w     *bufio.Writer
	width int
	o     Options
	err   error
}

func newPage(w io.Writer, o Options) *page {
	return &page{w: bufio.NewWriter(w), width: o.width(), o: o}
}

func (p *page) close() error {
	if err := p.w.Flush(); p.err == nil {
		p.err = err
	}
	return p.err
}

func (p *page) raw(s string) {
	if p.o.ASCII {
		s = ascii(s)
	}
	if _, err := p.w.WriteString(s); err != nil && p.err == nil {
		p.err = err
	}
}

// line writes text under a first and a hanging indent, wrapped at spaces.
func (p *page) line(first, hang, format string, args ...any) {
	p.say(plain, first, hang, format, args...)
}

// say is line with a tone.
func (p *page) say(as tone, first, hang, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if p.o.ASCII {
		text, first, hang = ascii(text), ascii(first), ascii(hang)
	}
	for _, l := range wrap(text, first, hang, p.width) {
		if style, ok := tones[as]; ok && p.o.Colour {
			l = style.Inline(true).Render(l)
		}
		p.raw(l + "\n")
	}
}

// wrap breaks text at spaces into lines of a width, in characters.
func wrap(text, first, hang string, width int) []string {
	var out []string
	used, empty := utf8.RuneCountInString(first), true
	var b strings.Builder
	b.WriteString(first)
	// A per cent sign stays with its number.
	for _, word := range strings.Fields(strings.ReplaceAll(text, " %", "\x00%")) {
		word = strings.ReplaceAll(word, "\x00", " ")
		n := utf8.RuneCountInString(word)
		if !empty && used+1+n > width {
			out = append(out, strings.TrimRight(b.String(), " "))
			b.Reset()
			b.WriteString(hang)
			used, empty = utf8.RuneCountInString(hang), true
		}
		if !empty {
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used, empty = used+n, false
	}
	return append(out, strings.TrimRight(b.String(), " "))
}

func (p *page) gap() { p.raw("\n") }

// head writes the heading of a section.
func (p *page) head(format string, args ...any) {
	p.gap()
	p.say(heading, "", "  ", "%s", strings.ToUpper(fmt.Sprintf(format, args...)))
}

// Percent is a probability as a person reads it: never 0 or 100, which would be
// more than is known.
func Percent(x float64) string {
	switch {
	case x > 0.995:
		return ">99 %"
	case x < 0.005:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*x)
}

func and(words []string) string { return list(words, " and ") }

func or(words []string) string { return list(words, " or ") }

func list(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + last + words[len(words)-1]
}

// done says what is done to a part, of one and of several.
var done = map[string][2]string{
	"off":   {"comes off", "come off"},
	"drain": {"is drained", "are drained"},
	"turn":  {"is turned", "are turned"},
	"wash":  {"is washed", "are washed"},
	"blow":  {"is blown out", "are blown out"},
	"part":  {"is taken apart", "are taken apart"},
	"cut":   {"is cut", "are cut"},
	"test":  {"is tested", "are tested"},
}

// act is what the bench does to a part.
type act struct{ kind, part string }

// lookBefore says before which acts one must look: parts to which the same is
// done are named together, and what is done to the same part one after the other.
func lookBefore(acts []act) string {
	type doing struct{ parts, verb string }
	var all []doing
	for i := 0; i < len(acts); {
		kind := acts[i].kind
		var parts []string
		for ; i < len(acts) && acts[i].kind == kind; i++ {
			parts = append(parts, "the "+acts[i].part)
		}
		verb, ok := done[kind]
		if !ok {
			verb = [2]string{"is reached by " + kind, "are reached by " + kind}
		}
		d := doing{or(parts), verb[0]}
		if several(acts[i-1].part) {
			d.verb = verb[1]
		}
		if n := len(all) - 1; n >= 0 && all[n].parts == d.parts {
			first, _, _ := strings.Cut(all[n].verb, " ")
			all[n].verb += " or " + strings.TrimPrefix(d.verb, first+" ")
			continue
		}
		all = append(all, d)
	}
	var said []string
	for _, d := range all {
		said = append(said, d.parts+" "+d.verb)
	}
	return "Look before " + strings.Join(said, ", or ") + "."
}

// several tells whether the name of a part is of more than one: rod bolts, guides
// of the timing chain.
func several(name string) bool {
	for _, end := range []string{",", " (", ":", " of ", " or ", " and ", " in ", " on ", " for "} {
		name, _, _ = strings.Cut(name, end)
	}
	return strings.HasSuffix(name, "s") && !strings.HasSuffix(name, "ss") && !strings.HasSuffix(name, "us") && !strings.HasSuffix(name, "is")
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	return strings.ToUpper(string(r)) + s[n:]
}

func sentence(s string) string {
	s = upperFirst(strings.TrimSpace(s))
	if s != "" && !strings.HasSuffix(s, ".") && !strings.HasSuffix(s, "?") && !strings.HasSuffix(s, "!") {
		s += "."
	}
	return s
}
