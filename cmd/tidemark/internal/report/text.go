package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strings"

	"tidemark/engine"
)

// Text writes a diagnosis for a person at a terminal.
func Text(w io.Writer, d *engine.Diagnosis, o Options) error {
	p := newPage(w, o)
	t := &text{p, d, o}
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
	d *engine.Diagnosis
	o Options
}

func (t *text) title() {
	d := t.d
	name, _ := d.Case.Engine["name"].(string)
	head := strings.TrimSpace(strings.Join(nonEmpty(d.Case.ID, d.Case.Title, name), " · "))
	if head == "" {
		head = "a case with no name"
	}
	t.line("", "", "%s", head)
	if d.Case.QuestionName != "" {
		at := ""
		if d.Case.QuestionAt != "" {
			at = " (" + d.Case.QuestionAt + ")"
		}
		t.line("", "", "Asked: why this happened: %s%s. It is taken as having happened.", d.Case.QuestionName, at)
	}
}

func nonEmpty(words ...string) []string {
	return slices.DeleteFunc(words, func(s string) bool { return s == "" })
}

func (t *text) verdict() {
	v := t.d.Verdict
	t.head("Verdict")
	t.line("  ", "  ", "%s", v.Words)
	if v.Why != "" {
		t.line("  ", "  ", "It stands no higher because %s.", v.Why)
	}
	if len(v.Behind) > 0 {
		var list []string
		for _, b := range v.Behind {
			list = append(list, b.Name+" "+Percent(b.Blame))
		}
		t.line("  ", "  ", "By what it came about, each weighed alone (these do not add up to 100): %s.", strings.Join(list, ", "))
	}
	if b := v.BetterQuestion; b != nil {
		s := fmt.Sprintf("A better question: why did this come about: %s (acted, %s)?", b.Name, Percent(b.Acted))
		var list []string
		for _, l := range b.Leads {
			list = append(list, l.Name+" "+Percent(l.Blame))
		}
		if len(list) > 0 {
			s += " There it is: " + strings.Join(list, ", ") + "."
		}
		t.line("  ", "  ", "%s", s)
	}
	if c := t.d.Conflict; c.Value > engine.ConflictTold {
		t.line("  ", "  ", "These findings fight the rest, look at them again: %s. Together they are %.0f times less likely than if they had nothing to do with each other.", strings.Join(c.Findings, ", "), math.Pow(10, c.Value))
	}
}

func (t *text) chain() {
	if len(t.d.Chain) == 0 {
		return
	}
	t.head("Chain of failure")
	for i, l := range t.d.Chain {
		name := l.Name
		switch l.At {
		case "":
		case "any":
			name += ", at one position or more"
		default:
			name += ", " + l.At
		}
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
		t.line(mark, "      ", "%s (%s)", name, tail)
		if l.Because != "" {
			t.line("      ", "      ", "%s", sentence(l.Because))
		}
	}
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
			t.line("  ", "  ", "and %d more; --full lists them.", len(list)-most)
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
		} else if f, w := t.against(key(c)); f != "" {
			s += "; most against it: " + t.weight(f, w)
		}
		t.line("  ", "      ", "%s.", s)
	}
	for _, s := range d.Together {
		if t.o.Full {
			t.line("  ", "      ", "Together: %s: to blame %s (%s).", and(s.Names), Percent(s.Blame), howWords(s.How))
		}
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
		t.line("    ", "        ", "and %d more; --full lists them.", n)
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
func (t *text) against(k string) (string, float64) {
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
	s := engine.Strength(db)
	switch {
	case s == "no":
		return "hardly any weight"
	case db < 0:
		return s + " support against it"
	}
	return s + " support for it"
}

// signed is a weight with its sign, and no sign where it is nothing.
func signed(db float64) string {
	s := fmt.Sprintf("%+.1f", db)
	if s == "-0.0" || s == "+0.0" {
		return "0.0"
	}
	return s
}

func (t *text) finding(id string) engine.FindingOut {
	for _, f := range t.d.Findings {
		if f.ID == id {
			return f
		}
	}
	return engine.FindingOut{ID: id}
}

// bystanders lists what is there and did nothing.
func (t *text) bystanders() {
	d := t.d
	if d.Case.Question == "" {
		return
	}
	var list []string
	for _, c := range slices.Concat(d.Causes, d.Steps) {
		if c.Present < 0.5 || c.Blame >= 0.1 || c.Acted >= 0.25 || c.Kind == "unlisted" || c.Category == "artefact" || c.Follows {
			continue
		}
		if c.At == "any" || c.At != "" && !familyOf(slices.Concat(d.Causes, d.Steps), c.ID) || c.At == "" {
			list = append(list, fmt.Sprintf("%s (present %s, to blame %s)", c.Name, Percent(c.Present), Percent(c.Blame)))
		}
	}
	if len(list) == 0 {
		return
	}
	t.head("Present, not to blame")
	for i, s := range list {
		if i == 6 && !t.o.Full {
			t.line("  ", "      ", "and %d more; --full lists them.", len(list)-6)
			break
		}
		t.line("  ", "      ", "%s.", upperFirst(s))
	}
}

// findings tells what every finding is, grouped by role.
func (t *text) findings() {
	d := t.d
	if len(d.Findings) == 0 {
		return
	}
	t.head("What the findings are")
	roles := []struct {
		role engine.Role
		what string
	}{
		{engine.Primary, "Primary: of what is to blame"},
		{engine.Consequential, "Consequence of it"},
		{engine.Independent, "Independent: there, of something else"},
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
		if r.role == engine.Against {
			t.against2()
			continue
		}
		t.line("  ", "      ", "%s: %s.", r.what, t.named(ids))
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
	for _, f := range d.Findings {
		if !f.Counted && f.State == "seen" && f.Role == "" {
			t.line("  ", "      ", "%s (%s) is not counted: %s.", f.ID, f.Name, f.WhyNot)
		}
	}
	if t.o.Full {
		t.full()
	}
}

// against2 tells, by candidate, which findings speak against it.
func (t *text) against2() {
	by := map[string][]string{}
	var keys []string
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
	for _, k := range keys {
		if k == "" {
			t.line("  ", "      ", "Not found, and telling little: %s.", t.named(by[k]))
			continue
		}
		t.line("  ", "      ", "Against %s: %s.", t.candidateName(k), t.named(by[k]))
	}
}

func (t *text) candidateName(k string) string {
	for _, c := range slices.Concat(t.d.Causes, t.d.Steps) {
		if key(c) == k {
			if c.At != "" && c.At != "any" {
				return c.Name + ", " + c.At
			}
			return c.Name
		}
	}
	return k
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
		if f.State == "not_found" {
			s += ": not found"
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

// full is for and against, whole: groups first, then each finding alone, last
// and its share, which add up from base rate to result.
func (t *text) full() {
	d := t.d
	var keys []string
	for _, f := range d.Findings {
		for k := range f.Weight {
			if !slices.Contains(keys, k) {
				keys = append(keys, k)
			}
		}
	}
	sort.Strings(keys)
	for _, k := range keys {
		t.head("For and against: %s", t.candidateName(k))
		t.line("  ", "  ", "In decibans: alone (added to no other finding), last (taken away from all others), share (the column adds up).")
		for _, g := range d.Groups {
			if w, ok := g.Weight[k]; ok && math.Abs(w) >= 0.5 {
				t.line("  ", "      ", "%s (%s), taken away together: %s, %s", strings.Join(g.Findings, " "), g.What, signed(w), strengthWords(w))
			}
		}
		list := slices.Clone(d.Findings)
		sort.SliceStable(list, func(i, j int) bool {
			return math.Abs(list[i].Weight[k].Share) > math.Abs(list[j].Weight[k].Share)
		})
		sum := 0.0
		for _, f := range list {
			w, ok := f.Weight[k]
			if !ok {
				continue
			}
			sum += w.Share
			if math.Abs(w.Alone) < 0.05 && math.Abs(w.Last) < 0.05 && math.Abs(w.Share) < 0.05 {
				continue
			}
			name := f.Name
			if f.State == "not_found" {
				name += ": not found"
			}
			// The numbers stand in columns, so they are no words to be wrapped.
			t.line(fmt.Sprintf("  %6s %6s %6s  ", signed(w.Alone), signed(w.Last), signed(w.Share)), strings.Repeat(" ", 8), "%s %s, %s", f.ID, name, strengthWords(w.Share))
		}
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
		var parts []string
		if len(s.Believe) > 0 {
			parts = append(parts, "that this was there: "+and(s.Believe))
		}
		if len(s.Drop) > 0 {
			parts = append(parts, "that this was not: "+and(s.Drop))
		}
		less := fmt.Sprintf("%.1f times less probable", s.Odds)
		if s.Odds < 1.05 {
			less = "hardly less probable"
		}
		t.line("  ", "      ", "The next best explanation is %s; one would have to believe %s.", less, strings.Join(parts, "; and "))
	}
}

func (t *text) assumed() {
	d := t.d
	if len(d.Assumed) == 0 && len(d.Conditions) == 0 {
		return
	}
	t.head("Assumed, because the case does not say")
	for i, a := range d.Assumed {
		if i == 6 && !t.o.Full && len(d.Assumed) > 7 {
			t.line("  ", "      ", "and %d more; --full lists them.", len(d.Assumed)-6)
			break
		}
		t.line("  ", "      ", "%s: %s.", upperFirst(a.What), a.Because)
	}
	for _, c := range d.Conditions {
		t.line("  ", "      ", "Given: %s (%s).", c.Name, Percent(c.Present))
	}
}

func (t *text) overturned() {
	o := t.d.OverturnedBy
	if len(o.Findings)+len(o.Rules)+len(o.Looks) == 0 {
		return
	}
	t.head("What would overturn it")
	for _, f := range o.Findings {
		x := t.finding(f.Finding)
		t.line("  ", "      ", "If %s (%s) is mistaken, %s leads.", f.Finding, x.Name, t.candidateName(f.ThenLeads))
	}
	for i, r := range o.Rules {
		if i == 3 && !t.o.Full {
			break
		}
		if r.HoldsAbove != nil {
			t.line("  ", "      ", "It holds as long as %s more often than in %.2g of 100 (now %.0f); else %s leads.", ruleWords(r.Rule), 100**r.HoldsAbove, 100*r.Now, t.candidateName(r.ThenLeads))
		} else if r.HoldsBelow != nil {
			t.line("  ", "      ", "It holds as long as %s less often than in %.2g of 100 (now %.0f); else %s leads.", ruleWords(r.Rule), 100**r.HoldsBelow, 100*r.Now, t.candidateName(r.ThenLeads))
		}
	}
	for i, l := range o.Looks {
		if i == 3 && !t.o.Full {
			break
		}
		t.line("  ", "      ", "If %s is looked for and %s (%s likely), %s leads.", l.Sign, l.Result, Percent(l.Probability), t.candidateName(l.ThenLeads))
	}
}

func ruleWords(id string) string {
	from, to, _ := strings.Cut(id, " > ")
	return strings.ReplaceAll(from, "_", " ") + " leads to " + strings.ReplaceAll(to, "_", " ")
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
	for i, l := range d.Next {
		if i == most {
			break
		}
		if l.Bits < engine.WorthTelling && !t.o.Full {
			continue
		}
		at := ""
		if l.At != "" {
			at = ", " + l.At
		}
		bits := ""
		if t.o.Numbers {
			bits = fmt.Sprintf(", tells %.2f bit", l.Bits)
		}
		t.line("  ", "      ", "%s%s (%s): %s %s min%s.", upperFirst(l.Name), at, l.Sign, sentence(l.Ask), minutes(l.Minutes), bits)
		if len(l.Off) > 0 {
			t.line("      ", "      ", "Comes off first: %s.", strings.ReplaceAll(strings.Join(l.Off, ", "), "_", " "))
		}
		if len(l.DestroyedBy) > 0 {
			var acts []string
			for _, a := range l.DestroyedBy {
				kind, part, _ := strings.Cut(a, " ")
				acts = append(acts, actWords(kind, strings.ReplaceAll(part, "_", " ")))
			}
			t.line("      ", "      ", "Look before you %s.", or(acts))
		}
		if l.Caution != "" {
			t.line("      ", "      ", "Caution: %s", sentence(l.Caution))
		}
	}
	t.line("  ", "  ", "%s", d.Stop.Why)
}

func minutes(m float64) string { return fmt.Sprintf("%.0f", m) }

func (t *text) foot() {
	d := t.d
	t.gap()
	var packs []string
	for _, p := range d.Book.Packs {
		packs = append(packs, p.ID+" "+p.Version)
	}
	how := "exact"
	if !d.Method.Exact {
		how = fmt.Sprintf("to within about %.0f in 100 (rules that matter least here were left out)", math.Ceil(100*d.Method.ErrorBound))
	}
	t.line("", "", "Determined from %.0f %% to blame, probable from %.0f %%. Numbers are %s, from the book %s (%d packs).", 100*engine.DeterminedAt, 100*engine.ProbableAt, how, short(d.Book.Hash), len(packs))
	t.line("", "", "Supports a qualified person's judgement and does not replace it. The maker's manual, local rules and licensed practice come first. \"To blame\" is said of causes, never of persons.")
}

func short(hash string) string {
	if len(hash) > 12 {
		return hash[:12]
	}
	return hash
}
