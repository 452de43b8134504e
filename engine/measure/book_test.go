package measure_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// What the built-in book works out from readings, against figures from outside it.
func TestBuiltInQuantities(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	const engine = `
[engine]
fuel = "petrol"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
bore = "86 mm"
stroke = "86 mm"
rated_speed = "6000 rpm"
compression_ratio = 9.5
rod_length = "143.5 mm"
`
	for _, x := range []struct {
		readings string
		of       string
		want     float64 // SI
		within   float64 // share of it
	}{
		// Heywood, Internal Combustion Engine Fundamentals (1988), eq. 2.9: 2·L·N.
		{"", "crankshaft.mean_piston_speed", 17.2, 1e-9},
		// By hand: swept volume 499.56 cm³ over compression ratio less one. That much
		// liquid stops the piston before the top.
		{"", "combustion_chamber.clearance_volume", 58.77e-6, 1e-3},
		// FAA AC 43.13-1B, 8-14: of 80 psi, 60 on the second gauge is a loss of a quarter.
		{"[reading.R1]\nof = \"compression_test.differential_reading\"\nat = \"cyl 1\"\nvalue = \"60 psi\"\n", "compression_test.leakage", 0.25, 1e-9},
		// By hand: what is left between 60.060 mm and 60.000 mm.
		{"[reading.R1]\nof = \"rod_bearing.bore\"\nat = \"rod 1\"\nvalue = \"60.060 mm\"\n[reading.R2]\nof = \"rod_journal.diameter\"\nat = \"rod 1\"\nvalue = \"60.000 mm\"\n", "rod_bearing.oil_clearance", 60e-6, 1e-6},
		// Ford, Probe 2.0 compression test (1997): 112 of 150 psi is 74.7 %.
		{"[reading.R1]\nof = \"compression_test.pressure\"\nat = \"cyl 1\"\nvalue = \"150 psi\"\n[reading.R2]\nof = \"compression_test.pressure\"\nat = \"cyl 2\"\nvalue = \"112 psi\"\n", "compression_test.lowest_to_highest", 0.7467, 1e-3},
	} {
		c, ok := evidence.Parse("t.toml", []byte(engine+x.readings), &faults)
		require.True(t, ok, faults.Error())
		found := false
		for _, v := range measure.New(b, c).Values {
			if v.Quantity.ID == x.of && v.Known && !found {
				found = true
				assert.InEpsilon(t, x.want, v.SI, x.within, x.of)
			}
		}
		assert.True(t, found, x.of)
	}
}

// Temper colours are told as bands of twenty degrees to either side, for plain carbon
// steel: charts differ by as much (Sheffield Gauge Plate, Steel temper colour chart: straw
// 220, dark blue 290 °C; GDGW: dark blue 310 °C), and a reading of one is no surer.
func TestTemperColours(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	for _, id := range []string{"rod_journal.heat_reached", "main_journal.heat_reached", "rod.heat_reached"} {
		q := b.Quantity(id)
		require.NotNil(t, q, id)
		for _, words := range []string{"plain carbon steel", "20 K", "straw", "dark blue"} {
			assert.Contains(t, q.Look, words, id)
		}
		require.NotNil(t, q.Instrument, id)
		doubt := q.Instrument.Doubt(quantity.Unit{Factor: 1, Offset: 273.15}.SI(290))
		assert.GreaterOrEqual(t, 1.96*doubt.Standard(), 20.0, "%s: a colour is no surer than its band", id)
		assert.True(t, strings.Contains(q.Source, "temper") || strings.Contains(q.Source, "Temper"), id)
	}
}
