package engine

import (
	"math"
	"math/bits"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/rules"
)

const argued = "F1 seen bearing.wiped @ rod 3\nF2 seen screen.clogged\nF3 not screen.strings\nF4 seen pan.sludge\nF5 seen ring.clogged"

func argue(t *testing.T, b *rules.Book, findings, of, over string, question ...string) *Argument {
	t.Helper()
	a, err := Argue(t.Context(), b, shortCase(t, append(question, "seized")[0], findings), of, over, Options{})
	require.NoError(t, err)
	sum := 0.0
	for _, p := range a.Points {
		sum += p.Share
	}
	if len(a.Silent) == 0 {
		assert.InDelta(t, a.Result-a.Base, sum, 1e-6)
	} else {
		assert.InDelta(t, a.Result-a.Base, sum, 0.3*float64(len(a.Silent)))
	}
	return a
}

// only keeps the findings of a short case that are named.
func only(findings string, keep func(id string) bool) string {
	var out []string
	for _, l := range strings.Split(findings, "\n") {
		if id, _, _ := strings.Cut(l, " "); keep(id) {
			out = append(out, l)
		}
	}
	return strings.Join(out, "\n")
}

// Alone and last are what comes of working the case out again without the others, and
// without the finding.
func TestArgumentByRunningAgain(t *testing.T) {
	b := smallBook(t, "")
	for _, of := range []string{"overdue", "sealant", "blocked", "bolt_loose", "bolt_loose@rod 3", "maintenance", "unlisted"} {
		value := func(findings string) float64 {
			w := begun(t, b, "seized", findings)
			h, err := w.claim(of)
			require.NoError(t, err)
			if byBlame(h) {
				return decibans(h.Blame)
			}
			return decibans(w.presentIn(w.post, h))
		}
		a := argue(t, b, argued, of, "")
		assert.InDelta(t, value(argued), a.Result, 1e-6, of)
		assert.InDelta(t, value(""), a.Base, 1e-6, of)
		for _, p := range a.Points {
			assert.InDelta(t, value(argued)-value(only(argued, func(id string) bool { return id != p.Finding })), p.Last, 1e-6, "%s %s", of, p.Finding)
			assert.InDelta(t, value(only(argued, func(id string) bool { return id == p.Finding }))-value(""), p.Alone, 1e-6, "%s %s", of, p.Finding)
		}
	}
}

// The contrast is the odds of one without the other; how likely both are follows as well
// from what is there if one of them is.
func TestContrastOfTwo(t *testing.T) {
	b := smallBook(t, "")
	a := argue(t, b, argued, "sealant", "overdue")
	w := begun(t, b, "seized", argued)
	x, y := w.g.Item("sealant", 0), w.g.Item("overdue", 0)
	given, err := w.plain.Given(t.Context(), nil, x)
	require.NoError(t, err)
	both := w.post.Item(x) * given.Item(y)
	assert.InDelta(t, both, a.Both, 1e-9)
	assert.InDelta(t, 10*math.Log10((w.post.Item(x)-both)/(w.post.Item(y)-both)), a.Result, 1e-6)
	assert.Equal(t, "contrast", a.Scale)
	// What both would show as often tells nothing; the telling ones stand each for its
	// own.
	for _, p := range a.Points {
		switch p.Finding {
		case "F3":
			assert.Negative(t, p.Share, "strings not found speak against the sealant")
			require.NotEmpty(t, p.How)
			assert.Equal(t, "sealant > screen.strings", p.How[len(p.How)-1].Rule)
		case "F4":
			assert.Negative(t, p.Share)
			assert.Equal(t, "overdue > pan.sludge", p.How[len(p.How)-1].Rule)
		}
	}
	assert.Subset(t, []string{"F3", "F4", "F2"}, []string{a.Points[0].Finding, a.Points[1].Finding})
	// The other way round it is the same with the sign changed.
	r := argue(t, b, argued, "overdue", "sealant")
	assert.InDelta(t, -a.Result, r.Result, 1e-9)
	require.NotEmpty(t, a.Looks)
	assert.Equal(t, "paper.overdue", a.Looks[0].Sign)
	assert.Negative(t, a.Looks[0].Seen)
	assert.Positive(t, a.Looks[0].NotFound)
}

// What a look would weigh between two is what the finding weighs once it is made.
func TestTellingLookByRunningAgain(t *testing.T) {
	clearEyes(t)
	b := smallBook(t, "")
	findings := "F1 seen bearing.wiped @ rod 3\nF2 seen screen.clogged"
	a := argue(t, b, findings, "sealant", "overdue")
	require.NotEmpty(t, a.Looks)
	for _, l := range a.Looks {
		by := ""
		if l.Sign == "paper.overdue" {
			by = ` ; by = "paper"`
		}
		seen := argue(t, b, findings+"\nF9 seen "+l.Sign+by, "sealant", "overdue")
		not := argue(t, b, findings+"\nF9 not "+l.Sign+by, "sealant", "overdue")
		if math.Abs(seen.Result) < 89 { // of what settles it only the bound is told
			assert.InDelta(t, seen.Result-a.Result, l.Seen, 1e-6, l.Sign)
		}
		if math.Abs(not.Result) < 89 {
			assert.InDelta(t, not.Result-a.Result, l.NotFound, 1e-6, l.Sign)
		}
	}
	one := argue(t, b, findings, "sealant", "")
	for _, l := range one.Looks {
		by := ""
		if l.Sign == "paper.overdue" {
			by = ` ; by = "paper"`
		}
		seen := argue(t, b, findings+"\nF9 seen "+l.Sign+by, "sealant", "")
		assert.InDelta(t, seen.Result-one.Result, l.Seen, 1e-5, l.Sign)
	}
}

func TestArgumentShowsTheWay(t *testing.T) {
	a := argue(t, smallBook(t, ""), argued, "sealant", "")
	var way []string
	for _, r := range a.Way {
		way = append(way, r.Rule)
		assert.NotEmpty(t, r.Because)
	}
	assert.Equal(t, []string{"sealant > blocked", "blocked > starved", "starved > wiped", "wiped > seized"}, way)
	for _, p := range a.Points {
		if p.Finding == "F4" { // sludge is of something else
			assert.Equal(t, "overdue", p.Instead)
			assert.Negative(t, p.Share)
		}
	}
}

func TestClaimsThatCannotBeArgued(t *testing.T) {
	b := smallBook(t, "")
	for _, c := range []struct{ of, over, want string }{
		{"sealan", "", "there is no cause, step or kind of cause"},
		{"seized", "", "what the case asks about"},
		{"sealant@rod 3", "", "has no places of its own"},
		{"bolt_loose@rod 9", "", "its places are rod 1, rod 2, rod 3 and rod 4"},
		{"sealant", "sealant", "both are the same"},
		{"sealant", "blocked", "no rivals"},
		{"blocked", "sealant", "no rivals"},
		{"bolt_loose", "bolt_loose@rod 3", "a place of the other"},
		{"design", "", "no design cause"},
	} {
		_, err := Argue(t.Context(), b, shortCase(t, "seized", argued), c.of, c.over, Options{})
		require.ErrorContains(t, err, c.want, "%s over %s", c.of, c.over)
		assert.True(t, IsClaim(err))
	}
	_, err := Argue(t.Context(), b, shortCase(t, "", argued), "unlisted", "", Options{})
	require.ErrorContains(t, err, "nothing is asked")
	_, err = Argue(t.Context(), b, shortCase(t, "", argued), "assembly", "", Options{})
	require.ErrorContains(t, err, "nothing is asked")
}

// The share of a finding stands near its Shapley value (Shapley 1953): the mean of what
// it adds over all orders in which the findings could have come, by all subsets.
func TestSharesNearShapley(t *testing.T) {
	b := smallBook(t, "")
	for _, c := range []struct{ findings, of string }{
		{argued, "sealant"},
		{"F1 seen bearing.wiped @ rod 3\nF2 seen screen.strings\nF3 not pan.sludge\nF4 seen bearing.blue @ rod 3", "sealant"},
		{"F1 seen bearing.wiped @ rod 3\nF2 seen pan.sludge\nF3 seen ring.clogged\nF4 not bearing.blue @ rod 1\nF5 not screen.strings", "overdue"},
		{"F1 seen bearing.wiped @ rod 3\nF2 not screen.clogged\nF3 not pan.sludge\nF4 seen bearing.blue @ rod 3", "bolt_loose"},
	} {
		a := argue(t, b, c.findings, c.of, "")
		findings := c.findings
		var ids []string
		for _, l := range strings.Split(findings, "\n") {
			id, _, _ := strings.Cut(l, " ")
			ids = append(ids, id)
		}
		n := len(ids)
		value := make([]float64, 1<<n)
		for mask := range value {
			w := begun(t, b, "seized", only(findings, func(id string) bool {
				for i, x := range ids {
					if x == id {
						return mask>>i&1 == 1
					}
				}
				return false
			}))
			h, err := w.claim(c.of)
			require.NoError(t, err)
			value[mask] = decibans(w.presentIn(w.post, h))
		}
		for i, id := range ids {
			shapley := 0.0
			for mask := range value {
				if mask>>i&1 == 1 {
					continue
				}
				// Orders in which just these come before: k! (n-1-k)! of n!.
				k := bits.OnesCount(uint(mask))
				weight := 1.0 / float64(n)
				for x := 1; x <= k; x++ {
					weight *= float64(x) / float64(n-x)
				}
				shapley += weight * (value[mask|1<<i] - value[mask])
			}
			got := 0.0
			for _, p := range a.Points {
				if p.Finding == id {
					got = p.Share
				}
			}
			assert.InDelta(t, shapley, got, 1.5, "%s of %s in %q", id, c.of, findings)
		}
	}
}
