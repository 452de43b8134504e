package evidence

import (
	"tidemark/evidence/quantity"
	"tidemark/evidence/source"
)

// Case is a case file, checked. Lists keep the order of the file.
type Case struct {
	File        string // path as given; "" for a case that is in no file
	ID          string
	Title       string
	Question    string   // id of the outcome asked about; "" when none is asked
	QuestionAt  []string // as written
	At          []Spot   // where the outcome happened, if it is a state of one position
	QuestionPos source.Position

	Engine   Engine
	History  History
	Received Received

	Works    []Work
	Findings []Finding
	Readings []Reading
	Limits   []Limit // those of the case first, then those of its files
	// LimitFiles are the shop's files of limits that the case names.
	LimitFiles []FileRef
	// Measured are findings that come of readings, once these have been held
	// against their limits; no file has them.
	Measured []Finding
	Fitted   []Fitted
	Acts     []Act
	// OrderLost lists parts whose positions can no longer be believed.
	OrderLost []PartRef
	Confirmed Confirmed

	hash [32]byte // of the bytes the case was read from; Save compares it
}

// FileRef names a file, relative to the case's own, and where the name stands.
type FileRef struct {
	Path string
	Pos  source.Position
}

// PartRef names a part of the book, and where the name stands.
type PartRef struct {
	Part string
	Pos  source.Position
}

// Way is how something was looked at or came to be known.
type Way string

// Ways of looking, from the bare eye to hearsay.
const (
	Eye        Way = "eye"
	Lens       Way = "lens"
	Gauge      Way = "gauge"
	CrackTest  Way = "crack test"
	Laboratory Way = "laboratory"
	Paper      Way = "paper"
	Told       Way = "told"
)

// Sureness is how sure the person who looked is of what was seen.
type Sureness string

// The three degrees.
const (
	Certain  Sureness = "certain"
	Fairly   Sureness = "fairly"
	Doubtful Sureness = "doubtful"
)

// State of a finding.
type State string

// A sign was seen; or looked for and not found; or could not be looked for
// (not recovered, destroyed, not examined, result not given). Silence is no
// entry.
const (
	Seen        State = "seen"
	NotFound    State = "not found"
	Unavailable State = "unavailable"
)

// Order says what came before and after what, by the ids of other entries.
type Order struct {
	After, Before []string
}

// Finding is a sign looked for in the case, under its exhibit number.
type Finding struct {
	ID         string
	Sign       string // "part.sign"; "other" for a sight that the book does not know
	Part       string // for "other": the part
	At         []Spot // none: the part has no positions, or no position is told
	State      State
	Why        string // for unavailable: why
	By         Way
	Sure       Sureness
	Surface    string   // as found, wiped, washed, cut
	Look       string   // findings of one look share this
	Sample     string   // findings and readings of one sample share this
	Made       string   // teardown, crash, fire, storage, transport, cleaning: made after, not by running
	Replaces   string   // id of the finding that this one corrects
	ReplacedBy string   // set when loading: the finding that corrects this one
	RestsOn    []string // ids of what an interpretation rests on: told, not counted
	// Beyond is, for a finding that comes of readings, the probability that the
	// value lies beyond its limit; nil for what was looked at.
	Beyond  *float64
	HowMuch string // spots, part, most, all
	Photos  []string
	Note    string
	Who     string
	Order
	Pos     source.Position // of [finding.ID]
	SignPos source.Position
	PartPos source.Position
}

// Counts tells whether the finding can be evidence of running at all.
func (f Finding) Counts() bool {
	return f.State != Unavailable && f.Made == "" && f.ReplacedBy == "" && f.Sign != "other" && len(f.RestsOn) == 0
}

// Reading is a measured value. What it means for the diagnosis is worked out
// where limits are known.
type Reading struct {
	ID              string
	Of              string // "part.quantity"
	At              []Spot
	Value           quantity.Value // not said where only a bound, a trend or a difference is known
	Code            *quantity.Code // in place of Value, for a cleanliness code
	CodeText        string         // the code as written
	Uncertainty     quantity.Value // a difference, or a per cent of the value
	Coverage        string         // what the uncertainty covers: "95 %", "standard", "k=2", "limits"
	AtLeast, AtMost quantity.Value // bounds where no value was got
	Trend           string         // rising, falling, steady
	Unlike          []Spot         // positions from which it differs
	How             string         // higher, lower: in which way it differs
	Limit           quantity.Limit // what it is held against
	LimitFrom       string         // whose limit
	LimitFor        string         // new, service, release
	Instrument      string         // kind, and which one: "micrometer 2"
	InstrumentPos   source.Position
	// Checked tells that a value that looks like a slip of the pen was read again
	// and stands.
	Checked bool
	Sample  string
	By      Way
	Note    string
	Who     string
	Order
	Pos      source.Position
	OfPos    source.Position
	ValuePos source.Position
	LimitPos source.Position
}

// ValueText is the value as it was written, of whatever kind.
func (r Reading) ValueText() string {
	switch {
	case r.Code != nil:
		return r.CodeText
	case r.Value.Said():
		return r.Value.Text
	case r.AtLeast.Said() && r.AtMost.Said():
		return "from " + r.AtLeast.Text + " to " + r.AtMost.Text
	case r.AtLeast.Said():
		return "at least " + r.AtLeast.Text
	case r.AtMost.Said():
		return "at most " + r.AtMost.Text
	case r.Trend != "":
		return r.Trend
	}
	return r.How
}

// Limit is what readings of a quantity are held against: the maker's for this
// engine, from the case or from a shop's file of limits.
type Limit struct {
	Of       string // "part.quantity"
	At       []Spot // none: at all positions
	Min, Max quantity.Value
	New      quantity.Limit // the size when new
	// Sizes are the steps under or over standard in which the part can be had.
	Sizes []quantity.Value
	For   string // new, service, release
	From  string // whose
	Note  string
	Pos   source.Position
	OfPos source.Position
}

// Fitted is identity and fit: what is there against what should be there.
type Fitted struct {
	ID     string
	Part   string
	At     []Spot
	Found  string
	Wanted string
	// Sign is the sign of the book that this is ("rod.wrong_part_number"):
	// seen where found and wanted differ, else looked for and not found. "" is
	// kept and shown, and is no evidence.
	Sign    string
	SignPos source.Position
	ByWhat  string
	By      Way
	Sure    Sureness
	Note    string
	Order
	Pos     source.Position
	PartPos source.Position
}

// Work is something that was done to the engine before it came in.
type Work struct {
	ID   string
	What string
	// Sign is the sign of the book that this work is
	// ("service_papers.filter_just_changed"); "" is kept and shown, and is no
	// evidence.
	Sign       string
	SignPos    source.Position
	Parts      []PartRef
	Undone     []PartRef
	Replaced   []PartRef
	When       string
	HoursSince *float64
	KmSince    *float64
	Who        string
	By         Way
	Sure       Sureness
	Note       string
	Order
	Pos source.Position
}

// ActKind is what the bench does to a part.
type ActKind string

// Kinds of act. "part" is taking a part to pieces.
const (
	ActOff   ActKind = "off"
	ActDrain ActKind = "drain"
	ActTurn  ActKind = "turn"
	ActWash  ActKind = "wash"
	ActBlow  ActKind = "blow"
	ActPart  ActKind = "part"
	ActCut   ActKind = "cut"
	ActTest  ActKind = "test"
)

// Act is an entry of the bench log. Acts stand in the order in which they
// were done, unless their After and Before say otherwise.
type Act struct {
	ID     string
	Kind   ActKind
	Part   string
	At     []Spot
	When   string
	Who    string
	Torque string // break-away, with unit, where it was felt
	HeldBy string
	Bag    string
	Note   string
	Order
	Pos     source.Position
	PartPos source.Position
}

// Received is how the engine came in.
type Received struct {
	State    string // whole, part stripped, in boxes
	OpenedBy string
	Off      []PartRef // what was off already
	Turns    string    // freely, stiffly, part way, not at all, not tried
	Fluids   string
	Date     string
	From     string
	Note     string
	Pos      source.Position
	Said     bool // the case has a [received]
}

// Confirmed is the truth, once it is known.
type Confirmed struct {
	Accept       []string // ids of causes or steps that are a right answer
	Undetermined bool     // that it cannot be determined is the right answer
	KeptBack     bool     // it is not to be scored: too little of it is known
	By           string
	Note         string
}

// All lists what can be evidence: the findings, and the works and fitted parts
// that say which sign of the book they are, each as the finding that it amounts
// to. What was done is paper or hearsay, and is weighed as such; a fitted part
// is the sign where found and wanted differ.
func (c *Case) All() []Finding {
	out := append(append([]Finding(nil), c.Findings...), c.Measured...)
	for _, w := range c.Works {
		if w.Sign != "" {
			out = append(out, Finding{ID: w.ID, Sign: w.Sign, State: Seen, By: w.By, Sure: w.Sure, Note: w.What, Who: w.Who, Order: w.Order, Pos: w.Pos, SignPos: w.SignPos})
		}
	}
	for _, x := range c.Fitted {
		if x.Sign == "" {
			continue
		}
		state := Seen
		if x.Found == x.Wanted {
			state = NotFound
		}
		out = append(out, Finding{ID: x.ID, Sign: x.Sign, At: x.At, State: state, By: x.By, Sure: x.Sure, Note: x.Found + ", wanted " + x.Wanted, Order: x.Order, Pos: x.Pos, SignPos: x.SignPos})
	}
	return out
}

// Reading is the reading with an id; nothing is said of it where there is none.
func (c *Case) Reading(id string) Reading {
	for _, r := range c.Readings {
		if r.ID == id {
			return r
		}
	}
	return Reading{}
}
