package network

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"tidemark/engine/infer"
	"tidemark/evidence"
	"tidemark/rules"
)

// Clash is evidence that the book holds impossible: the findings that cannot
// be true together.
type Clash struct{ Findings []string }

func (c *Clash) Error() string {
	return fmt.Sprintf("findings %v cannot all be true under the book", c.Findings)
}

// Plain answers what is there, given all findings or some of them.
type Plain struct {
	g     *Ground
	m     *Model
	joins *joins
}

// joins are the models that were made to ask for families that the plain one has no
// variables for; of each the families, and nil where it came to be too large.
type joins struct {
	mutex sync.Mutex
	of    [][]*Family
	m     []*Model
}

// joining is by how much larger, as a binary logarithm, a question may become by variables
// for families. Without them each takes a question of its own.
const joining = 1

// joined is the model with a variable for each of these families.
func (p *Plain) joined(ctx context.Context, families []*Family) (*Model, error) {
	var of []*Family
	for _, f := range families {
		if !p.m.has(f.v) {
			of = append(of, f)
		}
	}
	if len(of) == 0 || p.joins == nil || p.m.m.Guided() == 0 {
		return p.m, nil
	}
	j := p.joins
	j.mutex.Lock()
	defer j.mutex.Unlock()
	at := slices.IndexFunc(j.of, func(had []*Family) bool { return slices.Equal(had, of) })
	if at < 0 {
		b := p.m.m.Edit()
		m := &Model{g: p.m.g, vars: slices.Clone(p.m.vars), three: p.m.three}
		for _, f := range of {
			links, outside := []infer.Link(nil), 0.0
			for _, it := range f.Items {
				if p.m.has(it.v) {
					links = append(links, infer.Link{Parent: p.m.vars[it.v], Pass: 1})
				} else {
					outside += (1 - outside) * p.m.outside(it.v)
				}
			}
			m.vars[f.v] = b.Max(p.g.vars[f.v].name, 2, links, []float64{1 - outside, outside})
		}
		var err error
		if m.m, err = b.Build(); err != nil {
			return nil, err
		}
		query := (&Plain{g: p.g, m: m}).query()
		if m.m = m.m.Guide(ctx, p.m.evidence(nil), query...); m.m.Guided() > p.m.m.Guided()+joining || m.m.Guided() == 0 {
			m = nil
		} else {
			(&Plain{g: p.m.g, m: m}).often()
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		at = len(j.of)
		j.of, j.m = append(j.of, of), append(j.m, m)
	}
	if m := j.m[at]; m != nil {
		return &Model{g: p.m.g, m: m.m, vars: m.vars, three: m.three, usual: m.usual}, nil
	}
	return p.m, nil
}

// Plain prepares the plain model of what bears on the findings and the
// outcome. Both must be entered. Where that is too entangled to be worked out as
// it stands, rules of which hardly anything comes are left out first (see
// settle).
func (g *Ground) Plain(ctx context.Context) (*Plain, error) {
	if err := g.settle(ctx); err != nil {
		return nil, err
	}
	m, err := g.build(plain, Test{}, g.wanted())
	if err != nil {
		return nil, err
	}
	p := &Plain{g, m, &joins{}}
	m.m = m.m.Guide(ctx, m.evidence(nil), p.query()...)
	p.often()
	return p, nil
}

// wanted are the variables that must be in the plain model beside what bears on
// findings and outcome: all, where nothing is asked and nothing found.
func (g *Ground) wanted() []int {
	if g.forced != nil {
		return g.forced
	}
	if g.outcome >= 0 || len(g.Observed) > 0 {
		return nil
	}
	var out []int
	for _, it := range g.Items {
		out = append(out, it.v)
	}
	return out
}

// Relevant tells whether the findings or the outcome bear on an item. One that
// is not relevant and is no cause is not worked out.
func (p *Plain) Relevant(it *Item) bool { return p.m.has(it.v) }

// Posterior is what is there, given some findings.
type Posterior struct {
	LogP float64 // ln of the probability of the findings and the outcome
	m    *Model
	p    *infer.Posterior
	any  map[*Family]float64 // of families that have no variable in the model
}

// Item is the probability that a cause or step is there. A cause on which
// nothing bears keeps its base rate; a step on which nothing bears is 0.
func (p *Posterior) Item(it *Item) float64 {
	if p.m.has(it.v) {
		return p.p.P(p.m.vars[it.v])[1]
	}
	return p.m.outside(it.v)
}

// outside is how likely something is that is not in the model.
func (m *Model) outside(v int) float64 {
	switch {
	case m.g.beside != nil:
		return m.g.beside[v]
	case m.g.vars[v].kind == root:
		return m.g.vars[v].prior
	}
	return 0
}

// Family is the probability that it is there at any position. Where nothing hangs on
// that the positions are taken as independent, unless it was asked for (see About).
func (p *Posterior) Family(f *Family) float64 {
	if p.m.has(f.v) {
		return p.p.P(p.m.vars[f.v])[1]
	}
	if x, ok := p.any[f]; ok {
		return x
	}
	none := 1.0
	for _, it := range f.Items {
		none *= 1 - p.Item(it)
	}
	return 1 - none
}

// Posterior infers all items and families, leaving out the findings named.
func (p *Plain) Posterior(ctx context.Context, without map[string]bool) (*Posterior, error) {
	return p.posterior(ctx, p.m.evidence(without))
}

// About is Posterior for these items and families alone; of others the result must
// not be asked.
func (p *Plain) About(ctx context.Context, without map[string]bool, items []*Item, families []*Family) (*Posterior, error) {
	m, err := p.joined(ctx, families)
	if err != nil {
		return nil, err
	}
	p = &Plain{g: p.g, m: m, joins: p.joins}
	var query []infer.Var
	for _, it := range items {
		if p.m.has(it.v) {
			query = append(query, p.m.vars[it.v])
		}
	}
	for _, f := range families {
		if p.m.has(f.v) {
			query = append(query, p.m.vars[f.v])
		}
	}
	if len(query) == 0 { // which would ask for all
		logP, err := p.LogP(ctx, without)
		return &Posterior{LogP: logP, m: p.m}, err // none is in the model
	}
	post, err := p.infer(ctx, without, p.m.evidence(without), query)
	if err != nil {
		return nil, p.clash(err)
	}
	out := &Posterior{LogP: post.LogP, m: p.m, p: post, any: map[*Family]float64{}}
	for _, f := range families {
		if out.any[f], err = p.AnyOf(ctx, without, f, out); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Know notes how likely a family is there at any position, as AnyOf tells it.
func (p *Posterior) Know(f *Family, chance float64) {
	if p.any == nil {
		p.any = map[*Family]float64{}
	}
	p.any[f] = chance
}

// alone is the share of what is there at all that may be there twice for it not to matter.
const alone = 0.002

// AnyOf is how likely a family is there at any position, given a posterior with the
// same findings left out. Positions are not independent once something was found: one
// may explain what else another must.
func (p *Plain) AnyOf(ctx context.Context, without map[string]bool, f *Family, post *Posterior) (float64, error) {
	// Of what is rare at each position it does not matter how they hang together: two at
	// once hardly ever come about.
	sum, squares := 0.0, 0.0
	for _, it := range f.Items {
		x := post.Item(it)
		sum += x
		squares += x * x
	}
	if p.m.has(f.v) || (sum*sum-squares)/2 <= alone*sum {
		return post.Family(f), nil
	}
	none, err := p.logPNone(ctx, without, f.Items)
	if errors.As(err, new(*infer.TooLarge)) {
		// At most as likely as all positions together, which is what it is where one of
		// them was seen and which is not known.
		return min(1, sum), nil
	}
	return max(0, min(1, -math.Expm1(none-post.LogP))), err
}

// query are all items and families of the model.
func (p *Plain) query() (query []infer.Var) {
	for _, it := range p.g.Items {
		if p.m.has(it.v) {
			query = append(query, p.m.vars[it.v])
		}
	}
	for _, f := range p.g.Families {
		if p.m.has(f.v) {
			query = append(query, p.m.vars[f.v])
		}
	}
	return query
}

func (p *Plain) posterior(ctx context.Context, ev infer.Evidence) (*Posterior, error) {
	post, err := p.infer(ctx, nil, ev, p.query())
	if err != nil {
		return nil, p.clash(err)
	}
	return &Posterior{LogP: post.LogP, m: p.m, p: post}, nil
}

// Given infers with a family, or an item where there is none, held as there.
func (p *Plain) Given(ctx context.Context, f *Family, it *Item) (*Posterior, error) {
	ev := p.m.evidence(nil)
	v := it.v
	if f != nil {
		v = f.v
	}
	if !p.m.has(v) {
		return p.posterior(ctx, ev) // nothing bears on it, so it tells nothing
	}
	ev[p.m.vars[v]] = multiply(orOnes(ev[p.m.vars[v]]), []float64{0, 1})
	return p.posterior(ctx, ev)
}

// LogP is ln P of the findings, except those left out, and the outcome.
func (p *Plain) LogP(ctx context.Context, without map[string]bool) (float64, error) {
	ev := p.m.evidence(without)
	f, err := p.frameOf(ctx, without)
	if err != nil {
		return 0, err
	}
	if f != nil {
		if lp, err := f.LogChance(ctx, ev); err != nil || !math.IsInf(lp, -1) {
			return lp, err
		}
	} else if p.m.usual != nil {
		if post, err := p.fromNone(ctx, without, nil); post != nil || err != nil {
			return post.LogP, err
		}
	}
	lp, err := p.m.m.LogP(ctx, ev)
	return lp, p.clash(err)
}

// clash names the findings behind a contradiction.
func (p *Plain) clash(err error) error {
	var c *infer.Contradiction
	if !errors.As(err, &c) {
		return err
	}
	out := &Clash{}
	for _, v := range c.Vars {
		for _, o := range p.g.Observed {
			if p.m.vars[o.v] == v {
				out.Findings = append(out.Findings, o.Finding)
			}
		}
		if p.g.outcome >= 0 && p.m.vars[p.g.outcome] == v {
			out.Findings = append(out.Findings, "the question")
		}
	}
	return out
}

// Kept tells whether a rule that leads on from an item to the outcome is kept, so that
// the item itself is in the three-level models.
func (g *Ground) Kept(it *Item) bool { return g.runs(Test{Items: []*Item{it}}) }

// Passage is, for a cause of which no rule is kept, the step through which most comes of
// it, and which share of that step's occurrences is taken to be its doing.
func (g *Ground) Passage(it *Item) (to *Item, share float64) {
	p, ok := g.passages[it.v]
	if !ok {
		return nil, 0
	}
	return g.vars[p.to].item, p.share
}

// Blame is the probability, given all findings, that without what is under
// test the outcome would not have happened.
func (g *Ground) Blame(ctx context.Context, t Test) (float64, error) {
	return g.three(ctx, blame, t)
}

// Acted is the probability, given all findings, that what is under test was
// there and a path of working rules ran from it to the outcome.
func (g *Ground) Acted(ctx context.Context, t Test) (float64, error) {
	return g.three(ctx, acted, t)
}

// three asks a three-level model. Where that of the choice in force is too large,
// one is asked in which more is left out. What a coarse choice already shows to be
// small is not worked out more finely: it decides nothing. But of a variant nothing is
// shown to be small so: what a rule matters was weighed by other findings and rules.
func (g *Ground) three(ctx context.Context, md mode, t Test) (float64, error) {
	if g.outcome < 0 {
		return 0, nil
	}
	if g.wide != nil && !g.runs(t) {
		return g.leftOut(ctx, md, t)
	}
	room := g.Budget + forBlame
	if md == acted {
		room = g.Budget + forActed
	}
	if t.Unlisted && t.At == nil {
		room = g.Budget + forUnlisted
	}
	if !g.changed {
		i, err := g.sketching(ctx)
		if err != nil {
			return 0, err
		}
		if i >= 0 {
			at := g.foreseen
			if at == nil || !at.runs(t) {
				if at, err = g.coarser(ctx, i, t); err != nil {
					return 0, err
				}
			}
			p, fits, err := at.level(ctx, md, t, g.Budget+forSketch)
			if err != nil || fits && p < small {
				return p, err
			}
		}
	}
	for i := -1; ; i++ {
		at, room := g, room
		if i >= 0 {
			var err error
			if at, err = g.coarser(ctx, i, t); err != nil {
				return 0, err
			}
		}
		if i+1 >= len(g.coarse) {
			room = math.Inf(1) // nothing smaller is left
		} else if next, err := g.coarse[i+1].get(ctx); err != nil {
			return 0, err
		} else if next.heaviest >= small {
			// The next one leaves out what much comes of: before that, all the room there is.
			room = max(room, g.Budget+forUnlisted)
		}
		p, fits, err := at.level(ctx, md, t, room)
		if large := (*infer.TooLarge)(nil); i >= 0 && errors.As(err, &large) {
			// The ways that were brought back for the question entangle too much: what is
			// kept without them is what there is room for.
			if at, err = g.coarse[i].get(ctx); err == nil {
				p, _, err = at.level(ctx, md, t, math.Inf(1))
			}
			return p, err
		}
		if err != nil || fits {
			return p, err
		}
	}
}

// leftOut is three for what is left out: at most as large as its share in the steps
// through which most comes of it. Where that is not small it is worked out in the
// choice in which it is not left out, if there is one.
func (g *Ground) leftOut(ctx context.Context, md mode, t Test) (float64, error) {
	none := 1.0
	for _, it := range t.Items {
		if w, ok := g.passages[it.v]; ok {
			none *= 1 - w.share*g.beside[w.to]
		}
	}
	if 1-none >= small && g.wide.runs(t) {
		p, fits, err := g.wide.level(ctx, md, t, g.Budget+forUnlisted)
		if fits || err != nil {
			return p, err
		}
	}
	none = 1
	for _, it := range t.Items {
		w, ok := g.passages[it.v]
		if !ok || g.vars[w.to].item == nil || w.to == g.outcome {
			continue
		}
		p, err := g.three(ctx, md, Test{Items: []*Item{g.vars[w.to].item}})
		if err != nil {
			return 0, err
		}
		none *= 1 - w.share*p
	}
	return 1 - none, nil
}

// runs tells whether anything runs from what is under test to the outcome.
func (g *Ground) runs(t Test) bool {
	if t.Unlisted {
		return true
	}
	above := g.above()
	return slices.ContainsFunc(t.Items, func(it *Item) bool { return above[it.v] })
}

// level is three under one choice; fits is false if there is no room for it. The
// levels are told apart within one question, so that a small one need not be known to
// many digits of itself.
func (g *Ground) level(ctx context.Context, md mode, t Test, room float64) (p float64, fits bool, err error) {
	at := 1
	if md == acted {
		at = 2
	}
	if g.frame != nil {
		p, ok, fits, err := g.frame.ask(ctx, g, md, t, room)
		if !ok || !fits || err != nil {
			return 0, fits, err
		}
		return p[at], true, nil
	}
	m, err := g.build(md, t, nil)
	if err != nil {
		return 0, false, err
	}
	if !m.three[g.outcome] {
		return 0, true, nil // nothing runs from it to the outcome
	}
	outcome := m.vars[g.outcome]
	post, fits, err := m.m.InferWithin(ctx, room, m.evidence(nil), outcome)
	if !fits || err != nil {
		return 0, false, err
	}
	return post.P(outcome)[at], true, nil
}

// Explanation is a most probable assignment to causes and steps.
type Explanation struct {
	There map[*Item]bool
	LogP  float64
}

// Explain finds the k most probable explanations of the findings by causes and
// steps. Proven tells whether they are known to be the best; where rules are left
// out, the best by those kept in a narrower choice.
func (p *Plain) Explain(ctx context.Context, k, budget int) (out []Explanation, proven bool, err error) {
	if len(p.g.coarse) > forExplaining {
		c, err := p.g.coarse[forExplaining].get(ctx)
		if err != nil {
			return nil, false, err
		}
		p = &Plain{g: c}
		if p.m, err = c.build(plain, Test{}, nil); err != nil {
			return nil, false, err
		}
	}
	relevant := p.g.ancestors(nil)
	var over []infer.Var
	var items []*Item
	for _, it := range p.g.Items {
		if relevant[it.v] && p.m.has(it.v) {
			over = append(over, p.m.vars[it.v])
			items = append(items, it)
		}
	}
	found, proven, err := p.m.m.MostProbable(ctx, p.m.evidence(nil), over, k, budget)
	if err != nil {
		return nil, false, p.clash(err)
	}
	for _, f := range found {
		e := Explanation{There: map[*Item]bool{}, LogP: f.LogP}
		for i, s := range f.States {
			e.There[items[i]] = s > 0
		}
		out = append(out, e)
	}
	return out, proven, nil
}

// Cost is what the plain inference takes.
func (p *Plain) Cost(ctx context.Context) infer.Cost { return p.m.m.Estimate(ctx, p.m.evidence(nil)) }

// Depths tells, for each item from which something runs to the outcome, the
// longest way there in causes and steps; the outcome itself is 0.
func (g *Ground) Depths() map[*Item]int {
	depth := make([]int, len(g.vars))
	for i := range depth {
		depth[i] = -1
	}
	if g.outcome < 0 {
		return nil
	}
	depth[g.outcome] = 0
	for i := len(g.vars) - 1; i >= 0; i-- {
		if depth[i] < 0 {
			continue
		}
		step := 0
		if g.vars[i].item != nil {
			step = 1
		}
		for k, e := range g.vars[i].edges {
			if !g.thin.rule(i, k) {
				depth[e.from] = max(depth[e.from], depth[i]+step)
			}
		}
	}
	out := map[*Item]int{}
	if g.wide != nil {
		out = g.wide.Depths() // for what is left out here
	}
	for _, it := range g.Items {
		if depth[it.v] >= 0 {
			out[it] = depth[it.v]
		}
	}
	return out
}

// WithBounds is Posterior of all findings, and bounds acted of every item from above: what
// acts does so by a rule that worked, through something that acted itself. How likely each
// rule worked, given all findings, follows from the slope of their probability in it.
func (p *Plain) WithBounds(ctx context.Context) (*Posterior, map[*Item]float64, error) {
	post, c, err := p.slopes(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer c.Release()
	g := p.g
	bound := p.m.actedBounds(c)
	out := map[*Item]float64{}
	for _, it := range g.Items {
		out[it] = bound[it.v]
	}
	if g.wide != nil {
		// Of what is left out here, the most that it could have done.
		for it := range g.wide.Depths() {
			if _, ok := out[it]; !ok || !p.m.has(it.v) {
				out[it] = 1
			}
		}
	}
	return post, out, nil
}

// slopes infers what is there, with the slopes that it has in every number. The
// calibration is to be released.
func (p *Plain) slopes(ctx context.Context) (*Posterior, *infer.Calibration, error) {
	query := p.query()
	c, err := p.m.m.Slopes(ctx, p.m.evidence(nil), query...)
	if err != nil {
		return nil, nil, p.clash(err)
	}
	return &Posterior{LogP: c.LogP, m: p.m, p: c.Posterior(query...)}, c, nil
}

// actedBounds bounds acted of every variable from above (see ActedBounds).
func (m *Model) actedBounds(c *infer.Calibration) []float64 {
	g := m.g
	there := func(v int) float64 {
		if !m.has(v) {
			return 0
		}
		if q := c.P(m.vars[v]); q != nil {
			return 1 - q[0]
		}
		return 1
	}
	bound := make([]float64, len(g.vars))
	for i := len(g.vars) - 1; i >= 0; i-- {
		v := &g.vars[i]
		if i == g.outcome {
			bound[i] = 1
		}
		if bound[i] > 0 && m.has(i) {
			done := map[int]bool{}
			for k, e := range v.edges {
				if g.thin.rule(i, k) || done[e.from] {
					continue
				}
				done[e.from] = true
				worked := there(i)
				if v.kind == gate {
					// All links from one parent are one, for inference.
					none := 1.0
					for j, o := range v.edges {
						if o.from == e.from && !g.thin.rule(i, j) {
							none *= 1 - o.pass
						}
					}
					worked = (1 - none) * (there(e.from) + none*c.LinkSlope(m.vars[i], m.vars[e.from]))
				}
				bound[e.from] += min(bound[i], max(0, worked))
			}
		}
		if v.item != nil {
			bound[i] = min(bound[i], there(i))
		}
	}
	return bound
}

// Below marks the items that something runs to from any of these, themselves
// included.
func (g *Ground) Below(items []*Item) map[*Item]bool {
	below := make([]bool, len(g.vars))
	for _, it := range items {
		below[it.v] = true
	}
	out := map[*Item]bool{}
	for i := range g.vars {
		for k, e := range g.vars[i].edges {
			below[i] = below[i] || below[e.from] && !g.thin.rule(i, k)
		}
		if it := g.vars[i].item; it != nil && below[i] {
			out[it] = true
		}
	}
	return out
}

// Above marks the items from which something runs to any of these, themselves
// included.
func (g *Ground) Above(items []*Item) map[*Item]bool {
	var of []int
	for _, it := range items {
		of = append(of, it.v)
	}
	keep := g.ancestorsOf(of)
	out := map[*Item]bool{}
	for _, it := range g.Items {
		if keep[it.v] {
			out[it] = true
		}
	}
	return out
}

// Way is a rule as it runs from one item to another.
type Way struct {
	From, To *Item
	Pass     float64
	Rule     ruleText
}

// ruleText is what a rule or a need says.
type ruleText struct {
	ID, Because, Source, Word string
	HowOften                  float64
}

// Ways lists how things run into an item, through the insides of shared rules
// and needs.
func (g *Ground) Ways(to *Item) []Way {
	var out []Way
	var follow func(v int, pass float64, text ruleText)
	follow = func(v int, pass float64, text ruleText) {
		if it := g.vars[v].item; it != nil {
			out = append(out, Way{it, to, pass, text})
			return
		}
		for _, e := range g.vars[v].edges {
			p := pass
			if e.pass > 0 {
				p *= e.pass
			}
			if k := g.vars[e.from].kind; k == letter || k == taken {
				continue
			}
			follow(e.from, p, text)
		}
	}
	for _, e := range g.vars[to.v].edges {
		text := ruleText{}
		switch {
		case e.rule != nil:
			text = ruleText{e.rule.ID, e.rule.Because, e.rule.Source, e.rule.Word, e.rule.HowOften}
		case e.need != nil:
			text = ruleText{to.Node.ID + " needs", e.need.Because, e.need.Source, e.need.Word, e.need.HowOften}
		}
		follow(e.from, e.pass, text)
	}
	return out
}

// Explains lists the items that could show an observation, with the rule.
func (o Observation) Explains() []Shows {
	out := make([]Shows, len(o.explain))
	for i, c := range o.explain {
		out[i] = Shows{c.item, c.rule.ID, c.rule.Because, c.rule.Source, c.rule.HowOften}
	}
	return out
}

// Shows is a rule from an item to a sign.
type Shows struct {
	Item            *Item
	ID              string
	Because, Source string
	HowOften        float64
}

// Asking tells whether an outcome is asked about.
func (g *Ground) Asking() bool { return g.outcome >= 0 }

// NoSign tells whether a sign cannot be looked for on this engine: it has not got
// the part, or the sign is for others.
func (g *Ground) NoSign(s *rules.Sign) bool { return g.noPart[s.Part] || g.noSign[s] }

// Hides lists what must come off before a part can be seen, nearest first.
func (g *Ground) Hides(p *rules.Part) []string { return g.hides(p, nil) }

// Positions lists where a part can be looked at: 0 for one an engine.
func (g *Ground) Positions(p *rules.Part) []int {
	if p.Per == evidence.One {
		return []int{0}
	}
	var out []int
	for i := 1; i <= g.count(p.Per); i++ {
		out = append(out, i)
	}
	return out
}

// PositionName is a position as a person reads it; "" for one an engine.
func (g *Ground) PositionName(p *rules.Part, index int) string {
	return g.Engine.Name(p.Per, index)
}

// RoughChances is about how likely a sign is to be seen at a position by each posterior,
// taking what shows it as independent; 0 by one that is nil.
func (g *Ground) RoughChances(s *rules.Sign, index int, posts []*Posterior) []float64 {
	edges := g.lookEdges(s, index, newAssumer(g))
	out := make([]float64, len(posts))
	for i, post := range posts {
		if post == nil {
			continue
		}
		none := 1 - g.Book.ByItself(s)
		for _, e := range edges {
			none *= 1 - post.Item(g.vars[e.from].item)*e.pass
		}
		out[i] = 1 - none
	}
	return out
}

// looking is how a sign that was not looked for yet would be: on paper or by asking, or
// by eye.
func looking(s *rules.Sign) rules.WayChances {
	if s.Part.Belongs == "person" || s.Part.Belongs == "paper" {
		return rules.Chances(evidence.Paper)
	}
	return rules.Chances(evidence.Eye)
}

// OfItself is the chance that a sign which nothing shows is not found where it is
// looked for.
func (g *Ground) OfItself(s *rules.Sign) float64 {
	if s.Unlisted == 0 {
		return 1 // the thing itself in the hand is not mistaken (see enter)
	}
	return (1 - g.Book.ByItself(s)) * (1 - looking(s).Mistaken)
}

// lookEdges lists what would show a sign at a position to whoever looks. The sign has
// not been looked for anywhere, so what a rule's positions have in common does
// not matter: a rule that takes the first, or one, counts by its chance for this
// one. What other rules of its source tell of the position is left aside.
func (g *Ground) lookEdges(s *rules.Sign, index int, a *assumer) []edge {
	missed := looking(s).Missed
	var out []edge
	for _, r := range s.By {
		if g.holds(r.When, a) == rules.No {
			continue
		}
		pass := r.HowOften * (1 - missed)
		if r.Reach == rules.ReachFirst && s.Part.Per != evidence.One {
			pass *= reachChance(g.count(s.Part.Per))
		}
		if r.Reach == rules.ReachOne && s.Part.Per != evidence.One {
			pass /= float64(g.count(s.Part.Per))
		}
		for _, src := range g.sources(r.From, s.Part.Per, index, r.Relation) {
			out = append(out, edge{from: src.v, pass: pass, rule: r})
		}
	}
	return out
}

// Unseen is a sign at a position, taken as looked for by eye and not found.
type Unseen struct {
	Sign  *rules.Sign
	Index int
}

// Without is the same ground with signs taken as looked for by eye and not found.
// There must be none of them among the findings.
func (g *Ground) Without(unseen ...Unseen) *Ground {
	n := *g
	n.unseen, n.changed, n.foreseen = nil, true, nil
	for _, u := range unseen {
		n.unseen = append(n.unseen, g.lookEdges(u.Sign, u.Index, newAssumer(g))...)
	}
	n.coarse = like(g.coarse, func(c *Ground) *Ground { return c.Without(unseen...) })
	if g.wide != nil {
		n.wide = g.wide.Without(unseen...)
	}
	return &n
}

// IfNotFound infers what would be there of these items and families (of all, for none
// of both) if signs were looked for by eye and not found.
func (p *Plain) IfNotFound(ctx context.Context, unseen []Unseen, items []*Item, families []*Family) (*Posterior, error) {
	n := p.Ruled(unseen...)
	g := n.g
	var post *Posterior
	var err error
	if len(items)+len(families) == 0 {
		post, err = n.Posterior(ctx, nil)
	} else {
		post, err = n.About(ctx, nil, items, families)
	}
	if err != nil {
		return nil, err
	}
	for _, u := range unseen {
		post.LogP += math.Log(g.OfItself(u.Sign))
	}
	// What bears on nothing else is as likely as before.
	hidden := map[int]float64{}
	for _, e := range g.unseen {
		if !p.m.has(e.from) {
			if _, ok := hidden[e.from]; !ok {
				hidden[e.from] = 1
			}
			hidden[e.from] *= 1 - e.pass
		}
	}
	for _, v := range slices.Sorted(maps.Keys(hidden)) {
		post.LogP += math.Log(1 - g.prior[v]*(1-hidden[v]))
	}
	return post, nil
}

func orOnes(l []float64) []float64 {
	if l == nil {
		return []float64{1, 1}
	}
	return l
}

// Change is a rule with another how-often, to see what hangs on it.
type Change struct {
	Rule     *rules.Rule
	HowOften float64
}

// Variant is the same ground with findings left out, or rules changed at all their
// positions. The chances of unlisted causes stay as they were.
func (g *Ground) Variant(without map[string]bool, changes ...Change) *Ground {
	n := *g
	n.Observed, n.changed, n.foreseen = nil, true, nil
	for _, o := range g.Observed {
		if !without[o.Finding] {
			n.Observed = append(n.Observed, o)
		}
	}
	if len(changes) > 0 {
		n.vars, n.altered = slices.Clone(g.vars), maps.Clone(g.altered)
		if n.altered == nil {
			n.altered = map[int]bool{}
		}
	}
	for _, c := range changes {
		for i := range n.vars {
			for k, e := range n.vars[i].edges {
				if e.rule != c.Rule || e.pass == 1 && c.Rule.HowOften != 1 {
					continue
				}
				edges := slices.Clone(n.vars[i].edges)
				edges[k].pass = e.pass / c.Rule.HowOften * c.HowOften
				n.vars[i].edges, n.altered[i] = edges, true
			}
		}
	}
	n.wide = nil
	n.coarse = like(g.coarse, func(c *Ground) *Ground { return c.Variant(without, changes...) })
	return &n
}

// OutcomeChances is the chance of any outcome of the book in this engine before
// anything is found, and of each.
func (g *Ground) OutcomeChances(ctx context.Context) (any float64, each map[string]float64, err error) {
	n := *g
	n.vars, n.frame, n.upward = slices.Clone(g.vars), nil, nil
	all := variable{name: "any outcome", kind: gate}
	var wanted []int
	var ids []string
	for _, o := range g.Book.Outcomes() {
		items := g.byNode[o]
		if len(items) == 0 {
			continue
		}
		v := items[0].v
		if f := g.family[o]; f != nil {
			v = f.v
		}
		all.edges = append(all.edges, edge{from: v, pass: 1})
		wanted = append(wanted, v)
		ids = append(ids, o.ID)
	}
	top := n.add(all)
	n.forced, n.thin = append(slices.Clone(wanted), top), nil
	if err := n.settle(ctx); err != nil {
		return 0, nil, err
	}
	m, err := n.build(plain, Test{}, n.forced)
	if err != nil {
		return 0, nil, err
	}
	query := []infer.Var{m.vars[top]}
	for _, v := range wanted {
		query = append(query, m.vars[v])
	}
	post, err := m.m.Infer(ctx, infer.Evidence{}, query...)
	if err != nil {
		return 0, nil, err
	}
	each = map[string]float64{}
	for i, v := range wanted {
		each[ids[i]] = post.P(m.vars[v])[1]
	}
	return post.P(m.vars[top])[1], each, nil
}

// Hold is something taken as there, or as not there, in a question.
type Hold struct {
	Items  []*Item
	Family *Family // of exactly these items; else nil
	There  bool    // at any of them; else at none
}

// LogPHeld is LogP with some things held. Of several items without a family only that
// none is there can be held.
func (p *Plain) LogPHeld(ctx context.Context, without map[string]bool, holds ...Hold) (float64, error) {
	for _, h := range holds {
		if h.There && len(h.Items) > 1 && (h.Family == nil || !p.m.has(h.Family.v)) {
			return 0, errors.New("several items are held as there without a family")
		}
	}
	ev, lost := p.m.held(without, holds...)
	lp, err := p.m.m.LogChance(ctx, ev)
	return lp + lost, err
}

// held is the evidence with some things held, and by how much less likely what is not in
// the model makes that, as a logarithm.
func (m *Model) held(without map[string]bool, holds ...Hold) (ev infer.Evidence, lost float64) {
	ev = m.evidence(without)
	for _, h := range holds {
		like := []float64{1, 0}
		if h.There {
			like = []float64{0, 1}
		}
		vars := []int{}
		if h.Family != nil && m.has(h.Family.v) {
			vars = append(vars, h.Family.v)
		} else {
			for _, it := range h.Items {
				vars = append(vars, it.v)
			}
		}
		for _, v := range vars {
			if m.has(v) {
				ev[m.vars[v]] = multiply(orOnes(ev[m.vars[v]]), like)
				continue
			}
			// Nothing bears on it: it is as likely as before.
			chance := m.outside(v)
			if !h.There {
				chance = 1 - chance
			}
			lost += math.Log(chance)
		}
	}
	return ev, lost
}

// logPNone is LogPHeld with none of some items there. Beside all that was found it may be
// told by fewer digits than that.
func (p *Plain) logPNone(ctx context.Context, without map[string]bool, items []*Item) (float64, error) {
	f, err := p.frameOf(ctx, without)
	if f == nil || err != nil {
		return p.LogPHeld(ctx, without, Hold{Items: items})
	}
	ev, lost := p.m.held(without, Hold{Items: items})
	lp, err := f.LogChance(ctx, ev)
	return lp + lost, err
}

// Ruled is the same question with signs taken as looked for and not found.
func (p *Plain) Ruled(unseen ...Unseen) *Plain {
	g := p.g.Without(unseen...)
	return &Plain{g: g, m: &Model{g: g, m: p.m.m, vars: p.m.vars, three: p.m.three, usual: p.m.usual}, joins: p.joins}
}
