package network

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"tidemark/engine/infer"
	"tidemark/evidence"
	"tidemark/rules"
)

// Item is a cause, step or condition at one position.
type Item struct {
	Node  *rules.Node
	Index int    // position, counting from 1; 0 for one an engine
	At    string // "rod 3"; "" for one an engine
	v     int    // its variable
}

// ID is "rod_bearing_spun" or "rod_bearing_spun @ rod 3".
func (it *Item) ID() string {
	if it.At == "" {
		return it.Node.ID
	}
	return it.Node.ID + " @ " + it.At
}

// Name is the item in words: "rod bearing spun, rod 3".
func (it *Item) Name() string {
	if it.At == "" {
		return it.Node.Name
	}
	return it.Node.Name + ", " + it.At
}

// Family is all positions of one positioned cause or step, held as one.
type Family struct {
	Node  *rules.Node
	Items []*Item
	v     int // a variable that is there when any of them is
}

type kind int

const (
	root   kind = iota // cause or condition: prior
	gate               // or over edges, with a chance by itself
	both               // conjunction of parents
	reach              // whether a "first" rule works
	extent             // how far the "first" rules of one source get: to one, some, all
	taken              // whether they get to this position
	hit                // parent, if this position is taken
	letter             // which position an unknown one is
	kindAt             // parent, if letter is this position
	sum                // at how many positions up to here
)

// edge is a rule that runs to one position.
type edge struct {
	from int
	pass float64
	rule *rules.Rule // nil for a need or for the insides of a family
	need *rules.Need
}

type variable struct {
	name  string
	kind  kind
	item  *Item
	prior float64 // root
	leak  float64 // gate: chance of occurring with no listed parent working
	edges []edge  // parents; for kindAt: [parent, letter]; for hit: [rule, taken]; for sum: [this position, sum before]
	state int     // kindAt: which state of the letter lets it through
	n     int     // extent, taken, letter: positions; sum: states
	far   int     // reach: its extent
}

// Ground is a book grounded in an engine. Variables stand parents first.
type Ground struct {
	Book   *rules.Book
	Engine evidence.Engine
	Facts  map[string]any
	// Budget bounds the size of the plain model (see DefaultBudget).
	Budget   float64
	Items    []*Item
	Families []*Family
	Assumed  []Assumption
	// Observed are the findings that are evidence, as they were entered.
	Observed []Observation
	// Dropped are findings that are not evidence, and why.
	Dropped []Dropped

	truths  *truths
	counts  map[evidence.Kind]int // positions
	scratch *infer.Shared         // memory for all questions of this ground
	vars    []variable
	byNode  map[*rules.Node][]*Item
	family  map[*rules.Node]*Family
	letters map[string]int
	firsts  map[string][]int        // whether the "first" rules of a source get to each position
	signs   map[signRule]sharedRule // rules to signs that do not reach each by its own chance
	noPart  map[*rules.Part]bool
	noSign  map[*rules.Sign]bool // whose condition this engine does not meet
	outcome int                  // variable; -1 when nothing is asked
	prior   []float64            // by variable: how likely before anything is found
	// stand is, by variable, how likely it is taken to be where a rule from it is
	// left out.
	stand []float64
	// thin tells the rules that are left out because
	// hardly anything comes of them; nil until settled.
	thin *leftOut
	// edgesBefore is, by variable, how many edges those before it have, and last that of all.
	edgesBefore []int32
	// changed tells that findings or rules are others than those by which it was chosen what
	// is left out.
	changed bool
	// heaviest is the most that comes of any rule left out (see rank).
	heaviest float64
	// What goes with a choice of rules to leave out (see settle): choices that
	// leave out more, for larger models, and one that leaves out less, as a check;
	// the most that a probability moved then; and how likely things are that are not
	// in the model any more.
	coarse   []*coarse
	wide     *Ground
	upward   *upward // nil where the choice is not made for good
	foreseen *Ground // that of the coarse ones which sketches are made with, and ways that they need
	moved    float64
	beside   []float64
	passages map[int]passage // by cause: how what is left out is taken to have worked
	forced   []int           // variables wanted in the plain model, where more than what bears on the case is
	asked    *rules.Node
	askedAt  []*Item
	frame    *frame       // where three-level models are made from the plain one; else nil
	altered  map[int]bool // variables that are others than in the frame's ground
	unseen   []edge       // what would have shown a sign that is taken as looked for and not found
}

// Assumption is something that the case does not say and that was taken.
type Assumption struct {
	What    string
	Because string
}

// Dropped is a finding that does not count as evidence.
type Dropped struct {
	Finding string
	Why     string
	// As is the state it is taken as: "unavailable" where a look could not
	// have shown it, "" where it is kept but counts nothing.
	As evidence.State
}

// New grounds the book in the engine of a case. Findings and question are
// entered by Observe and Ask.
func New(book *rules.Book, c *evidence.Case) *Ground {
	g := &Ground{
		Book: book, Engine: c.Engine, Budget: DefaultBudget, Facts: rules.Facts(c.Engine, c.History),
		byNode: map[*rules.Node][]*Item{}, family: map[*rules.Node]*Family{},
		truths: &truths{known: map[string]rules.Truth{}}, counts: map[evidence.Kind]int{}, scratch: &infer.Shared{}, letters: map[string]int{}, firsts: map[string][]int{}, signs: map[signRule]sharedRule{}, noPart: map[*rules.Part]bool{}, noSign: map[*rules.Sign]bool{}, outcome: -1,
	}
	for _, k := range evidence.Kinds() {
		g.counts[k] = g.count(k)
	}
	a := newAssumer(g)
	a.counts()
	a.usual()
	for _, p := range book.Parts {
		if g.holds(p.When, a) == rules.No {
			g.noPart[p] = true
		}
	}
	for _, s := range book.Signs {
		if !g.noPart[s.Part] && g.holds(s.When, a) == rules.No {
			g.noSign[s] = true
		}
	}
	for _, n := range book.Nodes {
		g.node(n, a)
	}
	g.leaks()
	a.finish()
	return g
}

// holds evaluates a condition; unknown counts as yes and is told.
func (g *Ground) holds(c *rules.Cond, a *assumer) rules.Truth {
	if c == nil {
		return rules.Yes
	}
	t := g.truths.of(c, g.Facts)
	if t == rules.Unknown {
		a.unsaid(c)
	}
	return t
}

// truths remembers what conditions came to by the facts of a case: the book has the same
// ones over and over.
type truths struct {
	mutex sync.Mutex
	known map[string]rules.Truth // by text
}

func (t *truths) of(c *rules.Cond, facts map[string]any) rules.Truth {
	if t == nil {
		return c.Eval(facts)
	}
	t.mutex.Lock()
	defer t.mutex.Unlock()
	x, ok := t.known[c.Text]
	if !ok {
		x = c.Eval(facts)
		t.known[c.Text] = x
	}
	return x
}

// off tells whether the engine has not got what the node is about: its part,
// or all the parts on which it could be seen.
func (g *Ground) off(n *rules.Node) bool {
	if n.Part != "" {
		return g.noPart[g.Book.Part(n.Part)]
	}
	seen := false
	for _, r := range n.Out {
		if r.Sign == nil {
			continue
		}
		if !g.noPart[r.Sign.Part] {
			return false
		}
		seen = true
	}
	return seen
}

func (g *Ground) count(k evidence.Kind) int {
	if k == evidence.One {
		return 1
	}
	if n, ok := g.counts[k]; ok {
		return n
	}
	n, _ := g.Engine.Count(k)
	return n
}

// add numbers a variable and puts the number before its name, since inference
// wants names that are unique.
func (g *Ground) add(v variable) int {
	v.name = strconv.Itoa(len(g.vars)) + " " + v.name
	g.vars = append(g.vars, v)
	return len(g.vars) - 1
}

// node makes the variables of a cause, step or condition.
func (g *Ground) node(n *rules.Node, a *assumer) {
	if g.off(n) || g.holds(n.When, a) == rules.No {
		return
	}
	count := g.count(n.Per)
	if count == 0 {
		return
	}
	shared := g.shared(n, a)
	for i := 1; i <= count; i++ {
		it := &Item{Node: n, Index: i, At: g.Engine.Name(n.Per, i)}
		if n.Per == evidence.One {
			it.Index, it.At = 0, ""
		}
		switch n.Kind {
		case rules.Cause, rules.Condition:
			p := n.BaseRate
			if n.Kind == rules.Cause && n.Category != rules.Artefact {
				p *= g.Book.AtLarge
			}
			if count > 1 && !n.Each {
				p = spread(p, count)
			}
			if n.Kind == rules.Condition && n.Given != nil {
				switch n.Given.Eval(g.Facts) {
				case rules.Yes:
					p = 1
				case rules.No:
					p = 0
				}
			}
			it.v = g.add(variable{name: it.ID(), kind: root, item: it, prior: p})
		default:
			edges := g.edges(n, i, shared, a)
			if len(edges) == 0 {
				continue // nothing in this engine can produce it
			}
			it.v = g.add(variable{name: it.ID(), kind: gate, item: it, edges: edges})
		}
		g.Items = append(g.Items, it)
		g.byNode[n] = append(g.byNode[n], it)
	}
	if items := g.byNode[n]; len(items) > 1 && n.Kind != rules.Condition {
		f := &Family{Node: n, Items: items}
		v := variable{name: "any " + n.ID, kind: gate}
		for _, it := range items {
			v.edges = append(v.edges, edge{from: it.v, pass: 1})
		}
		f.v = g.add(v)
		g.Families = append(g.Families, f)
		g.family[n] = f
	}
}

// passes is how often a rule to a step works. What a condition brings about is,
// like a base rate, told of engines that came in.
func (g *Ground) passes(r *rules.Rule, src *Item) float64 {
	if r.Sign == nil && src.Node.Kind == rules.Condition {
		return r.HowOften * g.Book.AtLarge
	}
	return r.HowOften
}

// spread gives each of n positions the chance that makes p for any of them.
func spread(p float64, n int) float64 {
	return -math.Expm1(math.Log1p(-p) / float64(n))
}

// sharedRule is what a rule that reaches many positions has in common for all
// of them.
type sharedRule struct {
	v     int   // variable: whether it works at all
	first []int // whether it gets to each position, for a rule that reaches the first; else nil
	one   int   // letter that says which position, for a rule that reaches one; else -1
}

// shared makes those common variables for all rules into n that do not reach
// each position by its own chance, by rule and source position.
func (g *Ground) shared(n *rules.Node, a *assumer) map[*rules.Rule]map[int]sharedRule {
	out := map[*rules.Rule]map[int]sharedRule{}
	for _, r := range n.In {
		if r.Reach == rules.ReachEach || n.Per == evidence.One || g.holds(r.When, a) == rules.No {
			continue
		}
		for _, src := range g.byNode[r.From] {
			if out[r] == nil {
				out[r] = map[int]sharedRule{}
			}
			out[r][src.v] = g.sharedRule(r, src, n.Per)
		}
	}
	return out
}

func (g *Ground) sharedRule(r *rules.Rule, src *Item, to evidence.Kind) sharedRule {
	s := sharedRule{one: -1}
	works := variable{name: r.ID + " works " + src.At, kind: gate, edges: []edge{{from: src.v, pass: g.passes(r, src), rule: r}}}
	switch {
	case g.count(to) == 1:
		// Where there is but one position, it is reached.
	case r.Reach == rules.ReachFirst:
		works.kind, s.first = reach, g.taken(src, to)
		works.far = g.vars[s.first[0]].edges[0].from
	case r.Reach == rules.ReachOne:
		s.one = g.letter("which one of "+src.ID(), to)
	}
	s.v = g.add(works)
	return s
}

// taken are, by position of a kind, the variables that say which positions the
// "first" rules of a source get to: the same for all of them, so that what one
// rule shows at a position tells of what another does there.
func (g *Ground) taken(src *Item, k evidence.Kind) []int {
	key := together(k) + " " + src.ID()
	if _, ok := g.firsts[key]; !ok {
		n := g.count(k)
		far := g.add(variable{name: "how far from " + key, kind: extent, n: n})
		for i := 1; i <= n; i++ {
			g.firsts[key] = append(g.firsts[key], g.add(variable{name: fmt.Sprintf("to %s %d", key, i), kind: taken, n: n, edges: []edge{{from: far, pass: 1}}}))
		}
	}
	return g.firsts[key]
}

// letter is a variable that says which position of a kind something is at: the
// same one for all that ask by this name.
func (g *Ground) letter(name string, k evidence.Kind) int {
	key := together(k) + " " + name
	l, ok := g.letters[key]
	if !ok {
		l = g.add(variable{name: key, kind: letter, n: g.count(k)})
		g.letters[key] = l
	}
	return l
}

// together is the kind under which positions go together: cylinders and rods do.
func together(k evidence.Kind) string {
	if upright(k) {
		k = evidence.Cylinder
	}
	return string(k)
}

// signRule is a rule to a sign, from one source.
type signRule struct {
	rule *rules.Rule
	src  int
}

// through is the edge by which a shared rule arrives at a position.
func (g *Ground) through(r *rules.Rule, s sharedRule, i int) edge {
	e := edge{from: s.v, pass: 1, rule: r}
	at := variable{name: fmt.Sprintf("%s took %d", r.ID, i)}
	switch {
	case s.one >= 0:
		at.kind, at.state, at.edges = kindAt, i-1, []edge{{from: s.v, pass: 1}, {from: s.one}}
	case s.first != nil:
		at.kind, at.edges = hit, []edge{{from: s.v, pass: 1}, {from: s.first[i-1], pass: 1}}
	default:
		return e
	}
	e.from = g.add(at)
	return e
}

// edges lists what can produce step n at position i.
func (g *Ground) edges(n *rules.Node, i int, shared map[*rules.Rule]map[int]sharedRule, a *assumer) []edge {
	var out []edge
	for _, r := range n.In {
		if g.holds(r.When, a) == rules.No {
			continue
		}
		for _, src := range g.sources(r.From, n.Per, i, r.Relation) {
			if s, ok := shared[r][src.v]; ok {
				out = append(out, g.through(r, s, i))
			} else {
				out = append(out, edge{from: src.v, pass: g.passes(r, src), rule: r})
			}
		}
	}
	for k, need := range n.Needs {
		if g.holds(need.When, a) == rules.No {
			continue
		}
		v := variable{name: fmt.Sprintf("%s needs %d @ %d", n.ID, k, i), kind: both}
		for _, o := range need.Of {
			items := g.sources(o, n.Per, i, "")
			switch {
			case len(items) == 1:
				v.edges = append(v.edges, edge{from: items[0].v, pass: 1})
			case len(items) > 1:
				// A step that is one an engine needs the thing at any position.
				any := variable{name: "any " + o.ID, kind: gate}
				for _, it := range items {
					any.edges = append(any.edges, edge{from: it.v, pass: 1})
				}
				v.edges = append(v.edges, edge{from: g.add(any), pass: 1})
			}
		}
		if len(v.edges) == len(need.Of) {
			out = append(out, edge{from: g.add(v), pass: need.HowOften, need: need})
		}
	}
	return out
}

// sources lists the items of a node that act on position i of a kind.
func (g *Ground) sources(from *rules.Node, to evidence.Kind, i int, relation string) []*Item {
	items := g.byNode[from]
	if from.Per == evidence.One || to == evidence.One || relation == "every" {
		return items
	}
	var out []*Item
	for _, it := range items {
		if g.acts(from.Per, it.Index, to, i, relation) {
			out = append(out, it)
		}
	}
	return out
}

func upright(k evidence.Kind) bool { return k == evidence.Cylinder || k == evidence.Rod }

// acts tells whether position i of one kind stands in the relation to position
// j of another.
func (g *Ground) acts(from evidence.Kind, i int, to evidence.Kind, j int, relation string) bool {
	e := g.Engine
	switch {
	case relation == "same bank":
		return e.BankOf(i) == e.BankOf(j)
	case relation == "adjacent" && upright(from) && to == evidence.Main:
		return slices.Contains(e.MainsBeside(i), j)
	case relation == "adjacent" && from == evidence.Main && upright(to):
		return slices.Contains(e.MainsBeside(j), i)
	case relation == "adjacent":
		return slices.Contains(e.Adjacent(from, i), j)
	case from == to, upright(from) && upright(to):
		return i == j
	case from == evidence.Bank && upright(to):
		return e.BankOf(j) == i
	case upright(from) && to == evidence.Bank:
		return e.BankOf(i) == j
	case from == evidence.Camshaft && upright(to):
		return g.camBank(i) == 0 || g.camBank(i) == e.BankOf(j)
	case upright(from) && to == evidence.Camshaft:
		return g.camBank(j) == 0 || g.camBank(j) == e.BankOf(i)
	case from == evidence.Bank && to == evidence.Camshaft:
		return g.camBank(j) == 0 || g.camBank(j) == i
	case from == evidence.Camshaft && to == evidence.Bank:
		return g.camBank(i) == 0 || g.camBank(i) == j
	case upright(from):
		return e.CylinderOf(to, j) == i
	case upright(to):
		return e.CylinderOf(from, i) == j
	}
	return false
}

// camBank is the bank that a camshaft serves; 0 where one serves all.
func (g *Ground) camBank(cam int) int {
	banks, cams := g.count(evidence.Bank), g.count(evidence.Camshaft)
	if banks < 2 || cams < banks {
		return 0
	}
	return 1 + (cam-1)*banks/cams
}

// leaks turns each step's unlisted share into a chance by itself. The share is
// of its occurrences, so the chance follows from how often the listed parents
// produce it in this engine when nothing has been found; conditions count at
// their base rate. Scaling all base rates then changes no ranking, and a step
// split in two makes unlisted no larger.
func (g *Ground) leaks() {
	p := make([]float64, len(g.vars))
	g.prior = p
	for i := range g.vars {
		v := &g.vars[i]
		switch v.kind {
		case root:
			p[i] = v.prior
			if n := v.item.Node; n.Kind == rules.Condition {
				p[i] = n.BaseRate
			}
		case gate:
			none := 1.0
			for _, e := range v.edges {
				none *= 1 - p[e.from]*e.pass
			}
			p[i] = 1 - none
			if v.item != nil {
				u := v.item.Node.Unlisted
				v.leak = min(0.5, u/(1-u)*p[i])
				p[i] = 1 - none*(1-v.leak)
			}
		case taken:
			p[i] = reachChance(v.n)
		case reach, hit, both:
			p[i] = 1
			for _, e := range v.edges {
				p[i] *= p[e.from] * e.pass
			}
		case kindAt:
			p[i] = p[v.edges[0].from] / float64(g.vars[v.edges[1].from].n)
		}
	}
}

// How far the "first" rules of a source got before the engine stopped: to about
// one of the positions, to some, or to all. With nothing to choose between them
// each is taken as equally likely, so that spared positions speak for nobody and
// several hit ones are no wonder. Given how far, each position is taken by its own
// chance: one over their number, an even one, or surely.
var extents = []float64{1.0 / 3, 1.0 / 3, 1.0 / 3}

func extentChance(extent, n int) float64 {
	return []float64{1 / float64(n), 0.5, 1}[extent]
}

// reachChance is the chance that one of n positions is taken, if the rule
// works.
func reachChance(n int) float64 {
	p := 0.0
	for x, q := range extents {
		p += q * extentChance(x, n)
	}
	return p
}

// Item looks up a node at a position; nil if this engine has no such thing.
func (g *Ground) Item(id string, index int) *Item {
	for _, it := range g.byNode[g.Book.Node(id)] {
		if it.Index == index {
			return it
		}
	}
	return nil
}

// ItemsOf lists a node's items.
func (g *Ground) ItemsOf(n *rules.Node) []*Item { return g.byNode[n] }

// FamilyOf is the family of a node; nil if it has fewer than two positions.
func (g *Ground) FamilyOf(n *rules.Node) *Family { return g.family[n] }

// Expected is how many causes are there in an engine of this kind that comes in,
// artefacts apart.
func (g *Ground) Expected() (causes float64) {
	for _, v := range g.vars {
		if v.kind == root && v.item.Node.Kind == rules.Cause && v.item.Node.Category != rules.Artefact {
			causes += v.prior / g.Book.AtLarge
		}
	}
	return causes
}

// assumer gathers what the case does not say.
type assumer struct {
	g       *Ground
	missing map[string]int
}

func newAssumer(g *Ground) *assumer { return &assumer{g: g, missing: map[string]int{}} }

func (a *assumer) counts() {
	for _, k := range evidence.Kinds() {
		if !a.used(k) {
			continue
		}
		if _, text := a.g.Engine.Count(k); text != "" {
			a.g.Assumed = append(a.g.Assumed, Assumption{text, "the case does not say how many " + k.Word() + "s there are"})
		}
	}
}

// usual tells what was taken because it goes without saying for such an engine.
func (a *assumer) usual() {
	var words []string
	for _, u := range rules.UsualOf(a.g.Engine) {
		if u.Words != "" {
			words = append(words, u.Words)
		}
	}
	if len(words) > 0 {
		a.g.Assumed = append(a.g.Assumed, Assumption{strings.Join(words, ", and "), "so it is on aircraft engines of this layout, and the case does not say otherwise"})
	}
}

// used tells whether the book has anything of that kind.
func (a *assumer) used(k evidence.Kind) bool {
	return slices.ContainsFunc(a.g.Book.Parts, func(p *rules.Part) bool { return p.Per == k })
}

func (a *assumer) unsaid(c *rules.Cond) {
	for _, f := range c.Missing(a.g.Facts) {
		if !a.atLeast(f) {
			a.missing[f]++
		}
	}
}

// atLeast tells whether a fact is a number of positions of which a least one is
// given: counts has told it.
func (a *assumer) atLeast(fact string) bool {
	name, ok := strings.CutPrefix(fact, "engine.")
	return ok && a.g.Engine.AtLeast[name] && slices.ContainsFunc(evidence.Kinds(), func(k evidence.Kind) bool { return name == string(k)+"s" && a.used(k) })
}

func (a *assumer) finish() {
	byTable := map[string][]string{}
	for f := range a.missing {
		table, fact, _ := strings.Cut(f, ".")
		byTable[table] = append(byTable[table], fact)
	}
	for _, table := range slices.Sorted(maps.Keys(byTable)) {
		facts := byTable[table]
		slices.Sort(facts)
		list, them := facts[0], "it"
		if n := len(facts); n > 1 {
			list, them = strings.Join(facts[:n-1], ", ")+" and "+facts[n-1], "any of them"
		}
		a.g.Assumed = append(a.g.Assumed, Assumption{
			"[" + table + "] does not give " + list,
			"whatever depends on " + them + " may apply",
		})
	}
}
