package network

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"sync"

	"tidemark/engine/infer"
	"tidemark/rules"
)

// DefaultBudget is the size, as the binary logarithm of the numbers in all tables
// together, up to which the plain model is worked out as it stands. It is asked
// hundreds of times for a case; so a three-level model, which is asked once for
// each candidate, may be larger: by forBlame, by forActed, which decides less, or,
// for all unlisted causes at once, the widest, by forUnlisted.
const (
	DefaultBudget = 15.5
	forBlame      = 5
	forActed      = 3
	forUnlisted   = 6.5
)

// BudgetOf is the budget with which the tables of the largest question take about so
// many bytes, by the estimate of its plan; what is held while it is worked out can be a
// few times that. MemoryOf is the reverse.
func BudgetOf(bytes int64) float64 { return math.Log2(float64(bytes)/8) - forUnlisted }

// MemoryOf is about what the tables of the largest question take, in bytes.
func MemoryOf(budget float64) int64 { return int64(8 * math.Exp2(budget+forUnlisted)) }

// wider is by how much more room the choice of what to leave out is tried once,
// to see how far the numbers still move; narrower are by how much less it gets
// where a three-level model would not fit otherwise. Where the numbers move by more
// than is tolerable, all is done once more with the room of the check.
const (
	wider     = 2.5
	tolerable = 0.04
)

var narrower = [...]struct{ less, about float64 }{{0, 1}, {1, 0.9}, {2, 0.7}, {3.5, 0.3}, {5, 0.2}}

// A number is first sketched with one of the narrower choices, if that takes no
// more room than this, and is left at that if it is small. A choice that leaves out
// a rule of which more comes is no sketch: what it shows to be small may be what hangs
// on that rule.
const (
	sketch    = 3
	forSketch = 2.5
	small     = 0.05
)

// forExplaining is which of the narrower choices explanations are sought in: their
// search asks the model for maxima, which takes far larger tables than sums.
const forExplaining = 2

// firstGuess is how many rules are usually kept: where the search for how many can be
// begins.
const firstGuess = 512

// rounds is how often the choice of what to leave out is made anew from the
// posterior that the last choice gave.
const rounds = 3

// settle decides which rules are left out. Books couple nearly everything with
// nearly everything by rules of which, in a given case, hardly anything comes; a
// case of six cylinders would take tables of 2^60 numbers and more. So the rules
// are ranked by how much comes of them in this case: the chance that the source
// is there and the rule works, or, of a step that came about, the rule's share in
// bringing it about. Those that rank highest are kept as far as the budget goes.
// A rule left out becomes an independent chance of the same size, as likely as
// its source was before anything was found, or as what was found leaves it where
// that is less.
//
// Of the same ranking, more is kept once, to see how far the probabilities still
// move (wide), and less for three-level models that would not fit (coarse).
func (g *Ground) settle(ctx context.Context) error {
	if g.thin != nil {
		return nil
	}
	g.thin, g.edgesBefore = &leftOut{}, make([]int32, len(g.vars)+1)
	for i := range g.vars {
		g.edgesBefore[i+1] = g.edgesBefore[i] + int32(len(g.vars[i].edges))
	}
	if ok, err := g.fitsWhole(ctx); err != nil || ok {
		return err
	}
	keep := g.ancestors(g.wanted())
	// How much comes of each rule: at first by base rates alone.
	p := slices.Clone(g.prior)
	c, sway, err := g.choose(ctx, keep, p, nil, 0, rounds)
	if err == nil && g.moved > tolerable {
		// It moved too far: once more with as much room as the check had.
		c, _, err = g.choose(ctx, keep, p, sway, wider, 2)
	}
	if err != nil {
		return err
	}
	g.narrow(c)
	for _, it := range []*Ground{g, g.wide} {
		it.frame, it.upward = &frame{of: it}, &upward{}
	}
	return nil
}

// choice is a ranking of rules, how many of it are kept, and how likely things were
// taken to be when it was made.
type choice struct {
	order []ranked
	kept  int
	p     []float64
}

// coarse is a choice that leaves out more, made when it is first asked for.
type coarse struct {
	make  func(ctx context.Context) (*Ground, error)
	mutex sync.Mutex
	made  *Ground
}

func (c *coarse) get(ctx context.Context) (*Ground, error) {
	c.mutex.Lock()
	defer c.mutex.Unlock()
	if c.made == nil {
		made, err := c.make(ctx)
		if err != nil {
			return nil, err
		}
		c.made = made
	}
	return c.made, nil
}

// like are the coarse choices of a ground that differs in something else.
func like(of []*coarse, as func(*Ground) *Ground) []*coarse {
	var out []*coarse
	for _, c := range of {
		out = append(out, &coarse{make: func(ctx context.Context) (*Ground, error) {
			made, err := c.get(ctx)
			if err != nil {
				return nil, err
			}
			return as(made), nil
		}})
	}
	return out
}

// narrow readies the choices that leave out more, for three-level models that would not
// fit otherwise.
func (g *Ground) narrow(c choice) {
	for _, n := range narrower {
		g.coarse = append(g.coarse, &coarse{make: func(ctx context.Context) (*Ground, error) {
			kept, err := g.with(g.thin, g.stand).most(ctx, c.order, g.Budget-n.less, c.kept, int(n.about*float64(c.kept)))
			if err != nil {
				return nil, err
			}
			more := g.with(nil, nil)
			more.leaveOut(c.order, kept, c.p)
			more.frame, more.upward = &frame{of: more}, &upward{}
			return more, nil
		}})
	}
}

// choose chooses what is left out, with so much more room than the budget for the
// plain model, from how likely things are taken to be (p), which it brings up to date,
// and from what hangs on each step (sway), which it returns anew.
func (g *Ground) choose(ctx context.Context, keep []bool, p []float64, sway *sway, extra float64, rounds int) (choice, *sway, error) {
	var post *Posterior
	n, err := 0, error(nil)
	for range rounds {
		order := g.rank(keep, p, sway)
		if n, err = g.most(ctx, order, g.Budget+extra, len(order), cmp.Or(n, min(firstGuess, len(order)))); err != nil {
			return choice{}, nil, err
		}
		g.leaveOut(order, n, p)
		if post, sway, err = g.now(ctx); err != nil {
			return choice{}, nil, err
		}
		g.update(p, post)
	}
	g.beside = slices.Clone(p)
	for i := range g.beside {
		if !keep[i] && g.vars[i].kind != root {
			g.beside[i] = 0
		}
	}
	g.leftOver(p)
	order, kept := g.rank(keep, p, sway), n
	made := choice{order, kept, slices.Clone(p)}
	if n, err = g.with(g.thin, g.stand).most(ctx, order, g.Budget+extra+wider, len(order), kept); err != nil {
		return choice{}, nil, err
	}
	g.wide = g.with(nil, nil)
	g.wide.leaveOut(order, n, p)
	more, sway, err := g.wide.now(ctx)
	var clash *infer.Contradiction
	if errors.As(err, &clash) {
		return made, nil, nil // told where the findings are inferred
	}
	if err != nil {
		return choice{}, nil, err
	}
	g.moved = 0
	for _, it := range g.Items {
		// A step of which nothing is left is not told at all.
		if keep[it.v] && (post.m.has(it.v) || it.Node.Kind == rules.Cause) {
			g.moved = max(g.moved, math.Abs(more.Item(it)-post.Item(it)))
		}
	}
	g.update(p, more)
	return made, sway, nil
}

// with is the same ground with another choice of what is left out.
func (g *Ground) with(thin *leftOut, stand []float64) *Ground {
	n := *g
	n.thin, n.stand, n.coarse, n.wide, n.frame, n.upward = thin, stand, nil, nil, nil, nil
	return &n
}

// now infers under the choice as it stands, and what hangs on each step.
func (g *Ground) now(ctx context.Context) (*Posterior, *sway, error) {
	m, err := g.build(plain, Test{}, g.wanted())
	if err != nil {
		return nil, nil, err
	}
	p := &Plain{g: g, m: m}
	post, c, err := p.slopes(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer c.Release()
	return post, post.sway(c), nil
}

// update takes over a posterior into p; what is not in its model follows from
// what leads to it.
func (g *Ground) update(p []float64, post *Posterior) {
	for i := range p {
		v := &g.vars[i]
		switch {
		case post.m.has(i) && v.item != nil:
			p[i] = post.Item(v.item)
		case v.kind == kindAt:
			p[i] = p[v.edges[0].from] / float64(g.vars[v.edges[1].from].n)
		case v.kind == hit || v.kind == reach || v.kind == both:
			// Insides of rules follow their sources.
			p[i] = 1
			for _, e := range v.edges {
				p[i] *= p[e.from] * e.pass
			}
		case v.kind == gate:
			none := 1 - v.leak
			for _, e := range v.edges {
				none *= 1 - p[e.from]*e.pass
			}
			p[i] = 1 - none
		}
	}
}

type ranked struct {
	edge   [2]int
	weight float64
}

// share is how likely, by base rates, a rule had a part in bringing about what it runs to.
func (g *Ground) share(to int, e edge, p []float64) float64 {
	if g.prior[to] <= 0 {
		return 0
	}
	return min(1, g.prior[e.from]*e.pass/g.prior[to]) * p[to]
}

// leftOver estimates how likely a cause is of which nothing is left in the model:
// as likely as before, or as the greatest share that a rule of it had in something
// that came about, among all that may have brought it about as things stand. Through
// that its blame is told, if it must be.
func (g *Ground) leftOver(p []float64) {
	g.passages = map[int]passage{}
	for i := range p {
		v := &g.vars[i]
		if v.kind != gate || v.item == nil || p[i] <= 0 {
			continue
		}
		none := 1 - v.leak
		for _, e := range v.edges {
			none *= 1 - p[e.from]*e.pass
		}
		for _, e := range v.edges {
			from := g.behind(e.from)
			if g.vars[from].kind != root || g.vars[from].item.Node.Kind != rules.Cause || g.prior[e.from] <= 0 {
				continue
			}
			here := min(1, p[e.from]*e.pass/(1-none))
			if share := here * p[i]; share > g.passages[from].share*p[max(0, g.passages[from].to)] {
				g.passages[from] = passage{i, here}
				g.beside[from] = max(g.beside[from], share)
			}
		}
	}
}

// passage is the step through which most comes of a cause, and which share of that
// step's occurrences is taken to be its doing.
type passage struct {
	to    int
	share float64
}

// behind is the variable behind the insides of a rule.
func (g *Ground) behind(v int) int {
	for g.vars[v].item == nil && (g.vars[v].kind == gate || g.vars[v].kind == hit || g.vars[v].kind == reach || g.vars[v].kind == kindAt) {
		v = g.vars[v].edges[0].from
	}
	return v
}

// sway is, by variable, what hangs on a step in this case.
type sway struct {
	// boost is how many times more likely all that was found would be if one more thing
	// brought the step about; 1 where the model does not tell.
	boost []float64
	// acts is at most how likely it acted, and known whether the model tells.
	acts  []float64
	known []bool
}

// sway makes a rule count that was left out and would explain much, and one count less
// that brings about what neither findings nor outcome hang on.
func (p *Posterior) sway(c *infer.Calibration) *sway {
	g := p.m.g
	out := &sway{make([]float64, len(g.vars)), p.m.actedBounds(c), make([]bool, len(g.vars))}
	for i := range g.vars {
		out.boost[i] = 1
		v := &g.vars[i]
		if v.kind != gate || v.item == nil || !p.m.has(i) {
			continue
		}
		none := 1 - v.leak
		for k, e := range v.edges {
			if g.thin.rule(i, k) {
				none *= 1 - g.stand[e.from]*e.pass
			}
		}
		x := p.m.vars[i]
		out.boost[i] = max(0, 1+none*(c.LeakSlope(x, 1)-c.LeakSlope(x, 0)))
		out.known[i] = true
	}
	return out
}

// matters is by how much, up to 1, what brings a step about matters to the case: by
// what was found that hangs on it; and by whether it acted, or is likelier or less
// likely than before anything was found, so that it asks what brought it about.
func (s *sway) matters(i int, before, now float64) (forward, share float64) {
	if s == nil || !s.known[i] {
		return 1, 1
	}
	forward = min(1, math.Abs(s.boost[i]-1))
	share = max(s.acts[i], math.Abs(now-before)/max(now, before, 1e-12))
	return forward, min(1, share)
}

// samePlaces is how much it counts that two rules of a source get to the same
// positions, against the rule of which less comes. Without it each still comes
// about as often, and only what one tells of the other is lost; so it goes before
// the rule does. If both counted alike, P054 would be told within 12 in 100 only,
// for rules would have to go instead; with a third it is 4.
const samePlaces = 1.0 / 3

// rank orders the rules by how much comes of them, given how likely each thing
// is, and that the "first" rules of a source get to the same positions; most first.
func (g *Ground) rank(keep []bool, p []float64, sway *sway) []ranked {
	var out []ranked
	of := map[int]float64{} // by "first" rule: the most that comes of it at one position
	for i := range g.vars {
		v := &g.vars[i]
		if keep[i] && v.kind == hit && i >= len(g.prior) {
			of[v.edges[0].from] = 1 // it runs to a finding
		}
		if !keep[i] || v.kind != gate || i >= len(g.prior) || v.item == nil {
			continue
		}
		forward, shared := sway.matters(i, g.prior[i], p[i])
		for k, e := range v.edges {
			w := max(p[e.from]*e.pass*forward, g.share(i, e, p)*shared)
			if sway != nil && sway.known[i] && g.thin.rule(i, k) {
				w = max(w, min(1, p[e.from]*e.pass*math.Abs(sway.boost[i]-1)))
			}
			out = append(out, ranked{[2]int{i, k}, w})
			if h := &g.vars[e.from]; h.kind == hit {
				of[h.edges[0].from] = max(of[h.edges[0].from], w)
			}
		}
	}
	most := map[int][2]float64{} // by extent, of the two rules of which most comes
	for r, w := range of {
		m := most[g.vars[r].far]
		most[g.vars[r].far] = [2]float64{max(w, m[0]), max(min(w, m[0]), m[1])}
	}
	for far, m := range most {
		if m[1] > 0 {
			out = append(out, ranked{apart(far), m[1] * samePlaces})
		}
	}
	slices.SortFunc(out, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.edge[0], b.edge[0]), cmp.Compare(a.edge[1], b.edge[1]))
	})
	return out
}

// nearly is to one in how many rules it is found how many can be kept.
const nearly = 40

// most is how many of a ranking can be kept within a size, at most limit, to nearly one
// in so many. It looks around a guess first, since each try costs a model, and goes by
// the sizes that the tries come to. It leaves the choice in the ground undefined.
func (g *Ground) most(ctx context.Context, order []ranked, room float64, limit, guess int) (int, error) {
	if limit == 0 {
		return 0, nil
	}
	numbers := []int{0}
	from := 0
	for n := 1; n < limit; n += 1 + n/nearly {
		if n <= guess {
			from = len(numbers)
		}
		numbers = append(numbers, n)
	}
	numbers = append(numbers, limit)
	// What fits, and what does not, with their sizes; nothing kept always fits.
	low, high := 0, len(numbers)
	under, over := math.Inf(-1), math.Inf(1)
	at := max(1, from)
	for step := 2; low+1 < high; {
		g.leaveOut(order, numbers[at], nil)
		size, fits, err := g.size(ctx, room)
		if err = cmp.Or(err, ctx.Err()); err != nil {
			return 0, err
		}
		if fits {
			low, under = at, size
		} else {
			high, over = at, size
		}
		switch {
		case low == 0: // nothing fitted yet
			at, step = at-step, 2*step
		case high == len(numbers):
			at, step = at+step, 2*step
		case over < room+1:
			at = low + int(float64(high-low)*(room-under)/(over-under))
		default:
			at = (low + high) / 2
		}
		at = max(low+1, min(at, high-1))
	}
	n := numbers[low]
	// Rules that rank alike stay or go together, or cylinders that are alike would
	// not be treated alike.
	for n > 0 && n < len(order) && order[n].weight > order[n-1].weight*(1-alike) {
		n--
	}
	return n, nil
}

// alike is how near two weights are that differ by rounding alone.
const alike = 1e-6

// leaveOut leaves out all rules of a ranking after the first n. What stands for
// one left out must not grow with the very damage that the case is about, or it
// would seem that all had come about anyway.
func (g *Ground) leaveOut(order []ranked, n int, p []float64) {
	last := len(g.edgesBefore) - 1
	g.thin = &leftOut{before: g.edgesBefore[:last], edges: make([]bool, g.edgesBefore[last]), apart: map[int]bool{}}
	g.heaviest = 0
	for _, r := range order[n:] {
		if r.edge == apart(r.edge[0]) {
			g.thin.apart[r.edge[0]] = true
		} else {
			g.thin.edges[int(g.edgesBefore[r.edge[0]])+r.edge[1]] = true
			g.heaviest = max(g.heaviest, r.weight)
		}
	}
	g.stand = g.prior
	if p != nil {
		g.stand = slices.Clone(p)
		for i := range g.stand {
			if i < len(g.prior) {
				g.stand[i] = min(p[i], g.prior[i])
			}
		}
	}
}

// size is the binary logarithm of what bears on the case, and whether that takes no more
// room than this.
func (g *Ground) size(ctx context.Context, room float64) (float64, bool, error) {
	m, err := g.build(plain, Test{}, g.wanted())
	if err != nil {
		return 0, false, err
	}
	var query []infer.Var
	for _, v := range g.wanted() {
		query = append(query, m.vars[v])
	}
	size, fits := m.m.Size(ctx, room, m.evidence(nil), query...)
	return size, fits, nil
}

// fitsWhole tells whether nothing need be left out: neither for the plain model
// nor for the widest of the three-level ones.
func (g *Ground) fitsWhole(ctx context.Context) (bool, error) {
	if _, ok, err := g.size(ctx, g.Budget); !ok || err != nil || g.outcome < 0 {
		return ok, err
	}
	m, err := g.build(blame, Test{Unlisted: true}, nil)
	if err != nil {
		return false, err
	}
	return m.m.Within(ctx, g.Budget+forUnlisted, m.evidence(nil)), nil
}

// Moved is the most that the presence of anything moved when about five times as
// many numbers were allowed; 0 where nothing was left out and the answer is
// exact.
func (p *Plain) Moved() float64 { return p.g.moved }

// Exact tells whether nothing was left out.
func (p *Plain) Exact() bool { return p.g.coarse == nil }

// BlameMoves tells how far a blame still moves when less is left out; or where
// there is no room for that, by how much it moved when more was.
func (g *Ground) BlameMoves(ctx context.Context, t Test, blamed float64) (float64, error) {
	if g.coarse == nil {
		return 0, nil
	}
	if g.wide.runs(t) {
		other, fits, err := g.wide.level(ctx, blame, t, g.Budget+forUnlisted)
		if fits || err != nil {
			return math.Abs(other - blamed), err
		}
	}
	// The first of the coarser choices that fits may be the one in force.
	most, n := 0.0, 0
	for i := 0; i < len(g.coarse) && n < 2; i++ {
		room := g.Budget + forUnlisted
		if i == len(g.coarse)-1 {
			room = math.Inf(1)
		}
		c, err := g.coarser(ctx, i, t)
		if err != nil {
			return 0, err
		}
		other, fits, err := c.level(ctx, blame, t, room)
		if err != nil {
			return 0, err
		}
		if fits {
			most, n = max(most, math.Abs(other-blamed)), n+1
		}
	}
	return most, nil
}

// sketching is which of the coarse choices numbers are sketched with, or -1.
func (g *Ground) sketching(ctx context.Context) (int, error) {
	for i := min(sketch, len(g.coarse)-1); i >= 0; i-- {
		if c, err := g.coarse[i].get(ctx); err != nil || c.heaviest < small {
			return i, err
		}
	}
	return -1, nil
}

// Foresee prepares for questions after these: that to sketch them takes one model, in which
// the surest ways of all of them are kept, rather than one for each.
func (g *Ground) Foresee(ctx context.Context, tests []Test) error {
	if g.changed || g.outcome < 0 {
		return nil
	}
	i, err := g.sketching(ctx)
	if i < 0 || err != nil {
		return err
	}
	c, err := g.coarse[i].get(ctx)
	if err != nil {
		return err
	}
	above := c.above()
	var missing []int
	for _, t := range tests {
		if t.Unlisted || t.Many || !g.runs(t) {
			continue
		}
		for _, it := range t.Items {
			if !above[it.v] {
				missing = append(missing, it.v)
			}
		}
	}
	if len(missing) == 0 {
		return nil
	}
	n := g.bringBack(c, missing)
	if _, fits, err := n.size(ctx, g.Budget); err != nil || !fits {
		return err
	}
	n.frame, n.upward = &frame{of: n}, &upward{}
	g.foreseen = n
	return nil
}

// coarser is one of the coarse choices, in which at least the surest ways from each
// thing under test to the outcome are kept.
func (g *Ground) coarser(ctx context.Context, i int, t Test) (*Ground, error) {
	c, err := g.coarse[i].get(ctx)
	if err != nil || t.Unlisted || t.Many {
		return c, err
	}
	above := c.above()
	var missing []int
	for _, it := range t.Items {
		if !above[it.v] {
			missing = append(missing, it.v)
		}
	}
	if len(missing) == 0 {
		return c, nil
	}
	return g.bringBack(c, missing), nil
}

// bringBack is a choice with the surest ways to the outcome from some variables that it
// leaves out.
func (g *Ground) bringBack(c *Ground, missing []int) *Ground {
	// How surely each variable leads on to the outcome, by what is kept here.
	chance := make([]float64, len(g.vars))
	chance[g.outcome] = 1
	type onward struct{ to, edge int }
	ways := make([][]onward, len(g.vars))
	for v := len(g.vars) - 1; v >= 0; v-- {
		if chance[v] == 0 {
			continue
		}
		for k, e := range g.vars[v].edges {
			if !g.thin.rule(v, k) {
				chance[e.from] = max(chance[e.from], chance[v]*max(e.pass, 1e-6))
				ways[e.from] = append(ways[e.from], onward{v, k})
			}
		}
	}
	back := *c.thin
	back.edges = slices.Clone(back.edges)
	n := c.with(&back, c.stand)
	done := make([]bool, len(g.vars))
	for len(missing) > 0 {
		v := missing[0]
		missing = missing[1:]
		if done[v] {
			continue
		}
		done[v] = true
		for _, w := range ways[v] {
			// Of ways that are equally sure, all: positions that are alike stay so.
			if chance[w.to]*max(g.vars[w.to].edges[w.edge].pass, 1e-6) >= chance[v]*(1-alike) {
				back.edges[int(back.before[w.to])+w.edge] = false
				missing = append(missing, w.to)
			}
		}
	}
	return n
}
