package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func newDiagnose(s *shared) *cobra.Command {
	var format string
	var full, numbers bool
	cmd := &cobra.Command{
		Use:   "diagnose [CASE]",
		Short: "Say what killed the engine, by what chain, how surely, and why",
		Long: `Diagnose works out a case file (TOML; - for standard input) and tells the
verdict, the chain of failure with the reason for each step, the other
candidates, what every finding means, and what to look at next. Without a file
it works out the built-in example.

Exit status: 0 done, 1 the program could not, 2 the case is at fault.`,
		Args: atMost(1, "one case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			var faults source.Faults
			c, err := readCase(args, cmd.InOrStdin(), book, &faults)
			if err != nil {
				return err
			}
			d, err := engine.Diagnose(book, c, engine.Options{Version: s.env.Version})
			if findings, clash := engine.IsClash(err); clash {
				return clashing(c, findings)
			}
			if err != nil {
				return err
			}
			for _, f := range faults.List() {
				fmt.Fprintln(cmd.ErrOrStderr(), f)
			}
			if format == "json" {
				return writeJSON(cmd.OutOrStdout(), d)
			}
			return report.Text(cmd.OutOrStdout(), d, report.Options{Width: s.env.Width, Full: full, Numbers: numbers})
		},
	}
	formatFlag(cmd, &format)
	cmd.Flags().BoolVar(&full, "full", false, "tell for and against whole, every candidate and every finding")
	cmd.Flags().BoolVar(&numbers, "numbers", false, "give weights in decibans beside the words")
	return cmd
}

// clashing tells findings that the book holds impossible, alone or together.
func clashing(c *evidence.Case, findings []string) error {
	if len(findings) == 1 {
		return inputError{fmt.Errorf("%s: by the book, %s cannot be true: nothing in the book could have brought it about. Look at it again: was it mistaken, or made after? If it is right, the book is wrong", c.File, findings[0])}
	}
	return inputError{fmt.Errorf("%s: by the book, these cannot all be true: %s. Look at each again: which was mistaken, or made after?", c.File, strings.Join(findings, ", "))}
}

// readCase loads the case named by the arguments, standard input for "-", or
// the built-in example, and holds it against the book.
func readCase(args []string, in io.Reader, book *rules.Book, faults *source.Faults) (*evidence.Case, error) {
	name, text, ok := "", []byte(nil), true
	switch {
	case len(args) == 0:
		name, text = demoName, demo
	case args[0] == "-":
		b, err := io.ReadAll(io.LimitReader(in, source.MaxSize+1))
		if err != nil {
			return nil, fmt.Errorf("standard input cannot be read: %w", err)
		}
		if len(b) > source.MaxSize {
			faults.Add(source.Position{File: "standard input"}, "is this the right file?", "is larger than %d MB, which no such file needs to be", source.MaxSize>>20)
			return nil, faults
		}
		name, text = "standard input", b
	default:
		name = args[0]
		text, ok = source.ReadFile(name, faults)
	}
	if !ok {
		return nil, faults
	}
	c, ok := evidence.Parse(name, text, faults)
	if !ok {
		return nil, faults
	}
	if !engine.Check(book, c, faults) {
		return nil, faults
	}
	return c, nil
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
