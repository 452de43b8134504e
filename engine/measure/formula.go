package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/rules"
)

// trace notes, while something is worked out, what it rests on. A nil trace notes
// nothing.
type trace struct {
	m       *maker
	used    []int // raws
	facts   int
	missing []string
	notes   []string
}

func (m *maker) trace() *trace { return &trace{m: m} }

func (t *trace) use(raws ...int) {
	if t == nil {
		return
	}
	for _, r := range raws {
		if !slices.Contains(t.used, r) {
			t.used = append(t.used, r)
		}
	}
}

func (t *trace) miss(format string, args ...any) {
	if t == nil {
		return
	}
	if s := fmt.Sprintf(format, args...); !slices.Contains(t.missing, s) {
		t.missing = append(t.missing, s)
	}
}

func (t *trace) note(format string, args ...any) {
	if t == nil {
		return
	}
	if s := fmt.Sprintf(format, args...); !slices.Contains(t.notes, s) {
		t.notes = append(t.notes, s)
	}
}

func (t *trace) fact() {
	if t != nil {
		t.facts++
	}
}

// at is a quantity at a position: the mean of what was read there, else what is
// worked out; not a number where neither is known.
func (m *maker) at(q *rules.Quantity, i int, x []float64, tr *trace) float64 {
	here := m.here(q, i, "")
	switch {
	case len(here) > 0:
		tr.use(here...)
		return mean(x, here)
	case q.Formula != nil:
		return m.formula(q.Formula, q.Part.Per, i, x, tr)
	}
	tr.miss("%s", m.named(q, i))
	return math.NaN()
}

// extreme is a quantity at a position as it is held against one side of its limit:
// where it was read in several places, in the place where it is the largest (or
// the smallest), since the limit holds for every one of them.
func (m *maker) extreme(q *rules.Quantity, i int, highest bool, x []float64, tr *trace) float64 {
	places := map[string][]int{}
	var order []string
	for _, k := range m.here(q, i, "") {
		p := m.raws[k].place
		if places[p] == nil {
			order = append(order, p)
		}
		places[p] = append(places[p], k)
	}
	if len(order) < 2 {
		return m.at(q, i, x, tr)
	}
	out := math.NaN()
	for _, p := range order {
		tr.use(places[p]...)
		if v := mean(x, places[p]); math.IsNaN(out) || v > out == highest && v != out {
			out = v
		}
	}
	if highest {
		tr.note("the largest of %d places", len(order))
	} else {
		tr.note("the smallest of %d places", len(order))
	}
	return out
}

// here are the numbers read of a quantity at a position, in places that have a
// word where one is given.
func (m *maker) here(q *rules.Quantity, i int, word string) []int {
	var out []int
	for _, k := range m.of[q] {
		if r := m.raws[k]; r.index == i && r.part == "" && (word == "" || rules.HasWord(r.place, word)) {
			out = append(out, k)
		}
	}
	return out
}

func mean(x []float64, raws []int) float64 {
	sum := 0.0
	for _, k := range raws {
		sum += x[k]
	}
	return sum / float64(len(raws))
}

// named is a quantity at a position as one says it: "rod journal: diameter, rod 3".
func (m *maker) named(q *rules.Quantity, i int) string {
	if at := m.c.Engine.Name(q.Part.Per, i); at != "" {
		return q.Title() + ", " + at
	}
	return q.Title()
}

func (m *maker) formula(f *rules.Formula, per evidence.Kind, i int, x []float64, tr *trace) float64 {
	values := make([]float64, len(f.Uses))
	for k, u := range f.Uses {
		values[k] = m.use(u, per, i, x, tr)
	}
	for _, v := range values {
		if math.IsNaN(v) {
			return v
		}
	}
	return f.Eval(values)
}

// mapped is the position of one kind that belongs to a position of another.
func (m *maker) mapped(per evidence.Kind, i int, of evidence.Kind) (int, bool) {
	switch {
	case of == evidence.One:
		return 0, true
	case of == per, upright(of) && upright(per):
		return i, true
	case upright(of):
		c := m.c.Engine.CylinderOf(per, i)
		return c, c > 0
	case of == evidence.Bank:
		c := i
		if !upright(per) {
			c = m.c.Engine.CylinderOf(per, i)
		}
		b := m.c.Engine.BankOf(c)
		return b, b > 0
	}
	return 0, false
}

func upright(k evidence.Kind) bool { return k == evidence.Cylinder || k == evidence.Rod }

func (m *maker) use(u rules.Use, per evidence.Kind, i int, x []float64, tr *trace) float64 {
	if u.Quantity == nil {
		v, ok := m.c.FactSI(u.Of, u.Fact)
		if !ok {
			tr.miss("%s under [%s]", u.Fact, u.Of)
			return math.NaN()
		}
		tr.fact()
		return v
	}
	q := u.Quantity
	if wholeSet(u.Of) {
		return m.over(u.Of, q, m.all(q.Part.Per), x, tr)
	}
	j, ok := m.mapped(per, i, q.Part.Per)
	if !ok {
		return math.NaN()
	}
	switch u.Of {
	case "":
		return m.at(q, j, x, tr)
	case "at", "range_here":
		return m.places(u, q, j, x, tr)
	case "upper", "lower":
		b := m.bound(m.limitAt(q, j), u.Of == "upper", x, tr)
		if math.IsNaN(b) {
			tr.miss("the limit of %s", m.named(q, j))
		}
		return b
	case "code":
		for _, k := range m.of[q] {
			if r := m.raws[k]; r.index == j && r.part == u.Word {
				tr.use(k)
				return x[k]
			}
		}
		tr.miss("%s", m.named(q, j))
		return math.NaN()
	}
	others := m.others(u.Of, q.Part.Per, j)
	rest := m.over("median", q, others, x, tr)
	switch u.Of {
	case "neighbours", "bank":
		return m.over("mean", q, others, x, tr)
	case "outlier":
		return m.at(q, j, x, tr) - rest
	}
	return rest
}

func wholeSet(of string) bool {
	return slices.Contains([]string{"lowest", "highest", "mean", "median", "spread", "count", "trend"}, of)
}

// others are the positions that one is held against.
func (m *maker) others(of string, k evidence.Kind, i int) []int {
	switch of {
	case "neighbours":
		return m.c.Engine.Adjacent(k, i)
	case "bank":
		var out []int
		for _, j := range m.all(k) {
			if j != i && m.bankOf(k, j) == m.bankOf(k, i) {
				out = append(out, j)
			}
		}
		return out
	}
	return slices.DeleteFunc(m.all(k), func(j int) bool { return j == i })
}

func (m *maker) bankOf(k evidence.Kind, i int) int {
	if !upright(k) {
		i = m.c.Engine.CylinderOf(k, i)
	}
	return m.c.Engine.BankOf(i)
}

// places are functions of the readings at one position.
func (m *maker) places(u rules.Use, q *rules.Quantity, j int, x []float64, tr *trace) float64 {
	here := m.here(q, j, u.Word)
	tr.use(here...)
	if u.Of == "at" {
		if len(here) == 0 {
			tr.miss("%s at its %s", m.named(q, j), u.Word)
			return math.NaN()
		}
		return mean(x, here)
	}
	if len(here) < 2 {
		tr.miss("a second reading of %s", m.named(q, j))
		return math.NaN()
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, k := range here {
		low, high = min(low, x[k]), max(high, x[k])
	}
	return high - low
}

// least is how many positions a function needs.
var least = map[string]int{"spread": 2, "trend": 3}

// over works out a function over some positions. Those that were not read are left
// out and told.
func (m *maker) over(of string, q *rules.Quantity, positions []int, x []float64, tr *trace) float64 {
	var at, values []float64
	var missing []string
	for _, i := range positions {
		inner := m.quiet(tr)
		v := m.at(q, i, x, inner)
		if math.IsNaN(v) {
			missing = append(missing, m.c.Engine.Name(q.Part.Per, i))
			continue
		}
		if tr != nil {
			tr.use(inner.used...)
			tr.facts += inner.facts
		}
		at, values = append(at, float64(i)), append(values, v)
	}
	if of == "count" {
		return float64(len(values))
	}
	if len(values) < max(1, least[of]) {
		switch {
		case len(missing) == 0:
			tr.miss("a second position to hold %s against", q.Title())
		default:
			tr.miss("%s at %s", q.Title(), strings.Join(missing, ", "))
		}
		return math.NaN()
	}
	if len(missing) > 0 {
		tr.note("not read: %s at %s", q.Title(), strings.Join(missing, ", "))
	}
	switch of {
	case "lowest":
		return slices.Min(values)
	case "highest":
		return slices.Max(values)
	case "spread":
		return slices.Max(values) - slices.Min(values)
	case "mean":
		return sum(values) / float64(len(values))
	case "median":
		return median(values)
	}
	return rise(at, values)
}

// quiet is a trace of its own, for positions of which some may be missing.
func (m *maker) quiet(tr *trace) *trace {
	if tr == nil {
		return nil
	}
	return m.trace()
}

func sum(values []float64) float64 {
	s := 0.0
	for _, v := range values {
		s += v
	}
	return s
}

func median(values []float64) float64 {
	v := slices.Sorted(slices.Values(values))
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// rise is how much a straight line through the values, by least squares, rises
// from the first position to the last.
func rise(at, values []float64) float64 {
	a, v := sum(at)/float64(len(at)), sum(values)/float64(len(values))
	xy, xx := 0.0, 0.0
	for i := range at {
		xy += (at[i] - a) * (values[i] - v)
		xx += (at[i] - a) * (at[i] - a)
	}
	return xy / xx * (at[len(at)-1] - at[0])
}
