package engine

import (
	"math"
	"strings"

	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/rules"
)

// ReadingOut is a quantity at a position, read or worked out, against its limit.
// Numbers are in the unit named; a number that is not known is null.
type ReadingOut struct {
	Of          string   `json:"of"`
	Name        string   `json:"name"`
	At          string   `json:"at"`
	Readings    []string `json:"readings"` // ids
	Derived     bool     `json:"derived"`
	Value       *float64 `json:"value"`
	Code        string   `json:"code,omitempty"`
	Uncertainty *float64 `json:"uncertainty"` // standard
	Unit        string   `json:"unit"`
	Shown       string   `json:"shown"`
	Lower       *float64 `json:"lower"`
	Upper       *float64 `json:"upper"`
	LimitFrom   string   `json:"limit_from,omitempty"`
	LimitFor    string   `json:"limit_for,omitempty"`
	RuleOfThumb bool     `json:"rule_of_thumb"`
	Margin      *float64 `json:"margin"` // inside its nearest limit; negative beyond
	Sigmas      *float64 `json:"margin_in_uncertainties"`
	Beyond      *float64 `json:"beyond"` // probability that it lies beyond a limit
	Missing     []string `json:"missing,omitempty"`
	Notes       []string `json:"notes,omitempty"`
	// Signs are what it amounts to.
	Signs       []SignOut            `json:"signs,omitempty"`
	Disposition *measure.Disposition `json:"disposition"`
}

// SignOut is a sign that readings were held against.
type SignOut struct {
	Sign    string  `json:"sign"`
	Name    string  `json:"name"`
	At      string  `json:"at"`
	Finding string  `json:"finding,omitempty"` // its id among the findings; "" where another tells the same
	SameAs  string  `json:"same_as,omitempty"`
	Beyond  float64 `json:"beyond"`
	Note    string  `json:"note"`
}

// LeftOut is a reading that comes to nothing.
type LeftOut struct {
	Reading string `json:"reading"`
	Why     string `json:"why"`
}

// readings tells what was measured.
func (w *work) readings() {
	w.d.Readings, w.d.ReadingsLeft = Readings(w.book, w.c, w.table)
	thumb := map[string]bool{}
	var names []string
	for _, v := range w.table.Values {
		if v.Known && v.Limit.RuleOfThumb && !thumb[v.Quantity.ID] {
			thumb[v.Quantity.ID] = true
			names = append(names, v.Quantity.Title())
		}
	}
	if len(names) > 0 {
		w.d.Assumed = append(w.d.Assumed, Assumed{and(names) + " held against a rule of thumb, for no maker's value is given", "[limit.…] in the case, or a file of limits, gives the maker's"})
	}
	for _, l := range w.table.Left {
		w.d.Assumed = append(w.d.Assumed, Assumed{l.Reading + " is kept and not weighed", l.Why})
	}
}

// Readings shapes a table for output. Lists are as in measure.Table.
func Readings(book *rules.Book, c *evidence.Case, t *measure.Table) ([]ReadingOut, []LeftOut) {
	out := []ReadingOut{}
	for _, v := range t.Values {
		u, _ := v.Quantity.Shown(v.Inches)
		r := ReadingOut{Of: v.Quantity.ID, Name: v.Quantity.Title(), At: v.At, Readings: v.Readings, Derived: v.Derived, Unit: u.Symbol, Shown: v.Shown(),
			LimitFrom: v.Limit.From, LimitFor: v.Limit.For, RuleOfThumb: v.Limit.RuleOfThumb, Missing: v.Missing, Notes: v.Notes}
		if v.Code != nil {
			r.Code = v.Shown()
		}
		if v.Known && v.Code == nil {
			r.Value, r.Uncertainty = some(u.Number(v.SI)), some(u.NumberOfDifference(v.Doubt.Standard()))
			if b := v.Limit.Lower; b != nil {
				r.Lower = some(u.Number(b.SI))
			}
			if b := v.Limit.Upper; b != nil {
				r.Upper = some(u.Number(b.SI))
			}
			if si, sigmas, ok := v.Margin(); ok {
				r.Margin, r.Sigmas = some(u.NumberOfDifference(si)), some(sigmas)
				r.Beyond = some(v.Beyond())
			}
			r.Disposition = measure.Dispose(v)
		}
		for _, s := range t.Tests {
			if s.At == v.At && s.Sign.Test != nil && s.Sign.Test.Of == v.Quantity {
				r.Signs = append(r.Signs, signOut(s))
			}
		}
		out = append(out, r)
	}
	left := []LeftOut{}
	for _, l := range t.Left {
		left = append(left, LeftOut(l))
	}
	return out, left
}

// Comparisons are the signs that hold readings against each other rather than
// against a limit.
func Comparisons(t *measure.Table) []SignOut {
	var out []SignOut
	for _, s := range t.Tests {
		if s.Sign.Test == nil || s.Sign.Test.Of == nil {
			out = append(out, signOut(s))
		}
	}
	return out
}

func signOut(s measure.Result) SignOut {
	id := s.ID
	if s.SameAs != "" {
		id = ""
	}
	return SignOut{Sign: s.Sign.ID, Name: s.Sign.Title(), At: s.At, Finding: id, SameAs: s.SameAs, Beyond: s.Beyond, Note: strings.TrimSpace(s.Note)}
}

// some is a number for output; infinite ones are none.
func some(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}
