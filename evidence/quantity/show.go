package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Show writes an amount in SI units in the unit with so many decimals: "59.940 mm",
// "98 °C", "12 %".
func (u Unit) Show(si float64, decimals int) string { return figures(u.Number(si), decimals, u) }

// ShowDifference does so for a difference (see Unit.Difference).
func (u Unit) ShowDifference(si float64, decimals int) string {
	return figures(u.NumberOfDifference(si), decimals, u)
}

// ShowSigned shows a difference with its sign: "+0.010 mm", "−0.070 mm".
func (u Unit) ShowSigned(si float64, decimals int) string {
	x := u.NumberOfDifference(si)
	switch s := figures(math.Abs(x), decimals, u); {
	case x < 0 && s != figures(0, decimals, u):
		return "−" + s
	case s == figures(0, decimals, u):
		return s
	default:
		return "+" + s
	}
}

func figures(x float64, decimals int, u Unit) string {
	s := strconv.FormatFloat(x, 'f', max(0, decimals), 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // minus nothing
	}
	if u.Dimension == angle && u.Symbol == "°" || u.Symbol == "ratio" {
		if u.Symbol == "ratio" {
			return s
		}
		return s + u.Symbol
	}
	return s + " " + u.Symbol
}
