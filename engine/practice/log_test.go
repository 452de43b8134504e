package practice

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func entry(i int) Entry {
	return Entry{Schema: LogSchema, When: time.Date(2031, 3, 1, 8, i, 0, 0, time.UTC), Seed: uint64(i), Level: Apprentice, Engine: "boat", Question: "stopped", System: "pump",
		Said: []Said{{Cause: "blocked_filter", P: 0.8, Base: 0.25, Right: i%2 == 0}}, Bits: 1.5, Chain: 0.5, Minutes: 30, Plan: 20, Looks: 4}
}

// A kill at any byte leaves a log of which all that was whole is read, and what was
// cut off is told; and the next game stands whole after it.
func TestLogSurvivesAKillAtEveryByte(t *testing.T) {
	path := filepath.Join(t.TempDir(), "tidemark", "practice.jsonl")
	for i := range 3 {
		require.NoError(t, Append(path, entry(i)))
	}
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	ends := []int{} // of lines
	for i, c := range whole {
		if c == '\n' {
			ends = append(ends, i)
		}
	}
	require.Len(t, ends, 3)
	for cut := 0; cut <= len(whole); cut++ {
		require.NoError(t, os.WriteFile(path, whole[:cut], 0o644))
		kept := 0
		for _, e := range ends {
			if e <= cut { // the line break itself may be lost
				kept++
			}
		}
		entries, bad, err := ReadLog(path)
		require.NoError(t, err)
		require.Len(t, entries, kept, "cut at %d", cut)
		for i, e := range entries {
			require.Equal(t, entry(i), e)
		}
		torn := cut > 0 && whole[cut-1] != '\n' && cut != ends[min(kept, 3)-min(1, kept)]
		if torn {
			require.Equal(t, []int{kept + 1}, bad, "cut at %d", cut)
		} else {
			require.Empty(t, bad, "cut at %d", cut)
		}
		require.NoError(t, Append(path, entry(9)))
		entries, after, err := ReadLog(path)
		require.NoError(t, err)
		require.Len(t, entries, kept+1, "cut at %d", cut)
		require.Equal(t, entry(9), entries[kept])
		require.Equal(t, bad, after)
	}
}

// What a game puts into the log is read again, however unlikely what was named: it
// has its chance by base rates.
func TestEntryIsRead(t *testing.T) {
	b := smallBook(t, small)
	x := drawn(t, b, Apprentice, func(*Exercise) bool { return true })
	g := NewGame(x)
	g.Guess(b.Node("rough_handling"), 0.0001) // never to blame for this
	g.Guess(nil, 1)
	r, err := g.Score(t.Context())
	require.NoError(t, err)
	assert.Greater(t, r.Guesses[0].Base, 1e-4)
	path := filepath.Join(t.TempDir(), "log")
	require.NoError(t, Append(path, g.Entry(r, time.Now())))
	entries, bad, err := ReadLog(path)
	require.NoError(t, err)
	assert.Empty(t, bad)
	assert.Len(t, entries, 1)
}

// Appending writes once: a reader never sees part of a line that a writer is at.
func TestLogIsOnlyAddedTo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "practice.jsonl")
	var before []byte
	for i := range 5 {
		require.NoError(t, Append(path, entry(i)))
		now, err := os.ReadFile(path)
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(now, before))
		before = now
	}
	assert.Equal(t, 5, bytes.Count(before, []byte{'\n'}))
}

func TestLogThatIsNotThere(t *testing.T) {
	entries, bad, err := ReadLog(filepath.Join(t.TempDir(), "none"))
	require.NoError(t, err)
	assert.Empty(t, entries)
	assert.Empty(t, bad)
	_, _, err = ReadLog(t.TempDir())
	assert.Error(t, err, "a folder is no log")
}

// Progress by hand: ten games about one thing, said 80 % each time and right in five;
// two about another, both right at 95 %.
func TestProgress(t *testing.T) {
	var log []Entry
	for i := range 10 {
		e := entry(i)
		e.System, e.Bits = "pump", float64(i)
		log = append(log, e)
	}
	for i := range 2 {
		e := entry(2 * i)
		e.System, e.Said[0].P = "air", 0.95
		log = append(log, e)
	}
	p := ProgressOf(log)
	assert.Equal(t, 12, p.Games)
	assert.InDelta(t, (45+3.0)/12, p.Bits, 1e-9)
	require.Len(t, p.Systems, 2)
	assert.Equal(t, "air", p.Systems[0].ID)
	pump := p.Systems[1]
	assert.Equal(t, 5, pump.Right)
	assert.InDelta(t, 4.5, pump.Bits, 1e-9)
	assert.InDelta(t, 2, pump.Early, 1e-9)
	assert.InDelta(t, 7, pump.Late, 1e-9)
	assert.Equal(t, []Band{{0.8, 0.9, 10, 0.8, 0.5}, {0.9, 1, 2, 0.95, 1}}, roundBands(p.Bands))
	// (5+1)/(10+2) right: 0.5 weak. (2+1)/(2+2): 0.25, not weak.
	assert.Equal(t, []string{"pump"}, p.Weak)
	b := smallBook(t, small)
	assert.Equal(t, "", p.Lean(0.3, b))
	assert.Equal(t, "pump", p.Lean(0.7, b))
	assert.Equal(t, "", Progress{}.Lean(0.9, b))
}

func roundBands(bands []Band) []Band {
	for i := range bands {
		bands[i].Said, bands[i].Right = round(bands[i].Said), round(bands[i].Right)
	}
	return bands
}

// Whatever stands in the log, reading it does not break, and all that is read can be
// summed up and written again.
func FuzzParseLog(f *testing.F) {
	good, _ := json.Marshal(entry(1))
	f.Add(append(append(good, '\n'), good[:40]...))
	f.Add([]byte("\n\n{}\nnull\n[1]\n{\"schema\":\"tidemark.practice/1\",\"level\":\"apprentice\",\"said\":[{\"p\":7}]}"))
	f.Fuzz(func(t *testing.T, text []byte) {
		entries, bad := ParseLog(text)
		if n := bytes.Count(text, []byte{'\n'}) + 1; len(entries)+len(bad) > n {
			t.Fatalf("%d lines, and %d entries", n, len(entries)+len(bad))
		}
		_ = ProgressOf(entries)
		for _, e := range entries {
			line, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			if again, bad := ParseLog(line); len(again) != 1 || len(bad) != 0 {
				t.Fatalf("%s is not read again", line)
			}
		}
	})
}

// A process that is killed while it does nothing but add games: what it had added is
// read, and at most the last line is torn.
func TestLogSurvivesRealKills(t *testing.T) {
	if path := os.Getenv("PRACTICE_LOG_TO_FILL"); path != "" {
		for i := 0; ; i++ {
			if err := Append(path, entry(i%50)); err != nil {
				os.Exit(1)
			}
		}
	}
	if testing.Short() {
		t.Skip("starts processes")
	}
	path := filepath.Join(t.TempDir(), "practice.jsonl")
	had := 0
	for k := range 8 {
		cmd := exec.Command(os.Args[0], "-test.run=TestLogSurvivesRealKills$")
		cmd.Env = append(os.Environ(), "PRACTICE_LOG_TO_FILL="+path)
		require.NoError(t, cmd.Start())
		require.Eventually(t, func() bool {
			entries, _, err := ReadLog(path)
			return err == nil && len(entries) > had+3
		}, 20*time.Second, time.Duration(3+k)*time.Millisecond)
		require.NoError(t, cmd.Process.Kill())
		assert.Error(t, cmd.Wait(), "it was killed")
		entries, bad, err := ReadLog(path)
		require.NoError(t, err)
		assert.Greater(t, len(entries), had)
		assert.LessOrEqual(t, len(bad), k+1)
		had = len(entries)
	}
}
