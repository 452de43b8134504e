package report

import (
	"io"
	"strings"
	"unicode"
)

// Checked writes what a check of a claim report found: what holds, what differs, and what
// was not checked.
func Checked(w io.Writer, holds, differs, notes []string, o Options) error {
	p := newPage(w, o)
	for _, list := range []struct {
		what  string
		as    tone
		lines []string
	}{{"holds    ", plain, holds}, {"DIFFERS  ", caution, differs}, {"note     ", plain, notes}} {
		for _, x := range list.lines {
			// A report may come from anyone: nothing in it gets to steer the terminal.
			p.say(list.as, list.what, strings.Repeat(" ", len(list.what)), "%s", strings.Map(func(r rune) rune {
				if unicode.IsControl(r) {
					return '\ufffd'
				}
				return r
			}, x))
		}
	}
	return p.close()
}
