package infer

import "sync"

// Model is an immutable network of variables, safe for use by many goroutines.
type Model struct {
	nodes  []node
	limits limits
	pool   sync.Pool // of *work: scratch memory, so that a run allocates little
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
