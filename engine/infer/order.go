package infer

import (
	"context"
	"math"
	"math/bits"
)

// Cost foretells what a question takes: the size of the largest table that must
// be held, in variables, and the binary logarithm of the size of all of them.
type Cost struct {
	Width int
	Log2  float64
}

// maxTable bounds the entries of one table of a model.
const maxTable = 1 << 24

// thorough is the total size from which looking longer for a better order pays,
// and desperate that from which it pays to try many, the more the larger it is. What
// is beyond reach is not worth the trouble.
const (
	thorough  = 1 << 15
	desperate = 1 << 18
	attempts  = 80
	reach     = 1 << 50
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
	first    float64 // the total of the first, simple order

	// scratch
	words  int
	edges  []uint64 // the interaction graph, a row of bits per variable
	graph  []uint64 // what is left of it
	weight []float64
	fill   []float64
	alive  []int32
	best   []int32
	binary bool // all variables have two states
}

func (p *plan) cost() Cost { return Cost{Width: p.width, Log2: math.Log2(max(p.total, 1))} }

// arrange finds an order for the problem. It depends on nothing but the problem's
// structure.
func (w *work) arrange(ctx context.Context) error {
	if err := w.connect(); err != nil {
		return err
	}
	p := &w.plan
	p.eliminate(ctx, w.card, byWeight, 0, math.Inf(1))
	p.first = p.total
	if p.total > thorough {
		p.improve(ctx, w.card, byFill, 0)
	}
	if p.total > desperate && p.total < reach {
		// An order takes about twice the square of the variables to find. A fifth of
		// what the propagation takes is spent on it.
		n := float64(len(w.card))
		p.tryMany(ctx, w.card, int(min(attempts, p.total/(10*n*n))))
	}
	p.settle()
	return ctx.Err()
}

// tryMany tries shuffled orders.
func (p *plan) tryMany(ctx context.Context, card []int32, n int) {
	for seed := range uint64(n) {
		p.improve(ctx, card, byFill, seed+1)
		if seed%4 == 0 {
			p.improve(ctx, card, byWeight, seed+1)
		}
	}
}

// connect makes the interaction graph of the problem's factors. The error is that
// of a graph beyond the budget.
func (w *work) connect() error {
	p := &w.plan
	n := len(w.card)
	p.words = (n + 63) / 64
	if 2*float64(n)*float64(p.words) > float64(w.m.budget) { // with what is left of it
		return &TooLarge{Cost{Width: 0, Log2: 2 * math.Log2(float64(n))}}
	}
	p.edges = resize(p.edges, n*p.words)
	clear(p.edges)
	for _, f := range w.factors {
		scope := w.scopes[f.scope.from:f.scope.to]
		for i, a := range scope {
			for _, b := range scope[:i] {
				p.edges[int(a)*p.words+int(b>>6)] |= 1 << (b & 63)
				p.edges[int(b)*p.words+int(a>>6)] |= 1 << (a & 63)
			}
		}
	}
	p.binary = true
	for _, k := range w.card {
		p.binary = p.binary && k == 2
	}
	return nil
}

// improve tries another order and keeps the better one.
func (p *plan) improve(ctx context.Context, card []int32, by criterion, seed uint64) {
	total := p.total
	p.best = append(p.best[:0], p.order...)
	if !p.eliminate(ctx, card, by, seed, total) || p.total == total {
		p.follow(card, p.best)
	}
}

// criterion is what a greedy order goes by.
type criterion uint8

const (
	byWeight criterion = iota // the size of the table that elimination makes
	byFill                    // the weight of the edges that it adds
)

func (p *plan) begin(card []int32) {
	p.graph = append(p.graph[:0], p.edges...)
	p.order, p.scopes, p.clusters = p.order[:0], p.scopes[:0], p.clusters[:0]
	p.total, p.width = 0, 0
	p.place = resize(p.place, len(card))
	p.weight = resize(p.weight, len(card))
	for v := range card {
		x := float64(card[v])
		for i, b := range p.row(int32(v)) {
			for ; b != 0; b &= b - 1 {
				x *= float64(card[i<<6+bits.TrailingZeros64(b)])
			}
		}
		p.weight[v] = x
	}
}

// eliminate makes a greedy order. Ties go to the variable added last, which is
// the helper or effect rather than the cause; a seed other than 0 breaks them by
// a fixed shuffle instead. It gives up and reports false once the total size is
// beyond the limit.
func (p *plan) eliminate(ctx context.Context, card []int32, by criterion, seed uint64, limit float64) bool {
	n := len(card)
	p.begin(card)
	p.fill = resize(p.fill, n)
	p.alive = resize(p.alive, n)
	for v := range n {
		p.alive[v] = int32(n - 1 - v)
		if by == byFill {
			p.fill[v] = p.fillOf(int32(v), card)
		}
	}
	for s := seed; s != 0 && n > 1; s = 0 {
		for i := n - 1; i > 0; i-- {
			seed = seed*6364136223846793005 + 1442695040888963407
			j := int((seed >> 33) % uint64(i+1))
			p.alive[i], p.alive[j] = p.alive[j], p.alive[i]
		}
	}
	for len(p.alive) > 0 {
		if len(p.alive)%64 == 0 && ctx.Err() != nil {
			return false
		}
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
				if x := p.fill[v]; x < least || x == least && p.weight[v] < weight {
					least, weight, pick = x, p.weight[v], i
				}
			}
		}
		v := p.alive[pick]
		p.alive = append(p.alive[:pick], p.alive[pick+1:]...)
		if by == byFill {
			p.refill(v, card)
		}
		p.remove(v, card)
		if by == byFill {
			p.refillNear(v, card)
		}
		if p.total > limit {
			return false
		}
	}
	return true
}

// follow eliminates in a given order.
func (p *plan) follow(card []int32, order []int32) {
	p.begin(card)
	for _, v := range order {
		p.remove(v, card)
	}
}

func (p *plan) row(v int32) []uint64 {
	return p.graph[int(v)*p.words : (int(v)+1)*p.words]
}

// fillOf sums the weights of the edges that are missing among the neighbours of v,
// each from both its ends.
func (p *plan) fillOf(v int32, card []int32) float64 {
	row := p.row(v)
	sum, count := 0.0, 0
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
			r := p.row(u)[:to]
			if p.binary {
				for j := from; j < to; j++ {
					count += bits.OnesCount64(row[j] &^ r[j])
				}
				count-- // itself
				continue
			}
			cu := float64(card[u])
			for j := from; j < to; j++ {
				c := row[j] &^ r[j]
				if j == int(u>>6) {
					c &^= 1 << (u & 63)
				}
				for ; c != 0; c &= c - 1 {
					sum += cu * float64(card[j<<6+bits.TrailingZeros64(c)])
				}
			}
		}
	}
	if p.binary {
		return float64(4 * count)
	}
	return sum
}

// refill brings the fills up to date with the edges that the elimination of v adds.
// They count no more for those beside both ends. The neighbours of v follow.
func (p *plan) refill(v int32, card []int32) {
	row := p.row(v)
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			x := int32(i<<6 + bits.TrailingZeros64(b))
			rx := p.row(x)
			for j := i; j < len(row); j++ {
				c := row[j] &^ rx[j]
				if j == i {
					c &= ^uint64(0) << (x & 63) << 1 // each edge once
				}
				for ; c != 0; c &= c - 1 {
					y := int32(j<<6 + bits.TrailingZeros64(c))
					ry := p.row(y)
					loss := 2 * float64(card[x]) * float64(card[y])
					for k := range rx {
						for d := rx[k] & ry[k] &^ row[k]; d != 0; d &= d - 1 {
							p.fill[k<<6+bits.TrailingZeros64(d)] -= loss
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
func (p *plan) refillNear(v int32, card []int32) {
	clique := p.row(v)
	c := p.clusters[len(p.clusters)-1]
	for _, u := range p.scopes[c.from+1 : c.to] {
		row := p.row(u)
		sum, count := 0.0, 0
		for i := range row {
			for b := row[i] &^ clique[i]; b != 0; b &= b - 1 {
				x := int32(i<<6 + bits.TrailingZeros64(b))
				rx := p.row(x)
				if p.binary {
					for j := range row {
						missing := row[j] &^ rx[j]
						count += bits.OnesCount64(missing) + bits.OnesCount64(missing&clique[j])
					}
					count-- // itself
					continue
				}
				part := 0.0
				for j := range row {
					missing := row[j] &^ rx[j]
					if j == i {
						missing &^= b & -b // itself
					}
					for ; missing != 0; missing &= missing - 1 {
						k := bits.TrailingZeros64(missing)
						y := float64(card[j<<6+k])
						if clique[j]>>k&1 == 1 {
							y *= 2
						}
						part += y
					}
				}
				sum += part * float64(card[x])
			}
		}
		if p.binary {
			sum = float64(4 * count)
		}
		p.fill[u] = sum
	}
}

// remove eliminates v: its neighbours become a clique, and are its cluster.
func (p *plan) remove(v int32, card []int32) {
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
	gone := float64(card[v])
	for _, u := range near {
		r := p.row(u)
		x := 1.0
		for j := range r {
			c := row[j] &^ r[j]
			if j == int(u>>6) {
				c &^= 1 << (u & 63)
			}
			r[j] |= c
			if p.binary {
				if c != 0 {
					x = math.Ldexp(x, bits.OnesCount64(c))
				}
				continue
			}
			for ; c != 0; c &= c - 1 {
				x *= float64(card[j<<6+bits.TrailingZeros64(c)])
			}
		}
		r[v>>6] &^= 1 << (v & 63)
		p.weight[u] = p.weight[u] / gone * x
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
