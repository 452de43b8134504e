package claim

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
)

const (
	published = "../../../../testdata/published/"
	demos     = "../../../../testdata/cases/"
)

// drawnCases differ in layout, in how many things are named, and in how the chain
// branches.
var drawnCases = []string{
	demoFile, published + "P049.toml", published + "P037.toml", published + "P055.toml",
	demos + "belt_and_valves.toml", demos + "backed_off_nut.toml",
}

// No label lies on another, on an edge of a box or on a line; nothing lies outside the
// drawing; no two lines of the chain lie on each other.
func TestDrawingsDoNotCross(t *testing.T) {
	for _, path := range drawnCases {
		in := workedOut(t, path)
		n := report.NewNames(in.Book, in.Diagnosis)
		things := story(in.Book, in.Diagnosis)
		for _, s := range []*Scene{drawChain(things, n, pageWide), drawChain(things, n, 340), drawPlan(in.Book, in.Case, in.Diagnosis)} {
			for _, x := range overlaps(s) {
				t.Errorf("%s: %s", path, x)
			}
		}
	}
}

// overlaps lists what crosses in a drawing.
func overlaps(s *Scene) []string {
	var out []string
	for i, a := range s.Shapes {
		ax0, ay0, ax1, ay1 := a.box()
		if ax0 < -0.5 || ay0 < -0.5 || ax1 > s.W+0.5 || ay1 > s.H+0.5 {
			out = append(out, fmt.Sprintf("%s %q lies outside (%.0f,%.0f to %.0f,%.0f of %.0f × %.0f)", a.Kind, a.Text, ax0, ay0, ax1, ay1, s.W, s.H))
		}
		for k, b := range s.Shapes {
			switch {
			case k <= i && a.Kind == b.Kind:
			case a.Kind == "text" && b.Kind == "text":
				bx0, by0, bx1, by1 := b.box()
				if ax0 < bx1-0.5 && bx0 < ax1-0.5 && ay0 < by1-0.5 && by0 < ay1-0.5 {
					out = append(out, fmt.Sprintf("%q lies on %q", a.Text, b.Text))
				}
			case a.Kind == "text" && (b.Kind == "line" || b.Kind == "arrow"):
				for _, seg := range segments(b) {
					if seg[0] < ax1-0.5 && ax0 < seg[2]-0.5+b.Thick && seg[1] < ay1-0.5 && ay0+0.5 < seg[3]+b.Thick && !under(s, a, k) {
						out = append(out, fmt.Sprintf("a line runs through %q", a.Text))
					}
				}
			case a.Kind == "text" && (b.Kind == "rect" || b.Kind == "circle"):
				bx0, by0, bx1, by1 := b.box()
				touches := ax0 < bx1-0.5 && bx0 < ax1-0.5 && ay0 < by1-0.5 && by0 < ay1-0.5
				within := ax0 >= bx0-0.5 && ax1 <= bx1+0.5 && ay0 >= by0-0.5 && ay1 <= by1+1.5
				if touches && !within {
					out = append(out, fmt.Sprintf("%q crosses the edge of a box", a.Text))
				}
			case a.Kind == "arrow" && b.Kind == "arrow":
				for _, p := range segments(a) {
					for _, q := range segments(b) {
						if p[0] <= q[2] && q[0] <= p[2] && p[1] < q[3] && q[1] < p[3] && !sameTrunk(a, b) {
							out = append(out, fmt.Sprintf("two arrows cross at %.0f,%.0f", q[0], q[1]))
						}
					}
				}
			case a.Kind == "arrow" && b.Kind == "rect":
				bx0, by0, bx1, by1 := b.box()
				for _, p := range segments(a) {
					if p[0] < bx1-0.5 && bx0+0.5 < p[2] && p[1] < by1-0.5 && by0+0.5 < p[3] {
						out = append(out, fmt.Sprintf("an arrow runs through a box at %.0f,%.0f", bx0, by0))
					}
				}
			}
		}
	}
	return out
}

// segments are the stretches of a line as boxes.
func segments(s Shape) [][4]float64 {
	var out [][4]float64
	for i := 1; i < len(s.Points); i++ {
		p, q := s.Points[i-1], s.Points[i]
		out = append(out, [4]float64{min(p[0], q[0]), min(p[1], q[1]), max(p[0], q[0]), max(p[1], q[1])})
	}
	return out
}

// sameTrunk: branches of one thing share the line down from it, and causes that come in
// share the line into what they went into.
func sameTrunk(a, b Shape) bool {
	return a.Points[0] == b.Points[0] || a.Points[len(a.Points)-1] == b.Points[len(b.Points)-1]
}

// under tells that a text stands on a box that was drawn over a line.
func under(s *Scene, text Shape, line int) bool {
	x0, y0, x1, y1 := text.box()
	for _, b := range s.Shapes[line:] {
		bx0, by0, bx1, by1 := b.box()
		if (b.Kind == "rect" || b.Kind == "circle") && b.Fill != "" && x0 >= bx0-0.5 && x1 <= bx1+0.5 && y0 >= by0-0.5 && y1 <= by1+1.5 {
			return true
		}
	}
	return false
}

// Colour is never the only sign: every box says its role.
func TestRolesAreLabelled(t *testing.T) {
	in := workedOut(t, demoFile)
	things := story(in.Book, in.Diagnosis)
	s := drawChain(things, report.NewNames(in.Book, in.Diagnosis), pageWide)
	labels := 0
	for _, x := range s.Shapes {
		if x.Kind == "text" && (x.Text == "PRIMARY: CAUSE" || x.Text == "PRIMARY" || x.Text == "CONSEQUENTIAL: ON THE WAY" || x.Text == "CONSEQUENTIAL: BESIDE IT" || x.Text == "WHAT HAPPENED: ASKED ABOUT") {
			labels++
		}
	}
	assert.Equal(t, len(things), labels)
	for name, c := range tones {
		assert.GreaterOrEqual(t, contrast(c.Ink, c.Fill), 7.0, name)
		assert.GreaterOrEqual(t, contrast("#ffffff", c.Bar), 4.5, name)
		assert.GreaterOrEqual(t, contrast(inkSoft, c.Fill), 4.5, name)
	}
}

// contrast is that of two colours (WCAG 2.2).
func contrast(a, b string) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// Sets that came in together, and branches of branches deeper than they are set in.
func TestDrawingOfSetsAndBranches(t *testing.T) {
	in := workedOut(t, demoFile)
	long := "a name that is much longer than any box and has_one_word_that_is_far_too_long_for_it_all_the_same_whatever_one_does"
	things := []thing{
		{Name: "first", Kind: "cause", Role: "primary", On: true, From: -1, Into: -1, HasActed: true, Findings: []string{"F14", "F18"}},
		{Name: "one that came in", Kind: "cause", Role: "primary", From: -1, Into: 3},
		{Name: long, Kind: "cause", Role: "primary", From: -1, Into: 3, Findings: []string{"F24", "F25", "F26", "F27"}},
		{Name: "where they meet", Kind: "step", Role: "consequential", On: true, From: 0, Into: -1},
	}
	for i := range 7 {
		things = append(things, thing{Name: fmt.Sprint(long, " ", i), Kind: "step", Role: "consequential", From: 3 + i, Into: -1, Findings: []string{"F30"}})
	}
	things = append(things, thing{Name: "beside", Kind: "step", Role: "consequential", From: 3, Into: -1},
		thing{Name: "last", Kind: "outcome", Role: "outcome", On: true, From: 3, Into: -1})
	for _, wide := range []float64{pageWide, 340} {
		assert.Empty(t, overlaps(drawChain(things, report.NewNames(in.Book, in.Diagnosis), wide)), wide)
	}
}

// What was needed beside a link of the chain is drawn and told beside it.
func TestNeededBesideTheChain(t *testing.T) {
	in := workedOut(t, demoFile)
	d := *in.Diagnosis
	require.GreaterOrEqual(t, len(d.Chain), 3)
	d.Chain = slices.Clone(d.Chain)
	d.Chain[1].With = []engine.Needed{{ID: "ran_on_after_oil_lamp", Name: "driven on after the lamp", Kind: "cause", Acted: 0.81}}
	in.Diagnosis = &d
	things := story(in.Book, &d)
	i := slices.IndexFunc(things, func(t thing) bool { return t.ID == "ran_on_after_oil_lamp" })
	require.GreaterOrEqual(t, i, 0)
	assert.Equal(t, d.Chain[1].ID, things[things[i].Into].ID)
	assert.Equal(t, "acted, 81 %", things[i].acted())
	said := text(Build(in))
	assert.Contains(t, said, ", together with driven on after the lamp → ")
	assert.Contains(t, said, "It took the one above together with driven on after the lamp (acted, 81 %).")
}
