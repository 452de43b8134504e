package report

import (
	"fmt"
	"io"
	"strings"

	"tidemark/engine"
	"tidemark/rules"
)

// Next writes what to look at next for a person at a terminal.
func Next(w io.Writer, b *rules.Book, n *engine.Next, o Options) error {
	p := newPage(w, o)
	x := &next{p, b, n, o}
	caseHead(p, n.Case, o.Example)
	p.say(standingTone(n.Verdict.Standing), "", "  ", "As it stands: %s", n.Verdict.Words)
	x.destroys()
	x.looks()
	x.plan()
	x.stop()
	return p.close()
}

type next struct {
	*page
	b *rules.Book
	n *engine.Next
	o Options
}

// stakes is how many acts, and of each how many looks, are told unless all are wanted.
const stakes = 4

func (x *next) destroys() {
	if len(x.n.Destroys) == 0 {
		return
	}
	x.head("Look before you go on")
	for i, d := range x.n.Destroys {
		if i == stakes && !x.o.Full {
			x.line("  ", "      ", "and %s that would destroy something; --full tells of %s.", Count(len(x.n.Destroys)-stakes, "more act", "more acts"), itOrThem(len(x.n.Destroys)-stakes))
			break
		}
		x.say(caution, "  ", "      ", "%s:", strings.TrimSuffix(lookBefore([]act{{d.Act, thing(x.b, d.Part)}}), "."))
		for k, s := range d.Signs {
			if k == stakes && !x.o.Full {
				x.line("      ", "        ", "and %d more.", len(d.Signs)-stakes)
				break
			}
			at := ""
			if s.At != "" {
				at = ", " + s.At
			}
			bits := ""
			if x.o.Numbers {
				bits = fmt.Sprintf(" (%s)", tellsOf(s.Bits, d.BitsOf))
			}
			x.line("      ", "        ", "%s%s (%s): %s%s", s.Name, at, s.Sign, sentence(s.Ask), bits)
		}
	}
}

func (x *next) looks() {
	x.head("What tells most for the time")
	told := 0
	for _, l := range x.n.Looks {
		if l.Bits < engine.WorthTelling && !x.o.Full {
			continue
		}
		told++
		x.line("  ", "      ", "%d. %s", told, lookLine(l.Look, x.o))
		x.result("Seen", l.Chance, l, l.IfSeen, l.LeadsIfSeen)
		x.result("Not found", 1-l.Chance, l, l.IfNotFound, l.LeadsIfNotFound)
		lookNotes(x.page, x.b, l.Look)
	}
	switch {
	case told == 0 && len(x.n.Looks) > 0:
		x.line("  ", "  ", "Nothing that is left tells much; --full lists it.")
	case told == 0:
		x.line("  ", "  ", "Nothing is left that the book knows.")
	}
}

// moved is the change of blame that is told, and mostMoved of how many candidates.
const (
	moved     = 0.02
	mostMoved = 3
)

// result tells what one result would do to the leaders.
func (x *next) result(what string, chance float64, l engine.NextLook, then map[string]float64, leads string) {
	var moves []string
	for _, c := range x.n.Leaders {
		k := key(c)
		from, to := l.Now[k], then[k]
		if d := to - from; d < moved && d > -moved || len(moves) == mostMoved {
			continue
		}
		moves = append(moves, fmt.Sprintf("%s %s → %s", fullName(c), Percent(from), Percent(to)))
	}
	s := fmt.Sprintf("%s (%s likely): ", what, Percent(chance))
	if len(moves) == 0 {
		s += "hardly anything moves"
	} else {
		s += strings.Join(moves, "; ")
	}
	if leads != "" && leads != x.n.Leads {
		s += fmt.Sprintf(". Then %s leads", nameOf(x.b, leads))
	}
	x.line("      ", "        ", "%s.", s)
}

func (x *next) plan() {
	p := x.n.Plan
	if p == nil {
		return
	}
	x.head("A plan for %s min", minutes(p.Within))
	if len(p.Steps) == 0 {
		x.line("  ", "  ", "Nothing that tells anything can be looked at in that time.")
		return
	}
	for i, s := range p.Steps {
		if s.Off != "" {
			x.line("  ", "      ", "%d. Off: %s. %s min.", i+1, s.Name, minutes(s.Minutes))
			continue
		}
		at := ""
		if s.At != "" {
			at = ", " + s.At
		}
		x.line("  ", "      ", "%d. %s%s (%s): %s %s min.", i+1, upperFirst(s.Name), at, s.Sign, sentence(s.Ask), minutes(s.Minutes))
		if s.Caution != "" {
			x.say(caution, "      ", "      ", "Caution: %s", sentence(s.Caution))
		}
	}
	x.line("  ", "  ", "%s min in all. Each was taken for what it adds to those before it.", minutes(p.Minutes))
}

func (x *next) stop() {
	x.head("Is more looking worth it?")
	yes := "No."
	if x.n.Stop.WorthGoingOn {
		yes = "Yes."
	}
	x.line("  ", "  ", "%s %s", yes, x.n.Stop.Why)
	x.gap()
	x.line("", "", "Cautions are the usual ones and not all there are: the maker's manual, local rules and licensed practice come first.")
}

// tellsOf tells bits, and of what they are: a look may tell much of what is there and
// little of what is to blame.
func tellsOf(bits float64, of string) string {
	if of == engine.OfBlame {
		return fmt.Sprintf("%.2f bit of what is to blame", bits)
	}
	return fmt.Sprintf("%.2f bit of what is there", bits)
}

// lookLine is a look in a line: what, where, how, and how long it takes.
func lookLine(l engine.Look, o Options) string {
	at, bits := "", ""
	if l.At != "" {
		at = ", " + l.At
	}
	if o.Numbers {
		bits = fmt.Sprintf(", tells %s", tellsOf(l.Bits, l.BitsOf))
	}
	return fmt.Sprintf("%s%s (%s): %s %s min%s.", upperFirst(l.Name), at, l.Sign, sentence(l.Ask), minutes(l.Minutes), bits)
}

// lookNotes tells what must come off for a look, before what it must be made, and of
// what to beware.
func lookNotes(p *page, b *rules.Book, l engine.Look) {
	if len(l.Off) > 0 {
		var off []string
		for _, id := range l.Off {
			off = append(off, thing(b, id))
		}
		p.line("      ", "      ", "Comes off first: %s.", strings.Join(off, ", "))
	}
	if len(l.DestroyedBy) > 0 {
		p.say(caution, "      ", "      ", "%s", Names{b: b}.LookBefore(l.DestroyedBy))
	}
	if l.Caution != "" {
		p.say(caution, "      ", "      ", "Caution: %s", sentence(l.Caution))
	}
}
