// Package cli is the command line: one file a command. A command reads, calls
// the engine and hands the result to package report; it computes nothing.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// Env is what a command gets from the world around it.
type Env struct {
	In       io.Reader
	Out, Err io.Writer
	Width    int  // of the terminal in characters; 0 where unknown
	Colour   bool // Out takes colours
	ASCII    bool // Out takes plain ASCII only
	Version  string
	// Progress tells that Err is a terminal, on which a long run may show how far it is.
	Progress bool
	// Waiting tells whether In holds something that was not read; nil for never.
	Waiting func() bool
	// Now tells the time, for logs; nil for the clock's.
	Now func() time.Time
}

// Exit statuses.
const (
	exitDone  = 0 // it did what was asked
	exitError = 1 // the program could not
	exitInput = 2 // the input is at fault
)

// inputError is a fault of the input: exit status 2.
type inputError struct{ err error }

func (e inputError) Error() string { return e.err.Error() }
func (e inputError) Unwrap() error { return e.err }

// Run carries out a command line and returns the exit status.
func Run(ctx context.Context, args []string, env Env) int {
	out := &checkedWriter{w: env.Out}
	root := newRoot(env)
	root.SetArgs(args)
	root.SetIn(env.In)
	root.SetOut(out)
	root.SetErr(env.Err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		err = out.err
	}
	if err == nil {
		return exitDone
	}
	var faults *source.Faults
	switch {
	case errors.As(err, &faults):
		// The faults speak for themselves, one a line.
		for _, f := range faults.List() {
			if f.Line == 0 {
				f.File = clipLeft(f.File)
			}
			fmt.Fprintln(env.Err, clipped(f.String()))
		}
	default:
		fmt.Fprintln(env.Err, "tidemark: "+clipped(err.Error()))
	}
	var input inputError
	if errors.As(err, &input) || faults != nil {
		return exitInput
	}
	return exitError
}

// mostEcho is how many characters of what was given an error says again: enough
// to know it by.
const mostEcho = 60

// clipped shortens what an error quotes.
func clipped(message string) string {
	return quoted.ReplaceAllStringFunc(message, func(q string) string {
		r := []rune(q)
		if len(r) <= mostEcho+2 {
			return q
		}
		kept := strings.TrimRight(string(r[:mostEcho]), `\`) // half an escape says nothing
		return kept + `…"`
	})
}

var quoted = regexp.MustCompile(`"(?:[^"\\\n]|\\.)*"`)

// clipLeft shortens the name of a file that could not be read; its end says most.
func clipLeft(name string) string {
	if r := []rune(name); len(r) > mostEcho {
		return "…" + string(r[len(r)-mostEcho+1:])
	}
	return name
}

// checkedWriter remembers the first error, so that output that went nowhere (a
// full disk) is never taken for done, whichever command wrote it.
type checkedWriter struct {
	w   io.Writer
	err error
}

func (c *checkedWriter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	if err != nil && c.err == nil {
		c.err = err
	}
	return n, err
}

// shared are the flags that all commands take.
type shared struct {
	env   Env
	rules []string
}

// options are how what a command tells is shown.
func (s *shared) options(full, numbers, example bool) report.Options {
	return report.Options{Width: s.env.Width, Colour: s.env.Colour, ASCII: s.env.ASCII, Full: full, Numbers: numbers, Example: example}
}

func newRoot(env Env) *cobra.Command {
	s := &shared{env: env}
	root := &cobra.Command{
		Use:   "tidemark",
		Short: "Works out what killed an engine from what is found when it is taken apart",
		Long: `Tidemark works out, from what is seen and measured while an engine is taken
apart, what killed it, by what chain, how surely, and what to look at next.

It supports a qualified person's judgement and does not replace it.`,
		Example: `  tidemark diagnose                 the built-in example
  tidemark diagnose case.toml       a case of your own
  tidemark next case.toml           what to look at next, and what not to disturb
  tidemark why case.toml CAUSE      what speaks for and against one cause
  tidemark signs pickup             what can be looked for on the oil pickup
  tidemark rules check my-packs     faults of a shop's own rules`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Version:       env.Version,
		Args:          noSuchCommand,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("tidemark {{.Version}}\n")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.PersistentFlags().StringArrayVar(&s.rules, "rules", nil, "lay the packs of `DIR` over the built-in book (may be given again)")
	root.SetFlagErrorFunc(flagFault)
	root.AddCommand(newDiagnose(s), newNext(s), newWhy(s), newReadings(s), newReport(s), newVerify(s), newKey(s), newSigns(s), newQuantities(s), newCauses(s), newCompare(s), newRules(s), newScore(s), newPractice(s))
	return root
}

// noSuchCommand is the argument check of a command that only holds others.
func noSuchCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	hint := nearest(args[0], names)
	if hint == "" {
		hint = cmd.CommandPath() + " --help lists them"
	}
	return inputError{fmt.Errorf("there is no command %q (%s)", strings.TrimPrefix(short(cmd)+" "+args[0], "tidemark "), hint)}
}

// short is a command as it is typed after "tidemark".
func short(cmd *cobra.Command) string { return strings.TrimPrefix(cmd.CommandPath(), "tidemark ") }

// flagFault says what is wrong with a flag, and which was probably meant. The
// library tells it in words alone, and of a value in those of the language.
func flagFault(cmd *cobra.Command, err error) error {
	help := cmd.CommandPath() + " --help lists them"
	if m := badValue.FindStringSubmatch(err.Error()); m != nil {
		name, value := m[2], m[1]
		want := "something else"
		var f *flagError
		switch {
		case errors.As(err, &f):
			want = f.want
			if f.hint != "" {
				want += " (" + f.hint + ")"
			}
		case cmd.Flags().Lookup(strings.TrimLeft(name, "-")).Value.Type() == "bool":
			want = "true or false"
		}
		return inputError{fmt.Errorf("%s is %s, and must be %s", name, value, want)}
	}
	if name, unknown := strings.CutPrefix(err.Error(), "unknown flag: "); unknown {
		hint := nearest(name, flagWords.FindAllString(cmd.Flags().FlagUsages(), -1))
		if hint == "" {
			hint = help
		}
		return inputError{fmt.Errorf("%s has no flag %q (%s)", short(cmd), name, hint)}
	}
	var letters interface{ GetSpecifiedShortnames() string }
	if errors.As(err, &letters) && letters.GetSpecifiedShortnames() != "" {
		return inputError{fmt.Errorf("%s has no flag %q (%s)", short(cmd), "-"+letters.GetSpecifiedShortnames(), help)}
	}
	if name, bare := strings.CutPrefix(err.Error(), "flag needs an argument: "); bare {
		return inputError{fmt.Errorf("%s says nothing: give it a value", name)}
	}
	if text, ok := strings.CutPrefix(err.Error(), "bad flag syntax: "); ok {
		return inputError{fmt.Errorf("%q is no flag (%s)", text, help)}
	}
	return inputError{err}
}

// badValue is how the library tells a value that a flag does not take.
var badValue = regexp.MustCompile(`^invalid argument ("(?:[^"\\]|\\.)*") for "(?:-., )?(--[a-z-]+)" flag: `)

// flagError says what a flag takes, and what was probably meant.
type flagError struct{ want, hint string }

func (e *flagError) Error() string { return "must be " + e.want }

var flagWords = regexp.MustCompile(`--[a-z]+`)

// book loads the built-in packs and those laid over them. What is only worth a
// look in them is for rules check to tell, not for every command.
func (s *shared) book() (*rules.Book, error) {
	var all, faults source.Faults
	if b := overlaid(s.rules, &all); b != nil {
		return b, nil
	}
	for _, f := range all.List() {
		if !f.Warning {
			faults.Add(f.Position, f.Hint, "%s", f.Message)
		}
	}
	return nil, &faults
}

// overlaid lays the packs of folders over the built-in book. Where there are
// any, warnings are of those: nobody can do anything about the built-in ones.
func overlaid(dirs []string, faults *source.Faults) *rules.Book {
	built := rules.Embedded()
	layers, isBuilt := [][]rules.Text{built}, map[string]bool{}
	for _, t := range built {
		isBuilt[t.Name] = len(dirs) > 0
	}
	var all source.Faults
	for _, dir := range dirs {
		layers = append(layers, rules.ReadDir(dir, &all))
	}
	b := rules.Load(&all, layers...)
	for _, f := range all.List() {
		switch {
		case !f.Warning:
			faults.Add(f.Position, f.Hint, "%s", f.Message)
		case !isBuilt[f.File]:
			faults.Warn(f.Position, f.Hint, "%s", f.Message)
		}
	}
	return b
}

// atMost is cobra's argument check with the exit status of a wrong input.
func atMost(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > n {
			return inputError{fmt.Errorf("%s takes %s, and is given %d", short(cmd), what, len(args))}
		}
		return nil
	}
}

// formatFlag adds --format with its allowed words.
func formatFlag(cmd *cobra.Command, into *string) {
	cmd.Flags().StringVar(into, "format", "text", "`text` or json")
}

func checkFormat(format string) error {
	if format != "text" && format != "json" {
		return inputError{fmt.Errorf("--format is %q, and must be text or json", format)}
	}
	return nil
}
