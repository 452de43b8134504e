package evidence

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"tidemark/evidence/source"
)

// A finding told over and over is told once for each, not for each pair.
func TestToldOverAndOver(t *testing.T) {
	var text strings.Builder
	text.WriteString("[case]\n[engine]\nfuel = \"diesel\"\ncycle = \"four-stroke\"\ncooling = \"liquid\"\nlayout = \"inline\"\ncylinders = 4\n")
	for i := range 40 {
		fmt.Fprintf(&text, "[finding.F%02d]\nsign = \"oil_pan.sludge\"\nstate = \"seen\"\n", i+1)
	}
	text.WriteString("[finding.F99]\nsign = \"oil_pan.sludge\"\nstate = \"not found\"\n")
	var faults source.Faults
	_, ok := Parse("t.toml", []byte(text.String()), &faults)
	assert.False(t, ok)
	assert.Len(t, faults.List(), 40)
	assert.Contains(t, faults.Error(), "F40 tells again what F01 (line 8) tells")
	assert.Contains(t, faults.Error(), "F99 says that oil_pan.sludge is not found, and F01 (line 8) says seen")
}
