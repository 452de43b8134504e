package measure_test

import (
	"fmt"

	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// A journal is read with a micrometer and held against the least that its maker
// allows.
func ExampleNew() {
	const book = `
[pack]
id = "example"
title = "Example"
version = "1"
[part.rod_journal]
name = "rod journal"
per = "rod"
[instrument.micrometer]
name = "micrometer"
repeat = "0.003 mm"
bias = "0.002 mm"
source = "common practice"
[quantity.rod_journal.diameter]
name = "diameter"
unit = "mm"
digits = 3
kind = "size"
look = "Take it across the middle, twice, at right angles."
instrument = "micrometer"
rework = "undersize"
sizes = ["0.25 mm", "0.50 mm"]
[sign.rod_journal.undersize]
name = "undersize"
look = "Measure it."
test = "rod_journal.diameter < limit"
[cause.dirt]
name = "dirt in the oil"
category = "maintenance"
base_rate = "common"
source = "common practice"
shows.rod_journal.undersize = { how_often = "often", because = "Grit laps the journal down.", source = "common practice" }
`
	const found = `
[engine]
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
[limit.rod_journal.diameter]
min = "59.930 mm"
new = "59.950 to 59.970 mm"
from = "maker's manual"
[reading.R1]
of = "rod_journal.diameter"
at = "rod 3"
value = "59.841 mm"
`
	var faults source.Faults
	b := rules.Load(&faults, []rules.Text{{Name: "example.toml", Bytes: []byte(book)}})
	c, ok := evidence.Parse("case.toml", []byte(found), &faults)
	if b == nil || !ok {
		fmt.Println(faults.Error())
		return
	}
	t := measure.New(b, c)
	for _, r := range t.Tests {
		fmt.Printf("%s, %s: %s (%.2f)\n", r.Sign.Title(), r.At, r.Note, r.Beyond)
	}
	for _, v := range t.Values {
		fmt.Println(measure.Dispose(v).Words)
	}
	// Output:
	// rod journal: undersize, rod 3: 59.841 ± 0.007 mm, 0.089 mm under its least of 59.930 mm (maker's manual) (1.00)
	// grind to 0.250 mm undersize
}
