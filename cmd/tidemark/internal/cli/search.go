package cli

import (
	"slices"
	"strings"
	"unicode"
)

// search is what a person typed to find something, as words that must be there.
type search struct{ words []string }

// small words are dropped from what is searched for: nobody means them.
var small = []string{"in", "of", "the", "a", "an", "on", "with", "to", "and", "at"}

// newSearch splits what was typed into words, quoted or not.
func newSearch(args []string) search {
	kept := slices.DeleteFunc(words(strings.Join(args, " ")), func(w string) bool { return slices.Contains(small, w) })
	slices.Sort(kept)
	return search{slices.Compact(kept)}
}

// words are the runs of letters and digits of a text, in small letters.
func words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// hits counts the words that begin a word of the texts.
func (s search) hits(texts ...string) int {
	there := words(strings.Join(texts, " "))
	n := 0
	for _, w := range s.words {
		if slices.ContainsFunc(there, func(t string) bool { return begins(t, w) }) {
			n++
		}
	}
	return n
}

// begins tells whether a word of the book is what was typed, begins with it, or
// differs in the ending alone: rust finds rusted and not thrust, fretting finds
// fretted. The O of an O-ring begins nothing else.
func begins(word, typed string) bool {
	return len(typed) > 2 && strings.HasPrefix(word, typed) || stem(word) == stem(typed)
}

// stem takes a plain ending off a word: plural, past, -ing. Short words keep
// theirs, where it may be part of the word.
func stem(w string) string {
	cut := func(ending string, least int) bool {
		rest, ok := strings.CutSuffix(w, ending)
		if !ok || len(rest) < least {
			return false
		}
		w = rest
		return true
	}
	switch {
	case strings.HasSuffix(w, "ss"), strings.HasSuffix(w, "us"), strings.HasSuffix(w, "is"), strings.HasSuffix(w, "eed"):
	case cut("ies", 2):
		w += "y"
	case cut("sses", 2):
		w += "ss"
	case cut("s", 3):
	}
	switch {
	case strings.HasSuffix(w, "eed"):
	case cut("ing", 4), cut("ed", 3):
	}
	if n := len(w); n > 3 && w[n-1] == w[n-2] {
		w = w[:n-1] // fretted, spalled
	}
	cut("e", 3)
	return w
}

// texts are what is searched of a thing: what it is called, and what else is
// written of it.
type texts struct{ names, more []string }

// found sorts what a search found in a list: those called by all the words; where
// there are none, those of which all the words are written; where there are none of
// these either, those with the most, and how many words that is.
func found[T any](s search, list []T, of func(T) texts) (out []T, most int) {
	for _, x := range list {
		if s.hits(of(x).names...) == len(s.words) {
			out = append(out, x)
		}
	}
	if len(out) > 0 {
		return out, len(s.words)
	}
	for _, x := range list {
		t := of(x)
		switch n := s.hits(slices.Concat(t.names, t.more)...); {
		case n > most:
			out, most = []T{x}, n
		case n == most && n > 0:
			out = append(out, x)
		}
	}
	return out, most
}
