package evidence

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"tidemark/evidence/source"
)

// Spot is where a finding was made, as written: a position or several, and a
// place on it. Kind is "" when the words leave it to the part ("all", "?a",
// "3").
type Spot struct {
	Kind    Kind
	All     bool
	Except  []int  // with All; ascending
	Indexes []int  // counting from 1, ascending; for valves the cylinders'
	Valves  []int  // for valves, beside Indexes: which one of that cylinder, 0 for all of it; else nil
	Unknown string // "a" for "?a": one position, not known which, the same wherever the letter stands
	Count   int    // "8 of 12": that many, not known which
	Of      int    // "8 of 12": the 12; 0 where not told
	Place   string // "upper", "engine end"; "" for no place told
	Text    string // as written, without space around it
	Pos     source.Position
}

// String is the spot as written, or as one would write it if it was not read
// from a text.
func (s Spot) String() string {
	if s.Text != "" {
		return s.Text
	}
	return s.words()
}

// words writes the spot so that ParseSpot reads the same again.
func (s Spot) words() string {
	join := func(list []int) string {
		var parts []string
		for i, n := range list {
			t := strconv.Itoa(n)
			if i < len(s.Valves) && s.Valves[i] > 0 {
				t += "." + strconv.Itoa(s.Valves[i])
			}
			parts = append(parts, t)
		}
		return strings.Join(parts, ", ")
	}
	many := ""
	if s.Kind != One {
		many = " " + s.Kind.Word() + "s"
	}
	one := s.Kind.short()
	out := ""
	switch {
	case s.All && len(s.Except) > 0:
		out = "all" + many + " but " + join(s.Except)
	case s.All:
		out = "all" + many
	case s.Unknown != "":
		out = one + " ?" + s.Unknown
	case s.Count > 0 && s.Of > 0:
		out = fmt.Sprintf("%d of %d%s", s.Count, s.Of, many)
	case s.Count > 0:
		out = fmt.Sprintf("%d of%s", s.Count, many)
	case len(s.Indexes) > 0:
		out = one + " " + join(s.Indexes)
	}
	if s.Place != "" {
		out += " / " + s.Place
	}
	return strings.TrimSpace(out)
}

// nowhere tells that only a place is said, and no position.
func (s Spot) nowhere() bool {
	return !s.All && s.Unknown == "" && s.Count == 0 && len(s.Indexes) == 0
}

// maxPosition bounds the numbers of positions, so that a slip of the finger
// ("1..40000000") is told and not carried out.
const maxPosition = 200

// kindWords are the words for a kind, as the trade says them. The part of
// which a finding speaks may be any that goes by the number of a cylinder.
var kindWords = []struct {
	word string
	kind Kind
}{
	{"cylinder", Cylinder}, {"cyl", Cylinder}, {"piston", Cylinder}, {"liner", Cylinder}, {"bore", Cylinder}, {"pot", Cylinder},
	{"connecting rod bearing", Rod}, {"connecting rod", Rod}, {"con rod", Rod}, {"conrod", Rod}, {"rod bearing", Rod}, {"rod", Rod}, {"big end bearing", Rod}, {"big end", Rod},
	{"main bearing", Main}, {"main", Main},
	{"bank", Bank},
	{"camshaft bearing", CamBearing}, {"cam bearing", CamBearing},
	{"camshaft", Camshaft}, {"cam", Camshaft},
	{"intake valve", IntakeValve}, {"inlet valve", IntakeValve}, {"exhaust valve", ExhaustValve},
}

// ErrSpot tells that a text is no position, and what was probably meant.
type ErrSpot struct {
	Text string // the text
	Why  string // what is wrong with it
	Hint string // what was probably meant; may be ""
}

func (e ErrSpot) Error() string {
	s := fmt.Sprintf("%q is no position: %s", e.Text, e.Why)
	if e.Hint != "" {
		s += " (" + e.Hint + ")"
	}
	return s
}

// ParseSpot reads a position as people write it: "cyl 3", "rod 5 / upper",
// "main 1..4", "rods 1, 3 and 4", "all", "all but cyl 3", "cyl ?a" (one, not
// known which), "8 of 12", "intake valve 3.2", "/ engine end" (a place alone).
// What stands after the first stroke is the place. Whether the engine has such
// a position is for Engine.Resolve to say. The error is an ErrSpot.
func ParseSpot(text string) (Spot, error) {
	text = strings.TrimSpace(text)
	s := Spot{Text: text}
	head, place, placed := strings.Cut(text, "/")
	fail := func(hint, why string, args ...any) (Spot, error) {
		return Spot{}, ErrSpot{Text: text, Why: fmt.Sprintf(why, args...), Hint: hint}
	}
	if !utf8.ValidString(text) {
		return fail("", "it is not UTF-8 text")
	}
	if strings.ContainsFunc(text, unicode.IsControl) {
		return fail("", "it holds a line break or another character that cannot be seen")
	}
	if s.Place = strings.Join(strings.Fields(place), " "); placed && s.Place == "" {
		return fail(`as in "rod 3 / upper"`, "nothing stands after the stroke")
	}
	p := spotReader{rest: strings.ToLower(strings.Join(strings.Fields(head), " "))}
	if p.rest == "" {
		if !placed {
			return fail(`as in "cyl 3", "all" or "/ engine end"`, "it is empty")
		}
		return s, nil
	}
	hint, why := p.read(&s)
	if why != "" {
		return fail(hint, "%s", why)
	}
	return s, nil
}

type spotReader struct{ rest string }

// take removes the word at the beginning, if it is that.
func (p *spotReader) take(word string) bool {
	after, ok := strings.CutPrefix(p.rest, word)
	if !ok {
		return false
	}
	if last := word[len(word)-1]; last >= 'a' && last <= 'z' {
		if r, _ := utf8.DecodeRuneInString(after); unicode.IsLetter(r) {
			return false
		}
	}
	p.rest = strings.TrimSpace(after)
	return true
}

// kind takes a word for a kind, in the singular or plural, with hyphen or
// without.
func (p *spotReader) kind() (Kind, bool) {
	for _, w := range kindWords {
		for _, form := range []string{w.word, strings.ReplaceAll(w.word, " ", "-")} {
			if p.take(form+"s") || p.take(form) {
				p.take(".")
				return w.kind, true
			}
		}
	}
	return One, false
}

// number takes a whole number; -1 if there is none, and one past the largest
// if it is larger than any engine has.
func (p *spotReader) number() int {
	n := 0
	for n < len(p.rest) && p.rest[n] >= '0' && p.rest[n] <= '9' {
		n++
	}
	if n == 0 {
		return -1
	}
	digits := p.rest[:n]
	p.rest = strings.TrimSpace(p.rest[n:])
	v, err := strconv.Atoi(digits)
	if err != nil || v > maxPosition {
		return maxPosition + 1
	}
	return v
}

const (
	hintWhich = `as in "cyl 3", "all" or "?a" for one that is not known`
	hintPlace = `a place alone is written "/ %s"`
)

// read fills in what stands before the place. It returns what is wrong, or "".
func (p *spotReader) read(s *Spot) (hint, why string) {
	p.take("no.")
	p.take("#")
	if p.take("all") || p.take("every") || p.take("each") {
		return p.readAll(s)
	}
	start := p.rest
	if n := p.number(); n >= 0 {
		if p.take("of") {
			return p.readCount(s, n)
		}
		if k, ok := p.kind(); ok && p.rest == "" && n > 0 {
			return fmt.Sprintf("%q is that one, %q so many of them", fmt.Sprintf("%s %d", k.short(), n), fmt.Sprintf("%d of %ss", n, k.Word())), "which, or how many?"
		}
		p.rest = start
	}
	// "left bank" is as good as "bank left".
	for side, index := range sides {
		q := *p
		if q.take(side) && q.take("bank") && q.rest == "" {
			s.Kind, s.Indexes = Bank, []int{index}
			return "", ""
		}
	}
	if strings.HasPrefix(p.rest, "valve") {
		return `say "intake valve" or "exhaust valve"`, "which valves?"
	}
	k, named := p.kind()
	s.Kind = k
	if p.rest == "" {
		return hintWhich, fmt.Sprintf("it does not say which %s", k.Word())
	}
	if strings.HasPrefix(p.rest, "?") {
		return p.readUnknown(s)
	}
	if k == Bank {
		for side, index := range sides {
			if p.rest == side {
				s.Indexes = []int{index}
				return "", ""
			}
		}
	}
	if p.rest[0] != '#' && (p.rest[0] < '0' || p.rest[0] > '9') && !strings.HasPrefix(p.rest, "no.") {
		if named {
			return hintWhich, fmt.Sprintf("%q is no number", p.rest)
		}
		word, _, _ := strings.Cut(p.rest, " ")
		var known []string
		for _, w := range kindWords {
			known = append(known, w.word)
		}
		hint = source.Suggest(strings.TrimRight(word, "0123456789."), append(known, "all"))
		if hint == "" {
			hint = fmt.Sprintf(hintPlace, s.restOf(p.rest))
		}
		return hint, fmt.Sprintf("%q is not one of cyl, rod, main, bank, cam, cam bearing, intake valve, exhaust valve", word)
	}
	var list, valves []int
	if hint, why = p.list(k, &list, &valves); why != "" {
		return hint, why
	}
	s.Indexes, s.Valves = list, valves
	return "", ""
}

// restOf is the tail of the text as written, for a hint.
func (s *Spot) restOf(lower string) string {
	head, _, _ := strings.Cut(s.Text, "/")
	head = strings.Join(strings.Fields(head), " ")
	if len(head) >= len(lower) && utf8.ValidString(head[len(head)-len(lower):]) {
		return head[len(head)-len(lower):]
	}
	return lower
}

// sides are the two banks by side and by letter.
var sides = map[string]int{"left": 1, "right": 2, "a": 1, "b": 2}

func (p *spotReader) readUnknown(s *Spot) (hint, why string) {
	letter := p.rest[1:]
	if letter == "" || strings.ContainsFunc(letter, func(r rune) bool { return r < 'a' || r > 'z' }) {
		return `as in "cyl ?a": the same letter is the same one throughout the case`, "an unknown position is a question mark and a letter"
	}
	s.Unknown = letter
	return "", ""
}

func (p *spotReader) readAll(s *Spot) (hint, why string) {
	s.All = true
	p.take("the")
	if strings.HasPrefix(p.rest, "valve") {
		return `say "all intake valves" or "all exhaust valves"`, "which valves?"
	}
	s.Kind, _ = p.kind()
	if p.rest == "" {
		return "", ""
	}
	if !p.take("but") && !p.take("except") {
		return `as in "all rods" or "all but cyl 3"`, fmt.Sprintf("%q after all is not understood", p.rest)
	}
	p.take("for")
	if k, ok := p.kind(); ok {
		if s.Kind != One && s.Kind != k {
			return "", fmt.Sprintf("all %ss cannot leave out a %s", s.Kind.Word(), k.Word())
		}
		s.Kind = k
	}
	var valves []int
	if hint, why = p.list(s.Kind, &s.Except, &valves); why == "" && valves != nil {
		return "list them instead", "a single valve of a cylinder cannot be left out of all"
	}
	return hint, why
}

func (p *spotReader) readCount(s *Spot, n int) (hint, why string) {
	s.Count = n
	p.take("the")
	if n == 0 {
		return `state = "not found" with at = "all" says that none had it`, "none of them is no position"
	}
	of := p.number()
	if of >= 0 {
		s.Of = of
	}
	if strings.HasPrefix(p.rest, "valve") {
		return `say "intake valves" or "exhaust valves"`, "which valves?"
	}
	k, named := p.kind()
	s.Kind = k
	switch {
	case p.rest != "":
		return `as in "8 of 12" or "2 of 6 rods"`, fmt.Sprintf("%q is not understood", p.rest)
	case of < 0 && !named:
		return `as in "8 of 12" or "2 of 6 rods"`, "it does not say of how many"
	case n > maxPosition || of > maxPosition:
		return "", "no engine has that many"
	case of >= 0 && n > of:
		return "", fmt.Sprintf("%d is more than %d", n, of)
	}
	return "", ""
}

// list takes numbers and ranges up to the end: "1, 3 and 5..7". The kind may
// be said again before each. valves is filled in if any number has a part.
func (p *spotReader) list(k Kind, indexes, valves *[]int) (hint, why string) {
	type item struct{ index, valve int }
	var items []item
	parted := false
	for {
		if again, ok := p.kind(); ok && again != k {
			return "give each kind an entry of its own in the list", fmt.Sprintf("it speaks of both %s and %s", orPosition(k), again.Word())
		}
		p.take("no.")
		p.take("#")
		n := p.number()
		if n < 0 {
			if p.rest == "" {
				return hintWhich, "a number is missing at the end"
			}
			return `as in "rods 1, 3 and 5..7"`, fmt.Sprintf("%q is no number", p.rest)
		}
		if n == 0 {
			return "", "positions are counted from 1"
		}
		to, valve := n, 0
		switch {
		case p.take("..") || p.take("-") || p.take("–") || p.take("to"):
			if to = p.number(); to < 0 {
				return `as in "main 1..4"`, "the end of the range is missing"
			}
			if to < n {
				return fmt.Sprintf(`did you mean "%d..%d"?`, to, n), fmt.Sprintf("%d..%d runs backwards", n, to)
			}
		case k.valve() && p.take("."):
			if valve = p.number(); valve < 1 {
				return `as in "intake valve 3.2"`, "which valve of that cylinder?"
			}
			parted = true
		}
		if to > maxPosition || valve > maxPosition {
			return "", "no engine has that many"
		}
		for i := n; i <= to; i++ {
			items = append(items, item{i, valve})
		}
		comma := p.take(",") || p.take(";")
		if and := p.take("and") || p.take("&") || p.take("+"); !comma && !and {
			break
		}
	}
	if p.rest != "" {
		return `as in "rods 1, 3 and 5..7"; a place stands after a stroke: "rod 3 / upper"`, fmt.Sprintf("%q is not understood", p.rest)
	}
	slices.SortFunc(items, func(a, b item) int {
		if a.index != b.index {
			return a.index - b.index
		}
		return a.valve - b.valve
	})
	for i, it := range slices.Compact(items) {
		// All of a cylinder's valves (0) sorts first and takes in the rest.
		if it.valve > 0 && i > 0 && slices.Contains(items, item{it.index, 0}) {
			continue
		}
		*indexes = append(*indexes, it.index)
		if parted {
			*valves = append(*valves, it.valve)
		}
	}
	if parted && !slices.ContainsFunc(*valves, func(v int) bool { return v > 0 }) {
		*valves = nil
	}
	return "", ""
}

func orPosition(k Kind) string {
	if k == One {
		return "a number alone"
	}
	return k.Word()
}

// Resolve lists, ascending, the positions of kind k that a spot means. Rods
// and cylinders stand for each other by number; a valve stands for its
// cylinder, a cylinder for its valves, a bank for its cylinders; other kinds do
// not, and the error says so. For a spot that is unknown ("?a") or a count ("8
// of 12") it lists all candidates. A spot without a position ("/ engine end")
// has one only where the engine has one of the kind. A position that the
// engine has not is an ErrPosition.
func (e Engine) Resolve(s Spot, k Kind) (indexes []int, err error) {
	if k == One {
		if s.nowhere() {
			return nil, nil
		}
		return nil, fmt.Errorf("the engine has only one, so that no position can be told")
	}
	n, _ := e.Count(k)
	from := s.Kind
	if from == One {
		from = k
	}
	if n == 0 {
		none := ErrPosition{Kind: k}
		if from == k && len(s.Indexes) > 0 {
			none.Index = s.Indexes[0]
		}
		return nil, none
	}
	if s.nowhere() {
		if n == 1 {
			return []int{1}, nil
		}
		return nil, fmt.Errorf("it does not say which %s", k.Word())
	}
	own, err := e.own(s, from)
	if err != nil {
		return nil, err
	}
	if n == 1 && s.Count <= 1 {
		// Whatever cylinder is named, there is one bank for it.
		if _, ok := e.convert(own, from, k); ok || from == Cylinder || from == Rod {
			return []int{1}, nil
		}
	}
	if s.Count > 0 && from != k && !(from.upright() && k.upright()) {
		return nil, fmt.Errorf("%d of the %ss cannot be told as %ss", s.Count, from.Word(), k.Word())
	}
	out, ok := e.convert(own, from, k)
	if !ok {
		return nil, fmt.Errorf("%s says nothing of which %s", from.Word(), k.Word())
	}
	return out, nil
}

// own lists the positions of the spot's own kind.
func (e Engine) own(s Spot, k Kind) ([]int, error) {
	n, assumed := e.Count(k)
	if k.valve() {
		// Positions of valves are written by cylinder.
		cyl, assumed := e.cylinders()
		per, _ := e.valves(k)
		for _, i := range slices.Concat(s.Indexes, s.Except) {
			if i > cyl {
				return nil, ErrPosition{Kind: Cylinder, Index: i, Have: cyl, Assumed: assumed}
			}
		}
		var out []int
		for i := 1; i <= n; i++ {
			c := e.CylinderOf(k, i)
			at := s.All && !slices.Contains(s.Except, c) || s.Unknown != "" || s.Count > 0
			for j, x := range s.Indexes {
				if x == c && (j >= len(s.Valves) || s.Valves[j] == 0 || s.Valves[j] == 1+(i-1)%per) {
					at = true
				}
			}
			if at {
				out = append(out, i)
			}
		}
		for j, v := range s.Valves {
			if v > per {
				return nil, ErrPosition{Kind: k, Index: s.Indexes[j], Have: per, Valve: v}
			}
		}
		if len(s.Indexes) > 0 && n == 0 {
			return nil, ErrPosition{Kind: k, Index: s.Indexes[0], Have: 0}
		}
		return out, e.countFits(s, k, n, assumed)
	}
	for _, i := range slices.Concat(s.Indexes, s.Except) {
		if i > n || i < 1 {
			return nil, ErrPosition{Kind: k, Index: i, Have: n, Assumed: assumed}
		}
	}
	var out []int
	for i := 1; i <= n; i++ {
		if s.All && !slices.Contains(s.Except, i) || s.Unknown != "" || s.Count > 0 || slices.Contains(s.Indexes, i) {
			out = append(out, i)
		}
	}
	return out, e.countFits(s, k, n, assumed)
}

// countFits holds "8 of 12" against how many there are.
func (e Engine) countFits(s Spot, k Kind, n int, assumed string) error {
	switch {
	case s.Count > n:
		return ErrPosition{Kind: k, Index: s.Count, Have: n, Assumed: assumed}
	case s.Of > 0 && s.Of != n && assumed == "":
		return fmt.Errorf("there are not %d %ss: the engine has %d", s.Of, k.Word(), n)
	}
	return nil
}

// convert turns positions of one kind into those of another that they stand
// for.
func (e Engine) convert(list []int, from, to Kind) ([]int, bool) {
	if from == to || from.upright() && to.upright() {
		return list, true
	}
	var out []int
	n, _ := e.Count(to)
	for i := 1; i <= n; i++ {
		var hit bool
		switch {
		case from.upright() && to.valve():
			hit = slices.Contains(list, e.CylinderOf(to, i))
		case from.valve() && to.upright():
			hit = slices.ContainsFunc(list, func(v int) bool { return e.CylinderOf(from, v) == i })
		case from == Bank && to.upright():
			hit = slices.Contains(list, e.BankOf(i))
		case from == Bank && to.valve():
			hit = slices.Contains(list, e.BankOf(e.CylinderOf(to, i)))
		default:
			return nil, false
		}
		if hit {
			out = append(out, i)
		}
	}
	return out, true
}
