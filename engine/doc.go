// Package engine works out from a case and a book what killed the engine, by
// what chain, how surely, and what to look at next.
//
// Diagnose does it all; its result is plain data that any screen can show.
// Package network grounds the book in the engine, package infer computes the
// probabilities; nothing here knows a file or a screen.
package engine
