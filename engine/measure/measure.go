// Package measure holds what was measured against its limits: values and their
// uncertainty, values worked out from others, and which signs of the book they
// amount to, how surely.
//
// Uncertainty is carried through to first order (GUM, JCGM 100:2008, 5.1 and
// 5.2), with the bias of one tool shared by all its readings; the probability of
// lying beyond a limit is that of JCGM 106:2012, 7.3, and takes in the doubt of
// the limit where it is a rule of the trade and no maker's value.
package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/rules"
)

// Table is all that was measured in a case.
type Table struct {
	Values []Value  // by part and quantity in the order of the book, then by position
	Tests  []Result // of signs that could be held against readings, in the order of the book
	// Left are readings that come to nothing, and why, in the order of the case.
	Left []Left
}

// Value is a quantity at a position, read or worked out.
type Value struct {
	Quantity *rules.Quantity
	Index    int    // position; 0 for one an engine
	At       string // "rod 3"
	Readings []string
	Derived  bool
	Known    bool
	SI       float64
	Doubt    quantity.Doubt
	// Missing says what is wanted for it to be known, and Notes what to bear in
	// mind ("2 of 4 cylinders were not read: 3 and 4").
	Missing []string
	Notes   []string
	Code    *quantity.Code
	Limit   Limit
	// Below and Above are the probabilities that it lies below its lower and above
	// its upper limit; not a number where there is no such limit.
	Below, Above float64
	// Inches tells that its readings were taken in inches, pounds or Fahrenheit.
	Inches bool
}

// Limit is what a value is held against.
type Limit struct {
	Lower, Upper *Bound // nil where there is none
	New          quantity.Limit
	Sizes        []float64 // steps under or over standard, SI
	For          string    // new, service, release
	From         string    // whose
	// RuleOfThumb tells that it is a rule of the trade, and no maker's value.
	RuleOfThumb bool
}

// Bound is one side of a limit, in SI units, with its standard uncertainty.
type Bound struct {
	SI    float64
	Doubt float64
}

// Margin is how far inside its nearest limit a value lies, in SI units, and how
// many standard uncertainties that is; negative beyond it. ok is false where there
// is nothing to hold it against.
func (v Value) Margin() (si, sigmas float64, ok bool) {
	if !v.Known {
		return 0, 0, false
	}
	si = math.Inf(1)
	doubt := 0.0
	if b := v.Limit.Upper; b != nil {
		si, doubt = b.SI-v.SI, b.Doubt
	}
	if b := v.Limit.Lower; b != nil && v.SI-b.SI < si {
		si, doubt = v.SI-b.SI, b.Doubt
	}
	if math.IsInf(si, 1) {
		return 0, 0, false
	}
	u := math.Hypot(v.Doubt.Standard(), doubt)
	if u == 0 {
		return si, math.Copysign(math.Inf(1), si), true
	}
	return si, si / u, true
}

// Result is a sign held against readings at a position.
type Result struct {
	Sign     *rules.Sign
	Index    int
	At       string
	ID       string // of the finding that it is
	Readings []string
	// Beyond is the probability that what the sign says is so.
	Beyond float64
	// SameAs is the result that tells the same of the same readings and is told
	// more surely: only that one counts. "" for one that counts.
	SameAs string
	Note   string
	change map[int]float64 // by reading: how far it moves what is tested
}

// Left is a reading that is kept and comes to nothing.
type Left struct {
	Reading string
	Why     string
}

// raw is one number that was read.
type raw struct {
	r     *evidence.Reading
	q     *rules.Quantity
	index int
	place string
	part  string // "4", "6", "14" for the numbers of a code
	input quantity.Input
}

// table in the making.
type maker struct {
	book   *rules.Book
	c      *evidence.Case
	facts  map[string]any
	raws   []raw
	of     map[*rules.Quantity][]int // raws by quantity
	limits map[spotKey]*limitAt
	sides  map[*rules.Quantity][2]bool // lower, upper: which side of it the book speaks of
	out    Table
}

type spotKey struct {
	q     *rules.Quantity
	index int
}

// New works out what was measured. The case must have been checked against the
// book.
func New(book *rules.Book, c *evidence.Case) *Table {
	m := &maker{book: book, c: c, facts: rules.Facts(c.Engine, c.History), of: map[*rules.Quantity][]int{}, limits: map[spotKey]*limitAt{}, sides: Sides(book)}
	for i := range c.Readings {
		m.take(&c.Readings[i])
	}
	m.values()
	m.tests()
	m.words()
	m.left()
	return &m.out
}

// Sides tells, for each quantity, whether the book knows a lower and an upper
// limit of it: by a sign that tests it, or by a rule of the trade.
func Sides(book *rules.Book) map[*rules.Quantity][2]bool {
	out := map[*rules.Quantity][2]bool{}
	for _, s := range book.Signs {
		if s.Test != nil && s.Test.Of != nil {
			x := out[s.Test.Of]
			if s.Test.Above {
				x[1] = true
			} else {
				x[0] = true
			}
			out[s.Test.Of] = x
		}
	}
	for _, q := range book.Quantities {
		for _, l := range q.Limits {
			x := out[q]
			x[0], x[1] = x[0] || l.Min != nil, x[1] || l.Max != nil
			out[q] = x
		}
	}
	return out
}

// leave notes a reading that comes to nothing.
func (m *maker) leave(r *evidence.Reading, format string, args ...any) {
	m.out.Left = append(m.out.Left, Left{r.ID, fmt.Sprintf(format, args...)})
}

// take enters a reading as numbers at positions.
func (m *maker) take(r *evidence.Reading) {
	q := m.book.Quantity(r.Of)
	if q == nil {
		m.leave(r, "the book has no quantity %s", r.Of)
		return
	}
	if why := Slip(m.book, m.c, r); why != "" && !r.Checked {
		m.leave(r, "%s; it counts once it says checked = true", why)
		return
	}
	if !r.Value.Said() && r.Code == nil {
		return // a bound, a trend or a difference: see words
	}
	indexes, places := m.positions(r, q.Part)
	if len(indexes) == 0 {
		m.leave(r, "at which %s it was taken is not said", q.Part.Per.Word())
		return
	}
	for k, i := range indexes {
		if r.Code != nil {
			for p, size := range []string{"4", "6", "14"} {
				m.add(raw{r: r, q: q, index: i, place: places[k], part: size, input: quantity.Input{Value: float64(r.Code[p]), Doubt: quantity.Doubt{Half: 0.5}}})
			}
			continue
		}
		m.add(raw{r: r, q: q, index: i, place: places[k], input: m.input(r, q)})
	}
}

func (m *maker) add(x raw) {
	m.of[x.q] = append(m.of[x.q], len(m.raws))
	m.raws = append(m.raws, x)
}

// input is the value of a reading with its doubt.
func (m *maker) input(r *evidence.Reading, q *rules.Quantity) quantity.Input {
	v := r.Value
	in := quantity.Input{Value: v.SI()}
	tool := m.book.InstrumentNamed(r.Instrument)
	if tool == nil && r.Instrument == "" {
		tool = q.Instrument
	}
	if tool != nil && !tool.Reads(v.Unit.Dimension) {
		tool = nil // a micrometer that is said to have read a pressure tells nothing of its doubt
	}
	in.Instrument = r.Instrument
	var known quantity.Doubt
	if tool != nil {
		known = tool.Doubt(in.Value)
		if in.Instrument == "" {
			in.Instrument = tool.ID
		}
	}
	switch u := r.Uncertainty; {
	case u.Said():
		stated := u.DifferenceSI()
		if u.Unit.Symbol == "%" && v.Unit.Symbol != "%" {
			stated = u.Unit.SI(u.Number) * math.Abs(in.Value)
		}
		d, err := quantity.FromStated(stated, r.Coverage)
		if err != nil {
			d = quantity.Doubt{Repeat: stated} // told when the case was loaded
		}
		// Of what is stated, as much is shared as by the kind of tool.
		if all := math.Hypot(known.Repeat, known.Bias); all > 0 && d.Half == 0 {
			d = quantity.Doubt{Repeat: d.Repeat * known.Repeat / all, Bias: d.Repeat * known.Bias / all}
		}
		in.Doubt = d
	case r.By == evidence.Paper:
		// What a paper calls for is what it calls for.
	case tool != nil:
		in.Doubt = known
		// A value written more coarsely than the tool reads is known no better.
		in.Doubt.Half = max(in.Doubt.Half, v.Unit.Difference(v.Step)/2)
	default:
		// Nothing is known of the tool: one in the last digit that was written.
		in.Doubt.Half = v.Unit.Difference(v.Step)
	}
	return in
}

// positions are where a reading was taken: indexes, with the place at each.
// Nothing where it is not said, or only that it was some.
func (m *maker) positions(r *evidence.Reading, p *rules.Part) (indexes []int, places []string) {
	if p.Per == evidence.One {
		for _, s := range r.At {
			indexes, places = append(indexes, 0), append(places, s.Place)
		}
		if len(r.At) == 0 {
			return []int{0}, []string{""}
		}
		return indexes, places
	}
	n, _ := m.c.Engine.Count(p.Per)
	if n == 1 && len(r.At) == 0 {
		return []int{1}, []string{""}
	}
	for _, s := range r.At {
		is, err := m.c.Engine.Resolve(s, p.Per)
		if err != nil || s.Unknown != "" || s.Count > 0 {
			continue
		}
		for _, i := range is {
			indexes, places = append(indexes, i), append(places, s.Place)
		}
	}
	if slices.ContainsFunc(m.c.OrderLost, func(o evidence.PartRef) bool { return o.Part == p.ID }) && len(indexes) < n {
		return nil, nil // the positions can no longer be believed
	}
	return indexes, places
}

// count is how many positions a part has.
func (m *maker) count(k evidence.Kind) int {
	if k == evidence.One {
		return 1
	}
	n, _ := m.c.Engine.Count(k)
	return n
}

// all lists the positions of a kind: 0 for one an engine.
func (m *maker) all(k evidence.Kind) []int {
	if k == evidence.One {
		return []int{0}
	}
	out := make([]int, m.count(k))
	for i := range out {
		out[i] = i + 1
	}
	return out
}

// values works out every quantity that was read, or of which something was.
func (m *maker) values() {
	for _, q := range m.book.Quantities {
		for _, i := range m.all(q.Part.Per) {
			v, any := m.valueAt(q, i)
			if !any {
				continue
			}
			same := m.uniform(q, 0)
			if same {
				v.At = "" // of all positions together: told once
			}
			m.out.Values = append(m.out.Values, v)
			if same {
				break
			}
		}
	}
}

// uniform tells whether a derived value is the same at all positions: it is worked
// out from facts and from all positions at once.
func (m *maker) uniform(q *rules.Quantity, depth int) bool {
	if q.Part.Per == evidence.One || q.Formula == nil || len(m.of[q]) > 0 || depth > 20 {
		return false
	}
	for _, u := range q.Formula.Uses {
		if u.Quantity == nil || wholeSet(u.Of) || u.Of == "" && (u.Quantity.Part.Per == evidence.One || m.uniform(u.Quantity, depth+1)) {
			continue
		}
		return false
	}
	return true
}

func (m *maker) valueAt(q *rules.Quantity, i int) (v Value, any bool) {
	v = Value{Quantity: q, Index: i, At: m.c.Engine.Name(q.Part.Per, i), Derived: q.Formula != nil, Below: math.NaN(), Above: math.NaN()}
	if q.Kind == rules.CodeKind {
		return m.codeAt(v)
	}
	lim := m.limitAt(q, i)
	take := func(x []float64, tr *trace) float64 { return m.at(q, i, x, tr) }
	if one := lim.Lower != nil; one != (lim.Upper != nil) {
		take = func(x []float64, tr *trace) float64 { return m.extreme(q, i, !one, x, tr) }
	}
	tr := m.trace()
	take(m.nominal(), tr)
	if len(tr.used) == 0 && (tr.facts == 0 || len(tr.missing) > 0) {
		return v, false
	}
	v.Readings, v.Missing, v.Notes, v.Inches = m.ids(tr.used), tr.missing, tr.notes, m.inches(tr.used)
	v.Derived = q.Formula != nil && !slices.ContainsFunc(m.of[q], func(k int) bool { return m.raws[k].index == i })
	if c, ok := m.combine(tr.used, func(x []float64) float64 { return take(x, nil) }); ok {
		v.Known, v.SI, v.Doubt = true, c.Value, c.Doubt
	} else if len(v.Missing) == 0 {
		v.Missing = []string{"what it is worked out from has no value there (it divides by zero)"}
	}
	v.Limit = lim.Limit
	if v.Known {
		for _, side := range []struct {
			b    *Bound
			p    *float64
			sign float64
		}{{v.Limit.Upper, &v.Above, 1}, {v.Limit.Lower, &v.Below, -1}} {
			if side.b == nil {
				continue
			}
			if p, ok := m.beyond(q, i, side.sign > 0, lim); ok {
				*side.p = p
			}
		}
	}
	return v, true
}

func (m *maker) codeAt(v Value) (Value, bool) {
	for _, k := range m.of[v.Quantity] {
		if x := m.raws[k]; x.index == v.Index {
			v.Known, v.Code, v.Readings = true, x.r.Code, []string{x.r.ID}
			return v, true
		}
	}
	return v, false
}

// combine carries the uncertainty of the readings used through f.
func (m *maker) combine(used []int, f func(x []float64) float64) (quantity.Combined, bool) {
	in := make([]quantity.Input, len(used))
	for k, r := range used {
		in[k] = m.raws[r].input
	}
	x := m.nominal()
	return quantity.Combine(func(part []float64) float64 {
		for k, r := range used {
			x[r] = part[k]
		}
		return f(x)
	}, in)
}

func (m *maker) nominal() []float64 {
	x := make([]float64, len(m.raws))
	for i := range m.raws {
		x[i] = m.raws[i].input.Value
	}
	return x
}

// beyond is the probability that a quantity lies beyond its own limit.
func (m *maker) beyond(q *rules.Quantity, i int, above bool, lim *limitAt) (p float64, ok bool) {
	r, ok := m.hold(i, q.Part.Per, func(x []float64, tr *trace) float64 { return m.extreme(q, i, above, x, tr) }, func(x []float64, tr *trace) float64 { return m.bound(lim, above, x, tr) }, m.doubtOf(lim, above), above)
	return r.Beyond, ok
}

func (m *maker) doubtOf(lim *limitAt, above bool) float64 {
	b := lim.Lower
	if above {
		b = lim.Upper
	}
	if b == nil {
		return 0
	}
	return b.Doubt
}

// hold works out the probability that left lies above (or below) right.
func (m *maker) hold(i int, per evidence.Kind, left, right func([]float64, *trace) float64, extra float64, above bool) (r Result, ok bool) {
	tr := m.trace()
	left(m.nominal(), tr)
	right(m.nominal(), tr)
	if len(tr.used) == 0 {
		return r, false
	}
	c, ok := m.combine(tr.used, func(x []float64) float64 { return left(x, nil) - right(x, nil) })
	if !ok {
		return r, false
	}
	d := c.Doubt
	if extra > 0 {
		if d.Half > 0 {
			d = quantity.Doubt{Repeat: d.Standard()}
		}
		d.Repeat = math.Hypot(d.Repeat, extra)
	}
	r.Beyond = quantity.Above(c.Value, 0, d)
	if !above {
		r.Beyond = 1 - r.Beyond
	}
	r.Index, r.At, r.Readings = i, m.c.Engine.Name(per, i), m.ids(tr.used)
	r.change = map[int]float64{}
	for k, u := range tr.used {
		r.change[u] = c.Change[k]
		if !above {
			r.change[u] = -c.Change[k]
		}
	}
	return r, true
}

// ids lists the readings that numbers come from, in the order of the case.
func (m *maker) ids(used []int) []string {
	var out []string
	for _, k := range slices.Sorted(slices.Values(used)) {
		if id := m.raws[k].r.ID; !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

func (m *maker) inches(used []int) bool {
	n := 0
	for _, k := range used {
		if m.raws[k].r.Value.Unit.Imperial() {
			n++
		}
	}
	return n > 0 && 2*n >= len(used)
}

// tests holds every sign that is a test against the readings.
func (m *maker) tests() {
	for _, s := range m.book.Signs {
		if s.Test == nil {
			continue
		}
		for _, i := range m.all(s.Part.Per) {
			if r, ok := m.test(s, i); ok {
				r.Sign = s
				r.Note = m.note(s, i, r)
				m.out.Tests = append(m.out.Tests, r)
			}
		}
	}
	m.oneFact()
	m.name()
}

func (m *maker) test(s *rules.Sign, i int) (Result, bool) {
	t := s.Test
	per := s.Part.Per
	left := func(x []float64, tr *trace) float64 { return m.formula(t.Left, per, i, x, tr) }
	if t.Of == nil {
		return m.hold(i, per, left, func(x []float64, tr *trace) float64 { return m.formula(t.Right, per, i, x, tr) }, 0, t.Above)
	}
	j, ok := m.mapped(per, i, t.Of.Part.Per)
	if !ok {
		return Result{}, false
	}
	lim := m.limitAt(t.Of, j)
	if t.Above && lim.Upper == nil || !t.Above && lim.Lower == nil {
		return Result{}, false
	}
	left = func(x []float64, tr *trace) float64 { return m.extreme(t.Of, j, t.Above, x, tr) }
	return m.hold(i, per, left, func(x []float64, tr *trace) float64 { return m.bound(lim, t.Above, x, tr) }, m.doubtOf(lim, t.Above), t.Above)
}

// SameFact is the correlation from which two tests of the same readings tell one
// fact: they move together when a reading moves.
const SameFact = 0.6

// oneFact finds results that tell the same of the same readings: an undersize
// journal and the clearance that comes of it are one fact. Of these the surest
// counts. Correlation is taken over how far each reading moves what is tested,
// by its own uncertainty. Signs that nothing in common shows are facts of their own
// (a cylinder that is low, and low together with its neighbour), and what the book
// itself calls one fact is left to it.
func (m *maker) oneFact() {
	order := make([]int, len(m.out.Tests))
	for i := range order {
		order[i] = i
	}
	sure := func(i int) float64 { return math.Abs(m.out.Tests[i].Beyond - 0.5) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(sure(b), sure(a)) })
	for k, i := range order {
		for _, j := range order[:k] {
			o := &m.out.Tests[j]
			if o.SameAs == "" && oneSource(m.out.Tests[i].Sign, o.Sign) && together(m.out.Tests[i].change, o.change) > SameFact {
				m.out.Tests[i].SameAs = strconv.Itoa(j) // named below, once the names are known
				break
			}
		}
	}
}

// oneSource tells whether something shows both signs.
func oneSource(a, b *rules.Sign) bool {
	if a.SameFact != "" && a.Part == b.Part && a.SameFact == b.SameFact {
		return false
	}
	return slices.ContainsFunc(a.By, func(r *rules.Rule) bool {
		return slices.ContainsFunc(b.By, func(o *rules.Rule) bool { return o.From == r.From })
	})
}

func together(a, b map[int]float64) float64 {
	dot, aa, bb := 0.0, 0.0, 0.0
	for _, k := range sortedKeys(a) {
		dot += a[k] * b[k]
		aa += a[k] * a[k]
	}
	for _, k := range sortedKeys(b) {
		bb += b[k] * b[k]
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return dot / math.Sqrt(aa*bb)
}

func sortedKeys(m map[int]float64) []int {
	out := make([]int, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// name gives each result the id of the reading that moves it most: "R03"; with a
// letter where several results hang on the same one: "R03a", "R03b".
func (m *maker) name() {
	taken := map[string]int{}
	for _, r := range m.out.Tests {
		if r.SameAs == "" {
			taken[m.principal(r)]++
		}
	}
	given := map[string]int{}
	for i := range m.out.Tests {
		r := &m.out.Tests[i]
		if r.SameAs != "" {
			continue
		}
		r.ID = m.principal(*r)
		for base := r.ID; taken[base] > 1 && (r.ID == base || m.entry(r.ID)); given[base]++ {
			r.ID = base + letters(given[base])
		}
	}
	for i := range m.out.Tests {
		r := &m.out.Tests[i]
		if r.SameAs == "" {
			continue
		}
		if j, err := strconv.Atoi(r.SameAs); err == nil {
			r.SameAs = m.out.Tests[j].ID
		}
	}
}

// principal is the reading that moves a result most; of several alike the first.
func (m *maker) principal(r Result) string {
	best, most := "", -1.0
	for _, k := range sortedKeys(r.change) {
		if c := math.Abs(r.change[k]); c > most*(1+1e-9) {
			best, most = m.raws[k].r.ID, c
		}
	}
	return best
}

// entry tells whether something in the case has the id already.
func (m *maker) entry(id string) bool {
	c := m.c
	return slices.ContainsFunc(c.Readings, func(x evidence.Reading) bool { return x.ID == id }) ||
		slices.ContainsFunc(c.Findings, func(x evidence.Finding) bool { return x.ID == id }) ||
		slices.ContainsFunc(c.Fitted, func(x evidence.Fitted) bool { return x.ID == id }) ||
		slices.ContainsFunc(c.Works, func(x evidence.Work) bool { return x.ID == id }) ||
		slices.ContainsFunc(c.Acts, func(x evidence.Act) bool { return x.ID == id })
}

// letters counts a, b, …, z, aa, ab, ….
func letters(n int) string {
	s := string(rune('a' + n%26))
	if n >= 26 {
		return letters(n/26-1) + s
	}
	return s
}

// left notes readings on which no sign of the book hangs.
func (m *maker) left() {
	for i := range m.c.Readings {
		r := &m.c.Readings[i]
		counts := slices.ContainsFunc(m.out.Tests, func(t Result) bool { return slices.Contains(t.Readings, r.ID) })
		if !counts && !m.behindLimit(r) && !slices.ContainsFunc(m.out.Left, func(l Left) bool { return l.Reading == r.ID }) {
			m.leave(r, "%s", m.why(r))
		}
	}
	at := func(id string) int {
		return slices.IndexFunc(m.c.Readings, func(r evidence.Reading) bool { return r.ID == id })
	}
	slices.SortStableFunc(m.out.Left, func(a, b Left) int { return cmp.Compare(at(a.Reading), at(b.Reading)) })
}

// behindLimit tells that something was held against a limit that is worked out from
// the reading.
func (m *maker) behindLimit(r *evidence.Reading) bool {
	for key, l := range m.limits {
		if slices.ContainsFunc(l.rests, func(k int) bool { return m.raws[k].r == r }) && m.held(key) {
			return true
		}
	}
	return false
}

// held tells whether anything stands to be held against the limit of a quantity at a
// position: a value, or a bound in place of one.
func (m *maker) held(key spotKey) bool {
	return slices.ContainsFunc(m.out.Values, func(v Value) bool { return v.Known && v.Quantity == key.q && v.Index == key.index }) ||
		slices.ContainsFunc(m.out.Tests, func(t Result) bool { return t.Sign.Test != nil && t.Sign.Test.Of == key.q && t.Index == key.index })
}

// why says why nothing comes of a reading: what could be done about it, if anything.
func (m *maker) why(r *evidence.Reading) string {
	q := m.book.Quantity(r.Of)
	// Those that hold it against its own limit are asked before the others.
	var own, other []*rules.Sign
	trend := false
	for _, s := range m.book.Signs {
		trend = trend || s.Trend == q
		switch {
		case s.Test == nil:
		case s.Test.Of == q:
			own = append(own, s)
		case slices.Contains(m.reached(s.Test), q):
			other = append(other, s)
		}
	}
	asking := append(own, other...)
	switch {
	case len(asking) == 0 && !trend:
		return "nothing in the book hangs on it"
	case !r.Value.Said() && r.Code == nil:
		return "so little is said of it that it tells nothing"
	}
	for _, s := range asking {
		for _, i := range m.all(s.Part.Per) {
			tr := m.trace()
			m.formula(s.Test.Left, s.Part.Per, i, m.nominal(), tr)
			if s.Test.Right != nil {
				m.formula(s.Test.Right, s.Part.Per, i, m.nominal(), tr)
			}
			if !slices.Contains(m.ids(tr.used), r.ID) {
				continue
			}
			switch t := s.Test.Of; {
			case len(tr.missing) > 0:
				return "what hangs on it wants more: " + strings.Join(tr.missing, "; ")
			case t == q:
				return fmt.Sprintf("there is no limit to hold it against: give the maker's in [limit.%s]", t.ID)
			case t != nil:
				return fmt.Sprintf("there is no limit to hold the %s against: give the maker's in [limit.%s]", t.Name, t.ID)
			}
		}
	}
	return "what it would be held against is not known"
}

// reached lists the quantities that a test asks about, and those that these are
// worked out from.
func (m *maker) reached(t *rules.Test) []*rules.Quantity {
	out := t.Quantities()
	for k := 0; k < len(out); k++ {
		if out[k].Formula == nil {
			continue
		}
		for _, u := range out[k].Formula.Uses {
			if u.Quantity != nil && !slices.Contains(out, u.Quantity) {
				out = append(out, u.Quantity)
			}
		}
	}
	return out
}

// Findings are the results as evidence: one for each sign and position.
func (t *Table) Findings(c *evidence.Case) []evidence.Finding {
	var out []evidence.Finding
	for _, r := range t.Tests {
		if r.SameAs != "" {
			continue
		}
		f := evidence.Finding{ID: r.ID, Sign: r.Sign.ID, State: evidence.NotFound, By: evidence.Gauge, Sure: evidence.Certain, Note: r.Note, Beyond: new(float64)}
		*f.Beyond = r.Beyond
		if r.Beyond >= 0.5 {
			f.State = evidence.Seen
		}
		if r.At != "" {
			s, err := evidence.ParseSpot(r.At)
			if err == nil {
				f.At = []evidence.Spot{s}
			}
		}
		for i, id := range r.Readings {
			x := c.Reading(id)
			f.After, f.Before = append(f.After, x.After...), append(f.Before, x.Before...)
			if i == 0 {
				f.By, f.Sample, f.Who, f.Pos, f.SignPos = x.By, x.Sample, x.Who, x.Pos, x.OfPos
			}
		}
		out = append(out, f)
	}
	return out
}

// Weighed is the case with what its readings amount to among its findings.
func (t *Table) Weighed(c *evidence.Case) *evidence.Case {
	w := *c
	w.Measured = t.Findings(c)
	return &w
}
