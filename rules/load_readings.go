package rules

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

func (l *loader) readInstrument(id string, t *source.Table) {
	i := &Instrument{ID: id, Name: t.Need("name"), Also: l.also(t), Source: t.Need("source"), Pack: l.pack, Pos: t.Position()}
	i.Repeat, i.Bias, i.Resolution = l.amount(t, "repeat", nil), l.amount(t, "bias", nil), l.amount(t, "resolution", nil)
	if !t.Has("repeat") && !t.Has("bias") && !t.Has("resolution") {
		l.faults.Add(t.Position(), `as in repeat = "0.003 mm"`, "[%s] does not say how far it can be trusted", t.Path())
	}
	i.Units = t.Strings("reads")
	for k, text := range i.Units {
		if _, err := quantity.ParseUnit(text); err != nil {
			t.FaultAt("reads", k, "", "%v", err)
		}
	}
	t.String("note")
	if l.claim("instrument "+id, t, "", t.Bool("replace")) {
		l.book.Instruments = slices.DeleteFunc(l.book.Instruments, func(o *Instrument) bool { return o.ID == id })
		l.instruments = slices.DeleteFunc(l.instruments, func(o pending[*Instrument]) bool { return o.thing.ID == id })
		l.book.Instruments = append(l.book.Instruments, i)
		l.instruments = append(l.instruments, pending[*Instrument]{i, t, l.pack})
	}
	t.Done()
}

// amount reads a difference with its unit or a per cent of the value. unit, where
// it is given, is what the difference must be of.
func (l *loader) amount(t *source.Table, key string, unit *quantity.Unit) Amount {
	if !t.Has(key) {
		return Amount{}
	}
	v, ok := l.valueOf(t, key, -1, t.String(key))
	if !ok {
		return Amount{}
	}
	if v.Number < 0 {
		t.FaultAt(key, -1, "", "%s cannot be negative", key)
	}
	if v.Unit.Symbol == "%" && (unit == nil || unit.Symbol != "%") {
		return Amount{Value: v.Unit.SI(v.Number), Share: true}
	}
	if unit != nil && v.Unit.Dimension != unit.Dimension {
		t.FaultAt(key, -1, "", "%s is %v, and must be %v or a per cent", key, v.Unit.Dimension, unit.Dimension)
	}
	return Amount{Value: v.DifferenceSI(), Unit: v.Unit.Symbol}
}

// valueOf reads a text as a value and notes why it is none.
func (l *loader) valueOf(t *source.Table, key string, i int, text string) (quantity.Value, bool) {
	v, err := quantity.Parse(text)
	if err != nil {
		t.FaultAt(key, i, hintOf(err), "%s: %v", key, err)
		return v, false
	}
	return v, true
}

func hintOf(err error) string {
	switch e := err.(type) {
	case quantity.ErrValue:
		return e.Hint
	case quantity.ErrUnit:
		return e.Hint
	}
	return ""
}

func (l *loader) readQuantity(part, name string, t *source.Table) {
	q := &Quantity{ID: part + "." + name, Name: t.Need("name"), Also: l.also(t), Unit: t.String("unit"), InchUnit: t.String("inch_unit"),
		Look: t.String("look"), Caution: t.String("caution"), Because: t.String("because"), Source: t.String("source"),
		CrackCheck: t.Bool("crack_check"), Pack: l.pack, Pos: t.Position(), Minutes: 5, Least: math.Inf(-1), Most: math.Inf(1)}
	q.Digits, _ = t.Int("digits")
	if m, ok := t.Number("minutes"); ok {
		q.Minutes = m
	}
	q.Kind = QuantityKind(t.OneOf("kind", string(SizeKind), string(AmountKind), string(DifferenceKind), string(TemperatureKind), string(CodeKind)))
	if q.Kind == "" {
		q.Kind = AmountKind
	}
	if q.Kind == AmountKind || q.Kind == SizeKind {
		q.Least = 0
	}
	q.Rework = t.OneOf("rework", "undersize", "oversize", "skim")
	for _, key := range []string{"instrument", "formula", "limits", "least", "most", "sizes"} {
		t.Has(key) // read once all packs are known
	}
	switch {
	case !plainID(name):
		l.faults.Add(t.Position(), "", "%q is no id: use small letters, digits and _", name)
	case q.Kind == CodeKind && (q.Unit != "" || t.Has("formula") || t.Has("limits")):
		l.faults.Add(t.Position(), `make a quantity of one of its numbers, as in formula = "code(oil.particles, 14)"`, "[%s] is a code, which has neither unit, formula nor limits", t.Path())
	case q.Kind != CodeKind && q.Unit == "":
		l.faults.Add(t.Position(), `as in unit = "mm"`, "[%s] has no unit", t.Path())
	case t.Has("formula") && (q.Because == "" || q.Source == ""):
		l.faults.Add(t.Position(), "say why it is worked out so, and by whose authority", "[%s] has a formula and no because and source", t.Path())
	case !t.Has("formula") && q.Look == "":
		l.faults.Add(t.Position(), "say how it is taken", "[%s] has no look", t.Path())
	}
	if l.claim("quantity "+q.ID, t, "", t.Bool("replace")) {
		if l.book.quantity[q.ID] != nil {
			l.book.Quantities = slices.DeleteFunc(l.book.Quantities, func(o *Quantity) bool { return o.ID == q.ID })
			l.quantities = slices.DeleteFunc(l.quantities, func(o pending[*Quantity]) bool { return o.thing.ID == q.ID })
		}
		l.book.Quantities = append(l.book.Quantities, q)
		l.book.quantity[q.ID] = q
		l.quantities = append(l.quantities, pending[*Quantity]{q, t, l.pack})
	}
	t.String("note")
	t.Done()
}

// resolveQuantities ties quantities to their parts, instruments and formulas.
func (l *loader) resolveQuantities() {
	b := l.book
	for _, p := range l.quantities {
		q, t := p.thing, p.table
		partID, _, _ := strings.Cut(q.ID, ".")
		if q.Part = b.part[partID]; q.Part == nil {
			l.faults.Add(q.Pos, l.suggestPart(partID), "there is no part %q", partID)
			q.Part = &Part{ID: partID, Name: partID} // so that later checks can go on
		}
		if q.Kind == CodeKind {
			continue
		}
		u, err := quantity.ParseUnit(q.Unit)
		if err != nil {
			if q.Unit != "" {
				t.FaultAt("unit", -1, hintOf(err), "unit: %v", err)
			}
			q.Unit = "" // told: what hangs on it is not checked
			continue
		}
		q.Unit = u.Symbol
		switch degrees := u.Offset != 0; {
		case degrees && q.Kind != TemperatureKind:
			t.FaultAt("unit", -1, `say kind = "temperature", or give a difference in K`, "%s has a zero point, and the kind is %s", u.Symbol, q.Kind)
		case q.Kind == TemperatureKind && u.Dimension != quantity.Temperature:
			t.FaultAt("kind", -1, "", "kind is temperature, and %s is %v", u.Symbol, u.Dimension)
		}
		if q.InchUnit != "" {
			in, err := quantity.ParseUnit(q.InchUnit)
			switch {
			case err != nil:
				t.FaultAt("inch_unit", -1, hintOf(err), "inch_unit: %v", err)
			case in.Dimension != u.Dimension:
				t.FaultAt("inch_unit", -1, "", "inch_unit is of %v, and unit of %v", in.Dimension, u.Dimension)
			default:
				q.InchUnit = in.Symbol
			}
		}
		l.bounds(q, t, u)
	}
	for _, p := range l.quantities {
		q, t := p.thing, p.table
		if id := t.String("instrument"); id != "" {
			for _, i := range b.Instruments {
				if i.ID == id {
					q.Instrument = i
				}
			}
			switch {
			case q.Instrument == nil:
				t.FaultAt("instrument", -1, source.Suggest(id, ids(b.Instruments, func(i *Instrument) string { return i.ID })), "there is no instrument %q", id)
			case q.Unit != "" && !q.Instrument.Reads(q.Dimension()):
				t.FaultAt("instrument", -1, "", "a %s does not read %v", q.Instrument.Name, q.Dimension())
			}
		}
		if b.part[q.Part.ID] == nil || q.Unit == "" {
			continue // told above; and a code has neither formula nor limit
		}
		if text := t.String("formula"); text != "" {
			q.Formula = l.formula(t, "formula", text, q.Dimension(), q.Part.Per)
		} else if t.Has("formula") {
			t.FaultAt("formula", -1, "", "formula is empty")
		}
		for _, lt := range t.Tables("limits") {
			l.tradeLimit(q, lt)
		}
	}
	l.formulaCycles()
}

func (l *loader) bounds(q *Quantity, t *source.Table, u quantity.Unit) {
	bound := func(key string, into *float64) {
		if !t.Has(key) {
			return
		}
		v, ok := l.valueOf(t, key, -1, t.String(key))
		switch {
		case !ok:
		case v.Unit.Dimension != u.Dimension:
			t.FaultAt(key, -1, "", "%s is %v, and must be %v", key, v.Unit.Dimension, u.Dimension)
		default:
			*into = v.SI()
		}
	}
	bound("least", &q.Least)
	bound("most", &q.Most)
	if q.Least > q.Most {
		t.FaultAt("least", -1, "", "least is more than most")
	}
	for i, text := range t.Strings("sizes") {
		v, ok := l.valueOf(t, "sizes", i, text)
		if ok && v.Unit.Dimension != u.Dimension {
			t.FaultAt("sizes", i, "", "%q is %v, and must be %v", text, v.Unit.Dimension, u.Dimension)
		} else if ok {
			q.Sizes = append(q.Sizes, v.DifferenceSI())
		}
	}
	slices.Sort(q.Sizes)
	if len(q.Sizes) > 0 && q.Rework == "" {
		t.FaultAt("sizes", -1, `say rework = "undersize" or "oversize"`, "[%s] has sizes and no rework", t.Path())
	}
}

// formula reads one that must come to dimension want, at positions of a kind.
func (l *loader) formula(t *source.Table, key, text string, want quantity.Dimension, per evidence.Kind) *Formula {
	f, fault := l.book.formula(text, want)
	if fault != nil {
		l.formulaFault(t, key, fault)
		return nil
	}
	if msg := misplaced(f, per); msg != "" {
		t.FaultAt(key, -1, "take it over its positions, as in highest(…)", "%s: %s", key, msg)
		return nil
	}
	return f
}

// formulaFault tells what is wrong with a formula. A fault without words comes of
// one that is told elsewhere.
func (l *loader) formulaFault(t *source.Table, key string, fault *condError) {
	if fault.message == "" {
		return
	}
	pos := t.ValuePos(key, -1)
	if fault.at >= 0 {
		pos = t.TextPos(key, fault.at)
	}
	l.faults.Add(pos, fault.hint, "%s: %s", key, fault.message)
}

// misplaced says which quantity of a formula has no one value at a position of a
// kind; "" if all have.
func misplaced(f *Formula, per evidence.Kind) string {
	for _, u := range f.Uses {
		if u.Quantity == nil || wholeSet(u.Of) || Here(per, u.Quantity.Part.Per) {
			continue
		}
		return u.Quantity.ID + " is per " + u.Quantity.Part.Per.Word() + ", and has no one value here"
	}
	return ""
}

// wholeSet tells functions over all positions, which have a value anywhere.
func wholeSet(of string) bool {
	return slices.Contains([]string{"lowest", "highest", "mean", "median", "spread", "count", "trend"}, of)
}

// Here tells whether something of which there is one for each of kind "of" has one
// value at a position of kind "per".
func Here(per, of evidence.Kind) bool {
	switch {
	case of == evidence.One, of == per, upright(of) && upright(per):
		return true
	case upright(of) && valve(per):
		return true
	case of == evidence.Bank && (upright(per) || valve(per)):
		return true
	}
	return false
}

func (l *loader) tradeLimit(q *Quantity, t *source.Table) {
	lim := &TradeLimit{Source: t.Need("source"), For: t.OneOf("for", "new", "service", "release"), When: l.cond(t, "when"), Pos: t.Position()}
	u := q.unit()
	lim.Doubt = l.amount(t, "doubt", &u)
	for _, side := range []struct {
		key  string
		into **Formula
	}{{"min", &lim.Min}, {"max", &lim.Max}} {
		key, into := side.key, side.into
		if !t.Has(key) {
			continue
		}
		text := t.String(key)
		// A plain value needs no quotes within quotes.
		if _, err := quantity.Parse(text); err == nil {
			text = strconv.Quote(text)
		}
		*into = l.formula(t, key, text, u.Dimension, q.Part.Per)
	}
	if !t.Has("min") && !t.Has("max") {
		l.faults.Add(t.Position(), "", "a limit needs min or max")
	}
	if !t.Has("doubt") {
		l.faults.Add(t.Position(), `as in doubt = "20 %"`, "a limit of the trade must say how far it can be off for one engine")
	}
	t.String("note")
	t.Done()
	q.Limits = append(q.Limits, lim)
}

// formulaCycles tells quantities that are worked out from themselves.
func (l *loader) formulaCycles() {
	const (
		fresh = iota
		open
		done
	)
	state := map[*Quantity]int{}
	var visit func(q *Quantity)
	visit = func(q *Quantity) {
		state[q] = open
		if q.Formula != nil {
			for _, u := range q.Formula.Uses {
				switch {
				case u.Quantity == nil:
				case state[u.Quantity] == open:
					l.faults.Add(q.Pos, "", "%s is worked out from itself", u.Quantity.ID)
					q.Formula = nil
					state[q] = done
					return
				case state[u.Quantity] == fresh:
					visit(u.Quantity)
				}
			}
		}
		state[q] = done
	}
	for _, q := range l.book.Quantities {
		if state[q] == fresh {
			visit(q)
		}
	}
}

func (l *loader) resolveTest(s *Sign, t *source.Table) {
	if text := t.String("test"); text != "" {
		test, fault := l.book.test(text)
		if fault != nil {
			l.formulaFault(t, "test", fault)
			return
		}
		for _, f := range []*Formula{test.Left, test.Right} {
			if f == nil {
				continue
			}
			if msg := misplaced(f, s.Part.Per); msg != "" {
				t.FaultAt("test", -1, "take it over its positions, as in highest(…)", "test: %s", msg)
				return
			}
		}
		s.Test = test
	}
	if text := t.String("trend"); text != "" {
		id, ok := strings.CutSuffix(text, " rising")
		q := l.book.Quantity(strings.TrimSpace(id))
		switch {
		case !ok:
			t.FaultAt("trend", -1, `as in trend = "oil.iron rising"`, "trend is %q", text)
		case q == nil:
			t.FaultAt("trend", -1, l.book.SuggestQuantity(strings.TrimSpace(id)), "there is no quantity %q", strings.TrimSpace(id))
		default:
			s.Trend = q
		}
	}
}

// exampleReadings reads "rod_journal.diameter @ rod 3 = 59.80 mm" and
// "rod_journal.diameter min 59.93 mm".
func (l *loader) exampleReadings(e *Example, t *source.Table) {
	known := func(key string, i int, id string) bool {
		if l.book.Quantity(id) != nil {
			return true
		}
		t.FaultAt(key, i, l.book.SuggestQuantity(id), "there is no quantity %q", id)
		return false
	}
	for i, text := range t.Strings("readings") {
		what, value, ok := strings.Cut(text, "=")
		id, at, _ := strings.Cut(what, "@")
		r := ExampleReading{strings.TrimSpace(id), strings.TrimSpace(at), strings.TrimSpace(value)}
		if !ok {
			t.FaultAt("readings", i, `as in "rod_journal.diameter @ rod 3 = 59.80 mm"`, "%q has no =", text)
		} else if known("readings", i, r.Of) {
			e.Readings = append(e.Readings, r)
		}
	}
	for i, text := range t.Strings("limits") {
		id, limit, _ := strings.Cut(strings.TrimSpace(text), " ")
		if !known("limits", i, id) {
			continue
		}
		lim, err := quantity.ParseLimit(limit)
		if err != nil {
			t.FaultAt("limits", i, hintOf(err), "%v", err)
			continue
		}
		if lim.Bare.Said() {
			t.FaultAt("limits", i, `as in "rod_journal.diameter min 59.93 mm"`, "%q says neither min nor max", limit)
			continue
		}
		e.Limits = append(e.Limits, ExampleLimit{id, limit})
	}
}
