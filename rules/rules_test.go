package rules

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

var update = flag.Bool("update", false, "write the golden files anew")

// One file with every mistake: all of them are told in one run, each with its
// place and what was probably meant.
func TestMistakes(t *testing.T) {
	text, err := os.ReadFile("../testdata/rules/bad/mistakes.toml")
	require.NoError(t, err)
	var faults source.Faults
	assert.Nil(t, Load(&faults, []Text{{"mistakes.toml", text}}))
	golden := "../testdata/rules/bad/mistakes.golden"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(faults.Error()+"\n"), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), faults.Error()+"\n")
}

func TestEmbeddedBookIsSound(t *testing.T) {
	var faults source.Faults
	b := Load(&faults, Embedded())
	require.NotNil(t, b, faults.Error())
	n := b.Size()
	assert.GreaterOrEqual(t, n.Causes, 60)
	assert.GreaterOrEqual(t, n.Steps, 60)
	assert.GreaterOrEqual(t, n.Signs, 200)
	for _, r := range b.Rules {
		assert.NotEmpty(t, r.Because, r.ID)
		if !r.Is {
			assert.NotEmpty(t, r.Source, r.ID)
		}
	}
	again := Load(&faults, Embedded())
	assert.Equal(t, b.Hash, again.Hash)
	for i := range b.Nodes {
		assert.Equal(t, b.Nodes[i].ID, again.Nodes[i].ID)
	}
}

// A parent stands before its children, so that one pass can follow the chain.
func TestNodesAreInOrder(t *testing.T) {
	var faults source.Faults
	b := Load(&faults, Embedded())
	require.NotNil(t, b)
	at := map[string]int{}
	for i, n := range b.Nodes {
		at[n.ID] = i
	}
	for _, r := range b.Rules {
		if r.To != nil {
			assert.Less(t, at[r.From.ID], at[r.To.ID], r.ID)
		}
	}
}

const base = `
[pack]
id = "base"
title = "Base"
version = "1"
[part.pump]
name = "pump"
[part.rod_bearing]
name = "rod bearing"
per = "rod"
[sign.pump.stiff]
name = "stiff"
look = "Turn it."
[sign.rod_bearing.wiped]
name = "wiped"
look = "Look."
[cause.dirt]
name = "dirt"
category = "maintenance"
base_rate = "rare"
source = "common practice"
leads_to.worn = { how_often = "often", because = "b", source = "common practice" }
[step.worn]
name = "worn"
unlisted = "one in 40"
shows.pump.stiff = { how_often = 0.4, because = "b", source = "common practice" }
shows.rod_bearing.wiped = { how_often = "usually", because = "b", source = "common practice", reach = "first" }
`

func TestLoad(t *testing.T) {
	var faults source.Faults
	b := Load(&faults, []Text{{"base.toml", []byte(base)}})
	require.NotNil(t, b, faults.Error())
	assert.Equal(t, Size{Parts: 2, Signs: 2, Causes: 1, Steps: 1, Rules: 3}, b.Size())
	assert.Equal(t, 0.0025, b.Node("dirt").BaseRate)
	assert.Equal(t, 0.025, b.Node("worn").Unlisted)
	assert.Equal(t, ReachFirst, b.Sign("rod_bearing.wiped").By[0].Reach)
	assert.Equal(t, DefaultSignUnlisted, b.Sign("pump.stiff").Unlisted)
	assert.Equal(t, "worn > pump.stiff", b.Sign("pump.stiff").By[0].ID)
	assert.Equal(t, "base.toml:26:12", b.Sign("pump.stiff").By[0].Pos.String())
}

// A sign may be for some engines only.
func TestSignWhen(t *testing.T) {
	var faults source.Faults
	text := strings.Replace(base, `look = "Turn it."`, "look = \"Turn it.\"\nwhen = \"engine.cylinders > 1\"", 1)
	b := Load(&faults, []Text{{"base.toml", []byte(text)}})
	require.NotNil(t, b, faults.Error())
	assert.Nil(t, b.Sign("rod_bearing.wiped").When)
	when := b.Sign("pump.stiff").When
	for layout, want := range map[string]Truth{"single": No, "inline": Unknown} {
		e := evidence.Engine{Facts: map[string]any{"layout": layout}}
		assert.Equal(t, want, when.Eval(Facts(e, evidence.History{})), layout)
	}
}

// What is told by setting cylinders, rods or mains side by side is not to be seen
// where there is one; even a single has two mains, of which one is the last.
func TestComparisonsNeedMoreThanOne(t *testing.T) {
	var faults source.Faults
	b := Load(&faults, Embedded())
	require.NotNil(t, b, faults.Error())
	compares := regexp.MustCompile(`\b(others|neighbours|other bores)\b`)
	n := 0
	for _, s := range b.Signs {
		if compares.MatchString(s.Name) && s.ID != "main_bearing.last_worn_at_edge" {
			n++
			assert.Equal(t, No, s.When.Eval(map[string]any{"engine.cylinders": 1}), s.ID)
		}
	}
	assert.GreaterOrEqual(t, n, 5)
}

// A later pack replaces an entry only by saying so.
func TestOverlay(t *testing.T) {
	layer := func(extra string) (*Book, string) {
		var faults source.Faults
		text := "[pack]\nid = \"shop\"\ntitle = \"Shop\"\nversion = \"1\"\n[cause.dirt]\nname = \"grit\"\ncategory = \"maintenance\"\nbase_rate = \"common\"\nsource = \"own cases\"\n" +
			"leads_to.worn = { how_often = \"always\", because = \"b\", source = \"own cases\" }\n" + extra
		return Load(&faults, []Text{{"base.toml", []byte(base)}}, []Text{{"shop.toml", []byte(text)}}), faults.Error()
	}
	b, said := layer("")
	assert.Nil(t, b)
	assert.Equal(t, "shop.toml:5:1: cause, step or condition dirt stands already at base.toml:17:1 (say replace = true to replace it)", said)
	b, said = layer("replace = true\n")
	require.NotNil(t, b, said)
	assert.Equal(t, "grit", b.Node("dirt").Name)
	assert.Len(t, b.Node("worn").In, 1)
	assert.Equal(t, 0.98, b.Node("worn").In[0].HowOften)
}

// What is left of base rates at large is said once for the whole book; a later
// layer may say otherwise.
func TestAtLarge(t *testing.T) {
	text := func(id, header, extra string) Text {
		return Text{id + ".toml", []byte("[pack]\nid = \"" + id + "\"\ntitle = \"T\"\nversion = \"1\"\n" + header + "\n" + extra)}
	}
	_, parts, _ := strings.Cut(base, "[part.")
	parts = "[part." + parts
	for _, c := range []struct {
		name   string
		layers [][]Text
		want   float64
		fault  string
	}{
		{"nothing said", [][]Text{{text("a", "", parts)}}, 1, ""},
		{"said", [][]Text{{text("a", "at_large = 0.3", parts)}}, 0.3, ""},
		{"a shop says otherwise", [][]Text{{text("a", "at_large = 0.3", parts)}, {text("b", "at_large = 1", "")}}, 1, ""},
		{"said twice", [][]Text{{text("a", "at_large = 0.3", parts), text("b", "at_large = 0.2", "")}}, 0, "b.toml:5:1: at_large stands already at a.toml:5:1, in the same layer of packs"},
		{"none left", [][]Text{{text("a", "at_large = 0", parts)}}, 0, "a.toml:5:12: at_large is 0, and must be above 0 and at most 1"},
		{"more than there is", [][]Text{{text("a", "at_large = 1.5", parts)}}, 0, "a.toml:5:12: at_large is 1.5, and must be above 0 and at most 1"},
		{"no number", [][]Text{{text("a", `at_large = "few"`, parts)}}, 0, "a.toml:5:1: at_large must be a number"},
	} {
		var faults source.Faults
		b := Load(&faults, c.layers...)
		if c.fault != "" {
			assert.Nil(t, b, c.name)
			assert.Contains(t, faults.Error(), c.fault, c.name)
			continue
		}
		require.NotNil(t, b, faults.Error())
		assert.Equal(t, c.want, b.AtLarge, c.name)
	}
}

// That a cause leads nowhere is not told where its only target is misspelt: the
// one slip is told once.
func TestMisspeltTargetHasNoWake(t *testing.T) {
	told := func(text string) string {
		var faults source.Faults
		assert.Nil(t, Load(&faults, []Text{{"base.toml", []byte(text)}}))
		return faults.Error()
	}
	aside := "[cause.aside]\nname = \"aside\"\ncategory = \"maintenance\"\nbase_rate = \"rare\"\nsource = \"common practice\"\n"
	how := " = { how_often = \"often\", because = \"b\", source = \"common practice\" }\n"
	assert.Equal(t, `base.toml:28:1: cause aside leads to nothing and shows nothing`, told(base+aside))
	assert.Equal(t, `base.toml:33:10: there is no step "wurn" (did you mean "worn"?)`, told(base+aside+"leads_to.wurn"+how))
	assert.Equal(t, `base.toml:33:12: there is no sign "pump.stif" (did you mean "pump.stiff"?)`, told(base+aside+"shows.pump.stif"+how))
	assert.Equal(t, `base.toml:34:10: there is no step "wurn" (did you mean "worn"?)`, told(base+aside+"[more.aside]\nleads_to.wurn"+how))
}

// A fault inside a condition is told at its very letters, also where the
// condition stands in a table in braces or runs over lines.
func TestPlacesInConditions(t *testing.T) {
	var faults source.Faults
	text := strings.ReplaceAll(base, `leads_to.worn = {`, `leads_to.worn = { when = "history.hours > 1 and engine.fule == 'x'",`) +
		"when = '''\nengine.fuel == 'petrol'\nand engine.ful == 'y''''\n"
	assert.Nil(t, Load(&faults, []Text{{"base.toml", []byte(text)}}))
	assert.Equal(t, `base.toml:22:56: the condition does not fit: a case has no fact engine.fule (did you mean "engine.fuel"?)
base.toml:30:12: the condition does not fit: a case has no fact engine.ful (did you mean "engine.fuel"?)`, faults.Error())
}

// Rules stand in the order of the pack, whichever way they are told.
func TestRulesInOrder(t *testing.T) {
	text := base + "is.pump.stiff = { because = \"b\" }\n"
	for range 20 {
		var faults source.Faults
		b := Load(&faults, []Text{{"base.toml", []byte(text)}})
		require.NotNil(t, b, faults.Error())
		var ids []string
		for _, r := range b.Node("worn").Out {
			ids = append(ids, r.ID)
		}
		assert.Equal(t, []string{"worn > pump.stiff", "worn > rod_bearing.wiped", "worn > pump.stiff #2"}, ids)
	}
}

func TestConditions(t *testing.T) {
	for _, tc := range []struct {
		text  string
		facts map[string]any
		want  Truth
	}{
		{"engine.fuel == 'diesel'", map[string]any{"engine.fuel": "diesel"}, Yes},
		{"engine.fuel == 'diesel'", map[string]any{"engine.fuel": "petrol"}, No},
		{"engine.fuel == 'diesel'", nil, Unknown},
		{"engine.fuel == 'diesel' || history.hours > 100", map[string]any{"engine.fuel": "diesel"}, Yes},
		{"engine.fuel == 'diesel' && history.hours > 100", map[string]any{"engine.fuel": "petrol"}, No},
		{"engine.fuel == 'diesel' and history.hours > 100", map[string]any{"engine.fuel": "diesel"}, Unknown},
		{"not (engine.cylinders >= 4)", map[string]any{"engine.cylinders": 3}, Yes},
		{"engine.timing_drive contains 'chain'", map[string]any{"engine.timing_drive": "chain and gears"}, Yes},
		{"engine.use in ['car', 'truck']", map[string]any{"engine.use": "truck"}, Yes},
		{"history.rebuilt", map[string]any{"history.rebuilt": true}, Yes},
		{"history.hours > 100", map[string]any{"history.hours": 100.5}, Yes},
	} {
		c, err := compileCond(tc.text)
		require.Nil(t, err, "%s: %v", tc.text, err)
		assert.Equal(t, tc.want, c.Eval(tc.facts), "%s over %v", tc.text, tc.facts)
	}
	var none *Cond
	assert.Equal(t, Yes, none.Eval(nil))
}

func TestConditionsRefused(t *testing.T) {
	for text, want := range map[string]struct {
		at   int
		hint string
	}{
		"engine.fule == 'diesel'":        {7, `did you mean "engine.fuel"?`},
		"engine.fuel == 'dieesel'":       {15, `did you mean "diesel"?`},
		"engine.cylinders > 'four'":      {17, ""},
		"all([1], {true})":               {0, ""},
		"engine.fuel matches 'd.*'":      {12, ""},
		"engine.fuel ==":                 {13, ""},
		strings.Repeat("(", 5000):        {-1, ""},
		"engine.cylinders in 1..1000000": {21, ""},
		"history.hours":                  {-1, ""},
		`engine["fu" + "el"] == 'x'`:     {0, ""},
	} {
		_, err := compileCond(text)
		require.NotNil(t, err, text)
		assert.Equal(t, want.hint, err.hint, "%s: %s", text, err.message)
		if want.at > 0 {
			assert.InDelta(t, want.at, err.at, 1.5, "%s: %s", text, err.message)
		}
	}
}

func TestShares(t *testing.T) {
	for s, want := range map[string]float64{"one in fifty": 0.02, "one in 8": 0.125, "none": 0, "one in two hundred": 0.005} {
		got, err := share(s)
		require.NoError(t, err)
		assert.Equal(t, want, got, s)
	}
	for _, s := range []string{"often", "two in three", "one in 0", "one in x"} {
		_, err := share(s)
		assert.Error(t, err, s)
	}
}

// The tables of words are in falling order without ties, so that a higher word
// is always a higher number; and the ways of looking cover those of a case.
func TestWordTables(t *testing.T) {
	for _, table := range [][]WordValue{HowOften, BaseRates} {
		for i := 1; i < len(table); i++ {
			assert.Less(t, table[i].Value, table[i-1].Value)
		}
	}
	for _, w := range []evidence.Way{evidence.Eye, evidence.Lens, evidence.Gauge, evidence.CrackTest, evidence.Laboratory, evidence.Paper, evidence.Told} {
		assert.Equal(t, w, Chances(w).Way)
	}
	assert.Equal(t, "often", WordFor(0.7))
}

// Whatever stands in a pack, loading ends in a book or in faults with a place.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(base))
	files, _ := filepath.Glob("../testdata/rules/bad/*.toml")
	for _, file := range files {
		if b, err := os.ReadFile(file); err == nil {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var faults source.Faults
		b := Load(&faults, []Text{{"f.toml", text}})
		if (b == nil) == (faults.Errors() == 0) {
			t.Fatalf("book %v, faults %s", b, faults.Error())
		}
	})
}

// What else people call a thing is kept, held to be texts that stand once, and
// serves to say what was probably meant.
func TestAlso(t *testing.T) {
	with := func(part, sign, more string) (*Book, string) {
		var faults source.Faults
		text := strings.Replace(base, "name = \"pump\"\n", "name = \"pump\"\n"+part+"\n", 1)
		text = strings.Replace(text, "name = \"stiff\"\n", "name = \"stiff\"\n"+sign+"\n", 1)
		b := Load(&faults, []Text{{"base.toml", []byte(text + more)}})
		return b, faults.Error()
	}
	b, said := with(`also = ["oiler", "squirt can"]`, `also = ["tight", "hard to turn"]`, `[sign.pump.light]
name = "light"
look = "Lift it."
[more.worn]
shows.pump.light = { how_often = "often", because = "b", source = "own" }
`)
	require.NotNil(t, b, said)
	assert.Equal(t, []string{"oiler", "squirt can"}, b.Part("pump").Also)
	assert.Equal(t, []string{"tight", "hard to turn"}, b.Sign("pump.stiff").Also)

	// By the very word, by half of an id, by a word misspelt; the nearest id where it is nearer.
	for word, want := range map[string]string{"oiler": "pump", "Squirt_Can": "pump", "squirt_cam": "pump", "pum": "pump", "gearbox": ""} {
		if want != "" {
			want = `did you mean "` + want + `"?`
		}
		assert.Equal(t, want, b.SuggestPart(word), word)
	}
	for word, want := range map[string]string{"oiler.stiff": "pump.stiff", "pump.hard_to_turn": "pump.stiff", "squirt_can.tight": "pump.stiff", "tight": "pump.stiff", "pump.stif": "pump.stiff", "rod_bearing.wipped": "rod_bearing.wiped", "gearbox.howls": "",
		// What people say comes before what is spelt alike.
		"pump.tight": "pump.stiff", "oiler.tight": "pump.stiff", "pump.lite": "pump.light"} {
		if want != "" {
			want = `did you mean "` + want + `"?`
		}
		assert.Equal(t, want, b.SuggestSign(word), word)
	}
	_, said = with("", "", "[cause.rag]\nname = \"rag\"\ncategory = \"assembly\"\nbase_rate = \"rare\"\nsource = \"own\"\nshows.oiler.stiff = { how_often = \"often\", because = \"b\", source = \"own\" }\n")
	assert.Contains(t, said, `there is no sign "oiler.stiff"`)
	assert.NotContains(t, said, "pump.stiff", "nobody calls it so here")
	_, said = with(`also = ["oiler"]`, "", "[cause.rag]\nname = \"rag\"\ncategory = \"assembly\"\nbase_rate = \"rare\"\nsource = \"own\"\nshows.oiler.stiff = { how_often = \"often\", because = \"b\", source = \"own\" }\n")
	assert.Contains(t, said, `there is no sign "oiler.stiff" (did you mean "pump.stiff"?)`)

	b, said = with(`also = ["oiler", "", "OILER", "Pump", 3]`, `also = 4`, "")
	assert.Nil(t, b)
	assert.Equal(t, `base.toml:8:18: also holds an empty text
base.toml:8:22: also holds "OILER" twice
base.toml:8:31: also holds "Pump", which is its name
base.toml:8:39: also must be a list of texts, and holds the number 3
base.toml:14:1: also must be a text or a list of texts, and is the number 4`, said)
}
