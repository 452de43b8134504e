package evidence

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Entry is what can be added to a case: a Finding, Reading, Fitted, Work or
// Act.
type Entry interface {
	// key is the entry's table and id.
	key() (table, id string)
	// fields writes what the entry says.
	fields(*encoder)
}

// Encode is the TOML text of one entry, as it is appended to a file: a table
// header and a line for each thing it says, ending in a line break. Positions,
// and what is worked out when a case is loaded (ReplacedBy), are not part of it.
func Encode(entry Entry) string {
	table, id := entry.key()
	var e encoder
	fmt.Fprintf(&e.b, "[%s.%s]\n", table, key(id))
	entry.fields(&e)
	return e.b.String()
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// key quotes an id that cannot stand bare. Loading refuses such an id, but
// what it holds must not be read as TOML before.
func key(id string) string {
	if bareKey.MatchString(id) {
		return id
	}
	return quote(id)
}

// quote writes a TOML basic string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			// No TOML text can hold it: left as it is, so that reading refuses
			// it, rather than something else being stored in silence.
			b.WriteByte(s[i])
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '\r':
			b.WriteString(`\r`)
		case r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\ufeff':
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
		i += n
	}
	b.WriteByte('"')
	return b.String()
}

type encoder struct{ b strings.Builder }

// text writes a text, unless there is none.
func (e *encoder) text(key, s string) {
	if s != "" {
		fmt.Fprintf(&e.b, "%s = %s\n", key, quote(s))
	}
}

// list writes a list of texts, unless it is empty; a list of one as a text.
func (e *encoder) list(key string, list []string) {
	switch len(list) {
	case 0:
	case 1:
		fmt.Fprintf(&e.b, "%s = %s\n", key, quote(list[0]))
	default:
		var q []string
		for _, s := range list {
			q = append(q, quote(s))
		}
		fmt.Fprintf(&e.b, "%s = [%s]\n", key, strings.Join(q, ", "))
	}
}

func (e *encoder) number(key string, x *float64) {
	if x != nil {
		fmt.Fprintf(&e.b, "%s = %s\n", key, decimal(*x))
	}
}

// decimal writes a number so that TOML reads the same one. A whole number
// without a point would be refused beyond 64 bits.
func decimal(x float64) string {
	s := strings.ToLower(strconv.FormatFloat(x, 'g', -1, 64))
	if len(s) > 15 && !strings.ContainsAny(s, ".en") {
		s += ".0"
	}
	return s
}

func (e *encoder) spots(key string, list []Spot) {
	var texts []string
	for _, s := range list {
		texts = append(texts, s.String())
	}
	e.list(key, texts)
}

func (e *encoder) parts(key string, list []PartRef) {
	var texts []string
	for _, p := range list {
		texts = append(texts, p.Part)
	}
	e.list(key, texts)
}

func (e *encoder) order(o Order) {
	e.list("after", o.After)
	e.list("before", o.Before)
}

func (f Finding) key() (table, id string) { return "finding", f.ID }

func (f Finding) fields(e *encoder) {
	e.text("sign", f.Sign)
	e.text("part", f.Part)
	e.spots("at", f.At)
	e.text("state", string(f.State))
	e.text("why", f.Why)
	e.text("by", string(f.By))
	e.text("surface", f.Surface)
	e.text("sure", string(f.Sure))
	e.text("look", f.Look)
	e.text("sample", f.Sample)
	e.text("made", f.Made)
	e.text("replaces", f.Replaces)
	e.list("rests_on", f.RestsOn)
	e.text("how_much", f.HowMuch)
	e.order(f.Order)
	e.list("photos", f.Photos)
	e.text("who", f.Who)
	e.text("note", f.Note)
}

// yes writes what is so, and nothing where it is not.
func (e *encoder) yes(key string, so bool) {
	if so {
		fmt.Fprintf(&e.b, "%s = true\n", key)
	}
}

func (r Reading) key() (table, id string) { return "reading", r.ID }

func (r Reading) fields(e *encoder) {
	e.text("of", r.Of)
	e.spots("at", r.At)
	if r.Code != nil {
		e.text("value", r.CodeText)
	}
	e.text("value", r.Value.Text)
	e.text("at_least", r.AtLeast.Text)
	e.text("at_most", r.AtMost.Text)
	e.text("uncertainty", r.Uncertainty.Text)
	e.text("coverage", r.Coverage)
	e.text("trend", r.Trend)
	e.spots("unlike", r.Unlike)
	e.text("how", r.How)
	e.text("limit", r.Limit.Text)
	e.text("limit_from", r.LimitFrom)
	e.text("limit_for", r.LimitFor)
	e.text("instrument", r.Instrument)
	e.yes("checked", r.Checked)
	e.text("sample", r.Sample)
	e.text("by", string(r.By))
	e.order(r.Order)
	e.text("who", r.Who)
	e.text("note", r.Note)
}

func (f Fitted) key() (table, id string) { return "fitted", f.ID }

func (f Fitted) fields(e *encoder) {
	e.text("part", f.Part)
	e.spots("at", f.At)
	e.text("found", f.Found)
	e.text("wanted", f.Wanted)
	e.text("sign", f.Sign)
	e.text("by_what", f.ByWhat)
	e.text("by", string(f.By))
	e.text("sure", string(f.Sure))
	e.order(f.Order)
	e.text("note", f.Note)
}

func (w Work) key() (table, id string) { return "work", w.ID }

func (w Work) fields(e *encoder) {
	e.text("what", w.What)
	e.text("sign", w.Sign)
	e.parts("parts", w.Parts)
	e.parts("undone", w.Undone)
	e.parts("replaced", w.Replaced)
	e.text("when", w.When)
	e.number("hours_since", w.HoursSince)
	e.number("km_since", w.KmSince)
	e.text("by", string(w.By))
	e.text("sure", string(w.Sure))
	e.order(w.Order)
	e.text("who", w.Who)
	e.text("note", w.Note)
}

func (a Act) key() (table, id string) { return "act", a.ID }

func (a Act) fields(e *encoder) {
	e.text("kind", string(a.Kind))
	e.text("part", a.Part)
	e.spots("at", a.At)
	e.text("when", a.When)
	e.text("torque", a.Torque)
	e.text("held_by", a.HeldBy)
	e.text("bag", a.Bag)
	e.order(a.Order)
	e.text("who", a.Who)
	e.text("note", a.Note)
}
