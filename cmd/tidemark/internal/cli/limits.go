package cli

import (
	"context"
	"errors"
	"fmt"
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
	cmd.Flags().Int64Var(&l.memory, "memory", engine.DefaultMemory>>20, "let one question to the model take `MB` megabytes; more is more exact, and slower")
	cmd.Flags().DurationVar(&l.time, "time", 0, "give up after so long, as 30s or 2m (0: never)")
}

// mostMemory bounds the flag, so that it cannot overflow anything.
const mostMemory = 1 << 20

func (l *limits) check() error {
	switch {
	case l.memory < 1 || l.memory > mostMemory:
		return inputError{fmt.Errorf("--memory %d: give megabytes from 1 to %d", l.memory, mostMemory)}
	case l.time < 0:
		return inputError{fmt.Errorf("--time %v: give a time to wait, as 30s", l.time)}
	}
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
