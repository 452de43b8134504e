package quantity

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func unit(t require.TestingT, text string) Unit {
	u, err := ParseUnit(text)
	require.NoError(t, err, text)
	return u
}

// Factors as printed in NIST Special Publication 811 (2008), appendix B.8 and
// B.9, and for the units accepted beside the SI in the SI Brochure (BIPM, 9th
// edition, 2019), table 8. Those marked exact are so by definition (bold there);
// the others are rounded to the figures printed.
func TestFactorsOfNIST811(t *testing.T) {
	for _, tc := range []struct {
		unit, factor string
		exact        bool
	}{
		// Length, area, volume.
		{"in", "2.54E-02", true}, {"thou", "2.54E-05", true}, {"µin", "2.54E-08", true}, {"ft", "3.048E-01", true}, {"mi", "1.609344E+03", true},
		{"µm", "1.0E-06", true}, {"in²", "6.4516E-04", true}, {"in³", "1.638706E-05", false}, {"l", "1.0E-03", true},
		{"gal", "3.785412E-03", false}, {"qt", "9.463529E-04", false}, {"fl oz", "2.957353E-05", false},
		// Mass, force, torque.
		{"lb", "4.535924E-01", false}, {"oz", "2.834952E-02", false}, {"t", "1.0E+03", true},
		{"lbf", "4.448222E+00", false}, {"kgf", "9.80665E+00", true},
		{"lb-ft", "1.355818E+00", false}, {"lb-in", "1.129848E-01", false}, {"kgf·m", "9.80665E+00", true},
		// Pressure.
		{"bar", "1.0E+05", true}, {"mbar", "1.0E+02", true}, {"psi", "6.894757E+03", false}, {"kgf/cm²", "9.80665E+04", true},
		{"inHg", "3.386389E+03", false}, {"mmHg", "1.333224E+02", false}, {"mmH2O", "9.80665E+00", true}, {"inH2O", "2.490889E+02", false},
		// Power, speed, viscosity, stiffness.
		{"hp", "7.456999E+02", false}, {"PS", "7.354988E+02", false},
		{"km/h", "2.777778E-01", false}, {"ft/min", "5.08E-03", true}, {"ft/s", "3.048E-01", true},
		{"cSt", "1.0E-06", true}, {"cP", "1.0E-03", true}, {"lbf/in", "1.751268E+02", false},
		// Time, angle.
		{"min", "6.0E+01", true}, {"h", "3.6E+03", true}, {"days", "8.64E+04", true}, {"°", "1.745329E-02", false}, {"′", "2.908882E-04", false},
	} {
		want, err := strconv.ParseFloat(tc.factor, 64)
		require.NoError(t, err)
		within := 1e-12 * want
		if !tc.exact {
			within = 0.5001 * step(strings.ToLower(tc.factor)) // half of the last figure printed
		}
		assert.InDelta(t, want, unit(t, tc.unit).Factor, within, "1 %s", tc.unit)
	}
}

// The definitions behind them, exact in all their figures (NIST SP 811, appendix
// B.6 and the footnotes of B.8: yard and pound of 1959, the US gallon of 231
// cubic inches, standard gravity).
func TestExactDefinitions(t *testing.T) {
	for of, want := range map[string]float64{
		"in³": 1.6387064e-5, "gal": 3.785411784e-3, "qt": 9.46352946e-4, "fl oz": 2.95735295625e-5,
		"lb": 0.45359237, "oz": 0.028349523125, "lbf": 4.4482216152605, "lb-ft": 1.3558179483314004, "lb-in": 0.1129848290276167,
		"psi": 6894.757293168361, "hp": 745.69987158227022, "PS": 735.49875, "inHg": 3386.388640341, "rpm": 1.0 / 60, "cc": 1e-6,
		"MPa": 1e6, "1/ml": 1e6, "%": 1e-2, "ppm": 1e-6, "ml/min": 1e-6 / 60, "months": 2629800, "years": 31557600,
	} {
		assert.InEpsilon(t, want, unit(t, of).Factor, 1e-12, of)
	}
}

// What a shop converts, as printed by NIST SP 811 or worked out from it.
func TestConversions(t *testing.T) {
	for _, tc := range []struct {
		from, to string
		want     float64
		within   float64
	}{
		{"1 in", "mm", 25.4, 1e-11},
		{"1 thou", "µm", 25.4, 1e-11},
		{"1 psi", "kPa", 6.894757, 5e-7},
		{"1 bar", "kPa", 100, 1e-10},
		{"1 bar", "psi", 14.50377, 5e-6},
		{"1 inHg", "kPa", 3.386389, 5e-7},
		{"1 lbf", "N", 4.448222, 5e-7},
		{"1 lb-ft", "N·m", 1.355818, 5e-7},
		{"1 lb-in", "N·m", 0.1129848, 5e-8},
		{"1 N·m", "lb-ft", 0.737562, 5e-7},
		{"1 hp", "W", 745.6999, 5e-5},
		{"1 PS", "W", 735.49875, 1e-9},
		{"212 °F", "°C", 100, 1e-10},
		{"32 °F", "°C", 0, 1e-10},
		{"-40 °F", "°C", -40, 1e-10},
		{"250 °F", "°C", 121.1, 0.05},
		{"0 K", "°C", -273.15, 1e-10},
		{"1 in³", "cm³", 16.387064, 1e-10},
		{"1 qt", "l", 0.946353, 5e-7},
		{"1 gal", "l", 3.785412, 5e-7},
		{"1 cSt", "mm²/s", 1, 1e-12},
		{"1 cP", "mPa·s", 1, 1e-12},
		{"1 MPa", "psi", 145.04, 5e-3},
		{"1 MPa", "N/mm²", 1, 1e-12},
		{"1 µin", "µm", 0.0254, 1e-14},
		{"15 µin", "µm", 0.381, 1e-12},
		{"1 rev/s", "rpm", 60, 1e-10},
		{"1 kgf/cm²", "bar", 0.980665, 1e-12},
	} {
		v, err := Parse(tc.from)
		require.NoError(t, err, tc.from)
		to := unit(t, tc.to)
		require.Equal(t, v.Unit.Dimension, to.Dimension, "%s in %s", tc.from, tc.to)
		assert.InDelta(t, tc.want, to.Number(v.SI()), tc.within, "%s in %s", tc.from, tc.to)
	}
}

// A difference has no zero point: 9 °F of it are 5 °C and 5 K.
func TestDifferences(t *testing.T) {
	c, f, k := unit(t, "°C"), unit(t, "°F"), unit(t, "K")
	assert.InDelta(t, 5, c.NumberOfDifference(f.Difference(9)), 1e-12)
	assert.InDelta(t, 5, k.NumberOfDifference(c.Difference(5)), 1e-12)
	assert.InDelta(t, 9, f.NumberOfDifference(k.Difference(5)), 1e-12)
}

func anyUnit(t *rapid.T) Unit {
	return unitTable[rapid.IntRange(0, len(unitTable)-1).Draw(t, "unit")].unit
}

// There and back gives the same number, in every unit and between any two of one
// dimension.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-1e6, 1e6).Draw(t, "x")
		u := anyUnit(t)
		within := 1e-12 * (math.Abs(x) + math.Abs(u.Offset) + 1)
		if got := u.Number(u.SI(x)); math.Abs(got-x) > within {
			t.Fatalf("%v %s comes back as %v", x, u.Symbol, got)
		}
		if got := u.NumberOfDifference(u.Difference(x)); math.Abs(got-x) > within {
			t.Fatalf("a difference of %v %s comes back as %v", x, u.Symbol, got)
		}
		o := anyUnit(t)
		if o.Dimension != u.Dimension {
			return
		}
		if got := u.Number(o.SI(o.Number(u.SI(x)))); math.Abs(got-x) > within+1e-12*math.Abs(o.SI(o.Offset)/u.Factor) {
			t.Fatalf("%v %s comes back as %v over %s", x, u.Symbol, got, o.Symbol)
		}
	})
}

// Every way of writing a unit is read as that unit, behind a number too, and
// stands once in the table.
func TestEveryWayOfWriting(t *testing.T) {
	seen := map[string]string{}
	for _, u := range unitTable {
		for _, w := range append([]string{u.unit.Symbol}, u.write...) {
			if was, taken := seen[w]; taken {
				t.Errorf("%q is both %s and %s", w, was, u.unit.Symbol)
			}
			seen[w] = u.unit.Symbol
			assert.Equal(t, u.unit, unit(t, w), w)
			v, err := Parse("5 " + w)
			if assert.NoError(t, err, "5 %s", w) {
				assert.Equal(t, Value{Text: "5 " + w, Number: 5, Unit: u.unit, Step: 1}, v)
			}
			l, err := ParseLimit("max 5.0 " + w)
			if assert.NoError(t, err, w) {
				assert.Equal(t, u.unit, l.Max.Unit, w)
			}
			l, err = ParseLimit("4 to 5 " + w)
			if assert.NoError(t, err, w) {
				assert.Equal(t, u.unit, l.Min.Unit, w)
			}
			l, err = ParseLimit("4 " + w + " to 5 " + w)
			if assert.NoError(t, err, w) {
				assert.Equal(t, 4.0, l.Min.Number, w)
			}
			_, within, err := ParseReading("5 " + w + " ± 1 " + w)
			if assert.NoError(t, err, w) {
				assert.Equal(t, u.unit, within.Unit, w)
			}
		}
		assert.Greater(t, u.unit.Factor, 0.0, u.unit.Symbol)
	}
	assert.Len(t, Symbols(), len(unitTable))
}

// Units of the inch, pound and Fahrenheit family are told as such, and no others.
func TestImperial(t *testing.T) {
	var got []string
	for _, u := range unitTable {
		if u.unit.Imperial() {
			got = append(got, u.unit.Symbol)
		}
	}
	assert.Equal(t, []string{"in", "thou", "µin", "ft", "mi", "in²", "in³", "qt", "gal", "fl oz", "oz", "lb", "°F", "lbf", "lb-ft", "lb-in", "psi", "inHg", "inH2O", "hp", "ft/min", "ft/s", "lbf/in"}, got)
	for _, s := range imperial {
		unit(t, s) // each is a symbol of the table
	}
}

func TestUnknownUnits(t *testing.T) {
	for text, hint := range map[string]string{
		"mmm": `did you mean "mm"?`, "N.m.": `did you mean "N.m"?`, "MM": `did you mean "mm"?`, "Bar": `did you mean "bar"?`, "inchs": `did you mean "inch"?`,
		"lb-ftt": `did you mean "lb-ft"?`, "furlongs per fortnight": "", "": "",
	} {
		_, err := ParseUnit(text)
		var unknown ErrUnit
		require.ErrorAs(t, err, &unknown, text)
		assert.Equal(t, hint, unknown.Hint, text)
		assert.Equal(t, strconv.Quote(text)+" is no unit that is known", err.Error())
	}
}

// Dimensions: those of NIST SP 811, table 2 and 3, by their base units.
func TestDimensions(t *testing.T) {
	mm, s, n := unit(t, "mm").Dimension, unit(t, "s").Dimension, unit(t, "N").Dimension
	for name, d := range map[string]Dimension{
		"an area": mm.Power(2), "a volume": mm.Times(mm).Times(mm), "a pressure": n.Over(mm.Power(2)), "a torque": n.Times(mm), "a power": n.Times(mm).Over(s),
		"a speed of rotation": Dimension{}.Over(s), "a plain number or share": mm.Over(mm), "a viscosity": mm.Power(2).Over(s), "a spring rate": n.Over(mm),
		"a voltage": n.Times(mm).Over(s).Over(unit(t, "A").Dimension), "something in m^2·kg^2·s^-3": n.Power(2).Times(s), "something in m^4": mm.Power(4), "something in kg·K": unit(t, "kg").Dimension.Times(unit(t, "K").Dimension),
	} {
		assert.Equal(t, name, d.String())
	}
	root, ok := mm.Power(2).Root()
	assert.True(t, ok)
	assert.Equal(t, mm, root)
	_, ok = mm.Root()
	assert.False(t, ok)
	// Every unit's dimension has a name that a shop would say.
	for _, u := range unitTable {
		if u.unit.Symbol != "1/ml" {
			assert.NotContains(t, u.unit.Dimension.String(), "something", u.unit.Symbol)
		}
	}
}

func TestShow(t *testing.T) {
	mm, c, f := unit(t, "mm"), unit(t, "°C"), unit(t, "°F")
	for _, tc := range []struct{ want, got string }{
		{"59.940 mm", mm.Show(0.05994, 3)},
		{"60 mm", mm.Show(0.0599, 0)},
		{"0.00 mm", mm.Show(-0.000001, 2)},
		{"-0.01 mm", mm.Show(-0.000009, 2)},
		{"0 mm", mm.Show(-0.0005, 0)},
		{"0.000 mm", mm.Show(math.Copysign(0, -1), 3)},
		{"98 °C", c.Show(371.15, 0)},
		{"208 °F", f.Show(371.15, 0)},
		{"-10.0 °C", c.Show(263.15, 1)},
		{"5.0 °C", c.ShowDifference(5, 1)},
		{"9.0 °F", f.ShowDifference(5, 1)},
		{"12 %", unit(t, "%").Show(0.12, 0)},
		{"10.5", unit(t, "ratio").Show(10.5, 1)},
		{"18.0°", unit(t, "°").Show(math.Pi/10, 1)},
		{"+0.010 mm", mm.ShowSigned(1e-5, 3)},
		{"−0.070 mm", mm.ShowSigned(-7e-5, 3)},
		{"0.000 mm", mm.ShowSigned(-1e-9, 3)},
		{"0.000 mm", mm.ShowSigned(1e-9, 3)},
	} {
		assert.Equal(t, tc.want, tc.got)
	}
}
