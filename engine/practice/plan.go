package practice

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"

	"tidemark/engine"
	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// A plan names its leader when it is as good as sure, and an exercise counts as
// solvable where the model then gives what is right this much.
const (
	planSure   = 0.88
	planSurer  = 0.99 // where two causes had to do with it
	SolvableAt = 0.80
	planLooks  = 40 // a plan gives up after so many
)

// The planner is the crowd's own, and not engine.NextLooks, which asks the model: that takes
// a quarter to half a second for one look on the built-in book, even where it ranks
// roughly, and a plan has twenty or more; and it tells of presence or of blame of single
// leaders, where here the whole answer is asked for, two causes together among them. On
// small books each look is held against NextLooks (TestPlanNearExact), and what the plan
// arrives at is held against the model before anybody gets the exercise (reckon).

// Plan is looks in the order in which they tell most for each minute, taking off what
// hides them, until one answer is as good as sure or no look tells anything.
type Plan struct {
	Looks   []PlanLook
	Minutes float64
	// Leader is the answer at which it arrives, with how it stands, and Share how likely
	// that is among the worlds that fit; where it is open, Share is of the likeliest
	// single cause.
	Leader string
	Share  float64
	found  [][]Found
	fit    float64 // how many worlds still speak
	weight []float64
}

// PlanLook is a look of a plan.
type PlanLook struct {
	Sign    *rules.Sign
	Found   []Found
	Off     []*rules.Part
	Minutes float64
}

// plan works out the plan for an exercise, with what its looks find; told is what is
// known at the start. It sees no more than a person would: what it has found so far.
func (c *crowd) plan(b *bench, told [][]Found, found map[*rules.Sign][]Found, without int, sure float64) Plan {
	weight := c.even(without)
	p := Plan{weight: weight}
	asked := map[*rules.Sign]bool{}
	for _, look := range told {
		c.learn(weight, look)
		p.found = append(p.found, look)
		for _, f := range look {
			asked[f.Sign] = true
		}
	}
	for {
		p.Leader, p.Share = c.leader(weight)
		if p.Share >= sure || len(p.Looks) >= planLooks {
			break
		}
		bits := c.bits(weight, func(s *rules.Sign) bool { return asked[s] || found[s] == nil || b.lostBy(s) != nil })
		best, most := -1, 0.0
		for k, s := range c.signs {
			if bits[k] < engine.WorthTelling {
				continue
			}
			if rate := bits[k] / b.cost(s); rate > most+1e-12 {
				best, most = k, rate
			}
		}
		if best < 0 {
			break
		}
		s := c.signs[best]
		l := PlanLook{Sign: s, Found: found[s], Off: b.inFront(s.Part), Minutes: b.cost(s)}
		for _, off := range l.Off {
			b.do(act{evidence.ActOff, off.ID})
		}
		b.look(s)
		asked[s] = true
		c.learn(weight, l.Found)
		p.Looks, p.found = append(p.Looks, l), append(p.found, l.Found)
	}
	p.Minutes = b.minutes
	if p.Share < sure {
		_, p.Share = c.leading(weight)
	}
	sum, squares := 0.0, 0.0
	for _, w := range weight {
		sum, squares = sum+w, squares+w*w
	}
	if squares > 0 {
		p.fit = sum * sum / squares
	}
	return p
}

// cost is what a look takes now, with what must come off for it.
func (b *bench) cost(s *rules.Sign) float64 {
	m := lookMinutes(s)
	for _, p := range b.inFront(s.Part) {
		m += p.MinutesOff
	}
	return m
}

// leader is the answer that is most often so: which causes, and how they stand.
func (c *crowd) leader(weight []float64) (key string, share float64) {
	by, all := make([]float64, len(c.labels)), 0.0
	for i, w := range weight {
		all += w
		by[c.label[i]] += w
	}
	if all == 0 {
		return "", 0
	}
	best := 0
	for l, w := range by {
		if w > by[best] {
			best = l
		}
	}
	return c.labels[best], by[best] / all
}

// leading is the cause that is most often a right answer.
func (c *crowd) leading(weight []float64) (id string, share float64) {
	ids := c.likeliest(weight, 1)
	if len(ids) == 0 {
		return "", 0
	}
	return ids[0], c.share(weight, func(t *Truth) bool { return t.IsRight(ids[0]) })
}

// reckoned is what the model itself makes of findings: how likely each of some causes
// is to blame, or, where either would have done, to have acted.
func reckoned(ctx context.Context, book *rules.Book, c *evidence.Case, how string, ids []string) (map[string]float64, error) {
	g := network.New(book, c)
	g.Observe(c)
	if err := g.Ask(c.Question, c.At); err != nil {
		return nil, err
	}
	if _, err := g.Plain(ctx); err != nil {
		return nil, err
	}
	out := map[string]float64{}
	for _, id := range ids {
		t := network.Test{Items: g.ItemsOf(book.Node(id))}
		if len(t.Items) == 0 {
			continue
		}
		ask := g.Blame
		if how == EitherDid {
			ask = g.Acted
		}
		p, err := ask(ctx, t)
		if err != nil {
			return nil, err
		}
		out[id] = p
	}
	return out, nil
}

// likeliest are the causes most often right by these weights, likeliest first.
func (c *crowd) likeliest(weight []float64, n int) []string {
	by := map[string]float64{}
	for i, w := range weight {
		if w > 0 {
			for _, id := range c.truths[i].Right {
				by[id] += w
			}
		}
	}
	var ids []string
	for id := range by {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int { return cmp.Or(cmp.Compare(by[b], by[a]), cmp.Compare(a, b)) })
	return ids[:min(n, len(ids))]
}

// looksOf settles what looks find in a world, by sign.
func looksOf(c *crowd, w *network.World, rng *rand.Rand) (map[*rules.Sign][]Found, []network.Shown) {
	shown := w.Looks(rng)
	out := map[*rules.Sign][]Found{}
	g := c.s.Ground()
	for i, v := range c.views {
		out[v.Sign] = append(out[v.Sign], Found{Sign: v.Sign, Index: v.Index, At: g.PositionName(v.Sign.Part, v.Index), Seen: shown[i].Seen, view: i})
	}
	return out, shown
}
