package pdf

import (
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// Canvas is a place on the page to draw on; x and y count from its top left.
type Canvas struct {
	d    *Doc
	X, Y float64
	W, H float64
}

// Draw keeps a height free, all of the width, on one page, and draws there.
func (d *Doc) Draw(height float64, draw func(*Canvas)) {
	d.Need(height)
	draw(&Canvas{d: d, X: marginX, Y: d.y, W: d.Width(), H: height})
	d.y += height
}

// Within draws and shows nothing of what lies outside the canvas, above or below.
func (c *Canvas) Within(draw func()) {
	c.d.f.ClipRect(0, c.Y, c.W+2*marginX, c.H, false)
	draw()
	c.d.f.ClipEnd()
}

// Stroke is how a line looks; a width of 0 draws none.
type Stroke struct {
	Colour Colour
	Width  float64
	Dashed bool
}

func (c *Canvas) pen(s Stroke, fill *Colour) string {
	style := ""
	if fill != nil {
		c.d.f.SetFillColor(fill.R, fill.G, fill.B)
		style = "F"
	}
	if s.Width > 0 {
		c.d.f.SetDrawColor(s.Colour.R, s.Colour.G, s.Colour.B)
		c.d.f.SetLineWidth(s.Width)
		style += "D"
	}
	if s.Dashed {
		c.d.f.SetDashPattern([]float64{1.2, 0.9}, 0)
	} else {
		c.d.f.SetDashPattern(nil, 0)
	}
	return style
}

func (c *Canvas) done() { c.d.f.SetDashPattern(nil, 0) }

// Rect draws a box with round corners of radius r.
func (c *Canvas) Rect(x, y, w, h, r float64, s Stroke, fill *Colour) {
	if style := c.pen(s, fill); style != "" {
		c.d.f.RoundedRect(c.X+x, c.Y+y, w, h, r, "1234", style)
	}
	c.done()
}

// Circle draws a circle about a point.
func (c *Canvas) Circle(x, y, r float64, s Stroke, fill *Colour) {
	if style := c.pen(s, fill); style != "" {
		c.d.f.Circle(c.X+x, c.Y+y, r, style)
	}
	c.done()
}

// Line draws through points.
func (c *Canvas) Line(s Stroke, points ...[2]float64) {
	if c.pen(s, nil) == "" {
		return
	}
	for i := 1; i < len(points); i++ {
		c.d.f.Line(c.X+points[i-1][0], c.Y+points[i-1][1], c.X+points[i][0], c.Y+points[i][1])
	}
	c.done()
}

// Arrow draws through points, with a head at the last.
func (c *Canvas) Arrow(s Stroke, points ...[2]float64) {
	n := len(points)
	if n < 2 {
		return
	}
	c.Line(s, points...)
	a, b := points[n-2], points[n-1]
	long := math.Hypot(b[0]-a[0], b[1]-a[1])
	if long == 0 {
		return
	}
	ux, uy := (b[0]-a[0])/long, (b[1]-a[1])/long
	const size = 2.2
	c.Polygon(Stroke{}, &s.Colour, b, [2]float64{b[0] - size*ux - size*0.45*uy, b[1] - size*uy + size*0.45*ux}, [2]float64{b[0] - size*ux + size*0.45*uy, b[1] - size*uy - size*0.45*ux})
}

// Polygon draws a closed figure.
func (c *Canvas) Polygon(s Stroke, fill *Colour, points ...[2]float64) {
	style := c.pen(s, fill)
	if style == "" {
		return
	}
	list := make([]fpdf.PointType, len(points))
	for i, p := range points {
		list[i] = fpdf.PointType{X: c.X + p[0], Y: c.Y + p[1]}
	}
	c.d.f.Polygon(list, style)
	c.done()
}

// Align of text about its point.
type Align int

// The three ways.
const (
	Start Align = iota
	Middle
	End
)

// Text writes one line with its foot at y.
func (c *Canvas) Text(x, y float64, text string, s Style, a Align) {
	w := c.d.textWidth(text, s)
	switch a {
	case Middle:
		x -= w / 2
	case End:
		x -= w
	}
	c.d.draw(c.X+x, c.Y+y, text, s)
}

// Fit cuts a line to a width, with an ellipsis.
func (c *Canvas) Fit(text string, s Style, width float64) string { return c.d.fit(text, s, width) }

// TextWidth is the width of one line.
func (c *Canvas) TextWidth(text string, s Style) float64 { return c.d.textWidth(text, s) }
