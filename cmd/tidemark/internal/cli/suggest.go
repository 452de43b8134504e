package cli

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/agnivade/levenshtein"

	"tidemark/evidence/source"
	"tidemark/rules"
)

// suggested is what a hint says was probably meant.
var suggested = regexp.MustCompile(`^did you mean ("(?:[^"\\]|\\.)*")\?$`)

// sensible keeps a hint only where what it suggests is near to what was typed: a slip of
// the finger or two away, or called by the same words. A far-off word leads astray; of
// that "" is better. names are what else the thing suggested is called.
func sensible(typed, hint string, names func(id string) []string) string {
	m := suggested.FindStringSubmatch(hint)
	if m == nil {
		return hint
	}
	meant, err := strconv.Unquote(m[1])
	if err != nil {
		return hint
	}
	if slips(typed, meant) <= forgiven(typed) {
		return hint
	}
	called := []string{meant}
	if names != nil {
		called = append(called, names(meant)...)
	}
	// Each word typed is one of its names', or a slip of one; or each of its own was typed.
	there := words(strings.Join(called, " "))
	s := newSearch([]string{typed})
	if len(s.words) > 0 && !slices.ContainsFunc(s.words, func(w string) bool {
		return !slices.ContainsFunc(there, func(t string) bool { return begins(t, w) || slips(w, t) <= forgiven(w) })
	}) {
		return hint
	}
	if own := newSearch([]string{meant}); own.hits(typed) == len(own.words) {
		return hint
	}
	return ""
}

// forgiven is how many slips are taken for such, by the length of a word.
func forgiven(typed string) int {
	switch n := len([]rune(typed)); {
	case n < 6:
		return 1
	case n < 15:
		return 2
	}
	return 3
}

// slips is how many letters are wrong, missing, too many, or have changed places.
func slips(a, b string) int {
	a, b = strings.ToLower(a), strings.ToLower(b)
	d := levenshtein.ComputeDistance(a, b)
	x, y := []rune(a), []rune(b)
	if d != 2 || len(x) != len(y) {
		return d
	}
	for i := range x[1:] {
		z := slices.Clone(x)
		z[i], z[i+1] = z[i+1], z[i]
		if slices.Equal(z, y) {
			return 1
		}
	}
	return d
}

// nearest is the one of some words that was probably meant, if any is near.
func nearest(typed string, known []string) string {
	return sensible(typed, source.Suggest(typed, known), nil)
}

// slip is the one of some words of which another is a slip of the finger or two.
func slip(typed string, known []string) string {
	hint := source.Suggest(typed, known)
	if m := suggested.FindStringSubmatch(hint); m != nil {
		if meant, err := strconv.Unquote(m[1]); err == nil && slips(typed, meant) <= forgiven(typed) {
			return hint
		}
	}
	return ""
}

// noPart tells that there is no part of an id, and how to find it.
func noPart(b *rules.Book, id string) string {
	hint := sensible(id, b.SuggestPart(id), func(meant string) []string {
		if p := b.Part(meant); p != nil {
			return append([]string{p.Name}, p.Also...)
		}
		return nil
	})
	if hint == "" {
		hint = "tidemark signs WORDS lists what it finds by part"
	}
	return hinted("there is no part "+strconv.Quote(id), hint)
}
