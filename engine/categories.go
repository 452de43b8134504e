package engine

import (
	"cmp"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/rules"
)

// CategoryBlame is the blame of all causes of one kind held at once: how likely it is
// that with no cause of this kind there the outcome would not have happened. Where
// causes of two kinds were needed together both bear all of it, so these do not add
// up to 1.
type CategoryBlame struct {
	Category string      `json:"category"` // of ISO 14224, as rules.Categories
	Name     string      `json:"name"`
	Blame    float64     `json:"blame"`
	Leads    []Candidate `json:"leads"` // its causes most to blame, three at most
}

// CategoryName is a cause category as a sentence names it.
func CategoryName(id string) string {
	switch id {
	case "assembly":
		return "assembly or repair"
	case "external":
		return "from outside the engine"
	case rules.Artefact:
		return "made after"
	}
	return id
}

// categories works out the blame of each kind of cause.
func (w *work) categories() error {
	w.d.Categories = []CategoryBlame{}
	if !w.g.Asking() {
		return nil
	}
	var kinds []CategoryBlame
	for _, id := range rules.Categories {
		if id == rules.Artefact || len(w.ofKind(id)) == 0 {
			continue
		}
		k := CategoryBlame{Category: id, Name: CategoryName(id), Leads: []Candidate{}}
		for _, h := range w.named() {
			if h.items[0].Node.Kind == rules.Cause && h.Category == id && h.Blame >= 0.01 && len(k.Leads) < 3 {
				k.Leads = append(k.Leads, w.face(h, 0).Candidate)
			}
		}
		kinds = append(kinds, k)
	}
	if err := each(w.ctx, len(kinds), func(i int) (err error) {
		kinds[i].Blame, err = w.blameOfKind(w.g, kinds[i].Category)
		return err
	}); err != nil {
		return err
	}
	w.d.Categories = slices.DeleteFunc(kinds, func(k CategoryBlame) bool { return k.Blame < 0.005 })
	slices.SortStableFunc(w.d.Categories, func(a, b CategoryBlame) int {
		return cmp.Or(cmp.Compare(b.Blame, a.Blame), strings.Compare(a.Category, b.Category))
	})
	return nil
}

// ofKind are the causes of a category from which anything runs to the outcome.
func (w *work) ofKind(category string) []*network.Item {
	var out []*network.Item
	for _, it := range w.g.Items {
		if _, ok := w.depths[it]; ok && it.Node.Kind == rules.Cause && it.Node.Category == category {
			out = append(out, it)
		}
	}
	return out
}

// blameOfKind is the blame of all causes of a category held at once, with the findings
// of a ground. Of causes of which no rule is kept in the model, the share that
// they may have in the step through which most comes of them is added.
func (w *work) blameOfKind(g *network.Ground, category string) (float64, error) {
	var kept []*network.Item
	for _, it := range w.ofKind(category) {
		if g.Kept(it) {
			kept = append(kept, it)
		}
	}
	none := 1.0
	if len(kept) > 0 {
		b, err := g.Blame(w.ctx, network.Test{Items: kept, Many: true})
		if err != nil {
			return 0, err
		}
		none = 1 - b
	}
	for _, it := range w.ofKind(category) {
		if !g.Kept(it) {
			if step, share := w.g.Passage(it); step != nil {
				none *= 1 - share*w.blameOf(step)
			}
		}
	}
	// More is left out where many are held at once; one of them, which was worked out with
	// all findings, is no more to blame than all.
	most := 0.0
	for _, h := range w.all {
		if g == w.g && !h.unlisted && h.items[0].Node.Kind == rules.Cause && h.Category == category {
			most = max(most, h.Blame)
		}
	}
	return max(most, 1-none), nil
}
