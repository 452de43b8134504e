package claim

import "math"

// luminance is the relative luminance of a colour (WCAG 2.2).
func luminance(s string) float64 {
	c := colour(s)
	part := func(n int) float64 {
		x := float64(n) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}
