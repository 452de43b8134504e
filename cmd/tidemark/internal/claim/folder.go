package claim

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"

	"github.com/BurntSushi/toml"

	"tidemark/evidence/source"
)

// folder holds the originals against the hashes.
func (v *verifier) folder() {
	dir, name := v.opt.Dir, v.b.Files[0].Name
	if st, err := os.Stat(dir); err == nil && !st.IsDir() {
		dir, name = filepath.Dir(dir), filepath.Base(dir)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		v.r.differs("the case's folder cannot be opened: %v", err)
		return
	}
	defer root.Close()
	good := 0
	for i, f := range v.b.Files {
		at := f.Ref
		if i == 0 {
			at = name
		}
		if at == "" {
			v.r.note("%s was given on the command line; it is not looked for in the folder", f.Name)
			continue
		}
		text, err := readFrom(root, at, source.MaxSize)
		switch {
		case err != nil:
			v.r.differs("%s is not in the case's folder: %v", at, plainError(err))
		case hash(text) != f.SHA256:
			v.r.differs("%s in the case's folder is not the one from which the report was made%s", at, changed(f.Text, string(text)))
		default:
			good++
		}
	}
	for _, p := range v.b.Photos {
		if p.SHA256 == "" {
			v.r.note("photo %s was not taken in: %s", p.Path, p.Missing)
			continue
		}
		data, err := readFrom(root, path.Clean(strings.ReplaceAll(p.Path, `\`, "/")), mostPhotoBytes)
		switch {
		case err != nil:
			v.r.differs("photo %s is not in the case's folder: %v", p.Path, plainError(err))
		case hash(data) != p.SHA256:
			v.r.differs("photo %s in the case's folder is not the one of the report: its SHA-256 is %.12s…, and %.12s… is listed", p.Path, hash(data), p.SHA256)
		default:
			good++
		}
	}
	if good > 0 {
		v.r.holds("in the case's folder, what belongs to the report is as it was (files looked at: %d)", good)
	}
}

func readFrom(root *os.Root, name string, most int64) ([]byte, error) {
	f, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, most+1))
}

// plainError is what went wrong, without what was tried.
func plainError(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// changed tells which entries of a case differ.
func changed(said, now string) string {
	var a, b map[string]any
	if toml.Unmarshal([]byte(said), &a) != nil || toml.Unmarshal([]byte(now), &b) != nil {
		return ""
	}
	lines := diff("", a, b)
	if len(lines) == 0 {
		return ": only its spacing or comments differ"
	}
	if len(lines) > 6 {
		lines = append(lines[:6], fmt.Sprintf("and %d more", len(lines)-6))
	}
	return ": " + strings.Join(lines, "; ")
}
