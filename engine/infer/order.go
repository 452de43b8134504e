package infer

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// Cost foretells what a question takes: the size of the largest table that must
// be held, in variables, and the binary logarithm of the size of all of them.
type Cost struct {
	Width int
	Log2  float64
}

// maxTable bounds the entries of one table of a model.
const maxTable = 1 << 24

// attempts is the most orders that are tried, and perTry for how many times the square of
// the core's variables, in numbers in all tables, one is: an order takes about twice that
// square to make, so that a tenth of what the propagation takes is spent on them, or a
// fifth. The order by fill is tried for fewer. What is beyond reach is not worth the trouble.
const (
	attempts = 150
	perTry   = 20
	byFillAt = 0.03
	reach    = 1 << 50
)

// harmless is the size of a table up to which a variable is eliminated at once where that
// joins only one of its neighbours to others.
const harmless = 1 << 6

// whim is by how much at most a shuffled order favours a variable: where the greedy
// choice is not the best there is, one nearly as good often is. Of 0 to 0.8, 0.4 gave the
// smallest tables on the networks of testdata.
const whim = 0.4

// plan is an elimination order and the clusters it makes: for each variable in
// the order, the variables that its elimination brings together, itself first and
// the others in the order of their own elimination.
//
// Most variables hang on the rest by so little that they can go first, whatever the
// order of the others is. That is done once (the rim); orders are tried for the core.
type plan struct {
	order    []int32 // problem variables, first eliminated first
	place    []int32 // by problem variable: where it is in the order
	scopes   []int32
	clusters []span // into scopes, by place
	total    float64
	width    int
	first    float64 // the total of the first, simple order
	guided   bool    // the order is that of a guide

	// scratch
	rim, core graph
	names     []int32 // by variable of the core: of the problem
	numbers   []int32 // the reverse
	queue     []int32
	queued    []bool
	best      []int32 // the best order of the core so far
}

func (p *plan) cost() Cost { return Cost{Width: p.width, Log2: math.Log2(max(p.total, 1))} }

// arrange finds an order for the problem. It depends on nothing but the problem's
// structure.
func (w *work) arrange(ctx context.Context) error {
	if !w.sketched {
		if w.m.guide != nil && w.guided() {
			return ctx.Err()
		}
		if err := w.connect(); err != nil {
			return err
		}
		w.plan.sketch(ctx, math.Inf(1))
	}
	w.plan.refine(ctx, math.Inf(1))
	w.plan.settle()
	return ctx.Err()
}

// guide is an order of elimination that a model's questions follow where that is cheaper
// than to look for another: by variable, and by the helper of each, the place.
type guide struct {
	own, helper []int32
	hash        int32
	total       float64
}

// worthGuiding is up to which total size an order is followed without looking for a better
// one: to look takes as long as so much arithmetic.
const worthGuiding = 1 << 17

// Guide looks for an order of elimination for a question, and returns the same model, of
// which other questions follow that order as far as it serves. It is meant for many questions
// that differ in their evidence, with less of it than this one.
func (m *Model) Guide(ctx context.Context, ev Evidence, query ...Var) *Model {
	guided := *m
	if m.checkEvidence(ev) != nil || m.checkVars(query) != nil {
		return &guided
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, query, m.limits, ranked) || w.arrange(ctx) != nil {
		return &guided
	}
	g := &guide{total: w.plan.total, own: make([]int32, len(m.nodes)), helper: make([]int32, len(m.nodes))}
	for v := range m.nodes {
		g.own[v], g.helper[v] = -1, -1
		if x := w.local[v]; x >= 0 {
			g.own[v] = w.plan.place[x]
		}
		if d := w.made[v]; d.form == asHidden || d.form == asRank {
			g.helper[v] = w.plan.place[d.at]
		}
		g.hash = ((g.hash^g.own[v])*16777619 ^ g.helper[v]) * 16777619
	}
	g.hash |= 1 // others have 0
	guided.guide = g
	return &guided
}

// Guided is the binary logarithm of the numbers in all tables of the question that a
// model's order of elimination is of (see Guide); 0 where it has none.
func (m *Model) Guided() float64 {
	if m.guide == nil {
		return 0
	}
	return math.Log2(max(m.guide.total, 1))
}

// guided arranges the problem as the model's guide says; it reports false where that comes
// to large tables.
func (w *work) guided() bool {
	if w.connect() != nil {
		return false
	}
	g, n := w.m.guide, len(w.card)
	// Twice the place, so that there is room between; what is not in the guide goes before
	// what it hangs on, or first.
	w.at = resize(w.at, n)
	for v := range w.m.nodes {
		own := 2 * g.own[v]
		if x := w.local[v]; x >= 0 {
			w.at[x] = own
		}
		if d := w.made[v]; d.form == asHidden || d.form == asRank {
			w.at[d.at] = own - 1
			if g.helper[v] >= 0 {
				w.at[d.at] = 2 * g.helper[v]
			}
		}
	}
	order := w.followed[:0]
	for x := range n {
		order = append(order, int32(x))
	}
	slices.SortStableFunc(order, func(a, b int32) int { return int(w.at[a] - w.at[b]) })
	w.followed = order
	p := &w.plan
	p.rim.follow(order)
	if p.rim.total > worthGuiding {
		return false // and look for another
	}
	p.guided = true
	p.followed()
	return true
}

// adopt makes an order of all variables the plan's, whose graph must still be that of the
// problem.
func (p *plan) adopt(order []int32) {
	p.rim.follow(order)
	p.followed()
}

// followed makes the plan of an order that the rim's graph, with no core, has followed.
func (p *plan) followed() {
	p.core.size(nil)
	p.core.begin()
	p.best = p.best[:0]
	p.first = p.rim.total
	p.settle()
}

// connect makes the interaction graph of the problem's factors. The error is that
// of a graph beyond the budget.
func (w *work) connect() error {
	g := &w.plan.rim
	n := len(w.card)
	words := (n + 63) / 64
	if 2*float64(n)*float64(words) > float64(w.m.budget) { // with what is left of it
		return &TooLarge{Cost{Width: 0, Log2: 2 * math.Log2(float64(n))}}
	}
	g.size(w.card)
	for _, f := range w.factors {
		scope := w.scopes[f.scope.from:f.scope.to]
		for i, a := range scope {
			for _, b := range scope[:i] {
				g.edges[int(a)*words+int(b>>6)] |= 1 << (b & 63)
				g.edges[int(b)*words+int(a>>6)] |= 1 << (a & 63)
			}
		}
	}
	return nil
}

// sketch finds a first, simple order. It gives up and reports false once the total size
// is beyond a limit.
func (p *plan) sketch(ctx context.Context, limit float64) bool {
	p.shrink()
	p.guided = false
	ok := p.core.eliminate(ctx, byWeight, 0, limit-p.rim.total)
	p.best = append(p.best[:0], p.core.order...)
	p.total = p.rim.total + p.core.total
	p.first = p.total
	return ok
}

// shrink eliminates what can go first whatever the order of the others is: variables
// whose neighbours are joined already; and, where no table of any size comes of it, those
// whose neighbours are but for one of them (simplicial and almost simplicial variables:
// H. L. Bodlaender, A. M. C. A. Koster & F. van den Eijkhof, Preprocessing rules for
// triangulation of probabilistic networks, 2005). What remains is the core.
func (p *plan) shrink() {
	g := &p.rim
	n := len(g.card)
	g.begin()
	p.queue, p.queued = p.queue[:0], resize(p.queued, n)
	for v := n - 1; v >= 0; v-- { // helpers and effects first
		p.queue = append(p.queue, int32(v))
		p.queued[v] = true
	}
	for at := 0; at < len(p.queue); at++ {
		v := p.queue[at]
		p.queued[v] = false
		if !g.easy(v) {
			continue
		}
		g.remove(v)
		c := g.clusters[len(g.clusters)-1]
		for _, u := range g.scopes[c.from+1 : c.to] {
			if !p.queued[u] {
				p.queue = append(p.queue, u)
				p.queued[u] = true
			}
		}
	}
	// The core, numbered anew.
	p.names, p.numbers = p.names[:0], resize(p.numbers, n)
	for v := range p.queued {
		p.queued[v] = true // remains
	}
	for _, v := range g.order {
		p.queued[v] = false
	}
	card := p.core.card[:0]
	for v, remains := range p.queued {
		if remains {
			p.numbers[v] = int32(len(p.names))
			p.names = append(p.names, int32(v))
			card = append(card, g.card[v])
		}
	}
	c := &p.core
	c.size(card)
	for i, v := range p.names {
		to := c.edges[i*c.words:]
		for k, b := range g.row(v) {
			for ; b != 0; b &= b - 1 {
				u := p.numbers[k<<6+bits.TrailingZeros64(b)]
				to[u>>6] |= 1 << (u & 63)
			}
		}
	}
}

// refine looks for better orders as long as that pays: by fill, and then shuffled ones.
// It reports false where it leaves out the latter because the total is beyond a limit.
func (p *plan) refine(ctx context.Context, limit float64) bool {
	c := &p.core
	n := float64(len(c.card))
	least := c.total
	tries := func() float64 { return least / (100 + perTry*n*n) }
	try := func(by criterion, seed uint64) {
		if c.eliminate(ctx, by, seed, least) && c.total < least {
			least = c.total
			p.best = append(p.best[:0], c.order...)
		}
	}
	if tries() >= byFillAt {
		try(byFill, 0)
	}
	if p.total = p.rim.total + least; tries() >= 1 && p.total > limit {
		return false
	}
	for seed := uint64(1); seed <= attempts && float64(seed) <= tries() && least < reach && ctx.Err() == nil; seed++ {
		try(byFill, seed)
		if seed%4 == 1 {
			try(byWeight, seed)
		}
	}
	p.total = p.rim.total + least
	return true
}

// settle writes the best order and its clusters, each sorted by elimination.
func (p *plan) settle() {
	g, c := &p.rim, &p.core
	if !slices.Equal(c.order, p.best) {
		c.follow(p.best)
	}
	p.order = append(p.order[:0], g.order...)
	p.scopes = append(p.scopes[:0], g.scopes...)
	p.clusters = append(p.clusters[:0], g.clusters...)
	for _, v := range c.order {
		p.order = append(p.order, p.names[v])
	}
	for _, s := range c.clusters {
		from := int32(len(p.scopes))
		for _, v := range c.scopes[s.from:s.to] {
			p.scopes = append(p.scopes, p.names[v])
		}
		p.clusters = append(p.clusters, span{from, int32(len(p.scopes))})
	}
	p.total, p.width = g.total+c.total, max(g.width, c.width)
	p.place = resize(p.place, len(g.card))
	for i, v := range p.order {
		p.place[v] = int32(i)
	}
	for _, s := range p.clusters {
		near := p.scopes[s.from+1 : s.to]
		for i := 1; i < len(near); i++ {
			for j := i; j > 0 && p.place[near[j]] < p.place[near[j-1]]; j-- {
				near[j], near[j-1] = near[j-1], near[j]
			}
		}
	}
}

// graph says which variables meet in a table, and what eliminating them one after the
// other makes of it.
type graph struct {
	card  []int32
	words int
	edges []uint64 // a row of bits per variable

	order    []int32
	scopes   []int32
	clusters []span // into scopes, by place in the order; the others not sorted
	total    float64
	width    int

	// scratch
	left   []uint64 // what is left of the edges
	weight []float64
	fill   []float64
	alive  []int32
	favour []float64 // what each variable's figure is taken times
	binary bool      // all variables have two states
	cards  []float64 // the numbers of states that there are
	having []uint64  // by number of states: a row of bits, the variables that have so many
}

// size makes it a graph without edges.
func (g *graph) size(card []int32) {
	n := len(card)
	g.card, g.words = append(g.card[:0], card...), (n+63)/64
	g.edges = resize(g.edges, n*g.words)
	clear(g.edges)
	g.binary, g.cards, g.having = true, g.cards[:0], g.having[:0]
	for v, k := range card {
		g.binary = g.binary && k == 2
		at := slices.Index(g.cards, float64(k))
		if at < 0 {
			at = len(g.cards)
			g.cards = append(g.cards, float64(k))
			for range g.words {
				g.having = append(g.having, 0)
			}
		}
		g.having[at*g.words+v>>6] |= 1 << (v & 63)
	}
}

// criterion is what a greedy order goes by.
type criterion uint8

const (
	byWeight criterion = iota // the size of the table that elimination makes
	byFill                    // the weight of the edges that it adds
)

func (g *graph) begin() {
	g.left = append(g.left[:0], g.edges...)
	g.order, g.scopes, g.clusters = g.order[:0], g.scopes[:0], g.clusters[:0]
	g.total, g.width = 0, 0
	g.weight = resize(g.weight, len(g.card))
	for v, k := range g.card {
		x := float64(k)
		for i, b := range g.row(int32(v)) {
			if g.binary {
				x = math.Ldexp(x, bits.OnesCount64(b))
				continue
			}
			for ; b != 0; b &= b - 1 {
				x *= float64(g.card[i<<6+bits.TrailingZeros64(b)])
			}
		}
		g.weight[v] = x
	}
}

// easy tells whether all neighbours of v are joined, or, of a small table, all but one
// of them.
func (g *graph) easy(v int32) bool {
	row, small := g.row(v), g.weight[v] <= harmless
	joined := true
	var one, other int32 // either may be the one that is not joined to all; -1 if it is not
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			u := int32(i<<6 + bits.TrailingZeros64(b))
			r := g.row(u)
			for j := range row {
				c := row[j] &^ r[j]
				if j == int(u>>6) {
					c &^= 1 << (u & 63)
				}
				for ; c != 0; c &= c - 1 {
					x := int32(j<<6 + bits.TrailingZeros64(c))
					switch {
					case !small:
						return false
					case joined:
						joined, one, other = false, u, x
						continue
					}
					if one != u && one != x {
						one = -1
					}
					if other != u && other != x {
						other = -1
					}
					if one < 0 && other < 0 {
						return false
					}
				}
			}
		}
	}
	return true
}

// eliminate makes a greedy order. Ties go to the variable added last, which is
// the helper or effect rather than the cause. A seed other than 0 favours some
// variables by a fixed shuffle. It gives up and reports false once the total size is
// beyond the limit.
func (g *graph) eliminate(ctx context.Context, by criterion, seed uint64, limit float64) bool {
	n := len(g.card)
	g.begin()
	g.fill = resize(g.fill, n)
	g.alive = resize(g.alive, n)
	for v := range n {
		g.alive[v] = int32(n - 1 - v)
		if by == byFill {
			g.fill[v] = g.fillOf(int32(v))
		}
	}
	g.favour = resize(g.favour, n)
	for v := range n {
		g.favour[v] = 1
		if seed != 0 {
			seed = seed*6364136223846793005 + 1442695040888963407
			g.favour[v] = 1 + whim*float64(seed>>40)/(1<<24)
		}
	}
	for len(g.alive) > 0 {
		if len(g.alive)%64 == 0 && ctx.Err() != nil {
			return false
		}
		pick := 0
		switch by {
		case byWeight:
			least := math.Inf(1)
			for i, v := range g.alive {
				if x := g.weight[v] * g.favour[v]; x < least {
					least, pick = x, i
				}
			}
		case byFill:
			least, weight := math.Inf(1), 0.0
			for i, v := range g.alive {
				if x := g.fill[v] * g.favour[v]; x < least || x == least && g.weight[v] < weight {
					least, weight, pick = x, g.weight[v], i
				}
			}
		}
		v := g.alive[pick]
		g.alive = append(g.alive[:pick], g.alive[pick+1:]...)
		if by == byFill {
			g.refill(v)
		}
		g.remove(v)
		if by == byFill {
			g.refillNear(v)
		}
		if g.total > limit {
			return false
		}
	}
	return true
}

// follow eliminates in a given order.
func (g *graph) follow(order []int32) {
	g.begin()
	for _, v := range order {
		g.remove(v)
	}
}

func (g *graph) row(v int32) []uint64 {
	return g.left[int(v)*g.words : (int(v)+1)*g.words]
}

// fillOf sums the weights of the edges that are missing among the neighbours of v,
// each from both its ends.
func (g *graph) fillOf(v int32) float64 {
	row := g.row(v)
	sum := 0.0
	from, to := 0, len(row) // where its neighbours are
	for from < to && row[from] == 0 {
		from++
	}
	for from < to && row[to-1] == 0 {
		to--
	}
	for i := from; i < to; i++ {
		for b := row[i]; b != 0; b &= b - 1 {
			u := int32(i<<6 + bits.TrailingZeros64(b))
			r := g.row(u)[:to]
			part := -float64(g.card[u]) // itself
			for j := from; j < to; j++ {
				part += g.states(j, row[j]&^r[j])
			}
			sum += part * float64(g.card[u])
		}
	}
	return sum
}

// states sums the states of variables: those of these bits in this word of a row.
func (g *graph) states(word int, of uint64) float64 {
	if of == 0 {
		return 0
	}
	sum := 0.0
	for k, card := range g.cards {
		sum += card * float64(bits.OnesCount64(of&g.having[k*g.words+word]))
	}
	return sum
}

// refill brings the fills up to date with the edges that the elimination of v adds.
// They count no more for those beside both ends. The neighbours of v follow.
func (g *graph) refill(v int32) {
	row := g.row(v)
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			x := int32(i<<6 + bits.TrailingZeros64(b))
			rx := g.row(x)
			for j := i; j < len(row); j++ {
				c := row[j] &^ rx[j]
				if j == i {
					c &= ^uint64(0) << (x & 63) << 1 // each edge once
				}
				for ; c != 0; c &= c - 1 {
					y := int32(j<<6 + bits.TrailingZeros64(c))
					ry := g.row(y)
					loss := 2 * float64(g.card[x]) * float64(g.card[y])
					for k := range rx {
						for d := rx[k] & ry[k] &^ row[k]; d != 0; d &= d - 1 {
							g.fill[k<<6+bits.TrailingZeros64(d)] -= loss
						}
					}
				}
			}
		}
	}
}

// refillNear counts anew the fills of the neighbours of v, which has just been
// eliminated. They are a clique now, so that only those others count that a neighbour
// had besides: among themselves, and with the clique.
func (g *graph) refillNear(v int32) {
	clique := g.row(v)
	c := g.clusters[len(g.clusters)-1]
	for _, u := range g.scopes[c.from+1 : c.to] {
		row := g.row(u)
		sum := 0.0
		for i := range row {
			for b := row[i] &^ clique[i]; b != 0; b &= b - 1 {
				x := int32(i<<6 + bits.TrailingZeros64(b))
				rx := g.row(x)
				part := -float64(g.card[x]) // itself
				for j := range row {
					missing := row[j] &^ rx[j]
					part += g.states(j, missing) + g.states(j, missing&clique[j])
				}
				sum += part * float64(g.card[x])
			}
		}
		g.fill[u] = sum
	}
}

// remove eliminates v: its neighbours become a clique, and are its cluster.
func (g *graph) remove(v int32) {
	g.order = append(g.order, v)
	g.total += g.weight[v]
	from := int32(len(g.scopes))
	g.scopes = append(g.scopes, v)
	row := g.row(v)
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			g.scopes = append(g.scopes, int32(i<<6+bits.TrailingZeros64(b)))
		}
	}
	near := g.scopes[from+1:]
	g.clusters = append(g.clusters, span{from, int32(len(g.scopes))})
	g.width = max(g.width, len(near)+1)
	gone := float64(g.card[v])
	for _, u := range near {
		r := g.row(u)
		x := 1.0
		for j := range r {
			c := row[j] &^ r[j]
			if j == int(u>>6) {
				c &^= 1 << (u & 63)
			}
			r[j] |= c
			if g.binary {
				if c != 0 {
					x = math.Ldexp(x, bits.OnesCount64(c))
				}
				continue
			}
			for ; c != 0; c &= c - 1 {
				x *= float64(g.card[j<<6+bits.TrailingZeros64(c)])
			}
		}
		r[v>>6] &^= 1 << (v & 63)
		g.weight[u] = g.weight[u] / gone * x
	}
}
