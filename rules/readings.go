package rules

import (
	"math"

	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

// Instrument is a kind of measuring tool, and how far it can be trusted.
type Instrument struct {
	ID     string
	Name   string
	Also   []string // what else people call it
	Repeat Amount   // standard uncertainty of one reading by itself
	Bias   Amount   // standard uncertainty that all readings of one such tool share
	// Resolution is the smallest division; half of it to either side nothing is
	// known of.
	Resolution Amount
	// Units, where any are given, are those in which it gives values.
	Units  []string
	Source string
	Pack   string
	Pos    source.Position
}

// Amount is a difference in SI units, or a share of the value it goes with.
type Amount struct {
	Value float64
	Share bool
	Unit  string // in which it was written; "" for a share
}

// Of is the amount that goes with a value.
func (a Amount) Of(value float64) float64 {
	if a.Share {
		return a.Value * math.Abs(value)
	}
	return a.Value
}

// Doubt is how uncertain one reading of a value in SI units is by the tool.
func (i *Instrument) Doubt(value float64) quantity.Doubt {
	return quantity.Doubt{Repeat: i.Repeat.Of(value), Bias: i.Bias.Of(value), Half: i.Resolution.Of(value) / 2}
}

// Reads tells whether the tool can give values of a dimension. One that is only
// known to err by shares of the value reads anything, unless it says in which units.
func (i *Instrument) Reads(d quantity.Dimension) bool {
	for _, text := range i.Units {
		if u, err := quantity.ParseUnit(text); err == nil && u.Dimension == d {
			return true
		}
	}
	if len(i.Units) > 0 {
		return false
	}
	for _, a := range []Amount{i.Repeat, i.Bias, i.Resolution} {
		if u, err := quantity.ParseUnit(a.Unit); err == nil && u.Dimension != d {
			return false
		}
	}
	return true
}

// QuantityKind tells which values a quantity can have.
type QuantityKind string

// A size is always above zero, an amount zero or more; a difference has either
// sign; a temperature has a zero of its own; a code is a cleanliness code.
const (
	SizeKind        QuantityKind = "size"
	AmountKind      QuantityKind = "amount"
	DifferenceKind  QuantityKind = "difference"
	TemperatureKind QuantityKind = "temperature"
	CodeKind        QuantityKind = "code"
)

// Quantity is what can be measured of a part, or worked out from what is.
type Quantity struct {
	ID         string // "part.quantity"
	Part       *Part
	Name       string
	Also       []string // what else people call it
	Unit       string   // symbol; "" for a code
	InchUnit   string   // for readers of inches, pounds and Fahrenheit
	Digits     int      // decimals shown in Unit
	Kind       QuantityKind
	Look       string
	Minutes    float64
	Caution    string
	Instrument *Instrument // taken where a reading does not name one
	// Least and Most bound what is to be expected at all, in SI units.
	Least, Most float64
	// Rework is how the part can be machined: undersize, oversize, skim; ""
	// where it is replaced. Sizes are the usual steps, in SI units, ascending.
	Rework     string
	Sizes      []float64
	CrackCheck bool
	Formula    *Formula // nil where it is only ever read
	Because    string
	Source     string
	Limits     []*TradeLimit
	Pack       string
	Pos        source.Position
}

// Title is "rod journal: diameter".
func (q *Quantity) Title() string { return q.Part.Name + ": " + q.Name }

// Dimension is that of its unit.
func (q *Quantity) Dimension() quantity.Dimension { return q.unit().Dimension }

func (q *Quantity) unit() quantity.Unit {
	u, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		return quantity.Unit{Symbol: q.Unit, Factor: 1} // a code
	}
	return u
}

// Shown is the unit and decimals for readers of either system.
func (q *Quantity) Shown(inches bool) (quantity.Unit, int) {
	u := q.unit()
	if !inches || q.InchUnit == "" {
		return u, q.Digits
	}
	in, err := quantity.ParseUnit(q.InchUnit)
	if err != nil {
		return u, q.Digits
	}
	// As many decimals as show a step of the other unit.
	extra := math.Ceil(math.Log10(in.Factor / u.Factor))
	return in, max(0, q.Digits+int(extra))
}

// TradeLimit is a limit of the trade at large, for engines of which the maker's is
// not known.
type TradeLimit struct {
	Min, Max *Formula // either may be nil
	Doubt    Amount   // standard uncertainty of the rule itself
	For      string   // new, service, release
	When     *Cond
	Source   string
	Pos      source.Position
}

// Test makes a sign of readings: Left is over, or under, Right.
type Test struct {
	Text        string
	Left, Right *Formula
	Above       bool
	// Of is the quantity whose own limit stands on the right; then Right is nil.
	Of *Quantity
	// Unit, InchUnit and Digits are in what both sides are shown.
	Unit, InchUnit string
	Digits         int
}

// Quantity looks up "part.quantity"; nil if the book has no such thing.
func (b *Book) Quantity(id string) *Quantity { return b.quantity[id] }

// SuggestQuantity says which quantity was probably meant.
func (b *Book) SuggestQuantity(id string) string {
	called := map[string]string{}
	for _, q := range b.Quantities {
		for _, p := range append([]string{q.Part.ID, q.Part.Name}, q.Part.Also...) {
			for _, w := range append([]string{q.Name}, q.Also...) {
				call(called, spoken(p)+" "+spoken(w), q.ID)
			}
		}
		for _, w := range q.Also {
			call(called, spoken(w), q.ID)
		}
	}
	return suggest(spoken(id), id, called, ids(b.Quantities, func(q *Quantity) string { return q.ID }))
}

// InstrumentNamed finds the kind of tool that a reading names: "micrometer",
// "micrometer 2", "outside micrometer M-07". The longest name wins; nil if there
// is none.
func (b *Book) InstrumentNamed(text string) *Instrument {
	said := spoken(text)
	var best *Instrument
	longest := 0
	for _, i := range b.Instruments {
		for _, w := range append([]string{i.ID, i.Name}, i.Also...) {
			w = spoken(w)
			if len(w) > longest && (said == w || len(said) > len(w) && said[:len(w)+1] == w+" ") {
				best, longest = i, len(w)
			}
		}
	}
	return best
}
