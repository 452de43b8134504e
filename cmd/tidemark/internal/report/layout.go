package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// Options are how a person wants it shown.
type Options struct {
	Width   int  // characters a line; 0 for 80
	Full    bool // everything that was worked out
	Numbers bool // decibans beside the words
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

// page writes wrapped text; it keeps the first error, so that callers need not
// look after each line.
type page struct {
	w     *bufio.Writer
	width int
	err   error
}

func newPage(w io.Writer, o Options) *page { return &page{w: bufio.NewWriter(w), width: o.width()} }

func (p *page) close() error {
	if err := p.w.Flush(); p.err == nil {
		p.err = err
	}
	return p.err
}

func (p *page) raw(s string) {
	if _, err := p.w.WriteString(s); err != nil && p.err == nil {
		p.err = err
	}
}

// line writes text under a first and a hanging indent, wrapped at spaces.
func (p *page) line(first, hang, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	room := p.width
	at := first
	used := utf8.RuneCountInString(first)
	empty := true
	var b strings.Builder
	b.WriteString(at)
	for _, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if !empty && used+1+n > room {
			p.raw(strings.TrimRight(b.String(), " ") + "\n")
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
	p.raw(strings.TrimRight(b.String(), " ") + "\n")
}

func (p *page) gap() { p.raw("\n") }

// head writes the heading of a section.
func (p *page) head(format string, args ...any) {
	p.gap()
	p.line("", "  ", "%s", strings.ToUpper(fmt.Sprintf(format, args...)))
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

// actWords says what the bench does to a part, as one says it to a mate.
func actWords(kind, part string) string {
	say := map[string]string{"off": "take off", "blow": "blow out", "part": "take apart"}[kind]
	if say == "" {
		say = kind
	}
	return say + " the " + part
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
