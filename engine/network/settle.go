package network

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"tidemark/engine/infer"
)

// budget is the size, as the binary logarithm of the numbers in all tables
// together, up to which a case is worked out as it stands; hardest is that for
// the widest of the three-level models, which is worked out once and in parts
// many times more.
const (
	budget  = 15.5
	hardest = 18.0
)

// wider is by how much more the choice is tried at the end, to see how far the
// numbers still move.
const wider = 2.5

// rounds is how often the choice of what to leave out is made anew from the
// posterior that the last choice gave.
const rounds = 3

// settle decides which rules are left out. Books couple nearly everything with
// nearly everything by rules of which, in a given case, hardly anything comes; a
// case of six cylinders would take tables of 2^30 numbers and more. So the rules
// are ranked by how much comes of them in this case: the chance that the source
// is there and the rule works, or, of a step that came about, the rule's share in
// bringing it about. Those that rank highest are kept as far as the budget goes.
// A rule left out becomes an independent chance of the same size, as likely as
// its source was before anything was found, or as what was found leaves it where
// that is less. Moved tells how far any probability still moves when about five
// times as many numbers are allowed.
func (g *Ground) settle() error {
	if g.thin != nil {
		return nil
	}
	g.thin = map[[2]int]bool{}
	ok, err := g.fits(budget)
	if err != nil || ok {
		return err
	}
	keep := g.ancestors(g.wanted())
	// How much comes of each rule: at first by base rates alone.
	p := slices.Clone(g.prior)
	g.stand = p
	weights := func(posterior []float64) []ranked {
		var out []ranked
		for i := range g.vars {
			v := &g.vars[i]
			if !keep[i] || v.kind != gate || i >= len(g.prior) || v.item == nil {
				continue
			}
			for k, e := range v.edges {
				flow := posterior[e.from] * e.pass
				share := 0.0
				if g.prior[i] > 0 {
					share = min(1, g.prior[e.from]*e.pass/g.prior[i]) * posterior[i]
				}
				out = append(out, ranked{[2]int{i, k}, max(flow, share)})
			}
		}
		slices.SortFunc(out, func(a, b ranked) int {
			return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.edge[0], b.edge[0]), cmp.Compare(a.edge[1], b.edge[1]))
		})
		return out
	}
	var last *Posterior
	for round := range rounds + 1 {
		room := budget
		if round == rounds {
			room += wider // to see how far the numbers still move
		}
		order := weights(p)
		// The longest beginning of the ranking that fits.
		var failed error
		n := sort.Search(len(order), func(n int) bool {
			g.leaveOut(order, n+1)
			ok, err := g.fits(room)
			if err != nil {
				failed = err
			}
			return !ok
		})
		if failed != nil {
			return failed
		}
		g.leaveOut(order, n)
		// What stands for a rule left out must not grow with the very damage that
		// the case is about, or it would seem that all had come about anyway.
		g.stand = slices.Clone(p)
		for i := range g.stand {
			if i < len(g.prior) {
				g.stand[i] = min(p[i], g.prior[i])
			}
		}
		now := &Plain{g: g}
		if now.m, err = g.build(plain, Test{}, g.wanted()); err != nil {
			return err
		}
		post, err := now.Posterior(nil)
		if err != nil {
			return err
		}
		if round == rounds {
			for _, it := range g.Items {
				if now.m.has(it.v) && last.m.has(it.v) {
					g.moved = max(g.moved, math.Abs(post.Item(it)-last.Item(it)))
				}
			}
			g.thin, g.stand = last.thin, last.stand
			return nil
		}
		last = post
		last.thin, last.stand = g.thin, g.stand
		for i := range p {
			switch {
			case now.m.has(i) && g.vars[i].item != nil:
				p[i] = post.Item(g.vars[i].item)
			case g.vars[i].kind == hit || g.vars[i].kind == reach || g.vars[i].kind == both:
				// Insides of rules follow their sources.
				p[i] = 1
				for _, e := range g.vars[i].edges {
					p[i] *= p[e.from] * e.pass
				}
				if g.vars[i].kind == hit {
					p[i] *= reachChance(g.vars[g.vars[i].edges[0].from].n)
				}
			case g.vars[i].kind == gate:
				// What is not in the model follows from what leads to it.
				none := 1 - g.vars[i].leak
				for _, e := range g.vars[i].edges {
					none *= 1 - p[e.from]*e.pass
				}
				p[i] = 1 - none
			}
		}
	}
	return nil
}

type ranked struct {
	edge   [2]int
	weight float64
}

// leaveOut leaves out all rules of a ranking after the first n.
func (g *Ground) leaveOut(order []ranked, n int) {
	g.thin = make(map[[2]int]bool, len(order))
	for _, r := range order[n:] {
		g.thin[r.edge] = true
	}
}

// fits tells whether what bears on the case takes no more room than this.
func (g *Ground) fits(room float64) (bool, error) {
	m, err := g.build(plain, Test{}, g.wanted())
	if err != nil {
		return false, err
	}
	var query []infer.Var
	for _, v := range g.wanted() {
		query = append(query, m.vars[v])
	}
	if m.m.Estimate(m.evidence(nil), query...).Log2 > room {
		return false, nil
	}
	if g.outcome < 0 {
		return true, nil
	}
	if m, err = g.build(blame, Test{Unlisted: true}, nil); err != nil {
		return false, err
	}
	return m.m.Estimate(m.evidence(nil)).Log2 <= room+hardest-budget, nil
}

// Moved is the most that any probability moved when the choice of rules to leave
// out was widened; 0 where nothing was left out and the answer is exact.
func (p *Plain) Moved() float64 { return p.g.moved }

// Exact tells whether nothing was left out.
func (p *Plain) Exact() bool { return len(p.g.thin) == 0 }
