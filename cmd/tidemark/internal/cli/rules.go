package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func newRules(s *shared) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Check and test the book of rules",
		Args:  noSuchCommand,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newRulesCheck(s), newRulesTest(s))
	return cmd
}

// checked is what rules check tells as JSON.
type checked struct {
	rules.Size
	Faults   []source.Fault  `json:"faults"`
	Coverage *rules.Coverage `json:"coverage"` // null where the book has faults
}

func newRulesCheck(s *shared) *cobra.Command {
	var format string
	var full bool
	cmd := &cobra.Command{
		Use:   "check [DIR]",
		Short: "List all faults of a book, and its size",
		Long: `Check loads the built-in book, or the packs of DIR laid over it, lists every
fault as file:line:column, and ends with the size of the book. If DIR is a whole
book of its own (it repeats the ids of the built-in packs), it is checked alone.

It also tries the book on a few reference engines before anything is found: the
expected number of causes there should be at most 3, and the chance that any
outcome comes about between 0.3 and 0.9. And it counts what the book still wants:
causes without an example, signs that no example tries, causes that nothing speaks
against or that nothing is said to be mistaken for, look-alikes that no sign tells
apart, steps that a condition drowns (it brings them about four times as often as all
else together), rules that no example uses (--full names them).

Exit status: 0 no faults, 1 the program could not, 2 the book has faults.`,
		Args: atMost(1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			var faults source.Faults
			book := loadFor(s, args, &faults)
			out := cmd.OutOrStdout()
			if format == "json" {
				c := checked{Faults: faults.List()}
				if book != nil {
					c.Size = book.Size()
					cover := rules.Cover(book)
					c.Coverage = &cover
				}
				if c.Faults == nil {
					c.Faults = []source.Fault{}
				}
				if err := writeJSON(out, c); err != nil {
					return err
				}
				if book == nil {
					return inputError{fmt.Errorf("the book has %s", report.Count(faults.Errors(), "fault", "faults"))}
				}
				return nil
			}
			if book == nil {
				return &faults
			}
			for _, f := range faults.List() {
				fmt.Fprintln(out, f)
			}
			sane, err := engine.Sane(cmd.Context(), book)
			if err != nil {
				return err
			}
			for _, e := range sane {
				fmt.Fprintf(out, "%s: causes expected there: %.1f; an outcome in %.0f of 100", e.Engine, e.Causes, 100*e.Outcome)
				if e.Causes > 3 || e.Outcome < 0.3 || e.Outcome > 0.9 {
					fmt.Fprint(out, " (out of the sane range: at most 3, and 30 to 90)")
				}
				fmt.Fprintln(out)
				for _, o := range e.Outcomes {
					fmt.Fprintf(out, "  %-28s in %4.1f of 100", o.ID, 100*o.Chance)
					if o.Unlisted >= 0 {
						fmt.Fprintf(out, "; unlisted is to blame for %2.0f %%", 100*o.Unlisted)
					}
					fmt.Fprintln(out)
				}
			}
			printCoverage(out, rules.Cover(book), full)
			printSize(out, book)
			return nil
		},
	}
	formatFlag(cmd, &format)
	cmd.Flags().BoolVar(&full, "full", false, "name what the book still wants, not only how many")
	return cmd
}

// printCoverage tells what the book still wants.
func printCoverage(out io.Writer, c rules.Coverage, full bool) {
	for _, x := range []struct {
		ids       []string
		one, many string
	}{
		{c.NoExample, "cause leads in no example", "causes lead in no example"},
		{c.Untried, "sign stands in no example, so that the rules to it were never tried", "signs stand in no example, so that the rules to them were never tried"},
		{c.FewSigns, "cause shows fewer than two signs", "causes show fewer than two signs"},
		{c.NothingAgainst, "cause has no sign whose absence would speak against it", "causes have no sign whose absence would speak against them"},
		{c.NoLookAlike, "cause has no look-alike", "causes have no look-alike"},
		{c.NoOutcome, "cause leads to nothing that a case can ask about", "causes lead to nothing that a case can ask about"},
		{c.NotToldApart, "pair of look-alikes has no sign that tells them apart", "pairs of look-alikes have no sign that tells them apart"},
		{c.Drowned, "step is drowned by a condition, once it is given", "steps are drowned by a condition, once it is given"},
		{c.UnusedRules, "rule is never used by an example", "rules are never used by an example"},
	} {
		if len(x.ids) == 0 {
			continue
		}
		fmt.Fprintln(out, report.Count(len(x.ids), x.one, x.many))
		if full {
			for _, id := range x.ids {
				fmt.Fprintf(out, "  %s\n", id)
			}
		}
	}
}

func printSize(out io.Writer, b *rules.Book) {
	n := b.Size()
	fmt.Fprintln(out, strings.Join([]string{report.Count(n.Parts, "part", "parts"), report.Count(n.Signs, "sign", "signs"), report.Count(n.Causes, "cause", "causes"),
		report.Count(n.Steps, "step", "steps"), report.Count(n.Rules, "rule", "rules"), report.Count(n.Examples, "example", "examples")}, ", "))
}

// loadFor loads the book that check and test are about: the built-in one, or
// DIR laid over it, or DIR alone where it is a whole book.
func loadFor(s *shared, args []string, faults *source.Faults) *rules.Book {
	dirs := append(slices.Clone(s.rules), args...)
	if len(args) == 1 {
		var own source.Faults
		if texts := rules.ReadDir(args[0], &own); rules.Whole(texts) {
			for _, f := range own.List() {
				faults.Add(f.Position, f.Hint, "%s", f.Message)
			}
			return rules.Load(faults, texts)
		}
	}
	return overlaid(dirs, faults)
}

func newRulesTest(s *shared) *cobra.Command {
	var only []string
	cmd := &cobra.Command{
		Use:   "test [DIR]",
		Short: "Run the examples that the packs carry",
		Long: `Test works out every example of the built-in packs, or of those in DIR laid
over them, and holds it against what the example says must lead and must not. Where
all of the book are run, it ends with how many rules none of them uses.

Exit status: 0 all came out, 1 the program could not, 2 an example failed.`,
		Args: atMost(1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var faults source.Faults
			book := loadFor(s, args, &faults)
			if book == nil {
				return &faults
			}
			examples := book.Examples
			if len(args) == 1 {
				// Those of the folder: the others are tested with their own packs.
				examples = slices.DeleteFunc(slices.Clone(examples), func(e *rules.Example) bool {
					return filepath.Dir(e.Pos.File) != filepath.Clean(args[0])
				})
			}
			if len(only) > 0 {
				examples = slices.DeleteFunc(slices.Clone(examples), func(e *rules.Example) bool {
					return !slices.Contains(only, e.Pack) && !slices.Contains(only, e.ID)
				})
				if len(examples) == 0 {
					return inputError{fmt.Errorf("no example is called so or stands in a pack of that name: %s", strings.Join(only, ", "))}
				}
			}
			out, failed := cmd.OutOrStdout(), 0
			results, err := engine.RunExamples(cmd.Context(), book, examples)
			if err != nil {
				return err
			}
			for i, r := range results {
				if len(r.Failures) == 0 {
					fmt.Fprintf(out, "ok    %s: %s (%s, %s)\n", r.ID, r.Title, r.Leader, report.Percent(r.Blame))
					continue
				}
				failed++
				fmt.Fprintf(out, "FAIL  %s: %s\n", r.ID, r.Title)
				for _, f := range r.Failures {
					// Some tell their place themselves.
					pos := examples[i].Pos.String() + ": "
					fmt.Fprintf(out, "      %s%s\n", pos, strings.TrimPrefix(f, pos))
				}
			}
			fmt.Fprintf(out, "%d passed, %d failed\n", len(examples)-failed, failed)
			if n := len(rules.Cover(book).UnusedRules); n > 0 && len(examples) == len(book.Examples) {
				fmt.Fprintf(out, "%s of %d %s never used by an example; rules check --full names them\n", report.Count(n, "rule", "rules"), book.Size().Rules, map[bool]string{true: "is", false: "are"}[n == 1])
			}
			if failed > 0 {
				return inputError{fmt.Errorf("%s failed", report.Count(failed, "example", "examples"))}
			}
			return nil
		},
	}
	cmd.Flags().StringSliceVar(&only, "only", nil, "only the examples of this `PACK`, or the one of this id (may be given again)")
	return cmd
}
