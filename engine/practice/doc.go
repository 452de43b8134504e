// Package practice makes exercises of a book: engines that failed as the book has
// it, to be found out look by look, and scored.
//
// An exercise is a world drawn from the model, in which the outcome asked about
// happened; what any look would find is settled with it, before the first question.
// A crowd of such worlds tells the rest: how likely each cause is before anything is
// looked at, which look tells most for its minutes, and how far the best plan of looks
// gets. What was found out is at the end held against the model itself.
package practice
