package cli

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine/practice"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func TestParseOrder(t *testing.T) {
	for line, want := range map[string]order{
		"":                         {},
		"   ":                      {},
		"# a remark":               {},
		"look oil pan":             {"look", "oil pan"},
		"LOOK at  Oil   PAN":       {"look", "oil pan"},
		"look for sludge":          {"look", "sludge"},
		"ask owner":                {"look", "owner"},
		"take off oil pan":         {"off", "oil pan"},
		"take oil pan off":         {"off", "oil pan"},
		"remove oil pan":           {"off", "oil pan"},
		"clean piston":             {"wash", "piston"},
		"guess sealant 70 %":       {"guess", "sealant 70 %"},
		"?":                        {"help", ""},
		"help":                     {"help", ""},
		"q":                        {"quit", ""},
		"frobnicate it":            {"?", "frobnicate it"},
		"chain a, b":               {"chain", "a, b"},
		"\x1b[2Jlook pan":          {"?", "[2jlook pan"},
		"\xff\xfelook pan":         {"look", "pan"},
		"list":                     {"list", ""},
		strings.Repeat("x", 10000): {"?", strings.Repeat("x", 10000)},
	} {
		assert.Equal(t, want, parseOrder(line), "%q", line)
	}
}

const pump = `
[pack]
id = "pump"
title = "Pump"
version = "1"
[part.pan]
name = "pan"
also = ["sump"]
minutes_off = 30
[part.screen]
name = "screen"
behind = ["pan"]
[part.lid]
name = "lid"
minutes_off = 90
[part.seat]
name = "seat"
[sign.seat.pores]
name = "laboratory finds pores"
look = "Cut, grind, look."
minutes = 45
[part.under]
name = "underside"
behind = ["lid"]
[sign.under.black]
name = "black"
look = "Is it black?"
[part.hose]
name = "hose"
per = "cylinder"
[sign.pan.dark]
name = "dark"
look = "Is it dark?"
lost_by = ["wash pan"]
[sign.screen.crumbs]
name = "crumbs"
look = "Crumbs on it?"
caution = "Sharp edges."
[sign.hose.soft]
name = "soft"
look = "Does it give?"
[cause.blocked_filter]
name = "filter blocked"
category = "maintenance"
base_rate = 0.08
source = "common practice"
leads_to.starved = { how_often = 0.5, because = "Nothing comes through.", source = "common practice" }
shows.pan.dark = { how_often = 0.95, because = "What stands goes dark.", source = "common practice" }
[cause.crumbling_hose]
name = "hose crumbling"
category = "maintenance"
base_rate = 0.02
source = "common practice"
leads_to.starved = { how_often = 0.5, because = "Crumbs shut the screen.", source = "common practice" }
shows.screen.crumbs = { how_often = 0.95, because = "They lie where they stop.", source = "common practice" }
shows.seat.pores = { how_often = 0.1, because = "It goes on below.", source = "common practice" }
shows.under.black = { how_often = 0.1, because = "It goes on below.", source = "common practice" }
shows.hose.soft = { how_often = 0.5, because = "It lets go of its lining.", source = "common practice" }
[step.starved]
name = "starved"
leads_to.stopped = { how_often = "always", because = "It runs dry.", source = "common practice" }
[step.stopped]
name = "pump stopped"
outcome = true
`

var pumpBook = sync.OnceValue(func() *rules.Book {
	var faults source.Faults
	return rules.Load(&faults, []rules.Text{{Name: "pump.toml", Bytes: []byte(pump)}})
})

var onePump = sync.OnceValues(func() (*practice.Exercise, error) { return drawPump(1) })

func drawPump(seed uint64) (*practice.Exercise, error) {
	return practice.Draw(context.Background(), pumpBook(), practice.Request{Seed: seed, Level: practice.Apprentice, Engine: "tractor"})
}

// pumpTable is a table at a pump; that of number 1 is drawn once for all.
func pumpTable(t testing.TB, seed uint64) (*table, *bytes.Buffer) {
	b := pumpBook()
	require.NotNil(t, b)
	draw := onePump
	if seed != 1 {
		draw = func() (*practice.Exercise, error) { return drawPump(seed) }
	}
	x, err := draw()
	require.NoError(t, err)
	var out bytes.Buffer
	cmd := &cobra.Command{}
	cmd.SetOut(&out)
	cmd.SetContext(context.Background())
	return &table{cmd: cmd, book: b, x: x, g: practice.NewGame(x), opt: report.Options{Width: 60}}, &out
}

// What is typed in the words of a shop is understood.
func TestTableUnderstands(t *testing.T) {
	for line, want := range map[string]string{
		"look sump":                         "Pan\n    ",
		"look at the screen":                "The screen cannot be seen yet. First off: pan (30 min).",
		"look crumbs":                       "First off: pan",
		"look hoses":                        "Hose\n    ",
		"look xylophone":                    `No sign or part of this engine is called "xylophone".`,
		"look":                              "Look at what?",
		"list":                              "  hose: 1 thing to look for\n  pan: 1 thing to look for, 30 min to take off\n seat: 1 thing to look for\n0 min",
		"list screen":                       "Cannot be seen yet. First off: pan.",
		"parts":                             "screen: 1 thing to look for, behind pan",
		"off pan":                           "Off pan: done (30 min). 30 min of work so far.",
		"off hose":                          "The hose does not come off: nothing of it hides anything.",
		"off screen":                        "First off: pan",
		"wash pan":                          "Wash pan: done (15 min). What could have been seen there before is gone. 15 min of work",
		"wash":                              "Wash what?",
		"causes":                            "  filter blocked (blocked_filter)\n  hose crumbling (crumbling_hose)\n",
		"causes blocked":                    "  filter blocked (blocked_filter)\n",
		"steps":                             "  starved (starved)\n",
		"steps before starved":              "  filter blocked (blocked_filter)\n  hose crumbling (crumbling_hose)\n",
		"card starved":                      "A step: something produced it.",
		"guess filter 70":                   "Noted: filter blocked (blocked_filter), 70 %.",
		"guess filter 70%":                  "Noted: filter blocked (blocked_filter), 70 %.",
		"guess filter 100":                  "Noted: filter blocked (blocked_filter), 99 %.",
		"guess filter":                      "Name a cause and how sure",
		"guess filter sure":                 "How sure?",
		"guess filter -3":                   "How sure?",
		"guess filter nan":                  "How sure?",
		"guess starved 50":                  "Starved is a step: something produced it.",
		"guess both filter, hose 40":        "Noted: filter blocked and hose crumbling, needed together, 40 %.",
		"guess together filter and hose 40": "Noted: filter blocked and hose crumbling, needed together, 40 %.",
		"guess either hose or filter 40%":   "Noted: hose crumbling and filter blocked, of which either alone would have done, 40 %.",
		"guess both filter 40":              "Name two causes with a comma between them",
		"guess both filter, xylophone 40":   `No cause of this engine is called "xylophone"`,
		"guess both filter, starved 40":     `No cause of this engine is called "starved"`,
		"guess open 40":                     "Noted: it cannot be determined, 40 %.",
		"chain":                             "Chain: pump stopped.\nLeads straight to pump stopped, by the book:\n  starved (starved)\n",
		"chain filter blocked, starved":     "Chain: filter blocked → starved → pump stopped.\n",
		"chain blocked_filter starved":      "Chain: filter blocked → starved → pump stopped.\n",
		"chain filter, starved, stopped":    "Chain: filter blocked → starved → pump stopped.\n",
		"chain nonsense, starved":           "The chain stays as it was.",
		"notes":                             "0 min of work so far.",
		"done":                              "Name a cause first",
		"fly":                               `"fly" is no command here; help lists them.`,
	} {
		tb, out := pumpTable(t, 1)
		require.NoError(t, tb.carryOut(line))
		got := out.String()
		if line == "list" {
			got += "0 min"
		}
		assert.Contains(t, strings.Join(strings.Fields(got), " "), strings.Join(strings.Fields(want), " "), "%q", line)
	}
}

// What takes long is told before it is done, and done when said again, or on yes.
func TestTableWarnsOfLongWork(t *testing.T) {
	for _, c := range []struct {
		lines   []string
		want    string
		minutes float64
	}{
		{[]string{"off lid"}, "Off lid takes 90 min. To do it, say yes, or the same again.", 0},
		{[]string{"off lid", "yes"}, "Off lid: done (90 min).", 90},
		{[]string{"off lid", "y"}, "Off lid: done (90 min).", 90},
		{[]string{"off lid", "take off LID"}, "Off lid: done (90 min).", 90},
		{[]string{"off lid", "list", "yes"}, "Nothing waits for a yes.", 0},
		{[]string{"off lid", "look seat", "off lid"}, "Off lid takes 90 min.", 0},
		{[]string{"off lid", "", "# well", "yes"}, "Off lid: done (90 min).", 90},
		{[]string{"yes"}, "Nothing waits for a yes.", 0},
		{[]string{"off pan", "look screen"}, "Screen", 35}, // half an hour is not asked about
		{[]string{"look lab"}, "That look takes 45 min. To do it", 0},
		{[]string{"look lab", "yes"}, "Seat", 45},
		{[]string{"off pan", "look lab"}, "Seat", 75}, // less than twice the work so far
		{[]string{"off pan", "off lid"}, "Off lid takes 90 min.", 30},
	} {
		tb, out := pumpTable(t, 1)
		for _, line := range c.lines {
			out.Reset()
			require.NoError(t, tb.carryOut(line))
		}
		assert.Contains(t, out.String(), c.want, "%q", c.lines)
		assert.Equal(t, c.minutes, tb.g.Minutes(), "%q", c.lines)
	}
}

// An answer says the same whatever is right: with the truth hidden, two exercises on
// the same engine that found the same are the same to read. What is written at the
// start, and all lists, hang on nothing but engine, question and what is told.
func TestNothingGivesItAway(t *testing.T) {
	said := map[string]map[string]bool{} // what is printed, by what is right
	for seed := range uint64(16) {
		tb, out := pumpTable(t, seed)
		x := *tb.x
		x.Seed = 0 // printed, and no tell
		tb.x = &x
		require.NoError(t, report.Opening(out, tb.x, tb.opt))
		for _, line := range []string{"list", "parts", "list pan", "list screen", "list hose", "causes", "steps", "chain", "steps before starved", "off pan", "help"} {
			require.NoError(t, tb.carryOut(line))
		}
		key := tb.x.Truth.Right[0]
		if said[key] == nil {
			said[key] = map[string]bool{}
		}
		// How old the engine is is drawn before anything else.
		text := out.String()
		for _, hours := range []string{"700", "3300", "6200"} {
			text = strings.ReplaceAll(text, hours+" hours", "some hours")
		}
		said[key][strings.Join(strings.Fields(text), " ")] = true
	}
	require.Len(t, said, 2, "both causes come up")
	all := map[string]bool{}
	for _, texts := range said {
		for text := range texts {
			all[text] = true
		}
	}
	for key, texts := range said {
		assert.Len(t, texts, len(all), "only when it is %s, it reads so", key)
	}
	assert.Len(t, all, 1)
}

// Whatever is typed, the game goes on, and what it says can be read.
func FuzzTable(f *testing.F) {
	for _, s := range []string{"look pan\noff pan\nlook screen\nguess hose 80\nchain hose, starved\nnotes", "wash pan\nlook pan\nlist pan", "guess \x00 70\nchain ,,,\nsteps before\ntake off", "LOOK \u202e pan\nguess filter 1e999\nguess filter 0x10"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		tb, out := pumpTable(t, 1)
		for _, line := range strings.Split(text, "\n") {
			if len(line) > longestLine {
				line = line[:longestLine]
			}
			if err := tb.carryOut(line); err != nil {
				t.Fatal(err)
			}
		}
		if !utf8.ValidString(out.String()) || strings.ContainsAny(out.String(), "\x1b\x07\x00") {
			t.Fatalf("%q", out.String())
		}
		for _, g := range tb.g.Guesses {
			if !(g.Said >= 0.01 && g.Said <= 0.99) {
				t.Fatalf("said %v", g.Said)
			}
		}
		if tb.g.Minutes() < 0 {
			t.Fatal("time runs backwards")
		}
	})
}
