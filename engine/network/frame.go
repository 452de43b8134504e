package network

import (
	"context"
	"sync"

	"tidemark/engine/infer"
)

// frame is the plain model of a ground, worked out once, from which its three-level models
// are made by what they differ in: most differ in little.
type frame struct {
	mutex sync.Mutex
	made  bool
	m     *Model
	f     *infer.Frame
	kept  []int // the variables that the model has
	above []bool
	alone []bool
}

// get makes the frame when it is first asked for.
func (f *frame) get(ctx context.Context, g *Ground) error {
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

// asks is three-level inference by a frame; ok is false if nothing runs from what is under
// test to the outcome.
func (f *frame) ask(ctx context.Context, g *Ground, md mode, t Test, room float64) (p []float64, ok, fits bool, err error) {
	if err := f.get(ctx, g); err != nil {
		return nil, false, false, err
	}
	b := newBuilder(g, md, t)
	b.alone = f.alone
	b.levelled(f.above, f.kept)
	if !b.three[g.outcome] {
		return nil, false, true, nil
	}
	ib := f.m.m.Edit()
	for _, i := range f.kept {
		if b.differs(i) {
			ib.Replace(f.m.vars[i])
			b.variable(ib, f.m, i)
		}
	}
	m, err := ib.Build()
	if err != nil {
		return nil, false, false, err
	}
	p, fits, err = f.f.Ask(ctx, m, []float64{0, 1, 1}, room)
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
