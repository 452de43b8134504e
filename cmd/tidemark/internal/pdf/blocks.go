package pdf

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// Heading writes a heading of level 1 to 3 and a bookmark. It stays with what
// follows.
func (d *Doc) Heading(level int, text string) {
	size := [...]float64{15, 12, 10}[min(3, max(1, level))-1]
	s := Style{Size: size, Bold: true, Colour: Colour{25, 50, 80}}
	lines := d.wrap([]Run{{text, s}}, d.Width())
	d.Space([...]float64{6, 5, 3}[min(3, max(1, level))-1])
	d.Need(height(lines) + 22)
	d.font(s)
	d.f.Bookmark(clean(text), min(3, max(1, level))-1, d.y)
	d.y = d.put(marginX, d.y, lines)
	if level <= 2 {
		d.rule(0.3, Colour{25, 50, 80})
	}
	d.y += 1.5
}

// Title writes the name of the document and a line under it.
func (d *Doc) Title(title, under string) {
	d.y = d.put(marginX, d.y, d.wrap([]Run{{title, Style{Size: 20, Bold: true, Colour: Colour{25, 50, 80}}}}, d.Width()))
	d.y = d.put(marginX, d.y, d.wrap([]Run{{under, Style{Size: 11}}}, d.Width()))
	d.rule(0.6, Colour{25, 50, 80})
	d.y += 1.5
}

func (d *Doc) rule(width float64, c Colour) {
	d.f.SetDrawColor(c.R, c.G, c.B)
	d.f.SetLineWidth(width)
	d.y += 0.6
	d.f.Line(marginX, d.y, marginX+d.Width(), d.y)
	d.y += 0.6
}

// Text writes a paragraph in the plain style.
func (d *Doc) Text(text string) { d.Paragraph(Plain(text)...) }

// Paragraph writes runs, wrapped, over pages where they must.
func (d *Doc) Paragraph(runs ...Run) { d.indented(0, "", Style{}, runs) }

// Bullet writes a paragraph behind a mark ("•", "1.").
func (d *Doc) Bullet(mark string, runs ...Run) { d.indented(5, mark, Style{}, runs) }

func (d *Doc) indented(indent float64, mark string, s Style, runs []Run) {
	lines := d.wrap(runs, d.Width()-indent)
	for i, l := range lines {
		h := lineHeight(l)
		// No single line of several at the foot of a page.
		if i == 0 && len(lines) > 1 {
			d.Need(h + lineHeight(lines[1]))
		}
		d.Need(h)
		if i == 0 && mark != "" {
			d.draw(marginX+1, d.y+h*0.76, mark, s)
		}
		d.y = d.put(marginX+indent, d.y, [][]word{l})
	}
	d.y += 1.2
}

// Panel writes paragraphs in a box with a bar at its left, on one page.
func (d *Doc) Panel(bar, fill Colour, paragraphs ...[]Run) {
	const inset = 4.0
	var all [][][]word
	h := 2 * inset
	for i, p := range paragraphs {
		lines := d.wrap(p, d.Width()-2*inset)
		if i > 0 {
			h += 1.2
		}
		h += height(lines)
		all = append(all, lines)
	}
	if h > d.Height() {
		for _, p := range paragraphs {
			d.Paragraph(p...)
		}
		return
	}
	d.Need(h)
	d.f.SetFillColor(fill.R, fill.G, fill.B)
	d.f.Rect(marginX, d.y, d.Width(), h, "F")
	d.f.SetFillColor(bar.R, bar.G, bar.B)
	d.f.Rect(marginX, d.y, 1.4, h, "F")
	y := d.y + inset
	for _, lines := range all {
		y = d.put(marginX+inset, y, lines) + 1.2
	}
	d.y += h + 2
}

// Column of a table.
type Column struct {
	Head  string
	Share float64 // of the width, against the other columns
	Right bool    // numbers: to the right
}

// Cell is what stands in one field of a table; Fill colours it where it is said.
type Cell struct {
	Runs []Run
	Fill *Colour
}

// C is a cell of plain text.
func C(text string) Cell { return Cell{Runs: Plain(text)} }

// Table of rows under a head that comes again on every page.
type Table struct {
	Columns []Column
	Rows    [][]Cell
	Size    float64 // of letters; 0 for 8.5
}

const cellInset = 1.3

// Table writes a table. A row is broken over pages only if it is higher than one.
func (d *Doc) Table(t Table) {
	size := t.Size
	if size == 0 {
		size = 8.5
	}
	total := 0.0
	for _, c := range t.Columns {
		total += c.Share
	}
	if total <= 0 || len(t.Rows) == 0 {
		return
	}
	wide := make([]float64, len(t.Columns))
	for i, c := range t.Columns {
		wide[i] = c.Share / total * d.Width()
	}
	head := make([][][]word, len(t.Columns))
	headHeight := 0.0
	for i, c := range t.Columns {
		head[i] = d.wrap([]Run{{c.Head, Style{Size: size, Bold: true, Colour: Colour{25, 50, 80}}}}, wide[i]-2*cellInset)
		headHeight = max(headHeight, height(head[i])+2*cellInset)
	}
	var shades [][]*Colour
	var rows [][][][]word
	for _, r := range t.Rows {
		cells := make([][][]word, len(t.Columns))
		fill := make([]*Colour, len(t.Columns))
		for i := range t.Columns {
			if i < len(r) {
				cells[i], fill[i] = d.wrap(sized(r[i].Runs, size), wide[i]-2*cellInset), r[i].Fill
			}
		}
		rows, shades = append(rows, cells), append(shades, fill)
	}
	d.Need(headHeight + min(rowHeight(rows[0]), d.Height()/2))
	pale := Colour{232, 238, 244}
	tableHead := func() {
		fill := make([]*Colour, len(head))
		for i := range fill {
			fill[i] = &pale
		}
		d.row(t, head, fill, wide, headHeight)
	}
	tableHead()
	for i, cells := range rows {
		for {
			h := rowHeight(cells)
			if h > d.Left() && (h <= d.Height()-headHeight || d.Left() < 20) {
				d.NewPage()
				tableHead()
				if h <= d.Left() {
					continue
				}
			}
			if h <= d.Left() {
				d.row(t, cells, shades[i], wide, h)
				break
			}
			var now [][][]word
			now, cells = split(cells, d.Left()-2*cellInset)
			d.row(t, now, shades[i], wide, rowHeight(now))
		}
	}
	d.y += 2
}

func sized(runs []Run, size float64) []Run {
	out := make([]Run, len(runs))
	for i, r := range runs {
		if r.Style.Size == 0 {
			r.Style.Size = size
		}
		out[i] = r
	}
	return out
}

func rowHeight(cells [][][]word) float64 {
	h := 0.0
	for _, c := range cells {
		h = max(h, height(c))
	}
	return h + 2*cellInset
}

// split takes as many lines of each cell as fit; at least one, so that it ends.
func split(cells [][][]word, room float64) (now, rest [][][]word) {
	for _, c := range cells {
		n, h := 0, 0.0
		for n < len(c) && (n == 0 || h+lineHeight(c[n]) <= room) {
			h += lineHeight(c[n])
			n++
		}
		now, rest = append(now, c[:n]), append(rest, c[n:])
	}
	return now, rest
}

func (d *Doc) row(t Table, cells [][][]word, fill []*Colour, wide []float64, h float64) {
	x := marginX
	for i, c := range cells {
		if f := fill[i]; f != nil {
			d.f.SetFillColor(f.R, f.G, f.B)
			d.f.Rect(x, d.y, wide[i], h, "F")
		}
		y := d.y + cellInset
		for _, l := range c {
			at := x + cellInset
			if t.Columns[i].Right {
				at = x + wide[i] - cellInset - d.lineWidth(l)
			}
			y = d.put(at, y, [][]word{l})
		}
		x += wide[i]
	}
	d.y += h
	d.f.SetDrawColor(200, 205, 210)
	d.f.SetLineWidth(0.15)
	d.f.Line(marginX, d.y, marginX+d.Width(), d.y)
}

func (d *Doc) lineWidth(l []word) float64 {
	w := 0.0
	for i, x := range l {
		if x.space && i > 0 {
			w += d.textWidth(" ", x.style)
		}
		w += x.width
	}
	return w
}

// Photo is a JPEG or PNG with what stands under it.
type Photo struct {
	Kind    string // "jpg", "png"
	Content []byte
	W, H    int // pixels, for the proportions
	Caption []Run
}

// Photos puts photos beside each other, so many in a row, each with its caption.
// None is higher than most.
func (d *Doc) Photos(perRow int, most float64, list ...Photo) {
	const gap = 6.0
	width := (d.Width() - gap*float64(perRow-1)) / float64(perRow)
	for len(list) > 0 {
		n := min(perRow, len(list))
		row := list[:n]
		list = list[n:]
		high := 0.0
		var captions [][][]word
		tops := make([][2]float64, n)
		for i, p := range row {
			w, h := within(p, width, most)
			tops[i] = [2]float64{w, h}
			lines := d.wrap(sized(p.Caption, 8), width)
			captions = append(captions, lines)
			high = max(high, h+1+height(lines))
		}
		d.Need(high)
		for i, p := range row {
			x := marginX + float64(i)*(width+gap)
			d.picture(p, x, d.y, tops[i][0], tops[i][1])
			d.put(x, d.y+tops[i][1]+1, captions[i])
		}
		d.y += high + 4
	}
}

// within is the size of a photo in a frame.
func within(p Photo, width, most float64) (w, h float64) {
	if p.W <= 0 || p.H <= 0 {
		return width, most
	}
	scale := min(width/float64(p.W), most/float64(p.H))
	return float64(p.W) * scale, float64(p.H) * scale
}

func (d *Doc) picture(p Photo, x, y, w, h float64) {
	d.used++
	name := fmt.Sprintf("photo%d", d.used)
	info := d.f.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: p.Kind}, bytes.NewReader(p.Content))
	if err := inOrder(info, d.used); err != nil {
		d.f.SetError(err)
		return
	}
	d.f.ImageOptions(name, x, y, w, h, false, fpdf.ImageOptions{ImageType: p.Kind}, 0, "")
}

// inOrder gives each image a width that differs by a hair from all others, which no
// drawing shows: the library writes images by width, and those of one width in an order
// that changes from run to run. There is no other way to its fields than this one.
func inOrder(info *fpdf.ImageInfoType, n int) error {
	if info == nil {
		return nil // the library has kept the error
	}
	text, err := info.GobEncode()
	if err != nil {
		return err
	}
	var data, smask, palette []byte
	var number, bits int
	var w, h, scale, dpi float64
	var space, filter, parms string
	var mask []int
	fields := []any{&data, &smask, &number, &w, &h, &space, &palette, &bits, &filter, &parms, &mask, &scale, &dpi}
	from := gob.NewDecoder(bytes.NewReader(text))
	for _, f := range fields {
		if err := from.Decode(f); err != nil {
			return err
		}
	}
	w += float64(n) * 1e-5
	var out bytes.Buffer
	to := gob.NewEncoder(&out)
	for _, f := range fields {
		if err := to.Encode(f); err != nil {
			return err
		}
	}
	return info.GobDecode(out.Bytes())
}

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
