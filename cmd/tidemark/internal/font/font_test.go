package font

import (
	"testing"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFonts(t *testing.T) {
	for _, ttf := range [][]byte{dejavusanscondensed.TTF, dejavusanscondensedbold.TTF} {
		f, err := parse(ttf)
		require.NoError(t, err)
		for _, r := range "aЖאﺏئ→±≤●☐" {
			assert.True(t, f.Has(r), "%c", r)
		}
		assert.False(t, f.Has('中'))
		assert.Greater(t, f.Width("mm", 10), 1.5*f.Width("il", 10))
	}
}

// A page's font is small, has the scripts that the page uses, and is the same each
// time.
func TestWOFF(t *testing.T) {
	latin := Regular().WOFF("abc")
	assert.Equal(t, latin, Regular().WOFF("cba"))
	more := Regular().WOFF("abc שלום Привет سلام")
	assert.Greater(t, len(more), len(latin)+5000)
	assert.Less(t, len(more), 250_000)
	assert.Equal(t, "wOFF", string(latin[:4]))
}

// A damaged font is refused and breaks nothing.
func FuzzParse(f *testing.F) {
	f.Add(dejavusanscondensed.TTF[:4000])
	f.Fuzz(func(t *testing.T, ttf []byte) {
		if x, err := parse(ttf); err == nil {
			x.WOFF("abc")
		}
	})
}
