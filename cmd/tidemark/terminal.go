package main

import (
	"os"
	"runtime/debug"
	"strconv"

	"golang.org/x/term"
)

// terminalWidth is that of the terminal on standard output, or what COLUMNS
// says, or 0 where neither is known.
func terminalWidth() int {
	if n, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && n > 0 {
		return n
	}
	if w, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
		return w
	}
	return 0
}

// version is what the build knows of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = "development"
	}
	return v
}
