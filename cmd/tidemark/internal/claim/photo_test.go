package claim

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
)

// withNotes puts notes of a camera before a picture: how it is turned, when and where it
// was taken.
func withNotes(picture []byte, orientation uint16, taken string) []byte {
	var t bytes.Buffer
	le := binary.LittleEndian
	put := func(v ...any) {
		for _, x := range v {
			_ = binary.Write(&t, le, x)
		}
	}
	t.WriteString("II*\x00")
	put(uint32(8), uint16(3))
	put([]uint16{tagOrientation, 3}, uint32(1), []uint16{orientation, 0})
	put([]uint16{tagExif, 4}, uint32(1), uint32(50))
	put([]uint16{0x8825, 4}, uint32(1), uint32(110)) // place
	put(uint32(0))
	put(uint16(2)) // at 50
	put([]uint16{tagOriginal, 2}, uint32(20), uint32(80))
	put([]uint16{tagOffset, 2}, uint32(7), uint32(100))
	put(uint32(0))
	t.WriteString(taken + "\x00") // at 80
	t.WriteString("+02:00\x00")   // at 100
	for t.Len() < 110 {
		t.WriteByte(0)
	}
	t.WriteString("GPSPLACE59N10E")
	segment := append([]byte("Exif\x00\x00"), t.Bytes()...)
	out := []byte{0xff, 0xd8, 0xff, 0xe1, byte((len(segment) + 2) >> 8), byte(len(segment) + 2)}
	return append(append(out, segment...), picture[2:]...)
}

// take puts files into a folder and takes in those that are named.
func take(t *testing.T, files map[string][]byte, names ...string) []Photo {
	t.Helper()
	dir := t.TempDir()
	for name, data := range files {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, data, 0o644))
	}
	c := &evidence.Case{Findings: []evidence.Finding{{ID: "F01", Photos: names}}}
	list, err := ReadPhotos(context.Background(), dir, c, nil)
	require.NoError(t, err)
	return list
}

// The copy stands upright, has no notes of the camera, and the time is told.
func TestPhotoNotes(t *testing.T) {
	// Wider than high, red at the left: turned by 90 degrees it is higher, red at the top.
	m := image.NewRGBA(image.Rect(0, 0, 60, 40))
	for i := range m.Pix {
		m.Pix[i] = 255
	}
	for y := range 40 {
		for x := range 20 {
			copy(m.Pix[m.PixOffset(x, y):], []byte{255, 0, 0, 255})
		}
	}
	var plain bytes.Buffer
	require.NoError(t, jpeg.Encode(&plain, m, &jpeg.Options{Quality: 95}))
	files := map[string][]byte{"plain.jpg": plain.Bytes()}
	red := map[int][2]int{1: {5, 20}, 2: {54, 20}, 3: {54, 20}, 4: {5, 20}, 5: {20, 5}, 6: {20, 5}, 7: {20, 54}, 8: {20, 54}}
	names := []string{"plain.jpg"}
	for o := 1; o <= 8; o++ {
		name := fmt.Sprintf("%d.jpg", o)
		files[name] = withNotes(plain.Bytes(), uint16(o), "2031:09:14 10:22:05")
		names = append(names, name)
	}
	list := take(t, files, names...)
	require.Empty(t, list[0].Missing)
	assert.Empty(t, list[0].Taken)
	for o := 1; o <= 8; o++ {
		p := list[o]
		require.Empty(t, p.Missing)
		assert.Equal(t, "2031-09-14 10:22:05 +02:00", p.Taken)
		assert.NotContains(t, string(p.Copy.Data), "GPSPLACE")
		assert.NotContains(t, string(p.Copy.Data), "Exif")
		copied, err := jpeg.Decode(bytes.NewReader(p.Copy.Data))
		require.NoError(t, err)
		wide := copied.Bounds().Dx() > copied.Bounds().Dy()
		assert.Equal(t, o < 5, wide, o)
		assert.Equal(t, o < 5, p.Width > p.Height, o)
		r, g, _, _ := copied.At(red[o][0], red[o][1]).RGBA()
		assert.True(t, r > 0xe000 && g < 0x4000, "orientation %d: %x %x", o, r, g)
	}
}

// bomb is a PNG that says it has so many pixels.
func bomb(w, h uint32) []byte {
	var out bytes.Buffer
	_ = png.Encode(&out, image.NewGray(image.Rect(0, 0, 1, 1)))
	b := out.Bytes()
	binary.BigEndian.PutUint32(b[16:], w)
	binary.BigEndian.PutUint32(b[20:], h)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

func TestPhotosRefused(t *testing.T) {
	good := photoOf(t, 40, 30, 9)
	outside := filepath.Join(t.TempDir(), "outside.jpg")
	require.NoError(t, os.WriteFile(outside, good, 0o644))
	files := map[string][]byte{
		"good.jpg": good, "text.jpg": []byte("this is no picture, whatever its name is"), "empty.jpg": {}, "cut.jpg": good[:len(good)-40],
		"phone.jpg": []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), "a.gif": []byte("GIF89a\x01\x00\x01\x00\x00\x00\x00"), "a.tif": []byte("II*\x00\x08\x00\x00\x00aaaaaaaaaa"),
		"a.webp": []byte("RIFF\x00\x00\x00\x00WEBPVP8 "), "bomb.png": bomb(60000, 60000), "strip.png": bomb(3000, 10), "huge.png": bomb(1<<31-1, 1<<31-1), "a.pdf": []byte("%PDF-1.4 xxxxxxxxxxx"),
	}
	want := map[string]string{
		"good.jpg": "", "gone.jpg": "missing", "text.jpg": "no image that can be read", "empty.jpg": "empty", "cut.jpg": "damaged",
		"phone.jpg": "HEIC cannot be read. Save it as JPEG", "x.HEIC": "HEIC cannot be read", "a.gif": "it is GIF", "a.tif": "TIFF", "a.webp": "WebP", "a.pdf": "PDF",
		"bomb.png": "60000 × 60000 pixels", "huge.png": "no image that can be read", "strip.png": "strip",
		"../outside.jpg": "outside the case's folder", outside: "outside the case's folder", `..\outside.jpg`: "outside the case's folder", "a/../../x.jpg": "outside the case's folder",
		"": "no name of a file", ".": "no name of a file", "link.jpg": "outside the case's folder", "photos": "missing",
	}
	var names []string
	for name := range want {
		names = append(names, name)
	}
	dir := t.TempDir()
	for name, data := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
	require.NoError(t, os.Symlink(outside, filepath.Join(dir, "link.jpg")))
	list, err := ReadPhotos(context.Background(), dir, &evidence.Case{Findings: []evidence.Finding{{ID: "F01", Photos: names}}}, nil)
	require.NoError(t, err)
	require.Len(t, list, len(want))
	for _, p := range list {
		if want[p.Path] == "" {
			assert.Empty(t, p.Missing, p.Path)
			assert.NotNil(t, p.Copy)
			continue
		}
		assert.Contains(t, p.Missing, want[p.Path], p.Path)
		assert.Nil(t, p.Copy, p.Path)
		assert.Empty(t, p.SHA256, p.Path)
	}
}

// A file larger than any photo is not read.
func TestPhotoTooLarge(t *testing.T) {
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "big.jpg"))
	require.NoError(t, err)
	require.NoError(t, f.Truncate(100<<20)) // a hole: no bytes on the disk
	require.NoError(t, f.Close())
	list, err := ReadPhotos(context.Background(), dir, &evidence.Case{Findings: []evidence.Finding{{ID: "F01", Photos: []string{"big.jpg"}}}}, nil)
	require.NoError(t, err)
	assert.Contains(t, list[0].Missing, "100 MB, and no photo needs more than 64")
}

// Reading many photos tells how far it is, can be stopped, and keeps no original in memory.
func TestManyPhotos(t *testing.T) {
	files, names := map[string][]byte{}, []string{}
	for i := range 12 {
		name := fmt.Sprintf("%02d.jpg", i)
		files[name] = photoOf(t, 900, 700, uint8(i))
		names = append(names, name)
	}
	dir := t.TempDir()
	for name, data := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
	c := &evidence.Case{Findings: []evidence.Finding{{ID: "F01", Photos: names}}}
	var told []string
	list, err := ReadPhotos(context.Background(), dir, c, func(n, of int) { told = append(told, fmt.Sprint(n, " ", of)) })
	require.NoError(t, err)
	assert.Equal(t, "12 12", told[len(told)-1])
	assert.Len(t, told, 12)
	for i, p := range list {
		assert.Equal(t, names[i], p.Path)
		assert.Equal(t, 900, p.Copy.Width)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = ReadPhotos(ctx, dir, c, nil)
	assert.ErrorIs(t, err, context.Canceled)
	for range mostPhotos {
		c.Findings = append(c.Findings, evidence.Finding{ID: "F", Photos: []string{fmt.Sprint(len(c.Findings))}})
	}
	_, err = ReadPhotos(context.Background(), dir, c, nil)
	assert.ErrorContains(t, err, "a report takes 400")
}

// BenchmarkPhotos takes in 50 photos of 12 megapixels and tells the most memory in use.
func BenchmarkPhotos(b *testing.B) {
	dir := b.TempDir()
	one := photoOf(b, 4000, 3000, 1)
	var names []string
	for i := range 50 {
		name := fmt.Sprintf("%02d.jpg", i)
		names = append(names, name)
		require.NoError(b, os.WriteFile(filepath.Join(dir, name), one, 0o644))
	}
	c := &evidence.Case{Findings: []evidence.Finding{{ID: "F01", Photos: names}}}
	for b.Loop() {
		var most uint64
		stop := make(chan bool)
		go func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(20 * time.Millisecond):
					var m runtime.MemStats
					runtime.ReadMemStats(&m)
					most = max(most, m.HeapInuse)
				}
			}
		}()
		_, err := ReadPhotos(context.Background(), dir, c, nil)
		close(stop)
		require.NoError(b, err)
		b.ReportMetric(float64(most>>20), "MB")
	}
}

func FuzzExif(f *testing.F) {
	f.Add(withNotes(photoOf(f, 4, 4, 1), 6, "2031:09:14 10:22:05"))
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x02"))
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x20Exif\x00\x00MM\x00*\x00\x00\x00\x08\xff\xff"))
	f.Fuzz(func(t *testing.T, data []byte) {
		e := readExif(bytes.NewReader(data))
		if e.orientation < 1 || e.orientation > 8 {
			t.Fatal(e.orientation)
		}
		if e.taken != "" && (len(e.taken) > 30 || strings.ContainsAny(e.taken, "<>&")) {
			t.Fatal(e.taken)
		}
		if tiff := data; len(tiff) > 2 {
			parseExif(tiff)
		}
	})
}
