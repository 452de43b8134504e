package pdf

import "slices"

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
	headless := !slices.ContainsFunc(t.Columns, func(c Column) bool { return c.Head != "" })
	for i, c := range t.Columns {
		if headless {
			break
		}
		head[i] = d.wrap([]Run{{c.Head, Style{Size: size, Bold: true, Colour: Colour{25, 50, 80}}}}, wide[i]-2*cellInset)
		headHeight = max(headHeight, height(head[i])+2*cellInset)
	}
	var shades [][]*Colour
	var rows [][][][]word
	single := map[int]bool{} // rows that are a heading over all columns
	for k, r := range t.Rows {
		if len(r) == 1 && len(t.Columns) > 1 {
			single[k] = true
			bold := slices.Clone(sized(r[0].Runs, size))
			for i := range bold {
				bold[i].Style.Bold, bold[i].Style.Colour = true, Colour{25, 50, 80}
			}
			rows = append(rows, [][][]word{d.wrap(bold, d.Width()-2*cellInset)})
			shades = append(shades, []*Colour{nil})
			continue
		}
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
		if headless {
			return
		}
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
			// A heading within stays with the row under it.
			if with := h; single[i] && i+1 < len(rows) {
				if with += rowHeight(rows[i+1]); with > d.Left() && with <= d.Height()-headHeight {
					d.NewPage()
					tableHead()
				}
			}
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
	if len(cells) == 1 {
		wide = []float64{d.Width()}
	}
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
