// Package rules is the book: the parts of an engine, the signs that can be
// looked for on them, the causes and steps that produce those signs, and the
// rules that say how often one thing produces another. It loads packs of TOML,
// lays a shop's own packs over the embedded ones, and finds what is wrong with
// them, all faults in one run.
//
// A book says only what things produce. What follows from a case's findings is
// worked out elsewhere.
package rules
