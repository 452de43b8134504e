package claim

import (
	"crypto/ed25519"
	"fmt"

	"tidemark/cmd/tidemark/internal/pdf"
)

// Options are how a report is written.
type Options struct {
	Form   string // html, pdf, json
	Paper  pdf.Paper
	Memory int64              // bytes that one question to the model could take
	Key    ed25519.PrivateKey // nil for a report that is not signed
}

// Write makes a report in one of its forms.
func Write(in Input, opt Options) ([]byte, error) {
	b := &Bundle{Schema: Schema, Program: in.Diagnosis.Program, Form: opt.Form, Paper: string(opt.Paper), Book: in.Diagnosis.Book, Memory: opt.Memory, Files: in.Files, Photos: in.Photos, Diagnosis: in.Diagnosis}
	r := Build(in)
	if opt.Form == "json" {
		b.Report = r
		if err := b.sign(opt.Key); err != nil {
			return nil, err
		}
		return b.encode()
	}
	shows, err := shownHash(r, in.Photos, b)
	if err != nil {
		return nil, err
	}
	b.Shown = shows
	b.Photos = withoutData(in.Photos)
	if err := b.sign(opt.Key); err != nil {
		return nil, err
	}
	data, err := b.encode()
	if err != nil {
		return nil, err
	}
	return assemble(r, in.Photos, b, data)
}

// assemble puts what is shown and the data of a report together.
func assemble(r *Report, photos []Photo, b *Bundle, data []byte) ([]byte, error) {
	switch b.Form {
	case "html":
		before, after := page(r, photos, pdf.Paper(b.Paper))
		return append(append(before, data...), after...), nil
	case "pdf":
		return paper(r, photos, pdf.Paper(b.Paper), data)
	}
	return nil, fmt.Errorf("%q is no form of a report", b.Form)
}

// shownHash is the hash of a report without its data.
func shownHash(r *Report, photos []Photo, b *Bundle) (string, error) {
	file, err := assemble(r, photos, b, []byte("{}\n"))
	if err != nil {
		return "", err
	}
	x, err := open(file)
	if err != nil {
		return "", err
	}
	return hash(x.shown), nil
}

// withoutData are photos without their copies, which the report shows elsewhere.
func withoutData(photos []Photo) []Photo {
	out := make([]Photo, len(photos))
	for i, p := range photos {
		if p.Copy != nil {
			c := *p.Copy
			c.Data = nil
			p.Copy = &c
		}
		out[i] = p
	}
	return out
}

// sign signs a bundle; without a key it does nothing.
func (b *Bundle) sign(key ed25519.PrivateKey) error {
	if key == nil {
		return nil
	}
	text, err := b.signed()
	if err != nil {
		return err
	}
	b.Signature = &Signature{Key: key.Public().(ed25519.PublicKey), Value: ed25519.Sign(key, text)}
	return nil
}
