package evidence

import "slices"

// Off tells whether a part is off, wholly or at some position: it came in so,
// the whole engine came in boxes, or the bench log says that it was taken off
// or to pieces.
func (c *Case) Off(part string) bool {
	if c.Received.State == "in boxes" {
		return true
	}
	return slices.ContainsFunc(c.Received.Off, func(p PartRef) bool { return p.Part == part }) ||
		slices.ContainsFunc(c.Acts, func(a Act) bool { return a.Part == part && (a.Kind == ActOff || a.Kind == ActPart) })
}

// Done tells whether the bench log has an act of this kind on a part, and
// which is the first in time: what an act destroys is gone after the first.
func (c *Case) Done(kind ActKind, part string) (actID string, ok bool) {
	if !slices.ContainsFunc(c.Acts, func(a Act) bool { return a.Kind == kind && a.Part == part }) {
		return "", false
	}
	for _, a := range c.Log() {
		if a.Kind == kind && a.Part == part {
			return a.ID, true
		}
	}
	return "", false
}

// Log is the bench log in the order in which the acts were done: that of the
// file, unless something said of before and after runs against it.
func (c *Case) Log() []Act {
	return c.inOrder(c.saidOrder())
}

// Before tells whether entry a came before entry b, by what entries say of
// each other and by the order of the bench log; known is false where nothing
// says. Findings of one look were made at one time, so that what is said of
// one holds for all. Of itself, an entry says neither.
func (c *Case) Before(a, b string) (before, known bool) {
	t := c.timeline()
	switch {
	case t.point(a) == t.point(b):
		return false, false
	case t.reach(a)[t.point(b)]:
		return true, true
	case t.reach(b)[t.point(a)]:
		return false, true
	}
	return false, false
}
