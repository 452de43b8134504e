package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strings"

	"tidemark/engine"
	"tidemark/rules"
)

// Text writes a diagnosis for a person at a terminal; the book is for the names
// of things.
func Text(w io.Writer, b *rules.Book, d *engine.Diagnosis, o Options) error {
	p := newPage(w, o)
	t := &text{p, Names{b, d}, o}
	t.title()
	t.verdict()
	t.chain()
	t.others()
	t.bystanders()
	t.findings()
	t.notExplained()
	t.assumed()
	t.overturned()
	t.next()
	t.foot()
	return p.close()
}

type text struct {
	*page
	Names
	o Options
}

func (t *text) title() { caseHead(t.page, t.d.Case, t.o.Example) }

// caseHead names the case and what it asks about.
func caseHead(p *page, c engine.CaseInfo, example bool) {
	name, _ := c.Engine["name"].(string)
	head := strings.TrimSpace(strings.Join(nonEmpty(c.ID, c.Title, name), " · "))
	if head == "" {
		head = "a case with no name"
	}
	if example {
		head = "Built-in example: " + head
	}
	p.line("", "", "%s", head)
	if c.QuestionName != "" {
		at := ""
		if c.QuestionAt != "" {
			at = " (" + c.QuestionAt + ")"
		}
		p.line("", "", "Asked: why this happened: %s%s. It is taken as having happened.", c.QuestionName, at)
	}
}

func nonEmpty(words ...string) []string {
	return slices.DeleteFunc(words, func(s string) bool { return s == "" })
}

// telling is the error from which it is said beside the verdict, and not only in
// the last lines.
const telling = 0.05

func (t *text) verdict() {
	v := t.d.Verdict
	t.head("Verdict")
	t.say(standingTone(v.Standing), "  ", "  ", "%s", v.Words)
	off := v.ErrorBound
	if len(v.Names) == 0 {
		off = t.d.Method.ErrorBound
	}
	if !t.d.Method.Exact && off > telling {
		what := "This figure"
		if len(v.Names) == 0 {
			what = "These figures"
		}
		t.line("  ", "  ", "%s may be off by about %s in 100 either way: the case is too entangled to be worked out whole in the memory that it was given.", what, Off(off))
	}
	if v.Why != "" {
		t.line("  ", "  ", "It stands no higher because %s.", v.Why)
	}
	if rivals := v.Rivals(); len(rivals) > 0 {
		var list []string
		for _, b := range rivals {
			list = append(list, b.Name+" "+Percent(b.Blame))
		}
		t.line("  ", "  ", "By what it came about, each weighed alone (these do not add up to 100): %s.", strings.Join(list, ", "))
	}
	if b := v.BetterQuestion; b != nil {
		s := fmt.Sprintf("Better to ask what brought this about: %s (acted, %s). In the case: question = %q.", b.Name, Percent(b.Acted), b.ID)
		var list []string
		for _, l := range b.Leads {
			list = append(list, l.Name+" "+Percent(l.Blame))
		}
		if len(list) > 0 {
			s += " To blame for that: " + strings.Join(list, ", ") + "."
		}
		t.line("  ", "  ", "%s", s)
	}
	if c := t.d.Conflict; c.Value > engine.ConflictTold {
		t.line("  ", "  ", "These findings fight the rest, look at them again: %s. Together they are %s times less likely than if they had nothing to do with each other.", strings.Join(c.Findings, ", "), Times(math.Pow(10, c.Value)))
	}
}

// standingTone is how a verdict of a standing looks.
func standingTone(s engine.Standing) tone {
	switch s {
	case engine.Determined:
		return sure
	case engine.Probable:
		return likely
	}
	return open
}

func (t *text) chain() {
	if len(t.d.Chain) == 0 {
		return
	}
	t.head("Chain of failure")
	for i, l := range t.d.Chain {
		name := placed(l.Name, l.At)
		tail := ""
		if l.Kind == "outcome" {
			tail = "asked about"
		} else {
			tail = "acted, " + Percent(l.Probability)
		}
		if len(l.Findings) > 0 {
			tail += "; shown by " + t.short(l.Findings)
		}
		mark := "  "
		if i > 0 {
			mark = "  → "
		}
		if len(l.With) > 0 {
			t.line("    ", "      ", "together with %s", and(WithWords(l.With)))
		}
		t.line(mark, "      ", "%s (%s)", name, tail)
		if l.Because != "" {
			t.line("      ", "      ", "%s", sentence(l.Because))
		}
	}
}

// WithWords are what was needed beside a link of the chain.
func WithWords(with []engine.Needed) []string {
	var out []string
	for _, n := range with {
		s := placed(n.Name, n.At)
		if n.Kind != "condition" {
			s += fmt.Sprintf(" (acted, %s)", Percent(n.Acted))
		}
		out = append(out, s)
	}
	return out
}

// short lists finding ids, at most eight unless all are wanted.
func (t *text) short(ids []string) string {
	if len(ids) > 8 && !t.o.Full {
		return strings.Join(ids[:7], " ") + fmt.Sprintf(" and %d more", len(ids)-7)
	}
	return strings.Join(ids, " ")
}

// others lists the candidates that lost, with the finding that tells most
// against each.
func (t *text) others() {
	d := t.d
	named := map[string]bool{}
	for _, n := range d.Verdict.Names {
		named[n.ID] = true
	}
	behind := map[string]bool{}
	for _, n := range d.Verdict.Behind {
		behind[n.ID] = true
	}
	var list []engine.Candidate
	for _, c := range d.Causes {
		if named[c.ID] || c.Category == "artefact" || behind[c.ID] || c.At != "" && c.At != "any" && familyOf(d.Causes, c.ID) {
			continue
		}
		if c.Blame >= 0.01 || c.Acted >= 0.1 {
			list = append(list, c)
		}
	}
	if len(list) == 0 && d.Case.Question != "" {
		return
	}
	if d.Case.Question == "" {
		t.presentOnly()
		return
	}
	most := 5
	if t.o.Full {
		most = len(list)
	}
	t.head("Other candidates")
	for i, c := range list {
		if i == most {
			t.line("  ", "  ", "and %d more; --full lists %s.", len(list)-most, itOrThem(len(list)-most))
			break
		}
		s := fmt.Sprintf("%s: to blame %s, acted %s, present %s", c.Name, Percent(c.Blame), Percent(c.Acted), Percent(c.Present))
		if c.Kind == "unlisted" {
			s = fmt.Sprintf("%s: to blame %s", c.Name, Percent(c.Blame))
			var at []string
			for _, x := range c.Sits {
				n := x.Name
				if x.At != "" {
					n += ", " + x.At
				}
				at = append(at, n+" "+Percent(x.Blame))
			}
			if len(at) > 0 {
				s += "; it would have come in at: " + strings.Join(at[:min(3, len(at))], ", ")
			}
		} else if f, w := t.against(key(c)); f != "" && engine.Strength(w) != "no" {
			s += "; most against it: " + t.weight(f, w)
		}
		t.line("  ", "      ", "%s.", s)
	}
	t.kinds()
	for _, s := range d.Together {
		if t.o.Full {
			t.line("  ", "      ", "Together: %s: to blame %s (%s).", and(s.Names), Percent(s.Blame), howWords(s.How))
		}
	}
}

// kinds tells the blame by kind of cause.
func (t *text) kinds() {
	var list []string
	for _, k := range t.d.Categories {
		if k.Blame >= 0.03 {
			list = append(list, k.Name+" "+Percent(k.Blame))
		}
	}
	if len(list) > 0 {
		t.line("  ", "      ", "By kind of cause, each as if there had been none of it (these do not add up to 100): %s.", strings.Join(list, ", "))
	}
}

func howWords(h engine.Together) string {
	switch h {
	case engine.BothNeeded:
		return "all were needed"
	case engine.EitherEnough:
		return "either would have done"
	case engine.Shared:
		return "which of them is open"
	}
	return "alone"
}

// presentOnly lists what is most probably there where nothing is asked: causes
// apart from what they lead to, which is nearly always likelier.
func (t *text) presentOnly() {
	t.head("Most probably there")
	t.there("Of causes:", t.d.Causes)
	t.there("Of what comes of them:", t.d.Steps)
}

func (t *text) there(what string, all []engine.Candidate) {
	single := map[string]engine.Candidate{} // likeliest position of each
	for _, c := range all {
		if c.At != "any" && c.Present > single[c.ID].Present {
			single[c.ID] = c
		}
	}
	var list []engine.Candidate
	for _, c := range all {
		switch {
		case c.Present < 0.005 || c.Kind == "unlisted" || c.Category == "artefact":
		case c.At == "any" && single[c.ID].Present >= engine.SingleOfFamily*c.Present:
			list = append(list, single[c.ID])
		case c.At == "any":
			c.At = "somewhere"
			list = append(list, c)
		case c.At == "" || !familyOf(all, c.ID):
			list = append(list, c)
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Present > list[j].Present })
	most := 6
	if t.o.Full {
		most = len(list)
	}
	if len(list) > 0 {
		t.line("  ", "  ", "%s", what)
	}
	for _, c := range list[:min(most, len(list))] {
		name := c.Name
		if c.At != "" {
			name += ", " + c.At
		}
		t.line("    ", "        ", "%s: present %s.", name, Percent(c.Present))
	}
	if n := len(list) - most; n > 0 {
		t.line("    ", "        ", "and %d more; --full lists %s.", n, itOrThem(n))
	}
}

func familyOf(all []engine.Candidate, id string) bool {
	return slices.ContainsFunc(all, func(c engine.Candidate) bool { return c.ID == id && c.At == "any" })
}

func key(c engine.Candidate) string {
	if c.At == "" || c.At == "any" {
		return c.ID
	}
	return c.ID + " @ " + c.At
}

// against is the finding that tells most against a candidate.
func (t Names) against(k string) (string, float64) {
	best, least := "", -1.0
	for _, f := range t.d.Findings {
		w, ok := f.Weight[k]
		if !ok {
			continue
		}
		if x := min(w.Alone, w.Last); x < least {
			best, least = f.ID, x
		}
	}
	return best, least
}

// weight tells a finding and its strength in words.
func (t *text) weight(id string, db float64) string {
	f := t.finding(id)
	state := ""
	if f.State == "not_found" {
		state = ", not found"
	}
	s := fmt.Sprintf("%s (%s%s), %s", id, f.Name, state, strengthWords(db))
	if t.o.Numbers {
		s += fmt.Sprintf(" (%s dB)", signed(db))
	}
	return s
}

// strengthWords puts a weight into words, with the way it pulls.
func strengthWords(db float64) string {
	s := engine.Support(db)
	switch {
	case s == engine.NoWeight:
		return s
	case db < 0:
		return s + " against it"
	}
	return s + " for it"
}

// signed is a weight with its sign, and no sign where it is nothing.
func signed(db float64) string {
	s := fmt.Sprintf("%+.1f", db)
	if s == "-0.0" || s == "+0.0" {
		return "0.0"
	}
	return s
}

func (t Names) finding(id string) engine.FindingOut {
	for _, f := range t.d.Findings {
		if f.ID == id {
			return f
		}
	}
	return engine.FindingOut{ID: id}
}

// bystanders lists what is there and did nothing.
func (t *text) bystanders() {
	var list []string
	for _, c := range Bystanders(t.d) {
		list = append(list, fmt.Sprintf("%s (%s, to blame %s)", c.Name, Percent(c.Present), Percent(c.Blame)))
	}
	if len(list) == 0 {
		return
	}
	t.head("Present, not to blame")
	more := ""
	if n := len(list) - 6; n > 0 && !t.o.Full {
		list, more = list[:6], fmt.Sprintf("; and %d more, which --full lists", n)
	}
	t.line("  ", "      ", "%s%s.", upperFirst(strings.Join(list, "; ")), more)
}

// findings tells what every finding is, grouped by role.
func (t *text) findings() {
	d := t.d
	if len(d.Findings) == 0 {
		return
	}
	t.head("What the findings are")
	follows := "Consequence of it"
	if len(d.Verdict.Names) == 0 {
		follows = "On the way to what happened"
	}
	other := "Independent: there, of something else"
	if d.Case.Question == "" {
		other = "Explained by what is there"
	}
	roles := []struct {
		role engine.Role
		what string
	}{
		{engine.Primary, "Primary: of what is to blame"},
		{engine.Consequential, follows},
		{engine.Independent, other},
		{engine.Against, "Speaks against"},
		{engine.MadeAfter, "Made after, not by running"},
	}
	for _, r := range roles {
		var ids []string
		for _, f := range d.Findings {
			if f.Role == r.role && (f.State != "unavailable") {
				ids = append(ids, f.ID)
			}
		}
		if len(ids) == 0 {
			continue
		}
		switch {
		case r.role == engine.Against && t.o.Full:
			t.against2()
		case r.role == engine.Against:
			t.ruledOut()
		case r.role == engine.Consequential && !t.o.Full:
			t.line("  ", "      ", "%s: %s.", r.what, strings.Join(ids, " "))
		default:
			t.line("  ", "      ", "%s: %s.", r.what, t.named(ids))
		}
	}
	var gone []string
	for _, f := range d.Findings {
		if f.State == "unavailable" {
			gone = append(gone, f.ID)
		}
	}
	if len(gone) > 0 {
		t.line("  ", "      ", "Could not be looked at, so no evidence: %s.", t.named(gone))
	}
	t.notCounted()
	for _, f := range d.Findings {
		if !f.Counted && f.State == "seen" && f.Role == "" {
			t.line("  ", "      ", "%s (%s) is not counted: %s.", f.ID, f.Name, f.WhyNot)
		}
	}
	switch keys := t.weighed(); {
	case t.o.Full:
		for _, k := range keys {
			t.forAndAgainst(k)
		}
	case t.o.Numbers && len(keys) > 0:
		t.forAndAgainst(keys[0])
	}
}

// notCounted tells of findings told as "not found" that do not count, readings apart: how
// many, and with Full why of each.
func (t *text) notCounted() {
	var ids []string
	for _, f := range t.d.Findings {
		if f.Counted || f.Beyond != nil || f.State != "not_found" && f.Told != "not_found" {
			continue
		}
		ids = append(ids, f.ID)
		if t.o.Full {
			t.line("  ", "      ", "%s (%s), told as not found, is not counted: %s.", f.ID, f.Name, f.WhyNot)
		}
	}
	if len(ids) > 0 && !t.o.Full {
		t.line("  ", "      ", "Told as not found and not counted: %d (%s); --full says why.", len(ids), t.short(ids))
	}
}

// byAgainst gathers the findings that speak against something, by what that is.
func (t *text) byAgainst() (keys []string, by map[string][]string) {
	by = map[string][]string{}
	for _, f := range t.d.Findings {
		if f.Role != engine.Against {
			continue
		}
		k := f.Against
		if by[k] == nil {
			keys = append(keys, k)
		}
		by[k] = append(by[k], f.ID)
	}
	return keys, by
}

// ruledOut tells in one go what findings speak against.
func (t *text) ruledOut() {
	keys, by := t.byAgainst()
	var list []string
	for _, k := range keys {
		if k != "" {
			list = append(list, fmt.Sprintf("%s (%s)", t.candidateName(k), strings.Join(by[k], " ")))
		}
	}
	if len(list) > 0 {
		t.line("  ", "      ", "Looked for, and against: %s.", strings.Join(list, "; "))
	}
	if len(by[""]) > 0 {
		t.line("  ", "      ", "Not found, of %s: %s.", engine.NoWeight, strings.Join(by[""], " "))
	}
}

// against2 tells, by candidate, which findings speak against it.
func (t *text) against2() {
	keys, by := t.byAgainst()
	for _, k := range keys {
		if k == "" {
			t.line("  ", "      ", "Not found, of %s: %s.", engine.NoWeight, t.named(by[k]))
			continue
		}
		t.line("  ", "      ", "Against %s: %s.", t.candidateName(k), t.named(by[k]))
	}
}

func (t Names) candidateName(k string) string {
	for _, c := range slices.Concat(t.d.Causes, t.d.Steps) {
		if key(c) == k {
			return fullName(c)
		}
	}
	id, at, _ := strings.Cut(k, " @ ")
	name := t.thing(id)
	if at != "" {
		name += ", " + at
	}
	return name
}

func fullName(c engine.Candidate) string {
	if c.At != "" && c.At != "any" {
		return c.Name + ", " + c.At
	}
	return c.Name
}

func (t Names) thing(id string) string { return thing(t.b, id) }

// thing is the name of a cause, step, sign or part.
func thing(b *rules.Book, id string) string {
	if n := b.Node(id); n != nil {
		return n.Name
	}
	if s := b.Sign(id); s != nil {
		return s.Title()
	}
	if p := b.Part(id); p != nil {
		return p.Name
	}
	return strings.ReplaceAll(id, "_", " ")
}

// named lists findings with their names, at most six unless all are wanted.
func (t *text) named(ids []string) string {
	var out []string
	for i, id := range ids {
		if i == 6 && !t.o.Full && len(ids) > 7 {
			out = append(out, fmt.Sprintf("and %d more", len(ids)-i))
			break
		}
		f := t.finding(id)
		s := id
		if f.Name != "" {
			s += " " + f.Name
		}
		if f.At != "" {
			s += " (" + f.At + ")"
		}
		switch {
		case f.Beyond != nil && f.State == "not_found":
			s += ": measured, and not so"
			if t.o.Full && f.Note != "" {
				s += ": " + f.Note
			}
		case f.Beyond != nil:
			s += ": " + f.Note
		case f.State == "not_found":
			s += ": not found"
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

// weighed lists the candidates for which findings were weighed: what is named,
// then what comes nearest, then causes and steps as they come in the diagnosis.
func (t Names) weighed() []string {
	there := map[string]bool{}
	for _, f := range t.d.Findings {
		for k := range f.Weight {
			there[k] = true
		}
	}
	var out []string
	for _, c := range slices.Concat(t.d.Verdict.Names, t.leading(), t.d.Causes, t.d.Steps) {
		if k := key(c); there[k] {
			there[k] = false
			out = append(out, k)
		}
	}
	return out
}

// leading is what comes nearest where nothing is named, and after a position the
// family that it is of.
func (t Names) leading() []engine.Candidate {
	n := t.d.Verdict.Nearest
	if n == nil {
		return nil
	}
	out := []engine.Candidate{*n}
	for _, c := range slices.Concat(t.d.Causes, t.d.Steps) {
		if n.At != "" && n.At != "any" && c.ID == n.ID && c.At == "any" {
			out = append(out, c)
		}
	}
	return out
}

// forAndAgainst is what each finding says of a candidate, strongest first, after
// findings that belong together. In numbers: alone, last and its share, which add
// up from base rate to result.
func (t *text) forAndAgainst(k string) {
	d := t.d
	t.head("For and against: %s", t.candidateName(k))
	if t.o.Numbers {
		t.line("  ", "  ", "In decibans: alone (added to no other finding), last (taken away from all others), share (the column adds up).")
	}
	for _, g := range d.Groups {
		w, ok := g.Weight[k]
		switch {
		case !ok:
		case t.o.Numbers && math.Abs(w) >= 0.5:
			t.line("  ", "      ", "%s (%s), taken away together: %s, %s", strings.Join(g.Findings, " "), g.What, signed(w), strengthWords(w))
		case !t.o.Numbers && engine.Strength(w) != "no":
			t.line("  ", "      ", "%s (%s), together: %s.", strings.Join(g.Findings, " "), g.What, strengthWords(w))
		}
	}
	list := slices.DeleteFunc(slices.Clone(d.Findings), func(f engine.FindingOut) bool {
		_, ok := f.Weight[k]
		return !ok
	})
	sort.SliceStable(list, func(i, j int) bool {
		return math.Abs(list[i].Weight[k].Share) > math.Abs(list[j].Weight[k].Share)
	})
	var hardly []string
	sum := 0.0
	for _, f := range list {
		w := f.Weight[k]
		sum += w.Share
		name := f.Name
		if f.At != "" {
			name += " (" + f.At + ")"
		}
		if f.State == "not_found" {
			name += ": not found"
		}
		switch {
		case t.o.Numbers && math.Abs(w.Alone) < 0.05 && math.Abs(w.Last) < 0.05 && math.Abs(w.Share) < 0.05,
			!t.o.Numbers && engine.Strength(w.Share) == "no":
			hardly = append(hardly, f.ID)
		case t.o.Numbers:
			// The numbers stand in columns, so they are no words to be wrapped.
			t.line(fmt.Sprintf("  %6s %6s %6s  ", signed(w.Alone), signed(w.Last), signed(w.Share)), strings.Repeat(" ", 8), "%s %s, %s", f.ID, name, strengthWords(w.Share))
		default:
			t.line("  ", "      ", "%s %s: %s.", f.ID, name, strengthWords(w.Share))
		}
	}
	if len(hardly) > 0 {
		slices.Sort(hardly)
		t.line("  ", "      ", "%s: %s.", upperFirst(engine.NoWeight), strings.Join(hardly, " "))
	}
	if t.o.Numbers {
		t.line("  ", "      ", "Sum of shares %s.", signed(sum))
	}
}

func (t *text) notExplained() {
	if len(t.d.NotExplained) == 0 {
		return
	}
	t.head("Not explained")
	for _, u := range t.d.NotExplained {
		f := t.finding(u.Finding)
		t.line("  ", "      ", "%s %s: %s.", u.Finding, f.Name, u.Why)
	}
	if s := t.d.Explanation.Second; s != nil && t.o.Full {
		less := Times(s.Odds) + " times less probable"
		if s.Odds < 1.05 {
			less = "hardly less probable"
		}
		told := fmt.Sprintf("The next best account of it all is %s.", less)
		if len(s.Believe) > 0 {
			told += " There as well: " + and(s.Believe) + "."
		}
		if len(s.Drop) > 0 {
			told += " Not there: " + and(s.Drop) + "."
		}
		t.line("  ", "      ", "%s", told)
	}
}

func (t *text) assumed() {
	d := t.d
	if len(d.Assumed) > 0 {
		t.head("Assumed, because the case does not say")
	}
	for i, a := range d.Assumed {
		if i == 8 && !t.o.Full {
			t.line("  ", "      ", "and %d more; --full lists %s.", len(d.Assumed)-i, itOrThem(len(d.Assumed)-i))
			break
		}
		t.line("  ", "      ", "%s: %s.", upperFirst(a.What), a.Because)
	}
	// Circumstances that count and are never to blame.
	var given []string
	for _, c := range d.Conditions {
		given = append(given, fmt.Sprintf("%s (%s)", c.Name, Percent(c.Present)))
	}
	switch {
	case len(given) > 0 && len(d.Assumed) > 0:
		t.line("  ", "      ", "Taken as given: %s.", strings.Join(given, "; "))
	case len(given) > 0:
		t.head("Taken as given")
		t.line("  ", "      ", "%s.", upperFirst(strings.Join(given, "; ")))
	}
}

func (t *text) overturned() {
	o := t.d.OverturnedBy
	if len(o.Findings)+len(o.Rules)+len(o.Looks) == 0 {
		if len(t.d.Verdict.Names) > 0 {
			t.head("What would overturn it")
			t.line("  ", "      ", "Nothing by itself: no single finding if it is mistaken, no rule of the chain however often it holds, and no look left brings another first.")
		}
		return
	}
	t.head("What would overturn it")
	for _, f := range o.Findings {
		t.line("  ", "      ", "If %s is mistaken, %s comes first.", t.told(f.Finding), t.candidateName(f.ThenLeads))
	}
	holds := "It holds"
	if len(t.d.Verdict.Names) == 0 {
		holds = "What comes nearest stays first"
		if lead := t.leading(); len(lead) > 0 {
			holds = upperFirst(fullName(lead[0])) + " stays first"
		}
	}
	for i, r := range bounds(o.Rules) {
		if i == 3 && !t.o.Full {
			break
		}
		t.line("  ", "      ", "%s as long as %s %s.", holds, t.ruleWords(r.rule), t.boundWords(r))
	}
	if j := o.Joint; j != nil {
		t.line("  ", "      ", "Two small changes together do it too: %s.", t.jointWords(j))
	}
	for i, l := range o.Looks {
		if i == 3 && !t.o.Full {
			break
		}
		name := t.thing(l.Sign)
		if l.At != "" {
			name += " (" + l.At + ")"
		}
		t.line("  ", "      ", "If %s is looked for and %s (%s likely), %s comes first.", name, l.Result, Percent(l.Probability), t.candidateName(l.ThenLeads))
	}
}

// jointWords tells the change of two rules that does it together.
func (t Names) jointWords(j *engine.JointFlip) string {
	return fmt.Sprintf("%s in %s of 100 instead of %s, and %s in %s instead of %s; then %s comes first",
		t.ruleWords(j.Rules[0]), Share(j.At[0]), Share(j.Now[0]), t.ruleWords(j.Rules[1]), Share(j.At[1]), Share(j.Now[1]), t.candidateName(j.ThenLeads))
}

// told is a finding with its name, as a part of a sentence.
func (t Names) told(id string) string {
	f := t.finding(id)
	if f.State == "not_found" {
		return fmt.Sprintf("%s (%s, not found)", id, f.Name)
	}
	return fmt.Sprintf("%s (%s)", id, f.Name)
}

// bound is a rule with the limits between which its how-often may lie.
type bound struct {
	rule         string
	now          float64
	above, below *engine.RuleFlip
}

// bounds puts together what is told of one rule; the order is that of the first
// that is told.
func bounds(flips []engine.RuleFlip) []bound {
	var out []bound
	for _, f := range flips {
		i := slices.IndexFunc(out, func(b bound) bool { return b.rule == f.Rule })
		if i < 0 {
			i, out = len(out), append(out, bound{rule: f.Rule, now: f.Now})
		}
		switch {
		case f.HoldsAbove != nil:
			out[i].above = &f
		case f.HoldsBelow != nil:
			out[i].below = &f
		}
	}
	return slices.DeleteFunc(out, func(b bound) bool { return b.above == nil && b.below == nil })
}

func (t Names) boundWords(b bound) string {
	now := fmt.Sprintf("of 100 (now %s)", Share(b.now))
	switch {
	case b.below == nil:
		return fmt.Sprintf("in more than %s %s; else %s comes first", Share(*b.above.HoldsAbove), now, t.candidateName(b.above.ThenLeads))
	case b.above == nil:
		return fmt.Sprintf("in less than %s %s; else %s comes first", Share(*b.below.HoldsBelow), now, t.candidateName(b.below.ThenLeads))
	}
	s := fmt.Sprintf("in more than %s and less than %s %s; ", Share(*b.above.HoldsAbove), Share(*b.below.HoldsBelow), now)
	if b.above.ThenLeads == b.below.ThenLeads {
		return s + fmt.Sprintf("else %s comes first", t.candidateName(b.above.ThenLeads))
	}
	return s + fmt.Sprintf("below that %s comes first, above it %s", t.candidateName(b.above.ThenLeads), t.candidateName(b.below.ThenLeads))
}

// ruleWords says a rule in the names of its two ends.
func (t Names) ruleWords(id string) string {
	from, to, _ := strings.Cut(id, " > ")
	to, _, _ = strings.Cut(to, " #")
	verb := "leads to"
	if t.b.Sign(to) != nil {
		verb = "shows"
	}
	return fmt.Sprintf("“%s” %s “%s”", t.thing(from), verb, t.thing(to))
}

func (t *text) next() {
	d := t.d
	if len(d.Next) == 0 && d.Stop.Why == "" {
		return
	}
	t.head("What to look at next")
	most := 4
	if t.o.Full {
		most = len(d.Next)
	}
	shown := 0
	for i, l := range d.Next {
		if i == most {
			break
		}
		if l.Bits < engine.WorthTelling && !t.o.Full {
			continue
		}
		shown++
		t.line("  ", "      ", "%s", lookLine(l, t.o))
		lookNotes(t.page, t.b, l)
	}
	why := d.Stop.Why
	if shown == 0 && len(d.Next) > 0 && !t.o.Full {
		why = strings.TrimSuffix(why, ".") + "; --full lists what is left."
	}
	t.line("  ", "  ", "%s", why)
}

// acts are what destroys a sign, with the names of parts.
func (t Names) acts(ids []string) []act {
	var out []act
	for _, a := range ids {
		kind, part, _ := strings.Cut(a, " ")
		out = append(out, act{kind, t.thing(part)})
	}
	return out
}

func minutes(m float64) string { return fmt.Sprintf("%.0f", m) }

func (t *text) foot() {
	d := t.d
	t.gap()
	var packs []string
	for _, p := range d.Book.Packs {
		packs = append(packs, p.ID+" "+p.Version)
	}
	how := "follow exactly"
	if !d.Method.Exact {
		how = fmt.Sprintf("may be off by about %s in 100 either way, because rules that matter least here were left out; they follow", Off(d.Method.ErrorBound))
	}
	t.line("", "", "Determined from %.0f %% to blame, probable from %.0f %%. Numbers %s from the book %s (%s).", 100*engine.DeterminedAt, 100*engine.ProbableAt, how, short(d.Book.Hash), Count(len(packs), "pack", "packs"))
	t.line("", "", "Supports a qualified person's judgement and does not replace it. The maker's manual, local rules and licensed practice come first. \"To blame\" is said of causes, never of persons.")
}

func short(hash string) string {
	if len(hash) > 12 {
		return hash[:12]
	}
	return hash
}
