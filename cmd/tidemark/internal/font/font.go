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
	return f, f.readMap()
}

// readMap reads the table of letters: format 4, for Windows and Unicode's first
// plane.
func (f *Font) readMap() error {
	t := f.tables["cmap"]
	u16 := func(b []byte, at int) int {
		if at < 0 || at+2 > len(b) {
			return 0
		}
		return int(binary.BigEndian.Uint16(b[at:]))
	}
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
