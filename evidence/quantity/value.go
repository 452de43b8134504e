package quantity

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Value is a number with its unit, as it was written. The zero Value says that
// nothing was written.
type Value struct {
	Text   string // as written
	Number float64
	Unit   Unit
	// Step is what one in the last digit written is worth, in the unit; for a
	// fraction, one of its parts, and at most a sixteenth: 1/2 in is not read to half
	// inches. It tells how finely the value was read.
	Step float64
}

// Said tells whether there is a value.
func (v Value) Said() bool { return v.Text != "" }

// SI is the value in SI units.
func (v Value) SI() float64 { return v.Unit.SI(v.Number) }

// DifferenceSI is the value in SI units where it is a difference (see
// Unit.Difference).
func (v Value) DifferenceSI() float64 { return v.Unit.Difference(v.Number) }

// ErrValue tells why a text is no value, and what was probably meant.
type ErrValue struct {
	Message string
	Hint    string
}

func (e ErrValue) Error() string { return e.Message }

var (
	decimal  = `[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?`
	fraction = `[+-]?(?:[0-9]+[ -])?[0-9]+/[0-9]+`
	bareRE   = regexp.MustCompile(`^(?:` + fraction + `|` + decimal + `)$`)
	valueRE  = regexp.MustCompile(`^(` + fraction + `|` + decimal + `)(?:\s*([^\s0-9.,+-].*))?$`)
	// A unit may begin with a figure ("1/min"), after a space.
	oddUnitRE = regexp.MustCompile(`^(` + decimal + `)\s+(1/[^\s0-9].*)$`)
	commaRE   = regexp.MustCompile(`^([+-]?[0-9.]*,[0-9][0-9.,]*)(.*)$`)
	// thousandsRE is a number of which the figures stand in groups of three.
	thousandsRE = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?$`)
)

// Parse reads a value with its unit: "59.94 mm", "1 1/2 in", ".0015 in". The
// error is an ErrValue.
func Parse(text string) (Value, error) { return ParseProposing(text, "mm") }

// ParseProposing proposes a unit where there is none.
func ParseProposing(text, propose string) (Value, error) {
	s := strings.TrimSpace(text)
	s = strings.ReplaceAll(s, "−", "-") // the typographic minus
	if s == "" {
		return Value{}, ErrValue{`"": is empty`, `as in "59.94 mm"`}
	}
	if m := commaRE.FindStringSubmatch(s); m != nil {
		return Value{}, commaFault(s, m[1], m[2])
	}
	m := oddUnitRE.FindStringSubmatch(s)
	if m == nil {
		m = valueRE.FindStringSubmatch(s)
	}
	if m == nil {
		return Value{}, ErrValue{fmt.Sprintf("%q: must be a number with its unit", text), `as in "59.94 mm"`}
	}
	v := Value{Text: s}
	if strings.Contains(m[1], "/") {
		x, parts, err := ratio(m[1])
		if err != nil {
			return Value{}, err
		}
		v.Number, v.Step = x, 1/max(16, parts)
	} else {
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil || math.IsInf(x, 0) {
			return Value{}, ErrValue{fmt.Sprintf("%q: is no number that can be held", m[1]), ""}
		}
		v.Number, v.Step = x, step(m[1])
	}
	if strings.TrimSpace(m[2]) == "" {
		return Value{}, ErrValue{fmt.Sprintf("%q: the unit is missing", text), fmt.Sprintf("did you mean %q?", s+" "+propose)}
	}
	u, err := ParseUnit(m[2])
	if unknown, is := err.(ErrUnit); is {
		return Value{}, ErrValue{fmt.Sprintf("%q: %v", text, unknown), unknown.Hint}
	}
	v.Unit = u
	if !finite(v.SI()) || !finite(u.Difference(v.Step)) || v.Step == 0 {
		return Value{}, ErrValue{fmt.Sprintf("%q: is no number that can be held", text), ""}
	}
	if u.Dimension == temperature && v.SI() < 0 {
		return Value{}, ErrValue{fmt.Sprintf("%q: lies below absolute zero", text), ""}
	}
	return v, nil
}

// parseIn reads a value that takes the unit of another where it has none.
func parseIn(text string, u Unit) (Value, error) {
	if bareRE.MatchString(text) {
		text += " " + u.Symbol
	}
	return Parse(text)
}

// commaFault tells a decimal comma from figures in groups of three: "59,94 mm" from
// "1,234 rpm" and "1,234.5 rpm", and "1.234,5 mm" from both.
func commaFault(s, figures, rest string) ErrValue {
	var meant []string
	if strings.Count(figures, ",") == 1 && strings.LastIndex(figures, ".") < strings.Index(figures, ",") {
		decimal := strings.ReplaceAll(strings.ReplaceAll(figures, ".", ""), ",", ".")
		if decimal[0] == '.' {
			decimal = "0" + decimal
		}
		meant = append(meant, fmt.Sprintf("%q", decimal+rest))
	}
	if thousandsRE.MatchString(figures) {
		meant = append(meant, fmt.Sprintf("%q", strings.ReplaceAll(figures, ",", "")+rest))
	}
	hint := `as in "59.94 mm"`
	if len(meant) > 0 {
		hint = "did you mean " + strings.Join(meant, ", or ") + "?"
	}
	return ErrValue{fmt.Sprintf("%q: decimals are written with a point, and thousands without a sign", s), hint}
}

// ratio reads "1 1/2", "3/8", and says into how many parts the one is divided.
func ratio(s string) (x, parts float64, err error) {
	sign := 1.0
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = -1, rest
	}
	s = strings.TrimPrefix(s, "+")
	whole := 0.0
	if w, rest, ok := strings.Cut(strings.Replace(s, "-", " ", 1), " "); ok {
		x, err := strconv.ParseFloat(w, 64)
		if err != nil {
			return 0, 0, ErrValue{fmt.Sprintf("%q: is no number", s), ""}
		}
		whole, s = x, rest
	}
	top, bottom, _ := strings.Cut(s, "/")
	n, err1 := strconv.ParseFloat(top, 64)
	d, err2 := strconv.ParseFloat(bottom, 64)
	if err1 != nil || err2 != nil {
		return 0, 0, ErrValue{fmt.Sprintf("%q: is no number", s), ""}
	}
	if d == 0 {
		return 0, 0, ErrValue{fmt.Sprintf("%q: divides by zero", s), ""}
	}
	return sign * (whole + n/d), d, nil
}

// step is the worth of the last digit of a decimal number.
func step(s string) float64 {
	mantissa, exponent := s, 0
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		mantissa = s[:i]
		exponent, _ = strconv.Atoi(s[i+1:])
	}
	if i := strings.IndexByte(mantissa, '.'); i >= 0 {
		exponent -= len(mantissa) - i - 1
	}
	return math.Pow(10, float64(exponent))
}

// ParseReading reads a value as it may be written with what it is uncertain by in one
// text: "59.94 ± 0.01 mm".
func ParseReading(text string) (v, uncertainty Value, err error) {
	before, after, has := strings.Cut(strings.ReplaceAll(text, "+/-", "±"), "±")
	if !has || strings.TrimSpace(before) == "" {
		v, err = Parse(text)
		return v, Value{}, err
	}
	uncertainty, err = Parse(strings.TrimSpace(after))
	if err != nil {
		return Value{}, Value{}, err
	}
	v, err = parseIn(strings.TrimSpace(before), uncertainty.Unit)
	if err != nil {
		return Value{}, Value{}, err
	}
	v.Text = strings.TrimSpace(text)
	return v, uncertainty, nil
}

// Limit is what a value is held against. One of Min and Max may not be said; a
// limit written bare ("0.40 mm") is neither yet, and stands in Bare.
type Limit struct {
	Text           string
	Min, Max, Bare Value
}

// Said tells whether there is a limit.
func (l Limit) Said() bool { return l.Text != "" }

var (
	sideRE = regexp.MustCompile(`^(?i:(max(?:imum)?\.?|min(?:imum)?\.?|at most|at least|up to|not over|not under|<=|>=|<|>|≤|≥))\s*(.*)$`)
	// rangeRE is two numbers, each with its unit or not. A hyphen between them could
	// be a minus, or belong to a fraction (1-1/2), and is asked about.
	rangeRE  = regexp.MustCompile(`^([+-]?\.?[0-9].*?)(?:\s+to\s+|\s*(?:\.\.\.?|…|–|—)\s*)([+-]?\.?[0-9].*)$`)
	hyphenRE = regexp.MustCompile(`^(\.?[0-9][^-]*?)\s*-\s*(\.?[0-9].*)$`)
)

// leastWords are the words of sideRE that say what a value must not fall below.
var leastWords = []string{"min", "minimum", "at least", "not under", ">=", ">", "≥"}

// ParseLimit reads "max 0.10 mm", "min 59.90 mm", "59.90 to 59.95 mm" or a bare
// "0.40 mm".
func ParseLimit(text string) (Limit, error) {
	s := strings.TrimSpace(strings.ReplaceAll(text, "−", "-"))
	l := Limit{Text: s}
	if m := sideRE.FindStringSubmatch(s); m != nil {
		v, err := Parse(m[2])
		if err != nil {
			return Limit{}, err
		}
		if slices.Contains(leastWords, strings.TrimSuffix(strings.ToLower(m[1]), ".")) {
			l.Min = v
		} else {
			l.Max = v
		}
		return l, nil
	}
	if m := rangeRE.FindStringSubmatch(s); m != nil {
		high, err := Parse(m[2])
		if err != nil {
			return Limit{}, err
		}
		low, err := parseIn(m[1], high.Unit)
		if err != nil {
			return Limit{}, err
		}
		if low.Unit.Dimension != high.Unit.Dimension {
			return Limit{}, ErrValue{fmt.Sprintf("%q: runs from %v to %v", text, low.Unit.Dimension, high.Unit.Dimension), ""}
		}
		if low.SI() > high.SI() {
			return Limit{}, ErrValue{fmt.Sprintf("%q: the least is more than the most", text), fmt.Sprintf("did you mean \"%s to %s\"?", high.Text, low.Text)}
		}
		l.Min, l.Max = low, high
		return l, nil
	}
	v, err := Parse(s)
	if fault, is := err.(ErrValue); is {
		if m := hyphenRE.FindStringSubmatch(s); m != nil {
			if _, err := ParseLimit(m[1] + " to " + m[2]); err == nil {
				fault.Hint = fmt.Sprintf("did you mean %q?", m[1]+" to "+m[2])
			}
		}
		return Limit{}, fault
	}
	l.Bare = v
	return l, nil
}

// Code is a cleanliness code of ISO 4406:2021: the scale numbers for particles
// of at least 4, 6 and 14 µm(c) in a millilitre.
type Code [3]int

var codeRE = regexp.MustCompile(`^(?:ISO\s*)?(?:>=?|≥)?([0-9]{1,2})\s*/\s*(?:>=?|≥)?([0-9]{1,2})\s*/\s*(?:>=?|≥)?([0-9]{1,2})$`)

// ParseCode reads "19/16/13". Particles of at least 6 µm are among those of at
// least 4, so the numbers can never rise from left to right.
func ParseCode(text string) (Code, error) {
	m := codeRE.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return Code{}, ErrValue{fmt.Sprintf("%q: must be a cleanliness code of three numbers", text), `as in "19/16/13"`}
	}
	var c Code
	for i := range c {
		c[i], _ = strconv.Atoi(m[i+1])
		if c[i] > 28 {
			return Code{}, ErrValue{fmt.Sprintf("%q: scale numbers end at 28", text), ""}
		}
	}
	if c[0] < c[1] || c[1] < c[2] {
		return Code{}, ErrValue{fmt.Sprintf("%q: the numbers of a cleanliness code never rise from left to right, since larger particles are counted among the smaller", text), fmt.Sprintf("did you mean \"%d/%d/%d\"?", max(c[0], c[1], c[2]), c[0]+c[1]+c[2]-max(c[0], c[1], c[2])-min(c[0], c[1], c[2]), min(c[0], c[1], c[2]))}
	}
	return c, nil
}

// Particles is how many particles a millilitre has by a scale number: more than
// over, and up to upTo (ISO 4406:2021, table 1, whose bounds double and are
// rounded).
func Particles(scale int) (over, upTo float64) {
	at := func(n int) float64 {
		// The table: 0.01 for scale 0 at its upper bound, doubling, with rounded
		// figures that come back to 1 · 10^k at every tenth step but one.
		table := []float64{0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.5, 5, 10, 20, 40, 80, 160, 320, 640, 1300, 2500, 5000, 10000, 20000, 40000, 80000, 160000, 320000, 640000, 1300000, 2500000}
		if n < 0 {
			return 0
		}
		return table[min(n, len(table)-1)]
	}
	return at(scale - 1), at(scale)
}
