package evidence

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

func newCase(t testing.TB, text string) (path string, c *Case) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "case.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path, load(t, path)
}

func load(t testing.TB, path string) *Case {
	t.Helper()
	var fs source.Faults
	c, ok := Load(path, &fs)
	require.True(t, ok, fs.Error())
	return c
}

func read(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(b)
}

var aFinding = Finding{ID: "F90", Sign: "oil_pan.sludge", State: Seen}

func TestAddKeepsWhatIsThere(t *testing.T) {
	for name, text := range map[string]string{
		"plain":           engineText + "# mine\n",
		"no last newline": engineText + "[finding.F01]\nsign = \"a.b\" # so\nstate = 'seen'",
		"comment at end":  engineText + "# no newline",
		"crlf":            strings.ReplaceAll(engineText, "\n", "\r\n"),
		"crlf cut":        strings.TrimSuffix(strings.ReplaceAll(engineText, "\n", "\r\n"), "\r\n"),
		"mark":            "\ufeff" + engineText,
	} {
		t.Run(name, func(t *testing.T) {
			path, c := newCase(t, text)
			before := len(c.Findings)
			f := aFinding
			f.Note = "two\nlines, \"quoted\" \\ and \x01"
			f.At = []Spot{{Kind: Rod, Indexes: []int{1, 2}, Place: "upper"}, {Unknown: "a"}}
			require.NoError(t, Add(path, c, f, Act{ID: "A01", Kind: ActOff, Part: "oil_pan"}))
			got := read(t, path)
			assert.True(t, strings.HasPrefix(got, text), "the old text stays")
			assert.Contains(t, strings.ReplaceAll(got, "\r", ""), "\n\n[finding.F90]", "an empty line between")
			assert.Equal(t, strings.Contains(text, "\r\n"), strings.Contains(got[len(text):], "\r\n"))
			if strings.Contains(text, "\r\n") {
				assert.Equal(t, strings.Count(got, "\n"), strings.Count(got, "\r\n"), "line endings as before")
			}
			assert.Equal(t, load(t, path), c, "the case is what the file now says")
			require.Len(t, c.Findings, before+1)
			assert.Equal(t, f.Note, c.Findings[before].Note)
			assert.Equal(t, "upper", c.Findings[before].At[0].Place)
			assert.True(t, c.Off("oil_pan"))
			require.NoError(t, Add(path, c, Act{ID: NextID(c, "A"), Kind: ActWash, Part: "oil_pan"}), "and again")
			assert.Equal(t, "A02", c.Acts[1].ID)
		})
	}
}

func TestEncode(t *testing.T) {
	h := 12.0
	for want, e := range map[string]Entry{
		"[finding.F90]\nsign = \"oil_pan.sludge\"\nstate = \"seen\"\n":                                                               aFinding,
		"[act.A3]\nkind = \"off\"\npart = \"x\"\nat = \"rod 3\"\ntorque = \"9 N·m\"\n":                                               Act{ID: "A3", Kind: ActOff, Part: "x", At: []Spot{{Text: "rod 3"}}, Torque: "9 N·m"},
		"[work.W1]\nwhat = \"x\"\nparts = [\"a\", \"b\"]\nhours_since = 12\n":                                                        Work{ID: "W1", What: "x", Parts: []PartRef{{Part: "a"}, {Part: "b"}}, HoursSince: &h},
		"[reading.\"R 1] \\n\"]\nof = \"a.b\"\nvalue = \"1 mm\"\n":                                                                   Reading{ID: "R 1] \n", Of: "a.b", Value: quantity.Value{Text: "1 mm"}},
		"[fitted.X1]\npart = \"p\"\nfound = \"say \\\"so\\\"\"\nafter = \"F1\"\n":                                                    Fitted{ID: "X1", Part: "p", Found: `say "so"`, Order: Order{After: []string{"F1"}}},
		"[finding.F1]\nsign = \"a.b\"\nat = \"all cylinders but 3 / top\"\nstate = \"not found\"\nby = \"eye\"\nsure = \"fairly\"\n": Finding{ID: "F1", Sign: "a.b", State: NotFound, By: Eye, Sure: Fairly, At: []Spot{{Kind: Cylinder, All: true, Except: []int{3}, Place: "top"}}},
	} {
		assert.Equal(t, want, Encode(e))
	}
}

// Every key that a case may have survives being written anew.
func TestEncodeLosesNothing(t *testing.T) {
	c := parse(t, fullText)
	text := engineText + "mains = \"5+\"\n"
	var entries []Entry
	for _, x := range c.Works {
		entries = append(entries, x)
	}
	for _, x := range c.Findings {
		entries = append(entries, x)
	}
	for _, x := range c.Readings {
		entries = append(entries, x)
	}
	for _, x := range c.Fitted {
		entries = append(entries, x)
	}
	for _, x := range c.Acts {
		entries = append(entries, x)
	}
	again := parse(t, string(appended([]byte(text), entries)))
	forget(c, again)
	assert.Equal(t, c.Works, again.Works)
	assert.Equal(t, c.Findings, again.Findings)
	assert.Equal(t, c.Readings, again.Readings)
	assert.Equal(t, c.Fitted, again.Fitted)
	assert.Equal(t, c.Acts, again.Acts)
}

// forget drops the places of entries, which differ from file to file.
func forget(cases ...*Case) {
	spots := func(list []Spot) {
		for i := range list {
			list[i].Pos = source.Position{}
		}
	}
	parts := func(lists ...[]PartRef) {
		for _, l := range lists {
			for i := range l {
				l[i].Pos = source.Position{}
			}
		}
	}
	none := source.Position{}
	for _, c := range cases {
		for i := range c.Findings {
			f := &c.Findings[i]
			f.Pos, f.SignPos, f.PartPos = none, none, none
			spots(f.At)
		}
		for i := range c.Readings {
			r := &c.Readings[i]
			r.Pos, r.OfPos, r.ValuePos, r.LimitPos, r.InstrumentPos = none, none, none, none, none
			spots(c.Readings[i].At)
			spots(c.Readings[i].Unlike)
		}
		for i := range c.Fitted {
			c.Fitted[i].Pos, c.Fitted[i].SignPos, c.Fitted[i].PartPos = none, none, none
			spots(c.Fitted[i].At)
		}
		for i := range c.Works {
			w := &c.Works[i]
			w.Pos, w.SignPos = none, none
			parts(w.Parts, w.Undone, w.Replaced)
		}
		for i := range c.Acts {
			c.Acts[i].Pos, c.Acts[i].PartPos = none, none
			spots(c.Acts[i].At)
		}
	}
}

// refused checks that adding fails, and leaves no trace in file, case or
// folder.
func refused(t *testing.T, path string, c *Case, entries ...Entry) error {
	t.Helper()
	text, was := read(t, path), *c
	files, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	err = Add(path, c, entries...)
	require.Error(t, err)
	assert.Equal(t, text, read(t, path))
	assert.Equal(t, was, *c)
	after, err2 := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err2)
	assert.Len(t, after, len(files), "no litter")
	return err
}

func TestAddRefuses(t *testing.T) {
	path, c := newCase(t, engineText+"[finding.F01]\nsign = \"a.b\"\nstate = \"seen\"\n")
	var faults *source.Faults

	bad := aFinding
	bad.State = "absent"
	require.ErrorAs(t, refused(t, path, c, bad), &faults)
	assert.Contains(t, faults.Error(), `case.toml:13:10: state is "absent"`)

	bad = aFinding
	bad.At = []Spot{{Kind: Rod, Indexes: []int{9}}}
	assert.ErrorContains(t, refused(t, path, c, aFinding2("F02"), bad), "there is no rod 9")

	bad = aFinding
	bad.Note = "\xff"
	assert.ErrorContains(t, refused(t, path, c, bad), "UTF-8")

	bad = aFinding
	bad.ID = "F1\"]\n[case]\nid = \"x"
	assert.ErrorContains(t, refused(t, path, c, bad), "is no id")

	bad.ID = ""
	assert.ErrorContains(t, refused(t, path, c, bad), "has no id")

	assert.EqualError(t, refused(t, path, c, aFinding2("F01")), "F01 is taken already: the next free one is F02")
	assert.EqualError(t, refused(t, path, c, aFinding, Act{ID: "F90"}), "F90 is taken already: the next free one is F91")

	// Changed by somebody else since, be it by one letter.
	require.NoError(t, os.WriteFile(path, []byte(read(t, path)+"#"), 0o644))
	err := refused(t, path, c, aFinding)
	assert.ErrorAs(t, err, &ErrChanged{})
	assert.ErrorContains(t, err, "has been changed since it was read; nothing was written")

	gone := filepath.Join(filepath.Dir(path), "gone.toml")
	assert.ErrorIs(t, Add(gone, c, aFinding), fs.ErrNotExist)
	assert.NoError(t, Add(gone, c), "nothing to add, nothing done")
}

func aFinding2(id string) Finding { return Finding{ID: id, Sign: "oil_pan.water", State: Seen} }

// A save by an editor while the new file is being flushed is not overwritten.
func TestAddMeanwhile(t *testing.T) {
	path, c := newCase(t, engineText)
	theirs := engineText + "# theirs\n"
	beforeRename = func() { require.NoError(t, os.WriteFile(path, []byte(theirs), 0o644)) }
	defer func() { beforeRename = func() {} }()
	assert.ErrorAs(t, Add(path, c, aFinding), &ErrChanged{})
	assert.Equal(t, theirs, read(t, path))
	files, _ := os.ReadDir(filepath.Dir(path))
	assert.Len(t, files, 1, "no litter")
}

// Killed between writing and renaming: the file is the old one, what is left
// over is no case and in nobody's way.
func TestAddKilled(t *testing.T) {
	path, c := newCase(t, engineText)
	type killed struct{}
	var left string
	beforeRename = func() {
		files, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".case.toml.*.tmp"))
		require.Len(t, files, 1)
		left = files[0]
		assert.True(t, strings.HasPrefix(read(t, left), engineText), "written whole before the rename")
		// As a kill leaves it: what was being written stays behind.
		require.NoError(t, os.Link(left, left+".left.tmp"))
		panic(killed{})
	}
	func() {
		defer func() { assert.Equal(t, killed{}, recover()) }()
		_ = Add(path, c, aFinding)
	}()
	beforeRename = func() {}
	assert.Equal(t, engineText, read(t, path))
	cases, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*.toml"))
	assert.Equal(t, []string{path}, cases)
	require.NoError(t, Add(path, c, aFinding))
	assert.Len(t, load(t, path).Findings, 1)
}

func TestAddKeepsMode(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("permissions are of another kind")
	}
	path, c := newCase(t, engineText)
	for _, mode := range []fs.FileMode{0o600, 0o664} {
		require.NoError(t, os.Chmod(path, mode))
		require.NoError(t, Add(path, c, aFinding2(NextID(c, "F"))), "even where the umask says otherwise")
		st, err := os.Stat(path)
		require.NoError(t, err)
		assert.Equal(t, mode, st.Mode().Perm())
	}
}

func TestAddFollowsLinks(t *testing.T) {
	path, c := newCase(t, engineText)
	link := filepath.Join(t.TempDir(), "link.toml")
	if err := os.Symlink(path, link); err != nil {
		t.Skip(err)
	}
	require.NoError(t, Add(link, c, aFinding))
	st, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, st.Mode()&fs.ModeSymlink, "still a link")
	assert.Contains(t, read(t, path), "F90")
}

func TestAddReadOnly(t *testing.T) {
	if os.Geteuid() == 0 {
		// The superuser may write everywhere: a folder that cannot be made in
		// stands in.
		path, c := newCase(t, engineText)
		dir := filepath.Join(filepath.Dir(path), strings.Repeat("d", 200))
		require.NoError(t, os.Mkdir(dir, 0o755))
		long := filepath.Join(dir, strings.Repeat("n", 245)+".toml")
		require.NoError(t, os.WriteFile(long, []byte(engineText), 0o644))
		err := refused(t, long, c, aFinding)
		assert.ErrorContains(t, err, "cannot be written")
		return
	}
	path, c := newCase(t, engineText)
	require.NoError(t, os.Chmod(filepath.Dir(path), 0o555))
	defer os.Chmod(filepath.Dir(path), 0o755)
	assert.ErrorIs(t, refused(t, path, c, aFinding), fs.ErrPermission)
	require.NoError(t, os.Chmod(filepath.Dir(path), 0o755))
	require.NoError(t, os.Chmod(path, 0o444))
	assert.ErrorIs(t, refused(t, path, c, aFinding), fs.ErrPermission)
}

// Of many who add to the same reading of a file one wins, the others are told,
// and nothing is lost.
func TestAddAtOnce(t *testing.T) {
	path, _ := newCase(t, engineText)
	var wg sync.WaitGroup
	errs := make([]error, 8)
	cases := make([]*Case, len(errs))
	for i := range cases {
		cases[i] = load(t, path) // all before the first of them writes
	}
	for i := range errs {
		wg.Go(func() { errs[i] = Add(path, cases[i], aFinding) })
	}
	wg.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
		} else {
			assert.ErrorAs(t, err, &ErrChanged{})
		}
	}
	assert.Equal(t, 1, won)
	assert.Len(t, load(t, path).Findings, 1)
}

func TestNextID(t *testing.T) {
	c := &Case{Findings: []Finding{{ID: "F02"}, {ID: "F06"}, {ID: "FX9"}, {ID: "F99999999999999999999"}, {ID: "F9999999999"}}, Acts: []Act{{ID: "A99"}}, Works: []Work{{ID: "W1"}}, Readings: []Reading{{ID: "R"}}}
	for prefix, want := range map[string]string{"F": "F07", "A": "A100", "W": "W2", "R": "R01", "X": "X01", "FX": "FX10"} {
		assert.Equal(t, want, NextID(c, prefix))
	}
}

// Whatever is said in an entry that loads at all, adding it makes the same
// case plus one, and every byte of the old file stays.
func TestAddAnything(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		path := filepath.Join(dir, "case.toml")
		require.NoError(t, os.WriteFile(path, []byte(engineText), 0o644))
		var fs source.Faults
		c, ok := Load(path, &fs)
		require.True(t, ok)
		text := func(name string) string { return strings.TrimSpace(rapid.String().Draw(t, name)) }
		spot := rapid.SampledFrom(spotTexts).Draw(t, "at")
		f := Finding{ID: NextID(c, "F"), Sign: "a.b", State: rapid.SampledFrom([]State{Seen, NotFound, Unavailable}).Draw(t, "state"), Note: text("note"), Who: text("who"), Why: text("why"),
			Look: text("look"), By: Lens, Sure: Fairly, At: []Spot{spot.want}}
		err := Add(path, c, f)
		var faults *source.Faults
		if errors.As(err, &faults) {
			// Only the position can be wrong, where this engine has not got it.
			_, own := c.Engine.Resolve(spot.want, spot.want.Kind)
			require.Error(t, own, faults.Error())
			return
		}
		require.NoError(t, err)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(after, []byte(engineText)))
		require.Len(t, c.Findings, 1)
		got := c.Findings[0]
		f.At[0].Text, f.At[0].Pos = got.At[0].Text, got.At[0].Pos
		f.Pos, f.SignPos, f.PartPos = got.Pos, got.SignPos, got.PartPos
		require.Equal(t, f, got)
	})
}

// Whatever the bytes, reading ends in a case or in a fault; and to whatever
// case it ends in, a finding can be added that changes nothing else.
func FuzzParse(f *testing.F) {
	f.Add([]byte(fullText))
	f.Add([]byte(engineText))
	f.Add([]byte(strings.ReplaceAll(engineText, "\n", "\r\n")))
	f.Add([]byte(engineText + "finding.F1.sign = 'a.b'\nfinding = { F1 = { sign = 'a.b', state = 'seen' } }"))
	if bad, err := os.ReadFile(filepath.Join(casesDir, "bad.toml")); err == nil {
		f.Add(bad)
	} else {
		f.Fatal(err)
	}
	for _, s := range spotTexts {
		f.Add([]byte(engineText + "[finding.F1]\nsign = \"a.b\"\nstate = \"seen\"\nat = \"" + s.text + "\"\n"))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var faults source.Faults
		c, ok := Parse("f", text, &faults)
		if ok != (c != nil) || ok != (faults.Errors() == 0) {
			t.Fatalf("ok %v, case %v, faults %v", ok, c != nil, faults.Error())
		}
		if !ok {
			return
		}
		n := NextID(c, "Zz")
		now := appended(text, []Entry{Finding{ID: n, Sign: "zz.fuzz", State: Unavailable, Why: "made up"}})
		if !bytes.HasPrefix(now, text) {
			t.Fatal("the old text was changed")
		}
		again, ok := Parse("f", now, &faults)
		if !ok {
			// finding = { … } on one line is closed: TOML lets nobody add to it.
			if bytes.Contains(text, []byte("finding")) && bytes.ContainsAny(text, "{=") {
				return
			}
			t.Fatalf("a finding could not be added: %v", faults.Error())
		}
		last := len(again.Findings) - 1
		if last != len(c.Findings) || again.Findings[last].ID != n {
			t.Fatalf("%d findings after %d", last+1, len(c.Findings))
		}
		again.Findings = again.Findings[:last]
		if last == 0 {
			again.Findings = nil
		}
		again.hash = c.hash
		if !assert.ObjectsAreEqual(c, again) {
			t.Fatal("the rest of the case was changed")
		}
	})
}
