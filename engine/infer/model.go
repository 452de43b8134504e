package infer

import (
	"slices"
	"sync"
)

// Model is an immutable network of variables, safe for use by many goroutines.
type Model struct {
	nodes   []node
	limits  limits
	budget  int     // of numbers in tables
	precise float64 // see Builder.Precision
	shared  *Shared
	guide   *guide // see Model.Guide
	from    *Model // which it was made from (see Edit)
	edited  []Var  // what was replaced in that
}

// Shared is what models may have in common: scratch memory, so that a question
// allocates little, and programs for questions of a structure that came up before.
// Sharing changes no answer. The zero value is ready for use, by many goroutines.
type Shared struct {
	pool  sync.Pool // of *work
	mutex sync.Mutex
	kept  []*work // small ones, which the garbage collector need not empty the pool of
	cache cache
}

// maxKept is how many works are kept, and keptNumbers how large each may be.
const (
	maxKept     = 4
	keptNumbers = 1 << 21
)

func (s *Shared) get() *work {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if n := len(s.kept); n > 0 {
		w := s.kept[n-1]
		s.kept = s.kept[:n-1]
		return w
	}
	w, _ := s.pool.Get().(*work)
	return w
}

func (s *Shared) put(w *work) {
	size := cap(w.numbers) + cap(w.run.values) + cap(w.plan.rim.edges) + cap(w.sweep.tables) + cap(w.sweep.messages)
	if size <= keptNumbers {
		s.mutex.Lock()
		defer s.mutex.Unlock()
		if len(s.kept) < maxKept {
			s.kept = append(s.kept, w)
			return
		}
	}
	s.pool.Put(w)
}

// Len is the number of variables; they are 0..Len()-1.
func (m *Model) Len() int { return len(m.nodes) }

// Name returns the name the variable was added under, "" for an unknown one.
func (m *Model) Name(v Var) string {
	if !m.has(v) {
		return ""
	}
	return m.nodes[v].name
}

// States returns the number of states of a variable, 0 for an unknown one.
func (m *Model) States(v Var) int {
	if !m.has(v) {
		return 0
	}
	return m.nodes[v].states
}

func (m *Model) has(v Var) bool { return v >= 0 && int(v) < len(m.nodes) }

// cache keeps programs by the structure of the problem. A program is a function of
// the structure, so an answer is the same whether it was found here or made anew.
type cache struct {
	mutex   sync.Mutex
	once    map[uint64]bool // structures that came up
	entries map[uint64][]*entry
	size    int
}

// entry is what is known of one structure. It is never changed once it is in the
// cache.
type entry struct {
	key     []int32
	first   float64 // the total size of the first order, or less when it was given up
	exact   bool    // it was not given up
	guided  bool    // the order is the model's guide's
	total   float64 // that of the best order; 0 where none was looked for
	program *program
	large   *TooLarge // instead of a program
}

// maxCache is about how many numbers of 4 bytes the cache holds.
const maxCache = 1 << 23

// maxOnce is how many structures are remembered to have come up.
const maxOnce = 1 << 12

// structure writes the problem's structure to key, and its hash.
func (w *work) structure() {
	guide := int32(0) // models that follow others have other programs
	if w.m.guide != nil {
		guide = w.m.guide.hash
	}
	w.key = append(w.key[:0], int32(w.m.budget), guide, int32(len(w.card)))
	w.key = append(w.key, w.card...)
	for _, f := range w.factors {
		w.key = append(w.key, f.scope.from-f.scope.to)
		w.key = append(w.key, w.scopes[f.scope.from:f.scope.to]...)
	}
	h := uint64(14695981039346656037)
	for _, x := range w.key {
		h = (h ^ uint64(uint32(x))) * 1099511628211
	}
	w.hash = h
}

// known looks up the problem's structure.
func (w *work) known() *entry {
	w.structure()
	c := &w.m.shared.cache
	c.mutex.Lock()
	defer c.mutex.Unlock()
	for _, e := range c.entries[w.hash] {
		if slices.Equal(e.key, w.key) {
			return e
		}
	}
	return nil
}

// learn keeps what was found out about the problem's structure, whose key was made
// last. A program is kept when its structure comes up for the second time: most do
// not. It is copied, for it is made in scratch memory.
func (w *work) learn(e *entry) {
	c := &w.m.shared.cache
	h := w.hash
	c.mutex.Lock()
	defer c.mutex.Unlock()
	if c.once == nil {
		c.once = map[uint64]bool{}
	}
	if !c.once[h] {
		if len(c.once) >= maxOnce {
			clear(c.once)
		}
		c.once[h] = true
		return
	}
	size := len(w.key) + 16
	if p := e.program; p != nil {
		size += 24*len(p.steps) + 3*len(p.dims) + len(p.offs) + len(p.scopes) + 3*len(p.clusters)
	}
	if size > maxCache/4 {
		return
	}
	if p := e.program; p != nil {
		q := *p
		q.steps, q.dims, q.offs = slices.Clone(p.steps), slices.Clone(p.dims), slices.Clone(p.offs)
		q.scopes, q.clusters, q.sums = slices.Clone(p.scopes), slices.Clone(p.clusters), slices.Clone(p.sums)
		e.program = &q
	}
	e.key = slices.Clone(w.key)
	if c.size += size; c.entries == nil || c.size > maxCache {
		c.entries, c.size = map[uint64][]*entry{}, size
	}
	for i, old := range c.entries[h] {
		if slices.Equal(old.key, e.key) {
			c.entries[h][i] = e
			return
		}
	}
	c.entries[h] = append(c.entries[h], e)
}
