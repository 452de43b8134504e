package measure

import (
	"fmt"
	"math"

	"tidemark/rules"
)

// Disposition is what is to be done with a part, by what was measured of it.
type Disposition struct {
	// What is serviceable, machine, replace, or measure again where the reading
	// lies too near its limit to tell.
	What string `json:"what"`
	// Words say it whole, with the margin or the step to which it is machined.
	Words string `json:"words"`
	// AfterCrackCheck tells that the trade requires crack detection before reuse.
	AfterCrackCheck bool `json:"after_crack_check"`
	RuleOfThumb     bool `json:"rule_of_thumb"`
}

// The kinds of disposition.
const (
	Serviceable  = "serviceable"
	Machine      = "machine"
	Replace      = "replace"
	MeasureAgain = "measure again"
)

// Clear is how probable it must be that a value lies on one side of its limit for
// the part to be disposed of: 95 in 100, the default of ISO 14253-1:2017.
const Clear = 0.95

// Beyond is the probability that a value lies beyond a limit, to either side.
func (v Value) Beyond() float64 {
	p := 0.0
	for _, x := range []float64{v.Below, v.Above} {
		if !math.IsNaN(x) {
			p += x
		}
	}
	return min(1, p)
}

// Dispose says what is to be done with a measured part; nil where there is no limit
// to judge it by, or where it was worked out and is not of one part.
func Dispose(v Value) *Disposition {
	margin, _, ok := v.Margin()
	if !ok || v.Derived || !decides(v.Quantity) {
		return nil
	}
	u, digits := v.Quantity.Shown(v.Inches)
	d := &Disposition{AfterCrackCheck: v.Quantity.CrackCheck, RuleOfThumb: v.Limit.RuleOfThumb}
	p := v.Beyond()
	switch {
	case p <= 1-Clear:
		d.What = Serviceable
		d.Words = fmt.Sprintf("serviceable, %s inside", u.ShowDifference(margin, digits))
	case p < Clear:
		d.What = MeasureAgain
		d.Words = fmt.Sprintf("too near its limit to tell (beyond it: %.0f in 100): measure again, more finely", 100*p)
	default:
		d.What, d.Words = rework(v)
	}
	if d.AfterCrackCheck && (d.What == Serviceable || d.What == Machine) {
		d.Words += ", after crack detection"
	}
	if d.RuleOfThumb {
		d.Words += " (" + RuleOfThumb + ")"
	}
	return d
}

// decides tells whether what was measured decides what is to be done with the part
// itself: a size of it does, a pressure or a play in which others share does not.
func decides(q *rules.Quantity) bool {
	return q.Kind == rules.SizeKind || q.Rework != "" || q.CrackCheck
}

// rework finds the next step to which a part can be machined. A journal is ground
// to the first undersize whose largest diameter is no more than what is left; a
// bore is bored to the first oversize whose smallest is no less than what it is
// worn to. Which size is standard the maker's new size says; without it only the
// steps can be named.
func rework(v Value) (what, words string) {
	q, l := v.Quantity, v.Limit
	u, digits := q.Shown(v.Inches)
	switch {
	case q.Rework == "":
		return Replace, "replace"
	case q.Rework == "skim":
		if len(l.Sizes) == 0 {
			return Machine, "skim, as far as the maker allows"
		}
		most := l.Sizes[len(l.Sizes)-1]
		if v.SI > most {
			return Replace, fmt.Sprintf("replace: it would take more than the %s that may come off", u.ShowDifference(most, digits))
		}
		return Machine, fmt.Sprintf("skim (up to %s may come off)", u.ShowDifference(most, digits))
	}
	under, verb := q.Rework == "undersize", "bore to"
	if under {
		verb = "grind to"
	}
	switch {
	case under && v.Above >= Clear, !under && v.Below >= Clear:
		return Machine, verb + " its standard size" // there is more on it than there should be
	case len(l.Sizes) == 0:
		return Machine, "machine to the maker's next " + q.Rework
	}
	standard, known := l.New.Max, l.New.Max.Said()
	if !under {
		standard, known = l.New.Min, l.New.Min.Said()
	}
	if !known {
		return Machine, fmt.Sprintf("machine to the next %s that cleans up (%s; no new size is given to choose by)", q.Rework, u.ShowDifference(l.Sizes[0], digits))
	}
	for _, s := range l.Sizes {
		const nanometre = 1e-9 // for the last figures of sums
		if under && standard.SI()-s <= v.SI+nanometre || !under && standard.SI()+s >= v.SI-nanometre {
			return Machine, fmt.Sprintf("%s %s %s", verb, u.ShowDifference(s, digits), q.Rework)
		}
	}
	return Replace, fmt.Sprintf("replace: past the last %s of %s", q.Rework, u.ShowDifference(l.Sizes[len(l.Sizes)-1], digits))
}
