package practice

import (
	"math/rand/v2"
	"slices"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// How worlds with two causes to blame are drawn, and the crowd for such an exercise.
const (
	twoTries  = 6000 // of pairs, for one question
	twoSifted = 20   // of these, how many are looked into
	twoShows  = 0.3  // how likely each is at least to be there, by its own signs
	twoRare   = 2000 // in fewer than one in so many tries it hardly comes about
	twoSmall  = 40   // worlds with all its causes, for a first look
	twoBeside = 200  // worlds with both its causes, and half as many with either one
	twoReach  = 6000 // tries for these, each
)

// twos draws worlds of an engine in which two or more causes had to do with the outcome.
type twos struct {
	s     *network.Sampler
	pairs *network.Pairs
	how   string
	tries int
	hits  int
}

func newTwos(s *network.Sampler, how string) *twos {
	return &twos{s: s, pairs: s.Pairs(how == BothNeeded), how: how}
}

// two tells whether causes were needed together, or either of two would have done. Where any
// of three would have done, or one or two others together, nobody tells.
func (t *Truth) two() bool {
	return t.How == BothNeeded || t.How == EitherDid && len(t.Right) == 2
}

// two is such a world, and the pair by which it was drawn.
type two struct {
	world *network.World
	truth Truth
	a, b  *network.Item
}

// draw makes one try. What it keeps is distributed exactly as by the book among worlds that
// stand so: a world comes up once for each pair of causes in it by which it may be
// drawn, and is kept once in so many times.
func (d *twos) draw(rng *rand.Rand) (two, bool) {
	d.tries++
	w, a, b := d.pairs.Draw(rng)
	if w == nil {
		return two{}, false
	}
	g := d.s.Ground()
	// What costs little first.
	if need := d.how == BothNeeded; w.Happens(g.ItemsOf(a.Node), false) == need || w.Happens(g.ItemsOf(b.Node), false) == need {
		return two{}, false
	}
	t := truthOf(g, w)
	if t.How != d.how || !t.two() || !t.IsRight(a.Node.ID) || !t.IsRight(b.Node.ID) {
		return two{}, false
	}
	var right []*rules.Node
	for _, id := range t.Right {
		right = append(right, g.Book.Node(id))
	}
	if n := d.pairs.Count(w, right); n > 1 && rng.IntN(n) > 0 {
		return two{}, false
	}
	d.hits++
	return two{w, t, a, b}, true
}

// chance is about how likely it is that the outcome happens and stands so.
func (d *twos) chance() float64 {
	return d.pairs.Chance() * float64(d.hits) / float64(max(1, d.tries))
}

// some draws so many, or what comes up in so many tries.
func (d *twos) some(rng *rand.Rand, n, tries int) []two {
	var out []two
	for k := 0; k < tries && len(out) < n; k++ {
		if t, ok := d.draw(rng); ok {
			out = append(out, t)
		}
	}
	return out
}

// besides adds worlds in which some causes are there and others not, each standing for
// what such worlds come to where the whole crowd is of so many worlds; n of them, or what comes
// up in so many tries.
func (c *crowd) besides(rng *rand.Rand, there, absent []*network.Item, n, tries int, whole, chance float64) {
	first, k := len(c.worlds), 0
	for ; k < tries && len(c.worlds) < first+n; k++ {
		if w := c.s.DrawWith(rng, there, absent); w != nil {
			c.add(w, truthOf(c.s.Ground(), w), 0)
		}
	}
	stands := whole / chance / float64(max(1, k))
	for _, it := range there {
		stands *= c.s.Rate(it)
	}
	for _, it := range absent {
		stands *= 1 - c.s.Rate(it)
	}
	for i := first; i < len(c.worlds); i++ {
		c.prior[i] = stands
	}
}

// bare is a crowd of the same engine in which there is only one world, which stands for
// nothing.
func (c *crowd) bare(w *network.World, t Truth) *crowd {
	out := &crowd{s: c.s, views: c.views, signs: c.signs, of: c.of}
	out.add(w, t, 0)
	return out
}

// causesOf lists the causes that are there in a world: those given first, then those
// that may have a part in the outcome, then the rest.
func (c *crowd) causesOf(w *network.World, first ...*network.Item) []*network.Item {
	g := c.s.Ground()
	_, at := g.Asked()
	bears := g.Above(at)
	out := slices.Clone(first)
	for _, above := range []bool{true, false} {
		for _, it := range g.Items {
			if it.Node.Kind == rules.Cause && bears[it] == above && w.There(it) && !slices.Contains(out, it) {
				out = append(out, it)
			}
		}
	}
	return out
}

// alike is a crowd of worlds in which there is all that caused anything in a world; that
// stands first.
func (c *crowd) alike(rng *rand.Rand, x two) *crowd {
	out := c.bare(x.world, x.truth)
	out.besides(rng, c.causesOf(x.world, x.a, x.b), nil, twoSmall, twoReach, 1, 1)
	for i := range out.prior[1:] {
		out.prior[i+1] = 1 // there is no other sort of world here
	}
	out.fill()
	return out
}

// mastery is what a master's exercises of one engine and question are drawn from: worlds of
// each sort, of which one is as likely as another.
type mastery struct {
	pool  *crowd
	from  map[string]*twos
	twos  map[string][]two
	sorts []string // that come about here
}

// masterSize is how many worlds by the book a master's exercises are told from, and kindSize
// how many more stand for each sort with two causes.
const (
	masterSize = 700
	kindSize   = 150
)

func gatherMaster(book *rules.Book, c *evidence.Case, rng *rand.Rand) (*mastery, error) {
	pool, err := noCrowd(book, c)
	if err != nil {
		return nil, err
	}
	if err := pool.draw(rng, masterSize, masterSize*crowdTries/crowdSize); err != nil {
		return nil, err
	}
	pool.usually()
	m := &mastery{pool: pool, from: map[string]*twos{}, twos: map[string][]two{}}
	for _, how := range masterSorts {
		if how == open {
			m.sorts = append(m.sorts, how)
			continue
		}
		d := newTwos(pool.s, how)
		if d.pairs.Chance() == 0 {
			continue
		}
		m.from[how], m.twos[how] = d, d.some(rng, kindSize, twoTries)
		if len(m.twos[how]) >= fewest {
			m.sorts = append(m.sorts, how)
		}
	}
	return m, nil
}

// crowd is a crowd of a master's exercises, of which one world, if any is given, stands
// first, for nothing. Sorts are as likely as each other, which whoever plays is told. Where the world has two
// causes, there are enough worlds in which both, or either one, are there to tell what
// comes of it; each stands for so much less.
func (m *mastery) crowd(rng *rand.Rand, w *network.World, t Truth, pair ...*network.Item) *crowd {
	out := m.pool.bare(w, t)
	if w == nil {
		out.worlds, out.truths, out.prior = nil, nil, nil
	}
	whole, chance := float64(len(m.pool.worlds)), m.pool.s.Chance()
	for i, v := range m.pool.worlds {
		if v != w && !m.pool.truths[i].two() && !slices.ContainsFunc(pair, v.There) {
			out.add(v, m.pool.truths[i], 1)
		}
	}
	if len(pair) == 2 {
		a, b := pair[:1], pair[1:]
		for _, with := range []struct {
			there, absent []*network.Item
			n             int
		}{{pair, nil, twoBeside}, {a, b, twoBeside / 2}, {b, a, twoBeside / 2}} {
			first := len(out.worlds)
			out.besides(rng, with.there, with.absent, with.n, twoReach, whole, chance)
			for i := first; i < len(out.worlds); i++ {
				if how := out.truths[i].How; out.truths[i].two() {
					out.prior[i] *= m.times(how, with.absent == nil)
				}
			}
		}
	}
	for _, how := range m.sorts {
		for _, v := range m.twos[how] {
			if v.world == w || len(pair) == 2 && v.world.There(pair[0]) && v.world.There(pair[1]) {
				continue
			}
			// Of a third of the exercises, and their share among all of another third.
			out.add(v.world, v.truth, whole*(1+m.share(how))/float64(len(m.twos[how])))
		}
	}
	out.fill()
	return out
}

// times is how many times likelier a sort with two causes is among a master's exercises
// than by the book; nothing where other worlds stand for it.
func (m *mastery) times(how string, here bool) float64 {
	if !here || !slices.Contains(m.sorts, how) {
		return 0
	}
	return 1 + 1/m.share(how)
}

// share is how often it stands so among all worlds.
func (m *mastery) share(how string) float64 { return m.from[how].chance() / m.pool.s.Chance() }

// shows is about how likely it is that a cause is there, by what it shows itself and is
// found or not, and nothing else.
func (c *crowd) shows(it *network.Item, found map[*rules.Sign][]Found) float64 {
	n, all := 0.5, 1.0
	for i, w := range c.worlds {
		all += c.prior[i]
		if w.There(it) {
			n += c.prior[i]
		}
	}
	odds := n / all
	for _, r := range it.Node.Out {
		if r.Sign == nil || found[r.Sign] == nil {
			continue
		}
		usual := c.usual[r.Sign]
		with := 1 - (1-0.95*r.HowOften)*(1-usual)
		if slices.ContainsFunc(found[r.Sign], func(f Found) bool { return f.Seen }) {
			odds *= with / max(usual, 1e-3)
		} else {
			odds *= (1 - with) / (1 - min(usual, 0.999))
		}
	}
	return odds / (1 + odds)
}
