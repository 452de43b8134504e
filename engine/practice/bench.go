package practice

import (
	"fmt"
	"slices"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// Minutes that acts take which the book gives none for. They are this package's own
// round figures: what counts is what an act destroys, not how long it takes.
var actMinutes = map[evidence.ActKind]float64{
	evidence.ActDrain: 10, evidence.ActTurn: 5, evidence.ActWash: 15, evidence.ActBlow: 5,
	evidence.ActPart: 20, evidence.ActCut: 10, evidence.ActTest: 15,
}

// bench is what has been done to the engine, and how long it took.
type bench struct {
	book    *rules.Book
	g       *network.Ground
	off     map[string]bool
	done    []act
	minutes float64
}

type act struct {
	kind evidence.ActKind
	part string
}

func newBench(book *rules.Book, g *network.Ground) *bench {
	return &bench{book: book, g: g, off: map[string]bool{}}
}

// inFront lists what must still come off before a part can be seen, in the order in
// which it comes off.
func (b *bench) inFront(p *rules.Part) []*rules.Part {
	var out []*rules.Part
	for _, id := range b.g.Hides(p) {
		if !b.off[id] {
			out = append(out, b.book.Part(id))
		}
	}
	slices.Reverse(out)
	return out
}

// lostBy is the act that took a sign away; nil where none did.
func (b *bench) lostBy(s *rules.Sign) *act {
	for i, a := range b.done {
		if takes(a, s) {
			return &b.done[i]
		}
	}
	return nil
}

func takes(a act, s *rules.Sign) bool {
	return slices.ContainsFunc(s.LostBy, func(l rules.LostBy) bool { return l.Kind == a.kind && l.Part == a.part })
}

// do carries out an act, for which everything in front must be off.
func (b *bench) do(a act) {
	p := b.book.Part(a.part)
	b.done = append(b.done, a)
	if a.kind == evidence.ActOff {
		b.off[a.part] = true
		b.minutes += p.MinutesOff
		return
	}
	b.minutes += actMinutes[a.kind]
}

// look takes the minutes of a look.
func (b *bench) look(s *rules.Sign) { b.minutes += lookMinutes(s) }

// lookMinutes is never nothing: to look at all takes a minute.
func lookMinutes(s *rules.Sign) float64 { return max(1, s.Minutes) }

// Found is what a look found at a position.
type Found struct {
	Sign  *rules.Sign
	Index int
	At    string // "rod 3"; "" for one an engine
	Seen  bool
	view  int               // among the crowd's; -1 where the position is not known
	from  *evidence.Finding // of a real case
}

// noted makes the case of an exercise from what was found: one finding each for
// where a sign was seen and where it was not, under the numbers of the looks.
func noted(blank *evidence.Case, looks [][]Found) (*evidence.Case, [][]string) {
	c := *blank
	c.Findings, c.Received = nil, evidence.Received{}
	ids := make([][]string, len(looks))
	for i, look := range looks {
		if len(look) > 0 && look[0].from != nil {
			for _, x := range look {
				if !slices.Contains(ids[i], x.from.ID) {
					ids[i] = append(ids[i], x.from.ID)
					c.Findings = append(c.Findings, *x.from)
				}
			}
			continue
		}
		for _, state := range []evidence.State{evidence.Seen, evidence.NotFound} {
			f := evidence.Finding{State: state, Sure: evidence.Certain}
			n := 0
			for _, x := range look {
				if x.Seen != (state == evidence.Seen) {
					continue
				}
				n++
				f.Sign, f.By = x.Sign.ID, network.WayOf(x.Sign)
				if at, err := evidence.ParseSpot(x.At); x.At != "" && err == nil {
					f.At = append(f.At, at)
				}
			}
			if n > 0 {
				f.ID = fmt.Sprintf("L%03d", i+1)
				if state == evidence.NotFound {
					f.ID += "n"
				}
				c.Findings = append(c.Findings, f)
				ids[i] = append(ids[i], f.ID)
			}
		}
	}
	return &c, ids
}
