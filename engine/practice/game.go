package practice

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/rules"
)

// Game is an exercise being worked at.
type Game struct {
	X     *Exercise
	Looks []Look // in the order in which they were made
	// Destroyed are the signs that an act took away before they were looked at.
	Destroyed []Destroyed
	Guesses   []Guess
	Chain     []string // ids, from the cause on, without the outcome

	b      *bench
	looked map[*rules.Sign]bool
}

// Look is a look made.
type Look struct {
	Sign    *rules.Sign
	Found   []Found
	Minutes float64 // that it took itself
	Told    bool    // unasked, at the start
}

// Destroyed is a sign that an act took away.
type Destroyed struct {
	Sign *rules.Sign
	Act  string // "wash oil pan"
	// There is that it was there to be seen.
	There bool
}

// Guess is what was named, and how surely.
type Guess struct {
	// Causes are the causes named, sorted: none for that it cannot be determined, one
	// for that it was one of the right answers, more for how they stood together.
	Causes []string
	// How is, of more than one, that they were needed together (BothNeeded) or that each
	// would have done it alone (EitherDid).
	How  string
	Said float64
}

// Cause is the one cause named; "" where there is none, or more.
func (g Guess) Cause() string {
	if len(g.Causes) != 1 {
		return ""
	}
	return g.Causes[0]
}

// NewGame begins an exercise.
func NewGame(x *Exercise) *Game {
	g := &Game{X: x, b: newBench(x.book, x.crowd.s.Ground()), looked: map[*rules.Sign]bool{}}
	for _, p := range x.Case.Received.Off {
		g.b.off[p.Part] = true
	}
	if x.Case.Received.State == "in boxes" {
		for _, p := range x.book.Parts {
			g.b.off[p.ID] = true
		}
	}
	for _, f := range x.Told {
		g.looked[f[0].Sign] = true
		g.Looks = append(g.Looks, Look{Sign: f[0].Sign, Found: f, Told: true})
	}
	return g
}

// Minutes is how long it took so far.
func (g *Game) Minutes() float64 { return g.b.minutes }

// Has tells whether the engine has a part.
func (g *Game) Has(p *rules.Part) bool {
	return slices.ContainsFunc(g.X.crowd.signs, func(s *rules.Sign) bool { return s.Part == p }) || g.opens(p)
}

// opens tells whether anything lies behind a part of this engine.
func (g *Game) opens(p *rules.Part) bool {
	return slices.ContainsFunc(g.X.crowd.signs, func(s *rules.Sign) bool { return slices.Contains(g.b.g.Hides(s.Part), p.ID) })
}

// Signs lists what can be looked for on this engine, of one part or, for nil, of all;
// by part and name, whatever the exercise.
func (g *Game) Signs(p *rules.Part) []*rules.Sign {
	var out []*rules.Sign
	for _, s := range g.X.crowd.signs {
		if p == nil || s.Part == p {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *rules.Sign) int {
		return cmp.Or(strings.Compare(a.Part.Name, b.Part.Name), strings.Compare(a.Name, b.Name), strings.Compare(a.ID, b.ID))
	})
	return out
}

// Parts lists the parts of this engine on which there is something to look for, by
// name.
func (g *Game) Parts() []*rules.Part {
	var out []*rules.Part
	for _, s := range g.Signs(nil) {
		if len(out) == 0 || out[len(out)-1] != s.Part {
			out = append(out, s.Part)
		}
	}
	return slices.Compact(out)
}

// InFront lists what must come off before a part can be seen, in order.
func (g *Game) InFront(p *rules.Part) []*rules.Part { return g.b.inFront(p) }

// Off tells whether a part is off.
func (g *Game) Off(p *rules.Part) bool { return g.b.off[p.ID] }

// Looked tells whether a sign was looked for.
func (g *Game) Looked(s *rules.Sign) bool { return g.looked[s] }

// LostBy says which act took a sign away; "" where none did.
func (g *Game) LostBy(s *rules.Sign) string {
	if a := g.b.lostBy(s); a != nil && !g.looked[s] {
		return actWords(*a, g.X.book)
	}
	return ""
}

func actWords(a act, book *rules.Book) string {
	return string(a.kind) + " " + book.Part(a.part).Name
}

// What stands in the way of a look or an act.
var (
	// ErrNotRecorded is that nobody looked, in a real case.
	ErrNotRecorded = errors.New("not recorded")
	ErrAlready     = errors.New("done already")
	ErrNothing     = errors.New("there is nothing to be done")
)

// HiddenError is that parts are in the way.
type HiddenError struct {
	Part  *rules.Part
	Front []*rules.Part
}

func (e *HiddenError) Error() string {
	return fmt.Sprintf("%s lies behind %s", e.Part.Name, e.Front[0].Name)
}

// LostError is that the sign was destroyed.
type LostError struct{ Act string }

func (e *LostError) Error() string { return "gone since " + e.Act }

// Look looks for a sign at every position. A second look takes no time and finds the
// same.
func (g *Game) Look(s *rules.Sign) (Look, error) {
	for _, l := range g.Looks {
		if l.Sign == s {
			return l, nil
		}
	}
	if front := g.b.inFront(s.Part); len(front) > 0 {
		return Look{}, &HiddenError{s.Part, front}
	}
	if lost := g.LostBy(s); lost != "" {
		return Look{}, &LostError{lost}
	}
	found := g.X.found[s]
	if found == nil {
		return Look{}, ErrNotRecorded
	}
	g.b.look(s)
	g.looked[s] = true
	l := Look{Sign: s, Found: found, Minutes: lookMinutes(s)}
	g.Looks = append(g.Looks, l)
	return l, nil
}

// Costs is how many minutes a look at a sign would take now: none where it is made
// already, or cannot be made.
func (g *Game) Costs(s *rules.Sign) float64 {
	if g.looked[s] || g.b.lostBy(s) != nil || g.X.found[s] == nil || len(g.b.inFront(s.Part)) > 0 {
		return 0
	}
	return lookMinutes(s)
}

// Takes is how many minutes an act would take now: none where it cannot be done.
func (g *Game) Takes(kind evidence.ActKind, p *rules.Part) float64 {
	switch {
	case len(g.b.inFront(p)) > 0, kind == evidence.ActOff && g.b.off[p.ID], slices.Contains(g.b.done, act{kind, p.ID}):
		return 0
	case kind == evidence.ActOff:
		return p.MinutesOff
	}
	return actMinutes[kind]
}

// Acts are what can be done to a part.
var Acts = []evidence.ActKind{evidence.ActOff, evidence.ActDrain, evidence.ActTurn, evidence.ActWash, evidence.ActBlow, evidence.ActPart, evidence.ActCut, evidence.ActTest}

// Do carries out an act, and tells how many minutes it took.
func (g *Game) Do(kind evidence.ActKind, p *rules.Part) (minutes float64, err error) {
	if front := g.b.inFront(p); len(front) > 0 {
		return 0, &HiddenError{p, front}
	}
	a := act{kind, p.ID}
	switch {
	case kind == evidence.ActOff && g.b.off[p.ID], kind != evidence.ActOff && slices.Contains(g.b.done, a):
		return 0, ErrAlready
	case kind == evidence.ActOff && p.MinutesOff == 0 && !g.opens(p):
		return 0, ErrNothing
	}
	for _, s := range g.X.crowd.signs {
		if takes(a, s) && !g.looked[s] && g.b.lostBy(s) == nil && g.X.found[s] != nil {
			g.Destroyed = append(g.Destroyed, Destroyed{s, actWords(a, g.X.book), g.X.thereToSee(s)})
		}
	}
	before := g.b.minutes
	g.b.do(a)
	return g.b.minutes - before, nil
}

// thereToSee tells whether a sign is there anywhere.
func (x *Exercise) thereToSee(s *rules.Sign) bool {
	return slices.ContainsFunc(x.found[s], func(f Found) bool {
		if x.Real {
			return f.Seen
		}
		return x.shown[f.view].There
	})
}

// Guess names a cause, or with nil that it cannot be determined, and how surely. What
// is said of the same again replaces what was said.
func (g *Game) Guess(n *rules.Node, said float64) {
	if n == nil {
		g.say(Guess{Causes: []string{}, Said: said})
		return
	}
	g.say(Guess{Causes: []string{n.ID}, Said: said})
}

// GuessTogether names causes and how they stood, BothNeeded or EitherDid, and how surely.
// It is right where just these stood so.
func (g *Game) GuessTogether(how string, nodes []*rules.Node, said float64) {
	x := Guess{How: how, Said: said}
	for _, n := range nodes {
		x.Causes = append(x.Causes, n.ID)
	}
	slices.Sort(x.Causes)
	g.say(x)
}

// say takes down what was named. What is said of causes together takes the place of what
// was said of any of them, and the other way round: else one thing known would be scored
// twice.
func (g *Game) say(x Guess) {
	x.Said = min(0.99, max(0.01, x.Said))
	same := func(o Guess) bool {
		if len(x.Causes) < 2 && len(o.Causes) < 2 {
			return slices.Equal(o.Causes, x.Causes)
		}
		return slices.ContainsFunc(x.Causes, func(id string) bool { return slices.Contains(o.Causes, id) })
	}
	at := slices.IndexFunc(g.Guesses, same)
	g.Guesses = slices.DeleteFunc(g.Guesses, same)
	if at < 0 {
		at = len(g.Guesses)
	}
	g.Guesses = slices.Insert(g.Guesses, at, x)
}

// Causes lists what can be named as a cause in this engine, by name. In a real case
// steps can be named too, since investigations stop at them.
func (g *Game) Causes() []*rules.Node {
	return g.nodes(func(n *rules.Node) bool {
		return n.Kind == rules.Cause && n.Category != rules.Artefact || n.Kind == rules.Step && g.X.Real && n != g.X.Question
	})
}

// Steps lists what can stand in a chain of failure of this engine, by name.
func (g *Game) Steps() []*rules.Node {
	return g.nodes(func(n *rules.Node) bool { return n.Kind == rules.Step && n != g.X.Question })
}

// Before lists what the book knows to lead straight to a step in this engine, by name;
// for nil, to the outcome.
func (g *Game) Before(n *rules.Node) []*rules.Node {
	if n == nil {
		n = g.X.Question
	}
	return g.nodes(func(m *rules.Node) bool {
		return m.Kind != rules.Condition && (slices.ContainsFunc(n.In, func(r *rules.Rule) bool { return r.From == m }) ||
			slices.ContainsFunc(n.Needs, func(need *rules.Need) bool { return slices.Contains(need.Of, m) }))
	})
}

func (g *Game) nodes(is func(*rules.Node) bool) []*rules.Node {
	var out []*rules.Node
	for _, n := range g.X.book.Nodes {
		if is(n) && len(g.b.g.ItemsOf(n)) > 0 {
			out = append(out, n)
		}
	}
	slices.SortFunc(out, func(a, b *rules.Node) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.ID, b.ID))
	})
	return out
}
