package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// lookCandidates is how many looks are worked out exactly, after a rough
// ranking that takes the causes of a sign as independent.
const lookCandidates = 30

// A look is kept from worthKeeping on, in bits over all leading candidates, and
// worth a person's time from WorthTelling on: a hundredth of a toss of a coin.
const (
	worthKeeping = 1e-5
	WorthTelling = 0.01
)

// Of what the bits of a look are: of what is there, or of what is to blame. The one is
// cheap and ranks the looks of a diagnosis, the other is what NextLooks tells.
const (
	OfPresence = "presence"
	OfBlame    = "blame"
)

// next ranks the looks not yet made by what they tell about the leading
// candidates for each minute of work.
func (w *work) next() error {
	cands := w.weighed()
	looks, _, err := w.ranked(cands, lookCandidates)
	if err != nil {
		return err
	}
	w.d.Next = looks
	w.flips(looks)
	if len(w.d.Next) > w.opt.Looks {
		w.d.Next = w.d.Next[:w.opt.Looks]
	}
	w.d.Stop = w.stop(looks, len(w.d.OverturnedBy.Looks) > 0)
	return nil
}

// stop tells whether looking on is worth it.
func (w *work) stop(looks []Look, changes bool) Stop {
	switch {
	case !slices.ContainsFunc(looks, func(l Look) bool { return l.Bits >= WorthTelling }):
		return Stop{false, "No look left that the book knows would tell much more."}
	case w.d.Verdict.Standing == Determined && !changes:
		return Stop{false, "No single look left changes what leads; look on only to answer what lies behind it."}
	}
	if !changes {
		return Stop{true, "A look left can still tell more: how surely it is so, or what lies behind it."}
	}
	return Stop{true, "A look left can still change what leads, or how surely."}
}

// ranked are the looks not yet made that tell something of the presence of the
// candidates, most bits a minute first, and where each is made.
func (w *work) ranked(cands []*held, most int) ([]Look, map[string]lookAt, error) {
	rough, err := w.roughLooks(cands)
	if err != nil {
		return nil, nil, err
	}
	rough = rough[:min(most, len(rough))]
	looks := make([]Look, len(rough))
	if err := each(w.ctx, len(rough), func(i int) (err error) {
		looks[i], err = w.exactLook(rough[i], cands)
		return err
	}); err != nil {
		return nil, nil, err
	}
	looks = slices.DeleteFunc(looks, func(l Look) bool { return l.Bits < worthKeeping })
	slices.SortStableFunc(looks, func(a, b Look) int {
		return cmp.Or(cmp.Compare(b.Bits/b.Minutes, a.Bits/a.Minutes), strings.Compare(a.Sign, b.Sign), strings.Compare(a.At, b.At))
	})
	where := map[string]lookAt{}
	for _, r := range rough {
		where[r.sign.ID] = r
	}
	return looks, where, nil
}

type lookAt struct {
	sign  *rules.Sign
	index int
	at    string
	score float64
	mins  float64
	off   []string
}

func (w *work) roughLooks(cands []*held) ([]lookAt, error) {
	// What would be there if each candidate were.
	given := make([]*network.Posterior, len(cands))
	if err := each(w.ctx, len(cands), func(i int) (err error) {
		if p := w.presentIn(w.post, cands[i]); p > 1e-6 && p < 1-1e-6 {
			given[i], err = w.plain.Given(w.ctx, cands[i].family, cands[i].items[0])
		}
		return err
	}); err != nil {
		return nil, err
	}
	// What hid a part that was looked at must have been off.
	opened := map[string]bool{}
	for _, f := range w.every {
		s := w.book.Sign(f.Sign)
		if s == nil || f.State == evidence.Unavailable || !slices.Contains([]evidence.Way{evidence.Eye, evidence.Lens, evidence.Gauge, evidence.CrackTest}, f.By) {
			continue
		}
		for _, id := range w.g.Hides(s.Part) {
			opened[id] = true
		}
	}
	done := map[string]bool{}
	for _, f := range w.every {
		done[f.Sign] = true
	}
	var out []lookAt
	for _, s := range w.book.Signs {
		if s.Vague || done[s.ID] || w.g.NoSign(s) || w.lost(s) {
			continue
		}
		mins := max(1, s.Minutes)
		var off []string
		for _, id := range w.g.Hides(s.Part) {
			if !w.c.Off(id) && !opened[id] {
				off = append(off, id)
				mins += w.book.Part(id).MinutesOff
			}
		}
		slices.Reverse(off)
		best := lookAt{score: -1}
		for _, index := range w.g.Positions(s.Part) {
			chances := w.g.RoughChances(s, index, append(given[:len(given):len(given)], w.post))
			p := chances[len(given)]
			bits := 0.0
			for i, h := range cands {
				if given[i] == nil {
					continue
				}
				c := w.presentIn(w.post, h)
				with := chances[i]
				without := max(0, min(1, (p-c*with)/(1-c)))
				bits += max(0, entropy(p)-c*entropy(with)-(1-c)*entropy(without))
			}
			if bits > best.score+1e-9 { // of positions that tell as much, the first
				best = lookAt{s, index, w.g.PositionName(s.Part, index), bits, mins, off}
			}
		}
		if best.sign == nil {
			continue // this engine has no position at which to look
		}
		best.score /= mins
		out = append(out, best)
	}
	slices.SortFunc(out, func(a, b lookAt) int { // a sign is there once
		return cmp.Or(cmp.Compare(b.score, a.score), strings.Compare(a.sign.ID, b.sign.ID))
	})
	return out, nil
}

// lost tells whether an act has destroyed a sign for good.
func (w *work) lost(s *rules.Sign) bool {
	return slices.ContainsFunc(s.LostBy, func(l rules.LostBy) bool {
		_, ok := w.c.Done(l.Kind, l.Part)
		return ok || l.Kind == evidence.ActOff && w.c.Off(l.Part)
	})
}

func entropy(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log2(p) - (1-p)*math.Log2(1-p)
}

// exactLook infers the model with the sign not found; what it would be if seen
// follows by difference.
func (w *work) exactLook(r lookAt, cands []*held) (Look, error) {
	l := Look{Sign: r.sign.ID, Name: r.sign.Title(), At: r.at, Ask: r.sign.Look, BitsOf: OfPresence, Minutes: r.mins, Off: r.off, Caution: r.sign.Caution,
		DestroyedBy: []string{}, IfSeen: map[string]float64{}, IfNotFound: map[string]float64{}}
	for _, x := range r.sign.LostBy {
		l.DestroyedBy = append(l.DestroyedBy, string(x.Kind)+" "+x.Part)
	}
	items, families := itemsOf(cands)
	notFound, err := w.plain.IfNotFound(w.ctx, []network.Unseen{{Sign: r.sign, Index: r.index}}, items, families)
	if err != nil {
		return l, err
	}
	q := min(1, math.Exp(notFound.LogP-w.post.LogP)) // chance of not finding it
	l.Chance = 1 - q
	for _, h := range cands {
		now, not := w.presentIn(w.post, h), w.presentIn(notFound, h)
		seen := now
		if q < 1-1e-9 {
			seen = max(0, min(1, (now-q*not)/(1-q)))
		}
		l.IfSeen[h.key()], l.IfNotFound[h.key()] = seen, not
		l.Bits += max(0, entropy(now)-q*entropy(not)-(1-q)*entropy(seen))
	}
	return l, nil
}

// flips lists the looks of which one result would put another candidate ahead
// of the leader, by presence of the causes weighed.
func (w *work) flips(looks []Look) {
	lead := w.leading()
	if lead == nil {
		return
	}
	cands := w.weighed()
	for _, l := range looks {
		for _, res := range []struct {
			name string
			p    map[string]float64
			prob float64
		}{{"seen", l.IfSeen, l.Chance}, {"not found", l.IfNotFound, 1 - l.Chance}} {
			if res.prob < 0.01 {
				continue
			}
			// Blame moves with presence; scale each candidate's blame so.
			score := func(h *held) float64 { return h.Blame * ratio(res.p[h.key()], w.presentIn(w.post, h)) }
			best := lead
			for _, h := range cands {
				if h.items[0].Node.Kind == lead.items[0].Node.Kind && score(h) > score(best)+1e-9 {
					best = h
				}
			}
			if best != lead && !w.related(best, lead) {
				w.d.OverturnedBy.Looks = append(w.d.OverturnedBy.Looks, LookFlip{l.Sign, l.At, res.name, res.prob, best.key()})
			}
		}
	}
	slices.SortStableFunc(w.d.OverturnedBy.Looks, func(a, b LookFlip) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), strings.Compare(a.Sign, b.Sign))
	})
	if len(w.d.OverturnedBy.Looks) > 5 {
		w.d.OverturnedBy.Looks = w.d.OverturnedBy.Looks[:5]
	}
}

func ratio(a, b float64) float64 {
	if b <= 0 {
		return 0
	}
	return a / b
}

// overturned finds the single findings and the rules of the chain on which the
// leader hangs, by working them out again.
func (w *work) overturned() error {
	lead := w.leading()
	if lead == nil || !w.g.Asking() {
		return nil
	}
	rivals := w.rivals(lead)
	if len(rivals) == 0 {
		return nil // nothing else could come to lead
	}
	ids := slices.DeleteFunc(w.counted(), func(id string) bool {
		weight := w.weightOf(id, lead)
		return math.Abs(weight.Last) < 1 && math.Abs(weight.Alone) < 3
	})
	then := make([]*held, len(ids))
	if err := each(w.ctx, len(ids), func(i int) (err error) {
		then[i], _, err = w.leaderIf(lead, rivals, map[string]bool{ids[i]: true})
		return err
	}); err != nil {
		return err
	}
	for i, h := range then {
		if h != nil && h != lead {
			w.d.OverturnedBy.Findings = append(w.d.OverturnedBy.Findings, FindingFlip{ids[i], h.key()})
		}
	}
	return w.ruleFlips(lead, rivals)
}

// rivals are the candidates that could lead instead: the best others of the
// same kind that neither lie behind nor ahead of the leader.
func (w *work) rivals(lead *held) []*held {
	var out []*held
	for _, h := range w.named() {
		if h != lead && h.Acted >= Screen && !w.related(h, lead) && len(out) < 4 {
			out = append(out, h)
		}
	}
	return out
}

func (w *work) weightOf(id string, h *held) Weight {
	for _, f := range w.d.Findings {
		if f.ID == id {
			return f.Weight[h.key()]
		}
	}
	return Weight{}
}

// leaderIf tells which of leader and rivals has the most blame when findings are left
// out or rules changed, and by how much it leads: the leader before the best rival, or
// a rival before the leader.
func (w *work) leaderIf(lead *held, rivals []*held, without map[string]bool, changes ...network.Change) (*held, float64, error) {
	g := w.g.Variant(without, changes...)
	best, most, second, led := lead, -1.0, -1.0, 0.0
	for _, h := range append([]*held{lead}, rivals...) {
		b, err := g.Blame(w.ctx, h.test())
		if err != nil {
			return nil, 0, err
		}
		if h == lead {
			led = b
		}
		if b > most+1e-12 {
			best, most, second = h, b, most
		} else {
			second = max(second, b)
		}
	}
	if best == lead {
		return best, most - max(second, 0), nil
	}
	return best, most - led, nil
}

// ruleFlips seeks, for each rule of the chain, the how-often at which another candidate
// leads, and of the most fragile the smallest joint change of two.
func (w *work) ruleFlips(lead *held, rivals []*held) error {
	chain := w.chainRules()
	flips := make([]*RuleFlip, 2*len(chain))
	if err := each(w.ctx, len(flips), func(i int) error {
		r := chain[i/2]
		end := []float64{0.001, 0.999}[i%2]
		move := func(at float64) []network.Change {
			return []network.Change{{Rule: r, HowOften: chance(at)}}
		}
		turns, then, err := w.turning(lead, rivals, move, decibans(r.HowOften), decibans(end))
		if then == nil || err != nil {
			return err
		}
		at := chance(turns)
		flips[i] = &RuleFlip{Rule: r.ID, Now: r.HowOften, ThenLeads: then.key()}
		if end < r.HowOften {
			flips[i].HoldsAbove = &at
		} else {
			flips[i].HoldsBelow = &at
		}
		return nil
	}); err != nil {
		return err
	}
	for _, f := range flips {
		if f != nil {
			w.d.OverturnedBy.Rules = append(w.d.OverturnedBy.Rules, *f)
		}
	}
	slices.SortStableFunc(w.d.OverturnedBy.Rules, func(a, b RuleFlip) int {
		return cmp.Or(cmp.Compare(a.distance(), b.distance()), strings.Compare(a.Rule, b.Rule))
	})
	return w.jointFlip(lead, rivals, chain)
}

// exactly is how near, in decibans, a turning point is told; tries bounds the search.
const (
	exactly = 0.02
	tries   = 20
	quick   = 6 // of these may go by a curve through what is known
)

// turning finds where, between two points in decibans, another candidate comes to lead,
// and which; none where none does at the far end. What leads at the point itself and a
// hair before it is worked out, not interpolated.
func (w *work) turning(lead *held, rivals []*held, move func(at float64) []network.Change, from, to float64) (float64, *held, error) {
	then, ahead, err := w.leaderIf(lead, rivals, nil, move(to)...)
	if err != nil || then == lead {
		return 0, nil, err
	}
	// By how much the leader leads before the best rival.
	leads, best := 0.0, 0.0
	for _, h := range append([]*held{lead}, rivals...) {
		if h == lead {
			leads = h.Blame
		} else {
			best = max(best, h.Blame)
		}
	}
	points := []point{{chance(from), leads - best}, {chance(to), -ahead}}
	holds, turns := from, to
	for n := 0; math.Abs(turns-holds) > exactly && n < tries; n++ {
		at := (holds + turns) / 2
		if root := zero(points); n < quick && root > 0 && root < 1 {
			// A hair to the side of what is not known to so little yet, so that what is known
			// encloses it in the end.
			hair := math.Copysign(exactly/3, to-from)
			at = decibans(root)
			if math.Abs(turns-at) < math.Abs(at-holds) {
				hair = -hair
			}
			lo, hi := min(holds, turns)+exactly/2, max(holds, turns)-exactly/2
			at = max(lo, min(hi, at+hair))
		}
		t, by, err := w.leaderIf(lead, rivals, nil, move(at)...)
		if err != nil {
			return 0, nil, err
		}
		if t == lead {
			holds = at
			points = append(points, point{chance(at), by})
		} else {
			turns, then = at, t
			points = append(points, point{chance(at), -by})
		}
	}
	return turns, then, nil
}

// point is a how-often and by how much the leader leads there.
type point struct{ x, y float64 }

// zero is where a curve through the last points is zero: of a rule at one position each
// blame is the ratio of two straight lines in how often it works, over a common divisor,
// and so is the difference of two; three points tell it. NaN where there is none.
func zero(points []point) float64 {
	n := len(points)
	a, b := points[n-1], points[n-2]
	slope := (a.x - b.x) / (a.y - b.y)
	line := a.x - a.y*slope
	if n < 3 {
		return line
	}
	// x = root + u y - v x y through all three.
	c := points[n-3]
	slope2 := (a.x - c.x) / (a.y - c.y)
	v := (slope2 - slope) / ((a.x*a.y-b.x*b.y)/(a.y-b.y) - (a.x*a.y-c.x*c.y)/(a.y-c.y))
	u := slope + v*(a.x*a.y-b.x*b.y)/(a.y-b.y)
	root := a.x - u*a.y + v*a.x*a.y
	if math.IsNaN(root) || math.IsInf(root, 0) {
		return line
	}
	return root
}

// fragile is how many rules are tried in pairs.
const fragile = 5

// jointFlip seeks the smallest change of two rules at once, by as many decibans each,
// that brings another candidate ahead where neither would alone.
func (w *work) jointFlip(lead *held, rivals []*held, chain []*rules.Rule) error {
	flips := w.d.OverturnedBy.Rules
	flips = flips[:min(fragile, len(flips))]
	if len(flips) < 2 {
		return nil
	}
	rule := map[string]*rules.Rule{}
	for _, r := range chain {
		rule[r.ID] = r
	}
	type pair struct{ a, b RuleFlip }
	var pairs []pair
	for i, b := range flips {
		for _, a := range flips[:i] {
			if a.Rule != b.Rule {
				pairs = append(pairs, pair{a, b})
			}
		}
	}
	toward := func(f RuleFlip, by float64) network.Change {
		at := decibans(f.Now) - by
		if f.HoldsAbove == nil {
			at = decibans(f.Now) + by
		}
		return network.Change{Rule: rule[f.Rule], HowOften: chance(at)}
	}
	best := flips[0].distance() // one rule alone does it then
	for _, p := range pairs {
		move := func(by float64) []network.Change { return []network.Change{toward(p.a, by), toward(p.b, by)} }
		by, then, err := w.turning(lead, rivals, move, 0, best)
		if err != nil {
			return err
		}
		if then != nil && by < best-exactly {
			best = by
			c := move(by)
			w.d.OverturnedBy.Joint = &JointFlip{
				Rules: []string{p.a.Rule, p.b.Rule}, Now: []float64{p.a.Now, p.b.Now},
				At: []float64{c[0].HowOften, c[1].HowOften}, Decibans: by, ThenLeads: then.key(),
			}
		}
	}
	return nil
}

// distance is how far the turning point is from the value now, in log odds.
func (f RuleFlip) distance() float64 {
	at := f.HoldsAbove
	if at == nil {
		at = f.HoldsBelow
	}
	return math.Abs(decibans(f.Now) - decibans(*at))
}

// chainRules are the rules between the links of the chain.
func (w *work) chainRules() []*rules.Rule {
	var out []*rules.Rule
	for i := 1; i < len(w.d.Chain); i++ {
		for _, r := range w.book.Rules {
			if r.To != nil && r.From.ID == w.d.Chain[i-1].ID && r.To.ID == w.d.Chain[i].ID {
				out = append(out, r)
			}
		}
	}
	return out
}
