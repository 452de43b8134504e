package claim

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"time"
)

// exif is what is taken from a photo's own notes: how it is to be turned and when it was
// taken. Nothing else is read, and nothing of it goes into the copy in a report.
type exif struct {
	orientation int    // 1 to 8, as in the TIFF standard; 1 is upright
	taken       string // "2031-09-14 10:22:05", as the camera wrote it; "" for not told
}

// Tags of the Exif standard (JEITA CP-3451).
const (
	tagOrientation = 0x0112
	tagDateTime    = 0x0132
	tagExif        = 0x8769
	tagOriginal    = 0x9003
	tagOffset      = 0x9011
)

// mostExif is the size of a segment of notes: what a JPEG can hold.
const mostExif = 1 << 16

// readExif reads the notes of a JPEG up to its picture. What cannot be read is as if it
// were not there.
func readExif(r io.Reader) exif {
	none := exif{orientation: 1}
	var mark [4]byte
	if _, err := io.ReadFull(r, mark[:2]); err != nil || mark[0] != 0xff || mark[1] != 0xd8 {
		return none
	}
	for range 200 { // segments; a photo has a few dozen at most
		if _, err := io.ReadFull(r, mark[:4]); err != nil || mark[0] != 0xff {
			return none
		}
		if mark[1] == 0xda || mark[1] == 0xd9 { // the picture begins
			return none
		}
		size := int(binary.BigEndian.Uint16(mark[2:])) - 2
		if size < 0 {
			return none
		}
		if mark[1] != 0xe1 {
			if _, err := io.CopyN(io.Discard, r, int64(size)); err != nil {
				return none
			}
			continue
		}
		segment := make([]byte, size)
		if _, err := io.ReadFull(r, segment); err != nil {
			return none
		}
		if tiff, ok := bytes.CutPrefix(segment, []byte("Exif\x00\x00")); ok {
			return parseExif(tiff)
		}
	}
	return none
}

// parseExif reads the two directories of notes that matter.
func parseExif(tiff []byte) exif {
	e := exif{orientation: 1}
	if len(tiff) < 8 || len(tiff) > mostExif {
		return e
	}
	var order binary.ByteOrder = binary.LittleEndian
	switch {
	case bytes.HasPrefix(tiff, []byte("MM\x00*")):
		order = binary.BigEndian
	case !bytes.HasPrefix(tiff, []byte("II*\x00")):
		return e
	}
	t := tiffReader{tiff, order}
	var changed, original, offset string
	inner := -1
	t.each(int(order.Uint32(tiff[4:])), func(tag, kind int, count, value uint32, at int) {
		switch tag {
		case tagOrientation:
			if v := int(t.u16(at)); kind == 3 && v >= 1 && v <= 8 {
				e.orientation = v
			}
		case tagDateTime:
			changed = t.text(kind, count, value)
		case tagExif:
			inner = int(value)
		}
	})
	if inner >= 0 {
		t.each(inner, func(tag, kind int, count, value uint32, at int) {
			switch tag {
			case tagOriginal:
				original = t.text(kind, count, value)
			case tagOffset:
				offset = t.text(kind, count, value)
			}
		})
	}
	e.taken = exifTime(original, offset)
	if e.taken == "" {
		e.taken = exifTime(changed, "")
	}
	return e
}

type tiffReader struct {
	b     []byte
	order binary.ByteOrder
}

func (t tiffReader) u16(at int) uint16 {
	if at < 0 || at+2 > len(t.b) {
		return 0
	}
	return t.order.Uint16(t.b[at:])
}

// each visits the entries of a directory. at is where the value stands, if it is small.
func (t tiffReader) each(from int, visit func(tag, kind int, count, value uint32, at int)) {
	if from < 8 || from > len(t.b)-2 {
		return
	}
	n := int(t.u16(from))
	for i := range n {
		at := from + 2 + 12*i
		if at+12 > len(t.b) {
			return
		}
		visit(int(t.u16(at)), int(t.u16(at+2)), t.order.Uint32(t.b[at+4:]), t.order.Uint32(t.b[at+8:]), at+8)
	}
}

// text is a value of letters that stands elsewhere.
func (t tiffReader) text(kind int, count, value uint32) string {
	if kind != 2 || count < 5 || count > 64 || uint64(value)+uint64(count) > uint64(len(t.b)) {
		return ""
	}
	return strings.TrimRight(string(t.b[value:value+count]), "\x00 ")
}

// exifTime is a time as a report writes it; "" for what is none.
func exifTime(s, offset string) string {
	at, err := time.Parse("2006:01:02 15:04:05", s)
	if err != nil || at.Year() < 1980 {
		return ""
	}
	out := at.Format("2006-01-02 15:04:05")
	if _, err := time.Parse("-07:00", offset); err == nil {
		out += " " + offset
	}
	return out
}
