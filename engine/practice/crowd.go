package practice

import (
	"math/rand/v2"
	"slices"
	"strings"

	"tidemark/engine/network"
	"tidemark/evidence"
	"tidemark/rules"
)

// crowd is many worlds of one engine in which one thing happened: the frequencies of
// anything among them are its probabilities. They are drawn exactly by the book.
type crowd struct {
	s      *network.Sampler
	views  []network.View
	signs  []*rules.Sign
	of     map[*rules.Sign][]int // views of a sign
	worlds []*network.World
	truths []Truth
	prior  []float64 // by world: for how many it stands
	label  []int     // by world: which of labels its truth is
	labels []string
	chance [][]float32             // by view and world: how likely a look finds the sign
	any    [][]float32             // by sign and world: how likely it is found anywhere
	tells  []int                   // signs that tell anything, by number
	usual  map[*rules.Sign]float64 // how likely a sign is found anywhere
}

// gather draws a crowd of n worlds, with no more than so many tries in all.
func gather(book *rules.Book, c *evidence.Case, rng *rand.Rand, n, tries int) (*crowd, error) {
	cr, err := noCrowd(book, c)
	if err != nil {
		return nil, err
	}
	if err := cr.draw(rng, n, tries); err != nil {
		return nil, err
	}
	cr.fill()
	return cr, nil
}

// noCrowd is a crowd of no worlds yet.
func noCrowd(book *rules.Book, c *evidence.Case) (*crowd, error) {
	s, err := network.NewSampler(book, c)
	if err != nil {
		return nil, err
	}
	cr := &crowd{s: s, views: s.Views(), of: map[*rules.Sign][]int{}}
	for i, v := range cr.views {
		if cr.of[v.Sign] == nil {
			cr.signs = append(cr.signs, v.Sign)
		}
		cr.of[v.Sign] = append(cr.of[v.Sign], i)
	}
	return cr, nil
}

// draw adds n worlds by the book.
func (c *crowd) draw(rng *rand.Rand, n, tries int) error {
	for i := range n {
		// A world that takes longer than most is no reason to give up.
		w, err := c.s.Draw(rng, max(1, 8*tries/n))
		if err == nil && i == 20 && c.s.Chance() < float64(n)/float64(tries) {
			err = network.ErrNever
		}
		if err != nil {
			return err
		}
		c.add(w, truthOf(c.s.Ground(), w), 1)
	}
	return nil
}

// add adds a world that stands for so many.
func (c *crowd) add(w *network.World, t Truth, stands float64) {
	c.worlds, c.truths, c.prior = append(c.worlds, w), append(c.truths, t), append(c.prior, stands)
}

// fill works out what looks find in the worlds.
func (c *crowd) fill() {
	at := map[string]int{}
	for _, t := range c.truths {
		key := t.key()
		if _, ok := at[key]; !ok {
			at[key] = len(c.labels)
			c.labels = append(c.labels, key)
		}
		c.label = append(c.label, at[key])
	}
	c.chance, c.any = columns(len(c.views), len(c.worlds)), columns(len(c.signs), len(c.worlds))
	// So many worlds at a time as fill a line of the processor's cache: columns are long.
	const line = 16
	var full [line][]float64
	for i := 0; i < len(c.worlds); i += line {
		n := min(line, len(c.worlds)-i)
		for j := range n {
			full[j] = c.worlds[i+j].Chances(full[j])
		}
		for k := range c.views {
			column := c.chance[k][i : i+n]
			for j := range column {
				column[j] = float32(full[j][k])
			}
		}
		for k, sign := range c.signs {
			column := c.any[k][i : i+n]
			for j := range column {
				none := 1.0
				for _, v := range c.of[sign] {
					none *= 1 - full[j][v]
				}
				column[j] = float32(1 - none)
			}
		}
	}
	for k := range c.signs {
		c.tells = append(c.tells, k)
	}
	bits := c.bits(c.prior, func(*rules.Sign) bool { return false })
	c.tells = slices.DeleteFunc(c.tells, func(k int) bool { return bits[k] < tellsNothing })
}

// usually works out how likely signs are to be found, from some of the worlds.
func (c *crowd) usually() {
	const some = 400
	c.usual = make(map[*rules.Sign]float64, len(c.signs))
	n := min(some, len(c.worlds))
	var full []float64
	for _, w := range c.worlds[:n] {
		full = w.Chances(full)
		for _, sign := range c.signs {
			none := 1.0
			for _, v := range c.of[sign] {
				none *= 1 - full[v]
			}
			c.usual[sign] += (1 - none) / float64(n)
		}
	}
}

// A sign that tells less than this at the start, in bits, tells next to nothing later:
// what lies behind the outcome is then hardly known, and it would have told.
const tellsNothing = 5e-4

func columns(n, each int) [][]float32 {
	all := make([]float32, n*each)
	out := make([][]float32, n)
	for i := range out {
		out[i] = all[i*each : (i+1)*each : (i+1)*each]
	}
	return out
}

// share is how often a thing is so among the worlds, by these weights.
func (c *crowd) share(weight []float64, so func(t *Truth) bool) float64 {
	sum, all := 0.0, 0.0
	for i, w := range weight {
		if w == 0 {
			continue
		}
		all += w
		if so(&c.truths[i]) {
			sum += w
		}
	}
	if all == 0 {
		return 0
	}
	return sum / all
}

// even weighs each world by how many it stands for, and one that is left out by none.
func (c *crowd) even(without int) []float64 {
	out := slices.Clone(c.prior)
	if without >= 0 {
		out[without] = 0
	}
	return out
}

// learn weighs worlds by how well they fit what a look found.
func (c *crowd) learn(weight []float64, found []Found) {
	for _, f := range found {
		if f.view < 0 {
			continue
		}
		for i := range weight {
			if weight[i] == 0 {
				continue
			}
			if p := float64(c.chance[f.view][i]); f.Seen {
				weight[i] *= p
			} else {
				weight[i] *= 1 - p
			}
		}
	}
	most := 0.0
	for _, w := range weight {
		most = max(most, w)
	}
	if most == 0 {
		return
	}
	for i := range weight {
		if weight[i] /= most; weight[i] < 1e-10 {
			weight[i] = 0 // it would never come back
		}
	}
}

// bits is how much a look at each sign is expected to tell of the truth.
func (c *crowd) bits(weight []float64, asked func(*rules.Sign) bool) []float64 {
	out := make([]float64, len(c.signs))
	byLabel, seen := make([]float64, len(c.labels)), make([]float64, len(c.labels))
	all := 0.0
	type fit struct {
		world, label int
		weight       float64
	}
	var live []fit
	for i, w := range weight {
		if w > 1e-6 { // what fits a million times worse than the best says nothing
			live = append(live, fit{i, c.label[i], w})
			byLabel[c.label[i]] += w
			all += w
		}
	}
	if all == 0 {
		return out
	}
	var labels []int
	for l, w := range byLabel {
		if w > 0 {
			labels = append(labels, l)
		}
	}
	for _, k := range c.tells {
		if asked(c.signs[k]) {
			continue
		}
		clear(seen)
		p := 0.0
		for _, f := range live {
			x := f.weight * float64(c.any[k][f.world])
			seen[f.label] += x
			p += x
		}
		out[k] = uncertain(p / all)
		for _, l := range labels {
			out[k] -= byLabel[l] / all * uncertain(seen[l]/byLabel[l])
		}
	}
	return out
}

// entropies are those of a yes or no at even steps of its chance.
var entropies = func() (t [4097]float64) {
	for i := range t {
		t[i] = entropy(float64(i) / float64(len(t)-1))
	}
	return t
}()

// uncertain is the entropy of a yes or no, in bits, between two steps of the table: to a
// millionth of a bit from a chance of 1 in 100 on, which is finer than any crowd.
func uncertain(p float64) float64 {
	x := p * float64(len(entropies)-1)
	i := int(x)
	if i < 0 || i >= len(entropies)-1 {
		return 0
	}
	return entropies[i] + (x-float64(i))*(entropies[i+1]-entropies[i])
}

// How a truth stands.
const (
	Alone      = "alone"       // one cause was to blame
	BothNeeded = "both needed" // without any one of them it would not have happened
	EitherDid  = "either did"  // any of them would have done by itself
	NotListed  = "not listed"  // something that the book does not list had to do with it
)

// Truth is what was so in a world.
type Truth struct {
	How string `json:"how"`
	// Right are the causes that are a right answer, by id, sorted.
	Right []string `json:"right"`
	// There are the causes and steps that were there, in the order of the book.
	There []Present `json:"there"`
	// Ways are the ways that it went, from a right cause to before the outcome.
	Ways [][]string `json:"ways"`
}

// Present is a cause or step that was there.
type Present struct {
	Node  *rules.Node `json:"-"`
	ID    string      `json:"id"`
	At    []string    `json:"at"`
	Acted bool        `json:"acted"`
	Blame bool        `json:"blame"`
}

func (t *Truth) key() string { return t.How + " " + strings.Join(t.Right, " ") }

// IsRight tells whether a cause is a right answer.
func (t *Truth) IsRight(id string) bool { return slices.Contains(t.Right, id) }

// apart counts the causes that were there and had nothing to do with it, and those
// of them that were not there while it ran.
func (t *Truth) apart() (all, after int) {
	for _, p := range t.There {
		if p.Node.Kind != rules.Cause || p.Acted {
			continue
		}
		all++
		if p.Node.Category == rules.Artefact {
			after++
		}
	}
	return all, after
}

// truthOf takes causes away and lets the world run again.
func truthOf(g *network.Ground, w *network.World) Truth {
	t := Truth{Right: []string{}, There: []Present{}, Ways: [][]string{}}
	links := w.Links()
	acted := map[*rules.Node]bool{}
	for _, l := range links {
		acted[l.From.Node] = true
	}
	asked, _ := g.Asked()
	var causes []*rules.Node
	at := map[*rules.Node]int{}
	for _, it := range g.Items {
		n := it.Node
		if !w.There(it) || n.Kind == rules.Condition || n == asked {
			continue
		}
		k, ok := at[n]
		if !ok {
			k = len(t.There)
			at[n] = k
			t.There = append(t.There, Present{Node: n, ID: n.ID, At: []string{}, Acted: acted[n]})
			if acted[n] {
				t.There[k].Blame = !w.Happens(g.ItemsOf(n), false)
				if n.Kind == rules.Cause {
					causes = append(causes, n)
				}
			}
		}
		if it.At != "" {
			t.There[k].At = append(t.There[k].At, it.At)
		}
	}
	var alone []string
	for _, n := range causes {
		if t.There[at[n]].Blame {
			alone = append(alone, n.ID)
		}
	}
	unlisted := !w.Happens(nil, true)
	switch {
	case unlisted:
		t.How, t.Right = NotListed, append(t.Right, alone...)
	case len(alone) == 1:
		t.How, t.Right = Alone, alone
	case len(alone) > 1:
		t.How, t.Right = BothNeeded, alone
	default:
		// Two that would each have done; else all that acted, if they did it.
		t.How = EitherDid
		pair := map[string]bool{}
		for i, a := range causes {
			for _, b := range causes[:i] {
				if !w.Happens(slices.Concat(g.ItemsOf(a), g.ItemsOf(b)), false) {
					pair[a.ID], pair[b.ID] = true, true
				}
			}
		}
		for _, n := range causes {
			if pair[n.ID] || len(pair) == 0 {
				t.Right = append(t.Right, n.ID)
			}
		}
		if len(t.Right) == 0 || len(pair) == 0 && w.Happens(itemsOf(g, causes), false) {
			t.How = NotListed
		}
	}
	slices.Sort(t.Right)
	t.Ways = ways(links, t.Right, asked)
	return t
}

func itemsOf(g *network.Ground, nodes []*rules.Node) []*network.Item {
	var out []*network.Item
	for _, n := range nodes {
		out = append(out, g.ItemsOf(n)...)
	}
	return out
}

// mostWays bounds how many ways are listed; what goes on at many cylinders goes many
// ways that are the same in words.
const mostWays = 60

// ways lists the ways in which causes led to the outcome, as ids without it.
func ways(links []network.Link, from []string, asked *rules.Node) [][]string {
	next := map[string][]string{}
	for _, l := range links {
		a, b := l.From.Node.ID, l.To.Node.ID
		if l.From.Node.Kind != rules.Condition && a != b && !slices.Contains(next[a], b) {
			next[a] = append(next[a], b)
		}
	}
	out := [][]string{}
	var walk func(way []string)
	walk = func(way []string) {
		for _, n := range next[way[len(way)-1]] {
			switch {
			case len(out) >= mostWays:
				return
			case n == asked.ID:
				out = append(out, slices.Clone(way))
			case !slices.Contains(way, n):
				walk(append(slices.Clone(way), n))
			}
		}
	}
	for _, id := range from {
		walk([]string{id})
	}
	return out
}
