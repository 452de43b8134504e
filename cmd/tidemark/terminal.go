package main

import (
	"io"
	"os"
	"runtime/debug"
	"strconv"
	"strings"

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

// waiting tells whether an input is a file or pipe that holds something not yet
// read. It reads none of it, which may be meant for another, and never waits.
func waiting(in io.Reader) bool {
	f, ok := in.(*os.File)
	if !ok || f == nil {
		return false
	}
	st, err := f.Stat()
	if err != nil {
		return false
	}
	switch {
	case st.Mode().IsRegular():
		at, err := f.Seek(0, io.SeekCurrent)
		return err == nil && at < st.Size()
	case st.Mode()&os.ModeNamedPipe != 0:
		return piped(f)
	}
	return false
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

// colour tells whether an output takes colours: a terminal that is not dumb, where
// NO_COLOR (no-color.org) does not forbid it.
func colour(out io.Writer) bool {
	f, ok := out.(*os.File)
	return ok && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd()))
}

// asciiOnly tells whether the locale names a character set other than UTF-8. Where it
// names none, as in a pipe without any, UTF-8 is written.
func asciiOnly() bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := os.Getenv(name); v != "" {
			_, set, named := strings.Cut(strings.ToLower(v), ".")
			set = strings.ReplaceAll(set, "-", "")
			return named && !strings.HasPrefix(set, "utf8")
		}
	}
	return false
}
