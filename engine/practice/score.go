package practice

import (
	"context"
	"math"
	"slices"
	"strings"

	"tidemark/engine"
	"tidemark/engine/network"
	"tidemark/rules"
)

// Result is how a game went.
type Result struct {
	Guesses []Judged
	// Bits is the sum over all that was said: of each, the binary logarithm of the
	// probability given to what turned out to be so, less that of what base rates give
	// it. Nobody does better on average than by saying what he believes (I. J. Good,
	// Rational decisions, 1952).
	Bits float64
	// Chain is how far the chain drawn and the way it went are the same: twice what
	// they share, over the length of both (Dice); the best of the ways it went.
	Chain     float64
	ChainHit  []string // on both
	ChainOff  []string // drawn, and not on the way
	ChainMiss []string // on the way, and not drawn
	Minutes   float64
	Idle      []Idle
	IdleTime  float64
	Destroyed []Destroyed

	// Now is what the book makes of all that the player found, for what is right:
	// nothing less than that could be had from it.
	Now      float64
	Settling *Settling
	Missed   *Missed
	Traps    []Trap
}

// Judged is a guess and what came of it.
type Judged struct {
	Guess
	Base  float64
	Right bool
	Bits  float64
	// Nodes are what was named; none for that it cannot be determined.
	Nodes []*rules.Node
	// There and Acted tell of one that was named in vain.
	There, Acted bool
}

// Idle is a look that could not have changed anything.
type Idle struct {
	Sign *rules.Sign
	Bits float64
}

// Settling is the look not made that would have told most.
type Settling struct {
	Sign  *rules.Sign
	Found []Found
	Would float64 // how likely what is right would then have been, by the book
}

// Missed is the strongest finding that was there and was not looked for.
type Missed struct {
	Sign     *rules.Sign
	Found    []Found
	Decibans float64 // for what is right, against all else
}

// Trap is something that was there, was seen, and was not to blame.
type Trap struct {
	Node  *rules.Node
	Signs []*rules.Sign
}

// bits is the score of saying p of something for which base rates say base.
func bits(said, base float64, so bool) float64 {
	if so {
		return math.Log2(said / base)
	}
	return math.Log2((1 - said) / (1 - base))
}

// Score judges a game. It asks the model a few times, which takes a while.
func (g *Game) Score(ctx context.Context) (*Result, error) {
	x := g.X
	r := &Result{Minutes: g.Minutes(), Destroyed: g.Destroyed}
	for _, guess := range g.Guesses {
		j := Judged{Guess: guess}
		for _, id := range guess.Causes {
			j.Nodes = append(j.Nodes, x.book.Node(id))
		}
		switch id := guess.Cause(); {
		case len(guess.Causes) == 0:
			j.Base, j.Right = x.BaseOpen(), x.Open
		case guess.How != "":
			j.Base = x.BaseTogether(guess.How, guess.Causes)
			j.Right = x.Truth.How == guess.How && slices.Equal(x.Truth.Right, guess.Causes)
		default:
			j.Base, j.Right = x.Base(id), x.Truth.IsRight(id)
			for _, p := range x.Truth.There {
				if p.ID == id {
					j.There, j.Acted = true, p.Acted
				}
			}
		}
		j.Bits = bits(j.Said, j.Base, j.Right)
		r.Bits += j.Bits
		r.Guesses = append(r.Guesses, j)
	}
	g.chain(r)
	if err := g.idle(ctx, r); err != nil {
		return nil, err
	}
	if err := g.feedback(ctx, r); err != nil {
		return nil, err
	}
	g.traps(r)
	return r, nil
}

// chain holds the chain drawn against the ways it went. The cause named at first
// counts as its beginning.
func (g *Game) chain(r *Result) {
	drawn := slices.Clone(g.Chain)
	var first []string
	if len(g.Guesses) > 0 && len(drawn) > 0 && !slices.ContainsFunc(g.Guesses[0].Causes, func(id string) bool { return slices.Contains(drawn, id) }) {
		first = g.Guesses[0].Causes
	}
	all := drawn
	best := -1.0
	for _, way := range g.X.Truth.Ways {
		drawn := all
		// Of causes named together each begins a way of its own.
		for i, id := range first {
			if id == way[0] || i == len(first)-1 {
				drawn = append([]string{id}, all...)
				break
			}
		}
		var hit, off, miss []string
		for _, id := range way {
			if slices.Contains(drawn, id) {
				hit = append(hit, id)
			} else {
				miss = append(miss, id)
			}
		}
		for _, id := range drawn {
			if !slices.Contains(way, id) {
				off = append(off, id)
			}
		}
		if d := 2 * float64(len(hit)) / float64(len(way)+len(drawn)); d > best {
			best = d
			r.Chain, r.ChainHit, r.ChainOff, r.ChainMiss = d, hit, off, miss
		}
	}
	if best < 0 {
		r.ChainOff = all
		if len(first) == 1 {
			r.ChainOff = append(slices.Clone(first), all...)
		}
	}
}

// leadingCauses is over how many causes a look is weighed.
const leadingCauses = 8

// idle finds the looks that could not have changed anything: whatever they would have
// found, no leading cause would have become much more or less likely, by what was
// known before. All looks stand in one model, and are taken away from the last to the
// first.
func (g *Game) idle(ctx context.Context, r *Result) error {
	x := g.X
	var looks [][]Found
	for _, l := range g.Looks {
		looks = append(looks, l.Found)
	}
	c, ids := noted(x.Case, looks)
	net := network.New(x.book, c)
	net.Observe(c)
	if err := net.Ask(c.Question, c.At); err != nil {
		return err
	}
	plain, err := net.Plain(ctx)
	if err != nil {
		return err
	}
	_, at := net.Asked()
	bears := net.Above(at)
	without := map[string]bool{}
	after, err := plain.Posterior(ctx, nil)
	if err != nil {
		return err
	}
	for i, l := range slices.Backward(g.Looks) {
		if l.Told {
			continue
		}
		for _, id := range ids[i] {
			without[id] = true
		}
		before, err := plain.Posterior(ctx, without)
		if err != nil {
			return err
		}
		if told := expected(net, bears, before, after); told < engine.WorthTelling {
			r.Idle = append(r.Idle, Idle{l.Sign, told})
			r.IdleTime += l.Minutes
		}
		after = before
	}
	slices.Reverse(r.Idle)
	return nil
}

// expected is how much a look was expected to tell, in bits over the leading causes:
// it found what it found, or would have found something else.
func expected(g *network.Ground, bears map[*network.Item]bool, before, after *network.Posterior) float64 {
	type moved struct{ before, after float64 }
	var all []moved
	for _, n := range g.Book.ByKind(rules.Cause) {
		items := g.ItemsOf(n)
		switch f := g.FamilyOf(n); {
		case len(items) == 0 || !bears[items[0]]:
			// Whether it is there or not, it did not do this.
		case f != nil:
			all = append(all, moved{before.Family(f), after.Family(f)})
		case len(items) == 1:
			all = append(all, moved{before.Item(items[0]), after.Item(items[0])})
		}
	}
	slices.SortStableFunc(all, func(a, b moved) int {
		switch x, y := max(b.before, b.after), max(a.before, a.after); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	p := min(1, math.Exp(after.LogP-before.LogP)) // chance of what was found
	sum := 0.0
	for _, m := range all[:min(leadingCauses, len(all))] {
		other := m.before
		if p < 1-1e-9 {
			other = max(0, min(1, (m.before-p*m.after)/(1-p)))
		}
		sum += max(0, entropy(m.before)-p*entropy(m.after)-(1-p)*entropy(other))
	}
	return sum
}

func entropy(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log2(p) - (1-p)*math.Log2(1-p)
}

// feedback finds what the book makes of what was found, which look would have told
// most, and what was there and was missed.
func (g *Game) feedback(ctx context.Context, r *Result) error {
	x := g.X
	if len(x.Truth.Right) == 0 || x.Open {
		return nil
	}
	var looks [][]Found
	weight := x.crowd.even(x.own)
	for _, l := range g.Looks {
		looks = append(looks, l.Found)
		x.crowd.learn(weight, l.Found)
	}
	var err error
	if r.Now, err = x.likely(ctx, looks); err != nil {
		return err
	}
	right := func(t *Truth) bool { return x.matches(t) }
	least := x.crowd.share(weight, right)
	var best *rules.Sign
	for _, s := range x.crowd.signs {
		found := x.found[s]
		if g.looked[s] || found == nil {
			continue
		}
		then := slices.Clone(weight)
		x.crowd.learn(then, found)
		if p := x.crowd.share(then, right); p > least+1e-9 {
			best, least = s, p
		}
		if !slices.ContainsFunc(found, func(f Found) bool { return f.Seen }) {
			continue
		}
		if db := x.crowd.strength(x.own, found, right); db > 3 && (r.Missed == nil || db > r.Missed.Decibans+1e-9) {
			r.Missed = &Missed{s, found, db}
		}
	}
	if best == nil || r.Now >= engine.DeterminedAt {
		return nil
	}
	would, err := x.likely(ctx, append(slices.Clone(looks), x.found[best]))
	if err != nil {
		return err
	}
	if would > r.Now {
		r.Settling = &Settling{best, x.found[best], would}
	}
	return nil
}

// matches tells whether in another world the same is right.
func (x *Exercise) matches(t *Truth) bool {
	if x.Real {
		return slices.ContainsFunc(x.Truth.Right, func(id string) bool { return t.IsRight(id) || t.blamed(id) })
	}
	return t.key() == x.Truth.key()
}

// likely is how likely what is right is by the model, given looks: of several that are
// right together the least.
func (x *Exercise) likely(ctx context.Context, looks [][]Found) (float64, error) {
	c, _ := noted(x.Case, looks)
	p, err := reckoned(ctx, x.book, c, x.Truth.How, x.Truth.Right)
	if err != nil {
		return 0, err
	}
	least, most := 1.0, 0.0
	for _, v := range p {
		least, most = min(least, v), max(most, v)
	}
	if x.Real {
		return most, nil // any of what was confirmed will do
	}
	return x.told(least), nil
}

// strength is for how much something found tells, in decibans, of worlds in which
// something is so against all others.
func (c *crowd) strength(without int, found []Found, so func(*Truth) bool) float64 {
	like := func(is bool) float64 {
		weight := c.even(without)
		all, fit := 0.0, 0.0
		for i, w := range weight {
			if w == 0 || so(&c.truths[i]) != is {
				continue
			}
			all += w
			for _, f := range found {
				if f.view < 0 {
					continue
				}
				if p := float64(c.chance[f.view][i]); f.Seen {
					w *= p
				} else {
					w *= 1 - p
				}
			}
			fit += w
		}
		if all == 0 {
			return 0
		}
		return fit / all
	}
	a, b := like(true), like(false)
	if a == 0 || b == 0 {
		return 0
	}
	return 10 * math.Log10(a/b)
}

// traps lists what was there and seen, and was not to blame.
func (g *Game) traps(r *Result) {
	for _, p := range g.X.Truth.There {
		if p.Acted || p.Blame {
			continue
		}
		t := Trap{Node: p.Node}
		for _, l := range g.Looks {
			seen := slices.ContainsFunc(l.Found, func(f Found) bool {
				if !f.Seen || g.X.Real {
					return f.Seen && slices.ContainsFunc(l.Sign.By, func(r *rules.Rule) bool { return r.From == p.Node })
				}
				return slices.ContainsFunc(g.X.shown[f.view].By, func(it *network.Item) bool { return it.Node == p.Node })
			})
			if seen {
				t.Signs = append(t.Signs, l.Sign)
			}
		}
		if len(t.Signs) > 0 {
			r.Traps = append(r.Traps, t)
		}
	}
	slices.SortStableFunc(r.Traps, func(a, b Trap) int { return strings.Compare(a.Node.Name, b.Node.Name) })
}
