package practice

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// Level is how hard an exercise is.
type Level string

// The levels. An apprentice gets one cause and little beside it; a journeyman old
// wear, damage made after and one complaint that misleads; a master causes that were
// needed together, or of which either would have done, or an engine that cannot be
// worked out at all.
const (
	Apprentice Level = "apprentice"
	Journeyman Level = "journeyman"
	Master     Level = "master"
)

// Levels lists them, easiest first.
var Levels = []Level{Apprentice, Journeyman, Master}

// Request is what to draw.
type Request struct {
	Seed   uint64
	Level  Level
	Engine string // id of a profile; "" for any
	Lean   string // id of a pack whose causes are drawn more often; "" for none
}

// How a draw is made. Crowds of this size tell a share of 5 in 100 to half of one.
const (
	crowdSize   = 1500
	crowdTries  = 90000
	masterTimes = 5  // as many worlds are gone through for those with two causes
	draws       = 30 // questions tried before giving up, those included that this engine has not got
	// Of one crowd, how many worlds are sifted, planned for, and reckoned at most.
	sifted    = 60
	siftedTwo = 300 // for two causes, of which one is seldom sure
	planned   = 5
	reckons   = 2
	leanBy    = 6  // how much likelier causes of the pack are that is leaned on
	fewest    = 5  // worlds of a sort without which there is no choice
	halfLike  = 10 // worlds' worth by which a sort is taken to be like all
)

// Of a master's exercises, how many are of each sort: three in ten cannot be
// determined, which is what an honest answer is held against. That two causes had to do
// with it and both can be told is rare: where few questions bring none up, one cause in
// company stands in.
var masterSorts = []struct {
	how  string
	part float64
}{{BothNeeded, 0.175}, {EitherDid, 0.175}, {string(Journeyman), 0.35}, {open, 0.30}}

// twoTries is how many questions are tried for two causes.
const twoTries = 3

const open = "open"

// OpenBelow is how likely the best answer is at most, with all found that tells
// anything, where an exercise counts as not to be determined.
const OpenBelow = 0.60

// Exercise is an engine to be found out.
type Exercise struct {
	Request
	Case     *evidence.Case // what is known at the start; no findings
	Profile  Profile
	Question *rules.Node
	// Told is what the owner says unasked.
	Told [][]Found
	// Misleading is the complaint that nothing of what was there would have made;
	// nil where there is none.
	Misleading *rules.Sign
	Truth      Truth
	// Open is that not to be determined is the right answer.
	Open bool
	Plan Plan
	// Reckoned is what the model makes of the plan's findings: how likely the right
	// answer is, or, where it is open, the best.
	Reckoned float64
	// Real is that it is a real case: only what is recorded can be asked.
	Real bool

	book  *rules.Book
	crowd *crowd
	own   int // its world among the crowd; -1 for a real case
	found map[*rules.Sign][]Found
	shown []network.Shown
	sort  string
}

// ErrNoDraw is that no exercise of this kind came up.
var ErrNoDraw = errors.New("no exercise came up that can be solved and is of this kind; try another seed")

// Draw draws an exercise. The same request draws the same one from the same book.
func Draw(ctx context.Context, book *rules.Book, r Request) (*Exercise, error) {
	p, ok := profile(r.Engine)
	if !ok && r.Engine != "" {
		return nil, fmt.Errorf("there is no engine %q for practice", r.Engine)
	}
	rng := rand.New(rand.NewPCG(r.Seed, 0x7469646d61726b))
	sort := r.sort(rng)
	outcomes := book.Outcomes()
	for k := range draws {
		two := sort == BothNeeded || sort == EitherDid
		if two && k >= twoTries {
			sort = string(Journeyman)
		}
		if r.Engine == "" {
			// What two causes did can be told apart on a small engine, if on any.
			from := profiles
			if two {
				from = slices.DeleteFunc(slices.Clone(profiles), func(p Profile) bool { return !p.Small })
			}
			p = from[rng.IntN(len(from))]
		}
		c, err := p.blank(rng, outcomes[rng.IntN(len(outcomes))].ID)
		if err != nil {
			return nil, err
		}
		x, err := draw(ctx, book, r, p, c, sort, rng)
		if err != nil || x != nil {
			return x, err
		}
	}
	return nil, ErrNoDraw
}

// sort chooses which sort of exercise it is to be, once: so that sorts that come up
// seldom are not fewer than they should be.
func (r Request) sort(rng *rand.Rand) string {
	if r.Level != Master {
		return string(r.Level)
	}
	// Those in which one cause may stand in are first tried for two.
	switch x := rng.Float64(); {
	case x < 0.35:
		return BothNeeded
	case x < 0.70:
		return EitherDid
	}
	return open
}

// draw draws an exercise on one engine with one question; nil where none comes up.
func draw(ctx context.Context, book *rules.Book, r Request, p Profile, c *evidence.Case, sort string, rng *rand.Rand) (*Exercise, error) {
	times := 1
	if sort == BothNeeded || sort == EitherDid {
		times = masterTimes
	}
	cr, err := gather(book, c, rng, crowdSize, times, crowdTries)
	if err != nil {
		return nil, ctx.Err() // this engine does not come to that: another question
	}
	order, sift := cr.order(book, r.Lean, sort, rng), sifted
	if other := map[string]string{BothNeeded: EitherDid, EitherDid: BothNeeded}[sort]; other != "" {
		// Where none of the one sort can be solved, the other will do.
		sift = siftedTwo
		half := sift / 2
		order = slices.Concat(order[:min(half, len(order))], cr.order(book, r.Lean, other, rng))
	}
	if len(order) < fewest {
		return nil, ctx.Err()
	}
	plans, left := planned, reckons
	for _, i := range order[:min(sift, len(order))] {
		if plans == 0 || left == 0 {
			break
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		x := &Exercise{Request: r, Case: c, Profile: p, Question: book.Node(c.Question), Truth: cr.truths[i], Open: sort == open, book: book, crowd: cr, own: i, sort: sort}
		if sort != open && r.Level == Master {
			x.sort = cr.truths[i].How
		}
		x.found, x.shown = looksOf(cr, cr.worlds[i], rng)
		x.tell(rng)
		all := cr.even(i)
		for _, k := range cr.tells {
			cr.learn(all, x.found[cr.signs[k]])
		}
		if !x.within(all) {
			continue // nor would a plan get there, or stop short of it
		}
		plans--
		x.Plan = cr.plan(newBench(book, cr.s.Ground()), x.Told, x.found, i)
		if !x.within(x.Plan.weight) || x.Open && x.Plan.fit < 15 {
			continue
		}
		left--
		ok, err := x.reckon(ctx)
		if err != nil {
			return nil, err
		}
		if ok {
			return x, nil
		}
	}
	return nil, nil
}

// within tells whether, by what is found, what is right is likely enough among the
// worlds that fit, or, where it is open, nothing is.
func (x *Exercise) within(weight []float64) bool {
	if x.Open {
		_, p := x.crowd.leading(weight)
		return p < OpenBelow
	}
	least, most := 1.0, 0.0
	for _, id := range x.Truth.Right {
		p := x.crowd.share(weight, func(t *Truth) bool { return t.IsRight(id) })
		least, most = min(least, p), max(most, p)
	}
	return enough(least, most)
}

// enough tells whether what is right is as good as found out. Of several that are
// right together one must be as likely as that, and none out of sight: whether a second
// cause that is there also took part seldom shows.
func enough(least, most float64) bool { return most >= SolvableAt && least >= inSight }

// inSight is how likely each of several that are right together is at least.
const inSight = 0.3

// reckon holds the plan against the model: whether with its findings what is right is
// likely enough, or, where it is open, whether nothing is.
func (x *Exercise) reckon(ctx context.Context) (bool, error) {
	c, _ := noted(x.Case, x.Plan.found)
	how, ids := x.Truth.How, x.Truth.Right
	if x.Open {
		weight := x.crowd.even(x.own)
		for _, look := range x.Plan.found {
			x.crowd.learn(weight, look)
		}
		how, ids = Alone, x.crowd.likeliest(weight, 4)
	}
	p, err := reckoned(ctx, x.book, c, how, ids)
	if err != nil {
		return false, err
	}
	least, most := 1.0, 0.0
	for _, id := range ids {
		least, most = min(least, p[id]), max(most, p[id])
	}
	if x.Open {
		x.Reckoned = most
		return most < OpenBelow, nil
	}
	x.Reckoned = most
	return enough(least, most), nil
}

// fits tells whether a truth is of a sort.
func (t *Truth) fits(sort string) bool {
	apart, after := t.apart()
	switch sort {
	case string(Apprentice):
		return t.How == Alone && after == 0 && apart <= 1
	case string(Journeyman):
		return t.How == Alone && apart >= 2 || t.How == Alone && after >= 1
	case open:
		return true
	}
	return t.How == sort
}

// order lists the worlds of a sort in the order in which they are tried: by chance,
// those whose cause belongs to the pack that is leaned on more likely first
// (Efraimidis and Spirakis, Weighted random sampling with a reservoir, 2006).
func (c *crowd) order(book *rules.Book, lean, sort string, rng *rand.Rand) []int {
	var out []int
	key := make([]float64, len(c.truths))
	for i := range c.truths {
		u := rng.Float64()
		t := &c.truths[i]
		if !t.fits(sort) {
			continue
		}
		w := 1.0
		if lean != "" && slices.ContainsFunc(t.Right, func(id string) bool { return book.Node(id).Pack == lean }) {
			w = leanBy
		}
		key[i] = math.Log(u) / w
		out = append(out, i)
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(key[b], key[a]) })
	return out
}

// toldUnasked is how many of the owner's complaints are told at the start.
const toldUnasked = 2

// tell chooses what the owner says unasked: some of what he would tell if asked, and,
// above the first level, one thing that leads away.
func (x *Exercise) tell(rng *rand.Rand) {
	var would []*rules.Sign
	var wrong []*rules.Sign
	w, g := x.crowd.worlds[x.own], x.crowd.s.Ground()
	_, at := g.Asked()
	bears := g.Above(at)
	for _, s := range x.crowd.signs {
		if s.Part.ID != "owner_story" {
			continue
		}
		if x.found[s][0].Seen {
			would = append(would, s)
			continue
		}
		there, leads := false, false
		for _, r := range s.By {
			for _, it := range g.ItemsOf(r.From) {
				there = there || w.There(it)
				leads = leads || bears[it] && it.Node != x.Question
			}
		}
		if !there && leads {
			wrong = append(wrong, s)
		}
	}
	rng.Shuffle(len(would), func(i, j int) { would[i], would[j] = would[j], would[i] })
	told := would[:min(toldUnasked, len(would))]
	if len(wrong) > 0 && x.Level != Apprentice {
		x.Misleading = wrong[rng.IntN(len(wrong))]
		x.found[x.Misleading][0].Seen = true
		told = append(slices.Clone(told), x.Misleading)
	}
	slices.SortFunc(told, func(a, b *rules.Sign) int { return cmp.Compare(a.Name, b.Name) })
	for _, s := range told {
		x.Told = append(x.Told, x.found[s])
	}
}

// Base is how likely a cause is a right answer before anything is looked at or told:
// how often it is one among other worlds of the sort.
func (x *Exercise) Base(id string) float64 {
	right := func(t *Truth) bool { return t.IsRight(id) }
	if x.Real {
		return x.crowd.base("", -1, func(t *Truth) bool { return t.IsRight(id) || t.blamed(id) })
	}
	if x.Level != Master {
		return x.crowd.base(x.sort, x.own, right)
	}
	sum := 0.0
	for _, s := range masterSorts {
		sum += s.part * x.crowd.base(s.how, x.own, right)
	}
	return sum
}

// BaseOpen is the same for that it cannot be determined.
func (x *Exercise) BaseOpen() float64 {
	for _, s := range masterSorts {
		if s.how == open && x.Level == Master {
			return s.part
		}
	}
	return 0.1 // of real cases, by what is common practice to say of them
}

// base is how often something is so among worlds of a sort. Where these are few, they
// are taken to be somewhat like all; and half a world is counted to each side, so that
// nothing is ever never.
func (c *crowd) base(sort string, without int, so func(t *Truth) bool) float64 {
	n, k, all, any := 0.0, 0.0, 0.0, 0.0
	for i := range c.truths {
		t := &c.truths[i]
		if i == without {
			continue
		}
		all += c.prior[i]
		fits, is := sort == "" || t.fits(sort), so(t)
		// The same sort stands for the same, so that within one each world counts whole.
		one := 1.0
		if sort == "" || sort == open {
			one = c.prior[i]
		}
		if is {
			any += c.prior[i]
		}
		if fits {
			n += one
		}
		if fits && is {
			k += one
		}
	}
	return (k + halfLike*any/max(1, all) + 0.5) / (n + halfLike + 1)
}

func (t *Truth) blamed(id string) bool {
	return slices.ContainsFunc(t.There, func(p Present) bool { return p.ID == id && p.Blame })
}
