package network

import (
	"sync"

	"tidemark/engine/infer"
	"tidemark/rules"
)

// Test says what is held to be the thing under test: items (a single one, a
// family, or a set), or the chance events that the book does not list.
type Test struct {
	Items    []*Item
	Unlisted bool  // every step's chance by itself
	At       *Item // with Unlisted: only that step's
	// Many tells that the items are many at once, as all causes of a kind: those of
	// which no rule is kept are passed over, and not brought back for the question.
	Many bool
}

// mode is which of the two questions a three-level model answers.
type mode int

const (
	plain mode = iota
	blame
	acted
)

// Model is the ground turned into an inference model, with the evidence to
// enter and where things are.
type Model struct {
	m     *infer.Model
	g     *Ground
	vars  []infer.Var // by ground variable; -1 where left out
	three []bool      // by ground variable: three levels
	usual *usual      // of a plain model that is asked often; else nil
}

func (m *Model) has(v int) bool { return m.vars[v] >= 0 }

// second are the levels of a variable of two states of which one stands for level 2.
var second = []int{0, 2}

// levels maps the states of a variable in the model to levels of the question.
func (b *builder) levels(v int) []int {
	if b.three[v] {
		return []int{0, 1, 2}
	}
	return []int{0, b.plainLevel(v)}
}

// plainLevel is the level for which the presence of a two-state variable
// stands.
func (b *builder) plainLevel(v int) int {
	under := v >= 0 && b.test[v]
	if b.mode == blame && !under || b.mode == acted && under {
		return 2
	}
	return 1
}

type builder struct {
	g     *Ground
	mode  mode
	test  []bool // by ground variable
	three []bool
	// alone marks, by ground variable, the "first" rules that are the only ones of
	// their source in the model, or draw their positions apart there. Of one whether
	// it works and how far it gets are one variable, and which positions are taken
	// need not be told from where it arrives: the same chances in smaller tables.
	alone []bool
	t     Test
	links []infer.Link // scratch
}

// build makes the model. Only variables that are ancestors of the observations
// or the outcome, or wanted, are in it.
func (g *Ground) build(md mode, t Test, wanted []int) (*Model, error) {
	b := newBuilder(g, md, t)
	keep := g.ancestors(wanted)
	b.alone = g.merge(keep)
	if md != plain {
		b.levelled(g.above(), nil)
	}
	ib := infer.NewBuilder()
	if g.scratch != nil {
		ib.Share(g.scratch)
	}
	if g.thin.any() {
		// Beside what is left out, that is nothing; and to compute once more what is so
		// entangled took thirty times as long.
		ib.Precision(1e-6)
	}
	m := &Model{g: g, vars: make([]infer.Var, len(g.vars)), three: b.three}
	many := 0
	for _, is := range keep {
		if is {
			many++
		}
	}
	ib.Grow(many)
	for i := range g.vars {
		m.vars[i] = -1
		if keep[i] {
			m.vars[i] = b.variable(ib, m, i)
		}
	}
	var err error
	m.m, err = ib.Build()
	return m, err
}

func newBuilder(g *Ground, md mode, t Test) *builder {
	b := &builder{g: g, mode: md, t: t, test: make([]bool, len(g.vars)), three: make([]bool, len(g.vars))}
	for _, it := range t.Items {
		b.test[it.v] = true
	}
	return b
}

// upward keeps what leads to the outcome, of one choice of what is left out.
type upward struct {
	once  sync.Once
	above []bool
}

// above marks what leads to the outcome. It is not to be changed.
func (g *Ground) above() []bool {
	if g.upward == nil {
		return g.ancestorsOf([]int{g.outcome})
	}
	g.upward.once.Do(func() { g.upward.above = g.ancestorsOf([]int{g.outcome}) })
	return g.upward.above
}

// levelled finds what takes three levels: what something runs to from what is under test,
// and from which something runs to the outcome. It looks among some variables, or among all.
func (b *builder) levelled(above []bool, among []int) {
	g := b.g
	below := make([]bool, len(g.vars))
	each := func(i int) {
		v := &g.vars[i]
		below[i] = b.test[i] || b.t.Unlisted && b.leaks(i) && v.leak > 0
		for k, e := range v.edges {
			below[i] = below[i] || below[e.from] && !g.thin.rule(i, k)
		}
		b.three[i] = below[i] && above[i] && !b.test[i] && v.kind != root && v.kind != letter
	}
	if among == nil {
		for i := range g.vars {
			each(i)
		}
		return
	}
	for _, i := range among {
		each(i)
	}
}

// merge marks the rules that are alone, and takes out of the model what they do
// without.
func (g *Ground) merge(keep []bool) (alone []bool) {
	alone = make([]bool, len(g.vars))
	rules := map[int]int{} // how many the model has, by extent
	for i := range g.vars {
		if v := &g.vars[i]; keep[i] && v.kind == reach {
			rules[v.far]++
		}
	}
	for i := range g.vars {
		if v := &g.vars[i]; keep[i] && v.kind == hit {
			r := v.edges[0].from
			if far := g.vars[r].far; rules[far] == 1 || g.thin.ways(far) {
				alone[r] = true
				keep[v.edges[1].from], keep[far] = false, false
			}
		}
	}
	return alone
}

// apart stands in a ranking of rules for this: that the "first" rules of a
// source get to the same positions.
func apart(far int) [2]int { return [2]int{far, -1} }

// leftOut tells what is left out of a model; nil and the zero value tell nothing of it.
type leftOut struct {
	before []int32      // by variable: how many edges those before it have
	edges  []bool       // all edges, one variable after the other
	apart  map[int]bool // by extent: that the "first" rules of a source get to the same positions
}

// rule tells whether the rule is left out that arrives at a variable by this edge.
func (l *leftOut) rule(v, edge int) bool {
	return l != nil && v < len(l.before) && l.edges[int(l.before[v])+edge]
}

// any tells whether anything may be left out.
func (l *leftOut) any() bool { return l != nil && len(l.edges) > 0 }

// ways tells whether it is left out that rules get to the same positions.
func (l *leftOut) ways(extent int) bool { return l != nil && l.apart[extent] }

// edges are the parents of a variable in the model.
func (b *builder) edges(i int) []edge {
	e := b.g.vars[i].edges
	if b.g.vars[i].kind == hit && b.alone[e[0].from] {
		return e[:1]
	}
	return e
}

// leaks tells whether the chance by itself of a variable is under test.
func (b *builder) leaks(v int) bool {
	it := b.g.vars[v].item
	return b.t.Unlisted && it != nil && it.Node.Kind == rules.Step && (b.t.At == nil || b.t.At == it)
}

func (b *builder) variable(ib *infer.Builder, m *Model, i int) infer.Var {
	v := &b.g.vars[i]
	switch v.kind {
	case root:
		return ib.Root(v.name, 1-v.prior, v.prior)
	case letter:
		probs := make([]float64, v.n)
		for k := range probs {
			probs[k] = 1 / float64(v.n)
		}
		return ib.Root(v.name, probs...)
	case gate:
		states := 2
		if b.three[i] {
			states = 3
		}
		links := b.links[:0]
		other := 0.0 // chance that a rule left out was at work
		for k, e := range v.edges {
			if b.g.thin.rule(i, k) {
				other += (1 - other) * b.g.stand[e.from] * e.pass
				continue
			}
			link := infer.Link{Parent: m.vars[e.from], Pass: e.pass}
			if states == 3 && !b.three[e.from] && b.plainLevel(e.from) == 2 {
				link.Levels = second
			}
			links = append(links, link)
		}
		b.links = links
		// Arrivals that no parent in the model brings: by a rule left out, at
		// the level of everything that is not under test, and by itself.
		var leak []float64
		if v.leak > 0 || other > 0 {
			leak = make([]float64, states)
			levels := [2]int{1, 1}
			if states == 3 {
				levels = [2]int{b.plainLevel(-1), b.plainLevel(-1)}
				if b.leaks(i) {
					levels[1] = 3 - levels[1]
				}
			}
			leak[0] = (1 - other) * (1 - v.leak)
			leak[levels[0]] += other * (1 - v.leak)
			leak[levels[1]] += (1 - other) * v.leak
			leak[max(levels[0], levels[1])] += other * v.leak
		}
		return ib.Max(v.name, states, links, leak)
	case both:
		return b.table(ib, m, i, func(states []int) []float64 {
			least, most := 9, 0
			for k, s := range states {
				l := b.levels(v.edges[k].from)[s]
				least, most = min(least, l), max(most, l)
			}
			level := least
			if b.mode == acted && least > 0 {
				level = most
			}
			return b.at(i, level, 1)
		})
	case extent:
		return ib.Root(v.name, extents...)
	case taken:
		return b.table(ib, m, i, func(states []int) []float64 {
			p := extentChance(states[0], v.n)
			return []float64{1 - p, p}
		})
	case reach:
		if !b.alone[i] {
			return b.table(ib, m, i, func(states []int) []float64 {
				return b.at(i, b.levels(v.edges[0].from)[states[0]], v.edges[0].pass)
			})
		}
		// States: not at all, then by level and extent.
		return b.table(ib, m, i, func(states []int) []float64 {
			out := make([]float64, b.states(i))
			out[0] = 1
			if level := b.levels(v.edges[0].from)[states[0]]; level > 0 {
				out[0] = 1 - v.edges[0].pass
				if !b.three[i] {
					level = 1
				}
				for x, q := range extents {
					out[1+(level-1)*len(extents)+x] = v.edges[0].pass * q
				}
			}
			return out
		})
	case hit, kindAt:
		from, n := v.edges[0].from, b.g.vars[v.edges[1].from].n
		if b.alone[from] {
			return b.table(ib, m, i, func(states []int) []float64 {
				if states[0] == 0 {
					return b.at(i, 0, 0)
				}
				level, far := 1+(states[0]-1)/len(extents), (states[0]-1)%len(extents)
				if !b.three[from] {
					level = b.plainLevel(from)
				}
				return b.at(i, level, extentChance(far, n))
			})
		}
		opens := v.state // of the letter
		if v.kind == hit {
			opens = 1
		}
		return b.table(ib, m, i, func(states []int) []float64 {
			level, through := b.levels(from)[states[0]], 0.0
			if states[1] == opens {
				through = 1
			}
			return b.at(i, level, through)
		})
	default: // sum
		return b.table(ib, m, i, func(states []int) []float64 {
			out := make([]float64, v.n)
			n := 0
			for _, s := range states {
				n += s
			}
			out[n] = 1
			return out
		})
	}
}

// at is the distribution of a variable that takes a level with some chance and
// else nothing.
func (b *builder) at(i, level int, chance float64) []float64 {
	states := 2
	if b.three[i] {
		states = 3
	} else if level > 1 || b.mode == blame && level == 1 {
		level = 1
	}
	out := make([]float64, states)
	out[0] = 1
	if level > 0 {
		out[0], out[level] = 1-chance, chance
	}
	return out
}

func (b *builder) states(i int) int {
	v := &b.g.vars[i]
	switch v.kind {
	case reach:
		switch {
		case b.alone[i] && b.three[i]:
			return 1 + 2*len(extents)
		case b.alone[i]:
			return 1 + len(extents)
		}
	case extent:
		return len(extents)
	case letter, sum:
		return v.n
	}
	if b.three[i] {
		return 3
	}
	return 2
}

// table makes a variable with an explicit table, row by row of its parents'
// states, first parent slowest.
func (b *builder) table(ib *infer.Builder, m *Model, i int, row func(states []int) []float64) infer.Var {
	edges := b.edges(i)
	parents := make([]infer.Var, len(edges))
	sizes := make([]int, len(edges))
	total := 1
	for k, e := range edges {
		parents[k] = m.vars[e.from]
		sizes[k] = b.states(e.from)
		total *= sizes[k]
	}
	var cpt []float64
	states := make([]int, len(edges))
	for r := range total {
		for k, rest := len(sizes)-1, r; k >= 0; k-- {
			states[k] = rest % sizes[k]
			rest /= sizes[k]
		}
		cpt = append(cpt, row(states)...)
	}
	return ib.Table(b.g.vars[i].name, b.states(i), parents, cpt)
}

// ancestors marks what bears on the observations, the outcome and the wanted
// variables.
func (g *Ground) ancestors(wanted []int) []bool {
	of := append([]int(nil), wanted...)
	for _, o := range g.Observed {
		of = append(of, o.v)
	}
	if g.outcome >= 0 {
		of = append(of, g.outcome)
	}
	return g.ancestorsOf(of)
}

func (g *Ground) ancestorsOf(of []int) []bool {
	keep := make([]bool, len(g.vars))
	for _, v := range of {
		keep[v] = true
	}
	for i := len(g.vars) - 1; i >= 0; i-- {
		if keep[i] {
			for k, e := range g.vars[i].edges {
				keep[e.from] = keep[e.from] || !g.thin.rule(i, k)
			}
		}
	}
	return keep
}

// evidence is what was found, except the findings left out, and that the
// outcome happened.
func (m *Model) evidence(without map[string]bool) infer.Evidence {
	ev := infer.Evidence{}
	for _, o := range m.g.Observed {
		if without[o.Finding] {
			continue
		}
		ev[m.vars[o.v]] = multiply(ev[m.vars[o.v]], o.like)
	}
	for _, e := range m.g.unseen {
		// A sign not found is a product over what would show it.
		if m.has(e.from) {
			like := []float64{1, 1 - e.pass}
			if m.three[e.from] {
				like = append(like, 1-e.pass)
			}
			ev[m.vars[e.from]] = multiply(ev[m.vars[e.from]], like)
		}
	}
	if m.g.outcome >= 0 {
		there := []float64{0, 1}
		if m.three[m.g.outcome] {
			there = []float64{0, 1, 1}
		}
		v := m.vars[m.g.outcome]
		ev[v] = multiply(ev[v], there)
	}
	return ev
}

func multiply(a, b []float64) []float64 {
	if a == nil {
		return append([]float64(nil), b...)
	}
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] * b[i]
	}
	return out
}
