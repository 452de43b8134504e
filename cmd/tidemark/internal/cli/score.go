package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
)

func newScore(s *shared) *cobra.Command {
	var format string
	var with caseFlags
	var limit limits
	cmd := &cobra.Command{
		Use:   "score DIR…",
		Short: "Hold diagnoses of closed cases against what was confirmed",
		Long: `Score works out every case in a folder that says under [confirmed] what turned out
to be right, and tells how often that leads, how often it is among the first three,
whether what is said at 70 to 80 in 100 is right as often as that, and what was
missed, and why. Beside it stands what base rates alone would have said.`,
		Example: "  tidemark score closed-cases\n  tidemark score closed-cases --format json",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return inputError{errors.New("score needs a folder of closed cases")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			var faults source.Faults
			var cases []*evidence.Case
			for _, name := range caseFiles(args, &faults) {
				text, ok := source.ReadFile(name, &faults)
				if !ok || limitsFile.Match(text) {
					continue // a shop's limits may lie beside its cases
				}
				c, ok := evidence.Parse(name, text, &faults, func(c *evidence.Case, faults *source.Faults) {
					with.readLimits(c, true, faults)
					engine.Check(book, c, faults)
				})
				if ok {
					cases = append(cases, c)
				}
			}
			if faults.Errors() > 0 {
				return &faults
			}
			ctx, cancel := limit.context(cmd.Context())
			defer cancel()
			var done func(int)
			if s.env.Progress {
				done = func(n int) { fmt.Fprintf(cmd.ErrOrStderr(), "\r%d of %d cases", n, len(cases)) }
				defer fmt.Fprint(cmd.ErrOrStderr(), "\r\033[K")
			}
			score, err := engine.ScoreCases(ctx, book, cases, engine.Options{Version: s.env.Version, Memory: limit.memory << 20}, done)
			if err = limit.told(err); err != nil {
				return err
			}
			if format == "json" {
				return writeJSON(cmd.OutOrStdout(), score)
			}
			return report.Score(cmd.OutOrStdout(), score, s.options(false, false, false))
		},
	}
	formatFlag(cmd, &format)
	with.flags(cmd)
	limit.flags(cmd)
	return cmd
}

// limitsFile tells a file of limits by its table.
var limitsFile = regexp.MustCompile(`(?m)^\[limits\]`)

// caseFiles lists the files (*.toml) in folders and below them, sorted.
func caseFiles(dirs []string, faults *source.Faults) []string {
	var out []string
	for _, dir := range dirs {
		before := len(out)
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if !d.IsDir() && strings.HasSuffix(path, ".toml") && !strings.HasPrefix(d.Name(), ".") {
				out = append(out, path)
			}
			return nil
		})
		switch {
		case err != nil:
			var pe *fs.PathError
			if errors.As(err, &pe) {
				err = pe.Err
			}
			faults.Add(source.Position{File: dir}, "", "cannot be read: %v", err)
		case len(out) == before:
			faults.Add(source.Position{File: dir}, "", "holds no case (*.toml)")
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
