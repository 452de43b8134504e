// Package infer computes exact probabilities in networks of discrete variables.
//
// A [Builder] collects variables: roots, tables, noisy-MAX gates (noisy-OR when
// they have two levels) and conjunctions. [Builder.Build] checks them and returns
// an immutable [Model]. [Evidence] goes in, a [Posterior] comes out; or a
// [Calibration], which also tells how P(evidence) depends on each number of the model
// and on each observation. The package knows nothing of what the variables stand for.
//
// Every question takes a context, and is given up soon after the context is done. A
// question that would hold more numbers than the model's budget is divided into cases
// that do not, and refused with a *[TooLarge] where those would be too many.
//
// # How it works
//
// Each question reduces the model first (reduce.go). Variables that are neither
// observed, asked for, nor ancestors of such are left out; known states are sliced
// out; a gate that was seen at its lowest level becomes one factor on each of its
// parents, in time linear in their number. A gate with many parents is not
// expanded to a table but written as a sum of as many products as it has levels,
// by a helper variable with signed numbers (gate.go).
//
// A greedy order of elimination follows (order.go). It is compiled to a program of
// products of two tables at a time, which is kept for further questions of the same
// structure (model.go). A sweep forward yields the probability of the evidence, and
// one backward the worth of every table, hence all posteriors (propagate.go) and all
// slopes (calibrate.go).
//
// Signed numbers may cancel. The backward sweep bounds how much rounding that makes
// of the result; where it threatens the ninth digit, the question is solved again
// with fewer signed numbers, and at last with none (infer.go).
//
// Questions that differ in little, in some of the evidence or in the states of some
// variables, are served by a [Frame]: one of them, worked out once, gives the others its
// order and all messages that come of nothing that differs (frame.go). Where models differ
// in evidence alone, [Model.Guide] gives them one order.
//
// What is too large is solved by the states of a few variables, one after the other
// (cutset.go). Joint assignments are bounded by maximising instead of summing
// (maximal.go), and searched for with these bounds (explain.go). Where even cases are
// too many, [Model.Bound] gives bounds that are proven, the tighter the more work it
// may do (bound.go).
//
// The same input gives the same bits.
//
// # Sources
//
//   - F. J. Díez & S. F. Galán, Efficient computation for the noisy MAX, Int. J.
//     Intelligent Systems 18 (2003): gates as sums of products.
//   - A. Darwiche, A differential approach to inference in Bayesian networks, J.
//     ACM 50 (2003): posteriors and slopes as derivatives.
//   - R. E. Tarjan & M. Yannakakis, Simple linear-time algorithms to test chordality of
//     graphs, SIAM J. Computing 13 (1984): an order turned about to end anywhere.
//   - J. Pearl, Probabilistic Reasoning in Intelligent Systems (1988): likelihoods
//     as evidence, and conditioning on a cutset.
//   - J. D. Park & A. Darwiche, Solving MAP exactly using systematic search, UAI
//     (2003): bounds on joint assignments.
//   - R. Dechter & I. Rish, Mini-buckets, J. ACM 50 (2003); Q. Liu & A. Ihler, Bounding
//     the partition function using Hölder's inequality, ICML (2011): upper bounds.
//   - U. Junker, QuickXplain, AAAI (2004): contradictions by halves.
package infer
