package practice

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"tidemark/engine"
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
	crowdSize  = 1500
	crowdTries = 90000
	draws      = 30 // questions tried before giving up, those included that this engine has not got
	// Of one crowd, how many worlds are sifted, planned for, and reckoned at most.
	sifted   = 60
	planned  = 5
	reckons  = 2
	leanBy   = 6  // how much likelier causes of the pack are that is leaned on
	fewest   = 5  // worlds of a sort without which there is no choice
	halfLike = 10 // worlds' worth by which a sort is taken to be like all
)

// masterSorts are the sorts of a master's exercises, of which one comes up as often as
// another: what each of them is held against, the other two are.
var masterSorts = []string{BothNeeded, EitherDid, open}

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
	// answer is (of two causes, where each sort of exercise is as likely as another), or,
	// where it is open, the best.
	Reckoned float64
	// Real is that it is a real case: only what is recorded can be asked.
	Real bool

	book    *rules.Book
	crowd   *crowd
	world   *network.World // nil for a real case
	own     int            // its place among the crowd; -1 where it is not among it
	found   map[*rules.Sign][]Found
	shown   []network.Shown
	sort    string
	mastery *mastery // of a master's exercise
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
	// What two causes did can be told apart on a small engine, if on any.
	from := profiles
	if sort == BothNeeded || sort == EitherDid {
		from = slices.DeleteFunc(slices.Clone(profiles), func(p Profile) bool { return !p.Small })
	}
	tries := draws
	if sort == BothNeeded || sort == EitherDid {
		tries *= 3
		if r.Engine != "" {
			tries = 2 * len(outcomes) // a third time hardly brings what two did not
		}
	}
	// What an engine was asked already is not asked again before all the rest: most of what
	// comes to nothing would again.
	asked := map[string][]int{}
	for range tries {
		if r.Engine == "" {
			p = from[rng.IntN(len(from))]
		}
		if len(asked[p.ID]) == 0 {
			asked[p.ID] = rng.Perm(len(outcomes))
		}
		k := asked[p.ID][0]
		asked[p.ID] = asked[p.ID][1:]
		c, err := p.blank(rng, outcomes[k].ID)
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
	return masterSorts[rng.IntN(len(masterSorts))]
}

// draw draws an exercise on one engine with one question; nil where none comes up.
func draw(ctx context.Context, book *rules.Book, r Request, p Profile, c *evidence.Case, sort string, rng *rand.Rand) (*Exercise, error) {
	x := &Exercise{Request: r, Case: c, Profile: p, Question: book.Node(c.Question), Open: sort == open, book: book, sort: sort}
	var m *mastery
	var cr *crowd
	var err error
	if r.Level == Master {
		if m, err = gatherMaster(book, c, rng); err == nil {
			cr = m.pool
		}
	} else {
		cr, err = gather(book, c, rng, crowdSize, crowdTries)
	}
	if err != nil {
		return nil, ctx.Err() // this engine does not come to that: another question
	}
	if x.two() {
		return x.drawTwo(ctx, rng, m)
	}
	order := cr.order(book, r.Lean, sort, rng)
	if len(order) < fewest {
		return nil, ctx.Err()
	}
	all := cr
	if m != nil {
		all = m.crowd(rng, nil, Truth{})
	}
	left := effort{planned, reckons}
	for _, i := range order[:min(sifted, len(order))] {
		if left.spent() {
			break
		}
		x := *x
		x.Truth, x.world, x.mastery = cr.truths[i], cr.worlds[i], m
		x.crowd, x.own = all, slices.Index(all.worlds, x.world)
		x.found, x.shown = looksOf(cr, x.world, rng)
		x.tell(rng)
		ok, err := x.suits(ctx, &left)
		if err != nil {
			return nil, err
		}
		if ok {
			return &x, nil
		}
	}
	return nil, nil
}

// drawTwo draws an exercise in which two causes had to do with it.
func (x *Exercise) drawTwo(ctx context.Context, rng *rand.Rand, m *mastery) (*Exercise, error) {
	if !slices.Contains(m.sorts, x.sort) {
		return nil, ctx.Err()
	}
	pool, from, drawn := m.pool, m.from[x.sort], m.twos[x.sort]
	left := effort{planned, reckons}
	for k, sifted := 0, 0; k < twoTries && sifted < twoSifted && !left.spent(); k++ {
		var t two
		if k < len(drawn) {
			t = drawn[k]
		} else if more, ok := from.draw(rng); ok {
			t = more
		} else {
			continue
		}
		x := *x
		x.Truth, x.world = t.truth, t.world
		x.found, x.shown = looksOf(pool, t.world, rng)
		if min(pool.shows(t.a, x.found), pool.shows(t.b, x.found)) < twoShows {
			continue // it cannot be told that both are there
		}
		sifted++
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		x.crowd, x.own = pool.alike(rng, t), 0
		x.tell(rng)
		if !x.within(x.full()) {
			continue // nor could it be told where it is known what is there
		}
		x.crowd, x.mastery = m.crowd(rng, t.world, t.truth, t.a, t.b), m
		ok, err := x.suits(ctx, &left)
		if err != nil {
			return nil, err
		}
		if ok {
			return &x, nil
		}
	}
	return nil, nil
}

// effort is for how many more worlds of a question a plan is made, and how many plans
// are held against the model.
type effort struct{ plans, reckons int }

func (e *effort) spent() bool { return e.plans == 0 || e.reckons == 0 }

// full weighs the crowd by all that there is to be found.
func (x *Exercise) full() []float64 {
	all := x.crowd.even(x.own)
	for _, k := range x.crowd.tells {
		x.crowd.learn(all, x.found[x.crowd.signs[k]])
	}
	return all
}

// suits tells whether a world makes an exercise: whether what is right can be found out,
// by a plan and by the model.
func (x *Exercise) suits(ctx context.Context, left *effort) (bool, error) {
	if err := ctx.Err(); err != nil {
		return false, err
	}
	if !x.two() && !x.within(x.full()) {
		return false, nil // nor would a plan get there, or stop short of it
	}
	left.plans--
	sure := planSure
	if x.two() {
		sure = planSurer
	}
	x.Plan = x.crowd.plan(newBench(x.book, x.crowd.s.Ground()), x.Told, x.found, x.own, sure)
	if !x.within(x.Plan.weight) || x.Open && x.Plan.fit < 15 {
		return false, nil
	}
	if x.two() && x.byTheBook(x.Plan.weight) < inSight {
		return false, nil // nor would the model have it
	}
	left.reckons--
	return x.reckon(ctx)
}

// within tells whether, by what is found, what is right is likely enough among the
// worlds that fit, or, where it is open, nothing is.
func (x *Exercise) within(weight []float64) bool {
	switch {
	case x.Open:
		_, p := x.crowd.leading(weight)
		return p < OpenBelow
	case x.two():
		return x.crowd.share(weight, x.matches) >= TogetherAt
	}
	return x.crowd.share(weight, func(t *Truth) bool { return t.IsRight(x.Truth.Right[0]) }) >= SolvableAt
}

func (x *Exercise) two() bool { return x.sort == BothNeeded || x.sort == EitherDid }

// TogetherAt is how likely it is at least, where two causes had to do with it, that they
// stood just so.
const TogetherAt = SolvableAt

// enough tells whether, by the model, what is right is as good as found out. Of two causes
// one is probable, and the other, which by the book alone is seldom anything to say, is
// in sight: that either sort is as frequent as any other is the exercise's own, and
// told.
func (x *Exercise) enough(least, most float64) bool {
	if x.two() {
		return most >= engine.ProbableAt && least >= inSight
	}
	return least >= SolvableAt
}

// byTheBook is how likely it is that two causes stood as they did, by these weights, where sorts
// are as frequent as the book has them.
func (x *Exercise) byTheBook(weight []float64) float64 {
	fit, all := 0.0, 0.0
	for i, w := range weight {
		if t := &x.crowd.truths[i]; t.two() && slices.Contains(x.mastery.sorts, t.How) {
			w /= x.mastery.times(t.How, true)
		}
		if all += w; x.matches(&x.crowd.truths[i]) {
			fit += w
		}
	}
	return fit / max(all, 1e-300)
}

// told is how likely two causes are where each sort is as likely as another, as whoever plays
// is told, by how likely they are by the book alone.
func (x *Exercise) told(p float64) float64 {
	if !x.two() {
		return p
	}
	k := x.mastery.times(x.Truth.How, true)
	return k * p / (k*p + 1 - p)
}

// inSight is how likely the less likely of two causes is at least, by the book alone.
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
	x.Reckoned = x.told(least)
	return x.enough(least, most), nil
}

// fits tells whether a truth is of a sort.
func (t *Truth) fits(sort string) bool {
	apart, after := t.apart()
	switch sort {
	case string(Apprentice):
		return t.How == Alone && after == 0 && apart <= 1
	case string(Journeyman):
		return t.How == Alone && apart >= 2 || t.How == Alone && after >= 1
	}
	return true // it hangs on what can be found out
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
	w, g := x.world, x.crowd.s.Ground()
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
// how often it is one among other worlds of the level.
func (x *Exercise) Base(id string) float64 {
	if x.Real {
		return x.crowd.base("", -1, func(t *Truth) bool { return t.IsRight(id) || t.blamed(id) })
	}
	return x.base(func(t *Truth) bool { return t.IsRight(id) })
}

// BaseTogether is the same for that causes were needed together, or that each of them
// would have done, and no others.
func (x *Exercise) BaseTogether(how string, ids []string) float64 {
	return x.base(func(t *Truth) bool { return t.How == how && slices.Equal(t.Right, ids) })
}

func (x *Exercise) base(so func(t *Truth) bool) float64 {
	if x.Level != Master {
		return x.crowd.base(x.sort, x.own, so)
	}
	sum := 0.0
	for _, sort := range x.mastery.sorts {
		if sort == open {
			sum += x.mastery.pool.base(open, slices.Index(x.mastery.pool.worlds, x.world), so)
			continue
		}
		n, list := 0.5, x.mastery.twos[sort]
		for i := range list {
			if so(&list[i].truth) {
				n++
			}
		}
		sum += n / float64(len(list)+1)
	}
	return sum / float64(len(x.mastery.sorts))
}

// BaseOpen is the same for that it cannot be determined: as many of a master's exercises
// as of any of his sorts, and of real cases what is common practice to say of them. Of
// the other levels there is none, and 1 in 100 is the least that can be said.
func (x *Exercise) BaseOpen() float64 {
	switch {
	case x.Real:
		return 0.1
	case x.Level == Master:
		return 1 / float64(len(x.mastery.sorts))
	}
	return 0.01
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
