package infer

import (
	"context"
	"math"
	"math/bits"
	"slices"
)

// Frame is a question that was worked out once, and serves others of models that differ
// from its own in some variables alone ([Model.Edit]): their order of elimination is
// that of the frame, and what comes of all that differs in nothing is taken from it. A
// frame may be used by many goroutines.
type Frame struct {
	m    *Model
	ev   Evidence
	root Var
	// w is the problem with its plan, in which the root goes last, its program and the
	// numbers of that; nil where frames are of no use.
	w *work

	into  []int32 // by cluster: the one that its message goes to, or -1
	parts [2]groups
}

// groups lists, by cluster, what goes in: its factors, or the clusters whose messages do.
type groups struct {
	first []int32
	list  []int32
}

func (g *groups) of(b int32) []int32 { return g.list[g.first[b]:g.first[b+1]] }

// group lists 0..len(to)-1 by where they go, in order; those that go to -1 are left out.
func group(to []int32, n int) groups {
	g := groups{make([]int32, n+1), make([]int32, len(to))}
	for _, b := range to {
		if b >= 0 {
			g.first[b+1]++
		}
	}
	for b := range n {
		g.first[b+1] += g.first[b]
	}
	at := slices.Clone(g.first)
	for i, b := range to {
		if b >= 0 {
			g.list[at[b]] = int32(i)
			at[b]++
		}
	}
	return g
}

// sureEnough is how little rounding may make of a frame's own result for what it serves to
// be taken without a bound of its own: questions differ from it by a few states more, and
// so by a few terms more in each sum that may cancel.
const sureEnough = 1e-10

// Frame works out the question after a variable, given the evidence.
func (m *Model) Frame(ctx context.Context, ev Evidence, root Var) (*Frame, error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := m.checkVars([]Var{root}); err != nil {
		return nil, err
	}
	f := &Frame{m: m, ev: ev, root: root}
	w := &work{m: m, apart: int32(root) + 1} // it stays
	if !w.reduce(ev, []Var{root}, m.limits, ranked) || w.local[root] < 0 {
		return f, nil
	}
	if err := w.arrange(ctx); err != nil {
		return f, ctx.Err()
	}
	if w.plan.total >= reach || w.plan.width > maxDims {
		return f, nil
	}
	w.plan.endAt(w.local[root])
	w.arranged = true
	program, ok := w.compile(m.budget / 2)
	if !ok {
		return f, nil
	}
	w.program = program
	if ok, err := w.forward(ctx); !ok || err != nil {
		return f, err
	}
	if w.signed {
		if err := w.backward(ctx, false); err != nil {
			return f, err
		}
		if w.run.rounded > sureEnough {
			return f, nil
		}
	}
	f.w = w
	f.index()
	w.release()
	return f, nil
}

// index lists what goes into each cluster.
func (f *Frame) index() {
	w := f.w
	p := &w.plan
	n := len(p.clusters)
	f.into = make([]int32, n)
	for b, c := range p.clusters {
		f.into[b] = -1
		if c.to-c.from > 1 {
			f.into[b] = p.place[p.scopes[c.from+1]]
		}
	}
	to := make([]int32, len(w.factors))
	for i, factor := range w.factors {
		to[i] = int32(n)
		for _, v := range w.scopes[factor.scope.from:factor.scope.to] {
			to[i] = min(to[i], p.place[v])
		}
	}
	f.parts = [2]groups{group(to, n), group(f.into, n)}
}

// release gives back the memory that only the making of a frame took.
func (w *work) release() {
	w.run.worth, w.run.adjoint = nil, nil
	w.plan.rim, w.plan.core = graph{}, graph{}
}

// endAt turns the plan about so that a variable goes last, with the same tables but for
// where they are summed: what an order of elimination joins is a chordal graph, and a
// search of it by most neighbours met gives an order that joins nothing more (R. E.
// Tarjan & M. Yannakakis, SIAM J. Computing 13 (1984)).
func (p *plan) endAt(last int32) {
	n := len(p.order)
	words := (n + 63) / 64
	joined := make([]uint64, n*words)
	for _, c := range p.clusters {
		v := p.scopes[c.from]
		for _, u := range p.scopes[c.from+1 : c.to] {
			joined[int(v)*words+int(u>>6)] |= 1 << (u & 63)
			joined[int(u)*words+int(v>>6)] |= 1 << (v & 63)
		}
	}
	met := make([]int32, n)
	met[last] = 1
	for i := n - 1; i >= 0; i-- {
		pick := int32(-1)
		for v, k := range met {
			// Of those that have met as many, the one that went last before.
			if k >= 0 && (pick < 0 || k > met[pick] || k == met[pick] && p.place[v] > p.place[pick]) {
				pick = int32(v)
			}
		}
		met[pick] = -1
		p.order[i] = pick
		for k, row := range joined[int(pick)*words : int(pick+1)*words] {
			for ; row != 0; row &= row - 1 {
				if u := k<<6 + bits.TrailingZeros64(row); met[u] >= 0 {
					met[u]++
				}
			}
		}
	}
	// Not all that was joined need be, in this order.
	p.take(slices.Clone(p.order))
}

// Ask returns the distribution of the frame's variable in a model made from its own by
// [Model.Edit], given its evidence, with another likelihood of that variable. It does so
// if what differs takes no more than 2^log2 numbers in all tables; fits is false, and there
// is nothing returned, if it takes more.
//
// Where the frame cannot serve, the question is asked as [Model.InferWithin] does.
func (f *Frame) Ask(ctx context.Context, q *Model, like []float64, log2 float64) (p []float64, fits bool, err error) {
	if f.w != nil {
		w := q.work()
		defer q.release(w)
		if w.vary(f, q, like) {
			total := w.touch(f)
			if total > math.Exp2(log2) {
				return nil, false, nil
			}
			if w.compileTouched(f) {
				ok, err := w.forward(ctx)
				if err != nil {
					return nil, false, err
				}
				if p := w.rootOf(f); ok && p != nil {
					return p, true, nil
				}
			}
		}
	}
	ev := Evidence{}
	for v, l := range f.ev {
		ev[v] = l
	}
	ev[f.root] = like
	post, fits, err := q.InferWithin(ctx, log2, ev, f.root)
	if !fits || err != nil {
		return nil, false, err
	}
	return post.P(f.root), true, nil
}

// vary sets up the problem of another model by what differs from the frame's. It reports
// false where it does not come to the same variables and factors, but for their sizes and
// numbers.
func (w *work) vary(f *Frame, q *Model, like []float64) bool {
	b := f.w
	n := len(f.m.nodes)
	if len(q.nodes) != n || len(like) != q.nodes[f.root].states {
		return false
	}
	w.m, w.kept, w.limits, w.keep = q, f, b.limits, true
	w.over, w.sketched, w.arranged, w.program = nil, false, false, nil
	w.scale, w.signed = b.scale, b.signed
	copyTo(&w.relevant, b.relevant)
	copyTo(&w.leaf, b.leaf)
	copyTo(&w.asked, b.asked)
	copyTo(&w.absorbed, b.absorbed)
	copyTo(&w.mass, b.mass)
	copyTo(&w.masses, b.masses)
	copyTo(&w.fixed, b.fixed)
	copyTo(&w.local, b.local)
	copyTo(&w.like, b.like)
	copyTo(&w.made, b.made)
	copyTo(&w.card, b.card)
	copyTo(&w.origin, b.origin)
	copyTo(&w.unary, b.unary)
	copyTo(&w.exps, b.exps)
	copyTo(&w.hidden, b.hidden)
	copyTo(&w.factors, b.factors)
	copyTo(&w.scopes, b.scopes)
	copyTo(&w.numbers, b.numbers)
	w.like[f.root] = like

	// What is to be set up anew: what was replaced, what has a parent with other states,
	// and the likelihoods of what has other states.
	w.anew, w.other = resize(w.anew, n), resize(w.other, n)
	clear(w.anew)
	clear(w.other)
	for _, v := range q.edited {
		w.anew[v] = true
		w.other[v] = q.nodes[v].states != f.m.nodes[v].states
	}
	w.anew[f.root], w.other[f.root] = true, true
	w.changed, w.changedFactor = resize(w.changed, len(b.card)), resize(w.changedFactor, len(b.factors))
	clear(w.changed)
	clear(w.changedFactor)
	w.renamed = w.renamed[:0]
	for v := range n {
		if !b.relevant[v] {
			continue
		}
		node := &q.nodes[v]
		for _, p := range node.parents {
			w.anew[v] = w.anew[v] || w.other[p]
		}
		if w.anew[v] && !w.again(b, Var(v)) {
			return false
		}
	}
	w.put(len(b.card), len(b.factors))
	return true
}

func copyTo[T any](to *[]T, from []T) { *to = append((*to)[:0], from...) }

// again sets up one variable anew, among what was set up in b.
func (w *work) again(b *work, v Var) bool {
	old, own := b.made[v], b.local[v]
	cards, factors := len(w.card), len(w.factors)
	if b.absorbed[v] {
		w.free, w.dist = w.free[:0], resize(w.dist, w.m.nodes[v].states)
		return w.takeIn(v, &w.m.nodes[v])
	}
	if b.fixed[v] >= 0 && w.other[v] || old.form == asRoot && !w.other[v] {
		return false
	}
	w.made[v] = made{}
	if !w.add(v, ranked) || w.over != nil || w.made[v].form != old.form || w.fixed[v] != b.fixed[v] {
		return false
	}
	// The variables and factors that it brought are to take the places of the old.
	hidden := int32(-1)
	switch old.form {
	case asHidden, asRank:
		hidden = old.at
	}
	for x := cards; x < len(w.card); x++ {
		to := hidden
		if w.origin[x] >= 0 {
			to = own
		}
		if to < 0 {
			return false
		}
		w.renamed = append(w.renamed, rename{int32(x), to, w.origin[x] >= 0 && !w.other[v]})
	}
	first := old.at
	switch old.form {
	case asHidden, asRank:
		first = old.extra
	}
	for i := factors; i < len(w.factors); i++ {
		at := first + int32(i-factors)
		if int(at) >= len(b.factors) {
			return false
		}
		w.moved = append(w.moved, rename{from: int32(i), to: at})
	}
	w.made[v] = old
	return true
}

// rename tells what takes whose place; whether its own numbers, of the variable alone, stay
// what they were.
type rename struct {
	from, to int32
	stays    bool
}

// put lets what was set up anew take the places of the old, and drops the rest.
func (w *work) put(cards, factors int) {
	for _, r := range w.renamed {
		if !r.stays {
			w.changed[r.to] = true
			w.card[r.to], w.unary[r.to], w.exps[r.to] = w.card[r.from], w.unary[r.from], w.exps[r.from]
		}
	}
	to := func(x int32) int32 {
		if int(x) < cards {
			return x
		}
		return w.renamed[int(x)-cards].to
	}
	for _, r := range w.moved {
		f := w.factors[r.from]
		scope := w.scopes[f.scope.from:f.scope.to]
		for i := range scope {
			scope[i] = to(scope[i])
		}
		was := w.factors[r.to]
		w.changedFactor[r.to] = !slices.Equal(w.numbers[f.data.from:f.data.to], w.numbers[was.data.from:was.data.to])
		w.factors[r.to] = f
	}
	for v, x := range w.local {
		if x >= 0 {
			w.local[v] = to(x)
		}
	}
	w.card, w.origin, w.unary = w.card[:cards], w.origin[:cards], w.unary[:cards]
	w.exps, w.hidden, w.factors = w.exps[:cards], w.hidden[:cards], w.factors[:factors]
	w.moved = w.moved[:0]
}

// touch marks the clusters of which something else comes than in the frame, and returns
// how many numbers their tables come to.
func (w *work) touch(f *Frame) (total float64) {
	p := &f.w.plan
	w.touched = resize(w.touched, len(p.clusters))
	for b, c := range p.clusters {
		w.touched[b] = false
		for _, v := range p.scopes[c.from:c.to] {
			if w.card[v] != f.w.card[v] {
				w.touched[b] = true
				break
			}
		}
	}
	for x, is := range w.changed {
		if is {
			w.touched[p.place[x]] = true
		}
	}
	for b := range p.clusters {
		for _, i := range f.parts[0].of(int32(b)) {
			w.touched[b] = w.touched[b] || w.changedFactor[i]
		}
		if !w.touched[b] {
			continue
		}
		if to := f.into[b]; to >= 0 {
			w.touched[to] = true
		}
		size := 1.0
		for _, v := range p.scopes[p.clusters[b].from:p.clusters[b].to] {
			size *= float64(w.card[v])
		}
		total += size
	}
	return total
}

// compileTouched makes the program of what was touched.
func (w *work) compileTouched(f *Frame) bool {
	p := &f.w.plan
	pr := &w.scratch
	*pr = program{steps: pr.steps[:0], dims: pr.dims[:0], offs: pr.offs[:0], scopes: pr.scopes[:0], clusters: pr.clusters[:0], sums: pr.sums[:0]}
	w.spot = resize(w.spot, len(w.card))
	w.sumOf = resize(w.sumOf, len(p.clusters))
	for b, is := range w.touched {
		if !is {
			continue
		}
		c := p.clusters[b]
		cluster := p.scopes[c.from:c.to]
		in := w.begun(cluster)
		for _, i := range f.parts[0].of(int32(b)) {
			in = append(in, w.draftOf(i))
		}
		for _, from := range f.parts[1].of(int32(b)) {
			q := p.clusters[from]
			scope := p.scopes[q.from+1 : q.to]
			if w.touched[from] {
				in = append(in, w.heardFrom(pr, w.sumOf[from], scope))
				continue
			}
			at := f.w.program.sums[from]
			o := f.w.program.steps[at].out
			in = append(in, draft{input: input{keptOf, at}, size: int(o.to - o.from), mask: w.maskOf(scope)})
		}
		w.drafts = in
		step, ok := w.join(pr, cluster, w.m.budget/2)
		if !ok {
			return false
		}
		w.sumOf[b] = step
		pr.steps[step].root = len(cluster) == 1
	}
	w.program = pr
	return true
}

// rootOf reads the distribution of the frame's variable off the last step: the root goes
// last. It is nil where rounding has eaten it.
func (w *work) rootOf(f *Frame) []float64 {
	s := &w.program.steps[len(w.program.steps)-1]
	a, b := w.table(s.a), w.table(s.b)
	p := make([]float64, s.card)
	sum := 0.0
	for k := range p {
		p[k] = a[k*int(s.ownA)] * b[k*int(s.ownB)]
		sum += p[k]
	}
	for k := range p {
		p[k] /= sum
		if !(p[k] > -precise) {
			return nil
		}
		p[k] = max(p[k], 0)
	}
	return p
}
