package infer

import (
	"context"
	"errors"
	"math"
	"slices"
)

// BoundLimits says how much work [Model.Bound] may do. The zero value of each
// field stands for a default.
type BoundLimits struct {
	// Log2 is the binary logarithm of how many numbers may be held in tables: by
	// default that of the model's budget.
	Log2 float64
	// Runs is how many exact propagations may be spent on an exact answer by
	// cases: by default 32.
	Runs int
	// Rounds is how often bounds may be tightened, each time with more work than
	// before: by default 12, at most [MaxBoundRounds].
	Rounds int
	// Width is how far apart the bounds of a probability may remain. Tightening
	// stops once all are this close: by default 0.001.
	Width float64
}

// MaxBoundRounds is the most that [BoundLimits.Rounds] counts for.
const MaxBoundRounds = 24

// Bounds is what [Model.Bound] found. The true values are never outside.
type Bounds struct {
	// The natural logarithm of the probability of the evidence.
	LogPLow, LogPHigh float64
	// Exact tells that nothing but rounding separates the bounds.
	Exact bool
	// Runs counts the exact propagations, Rounds the times that bounds were
	// tightened, and Contexts what was looked at in all of them.
	Runs, Rounds, Contexts int

	low, high [][]float64
}

// Low returns a lower bound on the probability of each state of a variable given
// the evidence, or nil if it was not asked for. The slice must not be changed.
func (b *Bounds) Low(v Var) []float64 { return boundOf(b.low, v) }

// High returns upper bounds, as Low does lower ones.
func (b *Bounds) High(v Var) []float64 { return boundOf(b.high, v) }

func boundOf(of [][]float64, v Var) []float64 {
	if v < 0 || int(v) >= len(of) {
		return nil
	}
	return of[v]
}

// Width is the largest distance between the bounds of one probability.
func (b *Bounds) Width() float64 {
	width := 0.0
	for v, low := range b.low {
		for s, l := range low {
			width = max(width, b.high[v][s]-l)
		}
	}
	return width
}

// boundSlack is by how much, relatively, all bounds are widened for rounding.
// Nothing here cancels: masses are products and sums of non-negative numbers, of a
// few thousand factors and, but for the last sum, of a few terms; the last sum is
// charged by its length. Numbers below 1e-300 of the largest in their table count
// as zero, as they do in exact inference.
const boundSlack = 1e-9

// Bound answers questions that are too large for [Model.Infer]: it bounds the
// probability of the evidence and of each state of the variables of the query, all
// variables if none is named. It is exact where the limits allow that. Otherwise
// bounds are tightened round by round; further rounds never loosen them. The work
// is counted, not timed, so that the result depends on nothing but the arguments;
// only an end of the context cuts it short, and then the bounds so far are
// returned. The error is a *[Contradiction] when the evidence is impossible.
func (m *Model) Bound(ctx context.Context, ev Evidence, limits BoundLimits, query ...Var) (*Bounds, error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, err
	}
	if err := m.checkVars(query); err != nil {
		return nil, err
	}
	if len(query) == 0 {
		query = m.all()
	}
	query = slices.Compact(slices.Sorted(slices.Values(query)))
	t := newBounder(m, ev, limits, query)
	err := t.byCases(ctx)
	if err == nil && !t.out.Exact {
		err = t.byRounds(ctx)
	}
	var clash *Contradiction
	if errors.As(err, &clash) {
		return nil, err
	}
	if err != nil && ctx.Err() == nil {
		return nil, err
	}
	return t.result(), nil
}

// bounder collects bounds on logarithms of masses. Those of different rounds bound
// the same masses, so that the best of each may be put together.
type bounder struct {
	m      *Model
	ev     Evidence
	limits BoundLimits
	query  []Var
	low    [][]float64 // ln P(state and evidence), at least
	out    Bounds
}

func newBounder(m *Model, ev Evidence, limits BoundLimits, query []Var) *bounder {
	if limits.Log2 == 0 {
		limits.Log2 = math.Log2(float64(m.budget))
	}
	if limits.Runs == 0 {
		limits.Runs = 32
	}
	if limits.Rounds == 0 {
		limits.Rounds = 12
	}
	limits.Rounds = min(limits.Rounds, MaxBoundRounds)
	if limits.Width == 0 {
		limits.Width = 0.001
	}
	t := &bounder{m: m, ev: ev, limits: limits, query: query}
	t.low = make([][]float64, m.Len())
	for _, v := range query {
		t.low[v] = make([]float64, m.States(v))
		for s := range t.low[v] {
			t.low[v][s] = math.Inf(-1)
		}
	}
	t.out.LogPLow = math.Inf(-1)
	for _, v := range ev.vars() {
		t.out.LogPHigh += math.Log(slices.Max(ev[v]))
	}
	return t
}

// learn takes in new bounds on the probability of the evidence.
func (t *bounder) learn(low, high float64) {
	t.out.LogPLow = max(t.out.LogPLow, low)
	t.out.LogPHigh = max(min(t.out.LogPHigh, high), t.out.LogPLow)
}

// learnState takes in a lower bound on the mass of one state.
func (t *bounder) learnState(v Var, s int, low float64) {
	t.low[v][s] = max(t.low[v][s], low)
}

// result turns masses into probabilities: a state has at least its own mass, and at
// most what the other states leave it, of the largest possible whole.
func (t *bounder) result() *Bounds {
	out := t.out
	out.low, out.high = make([][]float64, t.m.Len()), make([][]float64, t.m.Len())
	for _, v := range t.query {
		n := len(t.low[v])
		low, high := make([]float64, n), make([]float64, n)
		for s, l := range t.low[v] {
			low[s] = min(math.Exp(l-t.out.LogPHigh), 1)
		}
		for s := range high {
			rest := 0.0
			for r, l := range low {
				if r != s {
					rest += l
				}
			}
			high[s] = min(max(1-rest+boundSlack, low[s]), 1)
		}
		out.low[v], out.high[v] = low, high
	}
	return &out
}

// byCases answers exactly if the limits allow it: in one piece, or by telling apart
// the states of a few variables.
func (t *bounder) byCases(ctx context.Context) error {
	w := t.m.work()
	w.whole = true
	defer t.m.release(w)
	cases, ok := []Evidence(nil), true
	room := math.Exp2(t.limits.Log2)
	var split func(ev Evidence, spare int)
	split = func(ev Evidence, spare int) {
		if !ok || ctx.Err() != nil {
			return
		}
		if !w.reduce(ev, t.query, t.m.limits, ranked) {
			ok = w.over == nil
			return // otherwise this case is impossible
		}
		v := Var(-1)
		if len(w.card) > 0 {
			if len(w.card) > maxBoundVars {
				ok = false
				return
			}
			o := newBoundOrder(w)
			order, total := o.greedy(true, 0)
			if other, less := o.greedy(false, 0); less < total {
				order, total = other, less
			}
			if total > room {
				if total > room*math.Exp2(float64(spare)) || len(order) == 0 {
					ok = false
					return
				}
				v = w.hub(o, order)
			}
		}
		if v < 0 {
			cases = append(cases, ev)
			ok = len(cases) <= t.limits.Runs
			return
		}
		k := t.m.States(v)
		for s := range k {
			split(ev.and(v, Hard(s, k)), spare-1)
		}
	}
	split(t.ev, int(math.Log2(float64(max(t.limits.Runs, 1)))))
	if !ok || len(cases) > t.limits.Runs || ctx.Err() != nil {
		return nil
	}
	if len(cases) == 0 {
		return t.m.contradiction(ctx, w, t.ev)
	}
	var whole boundMass
	masses := make([][]boundMass, t.m.Len())
	for _, v := range t.query {
		masses[v] = make([]boundMass, t.m.States(v))
	}
	slack := boundSlack
	possible := false
	for _, ev := range cases {
		if ctx.Err() != nil {
			return nil
		}
		t.out.Runs++
		post, err := t.m.Infer(ctx, ev, t.query...)
		var clash *Contradiction
		switch {
		case errors.As(err, &clash):
			continue
		case err != nil:
			return nil // not exactly, then
		}
		possible = true
		slack = max(slack, boundSlack+2*post.Rounding)
		whole.add(post.LogP, 1)
		for _, v := range t.query {
			for s, p := range post.P(v) {
				masses[v][s].add(post.LogP, p)
			}
		}
	}
	if !possible {
		return t.m.contradiction(ctx, w, t.ev)
	}
	logP := whole.ln()
	t.learn(logP-slack, logP+slack)
	for _, v := range t.query {
		for s := range masses[v] {
			// Rounding is relative to the whole where signed numbers were summed.
			if p := math.Exp(masses[v][s].ln()-logP) - (slack - boundSlack); p > 0 {
				t.learnState(v, s, logP+math.Log(p)-slack)
			}
		}
	}
	t.out.Exact = true
	return nil
}

// boundMass is a sum of numbers far outside the range of float64.
type boundMass struct{ log, sum float64 }

func (a *boundMass) add(log, x float64) {
	if x == 0 {
		return
	}
	if a.sum == 0 {
		a.log = log
	}
	if log > a.log {
		a.sum *= math.Exp(a.log - log)
		a.log = log
	}
	a.sum += x * math.Exp(log-a.log)
}

func (a *boundMass) ln() float64 { return a.log + math.Log(a.sum) }

// boundTables are the sizes up to which a gate is one table where nothing may be
// negative.
var boundTables = limits{parents: 6, observed: 8, entries: 1 << 10}

// byRounds relaxes the problem and looks into the relaxed one, first roughly, then
// with larger tables, better weights and more contexts.
func (t *bounder) byRounds(ctx context.Context) error {
	w := t.m.work()
	w.whole = true
	defer t.m.release(w)
	ok := w.reduce(t.ev, t.query, boundTables, chained)
	if w.over != nil || len(w.card) > maxBoundVars {
		return nil // nothing is known then but what was
	}
	if !ok {
		return t.m.contradiction(ctx, w, t.ev)
	}
	t.settled(w)
	r := &boundRounds{bounder: t, w: w, order: newBoundOrder(w), room: math.Exp2(t.limits.Log2)}
	for round := range t.limits.Rounds {
		if err := r.round(ctx, round); err != nil {
			return err
		}
		t.out.Rounds++
		if t.out.Exact || r.spent || t.result().Width() <= t.limits.Width {
			return nil
		}
	}
	return nil
}

// settled takes in what is known of the query without further work.
func (t *bounder) settled(w *work) {
	for _, v := range t.query {
		if state := w.fixed[v]; state >= 0 {
			// All the mass there is; so its probability is one.
			t.learnState(v, int(state), math.Inf(1))
		}
	}
}

// boundRounds is a problem, how far it has been relaxed, and what was looked into.
type boundRounds struct {
	*bounder
	w      *work
	order  *boundOrder
	room   float64
	best   []int32 // order
	net    *boundNet
	search *boundSearch
	least  float64 // the mass from which contexts were followed
	spent  bool    // nothing more fits
}

const maxBoundVars = 1 << 13

// The rounds: a rough look, which tells how likely the states are; with that, two
// orders, of which the better is kept; larger tables; better shifts; and then ever
// more contexts.
func (r *boundRounds) round(ctx context.Context, round int) error {
	switch round {
	case 0:
		r.best, _ = r.order.greedy(true, 0)
		if err := r.relax(ctx, r.best, 1<<10, 10); err != nil {
			return err
		}
		if err := r.look(ctx, 1e-5, true); err != nil {
			return err
		}
	case 1:
		costs := slices.Clone(r.order.cost)
		kept, tight := r.best, -1.0
		for _, least := range []float64{0.02, 0.1} {
			// Variables that are sure cost a little all the same.
			for v, c := range costs {
				r.order.cost[v] = c + least
			}
			order := r.order.best(4)
			if err := r.relax(ctx, order, 1<<12, 15); err != nil {
				return err
			}
			if err := r.look(ctx, 1e-5, false); err != nil {
				return err
			}
			if x := r.search.low / r.search.high; x > tight {
				kept, tight = order, x
			}
		}
		r.best = kept
	case 2:
		if err := r.relax(ctx, r.best, 1<<13, 40); err != nil {
			return err
		}
		return r.look(ctx, 1e-6, false)
	case 3:
		if !r.net.descend(ctx, 20) {
			return r.m.contradiction(ctx, r.w, r.ev)
		}
		return r.more(ctx, 1e-7)
	default:
		return r.more(ctx, r.least/8)
	}
	return nil
}

// relax makes a new network, of tables that fit.
func (r *boundRounds) relax(ctx context.Context, order []int32, entries float64, steps int) error {
	r.net = newBoundNet(r.w, order, entries)
	for r.net.numbers > r.room/2 && entries > 2 {
		entries /= 2
		r.net = newBoundNet(r.w, order, entries)
	}
	if !r.net.begin() || !r.net.descend(ctx, steps) {
		return r.m.contradiction(ctx, r.w, r.ev)
	}
	r.search = newBoundSearch(r.net)
	return ctx.Err()
}

// contextNumbers is how many numbers following one context takes.
const contextNumbers = 6

// look follows contexts and learns from it; also how likely the states are.
func (r *boundRounds) look(ctx context.Context, least float64, costs bool) error {
	s := r.search
	if !s.follow(ctx, least, int(r.room/contextNumbers)) {
		return ctx.Err()
	}
	r.least = least
	r.out.Contexts += s.count
	if costs {
		r.net.believe(true)
		for k, v := range r.best {
			r.order.cost[v] = r.net.entropy(k)
		}
	}
	r.read(ctx, r.w, r.net, s)
	return ctx.Err()
}

// more looks again, following contexts that are allotted less, but not so many that
// they would not all fit.
func (r *boundRounds) more(ctx context.Context, least float64) error {
	const growth = 0.7 // how the number of contexts rises with 1/least, about
	fit := 0.8 * r.room / contextNumbers / float64(max(r.search.count, 1))
	least = max(least, r.least/math.Pow(fit, 1/growth))
	if least > r.least/1.5 {
		r.spent = true
		return nil
	}
	err := r.look(ctx, least, false)
	r.spent = r.search.full
	return err
}

// read takes in what a search found.
func (t *bounder) read(ctx context.Context, w *work, b *boundNet, s *boundSearch) {
	slack := boundSlack + float64(s.count)/(1<<52)
	top := b.top.ln()
	low, high := math.Log(s.low), math.Log(max(s.high, 1e-280))
	t.learn(top+low-slack, top+high+slack)
	if s.low == 0 || !s.certify(ctx) {
		return
	}
	for k, v := range b.origin {
		if v < 0 || t.low[v] == nil {
			continue
		}
		p := &b.buckets[k].parts[0]
		for state, x := range b.marginal(p, p.belief, []int32{int32(k)}) {
			t.learnState(v, state, top+math.Log(x)-slack)
		}
	}
	t.out.Exact = t.out.Exact || s.low == s.high
}

// hub is the variable that takes part in the largest clusters.
func (w *work) hub(o *boundOrder, order []int32) Var {
	score := make([]float64, len(w.card))
	o.clusters(order, func(cluster []int32) {
		size := 1.0
		for _, v := range cluster {
			size *= float64(w.card[v])
		}
		for _, v := range cluster {
			score[v] += size
		}
	})
	best := -1
	for v, x := range score {
		if w.origin[v] >= 0 && (best < 0 || x > score[best]) {
			best = v
		}
	}
	if best < 0 {
		return -1
	}
	return w.origin[best]
}
