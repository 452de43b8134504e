package cli

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// caseFlags are the flags of every command that reads a case.
type caseFlags struct {
	limits []string
}

func (f *caseFlags) flags(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&f.limits, "limits", nil, "hold readings against the limits in `FILE`, where the case gives none (may be given again)")
}

// open reads the case that the arguments name, with its files of limits, and holds
// it against the book. Warnings are in faults; where there is anything worse, it
// is the error.
func (f *caseFlags) open(s *shared, cmd *cobra.Command, args []string, faults *source.Faults) (*rules.Book, *evidence.Case, error) {
	name, text, err := readCase(args, cmd.InOrStdin(), faults)
	if err != nil {
		return nil, nil, err
	}
	book, err := s.book()
	if err != nil {
		return nil, nil, err
	}
	// Held against the book in the same run: all faults are told at once.
	c, ok := evidence.Parse(name, text, faults, func(c *evidence.Case, faults *source.Faults) {
		f.readLimits(c, len(args) > 0 && args[0] != "-", faults)
		engine.Check(book, c, faults)
	})
	if !ok {
		return nil, nil, faults
	}
	return book, c, nil
}

// readLimits adds the files of limits that the case names, beside its own file,
// and those of the flag.
func (f *caseFlags) readLimits(c *evidence.Case, inFile bool, faults *source.Faults) {
	for _, ref := range c.LimitFiles {
		path := ref.Path
		if inFile && !filepath.IsAbs(path) {
			path = filepath.Join(filepath.Dir(c.File), filepath.FromSlash(path))
		}
		if _, err := os.Stat(path); err != nil {
			faults.Add(ref.Pos, "", "the file of limits %q cannot be read: there is none at %s", ref.Path, path)
			continue
		}
		if text, ok := source.ReadFile(path, faults); ok {
			c.ParseLimits(path, text, faults)
		}
	}
	for _, path := range f.limits {
		if text, ok := source.ReadFile(path, faults); ok {
			c.ParseLimits(path, text, faults)
		}
	}
}

// warn tells what is worth a look and no fault.
func warn(w io.Writer, faults *source.Faults) {
	for _, f := range faults.List() {
		fmt.Fprintln(w, clipped(f.String()))
	}
}

// stdinHint tells somebody who pipes a case into a command without a file that it
// is not read.
func (s *shared) stdinHint(cmd *cobra.Command, args []string) {
	if len(args) == 0 && s.env.Waiting != nil && s.env.Waiting() {
		fmt.Fprintf(cmd.ErrOrStderr(), "standard input is not read; say: %s -\n", cmd.CommandPath())
	}
}
