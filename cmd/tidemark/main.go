// Command tidemark works out from what is found when an engine is taken apart
// what killed it, by what chain, how surely, and what to look at next.
package main

import (
	"context"
	"io"
	"os"
	"runtime/debug"

	"golang.org/x/term"

	"tidemark/cmd/tidemark/internal/cli"
)

func main() {
	// An interrupt ends the program at once, as by default: no command holds
	// anything open that would have to be put in order first.

	// A command ends soon: to collect garbage seldom costs little memory and saves time.
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(300)
	}
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is main without the process around it.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	return cli.Run(ctx, args, cli.Env{In: in, Out: out, Err: errs, Width: terminalWidth(), Colour: colour(out), ASCII: asciiOnly(), Version: version(), Progress: errs == os.Stderr && term.IsTerminal(int(os.Stderr.Fd())), Waiting: func() bool { return waiting(in) }})
}
