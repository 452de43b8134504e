package network

import (
	"context"
	"slices"
	"sync"

	"tidemark/engine/infer"
)

// frame is the plain model of a ground, worked out once, from which its three-level models
// are made by what they differ in: most differ in little.
type frame struct {
	of    *Ground
	mutex sync.Mutex
	made  bool
	m     *Model
	f     *infer.Frame
	kept  []int // the variables that the model has
	above []bool
	alone []bool
}

// get makes the frame when it is first asked for.
func (f *frame) get(ctx context.Context) error {
	g := f.of
	f.mutex.Lock()
	defer f.mutex.Unlock()
	if f.made {
		return nil
	}
	m, err := g.build(plain, Test{}, nil)
	if err != nil {
		return err
	}
	inner, err := m.m.Frame(ctx, g.Budget+forBlame, m.evidence(nil), m.vars[g.outcome])
	if err != nil {
		return err
	}
	f.m, f.f, f.above = m, inner, g.above()
	f.alone = g.merge(g.ancestors(nil))
	for i := range g.vars {
		if m.has(i) {
			f.kept = append(f.kept, i)
		}
	}
	f.made = true
	return nil
}

// ask is three-level inference in the frame's ground, or in one that differs from it in some
// findings or in how often rules work; ok is false if nothing runs from what is under test to
// the outcome.
func (f *frame) ask(ctx context.Context, g *Ground, md mode, t Test, room float64) (p []float64, ok, fits bool, err error) {
	if err := f.get(ctx); err != nil {
		return nil, false, false, err
	}
	b := newBuilder(g, md, t)
	b.alone = f.alone
	b.levelled(f.above, f.kept)
	if !b.three[g.outcome] {
		return nil, false, true, nil
	}
	states := make([]int, f.m.m.Len())
	for _, i := range f.kept {
		if b.three[i] {
			states[f.m.vars[i]] = b.states(i)
		}
	}
	if !f.f.Within(room, states) {
		return nil, true, false, nil
	}
	ib := f.m.m.Edit()
	for _, i := range f.kept {
		if b.differs(i) || g.altered[i] {
			ib.Replace(f.m.vars[i])
			b.variable(ib, f.m, i)
		}
	}
	m, err := ib.Build()
	if err != nil {
		return nil, false, false, err
	}
	now := &Model{g: g, vars: f.m.vars, three: b.three}
	p, fits, err = f.f.Ask(ctx, m, now.evidence(nil), room)
	return p, true, fits, err
}

// differs tells whether a variable is another than in the plain model: it has three levels,
// or hears of what has, or of what is under test.
func (b *builder) differs(i int) bool {
	if b.three[i] {
		return true
	}
	for k, e := range b.edges(i) {
		if (b.three[e.from] || b.test[e.from]) && !b.g.thin.rule(i, k) {
			return true
		}
	}
	return false
}

// usual is a plain model, worked out once with all that was found and once with nothing:
// most questions to it leave out a finding or two, or all but one or two.
type usual struct {
	of        *Model
	findings  int // how many there are
	mutex     sync.Mutex
	all, none *infer.Frame
	// bare is what is there with nothing found, of the variables that were asked for last.
	bare  *infer.Posterior
	asked []infer.Var
}

// often makes a model keep its usual questions.
func (p *Plain) often() {
	if p.g.thin.any() {
		p.m.usual = &usual{of: p.m, findings: len(p.g.found())}
	}
}

// frame is one of the two frames, made when it is first asked for.
func (u *usual) frame(ctx context.Context, all bool) (*infer.Frame, error) {
	u.mutex.Lock()
	defer u.mutex.Unlock()
	at := &u.none
	if all {
		at = &u.all
	}
	if *at != nil {
		return *at, nil
	}
	m, query := u.of, (&Plain{g: u.of.g, m: u.of}).query()
	ev := m.evidence(nil)
	if !all {
		ev = m.evidence(m.g.found())
		// What can show a finding is to have a variable of its own.
		for _, o := range m.g.Observed {
			for _, e := range m.g.vars[o.v].edges {
				if m.has(e.from) {
					query = append(query, m.vars[e.from])
				}
			}
		}
		slices.Sort(query)
		query = slices.Compact(query)
	}
	// More than twice what all findings take is not worth it.
	f, err := m.m.Frame(ctx, m.m.Guided()+1, ev, query...)
	if err == nil {
		*at = f
	}
	return f, err
}

// found are all findings.
func (g *Ground) found() map[string]bool {
	all := map[string]bool{}
	for _, o := range g.Observed {
		all[o.Finding] = true
	}
	return all
}

// few tells whether hardly anything of what was found is left.
func (p *Plain) few(without map[string]bool) bool {
	return 2*len(without) > p.m.usual.findings
}

// frameOf is the frame of all findings, if most of them count.
func (p *Plain) frameOf(ctx context.Context, without map[string]bool) (*infer.Frame, error) {
	if p.m.usual == nil || p.few(without) {
		return nil, nil
	}
	return p.m.usual.frame(ctx, true)
}

// infer asks for some variables, with findings left out.
func (p *Plain) infer(ctx context.Context, without map[string]bool, ev infer.Evidence, query []infer.Var) (*infer.Posterior, error) {
	if p.m.usual != nil {
		if p.few(without) {
			if post, err := p.fromNone(ctx, without, query); post != nil || err != nil {
				return post, err
			}
			return p.m.m.Infer(ctx, ev, query...)
		}
		f, err := p.frameOf(ctx, without)
		if err != nil {
			return nil, err
		}
		return f.Infer(ctx, ev, query...)
	}
	return p.m.m.Infer(ctx, ev, query...)
}

// atOnce is of how many findings at most, seen or doubted, what follows from them is told
// by what would follow from their not being found; with each there are twice as many terms.
const atOnce = 2

// fromNone infers from a few findings by the frame of none. That a sign was not found is a
// product over what would show it, which leaves the structure of the problem as it is; and
// that it was seen is all there is less that. It returns nothing where that does not serve.
func (p *Plain) fromNone(ctx context.Context, without map[string]bool, query []infer.Var) (*infer.Posterior, error) {
	g := p.g
	if len(g.unseen) > 0 {
		return nil, nil
	}
	var found []Observation
	terms := 1
	for _, o := range g.Observed {
		if without[o.Finding] {
			continue
		}
		if g.vars[o.v].kind != gate || len(o.like) != 2 {
			return nil, nil
		}
		found = append(found, o)
		if o.like[1] > 0 {
			terms *= 2
		}
	}
	if terms > 1<<atOnce {
		return nil, nil
	}
	f, err := p.m.usual.frame(ctx, false)
	if err != nil {
		return nil, err
	}
	var factors []float64
	var parts []*infer.Posterior
	for mask := range 1 << len(found) { // which of them are not found
		factor, ev := 1.0, p.m.evidence(g.found())
		for i, o := range found {
			if mask>>i&1 == 0 {
				factor *= o.like[1]
				continue
			}
			factor *= (o.like[0] - o.like[1]) * p.m.unshown(ev, o.v)
		}
		if factor == 0 {
			continue
		}
		part, err := p.m.usual.part(ctx, f, ev, query, mask == 0)
		if err != nil {
			return nil, nil // so much is impossible
		}
		factors, parts = append(factors, factor), append(parts, part)
	}
	post, ok := infer.Sum(factors, parts)
	if !ok || post.Rounding > blurred {
		return nil, nil
	}
	return post, nil
}

// blurred is up to which bound on the rounding a difference is taken: what rounding really
// does is a hundredth of it, beside an error of a few in a hundred by what is left out.
const blurred = 1e-3

// part infers from signs that were not found, or from none of them.
func (u *usual) part(ctx context.Context, f *infer.Frame, ev infer.Evidence, query []infer.Var, none bool) (*infer.Posterior, error) {
	if !none {
		return f.Infer(ctx, ev, query...)
	}
	u.mutex.Lock()
	defer u.mutex.Unlock()
	if u.bare != nil && slices.Equal(u.asked, query) {
		return u.bare, nil
	}
	post, err := f.Infer(ctx, ev, query...)
	if err == nil {
		u.bare, u.asked = post, slices.Clone(query)
	}
	return post, err
}

// unshown adds to the evidence that a sign is not found, and returns how likely that is
// where nothing of the model shows it.
func (m *Model) unshown(ev infer.Evidence, sign int) float64 {
	v := &m.g.vars[sign]
	for _, e := range v.edges {
		x := m.vars[e.from]
		like := make([]float64, m.m.States(x))
		for s := range like {
			like[s] = 1 - e.pass
		}
		like[0] = 1
		ev[x] = multiply(ev[x], like)
	}
	return 1 - v.leak
}
