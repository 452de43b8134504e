package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// Files that no script can hold: huge, and no UTF-8. Each is refused with its
// name and place, exit status 2, and nothing on standard output.
func TestFilesRefused(t *testing.T) {
	dir := t.TempDir()
	huge, latin, binary := filepath.Join(dir, "huge.toml"), filepath.Join(dir, "latin.toml"), filepath.Join(dir, "binary.toml")
	require.NoError(t, os.WriteFile(huge, []byte("[case]\n"), 0o644))
	require.NoError(t, os.Truncate(huge, 200<<20)) // holes: it takes no room on the disk
	require.NoError(t, os.WriteFile(latin, []byte("[case]\ntitle = \"Lindv\xedk\"\n"), 0o644))
	require.NoError(t, os.WriteFile(binary, []byte("\x7fELF\x02\x01\x01\x00\xff\xfe"), 0o644))
	for path, want := range map[string]string{
		huge:   huge + ": is larger than 8 MB, which no such file needs to be (is this the right file?)\n",
		latin:  latin + ":2:15: is not UTF-8 text (save it as UTF-8)\n",
		binary: binary + ":1:9: is not UTF-8 text (save it as UTF-8)\n",
	} {
		var out, errs bytes.Buffer
		status := run(t.Context(), []string{"diagnose", "--format", "json", path}, strings.NewReader(""), &out, &errs)
		assert.Equal(t, 2, status, path)
		assert.Empty(t, out.String())
		assert.Equal(t, want, errs.String())
	}
}

// endless is a standard input that never ends.
type endless struct{ read int }

func (e *endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = '#'
	}
	e.read += len(b)
	return len(b), nil
}

// A standard input that does not end is given up at the limit.
func TestEndlessInput(t *testing.T) {
	in := &endless{}
	var out, errs bytes.Buffer
	assert.Equal(t, 2, run(t.Context(), []string{"diagnose", "-"}, in, &out, &errs))
	assert.Empty(t, out.String())
	assert.Equal(t, "standard input: is larger than 8 MB, which no such file needs to be (is this the right file?)\n", errs.String())
	assert.Less(t, in.read, 20<<20)
}

// A standard input that breaks off is the program's failure, not the case's.
func TestBrokenInput(t *testing.T) {
	r, w := io.Pipe()
	require.NoError(t, w.CloseWithError(io.ErrUnexpectedEOF))
	var out, errs bytes.Buffer
	assert.Equal(t, 1, run(t.Context(), []string{"diagnose", "-"}, r, &out, &errs))
	assert.Empty(t, out.String())
	assert.Equal(t, "tidemark: standard input cannot be read: unexpected EOF\n", errs.String())
}

// Control-C ends the program, whatever it is at.
func TestInterrupt(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no interrupts between processes there")
	}
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self)
	cmd.Args = []string{"tidemark", "diagnose", "-"}
	in, err := cmd.StdinPipe() // never written to, never closed
	require.NoError(t, err)
	defer in.Close()
	require.NoError(t, cmd.Start())
	time.Sleep(500 * time.Millisecond) // past its start, where nothing could go wrong yet
	require.NoError(t, cmd.Process.Signal(os.Interrupt))
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	select {
	case err := <-done:
		assert.Error(t, err, "an interrupted run is no success")
	case <-time.After(10 * time.Second):
		assert.NoError(t, cmd.Process.Kill())
		<-done
		t.Error("it went on after the interrupt")
	}
}

// mathWords must not reach a mechanic. Decibans and bits are for those who ask
// for numbers; bits of gasket are for all.
var mathWords = regexp.MustCompile(`(?i)\b(priors?|posteriors?|leaks? prob\w*|noisy.ors?|nodes?|likelihood|bayes\w*|entropy|[0-9] bits?|factors?|random variables?|variables|nan)\b`)

var bookHash = regexp.MustCompile(`[0-9a-f]{12}`)

// The example's whole text, and that it fits into any terminal: no line is
// longer than the terminal unless one word alone is, no line ends in a space,
// there are no codes for colours, and no width changes what is said.
func TestDemoText(t *testing.T) {
	t.Setenv("COLUMNS", "80")
	out, errs, status := runIn("", "diagnose")
	require.Equal(t, 0, status, errs)
	assert.Empty(t, errs)
	// Any change of any pack changes the book's hash: that is no change of
	// what is said of the example.
	require.Regexp(t, bookHash, out)
	plain := bookHash.ReplaceAllString(out, "............")
	golden := filepath.Join("testdata", "demo.golden")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(plain), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), plain)

	// The other widths from one working out, which takes seconds.
	var faults source.Faults
	c, ok := evidence.Load("internal/cli/demo.toml", &faults)
	require.True(t, ok, faults.Error())
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	d, err := engine.Diagnose(t.Context(), book, c, engine.Options{})
	require.NoError(t, err)
	text := func(o report.Options) string {
		var b bytes.Buffer
		require.NoError(t, report.Text(&b, book, d, o))
		if !o.Numbers {
			assert.Empty(t, mathWords.FindAllString(b.String(), -1))
		}
		return b.String()
	}
	assert.Equal(t, out, text(report.Options{Width: 80, Example: true}))
	assert.Equal(t, out, text(report.Options{Example: true}), "80 where nothing is known of the terminal")
	for width, used := range map[int]int{40: 40, 60: 60, 80: 80, 100: 100, 7: 40, 400: 100} {
		narrow := text(report.Options{Width: width, Example: true})
		assert.Equal(t, strings.Fields(out), strings.Fields(narrow), "at %d columns", width)
		fits(t, narrow, used)
		fits(t, text(report.Options{Width: width, Full: true, Numbers: true}), used)
	}
}

// Lists fit at the width that COLUMNS says, and every card of the book fits
// into the narrowest terminal.
func TestNarrow(t *testing.T) {
	t.Setenv("COLUMNS", "40")
	for _, args := range [][]string{{"signs"}, {"causes", "--steps"}} {
		out, errs, status := runIn("", args...)
		require.Equal(t, 0, status, errs)
		fits(t, out, 40)
	}
	var faults source.Faults
	book := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, book, faults.Error())
	for _, s := range book.Signs {
		var b bytes.Buffer
		require.NoError(t, report.SignCard(&b, book, s, report.Options{Width: 40}))
		fits(t, b.String(), 40)
		assert.Empty(t, mathWords.FindAllString(b.String(), -1), s.ID)
	}
	for _, n := range book.Nodes {
		var b bytes.Buffer
		require.NoError(t, report.NodeCard(&b, book, n, report.Options{Width: 40}))
		fits(t, b.String(), 40)
		assert.Empty(t, mathWords.FindAllString(b.String(), -1), n.ID)
	}
}

func fits(t *testing.T, out string, width int) {
	t.Helper()
	require.True(t, utf8.ValidString(out))
	assert.NotContains(t, out, "\x1b", "a code for colour or movement")
	assert.NotContains(t, out, "\t")
	assert.NotContains(t, out, "%!", "a broken format")
	assert.True(t, strings.HasSuffix(out, "\n"))
	longest := 0
	for _, line := range strings.Split(strings.TrimSuffix(out, "\n"), "\n") {
		n := utf8.RuneCountInString(line)
		longest = max(longest, n)
		assert.Equal(t, strings.TrimRight(line, " "), line, "a space at the end")
		if n > width {
			assert.Len(t, strings.Fields(line), 1, "%d characters, and could be broken: %q", n, line)
		}
	}
	assert.Greater(t, longest, width*3/4, "the width is not used")
}
