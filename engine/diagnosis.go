package engine

// Schema names the shape of a Diagnosis as JSON. Keys are only ever added
// within a version.
const Schema = "tidemark.diagnosis/1"

// Diagnosis is all that is worked out about a case. Probabilities run from 0
// to 1, weights are in decibans (ten times the decimal logarithm of a
// likelihood ratio), work is in minutes. Lists are sorted as documented; the
// same case and book give the same bytes.
type Diagnosis struct {
	Schema       string          `json:"schema"`
	Case         CaseInfo        `json:"case"`
	Verdict      Verdict         `json:"verdict"`
	Causes       []Candidate     `json:"causes"` // by blame, then acted, then present
	Steps        []Candidate     `json:"steps"`
	Conditions   []Condition     `json:"conditions"`
	Together     []Set           `json:"together"`
	Categories   []CategoryBlame `json:"categories"` // of cause, by blame
	Conflict     Conflict        `json:"conflict"`
	Chain        []ChainLink     `json:"chain"` // cause to outcome
	Explanation  Explanation     `json:"explanation"`
	Findings     []FindingOut    `json:"findings"` // in the order of the case
	Groups       []Group         `json:"groups"`
	Readings     []ReadingOut    `json:"readings"`      // in the order of the book
	ReadingsLeft []LeftOut       `json:"readings_left"` // kept and not weighed
	NotExplained []Unexplained   `json:"not_explained"`
	Next         []Look          `json:"next"` // most bits a minute first
	Stop         Stop            `json:"stop"`
	OverturnedBy Overturned      `json:"overturned_by"`
	Assumed      []Assumed       `json:"assumed"`
	Book         BookInfo        `json:"book"`
	Method       Method          `json:"method"`
	Program      Program         `json:"program"`
}

// CaseInfo says which case and what was asked.
type CaseInfo struct {
	ID           string         `json:"id"`
	Title        string         `json:"title,omitempty"`
	Question     string         `json:"question"`
	QuestionName string         `json:"question_name"`
	QuestionAt   string         `json:"question_at,omitempty"`
	Engine       map[string]any `json:"engine"`
	Story        string         `json:"story,omitempty"`
}

// Standing is how far the verdict is settled.
type Standing string

// The three standings.
const (
	Determined   Standing = "determined"
	Probable     Standing = "probable"
	Undetermined Standing = "undetermined"
)

// Together says how the members of a verdict stand to each other.
type Together string

// One alone; both were needed; either would have done; they share it, and
// which of them it was is open.
const (
	Alone        Together = "alone"
	BothNeeded   Together = "both_needed"
	EitherEnough Together = "either_enough"
	Shared       Together = "shared"
)

// Verdict names the farthest from the outcome that passes a threshold.
type Verdict struct {
	Standing Standing    `json:"standing"`
	Names    []Candidate `json:"names"`
	Together Together    `json:"together"`
	Blame    float64     `json:"blame"` // of the names held at once
	Words    string      `json:"words"`
	Behind   []Candidate `json:"behind"` // what may lie behind, each alone
	// Traced is what lies farthest behind a step that is determined, and is still probable.
	Traced         *Candidate      `json:"traced,omitempty"`
	BetterQuestion *BetterQuestion `json:"better_question"`
	Why            string          `json:"why,omitempty"` // why the standing is no higher
	// Nearest is what comes nearest where something is asked and nothing is named.
	Nearest *Candidate `json:"nearest,omitempty"`
	// ErrorBound is how far Blame may be off (see Method); 0 where it is exact.
	ErrorBound float64 `json:"error_bound"`
}

// Rivals are what may lie behind, each alone; none where the words have named the only
// one already.
func (v Verdict) Rivals() []Candidate {
	if len(v.Behind) == 1 && v.Traced != nil && v.Traced.ID == v.Behind[0].ID && v.Traced.At == v.Behind[0].At {
		return nil
	}
	return v.Behind
}

// BetterQuestion is an earlier step that is the better thing to ask about.
type BetterQuestion struct {
	ID    string      `json:"id"`
	Name  string      `json:"name"`
	Acted float64     `json:"acted"`
	Leads []Candidate `json:"leads"` // what leads when that is asked
}

// Candidate is a cause, a step or a family with its three numbers.
type Candidate struct {
	ID       string  `json:"id"`
	At       string  `json:"at"`   // "rod 3"; "any" for a family; ""
	Kind     string  `json:"kind"` // cause, step, family, unlisted
	Name     string  `json:"name"`
	Category string  `json:"category,omitempty"`
	Present  float64 `json:"present"`
	Acted    float64 `json:"acted"`
	Blame    float64 `json:"blame"`
	Words    string  `json:"words,omitempty"`
	// Screened: present is so low that acted and blame were not worked out;
	// they are at most present.
	Screened bool `json:"screened,omitempty"`
	// Follows: something runs to it from what the verdict names, so where it is
	// there it is a consequence and no bystander.
	Follows bool `json:"follows,omitempty"`
	// Sits lists, for unlisted, the steps at which the unlisted thing would
	// have come in.
	Sits []Sit `json:"sits,omitempty"`
}

// Sit is a step with the blame of an unlisted cause of that very step.
type Sit struct {
	ID    string  `json:"id"`
	At    string  `json:"at"`
	Name  string  `json:"name"`
	Blame float64 `json:"blame"`
}

// Condition is a given circumstance.
type Condition struct {
	ID      string  `json:"id"`
	Name    string  `json:"name"`
	Present float64 `json:"present"`
}

// Set is several candidates held at once.
type Set struct {
	IDs   []string `json:"ids"`
	Names []string `json:"names"`
	Blame float64  `json:"blame"`
	How   Together `json:"how"`
}

// Conflict measures how far the findings fight each other: the sum of log10
// P(each) less log10 P(all), given the outcome.
type Conflict struct {
	Value    float64  `json:"value"`
	Findings []string `json:"findings"`
}

// ChainLink is one thing of the chain of failure, with the rule by which the
// one above led to it.
type ChainLink struct {
	ID          string   `json:"id"`
	At          string   `json:"at"`
	Kind        string   `json:"kind"` // cause, step, outcome
	Name        string   `json:"name"`
	Probability float64  `json:"probability"` // acted
	Because     string   `json:"because"`
	Source      string   `json:"source"`
	HowOften    float64  `json:"how_often,omitempty"`
	Findings    []string `json:"findings"`
	// With is what was needed for it at the same time as the link above.
	With []Needed `json:"with,omitempty"`
}

// Needed is one of several things that only together lead to something.
type Needed struct {
	ID    string  `json:"id"`
	At    string  `json:"at"`
	Name  string  `json:"name"`
	Kind  string  `json:"kind"` // cause, step, condition
	Acted float64 `json:"acted"`
}

// Explanation is the most probable story, and what the next one has otherwise.
type Explanation struct {
	There  []string `json:"there"`
	Second *Second  `json:"second,omitempty"`
	// ProvenBest tells that no other assignment is more probable.
	ProvenBest bool `json:"proven_best"`
}

// Second is the next most probable explanation, told by its difference.
type Second struct {
	Believe []string `json:"believe"` // there, and not in the first
	Drop    []string `json:"drop"`    // in the first, and not there
	Odds    float64  `json:"odds"`    // how many times less probable
}

// Role of a finding.
type Role string

// Roles of findings.
const (
	Primary       Role = "primary"
	Consequential Role = "consequential"
	Independent   Role = "independent"
	MadeAfter     Role = "made_after"
	NotExplained  Role = "unexplained"
	Against       Role = "against"
)

// Weight is what a finding weighs for a candidate, in decibans: added to no
// other, taken away from all the others, and its share of the way from base
// rate to result.
type Weight struct {
	Alone float64 `json:"alone"`
	Last  float64 `json:"last"`
	Share float64 `json:"share"`
}

// FindingOut is a finding with its part in the diagnosis.
type FindingOut struct {
	ID    string `json:"id"`
	Sign  string `json:"sign"`
	Name  string `json:"name"`
	At    string `json:"at"`
	State string `json:"state"` // seen, not_found, unavailable
	// Told is what the case says, where it is taken as something else ("not_found" of
	// what could not have been seen).
	Told        string            `json:"told,omitempty"`
	By          string            `json:"by"`
	Sure        string            `json:"sure"`
	Role        Role              `json:"role"`
	ExplainedBy []string          `json:"explained_by"`
	SpeaksFor   string            `json:"speaks_for,omitempty"`
	Against     string            `json:"against,omitempty"` // the candidate it tells most against
	Counted     bool              `json:"counted"`
	WhyNot      string            `json:"why_not,omitempty"`
	Weight      map[string]Weight `json:"weight"`
	Group       string            `json:"group"`
	Note        string            `json:"note,omitempty"`
	// Beyond is, for what comes of readings, the probability that the value lies
	// beyond its limit.
	Beyond *float64 `json:"beyond,omitempty"`
}

// Group is findings of one look, sample or fact, taken away together.
type Group struct {
	ID       string             `json:"id"`
	What     string             `json:"what"`
	Findings []string           `json:"findings"`
	Weight   map[string]float64 `json:"weight"` // last, by candidate
}

// Unexplained is a finding that the best explanation does not explain.
type Unexplained struct {
	Finding string `json:"finding"`
	Why     string `json:"why"`
}

// Look is a sign not yet looked for, and what it would tell.
type Look struct {
	Sign        string             `json:"sign"`
	Name        string             `json:"name"`
	At          string             `json:"at"`
	Ask         string             `json:"look"`
	Bits        float64            `json:"bits"`
	BitsOf      string             `json:"bits_of"` // presence or blame of the leading candidates: of what the bits are
	Minutes     float64            `json:"minutes"`
	Chance      float64            `json:"chance"` // that it is seen
	DestroyedBy []string           `json:"destroyed_by"`
	IfSeen      map[string]float64 `json:"if_seen"` // present, by candidate
	IfNotFound  map[string]float64 `json:"if_not_found"`
	Off         []string           `json:"off,omitempty"` // what must come off first
	Caution     string             `json:"caution"`
}

// Stop says whether looking on is worth it.
type Stop struct {
	WorthGoingOn bool   `json:"worth_going_on"`
	Why          string `json:"why"`
}

// Overturned is on what the verdict hangs.
type Overturned struct {
	Rules []RuleFlip `json:"rules"`
	// Joint is the smallest change of two of the most fragile rules that does it, where
	// neither change would alone.
	Joint    *JointFlip    `json:"joint,omitempty"`
	Findings []FindingFlip `json:"findings"`
	Looks    []LookFlip    `json:"looks"`
}

// RuleFlip is a rule on whose how-often the verdict hangs.
type RuleFlip struct {
	Rule       string   `json:"rule"`
	Now        float64  `json:"now"`
	HoldsAbove *float64 `json:"holds_above,omitempty"`
	HoldsBelow *float64 `json:"holds_below,omitempty"`
	ThenLeads  string   `json:"then_leads"`
}

// JointFlip is two rules changed at once, by as many decibans each.
type JointFlip struct {
	Rules     []string  `json:"rules"`
	Now       []float64 `json:"now"`
	At        []float64 `json:"at"`
	Decibans  float64   `json:"decibans"`
	ThenLeads string    `json:"then_leads"`
}

// FindingFlip is a finding without which another candidate leads.
type FindingFlip struct {
	Finding   string `json:"finding"`
	ThenLeads string `json:"then_leads"`
}

// LookFlip is a look not made of which one result would change what leads.
type LookFlip struct {
	Sign        string  `json:"sign"`
	At          string  `json:"at"`
	Result      string  `json:"result"` // seen, not found
	Probability float64 `json:"probability"`
	ThenLeads   string  `json:"then_leads"`
}

// Assumed is something that the case does not say.
type Assumed struct {
	What    string `json:"what"`
	Because string `json:"because"`
}

// BookInfo says which knowledge was used.
type BookInfo struct {
	Packs []PackInfo `json:"packs"`
	Hash  string     `json:"hash"`
}

// PackInfo is a pack and its version.
type PackInfo struct {
	ID      string `json:"id"`
	Version string `json:"version"`
}

// Method says how the numbers were got. Where the case was too entangled to be
// worked out as it stands, rules of which hardly anything comes were left out;
// ErrorBound is then twice the most that the presence of anything, or the blame of
// the verdict and of the candidates next to it, moved when about five times as much
// was kept. It is measured, not proven. Width is the largest number of
// variables in one table.
type Method struct {
	Exact      bool    `json:"exact"`
	Width      int     `json:"width"`
	ErrorBound float64 `json:"error_bound"`
}

// Program says which program it was.
type Program struct {
	Version string `json:"version"`
}
