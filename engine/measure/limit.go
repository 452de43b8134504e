package measure

import (
	"fmt"
	"math"
	"slices"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/rules"
)

// limitAt is a limit at a position; one of the trade is worked out from readings,
// so that it moves with them.
type limitAt struct {
	Limit
	trade *rules.TradeLimit
	rests []int // raws that it is worked out from
	per   evidence.Kind
	index int
	open  bool // being worked out: a limit that asks for itself has no value
}

// bound is one side of a limit; not a number where there is none.
func (m *maker) bound(l *limitAt, upper bool, x []float64, tr *trace) float64 {
	b := l.Lower
	if upper {
		b = l.Upper
	}
	switch {
	case l.trade != nil:
		f := l.trade.Min
		if upper {
			f = l.trade.Max
		}
		if f == nil || l.open {
			return math.NaN()
		}
		l.open = true
		defer func() { l.open = false }()
		return m.formula(f, l.per, l.index, x, tr)
	case b == nil:
		return math.NaN()
	}
	return b.SI
}

// limitAt is what holds for a quantity at a position: what the reading itself
// names, else the case's or the shop's, else a rule of the trade.
func (m *maker) limitAt(q *rules.Quantity, i int) *limitAt {
	key := spotKey{q, i}
	if l, ok := m.limits[key]; ok {
		return l
	}
	l := &limitAt{per: q.Part.Per, index: i}
	m.limits[key] = l
	m.makers(l, q, i)
	if l.Lower == nil && l.Upper == nil && l.New.Text == "" {
		m.trades(l, q)
	}
	if len(l.Sizes) == 0 {
		l.Sizes = q.Sizes
	}
	return l
}

// makers fills in what the case and its files of limits say.
func (m *maker) makers(l *limitAt, q *rules.Quantity, i int) {
	for _, k := range m.of[q] {
		r := m.raws[k].r
		if m.raws[k].index != i || !r.Limit.Said() || l.From != "" {
			continue
		}
		l.From, l.For = r.LimitFrom, r.LimitFor
		if l.From == "" {
			l.From = "the case"
		}
		m.side(l, r.Limit, q)
	}
	newFrom := ""
	for _, x := range m.c.Limits {
		if x.Of != q.ID || !m.covers(x, q, i) {
			continue
		}
		if l.From == "" && (x.Min.Said() || x.Max.Said()) {
			l.From, l.For = x.From, x.For
			m.side(l, quantity.Limit{Min: x.Min, Max: x.Max}, q)
		}
		if l.New.Text == "" && x.New.Said() {
			l.New, newFrom = x.New, x.From
		}
		if len(l.Sizes) == 0 {
			for _, s := range x.Sizes {
				l.Sizes = append(l.Sizes, s.DifferenceSI())
			}
			slices.Sort(l.Sizes)
		}
	}
	if l.From == "" && l.New.Said() {
		// Nothing but what is new is known: that is the limit, and says so.
		l.From, l.For = newFrom, "new"
		m.side(l, l.New, q)
	}
}

func (m *maker) covers(x evidence.Limit, q *rules.Quantity, i int) bool {
	if len(x.At) == 0 {
		return true
	}
	for _, s := range x.At {
		if is, err := m.c.Engine.Resolve(s, q.Part.Per); err == nil && slices.Contains(is, i) {
			return true
		}
	}
	return false
}

func (m *maker) side(l *limitAt, lim quantity.Limit, q *rules.Quantity) {
	if lim.Min.Said() {
		l.Lower = &Bound{SI: lim.Min.SI()}
	}
	if lim.Max.Said() {
		l.Upper = &Bound{SI: lim.Max.SI()}
	}
	if lim.Bare.Said() {
		if m.sides[q][1] {
			l.Upper = &Bound{SI: lim.Bare.SI()}
		} else {
			l.Lower = &Bound{SI: lim.Bare.SI()}
		}
	}
}

// trades fills in the first rule of the trade that holds for this engine.
func (m *maker) trades(l *limitAt, q *rules.Quantity) {
	for _, want := range []rules.Truth{rules.Yes, rules.Unknown} {
		for _, t := range q.Limits {
			if t.When.Eval(m.facts) != want {
				continue
			}
			l.trade = t
			x := m.nominal()
			for _, side := range []struct {
				f    *rules.Formula
				into **Bound
			}{{t.Min, &l.Lower}, {t.Max, &l.Upper}} {
				if side.f == nil {
					continue
				}
				tr := m.trace()
				if v := m.formula(side.f, l.per, l.index, x, tr); !math.IsNaN(v) && !math.IsInf(v, 0) {
					*side.into = &Bound{SI: v, Doubt: t.Doubt.Of(v)}
					l.rests = append(l.rests, tr.used...)
				}
			}
			if l.Lower == nil && l.Upper == nil {
				l.trade = nil // what it is worked out from is not known
				continue
			}
			l.For, l.From, l.RuleOfThumb = t.For, t.Source, true
			return
		}
	}
}

// Slip asks about a reading that is hardly possible: outside of what such a part
// can have, or many times off its limit. "" where there is nothing to ask.
func Slip(book *rules.Book, c *evidence.Case, r *evidence.Reading) string {
	q := book.Quantity(r.Of)
	if q == nil || !r.Value.Said() || r.Value.Unit.Dimension != q.Dimension() {
		return ""
	}
	v := r.Value.SI()
	u, _ := q.Shown(r.Value.Unit.Imperial())
	ask := "did the decimal point or the unit slip"
	switch {
	case v > q.Most:
		return fmt.Sprintf("%s is more than the %s that a %s can be expected to have (%s?)", r.Value.Text, plainly(u, q.Most), q.Part.Name, ask)
	case v < q.Least && v >= 0:
		return fmt.Sprintf("%s is less than the %s that a %s can be expected to have (%s?)", r.Value.Text, plainly(u, q.Least), q.Part.Name, ask)
	}
	for _, l := range limitsOf(c, r) {
		if l.Unit.Dimension != r.Value.Unit.Dimension || l.SI() <= 0 || r.Value.Unit.Offset != 0 || v <= 0 {
			continue
		}
		times := v / l.SI()
		far := times >= 9.5 || times <= 1/9.5
		if q.Kind == rules.SizeKind {
			far = times >= 2 || times <= 0.5
		} else if times < 1 && !isLeast(c, r, l) {
			far = false // far inside an upper limit is nothing odd
		}
		if far {
			return fmt.Sprintf("%s is %s its limit %s (%s?)", r.Value.Text, timesOff(times), l.Text, ask)
		}
	}
	return ""
}

// plainly shows a bound to three figures.
func plainly(u quantity.Unit, si float64) string {
	return fmt.Sprintf("%.3g %s", u.Number(si), u.Symbol)
}

func timesOff(times float64) string {
	if times >= 1 {
		return fmt.Sprintf("%.3g times", times)
	}
	return fmt.Sprintf("1/%.3g of", 1/times)
}

// limitsOf lists the limits that a reading would be held against, of all sides.
func limitsOf(c *evidence.Case, r *evidence.Reading) []quantity.Value {
	var out []quantity.Value
	add := func(values ...quantity.Value) {
		for _, v := range values {
			if v.Said() {
				out = append(out, v)
			}
		}
	}
	add(r.Limit.Min, r.Limit.Max, r.Limit.Bare)
	if len(out) > 0 {
		return out
	}
	for _, l := range c.Limits {
		if l.Of == r.Of {
			add(l.Min, l.Max, l.New.Min, l.New.Max)
		}
	}
	return out
}

func isLeast(c *evidence.Case, r *evidence.Reading, v quantity.Value) bool {
	if r.Limit.Min == v {
		return true
	}
	return slices.ContainsFunc(c.Limits, func(l evidence.Limit) bool { return l.Of == r.Of && l.Min == v })
}
