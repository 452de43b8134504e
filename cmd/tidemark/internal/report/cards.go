package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"tidemark/rules"
)

// SignInfo is a sign as JSON.
type SignInfo struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	Also    []string `json:"also"` // what else people call it
	Part    string   `json:"part"`
	Look    string   `json:"look"`
	Minutes float64  `json:"minutes"`
	When    string   `json:"when,omitempty"` // the condition on the engine; none: every one that has the part
	LostBy  []string `json:"lost_by"`
	Behind  []string `json:"behind"`
	Caution string   `json:"caution"`
	ShownBy []string `json:"shown_by"`
}

// SignJSON turns a sign into its JSON shape.
func SignJSON(s *rules.Sign) SignInfo {
	out := SignInfo{ID: s.ID, Name: s.Title(), Part: s.Part.ID, Look: s.Look, Minutes: s.Minutes, Caution: s.Caution, Also: append([]string{}, s.Also...), LostBy: []string{}, Behind: []string{}, ShownBy: []string{}}
	for _, l := range s.LostBy {
		out.LostBy = append(out.LostBy, string(l.Kind)+" "+l.Part)
	}
	out.Behind = append(out.Behind, s.Part.Behind...)
	if s.When != nil {
		out.When = s.When.Text
	}
	for _, r := range s.By {
		if !slices.Contains(out.ShownBy, r.From.ID) {
			out.ShownBy = append(out.ShownBy, r.From.ID)
		}
	}
	return out
}

// RuleInfo is a rule as JSON.
type RuleInfo struct {
	To       string  `json:"to"`
	Kind     string  `json:"kind"` // leads_to, shows, is
	HowOften float64 `json:"how_often"`
	Because  string  `json:"because"`
	Source   string  `json:"source"`
}

// NodeInfo is a cause, step or condition as JSON.
type NodeInfo struct {
	ID        string            `json:"id"`
	Kind      string            `json:"kind"`
	Name      string            `json:"name"`
	Also      []string          `json:"also"` // what else people call it
	Category  string            `json:"category,omitempty"`
	BaseRate  float64           `json:"base_rate,omitempty"`
	Note      string            `json:"note,omitempty"`
	Rules     []RuleInfo        `json:"rules"`
	From      []string          `json:"from"`
	LookAlike map[string]string `json:"look_alikes,omitempty"`
}

// NodeJSON turns a cause, step or condition into its JSON shape.
func NodeJSON(n *rules.Node) NodeInfo {
	out := NodeInfo{ID: n.ID, Kind: string(n.Kind), Name: n.Name, Category: n.Category, BaseRate: n.BaseRate, Note: n.Note, Also: append([]string{}, n.Also...), Rules: []RuleInfo{}, From: []string{}, LookAlike: n.LookAlike}
	for _, r := range n.Out {
		i := RuleInfo{HowOften: r.HowOften, Because: r.Because, Source: r.Source, Kind: "leads_to"}
		if r.Sign != nil {
			i.To, i.Kind = r.Sign.ID, "shows"
			if r.Is {
				i.Kind = "is"
			}
		} else {
			i.To = r.To.ID
		}
		out.Rules = append(out.Rules, i)
	}
	for _, r := range n.In {
		if !slices.Contains(out.From, r.From.ID) {
			out.From = append(out.From, r.From.ID)
		}
	}
	return out
}

// SignList writes one sign a line, by part.
func SignList(w io.Writer, signs []*rules.Sign, o Options) error {
	p := newPage(w, o)
	part := ""
	for _, s := range signs {
		if s.Part.ID != part {
			if part != "" {
				p.gap()
			}
			part = s.Part.ID
			p.line("", "  ", "%s", upperFirst(s.Part.Name))
		}
		p.line("  ", "      ", "%s: %s", s.ID, s.Name)
	}
	return p.close()
}

// SignCard writes one sign whole.
func SignCard(w io.Writer, b *rules.Book, s *rules.Sign, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s (%s)", upperFirst(s.Title()), s.ID)
	p.also("also called", s.Also)
	called := " is also called"
	if several(s.Part.Name) {
		called = " are also called"
	}
	p.also("the "+s.Part.Name+called, s.Part.Also)
	p.line("  ", "  ", "%s", sentence(s.Look))
	p.line("  ", "  ", "Takes %.0f min once it can be reached.", s.Minutes)
	if s.When != nil {
		p.line("  ", "  ", "Only where %s.", s.When.Text)
	}
	if len(s.Part.Behind) > 0 {
		var names []string
		for _, id := range s.Part.Behind {
			names = append(names, b.Part(id).Name)
		}
		p.line("  ", "  ", "Lies behind: %s.", and(names))
	}
	if len(s.Part.Places) > 0 {
		p.line("  ", "  ", "Places on it: %s.", strings.Join(s.Part.Places, ", "))
	}
	var acts []act
	for _, l := range s.LostBy {
		acts = append(acts, act{string(l.Kind), b.Part(l.Part).Name})
	}
	if len(acts) > 0 {
		p.line("  ", "  ", "%s", lookBefore(acts))
	}
	if s.Caution != "" {
		p.line("  ", "  ", "Caution: %s", sentence(s.Caution))
	}
	p.gap()
	p.line("", "  ", "Shown by")
	for _, r := range s.By {
		p.line("  ", "      ", "%s (%s): %s. %s [%s]", r.From.Name, r.From.ID, often(r), sentence(r.Because), sourceOf(r))
	}
	if s.Unlisted > 0 {
		p.line("  ", "      ", "Also seen in about %s of 100 engines with none of these there.", Share(s.Unlisted))
	}
	return p.close()
}

// also tells what else people call a thing.
func (p *page) also(called string, names []string) {
	if len(names) > 0 {
		p.line("  ", "  ", "%s: %s.", upperFirst(called), strings.Join(names, ", "))
	}
}

func often(r *rules.Rule) string {
	if r.Is {
		return "it is this very thing"
	}
	return howOften(r.HowOften)
}

func sourceOf(r *rules.Rule) string {
	if r.Source == "" {
		return "by definition"
	}
	return r.Source
}

// NodeList writes one cause or step a line.
func NodeList(w io.Writer, nodes []*rules.Node, o Options) error {
	p := newPage(w, o)
	for _, n := range nodes {
		tail := string(n.Kind)
		if n.Kind == rules.Cause {
			tail = n.Category
		}
		p.line("", "      ", "%s: %s (%s)", n.ID, n.Name, tail)
	}
	return p.close()
}

// neededFor tells what a thing leads to only together with others.
func (p *page) neededFor(b *rules.Book, n *rules.Node, head bool) {
	for _, to := range b.Nodes {
		for _, need := range to.Needs {
			if !slices.Contains(need.Of, n) {
				continue
			}
			if head {
				p.gap()
				p.line("", "  ", "Leads to")
				head = false
			}
			var with []string
			for _, x := range need.Of {
				if x != n {
					with = append(with, fmt.Sprintf("%s (%s)", x.Name, x.ID))
				}
			}
			p.line("  ", "      ", "%s (%s), together with %s: %s. %s [%s]", to.Name, to.ID, and(with), howOften(need.HowOften), sentence(need.Because), need.Source)
		}
	}
}

// OutcomeList writes what a case can ask about, one a line.
func OutcomeList(w io.Writer, nodes []*rules.Node, o Options) error {
	p := newPage(w, o)
	for _, n := range nodes {
		p.line("", "      ", "%s: %s", n.ID, n.Name)
	}
	return p.close()
}

// NodeCard writes a cause or step as a pattern card.
func NodeCard(w io.Writer, b *rules.Book, n *rules.Node, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s (%s)", upperFirst(n.Name), n.ID)
	p.also("also called", n.Also)
	switch n.Kind {
	case rules.Cause:
		p.line("  ", "  ", "A cause (%s). There in about %s of 100 engines that come in to be stripped, harm or no harm. [%s]", n.Category, Share(n.BaseRate), n.Source)
	case rules.Condition:
		p.line("  ", "  ", "A circumstance, normal in itself; it makes things likelier and is never to blame.")
	default:
		p.line("  ", "  ", "A step: something produced it.")
	}
	if n.Per != "" {
		p.line("  ", "  ", "One for each %s.", n.Per.Word())
	}
	if n.Note != "" {
		p.line("  ", "  ", "%s", sentence(n.Note))
	}
	section := func(title string, rs []*rules.Rule, name func(*rules.Rule) string) {
		if len(rs) == 0 {
			return
		}
		p.gap()
		p.line("", "  ", "%s", title)
		for _, r := range rs {
			p.line("  ", "      ", "%s: %s. %s [%s]", name(r), often(r), sentence(r.Because), sourceOf(r))
		}
	}
	var leads, shows []*rules.Rule
	for _, r := range n.Out {
		if r.To != nil {
			leads = append(leads, r)
		} else {
			shows = append(shows, r)
		}
	}
	section("Comes from", n.In, func(r *rules.Rule) string { return fmt.Sprintf("%s (%s)", r.From.Name, r.From.ID) })
	if len(n.Needs) > 0 && len(n.In) == 0 {
		p.gap()
		p.line("", "  ", "Comes from")
	}
	for _, need := range n.Needs {
		var names []string
		for _, x := range need.Of {
			names = append(names, x.Name)
		}
		p.line("  ", "      ", "%s together: %s. %s [%s]", and(names), howOften(need.HowOften), sentence(need.Because), need.Source)
	}
	section("Leads to", leads, func(r *rules.Rule) string { return fmt.Sprintf("%s (%s)", r.To.Name, r.To.ID) })
	p.neededFor(b, n, len(leads) == 0)
	section("Shows", shows, func(r *rules.Rule) string {
		at := ""
		if r.Where != "" {
			at = ", " + r.Where
		}
		return fmt.Sprintf("%s%s (%s)", r.Sign.Title(), at, r.Sign.ID)
	})
	if len(n.LookAlike) > 0 {
		p.gap()
		p.line("", "  ", "Mistaken for")
		var ids []string
		for id := range n.LookAlike {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		for _, id := range ids {
			p.line("  ", "      ", "%s (%s): %s", b.Node(id).Name, id, sentence(n.LookAlike[id]))
		}
	}
	return p.close()
}
