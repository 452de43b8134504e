package pdf

import (
	"slices"
	"unicode"
)

// visual puts the letters of one line into the order in which they stand on the
// page, from left to right, after joining Arabic letters. It follows the Unicode
// Bidirectional Algorithm (UAX 9) for a line without explicit marks: levels of
// letters, numbers and what stands between, then reversal (rule L2). The line
// runs from left to right unless its first letter does not.
func visual(s string) string {
	if !slices.ContainsFunc([]rune(s), rightToLeft) {
		return s
	}
	r := joined([]rune(s))
	level := levels(r)
	top := slices.Max(level)
	for n := top; n >= 1; n-- {
		for i := 0; i < len(r); {
			j := i
			for j < len(r) && level[j] >= n {
				j++
			}
			if j > i {
				slices.Reverse(r[i:j])
				slices.Reverse(level[i:j])
				i = j
				continue
			}
			i++
		}
	}
	return string(r)
}

func rightToLeft(r rune) bool {
	return unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko) && !unicode.IsDigit(r)
}

// levels gives each letter its level of embedding: even from left to right, odd
// from right to left. Brackets in text from right to left are turned round.
func levels(r []rune) []int {
	const (
		neutral = iota
		left
		right
		number
	)
	class := make([]int, len(r))
	base := 0
	for i, c := range r {
		switch {
		case rightToLeft(c):
			class[i] = right
		case unicode.IsDigit(c):
			class[i] = number
		case unicode.IsLetter(c):
			class[i] = left
		}
	}
	if i := slices.IndexFunc(class, func(c int) bool { return c == left || c == right }); i >= 0 && class[i] == right {
		base = 1
	}
	// A point or comma between digits is of the number (W4); a number after
	// letters from left to right runs with them (W7).
	strong := left
	if base == 1 {
		strong = right
	}
	for i := range class {
		switch class[i] {
		case left, right:
			strong = class[i]
		case neutral:
			if i > 0 && i+1 < len(r) && class[i-1] == number && class[i+1] == number && (r[i] == '.' || r[i] == ',' || r[i] == ':' || r[i] == '/' || r[i] == '-') {
				class[i] = number
			}
		}
		if class[i] == number && strong == left {
			class[i] = left
		}
	}
	brackets(r, class, base)
	between(class, base)
	out := make([]int, len(r))
	for i, c := range class {
		switch {
		case c == right:
			out[i] = 1
		case c == number:
			out[i] = 2
		case base == 1:
			out[i] = 2
		}
		if out[i] == 1 {
			r[i] = mirrored(r[i])
		}
	}
	return out
}

// brackets gives a pair of brackets that holds a letter of the line's direction
// that direction (N0, b).
func brackets(r []rune, class []int, base int) {
	const left, number = 1, 3
	var open []int
	for i, c := range r {
		switch c {
		case '(', '[', '{':
			open = append(open, i)
		case ')', ']', '}':
			if len(open) == 0 || mirrors[r[open[len(open)-1]]] != c {
				continue
			}
			from := open[len(open)-1]
			open = open[:len(open)-1]
			if slices.ContainsFunc(class[from:i], func(k int) bool { return k == left+base || base == 1 && k == number }) {
				class[from], class[i] = left+base, left+base
			}
		}
	}
}

// between gives what stands between two letters of one direction that direction,
// and else that of the line (N1, N2). Numbers count as running from right to left.
func between(class []int, base int) {
	const (
		neutral = iota
		left
		right
		number
	)
	side := func(i int) int {
		switch {
		case i < 0 || i >= len(class):
			return left + base
		case class[i] == number:
			return right
		}
		return class[i]
	}
	for i := 0; i < len(class); {
		if class[i] != neutral {
			i++
			continue
		}
		j := i
		for j < len(class) && class[j] == neutral {
			j++
		}
		to := left + base
		if a, b := side(i-1), side(j); a == b {
			to = a
		}
		for ; i < j; i++ {
			class[i] = to
		}
	}
}

var mirrors = map[rune]rune{'(': ')', ')': '(', '[': ']', ']': '[', '{': '}', '}': '{', '<': '>', '>': '<', '«': '»', '»': '«'}

func mirrored(r rune) rune {
	if m, ok := mirrors[r]; ok {
		return m
	}
	return r
}

// arabic are the letters that join, with their forms: alone, at the end, at the
// beginning, in the middle (Unicode, Arabic Presentation Forms-B). Letters with two
// forms join only to the one before.
var arabic = map[rune][]rune{
	0x621: {0xfe80}, 0x622: {0xfe81, 0xfe82}, 0x623: {0xfe83, 0xfe84}, 0x624: {0xfe85, 0xfe86}, 0x625: {0xfe87, 0xfe88},
	0x627: {0xfe8d, 0xfe8e}, 0x629: {0xfe93, 0xfe94}, 0x62f: {0xfea9, 0xfeaa}, 0x630: {0xfeab, 0xfeac}, 0x631: {0xfead, 0xfeae},
	0x632: {0xfeaf, 0xfeb0}, 0x648: {0xfeed, 0xfeee}, 0x649: {0xfeef, 0xfef0},
	0x626: four(0xfe89), 0x628: four(0xfe8f), 0x62a: four(0xfe95), 0x62b: four(0xfe99), 0x62c: four(0xfe9d), 0x62d: four(0xfea1), 0x62e: four(0xfea5),
	0x633: four(0xfeb1), 0x634: four(0xfeb5), 0x635: four(0xfeb9), 0x636: four(0xfebd), 0x637: four(0xfec1), 0x638: four(0xfec5), 0x639: four(0xfec9), 0x63a: four(0xfecd),
	0x641: four(0xfed1), 0x642: four(0xfed5), 0x643: four(0xfed9), 0x644: four(0xfedd), 0x645: four(0xfee1), 0x646: four(0xfee5), 0x647: four(0xfee9), 0x64a: four(0xfef1),
	// Persian and Urdu (Forms-A)
	0x67e: four(0xfb56), 0x686: four(0xfb7a), 0x6a9: four(0xfb8e), 0x6af: four(0xfb92), 0x6cc: four(0xfbfc), 0x698: {0xfb8a, 0xfb8b},
}

func four(first rune) []rune { return []rune{first, first + 1, first + 2, first + 3} }

// joined gives Arabic letters the form that they take beside their neighbours.
func joined(r []rune) []rune {
	out := slices.Clone(r)
	next := func(i, by int) []rune {
		for i += by; i >= 0 && i < len(r) && unicode.Is(unicode.Mn, r[i]); i += by {
		}
		if i < 0 || i >= len(r) {
			return nil
		}
		return arabic[r[i]]
	}
	for i, c := range r {
		forms := arabic[c]
		if len(forms) == 0 {
			continue
		}
		before := len(next(i, -1)) == 4 && len(forms) > 1
		after := len(forms) == 4 && len(next(i, 1)) > 1
		// Lam before alef is one letter with it.
		if alef := lamAlef[after1(r, i)]; c == 0x644 && alef != 0 {
			out[i], out[i+1] = alef, 0
			if len(next(i, -1)) == 4 {
				out[i]++
			}
			continue
		}
		if out[i] == 0 {
			continue
		}
		switch {
		case before && after:
			out[i] = forms[3]
		case before:
			out[i] = forms[1]
		case after:
			out[i] = forms[2]
		default:
			out[i] = forms[0]
		}
	}
	return slices.DeleteFunc(out, func(c rune) bool { return c == 0 })
}

var lamAlef = map[rune]rune{0x622: 0xfef5, 0x623: 0xfef7, 0x625: 0xfef9, 0x627: 0xfefb}

// after1 is the letter after i; 0 at the end.
func after1(r []rune, i int) rune {
	if i+1 < len(r) {
		return r[i+1]
	}
	return 0
}
