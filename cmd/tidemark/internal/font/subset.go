package font

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"slices"
	"unicode"
)

// blocks are the letters that go into a page's font together, where it uses any of
// them: so that a name typed into a form later is not in another face, and that
// joined Arabic letters have their forms.
var blocks = [][][2]rune{
	{{0x20, 0x17f}, {0x2000, 0x206f}, {0x20a0, 0x20bf}, {0x2190, 0x21ff}, {0x2200, 0x226f}, {0x25a0, 0x25ff}, {0x2713, 0x2717}, {0xfffd, 0xfffd}},
	{{0x180, 0x24f}, {0x300, 0x36f}, {0x1e00, 0x1eff}},
	{{0x370, 0x3ff}, {0x1f00, 0x1fff}},
	{{0x400, 0x52f}},
	{{0x590, 0x5ff}, {0xfb1d, 0xfb4f}},
	{{0x600, 0x6ff}, {0x750, 0x77f}, {0xfb50, 0xfdff}, {0xfe70, 0xfeff}},
}

// WOFF is a web font (WOFF 1.0) of the letters that a text uses, and of those of
// the same script. Glyphs keep their numbers; those not used are empty.
func (f *Font) WOFF(text string) []byte {
	keep := make([]bool, len(f.wide))
	if len(keep) == 0 {
		return nil
	}
	keep[0] = true
	for i, b := range blocks {
		used := i == 0
		for _, r := range text {
			used = used || within(r, b)
		}
		for r, g := range f.glyph {
			if used && within(r, b) && g < len(keep) {
				keep[g] = true
			}
		}
	}
	for _, r := range text {
		if g := f.glyph[r]; g < len(keep) && !unicode.IsControl(r) {
			keep[g] = true
		}
	}
	glyf, loca := f.shapes(keep)
	tables := map[string][]byte{"glyf": glyf, "loca": loca}
	for _, name := range []string{"OS/2", "cmap", "head", "hhea", "hmtx", "maxp", "name", "post", "GDEF", "GSUB", "GPOS"} {
		if t, ok := f.tables[name]; ok {
			tables[name] = t
		}
	}
	// Names of glyphs are for printers of old: version 3 has none.
	if t := tables["post"]; len(t) >= 32 {
		t = slices.Clone(t[:32])
		binary.BigEndian.PutUint32(t, 0x00030000)
		tables["post"] = t
	}
	if t := tables["head"]; len(t) >= 54 {
		t = slices.Clone(t)
		binary.BigEndian.PutUint16(t[50:], 1) // places in long form
		tables["head"] = t
	}
	return woff(tables)
}

func within(r rune, block [][2]rune) bool {
	return slices.ContainsFunc(block, func(b [2]rune) bool { return r >= b[0] && r <= b[1] })
}

// shapes are the outlines of the glyphs that are kept, and of those of which they
// are put together, with their places in long form.
func (f *Font) shapes(keep []bool) (glyf, loca []byte) {
	all, place := f.tables["glyf"], f.tables["loca"]
	long := u16(f.tables["head"], 50) == 1
	outline := func(g int) []byte {
		var from, to int
		switch {
		case long && 4*g+8 <= len(place):
			from, to = int(binary.BigEndian.Uint32(place[4*g:])), int(binary.BigEndian.Uint32(place[4*g+4:]))
		case !long:
			from, to = 2*u16(place, 2*g), 2*u16(place, 2*g+2)
		}
		if from >= to || to > len(all) {
			return nil
		}
		return all[from:to]
	}
	for changed := true; changed; {
		changed = false
		for g, k := range keep {
			if !k {
				continue
			}
			for _, part := range parts(outline(g)) {
				if part < len(keep) && !keep[part] {
					keep[part], changed = true, true
				}
			}
		}
	}
	loca = make([]byte, 4*(len(keep)+1))
	for g, k := range keep {
		binary.BigEndian.PutUint32(loca[4*g:], uint32(len(glyf)))
		if k {
			glyf = append(glyf, outline(g)...)
			for len(glyf)%4 != 0 {
				glyf = append(glyf, 0)
			}
		}
	}
	binary.BigEndian.PutUint32(loca[4*len(keep):], uint32(len(glyf)))
	return glyf, loca
}

// parts are the glyphs of which one is put together.
func parts(outline []byte) []int {
	const (
		words      = 1 << 0
		scale      = 1 << 3
		more       = 1 << 5
		scaleXY    = 1 << 6
		twoByTwo   = 1 << 7
		headerSize = 10
	)
	if len(outline) < headerSize || int16(u16(outline, 0)) >= 0 {
		return nil
	}
	var out []int
	for at := headerSize; at+4 <= len(outline); {
		flags := u16(outline, at)
		out = append(out, u16(outline, at+2))
		at += 6
		if flags&words != 0 {
			at += 2
		}
		switch {
		case flags&scale != 0:
			at += 2
		case flags&scaleXY != 0:
			at += 4
		case flags&twoByTwo != 0:
			at += 8
		}
		if flags&more == 0 {
			break
		}
	}
	return out
}

// woff packs tables (W3C, WOFF File Format 1.0).
func woff(tables map[string][]byte) []byte {
	var names []string
	for name := range tables {
		names = append(names, name)
	}
	slices.Sort(names)
	put := binary.BigEndian
	head := make([]byte, 44+20*len(names))
	sfntSize := 12 + 16*len(names)
	var body []byte
	for i, name := range names {
		t := tables[name]
		var z bytes.Buffer
		w, _ := zlib.NewWriterLevel(&z, zlib.BestCompression)
		w.Write(t) // into memory: it cannot fail
		w.Close()
		packed := z.Bytes()
		if len(packed) >= len(t) {
			packed = t
		}
		e := head[44+20*i:]
		copy(e, name)
		put.PutUint32(e[4:], uint32(len(head)+len(body)))
		put.PutUint32(e[8:], uint32(len(packed)))
		put.PutUint32(e[12:], uint32(len(t)))
		put.PutUint32(e[16:], checksum(t))
		body = append(body, packed...)
		for len(body)%4 != 0 {
			body = append(body, 0)
		}
		sfntSize += (len(t) + 3) &^ 3
	}
	copy(head, "wOFF")
	put.PutUint32(head[4:], 0x00010000)
	put.PutUint32(head[8:], uint32(len(head)+len(body)))
	put.PutUint16(head[12:], uint16(len(names)))
	put.PutUint32(head[16:], uint32(sfntSize))
	put.PutUint16(head[20:], 1)
	return append(head, body...)
}

func checksum(t []byte) uint32 {
	sum := uint32(0)
	for i := 0; i < len(t); i += 4 {
		var w [4]byte
		copy(w[:], t[i:])
		sum += binary.BigEndian.Uint32(w[:])
	}
	return sum
}
