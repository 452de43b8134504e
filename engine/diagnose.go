package engine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"tidemark/engine/measure"
	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// Options are what a caller may choose.
type Options struct {
	Version string // of the program, told in the result
	// Looks is how many next looks are worked out; 0 for the default of 8.
	Looks int
	// Memory is about how many bytes the tables of one question to the model may take;
	// questions are asked on all cores at once. 0 is for DefaultMemory. Within it the
	// answer is exact, beyond it rules are left out (see Method).
	Memory int64
}

// DefaultMemory is what Options.Memory is where nothing is said, in bytes: what
// network.DefaultBudget takes.
const DefaultMemory = 32 << 20

// QuestionError is that what the case asks about cannot be asked of its engine.
type QuestionError struct{ Err error }

func (e *QuestionError) Error() string { return e.Err.Error() }

func (e *QuestionError) Unwrap() error { return e.Err }

// explainBudget bounds the search for the most probable explanation, in propagations.
const explainBudget = 150

// Diagnose works out a case. The case must have been checked against the book
// (Check). Findings that are impossible together give a *network.Clash.
func Diagnose(ctx context.Context, book *rules.Book, c *evidence.Case, opt Options) (*Diagnosis, error) {
	w, err := begin(ctx, book, c, opt)
	if err != nil {
		return nil, err
	}
	if err := w.do(w.header, w.candidates, w.conflict, w.verdict, w.explain, w.weights, w.findings, w.chain, w.next, w.overturned, w.categories); err != nil {
		return nil, err
	}
	w.tidy()
	return w.d, nil
}

// begin grounds the book in a case, enters what was found and what is asked, and works
// out what is there.
func begin(ctx context.Context, book *rules.Book, c *evidence.Case, opt Options) (*work, error) {
	if opt.Looks == 0 {
		opt.Looks = 8
	}
	table := measure.New(book, c)
	c = table.Weighed(c)
	g := network.New(book, c)
	if opt.Memory > 0 {
		g.Budget = network.BudgetOf(opt.Memory)
	}
	g.Observe(c)
	if c.Question != "" {
		if err := g.Ask(c.Question, c.At); err != nil {
			return nil, &QuestionError{err}
		}
	}
	w := &work{ctx: ctx, book: book, c: c, every: c.All(), table: table, g: g, opt: opt, d: &Diagnosis{Schema: Schema}}
	var err error
	if w.plain, err = g.Plain(ctx); err != nil {
		return nil, err
	}
	w.depths = g.Depths()
	w.post, w.bounds, err = w.plain.WithBounds(ctx)
	return w, err
}

// do takes steps one after the other.
func (w *work) do(steps ...func() error) error {
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// work is a diagnosis in the making.
type work struct {
	ctx   context.Context // of the whole diagnosis
	book  *rules.Book
	c     *evidence.Case
	every []evidence.Finding // of the case, and what else says as much
	table *measure.Table
	g     *network.Ground
	opt   Options
	d     *Diagnosis
	plain *network.Plain
	post  *network.Posterior

	// The posterior without any finding, with each finding alone, and with all but
	// each, of the candidates that may come to be weighed (see apart).
	bare        *network.Posterior
	alone, last []*network.Posterior
	mayWeigh    map[string]bool // by cause or step; nil for all

	depths map[*network.Item]int
	bounds map[*network.Item]float64 // acted is at most this
	all    []*held                   // every candidate that was worked out, best first
	lead   []*held                   // those of the verdict
	root   *held                     // what is traced behind them
	best   map[*network.Item]bool    // there by the most probable explanation, and by the next
	second map[*network.Item]bool

	causesOnly bool // candidates are to be causes alone
}

// held is a candidate: one item, a family, or what is not listed.
type held struct {
	Candidate
	items    []*network.Item
	family   *network.Family
	unlisted bool
	depth    int
	rename   bool
}

func (h *held) test() network.Test { return network.Test{Items: h.items, Unlisted: h.unlisted} }

// key names a candidate in maps of weights.
func (h *held) key() string {
	if h.At == "" || h.At == "any" {
		return h.ID
	}
	return h.ID + " @ " + h.At
}

func (w *work) header() error {
	d := w.d
	d.Case = CaseInfo{ID: w.c.ID, Title: w.c.Title, Question: w.c.Question, Engine: w.c.Engine.Facts, Story: ""}
	if s, ok := w.c.History.Facts["story"].(string); ok {
		d.Case.Story = s
	}
	if asked, at := w.g.Asked(); asked != nil {
		d.Case.QuestionName = asked.Name
		if len(at) > 0 && len(at) < len(w.g.ItemsOf(asked)) {
			d.Case.QuestionAt = positions(at)
		}
	}
	for _, p := range w.book.Packs {
		d.Book.Packs = append(d.Book.Packs, PackInfo{p.ID, p.Version})
	}
	slices.SortFunc(d.Book.Packs, func(a, b PackInfo) int { return strings.Compare(a.ID, b.ID) })
	d.Book.Hash = w.book.Hash
	cost := w.plain.Cost(w.ctx)
	d.Method = Method{Exact: w.plain.Exact(), Width: cost.Width, ErrorBound: w.plain.Moved()}
	d.Program.Version = w.opt.Version
	for _, n := range w.book.ByKind(rules.Condition) {
		for _, it := range w.g.ItemsOf(n) {
			if p := w.post.Item(it); p >= 0.9 {
				d.Conditions = append(d.Conditions, Condition{n.ID, n.Name, p})
			}
		}
	}
	// What was done to a finding comes before what is usual for such an engine.
	for _, x := range w.g.Dropped {
		if x.As == evidence.Unavailable && w.finding(x.Finding).State == evidence.NotFound {
			d.Assumed = append(d.Assumed, Assumed{x.Finding + " is taken as unavailable, not as not found", x.Why})
		}
	}
	for _, a := range w.g.Assumed {
		d.Assumed = append(d.Assumed, Assumed{a.What, a.Because})
	}
	w.readings()
	if c := w.c.Question; c == "" {
		d.Assumed = append(d.Assumed, Assumed{"nothing is asked, so nothing is to blame for it; what is there is told", "the case has no question"})
	}
	return nil
}

func (w *work) finding(id string) evidence.Finding {
	for _, f := range w.every {
		if f.ID == id {
			return f
		}
	}
	return evidence.Finding{}
}

// positions joins the positions of items: "rod 3", "rods 2 and 3".
func positions(items []*network.Item) string {
	var at []string
	for _, it := range items {
		if it.At != "" {
			at = append(at, it.At)
		}
	}
	return joinPositions(at)
}

// joinPositions shortens "rod 2", "rod 3" to "rod 2 and 3", keeping the order.
func joinPositions(at []string) string {
	if len(at) == 0 {
		return ""
	}
	cut := strings.LastIndexByte(at[0], ' ')
	if cut < 0 {
		return strings.Join(at, ", ")
	}
	prefix := at[0][:cut+1]
	var numbers []string
	for _, a := range at {
		rest, ok := strings.CutPrefix(a, prefix)
		if !ok {
			return and(at)
		}
		numbers = append(numbers, rest)
	}
	return prefix + and(numbers)
}

func and(words []string) string {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// asked tells whether an item is the outcome itself.
func (w *work) asked(n *rules.Node) bool {
	a, _ := w.g.Asked()
	return a == n
}

// SingleFrom is the acted of a family from which its single positions are
// worked out too, and of those only the ones that are there as likely as that:
// below it none could be named.
const SingleFrom = 0.25

// candidates works out present, acted and to blame for causes, steps and
// families, screening by present.
func (w *work) candidates() error {
	var singles []*held // of families, worked out once the families are
	for _, n := range w.book.Nodes {
		if n.Kind == rules.Condition || w.asked(n) || w.causesOnly && n.Kind != rules.Cause || n.Kind == rules.Step && !slices.ContainsFunc(w.g.ItemsOf(n), w.plain.Relevant) {
			continue // a step on which nothing bears is nobody's question
		}
		f := w.g.FamilyOf(n)
		if f != nil {
			w.keep(&held{Candidate: Candidate{ID: n.ID, At: "any", Kind: "family", Name: n.Name, Category: n.Category, Present: w.post.Family(f)}, items: f.Items, family: f})
		}
		for _, it := range w.g.ItemsOf(n) {
			h := w.single(it)
			w.keep(h)
			if f != nil {
				singles = append(singles, h)
			}
		}
	}
	first := slices.DeleteFunc(slices.Clone(w.all), func(h *held) bool { return slices.Contains(singles, h) })
	var tests []network.Test
	for _, h := range first {
		if w.asks(h) {
			tests = append(tests, h.test())
		}
	}
	if err := w.g.Foresee(w.ctx, tests); err != nil {
		return err
	}
	// What the book does not list takes longest, and so is begun first.
	var unlisted *held
	var jobs []func() error
	if w.g.Asking() && !w.causesOnly {
		unlisted = &held{Candidate: Candidate{ID: "unlisted", Kind: "unlisted", Name: "a cause that the book does not list"}, unlisted: true, depth: 1}
		jobs = append(jobs,
			func() (err error) { unlisted.Blame, err = w.g.Blame(w.ctx, unlisted.test()); return err },
			func() (err error) { unlisted.Acted, err = w.g.Acted(w.ctx, unlisted.test()); return err })
	}
	for _, h := range first {
		jobs = append(jobs, func() error { return w.measure(h) })
	}
	if err := each(w.ctx, len(jobs), func(i int) error { return jobs[i]() }); err != nil {
		return err
	}
	families := map[string]*held{}
	for _, h := range w.all {
		if h.family != nil {
			families[h.ID] = h
			w.post.Know(h.family, h.Present)
		}
	}
	err := each(w.ctx, len(singles), func(i int) error {
		h := singles[i]
		if w.g.Asking() && (families[h.ID].Acted < SingleFrom || h.Present < SingleFrom) {
			// The family has hardly acted: neither has any of it.
			h.Screened, h.Acted = true, min(h.Present, families[h.ID].Acted)
			return nil
		}
		return w.measure(h)
	})
	if err != nil {
		return err
	}
	if u := unlisted; u != nil {
		u.Present = u.Acted // an unlisted thing that did nothing is nobody's question
		u.Words = Likely(u.Blame)
		if u.Blame >= 0.03 || u.Acted >= 0.2 {
			if err := w.sits(u); err != nil {
				return err
			}
		}
		w.all = append(w.all, u)
	}
	slices.SortStableFunc(w.all, func(a, b *held) int {
		return cmp.Or(order(b.Blame, a.Blame), order(b.Acted, a.Acted), order(b.Present, a.Present), strings.Compare(a.ID, b.ID), strings.Compare(a.At, b.At))
	})
	return nil
}

// order compares chances, of which those that differ by rounding alone are the same:
// positions that are alike stand in their own order.
func order(a, b float64) int {
	const grid = 1e8
	return cmp.Compare(math.Round(a*grid), math.Round(b*grid))
}

func (w *work) single(it *network.Item) *held {
	kind := "step"
	if it.Node.Kind == rules.Cause {
		kind = "cause"
	}
	return &held{Candidate: Candidate{ID: it.Node.ID, At: it.At, Kind: kind, Name: it.Node.Name, Category: it.Node.Category, Present: w.post.Item(it)}, items: []*network.Item{it}}
}

// keep notes a candidate with its distance from the outcome.
func (w *work) keep(h *held) {
	h.rename = h.items[0].Node.Rename
	h.depth = -1
	for _, it := range h.items {
		if d, ok := w.depths[it]; ok && d > h.depth {
			h.depth = d
		}
	}
	w.all = append(w.all, h)
}

// bound is the most that a candidate can have acted.
func (w *work) bound(h *held) float64 {
	sum := 0.0
	for _, it := range h.items {
		sum += w.bounds[it]
	}
	return sum
}

// asks tells whether acted and blame of a candidate are worked out.
func (w *work) asks(h *held) bool {
	return w.g.Asking() && h.depth >= 0 && h.Present >= Screen && w.bound(h) >= Screen
}

// measure works out acted and blame of a candidate, and present of a family.
func (w *work) measure(h *held) error {
	if h.family != nil && h.Present >= Screen/float64(len(h.items)) {
		var err error
		if h.Present, err = w.plain.AnyOf(w.ctx, nil, h.family, w.post); err != nil {
			return err
		}
	}
	switch {
	case !w.g.Asking() || h.depth < 0:
	case !w.asks(h):
		h.Screened = true
	default:
		var err error
		if h.Acted, err = w.g.Acted(w.ctx, h.test()); err != nil {
			return err
		}
		h.Acted = min(h.Acted, h.Present)
		if h.Acted >= Screen/2 {
			if h.Blame, err = w.g.Blame(w.ctx, h.test()); err != nil {
				return err
			}
			h.Blame = min(h.Blame, h.Acted)
		}
	}
	h.Words = Likely(h.Blame)
	if !w.g.Asking() {
		h.Words = Likely(h.Present)
	}
	return nil
}

// sits finds at which steps an unlisted cause would have come in.
func (w *work) sits(u *held) error {
	var items []*network.Item
	for _, it := range w.g.Items {
		if _, ok := w.depths[it]; ok && it.Node.Kind == rules.Step && w.post.Item(it) >= 0.1 {
			items = append(items, it)
		}
	}
	blames := make([]float64, len(items))
	if err := each(w.ctx, len(items), func(i int) (err error) {
		blames[i], err = w.g.Blame(w.ctx, network.Test{Unlisted: true, At: items[i]})
		return err
	}); err != nil {
		return err
	}
	for i, it := range items {
		if blames[i] >= 0.01 {
			u.Sits = append(u.Sits, Sit{it.Node.ID, it.At, it.Node.Name, blames[i]})
		}
	}
	slices.SortStableFunc(u.Sits, func(a, b Sit) int {
		return cmp.Or(cmp.Compare(b.Blame, a.Blame), strings.Compare(a.ID, b.ID), strings.Compare(a.At, b.At))
	})
	if len(u.Sits) > 5 {
		u.Sits = u.Sits[:5]
	}
	return nil
}

// conflict measures how far the findings fight: the larger of two figures, each of
// which is seldom high by chance (a value of 1 comes about in at most one of ten
// cases that the book describes rightly, for its mean over such cases, as odds, is
// at most one). The first holds all findings against each other at once. Where
// most of them agree, that hides the one that does not; so the second holds each
// against all the others, and allows for there being many.
func (w *work) conflict() error {
	ids := w.counted()
	if err := w.apart(ids); err != nil {
		return err
	}
	if len(ids) < 2 {
		return nil
	}
	base := w.bare.LogP
	alone, rest := make([]float64, len(ids)), make([]float64, len(ids))
	for i := range ids {
		alone[i], rest[i] = w.alone[i].LogP, w.last[i].LogP
	}
	all := func(without map[string]bool, lp float64) float64 {
		sum := 0.0
		for i, id := range ids {
			if !without[id] {
				sum += alone[i] - base
			}
		}
		return (sum - (lp - base)) / math.Ln10
	}
	many := math.Log10(float64(len(ids)) / 2)
	odd, oddest := 0, math.Inf(-1)
	for i := range ids {
		if x := (alone[i]+rest[i]-base-w.post.LogP)/math.Ln10 - many; x > oddest {
			odd, oddest = i, x
		}
	}
	value := all(nil, w.post.LogP)
	if value >= oddest {
		w.d.Conflict.Value = value
		return w.fighting(ids, value, func(without map[string]bool) (float64, error) {
			lp, err := w.plain.LogP(w.ctx, without)
			return all(without, lp), err
		})
	}
	w.d.Conflict.Value = oddest
	if oddest <= ConflictTold {
		return nil
	}
	w.d.Conflict.Findings = []string{ids[odd]}
	others := slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return id == ids[odd] })
	return w.fighting(others, oddest, func(without map[string]bool) (float64, error) {
		with, err := w.plain.LogP(w.ctx, without)
		if err != nil {
			return 0, err
		}
		apart := maps.Clone(without)
		apart[ids[odd]] = true
		lp, err := w.plain.LogP(w.ctx, apart)
		return (alone[odd]+lp-base-with)/math.Ln10 - many, err
	})
}

// apart works out what is there without any finding, with each alone, and with all
// others but each.
func (w *work) apart(ids []string) error {
	var items []*network.Item
	var families []*network.Family
	w.mayWeigh = map[string]bool{}
	add := func(h *held) {
		if w.mayWeigh[h.ID] {
			return
		}
		w.mayWeigh[h.ID] = true
		if h.family != nil {
			families = append(families, h.family)
		}
		items = append(items, h.items...)
	}
	causes := 0
	for _, h := range w.named() {
		cause := h.items[0].Node.Kind == rules.Cause
		if h.Blame >= ProbableAt || cause && causes < leadingCauses {
			add(h)
		}
		if cause {
			causes++
		}
	}
	for _, h := range w.pool() {
		add(h)
	}
	if !w.g.Asking() { // by presence, then, and any of them
		items, families, w.mayWeigh = w.g.Items, w.g.Families, nil
	}
	all := map[string]bool{}
	for _, id := range ids {
		all[id] = true
	}
	var err error
	if w.bare, err = w.plain.About(w.ctx, all, items, families); err != nil {
		return err
	}
	w.alone, w.last = make([]*network.Posterior, len(ids)), make([]*network.Posterior, len(ids))
	return each(w.ctx, len(ids), func(i int) (err error) {
		others := maps.Clone(all)
		delete(others, ids[i])
		if w.alone[i], err = w.plain.About(w.ctx, others, items, families); err == nil {
			w.last[i], err = w.plain.About(w.ctx, map[string]bool{ids[i]: true}, items, families)
		}
		return err
	})
}

// fighting names the findings that fight: one after the other those whose absence
// lowers the conflict most, until little is left of it.
func (w *work) fighting(ids []string, value float64, measure func(without map[string]bool) (float64, error)) error {
	without := map[string]bool{}
	for value > ConflictTold && len(w.d.Conflict.Findings) < 4 {
		values := make([]float64, len(ids))
		if err := each(w.ctx, len(ids), func(i int) (err error) {
			values[i] = math.Inf(1)
			if !without[ids[i]] {
				less := maps.Clone(without)
				less[ids[i]] = true
				values[i], err = measure(less)
			}
			return err
		}); err != nil {
			return err
		}
		best := -1
		for i, x := range values {
			if x < value-1e-9 && (best < 0 || x < values[best]) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		without[ids[best]] = true
		w.d.Conflict.Findings = append(w.d.Conflict.Findings, ids[best])
		value = values[best]
	}
	return nil
}

// counted lists the findings that are evidence, in the order of the case.
func (w *work) counted() []string {
	var out []string
	for _, o := range w.g.Observed {
		if !slices.Contains(out, o.Finding) {
			out = append(out, o.Finding)
		}
	}
	return out
}

// explain finds the most probable explanation and the next one.
func (w *work) explain() error {
	w.best = map[*network.Item]bool{}
	found, proven, err := w.plain.Explain(w.ctx, 2, explainBudget)
	if err != nil || len(found) == 0 {
		return err
	}
	w.best = found[0].There
	w.d.Explanation.ProvenBest = proven
	w.d.Explanation.There = names(w.g, found[0].There)
	if len(found) > 1 {
		w.second = found[1].There
		s := &Second{Odds: math.Exp(found[0].LogP - found[1].LogP)}
		for _, it := range w.g.Items {
			a, b := found[0].There[it], found[1].There[it]
			switch {
			case b && !a:
				s.Believe = append(s.Believe, it.Name())
			case a && !b:
				s.Drop = append(s.Drop, it.Name())
			}
		}
		fill(&s.Believe)
		fill(&s.Drop)
		w.d.Explanation.Second = s
	}
	return nil
}

func names(g *network.Ground, there map[*network.Item]bool) []string {
	var out []string
	for _, it := range g.Items {
		if there[it] {
			out = append(out, it.ID())
		}
	}
	return out
}

// tidy fills what JSON wants as empty lists, and sorts into causes and steps.
func (w *work) tidy() {
	d := w.d
	for _, h := range w.all {
		c := h.Candidate
		isCause := h.unlisted || len(h.items) > 0 && h.items[0].Node.Kind == rules.Cause
		if isCause {
			d.Causes = append(d.Causes, c)
		} else {
			d.Steps = append(d.Steps, c)
		}
	}
	fill(&d.Verdict.Names)
	fill(&d.Verdict.Behind)
	fill(&d.Causes)
	fill(&d.Steps)
	fill(&d.Conditions)
	fill(&d.Together)
	fill(&d.Conflict.Findings)
	fill(&d.Chain)
	fill(&d.Explanation.There)
	fill(&d.Findings)
	fill(&d.Groups)
	fill(&d.NotExplained)
	fill(&d.Next)
	fill(&d.OverturnedBy.Rules)
	fill(&d.OverturnedBy.Findings)
	fill(&d.OverturnedBy.Looks)
	fill(&d.Assumed)
	fill(&d.Book.Packs)
}

func fill[T any](s *[]T) {
	if *s == nil {
		*s = []T{}
	}
}

// IsClash tells whether an error is a contradiction among findings, and which.
func IsClash(err error) ([]string, bool) {
	var c *network.Clash
	if errors.As(err, &c) {
		return c.Findings, true
	}
	return nil, false
}

func percent(p float64) string {
	switch {
	case p > 0.995:
		return "over 99 %"
	case p < 0.005:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
