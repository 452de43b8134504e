package infer

import (
	"fmt"
	"math"
	"strings"
)

// Posterior is what the evidence says.
type Posterior struct {
	// LogP is the natural logarithm of the probability of the evidence.
	LogP float64
	// Rounding estimates how far float64 arithmetic may have moved the results,
	// relative to the probability of the evidence. It is 0 where only
	// non-negative numbers were added and multiplied, which keeps about 13
	// digits of everything; and below 1e-10 but for networks so entangled that
	// nothing better fits into memory, where it is at most 1e-6. A posterior is
	// right to 1e-9 of itself or to Rounding, whichever is larger.
	Rounding float64

	probs [][]float64
}

// P returns the distribution of a variable given the evidence, or nil if it was
// not asked for. The slice must not be changed.
func (p *Posterior) P(v Var) []float64 {
	if v < 0 || int(v) >= len(p.probs) {
		return nil
	}
	return p.probs[v]
}

// Contradiction is the error of evidence that cannot be. Vars is an irreducible
// part of it: without any one of these, the others could be. Names are theirs.
type Contradiction struct {
	Vars  []Var
	Names []string
}

func (c *Contradiction) Error() string {
	var b strings.Builder
	b.WriteString("the evidence contradicts itself: ")
	for i, name := range c.Names {
		switch {
		case i == 0:
		case i == len(c.Names)-1:
			b.WriteString(" and ")
		default:
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", name)
	}
	b.WriteString(" cannot be so")
	if len(c.Names) > 1 {
		b.WriteString(" together")
	}
	return b.String()
}

// TooLarge is the error of a question whose tables would not fit into memory.
type TooLarge struct{ Cost Cost }

func (t *TooLarge) Error() string {
	return fmt.Sprintf("too entangled to be solved exactly: a table over %d variables is needed, 2^%.1f numbers in all", t.Cost.Width, t.Cost.Log2)
}

// LogP returns the natural logarithm of the probability of the evidence. The error
// is a *[Contradiction] when that probability is zero.
func (m *Model) LogP(ev Evidence) (float64, error) {
	if err := m.checkEvidence(ev); err != nil {
		return 0, err
	}
	w := m.work()
	defer m.release(w)
	ok, err := w.solve(ev, nil)
	if err != nil {
		return 0, err
	}
	if !ok {
		return 0, m.contradiction(w, ev)
	}
	return w.run.total.ln(), nil
}

// Infer returns the distribution of each variable of the query given the evidence;
// of all variables, if none is named. The error is a *[Contradiction] when the
// evidence is impossible.
func (m *Model) Infer(ev Evidence, query ...Var) (*Posterior, error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := m.checkVars(query); err != nil {
		return nil, err
	}
	if len(query) == 0 {
		query = make([]Var, m.Len())
		for v := range query {
			query[v] = Var(v)
		}
	}
	w := m.work()
	defer m.release(w)
	post := &Posterior{probs: make([][]float64, m.Len())}
	if !w.reduce(ev, query, m.limits, ranked) {
		return nil, m.contradiction(w, ev)
	}
	if w.within(m.limits.divide) {
		w.plan.settle()
		ok, err := w.solveArranged(ev, query)
		switch {
		case err != nil:
			return nil, err
		case !ok:
			return nil, m.contradiction(w, ev)
		}
		w.read(query, post)
		return post, nil
	}

	// Variables below what the evidence bears on can entangle everything when they
	// are asked for together. So the others go first, and these in groups.
	w.reduce(ev, nil, m.limits, ranked)
	var core, below []Var
	for _, v := range query {
		if w.relevant[v] {
			core = append(core, v)
		} else {
			below = append(below, v)
		}
	}
	if err := m.infer(w, ev, core, post); err != nil {
		return nil, err
	}
	logP, rounding := post.LogP, post.Rounding
	enough := m.limits.divide + 4*w.plan.total
	for len(below) > 0 {
		n := len(below)
		for w.reduce(ev, below[:n], m.limits, ranked); n > 1 && !w.within(enough); w.reduce(ev, below[:n], m.limits, ranked) {
			n = (n + 1) / 2
		}
		if err := m.infer(w, ev, below[:n], post); err != nil {
			return nil, err
		}
		rounding = max(rounding, post.Rounding)
		below = below[n:]
	}
	post.LogP, post.Rounding = logP, rounding
	return post, nil
}

// infer adds the posteriors of a query to post.
func (m *Model) infer(w *work, ev Evidence, query []Var, post *Posterior) error {
	ok, err := w.solve(ev, query)
	if err != nil {
		return err
	}
	if !ok {
		return m.contradiction(w, ev)
	}
	w.read(query, post)
	return nil
}

// Estimate foretells the cost of a query without answering it. Evidence that does
// not fit the model, or is impossible, costs nothing.
func (m *Model) Estimate(ev Evidence, query ...Var) Cost {
	if m.checkEvidence(ev) != nil || m.checkVars(query) != nil {
		return Cost{}
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, query, m.limits, ranked) {
		return Cost{}
	}
	w.arrange()
	return w.plan.cost()
}

// Within tells whether a query can be answered with no more than 2^log2 numbers in
// all its tables. It gives up at once on what is far beyond that, where Estimate
// would go on counting. Evidence that does not fit the model, or is impossible,
// costs nothing.
func (m *Model) Within(log2 float64, ev Evidence, query ...Var) bool {
	if m.checkEvidence(ev) != nil || m.checkVars(query) != nil {
		return true
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, query, m.limits, ranked) {
		return true
	}
	room := math.Exp2(log2)
	if !w.within(room * farBeyond) {
		return false
	}
	p := &w.plan
	if p.total > room {
		p.improve(w.card, byFill, 0)
	}
	if p.total > room && p.total > desperate && p.total < 4*room {
		p.tryMany(w.card)
	}
	return p.total <= room
}

// farBeyond is how many times as large as a limit the first simple order may come
// out for a better one to be worth looking for.
const farBeyond = 64

// precise is how far rounding may move a result before it is computed again with
// less cancellation, and hopeless from where a result is worth nothing.
const (
	precise  = 1e-10
	hopeless = 1e-6
)

// solve runs the propagation: first with compact signed gates; should those lose
// too many digits, with fewer of them, and then with none. It reports false when
// the evidence is impossible.
func (w *work) solve(ev Evidence, query []Var) (bool, error) {
	if !w.reduce(ev, query, w.m.limits, ranked) {
		return false, nil
	}
	w.arrange()
	return w.solveArranged(ev, query)
}

// solveArranged is solve once the compact problem has been set up.
func (w *work) solveArranged(ev Evidence, query []Var) (bool, error) {
	tries := []struct {
		limits
		encoding
	}{{w.m.limits, ranked}, {careful, ranked}, {careful, chained}}
	best, rounded := -1, hopeless
	var least *TooLarge
	for i, try := range tries {
		if i > 0 {
			w.reduce(ev, query, try.limits, try.encoding)
			w.arrange()
		}
		if w.tooLarge() {
			if cost := w.plan.cost(); least == nil || cost.Log2 < least.Cost.Log2 {
				least = &TooLarge{cost}
			}
			continue
		}
		ok := w.propagate(len(query) > 0)
		if !w.signed || ok && w.run.rounded < precise {
			return ok, nil
		}
		if ok && w.run.rounded < rounded {
			best, rounded = i, w.run.rounded
		}
	}
	if best < 0 {
		return false, least
	}
	// A signed answer is the best to be had; Rounding tells how good it is.
	w.reduce(ev, query, tries[best].limits, tries[best].encoding)
	w.arrange()
	return w.propagate(len(query) > 0), nil
}

func (w *work) tooLarge() bool {
	return w.plan.total > maxTotal || w.plan.width > maxDims-2
}

func (w *work) propagate(backward bool) bool {
	w.layout()
	w.run.rounded = 0
	return w.forward() && (!backward && !w.signed || w.backward())
}

// read reads the distributions off the joint masses.
func (w *work) read(query []Var, post *Posterior) {
	size := 0
	for _, v := range query {
		size += w.m.nodes[v].states
	}
	room := make([]float64, size)
	post.LogP, post.Rounding = w.run.total.ln(), w.run.rounded
	for _, v := range query {
		if post.probs[v] != nil {
			continue
		}
		k := w.m.nodes[v].states
		p := room[:k:k]
		room = room[k:]
		post.probs[v] = p
		if s := w.fixed[v]; s >= 0 {
			p[s] = 1
			continue
		}
		bk := &w.run.buckets[w.plan.place[w.local[v]]]
		table := w.run.tables[bk.table.from:bk.table.to]
		for i := 0; i < len(table); i += k {
			for s := range k {
				p[s] += table[i+s]
			}
		}
		sum := 0.0
		for s, x := range p {
			p[s] = max(x, 0)
			sum += p[s]
		}
		for s := range p {
			p[s] /= sum
		}
	}
}

// contradiction finds an irreducible clash, by leaving out whatever is not needed
// for one.
func (m *Model) contradiction(w *work, ev Evidence) error {
	rest := make(Evidence, len(ev))
	for v, l := range ev {
		rest[v] = l
	}
	for _, v := range ev.vars() {
		l := rest[v]
		delete(rest, v)
		if ok, err := w.solve(rest, nil); ok || err != nil {
			rest[v] = l
		}
	}
	c := &Contradiction{Vars: rest.vars()}
	for _, v := range c.Vars {
		c.Names = append(c.Names, m.nodes[v].name)
	}
	return c
}
