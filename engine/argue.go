package engine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// ArgumentSchema names the shape of an Argument as JSON.
const ArgumentSchema = "tidemark.argument/1"

// Argument is what speaks for and against one candidate, or for one over another,
// finding by finding. Weights are in decibans.
type Argument struct {
	Schema  string     `json:"schema"`
	Case    CaseInfo   `json:"case"`
	Verdict Verdict    `json:"verdict"`
	Of      Candidate  `json:"of"`
	Over    *Candidate `json:"over,omitempty"`
	// Scale says of what the weights are: "present" the log odds that it is there;
	// "blame" those that it is to blame, for sets and what is not listed; "contrast" the
	// odds of the one without the other against the other without the one; "blame
	// contrast" the blame of the one over that of the other.
	Scale  string  `json:"scale"`
	Base   float64 `json:"base"`   // without any finding
	Result float64 `json:"result"` // with all; Base and all shares add up to it
	// Both is how likely it is that both are there, in a contrast of what can be.
	Both float64 `json:"both,omitempty"`
	// Points are the findings that tell something, strongest first; Silent those that
	// tell nothing here.
	Points []Point  `json:"points"`
	Silent []string `json:"silent"`
	// Way is how it leads to what is asked about.
	Way []Rung `json:"way"`
	// Innocent says why it is not to blame, where it is there and is not.
	Innocent *Innocent `json:"not_to_blame,omitempty"`
	// Looks are those not made that would tell most, by what each result would weigh.
	Looks   []TellingLook `json:"looks"`
	Book    BookInfo      `json:"book"`
	Method  Method        `json:"method"`
	Program Program       `json:"program"`
}

// Point is a finding in an argument.
type Point struct {
	Finding string `json:"finding"`
	Name    string `json:"name"`
	At      string `json:"at"`
	State   string `json:"state"`
	Weight
	Strength string `json:"strength"` // in words, without the way it pulls
	// How is why it tells: the way from the candidate to what is seen, or would have
	// been; where there is none, what else it tells for.
	How []Rung `json:"how"`
	// Instead is what the finding is of, where no way leads to it: what shows it, or
	// would have shown what was not found.
	Instead string `json:"instead,omitempty"`
}

// Rung is one rule of a way.
type Rung struct {
	Rule     string  `json:"rule"`
	From     string  `json:"from"`
	To       string  `json:"to"`
	HowOften float64 `json:"how_often"`
	Because  string  `json:"because"`
	Source   string  `json:"source"`
	// With is what must be there as well as From ("temperature_alarm_dead").
	With []string `json:"with,omitempty"`
}

// TellingLook is a look not made, with what either result would weigh.
type TellingLook struct {
	Look
	Seen     float64 `json:"seen"`      // decibans
	NotFound float64 `json:"not_found"` // decibans
}

// ClaimError is that what is to be argued cannot be.
type ClaimError struct{ msg string }

func (e *ClaimError) Error() string { return e.msg }

// NoClaim is that there is no candidate of a name.
type NoClaim struct{ ID string }

func (e *NoClaim) Error() string {
	return fmt.Sprintf("there is no cause, step or kind of cause %q", e.ID)
}

// Argue tells what speaks for and against a candidate in a case that was checked
// against the book: a cause or step ("rod_bolt_loose", at one place
// "rod_bolt_loose@rod 3"), a kind of cause ("assembly"), or "unlisted". With over, it
// tells what speaks for the one rather than the other.
func Argue(ctx context.Context, book *rules.Book, c *evidence.Case, of, over string, opt Options) (*Argument, error) {
	w, err := begin(ctx, book, c, opt)
	if err != nil {
		return nil, err
	}
	if err := w.do(w.header, w.candidates, w.conflict, w.verdict, w.explain); err != nil {
		return nil, err
	}
	a := &argument{w: w, out: &Argument{Schema: ArgumentSchema, Points: []Point{}, Silent: []string{}, Way: []Rung{}, Looks: []TellingLook{}}}
	if a.of, err = w.claim(of); err != nil {
		return nil, err
	}
	if over != "" {
		if a.over, err = w.claim(over); err != nil {
			return nil, err
		}
		if err := a.rivals(); err != nil {
			return nil, err
		}
	}
	if err := w.do(a.weigh, a.reasons, a.innocent, a.looks); err != nil {
		return nil, err
	}
	for _, f := range w.every {
		w.d.Findings = append(w.d.Findings, w.findingOut(f, nil))
	}
	w.tidy()
	o := a.out
	o.Case, o.Verdict, o.Book, o.Method, o.Program = w.d.Case, w.d.Verdict, w.d.Book, w.d.Method, w.d.Program
	o.Of = a.of.Candidate
	if a.over != nil {
		o.Over = &a.over.Candidate
	}
	return o, nil
}

// argument is an Argument in the making.
type argument struct {
	w        *work
	of, over *held
	way      []network.Way // the surest from it to what happened
	out      *Argument
}

// claim finds what is to be argued, and works out what was not yet.
func (w *work) claim(text string) (*held, error) {
	id, at, _ := strings.Cut(text, "@")
	id, at = strings.TrimSpace(id), strings.TrimSpace(at)
	if id == "unlisted" {
		for _, h := range w.all {
			if h.unlisted {
				return h, nil
			}
		}
		return nil, &ClaimError{"nothing is asked, so nothing unlisted can be to blame: give the case a question"}
	}
	if id == rules.Artefact {
		return nil, &ClaimError{"what was made after the failure cannot be to blame for it"}
	}
	if slices.Contains(rules.Categories, id) {
		return w.kindOf(id)
	}
	n := w.book.Node(id)
	switch {
	case n == nil:
		return nil, &NoClaim{id}
	case n.Kind == rules.Condition:
		return nil, &ClaimError{fmt.Sprintf("%s is a circumstance that is given and is never weighed against others", id)}
	case w.asked(n):
		return nil, &ClaimError{fmt.Sprintf("%s is what the case asks about: it is taken as having happened", id)}
	}
	items := w.g.ItemsOf(n)
	if len(items) == 0 {
		return nil, &ClaimError{fmt.Sprintf("this engine cannot have %s (%s)", id, n.Name)}
	}
	var places []string
	for _, it := range items {
		places = append(places, it.At)
	}
	at, err := w.placeOf(n, at, places)
	if err != nil {
		return nil, err
	}
	for _, h := range w.all {
		if h.ID != id {
			continue
		}
		if h.At == at && h.family == nil || at == "" && (h.family != nil || len(items) == 1) {
			return h, nil
		}
	}
	// A step on which nothing bears.
	i := max(0, slices.Index(places, at))
	h := w.single(items[i])
	if f := w.g.FamilyOf(n); f != nil && at == "" {
		h.At, h.Kind, h.family, h.items, h.Present = "any", "family", f, f.Items, w.post.Family(f)
	}
	w.keep(h)
	return h, nil
}

// placeOf is a place as the engine's own name for it, of whatever a person wrote: "cyl 2",
// "cylinder 2", "no 2 cylinder", "2". "" stays that.
func (w *work) placeOf(n *rules.Node, text string, places []string) (string, error) {
	switch {
	case text == "" || slices.Contains(places, text):
		return text, nil
	case len(places) < 2 && n.Per == evidence.One:
		return "", &ClaimError{fmt.Sprintf("%s has no places of its own: leave out %q", n.ID, text)}
	}
	unknown := &ClaimError{fmt.Sprintf("%s is not at %q; its places are %s", n.ID, text, and(places))}
	spot, err := evidence.ParseSpot(text)
	if err != nil {
		if spot, err = evidence.ParseSpot(turnedRound(text)); err != nil {
			return "", unknown
		}
	}
	if spot.Place != "" {
		return "", &ClaimError{fmt.Sprintf("%s is told of a whole %s and not of a place on it: leave out %q", n.ID, n.Per.Word(), "/ "+spot.Place)}
	}
	indexes, err := w.c.Engine.Resolve(spot, n.Per)
	if err != nil || len(indexes) == 0 {
		return "", unknown
	}
	if len(indexes) > 1 || spot.All || spot.Unknown != "" || spot.Count > 0 {
		return "", &ClaimError{fmt.Sprintf("%q is more than one place: name one, or none for any of them; the places of %s are %s", text, n.ID, and(places))}
	}
	at := w.c.Engine.Name(n.Per, indexes[0])
	if len(places) == 1 {
		at = places[0]
	}
	if !slices.Contains(places, at) {
		return "", unknown
	}
	return at, nil
}

// turnedRound puts a number that stands before its word behind it: "no 2 cylinder", "2nd
// cylinder" and "cylinder no 2" become "cylinder 2".
func turnedRound(text string) string {
	if m := numberFirst.FindStringSubmatch(text); m != nil {
		return strings.TrimSpace(m[2] + " " + m[1])
	}
	if m := numberLast.FindStringSubmatch(text); m != nil {
		return m[1] + " " + m[2]
	}
	return text
}

var (
	numberFirst = regexp.MustCompile(`(?i)^(?:no\.?|nr\.?|number|#)?\s*([0-9]+(?:\.[0-9]+)?)(?:st|nd|rd|th)?\s*([a-z][a-z -]*)?$`)
	numberLast  = regexp.MustCompile(`(?i)^([a-z][a-z -]*?)[\s,]*(?:no\.?|nr\.?|number|#)\s*([0-9]+(?:\.[0-9]+)?)$`)
)

// kindOf is all causes of a category held as one.
func (w *work) kindOf(category string) (*held, error) {
	if !w.g.Asking() {
		return nil, &ClaimError{"kinds of cause are weighed by blame, and nothing is asked: give the case a question"}
	}
	items := w.ofKind(category)
	if len(items) == 0 {
		return nil, &ClaimError{fmt.Sprintf("no %s cause can have acted here", CategoryName(category))}
	}
	h := &held{Candidate: Candidate{ID: category, Kind: "set", Name: "any cause of the kind “" + CategoryName(category) + "”", Category: category}, items: items, depth: 1}
	var err error
	if h.Blame, err = w.blameOfKind(w.g, category); err != nil {
		return nil, err
	}
	if h.Acted, err = w.g.Acted(w.ctx, network.Test{Items: items, Many: true}); err != nil {
		return nil, err
	}
	lp, err := w.plain.LogPHeld(w.ctx, nil, network.Hold{Items: items})
	// Where rules were left out, each figure may be a little off by itself.
	h.Present, h.Words = 1-math.Exp(lp-w.post.LogP), Likely(h.Blame)
	h.Acted = min(max(h.Acted, h.Blame), max(h.Present, h.Blame))
	return h, err
}

// byBlame tells whether a claim can only be weighed by its blame.
func byBlame(h *held) bool { return h.unlisted || h.Kind == "set" }

// rivals tells whether the two can be set against each other.
func (a *argument) rivals() error {
	x, y := a.of, a.over
	switch {
	case x == y || x.ID == y.ID && x.At == y.At:
		return &ClaimError{"both are the same: name another to hold it against"}
	case byBlame(x) || byBlame(y):
		return nil
	case x.ID == y.ID && (x.At == "any" || y.At == "any"):
		return &ClaimError{fmt.Sprintf("one of them is a place of the other: name two places of %s, or none", x.ID)}
	case a.w.runsTo(x, y):
		return &ClaimError{fmt.Sprintf("%s leads on to %s, so they are no rivals: ask why of each, or hold one against something else", x.Name, y.Name)}
	case a.w.runsTo(y, x):
		return &ClaimError{fmt.Sprintf("%s leads on to %s, so they are no rivals: ask why of each, or hold one against something else", y.Name, x.Name)}
	}
	return nil
}

func hold(h *held, there bool) network.Hold {
	return network.Hold{Items: h.items, Family: h.family, There: there}
}

// value is the claim on its scale, in decibans, with some findings left out.
func (a *argument) value(without map[string]bool) (float64, error) {
	w := a.w
	ratio := func(x, y float64) float64 { return within(10 / math.Ln10 * (x - y)) }
	switch a.out.Scale {
	case "present":
		items, families := itemsOf([]*held{a.of})
		p, err := w.plain.About(w.ctx, without, items, families)
		if err != nil {
			return 0, err
		}
		return decibans(w.presentIn(p, a.of)), nil
	case "contrast":
		x, err := w.one(w.plain, without, a.of, a.over)
		if err != nil {
			return 0, err
		}
		y, err := w.one(w.plain, without, a.over, a.of)
		return ratio(x, y), err
	}
	g := w.g
	if len(without) > 0 {
		g = w.g.Variant(without)
	}
	blame := func(h *held) (float64, error) {
		if h.Kind == "set" {
			return w.blameOfKind(g, h.Category)
		}
		return g.Blame(w.ctx, h.test())
	}
	x, err := blame(a.of)
	if err != nil || a.over == nil {
		return decibans(x), err
	}
	y, err := blame(a.over)
	return ratio(math.Log(max(x, 1e-9)), math.Log(max(y, 1e-9))), err
}

// one is ln P of the findings, and that the one is there without the other. Of several
// places it is what is left when neither is there is taken from where the other is not.
func (w *work) one(p *network.Plain, without map[string]bool, x, y *held) (float64, error) {
	if len(x.items) == 1 {
		return p.LogPHeld(w.ctx, without, hold(x, true), hold(y, false))
	}
	not, err := p.LogPHeld(w.ctx, without, hold(y, false))
	if err != nil {
		return 0, err
	}
	neither, err := p.LogPHeld(w.ctx, without, hold(x, false), hold(y, false))
	if err != nil || math.IsInf(not, -1) {
		return not, err
	}
	return not + math.Log(max(0, -math.Expm1(neither-not))), nil
}

// within keeps decibans within bounds that a person can make something of.
func within(db float64) float64 {
	const most = 90
	if math.IsNaN(db) {
		return 0
	}
	return max(-most, min(most, db))
}

// weigh works out what each finding weighs: alone, last, and its share.
func (a *argument) weigh() error {
	w, o := a.w, a.out
	switch {
	case a.over != nil && (byBlame(a.of) || byBlame(a.over)):
		o.Scale = "blame contrast"
	case a.over != nil:
		o.Scale = "contrast"
	case byBlame(a.of):
		o.Scale = "blame"
	default:
		o.Scale = "present"
	}
	ids := w.counted()
	all := map[string]bool{}
	for _, id := range ids {
		all[id] = true
	}
	values := make([]float64, 2+2*len(ids))
	if err := each(w.ctx, len(values), func(i int) (err error) {
		without := map[string]bool{}
		switch {
		case i == 0: // all findings
		case i == 1:
			without = all
		case i%2 == 0:
			without[ids[i/2-1]] = true
		default:
			for id := range all {
				without[id] = id != ids[i/2-1]
			}
		}
		values[i], err = a.value(without)
		return err
	}); err != nil {
		return err
	}
	o.Result, o.Base = values[0], values[1]
	weights := make([]Weight, len(ids))
	for i := range ids {
		weights[i] = Weight{Last: values[0] - values[2+2*i], Alone: values[3+2*i] - values[1]}
	}
	shares(weights, o.Result-o.Base)
	for i, id := range ids {
		f := w.findingOut(w.finding(id), nil)
		o.Points = append(o.Points, Point{Finding: id, Name: f.Name, At: f.At, State: f.State, Weight: weights[i], Strength: Strength(weights[i].Share), How: []Rung{}})
	}
	if o.Scale == "contrast" {
		// Of the one, what is not without the other is with it.
		lp, err := w.one(w.plain, nil, a.of, a.over)
		if err != nil {
			return err
		}
		o.Both = max(0, w.presentIn(w.post, a.of)-math.Exp(lp-w.post.LogP))
	}
	return nil
}

// shares fills the share of each: the mean of alone and last, scaled so that the
// column adds up exactly. Where the means nearly cancel no scale makes sense, and the
// remainder is spread over them by size.
func shares(weights []Weight, total float64) {
	sum, size := 0.0, 0.0
	for _, x := range weights {
		m := (x.Alone + x.Last) / 2
		sum += m
		size += math.Abs(m)
	}
	scale := 0.0
	if sum != 0 {
		scale = total / sum
	}
	for i, x := range weights {
		m := (x.Alone + x.Last) / 2
		switch {
		case scale >= 0.5 && scale <= 2:
			weights[i].Share = m * scale
		case size > 0:
			weights[i].Share = m + (total-sum)*math.Abs(m)/size
		default:
			weights[i].Share = total / float64(len(weights))
		}
	}
}

// reasons says of each finding why it tells, orders them, and finds the way to what is
// asked about.
func (a *argument) reasons() error {
	w, o := a.w, a.out
	var mine, theirs *ways
	if !a.of.unlisted {
		mine = w.waysFrom(a.of.items)
	}
	if a.over != nil && !a.over.unlisted {
		theirs = w.waysFrom(a.over.items)
	}
	for i := range o.Points {
		p := &o.Points[i]
		// What tells for it is what it shows, or what the other should have shown and did
		// not; what tells against it the reverse.
		from := mine
		if (p.State == "not_found") == (p.Share > 0) {
			from = theirs
		}
		if p.How = from.to(w, p.Finding); len(p.How) == 0 {
			p.How, p.Instead = []Rung{}, w.toldOf(p.Finding)
		}
	}
	slices.SortStableFunc(o.Points, func(x, y Point) int {
		return cmp.Compare(math.Abs(y.Share), math.Abs(x.Share))
	})
	for _, p := range o.Points {
		if math.Abs(p.Share) < hardly && math.Abs(p.Alone) < hardly && math.Abs(p.Last) < hardly {
			o.Silent = append(o.Silent, p.Finding)
		}
	}
	o.Points = slices.DeleteFunc(o.Points, func(p Point) bool { return slices.Contains(o.Silent, p.Finding) })
	if _, asked := w.g.Asked(); mine != nil && a.over == nil {
		best := (*network.Item)(nil)
		for _, it := range asked {
			if mine.reach[it] > 0 && (best == nil || mine.reach[it] > mine.reach[best]) {
				best = it
			}
		}
		if best != nil {
			a.way = mine.ways(best)
			o.Way = append(o.Way, mine.rungs(best)...)
		}
	}
	return nil
}

// hardly is the weight below which a finding tells nothing, in decibans.
const hardly = 0.3

// toldOf is what a finding tells of: most probably; of what was not found, what would
// have shown it most often.
func (w *work) toldOf(id string) string {
	var best *network.Item
	most := 0.0
	for _, o := range w.g.Observed {
		if o.Finding != id {
			continue
		}
		for _, s := range o.Explains() {
			x := s.HowOften
			if o.Seen {
				x *= w.post.Item(s.Item)
			}
			if x > most {
				best, most = s.Item, x
			}
		}
	}
	if best == nil {
		return ""
	}
	return best.ID()
}

// ways are the surest ways on which things lead on from some items, by what is there.
type ways struct {
	w     *work
	start map[*network.Item]bool
	reach map[*network.Item]float64
	by    map[*network.Item]network.Way
}

func (w *work) waysFrom(items []*network.Item) *ways {
	s := &ways{w, map[*network.Item]bool{}, map[*network.Item]float64{}, map[*network.Item]network.Way{}}
	for _, it := range items {
		s.start[it], s.reach[it] = true, 1
		if len(items) > 1 { // from where it most probably is
			s.reach[it] = max(1e-6, w.post.Item(it))
		}
	}
	for _, it := range w.g.Items { // parents first
		for _, way := range w.g.Ways(it) {
			// A way over what is there is preferred to one over what is not.
			x := s.reach[way.From] * way.Pass * w.beside(way)
			if !s.start[way.From] {
				x *= max(hardlyActed, w.post.Item(way.From))
			}
			if !s.start[it] && x > s.reach[it] {
				s.reach[it], s.by[it] = x, way
			}
		}
	}
	return s
}

// ways are the way to an item, rule by rule.
func (s *ways) ways(it *network.Item) []network.Way {
	var out []network.Way
	for !s.start[it] {
		out = append(out, s.by[it])
		it = s.by[it].From
	}
	slices.Reverse(out)
	return out
}

// rungs are the rules of the way to an item.
func (s *ways) rungs(it *network.Item) []Rung {
	var out []Rung
	for _, way := range s.ways(it) {
		out = append(out, s.w.rung(way))
	}
	return out
}

// rung is one rule of a way.
func (w *work) rung(way network.Way) Rung {
	r := Rung{Rule: way.Rule.ID, From: way.From.ID(), To: way.To.ID(), HowOften: way.Rule.HowOften, Because: way.Rule.Because, Source: way.Rule.Source}
	for _, it := range w.neededWith(way) {
		r.With = append(r.With, it.ID())
	}
	return r
}

// neededWith are the other things that a way needs: none, unless it goes by several at
// once. Of several positions it is the one that is there most probably.
func (w *work) neededWith(way network.Way) []*network.Item {
	var out []*network.Item
	if way.To == nil {
		return nil
	}
	for _, need := range way.To.Node.Needs {
		if way.Rule.ID != way.To.Node.ID+" needs" || way.Rule.Because != need.Because || way.Rule.HowOften != need.HowOften || !slices.Contains(need.Of, way.From.Node) {
			continue
		}
		for _, n := range need.Of {
			var best *network.Item
			for _, o := range w.g.Ways(way.To) {
				if n != way.From.Node && o.From.Node == n && o.Rule == way.Rule && (best == nil || w.post.Item(o.From) > w.post.Item(best)) {
					best = o.From
				}
			}
			if best != nil && !slices.Contains(out, best) {
				out = append(out, best)
			}
		}
		break
	}
	return out
}

// beside is how probable it is that the other things are there that a way needs, taken
// as independent.
func (w *work) beside(way network.Way) float64 {
	p := 1.0
	for _, it := range w.neededWith(way) {
		p *= max(hardlyActed, w.post.Item(it))
	}
	return p
}

// to is the way to a finding; none where none leads there.
func (s *ways) to(w *work, finding string) []Rung {
	if s == nil {
		return nil
	}
	var best network.Shows
	var sign string
	most := 0.0
	for _, o := range w.g.Observed {
		if o.Finding != finding {
			continue
		}
		for _, x := range o.Explains() {
			if p := s.reach[x.Item] * x.HowOften; p > most {
				best, most, sign = x, p, o.Sign.ID
			}
		}
	}
	if most == 0 {
		return nil
	}
	return append(s.rungs(best.Item), Rung{Rule: best.ID, From: best.Item.ID(), To: sign, HowOften: best.HowOften, Because: best.Because, Source: best.Source})
}

const (
	argueAmong = 24 // looks that are worked out, after a rough ranking
	argueLooks = 3  // that are told
)

// looks finds what would tell most about the claim, or between the two.
func (a *argument) looks() error {
	w := a.w
	if byBlame(a.of) || a.over != nil && byBlame(a.over) {
		return nil
	}
	cands := []*held{a.of}
	if a.over != nil {
		cands = append(cands, a.over)
	}
	rough, err := w.roughLooks(cands)
	if err != nil {
		return err
	}
	rough = rough[:min(argueAmong, len(rough))]
	looks := make([]TellingLook, len(rough))
	rate := map[string]float64{}
	told := make([]float64, len(rough))
	if err := each(w.ctx, len(rough), func(i int) (err error) {
		looks[i], told[i], err = a.tells(rough[i])
		return err
	}); err != nil {
		return err
	}
	for i, l := range looks {
		rate[l.Sign+" "+l.At] = told[i] / l.Minutes
	}
	looks = slices.DeleteFunc(looks, func(l TellingLook) bool { return max(math.Abs(l.Seen), math.Abs(l.NotFound)) < 3 })
	slices.SortStableFunc(looks, func(x, y TellingLook) int {
		return cmp.Or(cmp.Compare(rate[y.Sign+" "+y.At], rate[x.Sign+" "+x.At]), strings.Compare(x.Sign, y.Sign))
	})
	a.out.Looks = append(a.out.Looks, looks[:min(argueLooks, len(looks))]...)
	return nil
}

// tells works out what either result of a look would weigh for the claim, and how much
// is to be expected of it, in bits.
func (a *argument) tells(r lookAt) (TellingLook, float64, error) {
	w := a.w
	var l TellingLook
	var err error
	if l.Look, err = w.exactLook(r, []*held{a.of}); err != nil {
		return l, 0, err
	}
	if a.over == nil {
		k := a.of.key()
		now := decibans(w.presentIn(w.post, a.of))
		l.Seen, l.NotFound = within(decibans(l.IfSeen[k])-now), within(decibans(l.IfNotFound[k])-now)
		return l, l.Bits, nil
	}
	// Of each without the other: how likely the sign is not found.
	not := w.plain.Ruled(network.Unseen{Sign: r.sign, Index: r.index})
	var lp, lq [2]float64
	for i, pair := range [][2]*held{{a.of, a.over}, {a.over, a.of}} {
		if lp[i], err = w.one(w.plain, nil, pair[0], pair[1]); err != nil {
			return l, 0, err
		}
		if lq[i], err = w.one(not, nil, pair[0], pair[1]); err != nil {
			return l, 0, err
		}
	}
	q := [2]float64{}
	for i := range q {
		q[i] = max(0, min(1, math.Exp(lq[i]-lp[i])*w.g.OfItself(r.sign)))
	}
	db := func(x, y float64) float64 { return within(10 * math.Log10(max(x, 1e-9)/max(y, 1e-9))) }
	l.NotFound, l.Seen = db(q[0], q[1]), db(1-q[0], 1-q[1])
	// Between the two alone.
	x := 1 / (1 + math.Exp(lp[1]-lp[0]))
	chance := x*(1-q[0]) + (1-x)*(1-q[1])
	bits := entropy(x)
	if chance > 0 {
		bits -= chance * entropy(x*(1-q[0])/chance)
	}
	if chance < 1 {
		bits -= (1 - chance) * entropy(x*q[0]/(1-chance))
	}
	return l, max(0, bits), nil
}

// IsClaim tells whether an error is about what was to be argued.
func IsClaim(err error) bool {
	var c *ClaimError
	var n *NoClaim
	return errors.As(err, &c) || errors.As(err, &n)
}
