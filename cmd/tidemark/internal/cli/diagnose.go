package cli

import (
	"context"
	"encoding/json"
	"errors"
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
	var limit limits
	var with caseFlags
	cmd := &cobra.Command{
		Use:   "diagnose [CASE]",
		Short: "Say what killed the engine, by what chain, how surely, and why",
		Long: `Diagnose works out a case file (TOML; - for standard input) and tells the
verdict, the chain of failure with the reason for each step, the other
candidates, what every finding means, and what to look at next. Without a file
it works out the built-in example.

A case too entangled for its memory is worked out without the rules that matter
least in it; the last lines say so, and by how much the numbers may be off.

Exit status: 0 done, 1 the program could not, 2 the case is at fault.`,
		Args: atMost(1, "one case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return s.solve(cmd, args, format, &with, &limit, func(ctx context.Context, book *rules.Book, c *evidence.Case) (any, show, error) {
				d, err := engine.Diagnose(ctx, book, c, engine.Options{Version: s.env.Version, Memory: limit.memory << 20})
				return d, func(w io.Writer) error {
					return report.Text(w, book, d, s.options(full, numbers, len(args) == 0))
				}, err
			})
		},
		ValidArgsFunction: caseThen(nil),
	}
	formatFlag(cmd, &format)
	cmd.Flags().BoolVar(&full, "full", false, "tell all: every candidate, and what speaks for and against it")
	with.flags(cmd)
	limit.flags(cmd)
	cmd.Flags().BoolVar(&numbers, "numbers", false, "give weights in decibans beside the words, by finding for what leads")
	return cmd
}

// show writes a result for a person.
type show func(w io.Writer) error

// solve reads the case that the file arguments name, has it worked out within the limits,
// and writes the result in a format; warnings of the case go beside it.
func (s *shared) solve(cmd *cobra.Command, file []string, format string, with *caseFlags, limit *limits, work func(context.Context, *rules.Book, *evidence.Case) (any, show, error)) error {
	if err := checkFormat(format); err != nil {
		return err
	}
	var faults source.Faults
	book, c, err := with.open(s, cmd, file, &faults)
	if err != nil {
		return err
	}
	ctx, cancel := limit.context(cmd.Context())
	defer cancel()
	result, show, err := work(ctx, book, c)
	if err = unsolved(err, c, limit, &faults); err != nil {
		return err
	}
	warn(cmd.ErrOrStderr(), &faults)
	s.stdinHint(cmd, file)
	if format == "json" {
		return writeJSON(cmd.OutOrStdout(), result)
	}
	return show(cmd.OutOrStdout())
}

// unsolved puts into words why a case could not be worked out.
func unsolved(err error, c *evidence.Case, limit *limits, faults *source.Faults) error {
	if err = limit.told(err); err == nil || errors.Is(err, errTime) {
		return err
	}
	var asked *engine.QuestionError
	if errors.As(err, &asked) {
		faults.Add(c.QuestionPos, "", "%v", asked.Err)
		return faults
	}
	if findings, clash := engine.IsClash(err); clash {
		return clashing(c, findings)
	}
	return err
}

// clashing tells findings that the book holds impossible, alone or together.
func clashing(c *evidence.Case, findings []string) error {
	if len(findings) == 1 {
		return inputError{fmt.Errorf("%s: by the book, %s cannot be true: nothing in the book could have brought it about. Look at it again: was it mistaken, or made after? If it is right, the book is wrong", c.File, findings[0])}
	}
	return inputError{fmt.Errorf("%s: by the book, these cannot all be true: %s. Look at each again: which was mistaken, or made after?", c.File, strings.Join(findings, ", "))}
}

// readCase reads the text of the case named by the arguments, of standard input
// for "-", or of the built-in example, and what it is called in faults.
func readCase(args []string, in io.Reader, faults *source.Faults) (name string, text []byte, err error) {
	switch {
	case len(args) == 0:
		return demoName, demo, nil
	case args[0] == "-":
		name = "standard input"
		text, err = io.ReadAll(io.LimitReader(in, source.MaxSize+1))
		if err != nil {
			return name, nil, fmt.Errorf("standard input cannot be read: %w", err)
		}
		if len(text) > source.MaxSize {
			faults.Add(source.Position{File: name}, "is this the right file?", "is larger than %d MB, which no such file needs to be", source.MaxSize>>20)
			return name, nil, faults
		}
		return name, text, nil
	}
	text, ok := source.ReadFile(args[0], faults)
	if !ok {
		return args[0], nil, faults
	}
	return args[0], text, nil
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
