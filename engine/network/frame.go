package network

import (
	"context"
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
	inner, err := m.m.Frame(ctx, m.evidence(nil), m.vars[g.outcome])
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

// usual is a plain model with all that was found, worked out once: most questions to it
// leave out a finding or two, or hold something besides.
type usual struct {
	of    *Model
	mutex sync.Mutex
	f     *infer.Frame
}

// often makes a model keep its usual question.
func (p *Plain) often() {
	if p.g.thin.any() {
		p.m.usual = &usual{of: p.m}
	}
}

// frameOf is the frame of the usual question, if this one is near enough to it: more is
// found out sooner by what bears on the few findings there are.
func (p *Plain) frameOf(ctx context.Context, without map[string]bool) (*infer.Frame, error) {
	u := p.m.usual
	if u == nil || 2*len(without) > len(u.of.g.Observed) {
		return nil, nil
	}
	u.mutex.Lock()
	defer u.mutex.Unlock()
	if u.f == nil {
		f, err := u.of.m.Frame(ctx, u.of.evidence(nil), (&Plain{g: u.of.g, m: u.of}).query()...)
		if err != nil {
			return nil, err
		}
		u.f = f
	}
	return u.f, nil
}

// infer asks for some variables, with findings left out.
func (p *Plain) infer(ctx context.Context, without map[string]bool, ev infer.Evidence, query []infer.Var) (*infer.Posterior, error) {
	f, err := p.frameOf(ctx, without)
	switch {
	case err != nil:
		return nil, err
	case f != nil:
		return f.Infer(ctx, ev, query...)
	}
	return p.m.m.Infer(ctx, ev, query...)
}
