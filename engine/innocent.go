package engine

import (
	"cmp"
	"slices"

	"tidemark/engine/network"
	"tidemark/rules"
)

// Innocent says why something that is there is not to blame: the first of these that
// holds. Where none does, what is missing between it and what happened is open.
type Innocent struct {
	// Unrelated: nothing in the book leads from it to what happened.
	Unrelated bool `json:"unrelated,omitempty"`
	// Missing is what is most probably not there, and without which it comes to nothing.
	Missing *Missing `json:"missing,omitempty"`
	// Otherwise is the first thing on its way that came about by something else.
	Otherwise *Otherwise `json:"otherwise,omitempty"`
	// Anyway is what would have done it without this.
	Anyway *Anyway `json:"anyway,omitempty"`
}

// Missing is a step on the way of something, or what that needs beside it, that is most
// probably not there.
type Missing struct {
	ID      string  `json:"id"`
	At      string  `json:"at"` // "any" where it is at none of its positions
	Name    string  `json:"name"`
	Present float64 `json:"present"`
	// Beside: it is needed beside what is asked about, and does not follow from it.
	Beside bool `json:"beside,omitempty"`
	// Says are the findings that speak most against it, strongest first.
	Says []Says `json:"says"`
	// Shown: some finding was seen that it shows, all the same.
	Shown bool `json:"shown,omitempty"`
}

// Says is a finding by name.
type Says struct {
	Finding string `json:"finding"`
	Name    string `json:"name"`
	At      string `json:"at"`
	State   string `json:"state"`
}

// Otherwise is a step that came about by something else.
type Otherwise struct {
	ID   string `json:"id"`
	At   string `json:"at"`
	Name string `json:"name"`
	// By is what most probably brought it about; nil where nothing listed stands out.
	By *Needed `json:"by,omitempty"`
}

// Anyway is what would have done it as well.
type Anyway struct {
	ID    string  `json:"id"`
	At    string  `json:"at"`
	Name  string  `json:"name"`
	Acted float64 `json:"acted"`
	Both  float64 `json:"both"` // blame of the two held at once
}

const (
	bystands   = 0.5  // present from which something counts as there
	standsBy   = 0.5  // share of present below which acted or blame is little
	saysAtMost = 3    // findings that are told
	saysFrom   = 3.0  // decibans from which one tells: the first band that speaks of support
	anywayOf   = 8    // candidates tried
	anywayGain = 0.1  // by how much the two together must be more to blame than this alone
	anywayNear = 0.05 // how near to the most that must be to count as good
)

// innocent finds why a candidate that is there is not to blame.
func (a *argument) innocent() error {
	w, h := a.w, a.of
	if a.over != nil || byBlame(h) || !w.g.Asking() || h.Present < bystands || h.Blame >= standsBy*h.Present || h.Blame >= ProbableAt {
		return nil
	}
	in := &Innocent{}
	a.out.Innocent = in
	if len(a.way) == 0 {
		in.Unrelated = true
		return nil
	}
	if h.Acted >= standsBy*h.Present {
		return a.anyway(in)
	}
	for i, way := range a.way {
		for _, it := range w.neededWith(way) {
			if m := w.missing(it); m != nil {
				m.Beside, in.Missing = true, m
				return a.says(m, it)
			}
		}
		if i == len(a.way)-1 { // what happened is there
			break
		}
		if m := w.missing(way.To); m != nil {
			in.Missing = m
			return a.says(m, way.To)
		}
	}
	// All of the way is there, and it did not go by it.
	for _, way := range a.way {
		if w.actedOf(way.From) >= bystands {
			continue
		}
		var by *network.Item
		for _, o := range w.g.Ways(way.To) {
			if o.From.Node != way.From.Node && o.From.Node.Kind != rules.Condition && (by == nil || w.actedOf(o.From) > w.actedOf(by)) {
				by = o.From
			}
		}
		in.Otherwise = &Otherwise{ID: way.To.Node.ID, At: way.To.At, Name: way.To.Node.Name}
		if by != nil && w.actedOf(by) > max(w.actedOf(way.From), SingleFrom) {
			in.Otherwise.By = &Needed{by.Node.ID, by.At, by.Node.Name, string(by.Node.Kind), w.actedOf(by)}
			return nil
		}
		if by == nil { // this is the only way to it: look farther on
			in.Otherwise = nil
			continue
		}
		return nil
	}
	return nil
}

// missing is a thing that is most probably not there, at any of its positions where it
// is at none; nil where it is there.
func (w *work) missing(it *network.Item) *Missing {
	m := &Missing{ID: it.Node.ID, At: it.At, Name: it.Node.Name, Present: w.post.Item(it), Says: []Says{}}
	if m.Present >= bystands {
		return nil
	}
	items := []*network.Item{it}
	if f := w.g.FamilyOf(it.Node); f != nil && w.post.Family(f) < bystands {
		m.At, m.Present, items = "any", w.post.Family(f), f.Items
	}
	m.Shown = len(w.shownBy(items)) > 0
	return m
}

// says finds the findings without which a missing thing would be likelier.
func (a *argument) says(m *Missing, it *network.Item) error {
	w := a.w
	h := &held{items: []*network.Item{it}}
	if m.At == "any" {
		h.family = w.g.FamilyOf(it.Node)
		h.items = h.family.Items
	}
	items, families := itemsOf([]*held{h})
	now := decibans(w.presentIn(w.post, h))
	type told struct {
		id string
		db float64
	}
	ids := w.counted()
	all := make([]told, len(ids))
	if err := each(w.ctx, len(ids), func(i int) error {
		p, err := w.plain.About(w.ctx, map[string]bool{ids[i]: true}, items, families)
		if err == nil {
			all[i] = told{ids[i], decibans(w.presentIn(p, h)) - now}
		}
		return err
	}); err != nil {
		return err
	}
	slices.SortStableFunc(all, func(x, y told) int { return cmp.Compare(y.db, x.db) })
	for _, t := range all {
		if t.db >= saysFrom && len(m.Says) < saysAtMost {
			f := w.findingOut(w.finding(t.id), nil)
			m.Says = append(m.Says, Says{t.id, f.Name, f.At, f.State})
		}
	}
	return nil
}

// anyway finds what would have done it without the candidate.
func (a *argument) anyway(in *Innocent) error {
	w, h := a.w, a.of
	var rivals []*held
	for _, o := range w.named() {
		if o.ID != h.ID && o.Acted >= Screen && !w.related(o, h) {
			rivals = append(rivals, o)
		}
	}
	slices.SortStableFunc(rivals, func(x, y *held) int { return cmp.Compare(y.Acted, x.Acted) })
	rivals = rivals[:min(anywayOf, len(rivals))]
	for _, o := range w.all {
		if o.unlisted && o.Acted >= Screen {
			rivals = append(rivals, o)
		}
	}
	both := make([]float64, len(rivals))
	if err := each(w.ctx, len(rivals), func(i int) (err error) {
		both[i], err = w.g.Blame(w.ctx, network.Test{Items: slices.Concat(h.items, rivals[i].items), Unlisted: rivals[i].unlisted})
		return err
	}); err != nil {
		return err
	}
	// Of those that do as well, the one farthest back: the links of one chain all would.
	most, best := 0.0, -1
	for i, b := range both {
		if b >= h.Blame+anywayGain && b >= rivals[i].Blame+anywayGain {
			most = max(most, b)
		}
	}
	for i, b := range both {
		if most > 0 && b >= most-anywayNear && b >= h.Blame+anywayGain && b >= rivals[i].Blame+anywayGain && (best < 0 || !rivals[i].unlisted && (rivals[best].unlisted || deeper(rivals[i], rivals[best]))) {
			best = i
		}
	}
	if best >= 0 {
		o := rivals[best]
		in.Anyway = &Anyway{o.ID, o.At, o.Name, o.Acted, both[best]}
	}
	return nil
}
