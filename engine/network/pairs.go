package network

import (
	"math/rand/v2"
	"slices"

	"tidemark/rules"
)

// Pairs draws worlds in which two causes are there and each brought something about,
// the pair chosen by the book's own chances. Two causes that had to do with the same
// outcome are few among worlds in which it happened: one in a thousand or so.
type Pairs struct {
	s     *Sampler
	items []*Item
	rate  []float64 // by item: how likely it is there and brings something about
	with  []marks   // by item: with which others it makes a pair
	cum   []float64 // over items: chances of pairs, each counted from both its ends
}

// marks are a set of items, by number.
type marks []uint64

func (m marks) has(i int) bool { return m[i/64]>>(i%64)&1 == 1 }

// Pairs makes ready to draw pairs of causes that may have had a part in the outcome. With
// meet, only those count of which one may bring about one thing that a step needs and
// the other another: only so can two causes both have been needed, for where any
// one thing is enough, what is enough does not need another.
func (s *Sampler) Pairs(meet bool) *Pairs {
	p := &Pairs{s: s}
	number := map[int]int{}
	for _, it := range s.g.Items {
		if it.Node.Kind == rules.Cause && s.above[it.v] && s.g.vars[it.v].prior > 0 {
			number[it.v] = len(p.items)
			p.items = append(p.items, it)
			p.rate = append(p.rate, s.g.vars[it.v].prior*s.strikes(int32(it.v)))
		}
	}
	n := len(p.items)
	p.with = make([]marks, n)
	for i := range p.with {
		p.with[i] = make(marks, n/64+1)
	}
	if meet {
		for v := range s.g.vars {
			if s.g.vars[v].kind != both || !s.above[v] {
				continue
			}
			var sides []marks
			for _, e := range s.g.vars[v].edges {
				side := make(marks, n/64+1)
				for u, is := range s.g.ancestorsOf([]int{e.from}) {
					if k, ok := number[u]; is && ok {
						side[k/64] |= 1 << (k % 64)
					}
				}
				sides = append(sides, side)
			}
			for a, side := range sides {
				for i := range n {
					if !side.has(i) {
						continue
					}
					for b, other := range sides {
						for k := range other {
							if b != a {
								p.with[i][k] |= other[k]
							}
						}
					}
				}
			}
		}
	}
	sum := 0.0
	for i, a := range p.items {
		partners := 0.0
		for k, b := range p.items {
			if !meet {
				p.with[i][k/64] |= 1 << (k % 64)
			}
			if a.Node == b.Node {
				p.with[i][k/64] &^= 1 << (k % 64)
			}
			if p.with[i].has(k) {
				partners += p.rate[k]
			}
		}
		sum += p.rate[i] * partners
		p.cum = append(p.cum, sum)
	}
	return p
}

// Chance is how many pairs an engine is expected to have whose causes are both there
// and each brought something about, whatever came of it.
func (p *Pairs) Chance() float64 {
	if len(p.cum) == 0 {
		return 0
	}
	return p.cum[len(p.cum)-1] / 2
}

// Draw makes one try: a pair, and a world with both of it; nil where the outcome does not
// happen. A world comes up in proportion to its own chance, once for each pair in it
// (Count): whoever keeps it once in so many times has worlds exactly by the book.
func (p *Pairs) Draw(rng *rand.Rand) (w *World, a, b *Item) {
	i := p.pick(rng.Float64() * p.Chance() * 2)
	partners := 0.0
	for k := range p.items {
		if p.with[i].has(k) {
			partners += p.rate[k]
		}
	}
	left, j := rng.Float64()*partners, -1
	for k := range p.items {
		if p.with[i].has(k) {
			j = k
			if left -= p.rate[k]; left < 0 {
				break
			}
		}
	}
	a, b = p.items[i], p.items[j]
	return p.s.tryHeld(rng, held{on: []int32{int32(a.v), int32(b.v)}, strikes: true}), a, b
}

func (p *Pairs) pick(x float64) int {
	i, _ := slices.BinarySearch(p.cum, x)
	i = min(i, len(p.items)-1)
	for i > 0 && p.cum[i] == p.cum[i-1] {
		i-- // one without partners
	}
	return i
}

// Count is of how many pairs of some causes a world may have been drawn.
func (p *Pairs) Count(w *World, of []*rules.Node) int {
	var in []int
	for i, it := range p.items {
		if slices.Contains(of, it.Node) && w.There(it) && w.struck(it) {
			in = append(in, i)
		}
	}
	n := 0
	for k, i := range in {
		for _, j := range in[:k] {
			if p.with[i].has(j) {
				n++
			}
		}
	}
	return n
}

// struck tells whether a rule of a thing that is there, towards the outcome, worked.
func (w *World) struck(it *Item) bool {
	g := w.s.g
	return slices.ContainsFunc(w.s.children[it.v], func(c child) bool {
		if !w.s.above[c.v] {
			return false
		}
		if k := g.vars[c.v].kind; k != gate && k != reach {
			return true
		}
		at, ok := w.at[c.v]
		return ok && slices.Contains(w.on[at].worked, c.k)
	})
}
