package evidence

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"

	"tidemark/evidence/source"
)

// ErrChanged tells that a file is no longer what the case was read from.
type ErrChanged struct{ Path string }

func (e ErrChanged) Error() string {
	return fmt.Sprintf("%s has been changed since it was read; nothing was written: read it again, then add", e.Path)
}

// ErrTaken tells that an id is in use.
type ErrTaken struct {
	ID   string
	Free string // the next free id of that kind
}

func (e ErrTaken) Error() string {
	return fmt.Sprintf("%s is taken already: the next free one is %s", e.ID, e.Free)
}

// adding keeps this program from racing with itself; lock keeps it from racing
// with another run of itself.
var adding sync.Mutex

// Add appends entries to the case file from which c was read, and brings c up
// to date with it. What stands in the file stays as it is, byte for byte.
//
// The result is read and checked before it takes the file's place, in one step
// (temporary file beside it, flush to disk, rename): after a power cut the file
// is either the old one or the new one, whole. A symbolic link is followed, the
// permissions are kept. If the file is no longer what c was read from, the
// error is an ErrChanged; if an id is in use, an ErrTaken; if the entries make
// a bad case, a *source.Faults with places in the file as it would have been.
// On any error before the rename the file is as it was, and c too. Only if the
// folder cannot be flushed after it does the error come with the entries
// written, and c holds them.
func Add(path string, c *Case, entries ...Entry) error {
	if len(entries) == 0 {
		return nil
	}
	adding.Lock()
	defer adding.Unlock()
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", path, plain(err))
	}
	dir := filepath.Dir(real)
	unlock := lock(dir)
	defer unlock()

	st, err := os.Stat(real)
	if err != nil {
		return fmt.Errorf("%s cannot be read: %w", path, plain(err))
	}
	if !st.Mode().IsRegular() {
		return fmt.Errorf("%s is no ordinary file, and cannot be added to", path)
	}
	old, err := unchanged(path, real, c)
	if err != nil {
		return err
	}
	for i, e := range entries {
		table, id := e.key()
		taken := slices.Contains(c.ids(), id)
		for _, x := range entries[:i] {
			_, other := x.key()
			taken = taken || other == id
		}
		if taken {
			return ErrTaken{ID: id, Free: c.nextID(strings.TrimRight(id, "0123456789"), entries)}
		}
		if id == "" {
			return fmt.Errorf("the new %s has no id", table)
		}
	}
	text := appended(old, entries)
	if len(text) > source.MaxSize {
		return fmt.Errorf("%s would be larger than %d MB, and could not be read again", path, source.MaxSize>>20)
	}
	var faults source.Faults
	now, ok := Parse(c.File, text, &faults)
	if !ok {
		return &faults
	}
	if err := replace(path, real, c, text, st.Mode()); err != nil {
		return err
	}
	*c = *now
	if err := syncDir(dir); err != nil {
		return fmt.Errorf("%s is written, but may not survive a power cut: %w", path, plain(err))
	}
	return nil
}

// unchanged reads the file and holds it against what the case was read from.
func unchanged(path, real string, c *Case) ([]byte, error) {
	f, err := os.Open(real)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", path, plain(err))
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, source.MaxSize+1))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", path, plain(err))
	}
	if sha256.Sum256(text) != c.hash {
		return nil, ErrChanged{Path: path}
	}
	return text, nil
}

// appended is the text with the entries after it, in the line endings of the
// file.
func appended(old []byte, entries []Entry) []byte {
	var b strings.Builder
	if len(old) > 0 && !bytes.HasSuffix(old, []byte("\n")) {
		b.WriteByte('\n')
	}
	for i, e := range entries {
		if i > 0 || len(old) > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(Encode(e))
	}
	add := b.String()
	if i := bytes.IndexByte(old, '\n'); i > 0 && old[i-1] == '\r' {
		// Line breaks within texts are escaped, so these are all ends of lines.
		add = strings.ReplaceAll(add, "\n", "\r\n")
	}
	return append(slices.Clone(old), add...)
}

// replace puts text in the place of a file. The temporary file is hidden and
// not named .toml: if the program is killed here, it is litter and nothing else.
func replace(path, real string, c *Case, text []byte, mode fs.FileMode) (err error) {
	fail := func(err error) error { return fmt.Errorf("%s cannot be written: %w", path, plain(err)) }
	// A file that may not be written is not replaced behind its owner's back.
	w, err := os.OpenFile(real, os.O_WRONLY, 0)
	if err != nil {
		return fail(err)
	}
	if err := w.Close(); err != nil {
		return fail(err)
	}
	tmp, err := os.CreateTemp(filepath.Dir(real), "."+filepath.Base(real)+".*.tmp")
	if err != nil {
		return fail(err)
	}
	defer func() {
		if err != nil {
			tmp.Close()
			os.Remove(tmp.Name())
		}
	}()
	if _, err := tmp.Write(text); err != nil {
		return fail(err)
	}
	if err := tmp.Chmod(mode.Perm()); err != nil {
		return fail(err)
	}
	if err := tmp.Sync(); err != nil {
		return fail(err)
	}
	if err := tmp.Close(); err != nil {
		return fail(err)
	}
	beforeRename()
	// Flushing takes a while: an editor may have saved meanwhile.
	if _, err := unchanged(path, real, c); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), real); err != nil {
		return fail(err)
	}
	return nil
}

// beforeRename is where tests let something happen meanwhile.
var beforeRename = func() {}

// plain strips the path that the system's errors repeat.
func plain(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	var le *os.LinkError
	if errors.As(err, &le) {
		return le.Err
	}
	return err
}

// ids lists the ids of all entries.
func (c *Case) ids() []string {
	var out []string
	for _, x := range c.Findings {
		out = append(out, x.ID)
	}
	for _, x := range c.Readings {
		out = append(out, x.ID)
	}
	for _, x := range c.Fitted {
		out = append(out, x.ID)
	}
	for _, x := range c.Works {
		out = append(out, x.ID)
	}
	for _, x := range c.Acts {
		out = append(out, x.ID)
	}
	return out
}

// NextID is the id after the highest that begins with prefix and goes on in
// digits: "F07" after F06, with as many digits as that one has; two where there
// is none yet. Gaps are not filled: an exhibit's number is never given twice.
func NextID(c *Case, prefix string) string { return c.nextID(prefix, nil) }

func (c *Case) nextID(prefix string, and []Entry) string {
	ids := c.ids()
	for _, e := range and {
		_, id := e.key()
		ids = append(ids, id)
	}
	highest, width := 0, 2
	for _, id := range ids {
		digits, ok := strings.CutPrefix(id, prefix)
		// Longer numbers than that are no count.
		if !ok || digits == "" || len(digits) > 9 || strings.Trim(digits, "0123456789") != "" {
			continue
		}
		n, err := strconv.Atoi(digits)
		if err == nil && (n > highest || highest == 0) {
			highest, width = n, len(digits)
		}
	}
	return fmt.Sprintf("%s%0*d", prefix, width, highest+1)
}
