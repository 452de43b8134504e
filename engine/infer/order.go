package infer

import (
	"math"
	"math/bits"
)

// Cost foretells what a question takes: the size of the largest table that must
// be held, in variables, and the binary logarithm of the size of all of them.
type Cost struct {
	Width int
	Log2  float64
}

// maxTable and maxTotal bound the entries of one table and of all together.
const (
	maxTable = 1 << 24
	maxTotal = 1 << 25
)

// thorough is the total size from which looking longer for a better order pays,
// and desperate that from which it pays to try many.
const (
	thorough  = 1 << 15
	desperate = 1 << 21
	attempts  = 12
)

// plan is an elimination order and the clusters it makes: for each variable in
// the order, the variables that its elimination brings together, itself first and
// the others in the order of their own elimination.
type plan struct {
	order    []int32 // problem variables, first eliminated first
	place    []int32 // by problem variable: where it is in the order
	scopes   []int32
	clusters []span // into scopes, by place
	total    float64
	width    int

	// scratch
	words  int
	edges  []uint64 // the interaction graph, a row of bits per variable
	graph  []uint64 // what is left of it
	weight []float64
	fill   []float64
	alive  []int32
	stale  []bool
	best   []int32
}

func (p *plan) cost() Cost { return Cost{Width: p.width, Log2: math.Log2(max(p.total, 1))} }

// arrange finds an order for the problem.
func (w *work) arrange() {
	w.connect()
	p := &w.plan
	p.eliminate(w.card, byWeight, 0, math.Inf(1))
	if p.total > thorough {
		p.improve(w.card, byFill, 0)
	}
	if p.total > desperate && p.total < maxTotal*maxTotal {
		p.tryMany(w.card)
	}
	p.settle()
}

// tryMany tries shuffled orders.
func (p *plan) tryMany(card []int32) {
	for seed := range uint64(attempts) {
		p.improve(card, byFill, seed+1)
		p.improve(card, byWeight, seed+1)
	}
}

// within tells whether a simple order stays within a total size.
func (w *work) within(total float64) bool {
	w.connect()
	return w.plan.eliminate(w.card, byWeight, 0, total)
}

// connect makes the interaction graph of the problem's factors.
func (w *work) connect() {
	p := &w.plan
	n := len(w.card)
	p.words = (n + 63) / 64
	p.edges = resize(p.edges, n*p.words)
	clear(p.edges)
	for _, f := range w.factors {
		scope := w.scopes[f.scope.from:f.scope.to]
		for _, a := range scope {
			for _, b := range scope {
				if a != b {
					p.edges[int(a)*p.words+int(b>>6)] |= 1 << (b & 63)
				}
			}
		}
	}
}

// improve tries another order and keeps the better one.
func (p *plan) improve(card []int32, by criterion, seed uint64) {
	total := p.total
	p.best = append(p.best[:0], p.order...)
	if !p.eliminate(card, by, seed, total) || p.total == total {
		p.follow(card, p.best)
	}
}

// criterion is what a greedy order goes by.
type criterion uint8

const (
	byWeight criterion = iota // the size of the table that elimination makes
	byFill                    // the weight of the edges that it adds
)

func (p *plan) begin(n int) {
	p.graph = append(p.graph[:0], p.edges...)
	p.order, p.scopes, p.clusters = p.order[:0], p.scopes[:0], p.clusters[:0]
	p.total, p.width = 0, 0
	p.place = resize(p.place, n)
}

// eliminate makes a greedy order. Ties go to the variable added last, which is
// the helper or effect rather than the cause; a seed other than 0 breaks them by
// a fixed shuffle instead. It gives up and reports false once the total size is
// beyond the limit.
func (p *plan) eliminate(card []int32, by criterion, seed uint64, limit float64) bool {
	n := len(card)
	p.begin(n)
	p.weight = resize(p.weight, n)
	p.fill = resize(p.fill, n)
	p.alive = resize(p.alive, n)
	p.stale = resize(p.stale, n)
	for v := range n {
		p.alive[v] = int32(n - 1 - v)
		p.weigh(int32(v), card)
		p.stale[v] = true
	}
	for s := seed; s != 0 && n > 1; s = 0 {
		for i := n - 1; i > 0; i-- {
			seed = seed*6364136223846793005 + 1442695040888963407
			j := int((seed >> 33) % uint64(i+1))
			p.alive[i], p.alive[j] = p.alive[j], p.alive[i]
		}
	}
	for len(p.alive) > 0 {
		pick := 0
		switch by {
		case byWeight:
			least := math.Inf(1)
			for i, v := range p.alive {
				if x := p.weight[v]; x < least {
					least, pick = x, i
				}
			}
		case byFill:
			least, weight := math.Inf(1), 0.0
			for i, v := range p.alive {
				if p.stale[v] {
					p.fill[v] = p.fillOf(v, card)
					p.stale[v] = false
				}
				if x := p.fill[v]; x < least || x == least && p.weight[v] < weight {
					least, weight, pick = x, p.weight[v], i
				}
			}
		}
		v := p.alive[pick]
		p.alive = append(p.alive[:pick], p.alive[pick+1:]...)
		p.remove(v, card, by)
		if p.total > limit {
			return false
		}
	}
	return true
}

// follow eliminates in a given order.
func (p *plan) follow(card []int32, order []int32) {
	p.begin(len(card))
	for v := range card {
		p.weigh(int32(v), card)
	}
	for _, v := range order {
		p.remove(v, card, byWeight)
	}
}

func (p *plan) row(v int32) []uint64 {
	return p.graph[int(v)*p.words : (int(v)+1)*p.words]
}

// weigh computes the size of the cluster of v.
func (p *plan) weigh(v int32, card []int32) {
	x := float64(card[v])
	for i, b := range p.row(v) {
		for ; b != 0; b &= b - 1 {
			x *= float64(card[i<<6+bits.TrailingZeros64(b)])
		}
	}
	p.weight[v] = x
}

// fillOf sums the weights of the edges that are missing among the neighbours of v.
func (p *plan) fillOf(v int32, card []int32) float64 {
	row := p.row(v)
	sum := 0.0
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			u := int32(i<<6 + bits.TrailingZeros64(b))
			cu := float64(card[u])
			for j, c := range p.row(u) {
				c = row[j] &^ c
				if j == int(u>>6) {
					c &^= 1 << (u & 63)
				}
				for ; c != 0; c &= c - 1 {
					sum += cu * float64(card[j<<6+bits.TrailingZeros64(c)])
				}
			}
		}
	}
	return sum
}

// remove eliminates v: its neighbours become a clique, and are its cluster.
func (p *plan) remove(v int32, card []int32, by criterion) {
	p.place[v] = int32(len(p.order))
	p.order = append(p.order, v)
	p.total += p.weight[v]
	from := int32(len(p.scopes))
	p.scopes = append(p.scopes, v)
	row := p.row(v)
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			p.scopes = append(p.scopes, int32(i<<6+bits.TrailingZeros64(b)))
		}
	}
	near := p.scopes[from+1:]
	p.clusters = append(p.clusters, span{from, int32(len(p.scopes))})
	p.width = max(p.width, len(near)+1)
	for _, u := range near {
		r := p.row(u)
		for j := range r {
			r[j] |= row[j]
		}
		r[u>>6] &^= 1 << (u & 63)
		r[v>>6] &^= 1 << (v & 63)
		p.weigh(u, card)
		if by == byFill {
			p.stale[u] = true
			for j, b := range r {
				for ; b != 0; b &= b - 1 {
					p.stale[j<<6+bits.TrailingZeros64(b)] = true
				}
			}
		}
	}
}

// settle sorts each cluster by elimination.
func (p *plan) settle() {
	for _, c := range p.clusters {
		s := p.scopes[c.from+1 : c.to]
		for i := 1; i < len(s); i++ {
			for j := i; j > 0 && p.place[s[j]] < p.place[s[j-1]]; j-- {
				s[j], s[j-1] = s[j-1], s[j]
			}
		}
	}
}
