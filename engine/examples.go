package engine

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/evidence/quantity"
	"tidemark/rules"
)

// Example thresholds: what an example says must lead is to blame at least this
// much or is named; what must not lead is to blame less than that.
const (
	exampleLeads    = 0.5
	exampleNotLeads = 0.25
)

// ExampleCase makes a case of a pack's example.
func ExampleCase(e *rules.Example) (*evidence.Case, error) {
	c := &evidence.Case{File: e.Pos.File, ID: e.ID, Title: e.Title, Question: e.Question, QuestionPos: e.Pos,
		Engine:  evidence.Engine{Facts: map[string]any{}},
		History: evidence.History{Facts: map[string]any{}}}
	for _, f := range evidence.Fields() {
		from, into := e.Engine, c.Engine.Facts
		if f.Table == "history" {
			from, into = e.History, c.History.Facts
		}
		v, ok := from[f.Name]
		if !ok {
			continue
		}
		switch x := v.(type) {
		case int64:
			if f.Type == evidence.Number {
				v = float64(x)
			} else {
				v = int(x)
			}
		}
		into[f.Name] = v
	}
	add := func(list []rules.ExampleFinding, state evidence.State) error {
		for _, f := range list {
			out := evidence.Finding{ID: fmt.Sprintf("F%02d", len(c.Findings)+1), Sign: f.Sign, State: state, By: evidence.Eye, Sure: evidence.Certain, Pos: e.Pos, SignPos: e.Pos}
			if f.At != "" {
				s, err := evidence.ParseSpot(f.At)
				if err != nil {
					return fmt.Errorf("%q: %w", f.At, err)
				}
				s.Pos = e.Pos
				out.At = []evidence.Spot{s}
			}
			c.Findings = append(c.Findings, out)
		}
		return nil
	}
	for _, text := range e.At {
		s, err := evidence.ParseSpot(text)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", text, err)
		}
		s.Pos = e.Pos
		c.At, c.QuestionAt = append(c.At, s), append(c.QuestionAt, text)
	}
	if err := add(e.Seen, evidence.Seen); err != nil {
		return nil, err
	}
	if err := exampleReadings(e, c); err != nil {
		return nil, err
	}
	return c, add(e.NotFound, evidence.NotFound)
}

// exampleReadings adds the readings and limits of an example.
func exampleReadings(e *rules.Example, c *evidence.Case) error {
	for i, x := range e.Readings {
		r := evidence.Reading{ID: fmt.Sprintf("R%02d", i+1), Of: x.Of, By: evidence.Gauge, Pos: e.Pos, OfPos: e.Pos, ValuePos: e.Pos, LimitPos: e.Pos}
		v, within, err := quantity.ParseReading(x.Value)
		if code, codeErr := quantity.ParseCode(x.Value); codeErr == nil {
			r.Code, r.CodeText = &code, x.Value
		} else if err != nil {
			return fmt.Errorf("%s: %w", x.Of, err)
		}
		r.Value, r.Uncertainty = v, within
		if x.At != "" {
			s, err := evidence.ParseSpot(x.At)
			if err != nil {
				return fmt.Errorf("%q: %w", x.At, err)
			}
			s.Pos = e.Pos
			r.At = []evidence.Spot{s}
		}
		c.Readings = append(c.Readings, r)
	}
	for _, x := range e.Limits {
		l, err := quantity.ParseLimit(x.Limit)
		if err != nil {
			return fmt.Errorf("%s: %w", x.Of, err)
		}
		c.Limits = append(c.Limits, evidence.Limit{Of: x.Of, Min: l.Min, Max: l.Max, From: "the example", Pos: e.Pos, OfPos: e.Pos})
	}
	return nil
}

// ExampleResult is how an example came out.
type ExampleResult struct {
	ID, Title string
	Failures  []string
	Leader    string
	Blame     float64
}

// RunExamples works out examples on all cores and tells them in their order.
// That an example cannot be worked out is a failure of it; an error is only that the
// context was done before.
func RunExamples(ctx context.Context, b *rules.Book, list []*rules.Example) ([]ExampleResult, error) {
	out := make([]ExampleResult, len(list))
	err := each(ctx, len(list), func(i int) error {
		r, err := RunExample(ctx, b, list[i])
		if err != nil {
			r = ExampleResult{ID: list[i].ID, Title: list[i].Title, Failures: []string{err.Error()}}
		}
		out[i] = r
		return nil
	})
	return out, err
}

// RunExample works out an example and holds it against what it says must lead.
func RunExample(ctx context.Context, b *rules.Book, e *rules.Example) (ExampleResult, error) {
	out := ExampleResult{ID: e.ID, Title: e.Title}
	c, err := ExampleCase(e)
	if err != nil {
		return out, err
	}
	w, err := verdictOf(ctx, b, c, Options{})
	if err != nil {
		return out, err
	}
	if h := w.leading(); h != nil {
		out.Leader, out.Blame = h.key(), h.Blame
	}
	blame := func(id string) float64 {
		most := 0.0
		for _, h := range w.all {
			if h.ID == id {
				most = math.Max(most, h.Blame)
			}
		}
		return most
	}
	for _, id := range e.Leads {
		named := slices.ContainsFunc(w.lead, func(h *held) bool { return h.ID == id })
		if p := blame(id); p < exampleLeads && !named && !w.clearlyFirst(id, e.Leads) {
			out.Failures = append(out.Failures, fmt.Sprintf("%s should lead and is to blame at %s only; %s leads (%s)", id, percent(p), out.Leader, percent(out.Blame)))
		}
	}
	for _, id := range e.NotLeads {
		if p := blame(id); p >= exampleNotLeads {
			out.Failures = append(out.Failures, fmt.Sprintf("%s should not lead and is to blame at %s", id, percent(p)))
		}
	}
	return out, nil
}

// clearly is how many times more to blame than any other cause one must be to lead
// clearly, where what happened has so many causes that none reaches a half.
const clearly = 2

// clearlyFirst tells whether a cause leads all others clearly, those apart that are to
// lead with it.
func (w *work) clearlyFirst(id string, with []string) bool {
	most, other := 0.0, 0.0
	for _, h := range w.named() {
		switch {
		case h.items[0].Node.Kind != rules.Cause:
		case h.ID == id:
			most = max(most, h.Blame)
		case !slices.Contains(with, h.ID):
			other = max(other, h.Blame)
		}
	}
	return most >= 0.25 && most >= clearly*other
}

// verdictOf works out a case as far as its verdict.
func verdictOf(ctx context.Context, b *rules.Book, c *evidence.Case, opt Options) (*work, error) {
	w, err := begin(ctx, b, c, opt)
	if err == nil {
		err = w.do(w.header, w.candidates, w.conflict, w.verdict)
	}
	if err != nil {
		return nil, err
	}
	return w, nil
}

// Sanity is what a book expects of an engine before anything is found.
type Sanity struct {
	Engine   string
	Causes   float64 // expected number of causes there, artefacts apart
	Outcome  float64 // chance of any outcome
	Outcomes []OutcomeChance
}

// OutcomeChance is the chance of one outcome with no findings, and how much of
// it comes from causes that the book does not list.
type OutcomeChance struct {
	ID       string
	Chance   float64
	Unlisted float64 // blame of unlisted, given the outcome; -1 if told of an earlier engine
}

// Reference engines on which a book is tried.
var references = []struct {
	name  string
	facts map[string]any
}{
	{"car, petrol, inline 4, belt", map[string]any{"use": "car", "fuel": "petrol", "cycle": "four-stroke", "cooling": "liquid", "layout": "inline", "cylinders": 4, "timing_drive": "belt", "balance_shafts": 0, "lubrication": "wet sump", "induction": "natural", "fuel_system": "port injection", "liners": "none", "oil_pump_drive": "crank"}},
	{"tractor, diesel, inline 4, gears, balance shafts", map[string]any{"use": "tractor", "fuel": "diesel", "cycle": "four-stroke", "cooling": "liquid", "layout": "inline", "cylinders": 4, "timing_drive": "gears", "balance_shafts": 2, "balance_drive": "gears", "lubrication": "wet sump", "induction": "turbo", "fuel_system": "mechanical injection", "liners": "wet", "oil_pump_drive": "gears"}},
	{"aircraft, opposed 6, air-cooled", map[string]any{"use": "aircraft", "fuel": "avgas", "cycle": "four-stroke", "cooling": "air", "layout": "opposed", "cylinders": 6, "timing_drive": "gears", "balance_shafts": 0, "lubrication": "wet sump", "induction": "natural", "fuel_system": "port injection", "liners": "none", "oil_pump_drive": "gears"}},
}

// Sane tries a book on the reference engines: the expected number of causes
// there should be at most 3, the chance of any outcome from 0.3 to 0.9.
func Sane(ctx context.Context, b *rules.Book) ([]Sanity, error) {
	out := make([]Sanity, len(references))
	type job struct {
		ref int
		at  int
		id  string
	}
	var jobs []job
	done := map[string]bool{}
	cases := make([]*evidence.Case, len(references))
	for i, ref := range references {
		cases[i] = &evidence.Case{Engine: evidence.Engine{Facts: ref.facts}, History: evidence.History{Facts: map[string]any{}}}
		g := network.New(b, cases[i])
		any, each, err := g.OutcomeChances(ctx)
		if err != nil {
			return nil, err
		}
		out[i] = Sanity{Engine: ref.name, Causes: g.Expected(), Outcome: any}
		for _, n := range b.Outcomes() {
			if p, ok := each[n.ID]; ok {
				if !done[n.ID] {
					done[n.ID] = true
					jobs = append(jobs, job{i, len(out[i].Outcomes), n.ID})
				}
				out[i].Outcomes = append(out[i].Outcomes, OutcomeChance{ID: n.ID, Chance: p, Unlisted: -1})
			}
		}
	}
	// How much of each outcome comes from causes that are not listed, in the
	// first of the engines that can have it.
	err := each(ctx, len(jobs), func(k int) error {
		j := jobs[k]
		g := network.New(b, cases[j.ref])
		if err := g.Ask(j.id, nil); err != nil {
			return err
		}
		if _, err := g.Plain(ctx); err != nil {
			return err
		}
		var err error
		out[j.ref].Outcomes[j.at].Unlisted, err = g.Blame(ctx, network.Test{Unlisted: true})
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := range out {
		slices.SortStableFunc(out[i].Outcomes, func(a, b OutcomeChance) int { return cmp.Compare(b.Chance, a.Chance) })
	}
	return out, nil
}
