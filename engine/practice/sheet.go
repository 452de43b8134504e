package practice

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"strings"

	"tidemark/rules"
)

// Paper is an exercise on paper: all that was found is given at once.
type Paper struct {
	X *Exercise
	// Found is what the strip-down found, by part and name: what the best plan looks
	// at, and some of what else was there to be seen.
	Found []Look
	// Telling are the findings that tell most for what is right, strongest first;
	// nothing where it is open.
	Telling []Missed
	// Traps are causes and steps that were there, show in what was found, and are not
	// to blame.
	Traps []Trap
}

// How much of what a plan does not look at is given beside it, and how many telling
// findings are told.
const (
	besides = 6
	telling = 3
)

// OnPaper makes the paper of an exercise.
func (x *Exercise) OnPaper() Paper {
	p := Paper{X: x}
	have := map[*rules.Sign]bool{}
	add := func(found []Found) {
		have[found[0].Sign] = true
		p.Found = append(p.Found, Look{Sign: found[0].Sign, Found: found})
	}
	for _, f := range x.Told {
		have[f[0].Sign] = true // told with the story
	}
	for _, l := range x.Plan.Looks {
		add(l.Found)
	}
	var more []*rules.Sign
	for _, s := range x.crowd.signs {
		if !have[s] && slices.ContainsFunc(x.found[s], func(f Found) bool { return f.Seen }) {
			more = append(more, s)
		}
	}
	rng := rand.New(rand.NewPCG(x.Seed, 0x7061706572))
	rng.Shuffle(len(more), func(i, j int) { more[i], more[j] = more[j], more[i] })
	for _, s := range more[:min(besides, len(more))] {
		add(x.found[s])
	}
	slices.SortFunc(p.Found, func(a, b Look) int {
		return cmp.Or(strings.Compare(a.Sign.Part.Name, b.Sign.Part.Name), strings.Compare(a.Sign.Name, b.Sign.Name))
	})
	g := NewGame(x)
	g.Looks = append(g.Looks, p.Found...)
	r := &Result{}
	g.traps(r)
	p.Traps = r.Traps
	if x.Open {
		return p
	}
	for _, l := range p.Found {
		if db := x.crowd.strength(x.own, l.Found, x.matches); db > 3 {
			p.Telling = append(p.Telling, Missed{l.Sign, l.Found, db})
		}
	}
	slices.SortStableFunc(p.Telling, func(a, b Missed) int { return cmp.Compare(b.Decibans, a.Decibans) })
	p.Telling = p.Telling[:min(telling, len(p.Telling))]
	return p
}
