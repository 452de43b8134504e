package measure

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// A small book of our own, so that nothing here hangs on the knowledge.
const bench = `
[pack]
id = "bench"
title = "Bench"
version = "1"
[part.rod_journal]
name = "rod journal"
per = "rod"
places = ["front vertical", "front horizontal", "rear vertical", "rear horizontal"]
[part.rod_bearing]
name = "rod bearing"
per = "rod"
[part.cylinder]
name = "cylinder"
per = "cylinder"
places = ["top", "bottom"]
[part.main_journal]
name = "main journal"
per = "main"
[part.guide]
name = "valve guide"
per = "intake_valve"
[part.gasket]
name = "head gasket"
per = "bank"
[part.engine]
name = "whole engine"
[part.head]
name = "cylinder head"
[part.oil]
name = "oil"

[instrument.micrometer]
name = "micrometer"
repeat = "0.003 mm"
bias = "0.004 mm"
source = "s"
[instrument.bore_gauge]
name = "bore gauge"
repeat = "0.003 mm"
bias = "0.004 mm"
source = "s"
[instrument.gauge]
name = "pressure gauge"
repeat = "2 %"
source = "s"
[instrument.feeler]
name = "feeler gauge"
resolution = "0.02 mm"
source = "s"

[quantity.rod_journal.diameter]
name = "diameter"
unit = "mm"
inch_unit = "in"
digits = 3
kind = "size"
look = "l"
instrument = "micrometer"
least = "10 mm"
most = "300 mm"
rework = "undersize"
sizes = ["0.25 mm", "0.50 mm", "0.75 mm"]
crack_check = true
[quantity.rod_journal.taper]
name = "taper"
unit = "mm"
digits = 3
formula = "abs(at(rod_journal.diameter, 'front') - at(rod_journal.diameter, 'rear'))"
because = "b"
source = "s"
[quantity.rod_bearing.bore]
name = "bore"
unit = "mm"
inch_unit = "in"
digits = 3
kind = "size"
look = "l"
instrument = "bore_gauge"
[quantity.rod_bearing.wall]
name = "wall"
unit = "mm"
digits = 3
kind = "size"
look = "l"
instrument = "micrometer"
limits = [ { min = "1.5 mm", doubt = "0.05 mm", source = "own rule" } ]
[quantity.rod_bearing.clearance]
name = "oil clearance"
unit = "mm"
inch_unit = "in"
digits = 3
kind = "difference"
formula = "rod_bearing.bore - rod_journal.diameter"
because = "b"
source = "s"
limits = [
  { max = "0.001 * rod_journal.diameter + '0.0005 in'", min = "0.0005 * rod_journal.diameter", doubt = "20 %", for = "service", source = "own rule" },
]
[quantity.cylinder.bore]
name = "bore"
unit = "mm"
digits = 2
kind = "size"
look = "l"
instrument = "bore_gauge"
rework = "oversize"
sizes = ["0.50 mm", "1.00 mm"]
[quantity.cylinder.pressure]
name = "pressure"
unit = "bar"
inch_unit = "psi"
digits = 1
look = "l"
instrument = "gauge"
[quantity.main_journal.diameter]
name = "diameter"
unit = "mm"
digits = 3
kind = "size"
look = "l"
instrument = "micrometer"
[quantity.guide.clearance]
name = "clearance"
unit = "mm"
digits = 3
look = "l"
[quantity.gasket.thickness]
name = "thickness"
unit = "mm"
digits = 2
look = "l"
[quantity.head.flatness]
name = "flatness"
unit = "mm"
digits = 2
look = "l"
instrument = "feeler"
rework = "skim"
sizes = ["0.20 mm"]
[quantity.oil.iron]
name = "iron"
unit = "ppm"
digits = 0
look = "l"
[quantity.oil.particles]
name = "particles"
kind = "code"
look = "l"
[quantity.oil.temperature]
name = "temperature"
unit = "°C"
inch_unit = "°F"
kind = "temperature"
digits = 0
look = "l"

[sign.rod_journal.undersize]
name = "undersize"
look = "l"
test = "rod_journal.diameter < limit"
[sign.rod_journal.tapered]
name = "tapered"
look = "l"
test = "rod_journal.taper > limit"
[sign.rod_bearing.wide]
name = "clearance large"
look = "l"
test = "rod_bearing.clearance > limit"
[sign.rod_bearing.tight]
name = "clearance small"
look = "l"
test = "rod_bearing.clearance < limit"
[sign.cylinder.worn]
name = "worn"
look = "l"
test = "cylinder.bore > limit"
[sign.cylinder.weak]
name = "weak"
look = "l"
test = "outlier(cylinder.pressure) < -0.12 * rest(cylinder.pressure)"
[sign.cylinder.strong]
name = "strong"
look = "l"
test = "outlier(cylinder.pressure) > 0.12 * rest(cylinder.pressure)"
[sign.head.warped]
name = "warped"
look = "l"
test = "head.flatness > limit"
[sign.oil.iron_high]
name = "iron high"
look = "l"
test = "oil.iron > limit"
[sign.oil.iron_rising]
name = "iron rising"
look = "l"
trend = "oil.iron rising"
[sign.oil.dirty]
name = "dirty"
look = "l"
test = "code(oil.particles, 14) > 15"
`

const four = `
[engine]
fuel = "petrol"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
bore = "86 mm"
stroke = "86 mm"
`

// load loads a book of which every sign is shown by one cause.
func load(t testing.TB, text string) *rules.Book {
	t.Helper()
	var b strings.Builder
	b.WriteString(text + "\n[cause.wear]\nname = \"wear\"\ncategory = \"operation\"\nbase_rate = \"common\"\nsource = \"s\"\nleads_to.worn_out = { how_often = \"often\", because = \"b\", source = \"s\" }\n")
	for _, s := range regexp.MustCompile(`(?m)^\[sign\.(\S+)\]`).FindAllStringSubmatch(text, -1) {
		fmt.Fprintf(&b, "shows.%s = { how_often = \"usually\", because = \"b\", source = \"s\" }\n", s[1])
	}
	b.WriteString("[step.worn_out]\nname = \"worn out\"\n")
	var faults source.Faults
	book := rules.Load(&faults, []rules.Text{{Name: "bench.toml", Bytes: []byte(b.String())}})
	require.NotNil(t, book, faults.Error())
	return book
}

// readings are a case in short, one a line: "R1 rod_journal.diameter @ rod 3 = 59.94
// mm ; limit = \"min 59.90 mm\"". "= -" is a reading without a value. A line that
// begins with [ is a table of its own.
func readings(t testing.TB, engine, lines string) *evidence.Case {
	t.Helper()
	var text strings.Builder
	text.WriteString(engine)
	for line := range strings.Lines(lines) {
		line, more, _ := strings.Cut(strings.TrimSpace(line), " ; ")
		more = strings.ReplaceAll(more, " ; ", "\n")
		if line == "" || line[0] == '[' {
			text.WriteString(line + "\n" + more + "\n")
			continue
		}
		id, rest, _ := strings.Cut(line, " ")
		of, value, _ := strings.Cut(rest, " = ")
		of, at, _ := strings.Cut(of, " @ ")
		fmt.Fprintf(&text, "[reading.%s]\nof = %q\n", id, of)
		if at != "" {
			fmt.Fprintf(&text, "at = %q\n", at)
		}
		if value != "-" {
			fmt.Fprintf(&text, "value = %q\n", value)
		}
		text.WriteString(more + "\n")
	}
	var faults source.Faults
	c, ok := evidence.Parse("case.toml", []byte(text.String()), &faults)
	require.True(t, ok, "%s\n%s", faults.Error(), text.String())
	return c
}

func measured(t testing.TB, lines string) *Table {
	t.Helper()
	return New(load(t, bench), readings(t, four, lines))
}

// value is what the table says of a quantity at a position.
func (t *Table) value(of, at string) *Value {
	for i := range t.Values {
		if v := &t.Values[i]; v.Quantity.ID == of && v.At == at {
			return v
		}
	}
	return nil
}

// result is a sign held against the readings at a position.
func (t *Table) result(sign, at string) *Result {
	for i := range t.Tests {
		if r := &t.Tests[i]; r.Sign.ID == sign && r.At == at {
			return r
		}
	}
	return nil
}

func (t *Table) why(reading string) string {
	for _, l := range t.Left {
		if l.Reading == reading {
			return l.Why
		}
	}
	return ""
}

func phi(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

const mm = 1e-3

// What functions over positions come to, and what they say where something is
// missing. q is what is worked out, at a cylinder ("each") or for the whole engine
// ("engine").
func TestFunctionsOverPositions(t *testing.T) {
	const (
		eight = "R1 cylinder.pressure @ cyl 1 = 10 bar\nR2 cylinder.pressure @ cyl 2 = 11 bar\nR3 cylinder.pressure @ cyl 3 = 6 bar\nR4 cylinder.pressure @ cyl 4 = 12 bar\n"
		three = "R1 cylinder.pressure @ cyl 1 = 10 bar\nR3 cylinder.pressure @ cyl 3 = 6 bar\nR4 cylinder.pressure @ cyl 4 = 12 bar\n"
		one   = "R3 cylinder.pressure @ cyl 3 = 6 bar\n"
	)
	const lost = "cylinder: pressure at cyl 2"
	for _, tc := range []struct {
		part, at, formula, unit string
		readings                string
		want                    float64 // in unit
		missing, notes          []string
	}{
		{"engine", "", "lowest(cylinder.pressure)", "bar", eight, 6, nil, nil},
		{"engine", "", "highest(cylinder.pressure)", "bar", eight, 12, nil, nil},
		{"engine", "", "mean(cylinder.pressure)", "bar", eight, 9.75, nil, nil},
		{"engine", "", "median(cylinder.pressure)", "bar", eight, 10.5, nil, nil},
		{"engine", "", "spread(cylinder.pressure)", "bar", eight, 6, nil, nil},
		{"engine", "", "count(cylinder.pressure)", "ratio", eight, 4, nil, nil},
		// By least squares: x −1.5 −0.5 0.5 1.5, y 10 11 6 12: slope (−15 −5.5 +3 +18)/5 = 0.1,
		// times 3 from the first to the last.
		{"engine", "", "trend(cylinder.pressure)", "bar", eight, 0.3, nil, nil},
		{"engine", "", "lowest(cylinder.pressure)", "bar", three, 6, nil, []string{"not read: " + lost}},
		{"engine", "", "mean(cylinder.pressure)", "bar", three, 28.0 / 3, nil, []string{"not read: " + lost}},
		{"engine", "", "median(cylinder.pressure)", "bar", three, 10, nil, []string{"not read: " + lost}},
		{"engine", "", "count(cylinder.pressure)", "ratio", three, 3, nil, nil},
		// x 1 3 4 (mean 8/3), y 10 6 12 (mean 28/3): slope (−10/9 −10/9 +32/9)/(14/3) = 2/7... times 3.
		{"engine", "", "trend(cylinder.pressure)", "bar", three, 3 * (-5.0/3*2.0/3 - 1.0/3*10.0/3 + 4.0/3*8.0/3) / (25.0/9 + 1.0/9 + 16.0/9), nil, []string{"not read: " + lost}},
		{"engine", "", "lowest(cylinder.pressure)", "bar", one, 6, nil, []string{"not read: cylinder: pressure at cyl 1, cyl 2, cyl 4"}},
		{"engine", "", "spread(cylinder.pressure)", "bar", one, math.NaN(), []string{"cylinder: pressure at cyl 1, cyl 2, cyl 4"}, nil},
		{"engine", "", "trend(cylinder.pressure)", "bar", one, math.NaN(), []string{"cylinder: pressure at cyl 1, cyl 2, cyl 4"}, nil},
		// Against the others, at one position.
		{"cylinder", "cyl 3", "rest(cylinder.pressure)", "bar", eight, 11, nil, nil},
		{"cylinder", "cyl 4", "rest(cylinder.pressure)", "bar", eight, 10, nil, nil},
		{"cylinder", "cyl 3", "outlier(cylinder.pressure)", "bar", eight, -5, nil, nil},
		{"cylinder", "cyl 3", "neighbours(cylinder.pressure)", "bar", eight, 11.5, nil, nil},
		{"cylinder", "cyl 1", "neighbours(cylinder.pressure)", "bar", eight, 11, nil, nil},
		{"cylinder", "cyl 3", "bank(cylinder.pressure)", "bar", eight, 11, nil, nil},
		{"cylinder", "cyl 3", "outlier(cylinder.pressure)", "bar", three, -5, nil, []string{"not read: " + lost}},
		{"cylinder", "cyl 3", "neighbours(cylinder.pressure)", "bar", three, 12, nil, []string{"not read: " + lost}},
		{"cylinder", "cyl 1", "neighbours(cylinder.pressure)", "bar", three, math.NaN(), nil, nil},
		{"cylinder", "cyl 3", "bank(cylinder.pressure)", "bar", three, 11, nil, []string{"not read: " + lost}},
		{"cylinder", "cyl 3", "rest(cylinder.pressure)", "bar", three, 11, nil, []string{"not read: " + lost}},
		{"cylinder", "cyl 2", "outlier(cylinder.pressure)", "bar", three, math.NaN(), []string{"cylinder: pressure, cyl 2"}, nil},
		{"cylinder", "cyl 3", "outlier(cylinder.pressure)", "bar", one, math.NaN(), []string{"cylinder: pressure at cyl 1, cyl 2, cyl 4"}, nil},
		// A part without places of its own takes those of its cylinder.
		{"guide", "intake valve 3", "cylinder.pressure - rest(cylinder.pressure)", "bar", eight, -5, nil, nil},
		{"rod_bearing", "rod 3", "2 * cylinder.pressure", "bar", eight, 12, nil, nil},
		// What is the same at all positions is told once.
		{"gasket", "", "lowest(cylinder.pressure)", "bar", eight, 6, nil, nil},
		// Facts of the case.
		{"engine", "", "pi / 4 * engine.bore ** 2 * engine.stroke", "cm³", "", 499.6, nil, nil},
		{"engine", "", "2 * engine.stroke * engine.rated_speed", "m/s", eight, math.NaN(), nil, nil},
		{"engine", "", "lowest(cylinder.pressure) * engine.cylinders / history.hours", "bar", eight, math.NaN(), []string{"hours under [history]"}, nil},
		// What has no value.
		{"engine", "", "lowest(cylinder.pressure) / (engine.bore - engine.stroke) * engine.bore", "bar", eight, math.NaN(), []string{"what it is worked out from has no value there (it divides by zero)"}, nil},
		{"engine", "", "'1 bar' * sqrt(1 - highest(cylinder.pressure) / '1 bar')", "bar", eight, math.NaN(), []string{"what it is worked out from has no value there (it divides by zero)"}, nil},
	} {
		name := fmt.Sprintf("%s @ %s of %d", tc.formula, tc.at, strings.Count(tc.readings, "\n"))
		b := load(t, bench+fmt.Sprintf("[quantity.%s.q]\nname = \"q\"\nunit = %q\nkind = \"difference\"\nformula = %q\nbecause = \"b\"\nsource = \"s\"\n", tc.part, tc.unit, tc.formula))
		v := New(b, readings(t, four, tc.readings)).value(tc.part+".q", tc.at)
		if math.IsNaN(tc.want) && tc.missing == nil {
			assert.Nil(t, v, "%s: nothing of it was measured", name)
			continue
		}
		if !assert.NotNil(t, v, name) {
			continue
		}
		assert.Equal(t, tc.missing, v.Missing, name)
		assert.Equal(t, tc.notes, v.Notes, name)
		assert.True(t, v.Derived)
		if assert.Equal(t, !math.IsNaN(tc.want), v.Known, name) && v.Known {
			u, _ := v.Quantity.Shown(false)
			assert.InDelta(t, tc.want, u.Number(v.SI), 0.01*math.Abs(tc.want)*1e-1+1e-9, name)
		} else {
			assert.Equal(t, "not known", v.Shown())
		}
	}
}

// Two banks of three: cylinders 1 to 3 and 4 to 6.
func TestBanks(t *testing.T) {
	v6 := strings.NewReplacer(`"inline"`, `"v"`, "cylinders = 4", "cylinders = 6").Replace(four)
	b := load(t, bench+"[quantity.cylinder.q]\nname = \"q\"\nunit = \"bar\"\nkind = \"difference\"\nformula = \"cylinder.pressure - bank(cylinder.pressure)\"\nbecause = \"b\"\nsource = \"s\"\n[quantity.cylinder.n]\nname = \"n\"\nunit = \"bar\"\nformula = \"neighbours(cylinder.pressure)\"\nbecause = \"b\"\nsource = \"s\"\n[quantity.cylinder.g]\nname = \"g\"\nunit = \"mm\"\nformula = \"gasket.thickness\"\nbecause = \"b\"\nsource = \"s\"\n")
	text := "G1 gasket.thickness @ bank 1 = 1.2 mm\nG2 gasket.thickness @ bank 2 = 1.4 mm\n"
	for i, p := range []int{10, 11, 12, 7, 8, 9} {
		text += fmt.Sprintf("R%d cylinder.pressure @ cyl %d = %d bar\n", i+1, i+1, p)
	}
	tab := New(b, readings(t, v6, text))
	for at, want := range map[string][3]float64{"cyl 1": {-1.5, 11, 1.2}, "cyl 3": {1.5, 11, 1.2}, "cyl 4": {-1.5, 8, 1.4}, "cyl 5": {0, 8, 1.4}} {
		for i, q := range []string{"q", "n", "g"} {
			u, _ := tab.value("cylinder."+q, at).Quantity.Shown(false)
			assert.InDelta(t, want[i], u.Number(tab.value("cylinder."+q, at).SI), 1e-9, "%s of %s", q, at)
		}
	}
}

// Several readings of one place are their mean; places are told apart by at() and
// range_here(); a limit holds for every place.
func TestPlaces(t *testing.T) {
	b := load(t, bench+"[quantity.rod_journal.oval]\nname = \"out of round\"\nunit = \"mm\"\nformula = \"range_here(rod_journal.diameter)\"\nbecause = \"b\"\nsource = \"s\"\n")
	const text = `R1 rod_journal.diameter @ rod 1 / front vertical = 59.960 mm
R2 rod_journal.diameter @ rod 1 / front vertical = 59.964 mm
R3 rod_journal.diameter @ rod 1 / front horizontal = 59.970 mm
R4 rod_journal.diameter @ rod 1 / rear vertical = 59.940 mm
R5 rod_journal.diameter @ rod 2 / rear vertical = 59.950 mm
[limit.rod_journal.diameter] ; min = "59.95 mm"`
	tab := New(b, readings(t, four, text))
	front, rear := (59.960+59.964+59.970)/3, 59.940
	assert.InDelta(t, (front-rear)*mm, tab.value("rod_journal.taper", "rod 1").SI, 1e-12)
	assert.InDelta(t, 0.030*mm, tab.value("rod_journal.oval", "rod 1").SI, 1e-12)
	assert.Equal(t, []string{"R1", "R2", "R3", "R4"}, tab.value("rod_journal.oval", "rod 1").Readings)
	// Held against the least: in the place where it is the smallest.
	v := tab.value("rod_journal.diameter", "rod 1")
	assert.InDelta(t, 59.940*mm, v.SI, 1e-12)
	assert.Equal(t, []string{"the smallest of 3 places"}, v.Notes)
	assert.False(t, v.Derived)
	// One reading has no range, and no front.
	assert.Equal(t, []string{"a second reading of rod journal: diameter, rod 2"}, tab.value("rod_journal.oval", "rod 2").Missing)
	assert.Equal(t, []string{"rod journal: diameter, rod 2 at its front"}, tab.value("rod_journal.taper", "rod 2").Missing)
	// Without a limit it is the mean of all.
	tab = New(b, readings(t, four, strings.Split(text, "[")[0]))
	assert.InDelta(t, (59.960+59.964+59.970+59.940)/4*mm, tab.value("rod_journal.diameter", "rod 1").SI, 1e-12)
}

// The largest of several places is held against an upper limit.
func TestLargestPlace(t *testing.T) {
	tab := measured(t, "R1 cylinder.bore @ cyl 1 / top = 86.10000 mm\nR2 cylinder.bore @ cyl 1 / bottom = 86.02000 mm\n[limit.cylinder.bore] ; max = \"86.09 mm\"")
	v := tab.value("cylinder.bore", "cyl 1")
	assert.InDelta(t, 86.10*mm, v.SI, 1e-12)
	assert.Equal(t, []string{"the largest of 2 places"}, v.Notes)
	assert.InDelta(t, phi(0.01/0.005), v.Above, 1e-4)
	assert.InDelta(t, v.Above, tab.result("cylinder.worn", "cyl 1").Beyond, 1e-12)
}

// What is read directly goes before what is worked out.
func TestReadGoesBeforeWorkedOut(t *testing.T) {
	tab := measured(t, "R1 rod_bearing.bore @ rod 1 = 60.06 mm\nR2 rod_journal.diameter @ rod 1 = 60.00 mm\nR3 rod_bearing.clearance @ rod 1 = 0.050 mm\nR4 rod_bearing.bore @ rod 2 = 60.06 mm\nR5 rod_journal.diameter @ rod 2 = 60.00 mm\nR6 rod_bearing.bore @ rod 3 = 60.06 mm")
	v := tab.value("rod_bearing.clearance", "rod 1")
	assert.InDelta(t, 0.050*mm, v.SI, 1e-12)
	assert.Equal(t, []any{false, []string{"R3"}}, []any{v.Derived, v.Readings})
	v = tab.value("rod_bearing.clearance", "rod 2")
	assert.InDelta(t, 0.060*mm, v.SI, 1e-12)
	assert.Equal(t, []any{true, []string{"R4", "R5"}}, []any{v.Derived, v.Readings})
	v = tab.value("rod_bearing.clearance", "rod 3")
	assert.Equal(t, []any{false, []string{"rod journal: diameter, rod 3"}}, []any{v.Known, v.Missing})
	assert.Nil(t, tab.value("rod_bearing.clearance", "rod 4"), "nothing of it was read")
	assert.Nil(t, tab.result("rod_bearing.wide", "rod 3"), "and nothing is held against a limit")
}

// How uncertain a reading is: by its tool, by what is stated, by how it is written.
func TestDoubtOfAReading(t *testing.T) {
	const half = 1 / 1.7320508075688772
	for _, tc := range []struct {
		reading string
		want    float64 // µm, standard
	}{
		{"rod_journal.diameter @ rod 1 = 59.960000 mm", 5}, // the tool of the quantity: 3 and 4
		{"rod_journal.diameter @ rod 1 = 59.960000 mm ; instrument = \"micrometer 2\"", 5},
		{"rod_journal.diameter @ rod 1 = 59.96 mm", math.Sqrt(25 + 5*5*half*half)},   // written to 10 µm
		{"rod_journal.diameter @ rod 1 = 60.0 mm", math.Sqrt(25 + 50*50*half*half)},  // to 100 µm
		{"rod_journal.diameter @ rod 1 = 2 3/8 in", math.Sqrt(25 + 793.75*793.75/3)}, // to a sixteenth: ± 1/32 in
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; instrument = \"grandfather's\"", 10 * half},
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; instrument = \"pressure gauge\"", math.Hypot(0.02*59960, 5*half)}, // by shares, of anything
		{"rod_journal.diameter @ rod 1 = 59.96 ± 0.01 mm", 10 / 1.959964},                                             // 95 in 100
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; uncertainty = \"0.01 mm\" ; coverage = \"standard\"", 10},
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; uncertainty = \"0.01 mm\" ; coverage = \"k=2\"", 5},
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; uncertainty = \"0.01 mm\" ; coverage = \"limits\"", 10 * half},
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; uncertainty = \"1 %\" ; coverage = \"k=1\"", 599.6},
		{"rod_journal.diameter @ rod 1 = 59.96 mm ; by = \"paper\"", 0},
		{"guide.clearance @ intake valve 1 = 0.05 mm", 10 * half},                                           // no tool is known
		{"cylinder.pressure @ cyl 1 = 12.00000 bar ; instrument = \"micrometer\"", 1e5 * 1e-5 * 1e6 * half}, // no micrometer reads a pressure
		{"head.flatness = 0.04 mm", 10 * half},
	} {
		tab := measured(t, "R1 "+tc.reading)
		of, at, _ := strings.Cut(strings.Split(tc.reading, " = ")[0], " @ ")
		v := tab.value(of, at)
		require.NotNil(t, v, tc.reading)
		assert.InEpsilon(t, 1+tc.want, 1+v.Doubt.Standard()*1e6, 1e-4, "%s: %v", tc.reading, v.Doubt)
	}
}

// What one tool reads wrong it reads wrong everywhere: it falls out of a taper, and
// does not out of the clearance between two tools.
func TestToolsShareTheirBias(t *testing.T) {
	const taper = "R1 rod_journal.diameter @ rod 1 / front vertical = 59.980000 mm ; instrument = \"micrometer 1\"\nR2 rod_journal.diameter @ rod 1 / rear vertical = 59.960000 mm ; instrument = \"micrometer "
	for tool, want := range map[string]float64{"1": 3 * math.Sqrt2, "2": 5 * math.Sqrt2} {
		assert.InEpsilon(t, want, measured(t, taper+tool+"\"").value("rod_journal.taper", "rod 1").Doubt.Standard()*1e6, 1e-3, "micrometer %s", tool)
	}
	// Where none is named it is the one that is usual, and one of its kind.
	assert.InEpsilon(t, 3*math.Sqrt2, measured(t, strings.ReplaceAll(taper+"1\"", " ; instrument = \"micrometer 1\"", "")).value("rod_journal.taper", "rod 1").Doubt.Standard()*1e6, 1e-3)
	// Two readings that are the same have no taper, and some doubt of that.
	same := measured(t, strings.ReplaceAll(taper, "59.98", "59.96")+"1\"\n[limit.rod_journal.taper] ; max = \"0.005 mm\"")
	v := same.value("rod_journal.taper", "rod 1")
	assert.Zero(t, v.SI)
	assert.InEpsilon(t, 3*math.Sqrt2, v.Doubt.Standard()*1e6, 1e-3)
	assert.InDelta(t, phi(-5/(3*math.Sqrt2)), v.Above, 1e-3)
	both := "R1 rod_bearing.bore @ rod 1 = 60.060000 mm ; instrument = \"%s\"\nR2 rod_journal.diameter @ rod 1 = 60.000000 mm ; instrument = \"micrometer\""
	assert.InEpsilon(t, 5*math.Sqrt2, measured(t, fmt.Sprintf(both, "bore gauge")).value("rod_bearing.clearance", "rod 1").Doubt.Standard()*1e6, 1e-3)
	assert.InEpsilon(t, 3*math.Sqrt2, measured(t, fmt.Sprintf(both, "micrometer")).value("rod_bearing.clearance", "rod 1").Doubt.Standard()*1e6, 1e-3)
	// Of what is stated, as much is shared as by the kind of tool: 4 of 5.
	v = measured(t, "R1 rod_journal.diameter @ rod 1 = 59.96 mm ; uncertainty = \"0.010 mm\" ; coverage = \"standard\"").value("rod_journal.diameter", "rod 1")
	assert.InDelta(t, 6, v.Doubt.Repeat*1e6, 1e-6)
	assert.InDelta(t, 8, v.Doubt.Bias*1e6, 1e-6)
}

// A feeler gauge says only between which leaves: up to 0.06 mm, and no more than
// 0.01 mm to either side.
func TestFeelerGauge(t *testing.T) {
	for value, want := range map[string]float64{"0.04 mm": 0, "0.05 mm": 0.5, "0.055 mm": 0.75, "0.07 mm": 1} {
		tab := measured(t, "R1 head.flatness = "+value+"\n[limit.head.flatness] ; max = \"0.05 mm\"")
		assert.InDelta(t, want, tab.result("head.warped", "").Beyond, 1e-9, value)
	}
}

// P(beyond) of what is worked out, with the doubt of tools and of the rule, from
// the closed form: clearance c = b − d, rule c ≤ 0.001 d + 0.0127 mm.
func TestRuleOfThumbIsNeverExact(t *testing.T) {
	const text = "R1 rod_bearing.bore @ rod 1 = 60.090000 mm\nR2 rod_journal.diameter @ rod 1 = 60.000000 mm\n"
	tab := measured(t, text)
	v := tab.value("rod_bearing.clearance", "rod 1")
	limit := 0.001*60 + 0.0127
	// The rule moves with the journal it is worked out from: d counts 1.001 times.
	readings := math.Hypot(0.005, 1.001*0.005)
	assert.InDelta(t, phi((0.090-limit)/math.Hypot(readings, 0.2*limit)), v.Above, 1e-4)
	assert.InDelta(t, phi((0.0005*60-0.090)/math.Hypot(math.Hypot(0.005, 1.0005*0.005), 0.2*0.0005*60)), v.Below, 1e-6)
	assert.Equal(t, []any{true, "own rule", "service", RuleOfThumb}, []any{v.Limit.RuleOfThumb, v.Limit.From, v.Limit.For, v.Limit.Whose()})
	assert.InDelta(t, 0.2*limit*mm, v.Limit.Upper.Doubt, 1e-12)
	assert.Contains(t, tab.result("rod_bearing.wide", "rod 1").Note, RuleOfThumb)
	// A maker's limit of the same size is sharp.
	sharp := measured(t, text+fmt.Sprintf("[limit.rod_bearing.clearance] ; max = \"%.4f mm\"", limit)).value("rod_bearing.clearance", "rod 1")
	assert.InDelta(t, phi((0.090-limit)/(0.005*math.Sqrt2)), sharp.Above, 1e-4)
	assert.Greater(t, sharp.Above, v.Above)
	assert.False(t, sharp.Limit.RuleOfThumb)
}

// Which limit holds: the reading's own, else the case's for this position, else
// that of the shop's file, else a rule of the trade; what is new only where no
// service limit is known.
func TestWhoseLimit(t *testing.T) {
	const reading = "R1 rod_bearing.clearance @ rod 1 = 0.080 mm"
	b := load(t, bench)
	for _, tc := range []struct {
		name        string
		own, ofCase string
		file        string
		lower       float64 // mm; 0 for none
		upper       float64
		from, what  string
		thumb       bool
	}{
		{"a rule of the trade", "", "", "", 0, 0, "", "", false}, // the journal is not known
		{"the reading's own", " ; limit = \"max 0.06 mm\" ; limit_from = \"stamp\" ; limit_for = \"new\"", "[limit.rod_bearing.clearance] ; max = \"0.07 mm\"", "", 0, 0.06, "stamp", "new", false},
		{"the reading's own, of nobody", " ; limit = \"0.02 to 0.06 mm\"", "", "", 0.02, 0.06, "the case", "", false},
		{"the case's", "", "[limit.rod_bearing.clearance] ; max = \"0.07 mm\" ; for = \"service\"", "max = \"0.09 mm\"\n", 0, 0.07, "the case", "service", false},
		{"the case's, from the manual", "", "[limit.rod_bearing.clearance] ; min = \"0.02 mm\" ; max = \"0.07 mm\" ; from = \"manual\"", "", 0.02, 0.07, "manual", "", false},
		{"of another position", "", "[limit.rod_bearing.clearance] ; max = \"0.07 mm\" ; at = \"rod 2\"", "max = \"0.09 mm\"\n", 0, 0.09, "shop", "", false},
		{"of this position", "", "[limit.rod_bearing.clearance] ; max = \"0.07 mm\" ; at = \"rods 1, 2\"", "max = \"0.09 mm\"\n", 0, 0.07, "the case", "", false},
		{"the shop's", "", "", "max = \"0.09 mm\"\n", 0, 0.09, "shop", "", false},
		{"what is new, alone", "", "[limit.rod_bearing.clearance] ; new = \"0.02 to 0.05 mm\"", "", 0.02, 0.05, "the case", "new", false},
		{"what is new, and a service limit elsewhere", "", "[limit.rod_bearing.clearance] ; new = \"0.02 to 0.05 mm\"", "max = \"0.09 mm\"\nfor = \"service\"\n", 0, 0.09, "shop", "service", false},
	} {
		c := readings(t, four, reading+tc.own+"\n"+tc.ofCase)
		if tc.file != "" {
			var faults source.Faults
			require.True(t, c.ParseLimits("shop.toml", []byte("[limits]\nfrom = \"shop\"\n[limit.rod_bearing.clearance]\n"+tc.file), &faults), faults.Error())
		}
		l := New(b, c).value("rod_bearing.clearance", "rod 1").Limit
		for _, side := range []struct {
			want float64
			b    *Bound
		}{{tc.lower, l.Lower}, {tc.upper, l.Upper}} {
			if side.want == 0 {
				assert.Nil(t, side.b, tc.name)
			} else if assert.NotNil(t, side.b, tc.name) {
				assert.InDelta(t, side.want*mm, side.b.SI, 1e-12, tc.name)
			}
		}
		assert.Equal(t, []any{tc.from, tc.what, tc.thumb}, []any{l.From, l.For, l.RuleOfThumb}, tc.name)
	}
}

// Of several rules of the trade the first that holds for the engine is taken; one of
// which that is not known only where none surely holds.
func TestFirstRuleThatHolds(t *testing.T) {
	const rules = "[quantity.head.step]\nname = \"step\"\nunit = \"mm\"\nlook = \"l\"\nlimits = [\n { max = \"1 mm\", doubt = \"1 %\", source = \"turbo\", when = \"engine.induction == 'turbo'\" },\n { max = \"2 mm\", doubt = \"1 %\", source = \"diesel\", when = \"engine.fuel == 'diesel'\" },\n { max = \"3 mm\", doubt = \"1 %\", source = \"petrol\", when = \"engine.fuel == 'petrol'\" },\n { max = \"4 mm\", doubt = \"1 %\", source = \"any\" } ]\n"
	b := load(t, bench+rules)
	for engine, want := range map[string]string{four: "petrol", four + "induction = \"turbo\"\n": "turbo", strings.Replace(four, `"petrol"`, `"diesel"`, 1): "diesel", strings.Replace(four, `"petrol"`, `"gas"`, 1): "any"} {
		assert.Equal(t, want, New(b, readings(t, engine, "R1 head.step = 0.5 mm")).value("head.step", "").Limit.From, engine)
	}
	only := load(t, bench+strings.Split(rules, " { max = \"2")[0]+"]\n")
	assert.Equal(t, "turbo", New(only, readings(t, four, "R1 head.step = 0.5 mm")).value("head.step", "").Limit.From, "not known to hold, and the only one")
	assert.Equal(t, "", New(only, readings(t, four+"induction = \"natural\"\n", "R1 head.step = 0.5 mm")).value("head.step", "").Limit.From)
}

// A limit that is worked out from itself, at once or by way of another, has no
// value; nor has one of which something is missing.
func TestLimitThatAsksForItself(t *testing.T) {
	b := load(t, bench+`
[quantity.head.a]
name = "a"
unit = "mm"
look = "l"
limits = [ { max = "upper(head.a) + '1 mm'", doubt = "1 %", source = "s" } ]
[quantity.head.b]
name = "b"
unit = "mm"
look = "l"
limits = [ { max = "upper(head.c)", doubt = "1 %", source = "s" } ]
[quantity.head.c]
name = "c"
unit = "mm"
look = "l"
limits = [ { max = "upper(head.b)", doubt = "1 %", source = "s" } ]
[quantity.head.d]
name = "d"
unit = "mm"
look = "l"
limits = [ { max = "lower(head.flatness) * 2", doubt = "1 %", source = "s" }, { max = "head.a * 2", doubt = "1 %", source = "next" } ]
[quantity.head.e]
name = "e"
unit = "mm"
formula = "upper(head.a) + head.a"
because = "b"
source = "s"
`)
	tab := New(b, readings(t, four, "R1 head.a = 0.5 mm\nR2 head.b = 0.5 mm\nR3 head.c = 0.5 mm\nR4 head.d = 0.5 mm"))
	for _, q := range []string{"a", "b", "c"} {
		v := tab.value("head."+q, "")
		assert.Nil(t, v.Limit.Upper, q)
		assert.True(t, v.Known && math.IsNaN(v.Above), q)
	}
	assert.InDelta(t, 1*mm, tab.value("head.d", "").Limit.Upper.SI, 1e-12, "the next of which all is known")
	assert.Equal(t, []string{"the limit of cylinder head: a"}, tab.value("head.e", "").Missing)
}

// A bare limit stands on the side of which the book speaks.
func TestBareLimit(t *testing.T) {
	for reading, want := range map[string][2]bool{ // lower, upper
		"rod_journal.diameter @ rod 1 = 59.96 mm ; limit = \"59.90 mm\"": {true, false},
		"head.flatness = 0.04 mm ; limit = \"0.05 mm\"":                  {false, true},
		"cylinder.bore @ cyl 1 = 86.01 mm ; limit = \"86.10 mm\"":        {false, true},
	} {
		of, at, _ := strings.Cut(strings.Split(reading, " = ")[0], " @ ")
		l := measured(t, "R1 "+reading).value(of, at).Limit
		assert.Equal(t, want, [2]bool{l.Lower != nil, l.Upper != nil}, reading)
	}
	b := load(t, bench)
	sides := Sides(b)
	for q, want := range map[string][2]bool{"rod_journal.diameter": {true, false}, "rod_bearing.clearance": {true, true}, "head.flatness": {false, true}, "guide.clearance": {false, false}} {
		assert.Equal(t, want, sides[b.Quantity(q)], q)
	}
}

// 150, 150, 150 and 112 psi: under 75 in 100 of the best (Ford, Probe 2.0 compression,
// 1997), and not under 70 (GM, Solstice engine compression test, 2006).
func TestCompressionRules(t *testing.T) {
	b := load(t, bench+"[sign.cylinder.under_75]\nname = \"under 75\"\nlook = \"l\"\ntest = \"cylinder.pressure < 0.75 * highest(cylinder.pressure)\"\n[sign.cylinder.under_70]\nname = \"under 70\"\nlook = \"l\"\ntest = \"cylinder.pressure < 0.70 * highest(cylinder.pressure)\"\n")
	text := ""
	for i, p := range []int{150, 150, 112, 150} {
		text += fmt.Sprintf("R%d cylinder.pressure @ cyl %d = %d psi ; uncertainty = \"0.1 psi\" ; coverage = \"standard\"\n", i+1, i+1, p)
	}
	tab := New(b, readings(t, four, text))
	u := math.Hypot(0.1, 0.75*0.1/math.Sqrt(3)) // of three that are the highest alike, at least
	assert.Greater(t, tab.result("cylinder.under_75", "cyl 3").Beyond, 0.9)
	assert.Less(t, tab.result("cylinder.under_75", "cyl 3").Beyond, phi(0.5/u))
	assert.Less(t, tab.result("cylinder.under_70", "cyl 3").Beyond, 1e-9)
	for _, at := range []string{"cyl 1", "cyl 2", "cyl 4"} {
		assert.Less(t, tab.result("cylinder.under_75", at).Beyond, 1e-9, at)
	}
	assert.Equal(t, "112 psi against 112 psi, from R1, R2, R3, R4", tab.result("cylinder.under_75", "cyl 3").Note)
}

// What readings amount to, and how it is told.
func TestResults(t *testing.T) {
	const limit = "\n[limit.rod_journal.diameter] ; min = \"59.95 mm\" ; from = \"manual\""
	for _, tc := range []struct {
		value, note string
		beyond      float64
	}{
		{"59.970000 mm", "59.970 ± 0.010 mm, 0.020 mm inside its least of 59.950 mm (manual)", phi(-4)},
		{"59.950000 mm", "59.950 ± 0.010 mm, at its least of 59.950 mm (manual)", 0.5},
		{"59.945000 mm", "59.945 ± 0.010 mm, 0.005 mm under its least of 59.950 mm (manual)", phi(1)},
		{"2.3600000 in", "2.36000 ± 0.00039 in, 0.00024 in under its least of 2.36024 in (manual)", phi((59.95 - 59.944) / 0.005)},
	} {
		tab := measured(t, "R1 rod_journal.diameter @ rod 3 = "+tc.value+limit)
		r := tab.result("rod_journal.undersize", "rod 3")
		require.NotNil(t, r, tc.value)
		assert.InDelta(t, tc.beyond, r.Beyond, 1e-5, tc.value)
		assert.Equal(t, tc.note, r.Note)
		assert.Equal(t, []any{"R1", "rod 3", []string{"R1"}, ""}, []any{r.ID, r.At, r.Readings, r.SameAs})
		assert.Empty(t, tab.Left)
	}
	tab := measured(t, "R1 rod_bearing.clearance @ rod 1 = 0.08 mm ; limit = \"max 0.06 mm\"")
	assert.Equal(t, "0.080 ± 0.010 mm, 0.020 mm over its most of 0.060 mm (the case)", tab.result("rod_bearing.wide", "rod 1").Note)
	tab = measured(t, "R1 oil.temperature = 120 °C\nR2 oil.particles = 19/16/13")
	assert.Equal(t, "120 ± 1.0 °C", tab.value("oil.temperature", "").Shown())
	assert.Equal(t, "19/16/13", tab.value("oil.particles", "").Shown())
	assert.Equal(t, quantity.Code{19, 16, 13}, *tab.value("oil.particles", "").Code)
	assert.InDelta(t, 0, tab.result("oil.dirty", "").Beyond, 1e-12, "13 is no more than 15")
	assert.InDelta(t, 1, measured(t, "R2 oil.particles = 21/19/17").result("oil.dirty", "").Beyond, 1e-12)
	assert.InDelta(t, 0.5, measured(t, "R2 oil.particles = 21/19/15").result("oil.dirty", "").Beyond, 1e-12)
}

// A test of differences of temperature is told in degrees of difference, not from
// the zero of the scale.
func TestDifferencesOfTemperatureAreTold(t *testing.T) {
	b := load(t, bench+`
[quantity.cylinder.exhaust]
name = "exhaust temperature"
unit = "°C"
inch_unit = "°F"
kind = "temperature"
look = "l"
[sign.cylinder.cold]
name = "cold"
look = "l"
test = "outlier(cylinder.exhaust) < -'50 K'"
[sign.cylinder.hot]
name = "hot"
look = "l"
test = "cylinder.exhaust > '600 °C'"
`)
	for unit, want := range map[string][2]string{"°C": {"-80 °C against -50 °C, from R1, R2, R3, R4", "420 °C against 600 °C"}, "°F": {"-80 °F against -90 °F, from R1, R2, R3, R4", "420 °F against 1112 °F"}} {
		text := ""
		for i, x := range []int{500, 500, 420, 500} {
			text += fmt.Sprintf("R%d cylinder.exhaust @ cyl %d = %d %s\n", i+1, i+1, x, unit)
		}
		tab := New(b, readings(t, four, text))
		assert.Equal(t, want, [2]string{tab.result("cylinder.cold", "cyl 3").Note, tab.result("cylinder.hot", "cyl 3").Note})
	}
}

// A value far off its limit, or off all that such a part can have, is asked about
// and not weighed until it says that it was read again.
func TestSlips(t *testing.T) {
	const ask = " (did the decimal point or the unit slip?); it counts once it says checked = true"
	for _, tc := range []struct{ reading, why string }{
		{"rod_journal.diameter @ rod 1 = 599.4 mm ; limit = \"min 59.90 mm\"", "599.4 mm is more than the 300 mm that a rod journal can be expected to have"},
		{"rod_journal.diameter @ rod 1 = 5.994 mm", "5.994 mm is less than the 10 mm that a rod journal can be expected to have"},
		{"rod_journal.diameter @ rod 1 = 0.2 in", "0.2 in is less than the 0.394 in that a rod journal can be expected to have"},
		{"rod_journal.diameter @ rod 1 = 29.94 mm ; limit = \"min 59.90 mm\"", "29.94 mm is 1/2 of its limit 59.90 mm"},
		{"rod_journal.diameter @ rod 1 = 120.94 mm ; limit = \"59.90 to 59.95 mm\"", "120.94 mm is 2.02 times its limit 59.90 mm"},
		{"head.flatness = 0.5 mm ; limit = \"max 0.05 mm\"", "0.5 mm is 10 times its limit 0.05 mm"},
		{"oil.iron = 1200 ppm ; limit = \"max 100 ppm\"", "1200 ppm is 12 times its limit 100 ppm"},
		{"cylinder.pressure @ cyl 1 = 0.8 bar ; limit = \"min 8 bar\"", "0.8 bar is 1/10 of its limit 8 bar"},
		// Not odd: far inside an upper limit, some times over it, nothing to hold it against.
		{"head.flatness = 0.002 mm ; limit = \"max 0.05 mm\"", ""},
		{"head.flatness = 0.4 mm ; limit = \"max 0.05 mm\"", ""},
		{"oil.iron = 1200 ppm", ""},
		{"oil.temperature = 2 °C ; limit = \"max 120 °C\"", ""},
		{"rod_bearing.clearance @ rod 1 = -0.01 mm ; limit = \"max 0.06 mm\"", ""},
	} {
		tab := measured(t, "R1 "+tc.reading)
		if tc.why == "" {
			assert.NotContains(t, tab.why("R1"), "slip", tc.reading)
			assert.NotEmpty(t, tab.Values, tc.reading)
			continue
		}
		assert.Equal(t, tc.why+ask, tab.why("R1"), tc.reading)
		assert.Empty(t, tab.Values, tc.reading)
		assert.Empty(t, tab.Tests, tc.reading)
		checked := measured(t, "R1 "+tc.reading+" ; checked = true")
		assert.NotEmpty(t, checked.Values, tc.reading)
		assert.NotContains(t, checked.why("R1"), "slip")
	}
	// By the case's own limit, and by the size when new.
	for _, limit := range []string{"min = \"59.90 mm\"", "new = \"59.95 to 59.97 mm\""} {
		assert.Contains(t, measured(t, "R1 rod_journal.diameter @ rod 1 = 25.4 mm\n[limit.rod_journal.diameter] ; "+limit).why("R1"), "its limit")
	}
}

// Readings told in words, or by a bound.
func TestWords(t *testing.T) {
	const sure = 20.0 / 21
	for _, tc := range []struct {
		name, lines, sign, at string
		beyond                float64 // −1 for no result
		note                  string
	}{
		{"rising", "R1 oil.iron = - ; trend = \"rising\"", "oil.iron_rising", "", sure, "rising"},
		{"steady", "R1 oil.iron = - ; trend = \"steady\"", "oil.iron_rising", "", 1 - sure, "steady"},
		{"falling", "R1 oil.iron = - ; trend = \"falling\"", "oil.iron_rising", "", 1 - sure, "falling"},
		{"a rise is no value", "R1 oil.iron = - ; trend = \"rising\" ; limit = \"max 100 ppm\"", "oil.iron_high", "", -1, ""},
		{"lower than others", "R1 cylinder.pressure @ cyl 3 = - ; unlike = [\"cyl 1\", \"cyl 2\"] ; how = \"lower\"", "cylinder.weak", "cyl 3", sure, "lower than cyl 1, cyl 2"},
		{"and so not higher", "R1 cylinder.pressure @ cyl 3 = - ; unlike = [\"cyl 1\"] ; how = \"lower\"", "cylinder.strong", "cyl 3", 1 - sure, "lower than cyl 1"},
		{"higher than others", "R1 cylinder.pressure @ cyl 3 = - ; unlike = [\"cyl 1\"] ; how = \"higher\"", "cylinder.strong", "cyl 3", sure, "higher than cyl 1"},
		{"only different", "R1 cylinder.pressure @ cyl 3 = - ; unlike = [\"cyl 1\"] ; how = \"different\"", "cylinder.weak", "cyl 3", -1, ""},
		{"at least, over the most", "R1 head.flatness = - ; at_least = \"0.08 mm\" ; limit = \"max 0.05 mm\"", "head.warped", "", 1, "at least 0.08 mm, limit 0.05 mm (the case)"},
		{"at least, under the most", "R1 head.flatness = - ; at_least = \"0.03 mm\" ; limit = \"max 0.05 mm\"", "head.warped", "", -1, ""},
		{"at most, under the most", "R1 head.flatness = - ; at_most = \"0.03 mm\" ; limit = \"max 0.05 mm\"", "head.warped", "", 0, "at most 0.03 mm, limit 0.05 mm (the case)"},
		{"at most, over the most", "R1 head.flatness = - ; at_most = \"0.08 mm\" ; limit = \"max 0.05 mm\"", "head.warped", "", -1, ""},
		{"between, over the most", "R1 head.flatness = - ; at_least = \"0.08 mm\" ; at_most = \"0.10 mm\" ; limit = \"max 0.05 mm\"", "head.warped", "", 1, "from 0.08 mm to 0.10 mm, limit 0.05 mm (the case)"},
		{"at most, under the least", "R1 rod_journal.diameter @ rod 2 = - ; at_most = \"59.80 mm\"\n[limit.rod_journal.diameter] ; min = \"59.90 mm\"", "rod_journal.undersize", "rod 2", 1, "at most 59.80 mm, limit 59.900 mm (the case)"},
		{"at least, over the least", "R1 rod_journal.diameter @ rod 2 = - ; at_least = \"59.95 mm\"\n[limit.rod_journal.diameter] ; min = \"59.90 mm\"", "rod_journal.undersize", "rod 2", 0, "at least 59.95 mm, limit 59.900 mm (the case)"},
		{"its own limit before the case's", "R1 head.flatness = - ; at_least = \"0.08 mm\" ; limit = \"max 0.10 mm\"\n[limit.head.flatness] ; max = \"0.05 mm\"", "head.warped", "", -1, ""},
		{"in inches", "R1 rod_journal.diameter @ rod 2 = - ; at_most = \"2.350 in\" ; limit = \"min 59.90 mm\"", "rod_journal.undersize", "rod 2", 1, "at most 2.350 in, limit 2.35827 in (the case)"},
	} {
		tab := measured(t, tc.lines)
		r := tab.result(tc.sign, tc.at)
		if tc.beyond < 0 {
			assert.Nil(t, r, tc.name)
			continue
		}
		if assert.NotNil(t, r, tc.name) {
			assert.InDelta(t, tc.beyond, r.Beyond, 1e-12, tc.name)
			assert.Equal(t, tc.note, r.Note, tc.name)
			assert.Contains(t, r.ID, "R1")
		}
	}
	// Against a rule of thumb a bound tells no more than the rule is sure.
	tab := measured(t, "R1 rod_journal.diameter @ rod 1 = 60 mm ; by = \"paper\"\nR2 rod_bearing.clearance @ rod 1 = - ; at_least = \"0.090 mm\"")
	limit := 0.06 + 0.0127
	assert.InDelta(t, phi((0.090-limit)/(0.2*limit)), tab.result("rod_bearing.wide", "rod 1").Beyond, 1e-9)
}

// Readings that come to nothing are kept, and it is told why.
func TestLeft(t *testing.T) {
	for lines, want := range map[string]string{
		"R1 head.waviness = 5 mm":                       "the book has no quantity head.waviness",
		"R1 cylinder.bore = 86 mm":                      "at which cylinder it was taken is not said",
		"R1 cylinder.bore @ cyl ?a = 86 mm":             "at which cylinder it was taken is not said",
		"R1 cylinder.bore @ 2 of 4 = 86 mm":             "at which cylinder it was taken is not said",
		"R1 guide.clearance @ intake valve 1 = 0.05 mm": "nothing in the book hangs on it",
		"R1 head.flatness = 0.05 mm":                    "there is no limit to hold it against: give the maker's in [limit.head.flatness]",
		"R1 head.flatness = - ; at_least = \"0.01 mm\"": "so little is said of it that it tells nothing",
		"R1 cylinder.pressure @ cyl 1 = 12 bar":         "what hangs on it wants more: cylinder: pressure at cyl 2, cyl 3, cyl 4",
		"R1 rod_bearing.bore @ rod 1 = 60.06 mm":        "what hangs on it wants more: rod journal: diameter, rod 1",
		"R1 rod_journal.diameter @ rod 1 / front vertical = 60 mm\nR2 rod_journal.diameter @ rod 1 / rear vertical = 60 mm": "there is no limit to hold it against: give the maker's in [limit.rod_journal.diameter]",
		"R1 rod_bearing.bore @ rod 1 = 60.06 mm ; limit = \"max 61 mm\"":                                                    "what hangs on it wants more: rod journal: diameter, rod 1",
		"R1 head.flatness = 0.05 mm ; limit = \"max 0.05 mm\"":                                                              "",
		"R1 rod_journal.diameter @ rod 1 / front vertical = 60 mm ; limit = \"min 59 mm\"":                                  "",
	} {
		assert.Equal(t, want, measured(t, lines).why("R1"), lines)
	}
	// A reading on which a limit rests that something was held against has served.
	b := load(t, bench+"[quantity.head.step]\nname = \"step\"\nunit = \"mm\"\nlook = \"l\"\nlimits = [ { max = \"2 * head.flatness\", doubt = \"10 %\", source = \"s\" } ]\n")
	assert.Empty(t, New(b, readings(t, four, "R1 head.flatness = 0.05 mm\nR2 head.step = 0.05 mm")).why("R1"))
	assert.NotEmpty(t, New(b, readings(t, four, "R1 head.flatness = 0.05 mm")).why("R1"))
	// In the order of the case, whatever is found out first.
	tab := measured(t, "R1 head.flatness = 0.05 mm\nR2 head.waviness = 5 mm\nR3 guide.clearance @ intake valve 1 = 0.05 mm\nR4 head.waviness = 5 mm")
	var ids []string
	for _, l := range tab.Left {
		ids = append(ids, l.Reading)
	}
	assert.Equal(t, []string{"R1", "R2", "R3", "R4"}, ids)
	// Where the order of the parts is lost, no position can be believed; all of them can.
	lost := "order_lost = [\"rod_journal\"]\n"
	const two = "R1 rod_journal.diameter @ rod 1 = 59.9 mm ; limit = \"min 59.95 mm\""
	assert.Equal(t, "at which rod it was taken is not said", New(load(t, bench), readings(t, lost+four, two)).why("R1"))
	assert.Empty(t, New(load(t, bench), readings(t, lost+four, strings.Replace(two, "rod 1", "all", 1))).why("R1"))
}

// What is worked out of one reading is one fact with it: the surer counts. Tests to
// either side, and at other positions, are facts of their own.
func TestOneFactCountsOnce(t *testing.T) {
	const worn = "R1 rod_bearing.bore @ rod 1 = 60.06 mm\nR2 rod_journal.diameter @ rod 1 = 59.94 mm\n[limit.rod_journal.diameter] ; min = \"59.95 mm\"\n[limit.rod_bearing.clearance] ; min = \"0.02 mm\" ; max = \"0.09 mm\""
	tab := measured(t, worn)
	under, wide, tight := tab.result("rod_journal.undersize", "rod 1"), tab.result("rod_bearing.wide", "rod 1"), tab.result("rod_bearing.tight", "rod 1")
	assert.Equal(t, wide.ID, under.SameAs, "0.03 over is surer than 0.01 under")
	assert.Empty(t, wide.SameAs)
	assert.Empty(t, tight.SameAs, "that it is not tight is not what says that it is wide")
	assert.Greater(t, wide.Beyond, 0.99)
	assert.Less(t, tight.Beyond, 1e-6)
	var counted []string
	for _, f := range tab.Findings(readings(t, four, worn)) {
		counted = append(counted, f.Sign)
	}
	assert.Equal(t, []string{"rod_bearing.wide", "rod_bearing.tight"}, counted)
	// A journal that is sound, in a bore that is too large: the bore hangs on the
	// clearance alone, and the journal is one fact with it still.
	tab = measured(t, strings.Replace(worn, "59.94", "59.99", 1))
	assert.Equal(t, tab.result("rod_bearing.wide", "rod 1").SameAs == "", tab.result("rod_journal.undersize", "rod 1").SameAs != "")
	// Taken with a bore gauge that is far less sure than the micrometer, the clearance
	// hangs on the bore, and both count.
	tab = measured(t, strings.Replace(worn, "60.06 mm", "60.06 ± 0.05 mm", 1))
	assert.Empty(t, tab.result("rod_journal.undersize", "rod 1").SameAs)
	assert.Empty(t, tab.result("rod_bearing.wide", "rod 1").SameAs)
	// The same at two rods is two facts.
	tab = measured(t, "R1 rod_journal.diameter @ rod 1 = 59.94 mm\nR2 rod_journal.diameter @ rod 2 = 59.94 mm\n[limit.rod_journal.diameter] ; min = \"59.95 mm\"")
	assert.Empty(t, tab.result("rod_journal.undersize", "rod 1").SameAs)
	assert.Empty(t, tab.result("rod_journal.undersize", "rod 2").SameAs)
	// One cylinder weak and another strong are told by other readings.
	tab = measured(t, "R1 cylinder.pressure @ cyl 1 = 10 bar\nR2 cylinder.pressure @ cyl 2 = 10 bar\nR3 cylinder.pressure @ cyl 3 = 6 bar\nR4 cylinder.pressure @ cyl 4 = 10 bar")
	for _, at := range []string{"cyl 1", "cyl 3"} {
		for _, s := range []string{"weak", "strong"} {
			assert.Empty(t, tab.result("cylinder."+s, at).SameAs, "%s at %s", s, at)
		}
	}
	assert.Greater(t, tab.result("cylinder.weak", "cyl 3").Beyond, 0.99)
	assert.Less(t, tab.result("cylinder.strong", "cyl 3").Beyond, 1e-6)
}

// Findings carry what the readings they rest on say of themselves.
func TestFindings(t *testing.T) {
	c := readings(t, four, "R1 oil.iron = 300 ppm ; limit = \"max 100 ppm\" ; by = \"laboratory\" ; sample = \"S1\" ; who = \"lab\"\nR2 rod_bearing.bore @ rod 1 = 60.06 mm ; after = [\"R1\"]\nR3 rod_journal.diameter @ rod 1 = 60.03 mm ; before = [\"R1\"]\n[limit.rod_bearing.clearance] ; max = \"0.09 mm\"")
	tab := New(load(t, bench), c)
	f := tab.Findings(c)
	require.Len(t, f, 2, "%+v", f)
	assert.Equal(t, []any{"R1", "oil.iron_high", evidence.Seen, evidence.Laboratory, "S1", "lab"}, []any{f[0].ID, f[0].Sign, f[0].State, f[0].By, f[0].Sample, f[0].Who})
	assert.Empty(t, f[0].At)
	assert.Equal(t, []any{"R2", "rod_bearing.wide", evidence.NotFound, evidence.Gauge, "rod 1", evidence.Certain}, []any{f[1].ID, f[1].Sign, f[1].State, f[1].By, f[1].At[0].Text, f[1].Sure})
	assert.Equal(t, evidence.Order{After: []string{"R1"}, Before: []string{"R1"}}, f[1].Order)
	for i := range f {
		assert.Equal(t, tab.Tests[i].Beyond, *f[i].Beyond)
	}
	w := tab.Weighed(c)
	assert.Equal(t, f, w.Measured)
	assert.Empty(t, c.Measured, "the case itself is left as it is")
	assert.Len(t, w.All(), 2)
}

// No two results have one id, however many rest on the same readings, and none has
// that of another that is told in words.
func TestIDs(t *testing.T) {
	b := load(t, bench+`
[sign.engine.uneven]
name = "uneven"
look = "l"
test = "spread(cylinder.pressure) > 0.1 * highest(cylinder.pressure)"
[sign.engine.low]
name = "low"
look = "l"
test = "mean(cylinder.pressure) < '8 bar'"
[sign.cylinder.low]
name = "low"
look = "l"
test = "cylinder.pressure < '8 bar'"
[sign.oil.iron_low]
name = "iron low"
look = "l"
test = "oil.iron < '5 ppm'"
[sign.head.iron_low]
name = "iron low"
look = "l"
test = "oil.iron < '7 ppm'"
[sign.gasket.iron_low]
name = "iron low"
look = "l"
test = "-oil.iron > -0.00001"
[sign.oil.iron_up]
name = "iron up"
look = "l"
trend = "oil.iron rising"
`)
	text := "I1 oil.iron = 300 ppm ; limit = \"max 100 ppm\"\nI2 oil.iron = - ; trend = \"rising\"\n"
	for i := range 4 {
		text += fmt.Sprintf("R%d cylinder.pressure @ cyl %d = %d bar\n", i+1, i+1, 10-i)
	}
	// Of things in the case that have such ids themselves.
	others := []string{"R1a", "R2a", "I2a"}
	text += "R1a rod_journal.diameter @ rod 1 = 59.94 mm ; limit = \"min 59.95 mm\"\nR2a head.flatness = 0.05 mm ; limit = \"max 0.05 mm\"\nI2a head.flatness = 0.05 mm\n[finding.R1b] ; sign = \"oil.dirty\" ; state = \"seen\""
	tab := New(b, readings(t, four, text))
	seen := map[string]bool{"R1b": true}
	named := 0
	for _, r := range tab.Tests {
		if r.SameAs != "" {
			assert.Empty(t, r.ID)
			assert.NotNil(t, func() *Result {
				for i := range tab.Tests {
					if tab.Tests[i].ID == r.SameAs {
						return &tab.Tests[i]
					}
				}
				return nil
			}(), "%s is the same as %s", r.Sign.ID, r.SameAs)
			continue
		}
		named++
		assert.NotEmpty(t, r.ID, r.Sign.ID)
		assert.False(t, seen[r.ID], "%s twice", r.ID)
		seen[r.ID] = true
		if !slices.Contains(others, r.ID) {
			assert.Contains(t, r.Readings, strings.TrimRight(r.ID, "abcdefghijklmnopqrstuvwxyz"), "named by one that it rests on")
		}
	}
	assert.GreaterOrEqual(t, named, 12)
	assert.True(t, seen["I2"] && seen["I2b"] && len(seen) == named+1, "%v", seen)
}

// The same case comes to the same table, to every byte.
func TestSameCaseSameTable(t *testing.T) {
	b := load(t, bench)
	c := func() *evidence.Case {
		return readings(t, four, "R1 rod_bearing.bore @ rod 1 = 60.06 mm\nR2 rod_journal.diameter @ rod 1 = 59.94 mm\nR3 cylinder.pressure @ cyl 1 = 10 bar\nR4 cylinder.pressure @ cyl 2 = 11 bar\nR5 cylinder.pressure @ cyl 3 = 6 bar\nR6 rod_journal.diameter @ rod 1 / front vertical = 59.96 mm\nR7 rod_journal.diameter @ rod 1 / rear vertical = 59.94 mm\n[limit.rod_journal.taper] ; max = \"0.01 mm\"")
	}
	want := told(New(b, c()))
	for range 5 {
		assert.Equal(t, want, told(New(b, c())))
	}
}

// told is a table as text, to the last figure.
func told(t *Table) string {
	var b strings.Builder
	for _, v := range t.Values {
		fmt.Fprintf(&b, "%s @ %s %v %v %v %v %v %v %v %v %v %s", v.Quantity.ID, v.At, v.Readings, v.Derived, v.Known, v.SI, v.Doubt, v.Missing, v.Notes, v.Below, v.Above, v.Limit.From)
		for _, side := range []*Bound{v.Limit.Lower, v.Limit.Upper} {
			if side != nil {
				fmt.Fprint(&b, " ", *side)
			}
		}
		if d := Dispose(v); d != nil {
			fmt.Fprint(&b, " ", *d)
		}
		b.WriteByte('\n')
	}
	for _, r := range t.Tests {
		fmt.Fprintln(&b, r.Sign.ID, r.At, r.ID, r.Readings, r.Beyond, r.SameAs, r.Note)
	}
	for _, l := range t.Left {
		fmt.Fprintln(&b, l.Reading, l.Why)
	}
	return b.String()
}
