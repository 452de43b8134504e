package infer

// Both kinds of gate are known to inference in two forms.
//
// The spread form is a table over child and parents with no negative numbers,
// grown one parent at a time.
//
// The rank form writes the same table as a sum of products,
//
//	P(y | x) = sum over h of sign(h, y) * prod over i of arrive(i, h, x_i),
//
// with one term h per state of the child. For a maximum, the product is
// P(y <= h), and sign is +1 at y = h and -1 at y = h+1; for a minimum it is
// P(y >= h), with +1 at y = h and -1 at y = h-1 (Díez & Galán 2003). The size
// grows with the number of parents, not exponentially with it.

// levelsOf are the levels that the states of parent i are taken as, or nil.
func (n *node) levelsOf(i int) []int {
	if n.levels == nil {
		return nil
	}
	return n.levels[i]
}

// level is what parent i in state x amounts to at the gate.
func (n *node) level(i, x int) int {
	if n.levels != nil && n.levels[i] != nil {
		x = n.levels[i][x]
	}
	return min(x, n.states-1)
}

// arrive is the factor of one parent in state x to term h of the rank form.
func (n *node) arrive(i, h, x int) float64 {
	x = n.level(i, x)
	if n.kind == minKind {
		if x >= h {
			return 1
		}
		return 0
	}
	if x <= h {
		return 1
	}
	return 1 - n.pass[i]
}

// start writes the distribution over levels before any parent is heard.
func (n *node) start(dist []float64) {
	switch {
	case n.kind == minKind:
		clear(dist)
		dist[n.states-1] = 1
	case n.leak != nil:
		copy(dist, n.leak)
	default:
		clear(dist)
		dist[0] = 1
	}
}

// hear changes a distribution over levels by parent i being in state x. It only
// adds and multiplies non-negative numbers, so nothing cancels.
func (n *node) hear(i, x int, dist []float64) {
	x = n.level(i, x)
	if n.kind == minKind {
		for k := x + 1; k < n.states; k++ {
			dist[x] += dist[k]
			dist[k] = 0
		}
		return
	}
	p := n.pass[i]
	below := 0.0
	for k := range x {
		below += dist[k]
		dist[k] *= 1 - p
	}
	dist[x] += p * below
}

// bundle turns a distribution over levels into the constants of the rank form:
// how far each term goes, given what was heard so far.
func (n *node) bundle(dist, terms []float64) {
	sum := 0.0
	if n.kind == minKind {
		for h := n.states - 1; h >= 0; h-- {
			sum += dist[h]
			terms[h] = sum
		}
		terms[0] = 1
		return
	}
	for h := range n.states {
		sum += dist[h]
		terms[h] = sum
	}
	terms[n.states-1] = 1
}

// sign is the weight of term h in P(y | x).
func (n *node) sign(h, y int) float64 {
	switch {
	case y == h:
		return 1
	case n.kind == maxKind && y == h+1, n.kind == minKind && y == h-1:
		return -1
	}
	return 0
}

// weigh writes the weight of each term once the child's state is summed out
// against a likelihood. Most weights of a certain observation are zero.
func (n *node) weigh(like, weights []float64) {
	for h := range n.states {
		w := like[h]
		if n.kind == maxKind && h+1 < n.states {
			w -= like[h+1]
		}
		if n.kind == minKind && h > 0 {
			w -= like[h-1]
		}
		weights[h] = w
	}
}
