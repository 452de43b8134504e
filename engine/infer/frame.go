package infer

import (
	"context"
	"errors"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// Frame is a question that was worked out once, and serves others that differ from it in
// little: in some of the evidence, or of models that differ in some variables alone
// ([Model.Edit]). Their order of elimination is that of the frame, and what comes of all
// that differs in nothing is taken from it. A frame may be used by many goroutines.
//
// Rounding is bounded for the frame's own question alone, by the model's precision
// ([Builder.Precision]). Others differ from it by a few states or findings, and so by a few
// terms in the sums that may cancel; that bound is usually a hundred times what rounding
// really does. What a frame tells is meant to be right to ten times the precision.
type Frame struct {
	m    *Model
	ev   Evidence
	vars []Var // observed
	root Var   // which is asked for alone; or -1
	// w is the problem with its plan, in which the root goes last; nil where frames are of
	// no use. Its program and the numbers of that are made when they are first needed.
	w      *work
	mutex  sync.Mutex
	worked bool // they have been made
	serves bool // and are of use
	logP   float64

	into  []int32 // by cluster: the one that its message goes to, or -1
	exps  []int   // by cluster: by how many powers of two its products were scaled
	parts [2]groups
	folds groups // by variable: those not found that became part of its own factor
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

// Frame readies the question after some variables, given the evidence, which must not be
// changed afterwards. It is worked out when another is asked. Where it takes more than 2^log2
// numbers in all tables it serves none.
func (m *Model) Frame(ctx context.Context, log2 float64, ev Evidence, query ...Var) (*Frame, error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := m.checkVars(query); err != nil {
		return nil, err
	}
	f := &Frame{m: m, ev: ev, vars: ev.vars(), root: -1}
	if len(query) == 1 {
		f.root = query[0]
	}
	w := &work{m: m, apart: int32(f.root) + 1} // it stays
	if !w.reduce(ev, query, m.limits, ranked) || f.root >= 0 && w.local[f.root] < 0 {
		return f, nil
	}
	if !math.IsInf(log2, 1) && m.guide == nil {
		if _, fits := w.fits(ctx, math.Exp2(log2)); !fits {
			return f, ctx.Err()
		}
	}
	if !w.arranged { // fits may have known the structure
		if err := w.arrange(ctx); err != nil {
			return f, ctx.Err()
		}
	}
	if w.plan.total > min(reach, math.Exp2(log2)) || w.plan.width > maxDims {
		return f, nil
	}
	if f.root >= 0 {
		// The last message then tells of the one asked for, with no sweep backward.
		w.plan.endAt(w.local[f.root])
	}
	f.w = w
	f.index()
	return f, nil
}

// ready works the frame's own question out, and tells whether it can serve others.
func (f *Frame) ready(ctx context.Context) (bool, error) {
	if f.w == nil {
		return false, nil
	}
	f.mutex.Lock()
	defer f.mutex.Unlock()
	if f.worked {
		return f.serves, nil
	}
	w := f.w
	program, ok := w.compile(f.m.budget / 2)
	if ok {
		w.program = program
		var err error
		if ok, err = w.forward(ctx); err != nil {
			return false, err
		}
	}
	if ok && w.signed {
		if err := w.backward(ctx, false); err != nil {
			return false, err
		}
		ok = w.run.rounded <= f.m.precise // else there are forms that lose less, and are larger
	}
	if ok {
		f.logP = w.run.total.ln()
		f.exps = make([]int, len(w.plan.clusters))
		step := int32(0)
		for b := range f.exps {
			for ; step <= program.sums[b]; step++ {
				f.exps[b] += w.run.exp[step]
			}
		}
	}
	w.trim()
	f.worked, f.serves = true, ok
	return ok, nil
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
	var child, parent []int32
	for v := range f.m.nodes {
		if w.made[v].form == asFold {
			for _, p := range f.m.nodes[v].parents {
				child, parent = append(child, int32(v)), append(parent, int32(p))
			}
		}
	}
	f.folds = group(parent, len(f.m.nodes))
	for i, k := range f.folds.list {
		f.folds.list[i] = child[k]
	}
}

// trim gives back the memory that only the making of a frame took.
func (w *work) trim() {
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
	p.adopt(slices.Clone(p.order))
}

// Infer is [Model.Infer] of variables that the frame was asked for, given evidence that
// differs in some variables from its own: where something was observed, that may be left
// out; and where nothing was, anything.
func (f *Frame) Infer(ctx context.Context, ev Evidence, query ...Var) (*Posterior, error) {
	if err := f.m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := f.m.checkVars(query); err != nil {
		return nil, err
	}
	post, err := f.infer(ctx, ev, query)
	if post == nil && err == nil {
		return f.m.Infer(ctx, ev, query...)
	}
	return post, err
}

// LogChance is [Model.LogChance] given evidence that differs in some variables from the
// frame's, as with [Frame.Infer]. Of what is very unlikely beside the frame's own evidence
// it tells fewer digits than that does.
func (f *Frame) LogChance(ctx context.Context, ev Evidence) (float64, error) {
	if err := f.m.checkEvidence(ev); err != nil {
		return 0, err
	}
	post, err := f.infer(ctx, ev, nil)
	if err != nil {
		return 0, err
	}
	if post == nil {
		return f.m.LogChance(ctx, ev)
	}
	return post.LogP, nil
}

// infer is Infer as far as the frame serves; else there is nothing returned.
func (f *Frame) infer(ctx context.Context, ev Evidence, query []Var) (*Posterior, error) {
	if ok, err := f.ready(ctx); !ok || err != nil {
		return nil, err
	}
	w := f.m.work()
	defer f.m.release(w)
	if !w.revise(f, ev) {
		return nil, nil
	}
	w.touch(f)
	if !w.reach(f, query) || !w.compileTouched(f) {
		return nil, nil
	}
	ok, err := w.forward(ctx)
	if !ok || err != nil {
		return nil, err
	}
	if len(query) > 0 {
		if err := w.backward(ctx, false); err != nil {
			return nil, err
		}
	}
	// What was touched made its part of the frame's own probability; now it is another.
	post := &Posterior{probs: make([][]float64, f.m.Len())}
	w.read(query, post)
	post.Rounding = f.w.run.rounded
	post.LogP = f.logP + w.run.total.ln()
	for b, is := range w.touched {
		if !is {
			continue
		}
		post.LogP -= math.Ln2 * float64(f.exps[b])
		if s := &f.w.program.steps[f.w.program.sums[b]]; s.root {
			post.LogP -= math.Log(f.w.run.values[s.out.from])
		}
	}
	if len(query) > 0 && f.w.signed && post.LogP < f.logP+math.Log(unlikely) {
		return nil, nil
	}
	return post, nil
}

// unlikely is beside the evidence of a frame what it does not tell posteriors of: rounding
// is as large as there, and so larger beside what it is of.
const unlikely = 1e-4

// revise sets up the problem of other evidence by what differs from the frame's. It reports
// false where that takes other variables or factors.
func (w *work) revise(f *Frame, ev Evidence) bool {
	w.takeOver(f, f.m)
	w.scale = one
	n := len(f.m.nodes)
	w.anew, w.other, w.gone = resize(w.anew, n), resize(w.other, n), resize(w.gone, n)
	clear(w.anew)
	clear(w.other)
	clear(w.gone)
	w.redo = w.redo[:0]
	if !w.differ(f, ev, -1) || slices.Contains(w.anew, true) {
		return false // what was summed out before hangs on it
	}
	return w.redone(f)
}

// drop takes an observation away.
func (w *work) drop(f *Frame, v Var, like []float64) bool {
	b, n := f.w, &f.m.nodes[v]
	if b.fixed[v] < 0 && b.like[v] == nil {
		return w.scale.mul(1 / like[0]) // it said nothing
	}
	w.like[v] = nil
	if b.local[v] >= 0 { // the variable stays, and what its parents make of it
		w.redo = append(w.redo, v)
		return true
	}
	if s := b.fixed[v]; !b.leaf[v] || s >= 0 && !w.scale.mul(1/like[s]) {
		return false
	}
	w.gone[v] = true
	void := func(factor int32) {
		w.void[factor], w.changedFactor[factor] = true, true
		w.scale.e -= w.factors[factor].exp
	}
	w.free = w.free[:0]
	for i, p := range n.parents {
		if b.fixed[p] < 0 && !b.absorbed[p] {
			w.free = append(w.free, i)
		}
	}
	w.dist = resize(w.dist, n.states)
	switch d := b.made[v]; d.form {
	case asNumber:
		w.distribute(n)
		return w.scale.mul(1 / w.dist[b.fixed[v]])
	case asTable, asDense:
		void(d.at)
	case asHidden:
		for i := range w.free {
			void(d.extra + int32(i))
		}
		w.scale.e -= w.exps[d.at]
		w.exps[d.at], w.changed[d.at] = 0, true
		u := w.numbers[w.unary[d.at]:][:w.card[d.at]]
		clear(u)
		u[0] = 1
	case asFold:
		w.hearKnown(n)
		w.terms, w.grown = resize(w.terms, n.states), resize(w.grown, n.states)
		n.bundle(w.dist, w.terms)
		if b.fixed[v] >= 0 {
			like = Hard(int(b.fixed[v]), n.states)
		}
		n.weigh(like, w.grown)
		for _, i := range w.free {
			w.redo = append(w.redo, n.parents[i])
		}
		return w.scale.mul(1 / (w.grown[d.at] * w.terms[d.at]))
	default:
		return false
	}
	return true
}

// ownAgain makes the own factor of a variable anew, of its distribution if it is a root, of
// its likelihood, and of what was not found and was not dropped.
func (w *work) ownAgain(f *Frame, v Var) bool {
	x, n := w.local[v], &w.m.nodes[v]
	if f.w.fixed[v] >= 0 || f.w.absorbed[v] {
		return true // it has none, or what it has was made anew
	}
	if x < 0 {
		return false
	}
	u := w.unaryOf(v)
	for s := range u {
		u[s] = 1
	}
	if f.w.made[v].form == asRoot {
		w.dist = resize(w.dist, n.states)
		w.distribute(n)
		copy(u, w.dist)
	}
	for s, l := range w.like[v] {
		u[s] *= l
	}
	w.scale.e -= w.exps[x]
	w.exps[x], w.changed[x] = 0, true
	for _, c := range f.folds.of(int32(v)) {
		if w.gone[c] {
			continue
		}
		child := &w.m.nodes[c]
		i := slices.Index(child.parents, v)
		for s := range u {
			u[s] *= child.arrive(i, int(f.w.made[c].at), s)
		}
		if slices.Max(u) < tiny && !w.level(x) {
			return false
		}
	}
	return w.level(x)
}

// reach marks all clusters between those of a query and their roots, too.
func (w *work) reach(f *Frame, query []Var) bool {
	clear(w.asked)
	for _, v := range query {
		x := w.local[v]
		switch {
		case f.w.fixed[v] >= 0 && !w.gone[v]:
			continue
		case x < 0:
			return false
		}
		w.asked[v] = true
		for b := f.w.plan.place[x]; b >= 0; b = f.into[b] {
			w.touched[b] = true
		}
	}
	return true
}

// Ask returns the distribution of the one variable that the frame was asked for, in a model
// made from its own by [Model.Edit], given evidence that differs from its own as with
// [Frame.Infer], or on that variable. It does so if what differs takes no more than 2^log2
// numbers in all tables; fits is false, and there is nothing returned, if it takes more.
//
// Where the frame cannot serve, the question is asked as [Model.InferWithin] does.
func (f *Frame) Ask(ctx context.Context, q *Model, ev Evidence, log2 float64) (p []float64, fits bool, err error) {
	if err := q.checkEvidence(ev); err != nil {
		return nil, false, err
	}
	if f.root < 0 {
		return nil, false, errors.New("a frame of several variables is asked for one")
	}
	ok, err := f.ready(ctx)
	if err != nil {
		return nil, false, err
	}
	if ok {
		w := q.work()
		defer q.release(w)
		if w.vary(f, q, ev) {
			if total := w.touch(f); total > math.Exp2(log2) {
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
	post, fits, err := q.InferWithin(ctx, log2, ev, f.root)
	if !fits || err != nil {
		return nil, false, err
	}
	return post.P(f.root), true, nil
}

// Within tells whether a question to a model that was made from the frame's by giving some
// variables other numbers of states takes no more than 2^log2 numbers in all tables that
// differ. Of a variable that keeps its states nothing or 0 is told.
func (f *Frame) Within(log2 float64, states []int) bool {
	if f.w == nil {
		return true // as far as is known here
	}
	w := f.w
	card := slices.Clone(w.card)
	for v, k := range states {
		if k == 0 || k == f.m.nodes[v].states {
			continue
		}
		if x := w.local[v]; x >= 0 {
			card[x] = int32(k)
		}
		if d := w.made[v]; d.form == asRank {
			card[d.at] = int32(k)
		}
	}
	p := &w.plan
	total := 0.0
	touched := make([]bool, len(p.clusters))
	for b, c := range p.clusters {
		size := 1.0
		for _, x := range p.scopes[c.from:c.to] {
			size *= float64(card[x])
			touched[b] = touched[b] || card[x] != w.card[x]
		}
		if touched[b] {
			total += size
			if to := f.into[b]; to >= 0 {
				touched[to] = true
			}
		}
	}
	return total <= math.Exp2(log2)
}

// vary sets up the problem of another model, and of other evidence, by what differs from
// the frame's. It reports false where it does not come to the same variables and factors,
// but for their sizes and numbers. Numbers that all tables have in common do not count.
func (w *work) vary(f *Frame, q *Model, ev Evidence) bool {
	b := f.w
	n := len(f.m.nodes)
	if q != f.m && q.from != f.m || len(q.nodes) != n {
		return false
	}
	w.takeOver(f, q)
	w.scale = b.scale
	// What is to be set up anew: what was replaced, what has a parent with other states,
	// and the likelihoods of what has other states.
	w.anew, w.other, w.gone = resize(w.anew, n), resize(w.other, n), resize(w.gone, n)
	clear(w.anew)
	clear(w.other)
	clear(w.gone)
	w.redo = w.redo[:0]
	for _, v := range q.edited {
		if is, was := &q.nodes[v], &f.m.nodes[v]; is.kind != was.kind || !slices.Equal(is.parents, was.parents) {
			return false
		}
		w.anew[v] = true
		w.other[v] = q.nodes[v].states != f.m.nodes[v].states
	}
	w.anew[f.root], w.other[f.root] = true, true
	if !w.differ(f, ev, f.root) {
		return false
	}
	for _, v := range q.edited {
		// What was not found is in its parents' own factors.
		is, was := &q.nodes[v], &f.m.nodes[v]
		for i, p := range is.parents {
			if b.made[v].form == asFold && is.kind == maxKind && (is.pass[i] != was.pass[i] || !slices.Equal(is.levelsOf(i), was.levelsOf(i))) {
				w.redo = append(w.redo, p)
			}
		}
	}
	w.renamed, w.moved = w.renamed[:0], w.moved[:0]
	for v := range n {
		if !b.relevant[v] || w.gone[v] {
			continue
		}
		node := &q.nodes[v]
		for _, p := range node.parents {
			w.anew[v] = w.anew[v] || w.other[p] || w.anew[p] && b.absorbed[p]
		}
		if w.anew[v] && !w.again(b, Var(v)) {
			return false
		}
	}
	w.replace(len(b.card), len(b.factors))
	return w.redone(f)
}

// differ takes in by what the evidence is another than the frame's. Of a root, if one is
// named, it takes what is said as it is: that is set up anew.
func (w *work) differ(f *Frame, ev Evidence, root Var) bool {
	for _, v := range f.vars {
		old, like := f.ev[v], ev[v]
		switch {
		case v == root || like != nil && slices.Equal(old, like):
		case like != nil || !w.drop(f, v, old):
			return false
		}
	}
	for v, like := range ev {
		switch {
		case v == root:
			w.like[v] = like
		case f.ev[v] != nil:
		case f.w.fixed[v] >= 0 || f.w.local[v] < 0 && !f.w.absorbed[v]:
			return false
		default:
			w.like[v] = like
			if w.anew[v] = w.anew[v] || f.w.absorbed[v]; !f.w.absorbed[v] {
				w.redo = append(w.redo, v)
			}
		}
	}
	return true
}

// redone makes the own factors anew that something else than other states calls for.
func (w *work) redone(f *Frame) bool {
	slices.Sort(w.redo)
	for _, v := range slices.Compact(w.redo) {
		if !w.other[v] && !w.ownAgain(f, v) {
			return false
		}
	}
	return true
}

// takeOver takes over the frame's problem, for a model of as many variables.
func (w *work) takeOver(f *Frame, q *Model) {
	b := f.w
	w.m, w.kept, w.limits, w.keep = q, f, b.limits, true
	w.over, w.sketched, w.arranged, w.program = nil, false, false, nil
	w.signed = b.signed
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
	w.changed, w.changedFactor, w.void = resize(w.changed, len(b.card)), resize(w.changedFactor, len(b.factors)), resize(w.void, len(b.factors))
	clear(w.changed)
	clear(w.changedFactor)
	clear(w.void)
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

// replace lets what was set up anew take the places of the old, and drops the rest.
func (w *work) replace(cards, factors int) {
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

// compileTouched makes the program of what was touched; or takes the last one, where that was
// of the same: what acted is asked after by the same tables as what is to blame, and one look
// touches much the same as another.
func (w *work) compileTouched(f *Frame) bool {
	p := &f.w.plan
	pr := &w.scratch
	if w.madeFor == f && !slices.Contains(w.void, true) && slices.Equal(w.madeOf, w.touched) && slices.Equal(w.madeWith, w.card) {
		w.program = pr
		return true
	}
	w.madeFor = nil
	*pr = program{steps: pr.steps[:0], dims: pr.dims[:0], offs: pr.offs[:0], scopes: pr.scopes[:0], clusters: pr.clusters[:0], sums: pr.sums[:0]}
	w.spot = resize(w.spot, len(w.card))
	w.sums = resize(w.sums, len(p.clusters))
	for b, is := range w.touched {
		if !is {
			continue
		}
		c := p.clusters[b]
		cluster := p.scopes[c.from:c.to]
		in := w.begun(cluster)
		for _, i := range f.parts[0].of(int32(b)) {
			if !w.void[i] {
				in = append(in, w.draftOf(i))
			}
		}
		for _, from := range f.parts[1].of(int32(b)) {
			q := p.clusters[from]
			scope := p.scopes[q.from:q.to]
			if w.touched[from] {
				// What was dropped may leave it over fewer variables than in the frame.
				mask := uint32(0)
				for over := w.sums[from].mask &^ 1; over != 0; over &= over - 1 {
					mask |= 1 << w.spot[scope[bits.TrailingZeros32(over)]]
				}
				in = append(in, heardFrom(pr, w.sums[from].at, mask))
				continue
			}
			at := f.w.program.sums[from]
			o := f.w.program.steps[at].out
			in = append(in, draft{input: input{keptOf, at}, size: int(o.to - o.from), mask: w.maskOf(scope[1:])})
		}
		w.drafts = in
		sum, ok := w.join(pr, cluster, w.m.budget/2)
		if !ok {
			return false
		}
		w.sums[b] = sum
		pr.steps[sum.at].root = len(cluster) == 1
	}
	w.program = pr
	if !slices.Contains(w.void, true) {
		w.madeFor = f
		copyTo(&w.madeOf, w.touched)
		copyTo(&w.madeWith, w.card)
	}
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
