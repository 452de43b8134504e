package engine

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// NextSchema names the shape of a Next as JSON.
const NextSchema = "tidemark.next/1"

// LookOptions are what a caller of NextLooks may choose.
type LookOptions struct {
	Options
	// Within is for how many minutes looks are planned; 0 for no plan.
	Within float64
	// StopAt is how likely a look must be to change what leads, to be worth going on
	// for; 0 for the default of StopBelow.
	StopAt float64
	// Rough ranks by presence alone, of the causes that can have acted most, and leaves
	// out blame, plan and what acts destroy: many times faster.
	Rough bool
}

// StopBelow is the chance of changing what leads below which a look is not worth it.
const StopBelow = 0.05

// Next is what to look at next, and what not to disturb before it.
type Next struct {
	Schema  string      `json:"schema"`
	Case    CaseInfo    `json:"case"`
	Verdict Verdict     `json:"verdict"`
	Leaders []Candidate `json:"leaders"` // those of which the looks tell, by blame
	Leads   string      `json:"leads"`   // which of them leads now
	// Destroys are the acts that would destroy what is still to be seen, the one that
	// would destroy most first.
	Destroys []Destroys `json:"destroys"`
	Looks    []NextLook `json:"looks"` // most bits a minute first
	Plan     *LookPlan  `json:"plan,omitempty"`
	Stop     Stop       `json:"stop"`
	// StopAt is the chance that Stop goes by.
	StopAt  float64  `json:"stop_at"`
	Book    BookInfo `json:"book"`
	Method  Method   `json:"method"`
	Program Program  `json:"program"`
}

// NextLook is a look with what either result would do to the blame of the leaders;
// its bits are of blame (of presence where nothing is asked, or roughly ranked).
type NextLook struct {
	Look
	Now map[string]float64 `json:"now"`
	// LeadsIfSeen and LeadsIfNotFound are what would lead then.
	LeadsIfSeen     string `json:"leads_if_seen"`
	LeadsIfNotFound string `json:"leads_if_not_found"`
	// Changes is how likely the look is to change what leads.
	Changes float64 `json:"changes"`
}

// Destroys is an act and the looks that it would make impossible.
type Destroys struct {
	Act    string    `json:"act"` // off, wash, turn, …
	Part   string    `json:"part"`
	Bits   float64   `json:"bits"`    // of all its looks, each by itself
	BitsOf string    `json:"bits_of"` // as that of its looks
	Signs  []AtStake `json:"signs"`
}

// AtStake is a look that an act would make impossible.
type AtStake struct {
	Sign string  `json:"sign"`
	At   string  `json:"at"`
	Name string  `json:"name"`
	Ask  string  `json:"look"`
	Bits float64 `json:"bits"`
}

// LookPlan is a set of looks for a given time, chosen by what they tell together.
type LookPlan struct {
	Within  float64    `json:"within"`  // minutes
	Minutes float64    `json:"minutes"` // that it takes; what comes off is counted once
	Bits    float64    `json:"bits"`    // of the presence of the leaders, together
	Steps   []PlanStep `json:"steps"`
}

// PlanStep is a look, or a part that comes off for the looks after it.
type PlanStep struct {
	Off     string  `json:"off,omitempty"` // part
	Sign    string  `json:"sign,omitempty"`
	At      string  `json:"at,omitempty"`
	Name    string  `json:"name"`
	Ask     string  `json:"look,omitempty"`
	Minutes float64 `json:"minutes"`
	Caution string  `json:"caution,omitempty"`
}

const (
	leadersOf    = 6   // of how many the looks tell, unlisted apart
	leadingFew   = 3   // how many of them are causes, where steps stand out as well
	stepLeads    = 0.1 // blame from which a step does
	blamedLooks  = 10  // of how many looks the blame after either result is worked out
	atStake      = 4   // and of how many more that an act would destroy
	plannedLooks = 16  // among how many a plan is sought
	longestPlan  = 5   // looks
)

// NextLooks works out what to look at next in a case that was checked against the book.
func NextLooks(ctx context.Context, book *rules.Book, c *evidence.Case, opt LookOptions) (*Next, error) {
	if opt.StopAt == 0 {
		opt.StopAt = StopBelow
	}
	w, err := begin(ctx, book, c, opt.Options)
	if err != nil {
		return nil, err
	}
	n := &Next{Schema: NextSchema, StopAt: opt.StopAt, Leaders: []Candidate{}, Destroys: []Destroys{}, Looks: []NextLook{}}
	if opt.Rough {
		err = w.roughNext(n)
	} else if err = w.do(w.header, w.candidates, w.conflict, w.verdict); err == nil {
		err = w.fullNext(n, opt)
	}
	if err != nil {
		return nil, err
	}
	w.tidy()
	n.Case, n.Verdict, n.Book, n.Method, n.Program = w.d.Case, w.d.Verdict, w.d.Book, w.d.Method, w.d.Program
	return n, nil
}

// roughNext ranks looks by the presence of the causes that can have acted most.
func (w *work) roughNext(n *Next) error {
	for _, node := range w.book.Nodes {
		if node.Kind != rules.Cause || node.Category == rules.Artefact {
			continue
		}
		for _, it := range w.g.ItemsOf(node) {
			h := w.single(it)
			w.keep(h)
			h.Acted = min(h.Present, w.bound(h)) // at most
		}
	}
	slices.SortStableFunc(w.all, func(a, b *held) int {
		return cmp.Or(cmp.Compare(b.Acted, a.Acted), cmp.Compare(b.Present, a.Present), strings.Compare(a.key(), b.key()))
	})
	cands := w.all[:min(leadersOf, len(w.all))]
	looks, _, err := w.ranked(cands, lookCandidates)
	if err != nil {
		return err
	}
	for _, h := range cands {
		n.Leaders = append(n.Leaders, h.Candidate)
	}
	for _, l := range looks[:min(w.opt.Looks, len(looks))] {
		n.Looks = append(n.Looks, NextLook{Look: l, Now: map[string]float64{}})
	}
	n.Stop = w.stop(looks, true)
	return nil
}

// leaders are what looks are to tell of: what is named or comes nearest, the causes most
// to blame, and the steps on which most blame falls of which none leads to another.
// Early on, when no cause stands out, the first thing to tell is which part of the
// engine went first.
func (w *work) leaders() []*held {
	if !w.g.Asking() {
		cands := w.weighed()
		return cands[:min(leadersOf, len(cands))]
	}
	out := slices.Clone(w.lead)
	if len(out) == 0 {
		if h := w.leading(); h != nil {
			out = append(out, h)
		}
	}
	add := func(h *held, most int) {
		if len(out) < most && !slices.ContainsFunc(out, func(o *held) bool { return o.ID == h.ID }) {
			out = append(out, h)
		}
	}
	for _, h := range w.named() {
		if h.items[0].Node.Kind == rules.Cause && h.Blame >= Screen {
			add(h, leadingFew)
		}
	}
	for _, h := range w.named() {
		if h.items[0].Node.Kind == rules.Step && h.Blame >= stepLeads && !slices.ContainsFunc(out, func(o *held) bool { return w.related(o, h) }) {
			add(h, leadersOf)
		}
	}
	for _, h := range w.named() {
		if h.items[0].Node.Kind == rules.Cause && h.Blame >= Screen {
			add(h, leadersOf)
		}
	}
	// By blame, so that what leads is told first.
	slices.SortStableFunc(out, func(a, b *held) int { return cmp.Compare(b.Blame, a.Blame) })
	return out
}

func (w *work) fullNext(n *Next, opt LookOptions) error {
	cands := w.leaders()
	looks, where, err := w.ranked(cands, lookCandidates)
	if err != nil {
		return err
	}
	told := slices.Clone(cands)
	for _, h := range w.all {
		if h.unlisted && h.Blame >= 0.02 {
			told = append(told, h)
		}
	}
	for _, h := range told {
		n.Leaders = append(n.Leaders, h.Candidate)
	}
	for _, l := range worthBlaming(looks) {
		n.Looks = append(n.Looks, NextLook{Look: l, Now: map[string]float64{}})
	}
	if w.g.Asking() {
		if err := w.blamed(n.Looks, where, told); err != nil {
			return err
		}
	} else {
		for i := range n.Looks {
			for _, h := range told {
				n.Looks[i].Now[h.key()] = h.Present
			}
		}
	}
	slices.SortStableFunc(n.Looks, func(a, b NextLook) int {
		return cmp.Or(cmp.Compare(b.Bits/b.Minutes, a.Bits/a.Minutes), strings.Compare(a.Sign, b.Sign), strings.Compare(a.At, b.At))
	})
	n.Destroys = append(n.Destroys, w.destroys(n.Looks)...)
	if len(n.Looks) > 0 {
		n.Leads = first(told, n.Looks[0].Now)
	}
	n.Stop = stopping(n.Looks, opt.StopAt, w.g.Asking())
	if opt.Within > 0 {
		if n.Plan, err = w.plan(looks[:min(plannedLooks, len(looks))], where, cands, opt.Within); err != nil {
			return err
		}
	}
	n.Looks = n.Looks[:min(w.opt.Looks, len(n.Looks))]
	return nil
}

// worthBlaming picks the looks of which the blame after either result is worked out:
// those that tell most for the time, and of the rest those that tell most and can be
// destroyed.
func worthBlaming(looks []Look) []Look {
	n := min(blamedLooks, len(looks))
	out, rest := slices.Clone(looks[:n]), slices.Clone(looks[n:])
	slices.SortStableFunc(rest, func(a, b Look) int { return cmp.Compare(b.Bits, a.Bits) })
	for _, l := range rest {
		if len(out) < blamedLooks+atStake && len(l.DestroyedBy) > 0 && l.Bits >= WorthTelling {
			out = append(out, l)
		}
	}
	return out
}

// blamed works out the blame of the leaders after either result of each look: not
// found by the model, seen by difference, since what is now is the mean of both.
func (w *work) blamed(looks []NextLook, where map[string]lookAt, cands []*held) error {
	type job struct{ look, cand int }
	var jobs []job
	for i := range looks {
		looks[i].IfSeen, looks[i].IfNotFound = map[string]float64{}, map[string]float64{}
		for k := range cands {
			jobs = append(jobs, job{i, k})
		}
	}
	grounds := make([]*network.Ground, len(looks))
	for i, l := range looks {
		at := where[l.Sign]
		grounds[i] = w.g.Without(network.Unseen{Sign: at.sign, Index: at.index})
	}
	not := make([]float64, len(jobs))
	if err := each(w.ctx, len(jobs), func(i int) (err error) {
		not[i], err = grounds[jobs[i].look].Blame(w.ctx, cands[jobs[i].cand].test())
		return err
	}); err != nil {
		return err
	}
	for i := range looks {
		looks[i].Bits, looks[i].BitsOf = 0, OfBlame
	}
	for i, j := range jobs {
		l, h := &looks[j.look], cands[j.cand]
		q := 1 - l.Chance
		then, seen := min(1, not[i]), h.Blame
		if l.Chance > 1e-9 {
			seen = max(0, min(1, (h.Blame-q*then)/l.Chance))
		}
		l.Now[h.key()], l.IfNotFound[h.key()], l.IfSeen[h.key()] = h.Blame, then, seen
		l.Bits += max(0, entropy(h.Blame)-q*entropy(then)-l.Chance*entropy(seen))
	}
	for i := range looks {
		l := &looks[i]
		now := first(cands, l.Now)
		l.LeadsIfSeen, l.LeadsIfNotFound = first(cands, l.IfSeen), first(cands, l.IfNotFound)
		if l.LeadsIfSeen != now || w.fallen(l.IfSeen) {
			l.Changes += l.Chance
		}
		if l.LeadsIfNotFound != now || w.fallen(l.IfNotFound) {
			l.Changes += 1 - l.Chance
		}
	}
	return nil
}

// fallen tells whether what the verdict names would not be probable any more.
func (w *work) fallen(blame map[string]float64) bool {
	for _, h := range w.lead {
		if b, told := blame[h.key()]; told && h.Blame >= ProbableAt && b < ProbableAt {
			return true
		}
	}
	return false
}

// first is which of some candidates leads: of causes, where any is worth naming, the one
// most to blame, for behind a step that is sure the question is which cause; of equals
// the one told first. All that is not listed, taken together, leads only where it is
// probable.
func first(cands []*held, blame map[string]float64) string {
	best, cause := "", ""
	for _, h := range cands {
		k := h.key()
		switch {
		case h.unlisted && blame[k] < ProbableAt:
			continue
		case best == "" || blame[k] > blame[best]+1e-9:
			best = k
		}
		if (h.unlisted || h.items[0].Node.Kind == rules.Cause) && blame[k] >= worthNaming && (cause == "" || blame[k] > blame[cause]+1e-9) {
			cause = k
		}
	}
	if cause != "" {
		return cause
	}
	return best
}

// worthNaming is the blame from which a cause leads before a step nearer to what happened.
const worthNaming = 0.2

// stopping tells whether any look left is likely enough to change what leads.
func stopping(looks []NextLook, at float64, asking bool) Stop {
	if len(looks) == 0 {
		return Stop{false, "No look is left that the book knows and that would tell anything."}
	}
	most := looks[0]
	for _, l := range looks {
		if l.Changes > most.Changes {
			most = l
		}
	}
	switch {
	case !asking && most.Bits >= WorthTelling:
		return Stop{true, "Nothing is asked, so nothing leads; the looks listed still tell what is there."}
	case !asking:
		return Stop{false, "No look is left that would tell much of what is there."}
	case most.Changes > at:
		return Stop{true, fmt.Sprintf("One look, %s, changes what leads in %s of cases like this.", most.Name, percent(most.Changes))}
	case most.Changes > 0:
		return Stop{false, fmt.Sprintf("No look left changes what leads in more than %s of cases like this (the likeliest to, %s, in %s): it is not worth going on for.", percent(at), most.Name, percent(most.Changes))}
	}
	return Stop{false, "No single look left can change what leads: it is not worth going on for."}
}

// destroys gathers, by act, the looks that it would make impossible and that tell
// something.
func (w *work) destroys(looks []NextLook) []Destroys {
	by := map[string]*Destroys{}
	var keys []string
	for _, l := range looks {
		if l.Bits < WorthTelling {
			continue
		}
		for _, act := range l.DestroyedBy {
			kind, part, _ := strings.Cut(act, " ")
			if kind == string(evidence.ActOff) && w.c.Off(part) {
				continue // it was off already, and the sign is still told as there to be seen
			}
			if by[act] == nil {
				by[act] = &Destroys{Act: kind, Part: part, BitsOf: l.BitsOf}
				keys = append(keys, act)
			}
			d := by[act]
			d.Bits += l.Bits
			d.Signs = append(d.Signs, AtStake{l.Sign, l.At, l.Name, l.Ask, l.Bits})
		}
	}
	out := make([]Destroys, 0, len(keys))
	for _, k := range keys {
		d := *by[k]
		slices.SortStableFunc(d.Signs, func(a, b AtStake) int {
			return cmp.Or(cmp.Compare(b.Bits, a.Bits), strings.Compare(a.Sign, b.Sign))
		})
		out = append(out, d)
	}
	slices.SortStableFunc(out, func(a, b Destroys) int {
		return cmp.Or(cmp.Compare(b.Bits, a.Bits), strings.Compare(a.Act+a.Part, b.Act+b.Part))
	})
	return out
}

// plan chooses looks for a given time: each the one that adds most to what the set
// tells for the minutes that it adds, as long as there is time; or the single look that
// tells most, if that alone tells more.
func (w *work) plan(looks []Look, where map[string]lookAt, cands []*held, within float64) (*LookPlan, error) {
	j := w.joint(cands)
	var chosen []lookAt
	bits := 0.0
	for len(chosen) < longestPlan {
		type option struct{ bits, minutes float64 }
		options := make([]option, len(looks))
		if err := each(w.ctx, len(looks), func(i int) (err error) {
			at := where[looks[i].Sign]
			if slices.ContainsFunc(chosen, func(c lookAt) bool { return c.sign == at.sign }) {
				return nil
			}
			set := append(slices.Clone(chosen), at)
			if minutes := w.minutes(set); minutes <= within {
				options[i].minutes = max(1, minutes-w.minutes(chosen))
				options[i].bits, err = j.bits(set)
			}
			return err
		}); err != nil {
			return nil, err
		}
		best, rate := -1, 0.0
		for i, o := range options {
			if gain := o.bits - bits; gain >= WorthTelling/2 && gain/o.minutes > rate {
				best, rate = i, gain/o.minutes
			}
		}
		if best < 0 {
			break
		}
		chosen, bits = append(chosen, where[looks[best].Sign]), options[best].bits
	}
	for _, l := range looks {
		if at := where[l.Sign]; l.Minutes <= within && l.Bits > bits+1e-9 {
			chosen, bits = []lookAt{at}, l.Bits
		}
	}
	return w.stepsOf(chosen, bits, within), nil
}

// minutes is what a set of looks takes: what comes off for several counts once.
func (w *work) minutes(set []lookAt) float64 {
	sum, off := 0.0, map[string]bool{}
	for _, l := range set {
		sum += max(1, l.sign.Minutes)
		for _, id := range l.off {
			if !off[id] {
				off[id] = true
				sum += w.book.Part(id).MinutesOff
			}
		}
	}
	return sum
}

// stepsOf puts looks in the order in which they are made: what an act would destroy
// comes before it, what needs least off first.
func (w *work) stepsOf(chosen []lookAt, bits, within float64) *LookPlan {
	p := &LookPlan{Within: within, Minutes: w.minutes(chosen), Bits: bits, Steps: []PlanStep{}}
	left := slices.Clone(chosen)
	slices.SortStableFunc(left, func(a, b lookAt) int {
		return cmp.Or(cmp.Compare(len(a.off), len(b.off)), strings.Compare(a.sign.ID, b.sign.ID))
	})
	off, hurried := map[string]bool{}, map[*rules.Sign]bool{}
	look := func(i int) {
		l := left[i]
		left = slices.Delete(left, i, i+1)
		p.Steps = append(p.Steps, PlanStep{Sign: l.sign.ID, At: l.at, Name: l.sign.Title(), Ask: l.sign.Look, Minutes: max(1, l.sign.Minutes), Caution: l.sign.Caution})
	}
	free := func(l lookAt) bool {
		return !slices.ContainsFunc(l.off, func(id string) bool { return !off[id] })
	}
	for len(left) > 0 {
		if i := slices.IndexFunc(left, free); i >= 0 {
			look(i)
			continue
		}
		id := left[0].off[slices.IndexFunc(left[0].off, func(id string) bool { return !off[id] })]
		// What comes off must not take with it what another look is for.
		if i := slices.IndexFunc(left, func(l lookAt) bool {
			return !hurried[l.sign] && slices.ContainsFunc(l.sign.LostBy, func(x rules.LostBy) bool { return x.Kind == evidence.ActOff && x.Part == id }) && !slices.Contains(l.off, id)
		}); i > 0 {
			first := left[i]
			hurried[first.sign] = true
			left = slices.Insert(slices.Delete(left, i, i+1), 0, first)
			continue
		}
		off[id] = true
		p.Steps = append(p.Steps, PlanStep{Off: id, Name: w.book.Part(id).Name, Minutes: w.book.Part(id).MinutesOff})
	}
	return p
}

// joint works out what sets of looks tell together.
type joint struct {
	w        *work
	cands    []*held
	items    []*network.Item
	families []*network.Family
}

func (w *work) joint(cands []*held) *joint {
	j := &joint{w: w, cands: cands}
	j.items, j.families = itemsOf(cands)
	return j
}

// bits is the expected information of a set of looks on the presence of the candidates,
// summed over them. The chance of each result follows, by inclusion and exclusion, from
// those of finding none of each part of the set.
func (j *joint) bits(set []lookAt) (float64, error) {
	n := 1 << len(set)
	none := make([]float64, n)   // that none of these is found
	with := make([][]float64, n) // and each candidate there
	for mask := range n {
		var unseen []network.Unseen
		for i, l := range set {
			if mask>>i&1 == 1 {
				unseen = append(unseen, network.Unseen{Sign: l.sign, Index: l.index})
			}
		}
		p, err := j.w.plain.IfNotFound(j.w.ctx, unseen, j.items, j.families)
		if err != nil {
			return 0, err
		}
		none[mask] = math.Exp(p.LogP - j.w.post.LogP)
		for _, h := range j.cands {
			with[mask] = append(with[mask], none[mask]*j.w.presentIn(p, h))
		}
	}
	// From "none of these found" to "these not found, all others seen".
	for i := range set {
		for mask := range n {
			if mask>>i&1 == 0 {
				none[mask] -= none[mask|1<<i]
				for k := range j.cands {
					with[mask][k] -= with[mask|1<<i][k]
				}
			}
		}
	}
	bits := 0.0
	for k, h := range j.cands {
		bits += entropy(j.w.presentIn(j.w.post, h))
		for mask := range n {
			if none[mask] > 1e-12 {
				bits -= none[mask] * entropy(max(0, min(1, with[mask][k]/none[mask])))
			}
		}
	}
	return max(0, bits), nil
}
