package claim

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"

	"tidemark/engine"
)

// Schema names the shape of a Bundle as JSON.
const Schema = "tidemark.claim/1"

// Bundle is all that a report can be checked by: it is the JSON form of a report, and
// stands within the others.
type Bundle struct {
	Schema    string            `json:"schema"`
	Program   engine.Program    `json:"program"`
	Form      string            `json:"form"`            // html, pdf, json
	Paper     string            `json:"paper,omitempty"` // of the PDF
	Book      engine.BookInfo   `json:"book"`
	Memory    int64             `json:"memory"` // bytes that one question to the model could take
	Files     []File            `json:"files"`  // the case first, then its files of limits
	Photos    []Photo           `json:"photos"`
	Diagnosis *engine.Diagnosis `json:"diagnosis"`
	Report    *Report           `json:"report,omitempty"` // of the JSON form, which shows nothing else
	// Shown is the hash of what the page or paper shows: of the file without this data.
	Shown     string     `json:"shown,omitempty"`
	Signature *Signature `json:"signature,omitempty"`
}

// File is a text that the diagnosis was made from.
type File struct {
	Name   string `json:"name"` // without folders
	SHA256 string `json:"sha256"`
	Flag   bool   `json:"flag,omitempty"` // given on the command line, not by the case
	// Ref is how the case names it.
	Ref  string `json:"ref,omitempty"`
	Text string `json:"text"`
}

// NewFile is a text with its hash.
func NewFile(name string, text []byte) File {
	return File{Name: name, SHA256: hash(text), Text: string(text)}
}

func hash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// Signature is by Ed25519 over the bundle without signature and copies of photos; these
// are in it by their hashes.
type Signature struct {
	Key   []byte `json:"key"` // public
	Value []byte `json:"value"`
}

// encode writes a bundle as it stands in a report: one form only, so that anything done
// to it shows. It holds no "<", so that it can stand within a page.
func (b *Bundle) encode() ([]byte, error) {
	out, err := json.MarshalIndent(b, "", " ")
	if err != nil {
		return nil, fmt.Errorf("the report's data could not be written: %w", err)
	}
	return append(out, '\n'), nil
}

// signed are the bytes that a signature is over.
func (b *Bundle) signed() ([]byte, error) {
	x := *b
	x.Signature = nil
	x.Photos = make([]Photo, len(b.Photos))
	for i, p := range b.Photos {
		if p.Copy != nil {
			c := *p.Copy
			c.Data = nil
			p.Copy = &c
		}
		x.Photos[i] = p
	}
	return x.encode()
}

// mostBundle bounds what is read as the data of a report.
const mostBundle = 512 << 20

// parseBundle reads the data of a report; every key must be known, for what is not read
// is not checked.
func parseBundle(data []byte) (*Bundle, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	var b Bundle
	if err := d.Decode(&b); err != nil {
		return nil, fmt.Errorf("the report's data cannot be read: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("the report's data cannot be read: something stands behind it")
	}
	if b.Schema != Schema {
		return nil, fmt.Errorf("the report's data is %q, and this program reads %q", b.Schema, Schema)
	}
	if b.Diagnosis == nil || len(b.Files) == 0 {
		return nil, fmt.Errorf("the report's data is not whole: it has no case or no diagnosis")
	}
	return &b, nil
}
