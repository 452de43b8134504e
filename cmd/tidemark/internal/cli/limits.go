package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tidemark/engine"
)

// limits are how much working out a case may take.
type limits struct {
	memory int64 // megabytes for the tables of one question to the model
	time   time.Duration
}

func (l *limits) flags(cmd *cobra.Command) {
	l.memory = engine.DefaultMemory >> 20
	cmd.Flags().Var((*megabytes)(&l.memory), "memory", "let one question to the model take about `MB` megabytes; more is mostly more exact, and slower")
	cmd.Flags().Var((*wait)(&l.time), "time", "give up after `TIME`, as 30s or 2m (0: never)")
}

// mostMemory bounds the flag, so that it cannot overflow anything.
const mostMemory = 1 << 20

// megabytes is the value of --memory.
type megabytes int64

func (m *megabytes) String() string { return strconv.FormatInt(int64(*m), 10) }
func (m *megabytes) Type() string   { return "megabytes" }

func (m *megabytes) Set(text string) error {
	n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
	if err != nil || n < 1 || n > mostMemory {
		return &flagError{want: fmt.Sprintf("a whole number of megabytes from 1 to %d, as 64", mostMemory)}
	}
	*m = megabytes(n)
	return nil
}

// wait is the value of --time.
type wait time.Duration

func (w *wait) Type() string { return "time" }

func (w *wait) String() string {
	if *w == 0 {
		return "0" // which help takes for no default
	}
	return time.Duration(*w).String()
}

func (w *wait) Set(text string) error {
	d, err := time.ParseDuration(strings.TrimSpace(text))
	if err != nil || d < 0 {
		e := &flagError{want: "a time to wait with its unit, as 30s or 2m"}
		if _, err := strconv.ParseUint(text, 10, 31); err == nil {
			e.hint = fmt.Sprintf("did you mean %ss?", text)
		}
		return e
	}
	*w = wait(d)
	return nil
}

func (l *limits) context(ctx context.Context) (context.Context, context.CancelFunc) {
	if l.time > 0 {
		return context.WithTimeout(ctx, l.time)
	}
	return context.WithCancel(ctx)
}

// errTime is that the time was up.
var errTime = errors.New("not done in the time that --time gave")

// told puts the end of the time into words.
func (l *limits) told(err error) error {
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("%w (%v): give it more, or less --memory than %d, which is faster and less exact", errTime, l.time, l.memory)
	}
	return err
}
