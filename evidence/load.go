package evidence

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

// Load reads a case file. All its faults are noted in one run; if there is any
// that is not a warning, ok is false and there is no case.
func Load(path string, faults *source.Faults) (c *Case, ok bool) {
	text, ok := source.ReadFile(path, faults)
	if !ok {
		return nil, false
	}
	return Parse(path, text, faults)
}

// Parse reads the text of a case file, named for its faults. Checks are run over
// what could be read even where the file has faults of form, so that these and
// what a check finds are told in one run; the case that a check sees then is not
// whole, and none is returned.
func Parse(name string, text []byte, faults *source.Faults, checks ...func(*Case, *source.Faults)) (c *Case, ok bool) {
	// A bag of its own: the caller's may hold the very same faults already,
	// and would then not grow.
	var own source.Faults
	defer func() {
		for _, f := range own.List() {
			if f.Warning {
				faults.Warn(f.Position, f.Hint, "%s", f.Message)
			} else {
				faults.Add(f.Position, f.Hint, "%s", f.Message)
			}
		}
	}()
	root, ok := source.Parse(name, text, &own)
	if !ok {
		return nil, false
	}
	l := &loader{c: &Case{File: name, hash: sha256.Sum256(text)}, faults: &own, ids: map[string]source.Position{}, tables: map[string]string{}, unclearAt: map[string]bool{}}
	l.read(root)
	l.references()
	l.circles()
	l.opposites()
	for _, check := range checks {
		check(l.c, &own)
	}
	if own.Errors() > 0 {
		return nil, false
	}
	return l.c, true
}

type loader struct {
	c      *Case
	faults *source.Faults
	ids    map[string]source.Position // of every entry
	tables map[string]string          // id → "finding", "reading", …
	refs   []ref
	edges  []edge // with a place each, for circles
	// unclear is set when a position could not be read, and unclearAt has the
	// findings of which that is so: what they speak of is then not known.
	unclear   bool
	unclearAt map[string]bool
}

// ref is an id that another entry must have.
type ref struct {
	id, what string
	table    string // the kind of entry it must be; "" for any
	pos      source.Position
}

// edge is one thing said about order.
type edge struct {
	first, then string
	pos         source.Position
}

func (l *loader) read(root *source.Table) {
	c := l.c
	// The engine first: positions are held against it.
	l.engine(root)
	c.OrderLost = partRefs(root, "order_lost")
	if t := root.Table("case"); t != nil {
		c.ID, c.Title, c.Question = t.String("id"), t.String("title"), t.String("question")
		c.QuestionPos = t.ValuePos("question", -1)
		c.QuestionAt = t.Strings("at")
		c.At = l.spots(t, "at")
		c.OrderLost = append(c.OrderLost, partRefs(t, "order_lost")...)
		for i, path := range t.Strings("limits") {
			c.LimitFiles = append(c.LimitFiles, FileRef{path, t.ValuePos("limits", elem(t, "limits", i))})
		}
		t.String("note")
		t.Done()
	}
	c.History.Facts = map[string]any{}
	if t := root.Table("history"); t != nil {
		l.facts("history", t, c.History.Facts, nil)
		l.done(t)
	}
	if t := root.Table("received"); t != nil {
		c.Received = Received{Said: true, Pos: t.Position(), State: l.word(t, "state", "whole", "part stripped", "in boxes"), OpenedBy: t.String("opened_by"), Off: partRefs(t, "off"),
			Turns: l.word(t, "turns", "freely", "stiffly", "part way", "not at all", "not tried"), Fluids: t.String("fluids"), Date: text(t, "date"), From: t.String("from"), Note: t.String("note")}
		l.done(t)
	}
	l.each(root, "work", l.work)
	l.each(root, "finding", l.finding)
	l.each(root, "reading", l.reading)
	l.limits(root, "the case")
	l.each(root, "fitted", l.fitted)
	l.each(root, "act", l.act)
	if t := root.Table("confirmed"); t != nil {
		c.Confirmed = Confirmed{Accept: t.Strings("accept"), Undetermined: t.Bool("undetermined"), KeptBack: t.Bool("kept_back"), By: t.String("by"), Note: t.String("note")}
		l.done(t)
	}
	root.Done()
}

// done notes unknown keys, and order_lost where it fell into the wrong table
// because TOML takes every key to the table above it.
func (l *loader) done(t *source.Table) {
	if slices.Contains(t.Keys(), "order_lost") {
		t.Has("order_lost")
		t.Fault("order_lost", "put it under [case], or above the first table", "order_lost stands in [%s]", t.Path())
	}
	t.Done()
}

// meant are words that people write for the ones that files use.
var meant = map[string]string{
	"absent": "not found", "no": "not found", "none": "not found", "missing": "not found", "not seen": "not found", "not_found": "not found", "clean": "not found", "false": "not found",
	"present": "seen", "yes": "seen", "found": "seen", "true": "seen",
	"unknown": "unavailable", "lost": "unavailable", "n/a": "unavailable", "destroyed": "unavailable", "not examined": "unavailable", "not recovered": "unavailable",
	"gasoline": "petrol", "benzine": "petrol", "gasoil": "diesel", "lpg": "gas", "natural gas": "gas", "100ll": "avgas",
	"4-stroke": "four-stroke", "4": "four-stroke", "four": "four-stroke", "2-stroke": "two-stroke", "2": "two-stroke", "two": "two-stroke",
	"water": "liquid", "coolant": "liquid",
	"straight": "inline", "in-line": "inline", "line": "inline", "row": "inline", "boxer": "opposed", "flat": "opposed", "vee": "v", "v6": "v", "v8": "v", "v12": "v",
	"visual": "eye", "naked eye": "eye", "magnifier": "lens", "microscope": "laboratory", "lab": "laboratory", "dye": "crack test", "magnetic": "crack test", "micrometer": "gauge", "measured": "gauge", "document": "paper", "log": "paper", "owner": "told", "said": "told", "hearsay": "told",
	"sure": "certain", "unsure": "doubtful", "probably": "fairly", "perhaps": "doubtful",
	"removed": "off", "remove": "off", "removal": "off", "cleaned": "wash", "clean up": "wash", "washed off": "wash", "drained": "drain", "turned": "turn", "dismantle": "part", "strip": "part", "blown": "blow",
	"dirty": "as found", "original": "as found", "untouched": "as found", "strip-down": "teardown", "accident": "crash", "bench": "teardown", "yard": "storage",
	"up": "rising", "down": "falling", "above": "higher", "below": "lower",
}

// word reads a text that must be one of some words; "" if it is not said. The
// fault names what was probably meant: the word that people use instead, or
// the nearest in letters.
func (l *loader) word(t *source.Table, key string, words ...string) string {
	s := t.String(key)
	if s == "" || slices.Contains(words, s) {
		return s
	}
	hint := source.Suggest(s, words)
	if m := meant[strings.ToLower(s)]; slices.Contains(words, m) {
		hint = fmt.Sprintf("did you mean %q?", m)
	}
	t.FaultAt(key, -1, hint, "%s is %q, and must be one of: %s", key, s, strings.Join(words, ", "))
	return ""
}

// text reads a text, or a date or time that stands without quotes, which TOML
// allows and people do.
func text(t *source.Table, key string) string {
	when, ok := t.Any(key).(time.Time)
	if !ok {
		return t.String(key)
	}
	switch when.Location().String() {
	case "date-local":
		return when.Format(time.DateOnly)
	case "datetime-local":
		return when.Format(time.DateTime)
	case "time-local":
		return when.Format(time.TimeOnly)
	}
	return when.Format(time.RFC3339)
}

// partRefs reads a list of parts with the place of each.
func partRefs(t *source.Table, key string) []PartRef {
	var out []PartRef
	for i, p := range t.Strings(key) {
		if p == "" {
			t.FaultAt(key, elem(t, key, i), "", "%s names a part by an empty text", key)
			continue
		}
		out = append(out, PartRef{p, t.ValuePos(key, elem(t, key, i))})
	}
	return out
}

// elem is the element to point at: a text alone stands for a list of one, and
// has no elements.
func elem(t *source.Table, key string, i int) int {
	if _, list := t.Any(key).([]any); list {
		return i
	}
	return -1
}

// idShape is what an entry may be called, so that it can stand unquoted in a
// file, on a tag and in a report.
var idShape = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]{0,39}$`)

func (l *loader) each(root *source.Table, key string, do func(string, *source.Table)) {
	group := root.Table(key)
	if group == nil {
		return
	}
	for _, id := range group.Keys() {
		t := group.Table(id)
		if t == nil {
			continue
		}
		if was, taken := l.ids[id]; taken {
			l.faults.Add(t.Position(), "give it a number of its own", "%s is used twice: also in line %d", id, was.Line)
		}
		if !idShape.MatchString(id) {
			l.faults.Add(t.Position(), "as in [finding.F07]", "[%s]: %q is no id: it must be a letter, then letters, digits, - or _", t.Path(), id)
		}
		l.ids[id], l.tables[id] = t.Position(), key
		do(id, t)
		l.done(t)
	}
}

// musts are the facts that every case must say: most of the book hangs on them.
var musts = []struct{ name, example string }{
	{"fuel", `fuel = "diesel"`}, {"cycle", `cycle = "four-stroke"`}, {"cooling", `cooling = "liquid"`}, {"layout", `layout = "inline"`},
}

func (l *loader) engine(root *source.Table) {
	e := &l.c.Engine
	e.Facts, e.AtLeast = map[string]any{}, map[string]bool{}
	pos := source.Position{File: l.c.File, Line: 1, Column: 1}
	t := root.Table("engine")
	if t != nil {
		pos = t.Position()
		l.facts("engine", t, e.Facts, e.AtLeast)
	} else if root.Has("engine") {
		return // told as being no table
	}
	var missing, examples []string
	for _, m := range musts {
		if t == nil || !t.Has(m.name) {
			missing, examples = append(missing, m.name), append(examples, m.example)
		} else if t.Any(m.name) == "" {
			t.FaultAt(m.name, -1, "write, for example, "+m.example, "%s is empty", m.name)
		}
	}
	if n := len(missing); n > 0 {
		// One fault for all: they are mended in one place.
		names := missing[n-1]
		if n > 1 {
			names = strings.Join(missing[:n-1], ", ") + " and " + names
		}
		each := ""
		if n > 1 {
			each = ", each on a line of its own"
		}
		l.faults.Add(pos, fmt.Sprintf("under [engine] write, for example, %s%s", strings.Join(examples, ", "), each), "the case does not say the engine's %s", names)
	}
	if t == nil {
		return
	}
	n, said := e.Facts["cylinders"].(int)
	switch {
	case said && n == 0:
		t.FaultAt("cylinders", -1, "leave it away if it is not known", "an engine has at least one cylinder")
		delete(e.Facts, "cylinders")
	case said && e.Text("layout") == "single" && n != 1:
		t.FaultAt("cylinders", -1, `did you mean layout = "inline"?`, "a single-cylinder engine cannot have %d cylinders", n)
	}
	if b, said := e.Facts["banks"].(int); said && (b == 0 || b > max(n, 1) && n > 0) {
		t.FaultAt("banks", -1, "", "%d banks cannot hold %d cylinders", b, n)
		delete(e.Facts, "banks")
	}
	if t.Has("bank_of") {
		l.bankOf(t)
	}
	l.done(t)
}

// bankOf reads the bank of each cylinder, for engines that are not numbered as
// BankOf would assume.
func (l *loader) bankOf(t *source.Table) {
	e := &l.c.Engine
	list, ok := t.Any("bank_of").([]any)
	cyl, _ := e.Count(Cylinder)
	if !ok || len(list) != cyl {
		t.FaultAt("bank_of", -1, "as in bank_of = [1, 1, 1, 2, 2, 2]", "bank_of must be a list with the bank of each cylinder, of which there are %d", cyl)
		return
	}
	var banks []int
	for i, v := range list {
		n, isInt := v.(int64)
		if !isInt || n < 1 || n > int64(cyl) {
			t.FaultAt("bank_of", i, "as in bank_of = [1, 1, 1, 2, 2, 2]", "%v is no bank", v)
			return
		}
		banks = append(banks, int(n))
	}
	for b := 1; b <= slices.Max(banks); b++ {
		if !slices.Contains(banks, b) {
			t.FaultAt("bank_of", -1, "", "bank_of leaves bank %d without a cylinder", b)
			return
		}
	}
	if n, said := e.Facts["banks"].(int); said && n != slices.Max(banks) {
		t.FaultAt("bank_of", -1, "", "bank_of names %d banks, and banks says %d", slices.Max(banks), n)
		return
	}
	e.BankList = banks
}

// facts reads the plain facts of a table by the one list of fields. atLeast is
// nil where least numbers ("4+") make no sense.
func (l *loader) facts(table string, t *source.Table, into map[string]any, atLeast map[string]bool) {
	for _, f := range fields {
		if f.Table != table || !t.Has(f.Name) {
			continue
		}
		switch f.Type {
		case Text:
			into[f.Name] = t.String(f.Name)
			l.factWithUnit(t, table, f.Name)
		case Word:
			if w := l.word(t, f.Name, f.Words...); w != "" {
				into[f.Name] = w
			}
		case Int:
			// A year needs no bound: it enters no count.
			most := maxPosition
			if f.Name == "year" {
				most = 9999
			}
			n, ok := 0, false
			if s, isText := t.Any(f.Name).(string); isText && atLeast != nil && f.Name != "year" {
				v, err := strconv.Atoi(strings.TrimSuffix(s, "+"))
				if err != nil || !strings.HasSuffix(s, "+") {
					hint := `"4+" says at least four`
					if err == nil {
						hint = fmt.Sprintf("did you mean %d, or %q for at least so many?", v, s+"+")
					}
					t.FaultAt(f.Name, -1, hint, "%s must be a whole number, and is the text %q", f.Name, s)
				}
				// What was clearly meant is taken for the rest of the run, so
				// that one mistake does not bring others in its wake.
				n, ok = v, err == nil
				atLeast[f.Name] = strings.HasSuffix(s, "+") && v > 0
			} else {
				n, ok = t.Int(f.Name)
			}
			if ok && (n < 0 || n > most) {
				t.FaultAt(f.Name, -1, "", "%s cannot be %d", f.Name, n)
			} else if ok {
				into[f.Name] = n
			}
		case Number:
			if x, ok := l.amount(t, f.Name); ok {
				into[f.Name] = x
			}
		case Bool:
			into[f.Name] = t.Bool(f.Name)
		}
	}
	for _, f := range fields {
		here := slices.ContainsFunc(fields, func(o Field) bool { return o.Table == table && o.Name == f.Name })
		if f.Table != table && !here && slices.Contains(t.Keys(), f.Name) && t.Has(f.Name) {
			t.Fault(f.Name, "it stands under ["+f.Table+"]", "[%s] has no key %q", table, f.Name)
		}
	}
}

// factWithUnit holds a fact that formulas may use against its dimension. One that
// cannot be read is kept as it is written: it may be all that the source gives.
func (l *loader) factWithUnit(t *source.Table, table, name string) {
	d, measured := FactDimension(table, name)
	text := t.String(name)
	if !measured || text == "" {
		return
	}
	v, err := quantity.Parse(text)
	switch {
	case err != nil:
		t.Warn(name, "as in \"86 mm\"", "%s cannot be read as %v: what is worked out from it will not be known", name, d)
	case v.Unit.Dimension != d:
		t.FaultAt(name, -1, "", "%s is %v, and must be %v", name, v.Unit.Dimension, d)
	case v.Number <= 0:
		t.FaultAt(name, -1, "", "%s cannot be %s", name, text)
	}
}

// amount reads a number that cannot be negative, nor one of TOML's nan and inf.
func (l *loader) amount(t *source.Table, key string) (x float64, ok bool) {
	x, ok = t.Number(key)
	if ok && (!(x >= 0) || math.IsInf(x, 1)) {
		t.FaultAt(key, -1, "", "%s cannot be %v", key, x)
		return 0, false
	}
	return x, ok
}

// spots reads positions and holds them against what the engine has.
func (l *loader) spots(t *source.Table, key string) []Spot {
	var out []Spot
	if n, ok := t.Any(key).(int64); ok {
		l.unclear = true
		t.FaultAt(key, -1, fmt.Sprintf(`did you mean "cyl %d"?`, n), "%s must be a text in quotes, and is the number %d", key, n)
		return nil
	}
	for i, text := range t.Strings(key) {
		i = elem(t, key, i)
		s, err := ParseSpot(text)
		if err != nil {
			l.unclear = true
			hint := ""
			var bad ErrSpot
			if errors.As(err, &bad) {
				hint, bad.Hint = bad.Hint, ""
				err = bad
			}
			t.FaultAt(key, i, hint, "%v", err)
			continue
		}
		s.Pos = t.ValuePos(key, i)
		// Words that leave the kind to the part can only be held against the
		// engine where the part is known.
		if s.Kind != One {
			if _, err := l.c.Engine.Resolve(s, s.Kind); err != nil {
				l.unclear = true
				t.FaultAt(key, i, l.more(err), "%v", err)
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// more says what to write where a position is past a number that the case
// gives only as a least one, or not at all.
func (l *loader) more(err error) string {
	var p ErrPosition
	if !errors.As(err, &p) || p.Assumed == "" || p.Valve > 0 {
		return ""
	}
	name := map[Kind]string{Cylinder: "cylinders", Rod: "cylinders", Main: "mains", Bank: "banks", Camshaft: "camshafts", CamBearing: "cam_bearings"}[p.Kind]
	if name == "" {
		return ""
	}
	return fmt.Sprintf(`say %s = "%d+" under [engine] if there are at least so many`, name, p.Index)
}

// orderOf reads after and before, and notes what they refer to.
func (l *loader) orderOf(id string, t *source.Table) Order {
	o := Order{After: t.Strings("after"), Before: t.Strings("before")}
	for i, x := range o.After {
		pos := t.ValuePos("after", elem(t, "after", i))
		l.refs = append(l.refs, ref{id: x, what: id + " is after", pos: pos})
		l.edges = append(l.edges, edge{x, id, pos})
	}
	for i, x := range o.Before {
		pos := t.ValuePos("before", elem(t, "before", i))
		l.refs = append(l.refs, ref{id: x, what: id + " is before", pos: pos})
		l.edges = append(l.edges, edge{id, x, pos})
	}
	return o
}

func (l *loader) way(t *source.Table, otherwise Way) Way {
	w := l.word(t, "by", string(Eye), string(Lens), string(Gauge), string(CrackTest), string(Laboratory), string(Paper), string(Told))
	if w == "" {
		return otherwise
	}
	return Way(w)
}

func (l *loader) sure(t *source.Table) Sureness {
	s := l.word(t, "sure", string(Certain), string(Fairly), string(Doubtful))
	if s == "" {
		return Certain
	}
	return Sureness(s)
}

// name checks a name of two words with a point, "part.sign" or
// "part.quantity".
func (l *loader) name(t *source.Table, key, example string) string {
	s := t.Need(key)
	if part, rest, ok := strings.Cut(s, "."); s != "" && (!ok || part == "" || rest == "" || strings.ContainsAny(s, " \t")) {
		t.FaultAt(key, -1, fmt.Sprintf("as in %q", example), "%s is %q, and must be a part, a point, and what of it", key, s)
	}
	return s
}

func (l *loader) finding(id string, t *source.Table) {
	f := Finding{ID: id, Pos: t.Position(), SignPos: t.ValuePos("sign", -1), PartPos: t.ValuePos("part", -1)}
	other := t.Any("sign") == "other"
	if other {
		f.Sign = "other"
	} else {
		f.Sign = l.name(t, "sign", "oil_pickup.screen_clogged")
	}
	f.Part = t.String("part")
	l.unclear = false
	f.At = l.spots(t, "at")
	l.unclearAt[id] = l.unclear
	f.State = l.state(t)
	f.Why = t.String("why")
	f.By, f.Sure = l.way(t, Eye), l.sure(t)
	f.Surface = l.word(t, "surface", "as found", "wiped", "washed", "cut")
	f.Look, f.Sample = t.String("look"), t.String("sample")
	f.Made = l.word(t, "made", "teardown", "crash", "fire", "storage", "transport", "cleaning")
	f.Replaces = t.String("replaces")
	f.RestsOn = t.Strings("rests_on")
	f.HowMuch = l.word(t, "how_much", "spots", "part", "most", "all")
	f.Photos = t.Strings("photos")
	f.Note, f.Who = t.String("note"), t.String("who")
	f.Order = l.orderOf(id, t)
	if f.Replaces != "" {
		l.refs = append(l.refs, ref{f.Replaces, id + " replaces", "finding", t.ValuePos("replaces", -1)})
	}
	for i, x := range f.RestsOn {
		pos := t.ValuePos("rests_on", elem(t, "rests_on", i))
		l.refs = append(l.refs, ref{id: x, what: id + " rests on", pos: pos})
		if x == id {
			l.faults.Add(pos, "", "%s rests on itself", id)
		}
	}
	if other && f.Part == "" {
		l.faults.Add(f.Pos, `as in part = "oil_pan"`, `[finding.%s]: a sign "other" needs the part`, id)
	}
	if other && f.Note == "" {
		l.faults.Add(f.Pos, `as in note = "a bent split pin on the baffle"`, `[finding.%s]: a sign "other" needs a note of what was seen`, id)
	}
	if part, _, _ := strings.Cut(f.Sign, "."); !other && f.Part != "" && f.Part != part {
		t.FaultAt("part", -1, "leave part away: the sign names it", "part is %q, and the sign is of %q", f.Part, part)
	}
	if f.State == Unavailable && f.Why == "" && f.Note == "" {
		t.Warn("state", `as in why = "not recovered", "destroyed", "not examined" or "result not given"`, "%s is unavailable, and does not say why", id)
	}
	l.c.Findings = append(l.c.Findings, f)
}

func (l *loader) state(t *source.Table) State {
	if !t.Has("state") || t.Any("state") == "" {
		l.faults.Add(t.Position(), `write state = "seen", "not found" or "unavailable"`, "[%s] has no state", t.Path())
		return ""
	}
	return State(l.word(t, "state", string(Seen), string(NotFound), string(Unavailable)))
}

// value reads a number with its unit; it is not said where the key is not
// there, or where what is there is none.
func (l *loader) value(t *source.Table, key string) quantity.Value {
	text, ok := l.withUnit(t, key)
	if !ok {
		return quantity.Value{}
	}
	v, err := quantity.ParseProposing(text, proposed(key))
	if err != nil {
		l.notValue(t, key, err)
	}
	return v
}

// proposed is the unit that a value without one probably has.
func proposed(key string) string {
	if key == "torque" {
		return "N·m"
	}
	return "mm"
}

// withUnit reads the text of a value. A bare number is a fault of its own: what
// was meant by it can be proposed.
func (l *loader) withUnit(t *source.Table, key string) (text string, ok bool) {
	if !t.Has(key) {
		return "", false
	}
	switch v := t.Any(key).(type) {
	case int64, float64:
		t.FaultAt(key, -1, fmt.Sprintf("write it in quotes with its unit: did you mean %q?", fmt.Sprintf("%v %s", v, proposed(key))), "%s is %v: the unit is missing", key, v)
		return "", false
	case string:
		if v == "" {
			t.FaultAt(key, -1, `as in "59.94 mm"`, "%s is empty", key)
			return "", false
		}
	}
	text = t.String(key)
	return text, text != ""
}

func (l *loader) notValue(t *source.Table, key string, err error) {
	var value quantity.ErrValue
	errors.As(err, &value)
	t.FaultAt(key, -1, value.Hint, "%s is %v", key, err)
}

func (l *loader) limitOf(t *source.Table, key string) quantity.Limit {
	text, ok := l.withUnit(t, key)
	if !ok {
		return quantity.Limit{}
	}
	lim, err := quantity.ParseLimit(text)
	if err != nil {
		l.notValue(t, key, err)
	}
	return lim
}

func (l *loader) reading(id string, t *source.Table) {
	r := Reading{ID: id, Pos: t.Position(), OfPos: t.ValuePos("of", -1), ValuePos: t.ValuePos("value", -1), LimitPos: t.ValuePos("limit", -1), Of: l.name(t, "of", "rod_journal.diameter"), At: l.spots(t, "at")}
	r.AtLeast, r.AtMost = l.value(t, "at_least"), l.value(t, "at_most")
	r.Uncertainty, r.Limit = l.value(t, "uncertainty"), l.limitOf(t, "limit")
	if text, ok := l.withUnit(t, "value"); ok {
		l.readingValue(t, &r, text)
	}
	r.Coverage = t.String("coverage")
	if _, err := quantity.FromStated(1, r.Coverage); err != nil {
		l.notValue(t, "coverage", err)
	}
	r.Trend = l.word(t, "trend", "rising", "falling", "steady")
	r.Unlike = l.spots(t, "unlike")
	r.How = l.word(t, "how", "higher", "lower", "different")
	r.LimitFrom, r.LimitFor = t.String("limit_from"), l.word(t, "limit_for", "new", "service", "release")
	r.Instrument, r.Sample = t.String("instrument"), t.String("sample")
	r.InstrumentPos = t.Pos("instrument")
	r.Checked = t.Bool("checked")
	r.By = l.way(t, Gauge)
	r.Note, r.Who = t.String("note"), t.String("who")
	r.Order = l.orderOf(id, t)
	if !t.Has("value") && !t.Has("at_least") && !t.Has("at_most") && !t.Has("trend") && !t.Has("unlike") {
		l.faults.Add(r.Pos, `write value = "59.94 mm", or at_least, at_most, trend or unlike`, "[reading.%s] says nothing that was measured", id)
	}
	if t.Has("value") && (t.Has("at_least") || t.Has("at_most")) {
		l.faults.Add(r.Pos, "leave out the one that was not read", "[reading.%s] gives a value, and a bound in place of one", id)
	}
	if r.AtLeast.Said() && r.AtMost.Said() && r.AtLeast.Unit.Dimension == r.AtMost.Unit.Dimension && r.AtLeast.SI() > r.AtMost.SI() {
		t.FaultAt("at_least", -1, "", "at_least %s is more than at_most %s", r.AtLeast.Text, r.AtMost.Text)
	}
	l.uncertainty(t, r)
	l.sameDimension(t, r)
	l.c.Readings = append(l.c.Readings, r)
}

// readingValue reads "59.94 mm", "59.94 ± 0.01 mm" or a cleanliness code.
func (l *loader) readingValue(t *source.Table, r *Reading, text string) {
	v, within, err := quantity.ParseReading(text)
	if err != nil {
		code, codeErr := quantity.ParseCode(text)
		switch {
		case codeErr == nil:
			r.Code, r.CodeText = &code, text
		case strings.Count(text, "/") == 2:
			l.notValue(t, "value", codeErr)
		default:
			l.notValue(t, "value", err)
		}
		return
	}
	r.Value = v
	if within.Said() && r.Uncertainty.Said() {
		t.FaultAt("uncertainty", -1, "leave out one of them", "the uncertainty is given twice: also in the value")
	} else if within.Said() {
		r.Uncertainty = within
	}
}

// uncertainty holds what a reading is uncertain by against its value.
func (l *loader) uncertainty(t *source.Table, r Reading) {
	u := r.Uncertainty
	key := "uncertainty"
	if !t.Has(key) {
		key = "value"
	}
	switch share := u.Unit.Symbol == "%" && r.Value.Said() && r.Value.Unit.Symbol != "%"; {
	case !u.Said():
	case u.Number < 0:
		t.FaultAt(key, -1, "", "an uncertainty cannot be negative")
	case !r.Value.Said():
		if !t.Has("value") {
			t.Warn(key, "", "%s has an uncertainty and no value for it", r.ID)
		}
	case share && u.Number >= 100:
		t.FaultAt(key, -1, "did the decimal point or the unit slip?", "the uncertainty %s is as large as the value itself", u.Text)
	case share:
	case u.Unit.Dimension != r.Value.Unit.Dimension:
		t.FaultAt(key, -1, "", "the uncertainty is %v, and the value %v", u.Unit.Dimension, r.Value.Unit.Dimension)
	case r.Value.Number != 0 && r.Value.Unit.Offset == 0 && u.DifferenceSI() > math.Abs(r.Value.SI()):
		t.FaultAt(key, -1, "did the decimal point or the unit slip?", "the uncertainty %s is larger than the value %s", u.Text, r.Value.Text)
	}
}

// sameDimension holds bounds and limits of a reading against its value.
func (l *loader) sameDimension(t *source.Table, r Reading) {
	first := r.Value
	for _, x := range []struct {
		key string
		v   quantity.Value
	}{{"at_least", r.AtLeast}, {"at_most", r.AtMost}, {"limit", r.Limit.Min}, {"limit", r.Limit.Max}, {"limit", r.Limit.Bare}} {
		switch {
		case !x.v.Said():
		case !first.Said():
			first = x.v
		case x.v.Unit.Dimension != first.Unit.Dimension:
			t.FaultAt(x.key, -1, "", "%s %s is %v, and %s is %v", x.key, x.v.Text, x.v.Unit.Dimension, first.Text, first.Unit.Dimension)
		}
	}
}

// limits reads the tables [limit.PART.QUANTITY].
func (l *loader) limits(root *source.Table, from string) {
	group := root.Table("limit")
	if group == nil {
		return
	}
	for _, part := range group.Keys() {
		of := group.Table(part)
		if of == nil {
			continue
		}
		for _, name := range of.Keys() {
			for _, t := range of.Tables(name) {
				l.limit(part+"."+name, from, t)
			}
		}
	}
}

func (l *loader) limit(of, from string, t *source.Table) {
	lim := Limit{Of: of, At: l.spots(t, "at"), Min: l.value(t, "min"), Max: l.value(t, "max"), New: l.limitOf(t, "new"),
		For: l.word(t, "for", "new", "service", "release"), From: t.String("from"), Note: t.String("note"), Pos: t.Position(), OfPos: t.Position()}
	if lim.From == "" {
		lim.From = from
	}
	for i, text := range t.Strings("sizes") {
		v, err := quantity.Parse(text)
		if err != nil {
			t.FaultAt("sizes", elem(t, "sizes", i), "", "sizes holds %v", err)
			continue
		}
		lim.Sizes = append(lim.Sizes, v)
	}
	switch {
	case !t.Has("min") && !t.Has("max") && !t.Has("new"):
		l.faults.Add(lim.Pos, `as in min = "59.93 mm"`, "[%s] says neither min nor max nor what is new", t.Path())
	case lim.Min.Said() && lim.Max.Said() && lim.Min.Unit.Dimension != lim.Max.Unit.Dimension:
		t.FaultAt("max", -1, "", "max is %v, and min %v", lim.Max.Unit.Dimension, lim.Min.Unit.Dimension)
	case lim.Min.Said() && lim.Max.Said() && lim.Min.SI() > lim.Max.SI():
		t.FaultAt("min", -1, "did they change places?", "min %s is more than max %s", lim.Min.Text, lim.Max.Text)
	}
	if lim.New.Bare.Said() {
		t.FaultAt("new", -1, `as in new = "59.95 to 59.97 mm"`, "new gives one size, and must give a range or a bound")
	}
	l.c.Limits = append(l.c.Limits, lim)
	l.done(t)
}

// ParseLimits reads a shop's file of limits, shared by engines of one model, and
// adds them behind those that the case has itself.
func (c *Case) ParseLimits(name string, text []byte, faults *source.Faults) (ok bool) {
	before := faults.Errors()
	root, ok := source.Parse(name, text, faults)
	if !ok {
		return false
	}
	l := &loader{c: &Case{File: name, Engine: c.Engine}, faults: faults, ids: map[string]source.Position{}, tables: map[string]string{}, unclearAt: map[string]bool{}}
	from := ""
	if t := root.Table("limits"); t != nil {
		from = t.Need("from")
		t.String("model")
		t.String("note")
		t.Done()
	} else {
		faults.Add(root.Position(), `write [limits] with from = "whose they are"`, "has no [limits]")
	}
	l.limits(root, from)
	root.Done()
	if len(l.c.Limits) == 0 && faults.Errors() == before {
		faults.Add(root.Position(), "", "holds no limit")
	}
	c.Limits = append(c.Limits, l.c.Limits...)
	return faults.Errors() == before
}

// maySign reads the sign of the book that a work or a fit is, if it says so.
func (l *loader) maySign(t *source.Table) string {
	if !t.Has("sign") {
		return ""
	}
	return l.name(t, "sign", "rod.wrong_part_number")
}

func (l *loader) fitted(id string, t *source.Table) {
	l.c.Fitted = append(l.c.Fitted, Fitted{ID: id, Pos: t.Position(), PartPos: t.ValuePos("part", -1), Part: t.Need("part"), At: l.spots(t, "at"), Found: t.Need("found"), Wanted: t.String("wanted"),
		Sign: l.maySign(t), SignPos: t.ValuePos("sign", -1), ByWhat: t.String("by_what"), By: l.way(t, Eye), Sure: l.sure(t), Note: t.String("note"), Order: l.orderOf(id, t)})
}

func (l *loader) work(id string, t *source.Table) {
	w := Work{ID: id, Pos: t.Position(), What: t.Need("what"), Sign: l.maySign(t), SignPos: t.ValuePos("sign", -1),
		Parts: partRefs(t, "parts"), Undone: partRefs(t, "undone"), Replaced: partRefs(t, "replaced"),
		When: text(t, "when"), Who: t.String("who"), By: l.way(t, Told), Sure: l.sure(t), Note: t.String("note")}
	if x, ok := l.amount(t, "hours_since"); ok {
		w.HoursSince = &x
	}
	if x, ok := l.amount(t, "km_since"); ok {
		w.KmSince = &x
	}
	w.Order = l.orderOf(id, t)
	l.c.Works = append(l.c.Works, w)
}

// actKinds are the words for what the bench does.
var actKinds = []string{string(ActOff), string(ActDrain), string(ActTurn), string(ActWash), string(ActBlow), string(ActPart), string(ActCut), string(ActTest)}

func (l *loader) act(id string, t *source.Table) {
	a := Act{ID: id, Pos: t.Position(), PartPos: t.ValuePos("part", -1), Part: t.Need("part"), At: l.spots(t, "at"), When: text(t, "when"), Who: t.String("who"),
		Torque: l.value(t, "torque").Text, HeldBy: t.String("held_by"), Bag: t.String("bag"), Note: t.String("note")}
	a.Kind = ActKind(l.word(t, "kind", actKinds...))
	if !t.Has("kind") || t.Any("kind") == "" {
		l.faults.Add(a.Pos, "write kind = one of: "+strings.Join(actKinds, ", "), "[act.%s] has no kind", id)
	}
	a.Order = l.orderOf(id, t)
	l.c.Acts = append(l.c.Acts, a)
}
