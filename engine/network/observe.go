package network

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/rules"
)

// Observation is one sign at one position, entered as evidence.
type Observation struct {
	Finding string // id of the finding it comes from
	Sign    *rules.Sign
	At      string // "rod 3", "one of the rods"; "" for one an engine
	Place   string
	Seen    bool

	v       int       // its variable
	like    []float64 // likelihood of what was reported, by state of the variable
	explain []cause   // what could show it here
}

// cause is an item that shows an observation, and how often.
type cause struct {
	item *Item
	rule *rules.Rule
}

// Observe enters the findings of a case.
func (g *Ground) Observe(c *evidence.Case) {
	a := newAssumer(g)
	counted := map[string]string{} // fact → finding that tells it
	for _, f := range strongestFirst(g.Book, c) {
		if why, as := g.unusable(c, f); why != "" {
			g.Dropped = append(g.Dropped, Dropped{f.ID, why, as})
			continue
		}
		sign := g.Book.Sign(f.Sign)
		spots := g.spots(c, f, sign)
		entered := 0
		for _, s := range spots {
			if other := claimed(counted, f, sign, s); other != "" {
				continue
			}
			g.enter(f, sign, s, a)
			entered++
		}
		if entered == 0 && len(spots) > 0 {
			g.Dropped = append(g.Dropped, Dropped{f.ID, "the same fact as " + claimed(counted, f, sign, spots[0]) + ", which counts", ""})
		}
		for _, s := range spots {
			claim(counted, f, sign, s)
		}
	}
	if len(c.Acts) == 0 && len(c.Received.Off) == 0 && slices.ContainsFunc(c.All(), func(f evidence.Finding) bool { return f.State == evidence.NotFound && f.Counts() }) {
		g.Assumed = append(g.Assumed, Assumption{"every sign told as not found could have been seen", "the case has no bench log of what was taken off"})
	}
	place := map[string]int{}
	for i, f := range c.All() {
		if _, ok := place[f.ID]; !ok {
			place[f.ID] = i
		}
	}
	slices.SortStableFunc(g.Observed, func(x, y Observation) int { return place[x.Finding] - place[y.Finding] })
	slices.SortStableFunc(g.Dropped, func(x, y Dropped) int { return place[x.Finding] - place[y.Finding] })
}

// strongestFirst sorts findings so that of those that tell one fact the
// strongest comes first: a seen one before one not found, then by how much
// better it fits something in the book than nothing.
func strongestFirst(b *rules.Book, c *evidence.Case) []evidence.Finding {
	out := c.All()
	strength := func(f evidence.Finding) float64 {
		s := b.Sign(f.Sign)
		if s == nil {
			return 0
		}
		most := 0.0
		for _, r := range s.By {
			most = max(most, r.HowOften)
		}
		sure := rules.Sure(f.Sure)
		way := rules.Chances(f.By)
		if f.Beyond != nil {
			// A reading beyond its limit goes before one inside, and then the surer.
			sure := math.Abs(*f.Beyond-0.5) * most
			if f.State == evidence.Seen {
				sure++
			}
			return sure
		}
		if f.State == evidence.Seen {
			return 1 + most/(most+s.Unlisted+way.Mistaken+sure.Doubt+1e-6)
		}
		return most * (1 - sure.Missed) * (1 - way.Missed)
	}
	strong := map[string]float64{}
	for _, f := range out {
		strong[f.ID] = strength(f)
	}
	slices.SortStableFunc(out, func(x, y evidence.Finding) int { return cmp.Compare(strong[y.ID], strong[x.ID]) })
	return out
}

// unusable says why a finding is no evidence of running; "" if it is.
func (g *Ground) unusable(c *evidence.Case, f evidence.Finding) (why string, as evidence.State) {
	switch {
	case f.State == evidence.Unavailable:
		return "could not be looked at", evidence.Unavailable
	case f.ReplacedBy != "":
		return "corrected by " + f.ReplacedBy, ""
	case f.Made != "":
		return "made after, by " + f.Made, ""
	case f.Sign == "other":
		return "the book has no such sign", ""
	case len(f.RestsOn) > 0:
		return "drawn from " + strings.Join(f.RestsOn, ", ") + ", which count", ""
	}
	sign := g.Book.Sign(f.Sign)
	if sign == nil {
		return "the book has no such sign", ""
	}
	if g.noPart[sign.Part] {
		return "this engine has no " + sign.Part.Name, ""
	}
	if g.noSign[sign] {
		return "does not apply to this engine: only where " + sign.When.Text, ""
	}
	// What was measured was there to be measured.
	if f.State == evidence.NotFound && f.Beyond == nil {
		if why := g.couldNotBeSeen(c, f, sign); why != "" {
			return why, evidence.Unavailable
		}
	}
	return "", ""
}

// couldNotBeSeen says why a sign reported as not found could not have been
// seen: its part was never reached, or an act had destroyed it.
func (g *Ground) couldNotBeSeen(c *evidence.Case, f evidence.Finding, s *rules.Sign) string {
	logged := len(c.Acts) > 0 || len(c.Received.Off) > 0
	if logged && (f.By == evidence.Eye || f.By == "") {
		for _, part := range g.hides(s.Part, nil) {
			if !c.Off(part) {
				return fmt.Sprintf("never reached: the %s is not told to be off", g.Book.Part(part).Name)
			}
		}
	}
	if f.Surface == "as found" {
		return ""
	}
	for _, l := range s.LostBy {
		if f.Surface == "washed" && l.Kind == evidence.ActWash || f.Surface == "wiped" && l.Kind == evidence.ActWash {
			return "the surface had been " + f.Surface + ", which takes this sign away"
		}
		act, done := c.Done(l.Kind, l.Part)
		if !done {
			continue
		}
		if before, known := c.Before(f.ID, act); known && before {
			continue
		}
		if before, known := c.Before(f.ID, act); known && !before || !known {
			return fmt.Sprintf("the act %s (%s %s) takes this sign away, and the finding is not told to be from before it", act, l.Kind, g.Book.Part(l.Part).Name)
		}
	}
	return ""
}

// hides lists what must be off before a part can be seen, nearest first.
func (g *Ground) hides(p *rules.Part, out []string) []string {
	for _, id := range p.Behind {
		q := g.Book.Part(id)
		if g.noPart[q] || slices.Contains(out, id) {
			continue
		}
		out = g.hides(q, append(out, id))
	}
	return out
}

// spot is where one observation of a finding stands.
type spot struct {
	index   int // position; 0 for one an engine or one not known
	at      string
	place   string
	letter  string // with index 0 on a positioned part: which unknown one
	count   int    // that many of the positions, not known which
	unknown bool
}

func (g *Ground) spots(c *evidence.Case, f evidence.Finding, s *rules.Sign) []spot {
	per := s.Part.Per
	if per == evidence.One || g.count(per) == 1 {
		// One an engine: only the places tell one look from another.
		index := 0
		if per != evidence.One {
			index = 1
		}
		var out []spot
		for _, a := range f.At {
			out = append(out, spot{index: index, at: g.Engine.Name(per, index), place: a.Place})
		}
		if len(out) == 0 {
			out = []spot{{index: index, at: g.Engine.Name(per, index)}}
		}
		return out
	}
	anyOf := "one of the " + per.Word() + "s"
	if len(f.At) == 0 {
		return []spot{{at: anyOf, letter: f.ID, unknown: true}}
	}
	lost := slices.ContainsFunc(c.OrderLost, func(p evidence.PartRef) bool { return p.Part == s.Part.ID })
	var out []spot
	for _, a := range f.At {
		indexes, err := g.Engine.Resolve(a, per)
		switch {
		case err != nil:
			continue // told when the case was checked against the book
		case a.Unknown != "":
			out = append(out, spot{at: anyOf, place: a.Place, letter: a.Unknown, unknown: true})
		case a.Count > 0 || lost && len(indexes) < g.count(per):
			n := a.Count
			if n == 0 {
				n = len(indexes)
			}
			out = append(out, spot{at: fmt.Sprintf("%d of the %ss", n, per.Word()), place: a.Place, count: n, unknown: true})
		default:
			for _, i := range indexes {
				out = append(out, spot{index: i, at: g.Engine.Name(per, i), place: a.Place})
			}
		}
	}
	return out
}

// facts are the names under which a spot of a finding tells a fact that counts
// once.
func facts(f evidence.Finding, s *rules.Sign, at spot) []string {
	where := fmt.Sprintf("%d/%s/%d", at.index, at.letter, at.count)
	placed := ""
	if slices.ContainsFunc(s.By, func(r *rules.Rule) bool { return r.Where != "" }) {
		placed = at.place
	}
	out := []string{s.ID + " " + where + " " + placed}
	if s.SameFact != "" {
		out = append(out, s.Part.ID+" "+s.SameFact+" "+where)
	}
	if f.Look != "" {
		out = append(out, s.Part.ID+" look "+f.Look+" "+where)
	}
	return out
}

func claimed(counted map[string]string, f evidence.Finding, s *rules.Sign, at spot) string {
	for _, fact := range facts(f, s, at) {
		if o := counted[fact]; o != "" && o != f.ID {
			return o
		}
	}
	return ""
}

func claim(counted map[string]string, f evidence.Finding, s *rules.Sign, at spot) {
	for _, fact := range facts(f, s, at) {
		if counted[fact] == "" {
			counted[fact] = f.ID
		}
	}
}

// enter makes the variable of a sign at a spot and the likelihood of what was
// reported of it.
func (g *Ground) enter(f evidence.Finding, s *rules.Sign, at spot, a *assumer) {
	way, sure := rules.Chances(f.By), rules.Sure(f.Sure)
	if s.Part.Belongs == "person" {
		// The sign is that somebody tells it, and that was heard. How far such
		// tales hold is in the sign's own figures.
		way = rules.Chances(evidence.Paper)
	}
	o := Observation{Finding: f.ID, Sign: s, At: at.at, Place: at.place, Seen: f.State == evidence.Seen}
	missed := 1 - (1-way.Missed)*(1-sure.Missed)
	if o.Seen {
		missed = 0 // what was seen was not overlooked
	}
	mistaken := way.Mistaken
	if s.Unlisted == 0 && (f.By != evidence.Told || s.Part.Belongs == "person") {
		// A sign that is the thing itself, in the hand and with no other
		// source, is not guessed.
		mistaken = 0
	}
	leak := 1 - (1-g.Book.ByItself(s))*(1-mistaken)
	name := f.ID + " " + s.ID + " " + at.at
	switch {
	case at.count > 0:
		o.v = g.tally(name, s, at, missed, leak, a, &o)
		o.like = make([]float64, g.count(s.Part.Per)+1)
		for k := range o.like {
			if (k >= at.count) == o.Seen && (k == at.count || !o.Seen) {
				o.like[k] = 1
			}
		}
	default:
		v := variable{name: name, kind: gate, leak: leak}
		if at.unknown {
			v.edges = g.signAtUnknown(s, at, missed, a, &o)
		} else {
			v.edges = g.signEdges(s, at.index, at.place, missed, a, &o)
		}
		o.v = g.add(v)
		if f.Beyond != nil {
			// A reading well inside its limit is as good as the sign not found, and
			// one at the limit says nothing.
			p := *f.Beyond
			o.like = []float64{max(1-p, sure.Doubt*p), max(p, sure.Doubt*(1-p))}
		} else if o.Seen {
			o.like = []float64{sure.Doubt, 1}
		} else {
			o.like = []float64{1, 0}
		}
	}
	g.Observed = append(g.Observed, o)
}

// signEdges lists what shows a sign at a position and place.
func (g *Ground) signEdges(s *rules.Sign, index int, place string, missed float64, a *assumer, o *Observation) []edge {
	var out []edge
	for _, r := range s.By {
		if place != "" && r.Where != "" && r.Where != place || g.holds(r.When, a) == rules.No {
			continue
		}
		for _, src := range g.sources(r.From, s.Part.Per, index, r.Relation) {
			o.explain = append(o.explain, cause{src, r})
			if r.Reach == rules.ReachEach || s.Part.Per == evidence.One {
				out = append(out, edge{from: src.v, pass: r.HowOften * (1 - missed), rule: r})
				continue
			}
			key := signRule{r, src.v}
			if _, ok := g.signs[key]; !ok {
				g.signs[key] = g.sharedRule(r, src, s.Part.Per)
			}
			e := g.through(r, g.signs[key], index)
			e.pass = 1 - missed
			out = append(out, e)
		}
	}
	return out
}

// signAtUnknown lists what shows a sign at one position that is not known:
// each position's parents count only if it is that position.
func (g *Ground) signAtUnknown(s *rules.Sign, at spot, missed float64, a *assumer, o *Observation) []edge {
	n := g.count(s.Part.Per)
	l := g.letter("?"+at.letter, s.Part.Per)
	var out []edge
	for i := 1; i <= n; i++ {
		for _, e := range g.signEdges(s, i, at.place, missed, a, o) {
			h := g.add(variable{name: fmt.Sprintf("%s is %d", g.vars[l].name, i), kind: kindAt, state: i - 1, edges: []edge{{from: e.from}, {from: l}}})
			out = append(out, edge{from: h, pass: e.pass, rule: e.rule})
		}
	}
	return out
}

// tally counts at how many positions the sign is there.
func (g *Ground) tally(name string, s *rules.Sign, at spot, missed, leak float64, a *assumer, o *Observation) int {
	n := g.count(s.Part.Per)
	last := -1
	for i := 1; i <= n; i++ {
		y := g.add(variable{name: fmt.Sprintf("%s at %d", name, i), kind: gate, leak: leak, edges: g.signEdges(s, i, at.place, missed, a, o)})
		t := variable{name: fmt.Sprintf("%s up to %d", name, i), kind: sum, n: i + 1, edges: []edge{{from: y}}}
		if last >= 0 {
			t.edges = append(t.edges, edge{from: last})
		}
		last = g.add(t)
	}
	return last
}

// Ask sets the outcome: a step taken as having happened.
func (g *Ground) Ask(question string, at []evidence.Spot) error {
	n := g.Book.Node(question)
	if n == nil || n.Kind != rules.Step {
		return fmt.Errorf("the book has no step %q to ask about", question)
	}
	items := g.byNode[n]
	if len(items) == 0 {
		return fmt.Errorf("%s cannot happen in this engine: nothing in the book leads to it here", n.Name)
	}
	g.asked, g.askedAt = n, items
	if len(at) > 0 && n.Per != evidence.One {
		var picked []*Item
		for _, s := range at {
			indexes, err := g.Engine.Resolve(s, n.Per)
			if err != nil {
				return err
			}
			for _, it := range items {
				if slices.Contains(indexes, it.Index) && !slices.Contains(picked, it) {
					picked = append(picked, it)
				}
			}
		}
		if len(picked) > 0 && len(picked) < len(items) {
			g.askedAt = picked
		}
	}
	switch {
	case len(g.askedAt) == 1:
		g.outcome = g.askedAt[0].v
	case len(g.askedAt) == len(items):
		g.outcome = g.family[n].v
	default:
		v := variable{name: "asked " + n.ID, kind: gate}
		for _, it := range g.askedAt {
			v.edges = append(v.edges, edge{from: it.v, pass: 1})
		}
		g.outcome = g.add(v)
	}
	return nil
}

// Asked is the step asked about and its positions; nil when nothing is asked.
func (g *Ground) Asked() (*rules.Node, []*Item) { return g.asked, g.askedAt }
