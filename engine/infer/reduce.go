package infer

import (
	"math"
)

// encoding tells how gates that are too large for a table are written.
type encoding uint8

const (
	ranked  encoding = iota // one hidden variable, signed numbers: compact
	chained                 // one helper variable a parent, no negative numbers: nothing cancels
)

// limits are the sizes up to which a gate becomes one table, with no helper
// variable and nothing signed, and a query is answered in one piece.
type limits struct {
	parents  int // of a gate whose own state is a variable
	observed int // of a gate whose own state is summed out
	entries  int
	divide   float64 // the total size from which a query may be divided
}

// Small tables and many signed helpers entangle least and are the fastest; larger
// tables cancel less.
var (
	usual    = limits{parents: 2, observed: 3, entries: 1 << 10, divide: 1 << 14}
	middling = limits{parents: 3, observed: 4, entries: 1 << 10, divide: 1 << 14}
	careful  = limits{parents: 4, observed: 8, entries: 1 << 10, divide: 1 << 14}
)

// A factor is a table over some of the problem's variables, scope[0] slowest.
type factor struct {
	scope  span // in work.scopes
	data   span // in work.numbers
	exp    int  // the true numbers are 2^exp as large
	signed bool
}

// span is a part of one of the work's slices. Offsets, unlike slices, survive
// the growth of what they point into.
type span struct{ from, to int32 }

// work is the scratch memory of one run, and the problem being solved in it: the
// model with the evidence put in. What does not matter to the question is left
// out, what is known for certain is sliced out, and what was not found has become
// part of its parents' unary factors.
type work struct {
	m *Model

	// by model variable
	relevant []bool  // has a say in the answer
	leaf     []bool  // no relevant child
	asked    []bool  // its posterior is wanted
	absorbed []bool  // summed out into the only variable that hangs on it
	mass     []span  // of what is absorbed: its distribution, in masses
	kids     []int32 // relevant children
	masses   []float64
	borne    []bool  // the evidence bears on it
	fixed    []int32 // the known state, or -1
	local    []int32 // the problem's variable, or -1
	like     [][]float64
	made     []made

	limits limits
	keep   bool  // states that cannot be are kept, for what they would be worth
	whole  bool  // nothing is absorbed: what came of each variable is wanted
	apart  int32 // a variable that stays one though its state is known, plus one; or 0
	unfold bool  // what was not found is told apart from the rest of its parents

	// by problem variable
	card    []int32
	origin  []Var // -1 for helpers
	unary   []int32
	exps    []int  // the true numbers of the unary factor are 2^exp as large
	hidden  []bool // the unary factor has signed numbers
	factors []factor
	scopes  []int32
	numbers []float64
	scale   scaled // constant factors
	signed  bool
	dist    []float64
	terms   []float64
	weights []float64
	grown   []float64
	heard   []float64
	mixed   []float64
	free    []int // indices of unfixed parents
	over    *TooLarge

	solved   int // how many problems
	plan     plan
	at       []int32 // scratch of guided
	followed []int32
	sketched bool // the plan has the first order of the problem
	arranged bool // the plan is that of the problem
	key      []int32
	hash     uint64
	program  *program
	run      run

	// of a question that a frame serves
	kept          *Frame
	anew, other   []bool   // by model variable: is set up anew; has other states
	gone          []bool   // by model variable: what was observed of it is not any more
	renamed       []rename // variables that take the place of others
	moved         []rename // factors that do
	changed       []bool   // by problem variable: its own numbers are others
	changedFactor []bool
	void          []bool  // by factor: is none any more
	redo          []Var   // whose own factors are to be made anew
	touched       []bool  // by cluster: something else comes of it
	sums          []draft // by cluster: what comes of summing over its own variable
	madeFor       *Frame  // what the program in scratch was last made for, if for a frame
	madeOf        []bool  // what was touched then
	madeWith      []int32 // and how many states there were

	// scratch of compile
	head, next         []int32
	headStep, nextStep []int32
	messages           []message
	spot               []int32
	drafts             []draft
	walked             []dim
	sweep              sweep
	pattern            []int32
	scratch            program
}

// made tells what became of a variable's own factor.
type made struct {
	form  form
	at    int32 // the problem variable, or the first factor
	extra int32
}

type form uint8

const (
	nothing  form = iota // it has no say
	asRoot               // unary factor of problem variable at
	asNumber             // its probability, all parents and its state being known
	asTable              // factor at
	asFold               // term at of the rank form, on its parents' unary factors
	asDense              // factor at, its own state summed out
	asHidden             // hidden variable at, one factor a parent from extra on; its own state summed out
	asGate               // factor at
	asRank               // hidden variable at, one factor a parent from extra on, and the signs
	asChain              // factors from at on; extra is 1 where its own state was summed out
)

func (m *Model) work() *work {
	w := m.shared.get()
	if w == nil {
		w = &work{}
	}
	w.m = m
	return w
}

func (m *Model) release(w *work) {
	clear(w.like) // hold on to nothing of the caller's
	w.program, w.keep, w.whole, w.unfold, w.m, w.kept = nil, false, false, false, nil, nil
	m.shared.put(w)
}

// resize returns s with length n and unspecified contents.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		if n > 1<<16 {
			return make([]T, n) // large ones count
		}
		return make([]T, n, n+n/2)
	}
	return s[:n]
}

// reduce sets up the problem. It reports false when the evidence is already seen
// to be impossible, or the tables would be beyond the budget; then over is set.
func (w *work) reduce(ev Evidence, query []Var, lim limits, enc encoding) bool {
	w.limits = lim
	w.over, w.sketched, w.arranged, w.program = nil, false, false, nil
	n := len(w.m.nodes)
	w.relevant = resize(w.relevant, n)
	w.leaf = resize(w.leaf, n)
	w.asked = resize(w.asked, n)
	w.fixed = resize(w.fixed, n)
	w.local = resize(w.local, n)
	w.like = resize(w.like, n)
	w.made = resize(w.made, n)
	clear(w.made)
	for v := range n {
		w.relevant[v], w.leaf[v], w.asked[v] = false, true, false
		w.fixed[v], w.local[v], w.like[v] = -1, -1, nil
	}
	w.card, w.origin, w.unary = w.card[:0], w.origin[:0], w.unary[:0]
	w.exps, w.hidden = w.exps[:0], w.hidden[:0]
	w.factors, w.scopes, w.numbers = w.factors[:0], w.scopes[:0], w.numbers[:0]
	w.scale = one
	w.signed = false

	for _, v := range query {
		w.relevant[v], w.asked[v] = true, true
	}
	for _, v := range ev.vars() {
		if !w.observe(v, ev[v]) {
			return false
		}
	}
	for v := n - 1; v >= 0; v-- {
		if !w.relevant[v] {
			continue
		}
		for _, p := range w.m.nodes[v].parents {
			w.relevant[p], w.leaf[p] = true, false
		}
	}
	w.absorb()
	for v := range n {
		if w.relevant[v] && (!w.add(Var(v), enc) || w.over != nil) {
			return false
		}
	}
	return true
}

// likelihood is what was observed of a variable, or nil. It is to be used before the next
// is asked for.
func (w *work) likelihood(v Var, n *node) []float64 {
	s := w.fixed[v]
	if s < 0 {
		return w.like[v]
	}
	w.weights = resize(w.weights, n.states)
	clear(w.weights)
	w.weights[s] = 1
	return w.weights
}

// heard is up to how many pairs of a state of its own and one of a parent's a gate hears a
// distribution.
const heard = 1 << 14

// absorb marks what hangs on the rest by one gate alone, with all that leads to it: that
// gate hears its distribution as it would hear a state.
func (w *work) absorb() {
	n := len(w.m.nodes)
	w.absorbed, w.mass, w.kids = resize(w.absorbed, n), resize(w.mass, n), resize(w.kids, n)
	w.masses = w.masses[:0]
	clear(w.absorbed)
	if w.whole {
		return
	}
	clear(w.kids)
	for v := range n {
		if !w.relevant[v] {
			continue
		}
		for _, p := range w.m.nodes[v].parents {
			w.kids[p]++
			if w.m.nodes[v].kind == tableKind || w.m.nodes[v].states*w.m.nodes[p].states > heard {
				w.kids[p]++ // a table does not hear, nor does what would take long over it
			}
		}
	}
	for v := range n {
		if !w.relevant[v] || w.asked[v] || w.fixed[v] >= 0 || w.kids[v] != 1 {
			continue
		}
		node := &w.m.nodes[v]
		w.absorbed[v] = true
		for _, p := range node.parents {
			if w.fixed[p] < 0 && (node.kind == tableKind || !w.absorbed[p]) {
				w.absorbed[v] = false
				break
			}
		}
	}
}

// takeIn works out the distribution of what is absorbed. It reports false when nothing is
// left of it.
func (w *work) takeIn(v Var, n *node) bool {
	w.distribute(n)
	sum := 0.0
	for s := range w.dist {
		if like := w.like[v]; like != nil {
			w.dist[s] *= like[s]
		}
		sum += w.dist[s]
	}
	from := int32(len(w.masses))
	for _, x := range w.dist {
		w.masses = append(w.masses, x/sum)
	}
	w.mass[v] = span{from, int32(len(w.masses))}
	return sum > 0 && w.scale.mul(sum)
}

// distribute writes to dist the distribution of a variable of whose parents all are known
// or absorbed.
func (w *work) distribute(n *node) {
	if n.kind != tableKind {
		w.hearKnown(n)
		return
	}
	row := 0
	for _, p := range n.parents {
		row = row*w.m.nodes[p].states + int(w.fixed[p])
	}
	copy(w.dist, n.cpt[row*n.states:])
}

// observe takes in the likelihood of one variable.
func (w *work) observe(v Var, like []float64) bool {
	n := &w.m.nodes[v]
	only, same := -1, true
	for s, l := range like {
		if l > 0 {
			if only >= 0 {
				only = -2 // more than one
			} else if only == -1 {
				only = s
			}
		}
		same = same && l == like[0]
	}
	switch {
	case only == -1:
		return false
	case same && n.states > 1:
		w.scale.mul(like[0]) // says nothing about the state
		return true
	case only >= 0 && int32(v)+1 != w.apart:
		w.fixed[v] = int32(only)
		w.scale.mul(like[only])
	default:
		w.like[v] = like
	}
	w.relevant[v] = true
	return true
}

// add brings a variable and its own factor into the problem. Its parents are in
// already.
func (w *work) add(v Var, enc encoding) bool {
	n := &w.m.nodes[v]
	w.free = w.free[:0]
	for i, p := range n.parents {
		if w.fixed[p] < 0 && !w.absorbed[p] {
			w.free = append(w.free, i)
		}
	}
	w.dist = resize(w.dist, n.states)
	if w.absorbed[v] {
		return w.takeIn(v, n)
	}
	if len(w.free) == 0 {
		return w.addRoot(v, n)
	}
	if n.states == 1 && w.fixed[v] < 0 {
		w.fixed[v] = 0
	}
	if n.states == 1 {
		return true // its one state is no news to the parents
	}
	if n.kind == tableKind {
		w.addTable(v, n)
		return true
	}
	// The likelihood of a gate that nothing else depends on is put into its table.
	like := w.likelihood(v, n)
	folded := w.fixed[v] >= 0 || like != nil && w.leaf[v] && !w.asked[v]
	w.hearKnown(n)
	if folded {
		return w.addObservedGate(v, n, like, enc)
	}
	w.addGate(v, n, enc)
	return true
}

// hearKnown writes to dist the levels of a gate after all parents that are known or
// absorbed.
func (w *work) hearKnown(n *node) {
	n.start(w.dist)
	for i, p := range n.parents {
		switch s := w.fixed[p]; {
		case s >= 0:
			n.hear(i, int(s), w.dist)
		case w.absorbed[p]:
			// Hearing is linear in the state of the parent.
			w.heard, w.mixed = resize(w.heard, n.states), resize(w.mixed, n.states)
			clear(w.mixed)
			for s, x := range w.masses[w.mass[p].from:w.mass[p].to] {
				if x == 0 {
					continue
				}
				copy(w.heard, w.dist)
				n.hear(i, s, w.heard)
				axpy(w.mixed, w.heard, x)
			}
			copy(w.dist, w.mixed)
		}
	}
}

// variable makes a problem variable.
func (w *work) variable(origin Var, card int) int32 {
	u := int32(len(w.numbers))
	for range card {
		w.numbers = append(w.numbers, 1)
	}
	w.card = append(w.card, int32(card))
	w.origin = append(w.origin, origin)
	w.unary = append(w.unary, u)
	w.exps = append(w.exps, 0)
	w.hidden = append(w.hidden, false)
	return int32(len(w.card) - 1)
}

// own makes the problem variable of a model variable, with its likelihood.
func (w *work) own(v Var) int32 {
	x := w.variable(v, w.m.nodes[v].states)
	w.local[v] = x
	if like := w.like[v]; like != nil {
		u := w.unary[x]
		copy(w.numbers[u:], like)
		w.level(x)
	}
	return x
}

// level brings the unary factor of a problem variable near one. It reports false
// when it is all zeros.
func (w *work) level(x int32) bool {
	u := w.unary[x]
	e, ok := rescale(w.numbers[u : u+w.card[x]])
	w.exps[x] += e
	w.scale.e += e
	return ok
}

// room tells whether a table of so many entries is still within the budget.
func (w *work) room(scope int, entries float64) bool {
	if total := float64(len(w.numbers)) + entries; total > float64(w.m.budget) {
		w.over = &TooLarge{Cost{Width: scope, Log2: math.Log2(total)}}
		return false
	}
	return true
}

// begin and finish bracket the making of a factor: between them the scope and the
// numbers are appended. They are probabilities, or else loose.
func (w *work) begin() factor {
	s, d := int32(len(w.scopes)), int32(len(w.numbers))
	return factor{scope: span{s, s}, data: span{d, d}}
}

func (w *work) finish(f factor, loose bool) {
	f.scope.to, f.data.to = int32(len(w.scopes)), int32(len(w.numbers))
	data := w.numbers[f.data.from:f.data.to]
	if loose || len(data) == 0 || !sizeable(data) {
		f.exp, _ = rescale(data)
		w.scale.e += f.exp
	}
	w.factors = append(w.factors, f)
}

// addRoot adds a variable whose parents, if any, are all known or absorbed.
func (w *work) addRoot(v Var, n *node) bool {
	w.distribute(n)
	if s := w.fixed[v]; s >= 0 {
		w.made[v] = made{form: asNumber}
		return w.scale.mul(w.dist[s])
	}
	if like := w.like[v]; like != nil {
		for s := range w.dist {
			w.dist[s] *= like[s]
		}
	}
	only := -1
	for s, p := range w.dist {
		if p > 0 {
			if only >= 0 {
				only = -2
				break
			}
			only = s
		}
	}
	switch {
	case only == -1:
		return false
	case only >= 0 && !w.keep: // as good as observed
		w.fixed[v] = int32(only)
		return w.scale.mul(w.dist[only])
	}
	if !w.room(1, float64(n.states)) {
		return false
	}
	x := w.variable(v, n.states)
	w.local[v] = x
	w.made[v] = made{form: asRoot, at: x}
	copy(w.numbers[w.unary[x]:], w.dist)
	return w.level(x)
}

// addTable slices what is known out of a table.
func (w *work) addTable(v Var, n *node) {
	if !w.room(len(w.free)+1, float64(len(n.cpt))) {
		return
	}
	own := int32(-1)
	if w.fixed[v] < 0 {
		own = w.own(v)
	}
	f := w.begin()
	for _, i := range w.free {
		w.scopes = append(w.scopes, w.local[n.parents[i]])
	}
	if own >= 0 {
		w.scopes = append(w.scopes, own)
	}
	w.slice(v, n, 0, 0)
	w.made[v] = made{form: asTable, at: int32(len(w.factors))}
	w.finish(f, false)
}

// slice appends the entries that agree with what is known, from parent i on.
func (w *work) slice(v Var, n *node, i, row int) {
	if i == len(n.parents) {
		row *= n.states
		if s := w.fixed[v]; s >= 0 {
			w.numbers = append(w.numbers, n.cpt[row+int(s)])
		} else {
			w.numbers = append(w.numbers, n.cpt[row:row+n.states]...)
		}
		return
	}
	p := n.parents[i]
	k := w.m.nodes[p].states
	if s := w.fixed[p]; s >= 0 {
		w.slice(v, n, i+1, row*k+int(s))
		return
	}
	for s := range k {
		w.slice(v, n, i+1, row*k+s)
	}
}

// small tells whether the table of a gate over its free parents, each row times
// this wide, is within limits.
func (w *work) small(n *node, parents, width int) bool {
	if len(w.free) > parents {
		return false
	}
	for _, i := range w.free {
		width *= w.m.nodes[n.parents[i]].states
	}
	return width <= w.limits.entries
}

// unfolded is up to how many parents what was not found has a table of its own, where
// it is to be told apart.
const unfolded = 6

// addObservedGate adds a gate whose own state is summed out against a likelihood.
func (w *work) addObservedGate(v Var, n *node, like []float64, enc encoding) bool {
	w.terms = resize(w.terms, n.states)
	n.bundle(w.dist, w.terms)
	weights := resize(w.grown, n.states)
	w.grown = weights
	n.weigh(like, weights)
	e, _ := rescale(weights)
	count, last := 0, 0
	for h, x := range weights {
		if x != 0 {
			count++
			last = h
		}
	}
	apart := count == 1 && w.unfold && len(w.free) > 1 && w.small(n, unfolded, 1)
	if count == 1 && !apart {
		// A single product, as when something was not found: each parent gets its
		// own factor, and no table is made.
		for _, i := range w.free {
			if w.kept != nil && !w.other[n.parents[i]] {
				continue // it has it already
			}
			u := w.unaryOf(n.parents[i])
			most := 0.0
			for s := range u {
				u[s] *= n.arrive(i, last, s)
				most = max(most, u[s])
			}
			if most < tiny && !w.level(w.local[n.parents[i]]) {
				return false
			}
		}
		w.made[v] = made{form: asFold, at: int32(last)}
		w.scale.e += e
		return w.scale.mul(weights[last] * w.terms[last])
	}
	if apart || w.small(n, w.limits.observed, 1) || enc == chained && len(w.free) <= 2 {
		if !w.room(len(w.free), w.spreadSize(n)) {
			return false
		}
		w.made[v] = made{form: asDense, at: int32(len(w.factors))}
		f := w.begin()
		for _, i := range w.free {
			w.scopes = append(w.scopes, w.local[n.parents[i]])
		}
		w.spread(n, like)
		w.finish(f, true)
		return true
	}
	if enc == chained {
		w.made[v] = made{form: asChain, at: int32(len(w.factors)), extra: 1}
		w.chain(n, -1, like)
		return true
	}
	if !w.room(2, w.rankSize(n, count)) {
		return false
	}
	h := w.variable(-1, count)
	w.signed, w.hidden[h] = true, true
	w.made[v] = made{form: asHidden, at: h, extra: int32(len(w.factors))}
	u := int(w.unary[h])
	k := 0
	for t, x := range weights {
		if x != 0 {
			w.numbers[u+k] = x * w.terms[t]
			k++
		}
	}
	w.exps[h] = e
	w.scale.e += e
	w.level(h)
	for _, i := range w.free {
		p := n.parents[i]
		f := w.begin()
		w.scopes = append(w.scopes, h, w.local[p])
		for t, x := range weights {
			if x == 0 {
				continue
			}
			for s := range w.m.nodes[p].states {
				w.numbers = append(w.numbers, n.arrive(i, t, s))
			}
		}
		w.finish(f, false)
	}
	return true
}

// addGate adds a gate whose own state stays a variable.
func (w *work) addGate(v Var, n *node, enc encoding) {
	own := w.own(v)
	if w.small(n, w.limits.parents, n.states) || enc == chained && len(w.free) <= 2 {
		if !w.room(len(w.free)+1, w.spreadSize(n)) {
			return
		}
		w.made[v] = made{form: asGate, at: int32(len(w.factors))}
		f := w.begin()
		for _, i := range w.free {
			w.scopes = append(w.scopes, w.local[n.parents[i]])
		}
		w.scopes = append(w.scopes, own)
		w.spread(n, nil)
		w.finish(f, false)
		return
	}
	if enc == chained {
		w.made[v] = made{form: asChain, at: int32(len(w.factors))}
		w.chain(n, own, nil)
		return
	}
	if !w.room(2, w.rankSize(n, n.states)) {
		return
	}
	h := w.variable(-1, n.states)
	w.signed = true
	w.made[v] = made{form: asRank, at: h, extra: int32(len(w.factors))}
	n.bundle(w.dist, w.numbers[w.unary[h]:int(w.unary[h])+n.states])
	for _, i := range w.free {
		p := n.parents[i]
		f := w.begin()
		w.scopes = append(w.scopes, h, w.local[p])
		for t := range n.states {
			for s := range w.m.nodes[p].states {
				w.numbers = append(w.numbers, n.arrive(i, t, s))
			}
		}
		w.finish(f, false)
	}
	f := w.begin()
	w.scopes = append(w.scopes, h, own)
	for t := range n.states {
		for y := range n.states {
			w.numbers = append(w.numbers, n.sign(t, y))
		}
	}
	f.signed = true
	w.finish(f, false)
}

// spreadSize is the size of the table of a gate over its free parents and itself.
func (w *work) spreadSize(n *node) float64 {
	size := float64(n.states)
	for _, i := range w.free {
		size *= float64(w.m.nodes[n.parents[i]].states)
	}
	return size
}

// rankSize is the size of the rank form with so many terms, signs and all.
func (w *work) rankSize(n *node, terms int) float64 {
	size := float64(n.states + 1)
	for _, i := range w.free {
		size += float64(w.m.nodes[n.parents[i]].states)
	}
	return size * float64(terms)
}

// spread appends the gate's table over its free parents and itself, or, given a
// likelihood, over its free parents alone. It begins with the levels in dist.
func (w *work) spread(n *node, like []float64) {
	at := len(w.numbers)
	w.numbers = append(w.numbers, w.dist...)
	rows := 1
	for _, i := range w.free {
		// Each row so far becomes one row per state of this parent. From the last
		// to the first, so that no row is overwritten before it is read.
		k := w.m.nodes[n.parents[i]].states
		need := at + rows*k*n.states
		for len(w.numbers) < need {
			w.numbers = append(w.numbers, 0)
		}
		for r := rows - 1; r >= 0; r-- {
			from := w.numbers[at+r*n.states : at+(r+1)*n.states]
			for s := k - 1; s >= 0; s-- {
				to := w.numbers[at+(r*k+s)*n.states : at+(r*k+s+1)*n.states]
				copy(to, from)
				n.hear(i, s, to)
			}
		}
		rows *= k
	}
	if like == nil {
		return
	}
	for r := range rows {
		sum := 0.0
		for y, l := range like {
			sum += l * w.numbers[at+r*n.states+y]
		}
		w.numbers[at+r] = sum
	}
	w.numbers = w.numbers[:at+rows]
}

// chain adds a gate as a row of helpers, each the level after one more parent.
// The last one is the gate itself (own), or, where own is -1, is summed out
// against the likelihood.
func (w *work) chain(n *node, own int32, like []float64) {
	before := int32(-1)
	for k, i := range w.free {
		if k == 0 {
			continue // the first two parents share a table
		}
		after := own
		last := k == len(w.free)-1
		rows := n.states
		if k == 1 {
			rows = w.m.nodes[n.parents[w.free[0]]].states
		}
		if !w.room(3, float64(rows)*float64(w.m.nodes[n.parents[i]].states)*float64(n.states)) {
			return
		}
		if !last {
			after = w.variable(-1, n.states)
		}
		f := w.begin()
		if k == 1 {
			w.scopes = append(w.scopes, w.local[n.parents[w.free[0]]])
		} else {
			w.scopes = append(w.scopes, before)
		}
		w.scopes = append(w.scopes, w.local[n.parents[i]])
		if after >= 0 {
			w.scopes = append(w.scopes, after)
		}
		w.link(n, k, i, after, like)
		w.finish(f, after < 0)
		before = after
	}
}

// link appends one table of a chain: the level before, parent i, the level after.
func (w *work) link(n *node, k, i int, after int32, like []float64) {
	rows := n.states
	if k == 1 {
		rows = w.m.nodes[n.parents[w.free[0]]].states
	}
	level := make([]float64, n.states)
	for b := range rows {
		for s := range w.m.nodes[n.parents[i]].states {
			if k == 1 {
				copy(level, w.dist)
				n.hear(w.free[0], b, level)
			} else {
				clear(level)
				level[b] = 1
			}
			n.hear(i, s, level)
			if after >= 0 {
				w.numbers = append(w.numbers, level...)
				continue
			}
			sum := 0.0
			for y, l := range like {
				sum += l * level[y]
			}
			w.numbers = append(w.numbers, sum)
		}
	}
}

// unaryOf is the unary factor of a model variable.
func (w *work) unaryOf(v Var) []float64 {
	x := w.local[v]
	u := w.unary[x]
	return w.numbers[u : u+w.card[x]]
}

// scaled is a positive number far outside the range of float64: f * 2^e.
type scaled struct {
	f float64
	e int
}

var one = scaled{f: 1}

// mul multiplies by x and reports whether the result is positive.
func (s *scaled) mul(x float64) bool {
	f, e := math.Frexp(s.f * x)
	s.f, s.e = f, s.e+e
	return f > 0
}

func (s *scaled) ln() float64 { return math.Log(s.f) + float64(s.e)*math.Ln2 }
