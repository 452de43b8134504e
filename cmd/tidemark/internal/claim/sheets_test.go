package claim

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"tidemark/engine"
)

// A photo sheet asks for nothing that no photograph shows.
func TestPhotoSheetIsOfWhatCanBeSeen(t *testing.T) {
	in := inputOf(t, "case.toml", strings.Replace(benchCase, "[finding.F02]", `[finding.F04]
sign = "oil.iron_high"
state = "seen"
by = "laboratory"

[finding.F05]
sign = "oil_filter.bearing_metal"
state = "seen"
by = "laboratory"

[finding.F02]`, 1))
	d := *in.Diagnosis
	d.Next = nil
	for _, id := range []string{"oil.iron_high", "oil.metal_by_laboratory", "rod.lap_by_laboratory", "owner_story.noise_before", "oil.iron_rising", "oil_pan.sealant_strings", "rod_bolt.necked"} {
		s := book().Sign(id)
		d.Next = append(d.Next, engine.Look{Sign: id, Name: s.Title(), Ask: s.Look})
	}
	in.Diagnosis = &d
	m := newBuilder(in)
	said := text(&Report{Sections: m.photoSheet()})
	for _, never := range []string{"iron", "aboratory", "noise", "tells of", "F05"} {
		assert.NotContains(t, said, never)
	}
	assert.Contains(t, said, "Oil pan: strings or crumbs of sealant")
	assert.Contains(t, said, "Rod bolts: drawn to a neck")
	assert.Contains(t, said, "F03 rod bearing")
	d.Next = d.Next[:3]
	assert.Contains(t, text(&Report{Sections: newBuilder(in).photoSheet()}), "Nothing that a photograph would show")
}
