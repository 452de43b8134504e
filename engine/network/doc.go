// Package network grounds a book in one case: it makes a variable of every
// cause, step and sign at every position that the engine has, ties them by the
// rules that apply, and enters the findings as evidence.
//
// From one Ground it builds the models that the questions need. The plain
// model has every cause and step there or not there. The models for acted and
// to blame give three levels to what lies between the thing under test and the
// outcome: for blame 0 is absent, 1 there but not without the one under test,
// 2 there anyway; for acted 0 is absent, 1 there, 2 there by a working path
// from the one under test.
package network
