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
// It is a best-first search over sets of assignments. In a set, each state of each
// variable has a bound on the assignments with it (see [ceilings]); the states with
// the highest make a candidate, and the rest of the set is parted by the first
// variable that differs from it. The budget limits the number of propagations, larger
// ones counting for several; proven is false when it ran out before the answer was
// certain. Then the assignments are the best that were met and some that differ from
// the best by one variable; at least one. Nothing is divided into cases here.
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
	s := &search{ctx: ctx, m: m, ev: ev, over: over, query: slices.Compact(slices.Sorted(slices.Values(over)))}
	if s.climber, err = m.climber(ctx, ev, s.query, budget); err != nil {
		return nil, false, err
	}
	if s.climber != nil {
		defer m.release(s.climber.w)
	}
	whole := &region{bound: math.Inf(1)}
	if err := s.look(whole); err != nil {
		return nil, false, err
	}
	if whole.rating == nil {
		w := m.work()
		defer m.release(w)
		return nil, false, m.contradiction(ctx, w, ev)
	}
	s.whole = whole
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
		case n.rating != nil:
			err = s.part(n)
		default:
			if err = s.look(n); err == nil && n.rating != nil {
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
	left   *told       // what tells the set from all others
	bound  float64     // on ln P of each assignment in it
	rating [][]float64 // once it has been looked into: the same by position in query and state
	states []int       // of a single assignment: by position in query
	seq    int
}

type search struct {
	ctx     context.Context
	m       *Model
	over    []Var
	query   []Var // over, in order and each once
	front   frontier
	ev      Evidence
	climber *climber // nil where maximising takes too much
	whole   *region
	runs    int
	seq     int
}

func (s *search) push(n *region) {
	s.seq++
	n.seq = s.seq
	heap.Push(&s.front, n)
}

// margin is what rounding may take off a bound.
const margin = 1e-9

// look rates the states in a region and tightens its bound. An impossible one is left
// without a rating.
func (s *search) look(n *region) error {
	s.runs++
	if s.climber != nil {
		s.runs += s.climber.price - 1
		c, err := s.climber.look(s.ctx, n.left.evidence())
		if err != nil || math.IsInf(c.whole, -1) {
			return err
		}
		n.bound = min(n.bound, c.whole+margin)
		n.rating = c.states
	} else {
		w := s.m.work()
		defer s.m.release(w)
		ok, err := w.solve(s.ctx, s.and(n.left.evidence()), s.query, false)
		if err != nil || !ok {
			return err
		}
		post := &Posterior{probs: make([][]float64, s.m.Len())}
		w.read(s.query, post)
		for _, v := range s.query {
			rating := slices.Clone(post.P(v))
			for i, p := range rating {
				rating[i] = post.LogP + math.Log(p)
			}
			n.rating = append(n.rating, rating)
		}
	}
	if n.rating == nil {
		n.rating = [][]float64{} // nothing is asked for
	}
	for _, rating := range n.rating {
		n.bound = min(n.bound, slices.Max(rating)+margin)
	}
	return nil
}

// part replaces a region by its candidate and the parts around that.
func (s *search) part(n *region) error {
	type doubt struct {
		at, state int
		rest      float64 // the bound on assignments with other states
	}
	states := make([]int, len(s.query))
	var doubts []doubt
	for i, rating := range n.rating {
		d := doubt{at: i, state: highest(rating), rest: math.Inf(-1)}
		for state, x := range rating {
			if state != d.state {
				d.rest = max(d.rest, x)
			}
		}
		states[i] = d.state
		if !math.IsInf(d.rest, -1) {
			doubts = append(doubts, d)
		}
	}
	// The greatest doubts first, so that the largest parts are told apart first.
	slices.SortStableFunc(doubts, func(a, b doubt) int { return cmp.Compare(b.rest, a.rest) })
	left := n.left
	for _, d := range doubts {
		v := s.query[d.at]
		k := s.m.States(v)
		other := make([]float64, k)
		for state := range other {
			if state != d.state {
				other[state] = 1
			}
		}
		s.push(&region{left: &told{left, v, other}, bound: min(n.bound, d.rest+margin)})
		left = &told{left, v, Hard(d.state, k)}
	}
	return s.weigh(states)
}

// weigh computes how probable a single assignment is, and puts it on the front unless
// it is impossible.
func (s *search) weigh(states []int) error {
	s.runs++
	w := s.m.work()
	defer s.m.release(w)
	sure := Evidence{}
	for i, v := range s.query {
		sure[v] = Hard(states[i], s.m.States(v))
	}
	ok, err := w.solve(s.ctx, s.and(sure), nil, false)
	if ok && err == nil {
		s.push(&region{states: states, bound: w.run.total.ln()})
	}
	return err
}

// and returns the evidence with a likelihood on other variables, or the same.
func (s *search) and(more Evidence) Evidence {
	all := maps.Clone(more)
	for v, l := range s.ev {
		if with, ok := all[v]; ok {
			l = Times(l, with)
		}
		all[v] = l
	}
	return all
}

func highest(rating []float64) int {
	best := 0
	for state, x := range rating {
		if x > rating[best] {
			best = state
		}
	}
	return best
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

// told is evidence, the last of it first. Most sets of assignments are never looked into, and
// each tells of as many variables as there are.
type told struct {
	before *told
	v      Var
	like   []float64
}

// evidence makes it what a model takes.
func (t *told) evidence() Evidence {
	ev := Evidence{}
	for ; t != nil; t = t.before {
		like := t.like
		if old, ok := ev[t.v]; ok {
			like = Times(old, like)
		}
		ev[t.v] = like
	}
	return ev
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
// there are none it makes one, by the likeliest state of one variable after the other.
// If there are too few, it tries those around the best.
func (s *search) makeDo(found []Explanation, k int) ([]Explanation, error) {
	singles := func() (all []*region) {
		for _, n := range s.front {
			if n.states != nil {
				all = append(all, n)
			}
		}
		slices.SortFunc(all, func(a, b *region) int { return cmp.Or(cmp.Compare(b.bound, a.bound), cmp.Compare(a.seq, b.seq)) })
		return all
	}
	if len(found) == 0 && len(singles()) == 0 {
		front := slices.SortedFunc(slices.Values(s.front), func(a, b *region) int {
			return cmp.Or(cmp.Compare(b.bound, a.bound), cmp.Compare(a.seq, b.seq))
		})
		for _, n := range front {
			if n.rating == nil {
				if err := s.look(n); err != nil {
					return nil, err
				}
			}
			if n.rating != nil {
				if err := s.dive(n); err != nil {
					return nil, err
				}
				break
			}
		}
	}
	if met := singles(); len(found)+len(met) < k && len(met) > 0 {
		if err := s.around(met[0], found, met, k); err != nil {
			return nil, err
		}
	}
	for _, n := range singles() {
		if len(found) < k {
			found = append(found, s.explanation(n))
		}
	}
	return found, nil
}

// around weighs assignments that differ from one by one variable, those first that
// the bounds think most of.
func (s *search) around(best *region, found []Explanation, met []*region, k int) error {
	type change struct {
		at, state int
		bound     float64
	}
	var changes []change
	for i, rating := range s.whole.rating {
		for state, x := range rating {
			if state != best.states[i] && !math.IsInf(x, -1) {
				changes = append(changes, change{i, state, x})
			}
		}
	}
	slices.SortStableFunc(changes, func(a, b change) int { return cmp.Compare(b.bound, a.bound) })
	for _, c := range changes[:min(len(changes), 2*k)] {
		states := slices.Clone(best.states)
		states[c.at] = c.state
		known := slices.ContainsFunc(met, func(n *region) bool { return slices.Equal(n.states, states) }) ||
			slices.ContainsFunc(found, func(e Explanation) bool { return slices.Equal(e.States, s.explanation(&region{states: states}).States) })
		if known {
			continue
		}
		if err := s.weigh(states); err != nil {
			return err
		}
	}
	return nil
}

// plainly is by how much, in ln, the bound on a variable's likeliest state must be above
// those on its others for a dive to settle it together with others of that kind.
const plainly = 5

// dive puts a single assignment of a region on the front. It settles the variables of
// which there is least doubt first, and all those together of which there is hardly any.
func (s *search) dive(n *region) error {
	states := slices.Repeat([]int{-1}, len(s.query))
	for left := len(states); left > 0; {
		surest, most := -1, math.Inf(-1)
		var many []int
		for i, rating := range n.rating {
			if states[i] >= 0 {
				continue
			}
			state, rest := highest(rating), math.Inf(-1)
			for other, x := range rating {
				if other != state {
					rest = max(rest, x)
				}
			}
			gap := rating[state] - rest
			if surest < 0 || gap > most {
				surest, most = i, gap
			}
			if gap >= plainly {
				many = append(many, i)
			}
		}
		next, err := s.settled(n, many)
		if err != nil {
			return err
		}
		if next == nil { // none, or not all together
			many = []int{surest}
			if next, err = s.settled(n, many); next == nil {
				return err // a state that rounding alone made likeliest
			}
		}
		for _, i := range many {
			states[i] = highest(n.rating[i])
		}
		left -= len(many)
		n = next
	}
	return s.weigh(states)
}

// settled is a region in which some variables have their likeliest states, looked into;
// nil for none of them, and where nothing is possible in it.
func (s *search) settled(n *region, which []int) (*region, error) {
	if len(which) == 0 {
		return nil, nil
	}
	more := n.left
	for _, i := range which {
		more = &told{more, s.query[i], Hard(highest(n.rating[i]), len(n.rating[i]))}
	}
	next := &region{left: more, bound: n.bound}
	if err := s.look(next); err != nil || next.rating == nil {
		return nil, err
	}
	return next, nil
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
