package claim

import (
	"fmt"
	"html"
	"strings"

	"tidemark/cmd/tidemark/internal/font"
)

// Scene is a drawing: the same shapes go onto the page for a screen and onto paper.
// Lengths are in units of which a page is 700 wide; y runs down.
type Scene struct {
	W, H   float64
	Alt    string // what it shows, for those who cannot see it
	Shapes []Shape
	// Breaks are the heights at which it may be cut for the next page.
	Breaks []float64
}

// Shape is one of a box, a line through points, a circle, or a line of text whose
// foot is at Y.
type Shape struct {
	Kind       string // rect, line, arrow, circle, text
	X, Y, W, H float64
	Points     [][2]float64
	Text       string
	Size       float64
	Bold       bool
	Anchor     string // start, middle, end
	Ink, Fill  string // "#rrggbb"; "" for none
	Dashed     bool
	Thick      float64
}

const pageWide = 700.0

// Tone is a pair of colours for a role. Text in Ink on Fill has a contrast of at least
// 7 to 1; every box says its role in words too.
type Tone struct{ Ink, Fill, Bar string }

var tones = map[string]Tone{
	"primary":       {"#5a0f14", "#fbe9e9", "#9b1c24"},
	"consequential": {"#4a3203", "#fdf3dc", "#9a6700"},
	"outcome":       {"#1c2733", "#e9eef3", "#33475b"},
	"independent":   {"#0f3d26", "#e6f4ec", "#1f7a4d"},
	"made_after":    {"#3a2a55", "#f0ebf8", "#6a4ba3"},
	"against":       {"#123c5c", "#e6f1f9", "#24699c"},
	"unexplained":   {"#3d3d3d", "#f1f1f1", "#6b6b6b"},
	"plain":         {"#1c2733", "#ffffff", "#5b6b7b"},
}

func tone(role string) Tone {
	if t, ok := tones[role]; ok {
		return t
	}
	return tones["plain"]
}

const (
	inkDark  = "#1c2733"
	inkSoft  = "#4c5a68"
	inkLine  = "#5b6b7b"
	inkFaint = "#c3ccd5"
)

func (s *Scene) rect(x, y, w, h float64, ink, fill string) {
	s.Shapes = append(s.Shapes, Shape{Kind: "rect", X: x, Y: y, W: w, H: h, Ink: ink, Fill: fill, Thick: 1})
}

func (s *Scene) line(ink string, thick float64, dashed bool, points ...[2]float64) {
	s.Shapes = append(s.Shapes, Shape{Kind: "line", Points: points, Ink: ink, Thick: thick, Dashed: dashed})
}

func (s *Scene) arrow(ink string, points ...[2]float64) {
	s.Shapes = append(s.Shapes, Shape{Kind: "arrow", Points: points, Ink: ink, Thick: 1.6})
}

func (s *Scene) circle(x, y, r float64, ink, fill string) {
	s.Shapes = append(s.Shapes, Shape{Kind: "circle", X: x, Y: y, W: r, Ink: ink, Fill: fill, Thick: 1.2})
}

func (s *Scene) text(x, y, size float64, bold bool, ink, anchor, text string) {
	if text != "" {
		s.Shapes = append(s.Shapes, Shape{Kind: "text", X: x, Y: y, Size: size, Bold: bold, Ink: ink, Anchor: anchor, Text: text})
	}
}

// width is how wide a text stands in the scene.
func width(text string, size float64, bold bool) float64 {
	if bold {
		return font.Bold().Width(text, size)
	}
	return font.Regular().Width(text, size)
}

// wrapped breaks a text into lines of at most a width, long words too.
func wrapped(text string, size float64, bold bool, wide float64) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && width(line+" "+word, size, bold) <= wide {
			line += " " + word
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for line = word; width(line, size, bold) > wide; {
			r := []rune(line)
			n := len(r) - 1
			for n > 1 && width(string(r[:n]), size, bold) > wide {
				n--
			}
			if n < 1 {
				break
			}
			out = append(out, string(r[:n]))
			line = string(r[n:])
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// box of a shape, for telling whether two lie on each other.
func (s Shape) box() (x0, y0, x1, y1 float64) {
	switch s.Kind {
	case "text":
		w := width(s.Text, s.Size, s.Bold)
		x := s.X
		switch s.Anchor {
		case "middle":
			x -= w / 2
		case "end":
			x -= w
		}
		return x, s.Y - 0.76*s.Size, x + w, s.Y + 0.22*s.Size
	case "circle":
		return s.X - s.W, s.Y - s.W, s.X + s.W, s.Y + s.W
	case "line", "arrow":
		x0, y0, x1, y1 = s.Points[0][0], s.Points[0][1], s.Points[0][0], s.Points[0][1]
		for _, p := range s.Points {
			x0, y0, x1, y1 = min(x0, p[0]), min(y0, p[1]), max(x1, p[0]), max(y1, p[1])
		}
		return x0, y0, x1, y1
	}
	return s.X, s.Y, s.X + s.W, s.Y + s.H
}

// svg writes the scene for a page; class says at what width of screen it is shown.
func (s *Scene) svg(b *strings.Builder, class string) {
	fmt.Fprintf(b, `<svg class="%s" viewBox="0 0 %s %s" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">`, class, num(s.W), num(s.H), html.EscapeString(s.Alt))
	b.WriteString("\n")
	for _, x := range s.Shapes {
		x.svg(b)
	}
	b.WriteString("</svg>\n")
}

func (x Shape) svg(b *strings.Builder) {
	paint := func() {
		fill, ink := x.Fill, x.Ink
		if fill == "" {
			fill = "none"
		}
		if ink == "" {
			ink = "none"
		}
		fmt.Fprintf(b, ` fill="%s" stroke="%s" stroke-width="%s"`, fill, ink, num(x.Thick))
		if x.Dashed {
			b.WriteString(` stroke-dasharray="4 3"`)
		}
		b.WriteString("/>\n")
	}
	switch x.Kind {
	case "rect":
		fmt.Fprintf(b, `<rect x="%s" y="%s" width="%s" height="%s" rx="3"`, num(x.X), num(x.Y), num(x.W), num(x.H))
		paint()
	case "circle":
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s"`, num(x.X), num(x.Y), num(x.W))
		paint()
	case "line", "arrow":
		b.WriteString(`<polyline points="`)
		for i, p := range x.Points {
			if i > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(num(p[0]) + "," + num(p[1]))
		}
		b.WriteByte('"')
		paint()
		if head := x.head(); head != nil {
			fmt.Fprintf(b, `<polygon points="%s,%s %s,%s %s,%s" fill="%s"/>`+"\n", num(head[0][0]), num(head[0][1]), num(head[1][0]), num(head[1][1]), num(head[2][0]), num(head[2][1]), x.Ink)
		}
	case "text":
		weight := ""
		if x.Bold {
			weight = ` font-weight="700"`
		}
		anchor := ""
		if x.Anchor != "" && x.Anchor != "start" {
			anchor = ` text-anchor="` + x.Anchor + `"`
		}
		fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s"%s%s fill="%s">%s</text>`+"\n", num(x.X), num(x.Y), num(x.Size), weight, anchor, x.Ink, html.EscapeString(x.Text))
	}
}

// head is the triangle at the end of an arrow along the axes; nil for a line.
func (x Shape) head() [][2]float64 {
	n := len(x.Points)
	if x.Kind != "arrow" || n < 2 {
		return nil
	}
	const long, half = 8.0, 4.0
	a, b := x.Points[n-2], x.Points[n-1]
	switch {
	case a[0] == b[0] && a[1] <= b[1]:
		return [][2]float64{b, {b[0] - half, b[1] - long}, {b[0] + half, b[1] - long}}
	case a[0] == b[0]:
		return [][2]float64{b, {b[0] - half, b[1] + long}, {b[0] + half, b[1] + long}}
	case a[0] <= b[0]:
		return [][2]float64{b, {b[0] - long, b[1] - half}, {b[0] - long, b[1] + half}}
	}
	return [][2]float64{b, {b[0] + long, b[1] - half}, {b[0] + long, b[1] + half}}
}

// num is a length in the shortest way that a page needs.
func num(x float64) string {
	s := strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.1f", x), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}
