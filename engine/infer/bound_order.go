package infer

import (
	"math"
	"math/bits"
)

// boundOrder finds orders of elimination by greedy choice. The cost of a variable
// is the logarithm of how many of its states matter.
type boundOrder struct {
	words int
	edges []uint64 // a row of bits per variable
	graph []uint64 // what is left of it
	cost  []float64
}

func newBoundOrder(w *work) *boundOrder {
	n := len(w.card)
	o := &boundOrder{words: (n + 63) / 64, cost: make([]float64, n)}
	o.edges = make([]uint64, n*o.words)
	for _, f := range w.factors {
		scope := w.scopes[f.scope.from:f.scope.to]
		for _, a := range scope {
			for _, b := range scope {
				if a != b {
					o.edges[int(a)*o.words+int(b>>6)] |= 1 << (b & 63)
				}
			}
		}
	}
	for v, k := range w.card {
		o.cost[v] = math.Log(float64(k))
	}
	return o
}

func (o *boundOrder) row(v int32) []uint64 {
	return o.graph[int(v)*o.words : (int(v)+1)*o.words]
}

func eachBit(row []uint64, f func(v int32)) {
	for i, b := range row {
		for ; b != 0; b &= b - 1 {
			f(int32(i<<6 + bits.TrailingZeros64(b)))
		}
	}
}

// remove eliminates a variable: its neighbours become a clique.
func (o *boundOrder) remove(v int32) {
	row := o.row(v)
	eachBit(row, func(u int32) {
		r := o.row(u)
		for j := range r {
			r[j] |= row[j]
		}
		r[u>>6] &^= 1 << (u & 63)
		r[v>>6] &^= 1 << (v & 63)
	})
}

// clusters goes through the clusters that an order makes.
func (o *boundOrder) clusters(order []int32, f func([]int32)) {
	o.graph = append(o.graph[:0], o.edges...)
	var cluster []int32
	for _, v := range order {
		cluster = append(cluster[:0], v)
		eachBit(o.row(v), func(u int32) { cluster = append(cluster, u) })
		f(cluster)
		o.remove(v)
	}
}

// greedy returns an order and how many states of its clusters matter in all. Next
// is always the variable with the cheapest cluster, or the one whose elimination
// adds the cheapest edges. A seed other than 0 breaks ties by a fixed shuffle.
func (o *boundOrder) greedy(byFill bool, seed uint64) (order []int32, total float64) {
	n := len(o.cost)
	o.graph = append(o.graph[:0], o.edges...)
	alive := make([]int32, n)
	for i := range alive {
		alive[i] = int32(n - 1 - i)
	}
	if seed != 0 {
		for i := n - 1; i > 0; i-- {
			seed = seed*6364136223846793005 + 1442695040888963407
			j := int((seed >> 33) % uint64(i+1))
			alive[i], alive[j] = alive[j], alive[i]
		}
	}
	weight, fill, stale := make([]float64, n), make([]float64, n), make([]bool, n)
	root := make([]float64, n)
	weigh := func(v int32) {
		x := o.cost[v]
		eachBit(o.row(v), func(u int32) { x += o.cost[u] })
		weight[v] = x
	}
	for v := range int32(n) {
		weigh(v)
		stale[v] = true
		root[v] = math.Sqrt(o.cost[v])
	}
	for len(alive) > 0 {
		pick := 0
		least, second := math.Inf(1), math.Inf(1)
		for i, v := range alive {
			x, y := weight[v], 0.0
			if byFill {
				if stale[v] {
					fill[v], stale[v] = o.fill(v, root), false
				}
				x, y = fill[v], weight[v]
			}
			if x < least || x == least && y < second {
				least, second, pick = x, y, i
			}
		}
		v := alive[pick]
		alive = append(alive[:pick], alive[pick+1:]...)
		order = append(order, v)
		total += math.Exp(weight[v])
		o.remove(v)
		eachBit(o.row(v), func(u int32) {
			weigh(u)
			if byFill {
				stale[u] = true
				eachBit(o.row(u), func(t int32) { stale[t] = true })
			}
		})
	}
	return order, total
}

// best returns the best order of several tries.
func (o *boundOrder) best(seeds uint64) []int32 {
	best, least := []int32(nil), math.Inf(1)
	for seed := range seeds {
		for _, byFill := range []bool{false, true} {
			if order, total := o.greedy(byFill, seed); best == nil || total < least {
				best, least = order, total
			}
		}
	}
	return best
}

// fill is the cost of the edges missing among the neighbours of v.
func (o *boundOrder) fill(v int32, root []float64) float64 {
	row := o.row(v)
	sum := 0.0
	eachBit(row, func(u int32) {
		for j, c := range o.row(u) {
			c = row[j] &^ c
			if j == int(u>>6) {
				c &^= 1 << (u & 63)
			}
			for ; c != 0; c &= c - 1 {
				sum += root[u] * root[j<<6+bits.TrailingZeros64(c)]
			}
		}
	})
	return sum
}
