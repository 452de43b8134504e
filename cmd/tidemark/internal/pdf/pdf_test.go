package pdf

import (
	"bytes"
	"image"
	"image/jpeg"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sample has one of everything.
func sample(t *testing.T, info Info) []byte {
	t.Helper()
	d := New(info)
	d.Heading(1, "Engine 2031-007")
	d.Text("Plain words, ± 0.005 mm, and the name שלום עולם (12 mm) of a shop; Привет; سلام.")
	d.Panel(Colour{25, 50, 80}, Colour{240, 244, 248}, Bold("Verdict"), Plain("probable: "+strings.Repeat("a long reason ", 30)))
	d.Heading(2, "Table")
	rows := [][]Cell{}
	for range 60 {
		rows = append(rows, []Cell{C("F01"), C("rod bearing: lining wiped off, and more words than fit"), C("12.3")})
	}
	rows = append(rows, []Cell{C("F02"), C(strings.Repeat("a row that is higher than a page. ", 400)), C("1")})
	d.Table(Table{Columns: []Column{{Head: "No.", Share: 1}, {Head: "What", Share: 5}, {Head: "mm", Share: 1, Right: true}}, Rows: rows})
	d.Draw(30, func(c *Canvas) {
		c.Rect(0, 0, 20, 10, 2, Stroke{Width: 0.3}, &Colour{250, 240, 200})
		c.Arrow(Stroke{Width: 0.3, Dashed: true}, [2]float64{20, 5}, [2]float64{40, 5})
		c.Circle(50, 5, 5, Stroke{Width: 0.2}, nil)
		c.Text(50, 5, "3", Style{}, Middle)
	})
	var photos []Photo
	for i := range 5 {
		photos = append(photos, Photo{Kind: "jpg", Content: picture(t, uint8(40*i)), W: 60, H: 40, Caption: Plain("photo")})
	}
	d.Photos(2, 50, photos...)
	d.Bullet("•", Plain("a point "+strings.Repeat("and so on ", 40))...)
	d.Attach(File{Name: "case.json", About: "the case", Content: []byte("{}")})
	out, err := d.Bytes()
	require.NoError(t, err)
	return out
}

// picture is a JPEG of one size, so that only its content tells it from others.
func picture(t *testing.T, grey uint8) []byte {
	m := image.NewGray(image.Rect(0, 0, 60, 40))
	for i := range m.Pix {
		m.Pix[i] = grey
	}
	var out bytes.Buffer
	require.NoError(t, jpeg.Encode(&out, m, nil))
	return out.Bytes()
}

func TestSameCallsSameBytes(t *testing.T) {
	info := Info{Title: "T", Lang: "en", Created: time.Date(2031, 9, 14, 0, 0, 0, 0, time.UTC), Footer: "foot", Mark: "INTERIM"}
	a := sample(t, info)
	for range 5 {
		assert.True(t, bytes.Equal(a, sample(t, info)))
	}
	info.Created = time.Time{}
	timeless := sample(t, info)
	assert.True(t, bytes.Equal(timeless, sample(t, info)))
	assert.NotContains(t, string(timeless), "CreationDate")
	assert.Contains(t, string(a), "CreationDate (D:20310914")
	id := func(file []byte) string { _, s, _ := strings.Cut(string(file), "/ID ["); return s[:34] }
	assert.NotEqual(t, id(a), id(timeless))
	info.Paper = Letter
	assert.Contains(t, string(sample(t, info)), "/MediaBox [0 0 612.00 792.00]")
}

func TestVisual(t *testing.T) {
	for in, want := range map[string]string{
		"plain (12)":        "plain (12)",
		"שלום":              "םולש",
		"abc שלום def":      "abc םולש def",
		"a (שלום) b":        "a (םולש) b",
		"שלום 12.5 עולם":    "םלוע 12.5 םולש",
		"שלום (עולם) a":     "a (םלוע) םולש",
		"Дом שלום":          "Дом םולש",
		"سلام":              "\ufee1\ufefc\ufeb3", // lam and alef make one letter
		"a שלום (12 mm) b":  "a םולש (12 mm) b",
		"rod 3 שלום, rod 4": "rod 3 םולש, rod 4",
	} {
		assert.Equal(t, want, visual(in), in)
	}
}

// Letters that no font has are marked, and what cannot be seen is left out.
func TestClean(t *testing.T) {
	assert.Equal(t, "a b� c", clean("a\tb\U0001f642\u202e\u200b\x00 c"))
}

// Text is never wider than its line, whatever it is.
func TestWrap(t *testing.T) {
	d := New(Info{})
	for _, text := range []string{strings.Repeat("x", 500), "a b c", strings.Repeat("word ", 90), "90 % of it", "", "\n\n", strings.Repeat("שלום ", 80)} {
		for _, l := range d.wrap(Plain(text), 40) {
			assert.LessOrEqual(t, d.lineWidth(l), 40.1, text)
		}
	}
	joined := d.wrap(Plain("aa 90 % of"), d.textWidth("aa 90", Style{}))
	assert.Equal(t, "90 %", joined[1][0].text)
}
