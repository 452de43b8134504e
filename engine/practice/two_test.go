package practice

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// A machine in which two causes meet in every way: at a step that needs both, by ways of
// their own, and on one way for two.
const meeting = `
[pack]
id = "m"
title = "Machine"
version = "1"
[part.box]
name = "box"
[sign.box.a]
name = "mark a"
look = "Is it there?"
minutes = 2
unlisted = 0.01
[sign.box.b]
name = "mark b"
look = "Is it there?"
minutes = 5
unlisted = 0.01
[sign.box.c]
name = "mark c"
look = "Is it there?"
minutes = 3
unlisted = 0.01
[sign.box.d]
name = "mark d"
look = "Is it there?"
minutes = 9
unlisted = 0.01
[sign.box.u]
name = "mark u"
look = "Is it there?"
minutes = 4
unlisted = 0.01
[sign.box.t]
name = "mark t"
look = "Is it there?"
minutes = 4
unlisted = 0.01
[cause.a]
name = "cause a"
category = "operation"
base_rate = 0.3
source = "common practice"
leads_to.s = { how_often = 0.5, because = "So it is.", source = "common practice" }
leads_to.o = { how_often = 0.2, because = "So it is.", source = "common practice" }
shows.box.a = { how_often = 0.95, because = "So it is.", source = "common practice" }
[cause.b]
name = "cause b"
per = "cylinder"
category = "operation"
base_rate = 0.5
source = "common practice"
leads_to.s = { how_often = 0.8, because = "So it is.", source = "common practice" }
shows.box.b = { how_often = 0.9, because = "So it is.", source = "common practice" }
[cause.c]
name = "cause c"
category = "operation"
base_rate = 0.1
source = "common practice"
leads_to.t = { how_often = 0.6, because = "So it is.", source = "common practice" }
shows.box.c = { how_often = 0.95, because = "So it is.", source = "common practice" }
[cause.d]
name = "cause d"
category = "operation"
base_rate = 0.25
source = "common practice"
leads_to.t = { how_often = 0.1, because = "So it is.", source = "common practice" }
shows.box.d = { how_often = 0.95, because = "So it is.", source = "common practice" }
[step.s]
name = "step s"
unlisted = "none"
[step.t]
name = "step t"
unlisted = "none"
leads_to.o = { how_often = 0.7, because = "So it is.", source = "common practice" }
shows.box.t = { how_often = 0.95, because = "So it is.", source = "common practice" }
[step.u]
name = "step u"
unlisted = "none"
needs = { all = ["s", "d"], how_often = 0.8, because = "So it is.", source = "common practice" }
leads_to.o = { how_often = 0.9, because = "So it is.", source = "common practice" }
shows.box.u = { how_often = 0.95, because = "So it is.", source = "common practice" }
[step.o]
name = "machine stopped"
outcome = true
unlisted = "none"
`

// enumerated goes through all chance events of that machine: by how it stood, and which
// causes were there and right, the chance that it stopped so. It is written down here
// once more, from the text above.
func enumerated() map[string]float64 {
	// Of cause b there may be one at either of two cylinders, at one of them or both in 0.5.
	each := 1 - math.Sqrt(0.5)
	chance := []float64{0.3, each, 0.1, 0.25, 0.5, 0.2, 0.8, 0.6, 0.1, 0.7, 0.8, 0.9, each, 0.8}
	out := map[string]float64{}
	for bits := range 1 << len(chance) {
		p := 1.0
		on := func(i int) bool { return bits>>i&1 == 1 }
		for i, c := range chance {
			if on(i) {
				p *= c
			} else {
				p *= 1 - c
			}
		}
		is := func(i int) bool { return on(i) || i == 1 && on(12) }
		stops := func(without ...int) bool {
			there := func(i int) bool { return is(i) && !slices.Contains(without, i) }
			s := there(0) && on(4) || there(1) && (on(1) && on(6) || on(12) && on(13))
			t := there(2) && on(7) || there(3) && on(8)
			u := s && there(3) && on(10)
			return there(0) && on(5) || t && on(9) || u && on(11)
		}
		if !stops() {
			continue
		}
		names := "abcd"
		there, right, how := "", "", ""
		for i := range 4 {
			if is(i) {
				there += names[i : i+1]
				if i == 1 && on(1) && on(12) {
					there += "b" // twice
				}
				if !stops(i) {
					right += names[i : i+1]
				}
			}
		}
		switch len(right) {
		case 0:
			how = EitherDid
			in := map[int]bool{}
			for i := range 4 {
				for j := range i {
					if is(i) && is(j) && !stops(i, j) {
						in[i], in[j] = true, true
					}
				}
			}
			for i := range 4 {
				if in[i] {
					right += names[i : i+1]
				}
			}
			if len(right) != 2 {
				how = "more" // of which any one or some would have done
			}
		case 1:
			how = Alone
		default:
			how = BothNeeded
		}
		out[how+" "+there+" "+right] += p
	}
	return out
}

// Worlds drawn with two causes are as frequent as the enumeration of all chance events
// has them among those that stand so (chi-square over all that was there and right, size 1
// in 10000 each), and their chance is told rightly.
func TestTwosAgreeWithEnumeration(t *testing.T) {
	b := smallBook(t, meeting)
	p, _ := profile("motorcycle")
	rng := rand.New(rand.NewPCG(11, 1))
	c, err := p.blank(rng, "o")
	require.NoError(t, err)
	none, err := noCrowd(b, c)
	require.NoError(t, err)
	all := enumerated()
	for _, how := range []string{BothNeeded, EitherDid} {
		const n = 4000
		whole := 0.0
		for key, p := range all {
			if strings.HasPrefix(key, how) {
				whole += p
			}
		}
		d := newTwos(none.s, how)
		counts := map[string]int{}
		for _, x := range d.some(rng, n, 1e7) {
			var there []string
			for _, q := range x.truth.There {
				if q.Node.Kind == rules.Cause {
					there = append(there, q.ID)
					if len(q.At) == 2 {
						there = append(there, q.ID)
					}
				}
			}
			slices.Sort(there)
			key := how + " " + strings.Join(there, "") + " " + strings.Join(x.truth.Right, "")
			require.Contains(t, all, key)
			counts[key]++
		}
		sum, cells := 0.0, 0
		for key, p := range all {
			if e := n * p / whole; strings.HasPrefix(key, how) && e >= 5 {
				sum += (float64(counts[key]) - e) * (float64(counts[key]) - e) / e
				cells++
			}
		}
		require.Greater(t, cells, 3)
		// As a normal deviate (Wilson and Hilferty, The distribution of chi-square, 1931).
		k := float64(cells - 1)
		z := (math.Cbrt(sum/k) - (1 - 2/(9*k))) / math.Sqrt(2/(9*k))
		assert.Less(t, z, 3.72, "%s: %d cells, %v", how, cells, counts)
		assert.InDelta(t, whole, d.chance(), 5*whole/math.Sqrt(n), how)
		t.Logf("%s: %d cells, %.2f standard deviations out; chance %.5f, %.5f by enumeration", how, cells, z, d.chance(), whole)
	}
}

// In a crowd of a master's exercises each sort has a third, and each answer of it what the
// enumeration has, also where worlds with two causes are drawn for it.
func TestMasterCrowdAgreesWithEnumeration(t *testing.T) {
	b := smallBook(t, meeting)
	p, _ := profile("motorcycle")
	rng := rand.New(rand.NewPCG(12, 1))
	c, err := p.blank(rng, "o")
	require.NoError(t, err)
	m, err := gatherMaster(b, c, rng)
	require.NoError(t, err)
	require.Equal(t, masterSorts, m.sorts)
	want, sorts, whole := map[string]float64{}, map[string]float64{}, 0.0
	for key, p := range enumerated() {
		f := strings.Split(key, " ")
		right := strings.Join(strings.Split(f[len(f)-1], ""), " ")
		how := strings.Join(f[:len(f)-2], " ")
		if how != BothNeeded && how != EitherDid {
			how = "other"
			right = ""
		}
		want[how+" "+right] += p
		sorts[how] += p
		whole += p
	}
	// A third are all worlds, and a third each those of a sort.
	for key, p := range want {
		want[key] = p / whole / 3
		for _, how := range []string{BothNeeded, EitherDid} {
			if strings.HasPrefix(key, how) {
				want[key] += p / sorts[how] / 3
			}
		}
	}
	x := m.twos[BothNeeded][0]
	for _, cr := range []*crowd{m.crowd(rng, nil, Truth{}), m.crowd(rng, x.world, x.truth, x.a, x.b)} {
		for key, p := range want {
			got := cr.share(cr.prior, func(t *Truth) bool { return t.key() == key || key == "other " && !t.two() })
			// 150 worlds stand for a third: 0.041 of the whole is one deviation of half of it.
			assert.InDelta(t, p, got, 0.055, key)
		}
	}
}

// The answers of causes together: right where just these stood so, and scored by the bit
// like any other; saying what one believes pays best (TestScoreIsProper is of the score
// that all answers have). What is said of causes together takes the place of what was said
// of one of them.
func TestGuessTogether(t *testing.T) {
	b := smallBook(t, meeting)
	var x *Exercise
	for seed := range uint64(60) {
		y, err := Draw(t.Context(), b, Request{Seed: seed, Level: Master, Engine: "motorcycle"})
		if err == nil && y.Truth.How == BothNeeded && !y.Open {
			x = y
			break
		}
	}
	require.NotNil(t, x, "none comes up")
	right := []*rules.Node{b.Node(x.Truth.Right[0]), b.Node(x.Truth.Right[1])}
	score := func(play func(g *Game)) *Result {
		g := NewGame(x)
		play(g)
		r, err := g.Score(t.Context())
		require.NoError(t, err)
		return r
	}
	r := score(func(g *Game) {
		g.Guess(right[0], 0.4)
		g.GuessTogether(BothNeeded, []*rules.Node{right[1], right[0]}, 0.7)
	})
	require.Len(t, r.Guesses, 1, "one thing known counts once")
	assert.True(t, r.Guesses[0].Right)
	// By hand: the share of this pair among both needed, of which a third is; and among all
	// that may be, of which another third is drawn as not to be determined.
	var pair, all, whole float64
	for key, p := range enumerated() {
		whole += p
		if strings.HasPrefix(key, BothNeeded) {
			all += p
			if strings.HasSuffix(key, " "+strings.Join(x.Truth.Right, "")) {
				pair += p
			}
		}
	}
	base := (pair/all + pair/whole) / 3
	assert.InDelta(t, base, r.Guesses[0].Base, 0.04)
	assert.InDelta(t, math.Log2(0.7/r.Guesses[0].Base), r.Bits, 1e-9)
	// The chain may be drawn from either; the cause that it leaves out is put before it.
	for _, way := range x.Truth.Ways {
		r = score(func(g *Game) {
			g.GuessTogether(BothNeeded, right, 0.7)
			g.Chain = way
		})
		assert.Equal(t, 1.0, r.Chain, way)
		r = score(func(g *Game) {
			g.GuessTogether(BothNeeded, right, 0.7)
			g.Chain = way[1:]
		})
		assert.Equal(t, 1.0, r.Chain, way)
	}
	r = score(func(g *Game) { g.GuessTogether(EitherDid, right, 0.7) })
	assert.False(t, r.Guesses[0].Right)
	assert.InDelta(t, math.Log2(0.3/(1-r.Guesses[0].Base)), r.Bits, 1e-9)
	r = score(func(g *Game) {
		g.GuessTogether(BothNeeded, right, 0.7)
		g.Guess(right[1], 0.6)
		g.Guess(nil, 0.2)
	})
	require.Len(t, r.Guesses, 2)
	assert.True(t, r.Guesses[0].Right)
	assert.Equal(t, right[1].ID, r.Guesses[0].Cause())
	assert.InDelta(t, 1.0/3, r.Guesses[1].Base, 1e-9)
	assert.InDelta(t, math.Log2(0.8/(2.0/3)), r.Guesses[1].Bits, 1e-9)
}

// On the built-in book each of a master's sorts comes up in twelve seeds, and no engine
// has to be asked for; what is right is told of what was there and took part.
func TestMasterSortsOfTheBook(t *testing.T) {
	if testing.Short() {
		t.Skip("draws twelve exercises from the whole book")
	}
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	counts, none := map[string]int{}, 0
	for seed := range uint64(12) {
		x, err := Draw(t.Context(), b, Request{Seed: seed, Level: Master})
		if errors.Is(err, ErrNoDraw) {
			none++
			continue
		}
		require.NoError(t, err, "seed %d", seed)
		counts[x.sort]++
		if x.Open {
			assert.Less(t, x.Reckoned, OpenBelow)
			continue
		}
		assert.Equal(t, x.sort, x.Truth.How)
		assert.GreaterOrEqual(t, x.Reckoned, SolvableAt)
		for _, id := range x.Truth.Right {
			assert.True(t, slices.ContainsFunc(x.Truth.There, func(p Present) bool {
				return p.ID == id && p.Acted && p.Blame == (x.sort == BothNeeded)
			}), id)
		}
	}
	for _, sort := range masterSorts {
		assert.Positive(t, counts[sort], "%s: %v", sort, counts)
	}
	assert.LessOrEqual(t, none, 2, "seeds of which nothing comes")
	t.Log(counts)
}

// A study card sends nobody to look for what reports tell without saying what was seen.
func TestCompareLeavesVagueSignsOut(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	vague := 0
	for _, s := range b.Signs {
		if !s.Vague {
			continue
		}
		for _, r := range s.By {
			if vague++; vague > 12 {
				return
			}
			c, err := Compare(b, r.From, b.Node("oil_overdue"), "")
			if errors.Is(err, ErrNoEngine) {
				continue
			}
			require.NoError(t, err)
			for _, l := range slices.Concat(c.ForA, c.ForB, c.Both) {
				assert.False(t, l.Sign.Vague, l.Sign.ID)
			}
		}
	}
	assert.Positive(t, vague)
}

// The plan's looks against exact ones: on small machines, at each step of plans, the look
// taken tells nearly as much a minute, by the model, as any other would.
func TestPlanNearExact(t *testing.T) {
	for name, text := range map[string]string{"pump": small, "machine": meeting} {
		b := smallBook(t, text)
		steps, lost := 0, 0.0
		for seed := range uint64(6) {
			x, err := Draw(t.Context(), b, Request{Seed: seed, Level: Apprentice, Engine: "tractor"})
			require.NoError(t, err)
			looks := slices.Clone(x.Told)
			for _, l := range x.Plan.Looks {
				c, _ := noted(x.Case, looks)
				next, err := engine.NextLooks(t.Context(), b, c, engine.LookOptions{Options: engine.Options{Looks: 30}})
				require.NoError(t, err)
				best, own := 0.0, 0.0
				for _, n := range next.Looks {
					rate := n.Bits / n.Minutes
					best = max(best, rate)
					if n.Sign == l.Sign.ID {
						own = rate
					}
				}
				if best > 0 {
					steps++
					lost += 1 - own/best
				}
				looks = append(looks, l.Found)
			}
		}
		require.Greater(t, steps, 5, name)
		assert.Less(t, lost/float64(steps), 0.15, "%s: of what the best look tells a minute, so much is lost on average", name)
		t.Logf("%s: %d looks, %.3f of the best lost on average", name, steps, lost/float64(steps))
	}
}
