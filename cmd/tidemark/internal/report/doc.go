// Package report shows a diagnosis and the book's cards to a person. It works
// nothing out: what it prints is in the data that it is given.
package report
