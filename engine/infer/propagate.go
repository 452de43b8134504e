package infer

import "math"

// run holds the tables of one propagation over the plan's clusters.
//
// Forward, each cluster's table is the product of its factors and of the messages
// that earlier clusters sent it; the cluster's own variable is summed out and the
// rest sent on, to the cluster of the next variable to be eliminated. What remains
// at the end is P(evidence).
//
// Backward, the same sum of products is differentiated in reverse: what each
// message is worth (its adjoint) follows from what the message it went into is
// worth. A table times the worth of its message is the joint mass of the cluster,
// and its sums are the posteriors. Unlike a division of potentials, this is right
// for signed numbers, and for zeros among them.
type run struct {
	buckets []bucket
	next    []int32   // by factor: next factor of the same bucket, or -1
	tables  []float64 // the clusters
	sent    []float64 // the messages
	worth   []float64 // their adjoints
	sums    []float64
	total   scaled
	rounded float64 // bound on the relative error of the total, in float64
}

// bucket is one cluster.
type bucket struct {
	table   span // in tables
	message span // in sent and worth
	factors int32
	// children send to this bucket; they are a list
	child, sibling int32
	parent         int32 // -1 at a root
	wanted         bool
}

const maxDims = 32

// shape is a walk over a table: the extent of each dimension, fastest first, and
// the step that a second table takes along it.
type shape struct {
	n      int
	extent [maxDims]int
	step   [maxDims]int
}

// add appends a dimension.
func (s *shape) add(extent, step int) {
	// A dimension that continues the one before, in both tables, makes one with it.
	if k := s.n - 1; k >= 0 && step == s.step[k]*s.extent[k] {
		s.extent[k] *= extent
		return
	}
	s.extent[s.n], s.step[s.n] = extent, step
	s.n++
}

// cluster is the scope of a bucket.
func (w *work) cluster(b int) []int32 {
	c := w.plan.clusters[b]
	return w.plan.scopes[c.from:c.to]
}

// factorShape goes over a cluster along with a factor in its own order.
func (w *work) factorShape(s *shape, b int, f *factor) {
	s.n = 0
	scope := w.scopes[f.scope.from:f.scope.to]
	for _, v := range w.cluster(b) {
		step, size := 0, 1
		for i := len(scope) - 1; i >= 0; i-- {
			if scope[i] == v {
				step = size
				break
			}
			size *= int(w.card[scope[i]])
		}
		s.add(int(w.card[v]), step)
	}
}

// messageShape goes over a cluster along with the message of one of its children.
func (w *work) messageShape(s *shape, b, child int) {
	s.n = 0
	scope := w.cluster(child)[1:]
	i, size := 0, 1
	for _, v := range w.cluster(b) {
		step := 0
		if i < len(scope) && scope[i] == v {
			step = size
			size *= int(w.card[v])
			i++
		}
		s.add(int(w.card[v]), step)
	}
}

// multiply multiplies a table by another along a shape.
func multiply(table, by []float64, s *shape) {
	inner, step := s.extent[0], s.step[0]
	var at [maxDims]int
	off := 0
	for i := 0; i < len(table); {
		row := table[i : i+inner]
		switch step {
		case 0:
			x := by[off]
			for j := range row {
				row[j] *= x
			}
		case 1:
			b := by[off : off+inner]
			for j := range row {
				row[j] *= b[j]
			}
		default:
			o := off
			for j := range row {
				row[j] *= by[o]
				o += step
			}
		}
		i += inner
		for d := 1; d < s.n; d++ {
			off += s.step[d]
			if at[d]++; at[d] < s.extent[d] {
				break
			}
			off -= s.step[d] * s.extent[d]
			at[d] = 0
		}
	}
}

// gather adds a table into another along a shape.
func gather(into, table []float64, s *shape) {
	inner, step := s.extent[0], s.step[0]
	var at [maxDims]int
	off := 0
	for i := 0; i < len(table); {
		row := table[i : i+inner]
		switch step {
		case 0:
			sum := 0.0
			for _, x := range row {
				sum += x
			}
			into[off] += sum
		case 1:
			b := into[off : off+inner]
			for j, x := range row {
				b[j] += x
			}
		default:
			o := off
			for _, x := range row {
				into[o] += x
				o += step
			}
		}
		i += inner
		for d := 1; d < s.n; d++ {
			off += s.step[d]
			if at[d]++; at[d] < s.extent[d] {
				break
			}
			off -= s.step[d] * s.extent[d]
			at[d] = 0
		}
	}
}

// rescale brings the largest magnitude of a table near one, by a power of two so
// that nothing is rounded, and returns the exponent. It reports false for a table
// of zeros.
func rescale(table []float64) (int, bool) {
	most := 0.0
	for _, x := range table {
		most = max(most, math.Abs(x))
	}
	if most == 0 {
		return 0, false
	}
	_, e := math.Frexp(most)
	if e > -8 && e < 8 {
		return 0, true // near enough
	}
	for i, x := range table {
		table[i] = math.Ldexp(x, -e)
	}
	return e, true
}

// layout assigns factors to clusters and finds room for the tables.
func (w *work) layout() {
	r, p := &w.run, &w.plan
	n := len(w.card)
	r.buckets = resize(r.buckets, n)
	r.next = resize(r.next, len(w.factors))
	t, m := int32(0), int32(0)
	for b := range n {
		size := int32(1)
		c := w.cluster(b)
		for _, v := range c {
			size *= w.card[v]
		}
		rest := size / w.card[c[0]]
		parent := int32(-1)
		if len(c) > 1 {
			parent = p.place[c[1]]
		}
		r.buckets[b] = bucket{table: span{t, t + size}, message: span{m, m + rest},
			factors: -1, child: -1, sibling: -1, parent: parent}
		t += size
		m += rest
	}
	for b := n - 1; b >= 0; b-- {
		if q := r.buckets[b].parent; q >= 0 {
			r.buckets[b].sibling = r.buckets[q].child
			r.buckets[q].child = int32(b)
		}
	}
	for i := len(w.factors) - 1; i >= 0; i-- {
		f := w.factors[i]
		first := int32(n)
		for _, v := range w.scopes[f.scope.from:f.scope.to] {
			first = min(first, p.place[v])
		}
		r.next[i] = r.buckets[first].factors
		r.buckets[first].factors = int32(i)
	}
	r.tables = resize(r.tables, int(t))
	r.sent = resize(r.sent, int(m))
}

// forward eliminates all variables. It reports false when nothing is left.
func (w *work) forward() bool {
	r := &w.run
	r.total = w.scale
	var s shape
	for b := range r.buckets {
		bk := &r.buckets[b]
		table := r.tables[bk.table.from:bk.table.to]
		r.total.e += w.product(b, table, -1, &s)
		card := int(w.card[w.plan.order[b]])
		message := r.sent[bk.message.from:bk.message.to]
		if card == 2 {
			for i := range message {
				message[i] = table[2*i] + table[2*i+1]
			}
		} else {
			for i := range message {
				sum := 0.0
				for _, x := range table[i*card : (i+1)*card] {
					sum += x
				}
				message[i] = sum
			}
		}
		if bk.parent < 0 {
			if !r.total.mul(message[0]) {
				return false
			}
			continue
		}
		e, ok := rescale(message)
		if !ok {
			return false
		}
		r.total.e += e
	}
	return true
}

// breath is how many factors a product takes in before it is rescaled, lest it
// leave the range of float64.
const breath = 8

// product fills a table of bucket b with the product of its inputs, except the
// message of one child, up to the power of two that it returns.
func (w *work) product(b int, table []float64, without int32, s *shape) (exponent int) {
	r := &w.run
	bk := &r.buckets[b]
	v := w.plan.order[b]
	card := int(w.card[v])
	u := w.numbers[w.unary[v] : int(w.unary[v])+card]
	if card == 2 {
		u0, u1 := u[0], u[1]
		for i := 0; i+1 < len(table); i += 2 {
			table[i], table[i+1] = u0, u1
		}
	} else {
		for i := 0; i < len(table); i += card {
			copy(table[i:], u)
		}
	}
	count := 0
	inhale := func() {
		if count++; count%breath == 0 {
			e, _ := rescale(table)
			exponent += e
		}
	}
	for f := bk.factors; f >= 0; f = r.next[f] {
		fc := &w.factors[f]
		w.factorShape(s, b, fc)
		multiply(table, w.numbers[fc.data.from:fc.data.to], s)
		inhale()
	}
	for c := bk.child; c >= 0; c = r.buckets[c].sibling {
		if c == without {
			continue
		}
		w.messageShape(s, b, int(c))
		multiply(table, r.sent[r.buckets[c].message.from:r.buckets[c].message.to], s)
		inhale()
	}
	return exponent
}

// backward turns the tables into joint masses, each up to a positive factor of its
// own. It visits the buckets of asked variables and those on the way to them, or
// all of them when the rounding of signed numbers must be watched. It reports
// false when signed numbers cancelled completely.
func (w *work) backward() bool {
	r := &w.run
	r.worth = resize(r.worth, len(r.sent))
	r.rounded = 0
	for b := range r.buckets {
		bk := &r.buckets[b]
		v := w.origin[w.plan.order[b]]
		bk.wanted = bk.wanted || w.signed || v >= 0 && w.asked[v]
		if bk.wanted && bk.parent >= 0 {
			r.buckets[bk.parent].wanted = true
		}
	}
	var s shape
	for b := len(r.buckets) - 1; b >= 0; b-- {
		bk := &r.buckets[b]
		if !bk.wanted {
			continue
		}
		table := r.tables[bk.table.from:bk.table.to]
		card := int(w.card[w.plan.order[b]])
		worth := r.worth[bk.message.from:bk.message.to]
		if bk.parent < 0 {
			worth[0] = 1
		}
		if card == 2 {
			for i, x := range worth {
				table[2*i] *= x
				table[2*i+1] *= x
			}
		} else {
			for i, x := range worth {
				for j := i * card; j < (i+1)*card; j++ {
					table[j] *= x
				}
			}
		}
		if w.signed && !r.watch(table) {
			return false
		}
		for c := bk.child; c >= 0; c = r.buckets[c].sibling {
			if r.buckets[c].wanted && !w.appraise(b, int(c), table, worth, &s) {
				return false
			}
		}
	}
	return true
}

// watch adds the rounding of one table to the bound. Rounding errors there are in
// proportion to the magnitudes, which signed numbers make larger than the sum.
func (r *run) watch(table []float64) bool {
	sum, magnitude := 0.0, 0.0
	for _, x := range table {
		sum += x
		magnitude += math.Abs(x)
	}
	if !(sum > 0) {
		return false
	}
	r.rounded += ulps * magnitude / sum
	return true
}

// ulps is the rounding that one cluster's products and sums are charged with.
const ulps = 4.0 / (1 << 53)

// appraise computes the worth of the message that child c sent to bucket b, whose
// table holds joint masses by now.
func (w *work) appraise(b, c int, table, worth []float64, s *shape) bool {
	r := &w.run
	m := r.buckets[c].message
	sent, into := r.sent[m.from:m.to], r.worth[m.from:m.to]
	w.messageShape(s, b, c)
	clear(into)
	zero := false
	if w.signed {
		for _, x := range sent {
			zero = zero || x == 0
		}
	}
	if zero {
		// Signed numbers that cancel to nothing in a message are still worth
		// something one by one, and dividing by nothing would lose it.
		r.sums = resize(r.sums, len(table))
		others := r.sums[:len(table)]
		w.product(b, others, int32(c), s)
		card := int(w.card[w.plan.order[b]])
		for i, x := range worth {
			for j := i * card; j < (i+1)*card; j++ {
				others[j] *= x
			}
		}
		w.messageShape(s, b, c)
		gather(into, others, s)
	} else {
		gather(into, table, s)
		for i, x := range sent {
			if x != 0 {
				into[i] /= x
			}
		}
	}
	_, ok := rescale(into)
	return ok
}
