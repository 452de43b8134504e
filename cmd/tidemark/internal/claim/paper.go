package claim

import (
	"strconv"
	"strings"

	"tidemark/cmd/tidemark/internal/pdf"
)

// dataName is what the data of a report is called within a PDF.
const dataName = "tidemark-claim.json"

// paper writes the report as a PDF, with its data attached.
func paper(r *Report, photos []Photo, size pdf.Paper, data []byte) ([]byte, error) {
	mark := ""
	if r.Interim {
		mark = "INTERIM"
	}
	d := pdf.New(pdf.Info{Paper: size, Title: documentTitle(r), Subject: r.Title, Lang: "en", Created: r.created(), Footer: documentTitle(r), Mark: mark})
	d.Title(r.Title, r.Subtitle)
	if r.Date != "" {
		d.Paragraph(pdf.Run{Text: "Last dated entry of the case: " + r.Date, Style: pdf.Style{Size: 8.5, Colour: pdf.Grey}})
	}
	byPath := map[string]Photo{}
	for _, p := range photos {
		byPath[p.Path] = p
	}
	for i, s := range r.Sections {
		d.Heading(1, strconv.Itoa(i+1)+". "+s.Title)
		for _, b := range s.Blocks {
			paperBlock(d, b, byPath)
		}
	}
	if data != nil {
		d.Attach(pdf.File{Name: dataName, About: "all that this report can be checked by: tidemark verify", Content: data})
	}
	return d.Bytes()
}

func paperBlock(d *pdf.Doc, b Block, photos map[string]Photo) {
	switch b.Kind {
	case "heading":
		text := ""
		for _, s := range b.Text {
			text += s.Text
		}
		d.Heading(2, text)
	case "paragraph":
		d.Paragraph(runs(b.Text)...)
	case "panel":
		t := tone(b.Tone)
		var lines [][]pdf.Run
		for _, l := range b.Lines {
			lines = append(lines, runs(l))
		}
		d.Panel(colour(t.Bar), colour(t.Fill), lines...)
	case "list":
		for _, l := range b.Lines {
			d.Bullet("•", runs(l)...)
		}
	case "numbered":
		for i, l := range b.Lines {
			d.Bullet(strconv.Itoa(i+1)+".", runs(l)...)
		}
	case "table":
		paperTable(d, b.Table)
	case "drawing":
		drawScene(d, b.wide)
	case "photos":
		paperPhotos(d, b.Photos, photos)
	case "labels":
		for i := 0; i < len(b.labels); i += 2 {
			pair := b.labels[i:min(i+2, len(b.labels))]
			d.Draw(labelHigh+3, func(c *pdf.Canvas) {
				for k, l := range pair {
					paperLabel(c, float64(k)*(c.W/2+1.5), c.W/2-1.5, l)
				}
			})
		}
	}
}

// labelHigh is the height of a label for a bag, in millimetres.
const labelHigh = 36.0

func paperLabel(c *pdf.Canvas, x, wide float64, l Label) {
	c.Rect(x, 0, wide, labelHigh, 1, pdf.Stroke{Colour: colour(inkLine), Width: 0.2, Dashed: true}, nil)
	for i, text := range l.lines() {
		c.Text(x+3, 6+4.9*float64(i), c.Fit(text, pdf.Style{Size: 9, Bold: i == 1}, wide-6), pdf.Style{Size: 9, Bold: i == 1}, pdf.Start)
	}
}

func runs(list []Span) []pdf.Run {
	var out []pdf.Run
	for _, s := range list {
		out = append(out, pdf.Run{Text: s.Text, Style: pdf.Style{Bold: s.Bold}})
	}
	return out
}

// colour reads "#rrggbb".
func colour(s string) pdf.Colour {
	n, _ := strconv.ParseUint(strings.TrimPrefix(s, "#"), 16, 32)
	return pdf.Colour{R: int(n >> 16 & 0xff), G: int(n >> 8 & 0xff), B: int(n & 0xff)}
}

func paperTable(d *pdf.Doc, t *Table) {
	out := pdf.Table{}
	for _, c := range t.Columns {
		out.Columns = append(out.Columns, pdf.Column{Head: c.Head, Share: c.Share, Right: c.Right})
	}
	for _, r := range t.Rows {
		var cells []pdf.Cell
		for _, c := range r {
			cell := pdf.C(c.Text)
			if c.Tone != "" {
				fill := colour(tone(c.Tone).Fill)
				cell.Fill = &fill
			}
			cells = append(cells, cell)
		}
		out.Rows = append(out.Rows, cells)
	}
	d.Table(out)
}

func paperPhotos(d *pdf.Doc, list []Shown, photos map[string]Photo) {
	var row []pdf.Photo
	for _, s := range list {
		p := photos[s.Path]
		caption := pdf.Plain(s.Caption)
		if p.Copy == nil || s.Missing != "" {
			d.Bullet("•", pdf.Run{Text: "No photo: " + s.Missing + ". ", Style: pdf.Style{Bold: true}}, pdf.Run{Text: s.Caption})
			continue
		}
		row = append(row, pdf.Photo{Kind: "jpg", Content: p.Copy.Data, W: p.Copy.Width, H: p.Copy.Height, Caption: caption})
	}
	d.Photos(2, 80, row...)
}

// drawScene draws a scene, cut at its breaks where it is higher than the page.
func drawScene(d *pdf.Doc, s *Scene) {
	scale := d.Width() / pageWide
	from := 0.0
	for from < s.H {
		to := s.H
		if (to-from)*scale > d.Left() {
			to = cut(s, from, d.Left()/scale)
			// A scene that fits on one page is not cut, nor is a stub of it left.
			if from == 0 && s.H*scale <= d.Height() || to-from < 60 {
				d.NewPage()
				to = s.H
				if (to-from)*scale > d.Left() {
					to = cut(s, from, d.Left()/scale)
				}
			}
		}
		d.Draw((to-from)*scale, func(c *pdf.Canvas) { c.Within(func() { s.on(c, scale, from, to) }) })
		from = to
	}
	d.Space(3)
}

// cut is the last break that leaves a stretch no higher than room; where there is none,
// it is cut anywhere.
func cut(s *Scene, from, room float64) float64 {
	best := 0.0
	for _, b := range s.Breaks {
		if b > from && b-from <= room {
			best = b
		}
	}
	if best == 0 {
		return from + max(room, 40)
	}
	return best
}

// on draws what lies between two heights.
func (s *Scene) on(c *pdf.Canvas, k, from, to float64) {
	for _, x := range s.Shapes {
		if _, y0, _, y1 := x.box(); y1 < from || y0 > to {
			continue
		}
		var fill *pdf.Colour
		if x.Fill != "" {
			f := colour(x.Fill)
			fill = &f
		}
		pen := pdf.Stroke{Colour: colour(x.Ink), Width: x.Thick * k, Dashed: x.Dashed}
		if x.Ink == "" {
			pen.Width = 0
		}
		var points [][2]float64
		for _, p := range x.Points {
			points = append(points, [2]float64{p[0] * k, (p[1] - from) * k})
		}
		y := (x.Y - from) * k
		switch x.Kind {
		case "rect":
			c.Rect(x.X*k, y, x.W*k, x.H*k, 0.8, pen, fill)
		case "circle":
			c.Circle(x.X*k, y, x.W*k, pen, fill)
		case "line":
			c.Line(pen, points...)
		case "arrow":
			c.Arrow(pen, points...)
		case "text":
			align := map[string]pdf.Align{"middle": pdf.Middle, "end": pdf.End}[x.Anchor]
			c.Text(x.X*k, y, x.Text, pdf.Style{Size: x.Size * k * 72 / 25.4, Bold: x.Bold, Colour: colour(x.Ink)}, align)
		}
	}
}
