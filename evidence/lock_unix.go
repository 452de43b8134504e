//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package evidence

import (
	"os"
	"syscall"
)

// lock keeps other runs of this program from adding to a case in the same
// folder at the same time. It locks the folder and not the file, because the
// file is replaced. Where it cannot be had, the check for a changed file just
// before the rename still stands. The system lets go of it if the program dies.
func lock(dir string) (unlock func()) {
	f, err := os.Open(dir)
	if err != nil {
		return func() {}
	}
	_ = syscall.Flock(int(f.Fd()), syscall.LOCK_EX)
	return func() { f.Close() }
}

// syncDir makes the rename itself survive a power cut.
func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
