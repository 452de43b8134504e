// Package evidence holds a case: one engine under investigation, with what
// was found, measured, done and told. It loads and checks case files, knows
// the positions that an engine has, and adds entries to a file without
// disturbing what a person wrote there.
//
// It knows nothing of the book of rules: that a sign exists, or that a part
// has such a place, is checked where book and case meet.
package evidence
