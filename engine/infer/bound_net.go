package infer

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// boundNet is a problem without negative numbers, relaxed so that no table need be
// larger than a limit. Its variables are numbered by the order in which they are
// eliminated.
//
// Eliminating variable x multiplies the tables that mention it and sums x out.
// Where the product would be too large, its tables are dealt out to several parts,
// and by Hölder's inequality
//
//	sum over x of T0 T1 ... <= (sum over x of T0^(1/w0))^w0 * (sum over x of T1^(1/w1))^w1 * ...
//
// for any positive weights w that sum to one; so what is left at the end bounds the
// probability of the evidence from above. A factor that one part is multiplied by
// and another divided by changes the product not at all, but it does change the
// bound. These shifts and the weights are moved down the gradient of the bound.
//
// Each part keeps its table divided by the message it sends. The product of these
// shares over the parts of x sums to at most one over the states of x, and to
// exactly one where x has one part.
type boundNet struct {
	card    []int32
	origin  []Var
	buckets []boundBucket
	scale   scaled // constant factors
	outside scaled // and those of variables that are not core
	top     scaled // the bound on the probability of the evidence
	numbers float64
	stride  float64 // how far to go down the gradient
}

type boundBucket struct {
	parts []boundPart
	// core variables have several parts, or some variable below them has. Nothing
	// else depends on shifts and weights.
	core bool
}

// boundTable is a table over variables in ascending order, the first fastest.
type boundTable struct {
	scope []int32
	data  []float64
}

type boundPart struct {
	scope   []int32 // the bucket's variable first
	inputs  []boundInput
	to      int // the part that the message goes to, of bucket scope[1]
	weight  float64
	share   []float64 // over scope
	belief  []float64 // over scope: share^(1/weight), times what is believed above
	message []float64 // over scope[1:]
	common  []int32   // shared with the bucket's first part: what the shift is over
	shift   []float64 // nil in the first part
	entropy float64
	saved   []float64
}

// boundInput is a table of the problem, or the message of a part below.
type boundInput struct {
	table        *boundTable // or nil
	bucket, part int
}

// shiftEntries limits the size of the shifts, and shiftRange their numbers; the
// others tell how far one goes down the gradient at first.
const (
	shiftEntries = 1 << 10
	shiftRange   = 1e12
	shiftStep    = 0.15
	weightStep   = 1.0
)

// newBoundNet takes over the problem that w was reduced to, with an order.
func newBoundNet(w *work, order []int32, entries float64) *boundNet {
	n := len(w.card)
	b := &boundNet{card: make([]int32, n), origin: make([]Var, n), buckets: make([]boundBucket, n), scale: w.scale, stride: 1}
	waiting := make([][]boundInput, n)
	place := make([]int32, n)
	for k, v := range order {
		place[v] = int32(k)
		b.card[k], b.origin[k] = w.card[v], w.origin[v]
		u := w.unary[v]
		t := &boundTable{[]int32{int32(k)}, slices.Clone(w.numbers[u : u+w.card[v]])}
		waiting[k] = append(waiting[k], boundInput{table: t})
	}
	for _, f := range w.factors {
		t := b.convert(w, f, place)
		waiting[t.scope[0]] = append(waiting[t.scope[0]], boundInput{table: t})
	}
	for k := range n {
		bk := &b.buckets[k]
		b.deal(bk, waiting[k], entries)
		bk.core = bk.core || len(bk.parts) > 1
		for i := range bk.parts {
			p := &bk.parts[i]
			p.weight = 1 / float64(len(bk.parts))
			for _, in := range p.inputs {
				if in.table == nil {
					b.buckets[in.bucket].parts[in.part].to = i
				}
			}
			b.numbers += 2 * b.size(p.scope)
			if len(p.scope) > 1 {
				next := p.scope[1]
				waiting[next] = append(waiting[next], boundInput{bucket: k, part: i})
				b.buckets[next].core = b.buckets[next].core || bk.core
			}
			if i > 0 {
				b.share(&bk.parts[0], p)
			}
		}
	}
	return b
}

// size is the number of entries of a table.
func (b *boundNet) size(scope []int32) float64 {
	n := 1.0
	for _, v := range scope {
		n *= float64(b.card[v])
	}
	return n
}

// convert brings a factor, whose first variable is slowest, into the order of
// elimination.
func (b *boundNet) convert(w *work, f factor, place []int32) *boundTable {
	from := w.scopes[f.scope.from:f.scope.to]
	t := &boundTable{scope: make([]int32, len(from))}
	for i, v := range from {
		t.scope[i] = place[v]
	}
	slow := slices.Clone(t.scope)
	slices.Reverse(slow) // now the first is fastest
	slices.Sort(t.scope)
	data := w.numbers[f.data.from:f.data.to]
	t.data = make([]float64, len(data))
	b.walk(t.scope, slow).each(func(i, off int) { t.data[i] = data[off] })
	return t
}

// boundWalk goes through a table, first variable fastest, alongside another one.
type boundWalk struct {
	extent, step []int
}

// walk goes through a table over scope alongside one over other.
func (b *boundNet) walk(scope, other []int32) *boundWalk {
	w := &boundWalk{}
	for _, v := range scope {
		step := 1
		for _, u := range other {
			if u == v {
				break
			}
			step *= int(b.card[u])
		}
		if !slices.Contains(other, v) {
			step = 0
		}
		// A dimension that continues the one before, in both tables, makes one with it.
		if k := len(w.extent) - 1; k >= 0 && step == w.step[k]*w.extent[k] {
			w.extent[k] *= int(b.card[v])
			continue
		}
		w.extent = append(w.extent, int(b.card[v]))
		w.step = append(w.step, step)
	}
	return w
}

// rows calls f for each row of the table: where it begins, and where in the other.
// A row has extent[0] entries, step[0] apart in the other table.
func (w *boundWalk) rows(f func(i, off int)) {
	at := make([]int, len(w.extent))
	for i, off := 0, 0; ; i += w.extent[0] {
		f(i, off)
		d := 1
		for ; d < len(w.extent); d++ {
			off += w.step[d]
			if at[d]++; at[d] < w.extent[d] {
				break
			}
			off -= w.step[d] * w.extent[d]
			at[d] = 0
		}
		if d >= len(w.extent) {
			return
		}
	}
}

func (w *boundWalk) each(f func(i, off int)) {
	w.rows(func(i, off int) {
		for range w.extent[0] {
			f(i, off)
			i++
			off += w.step[0]
		}
	})
}

func (w *boundWalk) multiply(table, by []float64) {
	n, step := w.extent[0], w.step[0]
	w.rows(func(i, off int) {
		row := table[i : i+n]
		switch step {
		case 0:
			x := by[off]
			for j := range row {
				row[j] *= x
			}
		case 1:
			from := by[off : off+n]
			for j := range row {
				row[j] *= from[j]
			}
		default:
			for j := range row {
				row[j] *= by[off+j*step]
			}
		}
	})
}

// gather adds a table into another.
func (w *boundWalk) gather(into, table []float64) {
	n, step := w.extent[0], w.step[0]
	w.rows(func(i, off int) {
		row := table[i : i+n]
		switch step {
		case 0:
			sum := 0.0
			for _, x := range row {
				sum += x
			}
			into[off] += sum
		default:
			for j, x := range row {
				into[off+j*step] += x
			}
		}
	})
}

func (b *boundNet) scopeOf(in boundInput) []int32 {
	if in.table != nil {
		return in.table.scope
	}
	return b.buckets[in.bucket].parts[in.part].scope[1:]
}

func (b *boundNet) dataOf(in boundInput) []float64 {
	if in.table != nil {
		return in.table.data
	}
	return b.buckets[in.bucket].parts[in.part].message
}

// deal deals the inputs of a bucket out to parts, the largest first, each to the
// first part that has room for it.
func (b *boundNet) deal(bk *boundBucket, inputs []boundInput, entries float64) {
	slices.SortStableFunc(inputs, func(x, y boundInput) int {
		return cmp.Compare(b.size(b.scopeOf(y)), b.size(b.scopeOf(x)))
	})
deal:
	for _, in := range inputs {
		scope := b.scopeOf(in)
		for i := range bk.parts {
			p := &bk.parts[i]
			union := append(slices.Clone(p.scope), scope...)
			slices.Sort(union)
			union = slices.Compact(union)
			if len(union) == len(p.scope) || b.size(union) <= entries {
				p.scope = union
				p.inputs = append(p.inputs, in)
				continue deal
			}
		}
		bk.parts = append(bk.parts, boundPart{scope: slices.Clone(scope), inputs: []boundInput{in}})
	}
}

// share sets up the shift between the first part and another one.
func (b *boundNet) share(first, p *boundPart) {
	for _, v := range p.scope {
		if wider := append(p.common, v); slices.Contains(first.scope, v) && b.size(wider) <= max(shiftEntries, float64(b.card[v])) {
			p.common = wider
		}
	}
	p.shift = make([]float64, int(b.size(p.common)))
	for i := range p.shift {
		p.shift[i] = 1
	}
}

// begin computes the tables of the variables that are not core, once for all, and
// then relax the others. Both report false when the evidence is impossible.
func (b *boundNet) begin() bool {
	b.outside = b.scale
	for k := range b.buckets {
		if !b.buckets[k].core && !b.eliminate(k, &b.outside) {
			return false
		}
	}
	return b.relax()
}

func (b *boundNet) relax() bool {
	b.top = b.outside
	for k := range b.buckets {
		if b.buckets[k].core && !b.eliminate(k, &b.top) {
			return false
		}
	}
	return true
}

// eliminate computes the tables of a bucket.
func (b *boundNet) eliminate(k int, constant *scaled) bool {
	bk := &b.buckets[k]
	card := int(b.card[k])
	for i := range bk.parts {
		p := &bk.parts[i]
		p.share = resize(p.share, int(b.size(p.scope)))
		for j := range p.share {
			p.share[j] = 1
		}
		for c, in := range p.inputs {
			b.walk(p.scope, b.scopeOf(in)).multiply(p.share, b.dataOf(in))
			if c%breath == breath-1 || c == len(p.inputs)-1 {
				e, _ := rescale(p.share)
				constant.e += e
			}
		}
	}
	for i := 1; i < len(bk.parts); i++ {
		first, p := &bk.parts[0], &bk.parts[i]
		b.walk(first.scope, p.common).multiply(first.share, p.shift)
		b.walk(p.scope, p.common).each(func(i, off int) { p.share[i] /= p.shift[off] })
	}
	for i := range bk.parts {
		p := &bk.parts[i]
		p.message = resize(p.message, len(p.share)/card)
		p.belief = resize(p.belief, len(p.share))
		for j := range p.message {
			p.message[j] = boundSum(p.share[j*card:(j+1)*card], p.belief[j*card:], p.weight)
		}
		if len(p.scope) == 1 {
			if !constant.mul(p.message[0]) {
				return false
			}
			continue
		}
		e, ok := rescale(p.message)
		if !ok {
			return false
		}
		constant.e += e
	}
	return true
}

// boundSum returns the weighted sum of a row, (sum of x^(1/w))^w. It leaves behind
// the row divided by that, and in belief the terms divided by their sum.
func boundSum(row, belief []float64, w float64) float64 {
	most := slices.Max(row)
	if most == 0 {
		clear(belief[:len(row)])
		return 0
	}
	if w == 1 {
		sum := 0.0
		for _, x := range row {
			sum += x
		}
		for s := range row {
			row[s] /= sum
			belief[s] = row[s]
		}
		return sum
	}
	sum := 0.0
	for s, x := range row {
		y := 1.0
		if x < most {
			y = math.Exp(math.Log(x/most) / w)
		}
		belief[s] = y
		sum += y
	}
	root := math.Exp(math.Log(sum) * w)
	for s, x := range row {
		row[s] = x / most / root
		belief[s] /= sum
	}
	return most * root
}

// marginal sums a table over the scope of a part.
func (b *boundNet) marginal(p *boundPart, table []float64, scope []int32) []float64 {
	m := make([]float64, int(b.size(scope)))
	b.walk(p.scope, scope).gather(m, table)
	return m
}

// believe works out what the relaxed network believes of the scope of each part, of
// core variables or of all.
func (b *boundNet) believe(all bool) {
	for k := len(b.buckets) - 1; k >= 0; k-- {
		bk := &b.buckets[k]
		if !bk.core && !all {
			continue
		}
		card := int(b.card[k])
		for i := range bk.parts {
			p := &bk.parts[i]
			above := b.above(p)
			if len(bk.parts) == 1 {
				copy(p.belief, p.share)
			}
			p.entropy = 0
			for j, a := range above {
				row := p.belief[j*card : (j+1)*card]
				for s, y := range row {
					if len(bk.parts) > 1 && y > 0 && a > 0 {
						p.entropy -= y * a * math.Log(y)
					}
					row[s] = y * a
				}
			}
		}
	}
}

// above is what is believed of the scope of a part's message.
func (b *boundNet) above(p *boundPart) []float64 {
	if len(p.scope) == 1 {
		return []float64{1}
	}
	from := &b.buckets[p.scope[1]].parts[p.to]
	return b.marginal(from, from.belief, p.scope[1:])
}

// entropy is that of what is believed of a variable.
func (b *boundNet) entropy(k int) float64 {
	p := &b.buckets[k].parts[0]
	h := 0.0
	for _, x := range b.marginal(p, p.belief, []int32{int32(k)}) {
		if x > 0 {
			h -= x * math.Log(x)
		}
	}
	return max(h, 0)
}

// tighten moves shifts and weights down the gradient of the bound, which is where
// the beliefs of a bucket's parts differ: in probabilities and in entropies.
func (b *boundNet) tighten(step, weightStep float64) {
	const least = 1e-7 // beliefs below this do not drive the shifts
	b.believe(false)
	for k := range b.buckets {
		parts := b.buckets[k].parts
		if len(parts) < 2 {
			continue
		}
		first := &parts[0]
		for i := 1; i < len(parts); i++ {
			p := &parts[i]
			here, there := b.marginal(p, p.belief, p.common), b.marginal(first, first.belief, p.common)
			g := step * first.weight * p.weight / (first.weight + p.weight)
			for s := range p.shift {
				p.shift[s] *= math.Exp(g * math.Log((here[s]+least)/(there[s]+least)))
				p.shift[s] = min(max(p.shift[s], 1/shiftRange), shiftRange)
			}
		}
		mean := 0.0
		for i := range parts {
			mean += parts[i].weight * parts[i].entropy
		}
		sum := 0.0
		for i := range parts {
			p := &parts[i]
			p.weight = max(p.weight*math.Exp(-weightStep*p.weight*(p.entropy-mean)), 0.01)
			sum += p.weight
		}
		for i := range parts {
			parts[i].weight /= sum
		}
	}
}

// descend takes steps of tightening. One that loosens the bound is taken back, and
// the next are shorter. It reports false when the evidence is impossible.
func (b *boundNet) descend(ctx context.Context, steps int) bool {
	least := b.top.ln()
	for range steps {
		if ctx.Err() != nil {
			return true
		}
		b.eachPart(func(p *boundPart) { p.saved = append(append(p.saved[:0], p.weight), p.shift...) })
		b.tighten(b.stride*shiftStep, b.stride*weightStep)
		if !b.relax() {
			return false
		}
		if top := b.top.ln(); top < least {
			least = top
			b.stride *= 1.1
			continue
		}
		b.stride /= 2
		b.eachPart(func(p *boundPart) {
			p.weight = p.saved[0]
			copy(p.shift, p.saved[1:])
		})
		if !b.relax() {
			return false
		}
	}
	return true
}

// eachPart goes through the parts of variables that have several.
func (b *boundNet) eachPart(f func(*boundPart)) {
	for k := range b.buckets {
		if parts := b.buckets[k].parts; len(parts) > 1 {
			for i := range parts {
				f(&parts[i])
			}
		}
	}
}
