package infer

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Posterior is what the evidence says.
type Posterior struct {
	// LogP is the natural logarithm of the probability of the evidence.
	LogP float64
	// Rounding estimates how far float64 arithmetic may have moved the results,
	// relative to the probability of the evidence. It is 0 where only
	// non-negative numbers were added and multiplied, which keeps about 13
	// digits of everything; and below 1e-9, or what [Builder.Precision] says, but for
	// networks so entangled that nothing better fits into memory, where it is at most 1e-6.
	// It is a bound for LogP, and usually a hundred times what rounding really does. A
	// posterior is right to 1e-9 of itself or to Rounding, whichever is larger.
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

// Sum is the posterior of evidence that is a sum of parts, each of a posterior of its own,
// times a factor, which may be negative: what was seen, say, is all there is less what would
// not have been. There is none where too little is left of the parts to be told exactly. The
// parts must be of the same variables.
func Sum(factors []float64, parts []*Posterior) (*Posterior, bool) {
	if len(parts) == 0 || len(factors) != len(parts) {
		return nil, false
	}
	most := math.Inf(-1)
	for _, p := range parts {
		most = max(most, p.LogP)
	}
	total, magnitude := 0.0, 0.0
	masses := make([]float64, len(parts))
	out := &Posterior{probs: make([][]float64, len(parts[0].probs))}
	for i, p := range parts {
		masses[i] = factors[i] * math.Exp(p.LogP-most)
		total += masses[i]
		magnitude += math.Abs(masses[i])
		out.Rounding = max(out.Rounding, p.Rounding)
	}
	if !(total > lost*magnitude) {
		return nil, false
	}
	out.Rounding *= magnitude / total
	out.LogP = most + math.Log(total)
	for v, dist := range parts[0].probs {
		if dist == nil {
			continue
		}
		q := make([]float64, len(dist))
		for i, p := range parts {
			axpy(q, p.probs[v], masses[i]/total)
		}
		sum := 0.0
		for s := range q {
			q[s] = max(q[s], 0)
			sum += q[s]
		}
		for s := range q {
			q[s] /= sum
		}
		out.probs[v] = q
	}
	return out, true
}

// lost is how little may be left of the magnitudes of a sum of posteriors.
const lost = 1e-5

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

// TooLarge is the error of a question whose tables would not fit into the budget, not
// even case by case by the states of a few variables in reasonable time.
type TooLarge struct{ Cost Cost }

func (t *TooLarge) Error() string {
	return fmt.Sprintf("too entangled to be solved exactly: a table over %d variables is needed, 2^%.1f numbers in all", t.Cost.Width, t.Cost.Log2)
}

// LogP returns the natural logarithm of the probability of the evidence. The error
// is a *[Contradiction] when that probability is zero.
//
// This and all other questions are given up, with the context's error, soon after
// the context is done.
func (m *Model) LogP(ctx context.Context, ev Evidence) (float64, error) {
	if err := m.checkEvidence(ev); err != nil {
		return 0, err
	}
	w := m.work()
	defer m.release(w)
	post := &Posterior{}
	if _, err := m.infer(ctx, w, ev, nil, post); err != nil {
		return 0, err
	}
	return post.LogP, nil
}

// LogChance is LogP where it is no error that the evidence is impossible: -Inf then,
// without a search for what clashes; and where it is so nearly impossible that rounding
// hides how nearly.
func (m *Model) LogChance(ctx context.Context, ev Evidence) (float64, error) {
	if err := m.checkEvidence(ev); err != nil {
		return 0, err
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, nil, m.limits, ranked) && w.over == nil {
		return math.Inf(-1), nil
	}
	ok, err := w.propagate(ctx, false, false)
	switch {
	case err == nil && !ok:
		return math.Inf(-1), nil
	case err == nil && (!w.signed || w.run.rounded < w.m.precise):
		return w.run.total.ln(), nil
	case err != nil && !errors.As(err, new(*TooLarge)):
		return 0, err
	}
	post := &Posterior{}
	if _, err := m.infer(ctx, w, ev, nil, post); err != nil {
		if errors.As(err, new(*Contradiction)) {
			return math.Inf(-1), nil
		}
		return 0, err
	}
	return post.LogP, nil
}

// Infer returns the distribution of each variable of the query given the evidence;
// of all variables, if none is named. The error is a *[Contradiction] when the
// evidence is impossible.
func (m *Model) Infer(ctx context.Context, ev Evidence, query ...Var) (*Posterior, error) {
	post, _, err := m.InferWithin(ctx, math.Inf(1), ev, query...)
	return post, err
}

// InferWithin is Infer if that takes no more than 2^log2 numbers in all tables, as
// [Model.Within] tells; fits is false, and there is no posterior, if it takes more.
func (m *Model) InferWithin(ctx context.Context, log2 float64, ev Evidence, query ...Var) (post *Posterior, fits bool, err error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, false, err
	}
	if err := m.checkVars(query); err != nil {
		return nil, false, err
	}
	if len(query) == 0 {
		query = m.all()
	}
	w := m.work()
	defer m.release(w)
	ok := w.reduce(ev, query, m.limits, ranked)
	if !ok && w.over == nil {
		return nil, false, m.contradiction(ctx, w, ev)
	}
	if !math.IsInf(log2, 1) {
		if !ok {
			return nil, false, nil
		}
		if _, fits := w.fits(ctx, math.Exp2(log2)); !fits {
			return nil, false, ctx.Err()
		}
	}
	post = &Posterior{probs: make([][]float64, m.Len())}
	if ok && (w.bears(query) || w.within(ctx, m.limits.divide)) {
		ok, err := w.solveReduced(ctx, ev, query, false)
		switch {
		case errors.As(err, new(*TooLarge)):
			// Divided below.
		case err != nil:
			return nil, false, err
		case !ok:
			return nil, false, m.contradiction(ctx, w, ev)
		default:
			w.read(query, post)
			return post, true, nil
		}
	}
	if err := m.divided(ctx, w, ev, query, post); err != nil {
		return nil, false, err
	}
	return post, true, nil
}

// divided infers what is too large to be asked for together. Variables below what the
// evidence bears on can entangle everything then; so the others go first, and these in
// groups.
func (m *Model) divided(ctx context.Context, w *work, ev Evidence, query []Var, post *Posterior) error {
	if !w.reduce(ev, nil, m.limits, ranked) && w.over == nil {
		return m.contradiction(ctx, w, ev)
	}
	var core, below []Var
	for _, v := range query {
		if w.relevant[v] {
			core = append(core, v)
		} else {
			below = append(below, v)
		}
	}
	total, err := m.infer(ctx, w, ev, core, post)
	if err != nil {
		return err
	}
	logP, rounding := post.LogP, post.Rounding
	enough := m.limits.divide + 4*total
	for len(below) > 0 {
		n := len(below)
		for n > 1 && !(w.reduce(ev, below[:n], m.limits, ranked) && w.within(ctx, enough)) {
			n = (n + 1) / 2
		}
		if _, err := m.infer(ctx, w, ev, below[:n], post); err != nil {
			return err
		}
		rounding = max(rounding, post.Rounding)
		below = below[n:]
	}
	post.LogP, post.Rounding = logP, rounding
	return nil
}

func (m *Model) all() []Var {
	all := make([]Var, m.Len())
	for v := range all {
		all[v] = Var(v)
	}
	return all
}

// infer adds the posteriors of a query to post. It returns the total size of what
// was solved.
func (m *Model) infer(ctx context.Context, w *work, ev Evidence, query []Var, post *Posterior) (float64, error) {
	ok, err := w.solve(ctx, ev, query, false)
	large := (*TooLarge)(nil)
	if errors.As(err, &large) {
		if ok, err = m.divide(ctx, w, ev, query, post, large); ok {
			return math.Exp2(large.Cost.Log2), nil
		}
	}
	if err != nil {
		return 0, err
	}
	if !ok {
		return 0, m.contradiction(ctx, w, ev)
	}
	w.read(query, post)
	return math.Exp2(w.program.cost.Log2), nil
}

// Estimate foretells the cost of a query without answering it. Evidence that does
// not fit the model, or is impossible, costs nothing; what is beyond the budget
// before an order is even looked for, or not estimated because the context is done,
// infinitely much.
func (m *Model) Estimate(ctx context.Context, ev Evidence, query ...Var) Cost {
	if m.checkEvidence(ev) != nil || m.checkVars(query) != nil {
		return Cost{}
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, query, m.limits, ranked) {
		if w.over != nil {
			return Cost{Log2: math.Inf(1)}
		}
		return Cost{}
	}
	err := w.prepare(ctx)
	var large *TooLarge
	switch {
	case errors.As(err, &large):
		return large.Cost
	case err != nil:
		return Cost{Log2: math.Inf(1)}
	}
	return w.program.cost
}

// Within tells whether a query can be answered with no more than 2^log2 numbers in
// all its tables. It gives up at once on what is far beyond that, where Estimate
// would go on counting, and when the context is done. Evidence that does not fit the
// model, or is impossible, costs nothing.
func (m *Model) Within(ctx context.Context, log2 float64, ev Evidence, query ...Var) bool {
	_, fits := m.Size(ctx, log2, ev, query...)
	return fits
}

// Size is Within, and tells the binary logarithm of how many numbers there are in all
// tables; where that is beyond the limit, of at least how many there were when it gave up.
func (m *Model) Size(ctx context.Context, limit float64, ev Evidence, query ...Var) (log2 float64, fits bool) {
	if m.checkEvidence(ev) != nil || m.checkVars(query) != nil {
		return 0, true
	}
	w := m.work()
	defer m.release(w)
	if !w.reduce(ev, query, m.limits, ranked) {
		if w.over != nil {
			return w.over.Cost.Log2, false
		}
		return 0, true
	}
	size, fits := w.fits(ctx, math.Exp2(limit))
	return math.Log2(max(size, 1)), fits
}

// farBeyond is how many times as large as a limit the first simple order may come
// out for a better one to be worth looking for.
const farBeyond = 64

// precise is how far rounding may move a result before it is computed again with
// less cancellation where a model does not say, and hopeless from where a result is worth nothing.
const (
	precise  = 1e-9
	hopeless = 1e-6
)

// overshoot is how many times as large as a limit the best order may be, before many
// are tried, for them to be worth it.
const overshoot = 4

// fits tells how many numbers all tables of the problem come to, in the order that
// prepare would take, and whether they are no more than so many.
func (w *work) fits(ctx context.Context, room float64) (float64, bool) {
	e := w.known()
	switch {
	case e != nil && e.total > 0:
		return e.total, e.total <= room
	case e != nil && e.first > room*farBeyond:
		return e.first, false
	}
	if w.connect() != nil {
		return math.Inf(1), false
	}
	p := &w.plan
	if !p.sketch(ctx, room*farBeyond) {
		if ctx.Err() == nil {
			w.learn(&entry{first: p.first})
		}
		return p.first, false
	}
	if !p.refine(ctx, overshoot*room) || ctx.Err() != nil {
		return p.total, false
	}
	p.settle()
	w.arranged = true
	return p.total, p.total <= room
}

// within tells whether the first, simple order of the problem stays within a total
// size. It says the same whether the problem was met before or not.
func (w *work) within(ctx context.Context, total float64) bool {
	if w.arranged {
		return w.plan.guided || w.plan.first <= total
	}
	if e := w.known(); e != nil && e.exact {
		return e.guided || e.first <= total
	}
	if w.m.guide != nil && w.guided() {
		w.arranged = true
		return true // it is what the guide is for
	}
	if w.connect() != nil {
		return false
	}
	w.sketched = w.plan.sketch(ctx, math.Inf(1))
	return w.sketched && w.plan.first <= total
}

// bears tells whether the evidence bears on all of a query.
func (w *work) bears(query []Var) bool {
	n := len(w.m.nodes)
	w.borne = resize(w.borne, n)
	for v := range n {
		w.borne[v] = w.fixed[v] >= 0 || w.like[v] != nil
	}
	for v := n - 1; v >= 0; v-- {
		if w.borne[v] {
			for _, p := range w.m.nodes[v].parents {
				w.borne[p] = true
			}
		}
	}
	for _, v := range query {
		if !w.borne[v] {
			return false
		}
	}
	return true
}

// prepare finds the program of the problem. The error is a *[TooLarge] when there is
// none within the budget.
func (w *work) prepare(ctx context.Context) error {
	if !w.arranged {
		e := w.known()
		if e != nil && e.large != nil {
			return e.large
		}
		if e != nil && e.program != nil {
			w.program = e.program
			return nil
		}
		if err := w.arrange(ctx); err != nil {
			return err
		}
		w.arranged = true
	}
	e := &entry{first: w.plan.first, exact: true, guided: w.plan.guided, total: w.plan.total}
	ok := w.plan.total < reach && w.plan.width <= maxDims
	if ok {
		e.program, ok = w.compile(w.m.budget)
	}
	if !ok {
		e.large = &TooLarge{w.plan.cost()}
	}
	w.program = e.program
	w.learn(e)
	if !ok {
		return e.large
	}
	return nil
}

// solve runs the propagation: first with compact signed gates; should those lose
// too many digits, with fewer of them, and then with none. It reports false when
// the evidence is impossible. With all, every table is appraised.
func (w *work) solve(ctx context.Context, ev Evidence, query []Var, all bool) (bool, error) {
	w.solved++
	if !w.reduce(ev, query, w.m.limits, ranked) && w.over == nil {
		return false, nil
	}
	return w.solveReduced(ctx, ev, query, all)
}

// solveReduced is solve once the compact problem has been set up.
func (w *work) solveReduced(ctx context.Context, ev Evidence, query []Var, all bool) (bool, error) {
	tries := []struct {
		limits
		encoding
	}{{w.m.limits, ranked}, {middling, ranked}, {careful, ranked}, {careful, chained}}
	best, rounded := -1, hopeless
	var least *TooLarge
	for i, try := range tries {
		if i > 0 {
			w.reduce(ev, query, try.limits, try.encoding)
		}
		ok, err := w.propagate(ctx, all || len(query) > 0, all)
		if large := (*TooLarge)(nil); errors.As(err, &large) {
			if least == nil || large.Cost.Log2 < least.Cost.Log2 {
				least = large
			}
			continue
		}
		if err != nil {
			return false, err
		}
		if !w.signed || ok && w.run.rounded < w.m.precise {
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
	return w.propagate(ctx, all || len(query) > 0, all)
}

// propagate solves the problem that has been set up, in one encoding.
func (w *work) propagate(ctx context.Context, backward, all bool) (bool, error) {
	if w.over != nil {
		return false, w.over
	}
	if err := w.prepare(ctx); err != nil {
		return false, err
	}
	held := len(w.numbers) + w.program.room
	if backward || w.signed {
		held *= 2
	}
	if held > w.m.budget {
		return false, &TooLarge{w.program.cost}
	}
	w.run.rounded = 0
	ok, err := w.forward(ctx)
	if ok && err == nil && (backward || w.signed) {
		err = w.backward(ctx, all)
	}
	return ok && err == nil, err
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
		in := input{unaryOf, w.local[v]}
		prior, worth := w.table(in), w.worthTable(in)
		sum := 0.0
		for s := range p {
			p[s] = max(prior[s]*worth[s], 0)
			sum += p[s]
		}
		for s := range p {
			p[s] /= sum
		}
	}
}

// contradiction finds an irreducible clash, by halves: what the first half does not
// need of the second is found first, then what that needs of the first (U. Junker,
// QuickXplain, AAAI 2004).
func (m *Model) contradiction(ctx context.Context, w *work, ev Evidence) error {
	clash, err := m.clash(ctx, w, ev, Evidence{}, ev.vars(), false)
	if err != nil {
		return err
	}
	slices.Sort(clash)
	c := &Contradiction{Vars: clash}
	for _, v := range clash {
		c.Names = append(c.Names, m.nodes[v].name)
	}
	return c
}

// clash returns what of these variables it takes, besides the evidence held, for a
// contradiction. All of them make one with it. What cannot be solved is taken to be
// possible.
func (m *Model) clash(ctx context.Context, w *work, ev, held Evidence, vars []Var, grown bool) ([]Var, error) {
	if grown {
		ok, err := w.solve(ctx, held, nil, false)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if !ok && err == nil {
			return nil, nil
		}
	}
	if len(vars) <= 1 {
		return vars, nil
	}
	half := len(vars) / 2
	with := func(vars []Var) Evidence {
		more := maps.Clone(held)
		for _, v := range vars {
			more[v] = ev[v]
		}
		return more
	}
	second, err := m.clash(ctx, w, ev, with(vars[:half]), vars[half:], true)
	if err != nil {
		return nil, err
	}
	first, err := m.clash(ctx, w, ev, with(second), vars[:half], len(second) > 0)
	return append(slices.Clone(first), second...), err
}
