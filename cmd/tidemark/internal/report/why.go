package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"tidemark/engine"
	"tidemark/rules"
)

// Why writes an argument for a person at a terminal.
func Why(w io.Writer, b *rules.Book, a *engine.Argument, o Options) error {
	p := newPage(w, o)
	y := &why{p, b, a, o}
	y.title()
	y.innocent()
	y.way()
	if a.Over == nil {
		y.points("For it", true)
		y.points("Against it", false)
	} else {
		y.points("For "+fullName(a.Of), true)
		y.points("For "+fullName(*a.Over), false)
	}
	if len(a.Silent) > 0 {
		p.gap()
		p.line("", "  ", "%s either way: %s.", upperFirst(engine.NoWeight), strings.Join(a.Silent, " "))
	}
	y.looks()
	return p.close()
}

type why struct {
	*page
	b *rules.Book
	a *engine.Argument
	o Options
}

func (y *why) title() {
	a := y.a
	caseHead(y.page, a.Case, y.o.Example)
	if a.Over == nil {
		y.head("Why %s", fullName(a.Of))
	} else {
		y.head("Why %s rather than %s", fullName(a.Of), fullName(*a.Over))
	}
	y.standing(a.Of)
	if a.Over != nil {
		y.standing(*a.Over)
	}
	all := fmt.Sprintf("all findings together: %s", y.pull(a.Result-a.Base))
	switch a.Scale {
	case "present":
		y.line("  ", "  ", "Before anything was found, of 100 such engines%s it is there in %s; with all findings, in %s; %s.", y.asked(), of100(a.Base), of100(a.Result), all)
	case "blame":
		y.line("  ", "  ", "Before anything was found it is to blame in %s of 100; with all findings, in %s; %s. It is weighed by blame, since it is no single thing that is there or not.", of100(a.Base), of100(a.Result), all)
	case "contrast":
		y.line("  ", "  ", "One without the other: before anything was found %s; with all findings %s; %s.", y.odds(a.Base), y.odds(a.Result), all)
		if a.Both >= 0.05 {
			y.line("  ", "  ", "That both are there is possible too (%s).", Percent(a.Both))
		}
	default:
		y.line("  ", "  ", "By blame, the one against the other: before anything was found %s; with all findings %s; %s.", y.odds(a.Base), y.odds(a.Result), all)
	}
}

// asked is what the engines have in common before anything is found.
func (y *why) asked() string {
	if y.a.Case.QuestionName == "" {
		return ""
	}
	return fmt.Sprintf(" that come in with “%s”", y.a.Case.QuestionName)
}

func (y *why) standing(c engine.Candidate) {
	if y.a.Case.Question == "" {
		y.line("  ", "  ", "%s: present %s.", upperFirst(fullName(c)), Percent(c.Present))
		return
	}
	rest := fmt.Sprintf("; acted %s, present %s", Percent(c.Acted), Percent(c.Present))
	if c.Kind == "unlisted" {
		rest = ""
	}
	y.line("  ", "  ", "%s: to blame %s (%s)%s.", upperFirst(fullName(c)), Percent(c.Blame), engine.Likely(c.Blame), rest)
}

// of100 is log odds as a share of 100.
func of100(db float64) string {
	switch p := 100 / (1 + math.Pow(10, -db/10)); {
	case p > 99.5:
		return "over 99"
	case p < 0.01:
		return "under 0.01"
	default:
		return Share(p / 100)
	}
}

// odds says which of two is how many times likelier.
func (y *why) odds(db float64) string {
	times := math.Pow(10, math.Abs(db)/10)
	if times < 1.05 {
		return "both are as likely"
	}
	who := fullName(y.a.Of)
	if db < 0 {
		who = fullName(*y.a.Over)
	}
	return fmt.Sprintf("%s is %s times likelier", who, Times(times))
}

// pull is a weight in words, with whom it supports.
func (y *why) pull(db float64) string {
	s := engine.Support(db)
	tail := ""
	if y.o.Numbers {
		tail = fmt.Sprintf(" (%s dB)", signed(db))
	}
	switch {
	case s == engine.NoWeight:
		return s + tail
	case y.a.Over != nil && db > 0:
		return s + " for " + fullName(y.a.Of) + tail
	case y.a.Over != nil:
		return s + " for " + fullName(*y.a.Over) + tail
	case db < 0:
		return s + " against it" + tail
	}
	return s + " for it" + tail
}

func (y *why) way() {
	if len(y.a.Way) == 0 {
		return
	}
	y.head("How it leads to what happened")
	for i, r := range y.a.Way {
		if i == 0 {
			y.line("  ", "      ", "%s", upperFirst(y.named(r.From)))
		}
		if len(r.With) > 0 {
			y.line("    ", "      ", "together with %s", and(y.names(r.With)))
		}
		y.line("  → ", "      ", "%s, %s.", y.named(r.To), howOften(r.HowOften))
		if r.Because != "" {
			y.line("      ", "      ", "%s", sentence(r.Because))
		}
		if y.o.Full {
			y.source(r)
		}
	}
}

func (y *why) source(r engine.Rung) {
	if r.Source != "" {
		y.line("      ", "        ", "Source: %s", sentence(r.Source))
	}
}

// innocent says why something that is there is not to blame.
func (y *why) innocent() {
	in := y.a.Innocent
	if in == nil {
		return
	}
	y.head("Why it is not to blame")
	switch {
	case in.Unrelated:
		y.line("  ", "  ", "Nothing in the book leads from it to what happened.")
	case in.Missing != nil:
		y.missing(in.Missing)
	case in.Otherwise != nil && in.Otherwise.By != nil:
		o := in.Otherwise
		y.line("  ", "  ", "It leads to “%s”, and that rather came about by %s (acted, %s).", placed(o.Name, o.At), placed(o.By.Name, o.By.At), Percent(o.By.Acted))
	case in.Otherwise != nil:
		y.line("  ", "  ", "It leads to “%s”, and that rather came about by something else; by what is open.", placed(in.Otherwise.Name, in.Otherwise.At))
	case in.Anyway != nil:
		x := in.Anyway
		y.line("  ", "  ", "It acted, and without it the same would most probably have come of %s (acted, %s). Without both it would not have happened (%s).", placed(x.Name, x.At), Percent(x.Acted), Percent(x.Both))
	default:
		y.line("  ", "  ", "What happened would most probably have come about without it; by what is open.")
	}
}

func (y *why) missing(m *engine.Missing) {
	lead := "Its surest way to what happened goes by"
	if m.Beside {
		lead = "On its surest way to what happened it takes as well"
	}
	name := placed(m.Name, m.At)
	if m.At == "any" {
		name = m.Name
	}
	s := fmt.Sprintf("%s “%s”, and that is most probably not there (present %s).", lead, name, Percent(m.Present))
	var says []string
	for _, x := range m.Says {
		says = append(says, foundWords(x.Finding, x.Name, x.At, x.State))
	}
	switch {
	case len(says) == 1:
		s += " What says so most: " + says[0] + "."
	case len(says) > 1:
		s += " What says so most: " + strings.Join(says, "; ") + "."
	case m.Shown:
		s += " No finding says so by itself: all of them together do."
	default:
		s += " Nothing that was found shows it."
	}
	y.line("  ", "  ", "%s", s)
}

// foundWords is a finding by name: "F03 rod bearing: blue (rod 3): not found".
func foundWords(id, name, at, state string) string {
	s := id
	if name != "" {
		s += " " + name
	}
	if at != "" {
		s += " (" + at + ")"
	}
	if state == "not_found" {
		s += ": not found"
	}
	return s
}

// placed is a name with its position.
func placed(name, at string) string {
	switch at {
	case "":
		return name
	case "any":
		return name + ", at one position or more"
	}
	return name + ", " + at
}

func (y *why) names(keys []string) []string {
	var out []string
	for _, k := range keys {
		out = append(out, y.named(k))
	}
	return out
}

// named is a cause, step or sign with its place.
func (y *why) named(key string) string { return nameOf(y.b, key) }

// nameOf is what "id @ place" is called.
func nameOf(b *rules.Book, key string) string {
	id, at, _ := strings.Cut(key, " @ ")
	if id == "unlisted" {
		return "a cause that the book does not list"
	}
	name := thing(b, id)
	if at != "" {
		name += ", " + at
	}
	return name
}

func (y *why) points(title string, pro bool) {
	list := slices.DeleteFunc(slices.Clone(y.a.Points), func(p engine.Point) bool { return (p.Share >= 0) != pro })
	if len(list) == 0 {
		return
	}
	y.head("%s", title)
	if y.o.Numbers && pro {
		y.line("  ", "  ", "In decibans: alone (added to no other finding), last (taken away from all others), share (all shares add up to %s).", signed(y.a.Result-y.a.Base))
	}
	var little []string
	for _, p := range list {
		if p.Strength == "no" && !y.o.Full && !y.o.Numbers {
			little = append(little, p.Finding)
			continue
		}
		name := p.Name
		if p.At != "" {
			name += " (" + p.At + ")"
		}
		if p.State == "not_found" {
			name += ": not found"
		}
		numbers := ""
		if y.o.Numbers {
			numbers = fmt.Sprintf(" (alone %s, last %s, share %s)", signed(p.Alone), signed(p.Last), signed(p.Share))
		}
		y.line("  ", "      ", "%s %s: %s%s.", p.Finding, name, engine.SupportOf(p.Strength), numbers)
		y.reason(p)
	}
	if len(little) > 0 {
		y.line("  ", "      ", "%s: %s; --full gives %s.", upperFirst(engine.NoWeight), strings.Join(little, " "), map[bool]string{true: "the reason", false: "their reasons"}[len(little) == 1])
	}
}

// reason says why a finding tells.
func (y *why) reason(p engine.Point) {
	if len(p.How) == 0 {
		switch {
		case p.Instead == "":
		case p.State == "not_found":
			y.line("      ", "      ", "It tells against %s, which would have shown it, and so leaves more to the rest.", y.named(p.Instead))
		case p.Share < 0:
			y.line("      ", "      ", "It is of %s, which explains what happened without it.", y.named(p.Instead))
		default:
			y.line("      ", "      ", "It is of %s.", y.named(p.Instead))
		}
		return
	}
	last := p.How[len(p.How)-1]
	if len(p.How) > 1 {
		var names []string
		for _, r := range p.How {
			name := y.named(r.From)
			if len(r.With) > 0 {
				name += " together with " + and(y.names(r.With))
			}
			names = append(names, name)
		}
		y.line("      ", "      ", "%s.", upperFirst(strings.Join(names, " → ")))
	}
	verb := "Shows it"
	if p.State == "not_found" {
		verb = "Would have shown it"
	}
	if last.HowOften > 0 && last.HowOften < 1 {
		y.line("      ", "      ", "%s %s: %s", verb, howOften(last.HowOften), sentence(last.Because))
	} else {
		y.line("      ", "      ", "%s", sentence(last.Because))
	}
	y.source(last)
}

func (y *why) looks() {
	if len(y.a.Looks) == 0 {
		return
	}
	if y.a.Over == nil {
		y.head("What would tell most about it")
	} else {
		y.head("What would tell them apart best")
	}
	for _, l := range y.a.Looks {
		y.line("  ", "      ", "%s", lookLine(l.Look, Options{})) // what it tells is said below
		y.line("      ", "      ", "Seen (%s likely): %s; not found: %s.", Percent(l.Chance), y.pull(l.Seen), y.pull(l.NotFound))
		lookNotes(y.page, y.b, l.Look)
	}
}
