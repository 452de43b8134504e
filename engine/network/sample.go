package network

import (
	"cmp"
	"errors"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"tidemark/evidence"
	"tidemark/rules"
)

// Sampler draws worlds in which an outcome happened: which causes are there, which
// rules worked and what came of them. It draws from the whole book, with nothing left
// out, however entangled the case.
//
// Hardly anything is there in a world, so a try follows what is: it jumps from one
// thing that comes about by itself to the next, and from each along its rules.
type Sampler struct {
	g        *Ground
	views    []view
	sparks   []spark   // what can come about by itself, likeliest first
	children [][]child // by variable: where its rules run to, in the order of those
	shows    [][]child // by variable: the views that it shows in
	tries    int
	hits     int
	// Scratch of a try.
	on      []bool
	lit     []bool
	worked  [][]int32 // by variable: its rules that worked, by number
	touched []uint64
	chosen  []int8 // by letter, extent, taken: its state; -1 where not drawn yet
	used    []int32
	picked  []int32
	follow  []child
	above   []bool // by variable: it may have a part in the outcome
	held    held
}

// held is what is settled before a try: things that are there, things that are not,
// and whether those that are there each brought something about.
type held struct {
	on, off []int32
	strikes bool
}

type spark struct {
	v int32
	p float64
}

type child struct {
	v, k int32 // variable or view, and which of its edges
	pass float64
}

// view is a sign at a position, as it can be looked at.
type view struct {
	View
	edges            []edge
	unlisted         float64
	missed, mistaken float64
}

// ErrNever is that the outcome did not come about in as many tries as were allowed.
var ErrNever = errors.New("what is asked about hardly ever happens in this engine")

// NewSampler makes ready to draw worlds of the engine and history of a case in which
// its question happened. Findings of the case do not count.
func NewSampler(book *rules.Book, c *evidence.Case) (*Sampler, error) {
	g := New(book, c)
	if err := g.Ask(c.Question, c.At); err != nil {
		return nil, err
	}
	var views []view
	a := newAssumer(g)
	for _, sign := range book.Signs {
		if g.NoSign(sign) || sign.Vague {
			continue
		}
		missed, mistaken := sight(sign)
		for _, index := range g.Positions(sign.Part) {
			views = append(views, view{View{sign, index}, g.signEdges(sign, index, "", 0, a, &Observation{}), g.Book.ByItself(sign), missed, mistaken})
		}
	}
	return newSampler(g, views), nil
}

func newSampler(g *Ground, views []view) *Sampler {
	s := &Sampler{g: g, views: views}
	n := len(g.vars)
	s.children, s.shows = make([][]child, n), make([][]child, n)
	for i := range g.vars {
		v := &g.vars[i]
		if p := v.prior + v.leak; p > 0 { // a root has the one, a gate the other
			s.sparks = append(s.sparks, spark{int32(i), p})
		}
		for k, e := range v.edges {
			if kind := g.vars[e.from].kind; kind != letter && kind != extent && kind != taken {
				s.children[e.from] = append(s.children[e.from], child{int32(i), int32(k), e.pass})
			}
		}
	}
	for i, v := range s.views {
		for k, e := range v.edges {
			s.shows[e.from] = append(s.shows[e.from], child{int32(i), int32(k), e.pass})
		}
	}
	slices.SortStableFunc(s.sparks, func(a, b spark) int { return cmp.Compare(b.p, a.p) })
	s.on, s.lit = make([]bool, n), make([]bool, n)
	s.worked, s.chosen = make([][]int32, n), make([]int8, n)
	s.touched = make([]uint64, n/64+1)
	s.above = make([]bool, n)
	if g.outcome >= 0 {
		s.above[g.outcome] = true
		for i := n - 1; i >= 0; i-- {
			if s.above[i] {
				for _, e := range g.vars[i].edges {
					s.above[e.from] = true
				}
			}
		}
	}
	for i := range s.chosen {
		s.chosen[i] = -1
	}
	return s
}

// WayOf is how one looks at a sign with no more than eyes and ears: what a person
// tells is told, what stands on paper is read, and all else is looked at.
func WayOf(s *rules.Sign) evidence.Way {
	switch s.Part.Belongs {
	case "person":
		return evidence.Told
	case "paper":
		return evidence.Paper
	}
	return evidence.Eye
}

// sight is what such a look is worth, as enter takes it.
func sight(s *rules.Sign) (missed, mistaken float64) {
	way := rules.Chances(WayOf(s))
	if s.Part.Belongs == "person" {
		way = rules.Chances(evidence.Paper)
	}
	if s.Unlisted == 0 {
		return way.Missed, 0
	}
	return way.Missed, way.Mistaken
}

// Ground is what the worlds are of; its items and families are theirs.
func (s *Sampler) Ground() *Ground { return s.g }

// Chance is about how often the outcome comes about, by the tries so far.
func (s *Sampler) Chance() float64 { return float64(s.hits) / float64(max(1, s.tries)) }

// Draw draws a world in which the outcome happened, exactly by the book: by trying
// until it does. It gives up with ErrNever after so many tries.
func (s *Sampler) Draw(rng *rand.Rand, tries int) (*World, error) {
	for range tries {
		s.tries++
		s.try(rng)
		if s.on[s.g.outcome] {
			s.hits++
			return s.world(), nil
		}
	}
	return nil, ErrNever
}

// DrawWith makes one try with some causes there and others not, every other chance
// event as by the book; nil where the outcome does not happen. It does not count for
// Chance.
func (s *Sampler) DrawWith(rng *rand.Rand, there, absent []*Item) *World {
	var h held
	for _, it := range there {
		h.on = append(h.on, int32(it.v))
	}
	for _, it := range absent {
		h.off = append(h.off, int32(it.v))
	}
	return s.tryHeld(rng, h)
}

func (s *Sampler) tryHeld(rng *rand.Rand, h held) *World {
	s.held = h
	s.try(rng)
	s.held = held{}
	if !s.on[s.g.outcome] {
		return nil
	}
	return s.world()
}

// Rate is how likely a cause is to be there before anything is known.
func (s *Sampler) Rate(it *Item) float64 { return s.g.vars[it.v].prior }

// world takes down the try that was made last.
func (s *Sampler) world() *World {
	w := &World{s: s, at: make(map[int32]int, len(s.used))}
	for _, v := range s.used {
		if s.on[v] {
			w.at[v] = len(w.on)
			w.on = append(w.on, there{v, s.lit[v], slices.Clone(s.worked[v])})
		}
	}
	return w
}

// try draws everything once.
func (s *Sampler) try(rng *rand.Rand) {
	for _, v := range s.used {
		s.on[v], s.lit[v], s.worked[v] = false, false, s.worked[v][:0]
	}
	for _, v := range s.picked {
		s.chosen[v] = -1
	}
	s.used, s.picked = s.used[:0], s.picked[:0]
	s.strike(rng)
	for _, v := range s.held.on {
		s.lit[v] = true
		s.touch(v)
	}
	for _, v := range s.held.off {
		s.lit[v] = false
		s.touched[v/64] &^= 1 << (v % 64)
	}
	for word := range s.touched {
		for s.touched[word] != 0 {
			// Children have higher numbers, so the lowest is settled.
			bit := bits.TrailingZeros64(s.touched[word])
			s.touched[word] &^= 1 << bit
			s.settle(rng, int32(word*64+bit))
		}
	}
}

// strike draws what comes about by itself. The chances are in falling order: the next
// one to be tried is found by a jump as long as they would allow if none fell, and
// then taken by how far it did fall.
func (s *Sampler) strike(rng *rand.Rand) {
	for i, top := 0, 1.0; i < len(s.sparks); i++ {
		if top < 1 {
			jump := math.Log(1-rng.Float64()) / math.Log1p(-top)
			if jump >= float64(len(s.sparks)-i) {
				return
			}
			i += int(jump)
		}
		p := min(1, s.sparks[i].p)
		if p >= top || rng.Float64()*top < p {
			v := s.sparks[i].v
			s.lit[v] = true
			s.touch(v)
		}
		top = p
	}
}

func (s *Sampler) touch(v int32) { s.touched[v/64] |= 1 << (v % 64) }

// settle finds whether a variable that something has reached is there, and follows
// its rules if it is.
func (s *Sampler) settle(rng *rand.Rand, i int32) {
	v := &s.g.vars[i]
	s.used = append(s.used, i)
	switch v.kind {
	case both:
		for _, e := range v.edges {
			if !s.on[e.from] {
				return
			}
		}
	case hit:
		if s.choose(rng, v.edges[1].from) == 0 {
			return
		}
	case kindAt:
		if int(s.choose(rng, v.edges[1].from)) != v.state {
			return
		}
	}
	s.on[i] = true
	if s.held.strikes && slices.Contains(s.held.on, i) {
		s.bringAbout(rng, i)
		return
	}
	for _, c := range s.children[i] {
		switch s.g.vars[c.v].kind {
		case gate, reach:
			if rng.Float64() < c.pass {
				s.worked[c.v] = append(s.worked[c.v], c.k)
				s.touch(c.v)
			}
		default:
			s.touch(c.v)
		}
	}
}

// bringAbout follows the rules of a cause of which one or more towards the outcome
// work: they are drawn over and over until that is so.
func (s *Sampler) bringAbout(rng *rand.Rand, i int32) {
	first, struck := len(s.follow), false
	for !struck {
		s.follow = s.follow[:first]
		for _, c := range s.children[i] {
			through := true
			if k := s.g.vars[c.v].kind; k == gate || k == reach {
				through = rng.Float64() < c.pass
			}
			if through {
				s.follow = append(s.follow, c)
				struck = struck || s.above[c.v]
			}
		}
	}
	for _, c := range s.follow[first:] {
		if k := s.g.vars[c.v].kind; k == gate || k == reach {
			s.worked[c.v] = append(s.worked[c.v], c.k)
		}
		s.touch(c.v)
	}
	s.follow = s.follow[:first]
}

// strikes is how likely it is that one or more rules of a cause towards the outcome
// work, where it is there.
func (s *Sampler) strikes(i int32) float64 {
	none := 1.0
	for _, c := range s.children[i] {
		if !s.above[c.v] {
			continue
		}
		if k := s.g.vars[c.v].kind; k != gate && k != reach {
			return 1
		}
		none *= 1 - c.pass
	}
	return 1 - none
}

// choose draws a letter, how far a rule gets, or whether it gets to a position, when
// that is first asked.
func (s *Sampler) choose(rng *rand.Rand, i int) int8 {
	if s.chosen[i] >= 0 {
		return s.chosen[i]
	}
	v := &s.g.vars[i]
	var state int8
	switch v.kind {
	case letter:
		state = int8(rng.IntN(v.n))
	case extent:
		p := rng.Float64()
		for int(state) < len(extents)-1 && p >= extents[state] {
			p -= extents[state]
			state++
		}
	default: // taken
		if rng.Float64() < extentChance(int(s.choose(rng, v.edges[0].from)), v.n) {
			state = 1
		}
	}
	s.chosen[i] = state
	s.picked = append(s.picked, int32(i))
	return state
}

// World is one way in which everything may have gone.
type World struct {
	s  *Sampler
	on []there // parents before children
	at map[int32]int
}

// there is something that is there, and through what.
type there struct {
	v      int32
	itself bool    // by itself: a cause, or a step by something unlisted
	worked []int32 // by these of its rules
}

// There tells whether a cause, step or condition is there.
func (w *World) There(it *Item) bool {
	_, ok := w.at[int32(it.v)]
	return ok
}

// Happens tells whether the outcome would have happened without these, every other
// chance event staying as it was; and, if so wished, without anything unlisted.
func (w *World) Happens(without []*Item, noUnlisted bool) bool {
	return w.remains(without, noUnlisted)[w.at[int32(w.s.g.outcome)]]
}

// remains tells of each thing that is there whether it would be, without these.
func (w *World) remains(without []*Item, noUnlisted bool) []bool {
	gone := map[int32]bool{}
	for _, it := range without {
		gone[int32(it.v)] = true
	}
	// Less never brings about more, so that what was not there need not be asked.
	still := make([]bool, len(w.on))
	stands := func(from int) bool {
		k, ok := w.at[int32(from)]
		return ok && still[k]
	}
	for k, x := range w.on {
		v := &w.s.g.vars[x.v]
		switch {
		case gone[x.v]:
		case v.kind == root:
			still[k] = true
		case v.kind == gate || v.kind == reach:
			still[k] = x.itself && !noUnlisted || slices.ContainsFunc(x.worked, func(e int32) bool { return stands(v.edges[e].from) })
		case v.kind == both:
			still[k] = !slices.ContainsFunc(v.edges, func(e edge) bool { return !stands(e.from) })
		default: // hit, kindAt: the way through stays open
			still[k] = stands(v.edges[0].from)
		}
	}
	return still
}

// Unlisted lists the steps that came about by something unlisted.
func (w *World) Unlisted() []*Item {
	var out []*Item
	for _, x := range w.on {
		if v := &w.s.g.vars[x.v]; x.itself && v.kind == gate && v.item != nil {
			out = append(out, v.item)
		}
	}
	return out
}

// Link is a rule that worked, from one thing that was there to another.
type Link struct{ From, To *Item }

// Links lists the rules that worked between causes, steps and conditions on a way to
// the outcome, parents first.
func (w *World) Links() []Link {
	g := w.s.g
	on := map[int]bool{g.outcome: true}
	froms := func(x there) []int {
		v := &g.vars[x.v]
		var out []int
		switch v.kind {
		case gate, reach:
			for _, k := range x.worked {
				out = append(out, v.edges[k].from)
			}
		case both:
			for _, e := range v.edges {
				out = append(out, e.from)
			}
		case hit, kindAt:
			out = append(out, v.edges[0].from)
		}
		slices.Sort(out)
		return slices.Compact(out)
	}
	for _, x := range slices.Backward(w.on) {
		if on[int(x.v)] {
			for _, f := range froms(x) {
				on[f] = true
			}
		}
	}
	var out []Link
	for _, x := range w.on {
		to := g.vars[x.v].item
		if to == nil || !on[int(x.v)] {
			continue
		}
		seen := map[int]bool{}
		var follow func(x there)
		follow = func(x there) {
			for _, f := range froms(x) {
				switch it := g.vars[f].item; {
				case seen[f]:
				case it != nil:
					out = append(out, Link{it, to})
				default:
					follow(w.on[w.at[int32(f)]])
				}
				seen[f] = true
			}
		}
		follow(x)
	}
	return out
}

// View is a sign at a position that this engine has.
type View struct {
	Sign  *rules.Sign
	Index int
}

// Views lists what can be looked at, in the order of the book.
func (s *Sampler) Views() []View {
	out := make([]View, len(s.views))
	for i, v := range s.views {
		out[i] = v.View
	}
	return out
}

// Chances is, by view, how likely a look is to find the sign in this world.
func (w *World) Chances(out []float64) []float64 {
	out = out[:0]
	for _, v := range w.s.views {
		out = append(out, (1-v.unlisted)*(1-v.mistaken))
	}
	for _, x := range w.on {
		for _, c := range w.s.shows[x.v] {
			out[c.v] *= 1 - c.pass*(1-w.s.views[c.v].missed)
		}
	}
	for i := range out {
		out[i] = 1 - out[i]
	}
	return out
}

// Shown is what is to be seen of a sign at a position, and what a look finds.
type Shown struct {
	// There is that it is there to be seen: something showed it, or it came by
	// itself.
	There bool
	// Seen is that a look finds it: what is there may be overlooked, and something
	// else taken for it.
	Seen bool
	// By is what shows it.
	By []*Item
}

// Looks draws what a look at each view finds.
func (w *World) Looks(rng *rand.Rand) []Shown {
	out := make([]Shown, len(w.s.views))
	for i, v := range w.s.views {
		x := &out[i]
		if rng.Float64() < v.unlisted {
			x.There, x.Seen = true, true
		}
		if rng.Float64() < v.mistaken {
			x.Seen = true
		}
		for _, e := range v.edges {
			if _, on := w.at[int32(e.from)]; !on || rng.Float64() >= e.pass {
				continue
			}
			x.There = true
			if rng.Float64() >= v.missed {
				x.Seen = true
			}
			for _, it := range w.s.g.sourceItems(e.from) {
				if w.There(it) && !slices.Contains(x.By, it) {
					x.By = append(x.By, it)
				}
			}
		}
	}
	return out
}

// sourceItems lists the items that a variable stands for: itself, or what the insides of
// a shared rule come from.
func (g *Ground) sourceItems(v int) []*Item {
	if it := g.vars[v].item; it != nil {
		return []*Item{it}
	}
	var out []*Item
	for _, e := range g.vars[v].edges {
		if k := g.vars[e.from].kind; k != letter && k != extent && k != taken {
			out = append(out, g.sourceItems(e.from)...)
		}
	}
	return out
}

// Rough is about how likely things are where one is there at one position and nothing
// is known, taking what leads to anything as independent: of items, and of signs that
// a look would find them somewhere.
type Rough struct {
	Item map[*Item]float64
	Sign map[*rules.Sign]float64
}

// RoughIf works that out for an engine; ok is false where it has no such thing.
func RoughIf(book *rules.Book, c *evidence.Case, n *rules.Node) (r Rough, ok bool) {
	g := New(book, c)
	items := g.ItemsOf(n)
	if len(items) == 0 {
		return Rough{}, false
	}
	a := newAssumer(g)
	type look struct {
		sign  *rules.Sign
		edges []edge
	}
	var looks []look
	for _, s := range book.Signs {
		if !g.NoSign(s) && !s.Vague {
			for _, index := range g.Positions(s.Part) {
				looks = append(looks, look{s, g.signEdges(s, index, "", 0, a, &Observation{})})
			}
		}
	}
	p := make([]float64, len(g.vars))
	for i := range g.vars {
		v := &g.vars[i]
		switch v.kind {
		case root:
			p[i] = v.prior
		case gate:
			none := 1 - v.leak
			for _, e := range v.edges {
				none *= 1 - p[e.from]*e.pass
			}
			p[i] = 1 - none
		case taken:
			p[i] = reachChance(v.n)
		case reach, hit, both:
			p[i] = 1
			for _, e := range v.edges {
				p[i] *= p[e.from] * e.pass
			}
		case kindAt:
			p[i] = p[v.edges[0].from] / float64(g.vars[v.edges[1].from].n)
		}
		if i == items[0].v {
			p[i] = 1
		}
	}
	r = Rough{map[*Item]float64{}, map[*rules.Sign]float64{}}
	for _, it := range g.Items {
		r.Item[it] = p[it.v]
	}
	none := map[*rules.Sign]float64{}
	for _, l := range looks {
		missed, mistaken := sight(l.sign)
		if _, ok := none[l.sign]; !ok {
			none[l.sign] = 1
		}
		none[l.sign] *= (1 - g.Book.ByItself(l.sign)) * (1 - mistaken)
		for _, e := range l.edges {
			none[l.sign] *= 1 - p[e.from]*e.pass*(1-missed)
		}
	}
	for s, q := range none {
		r.Sign[s] = 1 - q
	}
	return r, true
}
