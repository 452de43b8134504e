package rules

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

//go:embed packs/*.toml
var embedded embed.FS

// Text is one pack file.
type Text struct {
	Name  string // as told in faults
	Bytes []byte
}

// Embedded lists the packs that come with the program.
func Embedded() []Text {
	files, err := fs.Glob(embedded, "packs/*.toml")
	if err != nil {
		return nil // the pattern is constant
	}
	var out []Text
	for _, f := range files {
		b, err := embedded.ReadFile(f)
		if err != nil {
			continue // cannot be: the file was listed a moment ago
		}
		out = append(out, Text{Name: "rules/" + f, Bytes: b})
	}
	return out
}

// ReadDir reads all packs of a folder, in the order of their names.
func ReadDir(dir string, faults *source.Faults) []Text {
	if st, err := os.Stat(dir); err != nil || !st.IsDir() {
		faults.Add(source.Position{File: dir}, "give the folder that holds the packs (*.toml)", "is not a folder that can be read")
		return nil
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil || len(files) == 0 {
		faults.Add(source.Position{File: dir}, "", "holds no pack (*.toml)")
		return nil
	}
	slices.Sort(files)
	var out []Text
	for _, f := range files {
		if b, ok := source.ReadFile(f, faults); ok {
			out = append(out, Text{Name: f, Bytes: b})
		}
	}
	return out
}

// Load builds the book from layers of packs, a later layer laid over the
// earlier ones. An entry may replace one of an earlier layer only by saying
// `replace = true`. All faults are told in one run; the book is nil if there is
// any that is not a warning.
func Load(faults *source.Faults, layers ...[]Text) *Book {
	hash := hashOf(layers)
	if b := fromSnapshot(builtIn, hash, layers, faults); b != nil {
		return b
	}
	return loadPacks(hash, layers, faults)
}

// hashOf is the SHA-256, in hex, of all packs in the order of their ids.
func hashOf(layers [][]Text) string {
	h := sha256.New()
	texts := slices.Concat(layers...)
	slices.SortFunc(texts, func(a, b Text) int { return strings.Compare(path.Base(a.Name), path.Base(b.Name)) })
	for _, t := range texts {
		fmt.Fprintf(h, "%s %d\n", path.Base(t.Name), len(t.Bytes))
		h.Write(t.Bytes)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// loadPacks builds the book from the texts themselves.
func loadPacks(hash string, layers [][]Text, faults *source.Faults) *Book {
	l := &loader{
		faults: faults,
		book:   &Book{Hash: hash, AtLarge: 1, part: map[string]*Part{}, sign: map[string]*Sign{}, node: map[string]*Node{}, quantity: map[string]*Quantity{}},
		where:  map[string]entry{},
		conds:  map[string]condOrFault{},
		count:  map[ends]int{},
		lost:   map[*Node]bool{},
	}
	texts := slices.Concat(layers...)
	roots, bags := parseAll(texts)
	i := 0
	for layer := range layers {
		for range layers[layer] {
			l.layer = layer
			if roots[i] != nil {
				l.read(texts[i].Name, roots[i])
			}
			i++
		}
	}
	l.resolve()
	check(l.book, l.lost, faults)
	for i := range bags {
		faults.Join(&bags[i])
	}
	if faults.Errors() > 0 {
		return nil
	}
	return l.book
}

// parseAll reads the texts side by side. Each has a bag of its own for its
// faults, so that their order does not hang on which is read first; the root of
// one that cannot be read is nil.
func parseAll(texts []Text) ([]*source.Table, []source.Faults) {
	roots, bags := make([]*source.Table, len(texts)), make([]source.Faults, len(texts))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(len(texts), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(texts); i = int(next.Add(1)) - 1 {
				if root, ok := source.Parse(texts[i].Name, texts[i].Bytes, &bags[i]); ok {
					roots[i] = root
				}
			}
		})
	}
	wg.Wait()
	return roots, bags
}

type entry struct {
	pos   source.Position
	layer int
}

type loader struct {
	faults *source.Faults
	book   *Book
	layer  int
	pack   string
	where  map[string]entry // "part x", "node x", …
	conds  map[string]condOrFault
	count  map[ends]int
	lost   map[*Node]bool // things of which a rule was left out, for there is nothing at its other end

	// What can only be resolved once all packs are read.
	parts    []pending[*Part]
	signs    []pending[*Sign]
	nodes    []pending[*Node]
	more     []pending[string]
	examples []pending[*Example]

	quantities  []pending[*Quantity]
	instruments []pending[*Instrument]
}

// condOrFault is what a text of a condition comes to: most are written many
// times.
type condOrFault struct {
	cond  *Cond
	fault *condError
}

// ends are the two ends of a rule.
type ends struct {
	from, to *Node
	sign     *Sign
}

type pending[T any] struct {
	thing T
	table *source.Table
	pack  string
}

func (l *loader) read(name string, root *source.Table) {
	l.pack = strings.TrimSuffix(path.Base(filepath.ToSlash(name)), ".toml")
	if t := root.Table("pack"); t != nil {
		p := Pack{ID: t.Need("id"), Title: t.Need("title"), Version: t.Need("version"), File: name}
		t.String("note")
		l.atLarge(t)
		t.Done()
		if p.ID != "" {
			l.pack = p.ID
		}
		if l.claim("pack "+p.ID, t, "id", false) {
			l.book.Packs = append(l.book.Packs, p)
		}
	} else if !root.Has("pack") {
		l.faults.Add(root.Position(), `write [pack] with id, title and version`, "has no [pack]")
	}
	l.each(root, "part", func(id string, t *source.Table) { l.readPart(id, t) })
	l.eachOfPart(root, "sign", l.readSign)
	l.each(root, "instrument", l.readInstrument)
	l.eachOfPart(root, "quantity", l.readQuantity)
	l.each(root, "condition", func(id string, t *source.Table) { l.readNode(Condition, id, t) })
	l.each(root, "cause", func(id string, t *source.Table) { l.readNode(Cause, id, t) })
	l.each(root, "step", func(id string, t *source.Table) { l.readNode(Step, id, t) })
	l.each(root, "more", func(id string, t *source.Table) {
		l.more = append(l.more, pending[string]{id, t, l.pack})
	})
	l.each(root, "example", func(id string, t *source.Table) { l.readExample(id, t) })
	root.Done()
}

// atLarge reads what a pack says of the whole book: a later layer may say
// otherwise, a second pack of the same layer may not.
func (l *loader) atLarge(t *source.Table) {
	const key = "at_large"
	if !t.Has(key) {
		return
	}
	v, ok := t.Number(key)
	if ok && (v <= 0 || v > 1) {
		t.FaultAt(key, -1, "", "at_large is %v, and must be above 0 and at most 1", v)
		return
	}
	_, taken := l.where[key]
	if ok && l.claim(key, t, key, taken) {
		l.book.AtLarge = v
	}
}

func (l *loader) each(root *source.Table, key string, do func(string, *source.Table)) {
	group := root.Table(key)
	if group == nil {
		return
	}
	for _, id := range group.Keys() {
		if t := group.Table(id); t != nil {
			if !plainID(id) {
				l.faults.Add(t.Position(), "", "%q is no id: use small letters, digits and _", id)
			}
			do(id, t)
		}
	}
}

// eachOfPart reads tables that are named by a part and what is on it.
func (l *loader) eachOfPart(root *source.Table, key string, do func(part, name string, t *source.Table)) {
	group := root.Table(key)
	if group == nil {
		return
	}
	for _, part := range group.Keys() {
		of := group.Table(part)
		if of == nil {
			continue
		}
		for _, name := range of.Keys() {
			if t := of.Table(name); t != nil {
				do(part, name, t)
			}
		}
	}
}

func plainID(s string) bool {
	return s != "" && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789_") == ""
}

// claim takes an id; false if an earlier pack has it and this one does not say
// that it replaces it.
func (l *loader) claim(id string, t *source.Table, key string, replace bool) bool {
	pos := t.Position()
	if key != "" {
		pos = t.Pos(key)
	}
	was, taken := l.where[id]
	switch {
	case taken && !replace:
		l.faults.Add(pos, "say replace = true to replace it", "%s stands already at %s", said(id), was.pos)
		return false
	case taken && was.layer == l.layer:
		l.faults.Add(pos, "", "%s stands already at %s, in the same layer of packs", said(id), was.pos)
		return false
	case !taken && replace:
		l.faults.Add(pos, "", "%s replaces nothing: no earlier pack has it", said(id))
	}
	l.where[id] = entry{pos, l.layer}
	return true
}

// said is a claimed id as a person reads it: causes, steps and conditions share
// one id space.
func said(id string) string {
	return strings.Replace(id, "node ", "cause, step or condition ", 1)
}

func (l *loader) readPart(id string, t *source.Table) {
	p := &Part{ID: id, Name: t.Need("name"), Also: l.also(t), Pack: l.pack, Pos: t.Position()}
	p.Per = l.kind(t)
	p.Places = t.Strings("places")
	p.When = l.cond(t, "when")
	p.Behind = t.Strings("behind")
	p.MinutesOff, _ = t.Number("minutes_off")
	p.Belongs = t.OneOf("belongs", "engine", "installation", "tool", "place", "paper", "person")
	if p.Belongs == "" {
		p.Belongs = "engine"
	}
	t.String("note")
	t.String("caution")
	if l.claim("part "+id, t, "", t.Bool("replace")) {
		if l.book.part[id] != nil {
			l.book.Parts = slices.DeleteFunc(l.book.Parts, func(o *Part) bool { return o.ID == id })
			l.parts = slices.DeleteFunc(l.parts, func(o pending[*Part]) bool { return o.thing.ID == id })
		}
		l.book.Parts = append(l.book.Parts, p)
		l.book.part[id] = p
		l.parts = append(l.parts, pending[*Part]{p, t, l.pack})
	}
	t.Done()
}

// also reads what else people call a thing: words to search by, each once.
func (l *loader) also(t *source.Table) []string {
	words := t.Strings("also")
	seen := map[string]bool{}
	for i, w := range words {
		switch key := strings.ToLower(w); {
		case w == "":
			t.FaultAt("also", i, "", "also holds an empty text")
		case seen[key]:
			t.FaultAt("also", i, "", "also holds %q twice", w)
		case key == strings.ToLower(t.String("name")):
			t.FaultAt("also", i, "", "also holds %q, which is its name", w)
		default:
			seen[key] = true
		}
	}
	return words
}

func (l *loader) kind(t *source.Table) evidence.Kind {
	var words []string
	for _, k := range evidence.Kinds() {
		words = append(words, string(k))
	}
	return evidence.Kind(t.OneOf("per", words...))
}

func (l *loader) readSign(part, name string, t *source.Table) {
	s := &Sign{ID: part + "." + name, Name: t.Need("name"), Also: l.also(t), Look: t.Need("look"), Pack: l.pack, Pos: t.Position()}
	s.Minutes = 5
	if m, ok := t.Number("minutes"); ok {
		s.Minutes = m
	}
	s.When = l.cond(t, "when")
	s.Caution = t.String("caution")
	s.SameFact = t.String("same_fact")
	s.Vague = t.Bool("vague")
	s.Unlisted = -1
	if t.Has("unlisted") {
		s.Unlisted = l.chance(t, "unlisted")
	}
	t.Strings("lost_by")
	t.String("test")
	t.String("trend")
	t.String("note")
	if l.claim("sign "+s.ID, t, "", t.Bool("replace")) {
		if l.book.sign[s.ID] != nil {
			l.book.Signs = slices.DeleteFunc(l.book.Signs, func(o *Sign) bool { return o.ID == s.ID })
			l.signs = slices.DeleteFunc(l.signs, func(o pending[*Sign]) bool { return o.thing.ID == s.ID })
		}
		l.book.Signs = append(l.book.Signs, s)
		l.book.sign[s.ID] = s
		l.signs = append(l.signs, pending[*Sign]{s, t, l.pack})
	}
	t.Done()
}

// chance reads a share: a number below 1 or "one in twenty".
func (l *loader) chance(t *source.Table, key string) float64 {
	if s, ok := t.Any(key).(string); ok {
		v, err := share(s)
		if err != nil {
			t.FaultAt(key, -1, "", "%v", err)
		}
		return v
	}
	v, _ := t.Number(key)
	if v < 0 || v >= 1 {
		t.FaultAt(key, -1, "", "%s is %v, and must be at least 0 and below 1", key, v)
	}
	return v
}

// worded reads a word of a table or a number from 0 to 1.
func (l *loader) worded(t *source.Table, key string, words []WordValue) (float64, string) {
	if !t.Has(key) {
		l.faults.Add(t.Position(), "", "%s has no %s", t.Path(), key)
		return 0, ""
	}
	if s, ok := t.Any(key).(string); ok {
		v, ok := lookup(words, s)
		if !ok {
			hint := source.Suggest(s, names(words))
			if hint == "" {
				hint = "write a number, or one of: " + strings.Join(names(words), ", ")
			}
			t.FaultAt(key, -1, hint, "%s is %q, which is no such word", key, s)
		}
		return v, s
	}
	v, ok := t.Number(key)
	if ok && (v < 0 || v > 1) {
		hint := ""
		if v >= 2 && v <= 100 {
			hint = fmt.Sprintf("did you mean %.3g, or a word?", v/100)
		}
		t.FaultAt(key, -1, hint, "%s is %v, and must be from 0 to 1", key, v)
	}
	return v, ""
}

func (l *loader) cond(t *source.Table, key string) *Cond {
	if !t.Has(key) {
		return nil
	}
	text, ok := t.Any(key).(string)
	if !ok {
		t.Fault(key, `write it in quotes: when = "engine.fuel == 'diesel'"`, "%s must be a condition", key)
		return nil
	}
	known, seen := l.conds[text]
	if !seen {
		known.cond, known.fault = compileCond(text)
		l.conds[text] = known
	}
	if err := known.fault; err != nil {
		pos := t.ValuePos(key, -1)
		if err.at >= 0 {
			pos = t.TextPos(key, err.at)
		}
		l.faults.Add(pos, err.hint, "the condition does not fit: %s", err.message)
		return nil
	}
	return known.cond
}

func (l *loader) readNode(kind NodeKind, id string, t *source.Table) {
	n := &Node{ID: id, Kind: kind, Name: t.Need("name"), Also: l.also(t), Pack: l.pack, Pos: t.Position()}
	n.Per = l.kind(t)
	n.When = l.cond(t, "when")
	n.Part = t.String("part")
	n.Note = t.String("note")
	n.Source = t.String("source")
	switch kind {
	case Cause:
		n.Category = t.OneOf("category", Categories...)
		if !t.Has("category") {
			l.faults.Add(t.Position(), "", "[%s] has no category", t.Path())
		}
		if t.Has("base_rate_each") {
			n.BaseRate, n.BaseWord = l.worded(t, "base_rate_each", BaseRates)
			n.Each = true
		} else {
			n.BaseRate, n.BaseWord = l.worded(t, "base_rate", BaseRates)
		}
		t.Need("source")
	case Condition:
		n.BaseRate, n.BaseWord = l.worded(t, "base_rate", BaseRates)
		n.Given = l.cond(t, "given")
	case Step:
		n.Unlisted = DefaultUnlisted
		if t.Has("unlisted") {
			n.Unlisted = l.chance(t, "unlisted")
		}
		n.Outcome = t.Bool("outcome")
		n.Rename = t.Bool("rename")
	}
	for _, key := range []string{"leads_to", "shows", "is", "needs", "look_alikes"} {
		t.Has(key) // read once all packs are known
	}
	if l.claim("node "+id, t, "", t.Bool("replace")) {
		if l.book.node[id] != nil {
			l.book.Nodes = slices.DeleteFunc(l.book.Nodes, func(o *Node) bool { return o.ID == id })
			l.nodes = slices.DeleteFunc(l.nodes, func(o pending[*Node]) bool { return o.thing.ID == id })
		}
		l.book.Nodes = append(l.book.Nodes, n)
		l.book.node[id] = n
		l.nodes = append(l.nodes, pending[*Node]{n, t, l.pack})
	}
	t.Done()
}

func (l *loader) readExample(id string, t *source.Table) {
	e := &Example{ID: id, Title: t.Need("title"), Question: t.Need("question"), Pack: l.pack, Pos: t.Position(), Engine: map[string]any{}, History: map[string]any{}}
	for key, into := range map[string]map[string]any{"engine": e.Engine, "history": e.History} {
		if s := t.Table(key); s != nil {
			for _, k := range s.Keys() {
				into[k] = s.Any(k)
			}
		}
	}
	e.At = t.Strings("at")
	e.Leads = t.Strings("leads")
	e.NotLeads = t.Strings("not_leads")
	t.Strings("seen")
	t.Strings("not_found")
	t.Strings("readings")
	t.Strings("limits")
	t.String("note")
	if l.claim("example "+id, t, "", t.Bool("replace")) {
		l.book.Examples = slices.DeleteFunc(l.book.Examples, func(o *Example) bool { return o.ID == id })
		l.examples = slices.DeleteFunc(l.examples, func(o pending[*Example]) bool { return o.thing.ID == id })
		l.book.Examples = append(l.book.Examples, e)
		l.examples = append(l.examples, pending[*Example]{e, t, l.pack})
	}
	t.Done()
}

// resolve ties names to things, once all packs are read.
func (l *loader) resolve() {
	b := l.book
	for _, p := range l.parts {
		for i, id := range p.thing.Behind {
			if b.part[id] == nil {
				p.table.FaultAt("behind", i, l.suggestPart(id), "there is no part %q", id)
			}
		}
	}
	for _, p := range l.signs {
		s := p.thing
		partID, _, _ := strings.Cut(s.ID, ".")
		s.Part = b.part[partID]
		if s.Part == nil {
			l.faults.Add(s.Pos, l.suggestPart(partID), "there is no part %q", partID)
			s.Part = &Part{ID: partID, Name: partID} // so that later checks can go on
		}
		for i, text := range p.table.Strings("lost_by") {
			kind, part, _ := strings.Cut(text, " ")
			acts := []evidence.ActKind{evidence.ActOff, evidence.ActDrain, evidence.ActTurn, evidence.ActWash, evidence.ActBlow, evidence.ActPart, evidence.ActCut, evidence.ActTest}
			switch {
			case !slices.Contains(acts, evidence.ActKind(kind)):
				p.table.FaultAt("lost_by", i, "", "%q begins with no act: write off, drain, turn, wash, blow, part, cut or test, and the part", text)
			case b.part[part] == nil:
				p.table.FaultAt("lost_by", i, l.suggestPart(part), "there is no part %q", part)
			default:
				s.LostBy = append(s.LostBy, LostBy{evidence.ActKind(kind), part})
			}
		}
	}
	l.resolveQuantities()
	for _, p := range l.signs {
		l.resolveTest(p.thing, p.table)
	}
	for _, p := range l.nodes {
		l.pack = p.pack
		if p.thing.Part != "" && b.part[p.thing.Part] == nil {
			p.table.FaultAt("part", -1, l.suggestPart(p.thing.Part), "there is no part %q", p.thing.Part)
		}
		l.outgoing(p.thing, p.table)
		l.needs(p.thing, p.table)
		if s := p.table.Table("look_alikes"); s != nil {
			p.thing.LookAlike = map[string]string{}
			for _, k := range s.Keys() {
				if b.node[k] == nil {
					s.Fault(k, l.suggestNode(k), "there is no cause or step %q", k)
				}
				p.thing.LookAlike[k] = s.String(k)
			}
		}
	}
	for _, p := range l.more {
		l.pack = p.pack
		n := b.node[p.thing]
		if n == nil {
			l.faults.Add(p.table.Position(), l.suggestNode(p.thing), "there is no cause or step %q to say more of", p.thing)
			continue
		}
		l.outgoing(n, p.table)
		p.table.Done()
	}
	for _, p := range l.examples {
		p.thing.Seen = l.exampleFindings(p.table, "seen")
		p.thing.NotFound = l.exampleFindings(p.table, "not_found")
		l.exampleReadings(p.thing, p.table)
		if q := b.node[p.thing.Question]; p.thing.Question != "" && (q == nil || q.Kind != Step) {
			p.table.FaultAt("question", -1, l.suggestNode(p.thing.Question), "there is no step %q to ask about", p.thing.Question)
		}
		for _, key := range []string{"leads", "not_leads"} {
			for i, id := range p.table.Strings(key) {
				if b.node[id] == nil && id != "unlisted" {
					p.table.FaultAt(key, i, l.suggestNode(id), "there is no cause or step %q", id)
				}
			}
		}
	}
	for _, s := range b.Signs {
		if s.Unlisted >= 0 {
			continue
		}
		s.Unlisted = DefaultSignUnlisted
		if len(s.By) > 0 && !slices.ContainsFunc(s.By, func(r *Rule) bool { return !r.Is }) {
			s.Unlisted = 0
		}
	}
}

func (l *loader) exampleFindings(t *source.Table, key string) []ExampleFinding {
	var out []ExampleFinding
	for i, text := range t.Strings(key) {
		id, at, _ := strings.Cut(text, "@")
		f := ExampleFinding{strings.TrimSpace(id), strings.TrimSpace(at)}
		if l.book.sign[f.Sign] == nil {
			t.FaultAt(key, i, l.suggestSign(f.Sign), "there is no sign %q", f.Sign)
		}
		out = append(out, f)
	}
	return out
}

func (l *loader) suggestPart(id string) string { return l.book.SuggestPart(id) }

func (l *loader) suggestSign(id string) string { return l.book.SuggestSign(id) }

func (l *loader) suggestNode(id string) string {
	return source.Suggest(id, ids(l.book.Nodes, func(n *Node) string { return n.ID }))
}

func ids[T any](list []T, id func(T) string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = id(x)
	}
	slices.Sort(out)
	return out
}

// outgoing reads leads_to, shows and is.
func (l *loader) outgoing(n *Node, t *source.Table) {
	if s := t.Table("leads_to"); s != nil {
		for _, id := range s.Keys() {
			to := l.book.node[id]
			if to == nil || to.Kind != Step {
				hint := l.suggestNode(id)
				if to != nil {
					hint = "only a step can be produced; " + string(to.Kind) + "s are where things begin"
				}
				s.Fault(id, hint, "there is no step %q", id)
				l.lost[n] = true
			}
			for _, rt := range s.Tables(id) {
				if r := l.rule(n, rt, false); to != nil && to.Kind == Step {
					r.To = to
					l.add(r, rt)
				}
			}
		}
	}
	for _, key := range []string{"shows", "is"} {
		is := key == "is"
		s := t.Table(key)
		if s == nil {
			continue
		}
		for _, part := range s.Keys() {
			ps := s.Table(part)
			if ps == nil {
				continue
			}
			for _, name := range ps.Keys() {
				id := part + "." + name
				sign := l.book.sign[id]
				if sign == nil {
					ps.Fault(name, l.suggestSign(id), "there is no sign %q", id)
					l.lost[n] = true
				}
				for _, rt := range ps.Tables(name) {
					if r := l.rule(n, rt, is); sign != nil {
						r.Sign = sign
						l.add(r, rt)
					}
				}
			}
		}
	}
}

func (l *loader) rule(n *Node, t *source.Table, is bool) *Rule {
	r := &Rule{From: n, Is: is, Pack: l.pack, Pos: t.Position(), HowOften: 1}
	if !is {
		r.HowOften, r.Word = l.worded(t, "how_often", HowOften)
	}
	r.Because = t.Need("because")
	if is {
		r.Source = t.String("source")
	} else {
		r.Source = t.Need("source")
	}
	r.When = l.cond(t, "when")
	r.Where = t.String("where")
	r.Relation = t.OneOf("to", "adjacent", "same bank", "every")
	r.Reach = Reach(t.OneOf("reach", "each", "all", "first", "one"))
	t.Done()
	return r
}

// add gives the rule its id and hangs it on both ends.
func (l *loader) add(r *Rule, t *source.Table) {
	target, per := "", evidence.One
	if r.To != nil {
		target, per = r.To.ID, r.To.Per
	} else {
		target, per = r.Sign.ID, r.Sign.Part.Per
	}
	if msg := relationFault(r.From.Per, per, r.Relation, r.Reach); msg != "" {
		l.faults.Add(r.Pos, "", "%s cannot lead to %s: %s", r.From.ID, target, msg)
	}
	if r.Where != "" && (r.Sign == nil || !slices.Contains(r.Sign.Part.Places, r.Where)) {
		var places []string
		if r.Sign != nil {
			places = r.Sign.Part.Places
		}
		l.faults.Add(r.Pos, source.Suggest(r.Where, places), "%s has no place %q", target, r.Where)
	}
	if r.Reach == "" {
		r.Reach = ReachEach
	}
	r.ID = r.From.ID + " > " + target
	at := ends{r.From, r.To, r.Sign}
	l.count[at]++
	if n := l.count[at]; n > 1 {
		r.ID += fmt.Sprintf(" #%d", n)
	}
	l.book.Rules = append(l.book.Rules, r)
	r.From.Out = append(r.From.Out, r)
	if r.To != nil {
		r.To.In = append(r.To.In, r)
	} else {
		r.Sign.By = append(r.Sign.By, r)
	}
}

// upright are the kinds that stand for a cylinder, one for one.
func upright(k evidence.Kind) bool { return k == evidence.Cylinder || k == evidence.Rod }

func valve(k evidence.Kind) bool { return k == evidence.IntakeValve || k == evidence.ExhaustValve }

// relationFault says why a rule cannot run from one kind of position to
// another; "" if it can.
func relationFault(from, to evidence.Kind, relation string, reach Reach) string {
	if reach != "" && reach != ReachEach && (from != evidence.One && relation != "every" || to == evidence.One) {
		return "reach " + string(reach) + " is for a rule from one thing to many positions"
	}
	switch {
	case relation == "every":
		if from == evidence.One || to == evidence.One {
			return `to = "every" is for a rule from one position to all positions of another`
		}
		return ""
	case relation == "adjacent":
		if from == to && from != evidence.One || upright(from) && upright(to) || upright(from) && to == evidence.Main || from == evidence.Main && upright(to) {
			return ""
		}
		return "they have no neighbours in common"
	case relation == "same bank":
		if upright(from) && upright(to) {
			return ""
		}
		return "only cylinders and rods share a bank"
	case from == evidence.One || to == evidence.One || from == to, upright(from) && upright(to):
		return ""
	case upright(from) && (valve(to) || to == evidence.Bank || to == evidence.Camshaft), valve(from) && upright(to), (from == evidence.Bank || from == evidence.Camshaft) && upright(to):
		return ""
	case from == evidence.Bank && to == evidence.Camshaft, from == evidence.Camshaft && to == evidence.Bank:
		return ""
	}
	return fmt.Sprintf(`from a %s to a %s it must say to = "adjacent" or "every"`, strings.ReplaceAll(string(from), "_", " "), strings.ReplaceAll(string(to), "_", " "))
}

func (l *loader) needs(n *Node, t *source.Table) {
	if n.Kind != Step {
		if t.Has("needs") {
			t.Fault("needs", "", "only a step can need things")
		}
		return
	}
	for _, nt := range t.Tables("needs") {
		need := &Need{To: n, Pos: nt.Position()}
		need.HowOften, need.Word = l.worded(nt, "how_often", HowOften)
		need.Because = nt.Need("because")
		need.Source = nt.Need("source")
		need.When = l.cond(nt, "when")
		for i, id := range nt.Strings("all") {
			o := l.book.node[id]
			if o == nil {
				nt.FaultAt("all", i, l.suggestNode(id), "there is no cause or step %q", id)
				continue
			}
			if o.Per != evidence.One && o.Per != n.Per && !(upright(o.Per) && upright(n.Per)) {
				nt.FaultAt("all", i, "", "%s is per %s and cannot be needed by %s", id, o.Per, n.ID)
				continue
			}
			need.Of = append(need.Of, o)
		}
		if len(need.Of) < 2 && len(nt.Strings("all")) < 2 {
			l.faults.Add(nt.Position(), "write leads_to where one thing is enough", "needs must name two things or more")
		}
		nt.Done()
		n.Needs = append(n.Needs, need)
	}
}

// Whole tells whether packs are a book of their own rather than a layer: they
// bring again a pack that the embedded book has.
func Whole(texts []Text) bool {
	for _, t := range texts {
		for _, e := range Embedded() {
			if path.Base(filepath.ToSlash(t.Name)) == path.Base(e.Name) {
				return true
			}
		}
	}
	return false
}
