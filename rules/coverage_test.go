package rules

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

func TestCoverage(t *testing.T) {
	load := func(text string) (*Book, source.Faults) {
		var faults source.Faults
		return Load(&faults, []Text{{"base.toml", []byte(text)}}), faults
	}
	const book = `
[pack]
id = "base"
title = "x"
version = "1"
[part.p]
name = "p"
[sign.p.a]
name = "a"
look = "a?"
[sign.p.b]
name = "b"
look = "b?"
[sign.p.c]
name = "c"
look = "c?"
[cause.whole]
name = "whole"
category = "operation"
base_rate = 0.1
source = "common practice"
leads_to.end = { how_often = 0.5, because = "x", source = "y" }
shows.p.a = { how_often = 0.9, because = "x", source = "y" }
look_alikes = { thin = "by a" }
[cause.thin]
name = "thin"
category = "operation"
base_rate = 0.1
source = "common practice"
shows.p.b = { how_often = 0.2, because = "x", source = "y" }
[step.end]
name = "end"
outcome = true
shows.p.c = { how_often = 0.9, because = "x", source = "y" }
[example.e]
title = "e"
question = "end"
engine = { fuel = "diesel", cycle = "four-stroke", cooling = "liquid", layout = "inline", cylinders = 4 }
seen = ["p.a"]
not_found = ["p.c"]
leads = ["whole"]
`
	b, faults := load(book)
	require.NotNil(t, b, faults.Error())
	assert.Equal(t, Coverage{NoExample: []string{"thin"}, Untried: []string{"p.b"}, FewSigns: []string{"thin"}, NothingAgainst: []string{"thin"}, NoLookAlike: []string{"thin"}, NoOutcome: []string{"thin"}, UnusedRules: []string{"thin > p.b"}}, Cover(b))
	assert.Empty(t, faults.List())

	// What tells two look-alikes apart: a sign that the one shows far more often, be it
	// only by what follows from it.
	alike := func(more string) []string {
		b, faults := load(book + "[cause.twin]\nname = \"twin\"\ncategory = \"operation\"\nbase_rate = 0.1\nsource = \"x\"\nlook_alikes = { whole = \"all\" }\nleads_to.end = { how_often = 0.5, because = \"x\", source = \"y\" }\n" + more)
		require.NotNil(t, b, faults.Error())
		return Cover(b).NotToldApart
	}
	assert.Empty(t, alike(""), "whole shows a, which twin does not")
	assert.Equal(t, []string{"twin ~ whole"}, alike("shows.p.a = { how_often = 0.3, because = \"x\", source = \"y\" }\n"))
	assert.Empty(t, alike("shows.p.a = { how_often = 0.2, because = \"x\", source = \"y\" }\n"))
	assert.Empty(t, alike("shows.p.a = { how_often = 0.9, because = \"x\", source = \"y\" }\nshows.p.b = { how_often = 0.3, because = \"x\", source = \"y\" }\n"))

	// A circumstance that is certain once it is given and outweighs all the rest.
	drowning := func(pass string) []string {
		b, faults := load(book + "[condition.old]\nname = \"old\"\nbase_rate = 0.2\ngiven = \"history.hours > 1000\"\nleads_to.end = { how_often = " + pass + ", because = \"x\", source = \"y\" }\n")
		require.NotNil(t, b, faults.Error())
		return Cover(b).Drowned
	}
	assert.Empty(t, drowning("0.19"), "whole brings it about in 5 of 100")
	assert.Equal(t, []string{"end < old"}, drowning("0.21"))

	// A rule between causes and steps is tried where it lies on a way from what must
	// lead, or must not, to the question.
	more := "[step.between]\nname = \"between\"\nleads_to.end = { how_often = 0.5, because = \"x\", source = \"y\" }\n[more.thin]\nleads_to.between = { how_often = 0.5, because = \"x\", source = \"y\" }\n"
	b, faults = load(book + more)
	require.NotNil(t, b, faults.Error())
	assert.Equal(t, []string{"between > end", "thin > between", "thin > p.b"}, Cover(b).UnusedRules)
	b, faults = load(strings.Replace(book, "leads = [\"whole\"]", "leads = [\"whole\"]\nnot_leads = [\"thin\"]", 1) + more)
	require.NotNil(t, b, faults.Error())
	assert.Equal(t, []string{"thin > p.b"}, Cover(b).UnusedRules)

	// The same rule twice is told; where the two hold in different engines it is not.
	twice := func(whens ...string) string {
		text := book + "[more.whole]\nshows.p.b = [\n"
		for _, w := range whens {
			text += `  { how_often = 0.4, because = "x", source = "y"` + w + " },\n"
		}
		return text + "]\n"
	}
	_, faults = load(twice(``, ``))
	assert.Contains(t, faults.Error(), "warning: whole > p.b stands twice")
	_, faults = load(twice(`, when = "engine.cylinders > 1"`, `, when = "engine.cylinders == 1"`))
	assert.Empty(t, faults.List())
}

// What goes without saying for an aircraft engine of such a layout does not ask for
// belts; what the case says goes before it.
func TestUsual(t *testing.T) {
	facts := func(e map[string]any) map[string]any {
		return Facts(evidence.Engine{Facts: e}, evidence.History{})
	}
	assert.Equal(t, "gears", facts(map[string]any{"use": "aircraft", "layout": "opposed"})["engine.timing_drive"])
	assert.Equal(t, 0, facts(map[string]any{"use": "aircraft", "layout": "radial"})["engine.balance_shafts"])
	assert.Equal(t, "belt", facts(map[string]any{"use": "aircraft", "layout": "opposed", "timing_drive": "belt"})["engine.timing_drive"])
	assert.Nil(t, facts(map[string]any{"use": "aircraft", "layout": "inline"})["engine.timing_drive"])
	assert.Nil(t, facts(map[string]any{"use": "car", "layout": "opposed"})["engine.timing_drive"])
}
