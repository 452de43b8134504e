// Package infer computes exact probabilities in networks of discrete variables.
//
// A [Builder] collects variables: roots, tables, noisy-MAX gates (noisy-OR when
// they have two levels) and conjunctions. [Builder.Build] checks them and returns
// an immutable [Model]. [Evidence] goes in, a [Posterior] comes out. The package
// knows nothing of what the variables stand for.
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
// A greedy order of elimination follows (order.go), and a sweep forward, which
// yields the probability of the evidence, and one backward, which yields all
// posteriors at once (propagate.go).
//
// Signed numbers may cancel. The backward sweep tells how much rounding that makes
// of the result; where it threatens the tenth digit, the question is solved again
// with fewer signed numbers, and at last with none (infer.go).
//
// The same input gives the same bits.
//
// # Sources
//
//   - F. J. Díez & S. F. Galán, Efficient computation for the noisy MAX, Int. J.
//     Intelligent Systems 18 (2003): gates as sums of products.
//   - A. Darwiche, A differential approach to inference in Bayesian networks, J.
//     ACM 50 (2003): posteriors as derivatives.
//   - J. Pearl, Probabilistic Reasoning in Intelligent Systems (1988): likelihoods
//     as evidence.
package infer
