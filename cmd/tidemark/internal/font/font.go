// Package font reads the embedded fonts: which letters they have, and a small
// font of only those that a page uses.
package font

import (
	"encoding/binary"
	"fmt"
	"sync"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
)

// Font is a TrueType font.
type Font struct {
	TTF    []byte
	tables map[string][]byte
	glyph  map[rune]int
	wide   []int // of each glyph, in units of the font
	em     int   // units of the font in one size of letters
}

// Regular and Bold are the fonts of all documents.
var (
	Regular = sync.OnceValue(func() *Font { return must(dejavusanscondensed.TTF) })
	Bold    = sync.OnceValue(func() *Font { return must(dejavusanscondensedbold.TTF) })
)

// must is for the fonts that are compiled in; a test reads both.
func must(ttf []byte) *Font {
	f, err := parse(ttf)
	if err != nil {
		return &Font{TTF: ttf, tables: map[string][]byte{}, glyph: map[rune]int{}}
	}
	return f
}

// Has tells whether the font has a letter.
func (f *Font) Has(r rune) bool { return f.glyph[r] != 0 }

func parse(ttf []byte) (*Font, error) {
	f := &Font{TTF: ttf, tables: map[string][]byte{}, glyph: map[rune]int{}}
	if len(ttf) < 12 {
		return nil, fmt.Errorf("a font of %d bytes", len(ttf))
	}
	n := int(binary.BigEndian.Uint16(ttf[4:]))
	for i := range n {
		at := 12 + 16*i
		if at+16 > len(ttf) {
			return nil, fmt.Errorf("the list of tables is cut off")
		}
		from, size := int(binary.BigEndian.Uint32(ttf[at+8:])), int(binary.BigEndian.Uint32(ttf[at+12:]))
		if from > len(ttf) || size > len(ttf)-from {
			return nil, fmt.Errorf("table %q lies beyond the end", ttf[at:at+4])
		}
		f.tables[string(ttf[at:at+4])] = ttf[from : from+size]
	}
	if err := f.readMap(); err != nil {
		return nil, err
	}
	return f, f.readWidths()
}

func u16(b []byte, at int) int {
	if at < 0 || at+2 > len(b) {
		return 0
	}
	return int(binary.BigEndian.Uint16(b[at:]))
}

// readWidths reads how wide each glyph is.
func (f *Font) readWidths() error {
	f.em = u16(f.tables["head"], 18)
	given, all := u16(f.tables["hhea"], 34), u16(f.tables["maxp"], 4)
	if f.em == 0 || given == 0 || given > all {
		return fmt.Errorf("the font does not say how wide its letters are")
	}
	f.wide = make([]int, all)
	for g := range all {
		f.wide[g] = u16(f.tables["hmtx"], 4*min(g, given-1))
	}
	return nil
}

// Width is how wide a text is in letters of a size, in the unit of that size.
func (f *Font) Width(text string, size float64) float64 {
	if f.em == 0 {
		return 0.6 * size * float64(len(text))
	}
	n := 0
	for _, r := range text {
		n += f.wide[f.glyph[r]]
	}
	return float64(n) * size / float64(f.em)
}

// readMap reads the table of letters: format 4, for Windows and Unicode's first
// plane.
func (f *Font) readMap() error {
	t := f.tables["cmap"]
	for i := range u16(t, 2) {
		at := 4 + 8*i
		if at+8 > len(t) || u16(t, at) != 3 || u16(t, at+2) != 1 {
			continue
		}
		from := int(binary.BigEndian.Uint32(t[at+4:]))
		if from > len(t) || u16(t[from:], 0) != 4 {
			continue
		}
		s := t[from:]
		segments := u16(s, 6) / 2
		for k := range segments {
			end, start := u16(s, 14+2*k), u16(s, 16+2*segments+2*k)
			delta, at := u16(s, 16+4*segments+2*k), 16+6*segments+2*k
			offset := u16(s, at)
			for c := start; c <= end && c < 0xffff; c++ {
				g := c
				if offset != 0 {
					if g = u16(s, at+offset+2*(c-start)); g == 0 {
						continue
					}
				}
				if g = (g + delta) & 0xffff; g != 0 {
					f.glyph[rune(c)] = g
				}
			}
		}
		return nil
	}
	return fmt.Errorf("the font has no table of letters that can be read")
}
