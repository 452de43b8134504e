package network

import (
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// entangled grounds a case that is too entangled to be worked out as it stands.
func entangled(t *testing.T, file string) *Plain {
	t.Helper()
	var faults source.Faults
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	c, ok := evidence.Parse(file, text, &faults)
	require.True(t, ok, faults.Error())
	g := New(book, c)
	g.Observe(c)
	require.NoError(t, g.Ask(c.Question, c.At))
	p, err := g.Plain(t.Context())
	require.NoError(t, err)
	require.False(t, p.Exact())
	return p
}

// anew is the same ground, of which every question is asked of a model of its own.
func (g *Ground) anew() *Ground {
	n := *g
	n.frame, n.foreseen = nil, nil
	n.coarse = like(g.coarse, (*Ground).anew)
	if g.wide != nil {
		n.wide = g.wide.anew()
	}
	return &n
}

// TestFramesTellWhatModelsTell holds what is told by frames against questions to models of
// their own: of what is under test, of variants, and of what there is with findings left out.
func TestFramesTellWhatModelsTell(t *testing.T) {
	const near, blurred = 1e-7, 1e-5
	ctx := t.Context()
	for _, file := range []string{"../../cmd/tidemark/internal/cli/demo.toml", "../../testdata/published/P054.toml"} {
		p := entangled(t, file)
		g := p.g
		own := g.anew()
		post, err := p.Posterior(ctx, nil)
		require.NoError(t, err)
		some := g.Observed[len(g.Observed)/2].Finding
		rule := g.vars[g.outcome].edges[0].rule
		variants := []struct {
			name      string
			one, same *Ground
		}{
			{"as it is", g, own},
			{"a finding less", g.Variant(map[string]bool{some: true}), own.Variant(map[string]bool{some: true})},
		}
		changes := []*rules.Rule{rule, g.Observed[0].explain[0].rule}
		for _, o := range g.Observed {
			if !o.Seen && len(o.explain) > 1 {
				changes = append(changes, o.explain[1].rule)
				break
			}
		}
		for _, r := range changes {
			if r != nil {
				change := Change{r, r.HowOften / 2}
				variants = append(variants, struct {
					name      string
					one, same *Ground
				}{r.ID + " changed", g.Variant(nil, change), own.Variant(nil, change)})
			}
		}
		asked := 0
		for i, it := range g.Items {
			if x := post.Item(it); x < 0.02 || i%7 != 0 {
				continue
			}
			for _, v := range variants {
				for _, md := range []mode{blame, acted} {
					test := Test{Items: []*Item{it}}
					told, fits, err := v.one.level(ctx, md, test, math.Inf(1))
					require.NoError(t, err)
					require.True(t, fits)
					want, _, err := v.same.level(ctx, md, test, math.Inf(1))
					require.NoError(t, err)
					require.InDelta(t, want, told, near, "%s %s %s", file, v.name, it.ID())
					asked++
				}
			}
		}
		require.Greater(t, asked, 30)

		// Of what is there, by findings; and of families that have no variable.
		bare := &Plain{g: g, m: &Model{g: g, m: p.m.m, vars: p.m.vars, three: p.m.three}}
		var families []*Family
		for _, f := range g.Families {
			if !p.m.has(f.v) && post.Family(f) > 0.05 && post.Family(f) < 0.95 && len(families) < 2 {
				families = append(families, f)
			}
		}
		require.NotEmpty(t, families)
		items := g.Items[:40:40]
		for _, f := range families {
			items = append(items, f.Items...)
		}
		for i, o := range g.Observed {
			others := g.found()
			delete(others, o.Finding)
			for _, without := range []map[string]bool{{o.Finding: true}, others} {
				if i%4 != 0 {
					continue
				}
				few := items[len(items)-3:]
				some, err := p.About(ctx, without, few, nil)
				require.NoError(t, err)
				more, err := p.About(ctx, without, items, nil)
				require.NoError(t, err)
				told, err := p.About(ctx, without, items, families)
				require.NoError(t, err)
				want, err := bare.About(ctx, without, items, families)
				require.NoError(t, err)
				require.InDelta(t, want.LogP, told.LogP, blurred, o.Finding)
				for _, it := range items {
					require.InDelta(t, want.Item(it), told.Item(it), blurred, "%s %s", o.Finding, it.ID())
					require.InDelta(t, want.Item(it), more.Item(it), blurred, "%s %s", o.Finding, it.ID())
				}
				for _, f := range families {
					require.InDelta(t, want.Family(f), told.Family(f), blurred, "%s %s", o.Finding, f.Node.ID)
				}
				for _, it := range few {
					require.InDelta(t, want.Item(it), some.Item(it), blurred, "%s %s", o.Finding, it.ID())
				}
				lp, err := p.LogP(ctx, without)
				require.NoError(t, err)
				require.InDelta(t, want.LogP, lp, blurred, o.Finding)
			}
		}
		for _, f := range families {
			told, err := p.AnyOf(ctx, nil, f, post)
			require.NoError(t, err)
			want, err := bare.AnyOf(ctx, nil, f, post)
			require.NoError(t, err)
			require.InDelta(t, want, told, near, f.Node.ID)
		}
	}
}

// TestForeseenSketches holds that a sketch made with the ways of all candidates tells no less
// than one with those of its own.
func TestForeseenSketches(t *testing.T) {
	p := entangled(t, "../../cmd/tidemark/internal/cli/demo.toml")
	g := p.g
	i, err := g.sketching(t.Context())
	require.NoError(t, err)
	require.GreaterOrEqual(t, i, 0)
	sketch, err := g.coarse[i].get(t.Context())
	require.NoError(t, err)
	var tests []Test
	for _, it := range g.Items {
		if g.runs(Test{Items: []*Item{it}}) {
			tests = append(tests, Test{Items: []*Item{it}})
		}
	}
	require.NoError(t, g.Foresee(t.Context(), tests[:60]))
	require.NotNil(t, g.foreseen)
	brought := 0
	for _, test := range tests[:60] {
		require.True(t, g.foreseen.runs(test))
		if !sketch.runs(test) {
			brought++
		}
	}
	require.Greater(t, brought, 5)
	require.Nil(t, g.Variant(nil).foreseen)
}
