package report

import (
	"fmt"
	"math"

	"tidemark/rules"
)

// Count is "1 closed case", "3 closed cases".
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Share is a chance as so many of 100, the same wherever one is told: to two figures, and
// near 100 to a tenth.
func Share(p float64) string {
	switch x := 100 * p; {
	case x < 9.95:
		return fmt.Sprintf("%.2g", x)
	case x > 99 && x < 100:
		return fmt.Sprintf("%.1f", min(x, 99.9))
	default:
		return fmt.Sprintf("%.0f", x)
	}
}

// Times is how many times as much, to two figures: more is not known.
func Times(x float64) string {
	switch {
	case math.IsInf(x, 0) || x >= 1e6:
		return "more than a million"
	case x < 9.95:
		return fmt.Sprintf("%.2g", x)
	}
	step := math.Pow(10, math.Floor(math.Log10(x))-1)
	return fmt.Sprintf("%.0f", math.Round(x/step)*step)
}

// howOften is how often one thing follows another. A word stands only beside the number
// that it stands for, so that no word has two.
func howOften(p float64) string {
	if p <= 0 || p >= 1 {
		return "every time"
	}
	for _, w := range rules.HowOften {
		if math.Abs(w.Value-p) < 1e-9 {
			return fmt.Sprintf("%s (%s of 100)", w.Word, Share(p))
		}
	}
	return fmt.Sprintf("in %s of 100", Share(p))
}

// number is Share of what is told of 100 already.
func number(x float64) string { return Share(x / 100) }

func itOrThem(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

// Off is by how many of 100 figures may be off: a bound is rounded up.
func Off(bound float64) string {
	return fmt.Sprintf("%.0f", max(1, math.Ceil(100*bound-1e-9)))
}
