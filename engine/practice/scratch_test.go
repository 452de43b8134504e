package practice

import (
	"context"
	"fmt"
	"syscall"
	"testing"
	"tidemark/evidence/source"
	"tidemark/rules"
	"time"
)

func cpu() time.Duration {
	var r syscall.Rusage
	syscall.Getrusage(0, &r)
	return time.Duration(r.Utime.Nano())
}
func TestScratch(t *testing.T) {
	var f source.Faults
	book := rules.Load(&f, rules.Embedded())
	for _, l := range []Level{Journeyman, Master, Apprentice} {
		for seed := range 8 {
			t0 := cpu()
			x, err := Draw(context.Background(), book, Request{Seed: uint64(seed), Level: l})
			d := cpu() - t0
			if err != nil {
				fmt.Println(l, seed, err, d)
				continue
			}
			fmt.Println(l, seed, d.Round(time.Millisecond), x.Profile.ID, x.Question.ID, x.Truth.How, x.Truth.Right, "open", x.Open, "plan", len(x.Plan.Looks), x.Plan.Minutes, fmt.Sprintf("%.2f %.2f fit %.0f base %.3f", x.Plan.Share, x.Reckoned, x.Plan.fit, x.Base(append(x.Truth.Right, "x")[0])))
		}
	}
}
