package cli

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/engine/practice"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// drawFlags say which exercise is drawn.
type drawFlags struct {
	seed                string
	level, engine, lean string
}

func (f *drawFlags) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.seed, "seed", "", "draw the exercise of this `number` again (else any)")
	cmd.Flags().StringVar(&f.level, "level", string(practice.Apprentice), "`level`: "+strings.Join(levels(), ", "))
	cmd.Flags().StringVar(&f.engine, "engine", "", "only this `engine`: "+strings.Join(practice.Engines(), ", "))
	cmd.Flags().StringVar(&f.lean, "lean", "", "draw causes of this `pack` of the book more often")
}

func levels() []string {
	var out []string
	for _, l := range practice.Levels {
		out = append(out, string(l))
	}
	return out
}

// request checks the flags.
func (f *drawFlags) request(book *rules.Book) (practice.Request, error) {
	r := practice.Request{Level: practice.Level(f.level), Engine: f.engine, Lean: f.lean}
	if !slices.Contains(practice.Levels, r.Level) {
		return r, unknown("level", f.level, levels())
	}
	if f.engine != "" && !slices.Contains(practice.Engines(), f.engine) {
		return r, unknown("engine for practice", f.engine, practice.Engines())
	}
	packs := idsOf(book.Packs, func(p rules.Pack) string { return p.ID })
	if f.lean != "" && !slices.Contains(packs, f.lean) {
		hint := source.Suggest(f.lean, packs)
		if hint == "" {
			hint = "one of: " + strings.Join(packs, ", ")
		}
		return r, inputError{errors.New(hinted(fmt.Sprintf("there is no pack %q", f.lean), hint))}
	}
	if f.seed != "" {
		n, err := strconv.ParseUint(f.seed, 10, 64)
		if err != nil {
			return r, inputError{fmt.Errorf("--seed is %q, and must be a whole number from 0 on", f.seed)}
		}
		r.Seed = n
	}
	return r, nil
}

func newPractice(s *shared) *cobra.Command {
	var draw drawFlags
	var play, file string
	cmd := &cobra.Command{
		Use:   "practice",
		Short: "Find out what killed an engine, look by look, and be scored",
		Long: `Practice draws an engine that has failed, as the book has it: with its causes, what
came of them, old wear and what a look at each part would show. You look, take
parts off, name the cause and how sure you are of it, and draw the chain of
failure. Every look and every bolt takes minutes, and what an act destroys is gone.
What takes long is asked about before it is done.

At master level one in three exercises has two causes that were needed together
(guess both A, B 70), one in three two of which either alone would have done (guess
either A, B 70), and one in three cannot be determined (guess not determined 70).

Commands are typed one a line, at a terminal or from standard input; help lists
them. --play carries out the lines of a file, and shows them. --case takes a closed
case of your own in place of a drawn one: then only what is recorded in it can be
asked.

What you are told at the end:
  bits      how much more you knew than the base rates, which say how often each
            cause is to blame for this in such engines before anything is looked at.
            0: as much as they do; 1: what was so had twice the chance from you
            that it has from them; below 0: less. It pays to say what you believe.
  chain     how much of the chain you drew is the way that it went
  minutes   beside those of a plan that always takes the look that tells most a minute
  destroyed evidence that an act took away before it was looked at
  idle      looks that could not have changed anything, whatever they found

Games played to the end are kept in a log (practice log), and what goes wrong most is
drawn more often, unless you give a --seed.`,
		Example: "  tidemark practice\n  tidemark practice --level journeyman --engine tractor --seed 12\n  tidemark practice --seed 12 --play lines.txt\n  tidemark practice --case closed/case.toml",
		Args:    noSuchCommand,
		RunE: func(cmd *cobra.Command, _ []string) error {
			book, err := s.book()
			if err != nil {
				return err
			}
			r, err := draw.request(book)
			if err != nil {
				return err
			}
			log := logPath()
			lines := cmd.InOrStdin()
			echo := false
			if play != "" {
				var faults source.Faults
				text, ok := source.ReadFile(play, &faults)
				if !ok {
					return &faults
				}
				lines, echo = strings.NewReader(string(text)), true
			}
			var x *practice.Exercise
			if file != "" {
				if x, err = realCase(cmd, book, file); err != nil {
					return err
				}
			} else {
				if draw.seed == "" {
					// Small enough to be said aloud; chance comes from the system.
					r.Seed = rand.Uint64N(1e6)
					if r.Lean == "" {
						if entries, _, err := practice.ReadLog(log); err == nil {
							r.Lean = practice.ProgressOf(entries).Lean(rand.Float64(), book)
						}
					}
				}
				if s.env.Progress {
					fmt.Fprintln(cmd.ErrOrStderr(), "Drawing an exercise that can be solved: some seconds.")
				}
				x, err = practice.Draw(cmd.Context(), book, r)
				for k := 0; draw.seed == "" && k < 3 && errors.Is(err, practice.ErrNoDraw); k++ {
					r.Seed++
					x, err = practice.Draw(cmd.Context(), book, r)
				}
				if err != nil {
					if errors.Is(err, practice.ErrNoDraw) {
						return fmt.Errorf("seed %d: %w", r.Seed, err)
					}
					return err
				}
			}
			t := &table{cmd: cmd, book: book, x: x, g: practice.NewGame(x), opt: report.Options{Width: s.env.Width}, echo: echo}
			result, err := t.play(lines)
			if err != nil || result == nil {
				return err
			}
			if echo {
				return nil // a replay is nobody's practice
			}
			if err := practice.Append(log, t.g.Entry(result, s.now())); err != nil {
				return fmt.Errorf("the log of practice cannot be written: %w", err)
			}
			return nil
		},
	}
	draw.flags(cmd)
	cmd.Flags().StringVar(&play, "play", "", "carry out the lines of `FILE`, and show them")
	cmd.Flags().StringVar(&file, "case", "", "practise on the closed case in `FILE`")
	cmd.MarkFlagsMutuallyExclusive("case", "seed")
	cmd.AddCommand(newPracticeLog(s), newPracticeSheet(s))
	return cmd
}

// now is the time, for the log.
func (s *shared) now() time.Time {
	if s.env.Now != nil {
		return s.env.Now()
	}
	return time.Now()
}

// logPath is where the log is kept: in the user's data folder, by the XDG base
// directory specification.
func logPath() string {
	dir := os.Getenv("XDG_DATA_HOME")
	if !filepath.IsAbs(dir) { // the specification has relative ones ignored
		home, err := os.UserHomeDir()
		if err != nil {
			home = "."
		}
		dir = filepath.Join(home, ".local", "share")
	}
	return filepath.Join(dir, "tidemark", "practice.jsonl")
}

// realCase makes an exercise of a closed case.
func realCase(cmd *cobra.Command, book *rules.Book, file string) (*practice.Exercise, error) {
	var faults source.Faults
	text, ok := source.ReadFile(file, &faults)
	if !ok {
		return nil, &faults
	}
	var with caseFlags
	c, ok := evidence.Parse(file, text, &faults, func(c *evidence.Case, faults *source.Faults) {
		with.readLimits(c, true, faults)
		engine.Check(book, c, faults)
	})
	if !ok {
		return nil, &faults
	}
	x, err := practice.Real(cmd.Context(), book, c)
	var asked *engine.QuestionError
	switch {
	case errors.As(err, &asked):
		faults.Add(c.QuestionPos, "", "%v", asked.Err)
		return nil, &faults
	case errors.Is(err, practice.ErrNotClosed), errors.Is(err, practice.ErrNoQuestion):
		return nil, inputError{fmt.Errorf("%s: %w", file, err)}
	}
	if findings, clash := engine.IsClash(err); clash {
		return nil, clashing(c, findings)
	}
	return x, err
}

func newPracticeLog(s *shared) *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:   "log",
		Short: "Show how practice went: by system, how sure and how right, weak spots",
		Long: `Log sums up the games that were played to their end: by system of the engine,
whether what was said at 80 % was right as often as that, and what is weak and
therefore drawn more often. The log is a file of one line a game, to which lines are
only ever added: practice.jsonl in tidemark's folder of $XDG_DATA_HOME, or else of
~/.local/share.`,
		Args: atMost(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			path := logPath()
			entries, bad, err := practice.ReadLog(path)
			if err != nil {
				return fmt.Errorf("the log of practice cannot be read: %w", err)
			}
			for _, n := range bad {
				fmt.Fprintf(cmd.ErrOrStderr(), "tidemark: line %d of the log is not whole, and is passed over\n", n)
			}
			p := practice.ProgressOf(entries)
			if format == "json" {
				return writeJSON(cmd.OutOrStdout(), p)
			}
			return report.Progress(cmd.OutOrStdout(), book, p, report.Options{Width: s.env.Width})
		},
	}
	formatFlag(cmd, &format)
	return cmd
}

// mostSheets is how many exercises a sheet has at most.
const mostSheets = 100

func newPracticeSheet(s *shared) *cobra.Command {
	var draw drawFlags
	var n int
	var out string
	cmd := &cobra.Command{
		Use:   "sheet",
		Short: "Write exercises for a class as a PDF, the answers apart at its end",
		Long: `Sheet draws exercises one after the other, from the seed on, and writes each on a
page of its own: the engine, the story, and what its strip-down found. The answers
stand after the last one, on pages of their own. The same seed writes the same sheet.`,
		Example: "  tidemark practice sheet --seed 1 -n 10 -o sheet.pdf\n  tidemark practice sheet --seed 1 -n 5 --level master -o master.pdf",
		Args:    atMost(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case out == "":
				return inputError{errors.New("practice sheet needs -o with the name of the file to write, as -o sheet.pdf")}
			case !strings.EqualFold(filepath.Ext(out), ".pdf"):
				return inputError{fmt.Errorf("-o is %q, and must end in .pdf", out)}
			case n < 1 || n > mostSheets:
				return inputError{fmt.Errorf("-n is %d, and must be from 1 to %d", n, mostSheets)}
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			r, err := draw.request(book)
			if err != nil {
				return err
			}
			if draw.seed == "" {
				r.Seed = rand.Uint64N(1e6)
			}
			var papers []practice.Paper
			for missed := 0; len(papers) < n; r.Seed++ {
				x, err := practice.Draw(cmd.Context(), book, r)
				if errors.Is(err, practice.ErrNoDraw) && missed < n+10 {
					missed++
					continue // the next seed, then
				}
				if err != nil {
					return err
				}
				papers = append(papers, x.OnPaper())
				if s.env.Progress {
					fmt.Fprintf(cmd.ErrOrStderr(), "\r%d of %d exercises", len(papers), n)
				}
			}
			if s.env.Progress {
				fmt.Fprint(cmd.ErrOrStderr(), "\r\033[K")
			}
			data, err := report.ClassSheet(book, papers)
			if err != nil {
				return err
			}
			return writeFile(out, data)
		},
	}
	draw.flags(cmd)
	cmd.Flags().IntVarP(&n, "number", "n", 10, "how many `exercises`")
	cmd.Flags().StringVarP(&out, "output", "o", "", "write to this `file` (.pdf)")
	return cmd
}
