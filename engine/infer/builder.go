package infer

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Var names a variable of one model: the order in which it was added, from 0.
type Var int

// kind tells how a variable depends on its parents.
type kind uint8

const (
	tableKind kind = iota // a table of its own; a root is one without parents
	maxKind               // the largest level that arrives
	minKind               // the smallest level of all parents
)

// node is a variable as it was declared.
type node struct {
	name    string
	kind    kind
	states  int
	parents []Var
	pass    []float64 // maxKind: one per parent
	levels  [][]int   // maxKind: one per parent, nil where a state is its own level
	leak    []float64 // maxKind: a distribution, or nil
	cpt     []float64 // tableKind: parents slowest, own state fastest
}

// Link is one way into a [Builder.Max] gate: with probability Pass the parent's
// level arrives at the gate, otherwise level 0 does. Levels gives the level of
// each state of the parent; where it is nil, a state is its own level.
type Link struct {
	Parent Var
	Pass   float64
	Levels []int
}

// sumSlack is how far a distribution's sum may be from one. Published tables are
// rounded to a few digits, so a little is tolerated; it is normalised away.
const sumSlack = 1e-6

// maxStates bounds the states of one variable and, by way of the table size,
// keeps products of state counts far from overflow.
const maxStates = 1 << 10

// Builder collects the variables of a model. Mistakes are kept and reported all
// at once by [Builder.Build], so that calls can be written one after the other.
type Builder struct {
	nodes   []node
	faults  []error
	budget  int
	precise float64
	shared  *Shared
	at      Var    // which variable the next one replaces, or -1
	edited  []Var  // those that were replaced
	from    *Model // whose variables were taken over

	// What nodes are made of is cut from larger pieces.
	vars    []Var
	numbers []float64
	tables  [][]int
}

// cut takes n values from a piece, which it makes anew where it is at its end, the larger
// the more variables there are.
func cut[T any](b *Builder, piece *[]T, n int) []T {
	if len(*piece) < n {
		*piece = make([]T, max(n, min(2*len(b.nodes)+16, 1<<10)))
	}
	out := (*piece)[:n:n]
	*piece = (*piece)[n:]
	return out
}

// NewBuilder returns an empty builder.
func NewBuilder() *Builder { return &Builder{budget: DefaultBudget, precise: precise, at: -1} }

// Edit returns a builder that holds the variables of a model, to replace some of them or
// to add others. The model stays as it is.
func (m *Model) Edit() *Builder {
	return &Builder{nodes: slices.Clone(m.nodes), budget: m.budget, precise: m.precise, shared: m.shared, at: -1, from: m}
}

// Replace makes the variable that is declared next take the place of v, with its name, and
// with parents that stand before it.
func (b *Builder) Replace(v Var) {
	if v < 0 || int(v) >= len(b.nodes) {
		b.fault("variable %d is to be replaced, which there is not", v)
		return
	}
	b.at = v
}

// here is the variable that is declared next.
func (b *Builder) here() Var {
	if b.at >= 0 {
		return b.at
	}
	return Var(len(b.nodes))
}

// put takes in a variable.
func (b *Builder) put(n node) Var {
	v := b.here()
	if b.at < 0 {
		b.nodes = append(b.nodes, n)
		return v
	}
	if old := b.nodes[v].name; n.name != old {
		b.fault("%s: it replaces %s, and must be of that name", n.name, old)
	}
	b.nodes[v] = n
	b.edited = append(b.edited, v)
	b.at = -1
	return v
}

// DefaultBudget is how many numbers a question may hold in tables at a time where
// nothing else is said: half a gigabyte of them.
const DefaultBudget = 1 << 26

// maxBudget keeps what is within a budget far from overflow.
const maxBudget = 1<<31 - 1

// Budget sets how many numbers, of eight bytes each, a question may hold in tables
// at a time. What takes more is refused with a *[TooLarge], before room for it is
// made.
func (b *Builder) Budget(numbers int) {
	b.budget = min(max(numbers, 1), maxBudget)
}

// Precision sets how far rounding may move a result, relative to the probability of the
// evidence, before it is computed again with less cancellation, which can take many times
// as long: from 1e-9, what it is where nothing else is said, to 1e-6.
func (b *Builder) Precision(relative float64) {
	b.precise = max(precise, min(relative, hopeless))
}

// Root adds a variable without parents: its states are 0..len(probs)-1.
func (b *Builder) Root(name string, probs ...float64) Var {
	return b.Table(name, len(probs), nil, probs)
}

// Grow makes room for so many more variables at once.
func (b *Builder) Grow(n int) { b.nodes = slices.Grow(b.nodes, max(n, 0)) }

// Share makes the model use scratch memory and programs in common with others.
func (b *Builder) Share(s *Shared) { b.shared = s }

// Table adds a variable with a conditional probability table, row-major: the
// first parent varies slowest, the variable's own state fastest.
func (b *Builder) Table(name string, states int, parents []Var, cpt []float64) Var {
	n := node{name: name, kind: tableKind, states: states}
	rows, sound := 1, b.checkStates(name, states)
	n.parents = cut(b, &b.vars, len(parents))[:0]
	for i, p := range parents {
		if !b.checkParent(name, p) {
			sound = false
			continue
		}
		for _, q := range parents[:i] {
			if p == q {
				b.fault("%s: parent %s is listed twice", name, b.nodes[p].name)
				sound = false
			}
		}
		n.parents = append(n.parents, p)
		if rows > maxTable {
			continue // too large already; do not overflow
		}
		rows *= max(b.nodes[p].states, 1)
	}
	if sound && (rows > maxTable || len(cpt) != rows*states) {
		b.fault("%s: the table has %d entries, but %d rows of %d states are needed", name, len(cpt), rows, states)
		sound = false
	}
	if sound {
		n.cpt = cut(b, &b.numbers, len(cpt))
		for r := 0; r < len(cpt); r += states {
			if err := distribution(n.cpt[r:r+states], cpt[r:r+states]); err != nil {
				b.fault("%s: row %d: %w", name, r/states, err)
			}
		}
	}
	return b.put(n)
}

// Max adds a noisy-MAX gate (a noisy-OR when it has two states): each link
// passes its parent's level on with its probability, else level 0, and the
// variable takes the largest level that arrives. The leak is a distribution over
// the variable's own states that competes as one more arrival; nil stands for
// none. Parent levels above states-1 count as states-1.
func (b *Builder) Max(name string, states int, links []Link, leak []float64) Var {
	n := node{name: name, kind: maxKind, states: states}
	sound := b.checkStates(name, states)
	n.parents, n.pass = cut(b, &b.vars, len(links))[:0], cut(b, &b.numbers, len(links))[:0]
	if slices.ContainsFunc(links, func(l Link) bool { return l.Levels != nil }) {
		n.levels = cut(b, &b.tables, len(links))[:0]
	}
links:
	for _, l := range links {
		if !b.checkParent(name, l.Parent) {
			continue
		}
		if !(l.Pass >= 0 && l.Pass <= 1) {
			b.fault("%s: the link from %s passes with probability %v, which is not in 0..1", name, b.nodes[l.Parent].name, l.Pass)
			continue
		}
		if l.Levels != nil && !b.checkLevels(name, l) {
			continue
		}
		for i, p := range n.parents {
			if p != l.Parent {
				continue
			}
			if n.levels != nil && !slices.Equal(n.levels[i], l.Levels) {
				b.fault("%s: two links from %s see different levels", name, b.nodes[p].name)
			}
			// Two ways from one parent are one stronger way.
			n.pass[i] += l.Pass * (1 - n.pass[i])
			continue links
		}
		n.parents = append(n.parents, l.Parent)
		n.pass = append(n.pass, l.Pass)
		if n.levels != nil {
			n.levels = append(n.levels, slices.Clone(l.Levels))
		}
	}
	if leak != nil && sound {
		if len(leak) != states {
			b.fault("%s: the leak has %d entries for %d states", name, len(leak), states)
		} else {
			n.leak = cut(b, &b.numbers, states)
			if err := distribution(n.leak, leak); err != nil {
				b.fault("%s: leak: %w", name, err)
			}
		}
	}
	return b.put(n)
}

// Min adds a conjunction: the variable takes the smallest level of its parents,
// but at most states-1.
func (b *Builder) Min(name string, states int, parents []Var) Var {
	n := node{name: name, kind: minKind, states: states}
	b.checkStates(name, states)
	if len(parents) == 0 {
		b.fault("%s: a conjunction needs at least one parent", name)
	}
parents:
	for _, p := range parents {
		if !b.checkParent(name, p) {
			continue
		}
		for _, q := range n.parents {
			if p == q {
				continue parents
			}
		}
		n.parents = append(n.parents, p)
	}
	return b.put(n)
}

// Build returns the model, or every mistake made on the way to it.
func (b *Builder) Build() (*Model, error) {
	faults := b.faults[:len(b.faults):len(b.faults)]
	if b.from == nil || len(b.nodes) > b.from.Len() { // else the names were checked
		seen := make(map[string]bool, len(b.nodes))
		for i, n := range b.nodes {
			switch {
			case n.name == "":
				faults = append(faults, fmt.Errorf("variable %d has no name", i))
			case seen[n.name]:
				faults = append(faults, fmt.Errorf("%s: two variables have this name", n.name))
			}
			seen[n.name] = true
		}
	}
	faults = append(faults, b.misfits()...)
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	m := &Model{nodes: b.nodes[:len(b.nodes):len(b.nodes)], limits: usual, budget: b.budget, precise: b.precise, shared: b.shared, from: b.from, edited: b.edited}
	if m.shared == nil {
		m.shared = &Shared{}
	}
	return m, nil
}

// misfits are variables that do not fit a parent any more, which has other states now.
func (b *Builder) misfits() (faults []error) {
	if len(b.edited) == 0 {
		return nil
	}
	for i := range b.nodes {
		n := &b.nodes[i]
		size := n.states
		for k, p := range n.parents {
			size *= b.nodes[p].states
			if n.levels != nil && n.levels[k] != nil && len(n.levels[k]) != b.nodes[p].states {
				faults = append(faults, fmt.Errorf("%s: the link from %s gives %d levels, which has %d states now", n.name, b.nodes[p].name, len(n.levels[k]), b.nodes[p].states))
			}
		}
		if n.kind == tableKind && len(n.cpt) != size {
			faults = append(faults, fmt.Errorf("%s: the table has %d entries, and %d are needed for the states that its parents have now", n.name, len(n.cpt), size))
		}
	}
	return faults
}

func (b *Builder) fault(format string, args ...any) {
	b.faults = append(b.faults, fmt.Errorf(format, args...))
}

func (b *Builder) checkStates(name string, states int) bool {
	if states < 1 || states > maxStates {
		b.fault("%s: %d states; there must be 1..%d", name, states, maxStates)
		return false
	}
	return true
}

func (b *Builder) checkParent(name string, p Var) bool {
	if p < 0 || p >= b.here() {
		b.fault("%s: parent %d is not a variable added before", name, p)
		return false
	}
	return true
}

func (b *Builder) checkLevels(name string, l Link) bool {
	from := &b.nodes[l.Parent]
	if len(l.Levels) != from.states {
		b.fault("%s: the link from %s gives %d levels for %d states", name, from.name, len(l.Levels), from.states)
		return false
	}
	for _, x := range l.Levels {
		if x < 0 {
			b.fault("%s: the link from %s gives a level below 0", name, from.name)
			return false
		}
	}
	return true
}

// distribution writes p so that it sums to one, or says why it is no distribution.
func distribution(to, p []float64) error {
	sum := 0.0
	for _, x := range p {
		if !(x >= 0 && x <= 1+sumSlack) {
			return fmt.Errorf("%v is not a probability", x)
		}
		sum += x
	}
	if math.Abs(sum-1) > sumSlack {
		return fmt.Errorf("the probabilities sum to %v, not to 1", sum)
	}
	for i, x := range p {
		to[i] = x / sum
	}
	return nil
}
