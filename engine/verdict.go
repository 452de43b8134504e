package engine

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// verdict names the candidate farthest from the outcome that passes a
// threshold, or the smallest set that does.
func (w *work) verdict() error {
	v := &w.d.Verdict
	v.Standing, v.Together = Undetermined, Alone
	if !w.g.Asking() {
		v.Words = "Nothing is asked, so nothing is named. What is most probably there is listed."
		return nil
	}
	sets, err := w.sets()
	if err != nil {
		return err
	}
	singles := w.named()
	for _, level := range []struct {
		at       float64
		standing Standing
	}{{DeterminedAt, Determined}, {ProbableAt, Probable}} {
		best := farthest(singles, level.at)
		set := bestSet(sets, level.at)
		switch {
		case best != nil && (best.depth > 1 || set == nil):
			w.lead, v.Blame = w.withPartners(best, singles, level.at), best.Blame
			v.Standing, v.Together = level.standing, Alone
			if len(w.lead) > 1 {
				v.Together = BothNeeded
				if v.Blame, err = w.jointBlame(w.lead); err != nil {
					return err
				}
			}
		case set != nil:
			w.lead, v.Blame, v.Standing, v.Together = set.members, set.Blame, level.standing, set.How
		}
		if v.Standing != Undetermined {
			break
		}
	}
	if v.Standing == Undetermined && len(w.all) > 0 {
		v.Blame = w.all[0].Blame
	}
	denied := w.denied()
	switch {
	case len(denied) > 0 && v.Standing != Undetermined:
		v.Standing = Probable
		v.Why = and(denied) + " says that what is asked about did not happen; look again, or ask about something else"
	case v.Standing == Determined && w.d.Conflict.Value > ConflictCaps:
		v.Standing = Probable
		v.Why = "the findings fight each other, so it is not called determined"
	}
	for i, h := range w.lead {
		w.lead[i] = w.face(h, threshold(v.Standing))
		v.Names = append(v.Names, w.spelled(w.lead[i]))
	}
	if len(w.lead) == 1 && v.Together == Alone {
		v.Blame = w.lead[0].Blame
	}
	w.behind()
	w.traced()
	if len(w.lead) > 0 {
		var items []*network.Item
		for _, h := range w.lead {
			items = append(items, h.items...)
		}
		below := w.g.Below(items)
		for _, h := range w.all {
			h.Follows = !h.unlisted && !slices.Contains(w.lead, h) && slices.ContainsFunc(h.items, func(it *network.Item) bool { return below[it] })
		}
	}
	if err := w.betterQuestion(); err != nil {
		return err
	}
	if h := w.leading(); h != nil && len(w.lead) == 0 {
		v.Nearest = &h.Candidate
	}
	if err := w.moves(); err != nil {
		return err
	}
	if v.tooRough() {
		w.root = nil
	}
	v.Words = w.sentence()
	return nil
}

// tooRough takes a determined verdict back to probable where its numbers may be so far
// off that it is hardly that, and tells whether it did.
func (v *Verdict) tooRough() bool {
	if v.Standing != Determined || v.Blame-v.ErrorBound >= ProbableAt {
		return false
	}
	v.Standing, v.Traced, v.Why = Probable, nil, "its numbers may be too far off for more"
	return true
}

// checked is how many candidates' blame is tried with less left out, where rules
// were left out.
const checked = 3

// moves widens the error of the result to how far the blame of the verdict and of
// the candidates next to it still moves.
func (w *work) moves() error {
	if w.d.Method.Exact {
		return nil
	}
	try := slices.Clone(w.lead)
	for _, h := range w.all {
		if len(try) < checked && h.Blame >= 0.05 && !slices.Contains(try, h) {
			try = append(try, h)
		}
	}
	moved := make([]float64, len(try)+1)
	if err := each(w.ctx, len(moved), func(i int) (err error) {
		if i < len(try) {
			moved[i], err = w.g.BlameMoves(w.ctx, try[i].test(), try[i].Blame)
		} else if len(w.lead) > 1 {
			var items []*network.Item
			for _, h := range w.lead {
				items = append(items, h.items...)
			}
			moved[i], err = w.g.BlameMoves(w.ctx, network.Test{Items: items}, w.d.Verdict.Blame)
		}
		return err
	}); err != nil {
		return err
	}
	// As much again for what was left out even then.
	w.d.Method.ErrorBound = min(1, 2*max(w.d.Method.ErrorBound, slices.Max(moved)))
	if len(w.lead) == 1 {
		w.d.Verdict.ErrorBound = min(1, 2*moved[0])
	} else {
		w.d.Verdict.ErrorBound = min(1, 2*slices.Max(moved))
	}
	return nil
}

// sureSign is the how-often from which a sign that was looked for and not found
// denies what should have shown it.
const sureSign = 0.9

// denied lists the findings which say that what is asked about did not happen: a sign
// that is it, or that it would almost always show, looked for and not found.
func (w *work) denied() []string {
	asked, _ := w.g.Asked()
	var out []string
	for _, id := range w.counted() {
		f := w.finding(id)
		s := w.book.Sign(f.Sign)
		if f.State != evidence.NotFound || s == nil || s.Part.Per != evidence.One {
			continue
		}
		if slices.ContainsFunc(s.By, func(r *rules.Rule) bool { return r.From == asked && (r.Is || r.HowOften >= sureSign) }) {
			out = append(out, id)
		}
	}
	return out
}

// threshold is the blame that a standing asks for.
func threshold(s Standing) float64 {
	switch s {
	case Determined:
		return DeterminedAt
	case Probable:
		return ProbableAt
	}
	return 0
}

// face is who stands for a family: the one position that carries nearly all of
// its blame, if that passes as well; else the family itself.
func (w *work) face(h *held, at float64) *held {
	if one := w.mainly(h); one != nil && one.Blame >= at {
		return one
	}
	return h
}

// mainly is the one position that carries nearly all of a family's blame, or nil.
func (w *work) mainly(h *held) *held {
	if h.family == nil {
		return nil
	}
	for _, o := range w.all { // by blame
		if o.ID == h.ID && o.family == nil {
			if o.Blame > 0 && o.Blame >= SingleOfFamily*h.Blame {
				return o
			}
			return nil
		}
	}
	return nil
}

// spelled is a candidate with the positions of a family in its name.
func (w *work) spelled(h *held) Candidate {
	c := h.Candidate
	if h.family == nil {
		return c
	}
	one := w.mainly(h)
	if one == nil {
		if at := w.sureOf(h.family); at != "" {
			c.Name += ", " + at
			return c
		}
		one = w.likeliest(h)
	}
	if one != nil {
		c.Name += fmt.Sprintf(", most probably %s (%s)", one.At, percent(one.Blame))
	}
	return c
}

// likeliest is the one position of a family that is more likely than not to blame, or
// nil.
func (w *work) likeliest(h *held) *held {
	for _, o := range w.all { // by blame
		if o.ID == h.ID && o.family == nil && o.Blame >= 0.5 {
			return o
		}
	}
	return nil
}

// sureOf tells at which positions of a family it surely is: where hardly a doubt is
// left.
func (w *work) sureOf(f *network.Family) string {
	var at []*network.Item
	for _, it := range f.Items {
		if w.post.Item(it) >= 0.9 {
			at = append(at, it)
		}
	}
	return positions(at)
}

// named lists the candidates that may be named: no mere renaming of the outcome,
// nothing made after, and of a family and its positions the family: whether it
// passes must not hang on which of them it was.
func (w *work) named() []*held {
	var out []*held
	for _, h := range w.all {
		if h.rename || h.unlisted || h.depth < 1 || h.Category == rules.Artefact {
			continue
		}
		if h.family == nil && w.g.FamilyOf(h.items[0].Node) != nil {
			continue
		}
		out = append(out, h)
	}
	return out
}

// farthest is the candidate with blame of at least the threshold that lies
// farthest from the outcome; blame is not monotone along the chain, so it is
// looked for among all, never by walking back.
func farthest(all []*held, at float64) *held {
	var best *held
	for _, h := range all {
		if h.Blame < at {
			continue
		}
		if best == nil || deeper(h, best) {
			best = h
		}
	}
	return best
}

func deeper(a, b *held) bool {
	if ca, cb := a.items[0].Node.Kind == rules.Cause, b.items[0].Node.Kind == rules.Cause; ca != cb {
		return ca // nothing lies behind a cause
	}
	return cmp.Or(cmp.Compare(a.depth, b.depth), cmp.Compare(a.Blame, b.Blame), strings.Compare(b.key(), a.key())) > 0
}

// withPartners adds to the one named those that pass as well and are neither
// behind nor ahead of it: without any of them it would not have happened.
func (w *work) withPartners(best *held, singles []*held, at float64) []*held {
	out := []*held{best}
	for _, h := range singles {
		if h == best || h.Blame < at || len(out) == 3 {
			continue
		}
		if slices.ContainsFunc(out, func(o *held) bool { return w.related(o, h) }) {
			continue
		}
		// Only one that has no other candidate of the same standing behind it.
		if slices.ContainsFunc(singles, func(o *held) bool {
			return o != h && o.Blame >= at && w.runsTo(o, h)
		}) {
			continue
		}
		out = append(out, h)
	}
	return out
}

// runsTo tells whether something runs from a to b.
func (w *work) runsTo(a, b *held) bool {
	below := w.g.Below(a.items)
	return slices.ContainsFunc(b.items, func(it *network.Item) bool { return below[it] })
}

func (w *work) related(a, b *held) bool { return a.ID == b.ID || w.runsTo(a, b) || w.runsTo(b, a) }

func (w *work) jointBlame(hs []*held) (float64, error) {
	var items []*network.Item
	for _, h := range hs {
		items = append(items, h.items...)
	}
	return w.g.Blame(w.ctx, network.Test{Items: items})
}

// heldSet is a set of candidates with its joint blame.
type heldSet struct {
	Set
	members []*held
	depth   int
}

// Sets are sought among the candidates that acted and are not to blame alone.
const (
	setActed = 0.30
	setGap   = 0.20
	setOf    = 8
)

// pool picks the candidates that may make sets. Of things that lie on one chain
// the one farthest from the outcome stands for the others, unless a nearer one
// acted more surely; else the links of a single chain would fill it.
func (w *work) pool() []*held {
	var able []*held
	for _, h := range w.named() {
		if h.Acted >= setActed && h.Acted-h.Blame >= setGap {
			able = append(able, h)
		}
	}
	slices.SortStableFunc(able, func(a, b *held) int {
		return cmp.Or(cmp.Compare(b.Acted, a.Acted), cmp.Compare(b.depth, a.depth), strings.Compare(a.key(), b.key()))
	})
	var pool []*held
	for _, h := range able {
		if len(pool) == setOf {
			break
		}
		stands := slices.ContainsFunc(able, func(o *held) bool {
			return o != h && o.depth > h.depth && o.Acted >= h.Acted-0.1 && w.runsTo(o, h)
		})
		if !stands {
			pool = append(pool, h)
		}
	}
	return pool
}

// sets tests pairs, and triples where no pair passes, among the candidates of
// which more than one would have done.
func (w *work) sets() ([]heldSet, error) {
	pool := w.pool()
	var out []heldSet
	try := func(members ...*held) error {
		for i, a := range members {
			for _, b := range members[:i] {
				if w.related(a, b) {
					return nil
				}
			}
		}
		b, err := w.jointBlame(members)
		if err != nil {
			return err
		}
		best := 0.0
		s := heldSet{members: members, depth: 1 << 20}
		for _, m := range members {
			best = max(best, m.Blame)
			s.depth = min(s.depth, m.depth)
			s.IDs = append(s.IDs, m.key())
			s.Names = append(s.Names, m.Name)
		}
		if b < best+0.1 {
			return nil // the set explains no more than its best member
		}
		s.Blame, s.How = b, how(members)
		out = append(out, s)
		return nil
	}
	for i, a := range pool {
		for _, b := range pool[:i] {
			if err := try(b, a); err != nil {
				return nil, err
			}
		}
	}
	if !slices.ContainsFunc(out, func(s heldSet) bool { return s.Blame >= ProbableAt }) && len(pool) >= 3 {
		for i, a := range pool[:min(5, len(pool))] {
			for j, b := range pool[:i] {
				for _, c := range pool[:j] {
					if err := try(c, b, a); err != nil {
						return nil, err
					}
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b heldSet) int {
		return cmp.Or(cmp.Compare(b.Blame, a.Blame), cmp.Compare(len(a.IDs), len(b.IDs)), slices.Compare(a.IDs, b.IDs))
	})
	for _, s := range out[:min(6, len(out))] {
		w.d.Together = append(w.d.Together, s.Set)
	}
	return out, nil
}

// how tells how the members of a set stand: either would have done if each of
// them acted more likely than not; else they share it, and which is open.
func how(members []*held) Together {
	for _, m := range members {
		if m.Acted < ProbableAt {
			return Shared
		}
	}
	return EitherEnough
}

func bestSet(sets []heldSet, at float64) *heldSet {
	var best *heldSet
	for i, s := range sets {
		if s.Blame < at {
			continue
		}
		if best == nil || len(s.IDs) < len(best.IDs) || len(s.IDs) == len(best.IDs) && (s.depth > best.depth || s.depth == best.depth && s.Blame > best.Blame) {
			best = &sets[i]
		}
	}
	return best
}

// behindAtLeast is how many causes that may lie behind what is named are told, however
// little blame falls on each: early on it falls on none much.
const behindAtLeast = 3

// behind lists what may lie behind the one named, each alone.
func (w *work) behind() {
	if len(w.lead) == 0 {
		return
	}
	var items []*network.Item
	for _, h := range w.lead {
		items = append(items, h.items...)
	}
	above := w.g.Above(items)
	causes := 0
	for _, h := range w.all { // by blame
		little := h.Blame < 0.03 && h.Acted < 0.2
		if little && (h.unlisted || h.Blame == 0 || causes >= behindAtLeast) || slices.Contains(w.lead, h) || len(w.d.Verdict.Behind) == 6 {
			continue
		}
		if h.unlisted {
			if w.lead[0].items[0].Node.Kind != rules.Cause {
				w.d.Verdict.Behind = append(w.d.Verdict.Behind, h.Candidate)
			}
			continue
		}
		if h.items[0].Node.Kind == rules.Cause && slices.ContainsFunc(h.items, func(it *network.Item) bool { return above[it] }) && !slices.ContainsFunc(w.lead, func(l *held) bool { return l.ID == h.ID }) {
			// Of a family and its positions, the family.
			if h.At != "any" && w.g.FamilyOf(h.items[0].Node) != nil {
				continue
			}
			causes++
			w.d.Verdict.Behind = append(w.d.Verdict.Behind, h.Candidate)
		}
	}
}

// traced finds what lies farthest behind a determined step and is still probable.
func (w *work) traced() {
	if w.d.Verdict.Standing != Determined || len(w.lead) != 1 || w.lead[0].items[0].Node.Kind == rules.Cause {
		return
	}
	var behind []*held
	above := w.g.Above(w.lead[0].items)
	for _, h := range w.named() {
		if h.ID != w.lead[0].ID && slices.ContainsFunc(h.items, func(it *network.Item) bool { return above[it] }) {
			behind = append(behind, h)
		}
	}
	if h := farthest(behind, ProbableAt); h != nil {
		w.root = w.face(h, ProbableAt)
		c := w.spelled(w.root)
		w.d.Verdict.Traced = &c
	}
}

// betterQuestion looks for an earlier step that surely acted where no cause is
// much to blame for what was asked.
func (w *work) betterQuestion() error {
	sum := 0.0
	for _, h := range w.all {
		if !h.unlisted && h.Kind != "family" && h.items[0].Node.Kind == rules.Cause {
			sum += h.Blame
		}
	}
	if sum >= 0.6 {
		return nil
	}
	// What is no farther back than the verdict reaches is no better question.
	reached := 0
	for _, h := range w.lead {
		reached = max(reached, h.depth)
	}
	var best *held
	for _, h := range w.all {
		if h.unlisted || h.depth <= reached || h.items[0].Node.Kind != rules.Step || h.rename || h.Acted < 0.9 || slices.Contains(w.lead, h) {
			continue
		}
		if h.family == nil && w.g.FamilyOf(h.items[0].Node) != nil {
			continue
		}
		if best == nil || h.depth > best.depth || h.depth == best.depth && h.key() < best.key() {
			best = h
		}
	}
	if best == nil {
		return nil
	}
	bq := &BetterQuestion{ID: best.ID, Name: best.Name, Acted: best.Acted}
	leads, err := w.askInstead(best.ID)
	if err != nil {
		return err
	}
	bq.Leads = leads
	w.d.Verdict.BetterQuestion = bq
	return nil
}

// askInstead tells the causes to blame for another outcome.
func (w *work) askInstead(question string) ([]Candidate, error) {
	c := *w.c
	c.Question, c.At = question, nil
	sub, err := begin(w.ctx, w.book, &c, w.opt)
	if err != nil {
		return nil, err
	}
	sub.causesOnly = true
	if err := sub.candidates(); err != nil {
		return nil, err
	}
	out := []Candidate{}
	for _, h := range sub.named() {
		if h.items[0].Node.Kind == rules.Cause && h.Blame >= 0.05 && len(out) < 3 {
			out = append(out, h.Candidate)
		}
	}
	return out, nil
}

// sentence puts the verdict into words.
func (w *work) sentence() string {
	v := &w.d.Verdict
	var names []string
	for _, n := range v.Names {
		names = append(names, n.Name)
	}
	how := percent(v.Blame)
	switch {
	case len(names) == 0:
		s := fmt.Sprintf("Not determined: by what was found so far, nothing is to blame by %s or more.", percent(ProbableAt))
		if lead := w.leading(); lead != nil {
			s += fmt.Sprintf(" Nearest to it: %s (%s).", lead.Name, percent(lead.Blame))
		}
		return s
	case v.Together == BothNeeded:
		return fmt.Sprintf("%s: %s. All of these were needed: without any one of them it would not have happened (%s).", title(v.Standing), and(names), how)
	case v.Together == EitherEnough:
		return fmt.Sprintf("%s: %s. Either would have done it alone; with neither it would not have happened (%s).", title(v.Standing), and(names), how)
	case v.Together == Shared:
		return fmt.Sprintf("%s: %s share it. Which of them did it is open; with none of them it would not have happened (%s).", title(v.Standing), and(names), how)
	}
	s := fmt.Sprintf("%s: %s. Without it, it would not have happened (%s, %s).", title(v.Standing), names[0], how, Likely(v.Blame))
	if w.lead[0].items[0].Node.Kind == rules.Step {
		switch t := v.Traced; {
		case t == nil:
			s += " What lies behind it is open."
		case t.Kind == "cause" || w.root.items[0].Node.Kind == rules.Cause:
			s += fmt.Sprintf(" Behind it, probably: %s (%s).", t.Name, percent(t.Blame))
		default:
			s += fmt.Sprintf(" Behind it, probably: %s (%s); what lies behind that is open.", t.Name, percent(t.Blame))
		}
	}
	return s
}

// leading is the first candidate that may be named: by blame, and of equals
// the one farther from the outcome.
func (w *work) leading() *held {
	if len(w.lead) > 0 {
		return w.lead[0]
	}
	var best *held
	for _, h := range w.named() {
		if h.items[0].Node.Kind == rules.Cause && h.Blame > 0 && (best == nil || h.Blame > best.Blame) {
			best = h
		}
	}
	// A cause that hardly any blame falls on comes nearest to nothing, where a step that
	// many causes share stands out.
	for _, h := range w.named() {
		if best == nil || h.Blame > 4*best.Blame {
			best = h
		}
	}
	if best != nil {
		best = w.face(best, 0)
	}
	return best
}

func title(s Standing) string {
	switch s {
	case Determined:
		return "Determined"
	case Probable:
		return "Probable"
	}
	return "Not determined"
}
