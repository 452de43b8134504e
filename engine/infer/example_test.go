package infer_test

import (
	"context"
	"errors"
	"fmt"
	"log"
	"math"

	"tidemark/engine/infer"
)

// A crankshaft bearing starves when there is little oil, and sometimes when the
// pump is worn. It turns blue when it starves.
func Example() {
	b := infer.NewBuilder()
	low := b.Root("oil low", 0.95, 0.05)
	worn := b.Root("pump worn", 0.98, 0.02)
	starved := b.Max("bearing starved", 2, []infer.Link{
		{Parent: low, Pass: 0.6},
		{Parent: worn, Pass: 0.3},
	}, []float64{0.999, 0.001})
	blue := b.Max("journal blue", 2, []infer.Link{{Parent: starved, Pass: 0.8}}, nil)
	m, err := b.Build()
	if err != nil {
		log.Fatal(err)
	}

	ev := infer.Evidence{blue: infer.Hard(1, 2)}
	post, err := m.Infer(context.Background(), ev, low, worn)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("oil low   %.3f\n", post.P(low)[1])
	fmt.Printf("pump worn %.3f\n", post.P(worn)[1])

	ev[starved] = infer.Hard(0, 2)
	_, err = m.LogP(context.Background(), ev)
	var clash *infer.Contradiction
	fmt.Println(errors.As(err, &clash), err)
	// Output:
	// oil low   0.819
	// pump worn 0.175
	// true the evidence contradicts itself: "bearing starved" and "journal blue" cannot be so together
}

// The likeliest explanation assigns all causes at once.
func ExampleModel_MostProbable() {
	b := infer.NewBuilder()
	dirt := b.Root("dirt", 0.9, 0.1)
	wear := b.Root("wear", 0.7, 0.3)
	noise := b.Max("noise", 2, []infer.Link{{Parent: dirt, Pass: 0.9}, {Parent: wear, Pass: 0.4}}, nil)
	m, err := b.Build()
	if err != nil {
		log.Fatal(err)
	}
	best, proven, err := m.MostProbable(context.Background(), infer.Evidence{noise: infer.Hard(1, 2)}, []infer.Var{dirt, wear}, 2, 100)
	if err != nil {
		log.Fatal(err)
	}
	for _, e := range best {
		fmt.Printf("%v %.3f\n", e.States, e.LogP)
	}
	fmt.Println(proven)
	// Output:
	// [0 1] -2.226
	// [1 0] -2.765
	// true
}

// Which number matters most, and what each observation did.
func ExampleModel_Calibrate() {
	b := infer.NewBuilder()
	low := b.Root("oil low", 0.95, 0.05)
	worn := b.Root("pump worn", 0.98, 0.02)
	starved := b.Max("bearing starved", 2, []infer.Link{
		{Parent: low, Pass: 0.6},
		{Parent: worn, Pass: 0.3},
	}, []float64{0.999, 0.001})
	blue := b.Max("journal blue", 2, []infer.Link{{Parent: starved, Pass: 0.8}}, nil)
	lamp := b.Max("lamp on", 2, []infer.Link{{Parent: low, Pass: 0.9}}, []float64{0.99, 0.01})
	m, err := b.Build()
	if err != nil {
		log.Fatal(err)
	}
	ctx := context.Background()
	ev := infer.Evidence{blue: infer.Hard(1, 2), lamp: infer.Hard(0, 2)}
	c, err := m.Calibrate(ctx, ev)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("oil low %.3f\n", c.P(low)[1])
	fmt.Printf("1%% more from low to starved: P(evidence) times %.4f\n", 1+0.01*c.LinkSlope(starved, low))
	fmt.Printf("1%% more from worn to starved: times %.4f\n", 1+0.01*c.LinkSlope(starved, worn))
	without, err := c.Without(ctx, lamp)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the lamp being off: times %.3f\n", math.Exp(c.LogP-without))
	// Output:
	// oil low 0.312
	// 1% more from low to starved: P(evidence) times 1.0051
	// 1% more from worn to starved: times 1.0197
	// the lamp being off: times 0.260
}
