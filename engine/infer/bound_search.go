package infer

import (
	"context"
	"slices"
)

// boundSearch looks into a relaxed network where that matters. The parts' shares
// are, by state of a core variable, factors of the probability mass that the bound
// allots to it given the core variables above. Followed down the tree of core
// variables they reproduce the true mass exactly. How many contexts there are
// (joint states of those variables above that something below still depends on)
// decides the work; only those that the bound allots the most are followed. One
// that is not followed is worth between nothing and all of what it was allotted.
type boundSearch struct {
	net   *boundNet
	nodes []boundNode // parents first
	wide  bool        // some context does not fit into a key
	low   float64     // of the probability, in units of the bound
	high  float64
	count int  // contexts followed
	full  bool // there was no room for all that should be followed

	keys    []boundKey // scratch
	mass    []float64
	hash    []int32
	rank    []float64
	waiting []boundFront // by node: found, but not yet followed
}

// boundFront is the contexts of a node and the mass that the bound allots to them.
type boundFront struct {
	keys []boundKey
	mass []float64
}

// boundKey packs the states of a context.
type boundKey [2]uint64

const boundKeyBits = 128

type boundNode struct {
	v        int32
	root     bool
	children []int
	keep     boundKey // the bits of the context
	slot     int      // where the key of a child has the state of v
	lookups  []boundLookup

	low  []float64 // by context: how much of what it is allotted is true, at least
	high []float64 // and at most
	// by context and state
	share []float64
	// by child: by context and state, the child's context, or one of these
	down [][]int32
}

// often is after how many contexts one looks whether to go on.
const often = 1 << 16

const (
	unfollowed = -1
	impossible = -2
)

// boundLookup adds up, byte by byte of a key, the offset into a part's table.
type boundLookup [boundKeyBits / 8][256]int32

func (t *boundLookup) at(k boundKey) int {
	i := t[0][k[0]&255] + t[1][k[0]>>8&255] + t[2][k[0]>>16&255] + t[3][k[0]>>24&255] +
		t[4][k[0]>>32&255] + t[5][k[0]>>40&255] + t[6][k[0]>>48&255] + t[7][k[0]>>56]
	if k[1] != 0 {
		i += t[8][k[1]&255] + t[9][k[1]>>8&255] + t[10][k[1]>>16&255] + t[11][k[1]>>24&255] +
			t[12][k[1]>>32&255] + t[13][k[1]>>40&255] + t[14][k[1]>>48&255] + t[15][k[1]>>56]
	}
	return int(i)
}

// bitsFor is how many bits hold a state.
func bitsFor(card int32) int {
	n := 0
	for 1<<n < card {
		n++
	}
	return n
}

// below is the key of a context further down, given the state of the node.
func (nd *boundNode) below(k boundKey, state int, to *boundNode) boundKey {
	word, at := nd.slot>>6, nd.slot&63
	k[word] |= uint64(state) << at
	if word == 0 && at > 0 {
		k[1] |= uint64(state) >> (64 - at)
	}
	return boundKey{k[0] & to.keep[0], k[1] & to.keep[1]}
}

func (k boundKey) hash() uint64 {
	h := k[0]*0x9E3779B97F4A7C15 ^ k[1]*0xC2B2AE3D27D4EB4F
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9
	return h >> 20
}

func newBoundSearch(b *boundNet) *boundSearch {
	s := &boundSearch{net: b}
	n := len(b.card)
	context := make([][]int32, n)
	children := make([][]int32, n)
	var roots []int32
	for k := range n {
		bk := &b.buckets[k]
		if !bk.core {
			continue
		}
		for _, p := range bk.parts {
			context[k] = append(context[k], p.scope[1:]...)
		}
		for _, c := range children[k] {
			for _, a := range context[c] {
				if a != int32(k) {
					context[k] = append(context[k], a)
				}
			}
		}
		slices.Sort(context[k])
		context[k] = slices.Compact(context[k])
		if len(context[k]) == 0 {
			roots = append(roots, int32(k))
		} else {
			first := context[k][0]
			children[first] = append(children[first], int32(k))
		}
	}
	slot := make([]int, n)
	var visit func(k int32)
	visit = func(k int32) {
		nd := boundNode{v: k, root: len(context[k]) == 0, down: make([][]int32, len(children[k]))}
		for _, a := range context[k] {
			for i := slot[a]; i < slot[a]+bitsFor(b.card[a]); i++ {
				nd.keep[i>>6] |= 1 << (i & 63)
			}
		}
		// The first bits that are free in a row; a child's context adds nothing but v.
		free := 0
		for at := 0; free < bitsFor(b.card[k]); at++ {
			if at == boundKeyBits {
				s.wide = true
				return
			}
			if free++; nd.keep[at>>6]>>(at&63)&1 == 1 {
				free = 0
			}
			nd.slot = at + 1 - free
		}
		slot[k] = nd.slot
		for _, p := range b.buckets[k].parts {
			nd.lookups = append(nd.lookups, boundLookup{})
			t := &nd.lookups[len(nd.lookups)-1]
			step := int(b.card[k])
			for _, a := range p.scope[1:] {
				for i := range bitsFor(b.card[a]) {
					at := slot[a] + i
					for x := range 256 {
						if x>>(at&7)&1 == 1 {
							t[at>>3][x] += int32(step << i)
						}
					}
				}
				step *= int(b.card[a])
			}
		}
		me := len(s.nodes)
		s.nodes = append(s.nodes, nd)
		for _, c := range children[k] {
			if s.wide {
				return
			}
			s.nodes[me].children = append(s.nodes[me].children, len(s.nodes))
			visit(c)
		}
	}
	for _, r := range roots {
		if !s.wide {
			visit(r)
		}
	}
	s.waiting = make([]boundFront, len(s.nodes))
	return s
}

// follow follows the contexts that are allotted at least a given mass, at most so
// many, and bounds the probability. It reports false when the context ended before.
func (s *boundSearch) follow(ctx context.Context, least float64, room int) bool {
	s.count, s.full = 0, false
	s.low, s.high = 1, 1
	if s.wide {
		s.low, s.full = 0, true
		return true
	}
	for d := range s.nodes {
		if ctx.Err() != nil {
			return false
		}
		nd := &s.nodes[d]
		front := &s.waiting[d]
		if nd.root {
			front.keys, front.mass = append(front.keys[:0], boundKey{}), append(front.mass[:0], 1)
			s.count++
		}
		s.allot(nd, front.keys)
		for j, c := range nd.children {
			if !s.descend(ctx, nd, front, j, &s.nodes[c], &s.waiting[c], least, room) {
				return false
			}
		}
		*front = boundFront{}
	}
	for d := len(s.nodes) - 1; d >= 0; d-- {
		if ctx.Err() != nil {
			return false
		}
		nd := &s.nodes[d]
		s.ascend(nd)
		if nd.root {
			s.low *= nd.low[0]
			s.high *= nd.high[0]
		}
	}
	return true
}

// allot looks up the shares of a node's states in each of its contexts.
func (s *boundSearch) allot(nd *boundNode, keys []boundKey) {
	card := int(s.net.card[nd.v])
	parts := s.net.buckets[nd.v].parts
	nd.share = resize(nd.share, card*len(keys))
	for i, key := range keys {
		row := nd.share[i*card : (i+1)*card]
		for x := range row {
			row[x] = 1
		}
		for j := range parts {
			at := nd.lookups[j].at(key)
			for x, y := range parts[j].share[at : at+card] {
				row[x] *= y
			}
		}
	}
}

// descend finds the contexts of a child. It reports false when the context ended.
func (s *boundSearch) descend(ctx context.Context, nd *boundNode, from *boundFront, child int, to *boundNode, found *boundFront, least float64, room int) bool {
	card := int(s.net.card[nd.v])
	down := resize(nd.down[child], len(nd.share))
	nd.down[child] = down
	size := 1 << 10
	for size < 2*card*len(from.keys) {
		size *= 2
	}
	s.hash = resize(s.hash, size)
	clear(s.hash)
	keys, mass := s.keys[:0], s.mass[:0]
	mask := uint64(size - 1)
	for i, key := range from.keys {
		if i%often == often-1 && ctx.Err() != nil {
			return false
		}
		for x := range card {
			y := from.mass[i] * nd.share[i*card+x]
			if y == 0 {
				down[i*card+x] = impossible
				if nd.share[i*card+x] > 0 {
					down[i*card+x] = unfollowed // too little to be told from nothing
				}
				continue
			}
			k := nd.below(key, x, to)
			at := k.hash() & mask
			for s.hash[at] != 0 && keys[s.hash[at]-1] != k {
				at = (at + 1) & mask
			}
			c := s.hash[at]
			if c == 0 {
				keys, mass = append(keys, k), append(mass, 0)
				c = int32(len(keys))
				s.hash[at] = c
			}
			mass[c-1] += y
			down[i*card+x] = c - 1
		}
	}
	// Those that count become the child's contexts.
	n := 0
	for _, y := range mass {
		if y >= least {
			n++
		}
	}
	if n > room-s.count {
		s.full = true
		n = max(room-s.count, 0)
		if n > 0 {
			s.rank = append(s.rank[:0], mass...)
			slices.Sort(s.rank)
			least = s.rank[len(s.rank)-n]
		}
	}
	s.count += n
	s.hash = resize(s.hash, len(keys))
	s.keys, s.mass = keys, mass
	found.keys, found.mass = make([]boundKey, 0, n), make([]float64, 0, n)
	for i, y := range mass {
		if y < least || len(found.keys) == n {
			s.hash[i] = unfollowed
			continue
		}
		s.hash[i] = int32(len(found.keys))
		found.keys, found.mass = append(found.keys, keys[i]), append(found.mass, y)
	}
	for i, c := range down {
		if c >= 0 {
			down[i] = s.hash[c]
		}
	}
	return true
}

// ascend bounds what is true of the mass of each context.
func (s *boundSearch) ascend(nd *boundNode) {
	card := int(s.net.card[nd.v])
	n := len(nd.share) / card
	nd.low, nd.high = resize(nd.low, n), resize(nd.high, n)
	for i := range n {
		low, high := 0.0, 0.0
		for x := i * card; x < (i+1)*card; x++ {
			l, h := nd.share[x], nd.share[x]
			for j, c := range nd.children {
				switch at := nd.down[j][x]; {
				case at >= 0:
					l *= s.nodes[c].low[at]
					h *= s.nodes[c].high[at]
				case at == unfollowed:
					l = 0
				}
			}
			low += l
			high += h
		}
		nd.low[i], nd.high[i] = low, min(high, 1)
	}
}

// certify turns the beliefs of all parts, also those below the core, into the mass
// that is certain, in units of the bound. It reports false when the context ended.
func (s *boundSearch) certify(ctx context.Context) bool {
	b := s.net
	certain := make([][]float64, len(s.nodes)) // by context, given that what is below it is true
	keys := make([][]boundKey, len(s.nodes))
	for d := range s.nodes {
		if ctx.Err() != nil {
			return false
		}
		nd := &s.nodes[d]
		parts := b.buckets[nd.v].parts
		for j := range parts {
			clear(parts[j].belief)
		}
		card := int(b.card[nd.v])
		if nd.root {
			keys[d], certain[d] = []boundKey{{}}, []float64{1}
			for e := range s.nodes {
				if e != d && s.nodes[e].root {
					certain[d][0] *= s.nodes[e].low[0]
				}
			}
		}
		for _, c := range nd.children {
			certain[c], keys[c] = make([]float64, len(s.nodes[c].low)), make([]boundKey, len(s.nodes[c].low))
		}
		for i, key := range keys[d] {
			for x := range card {
				at := i*card + x
				m, followed := certain[d][i]*nd.share[at], true
				for j := range nd.children {
					followed = followed && nd.down[j][at] >= 0
				}
				if m == 0 || !followed {
					continue
				}
				joint := m
				for j, c := range nd.children {
					joint *= s.nodes[c].low[nd.down[j][at]]
					others := m
					for k, e := range nd.children {
						if k != j {
							others *= s.nodes[e].low[nd.down[k][at]]
						}
					}
					to := nd.down[j][at]
					certain[c][to] += others
					keys[c][to] = nd.below(key, x, &s.nodes[c])
				}
				for j := range parts {
					parts[j].belief[nd.lookups[j].at(key)+x] += joint
				}
			}
		}
		certain[d], keys[d] = nil, nil
	}
	for k := len(b.buckets) - 1; k >= 0; k-- {
		if b.buckets[k].core {
			continue
		}
		p := &b.buckets[k].parts[0]
		card := int(b.card[k])
		above := []float64{s.low}
		if len(p.scope) > 1 {
			above = b.above(p)
		}
		for j, a := range above {
			for x := j * card; x < (j+1)*card; x++ {
				p.belief[x] = p.share[x] * a
			}
		}
	}
	return true
}
