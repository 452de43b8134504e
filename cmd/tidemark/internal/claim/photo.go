package claim

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	_ "image/png" // read as well
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
	"sync"

	scale "golang.org/x/image/draw"

	"tidemark/evidence"
)

// Photo is a photo of the case: the original by its hash, and the copy that the report
// shows, scaled, turned upright, without the camera's notes.
type Photo struct {
	Path     string   `json:"path"` // as the case names it
	Findings []string `json:"findings"`
	Missing  string   `json:"missing,omitempty"` // why it could not be taken in; nothing below then
	SHA256   string   `json:"sha256,omitempty"`
	Bytes    int64    `json:"bytes,omitempty"`
	Taken    string   `json:"taken,omitempty"` // by the camera's own note
	Width    int      `json:"width,omitempty"`
	Height   int      `json:"height,omitempty"`
	Copy     *Copy    `json:"copy,omitempty"`
}

// Copy is the copy of a photo in the report: a JPEG.
type Copy struct {
	SHA256 string `json:"sha256"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
	Data   []byte `json:"data,omitempty"` // only where the report holds it nowhere else
}

// Bounds against files that are no photos, and against pictures that are small as a file
// and fill the memory when unpacked.
const (
	mostPhotoBytes  = 64 << 20
	mostPixels      = 64_000_000
	mostPixelsPNG   = 24_000_000 // four to eight bytes each, where a JPEG takes two
	mostPhotos      = 400
	copyEdge        = 1200 // the longer edge of the copy
	copyQuality     = 82
	photoWorkers    = 2
	widestToHighest = 50 // more is a strip, and no photo
)

// ReadPhotos takes in the photos of a case from its folder. What cannot be taken in is
// kept, with the reason. done is called after each; it may be nil.
func ReadPhotos(ctx context.Context, dir string, c *evidence.Case, done func(n, of int)) ([]Photo, error) {
	list := photosOf(c)
	if len(list) > mostPhotos {
		return nil, fmt.Errorf("the case names %d photos, and a report takes %d: name those that matter", len(list), mostPhotos)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("the case's folder cannot be opened: %w", err)
	}
	defer root.Close()
	var wg sync.WaitGroup
	var mu sync.Mutex
	next, ready := 0, 0
	for range min(photoWorkers, len(list)) {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(list) || ctx.Err() != nil {
					return
				}
				readPhoto(root, &list[i])
				mu.Lock()
				ready++
				if done != nil {
					done(ready, len(list))
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return list, ctx.Err()
}

// photosOf lists the photos that findings name, each once.
func photosOf(c *evidence.Case) []Photo {
	var out []Photo
	index := map[string]int{}
	for _, f := range c.Findings {
		for _, p := range f.Photos {
			i, ok := index[p]
			if !ok {
				i = len(out)
				index[p] = i
				out = append(out, Photo{Path: p})
			}
			out[i].Findings = append(out[i].Findings, f.ID)
		}
	}
	return out
}

// readPhoto fills in one photo.
func readPhoto(root *os.Root, p *Photo) {
	name, why := photoName(p.Path)
	if why == "" {
		why = takeIn(root, name, p)
	}
	if why != "" {
		*p = Photo{Path: p.Path, Findings: p.Findings, Missing: why}
	}
}

// photoName is the path within the case's folder; why tells that it is none.
func photoName(written string) (name, why string) {
	name = path.Clean(strings.ReplaceAll(written, `\`, "/"))
	switch {
	case strings.ContainsRune(written, 0), name == ".":
		return "", "it is no name of a file"
	case path.IsAbs(name) || len(name) > 1 && name[1] == ':' || name == ".." || strings.HasPrefix(name, "../"):
		return "", "refused: it lies outside the case's folder. Copy it into the folder"
	}
	switch strings.ToLower(path.Ext(name)) {
	case ".heic", ".heif":
		return "", "refused: HEIC cannot be read. Save it as JPEG (cameras and phones have a setting for it)"
	}
	return name, ""
}

func takeIn(root *os.Root, name string, p *Photo) (why string) {
	f, err := root.Open(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "missing: there is no such file in the case's folder"
	case err != nil && strings.Contains(err.Error(), "escapes"):
		return "refused: it leads outside the case's folder. Copy it into the folder"
	case err != nil:
		return "it cannot be opened"
	}
	defer f.Close()
	st, err := f.Stat()
	switch {
	case err != nil || !st.Mode().IsRegular():
		return "it is no file"
	case st.Size() > mostPhotoBytes:
		return fmt.Sprintf("refused: %d MB, and no photo needs more than %d", st.Size()>>20, mostPhotoBytes>>20)
	case st.Size() == 0:
		return "the file is empty"
	}
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "it cannot be read"
	}
	p.SHA256, p.Bytes = hex.EncodeToString(sum.Sum(nil)), st.Size()
	return decode(f, p)
}

// decode makes the copy.
func decode(f io.ReadSeeker, p *Photo) (why string) {
	again := func() { _, _ = f.Seek(0, io.SeekStart) } // a file on disk
	again()
	var begin [16]byte
	n, _ := io.ReadFull(f, begin[:])
	if why := otherKind(begin[:n]); why != "" {
		return why
	}
	again()
	size, kind, err := image.DecodeConfig(f)
	if err != nil {
		return "it is no image that can be read: JPEG and PNG are"
	}
	most := mostPixels
	if kind == "png" {
		most = mostPixelsPNG
	}
	switch {
	case size.Width <= 0 || size.Height <= 0 || size.Width > most/size.Height:
		return fmt.Sprintf("refused: %d × %d pixels, and %d million are taken at most", size.Width, size.Height, most/1_000_000)
	case max(size.Width, size.Height) > widestToHighest*min(size.Width, size.Height):
		return fmt.Sprintf("refused: %d × %d pixels is a strip, and no photo", size.Width, size.Height)
	}
	again()
	notes := exif{orientation: 1}
	if kind == "jpeg" {
		notes = readExif(f)
		again()
	}
	picture, _, err := image.Decode(f)
	if err != nil {
		return "the picture in it is damaged"
	}
	p.Width, p.Height, p.Taken = size.Width, size.Height, notes.taken
	if notes.orientation > 4 {
		p.Width, p.Height = p.Height, p.Width
	}
	small := upright(shrunk(picture), notes.orientation)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, small, &jpeg.Options{Quality: copyQuality}); err != nil {
		return "no copy of it could be made"
	}
	at := sha256.Sum256(out.Bytes())
	p.Copy = &Copy{SHA256: hex.EncodeToString(at[:]), Width: small.Bounds().Dx(), Height: small.Bounds().Dy(), Data: out.Bytes()}
	return ""
}

// otherKind knows the kinds of picture that are not read by how they begin, whatever
// their name is.
func otherKind(begin []byte) string {
	kind := ""
	switch {
	case len(begin) >= 12 && string(begin[4:8]) == "ftyp":
		switch string(begin[8:12]) {
		case "heic", "heix", "hevc", "heim", "heis", "mif1", "msf1":
			return "refused: HEIC cannot be read. Save it as JPEG (cameras and phones have a setting for it)"
		case "avif", "avis":
			kind = "AVIF"
		default:
			kind = "a film"
		}
	case bytes.HasPrefix(begin, []byte("GIF8")):
		kind = "GIF"
	case bytes.HasPrefix(begin, []byte("II*\x00")), bytes.HasPrefix(begin, []byte("MM\x00*")):
		kind = "TIFF or a raw picture"
	case bytes.HasPrefix(begin, []byte("RIFF")) && len(begin) >= 12 && string(begin[8:12]) == "WEBP":
		kind = "WebP"
	case bytes.HasPrefix(begin, []byte("%PDF")):
		kind = "PDF"
	case bytes.HasPrefix(begin, []byte("BM")) && len(begin) > 14:
		kind = "BMP"
	}
	if kind == "" {
		return ""
	}
	return "refused: it is " + kind + ", and only JPEG and PNG are read. Save it as JPEG"
}

// shrunk scales a picture so that its longer edge is at most copyEdge, on white.
func shrunk(p image.Image) *image.RGBA {
	b := p.Bounds()
	w, h := b.Dx(), b.Dy()
	if long := max(w, h); long > copyEdge {
		w, h = max(1, (w*copyEdge+long/2)/long), max(1, (h*copyEdge+long/2)/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	if w == b.Dx() && h == b.Dy() {
		draw.Draw(out, out.Bounds(), p, b.Min, draw.Over)
		return out
	}
	scale.BiLinear.Scale(out, out.Bounds(), p, b, draw.Over, nil)
	return out
}

// upright turns a picture as its orientation says.
func upright(p *image.RGBA, orientation int) *image.RGBA {
	if orientation < 2 || orientation > 8 {
		return p
	}
	w, h := p.Bounds().Dx(), p.Bounds().Dy()
	ow, oh := w, h
	if orientation > 4 {
		ow, oh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, ow, oh))
	for y := range oh {
		for x := range ow {
			sx, sy := x, y
			switch orientation {
			case 2:
				sx = w - 1 - x
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sy = h - 1 - y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = y, h-1-x
			case 7:
				sx, sy = w-1-y, h-1-x
			case 8:
				sx, sy = w-1-y, x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], p.Pix[p.PixOffset(sx, sy):][:4])
		}
	}
	return out
}
