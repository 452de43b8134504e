package evidence

import (
	"slices"

	"tidemark/evidence/quantity"
)

// Type is the type of a plain fact about an engine or its history.
type Type int

// Types of facts.
const (
	Text Type = iota
	Word      // one of Field.Words
	Int
	Number
	Bool
)

// Field is a plain fact that [engine] or [history] may say, and that a rule's
// `when` may ask about.
type Field struct {
	Table string // "engine" or "history"
	Name  string
	Type  Type
	Words []string // for Word: what it may be
	About string   // what it is, in what unit
}

// Fields lists all facts a case may state, in the order in which they are
// documented. The first of each Words list has no special meaning.
func Fields() []Field { return fields }

var fields = []Field{
	{"engine", "name", Text, nil, "what the shop calls it"},
	{"engine", "maker", Text, nil, "who built it"},
	{"engine", "model", Text, nil, "type or model"},
	{"engine", "serial", Text, nil, "engine number, read off the engine"},
	{"engine", "year", Int, nil, "year built"},
	{"engine", "use", Word, []string{"car", "truck", "bus", "tractor", "marine", "generator", "motorcycle", "aircraft", "small", "industrial", "rail"}, "what it drives"},
	{"engine", "fuel", Word, []string{"petrol", "diesel", "gas", "avgas", "mixed"}, "what it burns"},
	{"engine", "cycle", Word, []string{"four-stroke", "two-stroke"}, "strokes of a cycle"},
	{"engine", "cooling", Word, []string{"liquid", "air", "oil"}, "what carries the heat away"},
	{"engine", "layout", Word, []string{"inline", "v", "opposed", "single", "radial", "w", "not stated"}, "how the cylinders stand"},
	{"engine", "cylinders", Int, nil, `how many; "4+" where the source gives only a least number`},
	{"engine", "banks", Int, nil, "rows of cylinders"},
	{"engine", "mains", Int, nil, "main bearings"},
	{"engine", "camshafts", Int, nil, "camshafts"},
	{"engine", "cam_bearings", Int, nil, "camshaft bearings in all"},
	{"engine", "intake_valves", Int, nil, "intake valves a cylinder"},
	{"engine", "exhaust_valves", Int, nil, "exhaust valves a cylinder"},
	{"engine", "timing_drive", Word, []string{"chain", "belt", "gears", "chain and gears", "none"}, "what drives the camshaft"},
	{"engine", "balance_shafts", Int, nil, "balance shafts"},
	{"engine", "balance_drive", Word, []string{"none", "chain", "belt", "gears", "with oil pump"}, "what drives the balance shafts"},
	{"engine", "lubrication", Word, []string{"wet sump", "dry sump", "premix"}, "how it is oiled"},
	{"engine", "oil_pump_drive", Word, []string{"crank", "chain", "gears", "camshaft", "balance shaft"}, "what turns the oil pump"},
	{"engine", "induction", Word, []string{"natural", "turbo", "supercharged"}, "how it breathes"},
	{"engine", "fuel_system", Word, []string{"carburettor", "port injection", "direct injection", "common rail", "mechanical injection"}, "how fuel gets in"},
	{"engine", "liners", Word, []string{"wet", "dry", "none", "coated"}, "cylinder liners"},
	{"engine", "bore", Text, nil, "with unit"},
	{"engine", "stroke", Text, nil, "with unit"},
	{"engine", "power", Text, nil, "with unit"},
	{"engine", "rated_speed", Text, nil, "with unit"},
	{"engine", "rod_length", Text, nil, "centre to centre, with unit"},
	{"engine", "compression_ratio", Number, nil, "volume above the piston at the bottom to that at the top"},
	{"engine", "displacement", Text, nil, "swept volume of all cylinders, with unit"},
	{"engine", "oil_capacity", Text, nil, "oil fill, with unit"},
	{"engine", "firing_order", Text, nil, "as stamped"},
	{"engine", "note", Text, nil, "anything else"},
	{"history", "hours", Number, nil, "running hours in all"},
	{"history", "km", Number, nil, "distance in all, km"},
	{"history", "hours_since_rebuild", Number, nil, "running hours since the last rebuild"},
	{"history", "hours_since_service", Number, nil, "running hours on this oil"},
	{"history", "km_since_service", Number, nil, "km on this oil"},
	{"history", "standing_months", Number, nil, "months it stood unused before it failed or came in"},
	{"history", "rebuilt", Bool, nil, "it has been rebuilt at least once"},
	{"history", "climate", Word, []string{"temperate", "cold", "hot", "dusty", "marine"}, "where it worked"},
	{"history", "story", Text, nil, "what the owner tells, in his words; weighed only where a finding says so"},
	{"history", "note", Text, nil, "anything else"},
}

// Engine is what the case says of the engine. Facts not said are not in
// Facts; nothing is guessed here.
type Engine struct {
	Facts map[string]any // field name → string, int, float64 or bool
	// AtLeast marks numbers that are only a least number ("4+").
	AtLeast map[string]bool
	// BankList is the bank of each cylinder in turn, where the case says so
	// with bank_of = [1, 2, 1, 2]; else nil. BankOf answers either way.
	BankList []int
}

// History is what the case says of the engine's life.
type History struct {
	Facts map[string]any
}

// Text is a fact that is a text or word; "" if not said.
func (e Engine) Text(name string) string {
	s, _ := e.Facts[name].(string)
	return s
}

// Int is a fact that is a whole number; 0 if not said.
func (e Engine) Int(name string) int {
	n, _ := e.Facts[name].(int)
	return n
}

// measured are the facts that are values with a unit, or plain numbers that a
// formula may use.
var measured = []struct {
	table, name string
	dimension   quantity.Dimension
}{
	{"engine", "bore", quantity.Length}, {"engine", "stroke", quantity.Length}, {"engine", "rod_length", quantity.Length},
	{"engine", "power", quantity.Power}, {"engine", "rated_speed", quantity.Rotation}, {"engine", "oil_capacity", quantity.Volume},
	{"engine", "displacement", quantity.Volume},
	{"engine", "compression_ratio", quantity.Dimension{}}, {"engine", "cylinders", quantity.Dimension{}}, {"engine", "mains", quantity.Dimension{}},
	{"history", "hours", quantity.Dimension{}}, {"history", "km", quantity.Dimension{}},
	{"history", "hours_since_service", quantity.Dimension{}}, {"history", "km_since_service", quantity.Dimension{}}, {"history", "hours_since_rebuild", quantity.Dimension{}},
}

// FactDimension is the dimension of a fact that a formula may use; ok is false
// where there is no such fact.
func FactDimension(table, name string) (d quantity.Dimension, ok bool) {
	for _, m := range measured {
		if m.table == table && m.name == name {
			return m.dimension, true
		}
	}
	return quantity.Dimension{}, false
}

// MeasuredFacts lists the facts that a formula may use, as "engine.bore".
func MeasuredFacts() []string {
	var out []string
	for _, m := range measured {
		out = append(out, m.table+"."+m.name)
	}
	slices.Sort(out)
	return out
}

// FactSI is a fact in SI units, as a formula uses it; ok is false where the case
// does not say it, or in a way that cannot be read.
func (c *Case) FactSI(table, name string) (si float64, ok bool) {
	facts := c.Engine.Facts
	if table == "history" {
		facts = c.History.Facts
	} else if c.Engine.AtLeast[name] {
		return 0, false
	}
	switch x := facts[name].(type) {
	case int:
		return float64(x), true
	case float64:
		return x, true
	case string:
		d, known := FactDimension(table, name)
		v, err := quantity.Parse(x)
		if !known || err != nil || v.Unit.Dimension != d {
			return 0, false
		}
		return v.SI(), true
	}
	return 0, false
}
