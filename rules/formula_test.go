package rules

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

// A small pack of what can be measured, which hangs on nothing in the book.
const gauges = `
[pack]
id = "gauges"
title = "Gauges"
version = "1"
[part.rod_journal]
name = "rod journal"
per = "rod"
places = ["front vertical", "front horizontal", "rear vertical"]
[part.main_journal]
name = "main journal"
per = "main"
[part.oil]
name = "oil"
[part.cylinder]
name = "cylinder"
also = ["pot"]
per = "cylinder"
[part.gasket]
name = "gasket"
per = "bank"
[part.intake]
name = "intake valve"
per = "intake_valve"
[instrument.micrometer]
name = "micrometer"
also = ["outside micrometer", "mike"]
repeat = "0.003 mm"
bias = "0.002 mm"
resolution = "0.01 mm"
source = "common practice"
[instrument.gauge]
name = "pressure gauge"
repeat = "2 %"
bias = "3 %"
source = "common practice"
[quantity.rod_journal.diameter]
name = "diameter"
also = ["size"]
unit = "mm"
kind = "size"
look = "Take it across the middle."
instrument = "micrometer"
[quantity.main_journal.diameter]
name = "diameter"
unit = "mm"
kind = "size"
look = "Take it."
[quantity.cylinder.pressure]
name = "pressure"
unit = "bar"
look = "Crank it."
instrument = "gauge"
[quantity.gasket.thickness]
name = "thickness"
unit = "mm"
look = "Take it."
[quantity.intake.lift]
name = "lift"
unit = "mm"
look = "Take it."
[quantity.oil.particles]
name = "particles"
kind = "code"
look = "Send it."
[quantity.oil.temperature]
name = "temperature"
unit = "°C"
kind = "temperature"
look = "Read it."
`

// shown adds a cause that shows every sign of a pack, so that it is a whole one.
func shown(text string) string {
	signs := regexp.MustCompile(`(?m)^\[sign\.(\S+)\]`).FindAllStringSubmatch(text, -1)
	var b strings.Builder
	b.WriteString(text + "\n[cause.wear]\nname = \"wear\"\ncategory = \"operation\"\nbase_rate = \"common\"\nsource = \"common practice\"\n")
	if len(signs) == 0 {
		b.WriteString("leads_to.worn = { how_often = \"often\", because = \"b\", source = \"common practice\" }\n[step.worn]\nname = \"worn\"\n")
	}
	for _, s := range signs {
		fmt.Fprintf(&b, "shows.%s = { how_often = \"usually\", because = \"b\", source = \"common practice\" }\n", s[1])
	}
	return b.String()
}

func loadGauges(t testing.TB, extra string) (*Book, string) {
	t.Helper()
	var faults source.Faults
	b := Load(&faults, []Text{{"gauges.toml", []byte(shown(gauges + extra))}})
	return b, faults.Error()
}

// A formula is worked out in SI units of what it uses, in the order in which it
// first does.
func TestFormulaIsWorkedOut(t *testing.T) {
	b, said := loadGauges(t, "")
	require.NotNil(t, b, said)
	const mm, bar = 1e-3, 1e5
	for _, tc := range []struct {
		text   string
		values []float64 // by use
		want   float64
	}{
		{"rod_journal.diameter", []float64{60 * mm}, 60 * mm},
		{"main_journal.diameter - 2 * rod_journal.diameter - main_journal.diameter / 2", []float64{60 * mm, 10 * mm}, 10 * mm},
		{"rod_journal.diameter + '0.05 mm'", []float64{60 * mm}, 60.05 * mm},
		{"-rod_journal.diameter + +'1 in'", []float64{10 * mm}, 15.4 * mm},
		{"2 ** 3 ** 1", nil, 8},
		{"2 ^ 3", nil, 8},
		{"2 ** -1", nil, 0.5},
		{"7 / 2", nil, 3.5},
		{"1 - 2 - 3", nil, -4},
		{"8 / 4 / 2", nil, 1},
		{"-2 ** 2", nil, -4},
		{"0x10 + 1_000", nil, 1016},
		{"rod_journal.diameter ** 2", []float64{3}, 9},
		{"abs('1 mm' - rod_journal.diameter)", []float64{3 * mm}, 2 * mm},
		{"rod_journal.diameter | abs()", []float64{-3 * mm}, 3 * mm},
		{"min(rod_journal.diameter, '1 mm')", []float64{3 * mm}, 1 * mm},
		{"max(rod_journal.diameter, '1 mm')", []float64{3 * mm}, 3 * mm},
		{"pi * rod_journal.diameter ** 2 / 4", []float64{2}, math.Pi},
		// Roots and broken powers, of what has a unit and of what has lost it.
		{"sqrt(2)", nil, math.Sqrt2},
		{"sqrt(rod_journal.diameter * main_journal.diameter)", []float64{2, 8}, 4},
		{"sqrt(rod_journal.diameter * '8 m')", []float64{2}, 4},
		{"sqrt(rod_journal.diameter * engine.bore)", []float64{2, 8}, 4},
		{"(rod_journal.diameter / '1 mm') ** 0.5", []float64{9 * mm}, 3},
		{"(engine.bore / rod_journal.diameter) ** (1/3)", []float64{8, 1}, 2},
		{"sqrt(cylinder.pressure / '1 bar') * 3", []float64{4 * bar}, 6},
		// Functions over positions are uses of their own.
		{"highest(cylinder.pressure) - lowest(cylinder.pressure) + highest(cylinder.pressure)", []float64{12 * bar, 10 * bar}, 14 * bar},
		{"count(cylinder.pressure) * 2", []float64{4}, 8},
		{"at(rod_journal.diameter, 'front') - at(rod_journal.diameter, 'rear')", []float64{60 * mm, 59 * mm}, 1 * mm},
		{"upper(rod_journal.diameter) - lower(rod_journal.diameter)", []float64{2, 1}, 1},
		{"code(oil.particles, 4) - code(oil.particles, 14)", []float64{19, 13}, 6},
		{"engine.bore / engine.stroke", []float64{86 * mm, 43 * mm}, 2},
		{"history.hours + history.km", []float64{1, 2}, 3},
		// A temperature is one of the air outside, until it is taken from another.
		{"oil.temperature - '20 °C'", []float64{373.15}, 80},
		{"'212 °F'", nil, 373.15},
		// What has no value.
		{"1 / 0", nil, math.Inf(1)},
		{"0 / 0", nil, math.NaN()},
		{"sqrt(-1)", nil, math.NaN()},
	} {
		f, _, fault := b.formulaOf(parsed(t, tc.text))
		require.Nil(t, fault, "%s: %+v", tc.text, fault)
		require.Len(t, f.Uses, len(tc.values), tc.text)
		got := f.Eval(tc.values)
		if math.IsNaN(tc.want) || math.IsInf(tc.want, 0) {
			assert.True(t, math.IsNaN(got) == math.IsNaN(tc.want) && !finite(got), "%s is %v", tc.text, got)
			continue
		}
		assert.InDelta(t, tc.want, got, 1e-9*math.Abs(tc.want)+1e-15, tc.text)
	}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func TestFormulaUses(t *testing.T) {
	b, said := loadGauges(t, "")
	require.NotNil(t, b, said)
	f, fault := b.formula("at(rod_journal.diameter, 'front') - lower(main_journal.diameter) * history.hours * engine.bore / engine.bore + at(rod_journal.diameter, 'front') + code(oil.particles, 6) * '1 mm'", quantity.Length)
	require.Nil(t, fault)
	assert.Equal(t, []Use{
		{Of: "at", Quantity: b.Quantity("rod_journal.diameter"), Word: "front"},
		{Of: "lower", Quantity: b.Quantity("main_journal.diameter")},
		{Of: "history", Fact: "hours"},
		{Of: "engine", Fact: "bore"},
		{Of: "code", Quantity: b.Quantity("oil.particles"), Word: "6"},
	}, f.Uses)
}

// Worked examples of published books and trade guides, each as a formula of a
// pack with the values as they are printed there.
func TestWorkedExamples(t *testing.T) {
	for _, tc := range []struct {
		what    string // and whose
		units   string // of the quantities, by letter
		formula string
		values  string
		want    string
		within  float64 // relative
	}{
		// Clearance of a plain bearing: a thousandth of the journal, and half a thou for
		// rods (Mopar Muscle, Clevite engine bearing guide: clearance, 2008).
		{"clearance of a 2.375 in journal", "d in", "0.001 * d", "d 2.375 in", "0.0024 in", 0.02},
		{"with the margin of rods", "d in", "0.001 * d + '0.0005 in'", "d 2.375 in", "0.002875 in", 1e-9},
		{"clearance of a 60 mm journal", "d mm", "0.001 * d", "d 60 mm", "0.060 mm", 1e-9},
		// Ring gaps: JE Pistons, Calculating ring gap, 2019; Wiseco.
		{"top ring gap, 4.440 in", "d in", "0.0045 * d", "d 4.440 in", "0.020 in", 0.002},
		{"top ring gap, 4.00 in", "d in", "0.004 * d", "d 4.00 in", "0.016 in", 1e-9},
		// Compression: Ford, Probe 2.0 compression, 1997 (75 in 100); GM, Solstice engine
		// compression test, 2006 (70 in 100).
		{"lowest of 150, 150, 150, 112 psi", "a psi, b psi", "a / b", "a 112 psi, b 150 psi", "74.7 %", 1e-3},
		// FAA, AC 43.13-1B, 8-14: a loss of 25 in 100 at 80 psi is 60/80.
		{"differential test", "a psi", "1 - a / '80 psi'", "a 60 psi", "25 %", 1e-9},
		// Chain, z teeth of the cam wheel, pitch p, strand grown by d; one tooth is 360/z;
		// one degree of the cam is two of the crank (kinematics of a 2:1 drive).
		{"phase error of a stretched chain", "d mm, p mm, z teeth", "d * '360 °' / (z * p)", "d 2.0 mm, p 8 mm, z 40 teeth", "2.25 °", 1e-9},
		{"the same at the crank", "d mm, p mm, z teeth", "2 * d * '360 °' / (z * p)", "d 2.0 mm, p 8 mm, z 40 teeth", "4.5 °", 1e-9},
		{"jump by one tooth, at the crank", "z teeth", "2 * '360 °' / z", "z 40 teeth", "18 °", 1e-9},
		// T = K F d (Shigley, Mechanical Engineering Design, table 8-15; K of Bowman, 1985);
		// 1275 lbf on 0.190 in (Mechanical Fastening, Joining, and Assembly, p. 85).
		{"torque, K 0.30", "f lbf, d in, k ratio", "k * f * d", "f 1275 lbf, d 0.190 in, k 0.3 ratio", "72.7 lb-in", 1e-3},
		{"torque, K 0.25", "f lbf, d in, k ratio", "k * f * d", "f 1275 lbf, d 0.190 in, k 0.25 ratio", "60.6 lb-in", 1e-3},
		{"torque, K 0.20", "f lbf, d in, k ratio", "k * f * d", "f 1275 lbf, d 0.190 in, k 0.2 ratio", "48.5 lb-in", 2e-3},
		{"torque, K 0.15", "f lbf, d in, k ratio", "k * f * d", "f 1275 lbf, d 0.190 in, k 0.15 ratio", "36.3 lb-in", 2e-3},
		{"torque, K 0.10", "f lbf, d in, k ratio", "k * f * d", "f 1275 lbf, d 0.190 in, k 0.1 ratio", "24.2 lb-in", 2e-3},
		// Stress area, ISO 898-1: As = π/4 (d − 0.9382 P)²; M12 has 84.3 mm², and 48.9 kN of
		// proof load in class 8.8 (580 MPa).
		{"stress area of M12 × 1.75", "d mm, p mm", "pi / 4 * (d - 0.9382 * p) ** 2", "d 12 mm, p 1.75 mm", "84.27 mm²", 1e-4},
		{"proof load of M12, 8.8", "s MPa, a mm²", "s * a", "s 580 MPa, a 84.3 mm²", "48.9 kN", 1e-3},
		// Preload of 75 in 100 of proof (Shigley, 8-8), M10 10.9: 830 MPa, 58.0 mm².
		{"preload of M10, 10.9", "s MPa, a mm²", "0.75 * s * a", "s 830 MPa, a 58.0 mm²", "36.1 kN", 1e-3},
		{"its torque, K 0.20", "s MPa, a mm², d mm", "0.20 * 0.75 * s * a * d", "s 830 MPa, a 58.0 mm², d 10 mm", "72.2 N·m", 1e-3},
		{"its torque, K 0.18", "s MPa, a mm², d mm", "0.18 * 0.75 * s * a * d", "s 830 MPa, a 58.0 mm², d 10 mm", "65.0 N·m", 1e-3},
		{"its torque, K 0.30", "s MPa, a mm², d mm", "0.30 * 0.75 * s * a * d", "s 830 MPa, a 58.0 mm², d 10 mm", "108.3 N·m", 1e-3},
		{"torque of M12, 12.9", "s MPa, a mm², d mm", "0.20 * 0.75 * s * a * d", "s 970 MPa, a 84.3 mm², d 12 mm", "147.2 N·m", 1e-3},
		{"dry threads at the oiled torque", "t N·m, d mm, k ratio", "t / (k * d)", "t 65.0 N·m, d 10 mm, k 0.30 ratio", "21.7 kN", 2e-3},
		{"the same of the proof load", "t N·m, d mm, s MPa, a mm²", "t / (0.30 * d) / (s * a)", "t 65.0 N·m, d 10 mm, s 830 MPa, a 58.0 mm²", "45 %", 2e-3},
		// Mean piston speed (Heywood, Internal Combustion Engine Fundamentals, 1988, eq. 2.9).
		{"mean piston speed, 86 mm at 6000", "l mm, n rpm", "2 * l * n", "l 86 mm, n 6000 rpm", "17.2 m/s", 1e-9},
		{"mean piston speed, 100 mm at 2000", "l mm, n rpm", "2 * l * n", "l 100 mm, n 2000 rpm", "6.67 m/s", 1e-3},
		// Khurmi & Gupta, Theory of Machines, example 15.1: r 0.2, l 0.7 m, 120 rad/s, at 30°;
		// by Klein's construction 2880 m/s² and 15.24 m/s, by the series 2905.6 and 14.97.
		{"piston acceleration", "r m, l m, n rpm", "r * (2 * pi * n) ** 2 * (sqrt(3) / 2 + r / l * 0.5)", "r 0.2 m, l 0.7 m, n 1145.9156 rpm", "2880 m/s²", 0.01},
		{"by the series", "r m, l m, n rpm", "r * (2 * pi * n) ** 2 * (sqrt(3) / 2 + r / l * 0.5)", "r 0.2 m, l 0.7 m, n 1145.9156 rpm", "2905.6 m/s²", 1e-4},
		{"piston speed by the series", "r m, l m, n rpm", "r * 2 * pi * n * (0.5 + r / (2 * l) * sqrt(3) / 2)", "r 0.2 m, l 0.7 m, n 1145.9156 rpm", "14.97 m/s", 1e-3},
		// Force of a rod at the top: m r ω² (1 + r/l); with the square of the speed.
		{"acceleration at the top", "r mm, l mm, n rpm", "r * (2 * pi * n) ** 2 * (1 + r / l)", "r 43 mm, l 143.5 mm, n 6500 rpm", "25893 m/s²", 1e-4},
		{"force at the top", "m kg, r mm, l mm, n rpm", "m * r * (2 * pi * n) ** 2 * (1 + r / l)", "m 0.600 kg, r 43 mm, l 143.5 mm, n 6500 rpm", "15.54 kN", 1e-3},
		{"force when over-revved", "m kg, r mm, l mm, n rpm", "m * r * (2 * pi * n) ** 2 * (1 + r / l)", "m 0.600 kg, r 43 mm, l 143.5 mm, n 7500 rpm", "20.68 kN", 1e-3},
		{"swept volume, 86 × 86", "d mm, l mm", "pi / 4 * d ** 2 * l", "d 86 mm, l 86 mm", "499.6 cm³", 1e-4},
		{"clearance volume at 9.5", "v cm³, e ratio", "v / (e - 1)", "v 499.6 cm³, e 9.5 ratio", "58.8 cm³", 1e-3},
		{"clearance volume at 10.5", "v cm³, e ratio", "v / (e - 1)", "v 499.6 cm³, e 10.5 ratio", "52.6 cm³", 1e-3},
		{"clearance volume at 17", "v cm³, e ratio", "v / (e - 1)", "v 499.6 cm³, e 17:1", "31.2 cm³", 1e-3},
		{"ratio with a rod short by 0.5 mm", "v cm³, e ratio, d mm, h mm", "1 + v / (v / (e - 1) + pi / 4 * d ** 2 * h)", "v 499.6 cm³, e 10.5 ratio, d 86 mm, h 0.5 mm", "10.00 ratio", 1e-3},
		// Film: Shigley, example 12-1: 4 µreyn (27.58 cP), 30 rev/s, 500 lbf, r 0.75, c 0.0015,
		// l 1.5 in: P 222 psi, S 0.135. Petroff's friction of the same 0.0053.
		{"pressure on the bearing", "w lbf, r in, l in", "w / (2 * r * l)", "w 500 lbf, r 0.75 in, l 1.5 in", "222 psi", 2e-3},
		{"Sommerfeld number", "m cP, n Hz, w lbf, r in, c in, l in", "(r / c) ** 2 * m * n / (w / (2 * r * l))", "m 27.579 cP, n 30 Hz, w 500 lbf, r 0.75 in, c 0.0015 in, l 1.5 in", "0.135 ratio", 1e-3},
		{"the same with the clearance doubled", "m cP, n Hz, w lbf, r in, c in, l in", "(r / c) ** 2 * m * n / (w / (2 * r * l))", "m 27.579 cP, n 30 Hz, w 500 lbf, r 0.75 in, c 0.0030 in, l 1.5 in", "0.03375 ratio", 1e-3},
		{"Petroff's friction", "m cP, n Hz, p psi, r in, c in", "2 * pi ** 2 * m * n / p * r / c", "m 27.579 cP, n 30 Hz, p 222.2 psi, r 0.75 in, c 0.0015 in", "0.00533 ratio", 1e-3},
		// Leakage through a slot goes by the third power of its height (Cameron, Basic
		// Lubrication Theory): 26 in 100 more clearance let twice as much through.
		{"oil lost through a wider bearing", "a mm, b mm", "(a / b) ** 3", "a 1.26 mm, b 1.00 mm", "2.00 ratio", 1e-3},
		// Growth by heat: 86 mm, iron 10.5e-6/K, piston 20.5e-6/K (Meteor Piston, Materials),
		// 0.040 mm when cold.
		{"seizure of a plain cylinder", "d mm, a 1/K, b 1/K, s °C, t °C, c mm", "d * (a * (s - '20 °C') - b * (t - '20 °C')) - c", "d 86 mm, a 20.5e-6 1/K, b 10.5e-6 1/K, s 220 °C, t 110 °C, c 0.040 mm", "0.231 mm", 2e-3},
		{"growth with a cooler skirt", "d mm, a 1/K, b 1/K, s °C, t °C", "d * (a * (s - '20 °C') - b * (t - '20 °C'))", "d 86 mm, a 20.5e-6 1/K, b 10.5e-6 1/K, s 130 °C, t 110 °C", "0.113 mm", 5e-3},
		{"how much warmer closes it", "d mm, a 1/K, b 1/K, c mm", "(c / d + b * '80 K') / a", "d 86 mm, a 20.5e-6 1/K, b 10.5e-6 1/K, c 0.040 mm", "63.7 K", 1e-3},
		{"growth of a ring", "d mm, a 1/K", "pi * d * a * '230 K'", "d 86 mm, a 11e-6 1/K", "0.684 mm", 1e-3},
		{"less what the bore grows", "d mm, a 1/K", "pi * d * a * ('230 K' - '130 K')", "d 86 mm, a 11e-6 1/K", "0.297 mm", 1e-3},
		{"growth of a 60 mm journal by 5 K", "d mm", "d * '11.5e-6 1/K' * '5 K'", "d 60 mm", "3.45 µm", 1e-9},
	} {
		t.Run(tc.what, func(t *testing.T) {
			pack := "[pack]\nid = \"worked\"\ntitle = \"Worked\"\nversion = \"1\"\n[part.x]\nname = \"thing\"\n"
			for _, u := range strings.Split(tc.units, ", ") {
				id, unit, _ := strings.Cut(u, " ")
				kind := "amount"
				if unit == "°C" {
					kind = "temperature"
				}
				pack += fmt.Sprintf("[quantity.x.%s]\nname = \"q %s\"\nunit = %q\nkind = %q\nlook = \"Take it.\"\n", id, id, unit, kind)
			}
			want, err := quantity.Parse(tc.want)
			require.NoError(t, err)
			text := regexp.MustCompile(`\b([a-z])\b`).ReplaceAllStringFunc(tc.formula, func(s string) string { return "x." + s })
			text = regexp.MustCompile(`'[^']*'`).ReplaceAllStringFunc(text, func(s string) string { return strings.ReplaceAll(s, "x.", "") })
			pack += fmt.Sprintf("[quantity.x.result]\nname = \"result\"\nunit = %q\nkind = \"difference\"\nformula = %q\nbecause = \"b\"\nsource = \"s\"\n", want.Unit.Symbol, text)
			var faults source.Faults
			b := Load(&faults, []Text{{"worked.toml", []byte(shown(pack))}})
			require.NotNil(t, b, faults.Error())
			f := b.Quantity("x.result").Formula
			values := make([]float64, len(f.Uses))
			for _, v := range strings.Split(tc.values, ", ") {
				id, value, _ := strings.Cut(v, " ")
				at, err := quantity.Parse(value)
				require.NoError(t, err)
				for i, u := range f.Uses {
					if u.Quantity.ID == "x."+id {
						require.Equal(t, u.Quantity.Dimension(), at.Unit.Dimension, value)
						values[i] = at.SI()
					}
				}
			}
			assert.NotContains(t, values, 0.0)
			assert.InEpsilon(t, want.SI(), f.Eval(values), tc.within)
		})
	}
}

// ISO 286-1:2010: i = 0.45 ∛D + 0.001 D in µm, D in mm the geometric mean of the step
// of sizes; IT6 = 10 i, IT7 = 16 i, IT8 = 25 i, as tabled when rounded.
func TestISO286(t *testing.T) {
	b, said := loadGauges(t, "")
	require.NotNil(t, b, said)
	const i = "(0.45 * (sqrt(rod_journal.diameter * main_journal.diameter) / '1 mm') ** (1/3) + 0.001 * sqrt(rod_journal.diameter * main_journal.diameter) / '1 mm') * '1 µm'"
	um, err := quantity.ParseUnit("µm")
	require.NoError(t, err)
	for _, tc := range []struct {
		over, upTo    float64
		it6, it7, it8 float64
	}{{30, 50, 16, 25, 39}, {50, 80, 19, 30, 46}, {80, 120, 22, 35, 54}, {120, 180, 25, 40, 63}} {
		for factor, want := range map[string]float64{"10": tc.it6, "16": tc.it7, "25": tc.it8} {
			f, fault := b.formula(factor+" * "+i, quantity.Length)
			require.Nil(t, fault)
			assert.Equal(t, want, math.Round(um.Number(f.Eval([]float64{tc.over * 1e-3, tc.upTo * 1e-3}))), "%s i, %v to %v mm", factor, tc.over, tc.upTo)
		}
	}
}

// What is wrong with a formula is told at its letters, with what was probably meant.
// The formulas stand on a line of their own, so that column 1 is their first letter.
func TestFormulaFaults(t *testing.T) {
	for _, tc := range []struct{ formula, fault string }{
		// Dimensions.
		{"engine.power", "whole: formula: the formula comes to a power, and must come to a length"},
		{"rod_journal.diameter ** 2", "whole: formula: the formula comes to an area, and must come to a length"},
		{"rod_journal.diameter + cylinder.pressure", "22: formula: a length and a pressure cannot be added or taken from each other"},
		{"'5 µm' + rod_journal.diameter - '5 bar'", "31: formula: a length and a pressure cannot be added or taken from each other"},
		{"rod_journal.diameter + 0.05", "22: formula: a length and a plain number or share cannot be added or taken from each other"},
		{"min(rod_journal.diameter, cylinder.pressure)", "1: formula: a length and a pressure cannot be compared"},
		{"2 * sqrt(rod_journal.diameter)", "5: formula: a length has no square root"},
		{"rod_journal.diameter ** 0.5", "25: formula: a value with a unit can only be raised to a whole number below ten"},
		{"rod_journal.diameter ** -1", "25: formula: a value with a unit can only be raised to a whole number below ten"},
		{"rod_journal.diameter ** 10", "25: formula: a value with a unit can only be raised to a whole number below ten"},
		{"2 ** rod_journal.diameter", "18: formula: a value with a unit can only be raised to a whole number below ten"},
		{"((rod_journal.diameter ** 8) ** 8) ** 4 * '1 mm'", "30: formula: nothing is measured in so high a power"},
		{"rod_journal.diameter ** 9 * engine.bore ** 9", "27: formula: nothing is measured in so high a power"},
		// Quantities, facts, functions and constants that are not known.
		{"rod_journal.diametr", `13: formula: there is no quantity "rod_journal.diametr" (did you mean "rod_journal.diameter"?)`},
		{"rod_journal.size", `13: formula: there is no quantity "rod_journal.size" (did you mean "rod_journal.diameter"?)`},
		{"pot.pressure * '1 mm' / '1 bar'", `5: formula: there is no quantity "pot.pressure" (did you mean "cylinder.pressure"?)`},
		{"'5 µm' + rod_jurnal.diameter", `21: formula: there is no quantity "rod_jurnal.diameter" (did you mean "rod_journal.diameter"?)`},
		{"highest(rod_journal.diametr)", `21: formula: there is no quantity "rod_journal.diametr" (did you mean "rod_journal.diameter"?)`},
		{"diameter", `1: formula: "diameter" is neither a quantity (part.quantity) nor pi`},
		{"limit", `1: formula: "limit" is neither a quantity (part.quantity) nor pi`},
		{"2 * engine.bor", `12: formula: a case has no measured fact engine.bor (did you mean "engine.bore"?)`},
		{"history.hour * '1 mm'", `9: formula: a case has no measured fact history.hour (did you mean "history.hours"?)`},
		{"higest(rod_journal.diameter)", `1: formula: a formula knows no higest() (did you mean "highest"?)`},
		{"'1 mm' + sin(pi)", `10: formula: a formula knows no sin() (did you mean "min"?)`},
		{"rod_journal.diameter + '5 mmm'", `24: formula: "5 mmm": "mmm" is no unit that is known (did you mean "mm"?)`},
		{"'5'", `1: formula: "5": the unit is missing (did you mean "5 mm"?)`},
		{"'5,5 mm'", `1: formula: "5,5 mm": decimals are written with a point, and thousands without a sign (did you mean "5.5 mm"?)`},
		{"'hello'", `1: formula: "hello": must be a number with its unit (as in "59.94 mm")`},
		// How functions are used.
		{"abs(rod_journal.diameter, 2)", "1: formula: abs() needs 1 in its brackets, and has 2"},
		{"min(rod_journal.diameter)", "1: formula: min() needs 2 in its brackets, and has 1"},
		{"at(rod_journal.diameter)", "1: formula: at() needs 2 in its brackets, and has 1"},
		{"at(rod_journal.diameter, 'frnt')", `26: formula: the rod journal has no place "frnt" (did you mean "front"?)`},
		{"at(main_journal.diameter, 'front')", `27: formula: the main journal has no place "front"`},
		{"at(rod_journal.diameter, 4)", "26: formula: at() needs a word of a place (as in at(rod_journal.diameter, 'front'))"},
		{"highest(engine.bore)", "16: formula: highest() needs a quantity (part.quantity)"},
		{"highest('5 mm')", "9: formula: highest() needs a quantity (part.quantity)"},
		{"highest(rod_journal.diameter - '1 mm')", "30: formula: highest() needs a quantity (part.quantity)"},
		// Codes.
		{"oil.particles * '1 mm'", "5: formula: oil.particles is a code of three numbers (as in code(oil.particles, 6))"},
		{"highest(oil.particles) * '1 mm'", "13: formula: oil.particles is a code of three numbers"},
		{"code(oil.particles, 5) * '1 mm'", "21: formula: a cleanliness code has numbers for 4, 6 and 14 µm"},
		{"code(rod_journal.diameter, 4) * '1 mm'", "18: formula: rod_journal.diameter is no code"},
		// Positions of another kind.
		{"main_journal.diameter", "whole: formula: main_journal.diameter is per main bearing, and has no one value here (take it over its positions, as in highest(…))"},
		{"outlier(main_journal.diameter)", "whole: formula: main_journal.diameter is per main bearing, and has no one value here (take it over its positions, as in highest(…))"},
		{"intake.lift", "whole: formula: intake.lift is per intake valve, and has no one value here (take it over its positions, as in highest(…))"},
		// Form.
		{"rod_journal.diameter > '5 mm'", "22: formula: > cannot be used in a formula"},
		{"rod_journal.diameter %  2", "22: formula: % cannot be used in a formula"},
		{"rod_journal.diameter +", "22: formula: unexpected token EOF"},
		{"!true", "1: formula: ! cannot be used in a formula"},
		{"true", "1: formula: this cannot be used in a formula"},
		{"[1]", "1: formula: this cannot be used in a formula"},
		{"foo.bar()", "5: formula: this cannot be called in a formula"},
		{"rod_journal.diameter.x", "22: formula: this cannot be used in a formula"},
		{"", "whole: formula is empty"},
		{"'1 mm' * (" + strings.Repeat("1+", 2100) + "1)", "whole: formula: the formula is longer than 4096 characters"},
	} {
		b, said := loadGauges(t, "[quantity.rod_journal.result]\nname = \"result\"\nunit = \"mm\"\nbecause = \"b\"\nsource = \"s\"\nformula = '''\n"+tc.formula+"'''\n")
		assert.Nil(t, b, tc.formula)
		line := strings.Count(gauges, "\n") + 7
		want := fmt.Sprintf("gauges.toml:%d:%s", line, tc.fault)
		if rest, whole := strings.CutPrefix(tc.fault, "whole: "); whole {
			want = fmt.Sprintf("gauges.toml:%d:14: %s", line-1, rest) // behind its quotes
		}
		assert.Equal(t, want, said, tc.formula)
	}
}

// Quantities of the positions that belong to this one have a value here; those over
// all positions have one anywhere.
func TestFormulaPositions(t *testing.T) {
	for per, formulas := range map[string][]string{
		"rod_journal": {"rod_journal.diameter", "cylinder.pressure * '1 mm' / '1 bar'", "gasket.thickness", "highest(main_journal.diameter)", "spread(intake.lift)", "trend(main_journal.diameter)", "count(intake.lift) * '1 mm'"},
		"intake":      {"intake.lift", "gasket.thickness", "rod_journal.diameter", "outlier(intake.lift)", "neighbours(intake.lift)", "bank(cylinder.pressure) * '1 mm' / '1 bar'"},
		"oil":         {"lowest(intake.lift)", "mean(main_journal.diameter)", "median(gasket.thickness)"},
		"gasket":      {"gasket.thickness", "highest(cylinder.pressure) * '1 mm' / '1 bar'"},
	} {
		for _, f := range formulas {
			b, said := loadGauges(t, "[quantity."+per+".result]\nname = \"result\"\nunit = \"mm\"\nbecause = \"b\"\nsource = \"s\"\nformula = \""+f+"\"\n")
			assert.NotNil(t, b, "%s for one %s: %s", f, per, said)
		}
	}
	for per, formulas := range map[string][]string{
		"main_journal": {"rod_journal.diameter", "cylinder.pressure * '1 mm' / '1 bar'", "gasket.thickness"},
		"oil":          {"rod_journal.diameter", "rest(rod_journal.diameter)", "at(rod_journal.diameter, 'front')", "lower(rod_journal.diameter)", "range_here(intake.lift)"},
		"gasket":       {"rod_journal.diameter", "intake.lift"},
	} {
		for _, f := range formulas {
			b, said := loadGauges(t, "[quantity."+per+".result]\nname = \"result\"\nunit = \"mm\"\nbecause = \"b\"\nsource = \"s\"\nformula = \""+f+"\"\n")
			assert.Nil(t, b, "%s for one %s", f, per)
			assert.Contains(t, said, "has no one value here", f)
		}
	}
}

// What is worked out from itself, at once or by way of others, is told once.
func TestFormulaCycles(t *testing.T) {
	quantities := func(pairs ...string) string {
		out := ""
		for i := 0; i < len(pairs); i += 2 {
			out += "[quantity.oil." + pairs[i] + "]\nname = \"" + pairs[i] + "\"\nunit = \"mm\"\nbecause = \"b\"\nsource = \"s\"\nformula = \"" + pairs[i+1] + "\"\n"
		}
		return out
	}
	at := strings.Count(gauges, "\n")
	for _, tc := range []struct{ text, fault string }{
		{quantities("a", "oil.a + '1 mm'"), fmt.Sprintf("gauges.toml:%d:1: oil.a is worked out from itself", at+1)},
		{quantities("a", "oil.b", "b", "oil.c", "c", "oil.a"), fmt.Sprintf("gauges.toml:%d:1: oil.a is worked out from itself", at+13)},
		{quantities("a", "spread(oil.b)", "b", "highest(oil.a)"), fmt.Sprintf("gauges.toml:%d:1: oil.a is worked out from itself", at+7)},
	} {
		b, said := loadGauges(t, tc.text)
		assert.Nil(t, b)
		assert.Equal(t, tc.fault, said)
	}
	// Two ways to the same are no circle.
	b, said := loadGauges(t, quantities("a", "oil.b + oil.c", "b", "oil.d", "c", "oil.d", "d", "highest(main_journal.diameter)"))
	assert.NotNil(t, b, said)
}

func TestSignTests(t *testing.T) {
	load := func(part, test string) (*Book, string) {
		return loadGauges(t, "[sign."+part+".odd]\nname = \"odd\"\nlook = \"Look.\"\ntest = \""+test+"\"\n")
	}
	for _, tc := range []struct {
		part, test string
		above      bool
		of, unit   string
	}{
		{"rod_journal", "rod_journal.diameter < limit", false, "rod_journal.diameter", "mm"},
		{"cylinder", "cylinder.pressure > limit", true, "cylinder.pressure", "bar"},
		{"cylinder", "outlier(cylinder.pressure) < -0.12 * rest(cylinder.pressure)", false, "", "bar"},
		{"oil", "lowest(cylinder.pressure) / highest(cylinder.pressure) < 0.75", false, "", ""},
		{"rod_journal", "rod_journal.diameter < lower(rod_journal.diameter) - '0.15 mm'", false, "", "mm"},
		{"oil", "code(oil.particles, 14) > 15", true, "", ""},
		{"oil", "oil.temperature > '120 °C'", true, "", "°C"},
	} {
		b, said := load(tc.part, tc.test)
		require.NotNil(t, b, said)
		got := b.Sign(tc.part + ".odd").Test
		of := ""
		if got.Of != nil {
			of = got.Of.ID
		}
		assert.Equal(t, []any{tc.above, tc.of, tc.unit, tc.of == ""}, []any{got.Above, of, got.Unit, got.Right != nil}, tc.test)
	}
	for _, tc := range []struct{ part, test, fault string }{
		{"rod_journal", "rod_journal.diameter", "9: test: a test is one comparison by < or > (as in \"rod_bearing.oil_clearance > limit\")"},
		{"rod_journal", "rod_journal.diameter >= limit", "9: test: a test is one comparison by < or > (as in \"rod_bearing.oil_clearance > limit\")"},
		{"rod_journal", "rod_journal.diameter > '5 mm' and true", "9: test: a test is one comparison by < or > (as in \"rod_bearing.oil_clearance > limit\")"},
		{"rod_journal", "rod_journal.diametr > limit", "21: test: there is no quantity \"rod_journal.diametr\" (did you mean \"rod_journal.diameter\"?)"},
		{"rod_journal", "rod_journal.diameter > '5 bar'", "30: test: a length is compared with a pressure"},
		{"rod_journal", "rod_journal.diameter > 5", "30: test: a length is compared with a plain number or share"},
		// A limit is of a plain quantity, and of none that is made up here.
		{"oil", "spread(rod_journal.diameter) > limit", "9: test: only a plain quantity has a limit (make the left side a quantity of its own, with a formula)"},
		{"rod_journal", "rod_journal.diameter * 2 > limit", "30: test: only a plain quantity has a limit (make the left side a quantity of its own, with a formula)"},
		{"rod_journal", "-rod_journal.diameter < limit", "9: test: only a plain quantity has a limit (make the left side a quantity of its own, with a formula)"},
		{"oil", "engine.bore > limit", "16: test: only a plain quantity has a limit (make the left side a quantity of its own, with a formula)"},
		{"rod_journal", "rod_journal.diameter > limit + '1 mm'", "32: test: \"limit\" is neither a quantity (part.quantity) nor pi"},
		{"rod_journal", "limit < rod_journal.diameter", "9: test: \"limit\" is neither a quantity (part.quantity) nor pi"},
		{"oil", "rod_journal.diameter > limit", "9: test: rod_journal.diameter is per rod, and has no one value here (take it over its positions, as in highest(…))"},
		{"oil", "oil.particles > limit", "13: test: oil.particles is a code of three numbers (as in code(oil.particles, 6))"},
	} {
		b, said := load(tc.part, tc.test)
		assert.Nil(t, b, tc.test)
		assert.Equal(t, fmt.Sprintf("gauges.toml:%d:%s", strings.Count(gauges, "\n")+4, tc.fault), said, tc.test)
	}
}

func TestSignTrends(t *testing.T) {
	load := func(trend string) (*Book, string) {
		return loadGauges(t, "[sign.oil.hotter]\nname = \"hotter\"\nlook = \"Look.\"\ntrend = \""+trend+"\"\n")
	}
	b, said := load("oil.temperature rising")
	require.NotNil(t, b, said)
	assert.Same(t, b.Quantity("oil.temperature"), b.Sign("oil.hotter").Trend)
	for trend, want := range map[string]string{
		"oil.temperature falling": `trend is "oil.temperature falling" (as in trend = "oil.iron rising")`,
		"oil.temprature rising":   `there is no quantity "oil.temprature" (did you mean "oil.temperature"?)`,
	} {
		b, said := load(trend)
		assert.Nil(t, b)
		assert.Contains(t, said, want)
	}
}

func FuzzFormula(f *testing.F) {
	for _, s := range []string{"rod_journal.diameter ** 2", "sqrt(rod_journal.diameter * engine.bore)", "(rod_journal.diameter / '1 mm') ** (1/3)", "at(rod_journal.diameter, 'front') - lower(rod_journal.diameter)", "outlier(cylinder.pressure) < -0.12 * rest(cylinder.pressure)", "code(oil.particles, 14)", "oil.temperature - '20 °C'", "min(1, 2) + max(pi, abs(-1))", "((rod_journal.diameter ** 8) ** 8) ** 4", "'5 mmm'", "1 .. 9", "x[0]", "let a = 1; a", "rod_journal['diameter']", "highest(gasket.thickness) | abs()", "0x7fffffffffffffff ** 9", "1e308 * 1e308"} {
		f.Add(s)
	}
	b, said := loadGauges(f, "")
	if b == nil {
		f.Fatal(said)
	}
	f.Fuzz(func(t *testing.T, text string) {
		b.test(text)
		b.formula(text, quantity.Length)
		tree, err := parse(text)
		if err != nil {
			return
		}
		made, d, fault := b.formulaOf(tree)
		if fault != nil {
			return
		}
		// What was checked can be worked out, also read again from its text.
		values := make([]float64, len(made.Uses))
		for i := range values {
			values[i] = 1.5 + float64(i)
		}
		got := made.Eval(values)
		if made.prog == nil {
			t.Fatalf("%q is a formula of %v that cannot be worked out", text, d)
		}
		if len(text) > maxCondition {
			return
		}
		again, fault := b.formula(text, d)
		if fault != nil {
			t.Fatalf("%q is a formula of %v, and is refused: %s", text, d, fault.message)
		}
		if x := again.Eval(values); x != got && !(math.IsNaN(x) && math.IsNaN(got)) {
			t.Fatalf("%q is %v and %v", text, got, x)
		}
	})
}

func parse(text string) (ast.Node, error) {
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, err
	}
	return tree.Node, nil
}

func parsed(t *testing.T, text string) ast.Node {
	t.Helper()
	n, err := parse(text)
	require.NoError(t, err, text)
	return n
}
