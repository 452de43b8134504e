//go:build !linux

package main

import "os"

// piped tells whether a pipe holds something, where the system gives that as its
// size; elsewhere it is not known.
func piped(f *os.File) bool {
	st, err := f.Stat()
	return err == nil && st.Size() > 0
}
