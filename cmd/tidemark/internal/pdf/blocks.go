package pdf

import (
	"bytes"
	"encoding/gob"
	"fmt"

	"codeberg.org/go-pdf/fpdf"
)

// Heading writes a heading of level 1 to 3 and a bookmark. It stays with what
// follows.
func (d *Doc) Heading(level int, text string) {
	size := [...]float64{14, 11, 10}[min(3, max(1, level))-1]
	s := Style{Size: size, Bold: true, Colour: Colour{25, 50, 80}}
	lines := d.wrap([]Run{{text, s}}, d.Width())
	d.Space([...]float64{5, 3.5, 3}[min(3, max(1, level))-1])
	d.Need(height(lines) + 22)
	d.font(s)
	d.f.Bookmark(clean(text), min(3, max(1, level))-1, d.y)
	d.y = d.put(marginX, d.y, lines)
	if level == 1 {
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
