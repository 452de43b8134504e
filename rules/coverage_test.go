package rules

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
	assert.Equal(t, Coverage{NoExample: []string{"thin"}, Untried: []string{"p.b"}, FewSigns: []string{"thin"}, NothingAgainst: []string{"thin"}, NoLookAlike: []string{"thin"}, NoOutcome: []string{"thin"}}, Cover(b))
	assert.Empty(t, faults.List())

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
