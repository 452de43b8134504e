package evidence

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/source"
)

var update = flag.Bool("update", false, "write golden files anew")

const casesDir = "../testdata/cases"

// engineText is what every case must say.
const engineText = `[engine]
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 8
`

// fullText uses every key that a case may have.
const fullText = `order_lost = ["main_shell"]
[case]
id = "2031-007"
title = "Heron 340 of the ferry Alma"
question = "crankshaft_seized"
at = "main 2"
order_lost = "rod_shell"
note = "opened on the bench"
` + engineText + `bank_of = [1, 1, 1, 1, 1, 1, 1, 1]
mains = "5+"
[history]
hours = 4120
rebuilt = true
climate = "marine"
story = "It just stopped."
[received]
state = "part stripped"
opened_by = "the yard"
off = ["rocker_cover", "sump"]
turns = "part way"
fluids = "oil milky"
date = 2031-05-04
from = "the yard"
note = "in the rain"
[work.W1]
what = "head off, gasket replaced"
sign = "papers.head_off"
parts = ["cylinder_head", "head_gasket"]
undone = "head_bolt"
replaced = ["head_gasket"]
when = "spring"
hours_since = 12
km_since = 0.5
who = "the yard"
by = "paper"
sure = "fairly"
note = "bill 88"
[finding.F07]
sign = "rod_bearing.lining_wiped"
at = ["rod 5 / upper", "rod 6 / upper"]
state = "seen"
by = "lens"
surface = "as found"
sure = "fairly"
look = "L3"
sample = "S1"
made = "teardown"
rests_on = ["R03"]
how_much = "spots"
photos = ["photos/0031.jpg"]
note = "greasy"
who = "Ida"
after = "W1"
before = ["A03"]
[finding.F08]
sign = "other"
part = "oil_pan"
state = "unavailable"
note = "a bent split pin"
why = "not recovered"
replaces = "F07"
[reading.R03]
of = "rod_journal.diameter"
at = "rod 5"
value = "59.94 mm"
uncertainty = "0.005 mm"
coverage = "95 %"
limit = "min 59.90 mm"
limit_from = "the maker's manual"
limit_for = "service"
instrument = "M4"
sample = "S1"
by = "gauge"
note = "cold"
who = "Ida"
after = "A03"
[reading.R04]
of = "oil.iron"
at_least = "80 mg/kg"
at_most = "120 mg/kg"
trend = "rising"
unlike = ["rod 1", "rod 2"]
how = "higher"
[fitted.X01]
part = "main_shell"
at = "main 3"
found = "standard"
wanted = "0.25 mm undersize"
sign = "main_shell.wrong_size"
by_what = "journal reading R05"
by = "eye"
sure = "certain"
note = "stamped"
[act.A03]
kind = "off"
part = "oil_pan"
at = "cyl ?a"
when = "09:10"
who = "Ida"
torque = "9 N·m"
held_by = "shelf 4"
bag = "12"
note = "stuck"
[confirmed]
accept = ["sludge_long_drain"]
undetermined = false
by = "the assessor"
note = "closed"
`

func parse(t require.TestingT, text string) *Case {
	var fs source.Faults
	c, ok := Parse("case.toml", []byte(text), &fs)
	require.True(t, ok, "%s", fs.Error())
	return c
}

func faultsOf(t *testing.T, text string) string {
	t.Helper()
	var fs source.Faults
	c, ok := Parse("f", []byte(text), &fs)
	assert.Equal(t, ok, fs.Errors() == 0)
	assert.Equal(t, ok, c != nil)
	return fs.Error()
}

func TestFullCase(t *testing.T) {
	var fs source.Faults
	c, ok := Parse("case.toml", []byte(fullText), &fs)
	require.True(t, ok, fs.Error())
	assert.Empty(t, fs.List())
	assert.Equal(t, "2031-007", c.ID)
	assert.Equal(t, "crankshaft_seized", c.Question)
	assert.Equal(t, []int{2}, c.At[0].Indexes)
	assert.Equal(t, []string{"main_shell", "rod_shell"}, []string{c.OrderLost[0].Part, c.OrderLost[1].Part})
	assert.Equal(t, 7, c.OrderLost[1].Pos.Line)
	assert.Equal(t, 5, c.Engine.Int("mains"))
	assert.True(t, c.Engine.AtLeast["mains"])
	assert.False(t, c.Engine.AtLeast["cylinders"])
	assert.Equal(t, 4120.0, c.History.Facts["hours"])
	assert.Equal(t, "2031-05-04", c.Received.Date)
	assert.Equal(t, "sump", c.Received.Off[1].Part)
	f := c.Findings[0]
	assert.Equal(t, Finding{ID: "F07", Sign: "rod_bearing.lining_wiped", State: Seen, By: Lens, Sure: Fairly, Surface: "as found", Look: "L3", Sample: "S1", Made: "teardown",
		ReplacedBy: "F08", RestsOn: []string{"R03"}, HowMuch: "spots", Photos: []string{"photos/0031.jpg"}, Note: "greasy", Who: "Ida", Order: Order{After: []string{"W1"}, Before: []string{"A03"}},
		At: f.At, Pos: f.Pos, SignPos: f.SignPos, PartPos: f.PartPos}, f)
	assert.Equal(t, "upper", f.At[1].Place)
	assert.NotEqual(t, f.At[0].Pos, f.At[1].Pos)
	assert.Equal(t, "min 59.90 mm", c.Readings[0].Limit.Text)
	assert.Len(t, c.Readings[1].Unlike, 2)
	assert.Equal(t, 0.5, *c.Works[0].KmSince)
	assert.Equal(t, "9 N·m", c.Acts[0].Torque)
	assert.Equal(t, []string{"sludge_long_drain"}, c.Confirmed.Accept)
}

func TestDefaults(t *testing.T) {
	c := parse(t, engineText+"[finding.F1]\nsign = \"a.b\"\nstate = \"not found\"\n")
	f := c.Findings[0]
	assert.Equal(t, Eye, f.By)
	assert.Equal(t, Certain, f.Sure)
	assert.Empty(t, f.Surface, "as found only if it is said")
	assert.Empty(t, c.Question)

	c = parse(t, strings.Replace(engineText, "cylinders = 8\n", "", 1))
	n, assumed := c.Engine.Count(Cylinder)
	assert.Equal(t, 4, n)
	assert.NotEmpty(t, assumed)
}

func TestEmpty(t *testing.T) {
	want := `f:1:1: the case does not say the engine's fuel, cycle, cooling and layout (under [engine] write, for example, fuel = "diesel", cycle = "four-stroke", cooling = "liquid", layout = "inline", each on a line of its own)`
	assert.Equal(t, want, faultsOf(t, ""))
	assert.Equal(t, want, faultsOf(t, "# nothing yet\n"))
	assert.Equal(t, want, faultsOf(t, "[case]\nid = \"t\"\n"))
	assert.Equal(t, strings.Replace(want, "f:1:1", "f:3:1", 1), faultsOf(t, "[case]\nid = \"t\"\n[engine]\n"))
	// What is there is not asked for again.
	assert.Equal(t, `f:1:1: the case does not say the engine's cycle and layout (under [engine] write, for example, cycle = "four-stroke", layout = "inline", each on a line of its own)`,
		faultsOf(t, "[engine]\nfuel = \"diesel\"\ncooling = \"air\"\n"))
	assert.Equal(t, `f:1:1: the case does not say the engine's cycle (under [engine] write, for example, cycle = "four-stroke")`,
		faultsOf(t, "[engine]\nfuel = \"diesel\"\ncooling = \"air\"\nlayout = \"inline\"\n"))
}

// A bad file tells all its faults at once, each in its place.
func TestBadCase(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(casesDir, "bad.toml"))
	require.NoError(t, err)
	var fs source.Faults
	c, ok := Parse("bad.toml", text, &fs)
	assert.False(t, ok)
	assert.Nil(t, c)
	golden := filepath.Join(casesDir, "bad.golden")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(fs.Error()+"\n"), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), fs.Error()+"\n")
	assert.Greater(t, fs.Errors(), 20)

	// A good file is not held to the faults of another, and the bad one, read
	// again into the same bag, is still bad.
	_, ok = Parse("good.toml", []byte(engineText), &fs)
	assert.True(t, ok)
	_, ok = Parse("bad.toml", text, &fs)
	assert.False(t, ok)
}

func TestFaults(t *testing.T) {
	finding := func(id, rest string) string {
		return "[finding." + id + "]\nsign = \"a.b\"\nstate = \"seen\"\n" + rest + "\n"
	}
	for name, tc := range map[string]struct{ text, want string }{
		"position": {finding("F1", `at = ["cyl 1", "cyl 9"]`), `f:10:16: there is no cylinder 9: the engine has 8`},
		"one text": {finding("F1", `at = "cyl 9"`), `f:10:7: there is no cylinder 9: the engine has 8`},
		"taken":    {finding("F1", "") + "[act.F1]\nkind = \"off\"\npart = \"x\"", `f:11:1: F1 is used twice: also in line 7 (give it a number of its own)`},
		"twice":    {finding("F1", "") + finding("F1", ""), `f:11:2: Key 'finding.F1' has already been defined.`},
		"self":     {finding("F1", `after = "F1"`), `f:10:10: what is said of before and after runs in a circle: F1 before F1 (one of these is the wrong way round)`},
		"replaced": {finding("F1", "") + finding("F2", `replaces = "F1"`) + finding("F3", `replaces = "F1"`),
			"f:15:1: warning: F3 tells again what F2 (line 11) tells: a.b is seen (it counts once)\n" + `f:18:13: F2 and F3 both replace F1 (did you mean "F2"?)`},
		"replaces itself": {finding("F1", `replaces = "F2"`) + finding("F2", `replaces = "F1"`), "f:10:13: F1 is replaced by itself (a later finding replaces an earlier one)\n" + `f:14:13: F2 is replaced by itself (a later finding replaces an earlier one)`},
		"no table":        {"[finding]\nF1 = \"seen\"", `f:8:1: F1 must be a table, and is the text "seen"`},
		"layout":          {"[received]\nstate = \"whole\"\nlayout = \"v\"", `f:9:1: [received] has no key "layout"`},
		"unknown table":   {"[findings.F1]\nsign = \"a.b\"", `f:7:1: the file has no key "findings" (did you mean "finding"?)`},
		"bound":           {"[reading.R1]\nof = \"a.b\"\nvalue = \"1 mm\"\nat_most = \"2 mm\"", `f:7:1: [reading.R1] gives a value, and a bound in place of one (leave out the one that was not read)`},
	} {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tc.want, faultsOf(t, engineText+tc.text+"\n")) })
	}
	for name, tc := range map[string]struct{ from, to, want string }{
		"single":   {`"inline"`, `"single"`, `f:6:13: a single-cylinder engine cannot have 8 cylinders (did you mean layout = "inline"?)`},
		"none":     {"cylinders = 8", "cylinders = 0", `f:6:13: an engine has at least one cylinder (leave it away if it is not known)`},
		"too many": {"cylinders = 8", "cylinders = 800000000", `f:6:13: cylinders cannot be 800000000`},
		"other":    {"cylinders = 8", "cylinders = 8\nhours = 2100", `f:7:1: [engine] has no key "hours" (it stands under [history])`},
		"plus":     {"cylinders = 8", `cylinders = "about 8"`, `f:6:14: cylinders must be a whole number, and is the text "about 8" ("4+" says at least four)`},
		"bank_of":  {"cylinders = 8", "cylinders = 3\nbank_of = [1, 3, 1]", `f:7:12: bank_of leaves bank 2 without a cylinder`},
		"bank":     {"cylinders = 8", "cylinders = 3\nbank_of = [1, 2, true]", `f:7:18: true is no bank (as in bank_of = [1, 1, 1, 2, 2, 2])`},
		"least":    {"cylinders = 8", "cylinders = \"4+\"\n[finding.F1]\nsign=\"a.b\"\nstate=\"seen\"\nat=\"rod 6\"", `f:10:5: there is no rod 6: the case does not say for certain how many there are, and 4 are assumed (say cylinders = "6+" under [engine] if there are at least so many)`},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tc.want, faultsOf(t, strings.Replace(engineText, tc.from, tc.to, 1)))
		})
	}
}

// What is a contradiction, what is worth a warning, and what may stand.
func TestOpposites(t *testing.T) {
	const hint = ` (if F2 corrects F1, say replaces = "F1"; if one is unsure, say sure = "doubtful")`
	against := func(where string) string {
		return "f:10:1: F2 says that a.b is not found" + where + ", and F1 (line 7) says seen" + hint
	}
	for _, tc := range []struct{ seen, not, want string }{
		{``, ``, against("")},
		{`at = "cyl 3"`, `at = "all but cyl 1"`, against(" at cyl 3")},
		{`at = "rod 3 / upper"`, `at = "piston 3 / upper"`, against(" at rod 3 / upper")},
		{`at = "3"`, `at = "all"`, against(" at 3")},
		{`at = "all"`, `at = "all"`, against(" at 1")},
		{`at = "3"`, `at = "cyl 3"`, against(" at cyl 3")},
		{`at = "?a"`, `at = "cyl ?a"`, against(" at ?a")},
		{`at = "/ upper"`, `at = "/ upper"`, against(" at / upper")},
		{`at = "rod 3 / upper"`, `at = "rod 3 / lower"`, ""},
		{`at = "cyl 3"`, `at = "all but cyl 3"`, ""},
		{`at = "?a"`, `at = "?b"`, ""},
		{`at = "?a"`, `at = "all"`, ""},
		{`at = "2 of 8"`, `at = "all"`, ""},
		{`at = "cyl 3"`, ``, ""},
		{`at = "main 3"`, `at = "cyl 3"`, ""},
		{``, `sure = "doubtful"`, ""},
		{``, `replaces = "F1"`, ""},
		{`made = "fire"`, ``, ""},
		{`sample = "S1"`, `sample = "S2"`, ""},
		{`by = "crack test"`, ``, "f:11:1: warning: F2 (by eye) says that a.b is not found, and F1 (by crack test, line 7) says seen" + hint},
	} {
		f := func(id, state, rest string) string {
			s := "[finding." + id + "]\nsign = \"a.b\"\nstate = \"" + state + "\"\n"
			if rest != "" {
				s += rest + "\n"
			}
			return s
		}
		got := faultsOf(t, engineText+f("F1", "seen", tc.seen)+f("F2", "not found", tc.not))
		if tc.seen != "" {
			got = strings.Replace(got, "f:11:", "f:10:", 1)
			tc.want = strings.Replace(tc.want, "f:11:", "f:10:", 1)
		}
		assert.Equal(t, tc.want, got, "%s against %s", tc.seen, tc.not)
	}
	twice := "[finding.F1]\nsign = \"a.b\"\nstate = \"seen\"\n[finding.F2]\nsign = \"a.b\"\nstate = \"seen\"\n"
	assert.Equal(t, "f:10:1: warning: F2 tells again what F1 (line 7) tells: a.b is seen (it counts once)", faultsOf(t, engineText+twice))
	assert.Empty(t, faultsOf(t, engineText+twice+"by = \"lens\"\n"))
}

func TestLog(t *testing.T) {
	c := parse(t, engineText+`
[received]
off = "rocker_cover"
[finding.F1]
sign = "a.b"
state = "seen"
look = "L1"
before = "A2"
[finding.F2]
sign = "a.c"
state = "seen"
look = "L1"
[finding.F3]
sign = "a.d"
state = "seen"
after = "A3"
[finding.F4]
sign = "a.e"
state = "seen"
[work.W1]
what = "head off"
before = "A1"
[act.A1]
kind = "off"
part = "sump"
[act.A2]
kind = "wash"
part = "pickup"
[act.A3]
kind = "wash"
part = "pickup"
[act.A4]
kind = "part"
part = "pump"
before = "A1"
`)
	var log []string
	for _, a := range c.Log() {
		log = append(log, a.ID)
	}
	assert.Equal(t, []string{"A4", "A1", "A2", "A3"}, log)
	other := *c
	other.Acts = slices.Clone(c.Acts)
	other.Acts[3].Before, other.Acts[0].After = nil, []string{"A4"}
	other.Works = nil
	log = nil
	for _, a := range other.Log() {
		log = append(log, a.ID)
	}
	assert.Equal(t, []string{"A2", "A3", "A4", "A1"}, log, "the act that says so moves")
	for _, tc := range []struct {
		a, b          string
		before, known bool
	}{
		{"F1", "A2", true, true}, {"A2", "F1", false, true}, {"F1", "A3", true, true}, {"F2", "A3", true, true},
		{"F1", "A1", false, false}, {"F3", "A1", false, true}, {"A4", "A3", true, true}, {"W1", "F3", true, true},
		{"F4", "A3", false, false}, {"F1", "F1", false, false}, {"F1", "F2", false, false}, {"F1", "F3", true, true},
	} {
		before, known := c.Before(tc.a, tc.b)
		assert.Equal(t, tc.before, before, "%s before %s", tc.a, tc.b)
		assert.Equal(t, tc.known, known, "%s before %s", tc.a, tc.b)
	}
	id, ok := c.Done(ActWash, "pickup")
	assert.True(t, ok)
	assert.Equal(t, "A2", id, "the first")
	_, ok = c.Done(ActDrain, "pickup")
	assert.False(t, ok)
	_, ok = c.Done(ActWash, "sump")
	assert.False(t, ok)
	for part, off := range map[string]bool{"sump": true, "pump": true, "rocker_cover": true, "pickup": false} {
		assert.Equal(t, off, c.Off(part), part)
	}
	wash := "[act.A1]\nkind = \"wash\"\npart = \"pump\"\n[act.A2]\nkind = \"wash\"\npart = \"pump\"\n"
	id, _ = parse(t, engineText+wash+"before = \"A1\"\n").Done(ActWash, "pump")
	assert.Equal(t, "A2", id, "the first in time, not in the file")
	c.Received.State = "in boxes"
	assert.True(t, c.Off("pickup"))
}

func TestLoadTellsWhatItCannotRead(t *testing.T) {
	var fs source.Faults
	c, ok := Load(filepath.Join(t.TempDir(), "none.toml"), &fs)
	assert.False(t, ok)
	assert.Nil(t, c)
	assert.Equal(t, 1, fs.Errors())
}

// A unit that is not known is a fault, with what was probably meant; one that a
// shop writes is not.
func TestUnknownUnit(t *testing.T) {
	const engine = "[engine]\nfuel = \"diesel\"\ncycle = \"four-stroke\"\ncooling = \"liquid\"\nlayout = \"inline\"\ncylinders = 4\n"
	for unit, want := range map[string]string{
		"bananas": `case.toml:9:10: value is "59.94 bananas": "bananas" is no unit that is known`,
		"kpa":     `did you mean "kPa"?`, "mm": "", "thou": "", "lb-ft": "", "°C": "", "%": "",
	} {
		var faults source.Faults
		text := engine + "[reading.R1]\nof = \"rod_journal.diameter\"\nvalue = \"59.94 " + unit + "\"\n"
		c, ok := Parse("case.toml", []byte(text), &faults)
		require.Equal(t, want == "", ok, unit)
		if want == "" {
			require.Empty(t, faults.List(), unit)
			require.Equal(t, "59.94 "+unit, c.Readings[0].Value.Text)
		} else {
			require.Contains(t, faults.Error(), want)
		}
	}
}
