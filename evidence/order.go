package evidence

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/evidence/source"
)

// references checks that what entries refer to is in the case, and marks
// corrected findings.
func (l *loader) references() {
	for _, r := range l.refs {
		var known []string
		for id, table := range l.tables {
			if r.table == "" || table == r.table {
				known = append(known, id)
			}
		}
		slices.Sort(known)
		if table, ok := l.tables[r.id]; !ok {
			l.faults.Add(r.pos, source.Suggest(r.id, known), "%s %q, which is not in this case", r.what, r.id)
		} else if r.table != "" && r.table != table {
			l.faults.Add(r.pos, "", "%s %s, which is [%s.%s] and no %s", r.what, r.id, table, r.id, r.table)
		}
	}
	findings := l.c.Findings
	index := map[string]int{}
	for i, f := range findings {
		index[f.ID] = i
	}
	for _, f := range findings {
		i, ok := index[f.Replaces]
		if !ok {
			continue
		}
		pos := f.Pos
		for _, r := range l.refs {
			if r.table == "finding" && r.id == f.Replaces && strings.HasPrefix(r.what, f.ID+" ") {
				pos = r.pos
			}
		}
		if was := findings[i].ReplacedBy; was != "" {
			l.faults.Add(pos, fmt.Sprintf("did you mean %q?", was), "%s and %s both replace %s", was, f.ID, f.Replaces)
			continue
		}
		findings[i].ReplacedBy = f.ID
		// Each finding replaces one and is replaced by one, so a circle comes
		// back to where it began.
		for at, n := f.Replaces, 0; n <= len(findings); n++ {
			if at == f.ID {
				l.faults.Add(pos, "a later finding replaces an earlier one", "%s is replaced by itself", f.ID)
				break
			}
			j, ok := index[at]
			if !ok {
				break
			}
			at = findings[j].Replaces
		}
	}
}

// timeline holds what the entries say of their order. Findings of one look
// stand at one point in it.
type timeline struct {
	at   map[string]string   // id → point
	next map[string][]string // point → points after it
}

// timeline is all that is known of the order of entries: what is said of it,
// and that acts stand in the order of the bench log as far as nothing that is
// said runs against it.
func (c *Case) timeline() timeline {
	t := c.saidOrder()
	log := c.inOrder(t)
	for i := 1; i < len(log); i++ {
		t.add(log[i-1].ID, log[i].ID)
	}
	return t
}

// saidOrder is what the entries say of their order.
func (c *Case) saidOrder() timeline {
	t := timeline{at: map[string]string{}, next: map[string][]string{}}
	for _, f := range c.Findings {
		if f.Look != "" {
			t.at[f.ID] = "look " + f.Look
		}
	}
	said := func(id string, o Order) {
		for _, x := range o.After {
			t.add(x, id)
		}
		for _, x := range o.Before {
			t.add(id, x)
		}
	}
	for _, e := range c.Findings {
		said(e.ID, e.Order)
	}
	for _, e := range c.Readings {
		said(e.ID, e.Order)
	}
	for _, e := range c.Fitted {
		said(e.ID, e.Order)
	}
	for _, e := range c.Works {
		said(e.ID, e.Order)
	}
	for _, e := range c.Acts {
		said(e.ID, e.Order)
	}
	return t
}

// inOrder is the bench log with acts moved only where something said of them
// runs against the order of the file. It is the act that says so which moves.
func (c *Case) inOrder(t timeline) []Act {
	after := map[string]map[string]bool{}
	for _, a := range c.Acts {
		after[a.ID] = t.reach(a.ID)
	}
	rest := slices.Clone(c.Acts)
	for _, a := range c.Acts {
		at := slices.IndexFunc(rest, func(b Act) bool { return b.ID == a.ID })
		if len(a.Before) == 0 {
			continue
		}
		if i := slices.IndexFunc(rest[:at], func(b Act) bool { return after[a.ID][t.point(b.ID)] }); i >= 0 {
			rest = slices.Insert(slices.Delete(rest, at, at+1), i, a)
		}
	}
	// Those told to be after another wait for it.
	var out []Act
	for len(rest) > 0 {
		i := slices.IndexFunc(rest, func(a Act) bool {
			return !slices.ContainsFunc(rest, func(b Act) bool { return b.ID != a.ID && after[b.ID][t.point(a.ID)] })
		})
		i = max(i, 0) // a circle, which loading refuses
		out = append(out, rest[i])
		rest = slices.Delete(rest, i, i+1)
	}
	return out
}

func (t timeline) point(id string) string {
	if p, ok := t.at[id]; ok {
		return p
	}
	return id
}

func (t timeline) add(first, then string) {
	t.next[t.point(first)] = append(t.next[t.point(first)], t.point(then))
}

// reach is the set of points that come after an entry.
func (t timeline) reach(id string) map[string]bool {
	seen := map[string]bool{}
	queue := []string{t.point(id)}
	for ; len(queue) > 0; queue = queue[1:] {
		for _, n := range t.next[queue[0]] {
			if !seen[n] {
				seen[n] = true
				queue = append(queue, n)
			}
		}
	}
	return seen
}

// circles finds entries that are said to come before themselves, and tells
// each such circle once.
func (l *loader) circles() {
	looks := map[string]string{}
	for _, f := range l.c.Findings {
		if f.Look != "" {
			looks[f.ID] = "look " + f.Look
		}
	}
	t := timeline{at: looks}
	next := map[string][]edge{}
	var points []string
	for _, e := range l.edges {
		p := t.point(e.first)
		if next[p] == nil {
			points = append(points, p)
		}
		next[p] = append(next[p], e)
	}
	const (
		fresh = iota
		open
		done
	)
	state := map[string]int{}
	var trail []edge
	var visit func(p string)
	visit = func(p string) {
		state[p] = open
		for _, e := range next[p] {
			n := t.point(e.then)
			trail = append(trail, e)
			switch state[n] {
			case fresh:
				visit(n)
			case open:
				from := slices.IndexFunc(trail, func(x edge) bool { return t.point(x.first) == n })
				l.circle(trail[from:])
			}
			trail = trail[:len(trail)-1]
		}
		state[p] = done
	}
	for _, p := range points {
		if state[p] == fresh {
			visit(p)
		}
	}
}

func (l *loader) circle(loop []edge) {
	var says, looks []string
	for i, e := range loop {
		says = append(says, e.first+" before "+e.then)
		from := loop[(i+1)%len(loop)].first
		if from != e.then {
			looks = append(looks, fmt.Sprintf("%s and %s are of one look", e.then, from))
		}
	}
	last := loop[len(loop)-1]
	l.faults.Add(last.pos, "one of these is the wrong way round", "what is said of before and after runs in a circle: %s", strings.Join(append(says, looks...), ", "))
}

// opposites finds the same sign in the same place both seen and not found, and
// the same finding told twice.
//
// Where one is doubtful, or replaced by the other, they may stand. So may they
// where they come of different samples. By different ways of looking, one way
// may miss what the other shows: that is worth a warning, no more.
func (l *loader) opposites() {
	earlier := map[string][]Finding{} // by sign
	for _, g := range l.c.Findings {
		same := earlier[g.Sign]
		earlier[g.Sign] = append(same, g)
		again, against := false, false // told once of each: against the first is enough to find the rest
		for _, f := range same {
			if l.unclearAt[f.ID] || l.unclearAt[g.ID] || f.Sign == "other" || f.Sign == "" || f.State == "" || g.State == "" ||
				f.State == Unavailable || g.State == Unavailable || f.Made != g.Made ||
				f.ReplacedBy != "" || g.ReplacedBy != "" || f.Sure == Doubtful || g.Sure == Doubtful ||
				f.Sample != "" && g.Sample != "" && f.Sample != g.Sample {
				continue
			}
			where, both := l.c.Engine.overlap(f.At, g.At)
			if !both {
				continue
			}
			hint := fmt.Sprintf("if %s corrects %s, say replaces = %q; if one is unsure, say sure = \"doubtful\"", g.ID, f.ID, f.ID)
			switch {
			case f.State != g.State && against, f.State == g.State && again:
				continue
			case f.State != g.State && f.By == g.By:
				against = true
				l.faults.Add(g.Pos, hint, "%s says that %s is %s%s, and %s (line %d) says %s", g.ID, g.Sign, g.State, where, f.ID, f.Pos.Line, f.State)
			case f.State != g.State:
				l.faults.Warn(g.Pos, hint, "%s (by %s) says that %s is %s%s, and %s (by %s, line %d) says %s", g.ID, g.By, g.Sign, g.State, where, f.ID, f.By, f.Pos.Line, f.State)
			case f.By == g.By:
				again = true
				l.faults.Warn(g.Pos, "it counts once", "%s tells again what %s (line %d) tells: %s is %s%s", g.ID, f.ID, f.Pos.Line, g.Sign, g.State, where)
			}
		}
	}
}

// overlap tells whether two findings speak of one and the same place, and
// names it for a sentence (" at cyl 3 / upper"). Positions not known speak of
// the same place only under the same letter.
func (e Engine) overlap(a, b []Spot) (where string, both bool) {
	if len(a) == 0 || len(b) == 0 {
		return "", len(a) == len(b)
	}
	name := func(s string, place string) string {
		if place != "" {
			s = strings.TrimSpace(s + " / " + place)
		}
		if s == "" {
			return ""
		}
		return " at " + s
	}
	for _, x := range a {
		for _, y := range b {
			if x.Place != y.Place || x.Count > 0 || y.Count > 0 {
				continue
			}
			if x.Unknown != "" || y.Unknown != "" {
				if x.Unknown == y.Unknown && (x.Kind == y.Kind || x.Kind == One || y.Kind == One) {
					return name("?"+x.Unknown, x.Place), true
				}
				continue
			}
			if x.nowhere() || y.nowhere() {
				if x.nowhere() && y.nowhere() {
					return name("", x.Place), true
				}
				continue
			}
			// Where neither names a kind, both mean that of the part, whichever
			// it is: numbers are then as good as cylinders.
			k := x.Kind
			if k == One {
				k = y.Kind
			}
			said := k != One
			if !said {
				k = Cylinder
			}
			i, ok := e.common(x, y, k)
			if !ok {
				continue
			}
			if said {
				return name(e.Name(k, i), x.Place), true
			}
			return name(fmt.Sprint(i), x.Place), true
		}
	}
	return "", false
}

// common is the first position of a kind that both spots mean.
func (e Engine) common(x, y Spot, k Kind) (int, bool) {
	if x.Kind == One && y.Kind == One && len(x.Indexes) > 0 && len(y.Indexes) > 0 {
		for _, i := range x.Indexes {
			if slices.Contains(y.Indexes, i) {
				return i, true
			}
		}
		return 0, false
	}
	xs, err := e.Resolve(x, k)
	if err != nil {
		return 0, false
	}
	ys, err := e.Resolve(y, k)
	if err != nil {
		return 0, false
	}
	for _, i := range xs {
		if slices.Contains(ys, i) {
			return i, true
		}
	}
	return 0, false
}
