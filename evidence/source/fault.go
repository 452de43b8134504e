// Package source reads TOML in such a way that every fault of a file can be
// told at once, each with its place.
//
// A Table is read key by key; whatever does not fit is noted in a Faults bag
// and reading goes on, so that a person who wrote a file by hand sees all that
// is wrong with it in one run.
package source

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Position is a place in a file. Line and Column count from 1, Column in
// characters. A zero Line means that only the file is known.
type Position struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
}

func (p Position) String() string {
	if p.Line == 0 {
		return p.File
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Fault is one thing wrong at one place. A Warning does not make the file
// unusable.
type Fault struct {
	Position
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"` // what was probably meant
	Warning bool   `json:"warning,omitempty"`
}

func (f Fault) String() string {
	s := f.Position.String() + ": "
	if f.Warning {
		s += "warning: "
	}
	s += f.Message
	if f.Hint != "" {
		s += " (" + f.Hint + ")"
	}
	return s
}

// Faults collects faults. The zero value is ready. As an error it prints one
// fault a line, in file order.
type Faults struct {
	list []Fault
}

// Add notes a fault.
func (fs *Faults) Add(pos Position, hint, format string, args ...any) {
	fs.list = append(fs.list, Fault{Position: pos, Message: fmt.Sprintf(format, args...), Hint: hint})
}

// Warn notes something that is worth a look but does no harm.
func (fs *Faults) Warn(pos Position, hint, format string, args ...any) {
	fs.list = append(fs.list, Fault{Position: pos, Message: fmt.Sprintf(format, args...), Hint: hint, Warning: true})
}

// Join adds what another bag holds.
func (fs *Faults) Join(other *Faults) {
	fs.list = append(fs.list, other.list...)
}

// List returns the faults and warnings sorted by file, line and column,
// each once.
func (fs *Faults) List() []Fault {
	out := slices.Clone(fs.list)
	slices.SortStableFunc(out, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Message, b.Message))
	})
	return slices.Compact(out)
}

// Errors counts what is not merely a warning.
func (fs *Faults) Errors() int {
	n := 0
	for _, f := range fs.List() {
		if !f.Warning {
			n++
		}
	}
	return n
}

// Err is nil if there is nothing but warnings, else the whole bag.
func (fs *Faults) Err() error {
	if fs.Errors() == 0 {
		return nil
	}
	return fs
}

func (fs *Faults) Error() string {
	var lines []string
	for _, f := range fs.List() {
		lines = append(lines, f.String())
	}
	return strings.Join(lines, "\n")
}

// Suggest says "did you mean …?" for the nearest of the known words, or
// nothing when none is near.
func Suggest(word string, known []string) string {
	// Two slips in a short word, more in a long one; a swap of neighbours
	// counts as two.
	n := len([]rune(word))
	near := max(1, n/3)
	if n >= 4 {
		near = max(2, near)
	}
	best, bestAt := "", near+1
	for _, k := range known {
		if d := levenshtein.ComputeDistance(strings.ToLower(word), strings.ToLower(k)); d < bestAt || d == bestAt && best != "" && k < best {
			best, bestAt = k, d
		}
	}
	if best == "" {
		// A word left out of a long name is further away in letters than a
		// slip of the finger, yet just as likely.
		for _, k := range known {
			if len(word) >= 4 && (strings.Contains(k, word) || strings.Contains(word, k) && len(k) >= 4) && (best == "" || len(k) < len(best)) {
				best = k
			}
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf("did you mean %q?", best)
}
