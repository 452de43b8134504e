package quantity

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Doubt is how uncertain one reading is, in SI units.
type Doubt struct {
	// Repeat is the standard uncertainty of the reading by itself, and Bias that
	// which it shares with all other readings of the same instrument.
	Repeat, Bias float64
	// Half is the half width within which the value lies where nothing more is
	// known of it (a feeler gauge that goes, and the next that does not): a
	// rectangular distribution, of standard uncertainty Half/√3 (GUM 4.3.7).
	Half float64
}

// Standard is the combined standard uncertainty.
func (d Doubt) Standard() float64 {
	return math.Sqrt(d.Repeat*d.Repeat + d.Bias*d.Bias + d.Half*d.Half/3)
}

var (
	percentRE = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)\s*%$`)
	factorRE  = regexp.MustCompile(`^k\s*=\s*([0-9]+(?:\.[0-9]+)?)$`)
)

// Coverages are the words that say what an uncertainty covers.
var Coverages = []string{"standard", "95 %", "99 %", "k=2", "limits"}

// FromStated turns a stated uncertainty into a Doubt. stated is a difference in
// SI units, and coverage says what it covers: "standard" (one standard
// uncertainty), "95 %" or another share, "k=2" or another factor, or "limits"
// (the value surely lies within, no more is known). Nothing stands for "95 %", as
// is usual in certificates of calibration (GUM 7.2.3 asks that it be said).
func FromStated(stated float64, coverage string) (Doubt, error) {
	coverage = strings.ToLower(strings.TrimSpace(coverage))
	switch coverage {
	case "standard", "1 sigma", "k=1":
		return Doubt{Repeat: stated}, nil
	case "", "expanded":
		return Doubt{Repeat: stated / normalQuantile(0.975)}, nil
	case "limits", "resolution", "100 %", "100%":
		return Doubt{Half: stated}, nil
	}
	if m := percentRE.FindStringSubmatch(coverage); m != nil {
		p, err := strconv.ParseFloat(m[1], 64)
		if err == nil && p >= 1 && p < 100 {
			return Doubt{Repeat: stated / normalQuantile(0.5+p/200)}, nil
		}
	}
	if m := factorRE.FindStringSubmatch(coverage); m != nil {
		k, err := strconv.ParseFloat(m[1], 64)
		if err == nil && k > 0 {
			return Doubt{Repeat: stated / k}, nil
		}
	}
	return Doubt{}, ErrValue{fmt.Sprintf("%q: does not say what the uncertainty covers", coverage), "write one of: " + strings.Join(Coverages, ", ")}
}

// normalQuantile is the value below which the standard normal distribution has
// probability p.
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// Normal is the probability that a standard normal variable is at most z.
func Normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// Above is the probability that a quantity of which the best estimate is y, with
// doubt d, lies above limit (JCGM 106:2012, 7.3, with the normal distribution;
// where all the doubt is rectangular, with that). Without any doubt it is 0 or
// 1, and one half at the limit itself.
func Above(y, limit float64, d Doubt) float64 {
	distance := y - limit
	if d.Repeat == 0 && d.Bias == 0 {
		if d.Half == 0 {
			switch {
			case distance > 0:
				return 1
			case distance < 0:
				return 0
			}
			return 0.5
		}
		return min(1, max(0, 0.5+distance/(2*d.Half)))
	}
	return Normal(distance / d.Standard())
}

// Within is the probability that the quantity lies from low to high (JCGM
// 106:2012, 7.4). An infinite bound is none.
func Within(y, low, high float64, d Doubt) float64 {
	p := 1.0
	if !math.IsInf(high, 1) {
		p -= Above(y, high, d)
	}
	if !math.IsInf(low, -1) {
		p -= 1 - Above(y, low, d)
	}
	return max(0, p)
}

// Input is a reading that a derived value is worked out from.
type Input struct {
	Value float64
	Doubt Doubt
	// Instrument names what its Bias is shared by: the biases of inputs of the
	// same name move together. Those of "" move alone.
	Instrument string
}

// Combined is a derived value with its doubt.
type Combined struct {
	Value float64
	Doubt Doubt
	// Change is by how much the value moves when each input moves by its
	// standard uncertainty (GUM 5.1.3: c·u).
	Change []float64
}

// Combine works out f of the inputs and its uncertainty (GUM 5.1 and 5.2), with
// the derivatives taken numerically (GUM 5.1.3, note 2). Where f bends at the value,
// as |a − b| does where two readings are equal, what it moves to one side whichever
// way an input moves counts too: it is the second order, which GUM 5.1.2, note,
// wants where it is not small. ok is false where f has no finite value there or in
// the neighbourhood.
func Combine(f func([]float64) float64, in []Input) (out Combined, ok bool) {
	x := make([]float64, len(in))
	for i := range in {
		x[i] = in[i].Value
	}
	out.Value = f(x)
	if !finite(out.Value) {
		return Combined{}, false
	}
	// move is by how much f moves when all inputs move by step: one way up and the
	// other down, and to one side whichever way.
	move := func(step func(i int) float64) (straight, bent float64) {
		for i := range x {
			x[i] = in[i].Value + step(i)
		}
		high := f(x)
		for i := range x {
			x[i] = in[i].Value - step(i)
		}
		low := f(x)
		return (high - low) / 2, (high+low)/2 - out.Value
	}
	alone := func(i int, by float64) (straight, bent float64) {
		return move(func(j int) float64 {
			if j == i {
				return by
			}
			return 0
		})
	}
	out.Change = make([]float64, len(in))
	repeat, bias, halves, last := 0.0, 0.0, 0, 0.0
	var tools []string
	for i := range in {
		d := in[i].Doubt
		own := Doubt{Repeat: d.Repeat, Half: d.Half}.Standard()
		if own > 0 {
			straight, bent := alone(i, own)
			repeat += straight*straight + bent*bent
			if own >= d.Bias {
				out.Change[i] = straight / own * d.Standard()
			}
			if d.Half > 0 && straight != 0 {
				halves++
				last = math.Abs(straight) / own * d.Half
			}
		}
		if d.Bias == 0 {
			continue
		}
		straight, bent := alone(i, d.Bias)
		if d.Bias > own {
			out.Change[i] = straight / d.Bias * d.Standard()
		}
		switch tool := in[i].Instrument; {
		case tool == "":
			bias += straight*straight + bent*bent
		case !slices.Contains(tools, tool):
			tools = append(tools, tool)
		}
	}
	for _, tool := range tools {
		straight, bent := move(func(i int) float64 {
			if in[i].Instrument == tool {
				return in[i].Doubt.Bias
			}
			return 0
		})
		bias += straight*straight + bent*bent
	}
	if !finite(repeat) || !finite(bias) {
		return Combined{}, false
	}
	out.Doubt = Doubt{Repeat: math.Sqrt(repeat), Bias: math.Sqrt(bias)}
	if halves == 1 && bias == 0 && math.Abs(repeat-last*last/3) <= 1e-12*repeat {
		// One rectangular input is all the doubt there is: it stays rectangular.
		out.Doubt = Doubt{Half: last}
	}
	return out, true
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
