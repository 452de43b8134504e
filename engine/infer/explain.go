package infer

import (
	"cmp"
	"container/heap"
	"context"
	"maps"
	"math"
	"slices"
)

// Explanation is one joint assignment to the variables asked for.
type Explanation struct {
	States []int   // in the order of the variables
	LogP   float64 // ln P(assignment and evidence)
}

// MostProbable returns the k most probable joint assignments to the variables
// over, all other variables summed out, given the evidence; the most probable
// first. There are fewer than k when no others are possible.
//
// It is a best-first search over sets of assignments. A set is propagated once; the
// likeliest state of each variable there makes a candidate, and the rest of the set
// is parted by the first variable that differs from it. Each part is bounded by
// the marginals, without being looked into. The budget limits the number of
// propagations; proven is false when it ran out before the answer was certain.
// Then the assignments are the best that were met, at least one.
func (m *Model) MostProbable(ctx context.Context, ev Evidence, over []Var, k, budget int) (found []Explanation, proven bool, err error) {
	if err := m.checkEvidence(ev); err != nil {
		return nil, false, err
	}
	if err := m.checkVars(over); err != nil {
		return nil, false, err
	}
	if k <= 0 {
		return nil, true, nil
	}
	s := &search{ctx: ctx, m: m, over: over, query: slices.Compact(slices.Sorted(slices.Values(over)))}
	whole := &region{ev: ev, bound: math.Inf(1)}
	if err := s.look(whole); err != nil {
		return nil, false, err
	}
	if whole.post == nil {
		w := m.work()
		defer m.release(w)
		return nil, false, m.contradiction(ctx, w, ev)
	}
	s.push(whole)
	for len(s.front) > 0 && len(found) < k {
		n := heap.Pop(&s.front).(*region)
		switch {
		case n.states != nil:
			found = append(found, s.explanation(n))
		case s.runs >= budget:
			s.push(n)
			found, err = s.makeDo(found, k)
			return found, false, err
		case n.post != nil:
			err = s.part(n)
		default:
			if err = s.look(n); err == nil && n.post != nil {
				s.push(n)
			}
		}
		if err != nil {
			return nil, false, err
		}
	}
	return found, true, nil
}

// region is a set of assignments, or a single one.
type region struct {
	ev     Evidence   // what tells the set from all others, with the evidence
	bound  float64    // on ln P of each assignment in it
	post   *Posterior // once it has been looked into
	states []int      // of a single assignment: by position in query
	seq    int
}

type search struct {
	ctx   context.Context
	m     *Model
	over  []Var
	query []Var // over, in order and each once
	front frontier
	runs  int
	seq   int
}

func (s *search) push(n *region) {
	s.seq++
	n.seq = s.seq
	heap.Push(&s.front, n)
}

// look propagates a region and tightens its bound. An impossible one is left
// without a posterior.
func (s *search) look(n *region) error {
	s.runs++
	w := s.m.work()
	defer s.m.release(w)
	ok, err := w.solve(s.ctx, n.ev, s.query, false)
	if err != nil || !ok {
		return err
	}
	n.post = &Posterior{probs: make([][]float64, s.m.Len())}
	w.read(s.query, n.post)
	least := 1.0
	for _, v := range s.query {
		least = min(least, slices.Max(n.post.P(v)))
	}
	n.bound = min(n.bound, n.post.LogP+math.Log(least))
	return nil
}

// part replaces a region by its candidate and the parts around that.
func (s *search) part(n *region) error {
	type doubt struct {
		at, state int
		rest      float64 // the probability of the other states
	}
	states := make([]int, len(s.query))
	var doubts []doubt
	for i, v := range s.query {
		d := doubt{at: i}
		p := n.post.P(v)
		for state := range p {
			if p[state] > p[d.state] {
				d.state = state
			}
		}
		for state, x := range p {
			if state != d.state {
				d.rest += x
			}
		}
		states[i] = d.state
		if d.rest > 0 {
			doubts = append(doubts, d)
		}
	}
	if len(doubts) == 0 {
		s.push(&region{states: states, bound: n.post.LogP})
		return nil
	}
	// The greatest doubts first, so that the largest parts are told apart first.
	slices.SortStableFunc(doubts, func(a, b doubt) int { return cmp.Compare(b.rest, a.rest) })
	ev := n.ev
	for _, d := range doubts {
		v := s.query[d.at]
		k := s.m.States(v)
		other := make([]float64, k)
		for state := range other {
			if state != d.state {
				other[state] = 1
			}
		}
		s.push(&region{ev: ev.and(v, other), bound: min(n.bound, n.post.LogP+math.Log(d.rest))})
		ev = ev.and(v, Hard(d.state, k))
	}
	s.runs++
	w := s.m.work()
	defer s.m.release(w)
	ok, err := w.solve(s.ctx, ev, nil, false)
	if ok && err == nil {
		s.push(&region{states: states, bound: w.run.total.ln()})
	}
	return err
}

// and returns the evidence with one more likelihood.
func (ev Evidence) and(v Var, like []float64) Evidence {
	more := make(Evidence, len(ev)+1)
	maps.Copy(more, ev)
	if old, ok := more[v]; ok {
		like = Times(old, like)
	}
	more[v] = like
	return more
}

func (s *search) explanation(n *region) Explanation {
	e := Explanation{States: make([]int, len(s.over)), LogP: n.bound}
	for i, v := range s.over {
		at, _ := slices.BinarySearch(s.query, v)
		e.States[i] = n.states[at]
	}
	return e
}

// makeDo adds the best of the assignments that were met when the budget ran out. If
// there are none it makes one, by the likeliest state of one variable after the
// other.
func (s *search) makeDo(found []Explanation, k int) ([]Explanation, error) {
	front := s.front
	slices.SortFunc(front, func(a, b *region) int { return cmp.Or(cmp.Compare(b.bound, a.bound), cmp.Compare(a.seq, b.seq)) })
	for _, n := range front {
		if n.states != nil && len(found) < k {
			found = append(found, s.explanation(n))
		}
	}
	if len(found) > 0 {
		return found, nil
	}
	for _, n := range front {
		if n.post == nil {
			if err := s.look(n); err != nil {
				return nil, err
			}
		}
		if n.post != nil {
			return s.dive(n)
		}
	}
	return nil, nil
}

// dive picks a single assignment from a region.
func (s *search) dive(n *region) ([]Explanation, error) {
	states := make([]int, len(s.query))
	for i, v := range s.query {
		p := n.post.P(v)
		for state := range p {
			if p[state] > p[states[i]] {
				states[i] = state
			}
		}
		n = &region{ev: n.ev.and(v, Hard(states[i], len(p))), bound: n.bound}
		if err := s.look(n); err != nil {
			return nil, err
		}
		if n.post == nil {
			return nil, nil // a state that rounding alone made likeliest
		}
	}
	return []Explanation{s.explanation(&region{states: states, bound: n.post.LogP})}, nil
}

// frontier is a heap of regions, the most promising first; of equals the earlier,
// so that the order depends on nothing but the input.
type frontier []*region

func (f frontier) Len() int { return len(f) }
func (f frontier) Less(i, j int) bool {
	if f[i].bound != f[j].bound {
		return f[i].bound > f[j].bound
	}
	return f[i].seq < f[j].seq
}
func (f frontier) Swap(i, j int) { f[i], f[j] = f[j], f[i] }

// Push implements [heap.Interface].
func (f *frontier) Push(x any) { *f = append(*f, x.(*region)) }

// Pop implements [heap.Interface].
func (f *frontier) Pop() any {
	old := *f
	x := old[len(old)-1]
	*f = old[:len(old)-1]
	return x
}
