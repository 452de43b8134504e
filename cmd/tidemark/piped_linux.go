package main

import (
	"os"
	"syscall"
	"unsafe"
)

// piped tells whether a pipe holds something.
func piped(f *os.File) bool {
	c, err := f.SyscallConn()
	if err != nil {
		return false
	}
	var n int32
	var errno syscall.Errno
	err = c.Control(func(fd uintptr) {
		_, _, errno = syscall.Syscall(syscall.SYS_IOCTL, fd, syscall.TIOCINQ, uintptr(unsafe.Pointer(&n)))
	})
	return err == nil && errno == 0 && n > 0
}
