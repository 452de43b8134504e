package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine/practice"
)

// screen gathers what a terminal shows.
type screen struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.buf.Write(b)
}

func (s *screen) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.ReplaceAll(s.buf.String(), "\r\n", "\n")
}

// terminal starts a command at a pseudo-terminal of 80 columns.
func terminal(t *testing.T, data string, args ...string) (*exec.Cmd, *os.File, *screen) {
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self)
	cmd.Args = append([]string{"tidemark"}, args...)
	cmd.Env = append(os.Environ(), "XDG_DATA_HOME="+data, "COLUMNS=")
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 40, Cols: 80})
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	s := &screen{}
	go func() { _, _ = io.Copy(s, tty) }()
	return cmd, tty, s
}

// prompts waits until the game has asked for the nth line.
func prompts(t *testing.T, s *screen, n int) {
	t.Helper()
	require.Eventually(t, func() bool { return len(prompt.FindAllString(s.text(), -1)) >= n }, 2*time.Minute, 20*time.Millisecond, "%s", s.text())
}

var prompt = regexp.MustCompile(`(?m)^> `)

// A whole game at a terminal, typed line by line: every line of it fits, what is
// typed is answered, and the game stands in the log. A game that is killed leaves the
// log as it was.
func TestPracticeAtATerminal(t *testing.T) {
	data := t.TempDir()
	log := filepath.Join(data, "tidemark", "practice.jsonl")
	args := []string{"practice", "--seed", "1", "--engine", "saw"}
	cmd, tty, s := terminal(t, data, args...)
	defer tty.Close()
	lines := []string{"list", "look piston", "look air filter", "look owner", "off exhaust", "look exhaust", "off cylinder", "notes", "causes seal", "steps seized", "chain", "guess nonsense 50", "guess fins blocked 40", "guess not determined 10", "done"}
	for i, line := range lines {
		prompts(t, s, i+1)
		_, err := tty.WriteString(line + "\n")
		require.NoError(t, err)
	}
	require.NoError(t, cmd.Wait())
	require.Eventually(t, func() bool { return strings.Contains(s.text(), "THE WORK") }, 10*time.Second, 10*time.Millisecond)
	time.Sleep(100 * time.Millisecond) // for the last of it
	text := s.text()
	for _, want := range []string{"Practice, apprentice, seed 1", "The question: ", "min of work so far", "WHAT IT WAS", "WHAT YOU SAID", "Score: ", "THE CHAIN", "THE WORK", "the best plan takes "} {
		assert.Contains(t, text, want)
	}
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, len([]rune(line)), 80, line)
	}
	assert.NotContains(t, text, "\x1b")
	assert.Empty(t, mathWords.FindAllString(strings.ReplaceAll(text, " bits", ""), -1))
	entries, bad, err := practice.ReadLog(log)
	require.NoError(t, err)
	assert.Empty(t, bad)
	require.Len(t, entries, 1)
	assert.Equal(t, uint64(1), entries[0].Seed)
	before, err := os.ReadFile(log)
	require.NoError(t, err)

	cmd, tty, s = terminal(t, data, args...)
	defer tty.Close()
	prompts(t, s, 1)
	_, err = tty.WriteString("guess fins blocked 40\n")
	require.NoError(t, err)
	prompts(t, s, 2)
	require.NoError(t, cmd.Process.Kill())
	assert.Error(t, cmd.Wait(), "it was killed")
	after, err := os.ReadFile(log)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}
