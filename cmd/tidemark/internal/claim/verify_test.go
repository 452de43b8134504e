package claim

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/pdf"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

const benchCase = `[case]
id = "bench-12"
question = "crankshaft_seized"

[engine]
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 2
lubrication = "wet sump"

[finding.F01]
sign = "oil_pickup.screen_clogged"
state = "seen"
photos = ["photos/a.jpg", "photos/b.jpg"]

[finding.F02]
sign = "oil_pan.sludge"
state = "not found"

[finding.F03]
sign = "rod_bearing.lining_wiped"
at = "rod 2"
state = "seen"
`

// bench is a small case in a folder of its own, with two photos.
func bench(t *testing.T) (dir string, in Input) {
	t.Helper()
	dir = t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "photos"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "case.toml"), []byte(benchCase), 0o644))
	for i, name := range []string{"a.jpg", "b.jpg"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", name), photoOf(t, 80, 60, uint8(100*i)), 0o644))
	}
	in = inputOf(t, "case.toml", benchCase)
	photos, err := ReadPhotos(context.Background(), dir, in.Case, nil)
	require.NoError(t, err)
	in.Photos = photos
	return dir, in
}

func photoOf(t testing.TB, w, h int, red uint8) []byte {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetRGBA(x, y, color.RGBA{red, uint8(x), uint8(y), 255})
		}
	}
	var out bytes.Buffer
	require.NoError(t, jpeg.Encode(&out, m, nil))
	return out.Bytes()
}

func checked(t *testing.T, file []byte, opt VerifyOptions) *Result {
	t.Helper()
	opt.Version, opt.work = "test", remembered
	r, err := Verify(context.Background(), book(), file, opt)
	require.NoError(t, err)
	return r
}

var (
	had   = map[string]*engine.Diagnosis{}
	hadMu sync.Mutex
)

// remembered works a case out once, by its findings.
func remembered(ctx context.Context, b *rules.Book, c *evidence.Case, opt engine.Options) (*engine.Diagnosis, error) {
	hadMu.Lock()
	defer hadMu.Unlock()
	key := fmt.Sprint(c.ID, c.Engine, c.Question, c.At, c.Findings, c.Readings)
	if had[key] == nil {
		d, err := engine.Diagnose(ctx, b, c, opt)
		if err != nil {
			return nil, err
		}
		had[key] = d
	}
	d := *had[key]
	return &d, nil
}

// rewritten changes the data of a report by hand and puts it back, as a forger would.
func rewritten(t *testing.T, file []byte, change func(b *Bundle)) []byte {
	t.Helper()
	x, err := open(file)
	require.NoError(t, err)
	b, err := parseBundle(x.data)
	require.NoError(t, err)
	change(b)
	data, err := b.encode()
	require.NoError(t, err)
	if x.form == "json" {
		return data
	}
	return bytes.Replace(file, x.data, data, 1)
}

func testKey(seed byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{seed}, ed25519.SeedSize))
}

func TestVerifyHolds(t *testing.T) {
	dir, in := bench(t)
	for _, form := range []string{"html", "pdf", "json"} {
		file, err := Write(in, Options{Form: form, Paper: pdf.Letter, Memory: engine.DefaultMemory, Key: testKey(1)})
		require.NoError(t, err)
		r := checked(t, file, VerifyOptions{Dir: dir, Signer: testKey(1).Public().(ed25519.PublicKey)})
		assert.Empty(t, r.Differs, form)
		for _, what := range []string{"signature", "SHA-256", "photos looked at: 2", "the book is the same", "worked out again", "files looked at: 3"} {
			assert.Contains(t, strings.Join(r.Holds, "\n"), what, form)
		}
	}
}

// Each kind of tampering is told in words of its own.
func TestVerifyTellsTampering(t *testing.T) {
	dir, in := bench(t)
	made := map[string][]byte{}
	for _, form := range []string{"html", "pdf", "json"} {
		made[form] = write(t, in, form)
	}
	signed, err := Write(in, Options{Form: "json", Memory: engine.DefaultMemory, Key: testKey(1)})
	require.NoError(t, err)
	other := photoOf(t, 80, 60, 250)
	firstCopy := base64.StdEncoding.EncodeToString(in.Photos[0].Copy.Data)
	editCase := func(b *Bundle) {
		b.Files[0].Text = strings.Replace(b.Files[0].Text, `state = "not found"`, `state = "seen"`, 1)
	}
	fixHash := func(b *Bundle) { b.Files[0].SHA256 = hash([]byte(b.Files[0].Text)) }
	for _, c := range []struct {
		name string
		file func() []byte
		opt  VerifyOptions
		want string
		only bool // nothing else differs
	}{
		{"page: a finding edited where it is shown", func() []byte {
			return bytes.Replace(made["html"], []byte("Screen clogged (photo"), []byte("Screen open (photo"), 1)
		}, VerifyOptions{}, "what the page shows was edited", true},
		{"page: edited, and its hash put right", func() []byte {
			file := bytes.Replace(made["html"], []byte("Screen clogged (photo"), []byte("Screen open (photo"), 1)
			x, _ := open(file)
			return rewritten(t, file, func(b *Bundle) { b.Shown = hash(x.shown) })
		}, VerifyOptions{}, "what it shows is not what follows from its data: it shows \"F01  Screen open (photo", false},
		{"page: a photo swapped", func() []byte {
			return bytes.Replace(made["html"], []byte(firstCopy), []byte(base64.StdEncoding.EncodeToString(other)), 1)
		}, VerifyOptions{}, "photo photos/a.jpg was swapped", false},
		{"PDF: a photo swapped", func() []byte {
			file := bytes.Clone(made["pdf"])
			at := bytes.Index(file, in.Photos[0].Copy.Data)
			require.Positive(t, at)
			file[at+len(in.Photos[0].Copy.Data)-20] ^= 0x55
			return file
		}, VerifyOptions{}, "photo photos/a.jpg was swapped", false},
		{"data: a photo swapped", func() []byte {
			return rewritten(t, made["json"], func(b *Bundle) { b.Photos[0].Copy.Data = other })
		}, VerifyOptions{}, "photo photos/a.jpg was swapped", true},
		{"data: the case edited", func() []byte { return rewritten(t, made["json"], editCase) }, VerifyOptions{}, "the case within the report (case.toml) was edited", false},
		{"page: the case edited, its hash put right", func() []byte {
			return rewritten(t, made["html"], func(b *Bundle) { editCase(b); fixHash(b) })
		}, VerifyOptions{}, `worked out again, findings F02 state: the report says "not_found", and it is "seen"`, false},
		{"data: a figure edited", func() []byte {
			return rewritten(t, made["json"], func(b *Bundle) { b.Diagnosis.Verdict.Blame = 0.97 })
		}, VerifyOptions{}, "worked out again, verdict blame: the report says 0.97, and it is", true},
		{"data: a finding edited in the result", func() []byte {
			return rewritten(t, made["json"], func(b *Bundle) { b.Diagnosis.Findings[0].Role = engine.Independent })
		}, VerifyOptions{}, "worked out again, findings F01 role: the report says \"independent\"", true},
		{"data: the text edited", func() []byte {
			return rewritten(t, made["json"], func(b *Bundle) { b.Report.Sections[0].Title = "Summary, in short" })
		}, VerifyOptions{}, "told again from the same figures, sections summary title", true},
		{"data: another book", func() []byte {
			return rewritten(t, made["json"], func(b *Bundle) {
				b.Book.Hash = strings.Repeat("ab", 32)
				b.Diagnosis.Book.Hash = b.Book.Hash
				b.Book.Packs[0].Version = "0.9.0"
			})
		}, VerifyOptions{}, "the book differs: the report was worked out with abababababab…", true},
		{"PDF: saved anew, something added", func() []byte {
			return append(bytes.Clone(made["pdf"]), "\n1 0 obj\n<<>>\nendobj\nxref\n0 1\ntrailer\n<<>>\nstartxref\n0\n%%EOF\n"...)
		}, VerifyOptions{}, "saved anew or added to by another program: something was added behind its end", true},
		{"PDF: saved anew, described anew", func() []byte {
			return bytes.Replace(made["pdf"], []byte("/PageMode /UseOutlines"), []byte("/PageMode /UseNone    "), 1)
		}, VerifyOptions{}, "the PDF was saved anew by another program, or what it shows was edited", true},
		{"PDF: without its data", func() []byte {
			return bytes.ReplaceAll(made["pdf"], []byte("stream"), []byte("strean"))
		}, VerifyOptions{}, "the PDF calls itself a claim report and holds no data of one", true},
		{"data: written anew", func() []byte {
			return append(made["json"][:len(made["json"])-1:len(made["json"])-1], " \n"...)
		}, VerifyOptions{}, "was written anew by another program, or edited", true},
		{"data: a key added", func() []byte {
			return bytes.Replace(made["json"], []byte(`"schema": "tidemark.claim/1",`), []byte(`"schema": "tidemark.claim/1", "paid": true,`), 1)
		}, VerifyOptions{}, `unknown field "paid"`, true},
		{"taken over from another form", func() []byte {
			return append([]byte(dataOpens), append(bytes.Clone(made["json"]), dataCloses...)...)
		}, VerifyOptions{}, "the data is that of a report as json, and this is one as html", false},
		{"signed, then changed", func() []byte {
			return rewritten(t, signed, func(b *Bundle) { b.Files[0].Name = "other.toml" })
		}, VerifyOptions{}, "the signature does not fit the report", false},
		{"signed by another", func() []byte { return signed }, VerifyOptions{Signer: testKey(2).Public().(ed25519.PublicKey)}, "and a signature by " + Fingerprint(testKey(2).Public().(ed25519.PublicKey)) + " is wanted", true},
		{"signature taken off", func() []byte {
			return rewritten(t, signed, func(b *Bundle) { b.Signature = nil })
		}, VerifyOptions{Signer: testKey(1).Public().(ed25519.PublicKey)}, "the report is not signed, and a signature by", true},
		{"an original photo changed", func() []byte {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", "b.jpg"), other, 0o644))
			return made["json"]
		}, VerifyOptions{Dir: dir}, "photo photos/b.jpg in the case's folder is not the one of the report", true},
		{"an original photo gone", func() []byte {
			require.NoError(t, os.Remove(filepath.Join(dir, "photos", "b.jpg")))
			return made["json"]
		}, VerifyOptions{Dir: dir}, "photo photos/b.jpg is not in the case's folder", true},
		{"the original case changed", func() []byte {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", "b.jpg"), photoOf(t, 80, 60, 100), 0o644))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "case.toml"), []byte(strings.Replace(benchCase, `"not found"`, `"seen"`, 1)), 0o644))
			return made["json"]
		}, VerifyOptions{Dir: dir}, `case.toml in the case's folder is not the one from which the report was made: finding F02 state: the report says "not found", and it is "seen"`, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := checked(t, c.file(), c.opt)
			assert.Contains(t, strings.Join(r.Differs, "\n"), c.want)
			if c.only {
				assert.Len(t, r.Differs, 1)
			}
		})
	}
}

// What is no claim report is not told as one that differs.
func TestVerifyNoReport(t *testing.T) {
	_, in := bench(t)
	sheet := func(sheet, form string) []byte {
		out, err := WriteSheet(in, sheet, Options{Form: form, Paper: pdf.A4})
		require.NoError(t, err)
		return out
	}
	for _, c := range []struct {
		name, want string
		file       []byte
	}{
		{"custody sheet, PDF", "sheet for the bench", sheet("custody", "pdf")},
		{"custody sheet, page", "sheet for the bench", sheet("custody", "html")},
		{"photo sheet, PDF", "sheet for the bench", sheet("photos", "pdf")},
		{"photo sheet, page", "sheet for the bench", sheet("photos", "html")},
		{"empty", "it is empty", nil},
		{"blank", "it is empty", []byte("\r\n")},
		{"text", "it is no claim report", []byte("hello")},
		{"bytes", "it is no claim report", []byte{0, 0xff, 0xfe, 7}},
		{"another PDF", "the PDF holds no data of a claim report: it never was one", []byte("%PDF-1.7\nrubbish\n%%EOF\n")},
		{"other data", "it is data of something else", []byte("{}")},
		{"broken data", "it begins like data", []byte("{")},
		{"a diagnosis", `it is "tidemark.diagnosis/1" and no claim report`, []byte(`{"schema": "tidemark.diagnosis/1"}`)},
		{"another form", `in the form "tidemark.claim/9"`, []byte(`{"schema": "tidemark.claim/9"}`)},
	} {
		r, err := Verify(context.Background(), book(), c.file, VerifyOptions{})
		var none *NotReport
		require.ErrorAs(t, err, &none, c.name)
		assert.ErrorContains(t, err, c.want, c.name)
		assert.Nil(t, r, c.name)
	}
	// One that is damaged is one all the same.
	cut := write(t, in, "json")
	assert.NotEmpty(t, checked(t, cut[:len(cut)/2], VerifyOptions{}).Differs)
}

// With a pack laid over the book, it is not the same book.
func TestVerifyWithOtherBook(t *testing.T) {
	_, in := bench(t)
	var faults source.Faults
	more := rules.Load(&faults, rules.Embedded(), []rules.Text{{Name: "own.toml", Bytes: []byte("[pack]\nid = \"own\"\ntitle = \"Own\"\nversion = \"2.0.0\"\n[cause.cloth_left]\nname = \"cloth left\"\ncategory = \"assembly\"\nbase_rate = \"rare\"\nsource = \"own\"\nleads_to.pickup_blocked = { how_often = \"often\", because = \"b\", source = \"own\" }\nshows.oil_pan.sludge = { how_often = \"seldom\", because = \"b\", source = \"own\" }\n")}})
	require.NotNil(t, more, faults.Error())
	r, err := Verify(context.Background(), more, write(t, in, "json"), VerifyOptions{Version: "test"})
	require.NoError(t, err)
	require.Len(t, r.Differs, 1)
	assert.Contains(t, r.Differs[0], "the book differs")
	assert.Contains(t, r.Differs[0], "own is not in the report's")
}

func TestKeys(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "key.pem")
	_, err := ReadKey(path)
	assert.ErrorContains(t, err, "tidemark key new makes one")
	public, err := NewKey(path)
	require.NoError(t, err)
	st, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	key, err := ReadKey(path)
	require.NoError(t, err)
	assert.Equal(t, public, key.Public())
	_, err = NewKey(path)
	assert.ErrorContains(t, err, "there is a key at")
	require.NoError(t, os.Chmod(path, 0o644))
	_, err = ReadKey(path)
	assert.ErrorContains(t, err, "can be read by others")
	again, err := ParsePublic(PublicText(public))
	require.NoError(t, err)
	assert.Equal(t, public, again)
	_, err = ParsePublic("tidemark-xyz")
	assert.ErrorContains(t, err, "is no public key")
}

// Whatever is given, a check ends in words and never breaks.
func FuzzOpen(f *testing.F) {
	for _, s := range []string{"%PDF-1.3\n1 0 obj\n<< /Length 3 >>\nstream\nabc\nendstream\nendobj\n", dataOpens + "{}" + dataCloses, `{"schema": "tidemark.claim/1"}`, "%PDF-stream\nendstreamstream\n", "tidemark-claim"} {
		f.Add([]byte(s))
	}
	in := inputOf(f, "case.toml", emptyCase)
	for _, form := range []string{"pdf", "json"} { // a page is mostly its font
		f.Add(write(f, in, form))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		x, err := open(file)
		if err != nil {
			return
		}
		b, err := parseBundle(x.data)
		if err != nil {
			return
		}
		v := &verifier{r: &Result{}, x: x, b: b, book: &rules.Book{}, opt: VerifyOptions{Version: "test"}}
		v.form()
		v.signature()
		v.files()
		v.shown()
		v.photos()
		_, _ = v.readCase()
	})
}
