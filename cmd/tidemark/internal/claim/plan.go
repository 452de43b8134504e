package claim

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

// The plan is the engine from above: cylinders in their banks, rods and main bearings
// along the crankshaft, camshafts; what was found stands on what it was found on.

// mark is a finding on the plan.
type mark struct {
	id, role, state string
}

// places gathers the findings of each position, and those of parts of which there is
// one.
type places struct {
	at   map[evidence.Kind]map[int][]mark
	one  map[string][]mark // by part
	part []string          // in the order in which they come
}

func placesOf(b *rules.Book, c *evidence.Case, d *engine.Diagnosis) places {
	p := places{at: map[evidence.Kind]map[int][]mark{}, one: map[string][]mark{}}
	roles := map[string]engine.FindingOut{}
	for _, f := range d.Findings {
		roles[f.ID] = f
	}
	for _, f := range c.All() {
		m := mark{id: f.ID, role: string(roles[f.ID].Role), state: string(f.State)}
		part := partOf(b, f)
		if part == nil || part.Belongs == "person" || part.Belongs == "paper" {
			continue
		}
		if part.Per == evidence.One || len(f.At) == 0 {
			if !slices.Contains(p.part, part.ID) {
				p.part = append(p.part, part.ID)
			}
			p.one[part.ID] = append(p.one[part.ID], m)
			continue
		}
		told := map[int]bool{}
		for _, s := range f.At {
			indexes, err := c.Engine.Resolve(s, part.Per)
			if err != nil || len(indexes) == 0 || s.Unknown != "" || s.Count > 0 {
				if !slices.Contains(p.part, part.ID) {
					p.part = append(p.part, part.ID)
				}
				if !slices.Contains(p.one[part.ID], m) {
					p.one[part.ID] = append(p.one[part.ID], m)
				}
				continue
			}
			for _, i := range indexes {
				if told[i] {
					continue
				}
				told[i] = true
				if p.at[part.Per] == nil {
					p.at[part.Per] = map[int][]mark{}
				}
				p.at[part.Per][i] = append(p.at[part.Per][i], m)
			}
		}
	}
	return p
}

// partOf is the part of which a finding speaks; nil where the book has none.
func partOf(b *rules.Book, f evidence.Finding) *rules.Part {
	if s := b.Sign(f.Sign); s != nil {
		return s.Part
	}
	return b.Part(f.Part)
}

// roleOrder is what colours a position where several findings are on it.
var roleOrder = []string{"primary", "consequential", "independent", "made_after", "unexplained", "against"}

// worst is the role that colours a place; "" where nothing was seen there.
func worst(marks []mark) string {
	for _, r := range roleOrder {
		if slices.ContainsFunc(marks, func(m mark) bool { return m.role == r && m.state == "seen" }) {
			return r
		}
	}
	return ""
}

// roleLetter stands behind a finding's number, so that colour is not needed.
var roleLetter = map[string]string{"primary": "P", "consequential": "C", "independent": "I", "made_after": "M", "unexplained": "?"}

// word is a mark as it stands on the plan.
func (m mark) word() string {
	switch {
	case m.state == "not found":
		return m.id + " –"
	case m.state == "unavailable":
		return m.id + " n/a"
	case roleLetter[m.role] != "":
		return m.id + " " + roleLetter[m.role]
	}
	return m.id
}

// mostMarks is how many findings stand on one place of the plan.
const mostMarks = 6

// words are the marks of a place, those seen first, and how many more there are.
func words(marks []mark) []string {
	sorted := slices.Clone(marks)
	slices.SortStableFunc(sorted, func(a, b mark) int { return stateOrder(a.state) - stateOrder(b.state) })
	var out []string
	for i, m := range sorted {
		if i == mostMarks && len(sorted) > mostMarks+1 {
			return append(out, fmt.Sprintf("+%d", len(sorted)-i))
		}
		out = append(out, m.word())
	}
	return out
}

func stateOrder(s string) int { return slices.Index([]string{"seen", "not found", "unavailable"}, s) }

// perRow is how many cylinders of a bank stand beside each other on the page.
const perRow = 8

const planText, planLine = 10.0, 12.5

// drawPlan draws the engine with its findings.
func drawPlan(b *rules.Book, c *evidence.Case, d *engine.Diagnosis) *Scene {
	p := placesOf(b, c, d)
	s := &Scene{W: pageWide}
	e := c.Engine
	cyl, _ := e.Count(evidence.Cylinder)
	banks, _ := e.Count(evidence.Bank)
	y := 4.0
	y = s.legend(y)
	members := map[int][]int{}
	longest := 0
	for i := 1; i <= cyl; i++ {
		k := max(1, e.BankOf(i))
		members[k] = append(members[k], i)
		longest = max(longest, len(members[k]))
	}
	// Long banks stand in several strips.
	for from := 0; from < longest; from += perRow {
		n := min(perRow, longest-from)
		var strip [][]int
		for k := 1; k <= banks; k++ {
			list := members[k]
			if from < len(list) {
				strip = append(strip, list[from:min(len(list), from+n)])
			}
		}
		y = s.strip(c, p, strip, from, n, longest, y)
	}
	y = s.shafts(c, p, y)
	y = s.others(b, p, y)
	s.H = y + 4
	s.Alt = planAlt(c, p)
	return s
}

// legend tells what colours and letters mean.
func (s *Scene) legend(y float64) float64 {
	x := 4.0
	s.text(x, y+11, 11, true, inkDark, "start", "from above; front of the engine at the left, as far as numbers tell")
	y += 18
	for _, r := range []struct{ role, what string }{{"primary", "P primary"}, {"consequential", "C consequential"}, {"independent", "I independent"}, {"made_after", "M made after"}, {"unexplained", "? not explained"}} {
		c := tone(r.role)
		s.rect(x, y, 11, 11, c.Bar, c.Fill)
		s.text(x+16, y+9.5, planText, false, inkDark, "start", r.what)
		x += 30 + width(r.what, planText, false)
	}
	s.text(x, y+9.5, planText, false, inkDark, "start", "–  looked for, not found")
	x += 16 + width("–  looked for, not found", planText, false)
	s.text(x, y+9.5, planText, false, inkDark, "start", "n/a  could not be looked at")
	return y + 22
}

const planLeft = 74.0 // where names of rows end

// strip draws cylinders, rods and mains of a stretch of the crankshaft. Banks stand on
// either side of it.
func (s *Scene) strip(c *evidence.Case, p places, banks [][]int, from, n, longest int, y float64) float64 {
	cell := (pageWide - planLeft - 10) / float64(n)
	half := (len(banks) + 1) / 2
	bank := func(k int, outward bool, y float64) float64 {
		rows := []func(float64) float64{
			func(y float64) float64 { return s.cylinders(c, p, k, len(banks), banks[k], cell, y) },
			func(y float64) float64 {
				return s.boxes(p.at[evidence.Rod], "rods", "rod", banks[k], cell, 0, y)
			},
		}
		if outward {
			slices.Reverse(rows)
		}
		for _, draw := range rows {
			y = draw(y)
		}
		return y
	}
	for k := 0; k < half; k++ {
		y = bank(k, false, y)
	}
	y = s.mains(c, p, from, n, longest, cell, y)
	for k := half; k < len(banks); k++ {
		y = bank(k, true, y)
	}
	return y + 6
}

// cylinders draws the bores of a bank with what was found on them and their valves.
func (s *Scene) cylinders(c *evidence.Case, p places, k, of int, list []int, cell, y float64) float64 {
	title := "cylinders"
	if of > 1 {
		title = fmt.Sprintf("bank %d", c.Engine.BankOf(list[0]))
	}
	s.text(planLeft-8, y+20, 11, true, inkDark, "end", title)
	if of > 1 {
		for i, w := range words(p.at[evidence.Bank][c.Engine.BankOf(list[0])]) {
			s.text(planLeft-8, y+20+planLine*float64(i+1), planText, false, inkDark, "end", w)
		}
	}
	most := 0
	const r = 15.0
	for i, n := range list {
		marks := slices.Clone(p.at[evidence.Cylinder][n])
		for _, kind := range []evidence.Kind{evidence.IntakeValve, evidence.ExhaustValve} {
			count, _ := c.Engine.Count(kind)
			for v := 1; v <= count; v++ {
				if c.Engine.CylinderOf(kind, v) == n {
					marks = append(marks, p.at[kind][v]...)
				}
			}
		}
		t := tone(worst(marks))
		x := planLeft + cell*(float64(i)+0.5)
		s.circle(x, y+r+1, r, t.Bar, t.Fill)
		s.text(x, y+r+5, 12, true, t.Ink, "middle", fmt.Sprint(n))
		most = max(most, s.list(marks, x, y+2*r+4, cell))
	}
	return y + 2*r + 10 + planLine*float64(most)
}

// list writes the marks of a place in as many columns as there is room for, and gives
// how many lines it took.
func (s *Scene) list(marks []mark, x, y, cell float64) int {
	all := words(marks)
	lines := 0
	line := ""
	flush := func() {
		if line != "" {
			s.text(x, y+10+planLine*float64(lines), planText, false, inkDark, "middle", line)
			lines++
		}
		line = ""
	}
	for _, w := range all {
		if line != "" && width(line+" · "+w, planText, false) > cell-8 {
			flush()
		}
		if line != "" {
			line += " · "
		}
		line += w
	}
	flush()
	return lines
}

// boxes draws positions that stand one to a cell, moved by a share of a cell.
func (s *Scene) boxes(at map[int][]mark, title, word string, list []int, cell, shift, y float64) float64 {
	s.text(planLeft-8, y+13, 11, true, inkDark, "end", title)
	most := 0
	wide := min(58, cell-10)
	for i, n := range list {
		t := tone(worst(at[n]))
		x := planLeft + cell*(float64(i)+0.5+shift)
		s.rect(x-wide/2, y, wide, 18, t.Bar, t.Fill)
		s.text(x, y+13, 11, true, t.Ink, "middle", fmt.Sprintf("%s %d", word, n))
		most = max(most, s.list(at[n], x, y+18, cell))
	}
	return y + 26 + planLine*float64(most)
}

// mains draws the main bearings along the crankshaft, each between the cells of the
// crankpins beside it as far as their number fits.
func (s *Scene) mains(c *evidence.Case, p places, from, n, longest int, cell, y float64) float64 {
	count, _ := c.Engine.Count(evidence.Main)
	if count == 0 {
		return y
	}
	s.text(planLeft-8, y+13, 11, true, inkDark, "end", "mains")
	first, last := 1+from*(count-1)/longest, 1+(from+n)*(count-1)/longest
	if from > 0 {
		first++
	}
	if count == 1 {
		first, last = 1, 1
	}
	var list []int
	for i := first; i <= last; i++ {
		list = append(list, i)
	}
	if len(list) == 0 {
		return y
	}
	room := pageWide - planLeft - 10
	pitch := room / float64(len(list))
	s.line(inkLine, 5, false, [2]float64{planLeft + 4, y + 9}, [2]float64{planLeft + room - 4, y + 9})
	most := 0
	for i, m := range list {
		t := tone(worst(p.at[evidence.Main][m]))
		x := planLeft + pitch*(float64(i)+0.5)
		wide := min(58, pitch-8)
		s.rect(x-wide/2, y, wide, 18, t.Bar, t.Fill)
		s.text(x, y+13, 11, true, t.Ink, "middle", fmt.Sprintf("main %d", m))
		most = max(most, s.list(p.at[evidence.Main][m], x, y+18, pitch))
	}
	return y + 28 + planLine*float64(most)
}

// shafts draws camshafts and their bearings where something was found on them.
func (s *Scene) shafts(c *evidence.Case, p places, y float64) float64 {
	for _, k := range []struct {
		kind        evidence.Kind
		title, word string
	}{{evidence.Camshaft, "camshafts", "cam"}, {evidence.CamBearing, "cam bearings", "bearing"}} {
		if len(p.at[k.kind]) == 0 {
			continue
		}
		count, _ := c.Engine.Count(k.kind)
		for from := 1; from <= count; from += perRow {
			n := min(perRow, count-from+1)
			var list []int
			for i := from; i < from+n; i++ {
				list = append(list, i)
			}
			y = s.boxes(p.at[k.kind], k.title, k.word, list, (pageWide-planLeft-10)/float64(n), 0, y)
		}
	}
	return y
}

// others lists parts of which there is one, or of which no position is told.
func (s *Scene) others(b *rules.Book, p places, y float64) float64 {
	if len(p.part) == 0 {
		return y
	}
	s.line(inkFaint, 1, false, [2]float64{4, y}, [2]float64{pageWide - 4, y})
	s.text(4, y+16, 11, true, inkDark, "start", "parts of which there is one, or with no position told")
	y += 24
	const columns = 3
	wide := (pageWide - 8) / columns
	high := 0.0
	for i, id := range p.part {
		if i%columns == 0 {
			y += high
			high = 0
		}
		x := 4 + wide*float64(i%columns)
		t := tone(worst(p.one[id]))
		lines := wrapped(strings.Join(words(p.one[id]), " · "), planText, false, wide-20)
		name := wrapped(partName(b, id), planText, true, wide-20)
		h := 6 + planLine*float64(len(lines)+len(name))
		s.rect(x, y, 6, h-4, t.Bar, t.Fill)
		for k, l := range name {
			s.text(x+12, y+9.5+planLine*float64(k), planText, true, inkDark, "start", l)
		}
		for k, l := range lines {
			s.text(x+12, y+9.5+planLine*float64(k+len(name)), planText, false, inkDark, "start", l)
		}
		high = max(high, h+4)
	}
	return y + high
}

func partName(b *rules.Book, id string) string {
	if p := b.Part(id); p != nil {
		return p.Name
	}
	return strings.ReplaceAll(id, "_", " ")
}

// planAlt says the plan in words.
func planAlt(c *evidence.Case, p places) string {
	var out []string
	for _, k := range evidence.Kinds() {
		count, _ := c.Engine.Count(k)
		for i := 1; i <= count; i++ {
			if m := p.at[k][i]; len(m) > 0 {
				out = append(out, c.Engine.Name(k, i)+": "+strings.Join(words(m), ", "))
			}
		}
	}
	if len(out) == 0 {
		return "Plan of the engine; no finding has a position."
	}
	return "Plan of the engine with the findings on their positions. " + strings.Join(out, "; ") + ". The table below says the same."
}
