package cli

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/source"
	"tidemark/rules"
)

// A far-off word is not suggested; a slip, or what is called by the same words, is.
func TestSuggestions(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	for id, want := range map[string]string{
		"oil_pikup":          `there is no part "oil_pikup" (did you mean "oil_pickup"?)`,
		"sump":               `there is no part "sump" (did you mean "oil_pan"?)`,
		"injector_tip_burnt": `there is no part "injector_tip_burnt" (did you mean "injector"?)`,
		"carbon_deposits":    `there is no part "carbon_deposits" (tidemark signs WORDS lists what it finds by part)`,
		"turbo_dead":         `there is no part "turbo_dead" (tidemark signs WORDS lists what it finds by part)`,
		"paper":              `there is no part "paper" (tidemark signs WORDS lists what it finds by part)`,
		"horse":              `there is no part "horse" (tidemark signs WORDS lists what it finds by part)`,
	} {
		assert.Equal(t, want, noPart(b, id), id)
	}
	for id, want := range map[string]string{
		"sealant_exces":   `did you mean "sealant_excess"?`,
		"selaant_excess":  `did you mean "sealant_excess"?`,
		"carbon_deposits": "tidemark causes WORDS searches for them",
		"turbo_dead":      "tidemark causes WORDS searches for them",
		"unlistet":        `did you mean "unlisted"?`,
		"maintenence":     `did you mean "maintenance"?`,
		"banana":          "tidemark causes WORDS searches for them",
	} {
		assert.Equal(t, want, suggestClaim(b, id), id)
	}
	assert.Regexp(t, `^tidemark causes crankshaft finds \d+$`, suggestClaim(b, "crankshaft"))
	assert.Equal(t, "", nearest("horse", []string{"bore", "house of cards"}))
	assert.Equal(t, 1, slips("wsah", "wash"))
	assert.Equal(t, 2, slips("wsha", "wash"))
}

// What the screens call a thing at a place is understood.
func TestClaimed(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	for text, want := range map[string]string{
		"rod bearing wiped, rod 3":            "rod_bearing_wiped@rod 3",
		"Rod bearing wiped, no 3 cylinder":    "rod_bearing_wiped@no 3 cylinder",
		"rod_bearing_wiped, cyl 3":            "rod_bearing_wiped@cyl 3",
		"rod bearing wiped @ cylinder 3":      "rod_bearing_wiped@ cylinder 3",
		"Assembly":                            "assembly",
		"nothing of the kind, at all":         "nothing of the kind, at all",
		"too much liquid sealant used, rod 3": "too much liquid sealant used, rod 3",
	} {
		assert.Equal(t, want, claimed(b, text), text)
	}
}
