package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine/practice"
	"tidemark/evidence"
	"tidemark/rules"
)

// table is a game at a terminal: it reads a line, carries it out, and says what came
// of it.
type table struct {
	cmd  *cobra.Command
	book *rules.Book
	x    *practice.Exercise
	g    *practice.Game
	opt  report.Options
	echo bool
	done bool // the game is over
	left bool // without a score
	// warned is the line that costs much and waits for its yes.
	warned string
	sure   bool // it was given
}

// longestLine is how many bytes of a line are read; nobody types more.
const longestLine = 4096

// play plays the lines to their end. The result is nil where nothing was named.
func (t *table) play(in io.Reader) (*practice.Result, error) {
	out := t.cmd.OutOrStdout()
	if err := report.Opening(out, t.x, t.opt); err != nil {
		return nil, err
	}
	r := bufio.NewReaderSize(in, longestLine)
	for !t.done {
		if !t.echo {
			fmt.Fprint(out, "> ")
		}
		line, err := readLine(r)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("standard input cannot be read: %w", err)
		}
		if line == "" && err != nil {
			if !t.echo {
				fmt.Fprintln(out)
			}
			break
		}
		if t.echo {
			fmt.Fprintf(out, "> %s\n", plainText(line))
		}
		if err := t.carryOut(line); err != nil {
			return nil, err
		}
	}
	switch {
	case t.left:
		return nil, t.say("Left without a score. The exercise stays as it was: the same line starts it again.")
	case len(t.g.Guesses) == 0:
		return nil, t.say("You named nothing, so there is nothing to score. The exercise stays as it was: the same line starts it again.")
	}
	if err := t.say("One moment: it is worked out how it went."); err != nil {
		return nil, err
	}
	result, err := t.g.Score(t.cmd.Context())
	if err != nil {
		return nil, err
	}
	return result, report.Outcome(out, t.book, t.g, result, t.opt)
}

// readLine reads a line, of which what is too long is left out.
func readLine(r *bufio.Reader) (string, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		if room := longestLine - len(line); room > 0 {
			line = append(line, part[:min(len(part), room)]...)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return strings.TrimRight(string(line), "\r\n"), err
		}
	}
}

// plainText is what was typed without what would upset a terminal.
func plainText(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}

func (t *table) say(format string, args ...any) error {
	return report.Say(t.cmd.OutOrStdout(), t.opt, format, args...)
}

// order is a typed line: what to do, and with what.
type order struct {
	verb string
	rest string
}

// verbs are the commands, with other words for them.
var verbs = []struct {
	verb string
	also []string
}{
	{"look", []string{"l", "see", "examine", "check", "inspect", "ask", "read"}},
	{"list", []string{"ls", "signs"}},
	{"parts", nil},
	{"off", []string{"remove", "take", "strip"}},
	{"drain", nil}, {"turn", []string{"rotate"}}, {"wash", []string{"clean"}}, {"blow", nil}, {"part", []string{"dismantle", "split"}}, {"cut", nil}, {"test", []string{"start", "run"}},
	{"causes", []string{"cause"}},
	{"steps", []string{"step"}},
	{"card", []string{"show"}},
	{"guess", []string{"name", "blame", "say"}},
	{"chain", nil},
	{"notes", []string{"note", "findings", "so far"}},
	{"done", []string{"finish", "end", "score"}},
	{"quit", []string{"exit", "q", "bye"}},
	{"yes", []string{"y"}},
	{"help", []string{"h", "commands"}},
}

// parseOrder reads a line. Capitals and spaces do not matter; the verb is "" for an
// empty line, and "?" where the first word is none.
func parseOrder(line string) order {
	f := strings.Fields(strings.ToLower(plainText(line)))
	if len(f) == 0 || strings.HasPrefix(f[0], "#") {
		return order{}
	}
	rest := strings.Join(f[1:], " ")
	if f[0] == "?" {
		return order{"help", rest}
	}
	if f[0] == "take" || f[0] == "get" {
		rest = strings.TrimSpace(strings.TrimSuffix(strings.TrimPrefix(rest+" ", "off "), " "))
		rest = strings.TrimSuffix(rest, " off")
	}
	rest = strings.TrimPrefix(strings.TrimPrefix(rest, "at "), "for ")
	for _, v := range verbs {
		if f[0] == v.verb || slices.Contains(v.also, f[0]) {
			return order{v.verb, rest}
		}
	}
	return order{"?", strings.Join(f, " ")}
}

// What takes longer than this, in minutes, is told before it is done: an hour, or twice
// all the work so far, from where that is worth a word.
const (
	longWork  = 60
	worthWord = 30
)

// dear tells whether something takes so long that it is asked about first, and asks; said again,
// or yes, does it.
func (t *table) dear(line, what string, minutes float64) (bool, error) {
	if t.sure || minutes <= longWork && (minutes <= worthWord || minutes <= 2*t.g.Minutes()) {
		return false, nil
	}
	t.warned = line
	return true, t.say("%s takes %.0f min. To do it, say yes, or the same again.", what, minutes)
}

func (t *table) carryOut(line string) error {
	o := parseOrder(line)
	waits := t.warned
	if o.verb != "" {
		t.warned = ""
	}
	if o.verb == "yes" {
		if waits == "" {
			return t.say("Nothing waits for a yes.")
		}
		o = parseOrder(waits)
		t.sure = true
	} else if waits != "" && o == parseOrder(waits) {
		t.sure = true
	}
	defer func() { t.sure = false }()
	switch o.verb {
	case "":
		return nil
	case "help":
		return report.PracticeHelp(t.cmd.OutOrStdout(), t.opt)
	case "look":
		return t.look(o.rest)
	case "list":
		return t.list(o.rest)
	case "parts":
		return report.Bench(t.cmd.OutOrStdout(), t.g, true, t.opt)
	case "causes":
		return t.nodes(o.rest, t.g.Causes(), "cause")
	case "steps":
		return t.nodes(o.rest, t.g.Steps(), "step")
	case "card":
		return t.card(o.rest)
	case "guess":
		return t.guess(o.rest)
	case "chain":
		return t.chain(o.rest)
	case "notes":
		return report.Notes(t.cmd.OutOrStdout(), t.g, t.opt)
	case "done", "quit":
		t.done = true
		if o.verb == "quit" {
			t.left = true
		} else if len(t.g.Guesses) == 0 {
			t.done = false
			return t.say("Name a cause first, and how sure you are: guess CAUSE 70. Or leave with quit.")
		}
		return nil
	case "?":
		return t.say("%q is no command here; help lists them. To look at something: look %s.", clip(strings.Fields(o.rest)[0]), clip(o.rest))
	}
	return t.act(evidence.ActKind(o.verb), o.rest)
}

func clip(s string) string {
	if r := []rune(s); len(r) > mostEcho {
		return string(r[:mostEcho]) + "…"
	}
	return s
}

func partTexts(p *rules.Part) texts { return texts{append([]string{p.ID, p.Name}, p.Also...), nil} }

// named finds the things that all words of a text name: the one that is called exactly
// so, before those whose names have the words.
func named[T any](list []T, text string, id, name func(T) string, of func(T) texts) []T {
	said := strings.Join(words(text), " ")
	for _, x := range list {
		if said == strings.Join(words(id(x)), " ") || said == strings.Join(words(name(x)), " ") {
			return []T{x}
		}
	}
	var called []T
	for _, x := range list {
		if slices.ContainsFunc(of(x).names, func(n string) bool { return said == strings.Join(words(n), " ") }) {
			called = append(called, x)
		}
	}
	if len(called) == 1 {
		return called
	}
	s := newSearch([]string{text})
	if len(s.words) == 0 {
		return nil
	}
	out, most := found(s, list, func(x T) texts { return texts{of(x).names, nil} })
	if most < len(s.words) {
		return nil
	}
	return out
}

func (t *table) parts(text string) []*rules.Part {
	var all []*rules.Part
	for _, p := range t.book.Parts {
		if t.g.Has(p) {
			all = append(all, p)
		}
	}
	return named(all, text, func(p *rules.Part) string { return p.ID }, func(p *rules.Part) string { return p.Name }, partTexts)
}

func (t *table) signs(text string) []*rules.Sign {
	return named(t.g.Signs(nil), text, func(s *rules.Sign) string { return s.ID }, (*rules.Sign).Title, signTexts)
}

// mostAtOnce is how many signs one line may look for without naming a part.
const mostAtOnce = 12

// look looks at a part, at all that can be seen there, or for signs.
func (t *table) look(text string) error {
	if text == "" {
		return t.say("Look at what? A part or a sign, as look oil pan; list shows what can be seen now.")
	}
	signs := t.signs(text)
	parts := t.parts(text)
	exact := len(signs) == 1 && slices.Equal(words(signs[0].ID), words(text))
	if len(parts) == 1 && !exact {
		signs = t.g.Signs(parts[0])
		if front := t.g.InFront(parts[0]); len(front) > 0 {
			return t.hidden(&practice.HiddenError{Part: parts[0], Front: front})
		}
		if len(signs) == 0 {
			return t.say("There is nothing in the book to look for on the %s.", parts[0].Name)
		}
	}
	switch {
	case len(signs) == 0 && len(parts) > 1:
		return t.which(partNames(parts))
	case len(signs) == 0:
		return t.nothing("sign or part", text)
	case len(parts) != 1 && len(signs) > mostAtOnce:
		return t.which(signNames(signs))
	}
	minutes := 0.0
	for _, s := range signs {
		minutes += t.g.Costs(s)
	}
	what := "To look for all that"
	if len(parts) == 1 && !exact {
		what = upper(parts[0].Name) + ": all that there is to look for"
	} else if len(signs) == 1 {
		what = "That look"
	}
	if wait, err := t.dear("look "+text, what, minutes); wait || err != nil {
		return err
	}
	var hidden *practice.HiddenError
	var looks []practice.Look
	var rest []string
	for _, s := range signs {
		l, err := t.g.Look(s)
		var h *practice.HiddenError
		var lost *practice.LostError
		switch {
		case errors.As(err, &h):
			hidden = h
		case errors.As(err, &lost):
			rest = append(rest, fmt.Sprintf("%s: gone since %s.", upper(s.Title()), lost.Act))
		case errors.Is(err, practice.ErrNotRecorded):
			rest = append(rest, upper(s.Title())+": not recorded.")
		case err != nil:
			return err
		default:
			looks = append(looks, l)
		}
	}
	if err := report.Answers(t.cmd.OutOrStdout(), looks, t.opt); err != nil {
		return err
	}
	for _, line := range rest {
		if err := t.say("  %s", line); err != nil {
			return err
		}
	}
	if hidden != nil {
		if err := t.hidden(hidden); err != nil {
			return err
		}
	}
	return t.clock()
}

func (t *table) clock() error { return t.say("%.0f min of work so far.", t.g.Minutes()) }

func (t *table) hidden(h *practice.HiddenError) error {
	var names []string
	minutes := 0.0
	for _, p := range h.Front {
		names = append(names, p.Name)
		minutes += p.MinutesOff
	}
	return t.say("The %s cannot be seen yet. First off: %s (%.0f min).", h.Part.Name, strings.Join(names, ", then "), minutes)
}

func (t *table) nothing(what, text string) error {
	known := append(wordsOfSigns(t.book), wordsOfNodes(t.book)...)
	return t.say("%s", hinted(fmt.Sprintf("No %s of this engine is called %q.", what, clip(text)), suggestWord(text, known)))
}

func (t *table) which(names []string) error {
	if len(names) > mostAtOnce {
		return t.say("That fits %d things; say more words.", len(names))
	}
	return t.say("Which? %s.", strings.Join(names, "; "))
}

func partNames(parts []*rules.Part) []string {
	var out []string
	for _, p := range parts {
		out = append(out, p.Name)
	}
	slices.Sort(out)
	return out
}

func signNames(signs []*rules.Sign) []string {
	var out []string
	for _, s := range signs {
		out = append(out, s.Title())
	}
	slices.Sort(out)
	return out
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// list shows which parts can be seen now, or what can be looked for on one.
func (t *table) list(text string) error {
	out := t.cmd.OutOrStdout()
	if text == "" {
		return report.Bench(out, t.g, false, t.opt)
	}
	if text == "all" {
		return report.Bench(out, t.g, true, t.opt)
	}
	switch parts := t.parts(text); {
	case len(parts) == 1:
		return report.PartSigns(out, t.g, parts[0], t.opt)
	case len(parts) > 1:
		return t.which(partNames(parts))
	}
	if signs := t.signs(text); len(signs) > 0 {
		return t.which(signNames(signs))
	}
	return t.nothing("part", text)
}

// act does something to a part.
func (t *table) act(kind evidence.ActKind, text string) error {
	if text == "" {
		return t.say("%s what? Name a part; parts lists them.", upper(string(kind)))
	}
	parts := t.parts(text)
	switch {
	case len(parts) == 0:
		return t.nothing("part", text)
	case len(parts) > 1:
		return t.which(partNames(parts))
	}
	p := parts[0]
	if wait, err := t.dear(string(kind)+" "+text, upper(string(kind)+" "+p.Name), t.g.Takes(kind, p)); wait || err != nil {
		return err
	}
	lost := len(t.g.Destroyed)
	minutes, err := t.g.Do(kind, p)
	var h *practice.HiddenError
	switch {
	case errors.As(err, &h):
		return t.hidden(h)
	case errors.Is(err, practice.ErrAlready):
		return t.say("That is done already.")
	case errors.Is(err, practice.ErrNothing):
		return t.say("The %s does not come off: nothing of it hides anything.", p.Name)
	case err != nil:
		return err
	}
	gone := ""
	if n := len(t.g.Destroyed) - lost; n > 0 {
		gone = " What could have been seen there before is gone."
	}
	return t.say("%s: done (%.0f min).%s %.0f min of work so far.", upper(string(kind)+" "+p.Name), minutes, gone, t.g.Minutes())
}

// nodes lists causes or steps, or those that words name.
func (t *table) nodes(text string, list []*rules.Node, what string) error {
	if text != "" {
		rest, before := strings.CutPrefix(text, "before ")
		if before {
			of := t.node(rest, append(t.g.Steps(), t.x.Question))
			if len(of) != 1 {
				return t.ambiguous("step", rest, of)
			}
			return report.Nodes(t.cmd.OutOrStdout(), "Leads straight to "+of[0].Name+", by the book", t.g.Before(of[0]), t.opt)
		}
		if list = t.node(text, list); len(list) == 0 {
			return t.nothing(what, text)
		}
	}
	return report.Nodes(t.cmd.OutOrStdout(), "", list, t.opt)
}

func (t *table) node(text string, list []*rules.Node) []*rules.Node {
	return named(list, text, func(n *rules.Node) string { return n.ID }, func(n *rules.Node) string { return n.Name }, nodeTexts)
}

func (t *table) ambiguous(what, text string, list []*rules.Node) error {
	if len(list) == 0 {
		return t.nothing(what, text)
	}
	var names []string
	for _, n := range list {
		names = append(names, n.Name)
	}
	return t.which(names)
}

// card shows the pattern card of a cause or step, or that of a sign without what shows
// it.
func (t *table) card(text string) error {
	list := t.node(text, t.book.Nodes)
	if len(list) != 1 {
		return t.ambiguous("cause or step", text, list)
	}
	return report.NodeCard(t.cmd.OutOrStdout(), t.book, list[0], t.opt)
}

// openWords are what one says where it cannot be determined.
var openWords = []string{"not determined", "undetermined", "not determinable", "open", "unknown"}

// guess names a cause and how surely, in per cent.
func (t *table) guess(text string) error {
	fields := strings.Fields(strings.TrimSuffix(strings.TrimSuffix(text, "%"), " per cent"))
	if len(fields) < 2 {
		return t.say("Name a cause and how sure you are, in per cent, as guess oil pump worn 70; causes WORDS finds its name. Of two: guess both A, B 70, or guess either A, B 70. Where it cannot be determined: guess not determined 70.")
	}
	last := strings.TrimSuffix(fields[len(fields)-1], "%")
	p, err := strconv.ParseFloat(last, 64)
	if err != nil || !(p >= 0 && p <= 100) {
		return t.say("How sure? End with a number from 1 to 99, as guess %s 70.", clip(text))
	}
	name := strings.Join(fields[:len(fields)-1], " ")
	for _, w := range togetherWords {
		if rest, ok := strings.CutPrefix(name, w.word+" "); ok {
			return t.guessTogether(w.how, rest, p/100)
		}
	}
	if slices.Contains(openWords, name) {
		t.g.Guess(nil, p/100)
		return t.say("Noted: it cannot be determined, %s. Now chain, or done.", report.Percent(min(0.99, max(0.01, p/100))))
	}
	list := t.node(name, t.g.Causes())
	if len(list) != 1 {
		if steps := t.node(name, t.g.Steps()); len(list) == 0 && len(steps) == 1 {
			return t.say("%s is a step: something produced it. Name what lies behind it; steps before %s lists what can.", upper(steps[0].Name), steps[0].ID)
		}
		return t.ambiguous("cause", name, list)
	}
	t.g.Guess(list[0], p/100)
	return t.say("Noted: %s (%s), %s. Now chain, or done.", list[0].Name, list[0].ID, report.Percent(min(0.99, max(0.01, p/100))))
}

// togetherWords are what one says of how causes stood together.
var togetherWords = []struct{ word, how string }{
	{"both", practice.BothNeeded}, {"together", practice.BothNeeded}, {"all", practice.BothNeeded},
	{"either", practice.EitherDid}, {"any", practice.EitherDid},
}

// guessTogether names causes, with commas or an "and" between them, and how they stood.
func (t *table) guessTogether(how, text string, p float64) error {
	parts := strings.Split(text, ",")
	for _, word := range []string{" and ", " or "} {
		// A name may have an "and" of its own: the one that parts two names is taken.
		for at := 0; len(parts) == 1; {
			k := strings.Index(text[at:], word)
			if k < 0 {
				break
			}
			a, b := text[:at+k], text[at+k+len(word):]
			if len(t.node(a, t.g.Causes())) == 1 && len(t.node(b, t.g.Causes())) == 1 {
				parts = []string{a, b}
			}
			at += k + len(word)
		}
	}
	var nodes []*rules.Node
	for _, name := range parts {
		name = strings.TrimSpace(name)
		for _, word := range []string{"and ", "or "} {
			name = strings.TrimPrefix(name, word)
		}
		if name == "" {
			continue
		}
		list := t.node(name, t.g.Causes())
		if len(list) != 1 {
			return t.ambiguous("cause", name, list)
		}
		if !slices.Contains(nodes, list[0]) {
			nodes = append(nodes, list[0])
		}
	}
	switch {
	case t.x.Real:
		return t.say("In a real case name one cause.")
	case len(nodes) < 2:
		return t.say("Name two causes with a comma between them, as guess both A, B 70.")
	}
	t.g.GuessTogether(how, nodes, p)
	var names []string
	for _, n := range nodes {
		names = append(names, n.Name)
	}
	return t.say("Noted: %s, %s. Now chain, or done.", report.TogetherWords(how, names), report.Percent(min(0.99, max(0.01, p))))
}

// chain draws the chain of failure, from the cause on: steps with commas between, or
// ids with spaces. Alone it shows the chain, and what can lead to its beginning.
func (t *table) chain(text string) error {
	all := append(append(t.g.Causes(), t.g.Steps()...), t.x.Question)
	if text == "" {
		return report.Drawn(t.cmd.OutOrStdout(), t.book, t.g, t.opt)
	}
	parts := strings.Split(text, ",")
	if len(parts) == 1 {
		isID := func(w string) bool { return slices.ContainsFunc(all, func(n *rules.Node) bool { return n.ID == w }) }
		if f := strings.Fields(text); !slices.ContainsFunc(f, func(w string) bool { return !isID(w) }) {
			parts = f
		}
	}
	var ids []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p == "" {
			continue
		}
		list := t.node(p, all)
		if len(list) != 1 {
			if err := t.ambiguous("cause or step", p, list); err != nil {
				return err
			}
			return t.say("The chain stays as it was.")
		}
		if list[0] != t.x.Question && !slices.Contains(ids, list[0].ID) {
			ids = append(ids, list[0].ID)
		}
	}
	t.g.Chain = ids
	return report.Drawn(t.cmd.OutOrStdout(), t.book, t.g, t.opt)
}
