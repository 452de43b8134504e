package infer

import (
	"cmp"
	"context"
	"math"
	"math/bits"
	"slices"
)

// A program is what a plan comes to: products of two tables at a time, the last one
// of each cluster summed over the variable that is eliminated there. It depends on
// the structure of the problem alone, not on its numbers, so that it serves all
// questions of the same structure.
//
// Forward, the steps are taken in order. What remains at the end is P(evidence).
//
// Backward, the same sum of products is differentiated in reverse: what each table
// is worth (its adjoint) follows from what the product that it went into is worth,
// and from the other table in that product. A variable's prior factor times its
// worth is its posterior. Unlike a division of potentials, this is right for signed
// numbers, and for zeros among them.
type program struct {
	steps []step
	dims  []dim
	offs  []int32 // patterns of steps
	room  int     // numbers in all products

	scopes   []int32 // the clusters, as in the plan
	clusters []span
	sums     []int32 // by cluster: the step that sums over its own variable

	cost  Cost
	first float64 // the total size of the first, simple order
}

// step makes one product: out[i] = sum over s of a[i, s] * b[i, s], where s has card
// states; card is 1 where nothing is summed.
//
// The entries of out are visited in rows. Within a row, both inputs move evenly, or
// else by a pattern of offsets. From row to row they move as dims say.
type step struct {
	a, b       input
	out        span // in run.values and run.worth
	card       int32
	ownA, ownB int32 // from one state of the summed variable to the next
	row        int32 // entries of out
	rowA, rowB int32 // from one entry of the row to the next, when even
	pattern    int32 // where the row's offsets are in offs, first a's, then b's; or -1
	dims       span  // the others, fastest first
	root       bool
	below      int32 // how many steps went into out, with this one
}

// input names a table.
type input struct {
	source source
	at     int32
}

type source uint8

const (
	unit      source = iota // the number one
	unaryOf                 // of a variable
	factorOf                // one of the problem's
	productOf               // of an earlier step
	keptOf                  // of a step of the frame
)

// dim is one dimension of a walk: its extent, and how far each input moves along it.
type dim struct{ extent, a, b int32 }

// maxDims is how many variables a cluster may have.
const maxDims = 32

// run holds the numbers of one propagation.
type run struct {
	values     []float64 // the products
	worth      []float64 // their adjoints
	adjoint    []float64 // those of the problem's own numbers, in the same places
	exp        []int     // by step: the true product is out * 2^exp, its inputs taken as they are
	bound      []int     // by step: no magnitude in out is above 2^bound
	lift       []int     // by step: the true worth of out is 2^lift as large
	wanted     []bool    // by step: its worth is wanted
	signed     []bool    // by step: signed numbers went into it
	boundWorth []int     // by step: no magnitude in worth is above 2^boundWorth
	liftOf     [2][]int  // by variable and by factor
	total      scaled
	rounded    float64 // bound on the relative error of the total, in float64
}

// draft is a table on its way into a program: one input of a cluster. All but the
// problem's factors have their variables in the order of the cluster.
type draft struct {
	input
	size  int
	mask  uint32 // which of the cluster's variables it is over
	below int32
}

// compile makes the program of the plan. It reports false when the numbers in all
// products are more than the room there is.
func (w *work) compile(room int) (*program, bool) {
	p := &w.plan
	n := len(w.card)
	pr := &w.scratch
	w.madeFor = nil
	*pr = program{steps: pr.steps[:0], dims: pr.dims[:0], offs: pr.offs[:0],
		scopes: append(pr.scopes[:0], p.scopes...), clusters: append(pr.clusters[:0], p.clusters...), sums: pr.sums[:0],
		cost: p.cost(), first: p.first}

	// By cluster: the factors and messages that go in.
	w.head = resize(w.head, n)
	w.next = resize(w.next, len(w.factors))
	w.headStep = resize(w.headStep, n)
	w.nextStep = w.nextStep[:0]
	for b := range n {
		w.head[b], w.headStep[b] = -1, -1
	}
	for i := len(w.factors) - 1; i >= 0; i-- {
		f := &w.factors[i]
		first := int32(n)
		for _, v := range w.scopes[f.scope.from:f.scope.to] {
			first = min(first, p.place[v])
		}
		w.next[i] = w.head[first]
		w.head[first] = int32(i)
	}

	w.messages = w.messages[:0]
	w.spot = resize(w.spot, n)
	for b := range n {
		c := p.clusters[b]
		cluster := p.scopes[c.from:c.to]
		in := w.begun(cluster)
		for i := w.head[b]; i >= 0; i = w.next[i] {
			in = append(in, w.draftOf(i))
		}
		for i := w.headStep[b]; i >= 0; i = w.nextStep[i] {
			q := p.clusters[w.messages[i].from]
			in = append(in, heardFrom(pr, w.messages[i].step, w.maskOf(p.scopes[q.from+1:q.to])))
		}
		w.drafts = in
		sum, ok := w.join(pr, cluster, room)
		if !ok {
			return nil, false
		}
		pr.sums = append(pr.sums, sum.at)
		if len(cluster) > 1 {
			to := p.place[cluster[1]]
			w.messages = append(w.messages, message{from: int32(b), step: sum.at})
			w.nextStep = append(w.nextStep, w.headStep[to])
			w.headStep[to] = int32(len(w.messages) - 1)
		} else {
			pr.steps[sum.at].root = true
		}
	}
	return pr, true
}

// begun starts the inputs of a cluster with the unary factor of its own variable.
func (w *work) begun(cluster []int32) []draft {
	for i, v := range cluster {
		w.spot[v] = int32(i)
	}
	own := cluster[0]
	return append(w.drafts[:0], draft{input: input{unaryOf, own}, size: int(w.card[own]), mask: 1})
}

// maskOf marks variables among those of the cluster at hand.
func (w *work) maskOf(scope []int32) (mask uint32) {
	for _, v := range scope {
		mask |= 1 << w.spot[v]
	}
	return mask
}

func (w *work) draftOf(factor int32) draft {
	f := &w.factors[factor]
	return draft{input: input{factorOf, factor}, size: int(f.data.to - f.data.from), mask: w.maskOf(w.scopes[f.scope.from:f.scope.to])}
}

// heardFrom is the message that a step makes, over these variables of the cluster at hand.
func heardFrom(pr *program, step int32, mask uint32) draft {
	s := &pr.steps[step]
	return draft{input: input{productOf, step}, size: int(s.out.to - s.out.from), mask: mask, below: s.below}
}

// join multiplies the inputs of a cluster, and returns what comes of summing its own
// variable out at the end; its mask is of what went in.
func (w *work) join(pr *program, cluster []int32, room int) (draft, bool) {
	if len(w.drafts) > many {
		in, ok := w.mergeAlike(pr, cluster, w.drafts, room)
		if !ok {
			return draft{}, false
		}
		w.drafts = in
	}
	in := w.drafts
	for len(in) > 2 {
		// The smallest, with what makes the smallest product with it.
		i := 0
		for k := range in {
			if in[k].size < in[i].size {
				i = k
			}
		}
		j, least := -1, 0
		for k := range in {
			if k == i || j >= 0 && in[k].size > least {
				continue
			}
			size := in[k].size
			if more := in[i].mask &^ in[k].mask; more != 0 {
				size *= w.sizeOf(cluster, more)
			}
			if j < 0 || size < least {
				j, least = k, size
			}
		}
		if pr.room += least; pr.room > room {
			return draft{}, false
		}
		i, j = min(i, j), max(i, j)
		in[i] = w.product(pr, cluster, &in[i], &in[j], false)
		in[j] = in[len(in)-1]
		in = in[:len(in)-1]
	}
	if len(in) == 1 {
		in = append(in, draft{size: 1})
	}
	rest := w.sizeOf(cluster, in[0].mask|in[1].mask) / int(w.card[cluster[0]])
	if pr.room += rest; pr.room > room {
		return draft{}, false
	}
	return w.product(pr, cluster, &in[0], &in[1], true), true
}

// many is from how many inputs of a cluster those over the same variables are
// multiplied first, because looking for the best pair would take long.
const many = 16

// mergeAlike multiplies all inputs over the same variables.
func (w *work) mergeAlike(pr *program, cluster []int32, in []draft, room int) ([]draft, bool) {
	slices.SortStableFunc(in, func(a, b draft) int { return cmp.Compare(a.mask, b.mask) })
	out := in[:1]
	for i := 1; i < len(in); i++ {
		last := &out[len(out)-1]
		if last.mask != in[i].mask || len(out)+len(in)-i <= 2 {
			out = append(out, in[i])
			continue
		}
		if pr.room += last.size; pr.room > room {
			return nil, false
		}
		*last = w.product(pr, cluster, last, &in[i], false)
	}
	return out, true
}

// message is what one cluster sends to another.
type message struct{ from, step int32 }

func (w *work) sizeOf(cluster []int32, mask uint32) int {
	size := 1
	for ; mask != 0; mask &= mask - 1 {
		size *= int(w.card[cluster[bits.TrailingZeros32(mask)]])
	}
	return size
}

// strides writes how far a table moves along each variable of its cluster.
func (w *work) strides(cluster []int32, d *draft, by *[maxDims]int32) {
	size := int32(1)
	if d.source == factorOf {
		f := w.factors[d.at].scope
		for k := f.to - 1; k >= f.from; k-- {
			v := w.scopes[k]
			by[w.spot[v]] = size
			size *= w.card[v]
		}
		return
	}
	for m := d.mask; m != 0; m &= m - 1 {
		i := bits.TrailingZeros32(m)
		by[i] = size
		size *= w.card[cluster[i]]
	}
}

// longRow is the least length of a row that is walked evenly; shorter ones are put
// together to rows of at least a block, by a pattern.
const (
	longRow = 16
	block   = 64
)

// product appends the step that multiplies two tables of a cluster, and sums the
// cluster's own variable out at the end.
func (w *work) product(pr *program, cluster []int32, a, b *draft, last bool) draft {
	if a.size < b.size {
		a, b = b, a
	}
	var byA, byB [maxDims]int32
	w.strides(cluster, a, &byA)
	w.strides(cluster, b, &byB)
	out := draft{input: input{productOf, int32(len(pr.steps))}, mask: a.mask | b.mask, below: 1 + a.below + b.below}
	s := step{a: a.input, b: b.input, card: 1, pattern: -1, below: out.below}
	m := out.mask
	if last {
		m &^= 1
		s.card, s.ownA, s.ownB = w.card[cluster[0]], byA[0], byB[0]
	}
	dims := w.walked[:0]
	size := int32(1)
	for ; m != 0; m &= m - 1 {
		i := bits.TrailingZeros32(m)
		e := w.card[cluster[i]]
		size *= e
		// A dimension that continues the one before, in both tables, makes one with it.
		if k := len(dims) - 1; k >= 0 && byA[i] == dims[k].a*dims[k].extent && byB[i] == dims[k].b*dims[k].extent {
			dims[k].extent *= e
			continue
		}
		dims = append(dims, dim{e, byA[i], byB[i]})
	}
	w.walked = dims
	out.size = int(size)
	end := int32(0)
	if k := len(pr.steps); k > 0 {
		end = pr.steps[k-1].out.to
	}
	s.out = span{end, end + size}
	used := 0
	switch {
	case len(dims) == 0:
		s.row = 1
	case len(dims) == 1 || dims[0].extent >= longRow:
		s.row, s.rowA, s.rowB = dims[0].extent, dims[0].a, dims[0].b
		used = 1
	default:
		s.row = 1
		for used < len(dims) && s.row < block {
			s.row *= dims[used].extent
			used++
		}
		s.pattern = int32(len(pr.offs))
		pr.offs = appendPattern(pr.offs, dims[:used], int(s.row))
	}
	s.dims.from = int32(len(pr.dims))
	pr.dims = append(pr.dims, dims[used:]...)
	s.dims.to = int32(len(pr.dims))
	pr.steps = append(pr.steps, s)
	return out
}

// appendPattern appends the offsets of the entries of a row, in a and then in b.
func appendPattern(offs []int32, dims []dim, row int) []int32 {
	at := len(offs)
	offs = slices.Grow(offs, 2*row)[:at+2*row]
	a, b := offs[at:at+row], offs[at+row:]
	a[0], b[0] = 0, 0
	size := 1
	for _, d := range dims {
		for x := 1; x < int(d.extent); x++ {
			stepA, stepB := int32(x)*d.a, int32(x)*d.b
			toA, toB := a[x*size:(x+1)*size], b[x*size:(x+1)*size]
			for i := range toA {
				toA[i] = a[i] + stepA
				toB[i] = b[i] + stepB
			}
		}
		size *= int(d.extent)
	}
	return offs
}

// walk goes from row to row.
type walk struct {
	dims []dim
	at   [maxDims]int32
	a, b int
}

func (k *walk) next() {
	for i := range k.dims {
		d := &k.dims[i]
		k.a += int(d.a)
		k.b += int(d.b)
		if k.at[i]++; k.at[i] < d.extent {
			return
		}
		k.a -= int(d.a) * int(d.extent)
		k.b -= int(d.b) * int(d.extent)
		k.at[i] = 0
	}
}

var unitTable = []float64{1}

// table is the numbers of an input.
func (w *work) table(in input) []float64 {
	switch in.source {
	case unaryOf:
		u := w.unary[in.at]
		return w.numbers[u : u+w.card[in.at]]
	case factorOf:
		f := &w.factors[in.at]
		return w.numbers[f.data.from:f.data.to]
	case productOf:
		o := w.program.steps[in.at].out
		return w.run.values[o.from:o.to]
	case keptOf:
		o := w.kept.w.program.steps[in.at].out
		return w.kept.w.run.values[o.from:o.to]
	}
	return unitTable
}

// worthTable is the adjoint of an input.
func (w *work) worthTable(in input) []float64 {
	switch in.source {
	case unaryOf:
		u := w.unary[in.at]
		return w.run.adjoint[u : u+w.card[in.at]]
	case factorOf:
		f := &w.factors[in.at]
		return w.run.adjoint[f.data.from:f.data.to]
	case productOf:
		o := w.program.steps[in.at].out
		return w.run.worth[o.from:o.to]
	}
	return nil
}

// breath is how many entries are worked on between two looks at the context.
const breath = 1 << 16

// forward eliminates all variables. It reports false when nothing is left.
func (w *work) forward(ctx context.Context) (bool, error) {
	r, pr := &w.run, w.program
	r.total = w.scale
	r.values = resize(r.values, pr.room)
	r.exp = resize(r.exp, len(pr.steps))
	r.bound = resize(r.bound, len(pr.steps))
	work := 0
	for i := range pr.steps {
		s := &pr.steps[i]
		out := r.values[s.out.from:s.out.to]
		a, b := w.table(s.a), w.table(s.b)
		if work += len(out) * int(s.card); work >= breath {
			work = 0
			if err := ctx.Err(); err != nil {
				return false, err
			}
		}
		if err := s.multiply(ctx, pr, out, a, b); err != nil {
			return false, err
		}
		if s.root {
			r.exp[i] = 0
			if !r.total.mul(out[0]) {
				return false, nil
			}
			continue
		}
		r.exp[i] = 0
		r.bound[i] = w.boundOf(s.a, r.bound) + w.boundOf(s.b, r.bound) + bits.Len32(uint32(s.card))
		if r.bound[i] < safe && sizeable(out) {
			continue
		}
		e, ok := rescale(out)
		if !ok {
			return false, nil
		}
		r.exp[i], r.bound[i] = e, nearOne
		r.total.e += e
	}
	return true, nil
}

// A table is rescaled when it may be tiny or the bound on its largest,
// in powers of two, is no longer safe. What has been rescaled is near one.
const (
	tiny    = 1e-60
	safe    = 300
	nearOne = 8
)

// sizeable tells whether a table surely has a number that is not tiny, by a few of
// them.
func sizeable(table []float64) bool {
	n := len(table)
	for _, x := range [...]float64{table[0], table[n-1], table[n/2], table[n/3]} {
		if x > tiny || x < -tiny {
			return true
		}
	}
	return false
}

// boundOf is a bound on the magnitudes of an input.
func (w *work) boundOf(in input, of []int) int {
	switch in.source {
	case productOf:
		return of[in.at]
	case keptOf:
		return w.kept.w.run.bound[in.at]
	case unit:
		return 0
	}
	return nearOne
}

// multiply computes out.
func (s *step) multiply(ctx context.Context, pr *program, out, a, b []float64) error {
	k := walk{dims: pr.dims[s.dims.from:s.dims.to]}
	n := int(s.row)
	card, ownA, ownB := int(s.card), int(s.ownA), int(s.ownB)
	rowA, rowB := int(s.rowA), int(s.rowB)
	var offA, offB []int32
	if s.pattern >= 0 {
		offA = pr.offs[s.pattern : int(s.pattern)+n]
		offB = pr.offs[int(s.pattern)+n : int(s.pattern)+2*n]
	}
	work := 0
	for at := 0; at < len(out); at += n {
		row := out[at : at+n]
		a, b := a[k.a:], b[k.b:]
		switch {
		case offA != nil && card == 1:
			for j := range row {
				row[j] = a[offA[j]] * b[offB[j]]
			}
		case offA != nil && card == 2 && ownA == 1 && ownB == 1:
			for j := range row {
				i, l := offA[j], offB[j]
				row[j] = a[i]*b[l] + a[i+1]*b[l+1]
			}
		case offA != nil && card == 3 && ownA == 1 && ownB == 1:
			for j := range row {
				i, l := int(offA[j]), int(offB[j])
				x, y := a[i:i+3:i+3], b[l:l+3:l+3]
				row[j] = x[0]*y[0] + x[1]*y[1] + x[2]*y[2]
			}
		case offA != nil && ownA == 1 && ownB == 1:
			for j := range row {
				i, l := offA[j], offB[j]
				row[j] = dot(a[i:int(i)+card], b[l:int(l)+card])
			}
		case offA != nil:
			for j := range row {
				i, l := int(offA[j]), int(offB[j])
				sum := 0.0
				for range card {
					sum += a[i] * b[l]
					i += ownA
					l += ownB
				}
				row[j] = sum
			}
		case card == 1 && rowA == 1 && rowB == 0:
			a, x := a[:len(row)], b[0]
			for j := range row {
				row[j] = a[j] * x
			}
		case card == 1 && rowA == 1 && rowB == 1:
			a, b := a[:len(row)], b[:len(row)]
			for j := range row {
				row[j] = a[j] * b[j]
			}
		case card == 1:
			i, l := 0, 0
			for j := range row {
				row[j] = a[i] * b[l]
				i += rowA
				l += rowB
			}
		case card == 2 && ownA == 1 && ownB == 1 && rowA == 2 && rowB == 0:
			a, x, y := a[:2*len(row)], b[0], b[1]
			for j := range row {
				row[j] = a[0]*x + a[1]*y
				a = a[2:]
			}
		case card == 2 && ownA == 1 && ownB == 1 && rowA == 2 && rowB == 2:
			a, b := a[:2*len(row)], b[:2*len(row)]
			for j := range row {
				row[j] = a[0]*b[0] + a[1]*b[1]
				a, b = a[2:], b[2:]
			}
		case card == 2:
			i, l := 0, 0
			for j := range row {
				row[j] = a[i]*b[l] + a[i+ownA]*b[l+ownB]
				i += rowA
				l += rowB
			}
		case card == 3 && ownA == 1 && ownB == 1 && rowB == 0:
			y := b[:3:3]
			i := 0
			for j := range row {
				x := a[i : i+3 : i+3]
				row[j] = x[0]*y[0] + x[1]*y[1] + x[2]*y[2]
				i += rowA
			}
		case card == 3 && ownA == 1 && ownB == 1:
			i, l := 0, 0
			for j := range row {
				x, y := a[i:i+3:i+3], b[l:l+3:l+3]
				row[j] = x[0]*y[0] + x[1]*y[1] + x[2]*y[2]
				i += rowA
				l += rowB
			}
		case ownA == 1 && ownB == 1:
			i, l := 0, 0
			for j := range row {
				row[j] = dot(a[i:i+card], b[l:l+card])
				i += rowA
				l += rowB
			}
		default:
			for j := range row {
				i, l := j*rowA, j*rowB
				sum := 0.0
				for range card {
					sum += a[i] * b[l]
					i += ownA
					l += ownB
				}
				row[j] = sum
			}
		}
		k.next()
		if work += n * card; work >= breath {
			work = 0
			if err := ctx.Err(); err != nil {
				return err
			}
		}
	}
	return nil
}

func dot(a, b []float64) float64 {
	sum := 0.0
	b = b[:len(a)]
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// axpy adds x times a table to another.
func axpy(into, a []float64, x float64) {
	into = into[:len(a)]
	for i, y := range a {
		into[i] += x * y
	}
}

// rescale brings the largest magnitude of a table near one, by a power of two so
// that nothing is rounded, and returns the exponent. It reports false for a table
// of zeros.
func rescale(table []float64) (int, bool) {
	most := 0.0
	for _, x := range table {
		if x > most {
			most = x
		} else if -x > most {
			most = -x
		}
	}
	if most == 0 {
		return 0, false
	}
	_, e := math.Frexp(most)
	if e > -nearOne && e < nearOne {
		return 0, true // near enough
	}
	if e > -1000 && e < 1000 {
		by := math.Ldexp(1, -e)
		for i := range table {
			table[i] *= by
		}
		return e, true
	}
	for i, x := range table {
		table[i] = math.Ldexp(x, -e)
	}
	return e, true
}

// backward computes what the tables are worth, relative to the total: those of the
// variables asked for, or all of them; and those of signed numbers, to bound their
// rounding.
func (w *work) backward(ctx context.Context, all bool) error {
	r, pr := &w.run, w.program
	n := len(pr.steps)
	r.wanted = resize(r.wanted, n)
	r.signed = resize(r.signed, n)
	r.lift = resize(r.lift, n)
	r.boundWorth = resize(r.boundWorth, n)
	r.worth = resize(r.worth, pr.room)
	r.adjoint = resize(r.adjoint, len(w.numbers))
	r.liftOf[0] = resize(r.liftOf[0], len(w.card))
	r.liftOf[1] = resize(r.liftOf[1], len(w.factors))
	r.rounded = 0
	wanted := func(in input) bool {
		switch in.source {
		case unaryOf:
			v := w.origin[in.at]
			return all || v >= 0 && w.asked[v]
		case factorOf:
			return all
		case productOf:
			return r.wanted[in.at]
		}
		return false
	}
	signed := func(in input) bool {
		if w.kept != nil {
			return false // the frame's own rounding is little
		}
		switch in.source {
		case unaryOf:
			return w.origin[in.at] < 0 && w.signed // of a hidden variable
		case factorOf:
			return w.factors[in.at].signed
		case productOf:
			return r.signed[in.at]
		}
		return false
	}
	for i := range pr.steps {
		s := &pr.steps[i]
		r.signed[i] = signed(s.a) || signed(s.b)
		r.wanted[i] = wanted(s.a) || wanted(s.b)
	}
	work := 0
	for i := n - 1; i >= 0; i-- {
		s := &pr.steps[i]
		if !r.wanted[i] && !r.signed[i] {
			continue
		}
		worth := r.worth[s.out.from:s.out.to]
		if s.root {
			// A root is rarely rescaled, and 1/x might overflow.
			f, e := math.Frexp(r.values[s.out.from])
			worth[0] = 1 / f
			r.lift[i], r.boundWorth[i] = -e, 1
		}
		if work += len(worth) * int(s.card); work >= breath {
			work = 0
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		lift := r.lift[i] - r.exp[i]
		a, b := w.table(s.a), w.table(s.b)
		if r.signed[i] {
			// The rounding of a sum is in proportion to the magnitudes of its terms.
			m, err := s.magnitude(ctx, pr, worth, a, b)
			if err != nil {
				return err
			}
			r.rounded += ulp * float64(s.card) * math.Ldexp(m, lift)
		}
		var intoA, intoB []float64
		if wanted(s.a) || r.signed[i] && s.a.source == productOf {
			intoA = w.worthTable(s.a)
			clear(intoA)
		}
		if wanted(s.b) || r.signed[i] && s.b.source == productOf {
			intoB = w.worthTable(s.b)
			clear(intoB)
		}
		if err := s.appraise(ctx, pr, worth, a, b, intoA, intoB); err != nil {
			return err
		}
		grow := r.boundWorth[i] + bits.Len(uint(len(worth)*int(s.card)))
		w.settleWorth(s.a, a, intoA, lift, grow+w.boundOf(s.b, r.bound), r.signed[i])
		w.settleWorth(s.b, b, intoB, lift, grow+w.boundOf(s.a, r.bound), r.signed[i])
	}
	return nil
}

// settleWorth rescales a worth and notes its exponent. Where tables without signed
// numbers meet signed ones, the rounding that went into them is added to the bound.
func (w *work) settleWorth(in input, table, worth []float64, lift, bound int, signed bool) {
	if worth == nil {
		return
	}
	r := &w.run
	if bound >= safe || !sizeable(worth) {
		e, _ := rescale(worth)
		lift += e
		bound = nearOne
	}
	switch in.source {
	case unaryOf:
		r.liftOf[0][in.at] = lift
	case factorOf:
		r.liftOf[1][in.at] = lift
	case productOf:
		r.lift[in.at], r.boundWorth[in.at] = lift, bound
		if signed && !r.signed[in.at] {
			m := 0.0
			for i, x := range worth {
				m += math.Abs(x * table[i])
			}
			r.rounded += 2 * ulp * float64(w.program.steps[in.at].below) * math.Ldexp(m, lift)
		}
	}
}

// ulp is the rounding of one multiplication or addition. A product has one, a sum of
// so many products one for each of them.
const ulp = 1.0 / (1 << 53)

// magnitude is the sum of |worth * a * b|.
func (s *step) magnitude(ctx context.Context, pr *program, worth, a, b []float64) (float64, error) {
	k := walk{dims: pr.dims[s.dims.from:s.dims.to]}
	n := int(s.row)
	card, ownA, ownB := int(s.card), int(s.ownA), int(s.ownB)
	rowA, rowB := int(s.rowA), int(s.rowB)
	var offA, offB []int32
	if s.pattern >= 0 {
		offA = pr.offs[s.pattern : int(s.pattern)+n]
		offB = pr.offs[int(s.pattern)+n : int(s.pattern)+2*n]
	}
	total, work := 0.0, 0
	for at := 0; at < len(worth); at += n {
		row := worth[at : at+n]
		a, b := a[k.a:], b[k.b:]
		switch {
		case card == 1 && offA != nil:
			for j, x := range row {
				total += math.Abs(x * a[offA[j]] * b[offB[j]])
			}
		case card == 1:
			i, l := 0, 0
			for _, x := range row {
				total += math.Abs(x * a[i] * b[l])
				i += rowA
				l += rowB
			}
		case card == 2 && offA != nil:
			for j, x := range row {
				i, l := int(offA[j]), int(offB[j])
				total += math.Abs(x) * (math.Abs(a[i]*b[l]) + math.Abs(a[i+ownA]*b[l+ownB]))
			}
		case card == 2:
			i, l := 0, 0
			for _, x := range row {
				total += math.Abs(x) * (math.Abs(a[i]*b[l]) + math.Abs(a[i+ownA]*b[l+ownB]))
				i += rowA
				l += rowB
			}
		default:
			for j, x := range row {
				i, l := j*rowA, j*rowB
				if offA != nil {
					i, l = int(offA[j]), int(offB[j])
				}
				sum := 0.0
				for range card {
					sum += math.Abs(a[i] * b[l])
					i += ownA
					l += ownB
				}
				total += math.Abs(x) * sum
			}
		}
		k.next()
		if work += n * card; work >= breath {
			work = 0
			if err := ctx.Err(); err != nil {
				return 0, err
			}
		}
	}
	return total, nil
}

// appraise adds what the inputs of a step are worth, each where it is wanted.
func (s *step) appraise(ctx context.Context, pr *program, worth, a, b, intoA, intoB []float64) error {
	if intoA == nil && intoB == nil {
		return nil
	}
	k := walk{dims: pr.dims[s.dims.from:s.dims.to]}
	n := int(s.row)
	work := 0
	for at := 0; at < len(worth); at += n {
		row := worth[at : at+n]
		if intoA != nil {
			s.appraiseRow(pr, row, b[k.b:], intoA[k.a:], false)
		}
		if intoB != nil {
			s.appraiseRow(pr, row, a[k.a:], intoB[k.b:], true)
		}
		k.next()
		if work += n * int(s.card); work >= breath {
			work = 0
			if err := ctx.Err(); err != nil {
				return err
			}
		}
	}
	return nil
}

// appraiseRow adds what one input is worth for one row: the worth of the product
// times the other input. Into is a, or b where swapped.
func (s *step) appraiseRow(pr *program, row, other, into []float64, swapped bool) {
	n := len(row)
	card, own, ownO := int(s.card), int(s.ownA), int(s.ownB)
	step, stepO := int(s.rowA), int(s.rowB)
	if swapped {
		own, ownO = ownO, own
		step, stepO = stepO, step
	}
	if s.pattern >= 0 {
		offs := pr.offs[s.pattern : int(s.pattern)+n]
		offsO := pr.offs[int(s.pattern)+n : int(s.pattern)+2*n]
		if swapped {
			offs, offsO = offsO, offs
		}
		switch {
		case card == 1:
			for j, x := range row {
				into[offs[j]] += x * other[offsO[j]]
			}
		case card == 2 && own == 1 && ownO == 1:
			for j, x := range row {
				i, l := offs[j], offsO[j]
				into[i] += x * other[l]
				into[i+1] += x * other[l+1]
			}
		case own == 1 && ownO == 1:
			for j, x := range row {
				i, l := offs[j], offsO[j]
				axpy(into[i:], other[l:int(l)+card], x)
			}
		default:
			for j, x := range row {
				i, l := int(offs[j]), int(offsO[j])
				for range card {
					into[i] += x * other[l]
					i += own
					l += ownO
				}
			}
		}
		return
	}
	switch {
	case card == 1 && step == 0 && stepO == 1:
		sum := 0.0
		other = other[:n]
		for j, x := range row {
			sum += x * other[j]
		}
		into[0] += sum
	case card == 1 && step == 1 && stepO == 0:
		y := other[0]
		into = into[:n]
		for j, x := range row {
			into[j] += x * y
		}
	case card == 1 && step == 1 && stepO == 1:
		into, other = into[:n], other[:n]
		for j, x := range row {
			into[j] += x * other[j]
		}
	case card == 2 && own == 1 && ownO == 1 && step == 2 && stepO == 0:
		y, z := other[0], other[1]
		into = into[:2*n]
		for _, x := range row {
			into[0] += x * y
			into[1] += x * z
			into = into[2:]
		}
	case card == 2 && own == 1 && ownO == 1 && step == 0 && stepO == 2:
		y, z := 0.0, 0.0
		other = other[:2*n]
		for _, x := range row {
			y += x * other[0]
			z += x * other[1]
			other = other[2:]
		}
		into[0] += y
		into[1] += z
	case card == 2 && own == 1 && ownO == 1 && step == 2 && stepO == 2:
		into, other = into[:2*n], other[:2*n]
		for _, x := range row {
			into[0] += x * other[0]
			into[1] += x * other[1]
			into, other = into[2:], other[2:]
		}
	case own == 1 && ownO == 1:
		for j, x := range row {
			l := j * stepO
			axpy(into[j*step:], other[l:l+card], x)
		}
	default:
		for j, x := range row {
			i, l := j*step, j*stepO
			for range card {
				into[i] += x * other[l]
				i += own
				l += ownO
			}
		}
	}
}
