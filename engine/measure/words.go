package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/rules"
)

// toldSo is how surely a sign is taken as there where a reading is told in words
// ("rising", "lower than the others") and not in numbers: as a fairly sure sight,
// 20 to 1 (rules.Sures).
const toldSo = 20.0 / 21

// words enters readings of which only a bound, a trend or a difference is known.
func (m *maker) words() {
	for i := range m.c.Readings {
		r := &m.c.Readings[i]
		q := m.book.Quantity(r.Of)
		if q == nil || r.Value.Said() || r.Code != nil || m.dropped(r) {
			continue
		}
		indexes, _ := m.positions(r, q.Part)
		for _, s := range m.book.Signs {
			for _, i := range indexes {
				if p, note, ok := m.told(s, r, q, i); ok {
					j, fits := m.mapped(q.Part.Per, i, s.Part.Per)
					if !fits {
						continue
					}
					m.out.Tests = append(m.out.Tests, Result{Sign: s, Index: j, At: m.c.Engine.Name(s.Part.Per, j), ID: m.free(r.ID), Readings: []string{r.ID}, Beyond: p, Note: note})
				}
			}
		}
	}
}

func (m *maker) dropped(r *evidence.Reading) bool {
	return slices.ContainsFunc(m.out.Left, func(l Left) bool { return l.Reading == r.ID })
}

// free is an id for a result of one reading that no other result has.
func (m *maker) free(id string) string {
	taken := func(id string) bool {
		return slices.ContainsFunc(m.out.Tests, func(t Result) bool { return t.ID == id })
	}
	if !taken(id) {
		return id
	}
	for n := 0; ; n++ {
		if next := id + letters(n); !taken(next) && !m.entry(next) {
			return next
		}
	}
}

// told is how surely a reading in words says that a sign is there.
func (m *maker) told(s *rules.Sign, r *evidence.Reading, q *rules.Quantity, i int) (p float64, note string, ok bool) {
	switch {
	case s.Trend == q && r.Trend != "":
		if r.Trend == "rising" {
			return toldSo, "rising", true
		}
		return 1 - toldSo, r.Trend, true
	case s.Test == nil:
		return 0, "", false
	case len(r.Unlike) > 0 && (r.How == "higher" || r.How == "lower"):
		if !slices.ContainsFunc(s.Test.Left.Uses, func(u rules.Use) bool { return u.Of == "outlier" && u.Quantity == q }) {
			return 0, "", false
		}
		note = r.How + " than " + spots(r.Unlike)
		if s.Test.Above == (r.How == "higher") {
			return toldSo, note, true
		}
		return 1 - toldSo, note, true
	case s.Test.Of == q:
		return m.bounded(s.Test, r, q, i)
	}
	return 0, "", false
}

// bounded holds "at least" and "at most" against a limit: it tells something only
// where the bound itself lies on one side.
func (m *maker) bounded(t *rules.Test, r *evidence.Reading, q *rules.Quantity, i int) (p float64, note string, ok bool) {
	lim := m.limitAt(q, i)
	if r.Limit.Said() {
		lim = m.ownLimit(r, q)
	}
	b := lim.Lower
	if t.Above {
		b = lim.Upper
	}
	if b == nil {
		return 0, "", false
	}
	d := quantity.Doubt{Repeat: b.Doubt}
	u, digits := q.Shown(r.AtLeast.Unit.Imperial() || r.AtMost.Unit.Imperial())
	note = fmt.Sprintf("%s, limit %s (%s)", r.ValueText(), u.Show(b.SI, digits), lim.Whose())
	if r.AtLeast.Said() {
		if above := quantity.Above(r.AtLeast.SI(), b.SI, d); above >= 0.5 {
			if t.Above {
				return above, note, true
			}
			return 1 - above, note, true
		}
	}
	if r.AtMost.Said() {
		if below := 1 - quantity.Above(r.AtMost.SI(), b.SI, d); below >= 0.5 {
			if t.Above {
				return 1 - below, note, true
			}
			return below, note, true
		}
	}
	return 0, "", false
}

// ownLimit is the limit that a reading without a value names.
func (m *maker) ownLimit(r *evidence.Reading, q *rules.Quantity) *limitAt {
	l := &limitAt{Limit: Limit{From: r.LimitFrom, For: r.LimitFor}}
	if l.From == "" {
		l.From = "the case"
	}
	m.side(l, r.Limit, q)
	return l
}

func spots(list []evidence.Spot) string {
	var out []string
	for _, s := range list {
		out = append(out, s.Text)
	}
	return strings.Join(out, ", ")
}

// Whose says whose limit it is, and that a rule of the trade is one.
func (l Limit) Whose() string {
	if l.RuleOfThumb {
		return RuleOfThumb
	}
	return l.From
}

// RuleOfThumb stands wherever a limit is shown that is a rule of the trade.
const RuleOfThumb = "rule of thumb, no maker's value given"

// note tells a result in numbers.
func (m *maker) note(s *rules.Sign, i int, r Result) string {
	t := s.Test
	if t.Of != nil {
		if j, ok := m.mapped(s.Part.Per, i, t.Of.Part.Per); ok {
			for _, v := range m.out.Values {
				if v.Quantity == t.Of && v.Index == j {
					return v.Against(t.Above)
				}
			}
		}
		return ""
	}
	x := m.nominal()
	tr := m.trace()
	left, right := m.formula(t.Left, s.Part.Per, i, x, tr), m.formula(t.Right, s.Part.Per, i, x, tr)
	show := func(v float64) string { return fmt.Sprintf("%.3g", v) }
	if u, err := quantity.ParseUnit(t.Unit); err == nil {
		inch := m.inches(tr.used)
		digits := t.Digits
		if inch && t.InchUnit != "" {
			if in, err := quantity.ParseUnit(t.InchUnit); err == nil {
				digits = max(0, digits+int(math.Ceil(math.Log10(in.Factor/u.Factor))))
				u = in
			}
		}
		show = func(v float64) string { return u.ShowDifference(v, digits) }
		if u.Offset != 0 && m.moves(t.Left, s.Part.Per, i, u.Dimension) {
			show = func(v float64) string { return u.Show(v, digits) }
		}
	}
	out := show(left) + " against " + show(right)
	if len(r.Readings) > 1 {
		out += ", from " + strings.Join(r.Readings, ", ")
	}
	if len(tr.notes) > 0 {
		out += "; " + strings.Join(tr.notes, "; ")
	}
	return out
}

// moves tells whether what a formula comes to has a zero point, as a temperature has
// and a difference of two has not: it moves when all readings of its dimension do.
func (m *maker) moves(f *rules.Formula, per evidence.Kind, i int, d quantity.Dimension) bool {
	x := m.nominal()
	was := m.formula(f, per, i, x, nil)
	for k := range x {
		if m.raws[k].q.Dimension() == d {
			x[k]++
		}
	}
	return math.Abs(m.formula(f, per, i, x, nil)-was) > 0.5
}

// Against tells a value with one side of its limit: "67.86 ± 0.01 mm, 0.07 mm under
// the least 67.93 mm (maker's manual)".
func (v Value) Against(upper bool) string {
	u, digits := v.Quantity.Shown(v.Inches)
	b, side := v.Limit.Lower, "least"
	if upper {
		b, side = v.Limit.Upper, "most"
	}
	if !v.Known || b == nil {
		return ""
	}
	over := v.SI - b.SI
	how := "over"
	switch {
	case over < 0 && upper, over > 0 && !upper:
		how = "inside"
	case over < 0:
		how = "under"
	}
	by := u.ShowDifference(math.Abs(over), digits)
	if by == u.ShowDifference(0, digits) {
		return fmt.Sprintf("%s, at its %s of %s (%s)", v.Shown(), side, u.Show(b.SI, digits), v.Limit.Whose())
	}
	return fmt.Sprintf("%s, %s %s its %s of %s (%s)", v.Shown(), by, how, side, u.Show(b.SI, digits), v.Limit.Whose())
}

// Shown is the value with its expanded uncertainty at 95 in 100: "67.860 ± 0.010 mm".
func (v Value) Shown() string {
	switch {
	case v.Code != nil:
		return fmt.Sprintf("%d/%d/%d", v.Code[0], v.Code[1], v.Code[2])
	case !v.Known:
		return "not known"
	}
	u, digits := v.Quantity.Shown(v.Inches)
	text := u.Show(v.SI, digits)
	e := u.NumberOfDifference(Expanded(v.Doubt))
	if e <= 0 {
		return text
	}
	number := strings.TrimSuffix(strings.TrimSuffix(text, u.Symbol), " ")
	return fmt.Sprintf("%s ± %s", number, strings.TrimLeft(u.ShowDifference(Expanded(v.Doubt), max(digits, figure(e))), " "))
}

// figure is how many decimals show the first figure of x.
func figure(x float64) int {
	if x <= 0 || x >= 1 {
		return 0
	}
	return min(6, int(math.Ceil(-math.Log10(x))))
}

// Expanded is the uncertainty that covers 95 in 100: 1.96 standard uncertainties, or
// 0.95 of the half width where that is all that is known.
func Expanded(d quantity.Doubt) float64 {
	if d.Repeat == 0 && d.Bias == 0 {
		return 0.95 * d.Half
	}
	return 1.96 * d.Standard()
}
