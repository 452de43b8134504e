package practice

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"

	"tidemark/engine/network"
	"tidemark/rules"
)

// Tell is a sign that tells two patterns apart.
type Tell struct {
	Sign *rules.Sign
	// A and B are how likely a look finds it somewhere where the one or the other is
	// there, and all else is as it usually is.
	A, B float64
	// Bits is how much it tells where either is as likely as the other.
	Bits float64
	// Seen and NotFound are for how much either result tells, in decibans, whichever
	// of the two it speaks for.
	Seen, NotFound float64
	Because        string // why the one that shows it does
}

// Comparison is what tells two patterns apart, best first.
type Comparison struct {
	A, B   *rules.Node
	Engine Profile
	ForA   []Tell // more likely with A
	ForB   []Tell
	Both   []Tell // likely with either, and of little use
}

// ErrNoEngine is that no engine of the practice has both.
var ErrNoEngine = errors.New("no engine of the practice can have both")

// What tells less than this, in bits, is no help; what is seen more often than not
// with both and tells so little is shown by both.
const (
	worthStudy = 0.01
	oftenBoth  = 0.25
)

// Compare works out what tells a and b apart, on the engine of a profile, or for "" on
// the first that can have both.
func Compare(book *rules.Book, a, b *rules.Node, engine string) (Comparison, error) {
	for _, p := range profiles {
		if engine != "" && p.ID != engine {
			continue
		}
		c, err := p.blank(rand.New(rand.NewPCG(0, 0)), "")
		if err != nil {
			return Comparison{}, err
		}
		ra, okA := network.RoughIf(book, c, a)
		rb, okB := network.RoughIf(book, c, b)
		if !okA || !okB {
			continue
		}
		out := Comparison{A: a, B: b, Engine: p}
		for _, s := range book.Signs {
			x, there := ra.Sign[s]
			if !there {
				continue
			}
			y := rb.Sign[s]
			t := Tell{Sign: s, A: x, B: y, Bits: apart(x, y)}
			t.Seen, t.NotFound = math.Abs(ratio(x, y)), math.Abs(ratio(1-x, 1-y))
			switch {
			case t.Bits < worthStudy && min(x, y) >= oftenBoth:
				out.Both = append(out.Both, t)
			case t.Bits < worthStudy:
			case x > y:
				t.Because = why(s, ra, rb)
				out.ForA = append(out.ForA, t)
			default:
				t.Because = why(s, rb, ra)
				out.ForB = append(out.ForB, t)
			}
		}
		for _, list := range []*[]Tell{&out.ForA, &out.ForB} {
			slices.SortStableFunc(*list, func(x, y Tell) int { return cmp.Or(cmp.Compare(y.Bits, x.Bits), cmp.Compare(x.Sign.ID, y.Sign.ID)) })
		}
		slices.SortStableFunc(out.Both, func(x, y Tell) int {
			return cmp.Or(cmp.Compare(min(y.A, y.B), min(x.A, x.B)), cmp.Compare(x.Sign.ID, y.Sign.ID))
		})
		return out, nil
	}
	return Comparison{}, ErrNoEngine
}

// apart is how much something tells of which of two it is, where it comes with chance x
// with the one and y with the other.
func apart(x, y float64) float64 { return entropy((x+y)/2) - (entropy(x)+entropy(y))/2 }

func ratio(x, y float64) float64 {
	const least = 1e-6
	return 10 * math.Log10(max(x, least)/max(y, least))
}

// why is the reason of the rule that does most to show a sign with the one and not
// with the other.
func why(s *rules.Sign, with, without network.Rough) string {
	at := func(r network.Rough, n *rules.Node) float64 {
		p := 0.0
		for it, q := range r.Item {
			if it.Node == n {
				p = max(p, q)
			}
		}
		return p
	}
	best, most := "", 0.0
	for _, r := range s.By {
		if d := (at(with, r.From) - at(without, r.From)) * r.HowOften; d > most+1e-12 {
			best, most = r.Because, d
		}
	}
	return best
}
