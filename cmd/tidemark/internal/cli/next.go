package cli

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

func newNext(s *shared) *cobra.Command {
	var format string
	var full, numbers bool
	var within wait
	stop := percent(100 * engine.StopBelow)
	var limit limits
	var with caseFlags
	cmd := &cobra.Command{
		Use:   "next [CASE]",
		Short: "Say what to look at next, and what not to disturb before it",
		Long: `Next tells first what the next removal, cleaning or turning would destroy, then the
looks that tell most for the minutes that they take, given what is off already:
how to look, and what either result would do to what leads. Last it says whether
more looking is worth it at all: whether any look left changes what leads in more
than 5 of 100 cases like this (--stop-when says another number).

With --within it plans looks for that time, chosen by what they tell together.`,
		Example: "  tidemark next case.toml\n  tidemark next case.toml --within 30m",
		Args:    atMost(1, "one case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt := engine.LookOptions{Options: engine.Options{Version: s.env.Version, Memory: limit.memory << 20}, Within: time.Duration(within).Minutes(), StopAt: float64(stop) / 100}
			if full {
				opt.Looks = everyLook
			}
			return s.solve(cmd, args, format, &with, &limit, func(ctx context.Context, book *rules.Book, c *evidence.Case) (any, show, error) {
				n, err := engine.NextLooks(ctx, book, c, opt)
				return n, func(w io.Writer) error {
					return report.Next(w, book, n, s.options(full, numbers, len(args) == 0))
				}, err
			})
		},
		ValidArgsFunction: caseThen(nil),
	}
	formatFlag(cmd, &format)
	cmd.Flags().Var(&within, "within", "plan looks for this `TIME`, as 30m or 2h")
	cmd.Flags().Var(&stop, "stop-when", "looking on is not worth it where no look changes what leads in more than `N` of 100 cases")
	cmd.Flags().BoolVar(&full, "full", false, "tell all looks that were worked out")
	cmd.Flags().BoolVar(&numbers, "numbers", false, "give what each look tells in bits")
	with.flags(cmd)
	limit.flags(cmd)
	return cmd
}

// everyLook is more looks than are ever worked out.
const everyLook = 1000

// percent is the value of a flag from 0 to 100.
type percent float64

func (p *percent) String() string { return strconv.FormatFloat(float64(*p), 'g', -1, 64) }
func (p *percent) Type() string   { return "percent" }

func (p *percent) Set(text string) error {
	x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%")), 64)
	if err != nil || !(x > 0 && x <= 100) {
		e := &flagError{want: "a number above 0 and up to 100, as 5"}
		if err == nil && x == 0 {
			e.hint = fmt.Sprintf("the smallest that is of use is %g", 0.1)
		}
		return e
	}
	*p = percent(x)
	return nil
}
