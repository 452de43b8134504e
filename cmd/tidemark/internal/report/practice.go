package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"tidemark/engine"
	"tidemark/engine/practice"
	"tidemark/rules"
)

// Say writes a line or more of a dialogue.
func Say(w io.Writer, o Options, format string, args ...any) error {
	p := newPage(w, o)
	p.line("", "  ", format, args...)
	return p.close()
}

// Opening tells an exercise as far as it is known at the start.
func Opening(w io.Writer, x *practice.Exercise, o Options) error {
	p := newPage(w, o)
	p.opening(x)
	p.gap()
	if x.Real {
		p.line("", "  ", "Only what is recorded in this case can be asked; the rest is \"not recorded\".")
	}
	if x.Level != practice.Apprentice && !x.Real {
		p.line("", "  ", "%s", levelWords[x.Level])
	}
	p.line("", "  ", "%s Then name the cause. help lists what you can type, list shows what can be seen now.", startWords(x))
	return p.close()
}

func startWords(x *practice.Exercise) string {
	if len(x.Case.Received.Off) > 0 || x.Case.Received.State == "in boxes" {
		return "Look, take off what hides the rest, and look again."
	}
	return "Nothing has been taken off yet. Look before you take off, and before you clean."
}

var levelWords = map[practice.Level]string{
	practice.Journeyman: "Journeyman: there is old wear or damage made after, and one thing of what is told leads away.",
	practice.Master:     "Master: either two causes were needed together (guess both A, B), or either of two would have done it alone (guess either A, B), or it cannot be determined (guess not determined): one is as likely as the other. One thing of what is told may lead away.",
}

// opening tells engine, question and story.
func (p *page) opening(x *practice.Exercise) {
	if x.Real {
		p.line("", "  ", "Practice on a real case: %s", x.Case.ID)
	} else {
		p.line("", "  ", "Practice, %s, seed %d", x.Level, x.Seed)
		p.line("", "  ", "The same again: %s", again(x))
	}
	p.gap()
	p.line("", "  ", "%s", engineWords(x))
	p.line("", "  ", "The question: %s. Why?", x.Question.Name)
	if len(x.Told) > 0 {
		var told []string
		for _, f := range x.Told {
			told = append(told, f[0].Sign.Name)
		}
		p.line("", "  ", "Told unasked: %s.", strings.Join(told, "; "))
	}
	if story, ok := x.Case.History.Facts["story"].(string); ok && x.Real {
		p.line("", "  ", "Told: %s", sentence(story))
	}
}

// engineWords describe an engine in a sentence or two.
func engineWords(x *practice.Exercise) string {
	facts := x.Case.Engine.Facts
	word := func(key string) string { s, _ := facts[key].(string); return s }
	name := word("name")
	if name == "" {
		name = "an engine"
	}
	out := upperFirst(name) + ":"
	var parts []string
	for _, key := range []string{"fuel", "cycle"} {
		if s := word(key); s != "" {
			parts = append(parts, s)
		}
	}
	if n, ok := facts["cylinders"].(int); ok {
		switch layout := word("layout"); {
		case n == 1:
			parts = append(parts, "one cylinder")
		case layout == "inline":
			parts = append(parts, fmt.Sprintf("%d cylinders in line", n))
		default:
			parts = append(parts, strings.TrimSpace(fmt.Sprintf("%d cylinders, %s", n, strings.ToUpper(layout[:min(1, len(layout))])+layout[min(1, len(layout)):])))
		}
	}
	if s := word("cooling"); s != "" {
		parts = append(parts, s+"-cooled")
	}
	if s := word("induction"); s != "" && s != "natural" {
		parts = append(parts, s)
	}
	if h, ok := x.Case.History.Facts["hours"]; ok {
		parts = append(parts, fmt.Sprintf("%v hours", h))
	}
	return strings.TrimSuffix(out+" "+strings.Join(parts, ", "), " ") + ". " + x.Profile.Came
}

// PracticeHelp tells what can be typed.
func PracticeHelp(w io.Writer, o Options) error {
	p := newPage(w, o)
	for _, h := range [][2]string{
		{"list", "what can be seen now, part by part"},
		{"list PART", "what can be looked for on a part, how, and how long it takes"},
		{"parts", "all parts, and what they lie behind"},
		{"look PART", "look for everything on a part"},
		{"look SIGN", "look for one thing, as: look pickup clogged"},
		{"off PART", "take a part off"},
		{"wash PART", "also drain, turn, blow, part (take to pieces), cut, test"},
		{"notes", "what you have found, and what is gone"},
		{"causes WORDS", "find the name of a cause"},
		{"steps WORDS", "find a step; steps before STEP lists what leads to it"},
		{"card NAME", "what the book says of a cause or step"},
		{"chain A, B, C", "draw the chain of failure, from the cause on; chain shows it"},
		{"guess CAUSE 70", "name a cause, and how sure you are in per cent"},
		{"guess both A, B 70", "that two were needed together"},
		{"guess either A, B 70", "that each of two would have done it alone"},
		{"guess not determined 70", "that it cannot be determined"},
		{"yes", "do what was asked about because it takes long"},
		{"done", "finish, and see how it went"},
		{"quit", "leave without a score"},
	} {
		p.line("  "+h[0]+strings.Repeat(" ", max(1, 25-len(h[0]))), strings.Repeat(" ", 27), "%s", h[1])
	}
	p.line("  ", "  ", "Names need not be whole: words that begin those of the name do.")
	return p.close()
}

// Bench lists the parts of the engine by name: those that can be seen now, or all.
func Bench(w io.Writer, g *practice.Game, all bool, o Options) error {
	p := newPage(w, o)
	for _, part := range g.Parts() {
		front := g.InFront(part)
		if len(front) > 0 && !all {
			continue
		}
		var notes []string
		n := 0
		for _, s := range g.Signs(part) {
			if !g.Looked(s) {
				n++
			}
		}
		switch n {
		case 0:
			notes = append(notes, "all looked at")
		case 1:
			notes = append(notes, "1 thing to look for")
		default:
			notes = append(notes, fmt.Sprintf("%d things to look for", n))
		}
		switch {
		case g.Off(part):
			notes = append(notes, "off")
		case part.MinutesOff > 0:
			notes = append(notes, fmt.Sprintf("%.0f min to take off", part.MinutesOff))
		}
		if len(front) > 0 {
			notes = append(notes, "behind "+front[len(front)-1].Name)
		}
		p.line("  ", "      ", "%s: %s", part.Name, strings.Join(notes, ", "))
	}
	return p.close()
}

// PartSigns lists what can be looked for on a part, by name.
func PartSigns(w io.Writer, g *practice.Game, part *rules.Part, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s", upperFirst(part.Name))
	if front := g.InFront(part); len(front) > 0 {
		var names []string
		for _, f := range front {
			names = append(names, f.Name)
		}
		p.line("  ", "  ", "Cannot be seen yet. First off: %s.", strings.Join(names, ", then "))
	}
	signs := g.Signs(part)
	if len(signs) == 0 {
		p.line("  ", "  ", "There is nothing in the book to look for on it.")
	}
	for _, s := range signs {
		note := fmt.Sprintf("%.0f min", max(1, s.Minutes))
		switch lost := g.LostBy(s); {
		case g.Looked(s):
			note = "looked for: " + lookedWords(g, s)
		case lost != "":
			note = "gone since " + lost
		}
		p.line("  ", "      ", "%s (%s)", s.Name, note)
		if !g.Looked(s) && g.LostBy(s) == "" {
			p.line("      ", "      ", "%s", sentence(s.Look))
			if s.Caution != "" {
				p.line("      ", "      ", "Caution: %s", sentence(s.Caution))
			}
		}
	}
	return p.close()
}

// lookedWords are what was found of a sign.
func lookedWords(g *practice.Game, s *rules.Sign) string {
	for _, l := range g.Looks {
		if l.Sign == s {
			return stateWords(l)
		}
	}
	return ""
}

// Answers tell what looks found, part by part: always in the same words and order.
func Answers(w io.Writer, looks []practice.Look, o Options) error {
	p := newPage(w, o)
	p.answers(looks)
	return p.close()
}

// longNotes is how many things not found on a part are named in the notes.
const longNotes = 6

func (p *page) answers(looks []practice.Look) { p.found(looks, len(looks)) }

// found tells what looks found; of more things not found on a part than most, how many.
func (p *page) found(looks []practice.Look, most int) {
	for len(looks) > 0 {
		part := looks[0].Sign.Part
		n := 0
		var yes, no []string
		for n < len(looks) && looks[n].Sign.Part == part {
			seen, not := places(looks[n].Found)
			name := looks[n].Sign.Name
			switch {
			case seen == "" && not == "":
			case seen == "":
				no = append(no, name)
			case seen == here:
				yes = append(yes, name)
			case not == "":
				yes = append(yes, name+" ("+seen+")")
			default:
				yes = append(yes, name+" ("+seen+", not at "+not+")")
			}
			n++
		}
		looks = looks[n:]
		p.line("  ", "      ", "%s", upperFirst(part.Name))
		saysYes, saysNo := "Seen", "Not found"
		if part.Belongs == "person" {
			saysYes, saysNo = "Yes", "No"
		}
		if len(yes) > 0 {
			p.line("    ", "      ", "%s: %s.", saysYes, strings.Join(yes, "; "))
		}
		switch {
		case len(no) > most:
			p.line("    ", "      ", "%s: %d things (list %s shows which).", saysNo, len(no), part.Name)
		case len(no) > 0:
			p.line("    ", "      ", "%s: %s.", saysNo, strings.Join(no, "; "))
		}
	}
}

// here stands for where something was seen that is one an engine.
const here = "here"

// places tell where something was seen and where not; "" for nowhere.
func places(found []practice.Found) (seen, not string) {
	var yes, no []string
	for _, f := range found {
		at := f.At
		if at == "" {
			at = here
		}
		if f.Seen {
			yes = append(yes, at)
		} else {
			no = append(no, at)
		}
	}
	return and(shortened(yes)), and(shortened(no))
}

// answer is one look in words: "Oil pan: sludge. Not found."
func answer(s *rules.Sign, found []practice.Found) string {
	seen, not := places(found)
	switch {
	case seen == here:
		seen = "seen"
	case seen != "":
		seen = "seen at " + seen
	}
	switch {
	case not == here || not != "" && seen == "":
		not = "not found"
	case not != "":
		not = ", not at " + not
	}
	return upperFirst(s.Title()) + ": " + seen + not + "."
}

// shortened leaves the kind of a position away after the first: rod 1, 2.
func shortened(at []string) []string {
	out := slices.Clone(at)
	if len(out) == 0 {
		return out
	}
	cut := strings.LastIndexByte(out[0], ' ')
	if cut < 0 {
		return out
	}
	for i := range out[1:] {
		out[i+1] = strings.TrimPrefix(out[i+1], out[0][:cut+1])
	}
	return out
}

// Notes lists what was found, and what was lost.
func Notes(w io.Writer, g *practice.Game, o Options) error {
	p := newPage(w, o)
	if len(g.Looks) == 0 {
		p.line("", "  ", "Nothing has been looked at yet.")
	}
	p.found(byPart(g.Looks), longNotes)
	for _, j := range g.Guesses {
		p.line("  ", "      ", "Named: %s, %s.", termOf(g, j), Percent(j.Said))
	}
	p.line("", "  ", "%.0f min of work so far.", g.Minutes())
	return p.close()
}

// byPart puts the looks at one part together, parts in the order of the first look at
// each.
func byPart(looks []practice.Look) []practice.Look {
	var out []practice.Look
	done := map[*rules.Part]bool{}
	for _, l := range looks {
		if done[l.Sign.Part] {
			continue
		}
		done[l.Sign.Part] = true
		for _, m := range looks {
			if m.Sign.Part == l.Sign.Part {
				out = append(out, m)
			}
		}
	}
	return out
}

func termOf(g *practice.Game, j practice.Guess) string {
	if len(j.Causes) == 0 {
		return "not determined"
	}
	var names []string
	for _, id := range j.Causes {
		name := id
		for _, n := range g.Causes() {
			if n.ID == id {
				name = n.Name
			}
		}
		names = append(names, name)
	}
	return TogetherWords(j.How, names)
}

// TogetherWords put into words how causes stood.
func TogetherWords(how string, names []string) string {
	switch how {
	case practice.BothNeeded:
		return and(names) + ", needed together"
	case practice.EitherDid:
		return and(names) + ", of which either alone would have done"
	}
	return and(names)
}

// Nodes lists causes or steps under a title, by name.
func Nodes(w io.Writer, title string, nodes []*rules.Node, o Options) error {
	p := newPage(w, o)
	if title != "" {
		p.line("", "  ", "%s:", title)
	}
	if len(nodes) == 0 {
		p.line("  ", "  ", "nothing")
	}
	for _, n := range nodes {
		p.line("  ", "      ", "%s (%s)", n.Name, n.ID)
	}
	return p.close()
}

// Drawn shows the chain of failure as drawn, and what can lead to its beginning.
func Drawn(w io.Writer, b *rules.Book, g *practice.Game, o Options) error {
	p := newPage(w, o)
	var names []string
	for _, id := range g.Chain {
		names = append(names, b.Node(id).Name)
	}
	p.line("", "  ", "Chain: %s.", strings.Join(append(names, g.X.Question.Name), " → "))
	first := g.X.Question
	if len(g.Chain) > 0 {
		first = b.Node(g.Chain[0])
	}
	if first.Kind == rules.Step {
		p.line("", "  ", "Leads straight to %s, by the book:", first.Name)
		for _, n := range g.Before(first) {
			p.line("  ", "      ", "%s (%s)", n.Name, n.ID)
		}
	}
	return p.close()
}

// Outcome tells how a game went, and what is to be learned of it.
func Outcome(w io.Writer, b *rules.Book, g *practice.Game, r *practice.Result, o Options) error {
	p := newPage(w, o)
	x := g.X
	p.head("What it was")
	p.truth(b, x)
	p.head("What you said")
	for _, j := range r.Guesses {
		name, of := "that it cannot be determined", "it"
		if len(j.Nodes) > 0 {
			name = TogetherWords(j.How, nodeNames(b, j.Causes))
		}
		verdict := "Wrong."
		switch {
		case j.Right:
			verdict = "Right."
		case j.How != "" && slices.Equal(j.Causes, x.Truth.Right):
			verdict = "Wrong: these they were, and they stood otherwise."
		case j.How != "" && slices.ContainsFunc(j.Causes, x.Truth.IsRight):
			verdict = "Wrong: not just these."
		case len(j.Nodes) == 1 && j.There && !j.Acted:
			verdict = "Wrong: it was there, and had nothing to do with it."
		case len(j.Nodes) == 1 && j.There:
			verdict = "Wrong: it was there and took part, and without it the same would have happened."
		}
		p.line("  ", "      ", "You named %s, %s. %s Base rates give %s %s: %s bits.", name, Percent(j.Said), verdict, of, Percent(j.Base), plusMinus(j.Bits))
	}
	p.line("  ", "      ", "Score: %s bits. %s", plusMinus(r.Bits), bitsWords(r))
	switch {
	case x.Open || r.Now == 0:
	default:
		given := ""
		if x.Level == practice.Master {
			given = ", and one sort of exercise as likely as another"
		}
		p.line("  ", "      ", "With what you had found%s, the book gives what is right %s.", given, Percent(r.Now))
	}
	p.head("The chain")
	p.chainOf(b, x, r)
	p.head("The work")
	p.line("  ", "      ", "%.0f min; %s", r.Minutes, planWords(x))
	p.lost(r)
	p.idle(r, slices.ContainsFunc(g.Looks, func(l practice.Look) bool { return !l.Told }))
	p.feedback(b, x, r)
	if len(x.Truth.Right) == 0 || x.Open {
		return p.close()
	}
	for _, id := range x.Truth.Right {
		if n := b.Node(id); n != nil && (id == x.Truth.Right[0] || !x.Real) {
			p.gap()
			if err := p.close(); err != nil {
				return err
			}
			if err := NodeCard(w, b, n, o); err != nil {
				return err
			}
			p = newPage(w, o)
		}
	}
	return nil
}

func plusMinus(bits float64) string {
	s := fmt.Sprintf("%+.1f", bits)
	if s == "+0.0" || s == "-0.0" {
		return "0.0"
	}
	return strings.Replace(s, "-", "−", 1)
}

// bitsWords puts the score into words.
func bitsWords(r *practice.Result) string {
	if len(r.Guesses) != 1 {
		return "0 is as much as the base rates know; each bit doubles the chance given to what was so."
	}
	times := math.Exp2(math.Abs(r.Bits))
	switch {
	case times < 1.1:
		return "You knew about as much as the base rates."
	case r.Bits > 0:
		return fmt.Sprintf("What was so had %s the chance from you that base rates give it.", timesWords(times))
	}
	return fmt.Sprintf("What was so had from you only one part in %.1f of the chance that base rates give it.", times)
}

func timesWords(x float64) string {
	if x < 10 {
		return fmt.Sprintf("%.1f times", x)
	}
	return fmt.Sprintf("%.0f times", x)
}

// truth tells what was so.
func (p *page) truth(b *rules.Book, x *practice.Exercise) {
	p.line("  ", "      ", "%s", truthWords(b, x))
	if x.Misleading != nil {
		p.line("  ", "      ", "What was told of it and led away: %s.", x.Misleading.Name)
	}
}

// truthWords are what was so, and whether it could be told.
func truthWords(b *rules.Book, x *practice.Exercise) string {
	var names []string
	for _, id := range x.Truth.Right {
		if n := b.Node(id); n != nil {
			names = append(names, fmt.Sprintf("%s (%s)", n.Name, id))
		}
	}
	what := "It was " + and(names) + "."
	switch {
	case x.Real && x.Open:
		return "It was confirmed as not to be determined."
	case x.Real:
		return "Confirmed: " + or(names) + "."
	case x.Truth.How == practice.BothNeeded:
		what = "It was " + and(names) + " together: without either of them it would not have happened."
		if len(names) > 2 {
			what = "It was " + and(names) + " together: without any one of them it would not have happened."
		}
	case x.Truth.How == practice.EitherDid:
		what = "It was " + and(names) + ": either alone would have done."
		if len(names) > 2 {
			what = "It was " + and(names) + ": without some of them it would have happened all the same."
		}
	case x.Truth.How == practice.NotListed && len(names) == 0:
		what = "It was something that the book does not list."
	case x.Truth.How == practice.NotListed:
		what = "It was " + and(names) + ", together with something that the book does not list."
	}
	if x.Open {
		what += fmt.Sprintf(" But not determined was the right answer: with all that the best plan found, no cause is more likely than %s.", Percent(x.Reckoned))
	}
	return what
}

func (p *page) chainOf(b *rules.Book, x *practice.Exercise, r *practice.Result) {
	names := func(ids []string) string {
		var out []string
		for _, id := range ids {
			out = append(out, b.Node(id).Name)
		}
		return strings.Join(out, " → ")
	}
	if len(x.Truth.Ways) == 0 {
		p.line("  ", "      ", "No chain of the book led to it.")
		return
	}
	way := x.Truth.Ways[0]
	for _, w := range x.Truth.Ways {
		// The way that fits best what was drawn; else the longest, which tells most.
		if hits(w, r.ChainHit) > hits(way, r.ChainHit) || len(r.ChainHit) == 0 && len(w) > len(way) {
			way = w
		}
	}
	p.line("  ", "      ", "It went: %s.", names(append(slices.Clone(way), x.Question.ID)))
	if x.Truth.How == practice.BothNeeded || x.Truth.How == practice.EitherDid {
		// The ways of the others, the longest of each.
		for _, id := range x.Truth.Right {
			var other []string
			for _, w := range x.Truth.Ways {
				if w[0] == id && id != way[0] && len(w) > len(other) {
					other = w
				}
			}
			if other != nil {
				p.line("  ", "      ", "And: %s.", names(append(slices.Clone(other), x.Question.ID)))
			}
		}
	}
	if len(r.ChainHit)+len(r.ChainOff) == 0 {
		p.line("  ", "      ", "You drew none.")
		return
	}
	p.line("  ", "      ", "Of yours, %s it: %.0f of 100.", fmt.Sprintf("%d of %d lie on", len(r.ChainHit), len(r.ChainHit)+len(r.ChainOff)), 100*r.Chain)
	if len(r.ChainOff) > 0 {
		p.line("  ", "      ", "Not on it: %s.", strings.Join(nodeNames(b, r.ChainOff), "; "))
	}
	if len(r.ChainMiss) > 0 {
		p.line("  ", "      ", "Left out: %s.", strings.Join(nodeNames(b, r.ChainMiss), "; "))
	}
}

func hits(way, hit []string) int {
	n := 0
	for _, id := range hit {
		if slices.Contains(way, id) {
			n++
		}
	}
	return n
}

func nodeNames(b *rules.Book, ids []string) []string {
	var out []string
	for _, id := range ids {
		out = append(out, b.Node(id).Name)
	}
	return out
}

func planWords(x *practice.Exercise) string {
	looks := fmt.Sprintf("%d looks", len(x.Plan.Looks))
	if len(x.Plan.Looks) == 1 {
		looks = "one look"
	}
	switch {
	case x.Real:
		return fmt.Sprintf("the best plan that these records allow takes %.0f min and %s.", x.Plan.Minutes, looks)
	case x.Open:
		return fmt.Sprintf("the best plan takes %.0f min and %s to see that no more can be told.", x.Plan.Minutes, looks)
	}
	return fmt.Sprintf("the best plan takes %.0f min and %s, and comes to %s.", x.Plan.Minutes, looks, Percent(x.Reckoned))
}

// lost tells what was destroyed unlooked.
func (p *page) lost(r *practice.Result) {
	if len(r.Destroyed) == 0 {
		p.line("  ", "      ", "You destroyed no evidence.")
		return
	}
	by := map[string][]practice.Destroyed{}
	var acts []string
	for _, d := range r.Destroyed {
		if by[d.Act] == nil {
			acts = append(acts, d.Act)
		}
		by[d.Act] = append(by[d.Act], d)
	}
	for _, a := range acts {
		var there []string
		for _, d := range by[a] {
			if d.There {
				there = append(there, d.Sign.Title())
			}
		}
		n := len(by[a])
		switch {
		case len(there) > 0:
			p.line("  ", "      ", "Destroyed before you looked, by %s: %s.", a, strings.Join(there, "; "))
		case n == 1:
			p.line("  ", "      ", "After %s one thing could not be looked for any more. This time it was not there.", a)
		default:
			p.line("  ", "      ", "After %s %d things could not be looked for any more. This time none of them was there.", a, n)
		}
	}
}

// mostIdle is how many idle looks are named.
const mostIdle = 5

func (p *page) idle(r *practice.Result, looked bool) {
	switch {
	case !looked:
		p.line("  ", "      ", "You looked at nothing.")
		return
	case len(r.Idle) == 0:
		p.line("  ", "      ", "Every look could have changed something.")
		return
	}
	var names []string
	for _, i := range r.Idle[:min(mostIdle, len(r.Idle))] {
		names = append(names, i.Sign.Title())
	}
	more := ""
	if n := len(r.Idle) - len(names); n > 0 {
		more = fmt.Sprintf("; and %d more", n)
	}
	looks := fmt.Sprintf("%d looks", len(r.Idle))
	if len(r.Idle) == 1 {
		looks = "One look"
	}
	p.line("  ", "      ", "%s could not have changed anything, whatever came of it (%.0f min): %s%s.", looks, r.IdleTime, strings.Join(names, "; "), more)
}

func (p *page) feedback(b *rules.Book, x *practice.Exercise, r *practice.Result) {
	if r.Settling == nil && r.Missed == nil && len(r.Traps) == 0 {
		return
	}
	p.head("What to learn of it")
	if s := r.Settling; s != nil {
		word := "would have told most"
		if s.Would >= engine.DeterminedAt {
			word = "would have settled it"
		}
		p.line("  ", "      ", "The look that %s: %s With it, what is right goes from %s to %s.", word, answer(s.Sign, s.Found), Percent(r.Now), Percent(s.Would))
	}
	if m := r.Missed; m != nil && (r.Settling == nil || m.Sign != r.Settling.Sign) {
		p.line("  ", "      ", "The strongest finding that you did not ask for: %s %s support for what is right.", answer(m.Sign, m.Found), upperFirst(engine.Strength(m.Decibans)))
	}
	for _, t := range r.Traps {
		var names []string
		for _, s := range t.Signs {
			names = append(names, s.Title())
		}
		p.line("  ", "      ", "There, and not to blame: %s. You saw it by: %s.", t.Node.Name, strings.Join(names, "; "))
	}
}

// Progress tells what a log says.
func Progress(w io.Writer, b *rules.Book, pr practice.Progress, o Options) error {
	p := newPage(w, o)
	if pr.Games == 0 {
		p.line("", "  ", "No game has been played to its end yet: tidemark practice.")
		return p.close()
	}
	games := fmt.Sprintf("%d games", pr.Games)
	if pr.Games == 1 {
		games = "One game"
	}
	p.line("", "  ", "%s, %s bits a game on average (0: as much as the base rates know).", games, plusMinus(pr.Bits))
	p.head("By system")
	for _, s := range pr.Systems {
		title := "no cause of the book"
		for _, k := range b.Packs {
			if k.ID == s.ID {
				title = k.Title
			}
		}
		turn := ""
		if s.Games > 1 {
			turn = fmt.Sprintf(" (first half %s, second %s)", plusMinus(s.Early), plusMinus(s.Late))
		}
		p.line("  ", "      ", "%s: right in %d of %d; %s bits%s; chain %.0f of 100; %.0f min, the plans %.0f; destroyed %d, idle looks %d.", title, s.Right, s.Games, plusMinus(s.Bits), turn, 100*s.Chain, s.Minutes, s.Plan, s.Lost, s.Idle)
	}
	p.head("How sure, and how right")
	for _, s := range pr.Bands {
		n := fmt.Sprintf("%d times", s.N)
		if s.N == 1 {
			n = "once"
		}
		p.line("  ", "      ", "said %.0f to %.0f %%: %s, %.0f %% on average, right in %.0f of 100%s", 100*s.From, 100*s.To, n, 100*s.Said, 100*s.Right, sureWords(s))
	}
	if len(pr.Weak) > 0 {
		p.head("Drawn more often")
		for _, id := range pr.Weak {
			for _, k := range b.Packs {
				if k.ID == id {
					p.line("  ", "      ", "%s (%s)", k.Title, k.ID)
				}
			}
		}
	}
	return p.close()
}

// sureWords tell whether what was said fits what was so, where that can be told: by two
// standard deviations.
func sureWords(s practice.Band) string {
	off := s.Right - s.Said
	if s.N < 5 || math.Abs(off) < 2*math.Sqrt(s.Said*(1-s.Said)/float64(s.N)) {
		return ""
	}
	if off < 0 {
		return ": too sure"
	}
	return ": surer than you say"
}

// Compared is the study card of two patterns.
func Compared(w io.Writer, b *rules.Book, c practice.Comparison, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s (%s), or %s (%s)?", upperFirst(c.A.Name), c.A.ID, c.B.Name, c.B.ID)
	for _, pair := range [][2]*rules.Node{{c.A, c.B}, {c.B, c.A}} {
		if why := pair[0].LookAlike[pair[1].ID]; why != "" {
			p.line("  ", "  ", "%s", sentence(why))
		}
	}
	p.line("  ", "  ", "Worked out on the %s: of 100 engines with the one or the other, and else as they come, in so many a look finds the sign somewhere.", c.Engine.Name)
	section := func(name string, tells []practice.Tell, of func(practice.Tell) (with, without float64)) {
		p.gap()
		p.line("", "  ", "Speaks for: %s", name)
		if len(tells) == 0 {
			p.line("  ", "  ", "Nothing that the book knows.")
		}
		for _, t := range tells[:min(mostTells, len(tells))] {
			with, without := of(t)
			p.line("  ", "      ", "%s (%s)", t.Sign.Title(), t.Sign.ID)
			p.line("      ", "      ", "In %s of 100 against %s. Seen: %s support for it. Not found: %s support against.", number(100*with), number(100*without), engine.Strength(t.Seen), engine.Strength(t.NotFound))
			if t.Because != "" {
				p.line("      ", "      ", "Why: %s", sentence(t.Because))
			}
			p.line("      ", "      ", "Look: %s", sentence(t.Sign.Look))
			var acts []act
			for _, l := range t.Sign.LostBy {
				acts = append(acts, act{string(l.Kind), b.Part(l.Part).Name})
			}
			if len(acts) > 0 {
				p.line("      ", "      ", "%s", lookBefore(acts))
			}
			if t.Sign.Caution != "" {
				p.line("      ", "      ", "Caution: %s", sentence(t.Sign.Caution))
			}
		}
	}
	section(c.A.Name, c.ForA, func(t practice.Tell) (float64, float64) { return t.A, t.B })
	section(c.B.Name, c.ForB, func(t practice.Tell) (float64, float64) { return t.B, t.A })
	if len(c.Both) > 0 {
		p.gap()
		p.line("", "  ", "Seen with both, and of little use to tell them apart")
		for _, t := range c.Both[:min(mostTells, len(c.Both))] {
			p.line("  ", "      ", "%s (%s)", t.Sign.Title(), t.Sign.ID)
		}
	}
	return p.close()
}

// mostTells is how many signs a study card has a side.
const mostTells = 8
