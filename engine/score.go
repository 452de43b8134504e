package engine

import (
	"context"
	"fmt"
	"math"
	"slices"

	"tidemark/evidence"
	"tidemark/rules"
)

// ScoreSchema names the shape of a Score.
const ScoreSchema = "tidemark.score/1"

// Score holds diagnoses of closed cases against what was confirmed of them.
type Score struct {
	Schema string `json:"schema"`
	// N counts the cases of which a cause (or the step at which whoever
	// investigated stopped) was confirmed; Open those that were confirmed as not to
	// be determined; Skipped those with nothing confirmed, or kept back.
	N       int `json:"n"`
	Open    int `json:"open"`
	Skipped int `json:"skipped"`
	// Top1 and Top3 are the shares of N where the right thing leads, and is among
	// the first three.
	Top1 float64 `json:"top1"`
	Top3 float64 `json:"top3"`
	// Brier is the mean square of what was said less what was so, of the leader.
	Brier float64 `json:"brier"`
	// LogScore is the mean of −log2 of the blame given to what is right, in bits.
	LogScore    float64     `json:"log_score"`
	MeanBlame   float64     `json:"mean_blame"` // of leaders
	Calibration []ScoreBand `json:"calibration"`
	// Slope is that of a logistic regression of being right on the log odds that
	// were said: 1 where they are as sure as they are right; null where it cannot
	// be told.
	Slope *float64 `json:"calibration_slope"`
	// SaidSure counts leaders said at 0.9 or more, and SureRight those that were right.
	SaidSure  int `json:"said_sure"`
	SureRight int `json:"sure_right"`
	// Overclaimed were determined by us and are wrong, or are open; Underclaimed
	// were determined by the investigation and not by us.
	Overclaimed  []string `json:"overclaimed"`
	Underclaimed []string `json:"underclaimed"`
	OpenKept     int      `json:"open_kept"` // open cases that we did not call determined
	// Baseline is what base rates alone come to: the same cases without findings.
	Baseline Baseline `json:"baseline"`
	Misses   []Miss   `json:"misses"`
	Cases    []Scored `json:"cases"`
}

// ScoreBand is leaders that were said with about the same blame.
type ScoreBand struct {
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	N     int     `json:"n"`
	Said  float64 `json:"said"`  // mean
	Right float64 `json:"right"` // share
}

// Baseline is the score of base rates alone.
type Baseline struct {
	Top1 float64 `json:"top1"`
	Top3 float64 `json:"top3"`
}

// Scored is one case.
type Scored struct {
	ID       string   `json:"id"`
	File     string   `json:"file"`
	Standing Standing `json:"standing"`
	Leader   string   `json:"leader"`
	Blame    float64  `json:"blame"`
	Accept   []string `json:"accept"`
	Open     bool     `json:"open"`
	Right    bool     `json:"right"`
	Rank     int      `json:"rank"` // of the first right one, from 1; 0 for none
	Error    string   `json:"error,omitempty"`
}

// Miss is a case that came out wrong, and why.
type Miss struct {
	ID     string `json:"id"`
	Leader string `json:"leader"`
	Blame  string `json:"blame"`
	Why    string `json:"why"`
}

// ScoreCases works out closed cases and holds them against what was confirmed.
// done, where it is not nil, is told after each case; it is called from one place at
// a time.
func ScoreCases(ctx context.Context, b *rules.Book, cases []*evidence.Case, opt Options, done func(n int)) (*Score, error) {
	s := &Score{Schema: ScoreSchema, Overclaimed: []string{}, Underclaimed: []string{}, Misses: []Miss{}, Cases: []Scored{}, Calibration: []ScoreBand{}}
	var closed []*evidence.Case
	for _, c := range cases {
		if c.Confirmed.KeptBack || len(c.Confirmed.Accept) == 0 && !c.Confirmed.Undetermined {
			s.Skipped++
			continue
		}
		closed = append(closed, c)
	}
	out, base := make([]judged, len(closed)), make([]judged, len(closed))
	tell := make(chan struct{})
	told := make(chan struct{})
	go func() {
		defer close(told)
		n := 0
		for range tell {
			n++
			if done != nil {
				done(n)
			}
		}
	}()
	err := each(ctx, len(closed), func(i int) error {
		out[i] = judge(ctx, b, closed[i], opt)
		bare := *closed[i]
		bare.Findings, bare.Readings, bare.Fitted, bare.Works, bare.Acts = nil, nil, nil, nil, nil
		base[i] = judge(ctx, b, &bare, opt)
		tell <- struct{}{}
		return ctx.Err()
	})
	close(tell)
	<-told
	if err != nil {
		return nil, err
	}
	s.count(closed, out, base)
	return s, nil
}

// judged is what a diagnosis says in the order in which it would be held to it:
// what the verdict names, and causes and steps by blame.
type judged struct {
	standing            Standing
	named, causes, step []ranked
	ranking             []ranked // at the grain of what was confirmed
	blame               float64  // of the first of ranking
	err                 error
}

type ranked struct {
	id    string
	blame float64
}

func add(list []ranked, id string, blame float64) []ranked {
	if slices.ContainsFunc(list, func(r ranked) bool { return r.id == id }) {
		return list
	}
	return append(list, ranked{id, blame})
}

// judge works out a case as far as its verdict.
func judge(ctx context.Context, b *rules.Book, c *evidence.Case, opt Options) judged {
	w, err := verdictOf(ctx, b, c, opt)
	if err != nil {
		return judged{err: err}
	}
	j := judged{standing: w.d.Verdict.Standing}
	if w.root != nil {
		j.named = add(j.named, w.root.ID, w.root.Blame)
	}
	for _, h := range w.lead {
		j.named = add(j.named, h.ID, h.Blame)
	}
	for _, h := range w.all {
		switch {
		case h.unlisted && h.Blame < ProbableAt:
			// All that the book does not list, taken together, is no candidate beside single
			// causes until it is more likely than all of them; the verdict does not name it.
		case h.unlisted || h.items[0].Node.Kind == rules.Cause:
			j.causes = add(j.causes, h.ID, h.Blame)
		case !h.rename:
			j.step = add(j.step, h.ID, h.Blame)
		}
	}
	j.rankFor(b, c.Confirmed.Accept)
	return j
}

// rankFor puts in order what the diagnosis says at the grain at which the case was
// confirmed. Where a cause was, that is its causes by blame; where the investigation
// stopped at a step, what the verdict names, farthest back first, and then steps.
// Where either would do, a step counts only if the verdict stops at it.
func (j *judged) rankFor(b *rules.Book, accept []string) {
	causes, stops := false, false
	for _, id := range accept {
		n := b.Node(id)
		causes = causes || n != nil && n.Kind == rules.Cause
		stops = stops || len(j.named) > 0 && j.named[0].id == id
	}
	switch {
	case causes && !stops:
		j.ranking = j.causes
	case causes:
		j.ranking = append(slices.Clone(j.named), j.causes...)
	default:
		j.ranking = slices.Clone(j.named)
		for _, r := range j.step {
			j.ranking = add(j.ranking, r.id, r.blame)
		}
	}
	if len(j.ranking) > 0 {
		j.blame = j.ranking[0].blame
	}
}

// rank is the place of the first acceptable id, from 1; 0 for none.
func (j judged) rank(accept []string) int {
	for i, r := range j.ranking {
		if slices.Contains(accept, r.id) {
			return i + 1
		}
	}
	return 0
}

// given is the blame of what is right, at least one in a thousand.
func (j judged) given(accept []string) float64 {
	most := 0.001
	for _, r := range j.ranking {
		if slices.Contains(accept, r.id) {
			most = max(most, r.blame)
		}
	}
	return most
}

func (s *Score) count(cases []*evidence.Case, out, base []judged) {
	var said []float64
	var right []bool
	for i, c := range cases {
		j := out[i]
		x := Scored{ID: c.ID, File: c.File, Standing: j.standing, Blame: j.blame, Accept: append([]string{}, c.Confirmed.Accept...), Open: c.Confirmed.Undetermined}
		if j.err != nil {
			x.Error = j.err.Error()
		}
		if len(j.ranking) > 0 {
			x.Leader = j.ranking[0].id
		}
		x.Rank = j.rank(c.Confirmed.Accept)
		x.Right = x.Rank == 1 || x.Open && j.standing != Determined && j.err == nil
		s.Cases = append(s.Cases, x)
		if x.Open {
			s.Open++
			if x.Right || x.Rank == 1 {
				s.OpenKept++
			} else {
				s.Overclaimed = append(s.Overclaimed, c.ID)
				s.miss(x, "called determined, and the investigation left it open")
			}
			continue
		}
		s.N++
		s.Top1 += count(x.Rank == 1)
		s.Top3 += count(x.Rank >= 1 && x.Rank <= 3)
		s.Brier += math.Pow(j.blame-count(x.Rank == 1), 2)
		s.LogScore -= math.Log2(j.given(c.Confirmed.Accept))
		s.MeanBlame += j.blame
		said, right = append(said, j.blame), append(right, x.Rank == 1)
		if j.blame >= 0.9 {
			s.SaidSure++
			s.SureRight += int(count(x.Rank == 1))
		}
		b := base[i].rank(c.Confirmed.Accept)
		s.Baseline.Top1 += count(b == 1)
		s.Baseline.Top3 += count(b >= 1 && b <= 3)
		switch {
		case x.Rank != 1 && j.standing == Determined:
			s.Overclaimed = append(s.Overclaimed, c.ID)
		case j.standing == Undetermined:
			s.Underclaimed = append(s.Underclaimed, c.ID)
		}
		if x.Rank != 1 {
			s.miss(x, s.why(x, j))
		}
	}
	if s.N > 0 {
		n := float64(s.N)
		for _, p := range []*float64{&s.Top1, &s.Top3, &s.Brier, &s.LogScore, &s.MeanBlame, &s.Baseline.Top1, &s.Baseline.Top3} {
			*p /= n
		}
	}
	s.bands(said, right)
	s.Slope = slope(said, right)
}

func count(so bool) float64 {
	if so {
		return 1
	}
	return 0
}

func (s *Score) miss(x Scored, why string) {
	s.Misses = append(s.Misses, Miss{ID: x.ID, Leader: x.Leader, Blame: percent(x.Blame), Why: why})
}

func (s *Score) why(x Scored, j judged) string {
	switch {
	case x.Error != "":
		return x.Error
	case x.Rank == 0:
		return fmt.Sprintf("%s is not among what could be to blame", or(x.Accept))
	}
	return fmt.Sprintf("%s comes in place %d, to blame %s", j.ranking[x.Rank-1].id, x.Rank, percent(j.ranking[x.Rank-1].blame))
}

func or(words []string) string {
	if len(words) < 2 {
		return and(words)
	}
	return and(words[:len(words)-1]) + " or " + words[len(words)-1]
}

// bands sorts leaders into tenths by what was said of them.
func (s *Score) bands(said []float64, right []bool) {
	for k := range 10 {
		b := ScoreBand{From: float64(k) / 10, To: float64(k+1) / 10}
		for i, p := range said {
			if min(9, int(p*10)) == k {
				b.N++
				b.Said += p
				b.Right += count(right[i])
			}
		}
		if b.N > 0 {
			b.Said /= float64(b.N)
			b.Right /= float64(b.N)
			s.Calibration = append(s.Calibration, b)
		}
	}
}

// slope is the slope of a logistic regression of right on the log odds said (Cox
// 1958), by Newton's method; nil where all are right, or wrong, or it does not
// settle.
func slope(said []float64, right []bool) *float64 {
	if len(said) < 5 {
		return nil
	}
	a, b := 0.0, 1.0
	for range 100 {
		var ga, gb, haa, hab, hbb float64
		for i, p := range said {
			p = min(0.999, max(0.001, p))
			x := math.Log(p / (1 - p))
			q := 1 / (1 + math.Exp(-(a + b*x)))
			e := count(right[i]) - q
			w := q * (1 - q)
			ga, gb = ga+e, gb+e*x
			haa, hab, hbb = haa+w, hab+w*x, hbb+w*x*x
		}
		det := haa*hbb - hab*hab
		if !(det > 1e-12) {
			return nil
		}
		da, db := (hbb*ga-hab*gb)/det, (haa*gb-hab*ga)/det
		a, b = a+da, b+db
		if math.Abs(da)+math.Abs(db) < 1e-10 {
			return &b
		}
		if math.IsNaN(a) || math.Abs(a)+math.Abs(b) > 1e3 {
			return nil
		}
	}
	return nil
}
