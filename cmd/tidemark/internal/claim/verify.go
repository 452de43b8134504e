package claim

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// Result is what a check of a report found.
type Result struct {
	Differs []string `json:"differs"` // each a thing that is not as it was made
	Holds   []string `json:"holds"`   // what was checked and holds
	Notes   []string `json:"notes"`   // what was not checked, and why
}

func (r *Result) differs(format string, args ...any) {
	r.Differs = append(r.Differs, fmt.Sprintf(format, args...))
}

func (r *Result) holds(format string, args ...any) {
	r.Holds = append(r.Holds, fmt.Sprintf(format, args...))
}

func (r *Result) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// VerifyOptions are what a report is held against.
type VerifyOptions struct {
	Dir     string            // the case's folder; "" for none
	Signer  ed25519.PublicKey // who must have signed it; nil for anyone or no one
	Version string            // of this program

	// work works a case out; nil for engine.Diagnose. Tests keep what they had.
	work func(context.Context, *rules.Book, *evidence.Case, engine.Options) (*engine.Diagnosis, error)
}

// Verify holds a report against its own data, that against the book, and all of it
// against the case's folder. What is no report gives a *NotReport.
func Verify(ctx context.Context, book *rules.Book, file []byte, opt VerifyOptions) (*Result, error) {
	r := &Result{Differs: []string{}, Holds: []string{}, Notes: []string{}}
	var none *NotReport
	x, err := open(file)
	if errors.As(err, &none) {
		return nil, err
	}
	if err != nil {
		r.differs("%v", err)
		return r, nil
	}
	b, err := parseBundle(x.data)
	if err != nil {
		r.differs("%v", err)
		return r, nil
	}
	v := &verifier{r: r, x: x, b: b, book: book, opt: opt}
	v.form()
	v.signature()
	v.files()
	v.shown()
	v.photos()
	if err := v.diagnosis(ctx); err != nil {
		return nil, err
	}
	if opt.Dir != "" {
		v.folder()
	} else {
		r.note("the originals were not looked at: --case DIR holds them against the hashes")
	}
	return r, nil
}

type verifier struct {
	r    *Result
	x    *opened
	b    *Bundle
	book *rules.Book
	opt  VerifyOptions
	c    *evidence.Case // as it is in the report; nil if it cannot be read
}

// form checks that the data is written as the program writes it.
func (v *verifier) form() {
	again, err := v.b.encode()
	switch {
	case err != nil || !bytes.Equal(again, v.x.data):
		v.r.differs("the data in the report was written anew by another program, or edited: it is not in the form in which Tidemark writes it")
	case v.b.Form != v.x.form:
		v.r.differs("the data is that of a report as %s, and this is one as %s: it was taken over from another", v.b.Form, v.x.form)
	default:
		v.r.holds("the data is in the form in which Tidemark writes it")
	}
}

func (v *verifier) signature() {
	s := v.b.Signature
	if s == nil {
		if v.opt.Signer != nil {
			v.r.differs("the report is not signed, and a signature by %s is wanted", Fingerprint(v.opt.Signer))
			return
		}
		v.r.note("the report is not signed: that it is in order shows that nothing was changed by halves, not who made it")
		return
	}
	text, err := v.b.signed()
	switch {
	case err != nil || len(s.Key) != ed25519.PublicKeySize || !ed25519.Verify(s.Key, text, s.Value):
		v.r.differs("the signature does not fit the report: something in it was changed after it was signed, or it was signed by another")
	case v.opt.Signer != nil && !bytes.Equal(s.Key, v.opt.Signer):
		v.r.differs("the report is signed by %s, and a signature by %s is wanted", Fingerprint(s.Key), Fingerprint(v.opt.Signer))
	default:
		v.r.holds("the signature by %s fits", Fingerprint(s.Key))
	}
}

// files checks the texts from which the diagnosis was made.
func (v *verifier) files() {
	ok := true
	for i, f := range v.b.Files {
		if hash([]byte(f.Text)) == f.SHA256 {
			continue
		}
		ok = false
		what := "the file of limits"
		if i == 0 {
			what = "the case"
		}
		v.r.differs("%s within the report (%s) was edited: its SHA-256 is not the one listed", what, f.Name)
	}
	if ok {
		v.r.holds("the case within the report has its SHA-256 (%.12s…)", v.b.Files[0].SHA256)
	}
}

// shown checks that what the page or paper shows is what was written.
func (v *verifier) shown() {
	if v.x.form == "json" {
		return
	}
	switch {
	case v.x.resaved != "":
		v.r.differs("the PDF was saved anew or added to by another program: %s", v.x.resaved)
	case hash(v.x.shown) == v.b.Shown:
		v.r.holds("what it shows is byte for byte what was written")
	case v.x.form == "pdf":
		v.r.differs("the PDF was saved anew by another program, or what it shows was edited: its pages are not those that were written")
	default:
		v.r.differs("what the page shows was edited: it is not what was written")
	}
}

// photos checks the copies that the report shows.
func (v *verifier) photos() {
	n := 0
	for _, p := range v.b.Photos {
		if p.Copy == nil {
			continue
		}
		n++
		data := v.x.copies[p.Copy.SHA256]
		if v.x.form == "json" {
			data = p.Copy.Data
		}
		if hash(data) != p.Copy.SHA256 {
			v.r.differs("photo %s was swapped: the picture in the report is not the one whose SHA-256 is listed", p.Path)
			n = -len(v.b.Photos) - 1
		}
	}
	if n > 0 {
		v.r.holds("each photo is the one that is listed (photos looked at: %d)", n)
	}
}

// diagnosis works the case out again, with this book.
func (v *verifier) diagnosis(ctx context.Context) error {
	if v.b.Book.Hash != v.book.Hash || v.b.Diagnosis.Book.Hash != v.b.Book.Hash {
		v.r.differs("the book differs: the report was worked out with %s, and here is %.12s…%s. Without the same book it cannot be worked out again", v.bookTold(), v.book.Hash, v.packs())
		return nil
	}
	v.r.holds("the book is the same (%.12s…)", v.book.Hash)
	if v.b.Memory < 1<<20 || v.b.Memory > mostMemory {
		v.r.differs("the report says that a question to the model could take %d MB, which no check gives it", v.b.Memory>>20)
		return nil
	}
	c, err := v.readCase()
	if err != nil {
		v.r.differs("the case within the report is at fault, so it cannot be worked out again: %v", err)
		return nil
	}
	v.c = c
	work := v.opt.work
	if work == nil {
		work = engine.Diagnose
	}
	d, err := work(ctx, v.book, c, engine.Options{Version: v.b.Program.Version, Memory: v.b.Memory})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		v.r.differs("the case within the report cannot be worked out: %v", err)
		return nil
	}
	said, worked := asJSON(v.b.Diagnosis), asJSON(d)
	diffs := weightiest(diff("", said, worked))
	for i, line := range diffs {
		if i == mostDiffs {
			v.r.differs("and %d more figures or entries", len(diffs)-i)
			break
		}
		v.r.differs("worked out again, %s", line)
	}
	if len(diffs) > 0 {
		return nil
	}
	v.r.holds("worked out again from the case within it, every finding and figure is the same")
	v.again(d)
	return nil
}

// mostMemory is what a report from anywhere may ask for, in bytes.
const mostMemory = 4 << 30

// mostDiffs is how many differences are told one by one.
const mostDiffs = 12

func (v *verifier) bookTold() string {
	if v.b.Diagnosis.Book.Hash != v.b.Book.Hash {
		return fmt.Sprintf("%.12s… by one entry and %.12s… by another", v.b.Book.Hash, v.b.Diagnosis.Book.Hash)
	}
	return fmt.Sprintf("%.12s…", v.b.Book.Hash)
}

// packs tells which packs differ by their version.
func (v *verifier) packs() string {
	here := map[string]string{}
	for _, p := range v.book.Packs {
		here[p.ID] = p.Version
	}
	var out []string
	for _, p := range v.b.Book.Packs {
		switch at, ok := here[p.ID]; {
		case !ok:
			out = append(out, fmt.Sprintf("%s %s is not here", p.ID, p.Version))
		case at != p.Version:
			out = append(out, fmt.Sprintf("%s is %s there and %s here", p.ID, p.Version, at))
		}
		delete(here, p.ID)
	}
	for _, p := range v.book.Packs {
		if _, left := here[p.ID]; left {
			out = append(out, p.ID+" is not in the report's")
		}
	}
	if len(out) == 0 {
		return " (the versions of its packs are the same, their text is not)"
	}
	return " (" + strings.Join(out, "; ") + ")"
}

// readCase reads the case within the report.
func (v *verifier) readCase() (*evidence.Case, error) {
	var faults source.Faults
	c, ok := evidence.Parse(v.b.Files[0].Name, []byte(v.b.Files[0].Text), &faults, func(c *evidence.Case, faults *source.Faults) {
		for _, f := range v.b.Files[1:] {
			c.ParseLimits(f.Name, []byte(f.Text), faults)
		}
		engine.Check(v.book, c, faults)
	})
	if !ok {
		return nil, errors.New(faults.List()[0].String())
	}
	return c, nil
}

// again makes the report once more and holds what is shown against it.
func (v *verifier) again(d *engine.Diagnosis) {
	if v.b.Program.Version != v.opt.Version {
		v.r.note("the report was made by version %s and checked by %s: how it is laid out was not made again", v.b.Program.Version, v.opt.Version)
		return
	}
	photos := withoutData(v.b.Photos)
	for i, p := range photos {
		if p.Copy != nil {
			p.Copy.Data = v.x.copies[p.Copy.SHA256]
			if v.x.form == "json" {
				p.Copy.Data = v.b.Photos[i].Copy.Data
			}
			if hash(p.Copy.Data) != p.Copy.SHA256 {
				return // told already
			}
		}
	}
	r := Build(Input{Book: v.book, Case: v.c, Diagnosis: d, Photos: photos, Files: v.b.Files})
	if v.x.form == "json" {
		diffs := diff("", asJSON(v.b.Report), asJSON(r))
		for i, line := range diffs {
			if i == mostDiffs {
				v.r.differs("and %d more texts", len(diffs)-i)
				break
			}
			v.r.differs("told again from the same figures, %s", line)
		}
		if len(diffs) == 0 {
			v.r.holds("its text is what follows from its figures")
		}
		return
	}
	sum, err := shownHash(r, photos, v.b)
	switch {
	case err != nil || sum != v.b.Shown:
		v.r.differs("what it shows is not what follows from its data%s", v.firstDifference(r, photos))
	default:
		v.r.holds("what it shows is what follows from its data")
	}
}

// firstDifference is the first line of a page that is not as it should be.
func (v *verifier) firstDifference(r *Report, photos []Photo) string {
	if v.x.form != "html" {
		return ""
	}
	before, _ := page(r, photos, "")
	if v.b.Paper != "" {
		before, _ = page(r, photos, paperOf(v.b.Paper))
	}
	should, is := bytes.Split(before, []byte("\n")), bytes.Split(v.x.shown, []byte("\n"))
	for i := range should {
		if i >= len(is) || !bytes.Equal(should[i], is[i]) {
			shows := ""
			if i < len(is) {
				shows = string(is[i])
			}
			a, b := apart(shows, string(should[i]))
			return fmt.Sprintf(": it shows %q, and should %q", a, b)
		}
	}
	return ""
}

var tag = regexp.MustCompile(`<[^>]*>`)

// apart cuts two lines of a page to where they begin to differ, without tags.
func apart(a, b string) (string, string) {
	x, y := []rune(tag.ReplaceAllString(a, " ")), []rune(tag.ReplaceAllString(b, " "))
	n := 0
	for n < len(x) && n < len(y) && x[n] == y[n] {
		n++
	}
	cut := func(r []rune) string { return clip(strings.TrimSpace(string(r[min(len(r), max(0, n-40)):]))) }
	return cut(x), cut(y)
}

// clip shortens a text.
func clip(s string) string {
	if r := []rune(s); len(r) > 100 {
		return string(r[:100]) + "…"
	}
	return s
}

// asJSON is a value as maps and lists, as one reads it back from JSON.
func asJSON(x any) any {
	text, err := json.Marshal(x)
	if err != nil {
		return nil
	}
	var out any
	_ = json.Unmarshal(text, &out) // it was just written
	return out
}
