// Package pdf writes documents on A4 or Letter: headings with bookmarks, text,
// tables, drawings, photos, attachments. Fonts are embedded and hold Latin,
// Greek, Cyrillic, Hebrew and Arabic letters. The same calls give the same
// bytes. Lengths are in millimetres from the top left corner of the page, sizes
// of letters in points.
package pdf

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"tidemark/cmd/tidemark/internal/font"
)

// Paper is a size of page.
type Paper string

// The two sizes.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// Info is what a document says of itself.
type Info struct {
	Paper   Paper // "" for A4
	Title   string
	Subject string
	Lang    string // "en"
	// Created goes into the file as the time of creation; where it is zero the file
	// says none. It is the caller's, never the clock's.
	Created time.Time
	// Footer stands at the left of the foot of every page, before the page number.
	Footer string
	// Mark stands across the head of every page: "interim".
	Mark string
}

// Margins of the page and the height of the foot.
const (
	marginX      = 18.0
	marginTop    = 18.0
	marginBottom = 20.0
	pointMM      = 25.4 / 72
	leading      = 1.32 // line height over size of letters
)

// Doc is a document being written. The first error is kept and comes with Bytes.
type Doc struct {
	f    *fpdf.Fpdf
	info Info
	y    float64
	used int // images so far, for their names
}

const family = "text"

// New begins a document with an empty page.
func New(info Info) *Doc {
	size := "A4"
	if info.Paper == Letter {
		size = "Letter"
	}
	f := fpdf.New("P", "mm", size, "")
	d := &Doc{f: f, info: info}
	f.SetCatalogSort(true)
	f.SetCompression(true)
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(marginX, marginTop, marginX)
	f.SetCellMargin(0)
	f.AddUTF8FontFromBytes(family, "", font.Regular().TTF)
	f.AddUTF8FontFromBytes(family, "B", font.Bold().TTF)
	at := info.Created.UTC()
	if info.Created.IsZero() {
		at = noTime
	}
	f.SetCreationDate(at)
	f.SetModificationDate(at)
	f.SetTitle(info.Title, true)
	f.SetSubject(info.Subject, true)
	f.SetProducer("tidemark", true)
	f.SetLang(info.Lang)
	d.NewPage()
	return d
}

// noTime stands in the file until finish takes it out: the library knows no
// document without a time.
var noTime = time.Date(1901, 2, 3, 4, 5, 6, 0, time.UTC)

// Width is the width between the margins.
func (d *Doc) Width() float64 { w, _ := d.f.GetPageSize(); return w - 2*marginX }

// Height is the height between the margins.
func (d *Doc) Height() float64 { return d.bottom() - marginTop }

func (d *Doc) bottom() float64 { _, h := d.f.GetPageSize(); return h - marginBottom }

// Left is how much height is left on the page.
func (d *Doc) Left() float64 { return d.bottom() - d.y }

// Pages is how many pages there are so far.
func (d *Doc) Pages() int { return d.f.PageCount() }

// NewPage begins a page.
func (d *Doc) NewPage() {
	d.f.AddPage()
	d.y = marginTop
}

// Need begins a page unless so much height is left. What is higher than a page is
// let be.
func (d *Doc) Need(height float64) {
	if height > d.Left() && d.y > marginTop && height <= d.Height() {
		d.NewPage()
	}
}

// Space leaves height free, but not at the top of a page.
func (d *Doc) Space(height float64) {
	if d.y > marginTop {
		d.y += height
	}
}

// Attach puts files into the document. It is called once, with all of them.
func (d *Doc) Attach(files ...File) {
	var list []fpdf.Attachment
	for _, a := range files {
		list = append(list, fpdf.Attachment{Filename: a.Name, Description: a.About, Content: a.Content})
	}
	d.f.SetAttachments(list)
}

// File is a file within a document.
type File struct {
	Name, About string
	Content     []byte
}

// Bytes ends the document.
func (d *Doc) Bytes() ([]byte, error) {
	pages := d.f.PageCount()
	for n := 1; n <= pages; n++ {
		d.f.SetPage(n)
		d.foot(n, pages)
	}
	// The library goes on from the page that is set.
	d.f.SetPage(pages)
	var out bytes.Buffer
	if err := d.f.Output(&out); err != nil {
		return nil, fmt.Errorf("the PDF could not be written: %w", err)
	}
	return finish(out.Bytes(), d.info.Created.IsZero()), nil
}

func (d *Doc) foot(n, pages int) {
	w, h := d.f.GetPageSize()
	grey := Style{Size: 7.5, Colour: Grey}
	d.draw(marginX, h-11, d.fit(d.info.Footer, grey, w-2*marginX-30), grey)
	number := fmt.Sprintf("page %d of %d", n, pages)
	d.draw(w-marginX-d.textWidth(number, grey), h-11, number, grey)
	d.f.SetDrawColor(190, 190, 190)
	d.f.SetLineWidth(0.2)
	d.f.Line(marginX, h-15.5, w-marginX, h-15.5)
	if d.info.Mark != "" {
		mark := Style{Size: 8, Bold: true, Colour: Red}
		d.draw(w-marginX-d.textWidth(d.info.Mark, mark), 11.5, d.info.Mark, mark)
	}
}

// finish gives the file an identifier of its own, made of its content, and takes
// out the time where there is none.
func finish(file []byte, timeless bool) []byte {
	if timeless {
		for _, key := range []string{"/CreationDate", "/ModDate"} {
			entry := []byte(key + " (D:" + noTime.Format("20060102150405") + ")")
			if i := bytes.LastIndex(file, entry); i >= 0 {
				copy(file[i:], bytes.Repeat([]byte{' '}, len(entry)))
			}
		}
	}
	sum := sha256.Sum256(file)
	at := bytes.LastIndex(file, []byte("/Root "))
	if at < 0 {
		return file
	}
	id := fmt.Appendf(nil, "/ID [<%x> <%x>]\n", sum[:16], sum[:16])
	// The trailer comes after the table of places, so none of them moves.
	return bytes.Join([][]byte{file[:at], id, file[at:]}, nil)
}
