package rules

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

func TestReadingsOfABook(t *testing.T) {
	b, said := loadGauges(t, `
[quantity.rod_journal.wear]
name = "wear"
unit = "in"
inch_unit = "thou"
digits = 4
kind = "difference"
minutes = 3
look = "Take it."
caution = "Cold."
instrument = "micrometer"
least = "-0.1 mm"
most = "5 mm"
rework = "undersize"
sizes = ["0.50 mm", "10 thou"]
crack_check = true
source = "common practice"
limits = [
  { max = "0.001 * rod_journal.diameter + '0.0005 in'", doubt = "20 %", for = "service", when = "engine.fuel == 'petrol'", source = "own" },
  { min = "-0.01 mm", max = "0.05 mm", doubt = "0.01 mm", source = "own" },
]
`)
	require.NotNil(t, b, said)
	q := b.Quantity("rod_journal.wear")
	assert.Equal(t, "rod journal: wear", q.Title())
	assert.Equal(t, []any{"in", "thou", DifferenceKind, 3.0, "undersize", true}, []any{q.Unit, q.InchUnit, q.Kind, q.Minutes, q.Rework, q.CrackCheck})
	assert.InDelta(t, -0.1e-3, q.Least, 1e-18)
	assert.InDelta(t, 5e-3, q.Most, 1e-18)
	assert.InDeltaSlice(t, []float64{0.254e-3, 0.5e-3}, q.Sizes, 1e-15, "ascending, in SI units")
	require.Len(t, q.Limits, 2)
	assert.Equal(t, []any{0.2, true, "service"}, []any{q.Limits[0].Doubt.Value, q.Limits[0].Doubt.Share, q.Limits[0].For})
	assert.Nil(t, q.Limits[0].Min)
	assert.InDelta(t, 0.06e-3+0.0127e-3, q.Limits[0].Max.Eval([]float64{0.06}), 1e-15)
	assert.InDelta(t, -0.01e-3, q.Limits[1].Min.Eval(nil), 1e-18, "a plain value needs no quotes within quotes")
	assert.Equal(t, Amount{Value: 0.01e-3, Unit: "mm"}, q.Limits[1].Doubt)

	// What is not said.
	d := b.Quantity("rod_journal.diameter")
	assert.Equal(t, []any{0.0, math.Inf(1), 5.0, 0}, []any{d.Least, d.Most, d.Minutes, d.Digits})
	temp := b.Quantity("oil.temperature")
	assert.Equal(t, math.Inf(-1), temp.Least)
	assert.Equal(t, quantity.Dimension{}, b.Quantity("oil.particles").Dimension())

	// The tool and its doubt: GUM 4.3.7 for the resolution, half of it to either side.
	mic := d.Instrument
	require.NotNil(t, mic)
	assert.Equal(t, quantity.Doubt{Repeat: 0.003e-3, Bias: 0.002e-3, Half: 0.005e-3}, mic.Doubt(0.06))
	gauge := b.Quantity("cylinder.pressure").Instrument
	assert.Equal(t, quantity.Doubt{Repeat: 0.02 * 12e5, Bias: 0.03 * 12e5}, gauge.Doubt(12e5))
	assert.Equal(t, gauge.Doubt(12e5), gauge.Doubt(-12e5), "a doubt has no sign")
	length, pressure := d.Dimension(), b.Quantity("cylinder.pressure").Dimension()
	assert.Equal(t, []bool{true, false, true, true}, []bool{mic.Reads(length), mic.Reads(pressure), gauge.Reads(length), gauge.Reads(pressure)})
}

// What a reading calls its tool: the kind, and which one of them. The longest name
// wins, and only whole words count.
func TestInstrumentNamed(t *testing.T) {
	b, said := loadGauges(t, "[instrument.depth]\nname = \"micrometer for depths\"\nrepeat = \"1 %\"\nsource = \"s\"\n[instrument.outside_mike]\nname = \"outside mike of old\"\nalso = [\"outside\"]\nrepeat = \"1 %\"\nsource = \"s\"\n")
	require.NotNil(t, b, said)
	for text, want := range map[string]string{
		"micrometer": "micrometer", "Micrometer": "micrometer", "micrometer 2": "micrometer", "micrometer M-07": "micrometer", "outside micrometer": "micrometer", "outside micrometer 3": "micrometer", "outside 3": "outside_mike",
		"mike": "micrometer", "pressure gauge": "gauge", "gauge": "gauge", "gauge no. 4": "gauge", "outside mike of old 7": "outside_mike", "micrometer for depths 2": "depth", "micrometer for": "micrometer",
		"micrometers": "", "bore gauge": "", "the micrometer": "", "": "",
	} {
		got := ""
		if i := b.InstrumentNamed(text); i != nil {
			got = i.ID
		}
		assert.Equal(t, want, got, "%q", text)
	}
}

func TestSuggestQuantity(t *testing.T) {
	b, said := loadGauges(t, "")
	require.NotNil(t, b, said)
	for text, want := range map[string]string{
		"rod_journal.diametr": "rod_journal.diameter", "rod_journal.size": "rod_journal.diameter", "rod journal size": "rod_journal.diameter", "pot.pressure": "cylinder.pressure", "size": "rod_journal.diameter",
		"gearbox.noise": "",
	} {
		if want != "" {
			want = `did you mean "` + want + `"?`
		}
		assert.Equal(t, want, b.SuggestQuantity(text), text)
	}
}

// Inches have as many more decimals as show the same step: 0.001 mm as 0.00004 in
// needs five.
func TestShownInInches(t *testing.T) {
	for _, tc := range []struct {
		unit, inch string
		digits     int
		wantUnit   string
		wantDigits int
	}{
		{"mm", "in", 3, "in", 5}, {"mm", "in", 2, "in", 4}, {"mm", "thou", 3, "thou", 2}, {"bar", "psi", 1, "psi", 0}, {"bar", "psi", 2, "psi", 1}, {"kPa", "psi", 0, "psi", 1},
		{"°C", "°F", 0, "°F", 0}, {"°C", "°F", 1, "°F", 1}, {"N·m", "lb-ft", 0, "lb-ft", 1}, {"ml", "fl oz", 0, "fl oz", 2}, {"mm", "", 3, "mm", 3},
	} {
		q := Quantity{Unit: tc.unit, InchUnit: tc.inch, Digits: tc.digits}
		u, digits := q.Shown(true)
		assert.Equal(t, []any{tc.wantUnit, tc.wantDigits}, []any{u.Symbol, digits}, "%s, %d decimals, in %s", tc.unit, tc.digits, tc.inch)
		u, digits = q.Shown(false)
		assert.Equal(t, []any{tc.unit, tc.digits}, []any{u.Symbol, digits})
	}
}

// What is wrong with instruments, quantities and limits, each told at its place and
// once: what hangs on a thing that is told already is not told again.
func TestReadingsFaults(t *testing.T) {
	const quantityOf = "[quantity.rod_journal.x]\nname = \"x\"\nunit = \"mm\"\nlook = \"Take it.\"\n"
	const worked = "because = \"b\"\nsource = \"s\"\n"
	for _, tc := range []struct {
		text   string
		faults []string // line behind the gauges: column: what
	}{
		// Instruments.
		{"[instrument.eye]\nname = \"eye\"\nsource = \"s\"\n", []string{`1:1: [instrument.eye] does not say how far it can be trusted (as in repeat = "0.003 mm")`}},
		{"[instrument.eye]\nname = \"eye\"\nrepeat = \"1 mm\"\n", []string{`1:1: [instrument.eye] has no source`}},
		{"[instrument.eye]\nname = \"eye\"\nrepeat = \"-1 mm\"\nbias = \"1\"\nresolution = \"1 mmm\"\nsource = \"s\"\n", []string{
			`3:11: repeat cannot be negative`, `4:9: bias: "1": the unit is missing (did you mean "1 mm"?)`, `5:15: resolution: "1 mmm": "mmm" is no unit that is known (did you mean "mm"?)`}},
		{quantityOf + "instrument = \"micrometr\"\n", []string{`5:15: there is no instrument "micrometr" (did you mean "micrometer"?)`}},
		{"[quantity.cylinder.x]\nname = \"x\"\nunit = \"bar\"\nlook = \"Take it.\"\ninstrument = \"micrometer\"\n", []string{`5:15: a micrometer does not read a pressure`}},
		// Quantities.
		{"[quantity.rod_jurnal.x]\nname = \"x\"\nunit = \"mm\"\nlook = \"Take it.\"\n", []string{`1:1: there is no part "rod_jurnal" (did you mean "rod_journal"?)`}},
		{"[quantity.rod_jurnal.x]\nname = \"x\"\nunit = \"mm\"\n" + worked + "formula = \"rod_journal.diameter\"\n", []string{`1:1: there is no part "rod_jurnal" (did you mean "rod_journal"?)`}},
		{"[quantity.rod_journal.X]\nname = \"x\"\nunit = \"mm\"\nlook = \"Take it.\"\n", []string{`1:1: "X" is no id: use small letters, digits and _`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nlook = \"Take it.\"\n", []string{`1:1: [quantity.rod_journal.x] has no unit (as in unit = "mm")`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nunit = \"mm\"\n", []string{`1:1: [quantity.rod_journal.x] has no look (say how it is taken)`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nunit = \"mm\"\nformula = \"rod_journal.diameter\"\n", []string{`1:1: [quantity.rod_journal.x] has a formula and no because and source (say why it is worked out so, and by whose authority)`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nkind = \"code\"\nunit = \"mm\"\nlook = \"Take it.\"\n", []string{`1:1: [quantity.rod_journal.x] is a code, which has neither unit, formula nor limits (make a quantity of one of its numbers, as in formula = "code(oil.particles, 14)")`}},
		{quantityOf + "kind = \"sise\"\n", []string{`5:9: kind is "sise", and must be one of: size, amount, difference, temperature, code (did you mean "size"?)`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nunit = \"°C\"\nlook = \"Take it.\"\n", []string{`3:9: °C has a zero point, and the kind is amount (say kind = "temperature", or give a difference in K)`}},
		{"[quantity.rod_journal.x]\nname = \"x\"\nunit = \"°F\"\nkind = \"difference\"\nlook = \"Take it.\"\n", []string{`3:9: °F has a zero point, and the kind is difference (say kind = "temperature", or give a difference in K)`}},
		{quantityOf + "kind = \"temperature\"\n", []string{`5:9: kind is temperature, and mm is a length`}},
		{quantityOf + "inch_unit = \"psi\"\n", []string{`5:14: inch_unit is of a pressure, and unit of a length`}},
		{quantityOf + "inch_unit = \"inchs\"\n", []string{`5:14: inch_unit: "inchs" is no unit that is known (did you mean "inch"?)`}},
		{quantityOf + "least = \"5 bar\"\n", []string{`5:10: least is a pressure, and must be a length`}},
		{quantityOf + "least = \"5 mm\"\nmost = \"4 mm\"\n", []string{`5:10: least is more than most`}},
		{quantityOf + "sizes = [\"0.25 mm\"]\n", []string{`5:10: [quantity.rod_journal.x] has sizes and no rework (say rework = "undersize" or "oversize")`}},
		{quantityOf + "rework = \"undersize\"\nsizes = [\"0.25 mm\", \"1 bar\", \"x\"]\n", []string{`6:21: "1 bar" is a pressure, and must be a length`, `6:30: sizes: "x": must be a number with its unit (as in "59.94 mm")`}},
		{quantityOf + "cauton = \"y\"\n", []string{`5:1: [quantity.rod_journal.x] has no key "cauton" (did you mean "caution"?)`}},
		// A unit that nobody knows is one fault, whatever is worked out from it.
		{"[quantity.rod_journal.x]\nname = \"x\"\nunit = \"Nmm\"\nlook = \"Take it.\"\ninstrument = \"micrometer\"\nlimits = [ { max = \"5 bar\", doubt = \"5 %\", source = \"s\" } ]\n" +
			"[quantity.rod_journal.y]\nname = \"y\"\nunit = \"bar\"\n" + worked + "formula = \"rod_journal.x * 2 + spread(rod_journal.x)\"\n[sign.rod_journal.odd]\nname = \"odd\"\nlook = \"Look.\"\ntest = \"rod_journal.x > '5 µm'\"\n",
			[]string{`3:9: unit: "Nmm" is no unit that is known (did you mean "N m"?)`}},
		// Limits.
		{quantityOf + "limits = [ { max = \"5 bar\", doubt = \"5 %\", source = \"s\" } ]\n", []string{`5:14: max: the formula comes to a pressure, and must come to a length`}},
		{quantityOf + "limits = [ { max = \"5 mm\", source = \"s\" } ]\n", []string{`5:12: a limit of the trade must say how far it can be off for one engine (as in doubt = "20 %")`}},
		{quantityOf + "limits = [ { doubt = \"5 %\", source = \"s\" } ]\n", []string{`5:12: a limit needs min or max`}},
		{quantityOf + "limits = [ { max = \"5 mm\", doubt = \"5 %\" } ]\n", []string{`5:12: [quantity.rod_journal.x.limits] has no source`}},
		{quantityOf + "limits = [ { max = \"5 mm\", doubt = \"5 bar\", source = \"s\" } ]\n", []string{`5:28: doubt is a pressure, and must be a length or a per cent`}},
		{quantityOf + "limits = [ { max = \"5 mm\", doubt = \"5 %\", source = \"s\", for = \"old\" } ]\n", []string{`5:57: for is "old", and must be one of: new, service, release`}},
		{quantityOf + "limits = [ { max = \"main_journal.diameter\", doubt = \"5 %\", source = \"s\" } ]\n", []string{`5:14: max: main_journal.diameter is per main bearing, and has no one value here (take it over its positions, as in highest(…))`}},
		{quantityOf + "limits = [ { max = \"5 mm\", doubt = \"5 %\", source = \"s\", when = \"engine.ful == 'petrol'\" } ]\n", []string{`5:72: the condition does not fit: a case has no fact engine.ful (did you mean "engine.fuel"?)`}},
		// Readings and limits of examples.
		{"[example.e]\ntitle = \"e\"\nquestion = \"worn\"\nreadings = [\"rod_journal.diameter @ rod 3 = 59.80 mm\", \"rod_journal.diameter 5 mm\", \"rod_journal.size = 5 mm\"]\nlimits = [\"rod_journal.diameter min 59.93 mm\", \"rod_journal.diameter 59.93 mm\", \"rod_journal.size min 5 mm\", \"rod_journal.diameter min 5\"]\n", []string{
			`4:56: "rod_journal.diameter 5 mm" has no = (as in "rod_journal.diameter @ rod 3 = 59.80 mm")`,
			`4:85: there is no quantity "rod_journal.size" (did you mean "rod_journal.diameter"?)`,
			`5:48: "59.93 mm" says neither min nor max (as in "rod_journal.diameter min 59.93 mm")`,
			`5:81: there is no quantity "rod_journal.size" (did you mean "rod_journal.diameter"?)`,
			`5:110: "5": the unit is missing (did you mean "5 mm"?)`}},
	} {
		b, said := loadGauges(t, tc.text)
		assert.Nil(t, b, tc.text)
		var want []string
		for _, f := range tc.faults {
			var line, column int
			_, err := fmt.Sscanf(f, "%d:%d:", &line, &column)
			require.NoError(t, err, f)
			want = append(want, fmt.Sprintf("gauges.toml:%d:%d: %s", strings.Count(gauges, "\n")+line, column, f[strings.Index(f, " ")+1:]))
		}
		assert.Equal(t, strings.Join(want, "\n"), said, tc.text)
	}
}

// A shop's pack may replace what the book says of a tool or a quantity.
func TestReadingsOverlay(t *testing.T) {
	shop := "[pack]\nid = \"shop\"\ntitle = \"Shop\"\nversion = \"1\"\n[instrument.micrometer]\nreplace = true\nname = \"micrometer\"\nrepeat = \"0.001 mm\"\nsource = \"own\"\n" +
		"[quantity.rod_journal.diameter]\nreplace = true\nname = \"size\"\nunit = \"in\"\nlook = \"Take it.\"\ninstrument = \"micrometer\"\n"
	var faults source.Faults
	b := Load(&faults, []Text{{"gauges.toml", []byte(shown(gauges))}}, []Text{{"shop.toml", []byte(shop)}})
	require.NotNil(t, b, faults.Error())
	assert.Len(t, b.Instruments, 2)
	var taken source.Faults
	assert.Nil(t, Load(&taken, []Text{{"gauges.toml", []byte(shown(gauges))}}, []Text{{"shop.toml", []byte(strings.ReplaceAll(shop, "replace = true\n", ""))}}))
	said := taken.Error()
	assert.Contains(t, said, "instrument micrometer stands already at gauges.toml:25:1 (say replace = true to replace it)")
	assert.Contains(t, said, "quantity rod_journal.diameter stands already at gauges.toml:37:1 (say replace = true to replace it)")
	q := b.Quantity("rod_journal.diameter")
	assert.Equal(t, []any{"size", "in", 0.001e-3}, []any{q.Name, q.Unit, q.Instrument.Repeat.Value})
	n := 0
	for _, o := range b.Quantities {
		if o.ID == q.ID {
			n++
		}
	}
	assert.Equal(t, 1, n)
}
