package evidence

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

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

// Parse reads the text of a case file, named for its faults.
func Parse(name string, text []byte, faults *source.Faults) (c *Case, ok bool) {
	before := faults.Errors()
	root, ok := source.Parse(name, text, faults)
	if !ok {
		return nil, false
	}
	l := &loader{c: &Case{File: name, hash: sha256.Sum256(text)}, faults: faults, ids: map[string]source.Position{}}
	l.read(root)
	l.order()
	l.opposites()
	if faults.Errors() > before {
		return nil, false
	}
	return l.c, true
}

type loader struct {
	c      *Case
	faults *source.Faults
	ids    map[string]source.Position
	edges  []orderEdge
	refs   []ref
}

// ref is an id that another entry must have.
type ref struct {
	id, what string
	pos      source.Position
}

type orderEdge struct {
	first, then string
	pos         source.Position
}

func (l *loader) read(root *source.Table) {
	c := l.c
	if t := root.Table("case"); t != nil {
		c.ID, c.Title, c.Question = t.String("id"), t.String("title"), t.String("question")
		c.QuestionPos = t.ValuePos("question", -1)
		c.QuestionAt = t.Strings("at")
		t.String("note")
		t.Done()
		defer func() { // positions need the engine
			c.At = l.spots(t, "at")
		}()
	}
	l.engine(root)
	c.History.Facts = map[string]any{}
	if t := root.Table("history"); t != nil {
		l.facts("history", t, c.History.Facts, nil)
		t.Done()
	}
	if t := root.Table("received"); t != nil {
		c.Received = Received{Said: true, Pos: t.Position(), State: t.String("state"), OpenedBy: t.String("opened_by"), Off: partRefs(t, "off"),
			Turns: t.OneOf("turns", "freely", "stiffly", "part way", "not at all", "not tried"), Fluids: t.String("fluids"), Date: text(t, "date"), From: t.String("from"), Note: t.String("note")}
		t.Done()
	}
	l.each(root, "work", l.work)
	l.each(root, "finding", l.finding)
	l.each(root, "reading", l.reading)
	l.each(root, "fitted", l.fitted)
	l.each(root, "act", l.act)
	c.OrderLost = partRefs(root, "order_lost")
	if t := root.Table("confirmed"); t != nil {
		c.Confirmed = Confirmed{Accept: t.Strings("accept"), Undetermined: t.Bool("undetermined"), By: t.String("by"), Note: t.String("note")}
		t.Done()
	}
	root.Done()
}

// text reads a text, or a TOML date as it is written.
func text(t *source.Table, key string) string {
	switch v := t.Any(key).(type) {
	case nil, string, bool, int64, float64, []any, map[string]any:
		return t.String(key)
	default:
		return fmt.Sprint(v)
	}
}

func partRefs(t *source.Table, key string) []PartRef {
	var out []PartRef
	for i, p := range t.Strings(key) {
		out = append(out, PartRef{p, t.ValuePos(key, i)})
	}
	return out
}

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
			l.faults.Add(t.Position(), "give it a number of its own", "%s is used twice: also at %s", id, was)
		}
		l.ids[id] = t.Position()
		do(id, t)
		t.Done()
	}
}

var musts = []struct{ name, example string }{
	{"fuel", `fuel = "diesel"`}, {"cycle", `cycle = "four-stroke"`}, {"cooling", `cooling = "liquid"`}, {"layout", `layout = "inline"`},
}

func (l *loader) engine(root *source.Table) {
	e := &l.c.Engine
	e.Facts, e.AtLeast = map[string]any{}, map[string]bool{}
	t := root.Table("engine")
	if t == nil {
		if !root.Has("engine") {
			l.faults.Add(root.Position(), `write [engine] with at least fuel, cycle, cooling and layout: fuel = "diesel"`, "has no [engine]")
		}
		return
	}
	l.facts("engine", t, e.Facts, e.AtLeast)
	for _, m := range musts {
		if !t.Has(m.name) {
			l.faults.Add(t.Position(), "write "+m.example, "[engine] does not say %s", m.name)
		}
	}
	if t.Has("bank_of") {
		l.bankOf(t)
	}
	t.Done()
}

func (l *loader) bankOf(t *source.Table) {
	list, ok := t.Any("bank_of").([]any)
	var banks []int
	for i, v := range list {
		n, isInt := v.(int64)
		if !isInt || n < 1 || n > 1000 {
			t.FaultAt("bank_of", i, "", "bank_of must list the bank of each cylinder, as in [1, 1, 1, 2, 2, 2]")
			return
		}
		banks = append(banks, int(n))
	}
	if n, _ := l.c.Engine.Count(Cylinder); !ok || len(banks) != n {
		t.Fault("bank_of", "", "bank_of must have one number for each of the %d cylinders", n)
		return
	}
	l.c.Engine.BankList = banks
}

// facts reads the plain facts of a table by the one list of fields.
func (l *loader) facts(table string, t *source.Table, into map[string]any, atLeast map[string]bool) {
	for _, f := range fields {
		if f.Table != table || !t.Has(f.Name) {
			continue
		}
		switch f.Type {
		case Text:
			into[f.Name] = t.String(f.Name)
		case Word:
			if w := t.OneOf(f.Name, f.Words...); w != "" {
				into[f.Name] = w
			}
		case Int:
			if s, ok := t.Any(f.Name).(string); ok && strings.HasSuffix(s, "+") && atLeast != nil {
				if n, err := strconv.Atoi(strings.TrimSuffix(s, "+")); err == nil && n > 0 && n <= 1000 {
					into[f.Name], atLeast[f.Name] = n, true
					continue
				}
			}
			n, ok := t.Int(f.Name)
			if ok && (n < 0 || n > 1000 && f.Name != "year") {
				t.FaultAt(f.Name, -1, "", "%s cannot be %d", f.Name, n)
			} else if ok {
				into[f.Name] = n
			}
		case Number:
			x, ok := t.Number(f.Name)
			if ok && x < 0 {
				t.FaultAt(f.Name, -1, "", "%s cannot be negative", f.Name)
			} else if ok {
				into[f.Name] = x
			}
		case Bool:
			into[f.Name] = t.Bool(f.Name)
		}
	}
}

// spots reads positions and holds them against what the engine has.
func (l *loader) spots(t *source.Table, key string) []Spot {
	var out []Spot
	for i, text := range t.Strings(key) {
		s, err := ParseSpot(text)
		if err != nil {
			t.FaultAt(key, i, "", "%v", err)
			continue
		}
		s.Pos = t.ValuePos(key, i)
		if s.Kind != One {
			if _, err := l.c.Engine.Resolve(s, s.Kind); err != nil {
				t.FaultAt(key, i, "", "%v", err)
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

func (l *loader) orderOf(id string, t *source.Table) Order {
	o := Order{After: t.Strings("after"), Before: t.Strings("before")}
	for i, x := range o.After {
		l.refs = append(l.refs, ref{x, id + " is after", t.ValuePos("after", i)})
		l.edges = append(l.edges, orderEdge{x, id, t.ValuePos("after", i)})
	}
	for i, x := range o.Before {
		l.refs = append(l.refs, ref{x, id + " is before", t.ValuePos("before", i)})
		l.edges = append(l.edges, orderEdge{id, x, t.ValuePos("before", i)})
	}
	return o
}

func way(t *source.Table, otherwise Way) Way {
	w := t.OneOf("by", string(Eye), string(Lens), string(Gauge), string(CrackTest), string(Laboratory), string(Paper), string(Told))
	if w == "" {
		return otherwise
	}
	return Way(w)
}

func sure(t *source.Table) Sureness {
	s := t.OneOf("sure", string(Certain), string(Fairly), string(Doubtful))
	if s == "" {
		return Certain
	}
	return Sureness(s)
}

func (l *loader) finding(id string, t *source.Table) {
	f := Finding{ID: id, Pos: t.Position(), SignPos: t.ValuePos("sign", -1)}
	f.Sign = t.Need("sign")
	f.Part = t.String("part")
	f.At = l.spots(t, "at")
	f.State = l.state(t)
	f.Why = t.String("why")
	f.By, f.Sure = way(t, Eye), sure(t)
	f.Surface = t.OneOf("surface", "as found", "wiped", "washed", "cut")
	f.Look, f.Sample = t.String("look"), t.String("sample")
	f.Made = t.OneOf("made", "teardown", "crash", "fire", "storage", "transport", "cleaning")
	f.Replaces = t.String("replaces")
	f.RestsOn = t.Strings("rests_on")
	f.HowMuch = t.OneOf("how_much", "spots", "part", "most", "all")
	f.Photos = t.Strings("photos")
	f.Note, f.Who = t.String("note"), t.String("who")
	f.Order = l.orderOf(id, t)
	if f.Replaces != "" {
		l.refs = append(l.refs, ref{f.Replaces, id + " replaces", t.ValuePos("replaces", -1)})
	}
	for i, x := range f.RestsOn {
		l.refs = append(l.refs, ref{x, id + " rests on", t.ValuePos("rests_on", i)})
	}
	switch {
	case f.Sign == "other" && (f.Part == "" || f.Note == ""):
		l.faults.Add(f.Pos, "", `[finding.%s]: a sign "other" needs the part and a note of what was seen`, id)
	case f.Sign != "" && f.Sign != "other" && !strings.Contains(f.Sign, "."):
		t.FaultAt("sign", -1, `write it as part.sign, like "oil_pickup.screen_clogged"`, "%q names no sign of a part", f.Sign)
	case f.Sign != "other" && f.Part != "" && !strings.HasPrefix(f.Sign, f.Part+"."):
		t.FaultAt("part", -1, "leave part away: the sign names it", "part is %q, and the sign is of another part", f.Part)
	}
	if f.State == Unavailable && f.Why == "" && f.Note == "" {
		t.Warn("state", "", "%s is unavailable: say why (not recovered, destroyed, not examined, result not given)", id)
	}
	l.c.Findings = append(l.c.Findings, f)
}

func (l *loader) state(t *source.Table) State {
	if !t.Has("state") {
		l.faults.Add(t.Position(), `write state = "seen", "not found" or "unavailable"`, "[%s] has no state", t.Path())
		return ""
	}
	s := t.String("state")
	words := []string{string(Seen), string(NotFound), string(Unavailable)}
	if s == "" || slices.Contains(words, s) {
		return State(s)
	}
	hint := source.Suggest(s, words)
	switch s {
	case "absent", "no", "none", "missing", "not seen", "not_found", "clean", "false":
		hint = `did you mean "not found"?`
	case "present", "yes", "found", "true":
		hint = `did you mean "seen"?`
	case "unknown", "lost", "n/a", "destroyed":
		hint = `did you mean "unavailable"?`
	}
	t.FaultAt("state", -1, hint, "state is %q, and must be seen, not found or unavailable", s)
	return ""
}

var valueUnit = regexp.MustCompile(`^([<>≤≥]=?|max|min)?\s*[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?\s*(\S.*)?$`)

// quantity reads a value with its unit, as written. What the unit means is
// worked out where readings are weighed.
func (l *loader) quantity(t *source.Table, key string) string {
	switch v := t.Any(key).(type) {
	case int64, float64:
		t.FaultAt(key, -1, fmt.Sprintf("did you mean %q?", fmt.Sprintf("%v mm", v)), "%s is %v without a unit: write it in quotes with its unit", key, v)
		return ""
	}
	s := t.String(key)
	if s == "" {
		return ""
	}
	m := valueUnit.FindStringSubmatch(s)
	switch {
	case m == nil:
		t.FaultAt(key, -1, `write it like "59.94 mm"`, "%s is %q, which is no number with a unit", key, s)
	case m[4] == "":
		t.FaultAt(key, -1, fmt.Sprintf("did you mean %q?", s+" mm"), "%s is %q: the unit is missing", key, s)
	}
	return s
}

func (l *loader) reading(id string, t *source.Table) {
	r := Reading{ID: id, Pos: t.Position(), Of: t.Need("of"), At: l.spots(t, "at")}
	r.Value, r.AtLeast, r.AtMost = l.quantity(t, "value"), l.quantity(t, "at_least"), l.quantity(t, "at_most")
	r.Uncertainty, r.Limit = l.quantity(t, "uncertainty"), l.quantity(t, "limit")
	r.Coverage = t.String("coverage")
	r.Trend = t.OneOf("trend", "rising", "falling", "steady")
	r.Unlike = l.spots(t, "unlike")
	r.How = t.OneOf("how", "higher", "lower", "different")
	r.LimitFrom, r.LimitFor = t.String("limit_from"), t.OneOf("limit_for", "new", "service", "release")
	r.Instrument, r.Sample = t.String("instrument"), t.String("sample")
	r.By = way(t, Gauge)
	r.Note, r.Who = t.String("note"), t.String("who")
	r.Order = l.orderOf(id, t)
	if r.Of != "" && !strings.Contains(r.Of, ".") {
		t.FaultAt("of", -1, `write it as part.quantity, like "rod_journal.diameter"`, "%q names no quantity of a part", r.Of)
	}
	if !t.Has("value") && !t.Has("at_least") && !t.Has("at_most") && !t.Has("trend") && !t.Has("unlike") {
		l.faults.Add(r.Pos, `write value = "59.94 mm", or at_least, at_most, trend or unlike`, "[reading.%s] says nothing that was measured", id)
	}
	l.c.Readings = append(l.c.Readings, r)
}

func (l *loader) fitted(id string, t *source.Table) {
	l.c.Fitted = append(l.c.Fitted, Fitted{ID: id, Pos: t.Position(), Part: t.Need("part"), At: l.spots(t, "at"), Found: t.Need("found"), Wanted: t.String("wanted"),
		Sign: t.String("sign"), SignPos: t.ValuePos("sign", -1), ByWhat: t.String("by_what"), By: way(t, Eye), Sure: sure(t), Note: t.String("note")})
}

func (l *loader) work(id string, t *source.Table) {
	w := Work{ID: id, Pos: t.Position(), What: t.Need("what"), Sign: t.String("sign"), SignPos: t.ValuePos("sign", -1),
		Parts: partRefs(t, "parts"), Undone: partRefs(t, "undone"), Replaced: partRefs(t, "replaced"),
		When: text(t, "when"), Who: t.String("who"), By: way(t, Told), Sure: sure(t), Note: t.String("note")}
	for key, into := range map[string]**float64{"hours_since": &w.HoursSince, "km_since": &w.KmSince} {
		if x, ok := t.Number(key); ok {
			*into = &x
		}
	}
	w.Order = l.orderOf(id, t)
	l.c.Works = append(l.c.Works, w)
}

func (l *loader) act(id string, t *source.Table) {
	a := Act{ID: id, Pos: t.Position(), Part: t.Need("part"), At: l.spots(t, "at"), When: text(t, "when"), Who: t.String("who"),
		Torque: l.quantity(t, "torque"), HeldBy: t.String("held_by"), Bag: t.String("bag"), Note: t.String("note")}
	a.Kind = ActKind(t.OneOf("kind", string(ActOff), string(ActDrain), string(ActTurn), string(ActWash), string(ActBlow), string(ActPart), string(ActCut), string(ActTest)))
	if !t.Has("kind") {
		l.faults.Add(a.Pos, "write kind = off, drain, turn, wash, blow, part, cut or test", "[act.%s] has no kind", id)
	}
	a.Order = l.orderOf(id, t)
	l.c.Acts = append(l.c.Acts, a)
}

// order checks that what entries refer to is there, that before and after do
// not run in a circle, and marks corrected findings.
func (l *loader) order() {
	known := slices.Sorted(maps.Keys(l.ids))
	for _, r := range l.refs {
		if _, ok := l.ids[r.id]; !ok {
			l.faults.Add(r.pos, source.Suggest(r.id, known), "%s %q, which is not in this case", r.what, r.id)
		}
	}
	for _, f := range l.c.Findings {
		if f.Replaces == "" {
			continue
		}
		for i := range l.c.Findings {
			if l.c.Findings[i].ID == f.Replaces {
				l.c.Findings[i].ReplacedBy = f.ID
			}
		}
	}
	next := map[string][]string{}
	for _, e := range l.edges {
		next[e.first] = append(next[e.first], e.then)
	}
	state := map[string]int{}
	var trail []string
	var visit func(id string)
	visit = func(id string) {
		state[id] = 1
		trail = append(trail, id)
		for _, n := range next[id] {
			switch state[n] {
			case 0:
				visit(n)
			case 1:
				loop := append(slices.Clone(trail[slices.Index(trail, n):]), n)
				l.faults.Add(l.ids[n], "one of these is the wrong way round", "before and after run in a circle: %s", strings.Join(loop, " → "))
			}
		}
		trail = trail[:len(trail)-1]
		state[id] = 2
	}
	for _, id := range slices.Sorted(maps.Keys(next)) {
		if state[id] == 0 {
			visit(id)
		}
	}
}

// opposites finds the same sign at the same position both seen and not found.
func (l *loader) opposites() {
	type told struct {
		f   Finding
		key string
	}
	var all []told
	for _, f := range l.c.Findings {
		if !f.Counts() || f.Sure == Doubtful {
			continue
		}
		for _, key := range l.keys(f) {
			for _, o := range all {
				if o.key != key || o.f.ID == f.ID {
					continue
				}
				if o.f.State != f.State {
					l.faults.Add(f.Pos, `if one corrects the other, say replaces = "`+o.f.ID+`"`, "%s says %s of %s %s, and %s (line %d) says %s", f.ID, f.State, f.Sign, key[strings.IndexByte(key, '@'):], o.f.ID, o.f.Pos.Line, o.f.State)
				} else {
					l.faults.Warn(f.Pos, "", "%s tells the same as %s (line %d)", f.ID, o.f.ID, o.f.Pos.Line)
				}
				break
			}
			all = append(all, told{f, key})
		}
	}
}

// keys are the sign at each single position of a finding.
func (l *loader) keys(f Finding) []string {
	if len(f.At) == 0 {
		return []string{f.Sign + " @ "}
	}
	var out []string
	for _, s := range f.At {
		switch {
		case s.Unknown != "" || s.Count > 0 || s.Kind == One && !s.All && s.Place == "":
			continue
		case s.Kind == One && s.All:
			out = append(out, f.Sign+" @ all/"+s.Place)
		case s.Kind == One:
			out = append(out, f.Sign+" @ /"+s.Place)
		default:
			indexes, err := l.c.Engine.Resolve(s, s.Kind)
			if err != nil {
				continue
			}
			for _, i := range indexes {
				out = append(out, f.Sign+" @ "+l.c.Engine.Name(s.Kind, i)+"/"+s.Place)
			}
		}
	}
	return slices.Compact(out)
}
