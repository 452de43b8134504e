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

// leadingCauses is how many causes may come to be weighed beside what is named.
const leadingCauses = 8

// weighed lists the candidates for which findings are weighed: those of the
// verdict, and the leading others up to six in all.
func (w *work) weighed() []*held {
	out := slices.Clone(w.lead)
	add := func(h *held) {
		if len(out) < 6 && !h.unlisted && (w.mayWeigh == nil || w.mayWeigh[h.ID]) && !slices.Contains(out, h) && !slices.ContainsFunc(out, func(o *held) bool { return o.ID == h.ID }) {
			out = append(out, h)
		}
	}
	for _, h := range w.named() {
		if h.items[0].Node.Kind == rules.Cause && (h.Blame >= 0.02 || h.Acted >= 0.1) {
			add(h)
		}
	}
	if len(out) == 0 { // nothing is asked: by presence
		byPresent := slices.Clone(w.all)
		slices.SortStableFunc(byPresent, func(a, b *held) int { return cmp.Compare(b.Present, a.Present) })
		for _, h := range byPresent {
			if !h.unlisted && h.items[0].Node.Kind == rules.Cause && h.At != "any" && h.Category != rules.Artefact && len(out) < 4 {
				add(h)
			}
		}
	}
	return out
}

// itemsOf are the items and families of some candidates.
func itemsOf(cands []*held) (items []*network.Item, families []*network.Family) {
	for _, h := range cands {
		if h.family != nil {
			families = append(families, h.family)
		}
		items = append(items, h.items...)
	}
	return items, families
}

func (w *work) presentIn(p *network.Posterior, h *held) float64 {
	if h.family != nil {
		return p.Family(h.family)
	}
	return p.Item(h.items[0])
}

// weights works out what each finding weighs for each candidate, on the log
// odds of present: blame saturates where two would have done, and then nothing
// seems to matter.
func (w *work) weights() error {
	ids := w.counted()
	cands := w.weighed()
	out := map[string]map[string]Weight{}
	for i, id := range ids {
		out[id] = map[string]Weight{}
		for _, h := range cands {
			out[id][h.key()] = Weight{
				Alone: rise(w.presentIn(w.alone[i], h), w.presentIn(w.bare, h)),
				Last:  rise(w.presentIn(w.post, h), w.presentIn(w.last[i], h)),
			}
		}
	}
	for _, h := range cands {
		k := h.key()
		column := make([]Weight, len(ids))
		for i, id := range ids {
			column[i] = out[id][k]
		}
		shares(column, rise(w.presentIn(w.post, h), w.presentIn(w.bare, h)))
		for i, id := range ids {
			out[id][k] = column[i]
		}
	}
	w.groups(ids)
	for _, f := range w.every {
		w.d.Findings = append(w.d.Findings, w.findingOut(f, out[f.ID]))
	}
	return w.groupWeights(cands)
}

// groups gathers the findings that count and share a look, a sample or a fact.
func (w *work) groups(ids []string) {
	byKey := map[string]*Group{}
	var keys []string
	add := func(key, what, id string) {
		if byKey[key] == nil {
			byKey[key] = &Group{ID: key, What: what}
			keys = append(keys, key)
		}
		if !slices.Contains(byKey[key].Findings, id) {
			byKey[key].Findings = append(byKey[key].Findings, id)
		}
	}
	for _, f := range w.every {
		if !slices.Contains(ids, f.ID) {
			continue
		}
		if f.Look != "" {
			add("look "+f.Look, "one look", f.ID)
		}
		if f.Sample != "" {
			add("sample "+f.Sample, "one sample", f.ID)
		}
		if s := w.book.Sign(f.Sign); s != nil && s.SameFact != "" {
			add("fact "+s.Part.ID+" "+s.SameFact, "one fact told in several ways", f.ID)
		}
	}
	for _, k := range keys {
		if len(byKey[k].Findings) > 1 {
			w.d.Groups = append(w.d.Groups, *byKey[k])
		}
	}
}

func (w *work) groupWeights(cands []*held) error {
	for i := range w.d.Groups {
		gr := &w.d.Groups[i]
		gr.Weight = map[string]float64{}
		without := map[string]bool{}
		for _, id := range gr.Findings {
			without[id] = true
		}
		items, families := itemsOf(cands)
		p, err := w.plain.About(w.ctx, without, items, families)
		if err != nil {
			return err
		}
		for _, h := range cands {
			gr.Weight[h.key()] = rise(w.presentIn(w.post, h), w.presentIn(p, h))
		}
		for k := range w.d.Findings {
			if slices.Contains(gr.Findings, w.d.Findings[k].ID) && w.d.Findings[k].Group == "" {
				w.d.Findings[k].Group = gr.ID
			}
		}
	}
	return nil
}

func (w *work) findingOut(f evidence.Finding, weight map[string]Weight) FindingOut {
	out := FindingOut{ID: f.ID, Sign: f.Sign, State: strings.ReplaceAll(string(f.State), " ", "_"), By: string(f.By), Sure: string(f.Sure), Note: f.Note, Beyond: f.Beyond, Weight: weight}
	if out.Weight == nil {
		out.Weight = map[string]Weight{}
	}
	if s := w.book.Sign(f.Sign); s != nil {
		out.Name = s.Title()
	} else if p := w.book.Part(f.Part); p != nil {
		out.Name = p.Name + ": " + f.Note
	}
	var at []string
	for _, s := range f.At {
		at = append(at, s.Text)
	}
	out.At = strings.Join(at, ", ")
	out.Counted = slices.ContainsFunc(w.g.Observed, func(o network.Observation) bool { return o.Finding == f.ID })
	for _, x := range w.g.Dropped {
		if x.Finding == f.ID {
			out.WhyNot = x.Why
			if by := sameLook(w.book, w.c, f, x.Why); by != "" {
				out.WhyNot = "of one look with " + by + " at the same place, of which the strongest counts; if it tells something else, give it a look of its own, or none"
			}
			if x.As == evidence.Unavailable && out.State != "unavailable" {
				out.Told, out.State = out.State, "unavailable"
			}
		}
	}
	return out
}

// sameLook is the finding for whose sake another is not counted where all that the two
// have in common is the look; "" where they tell one fact.
func sameLook(b *rules.Book, c *evidence.Case, f evidence.Finding, why string) string {
	id, ok := strings.CutPrefix(why, "the same fact as ")
	if !ok {
		return ""
	}
	id, _, _ = strings.Cut(id, ",")
	i := slices.IndexFunc(c.All(), func(o evidence.Finding) bool { return o.ID == id })
	if i < 0 {
		return ""
	}
	o := c.All()[i]
	x, y := b.Sign(f.Sign), b.Sign(o.Sign)
	if f.Look == "" || f.Look != o.Look || x == y || x == nil || y == nil || x.SameFact != "" && x.SameFact == y.SameFact {
		return ""
	}
	return id
}

// credited are the things of the best explanation that show an observation. Where
// those are only things made after, and something that the engine did itself is more
// probable than any of them, that is credited: of many causes of coolant in the oil
// none may be in the best explanation, and one way of spilling it at the strip may.
func (w *work) credited(o network.Observation) []*network.Item {
	var out []*network.Item
	var real *network.Item
	most := 0.0
	after := true
	for _, s := range o.Explains() {
		artefact := s.Item.Node.Category == rules.Artefact
		p := w.post.Item(s.Item)
		if w.best[s.Item] && !slices.Contains(out, s.Item) {
			out = append(out, s.Item)
			after = after && artefact
			if artefact {
				most = max(most, p)
			}
		}
		if !artefact && (real == nil || p > w.post.Item(real)) {
			real = s.Item
		}
	}
	if len(out) > 0 && after && real != nil && w.post.Item(real) > max(most, 0.5) {
		return []*network.Item{real}
	}
	return out
}

// findings gives each finding its role.
func (w *work) findings() error {
	var lead []*network.Item
	for _, h := range w.lead {
		lead = append(lead, h.items...)
	}
	behindLead := w.cameFrom(lead)
	// What follows from something on the way to what is named follows from it too.
	onTheWay := slices.Clone(lead)
	for _, it := range w.g.Items {
		if behindLead[it] {
			onTheWay = append(onTheWay, it)
		}
	}
	below := w.g.Below(onTheWay)
	_, askedAt := w.g.Asked()
	toOutcome := w.g.Above(askedAt)
	leadKey := ""
	if h := w.leading(); h != nil {
		leadKey = h.key()
	}
	for i := range w.d.Findings {
		out := &w.d.Findings[i]
		f := w.finding(out.ID)
		for _, o := range w.g.Observed {
			if o.Finding != f.ID || !o.Seen {
				continue
			}
			for _, it := range w.credited(o) {
				if !slices.Contains(out.ExplainedBy, it.ID()) {
					out.ExplainedBy = append(out.ExplainedBy, it.ID())
				}
			}
		}
		fill(&out.ExplainedBy)
		switch {
		case f.Made != "":
			out.Role = MadeAfter
			continue
		case f.State == evidence.Seen && !out.Counted:
			if f.Sign == "other" {
				out.Role = NotExplained
				w.d.NotExplained = append(w.d.NotExplained, Unexplained{f.ID, out.WhyNot})
			}
			continue
		case !out.Counted:
			continue
		case f.State == evidence.NotFound:
			out.Role = Against
			out.Against = w.hitMost(f.ID)
			continue
		}
		role := Role("")
		rank := map[Role]int{Primary: 4, Consequential: 3, Independent: 2, MadeAfter: 1}
		for _, o := range w.g.Observed {
			if o.Finding != f.ID {
				continue
			}
			for _, it := range w.credited(o) {
				r := Independent
				switch {
				case it.Node.Category == rules.Artefact:
					r = MadeAfter
				case len(lead) == 0 && toOutcome[it]:
					r = Consequential
				case slices.Contains(lead, it), behindLead[it]:
					r = Primary
				case below[it]:
					r = Consequential
				}
				if rank[r] > rank[role] {
					role = r
				}
			}
		}
		switch {
		case role != MadeAfter && w.doubted(f.ID):
			role = NotExplained
			why, err := w.whyDoubted(f.ID)
			if err != nil {
				return err
			}
			w.d.NotExplained = append(w.d.NotExplained, Unexplained{f.ID, why})
		case role == "":
			role = NotExplained
			why := "nothing in the best explanation produces it"
			if w.bySecond(f.ID) {
				why = "not by the best account; the next best, which is hardly less probable, explains it"
			}
			w.d.NotExplained = append(w.d.NotExplained, Unexplained{f.ID, why})
		case leadKey != "" && out.Weight[leadKey].Last <= -3 && role != MadeAfter:
			out.Against = leadKey
			if role == Independent {
				role = Against
			}
		}
		out.Role = role
	}
	return nil
}

// hardlyLess is how many times less probable an explanation may be to count as hardly
// less probable.
const hardlyLess = 3

// bySecond tells whether the next best explanation, hardly less probable, explains a
// finding.
func (w *work) bySecond(id string) bool {
	if s := w.d.Explanation.Second; s == nil || s.Odds > hardlyLess {
		return false
	}
	return slices.ContainsFunc(w.g.Observed, func(o network.Observation) bool {
		return o.Finding == id && slices.ContainsFunc(o.Explains(), func(s network.Shows) bool { return w.second[s.Item] })
	})
}

// shownWith is about how likely it is that anything was there that shows a finding:
// what may show it taken as independent, one position at a time.
func (w *work) shownWith(id string, p *network.Posterior) float64 {
	least := 1.0
	for _, o := range w.g.Observed {
		if o.Finding != id {
			continue
		}
		none := 1.0
		for _, s := range o.Explains() {
			none *= 1 - p.Item(s.Item)
		}
		least = min(least, 1-none)
	}
	return least
}

// doubted tells whether a finding is rather taken to be mistaken, or by something that
// the book does not list, than explained.
func (w *work) doubted(id string) bool {
	x := w.shownWith(id, w.post)
	return x > 0 && x < 0.5
}

// whyDoubted names the finding that speaks most against what would explain another.
func (w *work) whyDoubted(id string) (string, error) {
	now := w.shownWith(id, w.post)
	ids := w.counted()
	then := make([]float64, len(ids))
	var shows []*network.Item
	for _, o := range w.g.Observed {
		if o.Finding == id {
			for _, s := range o.Explains() {
				shows = append(shows, s.Item)
			}
		}
	}
	if err := each(w.ctx, len(ids), func(i int) error {
		if ids[i] == id {
			return nil
		}
		p, err := w.plain.About(w.ctx, map[string]bool{ids[i]: true}, shows, nil)
		if err == nil {
			then[i] = w.shownWith(id, p)
		}
		return err
	}); err != nil {
		return "", err
	}
	why := fmt.Sprintf("doubted: it is only %s likely that what explains it was there; rather it is mistaken, or of something else", percent(now))
	best := 0
	for i := range ids {
		if then[i] > then[best] {
			best = i
		}
	}
	if then[best] > now+0.1 {
		why += fmt.Sprintf("; %s speaks most against it (without %s, %s). Look at both again", ids[best], ids[best], percent(then[best]))
	}
	return why, nil
}

// actedHere is the acted from which something behind what is named is taken to have
// had a part in it.
const actedHere = 0.3

// cameFrom marks what lies behind some items, was there and acted.
func (w *work) cameFrom(items []*network.Item) map[*network.Item]bool {
	out := map[*network.Item]bool{}
	var back func(it *network.Item)
	back = func(it *network.Item) {
		for _, way := range w.g.Ways(it) {
			if !out[way.From] && w.best[way.From] && way.From.Node.Kind != rules.Condition && w.actedOf(way.From) >= actedHere {
				out[way.From] = true
				back(way.From)
			}
		}
	}
	for _, it := range items {
		back(it)
	}
	return out
}

// hitMost is what a finding that was not made tells most against: what would have
// shown it and is not in the best explanation; failing that, the candidate that
// loses most of its odds.
func (w *work) hitMost(id string) string {
	best, most := "", 0.0
	var of *network.Item
	for _, o := range w.g.Observed {
		if o.Finding != id {
			continue
		}
		for _, s := range o.Explains() {
			switch {
			case w.best[s.Item]:
			case best != "" && s.Item.Node == of.Node:
				best = s.Item.Node.ID // at several positions
			case s.HowOften > most:
				best, most, of = s.Item.ID(), s.HowOften, s.Item
			}
		}
	}
	if best != "" {
		return best
	}
	least := -0.5
	for _, f := range w.d.Findings {
		if f.ID != id {
			continue
		}
		var keys []string
		for k := range f.Weight {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if x := min(f.Weight[k].Alone, f.Weight[k].Last); x < least {
				best, least = k, x
			}
		}
	}
	return best
}

// chain draws the chain of failure: from the one named (or from what lies
// surely behind it) down to the outcome, by the way on which the rules work
// most often, through what is there in the best explanation.
func (w *work) chain() error {
	asked, askedAt := w.g.Asked()
	if asked == nil || len(askedAt) == 0 {
		return nil
	}
	var r *route
	for _, start := range w.starts() {
		// Through the most probable account; where that goes another way, through whatever
		// is there more likely than not.
		if r = w.routeFrom(start, askedAt, 1); r == nil {
			r = w.routeFrom(start, askedAt, 0.5)
		}
		if r != nil {
			break
		}
	}
	if r == nil {
		return nil
	}
	type stop struct {
		it  *network.Item
		way network.Way
	}
	// Begin at the one named; go back further while something behind it is probably to
	// blame, or, where nothing is named, has probably acted.
	likely := w.blameOf
	if len(w.lead) == 0 {
		likely = w.actedOf
	}
	var line []stop
	for it := r.first; ; {
		var back network.Way
		for _, way := range w.g.Ways(it) {
			if w.best[way.From] && way.From.Node.Kind != rules.Condition && likely(way.From) >= ProbableAt && (back.From == nil || way.Pass > back.Pass) {
				back = way
			}
		}
		if back.From == nil {
			break
		}
		line = append([]stop{{back.From, network.Way{}}}, line...)
		it = back.From
	}
	for it := r.first; it != nil; it = r.next[it] {
		line = append(line, stop{it: it})
	}
	for i := 1; i < len(line); i++ {
		for _, way := range w.g.Ways(line[i].it) {
			if way.From == line[i-1].it && way.Pass*w.beside(way) >= line[i].way.Pass*w.beside(line[i].way) {
				line[i].way = way
			}
		}
	}
	for i, s := range line {
		items := []*network.Item{s.it}
		shownHere := false
		if f := w.g.FamilyOf(s.it.Node); f != nil {
			// Name the positions that a finding shows; where none does, all of
			// the best explanation.
			var shown []*network.Item
			items = nil
			for _, it := range f.Items {
				if !w.best[it] && it != s.it {
					continue
				}
				items = append(items, it)
				if len(w.shownBy([]*network.Item{it})) > 0 {
					shown = append(shown, it)
				}
			}
			if shownHere = len(shown) > 0; shownHere {
				items = shown
			}
		}
		l := ChainLink{ID: s.it.Node.ID, At: positions(items), Kind: string(s.it.Node.Kind), Name: s.it.Node.Name}
		if i == len(line)-1 {
			l.Kind, l.Probability = "outcome", 1
		} else {
			// The figure is that of the positions named; of any, where nothing tells
			// which: none was seen, and no single one stands out.
			if f := w.g.FamilyOf(s.it.Node); f != nil && !shownHere && (len(items) > 1 || !w.apartFrom(s.it, f)) {
				items = f.Items
				l.At = "any"
			}
			var err error
			if l.Probability, err = w.actedOfAll(items); err != nil {
				return err
			}
		}
		if i > 0 {
			l.Because, l.Source, l.HowOften = s.way.Rule.Because, s.way.Rule.Source, s.way.Rule.HowOften
		}
		if i > 0 && s.way.From != nil {
			for _, it := range w.neededWith(s.way) {
				l.With = append(l.With, Needed{it.Node.ID, it.At, it.Node.Name, string(it.Node.Kind), w.actedOf(it)})
			}
		}
		l.Findings = w.shownBy(items)
		w.d.Chain = append(w.d.Chain, l)
	}
	return nil
}

// starts are those of which a chain may begin, best first: what is named; where nothing
// is, what has probably acted, the farthest from the outcome first, and then what comes
// nearest.
func (w *work) starts() [][]*held {
	if len(w.lead) > 0 {
		return [][]*held{w.lead}
	}
	var likely []*held
	for _, h := range w.named() {
		if h.Acted >= ProbableAt {
			likely = append(likely, h)
		}
	}
	slices.SortStableFunc(likely, func(a, b *held) int {
		return cmp.Or(cmp.Compare(b.depth, a.depth), cmp.Compare(b.Acted, a.Acted))
	})
	var out [][]*held
	for _, h := range likely {
		out = append(out, []*held{h})
	}
	if h := w.leading(); h != nil {
		out = append(out, []*held{h})
	}
	return out
}

// route is a way from its first item to the outcome.
type route struct {
	first *network.Item
	next  map[*network.Item]*network.Item
}

// routeFrom finds the way from a start to the outcome on which the rules work most
// often, through what is there by the most probable account, or is as probable as that;
// nil where none leads there.
func (w *work) routeFrom(start []*held, askedAt []*network.Item, from float64) *route {
	there := map[*network.Item]bool{}
	for _, it := range w.g.Items {
		there[it] = w.best[it] || w.post.Item(it) > from
	}
	through := map[*network.Item]bool{}
	for _, h := range start {
		hit := false
		for _, it := range h.items {
			if there[it] {
				through[it], hit = true, true
			}
		}
		if !hit {
			for _, it := range h.items {
				there[it], through[it] = true, true
			}
		}
	}
	for _, it := range askedAt {
		if w.post.Item(it) > 0.5 || len(askedAt) == 1 {
			there[it] = true
		}
	}
	// The best way by the product of how often and of how surely each thing acted,
	// from each item to the outcome; a way through what is named is preferred.
	type best struct {
		score float64
		via   bool
		way   network.Way
		next  *network.Item
	}
	to := map[*network.Item]best{}
	for _, it := range askedAt {
		if there[it] {
			to[it] = best{score: 1, via: through[it]}
		}
	}
	ordered := slices.Clone(w.g.Items)
	slices.Reverse(ordered) // children before parents
	for _, it := range ordered {
		b, ok := to[it]
		if !ok {
			continue
		}
		for _, way := range w.g.Ways(it) {
			if !there[way.From] || way.From.Node.Kind == rules.Condition {
				continue
			}
			n := best{b.score * way.Pass * w.beside(way) * w.onIt(way.From), b.via || through[way.From], way, it}
			o, has := to[way.From]
			if !has || n.via && !o.via || n.via == o.via && n.score > o.score {
				to[way.From] = n
			}
		}
	}
	var first *network.Item
	for _, it := range w.g.Items {
		if _, ok := to[it]; ok && through[it] && (first == nil || to[it].score > to[first].score) {
			first = it
		}
	}
	if first == nil {
		return nil
	}
	r := &route{first, map[*network.Item]*network.Item{}}
	for it, b := range to {
		r.next[it] = b.next
	}
	return r
}

// apartFrom tells whether an item stands out among the positions of its family: it is
// there by the best explanation, and is likelier than any other.
func (w *work) apartFrom(it *network.Item, f *network.Family) bool {
	return w.best[it] && !slices.ContainsFunc(f.Items, func(o *network.Item) bool {
		return o != it && w.post.Item(o) > SingleOfFamily*w.post.Item(it)
	})
}

// blameOf is the blame of one item.
func (w *work) blameOf(it *network.Item) float64 {
	for _, h := range w.all {
		if h.family == nil && len(h.items) == 1 && h.items[0] == it {
			return h.Blame
		}
	}
	return 0
}

func (w *work) actedOf(it *network.Item) float64 {
	for _, h := range w.all {
		if h.family == nil && len(h.items) == 1 && h.items[0] == it {
			return h.Acted
		}
	}
	return 0
}

// In the choice of a way hardlyActed stands for what hardly acted, so that no way is
// without any score, and what a finding shows counts seenMore times as much: the way
// goes by what was seen rather than around it.
const (
	hardlyActed = 0.02
	seenMore    = 3
)

// onIt is how much an item is worth on a way.
func (w *work) onIt(it *network.Item) float64 {
	x := max(w.actedOf(it), hardlyActed)
	if len(w.shownBy([]*network.Item{it})) > 0 {
		x *= seenMore
	}
	return x
}

// actedOfAll is acted of some positions taken as one.
func (w *work) actedOfAll(items []*network.Item) (float64, error) {
	for _, h := range w.all {
		if !h.unlisted && !h.Screened && len(h.items) == len(items) && slices.Equal(h.items, items) {
			return h.Acted, nil
		}
	}
	return w.g.Acted(w.ctx, network.Test{Items: items})
}

// shownBy lists the seen findings that these items show.
func (w *work) shownBy(items []*network.Item) []string {
	out := []string{}
	for _, o := range w.g.Observed {
		if !o.Seen || slices.Contains(out, o.Finding) {
			continue
		}
		if slices.ContainsFunc(o.Explains(), func(s network.Shows) bool { return slices.Contains(items, s.Item) }) {
			out = append(out, o.Finding)
		}
	}
	return out
}
