package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// drawn is a reading of a random case, in SI units.
type drawn struct {
	of, at, place string
	si            float64
}

// limited are the quantities that may have a limit, where it begins and how wide it
// can be.
var limited = []struct {
	of           string
	least, width float64
}{{"rod_journal.diameter", 59.6 * mm, 0.2 * mm}, {"rod_journal.taper", 0.001 * mm, 0.02 * mm}, {"rod_bearing.clearance", 0.02 * mm, 0.2 * mm}, {"cylinder.bore", 86.0 * mm, 0.2 * mm}}

// drawCase draws journals, bores, pressures and temperatures, one or several at a
// position, some positions left out, and limits for them.
func drawCase(t *rapid.T) (list []drawn, limits map[string][2]float64) {
	limits = map[string][2]float64{}
	add := func(of, at, place string, low, high float64) {
		list = append(list, drawn{of: of, at: at, place: place, si: rapid.Float64Range(low, high).Draw(t, of)})
	}
	for i := 1; i <= 4; i++ {
		at := fmt.Sprintf("rod %d", i)
		for _, place := range rapid.SampledFrom([][]string{nil, {""}, {"front vertical", "rear vertical"}, {"front vertical", "front vertical", "rear horizontal"}}).Draw(t, "places") {
			add("rod_journal.diameter", at, place, 59.5*mm, 60.1*mm)
		}
		if rapid.Bool().Draw(t, "bore") {
			add("rod_bearing.bore", at, "", 60.0*mm, 60.2*mm)
		}
		if rapid.IntRange(0, 3).Draw(t, "pressure") > 0 {
			add("cylinder.pressure", fmt.Sprintf("cyl %d", i), "", 6e5, 14e5)
		}
		if rapid.Bool().Draw(t, "cylinder") {
			add("cylinder.bore", fmt.Sprintf("cyl %d", i), "", 85.9*mm, 87.3*mm)
		}
	}
	if rapid.Bool().Draw(t, "oil") {
		add("oil.temperature", "", "", 330, 420)
	}
	for _, l := range limited {
		if rapid.Bool().Draw(t, "limit") {
			limits[l.of] = [2]float64{l.least, l.least + rapid.Float64Range(0, l.width).Draw(t, "width")}
		}
	}
	return list, limits
}

// write writes a case in units of a family: "mm", "bar" and "°C", or "in", "psi" and
// "°F". So many figures are written that how finely is no doubt.
func write(list []drawn, limits map[string][2]float64, inches bool) string {
	var b strings.Builder
	value := func(of string, si float64) string {
		switch unit := map[bool][3]string{false: {"mm", "bar", "°C"}, true: {"in", "psi", "°F"}}[inches]; {
		case of == "cylinder.pressure":
			return fmt.Sprintf("%.14f %s", si/map[bool]float64{false: 1e5, true: 0.45359237 * 9.80665 / 0.0254 / 0.0254}[inches], unit[1])
		case of == "oil.temperature" && inches:
			return fmt.Sprintf("%.14f %s", si*1.8-459.67, unit[2])
		case of == "oil.temperature":
			return fmt.Sprintf("%.14f %s", si-273.15, unit[2])
		default:
			return fmt.Sprintf("%.17f %s", si/map[bool]float64{false: 1e-3, true: 0.0254}[inches], unit[0])
		}
	}
	for i, r := range list {
		at := r.at
		if at != "" {
			at = " @ " + at
		}
		if r.place != "" {
			at += " / " + r.place
		}
		fmt.Fprintf(&b, "R%d %s%s = %s\n", i, r.of, at, value(r.of, r.si))
	}
	for _, l := range limited {
		if x, ok := limits[l.of]; ok {
			low, high := value(l.of, x[0]), value(l.of, x[1])
			fmt.Fprintf(&b, "[limit.%s] ; min = %q ; max = %q ; new = \"%s to %s\"\n", l.of, low, high, low, high)
		}
	}
	return b.String()
}

// numbersOf are the numbers of a table by what they are of; at is how a position is
// named in the result.
func numbersOf(t *Table, at func(string) string) map[string][]float64 {
	out := map[string][]float64{}
	number := func(x float64) float64 {
		if math.IsNaN(x) {
			return -7
		}
		return x
	}
	for _, v := range t.Values {
		key := v.Quantity.ID + " @ " + at(v.At)
		out[key] = []float64{v.SI * 1e3, v.Doubt.Standard() * 1e3, number(v.Below), number(v.Above), float64(len(v.Readings)), float64(len(v.Missing))}
		if si, sigmas, ok := v.Margin(); ok {
			out[key] = append(out[key], si*1e3, math.Atan(sigmas))
		}
		if d := Dispose(v); d != nil && math.Abs(v.Beyond()-0.05) > 1e-6 && math.Abs(v.Beyond()-0.95) > 1e-6 {
			out[key+": "+d.What] = nil
		}
	}
	for _, r := range t.Tests {
		key := r.Sign.ID + " @ " + at(r.At)
		out[key] = append(out[key], r.Beyond, float64(len(r.Readings)))
	}
	return out
}

func sameNumbers(t *rapid.T, want, got map[string][]float64, within float64) {
	for k, w := range want {
		g, ok := got[k]
		if !ok || len(g) != len(w) {
			t.Fatalf("%s is %v, and was %v", k, g, w)
		}
		for i := range w {
			if math.Abs(w[i]-g[i]) > within*(1+math.Abs(w[i])) {
				t.Fatalf("%s, number %d is %v, and was %v", k, i, g[i], w[i])
			}
		}
	}
	if len(want) != len(got) {
		t.Fatalf("%d, and were %d", len(got), len(want))
	}
}

func asIs(s string) string { return s }

// A case in inches, pounds and Fahrenheit comes to what it comes to in millimetres,
// bar and Celsius.
func TestUnitsMakeNoDifference(t *testing.T) {
	b := load(t, bench)
	rapid.Check(t, func(rt *rapid.T) {
		list, limits := drawCase(rt)
		metric := New(b, readings(t, four, write(list, limits, false)))
		inches := New(b, readings(t, four, write(list, limits, true)))
		sameNumbers(rt, numbersOf(metric, asIs), numbersOf(inches, asIs), 1e-9)
	})
}

// In whatever order readings stand, they come to the same.
func TestOrderOfReadingsMakesNoDifference(t *testing.T) {
	b := load(t, bench)
	rapid.Check(t, func(rt *rapid.T) {
		list, limits := drawCase(rt)
		want := New(b, readings(t, four, write(list, limits, false)))
		got := New(b, readings(t, four, write(rapid.Permutation(list).Draw(rt, "order"), limits, false)))
		sameNumbers(rt, numbersOf(want, asIs), numbersOf(got, asIs), 1e-12)
		if len(want.Left) != len(got.Left) {
			rt.Fatalf("%d are left, and were %d", len(got.Left), len(want.Left))
		}
	})
}

// Other numbers for the cylinders change the names in the results and nothing else:
// any, where nothing hangs on who stands beside whom; and where it does, those of an
// engine that is counted from its other end, of which a rise from first to last is
// then a fall.
func TestRelabelling(t *testing.T) {
	const beside = `
[quantity.cylinder.beside]
name = "beside"
unit = "bar"
kind = "difference"
formula = "cylinder.pressure - neighbours(cylinder.pressure)"
because = "b"
source = "s"
[quantity.engine.rise]
name = "rise"
unit = "bar"
kind = "difference"
formula = "trend(cylinder.pressure)"
because = "b"
source = "s"
`
	plain, row := load(t, bench), load(t, bench+beside)
	rapid.Check(t, func(rt *rapid.T) {
		list, limits := drawCase(rt)
		order := rapid.Permutation([]int{1, 2, 3, 4}).Draw(rt, "order")
		for _, tc := range []struct {
			relabel map[string]string
			mirror  bool
		}{{relabelled(order), false}, {relabelled([]int{4, 3, 2, 1}), true}} {
			b := plain
			if tc.mirror {
				b = row
			}
			at := func(s string) string {
				if to, ok := tc.relabel[s]; ok {
					return to
				}
				return s
			}
			other := slices.Clone(list)
			for i := range other {
				other[i].at = at(other[i].at)
			}
			want := numbersOf(New(b, readings(t, four, write(list, limits, false))), at)
			got := numbersOf(New(b, readings(t, four, write(other, limits, false))), asIs)
			if w := want["engine.rise @ "]; tc.mirror && len(w) > 0 {
				w[0] = -w[0]
			}
			sameNumbers(rt, want, got, 1e-9)
		}
	})
}

func relabelled(order []int) map[string]string {
	out := map[string]string{}
	for i, to := range order {
		for _, kind := range []string{"rod", "cyl"} {
			out[fmt.Sprintf("%s %d", kind, i+1)] = fmt.Sprintf("%s %d", kind, to)
		}
		out[fmt.Sprintf("intake valve %d", i+1)] = fmt.Sprintf("intake valve %d", to)
	}
	return out
}

// The more is read the surer it is over its most and the less sure under its least,
// also where limit and value are worked out from other readings.
func TestMoreReadIsMoreBeyond(t *testing.T) {
	b := load(t, bench)
	rapid.Check(t, func(rt *rapid.T) {
		journal := rapid.Float64Range(59.5, 60.5).Draw(rt, "journal")
		clearance := rapid.Float64Range(0, 0.2).Draw(rt, "clearance")
		more := rapid.Float64Range(0, 0.05).Draw(rt, "more")
		for _, limit := range []string{"", "\n[limit.rod_bearing.clearance] ; min = \"0.02 mm\" ; max = \"0.09 mm\""} {
			at := func(c float64) *Value {
				return New(b, readings(t, four, fmt.Sprintf("R1 rod_bearing.bore @ rod 1 = %.12f mm\nR2 rod_journal.diameter @ rod 1 = %.12f mm", journal+c, journal)+limit)).value("rod_bearing.clearance", "rod 1")
			}
			less, wider := at(clearance), at(clearance+more)
			if wider.Above < less.Above-1e-12 || wider.Below > less.Below+1e-12 {
				rt.Fatalf("from %v to %v above, from %v to %v below", less.Above, wider.Above, less.Below, wider.Below)
			}
		}
	})
}

// Whatever is read: no number is told that is none, every result has an id of its own,
// and every reading comes to something or is told to come to nothing.
func TestWhateverIsRead(t *testing.T) {
	b := load(t, bench)
	lines := []string{
		"rod_journal.diameter @ rod 1 = 0 mm", "rod_journal.diameter @ rod 1 = 59.94 mm", "rod_journal.diameter @ all / front vertical = 59.94 mm", "rod_journal.diameter @ rods 1, 2 / rear vertical = 59.90 mm",
		"rod_journal.diameter @ rod ?a = 59 mm", "rod_journal.diameter = 59 mm", "rod_journal.diameter @ rod 1 = 599 mm", "rod_journal.diameter @ rod 1 = 59.94 ± 20 mm", "rod_journal.diameter @ rod 1 = 59.94 mm ; uncertainty = \"0 mm\"",
		"rod_bearing.bore @ all = 60.06 mm", "rod_bearing.bore @ rod 1 = 60 1/16 in", "rod_bearing.clearance @ rod 1 = -0.02 mm", "rod_bearing.clearance @ rod 2 = - ; at_least = \"0.1 mm\"", "rod_bearing.clearance @ rod 2 = 0 mm ; by = \"paper\"",
		"cylinder.pressure @ cyl 1 = 0 bar", "cylinder.pressure @ all = 12 bar", "cylinder.pressure @ cyl 3 = 3 psi", "cylinder.pressure @ cyl 2 = - ; unlike = [\"cyl 1\"] ; how = \"lower\"", "cylinder.pressure @ cyl 2 = 1e300 bar",
		"oil.iron = 0 ppm ; limit = \"max 0 ppm\"", "oil.iron = - ; trend = \"rising\"", "oil.iron = 5 % ; checked = true ; limit = \"max 100 ppm\"", "oil.particles = 0/0/0", "oil.particles = 28/28/28", "oil.temperature = -273.15 °C",
		"head.flatness = 1e-300 mm ; limit = \"max 1e-300 mm\"", "head.flatness = 0.05 mm ; limit = \"0.05 mm\"", "guide.clearance @ intake valve 1 = 0.05 mm", "gasket.thickness = 1 mm", "head.waviness = 1 mm",
	}
	rapid.Check(t, func(rt *rapid.T) {
		text := ""
		chosen := rapid.SliceOfN(rapid.SampledFrom(lines), 1, 9).Draw(rt, "lines")
		for i, l := range chosen {
			text += fmt.Sprintf("R%d %s\n", i, l)
		}
		tab := New(b, readings(t, four, text))
		for _, v := range tab.Values {
			if v.Known && v.Code == nil && (math.IsNaN(v.SI) || math.IsInf(v.SI, 0) || math.IsNaN(v.Doubt.Standard()) || math.IsInf(v.Doubt.Standard(), 0)) {
				rt.Fatalf("%s @ %s is %v ± %v", v.Quantity.ID, v.At, v.SI, v.Doubt)
			}
			if !v.Known && len(v.Missing) == 0 {
				rt.Fatalf("%s @ %s is not known, and it is not told why", v.Quantity.ID, v.At)
			}
			for _, p := range []float64{v.Below, v.Above, v.Beyond()} {
				if p < 0 || p > 1 {
					rt.Fatalf("%s @ %s is beyond with %v", v.Quantity.ID, v.At, p)
				}
			}
			if v.Shown() == "" || strings.Contains(v.Shown(), "NaN") {
				rt.Fatalf("%s is shown as %q", v.Quantity.ID, v.Shown())
			}
			Dispose(v)
		}
		ids := map[string]bool{}
		for _, r := range tab.Tests {
			if math.IsNaN(r.Beyond) || r.Beyond < 0 || r.Beyond > 1 {
				rt.Fatalf("%s @ %s is beyond with %v", r.Sign.ID, r.At, r.Beyond)
			}
			if r.SameAs == "" && (r.ID == "" || ids[r.ID]) {
				rt.Fatalf("%s @ %s has the id %q", r.Sign.ID, r.At, r.ID)
			}
			ids[r.ID] = r.SameAs == ""
		}
		for i := range chosen {
			id := fmt.Sprintf("R%d", i)
			counts := tab.why(id) != ""
			for _, r := range tab.Tests {
				counts = counts || slices.Contains(r.Readings, id)
			}
			// A journal may serve for nothing but the rule of thumb of its clearance.
			if !counts && !strings.Contains(chosen[i], "rod_journal.diameter") {
				rt.Fatalf("nothing is told of %s: %s\n%s", id, chosen[i], told(tab))
			}
		}
	})
}
