package quantity

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Values as they are written in a shop.
func TestParse(t *testing.T) {
	for _, tc := range []struct {
		text   string
		number float64
		unit   string
		step   float64
	}{
		{"59.94 mm", 59.94, "mm", 0.01},
		{"59.94mm", 59.94, "mm", 0.01},
		{" 59.940  mm ", 59.94, "mm", 0.001},
		{".0015 in", 0.0015, "in", 0.0001},
		{"1.5 thou", 1.5, "thou", 0.1},
		{"+0.02 mm", 0.02, "mm", 0.01},
		{"-0.016 mm", -0.016, "mm", 0.001},
		{"−0.016 mm", -0.016, "mm", 0.001}, // the typographic minus
		{"6e3 rpm", 6000, "rpm", 1000},
		{"1.5E-3 in", 0.0015, "in", 1e-4},
		{"6000 1/min", 6000, "rpm", 1},
		{"6e3 1/min", 6000, "rpm", 1000},
		{"20.5e-6 1/K", 20.5e-6, "1/K", 1e-7},
		{"20.5e-6 /K", 20.5e-6, "1/K", 1e-7},
		{"6000 min-1", 6000, "rpm", 1},
		{"26 lb-ft", 26, "lb-ft", 1},
		{"26 ft lbs", 26, "lb-ft", 1},
		{"100 N m", 100, "N·m", 1},
		{"9.5 :1", 9.5, "ratio", 0.1},
		{"9.5:1", 9.5, "ratio", 0.1},
		{"12 A/cm", 12, "/cm", 1},
		{"12 /cm", 12, "/cm", 1},
		{"98 °C", 98, "°C", 1},
		{"-18 C", -18, "°C", 1},
		{"5 wt%", 5, "%", 1},
		{"0 bar", 0, "bar", 1},
		// Inch and foot marks.
		{`2.375"`, 2.375, "in", 0.001},
		{`2.375″`, 2.375, "in", 0.001},
		{`.5 "`, 0.5, "in", 0.1},
		{"5'", 5, "ft", 1},
		{"4.44 in.", 4.44, "in", 0.01},
		// Fractions: read off a rule that is divided into sixteenths at least.
		{"3/8 in", 0.375, "in", 1.0 / 16},
		{`3/8"`, 0.375, "in", 1.0 / 16},
		{"1 1/2 in", 1.5, "in", 1.0 / 16},
		{"1-1/2 in", 1.5, "in", 1.0 / 16},
		{"-1 1/2 turns", -1.5, "turns", 1.0 / 16},
		{"+1/4 turn", 0.25, "turns", 1.0 / 16},
		{"11/64 in", 11.0 / 64, "in", 1.0 / 64},
		{"10/3 mm", 10.0 / 3, "mm", 1.0 / 16},
	} {
		v, err := Parse(tc.text)
		if !assert.NoError(t, err, tc.text) {
			continue
		}
		assert.Equal(t, tc.number, v.Number, tc.text)
		assert.Equal(t, tc.unit, v.Unit.Symbol, tc.text)
		assert.InDelta(t, tc.step, v.Step, 1e-12*tc.step, tc.text)
		assert.True(t, v.Said())
	}
	assert.False(t, Value{}.Said())
}

func TestParseFaults(t *testing.T) {
	for _, tc := range []struct{ text, message, hint string }{
		{"", `"": is empty`, `as in "59.94 mm"`},
		{"  ", `"": is empty`, `as in "59.94 mm"`},
		{"abc", `"abc": must be a number with its unit`, `as in "59.94 mm"`},
		{"59.94", `"59.94": the unit is missing`, `did you mean "59.94 mm"?`},
		{"3/8", `"3/8": the unit is missing`, `did you mean "3/8 mm"?`},
		{"59.94 mmm", `"59.94 mmm": "mmm" is no unit that is known`, `did you mean "mm"?`},
		{"5 BAR", `"5 BAR": "BAR" is no unit that is known`, `did you mean "bar"?`},
		{"5 . mm", `"5 . mm": must be a number with its unit`, `as in "59.94 mm"`},
		{"1/0 in", `"1/0": divides by zero`, ""},
		// A decimal comma, and figures in groups of three.
		{"59,94 mm", `"59,94 mm": decimals are written with a point, and thousands without a sign`, `did you mean "59.94 mm"?`},
		{"0,015 mm", `"0,015 mm": decimals are written with a point, and thousands without a sign`, `did you mean "0.015 mm"?`},
		{"-0,015 mm", `"-0,015 mm": decimals are written with a point, and thousands without a sign`, `did you mean "-0.015 mm"?`},
		{"1,234 rpm", `"1,234 rpm": decimals are written with a point, and thousands without a sign`, `did you mean "1.234 rpm", or "1234 rpm"?`},
		{"1,234.5 rpm", `"1,234.5 rpm": decimals are written with a point, and thousands without a sign`, `did you mean "1234.5 rpm"?`},
		{"1.234,5 mm", `"1.234,5 mm": decimals are written with a point, and thousands without a sign`, `did you mean "1234.5 mm"?`},
		{"1,234,567 km", `"1,234,567 km": decimals are written with a point, and thousands without a sign`, `did you mean "1234567 km"?`},
		{"1.234.567 km", `"1.234.567 km": must be a number with its unit`, `as in "59.94 mm"`},
		{",015 mm", `",015 mm": decimals are written with a point, and thousands without a sign`, `did you mean "0.015 mm"?`},
		// Below absolute zero: 0 K, −273.15 °C, −459.67 °F (SI Brochure, 9th edition).
		{"-273.16 °C", `"-273.16 °C": lies below absolute zero`, ""},
		{"-459.7 °F", `"-459.7 °F": lies below absolute zero`, ""},
		{"-1 K", `"-1 K": lies below absolute zero`, ""},
		// Numbers that cannot be held, in their unit or in SI units.
		{"1e999 mm", `"1e999": is no number that can be held`, ""},
		{"1e308 km", `"1e308 km": is no number that can be held`, ""},
		{"0e308 km", `"0e308 km": is no number that can be held`, ""},
		{"17976931348623157e292 km", `"17976931348623157e292 km": is no number that can be held`, ""},
		{"1e-400 mm", `"1e-400 mm": is no number that can be held`, ""},
	} {
		_, err := Parse(tc.text)
		var e ErrValue
		if assert.ErrorAs(t, err, &e, tc.text) {
			assert.Equal(t, tc.message, e.Message)
			assert.Equal(t, tc.hint, e.Hint, tc.text)
		}
	}
	v, err := Parse("-273.15 °C")
	require.NoError(t, err)
	assert.Equal(t, 0.0, v.SI())
	_, err = ParseProposing("80", "N·m")
	assert.Equal(t, ErrValue{`"80": the unit is missing`, `did you mean "80 N·m"?`}, err)
}

func TestParseReading(t *testing.T) {
	for _, tc := range []struct {
		text         string
		number       float64
		unit         string
		within       float64
		withinUnit   string
		message, fix string
	}{
		{text: "59.94 mm", number: 59.94, unit: "mm"},
		{text: "59.94 ± 0.01 mm", number: 59.94, unit: "mm", within: 0.01, withinUnit: "mm"},
		{text: "59.94 mm ± 0.01 mm", number: 59.94, unit: "mm", within: 0.01, withinUnit: "mm"},
		{text: "59.94 +/- 0.01 mm", number: 59.94, unit: "mm", within: 0.01, withinUnit: "mm"},
		{text: "59.94 mm ± 5 µm", number: 59.94, unit: "mm", within: 5, withinUnit: "µm"},
		{text: "11.2 bar ± 3 %", number: 11.2, unit: "bar", within: 3, withinUnit: "%"},
		{text: "98 ± 2 °C", number: 98, unit: "°C", within: 2, withinUnit: "°C"},
		{text: "2 3/8 ± 1/64 in", number: 2.375, unit: "in", within: 1.0 / 64, withinUnit: "in"},
		{text: "59.94 ± 0.01", message: `"0.01": the unit is missing`, fix: `did you mean "0.01 mm"?`},
		{text: "59,94 ± 0.01 mm", message: `"59,94": decimals are written with a point, and thousands without a sign`, fix: `did you mean "59.94"?`},
		{text: "abc ± 0.01 mm", message: `"abc": must be a number with its unit`, fix: `as in "59.94 mm"`},
		{text: "59.94 foo ± 0.01 mm", message: `"59.94 foo": "foo" is no unit that is known`, fix: `did you mean "foot"?`},
		{text: "± 0.01 mm", message: `"± 0.01 mm": must be a number with its unit`, fix: `as in "59.94 mm"`},
	} {
		v, within, err := ParseReading(tc.text)
		if tc.message != "" {
			assert.Equal(t, ErrValue{tc.message, tc.fix}, err, tc.text)
			continue
		}
		if !assert.NoError(t, err, tc.text) {
			continue
		}
		assert.Equal(t, []any{tc.number, tc.unit, tc.text}, []any{v.Number, v.Unit.Symbol, v.Text})
		assert.Equal(t, []any{tc.within, tc.withinUnit}, []any{within.Number, within.Unit.Symbol}, tc.text)
	}
}

func TestParseLimit(t *testing.T) {
	const none = math.MaxFloat64
	for _, tc := range []struct {
		text           string
		min, max, bare float64
		unit           string
	}{
		{"max 0.10 mm", none, 0.10, none, "mm"},
		{"max. 0.10 mm", none, 0.10, none, "mm"},
		{"Max 0.10 mm", none, 0.10, none, "mm"},
		{"maximum 0.10 mm", none, 0.10, none, "mm"},
		{"at most 0.10 mm", none, 0.10, none, "mm"},
		{"up to 0.10 mm", none, 0.10, none, "mm"},
		{"not over 0.10 mm", none, 0.10, none, "mm"},
		{"<= 0.10 mm", none, 0.10, none, "mm"},
		{"≤0.10 mm", none, 0.10, none, "mm"},
		{"< 0.10 mm", none, 0.10, none, "mm"},
		{"min 59.90 mm", 59.90, none, none, "mm"},
		{"min. 59.90 mm", 59.90, none, none, "mm"},
		{"MIN 59.90 mm", 59.90, none, none, "mm"},
		{"minimum 59.90 mm", 59.90, none, none, "mm"},
		{"at least 59.90 mm", 59.90, none, none, "mm"},
		{"not under 59.90 mm", 59.90, none, none, "mm"},
		{">= 59.90 mm", 59.90, none, none, "mm"},
		{"≥ 59.90 mm", 59.90, none, none, "mm"},
		{"> 59.90 mm", 59.90, none, none, "mm"},
		{"59.90 to 59.95 mm", 59.90, 59.95, none, "mm"},
		{"59.90 mm to 59.95 mm", 59.90, 59.95, none, "mm"},
		{"59.90–59.95 mm", 59.90, 59.95, none, "mm"},
		{"59.90 … 59.95 mm", 59.90, 59.95, none, "mm"},
		{"59.90...59.95 mm", 59.90, 59.95, none, "mm"},
		{"59.90..59.95 mm", 59.90, 59.95, none, "mm"},
		{"-0.016 to 0.031 mm", -0.016, 0.031, none, "mm"},
		{"-0.05 to -0.01 mm", -0.05, -0.01, none, "mm"},
		{"−0.05 to −0.01 mm", -0.05, -0.01, none, "mm"},
		{"1/4 to 3/8 in", 0.25, 0.375, none, "in"},
		{"1 1/4 to 1 3/8 in", 1.25, 1.375, none, "in"},
		{"0.5 kgf/cm2 to 1 kgf/cm2", 0.5, 1, none, "kgf/cm²"},
		{"2.5 to 2.5 bar", 2.5, 2.5, none, "bar"},
		{"0.40 mm", none, none, 0.40, "mm"},
		{"3/8 in", none, none, 0.375, "in"},
		{"5 min", none, none, 5, "min"}, // minutes, and no least
	} {
		l, err := ParseLimit(tc.text)
		if !assert.NoError(t, err, tc.text) {
			continue
		}
		for _, x := range []struct {
			want float64
			v    Value
		}{{tc.min, l.Min}, {tc.max, l.Max}, {tc.bare, l.Bare}} {
			if x.want == none {
				assert.False(t, x.v.Said(), tc.text)
				continue
			}
			assert.Equal(t, []any{x.want, tc.unit}, []any{x.v.Number, x.v.Unit.Symbol}, tc.text)
		}
		assert.True(t, l.Said())
	}
}

func TestParseLimitFaults(t *testing.T) {
	for _, tc := range []struct{ text, message, hint string }{
		{"", `"": is empty`, `as in "59.94 mm"`},
		{"max", `"": is empty`, `as in "59.94 mm"`},
		{"max 0.10", `"0.10": the unit is missing`, `did you mean "0.10 mm"?`},
		{"max 0,10 mm", `"0,10 mm": decimals are written with a point, and thousands without a sign`, `did you mean "0.10 mm"?`},
		{"59.95 to 59.90 mm", `"59.95 to 59.90 mm": the least is more than the most`, `did you mean "59.90 mm to 59.95 mm"?`},
		{"-0.01 to -0.05 mm", `"-0.01 to -0.05 mm": the least is more than the most`, `did you mean "-0.05 mm to -0.01 mm"?`},
		{"1 in to 20 mm", `"1 in to 20 mm": the least is more than the most`, `did you mean "20 mm to 1 in"?`},
		{"5 mm to 6 bar", `"5 mm to 6 bar": runs from a length to a pressure`, ""},
		{"59.90 to 59.95", `"59.95": the unit is missing`, `did you mean "59.95 mm"?`},
		{"59.90 to 59.95 mmm", `"59.95 mmm": "mmm" is no unit that is known`, `did you mean "mm"?`},
		{"59.90 - 59.95 mm", `"59.90 - 59.95 mm": must be a number with its unit`, `did you mean "59.90 to 59.95 mm"?`},
		{"59.90-59.95 mm", `"59.90-59.95 mm": must be a number with its unit`, `did you mean "59.90 to 59.95 mm"?`},
		{"none", `"none": must be a number with its unit`, `as in "59.94 mm"`},
	} {
		_, err := ParseLimit(tc.text)
		assert.Equal(t, ErrValue{tc.message, tc.hint}, err, tc.text)
	}
}

// ISO 4406:2021, as told by Parker, Handbook of hydraulic filtration (19/16/13;
// 18/20/22 is impossible) and Schroeder, ISO 4406:1999 (14/12/>=7).
func TestParseCode(t *testing.T) {
	for text, want := range map[string]Code{
		"19/16/13": {19, 16, 13}, " 19 / 16 / 13 ": {19, 16, 13}, "ISO 19/16/13": {19, 16, 13}, "14/12/>=7": {14, 12, 7}, "14/12/≥7": {14, 12, 7}, ">28/28/28": {28, 28, 28}, "0/0/0": {0, 0, 0},
	} {
		got, err := ParseCode(text)
		assert.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, tc := range []struct{ text, message, hint string }{
		{"18/20/22", `"18/20/22": the numbers of a cleanliness code never rise from left to right, since larger particles are counted among the smaller`, `did you mean "22/20/18"?`},
		{"19/13/16", `"19/13/16": the numbers of a cleanliness code never rise from left to right, since larger particles are counted among the smaller`, `did you mean "19/16/13"?`},
		{"29/16/13", `"29/16/13": scale numbers end at 28`, ""},
		{"19/16", `"19/16": must be a cleanliness code of three numbers`, `as in "19/16/13"`},
		{"19-16-13", `"19-16-13": must be a cleanliness code of three numbers`, `as in "19/16/13"`},
		{"", `"": must be a cleanliness code of three numbers`, `as in "19/16/13"`},
	} {
		_, err := ParseCode(tc.text)
		assert.Equal(t, ErrValue{tc.message, tc.hint}, err, tc.text)
	}
}

// Particles by scale number, more than over and up to upTo in a millilitre: ISO
// 4406:1999, table 1, as printed by Schroeder and Parker (see TestParseCode) and
// by Construction Equipment, ISO 4406 basics.
func TestParticles(t *testing.T) {
	for scale, want := range map[int][2]float64{
		7: {0.64, 1.3}, 12: {20, 40}, 13: {40, 80}, 14: {80, 160}, 16: {320, 640}, 17: {640, 1300}, 18: {1300, 2500}, 19: {2500, 5000}, 28: {1.3e6, 2.5e6}, 0: {0, 0.01},
	} {
		over, upTo := Particles(scale)
		assert.Equal(t, want, [2]float64{over, upTo}, "scale %d", scale)
	}
	for n := range 29 { // they join, and about double
		over, upTo := Particles(n)
		if n > 0 {
			_, before := Particles(n - 1)
			assert.Equal(t, before, over)
			assert.InDelta(t, 2, upTo/over, 0.1)
		}
	}
}

// held tells that a value is one that can be reckoned with.
func held(t *testing.T, text string, v Value) {
	t.Helper()
	for _, x := range []float64{v.Number, v.SI(), v.DifferenceSI(), v.Step, v.Unit.Difference(v.Step)} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%q is taken as %+v", text, v)
		}
	}
	if v.Step <= 0 {
		t.Fatalf("%q is taken as %+v, read to nothing", text, v)
	}
	if _, err := ParseUnit(v.Unit.Symbol); err != nil {
		t.Fatalf("%q is taken as %+v, of which the unit cannot be read", text, v)
	}
	// Written anew it is the same.
	again, err := Parse(strconv.FormatFloat(v.Number, 'g', -1, 64) + " " + v.Unit.Symbol)
	if err != nil || again.Number != v.Number || again.Unit != v.Unit {
		t.Fatalf("%q is taken as %+v, which comes back as %+v, %v", text, v, again, err)
	}
}

func refused(t *testing.T, text string, err error) {
	t.Helper()
	e, ok := err.(ErrValue)
	if !ok || e.Message == "" {
		t.Fatalf("%q is refused with %#v", text, err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"59.94 mm", "1 1/2 in", `.0015"`, "1,234.5 rpm", "-273.15 °C", "1e308 km", "0e308 km", "1/0 in", "12 /cm", "6000 1/min", "−5 µm", "9.5 :1", "9999999999999999999999999 99999/1 gal", "1e-320 µin", "5 BAR"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := Parse(text)
		if err != nil {
			refused(t, text, err)
			return
		}
		held(t, text, v)
		if again, err := Parse(v.Text); err != nil || again != v {
			t.Fatalf("%q is kept as %q, which is %+v, %v", text, v.Text, again, err)
		}
	})
}

func FuzzParseReading(f *testing.F) {
	for _, s := range []string{"59.94 ± 0.01 mm", "59.94 mm ± 5 µm", "98 ± 2 °C", "11.2 bar +/- 3 %", "± 1 mm", "5 ±", "± ± 1 mm", "1 1/2 ± 1/64 in", "300 ± -300 °C"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, within, err := ParseReading(text)
		if err != nil {
			refused(t, text, err)
			return
		}
		held(t, text, v)
		if within.Said() {
			held(t, text, within)
		}
		if v2, w2, err := ParseReading(v.Text); err != nil || v2 != v || w2 != within {
			t.Fatalf("%q is kept as %q, which is %+v ± %+v, %v", text, v.Text, v2, w2, err)
		}
	})
}

func FuzzParseLimit(f *testing.F) {
	for _, s := range []string{"max 0.10 mm", "min. 59.90 mm", "59.90 to 59.95 mm", "≥ 5 bar", "1/4 to 3/8 in", "5 mm to 6 mm", "59.90-59.95 mm", "-40 °F to 20 °C", "1 to 2 1/min", "0.40 mm", "5 min", "up to to 5 mm"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ParseLimit(text)
		if err != nil {
			refused(t, text, err)
			return
		}
		if l.Bare.Said() == (l.Min.Said() || l.Max.Said()) {
			t.Fatalf("%q is taken as %+v", text, l)
		}
		for _, v := range []Value{l.Min, l.Max, l.Bare} {
			if v.Said() {
				held(t, text, v)
			}
		}
		if l.Min.Said() && l.Max.Said() && (l.Min.SI() > l.Max.SI() || l.Min.Unit.Dimension != l.Max.Unit.Dimension) {
			t.Fatalf("%q runs from %+v to %+v", text, l.Min, l.Max)
		}
		if again, err := ParseLimit(l.Text); err != nil || again != l {
			t.Fatalf("%q is kept as %q, which is %+v, %v", text, l.Text, again, err)
		}
	})
}

func FuzzParseCode(f *testing.F) {
	for _, s := range []string{"19/16/13", "ISO 14/12/>=7", "18/20/22", "29/0/0", "0/0/0", "19/16"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := ParseCode(text)
		if err != nil {
			refused(t, text, err)
			return
		}
		if c[0] < c[1] || c[1] < c[2] || c[2] < 0 || c[0] > 28 {
			t.Fatalf("%q is taken as %v", text, c)
		}
		if again, err := ParseCode(strconv.Itoa(c[0]) + "/" + strconv.Itoa(c[1]) + "/" + strconv.Itoa(c[2])); err != nil || again != c {
			t.Fatalf("%q comes back as %v, %v", text, again, err)
		}
		for _, n := range c {
			if over, upTo := Particles(n); !(over < upTo) {
				t.Fatalf("scale %d runs from %v to %v", n, over, upTo)
			}
		}
	})
}
