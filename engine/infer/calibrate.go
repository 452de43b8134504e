package infer

import (
	"context"
	"math"
	"slices"
)

// Calibration is what one sweep forward and one backward tell of a model and its
// evidence: posteriors, slopes in the model's numbers, and what the probability
// would be without one observation.
//
// Slopes are relative. P(evidence) is linear in each number of the model by itself,
// so with the number x changed by d,
//
//	P(evidence; x + d) = P(evidence; x) * (1 + slope * d)
//
// exactly. It is 0 for a number that has no bearing on the evidence. The slope of the
// joint probability of the evidence and something else is had by calibrating with that
// in the evidence.
type Calibration struct {
	// LogP is the natural logarithm of the probability of the evidence.
	LogP float64
	// Rounding is as in [Posterior].
	Rounding float64

	m        *Model
	w        *work
	ev       Evidence
	children [][]Var // relevant ones
}

// Calibrate propagates the evidence and keeps all that came of it. Posteriors are to
// be had of the query and of the ancestors of what was asked or observed; of what was
// observed itself where it is one of those or was seen for certain. The error is a
// *[Contradiction] when the evidence is impossible.
//
// A calibration may be used by many goroutines at once. It holds on to the tables, and
// is not divided into cases: what does not fit into the budget is refused.
func (m *Model) Calibrate(ctx context.Context, ev Evidence, query ...Var) (*Calibration, error) {
	return m.calibrate(ctx, ev, query, true)
}

// Slopes is Calibrate where it will not be asked what the probability would be without an
// observation ([Calibration.Without]): that takes larger tables, or a question of its own.
func (m *Model) Slopes(ctx context.Context, ev Evidence, query ...Var) (*Calibration, error) {
	return m.calibrate(ctx, ev, query, false)
}

// Release gives the memory of a calibration back, which must not be used any more.
func (c *Calibration) Release() {
	c.m.release(c.w)
	c.w = nil
}

// Posterior returns the distributions of some of the variables that were asked for.
func (c *Calibration) Posterior(query ...Var) *Posterior {
	post := &Posterior{probs: make([][]float64, c.m.Len())}
	c.w.read(query, post)
	return post
}

func (m *Model) calibrate(ctx context.Context, ev Evidence, query []Var, without bool) (*Calibration, error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := m.checkVars(query); err != nil {
		return nil, err
	}
	own := make(Evidence, len(ev))
	for v, l := range ev {
		own[v] = slices.Clone(l)
	}
	w := m.work()
	w.keep, w.whole = true, true
	w.unfold = without && w.worthUnfolding(ctx, own, query)
	ok, err := w.solve(ctx, own, query, true)
	if err != nil {
		m.release(w)
		return nil, err
	}
	if !ok {
		err := m.contradiction(ctx, w, ev)
		m.release(w)
		return nil, err
	}
	c := &Calibration{LogP: w.run.total.ln(), Rounding: w.run.rounded, m: m, w: w, ev: own}
	c.children = make([][]Var, m.Len())
	for v := range m.nodes {
		if w.relevant[v] {
			for _, p := range m.nodes[v].parents {
				c.children[p] = append(c.children[p], Var(v))
			}
		}
	}
	if w.program == &w.scratch {
		p := w.scratch
		w.program = &p
	}
	return c, nil
}

// worthUnfolding tells whether what was not found should have tables of its own, so
// that the calibration tells what P(evidence) is without it. That may take as much more
// as half of the questions that it saves.
func (w *work) worthUnfolding(ctx context.Context, ev Evidence, query []Var) bool {
	var log2 [2]float64
	saved := 0
	for i := range log2 {
		w.unfold = i == 1
		if !w.reduce(ev, query, w.m.limits, ranked) || w.prepare(ctx) != nil {
			return false
		}
		log2[i] = w.program.cost.Log2
		for v := range w.made {
			if w.made[v].form == asFold && i == 0 {
				saved++
			}
		}
	}
	return log2[1] <= max(log2[0]+math.Log2(1+float64(saved)/2), cheap)
}

// P returns the distribution of a variable given the evidence, or nil where it was
// not worked out.
func (c *Calibration) P(v Var) []float64 {
	if !c.m.has(v) || !c.w.relevant[v] {
		return nil
	}
	p := make([]float64, c.m.nodes[v].states)
	if s := c.w.fixed[v]; s >= 0 {
		p[s] = 1
		return p
	}
	if c.w.local[v] < 0 {
		return nil // summed out against its likelihood
	}
	in := input{unaryOf, c.w.local[v]}
	prior, worth := c.w.table(in), c.w.worthTable(in)
	sum := 0.0
	for s := range p {
		p[s] = max(prior[s]*worth[s], 0)
		sum += p[s]
	}
	for s := range p {
		p[s] /= sum
	}
	return p
}

// node returns a variable, or nil for an unknown one.
func (c *Calibration) node(v Var) *node {
	if !c.m.has(v) {
		return nil
	}
	return &c.m.nodes[v]
}

// LinkSlope is the slope in the probability that the link from a parent of a gate
// passes; all links from that parent count as one. It is 0 where there is none.
func (c *Calibration) LinkSlope(gate, parent Var) float64 {
	n := c.node(gate)
	if n == nil || n.kind != maxKind || !c.w.relevant[gate] {
		return 0
	}
	i := slices.Index(n.parents, parent)
	if i < 0 {
		return 0
	}
	w, d := c.w, c.w.made[gate]
	if w.fixed[parent] < 0 {
		switch d.form {
		case asFold:
			sum := 0.0
			worth, lift := c.worthOf(parent)
			for s := range w.m.nodes[parent].states {
				if n.level(i, s) > int(d.at) {
					rest := c.rest(parent, s, gate, false)
					sum -= math.Ldexp(worth[s]*rest.f, lift+rest.e)
				}
			}
			return sum
		case asHidden, asRank:
			// One factor a free parent, in their order.
			at := d.extra
			for _, p := range n.parents[:i] {
				if w.fixed[p] < 0 {
					at++
				}
			}
			worth, lift := c.worthOfFactor(at)
			k := w.m.nodes[parent].states
			sum := 0.0
			for h, t := range c.terms(gate) {
				for s := range k {
					if n.level(i, s) > t {
						sum -= worth[h*k+s]
					}
				}
			}
			return math.Ldexp(sum, lift)
		}
	}
	with := *n
	with.pass = slices.Clone(n.pass)
	with.pass[i] = 1
	most := c.replaced(gate, &with, i, nil)
	with.pass[i] = 0
	return most - c.replaced(gate, &with, i, nil)
}

// LeakSlope is the slope in the probability that the leak of a gate is at a level,
// those of the others being left as they are. To move probability from one level to
// another, take the difference of their slopes. A gate without a leak has one that is
// always at level 0. It is NaN for what is no gate or level.
func (c *Calibration) LeakSlope(gate Var, level int) float64 {
	n := c.node(gate)
	if n == nil || n.kind != maxKind || level < 0 || level >= n.states {
		return math.NaN()
	}
	if c.w.made[gate].form == nothing {
		return 0
	}
	with := *n
	with.leak = Hard(level, n.states)
	return c.replaced(gate, &with, -1, nil)
}

// TableSlope is the slope in one number of a variable's table: the probability of a
// state where the parents have the states given. The others in the row are left as
// they are; to move probability from one to another, take the difference of their
// slopes. It is NaN for what is no number of a table.
func (c *Calibration) TableSlope(v Var, parents []int, state int) float64 {
	n := c.node(v)
	if n == nil || n.kind != tableKind || state < 0 || state >= n.states || len(parents) != len(n.parents) {
		return math.NaN()
	}
	for i, p := range n.parents {
		if parents[i] < 0 || parents[i] >= c.m.nodes[p].states {
			return math.NaN()
		}
	}
	w := c.w
	if !w.relevant[v] {
		return 0
	}
	at := 0
	for i, p := range n.parents {
		switch s := w.fixed[p]; {
		case s < 0:
			at = at*w.m.nodes[p].states + parents[i]
		case int(s) != parents[i]:
			return 0 // the row does not apply
		}
	}
	switch d := w.made[v]; d.form {
	case asNumber, asRoot:
		return c.slopeOfRoot(v)[state]
	case asTable:
		worth, lift := c.worthOfFactor(d.at)
		switch s := w.fixed[v]; {
		case s < 0:
			at = at*n.states + state
		case int(s) != state:
			return 0
		}
		return math.Ldexp(worth[at], lift)
	}
	return 0
}

// worthOf is the adjoint of a variable's unary factor; the true one, for the true
// numbers in the factor, is 2^lift as large.
func (c *Calibration) worthOf(v Var) (worth []float64, lift int) {
	x := c.w.local[v]
	return c.w.worthTable(input{unaryOf, x}), c.w.run.liftOf[0][x] - c.w.exps[x]
}

func (c *Calibration) worthOfFactor(f int32) (worth []float64, lift int) {
	return c.w.worthTable(input{factorOf, f}), c.w.run.liftOf[1][f] - c.w.factors[f].exp
}

// rest is one true number of a variable's unary factor, without the part of one gate
// that was folded into it (-1 for none), and without the variable's own likelihood
// and prior where bare is set.
func (c *Calibration) rest(v Var, s int, without Var, bare bool) scaled {
	w := c.w
	x := one
	if w.made[v].form == asRoot && !bare {
		x.mul(c.levels(v, c.node(v))[s])
	}
	if like := w.like[v]; like != nil && without != v {
		x.mul(like[s])
	}
	for _, g := range c.children[v] {
		if d := w.made[g]; d.form == asFold && g != without {
			n := c.node(g)
			x.mul(n.arrive(slices.Index(n.parents, v), int(d.at), s))
		}
	}
	return x
}

// levels is the distribution of a variable by what is known of its parents: all that
// there is to it where all of them are.
func (c *Calibration) levels(v Var, n *node) []float64 {
	dist := make([]float64, n.states)
	if n.kind == tableKind {
		row := 0
		for _, p := range n.parents {
			row = row*c.m.nodes[p].states + int(c.w.fixed[p])
		}
		copy(dist, n.cpt[row*n.states:])
		return dist
	}
	n.start(dist)
	for i, p := range n.parents {
		if s := c.w.fixed[p]; s >= 0 {
			n.hear(i, int(s), dist)
		}
	}
	return dist
}

// slopeOfRoot is the slope in each number of the distribution of a variable whose
// parents are all known.
func (c *Calibration) slopeOfRoot(v Var) []float64 {
	w := c.w
	slope := make([]float64, w.m.nodes[v].states)
	if w.made[v].form == asNumber {
		s := w.fixed[v]
		slope[s] = 1 / c.levels(v, c.node(v))[s]
		return slope
	}
	worth, lift := c.worthOf(v)
	for s := range slope {
		rest := c.rest(v, s, -1, true)
		slope[s] = math.Ldexp(worth[s]*rest.f, lift+rest.e)
	}
	return slope
}

// free is the unknown parents of a gate.
func (c *Calibration) free(gate Var) []int {
	n := c.node(gate)
	var free []int
	for i, p := range n.parents {
		if c.w.fixed[p] < 0 {
			free = append(free, i)
		}
	}
	return free
}

// likelihood is what was folded into a gate whose own state was summed out.
func (c *Calibration) likelihood(v Var) []float64 {
	if s := c.w.fixed[v]; s >= 0 {
		return Hard(int(s), c.m.nodes[v].states)
	}
	return c.w.like[v]
}

// terms is the levels that the states of a gate's hidden variable stand for.
func (c *Calibration) terms(gate Var) []int {
	n := c.node(gate)
	var terms []int
	if c.w.made[gate].form == asRank {
		for h := range n.states {
			terms = append(terms, h)
		}
		return terms
	}
	weights := make([]float64, n.states)
	n.weigh(c.likelihood(gate), weights)
	for h, x := range weights {
		if x != 0 {
			terms = append(terms, h)
		}
	}
	return terms
}

// replaced is how much larger P(evidence) were if a gate had the numbers of n
// instead: those of link i, or, where i is -1 or the parent known, those that go into
// the distribution before any other parent is heard. Given a likelihood, it is
// what the evidence on a gate whose own state was summed out is replaced with.
func (c *Calibration) replaced(gate Var, n *node, i int, like []float64) float64 {
	w, d := c.w, c.w.made[gate]
	dist := c.levels(gate, n)
	dot := func(worth, table []float64, lift int) float64 {
		sum := 0.0
		for j, x := range table {
			sum += x * worth[j]
		}
		return math.Ldexp(sum, lift)
	}
	switch d.form {
	case asRoot, asNumber:
		return dot(c.slopeOfRoot(gate), dist, 0)
	case asFold:
		before, after := make([]float64, n.states), make([]float64, n.states)
		n.bundle(c.levels(gate, c.node(gate)), before)
		n.bundle(dist, after)
		return after[d.at] / before[d.at]
	case asHidden, asRank:
		terms, weights := make([]float64, n.states), slices.Repeat([]float64{1}, n.states)
		n.bundle(dist, terms)
		if d.form == asHidden {
			n.weigh(c.likelihood(gate), weights)
		}
		worth := w.worthTable(input{unaryOf, d.at})
		sum := 0.0
		for h, t := range c.terms(gate) {
			sum += worth[h] * terms[t] * weights[t]
		}
		return math.Ldexp(sum, w.run.liftOf[0][d.at]-w.exps[d.at])
	case asDense, asGate, asChain:
		t := &work{m: c.m, fixed: w.fixed, local: w.local, dist: dist}
		t.free = c.free(gate)
		at := slices.Index(t.free, i)
		if like == nil && (d.form == asDense || d.extra == 1) {
			like = c.likelihood(gate)
		}
		f := d.at
		if d.form == asChain {
			// The first table holds two parents, and what was heard before.
			link := max(at, 1)
			f += int32(link - 1)
			last := link == len(t.free)-1
			after := int32(0)
			if last && d.extra == 1 {
				after = -1
			}
			t.link(n, link, t.free[link], after, like)
		} else {
			t.spread(n, like)
		}
		worth, lift := c.worthOfFactor(f)
		return dot(worth, t.numbers, lift)
	}
	return 1
}

// Without is the natural logarithm of the probability of the evidence without what
// was observed of one variable. Mostly it follows from the calibration; where that
// does not tell, the question is put anew. It does not tell when the variable is an
// ancestor of other evidence and was seen for certain, or when its not being found
// concerned several parents at once that are nowhere together, or excluded something
// entirely.
func (c *Calibration) Without(ctx context.Context, v Var) (float64, error) {
	if logP, ok := c.without(v); ok {
		return logP, nil
	}
	rest := make(Evidence, len(c.ev))
	for u, l := range c.ev {
		if u != v {
			rest[u] = l
		}
	}
	return c.m.LogP(ctx, rest)
}

// without is Without as far as the calibration tells.
func (c *Calibration) without(v Var) (logP float64, ok bool) {
	like := c.ev[v]
	if like == nil {
		return c.LogP, true
	}
	n, w := c.node(v), c.w
	only, count, same := 0, 0, true
	for s, l := range like {
		same = same && l == like[0]
		if l > 0 {
			only = s
			count++
		}
	}
	if same {
		return c.LogP - math.Log(like[0]), true
	}
	outside := 0.0 // what the number of times P changes leaves out
	if count == 1 {
		outside = math.Log(like[only])
	}
	factor := 0.0
	leaf := len(c.children[v]) == 0
	switch d := w.made[v]; {
	case w.local[v] >= 0:
		worth, lift := c.worthOf(v)
		for s := range n.states {
			rest := c.rest(v, s, v, false)
			factor += math.Ldexp(worth[s]*rest.f, lift+rest.e)
		}
	case !leaf:
		return 0, false
	case d.form == asNumber:
		factor = 1 / c.levels(v, n)[w.fixed[v]]
	case d.form == asTable:
		worth, lift := c.worthOfFactor(d.at)
		for _, x := range worth {
			factor += x
		}
		factor = math.Ldexp(factor, lift)
	case d.form == asDense, d.form == asChain && d.extra == 1:
		t := -1
		if free := c.free(v); d.form == asChain {
			t = free[len(free)-1] // the last table is where the likelihood is
		}
		factor = c.replaced(v, n, t, slices.Repeat([]float64{1}, n.states))
	case d.form == asHidden:
		sure := 0 // the term that is one whatever happens
		if n.kind == maxKind {
			sure = n.states - 1
		}
		h := slices.Index(c.terms(v), sure)
		if h < 0 {
			return 0, false
		}
		factor = math.Ldexp(w.worthTable(input{unaryOf, d.at})[h], w.run.liftOf[0][d.at]-w.exps[d.at])
	case d.form == asFold:
		if factor, ok = c.unfold(v, n, int(d.at)); !ok {
			return 0, false
		}
	default:
		return 0, false
	}
	if !(factor > 0) {
		return 0, false
	}
	return c.LogP - outside + math.Log(factor), true
}

// unfold is how much larger P(evidence) were without a gate that was folded into the
// unary factors of its parents, as a term of the rank form.
func (c *Calibration) unfold(v Var, n *node, term int) (float64, bool) {
	w := c.w
	terms, weights := make([]float64, n.states), make([]float64, n.states)
	n.bundle(c.levels(v, n), terms)
	n.weigh(c.likelihood(v), weights)
	constant := weights[term] * terms[term]
	var free []int
	for i, p := range n.parents {
		if w.fixed[p] < 0 {
			free = append(free, i)
		}
	}
	if len(free) == 1 {
		p := n.parents[free[0]]
		worth, lift := c.worthOf(p)
		sum := 0.0
		for s := range w.m.nodes[p].states {
			rest := c.rest(p, s, v, false)
			sum += math.Ldexp(worth[s]*rest.f, lift+rest.e)
		}
		return sum / constant, true
	}
	// A cluster with all the parents in it, if there is one, has their joint mass.
	b := c.together(n, free)
	if b < 0 {
		return 0, false
	}
	pr := w.program
	cl := pr.clusters[b]
	cluster := pr.scopes[cl.from:cl.to]
	s := &pr.steps[pr.sums[b]]
	// How each entry is divided, by the state of each variable of the cluster.
	by := make([][]float64, len(cluster))
	for _, i := range free {
		p := n.parents[i]
		at := slices.Index(cluster, w.local[p])
		for x := range w.m.nodes[p].states {
			a := n.arrive(i, term, x)
			if a == 0 {
				return 0, false
			}
			by[at] = append(by[at], 1/a)
		}
	}
	sum, magnitude := c.spreadOver(s, cluster, by)
	lift := w.run.lift[pr.sums[b]] - w.run.exp[pr.sums[b]]
	sum, magnitude = math.Ldexp(sum, lift), math.Ldexp(magnitude, lift)
	if !(sum > 0) || magnitude*(1e-15+c.Rounding) > 1e-10*sum {
		return 0, false
	}
	return sum / constant, true
}

// together finds the smallest cluster with all the parents, or -1.
func (c *Calibration) together(n *node, free []int) int {
	pr := c.w.program
	best := -1
	for b, cl := range pr.clusters {
		cluster := pr.scopes[cl.from:cl.to]
		all := true
		for _, i := range free {
			if !slices.Contains(cluster, c.w.local[n.parents[i]]) {
				all = false
				break
			}
		}
		if all && (best < 0 || len(cluster) < int(pr.clusters[best].to-pr.clusters[best].from)) {
			best = b
		}
	}
	return best
}

// spreadOver sums the joint mass of a cluster, each entry times one number for each
// variable's state, and the magnitudes of the terms.
func (c *Calibration) spreadOver(s *step, cluster []int32, by [][]float64) (sum, magnitude float64) {
	w := c.w
	pr := w.program
	a, b := w.table(s.a), w.table(s.b)
	worth := w.run.worth[s.out.from:s.out.to]
	k := walk{dims: pr.dims[s.dims.from:s.dims.to]}
	states := make([]int32, len(cluster))
	n := int(s.row)
	for at := 0; at < len(worth); at += n {
		for j := range n {
			i, l := k.a+j*int(s.rowA), k.b+j*int(s.rowB)
			if s.pattern >= 0 {
				i = k.a + int(pr.offs[int(s.pattern)+j])
				l = k.b + int(pr.offs[int(s.pattern)+n+j])
			}
			x := worth[at+j]
			for d := 1; d < len(cluster); d++ {
				if by[d] != nil {
					x *= by[d][states[d]]
				}
			}
			for own := range int(s.card) {
				y := x * a[i+own*int(s.ownA)] * b[l+own*int(s.ownB)]
				if by[0] != nil {
					y *= by[0][own]
				}
				sum += y
				magnitude += math.Abs(y)
			}
			for d := 1; d < len(cluster); d++ {
				if states[d]++; states[d] < w.card[cluster[d]] {
					break
				}
				states[d] = 0
			}
		}
		k.next()
	}
	return sum, magnitude
}
