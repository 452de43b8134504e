package quantity_test

import (
	"fmt"

	"tidemark/evidence/quantity"
)

// A journal is read with a micrometer, and held against the least that its maker
// allows.
func Example() {
	v, err := quantity.Parse("2.3610 in")
	if err != nil {
		fmt.Println(err)
		return
	}
	limit, err := quantity.ParseLimit("min 59.965 mm")
	if err != nil {
		fmt.Println(err)
		return
	}
	mm, _ := quantity.ParseUnit("mm")
	doubt := quantity.Doubt{Repeat: 0.003e-3, Bias: 0.002e-3}
	fmt.Println(mm.Show(v.SI(), 3), "±", mm.ShowDifference(2*doubt.Standard(), 3))
	fmt.Printf("below %s: %.2f\n", limit.Min.Text, 1-quantity.Above(v.SI(), limit.Min.SI(), doubt))
	// Output:
	// 59.969 mm ± 0.007 mm
	// below 59.965 mm: 0.11
}
