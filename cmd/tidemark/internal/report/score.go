package report

import (
	"fmt"
	"io"
	"strings"

	"tidemark/engine"
)

// Score writes how diagnoses of closed cases came out.
func Score(w io.Writer, s *engine.Score, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s of which a cause was confirmed, %d confirmed as not to be determined, %d with nothing confirmed or kept back.", Count(s.N, "closed case", "closed cases"), s.Open, s.Skipped)
	if s.N > 0 {
		p.head("how often it was right")
		p.line("  ", "      ", "What is right leads in %s of these cases; base rates alone: %s.", Percent(s.Top1), Percent(s.Baseline.Top1))
		p.line("  ", "      ", "It is among the first three in %s; base rates alone: %s.", Percent(s.Top3), Percent(s.Baseline.Top3))
		p.line("  ", "      ", "Leaders are said to be to blame at %s on the mean. Brier score %.3f (0 is perfect, 0.25 is a coin), log score %.2f bits.", Percent(s.MeanBlame), s.Brier, s.LogScore)
		p.head("said, and so")
		for _, b := range s.Calibration {
			p.line("  ", "      ", "said %.0f to %.0f %%: %s, of which right %.0f %% (said %.0f %% on the mean)", 100*b.From, 100*b.To, Count(b.N, "case", "cases"), 100*b.Right, 100*b.Said)
		}
		if s.SaidSure > 0 {
			p.line("  ", "      ", "Said at 90 %% or more: %s, of which right: %d.", Count(s.SaidSure, "case", "cases"), s.SureRight)
		}
		if s.Slope != nil {
			p.line("  ", "      ", "Calibration slope %.2f: 1 is as sure as right, below 1 is too sure.", *s.Slope)
		}
	}
	if s.Open > 0 {
		p.head("open cases")
		p.line("  ", "      ", "Left open by the investigation: %s, of which not called determined: %d.", Count(s.Open, "case", "cases"), s.OpenKept)
	}
	if len(s.Overclaimed) > 0 {
		p.head("claimed too much")
		p.line("  ", "      ", "Called determined, and wrong or open: %s.", strings.Join(s.Overclaimed, ", "))
	}
	if len(s.Underclaimed) > 0 {
		p.head("claimed too little")
		p.line("  ", "      ", "Confirmed, and called not determined: %s.", strings.Join(s.Underclaimed, ", "))
	}
	if len(s.Misses) > 0 {
		p.head("missed")
		for _, m := range s.Misses {
			lead := "nothing leads"
			if m.Leader != "" {
				lead = fmt.Sprintf("%s leads (%s)", m.Leader, m.Blame)
			}
			p.line("  ", "      ", "%s: %s; %s.", m.ID, lead, m.Why)
		}
	}
	return p.close()
}
