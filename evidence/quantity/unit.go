// Package quantity reads values as a shop writes them ("59.94 mm", "1.5 thou",
// "26 lb-ft"), holds them in SI units, and says how sure one can be that a value
// lies beyond a limit.
//
// Factors are those of NIST Special Publication 811 (2008), appendix B, and of
// the SI Brochure (BIPM, 9th edition, 2019); the exact ones are written as they
// are defined. Uncertainty follows the GUM (JCGM 100:2008), conformity JCGM
// 106:2012.
package quantity

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tidemark/evidence/source"
)

// Dimension is what kind of thing a unit measures, as powers of length, mass,
// time, temperature, electric current and plane angle. Shares (per cent, ppm) and
// counts have none of them. A speed of rotation is revolutions, which are a
// count, by time.
type Dimension struct {
	Length, Mass, Time, Temperature, Current, Angle int8
}

// Times, Over and Power are the dimension of a product, a quotient and a power.
func (d Dimension) Times(o Dimension) Dimension {
	return Dimension{d.Length + o.Length, d.Mass + o.Mass, d.Time + o.Time, d.Temperature + o.Temperature, d.Current + o.Current, d.Angle + o.Angle}
}

// Over is the dimension of a quotient.
func (d Dimension) Over(o Dimension) Dimension { return d.Times(o.Power(-1)) }

// Power is the dimension of a whole power.
func (d Dimension) Power(n int8) Dimension {
	return Dimension{d.Length * n, d.Mass * n, d.Time * n, d.Temperature * n, d.Current * n, d.Angle * n}
}

// Root is the dimension of a square root; ok is false where there is none.
func (d Dimension) Root() (root Dimension, ok bool) {
	for _, x := range []int8{d.Length, d.Mass, d.Time, d.Temperature, d.Current, d.Angle} {
		if x%2 != 0 {
			return Dimension{}, false
		}
	}
	return Dimension{d.Length / 2, d.Mass / 2, d.Time / 2, d.Temperature / 2, d.Current / 2, d.Angle / 2}, true
}

// The dimensions that have a name in a shop.
var (
	none        = Dimension{}
	length      = Dimension{Length: 1}
	area        = Dimension{Length: 2}
	volume      = Dimension{Length: 3}
	mass        = Dimension{Mass: 1}
	interval    = Dimension{Time: 1}
	frequency   = Dimension{Time: -1}
	temperature = Dimension{Temperature: 1}
	angle       = Dimension{Angle: 1}
	force       = Dimension{Length: 1, Mass: 1, Time: -2}
	torque      = Dimension{Length: 2, Mass: 1, Time: -2}
	pressure    = Dimension{Length: -1, Mass: 1, Time: -2}
	power       = Dimension{Length: 2, Mass: 1, Time: -3}
	speed       = Dimension{Length: 1, Time: -1}
	accel       = Dimension{Length: 1, Time: -2}
	kinematic   = Dimension{Length: 2, Time: -1}
	dynamic     = Dimension{Length: -1, Mass: 1, Time: -1}
	stiffness   = Dimension{Mass: 1, Time: -2}
	density     = Dimension{Length: -3, Mass: 1}
	current     = Dimension{Current: 1}
	voltage     = Dimension{Length: 2, Mass: 1, Time: -3, Current: -1}
	resistance  = Dimension{Length: 2, Mass: 1, Time: -3, Current: -2}
	flow        = Dimension{Length: 3, Time: -1}
	byLength    = Dimension{Length: -1}
	byTemp      = Dimension{Temperature: -1}
)

// Dimensions that facts about an engine have, and that of a temperature.
var (
	Length      = length
	Power       = power
	Rotation    = frequency
	Volume      = volume
	Mass        = mass
	Temperature = temperature
)

var dimensionNames = []struct {
	d    Dimension
	name string
}{
	{none, "a plain number or share"}, {length, "a length"}, {area, "an area"}, {volume, "a volume"}, {mass, "a mass"}, {interval, "a time"},
	{frequency, "a speed of rotation"}, {temperature, "a temperature"}, {angle, "an angle"}, {force, "a force"}, {torque, "a torque"},
	{pressure, "a pressure"}, {power, "a power"}, {speed, "a speed"}, {accel, "an acceleration"}, {kinematic, "a viscosity"},
	{dynamic, "a dynamic viscosity"}, {stiffness, "a spring rate"}, {density, "a concentration"}, {current, "an electric current"},
	{voltage, "a voltage"}, {resistance, "a resistance"}, {flow, "a flow"}, {byLength, "a number by length"}, {byTemp, "a number by temperature"},
}

// String names the dimension as one says it: "a length", "a torque".
func (d Dimension) String() string {
	for _, n := range dimensionNames {
		if n.d == d {
			return n.name
		}
	}
	var parts []string
	for _, p := range []struct {
		n    int8
		name string
	}{{d.Length, "m"}, {d.Mass, "kg"}, {d.Time, "s"}, {d.Temperature, "K"}, {d.Current, "A"}, {d.Angle, "rad"}} {
		switch p.n {
		case 0:
		case 1:
			parts = append(parts, p.name)
		default:
			parts = append(parts, fmt.Sprintf("%s^%d", p.name, p.n))
		}
	}
	return "something in " + strings.Join(parts, "·")
}

// Unit is a unit of measure: SI = (number + Offset) · Factor.
type Unit struct {
	Symbol    string
	Dimension Dimension
	Factor    float64
	Offset    float64
}

// SI turns a number of this unit into SI units, and Number does the reverse.
func (u Unit) SI(number float64) float64 { return (number + u.Offset) * u.Factor }

// Number is how many of this unit an amount in SI units is.
func (u Unit) Number(si float64) float64 { return si/u.Factor - u.Offset }

// Difference turns a difference, for which zero points do not matter, into SI
// units: 5 °C of uncertainty is 5 K.
func (u Unit) Difference(number float64) float64 { return number * u.Factor }

// NumberOfDifference does the reverse.
func (u Unit) NumberOfDifference(si float64) float64 { return si / u.Factor }

// Imperial tells a unit of the inch, pound and Fahrenheit family.
func (u Unit) Imperial() bool { return slices.Contains(imperial, u.Symbol) }

var imperial = []string{"in", "thou", "ft", "mi", "in²", "lb-ft", "lb-in", "lbf", "psi", "inHg", "inH2O", "°F", "oz", "lb", "in³", "qt", "gal", "fl oz", "hp", "ft/min", "ft/s", "lbf/in", "µin"}

// Exact definitions.
const (
	inch     = 0.0254          // m, exact
	pound    = 0.45359237      // kg, exact
	gravity  = 9.80665         // m/s², standard, exact
	poundF   = pound * gravity // N
	foot     = 12 * inch
	mmHg     = 133.322387415 // Pa, conventional (NIST SP 811: 1.333224 E+02)
	mmWater  = 9.80665       // Pa, conventional
	usGallon = 231 * inch * inch * inch
)

// unitTable lists the units with the ways in which people write them.
var unitTable = []struct {
	unit  Unit
	write []string
}{
	{Unit{"mm", length, 1e-3, 0}, []string{"millimetre", "millimetres", "millimeter", "millimeters"}},
	{Unit{"µm", length, 1e-6, 0}, []string{"μm", "um", "micron", "microns", "micrometre", "micrometres"}},
	{Unit{"cm", length, 1e-2, 0}, nil},
	{Unit{"m", length, 1, 0}, []string{"metre", "metres"}},
	{Unit{"km", length, 1e3, 0}, nil},
	{Unit{"in", length, inch, 0}, []string{"inch", "inches", `"`, "″", "in."}},
	{Unit{"thou", length, inch / 1000, 0}, []string{"mil", "mils", "thous"}},
	{Unit{"µin", length, inch * 1e-6, 0}, []string{"μin", "uin", "microinch"}},
	{Unit{"ft", length, foot, 0}, []string{"foot", "feet", "'"}},
	{Unit{"mi", length, 5280 * foot, 0}, []string{"mile", "miles"}},

	{Unit{"mm²", area, 1e-6, 0}, []string{"mm2", "sq mm"}},
	{Unit{"cm²", area, 1e-4, 0}, []string{"cm2", "sq cm"}},
	{Unit{"in²", area, inch * inch, 0}, []string{"in2", "sq in"}},

	{Unit{"ml", volume, 1e-6, 0}, []string{"mL", "millilitre", "millilitres"}},
	{Unit{"cl", volume, 1e-5, 0}, nil},
	{Unit{"dl", volume, 1e-4, 0}, nil},
	{Unit{"l", volume, 1e-3, 0}, []string{"L", "litre", "litres", "liter", "liters"}},
	{Unit{"cm³", volume, 1e-6, 0}, []string{"cm3", "cc", "ccm"}},
	{Unit{"mm³", volume, 1e-9, 0}, []string{"mm3"}},
	{Unit{"in³", volume, inch * inch * inch, 0}, []string{"in3", "cu in", "cu.in.", "cid"}},
	{Unit{"qt", volume, usGallon / 4, 0}, []string{"quart", "quarts", "US qt"}},
	{Unit{"gal", volume, usGallon, 0}, []string{"gallon", "gallons", "US gal"}},
	{Unit{"fl oz", volume, usGallon / 128, 0}, []string{"fl. oz"}},

	{Unit{"g", mass, 1e-3, 0}, []string{"gram", "grams"}},
	{Unit{"mg", mass, 1e-6, 0}, nil},
	{Unit{"kg", mass, 1, 0}, nil},
	{Unit{"t", mass, 1e3, 0}, nil},
	{Unit{"oz", mass, pound / 16, 0}, nil},
	{Unit{"lb", mass, pound, 0}, []string{"lbs", "pound", "pounds"}},

	{Unit{"s", interval, 1, 0}, []string{"sec", "seconds"}},
	{Unit{"min", interval, 60, 0}, []string{"minutes"}},
	{Unit{"h", interval, 3600, 0}, []string{"hour", "hours", "hrs"}},
	{Unit{"days", interval, 86400, 0}, []string{"day", "d"}},
	{Unit{"weeks", interval, 7 * 86400, 0}, []string{"week"}},
	{Unit{"months", interval, 365.25 / 12 * 86400, 0}, []string{"month"}},
	{Unit{"years", interval, 365.25 * 86400, 0}, []string{"year"}},

	{Unit{"rpm", frequency, 1.0 / 60, 0}, []string{"1/min", "r/min", "min-1", "min⁻¹", "rev/min"}},
	{Unit{"Hz", frequency, 1, 0}, []string{"1/s", "rev/s"}},

	{Unit{"°C", temperature, 1, 273.15}, []string{"C", "deg C", "degC", "Celsius"}},
	{Unit{"°F", temperature, 5.0 / 9, 459.67}, []string{"F", "deg F", "degF", "Fahrenheit"}},
	{Unit{"K", temperature, 1, 0}, []string{"kelvin"}},

	{Unit{"°", angle, math.Pi / 180, 0}, []string{"deg", "degree", "degrees"}},
	{Unit{"′", angle, math.Pi / 180 / 60, 0}, []string{"arcmin"}},
	{Unit{"rad", angle, 1, 0}, nil},

	{Unit{"N", force, 1, 0}, []string{"newton"}},
	{Unit{"kN", force, 1e3, 0}, nil},
	{Unit{"kgf", force, gravity, 0}, []string{"kp"}},
	{Unit{"lbf", force, poundF, 0}, nil},

	{Unit{"N·m", torque, 1, 0}, []string{"Nm", "N m", "N*m", "N-m", "N.m"}},
	{Unit{"N·cm", torque, 1e-2, 0}, []string{"Ncm"}},
	{Unit{"kgf·m", torque, gravity, 0}, []string{"kgm", "kg·m", "kgf m", "kgf*m", "mkg", "kpm"}},
	{Unit{"kgf·cm", torque, gravity / 100, 0}, []string{"kgcm", "kg·cm", "kgf cm"}},
	{Unit{"lb-ft", torque, poundF * foot, 0}, []string{"lb·ft", "lbf-ft", "lbf·ft", "ft-lb", "ft·lb", "ft lb", "lb ft", "ft-lbs", "ft lbs", "ft-lbf", "ft·lbf", "lb.ft", "lbf.ft", "ft.lb"}},
	{Unit{"lb-in", torque, poundF * inch, 0}, []string{"lb·in", "in-lb", "in·lb", "in lb", "in-lbs", "lbf·in", "lbf-in", "lbf.in", "lb in"}},

	{Unit{"bar", pressure, 1e5, 0}, nil},
	{Unit{"mbar", pressure, 100, 0}, nil},
	{Unit{"Pa", pressure, 1, 0}, nil},
	{Unit{"kPa", pressure, 1e3, 0}, nil},
	{Unit{"MPa", pressure, 1e6, 0}, []string{"N/mm²", "N/mm2"}},
	{Unit{"psi", pressure, poundF / (inch * inch), 0}, []string{"lb/in²", "lbf/in²", "psig", "PSI"}},
	{Unit{"kgf/cm²", pressure, gravity * 1e4, 0}, []string{"kg/cm²", "kgf/cm2", "kg/cm2", "at"}},
	{Unit{"inHg", pressure, 25.4 * mmHg, 0}, []string{"in Hg", "in. Hg", `"Hg`}},
	{Unit{"mmHg", pressure, mmHg, 0}, []string{"mm Hg", "Torr"}},
	{Unit{"mmH2O", pressure, mmWater, 0}, []string{"mm H2O", "mmH₂O"}},
	{Unit{"inH2O", pressure, 25.4 * mmWater, 0}, []string{"in H2O", "inH₂O"}},

	{Unit{"W", power, 1, 0}, nil},
	{Unit{"kW", power, 1e3, 0}, nil},
	{Unit{"hp", power, 550 * foot * poundF, 0}, []string{"bhp", "HP"}},
	{Unit{"PS", power, 75 * gravity, 0}, []string{"metric hp", "cv", "ch"}},

	{Unit{"m/s", speed, 1, 0}, nil},
	{Unit{"km/h", speed, 1 / 3.6, 0}, nil},
	{Unit{"ft/min", speed, foot / 60, 0}, nil},
	{Unit{"ft/s", speed, foot, 0}, nil},
	{Unit{"m/s²", accel, 1, 0}, []string{"m/s2"}},

	{Unit{"cSt", kinematic, 1e-6, 0}, []string{"mm²/s", "mm2/s"}},
	{Unit{"cP", dynamic, 1e-3, 0}, []string{"mPa·s", "mPas"}},
	{Unit{"Pa·s", dynamic, 1, 0}, nil},
	{Unit{"N/mm", stiffness, 1e3, 0}, nil},
	{Unit{"N/m", stiffness, 1, 0}, nil},
	{Unit{"lbf/in", stiffness, poundF / inch, 0}, []string{"lb/in"}},

	{Unit{"%", none, 1e-2, 0}, []string{"per cent", "percent", "pct", "wt%", "% by mass"}},
	{Unit{"‰", none, 1e-3, 0}, nil},
	{Unit{"ppm", none, 1e-6, 0}, []string{"mg/kg"}},
	{Unit{"ppb", none, 1e-9, 0}, nil},
	{Unit{"mg KOH/g", none, 1e-3, 0}, []string{"mgKOH/g", "mg KOH / g"}},
	{Unit{"mg/l", density, 1e-3, 0}, []string{"mg/L", "mg/litre"}},
	{Unit{"g/cm³", density, 1e3, 0}, []string{"g/cm3", "g/ml", "kg/l"}},
	{Unit{"kg/m³", density, 1, 0}, []string{"kg/m3"}},
	{Unit{"1/ml", Dimension{Length: -3}, 1e6, 0}, []string{"/ml", "per ml"}},
	{Unit{"/cm", byLength, 100, 0}, []string{"A/cm", "abs/cm", "Abs/cm"}},
	{Unit{"/0.1 mm", byLength, 1e4, 0}, []string{"A/0.1 mm", "abs/0.1 mm", "Abs/.1 mm"}},
	{Unit{"1/K", byTemp, 1, 0}, []string{"/K"}},

	{Unit{"V", voltage, 1, 0}, nil},
	{Unit{"mV", voltage, 1e-3, 0}, nil},
	{Unit{"A", current, 1, 0}, nil},
	{Unit{"mA", current, 1e-3, 0}, nil},
	{Unit{"Ω", resistance, 1, 0}, []string{"ohm", "ohms"}},
	{Unit{"kΩ", resistance, 1e3, 0}, []string{"kohm"}},

	{Unit{"ml/min", flow, 1e-6 / 60, 0}, []string{"cc/min", "cm³/min", "cm3/min", "mL/min"}},
	{Unit{"l/min", flow, 1e-3 / 60, 0}, []string{"L/min"}},

	{Unit{"HRC", none, 1, 0}, nil},
	{Unit{"HB", none, 1, 0}, []string{"HBW"}},
	{Unit{"HV", none, 1, 0}, nil},
	{Unit{"Shore A", none, 1, 0}, []string{"IRHD"}},
	{Unit{"pH", none, 1, 0}, nil},
	{Unit{"teeth", none, 1, 0}, []string{"tooth"}},
	{Unit{"turns", none, 1, 0}, []string{"turn", "rev", "revs"}},
	{Unit{"links", none, 1, 0}, nil},
	{Unit{"pieces", none, 1, 0}, []string{"pcs"}},
	{Unit{"PQ", none, 1, 0}, []string{"PQ index"}},
	{Unit{"RON", none, 1, 0}, []string{"MON"}},
	{Unit{"CN", none, 1, 0}, []string{"cetane"}},
	{Unit{"ratio", none, 1, 0}, []string{":1"}},
}

// ErrUnit tells that a text is no unit that is known.
type ErrUnit struct {
	Text string
	Hint string
}

func (e ErrUnit) Error() string { return fmt.Sprintf("%q is no unit that is known", e.Text) }

// Symbols lists all units, as they are shown.
func Symbols() []string {
	out := make([]string, len(unitTable))
	for i, u := range unitTable {
		out[i] = u.unit.Symbol
	}
	return out
}

// ParseUnit reads a unit in any way in which it is written. The error is an
// ErrUnit that names what was probably meant.
func ParseUnit(text string) (Unit, error) {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" {
		return Unit{}, ErrUnit{}
	}
	for _, u := range unitTable {
		if u.unit.Symbol == text || slices.Contains(u.write, text) {
			return u.unit, nil
		}
	}
	// Small and capital letters tell units apart (mW and MW), so that a
	// difference in them is asked about rather than taken.
	var all []string
	for _, u := range unitTable {
		all = append(append(all, u.unit.Symbol), u.write...)
	}
	return Unit{}, ErrUnit{text, source.Suggest(text, all)}
}
