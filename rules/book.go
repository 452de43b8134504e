package rules

import (
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

// Book is all that is known, checked. Maps are for lookup; the slices give the
// order in which things are told.
type Book struct {
	Packs    []Pack
	Parts    []*Part
	Signs    []*Sign
	Nodes    []*Node // causes, steps and conditions, parents before children
	Rules    []*Rule
	Examples []*Example
	// AtLarge is what is left of a base rate in engines at large, of which it is not
	// yet known that anything failed; 1 unless a pack says otherwise. A shop that
	// strips engines sees none of those: what is there in an engine that came in was
	// partly the reason for its coming, and to enter the failure as evidence besides
	// would count it twice (selection on the outcome, as in a case-control study).
	// What conditions bring about is scaled with it, and so is the chance that a sign
	// is seen by itself, which was set beside the base rates of what shows it.
	AtLarge float64
	// Instruments and Quantities are what can be measured, and with what.
	Instruments []*Instrument
	Quantities  []*Quantity
	// Hash is the SHA-256, in hex, of all packs' texts in the order of their ids.
	Hash string

	part     map[string]*Part
	sign     map[string]*Sign
	node     map[string]*Node
	quantity map[string]*Quantity
}

// ByItself is the chance that a sign is seen without any of its listed parents, in
// engines at large: its own sources keep the proportion to the listed ones that the
// packs give them.
func (b *Book) ByItself(s *Sign) float64 { return s.Unlisted * b.AtLarge }

// Part, Sign and Node look up an id; nil if the book has no such thing.
func (b *Book) Part(id string) *Part { return b.part[id] }

// Sign looks up "part.sign".
func (b *Book) Sign(id string) *Sign { return b.sign[id] }

// Node looks up a cause, step or condition.
func (b *Book) Node(id string) *Node { return b.node[id] }

// Pack is a file of the book.
type Pack struct {
	ID, Title, Version string
	File               string
}

// Part is a component on which signs can be looked for.
type Part struct {
	ID         string
	Name       string
	Also       []string // what else people call it
	Per        evidence.Kind
	Places     []string
	When       *Cond    // nil: every engine has it
	Behind     []string // parts that must come off first
	MinutesOff float64  // to take this part itself off
	Belongs    string   // engine, installation, tool, place, paper, person
	Pack       string
	Pos        source.Position
}

// Sign is what one can look for on a part.
type Sign struct {
	ID      string // "part.sign"
	Part    *Part
	Name    string
	Also    []string // what else people call it
	Look    string
	Minutes float64
	When    *Cond // nil: it can be looked for on every engine that has the part
	LostBy  []LostBy
	Caution string
	// Test makes the sign of readings: where they are taken, it need not be
	// looked for. Trend is a quantity that must be told as rising.
	Test     *Test
	Trend    *Quantity
	SameFact string // signs of one part and position in one group count once
	// Vague: reports tell it without saying what was seen. A finding can be it, and
	// nobody is sent to look for it.
	Vague    bool
	Unlisted float64 // chance of being seen with none of its listed parents there
	Pack     string
	Pos      source.Position

	By []*Rule // rules that show it, in the order of the book
}

// Title is "oil pickup and its screen: screen clogged".
func (s *Sign) Title() string { return s.Part.Name + ": " + s.Name }

// LostBy is an act that destroys a sign.
type LostBy struct {
	Kind evidence.ActKind
	Part string
}

// NodeKind tells causes, steps and conditions apart.
type NodeKind string

// Kinds of node. They share one id space, so putting something behind a cause
// renames nothing.
const (
	Cause     NodeKind = "cause"
	Step      NodeKind = "step"
	Condition NodeKind = "condition"
)

// Artefact is the category of causes that were not there while the engine ran.
const Artefact = "artefact"

// Categories are the cause categories of ISO 14224:2016 table B.3 as the
// workshop says them, and artefact for what was made after. "assembly" stands
// for its fabrication and installation errors made at build or repair,
// "manufacture" for those of the maker, "external" for its miscellaneous causes
// from outside.
var Categories = []string{"design", "manufacture", "assembly", "maintenance", "operation", "external", Artefact}

// Node is a cause, a step or a condition.
type Node struct {
	ID       string
	Kind     NodeKind
	Name     string
	Also     []string // what else people call it
	Category string   // of a cause
	// BaseRate is in how many of a hundred engines, over 100, that come in to
	// be stripped for an unplanned failure it is there, harm or no harm. For a
	// positioned cause it is that of at least one position, unless Each.
	BaseRate  float64
	BaseWord  string
	Each      bool
	Per       evidence.Kind
	Part      string // part that the engine must have; "" for none
	When      *Cond
	Given     *Cond   // of a condition: what in the case settles it
	Unlisted  float64 // of a step: share of its occurrences that the book does not explain
	Outcome   bool
	Rename    bool
	Needs     []*Need
	LookAlike map[string]string
	Source    string
	Note      string
	Pack      string
	Pos       source.Position

	Out []*Rule // what it leads to, shows and is, in the order of the book
	In  []*Rule // what leads to it
}

// Need is a conjunction: all of Of together produce the step, how often.
type Need struct {
	To       *Node
	Of       []*Node
	HowOften float64
	Word     string
	Because  string
	Source   string
	When     *Cond
	Pos      source.Position
}

// Reach says how a rule from one thing acts on many positions.
type Reach string

// Each position by its own chance; all or none; the first that lets go, and some
// or all of the others before the engine stops; or exactly one, as a thing that
// falls in: all rules of one source that reach one reach the same one.
const (
	ReachEach  Reach = "each"
	ReachAll   Reach = "all"
	ReachFirst Reach = "first"
	ReachOne   Reach = "one"
)

// Rule says that From produces To or shows Sign.
type Rule struct {
	ID       string // "from > to", with #2 where there is a second
	From     *Node
	To       *Node // one of To and Sign
	Sign     *Sign
	Is       bool // the sign is the thing itself
	HowOften float64
	Word     string
	Because  string
	Source   string
	When     *Cond
	Where    string // place of the sign's part
	Relation string // "", adjacent, same bank, every
	Reach    Reach
	Pack     string
	Pos      source.Position
}

// Example is a test that a pack carries.
type Example struct {
	ID       string
	Title    string
	Question string
	At       []string // where what is asked about happened: "cyl 2"; none: anywhere
	Engine   map[string]any
	History  map[string]any
	Seen     []ExampleFinding
	NotFound []ExampleFinding
	Readings []ExampleReading
	Limits   []ExampleLimit
	Leads    []string
	NotLeads []string
	Pack     string
	Pos      source.Position
}

// ExampleFinding is a finding of an example: "part.sign @ rod 3".
type ExampleFinding struct {
	Sign string
	At   string
}

// ExampleReading is a reading of an example: "rod_journal.diameter @ rod 3 = 59.80 mm".
type ExampleReading struct {
	Of, At, Value string
}

// ExampleLimit is a limit of an example: "rod_journal.diameter min 59.93 mm".
type ExampleLimit struct {
	Of, Limit string
}

// Outcomes lists the steps that a case may ask about.
func (b *Book) Outcomes() []*Node {
	var out []*Node
	for _, n := range b.Nodes {
		if n.Outcome {
			out = append(out, n)
		}
	}
	return out
}

// ByKind lists the nodes of one kind, sorted by id.
func (b *Book) ByKind(k NodeKind) []*Node {
	var out []*Node
	for _, n := range b.Nodes {
		if n.Kind == k {
			out = append(out, n)
		}
	}
	slices.SortFunc(out, func(a, c *Node) int { return strings.Compare(a.ID, c.ID) })
	return out
}

// Size is the size of a book.
type Size struct {
	Parts    int `json:"parts"`
	Measures int `json:"quantities"`
	Signs    int `json:"signs"`
	Causes   int `json:"causes"`
	Steps    int `json:"steps"`
	Rules    int `json:"rules"`
	Examples int `json:"examples"`
}

// Size counts what is in the book. Conditions count as neither cause nor step.
func (b *Book) Size() Size {
	return Size{Parts: len(b.Parts), Measures: len(b.Quantities), Signs: len(b.Signs), Causes: len(b.ByKind(Cause)), Steps: len(b.ByKind(Step)), Rules: len(b.Rules) + b.needs(), Examples: len(b.Examples)}
}

func (b *Book) needs() int {
	n := 0
	for _, x := range b.Nodes {
		n += len(x.Needs)
	}
	return n
}

// SuggestPart says which part was probably meant by an id that the book has not
// got: the one that people also call so, else the one spelt most like it.
func (b *Book) SuggestPart(id string) string {
	called := map[string]string{}
	for _, p := range b.Parts {
		for _, w := range p.Also {
			call(called, spoken(w), p.ID)
		}
	}
	return suggest(spoken(id), id, called, ids(b.Parts, func(p *Part) string { return p.ID }))
}

// SuggestSign does the same for "part.sign"; either half may be what people also
// say.
func (b *Book) SuggestSign(id string) string {
	called := map[string]string{}
	for _, s := range b.Signs {
		part, sign, _ := strings.Cut(s.ID, ".")
		for _, p := range append([]string{part}, s.Part.Also...) {
			for _, w := range append([]string{sign}, s.Also...) {
				call(called, spoken(p)+" "+spoken(w), s.ID)
			}
		}
		for _, w := range s.Also {
			call(called, spoken(w), s.ID)
		}
	}
	return suggest(spoken(id), id, called, ids(b.Signs, func(s *Sign) string { return s.ID }))
}

// call notes that words stand for an id; where they stand for several, for the
// first by its letters.
func call(called map[string]string, words, id string) {
	if was, taken := called[words]; !taken || id < was {
		called[words] = id
	}
}

// spoken is an id or a name as one says it.
func spoken(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune("_.-, ", r) }), " ")
}

func suggest(said, id string, called map[string]string, known []string) string {
	if meant, ok := called[said]; ok {
		return source.Suggest(meant, []string{meant})
	}
	if hint := source.Suggest(id, known); hint != "" {
		return hint
	}
	var words []string
	for w := range called {
		words = append(words, w)
	}
	slices.Sort(words)
	hint := source.Suggest(said, words)
	for _, w := range words {
		if hint != "" && hint == source.Suggest(w, []string{w}) {
			return source.Suggest(called[w], []string{called[w]})
		}
	}
	return ""
}
