package evidence

import "slices"

// Off tells whether a part is off: it came in so, or the bench log says it was
// taken off or to pieces.
func (c *Case) Off(part string) bool {
	if slices.ContainsFunc(c.Received.Off, func(p PartRef) bool { return p.Part == part }) {
		return true
	}
	return slices.ContainsFunc(c.Acts, func(a Act) bool { return a.Part == part && (a.Kind == ActOff || a.Kind == ActPart) })
}

// Done tells whether the bench log has an act of this kind on a part, and
// which is the first.
func (c *Case) Done(kind ActKind, part string) (id string, ok bool) {
	for _, a := range c.Acts {
		if a.Kind == kind && a.Part == part {
			return a.ID, true
		}
	}
	return "", false
}

// Before tells whether entry a came before entry b, by what the entries say of
// each other and by the order of acts in the bench log; known is false where
// nothing says.
func (c *Case) Before(a, b string) (before, known bool) {
	next := map[string][]string{}
	add := func(id string, o Order) {
		for _, x := range o.After {
			next[x] = append(next[x], id)
		}
		next[id] = append(next[id], o.Before...)
	}
	for _, f := range c.Findings {
		add(f.ID, f.Order)
	}
	for _, r := range c.Readings {
		add(r.ID, r.Order)
	}
	for _, w := range c.Works {
		add(w.ID, w.Order)
	}
	for i, x := range c.Acts {
		add(x.ID, x.Order)
		if i+1 < len(c.Acts) && len(c.Acts[i+1].After)+len(c.Acts[i+1].Before) == 0 {
			next[x.ID] = append(next[x.ID], c.Acts[i+1].ID)
		}
	}
	reaches := func(from, to string) bool {
		seen := map[string]bool{from: true}
		for queue := []string{from}; len(queue) > 0; queue = queue[1:] {
			for _, n := range next[queue[0]] {
				if n == to {
					return true
				}
				if !seen[n] {
					seen[n] = true
					queue = append(queue, n)
				}
			}
		}
		return false
	}
	switch {
	case reaches(a, b):
		return true, true
	case reaches(b, a):
		return false, true
	}
	return false, false
}
