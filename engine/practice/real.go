package practice

import (
	"cmp"
	"context"
	"errors"
	"math/rand/v2"
	"slices"

	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// RealCase stands for the level of a game on a real case.
const RealCase Level = "real case"

// Why a case is none to practise on.
var (
	ErrNotClosed  = errors.New("nothing is confirmed of this case, so there is nothing to hold an answer against (write down [confirmed])")
	ErrNoQuestion = errors.New("this case asks nothing, so there is nothing to find out (give it a question)")
	ErrTooRare    = errors.New("what this case asks about comes about too rarely, by the book, in such an engine to be practised on")
)

// What is probably there, acted and to blame stands for the truth of a real case, of
// which nobody knows more.
const probably = 0.5

// Real makes an exercise of a closed case, checked against the book: only what is
// recorded can be asked, and what was confirmed is right. The way that it went is as
// the book reads the whole case.
func Real(ctx context.Context, book *rules.Book, c *evidence.Case) (*Exercise, error) {
	switch {
	case c.Question == "":
		return nil, ErrNoQuestion
	case len(c.Confirmed.Accept) == 0 && !c.Confirmed.Undetermined:
		return nil, ErrNotClosed
	}
	d, err := engine.Diagnose(ctx, book, c, engine.Options{Looks: 1})
	if err != nil {
		return nil, err
	}
	blank := *c
	blank.Findings, blank.Works, blank.Fitted, blank.Readings, blank.Measured, blank.Acts = nil, nil, nil, nil, nil, nil
	rng := rand.New(rand.NewPCG(1, 1))
	cr, err := gather(book, &blank, rng, crowdSize, crowdTries)
	if err != nil {
		if cr, err = gather(book, &blank, rng, crowdSize/5, 2*crowdTries); err != nil {
			return nil, ErrTooRare
		}
	}
	x := &Exercise{Request: Request{Level: RealCase}, Case: &blank, Question: book.Node(c.Question), Open: c.Confirmed.Undetermined, Real: true, book: book, crowd: cr, own: -1, found: map[*rules.Sign][]Found{}}
	x.Truth = Truth{How: Alone, Right: slices.Sorted(slices.Values(c.Confirmed.Accept)), There: []Present{}, Ways: [][]string{}}
	var way []string
	for _, l := range d.Chain {
		if l.ID != c.Question {
			way = append(way, l.ID)
		}
	}
	if len(way) > 0 {
		x.Truth.Ways = append(x.Truth.Ways, way)
	}
	for _, k := range slices.Concat(d.Causes, d.Steps) {
		if n := book.Node(k.ID); n != nil && k.Present >= probably && k.Kind != "family" {
			x.Truth.There = append(x.Truth.There, Present{Node: n, ID: n.ID, Acted: k.Acted >= probably, Blame: k.Blame >= probably})
		}
	}
	x.record(measure.New(book, c).Weighed(c))
	x.Plan = cr.plan(NewGame(x).b, nil, x.found, -1, planSure)
	return x, nil
}

// record takes what a case has of each sign.
func (x *Exercise) record(c *evidence.Case) {
	g := x.crowd.s.Ground()
	view := map[network.View]int{}
	for i, v := range x.crowd.views {
		view[v] = i
	}
	for _, f := range c.All() {
		s := x.book.Sign(f.Sign)
		if s == nil || x.crowd.of[s] == nil || f.State == evidence.Unavailable || f.ReplacedBy != "" {
			continue
		}
		add := func(index int, at string) {
			v, ok := view[network.View{Sign: s, Index: index}]
			if !ok {
				v = -1
			}
			x.found[s] = append(x.found[s], Found{Sign: s, Index: index, At: at, Seen: f.State == evidence.Seen, view: v, from: &f})
		}
		positions := g.Positions(s.Part)
		switch {
		case len(positions) == 1:
			add(positions[0], g.PositionName(s.Part, positions[0]))
		case len(f.At) == 0:
			add(-1, "some "+s.Part.Per.Word())
		}
		if len(positions) == 1 {
			continue
		}
		for _, at := range f.At {
			indexes, err := g.Engine.Resolve(at, s.Part.Per)
			if err != nil || at.Unknown != "" || at.Count > 0 {
				add(-1, at.String())
				continue
			}
			for _, i := range indexes {
				add(i, g.PositionName(s.Part, i))
			}
		}
	}
	for s := range x.found {
		slices.SortStableFunc(x.found[s], func(a, b Found) int { return cmp.Compare(a.Index, b.Index) })
	}
}
