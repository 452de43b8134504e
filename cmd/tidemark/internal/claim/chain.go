package claim

import (
	"fmt"
	"strings"

	"tidemark/cmd/tidemark/internal/report"
)

// The chain of failure is drawn from the top down: every thing in a box of its own
// row, under what brought it about, so that no two labels and no line and label can
// cross. The chain itself stands at the left; what branched off is set in, one step for
// each it is away. Evidence hangs at the right, or under the box on a narrow screen.

const (
	boxInset   = 8.0
	rowGap     = 22.0
	branchGap  = 12.0
	laneChain  = 16.0 // where the line of the chain runs, from the left edge of its boxes
	indentStep = 30.0
)

type chainBox struct {
	x, y, w, h float64
}

// drawChain lays the story out in a width.
func drawChain(things []thing, names report.Names, wide float64) *Scene {
	s := &Scene{W: wide}
	beside := wide >= 600
	depth := depths(things)
	boxes := make([]chainBox, len(things))
	y := 4.0
	for i, t := range things {
		indent := float64(depth[i]) * indentStep
		w := wide - indent - 4
		if beside {
			w = 330 - indent
		}
		boxes[i] = chainBox{x: 2 + indent, y: y, w: w}
		high := s.thing(t, names, &boxes[i], beside)
		gap := rowGap
		if depth[i] > 0 && (i+1 >= len(things) || depth[i+1] > 0) {
			gap = branchGap
		}
		y += high + gap
		s.Breaks = append(s.Breaks, y-gap/2)
	}
	s.H = y - rowGap + 10
	if len(things) > 0 {
		s.H = y
	}
	s.edges(things, boxes, depth)
	s.Alt = chainAlt(things)
	return s
}

// depths is how far each thing is set in.
func depths(things []thing) []int {
	out := make([]int, len(things))
	for i, t := range things {
		switch {
		case t.On:
		case t.Into >= 0:
			out[i] = 1
		case t.From >= 0:
			out[i] = min(4, out[t.From]+1)
		}
	}
	return out
}

// thing draws one box with its evidence and gives the height of its row.
func (s *Scene) thing(t thing, names report.Names, at *chainBox, beside bool) float64 {
	c := tone(t.Role)
	const head, size, line = 17.0, 12.5, 16.0
	lines := wrapped(report.UpperFirst(t.label()), size, true, at.w-2*boxInset)
	at.h = head + 6 + line*float64(len(lines)) + 5
	acted := t.acted()
	if acted != "" {
		at.h += 14
	}
	ev := hung(t, names, beside, at.w)
	if !beside && len(ev) > 0 {
		at.h += 6 + evidenceHeight(ev)
	}
	s.rect(at.x, at.y, at.w, at.h, c.Bar, c.Fill)
	s.Shapes = append(s.Shapes, Shape{Kind: "rect", X: at.x, Y: at.y, W: at.w, H: head, Fill: c.Bar})
	s.text(at.x+boxInset, at.y+12.2, 10, true, "#ffffff", "start", strings.ToUpper(roleName(t)))
	y := at.y + head + 6
	for _, l := range lines {
		s.text(at.x+boxInset, y+11, size, true, c.Ink, "start", l)
		y += line
	}
	if acted != "" {
		s.text(at.x+boxInset, y+10, 11, false, c.Ink, "start", acted)
		y += 14
	}
	if !beside {
		s.hang(ev, at.x+boxInset, y+4)
		return at.h
	}
	high := evidenceHeight(ev)
	if len(ev) > 0 {
		x, mid := 362.0, at.y+head/2
		s.line(inkFaint, 1, true, [2]float64{at.x + at.w, mid}, [2]float64{x - 8, mid})
		s.line(inkFaint, 1, false, [2]float64{x - 8, at.y + 1}, [2]float64{x - 8, at.y + max(high, head)})
		s.hang(ev, x, at.y)
	}
	return max(at.h, high)
}

// roleName is what the band of a box says.
func roleName(t thing) string {
	switch {
	case t.Role == "outcome":
		return "What happened: asked about"
	case t.Role == "primary" && t.Kind == "cause":
		return "Primary: cause"
	case t.Role == "primary":
		return "Primary"
	case t.On:
		return "Consequential: on the way"
	}
	return "Consequential: beside it"
}

// hung are the lines that hang on a thing.
func hung(t thing, names report.Names, beside bool, boxWide float64) [][]string {
	room := pageWide - 362
	if !beside {
		room = boxWide - 2*boxInset
	}
	var out [][]string
	for _, id := range t.Findings {
		f := names.Finding(id)
		text := strings.TrimSpace(id + " " + f.Name)
		if f.At != "" {
			text += " (" + f.At + ")"
		}
		out = append(out, wrapped(text, evidenceSize, false, room))
	}
	if len(out) == 0 && t.Role != "outcome" {
		out = append(out, wrapped("no finding shows it itself; it follows from what stands above and below", evidenceSize, false, room))
	}
	return out
}

const evidenceSize, evidenceLine = 11.0, 14.0

func evidenceHeight(ev [][]string) float64 {
	h := 0.0
	for _, e := range ev {
		h += evidenceLine*float64(len(e)) + 2
	}
	return h
}

func (s *Scene) hang(ev [][]string, x, y float64) {
	for _, e := range ev {
		for _, l := range e {
			s.text(x, y+10.5, evidenceSize, false, inkSoft, "start", l)
			y += evidenceLine
		}
		y += 2
	}
}

// edges draws what leads to what. Lines of the chain run down their lane to the next
// box of the chain; those of branches down the lane of what they branch off.
func (s *Scene) edges(things []thing, boxes []chainBox, depth []int) {
	for i, t := range things {
		b := boxes[i]
		switch {
		case t.On && t.From >= 0:
			a := boxes[t.From]
			x := a.x + laneChain
			s.arrow(inkLine, [2]float64{x, a.y + a.h}, [2]float64{x, b.y})
		case t.Into >= 0:
			n := boxes[t.Into]
			x := b.x - 6
			y := b.y + 8
			s.arrow(inkLine, [2]float64{b.x, y}, [2]float64{x, y}, [2]float64{x, n.y})
		case t.From >= 0:
			a := boxes[t.From]
			x := a.x + indentStep - 6
			y := b.y + 8
			if depth[i] == depth[t.From] { // deeper than is set in
				x = a.x - 6
				s.arrow(inkLine, [2]float64{a.x, a.y + a.h - 6}, [2]float64{x, a.y + a.h - 6}, [2]float64{x, y}, [2]float64{b.x, y})
				continue
			}
			s.arrow(inkLine, [2]float64{x, a.y + a.h}, [2]float64{x, y}, [2]float64{b.x, y})
		}
	}
}

func chainAlt(things []thing) string {
	var on, beside []string
	for _, t := range things {
		text := fmt.Sprintf("%s (%s)", t.label(), strings.ToLower(roleName(t)))
		if t.On {
			on = append(on, text)
		} else {
			beside = append(beside, text)
		}
	}
	alt := "Chain of failure, from the cause down: " + strings.Join(on, "; then ") + "."
	if len(beside) > 0 {
		alt += " Beside it: " + strings.Join(beside, "; ") + "."
	}
	return alt + " The text below says the same."
}
