package measure

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is to be done with a part. The micrometer is sure to 5 µm (standard).
func TestDispose(t *testing.T) {
	const (
		journal = "\n[limit.rod_journal.diameter] ; min = \"59.93 mm\" ; new = \"59.95 to 59.97 mm\""
		bore    = "\n[limit.cylinder.bore] ; max = \"86.10 mm\" ; new = \"86.00 to 86.02 mm\""
		thumb   = " (rule of thumb, no maker's value given)"
		crack   = ", after crack detection"
	)
	for _, tc := range []struct {
		name, reading, what, words string
		crackCheck, thumb          bool
	}{
		{"sound", "rod_journal.diameter @ rod 1 = 59.960 mm" + journal, Serviceable, "serviceable, 0.030 mm inside" + crack, true, false},
		{"too near to tell, inside", "rod_journal.diameter @ rod 1 = 59.935000 mm" + journal, MeasureAgain, "too near its limit to tell (beyond it: 16 in 100): measure again, more finely", true, false},
		{"too near to tell, beyond", "rod_journal.diameter @ rod 1 = 59.925000 mm" + journal, MeasureAgain, "too near its limit to tell (beyond it: 84 in 100): measure again, more finely", true, false},
		{"first undersize", "rod_journal.diameter @ rod 1 = 59.800 mm" + journal, Machine, "grind to 0.250 mm undersize" + crack, true, false},
		{"just enough left for the first", "rod_journal.diameter @ rod 1 = 59.720 mm" + journal, Machine, "grind to 0.250 mm undersize" + crack, true, false},
		{"too little left for the first", "rod_journal.diameter @ rod 1 = 59.719 mm" + journal, Machine, "grind to 0.500 mm undersize" + crack, true, false},
		{"past the last", "rod_journal.diameter @ rod 1 = 59.200 mm" + journal, Replace, "replace: past the last undersize of 0.750 mm", true, false},
		{"the maker's steps", "rod_journal.diameter @ rod 1 = 59.800 mm" + journal + " ; sizes = [\"20 thou\", \"10 thou\"]", Machine, "grind to 0.254 mm undersize" + crack, true, false},
		{"in inches", "rod_journal.diameter @ rod 1 = 2.3540 in" + journal, Machine, "grind to 0.00984 in undersize" + crack, true, false},
		{"larger than new", "rod_journal.diameter @ rod 1 = 60.200 mm\n[limit.rod_journal.diameter] ; new = \"59.95 to 59.97 mm\"", Machine, "grind to its standard size" + crack, true, false},
		{"no new size to choose by", "rod_journal.diameter @ rod 1 = 59.800 mm ; limit = \"min 59.93 mm\"", Machine, "machine to the next undersize that cleans up (0.250 mm; no new size is given to choose by)" + crack, true, false},

		{"a bore that is sound", "cylinder.bore @ cyl 1 = 86.05 mm" + bore, Serviceable, "serviceable, 0.05 mm inside", false, false},
		{"first oversize", "cylinder.bore @ cyl 1 = 86.20 mm" + bore, Machine, "bore to 0.50 mm oversize", false, false},
		{"just within the first", "cylinder.bore @ cyl 1 = 86.50 mm" + bore, Machine, "bore to 0.50 mm oversize", false, false},
		{"worn past the first", "cylinder.bore @ cyl 1 = 86.51 mm" + bore, Machine, "bore to 1.00 mm oversize", false, false},
		{"worn past all", "cylinder.bore @ cyl 1 = 87.20 mm" + bore, Replace, "replace: past the last oversize of 1.00 mm", false, false},
		{"smaller than new", "cylinder.bore @ cyl 1 = 85.90 mm\n[limit.cylinder.bore] ; new = \"86.00 to 86.02 mm\"", Machine, "bore to its standard size", false, false},

		{"a flat face", "head.flatness = 0.03 mm ; limit = \"max 0.05 mm\"", Serviceable, "serviceable, 0.02 mm inside", false, false},
		{"a face that can be skimmed", "head.flatness = 0.15 mm ; limit = \"max 0.05 mm\"", Machine, "skim (up to 0.20 mm may come off)", false, false},
		{"a face that cannot", "head.flatness = 0.30 mm ; limit = \"max 0.05 mm\"", Replace, "replace: it would take more than the 0.20 mm that may come off", false, false},

		{"what cannot be machined", "rod_bearing.bore @ rod 1 = 60.30 mm ; limit = \"max 60.10 mm\"", Replace, "replace", false, false},
		{"by a rule of thumb", "rod_bearing.wall @ rod 1 = 1.200 mm", Replace, "replace" + thumb, false, true},
		{"sound by a rule of thumb", "rod_bearing.wall @ rod 1 = 1.800 mm", Serviceable, "serviceable, 0.300 mm inside" + thumb, false, true},
		{"near a rule of thumb", "rod_bearing.wall @ rod 1 = 1.550 mm", MeasureAgain, "too near its limit to tell (beyond it: 16 in 100): measure again, more finely" + thumb, false, true},
	} {
		tab := measured(t, "R1 "+tc.reading)
		of, at, _ := strings.Cut(strings.Split(tc.reading, " = ")[0], " @ ")
		d := Dispose(*tab.value(of, at))
		if assert.NotNil(t, d, tc.name) {
			assert.Equal(t, Disposition{tc.what, tc.words, tc.crackCheck, tc.thumb}, *d, tc.name)
		}
	}
}

// Nothing is disposed of without a limit, by what is only worked out, by what is not
// known, or by what is no size of the part.
func TestNothingToDispose(t *testing.T) {
	tab := measured(t, "R6 cylinder.pressure @ cyl 1 = 3 bar ; limit = \"min 8 bar\"\nR1 guide.clearance @ intake valve 1 = 0.05 mm\nR2 rod_bearing.bore @ rod 1 = 60.2 mm\nR3 rod_journal.diameter @ rod 1 = 60.0 mm\nR4 rod_bearing.bore @ rod 2 = 60.2 mm\nR5 oil.particles = 19/16/13")
	for _, v := range tab.Values {
		assert.Nil(t, Dispose(v), "%s @ %s", v.Quantity.ID, v.At)
	}
	assert.NotNil(t, tab.value("rod_bearing.clearance", "rod 1").Limit.Upper, "the clearance has a limit, and is of two parts")
	worked := load(t, bench+"[quantity.cylinder.size]\nname = \"size\"\nunit = \"mm\"\nkind = \"size\"\nformula = \"2 * cylinder.bore\"\nbecause = \"b\"\nsource = \"s\"\n")
	v := New(worked, readings(t, four, "R1 cylinder.bore @ cyl 1 = 86 mm\n[limit.cylinder.size] ; max = \"180 mm\"")).value("cylinder.size", "cyl 1")
	assert.NotNil(t, v.Limit.Upper)
	assert.Nil(t, Dispose(*v))
}

// ISO 14253-1:2017: on one side of its limit with 95 in 100, at 1.645 u.
func TestDisposedAt95(t *testing.T) {
	for sigmas, want := range map[float64]string{-1.7: Serviceable, -1.6: MeasureAgain, 0: MeasureAgain, 1.6: MeasureAgain, 1.7: Replace} {
		tab := measured(t, fmt.Sprintf("R1 rod_bearing.bore @ rod 1 = %.6f mm ; uncertainty = \"0.004 mm\" ; coverage = \"standard\" ; limit = \"max 60.1 mm\"", 60.1+0.004*sigmas))
		assert.Equal(t, want, Dispose(*tab.value("rod_bearing.bore", "rod 1")).What, "%v u", sigmas)
	}
}

func TestMargin(t *testing.T) {
	for _, tc := range []struct {
		reading    string
		si, sigmas float64
	}{
		{"rod_bearing.clearance @ rod 1 = 0.05 ± 0.002 mm ; coverage = \"k=2\" ; limit = \"0.02 to 0.06 mm\"", 0.010 * mm, 10},
		{"rod_bearing.clearance @ rod 1 = 0.03 ± 0.002 mm ; coverage = \"k=2\" ; limit = \"0.02 to 0.06 mm\"", 0.010 * mm, 10},
		{"rod_bearing.clearance @ rod 1 = 0.08 ± 0.002 mm ; coverage = \"k=2\" ; limit = \"0.02 to 0.06 mm\"", -0.020 * mm, -20},
		{"rod_bearing.clearance @ rod 1 = 0.01 ± 0.002 mm ; coverage = \"k=2\" ; limit = \"0.02 to 0.06 mm\"", -0.010 * mm, -10},
		{"rod_bearing.clearance @ rod 1 = 0.05 mm ; by = \"paper\" ; limit = \"max 0.06 mm\"", 0.010 * mm, math.Inf(1)},
		{"rod_bearing.clearance @ rod 1 = 0.07 mm ; by = \"paper\" ; limit = \"max 0.06 mm\"", -0.010 * mm, math.Inf(-1)},
	} {
		si, sigmas, ok := measured(t, "R1 "+tc.reading).value("rod_bearing.clearance", "rod 1").Margin()
		require.True(t, ok)
		assert.InDelta(t, tc.si, si, 1e-12, tc.reading)
		if math.IsInf(tc.sigmas, 0) {
			assert.Equal(t, tc.sigmas, sigmas)
		} else {
			assert.InDelta(t, tc.sigmas, sigmas, 1e-6, tc.reading)
		}
	}
	_, _, ok := measured(t, "R1 guide.clearance @ intake valve 1 = 0.05 mm").value("guide.clearance", "intake valve 1").Margin()
	assert.False(t, ok)
	_, _, ok = measured(t, "R1 rod_bearing.bore @ rod 1 = 60.06 mm").value("rod_bearing.clearance", "rod 1").Margin()
	assert.False(t, ok)
	// To the side of a rule of thumb its doubt counts too.
	v := measured(t, "R1 rod_bearing.clearance @ rod 1 = 0.0500 ± 0.002 mm ; coverage = \"k=2\"\nR2 rod_journal.diameter @ rod 1 = 60 mm ; by = \"paper\"").value("rod_bearing.clearance", "rod 1")
	_, sigmas, _ := v.Margin()
	assert.InDelta(t, 0.020/math.Hypot(0.001, 0.2*0.030), sigmas, 1e-6)
}

// Of a limit to both sides the chances of lying beyond either add up, and at a limit
// of no width they make the whole.
func TestBeyondEitherSide(t *testing.T) {
	v := measured(t, "R1 rod_bearing.clearance @ rod 1 = 0.04 ± 0.01 mm ; coverage = \"standard\" ; limit = \"0.02 to 0.06 mm\"").value("rod_bearing.clearance", "rod 1")
	assert.InDelta(t, 2*phi(-2), v.Beyond(), 1e-9)
	v = measured(t, "R1 rod_bearing.clearance @ rod 1 = 0.04 ± 0.01 mm ; coverage = \"standard\" ; limit = \"0.043 to 0.043 mm\"").value("rod_bearing.clearance", "rod 1")
	assert.InDelta(t, 1, v.Below+v.Above, 1e-12)
	assert.InDelta(t, phi(0.3), v.Below, 1e-9)
}
