package infer

import (
	"context"
	"math"
	"slices"
)

// ceilings bounds, for each variable of a query and each of its states, the
// probability of the most probable joint assignment to the query with it: the
// variables of the query are maximised and the others summed out, each where its
// turn comes in the elimination order, whereas all the sums should come first (J. D.
// Park & A. Darwiche, Solving MAP exactly using systematic search, UAI 2003). A sum
// of maxima is at least the maximum of the sums, so this bounds from above; and it is
// zero only where nothing is possible.
//
// Maximising is wrong where signed numbers are, so there are none here, and the tables
// may be larger than for a sum.
type ceilings struct {
	states [][]float64 // by position in the query: ln of the bound, by state
	whole  float64     // ln of the bound on all assignments
}

// bucket is one cluster of the maximising sweep.
type bucket struct {
	table, message span    // in the sweep's numbers; worth is as long as message
	parent         int32   // -1 at a root
	children       []int32 // those that send to it
	up, down       float64 // ln of what message and worth are to be multiplied with
}

// sweep is the scratch memory of the maximising sweep.
type sweep struct {
	buckets  []bucket
	tables   []float64
	messages []float64
	worth    []float64
	place    []int32
	scratch  []float64
}

// climber bounds the parts that a query's assignments are divided into. All of them
// are one problem, with some states struck out.
type climber struct {
	w       *work
	query   []Var
	numbers []float64 // as they were before states were struck out
	price   int       // of a look, in propagations of the compact form
}

// fewLooks is how many looks at least the budget must suffice for, and cheap the
// binary logarithm of the size up to which what a propagation takes is the same.
const (
	fewLooks = 4
	cheap    = 14
)

// climber prepares the bounds. It returns nil where they take too much of a budget of
// propagations.
func (m *Model) climber(ctx context.Context, ev Evidence, query []Var, budget int) (*climber, error) {
	w := m.work()
	c := &climber{w: w, query: query, price: 1}
	compact := 0.0
	if w.reduce(ev, query, m.limits, ranked) && w.prepare(ctx) == nil {
		compact = w.program.cost.Log2
	}
	if !w.reduce(ev, query, careful, chained) {
		if w.over != nil {
			m.release(w)
			return nil, nil
		}
		return c, nil // impossible, as the first look will tell
	}
	// It is not worth it where a look costs as much as many propagations of the
	// compact form.
	most := math.Log2(max(1, float64(budget)/fewLooks)) + max(compact, cheap)
	if !w.within(ctx, math.Exp2(most)*farBeyond) {
		m.release(w)
		return nil, ctx.Err()
	}
	err := w.prepare(ctx)
	if err != nil || w.program.cost.Log2 > most || math.Exp2(w.program.cost.Log2)*2 > float64(m.budget) {
		m.release(w)
		return nil, ctx.Err()
	}
	c.price = int(math.Exp2(max(0, w.program.cost.Log2-max(compact, cheap))))
	c.numbers = slices.Clone(w.numbers)
	w.lay(w.program)
	return c, nil
}

// look bounds the assignments that are left by a likelihood on some variables of the
// query.
func (c *climber) look(ctx context.Context, left Evidence) (*ceilings, error) {
	w := c.w
	none := &ceilings{whole: math.Inf(-1)}
	if w.program == nil {
		return none, nil
	}
	copy(w.numbers, c.numbers)
	for v, like := range left {
		if s := w.fixed[v]; s >= 0 {
			if like[s] == 0 {
				return none, nil
			}
			continue
		}
		u := w.numbers[w.unary[w.local[v]]:]
		for s, l := range like {
			u[s] *= l
		}
	}
	pr, s := w.program, &w.sweep
	top, ok, err := w.upwards(ctx, pr, s)
	if err != nil || !ok {
		return none, err
	}
	if err := w.downwards(ctx, pr, s, top); err != nil {
		return nil, err
	}
	out := &ceilings{whole: top}
	for _, v := range c.query {
		bounds := slices.Repeat([]float64{math.Inf(-1)}, w.m.nodes[v].states)
		if f := w.fixed[v]; f >= 0 {
			bounds[f] = top
		} else {
			x := w.local[v]
			b := &s.buckets[s.place[x]]
			cl := pr.clusters[s.place[x]]
			t := s.reduceTo(w, pr.scopes[cl.from:cl.to], s.tables[b.table.from:b.table.to], 1)
			for i := range bounds {
				bounds[i] = math.Log(t[i]) + b.up + b.down
			}
		}
		out.states = append(out.states, bounds)
	}
	return out, nil
}

// lay lays out the sweep.
func (w *work) lay(pr *program) {
	s := &w.sweep
	n := len(pr.clusters)
	s.buckets = resize(s.buckets, n)
	s.place = resize(s.place, n)
	t, m := int32(0), int32(0)
	for b, cl := range pr.clusters {
		cluster := pr.scopes[cl.from:cl.to]
		s.place[cluster[0]] = int32(b)
		size := int32(1)
		for _, v := range cluster {
			size *= w.card[v]
		}
		rest := size / w.card[cluster[0]]
		s.buckets[b] = bucket{table: span{t, t + size}, message: span{m, m + rest}, parent: -1, children: s.buckets[b].children[:0]}
		t, m = t+size, m+rest
	}
	for b, cl := range pr.clusters {
		if cl.to-cl.from > 1 {
			to := s.place[pr.scopes[cl.from+1]]
			s.buckets[b].parent = to
			s.buckets[to].children = append(s.buckets[to].children, int32(b))
		}
	}
	s.tables = resize(s.tables, int(t))
	s.messages = resize(s.messages, int(m))
	s.worth = resize(s.worth, int(m))
	// Each factor goes to the cluster that eliminates the first of its variables.
	w.head, w.next = resize(w.head, n), resize(w.next, len(w.factors))
	for b := range n {
		w.head[b] = -1
	}
	for i := range w.factors {
		first := int32(n)
		for _, v := range w.scopes[w.factors[i].scope.from:w.factors[i].scope.to] {
			first = min(first, s.place[v])
		}
		w.next[i] = w.head[first]
		w.head[first] = int32(i)
	}
}

// spreadInto multiplies a table over some of a cluster's variables into one over all.
// By is how far it moves along each.
func (w *work) spreadInto(cluster []int32, table, other []float64, by []int32) {
	var dims [maxDims]dim
	n := 0
	for i, v := range cluster {
		if k := n - 1; k >= 0 && by[i] == dims[k].b*dims[k].extent {
			dims[k].extent *= w.card[v]
			continue
		}
		dims[n] = dim{extent: w.card[v], b: by[i]}
		n++
	}
	// The first dimensions by a pattern of offsets, the others step by step.
	row, used := 1, 0
	for used < n && row < block {
		row *= int(dims[used].extent)
		used++
	}
	w.pattern = appendPattern(w.pattern[:0], dims[:used], row)
	offs := w.pattern[row:]
	k := walk{dims: dims[used:n]}
	for at := 0; at < len(table); at += row {
		t, o := table[at:at+row], other[k.b:]
		if used == 1 && dims[0].b == 0 {
			x := o[0]
			for i := range t {
				t[i] *= x
			}
		} else {
			for i, off := range offs {
				t[i] *= o[off]
			}
		}
		k.next()
	}
}

// along is how far a table over some variables, the first fastest, moves along each of
// a cluster's.
func (w *work) along(cluster, scope []int32, by []int32) {
	clear(by)
	size := int32(1)
	for _, v := range scope {
		by[slices.Index(cluster, v)] = size
		size *= w.card[v]
	}
}

func (w *work) maximised(x int32) bool {
	v := w.origin[x]
	return v >= 0 && w.asked[v]
}

// upwards eliminates all variables, and returns ln of the bound on everything. It
// reports false when nothing is possible.
func (w *work) upwards(ctx context.Context, pr *program, s *sweep) (top float64, ok bool, err error) {
	top = w.scale.ln()
	var by [maxDims]int32
	var scope [maxDims]int32
	for i := range s.buckets {
		if err := ctx.Err(); err != nil {
			return 0, false, err
		}
		b := &s.buckets[i]
		b.up, b.down = 0, 0
		cluster := pr.scopes[pr.clusters[i].from:pr.clusters[i].to]
		own := cluster[0]
		card := int(w.card[own])
		table := s.tables[b.table.from:b.table.to]
		u := w.numbers[w.unary[own] : int(w.unary[own])+card]
		for at := 0; at < len(table); at += card {
			copy(table[at:], u)
		}
		breath := 0
		for f := w.head[i]; f >= 0; f = w.next[f] {
			if breath++; breath%8 == 0 { // lest it leave the range of float64
				e, _ := rescale(table)
				b.up += float64(e) * math.Ln2
			}
			fc := &w.factors[f]
			n := 0
			for k := fc.scope.to - 1; k >= fc.scope.from; k-- {
				scope[n] = w.scopes[k]
				n++
			}
			w.along(cluster, scope[:n], by[:len(cluster)])
			w.spreadInto(cluster, table, w.numbers[fc.data.from:fc.data.to], by[:len(cluster)])
		}
		for _, c := range b.children {
			child := &s.buckets[c]
			cl := pr.clusters[c]
			w.along(cluster, pr.scopes[cl.from+1:cl.to], by[:len(cluster)])
			w.spreadInto(cluster, table, s.messages[child.message.from:child.message.to], by[:len(cluster)])
			b.up += child.up
			if !sizeable(table) {
				e, _ := rescale(table)
				b.up += float64(e) * math.Ln2
			}
		}
		message := s.messages[b.message.from:b.message.to]
		eliminate(message, table, card, 1, w.maximised(own))
		if b.parent < 0 {
			if !(message[0] > 0) {
				return 0, false, nil
			}
			top += math.Log(message[0]) + b.up
		}
	}
	return top, true, nil
}

// eliminate maximises or sums a table over the dimension with so many states and
// that many entries from one to the next. It writes no further than it has read.
func eliminate(into, table []float64, card, step int, maximise bool) {
	switch {
	case card == 2 && step == 1 && maximise:
		for i := range len(table) / 2 {
			x, y := table[2*i], table[2*i+1]
			if y > x {
				x = y
			}
			into[i] = x
		}
	case card == 2 && step == 1:
		for i := range len(table) / 2 {
			into[i] = table[2*i] + table[2*i+1]
		}
	default:
		for at := 0; at < len(table); at += card * step {
			out := into[at/card:][:step]
			copy(out, table[at:])
			for k := 1; k < card; k++ {
				next := table[at+k*step:][:step]
				if maximise {
					for i, y := range next {
						if y > out[i] {
							out[i] = y
						}
					}
				} else {
					for i, y := range next {
						out[i] += y
					}
				}
			}
		}
	}
}

// reduceTo eliminates from a cluster's table all variables that are not in the mask,
// those that are summed out first. The result is over the rest in the cluster's order,
// and not to be changed.
func (s *sweep) reduceTo(w *work, cluster []int32, table []float64, mask uint64) []float64 {
	var left [maxDims]int32
	var keep [maxDims]bool
	n := copy(left[:], cluster)
	for i := range n {
		keep[i] = mask>>i&1 == 1
	}
	t := table
	for _, maximise := range []bool{false, true} {
		for i := n - 1; i >= 0; i-- {
			if keep[i] || w.maximised(left[i]) != maximise {
				continue
			}
			step := 1
			for _, v := range left[:i] {
				step *= int(w.card[v])
			}
			card := int(w.card[left[i]])
			s.scratch = resize(s.scratch, max(len(t)/card, len(s.scratch)))
			eliminate(s.scratch, t, card, step, maximise)
			t = s.scratch[:len(t)/card]
			copy(left[i:], left[i+1:n])
			copy(keep[i:], keep[i+1:n])
			n--
		}
	}
	return t
}

// downwards turns the tables into bounds on everything by the states of the cluster.
func (w *work) downwards(ctx context.Context, pr *program, s *sweep, top float64) error {
	for i := len(s.buckets) - 1; i >= 0; i-- {
		if err := ctx.Err(); err != nil {
			return err
		}
		b := &s.buckets[i]
		cluster := pr.scopes[pr.clusters[i].from:pr.clusters[i].to]
		card := int(w.card[cluster[0]])
		table := s.tables[b.table.from:b.table.to]
		worth := s.worth[b.message.from:b.message.to]
		if b.parent < 0 {
			message := s.messages[b.message.from]
			worth[0] = 1 / message
			b.down = top - b.up // what the other components amount to
		}
		for j, x := range worth {
			for k := j * card; k < (j+1)*card; k++ {
				table[k] *= x
			}
		}
		for _, c := range b.children {
			child := &s.buckets[c]
			cl := pr.clusters[c]
			scope := pr.scopes[cl.from+1 : cl.to]
			var mask uint64
			for _, v := range scope {
				mask |= 1 << slices.Index(cluster, v)
			}
			t := s.reduceTo(w, cluster, table, mask)
			// The message is over the same variables, in the order of the cluster too.
			message := s.messages[child.message.from:child.message.to]
			into := s.worth[child.message.from:child.message.to]
			for j, x := range message {
				into[j] = 0
				if x != 0 {
					into[j] = t[j] / x
				}
			}
			e, _ := rescale(into)
			child.down = b.down + b.up - child.up + float64(e)*math.Ln2
		}
	}
	return nil
}
