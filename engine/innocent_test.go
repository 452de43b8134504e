package engine

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A book with what takes two things at once: worn slack, and running on with the rattle.
const together = `
[part.chain]
name = "chain"
[part.cover]
name = "cover"
[sign.chain.long]
name = "long"
look = "Long?"
[sign.paper.rattled_on]
name = "ran on with a rattle"
look = "Read it."
[sign.chain.jumped]
name = "jumped"
look = "Marks off?"
[sign.cover.rubbed]
name = "rubbed"
look = "Rubbed?"
[cause.slack]
name = "chain slack"
category = "operation"
base_rate = "common"
source = "common practice"
is.chain.long = { because = "x" }
shows.cover.rubbed = { how_often = "often", because = "x", source = "common practice" }
[cause.rattled_on]
name = "run on with the rattle"
category = "operation"
base_rate = "common"
source = "common practice"
is.paper.rattled_on = { because = "x" }
[step.jumped]
name = "chain jumped"
unlisted = "one in a hundred"
needs = [ { all = ["slack", "rattled_on"], how_often = "usually", because = "both", source = "common practice" } ]
shows.chain.jumped = { how_often = "almost always", because = "x", source = "common practice" }
leads_to.seized = { how_often = "usually", because = "x", source = "common practice" }
[cause.painted]
name = "painted over"
category = "maintenance"
base_rate = "common"
source = "common practice"
is.cover.painted = { because = "x" }
[sign.cover.painted]
name = "painted"
look = "Paint?"
`

// What takes several things at once names all of them, on the chain and on a way.
func TestAllThatWasNeededIsNamed(t *testing.T) {
	b := smallBook(t, together)
	const found = "F1 seen chain.long\nF2 seen paper.rattled_on ; by = \"paper\"\nF3 seen chain.jumped"
	d := diagnose(t, b, "seized", found)
	ids := chainIDs(d)
	i := 0
	for k, id := range ids {
		if id == "jumped" {
			i = k
		}
	}
	require.Positive(t, i, ids)
	require.Len(t, d.Chain[i].With, 1)
	both := []string{d.Chain[i-1].ID, d.Chain[i].With[0].ID}
	assert.ElementsMatch(t, []string{"slack", "rattled_on"}, both)
	assert.InDelta(t, at(t, d, d.Chain[i].With[0].ID, "").Acted, d.Chain[i].With[0].Acted, 1e-9)
	for k, l := range d.Chain {
		if k != i {
			assert.Empty(t, l.With, l.ID)
		}
	}
	a := argue(t, b, found, "slack", "")
	require.NotEmpty(t, a.Way)
	assert.Equal(t, []string{"rattled_on"}, a.Way[0].With)
	assert.Empty(t, a.Way[1].With)
	assert.Nil(t, a.Innocent, "what is to blame is no bystander")
}

// Why a bystander is not to blame: what is missing on its way, and which findings say so;
// what its way came about by instead; or what would have done it anyway.
func TestWhyNotToBlame(t *testing.T) {
	b := smallBook(t, together)
	in := argue(t, b, "F1 seen ring.clogged\nF2 not bearing.wiped @ all", "ring_carbon", "").Innocent
	require.NotNil(t, in)
	require.NotNil(t, in.Missing)
	assert.Equal(t, "starved", in.Missing.ID)
	assert.Less(t, in.Missing.Present, bystands)
	require.NotEmpty(t, in.Missing.Says)
	assert.Equal(t, Says{"F2", "bearing: wiped", "all", "not_found"}, in.Missing.Says[0])
	assert.False(t, in.Missing.Beside)

	in = argue(t, b, "F1 seen ring.clogged\nF2 seen screen.clogged\nF3 seen bearing.wiped @ rod 3", "ring_carbon", "").Innocent
	require.NotNil(t, in)
	assert.Nil(t, in.Missing)
	require.NotNil(t, in.Otherwise)
	assert.Equal(t, "starved", in.Otherwise.ID)
	require.NotNil(t, in.Otherwise.By)
	assert.Equal(t, "blocked", in.Otherwise.By.ID)

	// What it needs beside itself is not there, and a paper says so.
	in = argue(t, b, "F1 seen chain.long\nF2 not paper.rattled_on ; by = \"paper\"", "slack", "").Innocent
	require.NotNil(t, in)
	require.NotNil(t, in.Missing)
	assert.Equal(t, "rattled_on", in.Missing.ID)
	assert.True(t, in.Missing.Beside)
	require.NotEmpty(t, in.Missing.Says)
	assert.Equal(t, "F2", in.Missing.Says[0].Finding)

	in = argue(t, b, "F1 seen cover.painted", "painted", "").Innocent
	require.NotNil(t, in)
	assert.True(t, in.Unrelated)

	in = argue(t, thrownBook(t), "F1 seen tank.plug_gone\nF2 seen tank.cock_open", "plug_lost", "", "stopped").Innocent
	require.NotNil(t, in)
	require.NotNil(t, in.Anyway)
	assert.Equal(t, "cock_left_open", in.Anyway.ID)
	assert.Greater(t, in.Anyway.Both, ProbableAt)

	// What is not there, and what is to blame, needs no excuse.
	assert.Nil(t, argue(t, b, "F1 not ring.clogged", "ring_carbon", "").Innocent)
	assert.Nil(t, argue(t, thrownBook(t), "F1 seen tank.plug_gone\nF2 not tank.cock_open", "plug_lost", "", "stopped").Innocent)
}

// A place is taken as people write it.
func TestPlacesOfClaims(t *testing.T) {
	b := smallBook(t, "")
	c := shortCase(t, "seized", "F1 seen bearing.wiped @ rod 3")
	for _, text := range []string{"rod 2", "Rod 2", "rod2", "cyl 2", "cyl2", "cylinder 2", "cyl. 2", "no 2 cylinder", "No. 2 rod", "number 2 cylinder", "#2", "2", "2nd cylinder", "rod no 2", "big end 2", "cylinder #2", "no. 2", "con rod number 2"} {
		a, err := Argue(t.Context(), b, c, "bolt_loose @ "+text, "", Options{})
		if assert.NoError(t, err, text) {
			assert.Equal(t, "rod 2", a.Of.At, text)
		}
	}
	for text, want := range map[string]string{
		"rod 9":     `bolt_loose is not at "rod 9"; its places are rod 1, rod 2, rod 3 and rod 4`,
		"elsewhere": `bolt_loose is not at "elsewhere"`,
		"rods 1, 2": "more than one place",
		"all":       "more than one place",
		"?a":        "more than one place",
		"2/upper":   `told of a whole rod and not of a place on it: leave out "/ upper"`,
	} {
		_, err := Argue(t.Context(), b, c, "bolt_loose@"+text, "", Options{})
		assert.ErrorContains(t, err, want, text)
		assert.True(t, IsClaim(err), text)
	}
	_, err := Argue(t.Context(), b, c, "sealant@rod 2", "", Options{})
	assert.ErrorContains(t, err, `sealant has no places of its own: leave out "rod 2"`)
}

// Where nothing is named, the chain begins at the farthest that has probably acted, and
// not at what comes nearest.
func TestOpenChainBeginsFar(t *testing.T) {
	more := `
[step.rubbed]
name = "rubbed"
unlisted = "none"
leads_to.seized = { how_often = 0.2, because = "x", source = "common practice" }
shows.pan.shavings = { how_often = "usually", because = "x", source = "common practice" }
[sign.pan.shavings]
name = "shavings"
look = "Shavings?"
unlisted = 0.001
`
	for i := range 20 {
		id := string(rune('a' + i))
		for _, to := range []string{"starved", "rubbed"} {
			more += "[cause." + id + "_" + to + "]\nname = \"" + id + "\"\ncategory = \"operation\"\nbase_rate = 0.01\nsource = \"common practice\"\nleads_to." + to + ` = { how_often = "often", because = "x", source = "common practice" }` + "\n"
		}
	}
	d := diagnose(t, smallBook(t, more), "seized", "F1 seen pan.shavings\nF2 seen bearing.wiped @ rod 3 ; sure = \"doubtful\"")
	require.Equal(t, Undetermined, d.Verdict.Standing)
	require.Equal(t, "wiped", d.Verdict.Nearest.ID, "or the test shows nothing")
	assert.GreaterOrEqual(t, at(t, d, "starved", "").Acted, ProbableAt)
	assert.Equal(t, []string{"starved", "wiped", "seized"}, chainIDs(d))
}

// What is named has a chain, even where the most probable account goes another way.
func TestNamedHasAChain(t *testing.T) {
	d := diagnose(t, smallBook(t, `
[step.first]
name = "first"
leads_to.second = { how_often = 0.95, because = "x", source = "common practice" }
shows.pan.shavings = { how_often = "usually", because = "x", source = "common practice" }
[step.second]
name = "second"
leads_to.seized = { how_often = 0.2, because = "x", source = "common practice" }
[sign.pan.shavings]
name = "shavings"
look = "Shavings?"
unlisted = 0.001
[cause.a]
name = "a"
category = "assembly"
base_rate = "common"
source = "common practice"
leads_to.first = { how_often = "often", because = "x", source = "common practice" }
`), "seized", "F1 seen pan.shavings\nF2 seen bearing.wiped @ rod 3")
	require.NotEmpty(t, d.Verdict.Names)
	assert.NotContains(t, d.Explanation.There, "starved", "or the test shows nothing")
	assert.Equal(t, []string{"starved", "wiped", "seized"}, chainIDs(d))
}

// However little blame falls on each, some causes are told that may lie behind what is
// named.
func TestBehindNamesSome(t *testing.T) {
	more := ""
	for i := range 40 {
		id := string(rune('a'+i/10)) + string(rune('0'+i%10))
		more += "[cause." + id + "]\nname = \"" + id + "\"\ncategory = \"operation\"\nbase_rate = 0.02\nsource = \"common practice\"\nleads_to.worn" + ` = { how_often = "often", because = "x", source = "common practice" }` + "\n"
	}
	d := diagnose(t, smallBook(t, more+`
[step.worn]
name = "worn"
unlisted = "one in ten"
leads_to.seized = { how_often = "usually", because = "x", source = "common practice" }
is.pan.shavings = { because = "x" }
[sign.pan.shavings]
name = "shavings"
look = "Shavings?"
unlisted = 0
`), "seized", "F1 seen pan.shavings\nF2 not bearing.wiped @ all\nF3 not screen.clogged")
	require.Len(t, d.Verdict.Names, 1)
	require.Equal(t, "worn", d.Verdict.Names[0].ID)
	causes := 0
	for _, c := range d.Verdict.Behind {
		if c.Kind != "unlisted" {
			causes++
			assert.Less(t, c.Blame, 0.03, "or the test shows nothing")
		}
	}
	assert.Equal(t, behindAtLeast, causes)
}
