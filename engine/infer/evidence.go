package infer

import (
	"fmt"
	"math"
	"slices"
)

// Evidence holds, for each observed variable, the likelihood of what was seen by
// state: zeros and a one for a certain observation, any non-negative numbers for
// an uncertain one. Only the ratios matter to the posterior.
type Evidence map[Var][]float64

// Hard is the likelihood of a variable with that many states seen for certain to
// be in one of them. It is all zeros, hence a contradiction, when there is no such
// state.
func Hard(state, states int) []float64 {
	l := make([]float64, max(states, 0))
	if state >= 0 && state < states {
		l[state] = 1
	}
	return l
}

// Times returns the likelihood of two independent observations of one variable.
// They should have the same length; surplus entries of the longer are dropped,
// which using the result will report.
func Times(a, b []float64) []float64 {
	l := make([]float64, min(len(a), len(b)))
	for i := range l {
		l[i] = a[i] * b[i]
	}
	return l
}

// vars returns the observed variables in order.
func (ev Evidence) vars() []Var {
	vs := make([]Var, 0, len(ev))
	for v := range ev {
		vs = append(vs, v)
	}
	slices.Sort(vs)
	return vs
}

// checkEvidence reports evidence that does not fit the model.
func (m *Model) checkEvidence(ev Evidence) error {
	for _, v := range ev.vars() {
		if !m.has(v) {
			return fmt.Errorf("evidence on variable %d, which the model does not have", v)
		}
		n := &m.nodes[v]
		if len(ev[v]) != n.states {
			return fmt.Errorf("evidence on %s has %d likelihoods for %d states", n.name, len(ev[v]), n.states)
		}
		for _, x := range ev[v] {
			if !(x >= 0) || math.IsInf(x, 1) {
				return fmt.Errorf("evidence on %s: %v is not a likelihood", n.name, x)
			}
		}
	}
	return nil
}

// checkVars reports variables the model does not have.
func (m *Model) checkVars(vs []Var) error {
	for _, v := range vs {
		if !m.has(v) {
			return fmt.Errorf("variable %d is asked for, which the model does not have", v)
		}
	}
	return nil
}
