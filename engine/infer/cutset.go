package infer

import (
	"context"
	"errors"
	"math"
)

// maxWork is how many numbers all the cases of a division may come to; one million
// takes some ten milliseconds.
const maxWork = 1 << 31

// divide answers what does not fit into the budget in one piece: case by case, by the
// states of a few variables (a cutset), each weighed with its probability. It adds
// ln P(evidence), the bound on its rounding and the posteriors of the query to post.
// It reports false when the evidence is impossible; the error is large where the cases
// would be too many.
//
// The cases are chosen so that there is room for fewer signed numbers, too, where
// those would lose too many digits.
func (m *Model) divide(ctx context.Context, w *work, ev Evidence, query []Var, post *Posterior, large *TooLarge) (bool, error) {
	var first []Var
	for _, lim := range []limits{m.limits, middling, careful} {
		cut, err := w.cutset(ctx, ev, query, lim)
		if err != nil {
			return false, err
		}
		if cut == nil {
			break
		}
		if first == nil {
			first = cut
		}
		ok, good, err := m.byCases(ctx, w, ev, query, cut, m.precise, post, large)
		if err != nil || good {
			return ok, err
		}
	}
	if first == nil {
		return false, large
	}
	ok, _, err := m.byCases(ctx, w, ev, query, first, math.Inf(1), post, large)
	return ok, err
}

// byCases is divide with a given cutset. It gives up, and good is false, at the first
// case whose rounding is beyond a limit.
func (m *Model) byCases(ctx context.Context, w *work, ev Evidence, query, cut []Var, limit float64, post *Posterior, large *TooLarge) (ok, good bool, err error) {
	sum := math.Inf(-1) // ln of the sum of the cases
	rounding := 0.0
	mix := make([][]float64, m.Len())
	states := make([]int, len(cut))
	for more := true; more; {
		held := ev
		for i, v := range cut {
			held = held.and(v, Hard(states[i], m.nodes[v].states))
		}
		ok, err := w.solve(ctx, held, query, false)
		if errors.As(err, new(*TooLarge)) {
			return false, false, large // a case is more entangled than was foreseen
		}
		if err != nil {
			return false, false, err
		}
		if ok && w.run.rounded >= limit {
			return false, false, nil
		}
		if ok {
			part := &Posterior{probs: make([][]float64, m.Len())}
			w.read(query, part)
			// The mix so far and this case, each by its share.
			next := max(sum, part.LogP) + math.Log1p(math.Exp(-math.Abs(sum-part.LogP)))
			old, new := math.Exp(sum-next), math.Exp(part.LogP-next)
			rounding = old*rounding + new*part.Rounding
			for v, p := range part.probs {
				if p != nil && mix[v] == nil {
					mix[v] = make([]float64, len(p))
				}
				for s, x := range p {
					mix[v][s] = old*mix[v][s] + new*x
				}
			}
			sum = next
		}
		more = false
		for i, v := range cut {
			if states[i]++; states[i] < m.nodes[v].states {
				more = true
				break
			}
			states[i] = 0
		}
	}
	if math.IsInf(sum, -1) {
		return false, true, nil
	}
	post.LogP, post.Rounding = sum, rounding
	for v, p := range mix {
		if p != nil && post.probs[v] == nil {
			post.probs[v] = p
		}
	}
	return true, true, nil
}

// cutset finds variables that, once known, leave problems within the budget; nil where
// those would be too many. It takes one after the other the variable that is in most
// of what is held.
func (w *work) cutset(ctx context.Context, ev Evidence, query []Var, lim limits) ([]Var, error) {
	m := w.m
	held, cases := ev, 1.0
	var cut []Var
	for cases < maxWork {
		if !w.reduce(held, query, lim, ranked) {
			return nil, nil
		}
		err := w.prepare(ctx)
		if err == nil && 2*(len(w.numbers)+w.program.room) <= m.budget {
			if cases*math.Exp2(w.program.cost.Log2) > maxWork {
				return nil, nil
			}
			if cut == nil {
				cut = []Var{} // it fits as it is
			}
			return cut, nil
		}
		if err != nil && !errors.As(err, new(*TooLarge)) {
			return nil, err
		}
		if !w.arranged {
			if err := w.arrange(ctx); err != nil {
				return nil, err
			}
		}
		v := w.heaviest()
		if v < 0 {
			return nil, nil
		}
		cut = append(cut, v)
		k := m.nodes[v].states
		cases *= float64(k)
		// Its highest possible state: a gate at its lowest would fold away.
		for s := k - 1; s >= 0; s-- {
			if like := held[v]; like == nil || like[s] > 0 {
				held = held.and(v, Hard(s, k))
				break
			}
		}
	}
	return nil, nil
}

// heaviest is the variable without which the clusters would shrink most, or -1.
func (w *work) heaviest() Var {
	p := &w.plan
	weight := make([]float64, len(w.card))
	for _, c := range p.clusters {
		size := 0.0
		for _, v := range p.scopes[c.from:c.to] {
			size += math.Log2(float64(w.card[v]))
		}
		for _, v := range p.scopes[c.from:c.to] {
			weight[v] += math.Exp2(size-p.cost().Log2) * (1 - 1/float64(w.card[v]))
		}
	}
	best := Var(-1)
	most := 0.0
	for x, v := range w.origin {
		if v >= 0 && weight[x] > most {
			best, most = v, weight[x]
		}
	}
	return best
}
