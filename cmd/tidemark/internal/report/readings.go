package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/evidence"
	"tidemark/rules"
)

// ReadingsSchema names the shape of ReadingsJSON.
const ReadingsSchema = "tidemark.readings/1"

// ReadingsJSON is all that was measured in a case.
type ReadingsJSON struct {
	Schema      string              `json:"schema"`
	Case        string              `json:"case"`
	Readings    []engine.ReadingOut `json:"readings"`
	Comparisons []engine.SignOut    `json:"comparisons"` // signs that hold readings against each other
	Left        []engine.LeftOut    `json:"left"`        // kept, and nothing comes of them
}

// Readings writes what was measured as a table, quantity by quantity.
func Readings(w io.Writer, c *evidence.Case, t *measure.Table, o Options) error {
	p := newPage(w, o)
	head := strings.TrimSpace(strings.Join(nonEmpty(c.ID, c.Title, c.Engine.Text("name")), " · "))
	if head == "" {
		head = "a case with no name"
	}
	if o.Example {
		head = "Built-in example: " + head
	}
	p.line("", "", "%s", head)
	if len(c.Readings) == 0 {
		p.gap()
		p.line("", "", "Nothing was measured. A reading looks like this; tidemark quantities finds the names:")
		p.raw("\n  [reading.R01]\n  of = \"rod_journal.diameter\"\n  at = \"rod 3\"\n  value = \"59.94 mm\"\n")
		return p.close()
	}
	r := &readings{p, t}
	known := slices.DeleteFunc(slices.Clone(t.Values), func(v measure.Value) bool { return !v.Known })
	part := ""
	for i := 0; i < len(known); {
		j := i
		for j < len(known) && known[j].Quantity == known[i].Quantity {
			j++
		}
		if name := known[i].Quantity.Part.Name; name != part {
			part = name
			p.head("%s", name)
		}
		r.group(known[i:j])
		i = j
	}
	r.comparisons()
	r.wanting()
	r.left()
	r.foot()
	return p.close()
}

type readings struct {
	*page
	t *measure.Table
}

// The in-line chart takes so many characters, and no fewer than the other: then it is
// left out.
const (
	chartWidth    = 17
	narrowestPlot = 9
)

// group writes the values of one quantity.
func (r *readings) group(values []measure.Value) {
	q := values[0].Quantity
	shared := sameLimit(values)
	title := upperFirst(q.Name)
	if shared != "" {
		title += ": " + shared
	}
	r.line("", "    ", "%s", title)
	chart := newChart(values)
	type row struct{ by, at, value, margin, chart, what string }
	var rows []row
	var wide row
	grow := func(into *string, s string) {
		if utf8.RuneCountInString(s) > utf8.RuneCountInString(*into) {
			*into = s
		}
	}
	for _, v := range values {
		x := row{by: readingIDs(v), at: v.At, value: v.Shown()}
		if v.Derived {
			x.value += " *"
		}
		if si, sigmas, ok := v.Margin(); ok {
			x.margin = margin(v, si, sigmas)
		}
		if shared == "" {
			x.what = limitText(v)
		}
		if d := measure.Dispose(v); d != nil {
			x.what = strings.Join(nonEmpty(x.what, plainWords(d)), "; ")
		}
		if len(v.Notes) > 0 {
			x.what = strings.Join(nonEmpty(x.what, strings.Join(v.Notes, "; ")), "; ")
		}
		rows = append(rows, x)
		grow(&wide.by, x.by)
		grow(&wide.at, x.at)
		grow(&wide.value, x.value)
		grow(&wide.margin, x.margin)
	}
	// Where the line has no room for it, the chart goes first.
	used := 2
	for _, w := range []string{wide.by, wide.at, wide.value, wide.margin} {
		if w != "" {
			used += utf8.RuneCountInString(w) + 2
		}
	}
	if cells := min(chartWidth, r.width-used); cells >= narrowestPlot {
		for i, v := range values {
			rows[i].chart = chart.line(v, cells)
			grow(&wide.chart, rows[i].chart)
		}
	}
	for _, x := range rows {
		line := "  "
		for _, cell := range []struct{ s, wide string }{{x.by, wide.by}, {x.at, wide.at}, {x.value, wide.value}, {x.margin, wide.margin}, {x.chart, wide.chart}} {
			if cell.wide != "" {
				line += pad(cell.s, utf8.RuneCountInString(cell.wide)) + "  "
			}
		}
		line = strings.TrimRight(line, " ")
		switch n := utf8.RuneCountInString(line); {
		case n > r.width:
			r.line("  ", "      ", "%s", strings.Join(nonEmpty(x.by, x.at, x.value, x.margin, x.what), " · "))
		case x.what == "":
			r.raw(line + "\n")
		case n+2+utf8.RuneCountInString(x.what) <= r.width:
			r.raw(line + "  " + x.what + "\n")
		default:
			r.raw(line + "\n")
			r.line("      ", "      ", "%s", x.what)
		}
	}
}

// readingIDs are the readings of which a value comes, by their numbers: at most three.
func readingIDs(v measure.Value) string {
	const most = 3
	if len(v.Readings) > most {
		return strings.Join(v.Readings[:most-1], " ") + fmt.Sprintf(" +%d", len(v.Readings)-most+1)
	}
	return strings.Join(v.Readings, " ")
}

func pad(s string, n int) string {
	return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
}

// plainWords are the words of a disposition without what the heading says.
func plainWords(d *measure.Disposition) string {
	return strings.TrimSuffix(d.Words, " ("+measure.RuleOfThumb+")")
}

func margin(v measure.Value, si, sigmas float64) string {
	u, digits := v.Quantity.Shown(v.Inches)
	side := "inside"
	if si < 0 {
		side = "under"
		if b := v.Limit.Upper; b != nil && v.SI > b.SI {
			side = "over"
		}
	}
	text := u.ShowDifference(math.Abs(si), digits)
	// What covers 95 in 100 of it: of the value and of the limit, where that is in doubt.
	if sigmas != 0 && !math.IsInf(sigmas, 0) {
		if doubt := u.ShowDifference(1.96*math.Abs(si/sigmas), digits); doubt != u.ShowDifference(0, digits) {
			text = strings.TrimSuffix(strings.TrimSuffix(text, u.Symbol), " ") + " ± " + strings.TrimLeft(doubt, " ")
		}
	}
	text += " " + side
	switch a := math.Abs(sigmas); {
	case math.IsInf(a, 0):
	case a >= 99.5:
		text += ", >99 u"
	case a >= 9.95:
		text += fmt.Sprintf(", %.0f u", a)
	default:
		text += fmt.Sprintf(", %.1f u", a)
	}
	return text
}

// limitText is the limit of one value: "least 67.930 mm (maker's manual, service)".
func limitText(v measure.Value) string {
	u, digits := v.Quantity.Shown(v.Inches)
	l := v.Limit
	var sides []string
	if l.Lower != nil {
		sides = append(sides, "least "+u.Show(l.Lower.SI, digits))
	}
	if l.Upper != nil {
		sides = append(sides, "most "+u.Show(l.Upper.SI, digits))
	}
	if len(sides) == 0 {
		return ""
	}
	return fmt.Sprintf("%s (%s)", strings.Join(sides, ", "), strings.Join(nonEmpty(l.Whose(), l.For), ", "))
}

// sameLimit is the limit that all values have, if they have the same.
func sameLimit(values []measure.Value) string {
	text := limitText(values[0])
	for _, v := range values {
		if limitText(v) != text {
			return ""
		}
	}
	return text
}

// chart draws values of one quantity on one scale, so that the odd one out shows.
type chart struct {
	low, high float64
	limits    []float64
	none      bool
}

func newChart(values []measure.Value) chart {
	c := chart{low: math.Inf(1), high: math.Inf(-1)}
	n := 0
	for _, v := range values {
		if !v.Known || v.Code != nil {
			continue
		}
		n++
		c.low, c.high = min(c.low, v.SI), max(c.high, v.SI)
		for _, b := range []*measure.Bound{v.Limit.Lower, v.Limit.Upper} {
			if b != nil {
				c.low, c.high = min(c.low, b.SI), max(c.high, b.SI)
				if !slices.Contains(c.limits, b.SI) {
					c.limits = append(c.limits, b.SI)
				}
			}
		}
	}
	c.none = n < 2 || c.high <= c.low
	if len(c.limits) > 2 {
		c.limits = nil // each has its own: lines would only confuse
	}
	return c
}

// line is the chart of one value in so many characters: a line for each limit, o for the value inside, X
// for one beyond.
func (c chart) line(v measure.Value, width int) string {
	if c.none || !v.Known {
		return ""
	}
	cells := []byte(strings.Repeat(".", width))
	at := func(x float64) int {
		return min(width-1, max(0, int(math.Round((x-c.low)/(c.high-c.low)*float64(width-1)))))
	}
	for _, l := range c.limits {
		cells[at(l)] = '|'
	}
	mark := byte('o')
	if si, _, ok := v.Margin(); ok && si < 0 {
		mark = 'X'
	}
	cells[at(v.SI)] = mark
	return string(cells)
}

// comparisons tells the signs that hold readings against each other.
func (r *readings) comparisons() {
	var told []measure.Result
	others := 0
	for _, x := range r.t.Tests {
		if x.Sign.Test != nil && x.Sign.Test.Of != nil {
			continue
		}
		if x.Beyond < 0.05 {
			others++
			continue
		}
		told = append(told, x)
	}
	if len(told)+others == 0 {
		return
	}
	r.head("held against each other")
	slices.SortStableFunc(told, func(a, b measure.Result) int {
		switch {
		case a.Beyond > b.Beyond:
			return -1
		case a.Beyond < b.Beyond:
			return 1
		}
		return 0
	})
	for _, x := range told {
		at := ""
		if x.At != "" {
			at = " (" + x.At + ")"
		}
		r.line("  ", "      ", "%s%s: %s; %s.", upperFirst(x.Sign.Title()), at, Percent(x.Beyond), x.Note)
	}
	switch {
	case others == 0:
	case len(told) == 0:
		r.line("  ", "      ", "%s that these readings allow, and %s anything.", Count(others, "comparison", "comparisons"), map[bool]string{true: "it does not show", false: "none of them shows"}[others == 1])
	default:
		r.line("  ", "      ", "%s that these readings allow %s nothing.", Count(others, "other comparison", "other comparisons"), map[bool]string{true: "shows", false: "show"}[others == 1])
	}
}

// wanting tells what could be worked out from what was read with a little more.
func (r *readings) wanting() {
	first := true
	for i, v := range r.t.Values {
		if v.Known || i > 0 && !r.t.Values[i-1].Known && r.t.Values[i-1].Quantity == v.Quantity {
			continue
		}
		if first {
			r.head("could be worked out, and wants")
			first = false
		}
		var at []string
		for _, o := range r.t.Values[i:] {
			if o.Quantity == v.Quantity && !o.Known && o.At != "" {
				at = append(at, o.At)
			}
		}
		where := ""
		if len(at) > 0 {
			where = " (" + and(at) + ")"
		}
		missing := strings.Join(v.Missing, "; ")
		if len(at) > 1 {
			missing = strings.ReplaceAll(missing, ", "+at[0], "")
		}
		r.line("  ", "      ", "%s%s: %s.", upperFirst(v.Quantity.Title()), where, missing)
	}
}

func (r *readings) left() {
	if len(r.t.Left) == 0 {
		return
	}
	r.head("kept, and nothing comes of it")
	for i := 0; i < len(r.t.Left); {
		j := i
		var ids []string
		for ; j < len(r.t.Left) && r.t.Left[j].Why == r.t.Left[i].Why; j++ {
			ids = append(ids, r.t.Left[j].Reading)
		}
		r.line("  ", "      ", "%s: %s.", strings.Join(ids, ", "), r.t.Left[i].Why)
		i = j
	}
}

func (r *readings) foot() {
	r.gap()
	derived, limited := false, false
	for _, v := range r.t.Values {
		derived = derived || v.Derived && v.Known
		_, _, ok := v.Margin()
		limited = limited || ok
	}
	words := []string{"± covers 95 in 100."}
	if limited {
		words = []string{"± covers 95 in 100; that of a margin takes in the doubt of the limit.", "u: standard uncertainties."}
	}
	if derived {
		words = append(words, "*: worked out from readings.")
	}
	words = append(words, "What to do with a part goes by what was measured of it alone, and the maker's manual goes before it.")
	r.line("", "", "%s", strings.Join(words, " "))
}

// QuantityInfo is a quantity as JSON.
type QuantityInfo struct {
	ID         string      `json:"id"`
	Name       string      `json:"name"`
	Also       []string    `json:"also"`
	Part       string      `json:"part"`
	Per        string      `json:"per"`
	Unit       string      `json:"unit"`
	Kind       string      `json:"kind"`
	Look       string      `json:"look,omitempty"`
	Minutes    float64     `json:"minutes"`
	Instrument string      `json:"instrument,omitempty"`
	Formula    string      `json:"formula,omitempty"`
	Because    string      `json:"because,omitempty"`
	Limits     []LimitInfo `json:"limits"`
	Signs      []string    `json:"signs"` // that it may amount to
	Rework     string      `json:"rework,omitempty"`
	Caution    string      `json:"caution,omitempty"`
	Source     string      `json:"source,omitempty"`
}

// LimitInfo is a rule of the trade as JSON.
type LimitInfo struct {
	Min    string `json:"min,omitempty"`
	Max    string `json:"max,omitempty"`
	For    string `json:"for,omitempty"`
	When   string `json:"when,omitempty"`
	Source string `json:"source"`
}

// QuantityJSON turns a quantity into its JSON shape.
func QuantityJSON(b *rules.Book, q *rules.Quantity) QuantityInfo {
	out := QuantityInfo{ID: q.ID, Name: q.Title(), Also: append([]string{}, q.Also...), Part: q.Part.ID, Per: string(q.Part.Per), Unit: q.Unit, Kind: string(q.Kind),
		Look: q.Look, Minutes: q.Minutes, Because: q.Because, Rework: q.Rework, Caution: q.Caution, Source: q.Source, Limits: []LimitInfo{}, Signs: []string{}}
	if q.Instrument != nil {
		out.Instrument = q.Instrument.ID
	}
	if q.Formula != nil {
		out.Formula = q.Formula.Text
	}
	for _, l := range q.Limits {
		i := LimitInfo{For: l.For, Source: l.Source}
		if l.Min != nil {
			i.Min = plainText(l.Min)
		}
		if l.Max != nil {
			i.Max = plainText(l.Max)
		}
		if l.When != nil {
			i.When = l.When.Text
		}
		out.Limits = append(out.Limits, i)
	}
	for _, s := range signsOf(b, q) {
		out.Signs = append(out.Signs, s.ID)
	}
	return out
}

// plainText is a formula as one reads it: a mere value has no quotes.
func plainText(f *rules.Formula) string {
	if t := strings.Trim(f.Text, `"'`); len(f.Uses) == 0 && !strings.ContainsAny(t, `"'`) {
		return t
	}
	return f.Text
}

// signsOf lists the signs that a quantity may amount to.
func signsOf(b *rules.Book, q *rules.Quantity) []*rules.Sign {
	var out []*rules.Sign
	for _, s := range b.Signs {
		if s.Trend == q || s.Test != nil && slices.Contains(s.Test.Quantities(), q) {
			out = append(out, s)
		}
	}
	return out
}

// QuantityList writes one quantity a line, by part.
func QuantityList(w io.Writer, list []*rules.Quantity, o Options) error {
	p := newPage(w, o)
	part := ""
	for _, q := range list {
		if q.Part.ID != part {
			if part != "" {
				p.gap()
			}
			part = q.Part.ID
			p.line("", "  ", "%s", upperFirst(q.Part.Name))
		}
		unit := q.Unit
		if q.Kind == rules.CodeKind {
			unit = "a code"
		}
		worked := ""
		if q.Formula != nil {
			worked = ", worked out from other readings"
		}
		p.line("  ", "      ", "%s: %s, in %s%s", q.ID, q.Name, unit, worked)
	}
	return p.close()
}

// QuantityCard writes one quantity whole.
func QuantityCard(w io.Writer, b *rules.Book, q *rules.Quantity, o Options) error {
	p := newPage(w, o)
	p.line("", "  ", "%s (%s)", upperFirst(q.Title()), q.ID)
	p.also("also called", q.Also)
	if q.Look != "" {
		p.line("  ", "  ", "%s", sentence(q.Look))
		p.line("  ", "  ", "Takes %.0f min once it can be reached.", q.Minutes)
	}
	if q.Formula != nil {
		p.line("  ", "  ", "Worked out: %s. %s [%s]", q.Formula.Text, sentence(q.Because), q.Source)
	}
	if len(q.Part.Places) > 0 {
		p.line("  ", "  ", "Places on it: %s.", strings.Join(q.Part.Places, ", "))
	}
	if i := q.Instrument; i != nil {
		p.line("  ", "  ", "Taken with: %s, unless the reading says otherwise; %s. [%s]", i.Name, trust(i, q), i.Source)
	}
	if q.Caution != "" {
		p.line("  ", "  ", "Caution: %s", sentence(q.Caution))
	}
	if len(q.Limits) > 0 {
		p.gap()
		p.line("", "  ", "Held against, where no maker's value is given (rules of thumb)")
		for _, l := range q.Limits {
			var sides []string
			if l.Min != nil {
				sides = append(sides, "least "+plainText(l.Min))
			}
			if l.Max != nil {
				sides = append(sides, "most "+plainText(l.Max))
			}
			when := ""
			if l.When != nil {
				when = ", when " + l.When.Text
			}
			p.line("  ", "      ", "%s%s. [%s]", strings.Join(sides, ", "), when, l.Source)
		}
	}
	if signs := signsOf(b, q); len(signs) > 0 {
		p.gap()
		p.line("", "  ", "May amount to")
		for _, s := range signs {
			what := "rising"
			if s.Test != nil {
				what = s.Test.Text
			}
			p.line("  ", "      ", "%s (%s): %s", s.Title(), s.ID, what)
		}
	}
	return p.close()
}

// trust tells how far a tool can be trusted, in the unit of a quantity.
func trust(i *rules.Instrument, q *rules.Quantity) string {
	u, digits := q.Shown(false)
	show := func(a rules.Amount) string {
		if a.Share {
			return fmt.Sprintf("%.2g %% of the value", 100*a.Value)
		}
		return strings.TrimSpace(u.ShowDifference(a.Value, digits+1))
	}
	var out []string
	if i.Repeat.Value > 0 {
		out = append(out, show(i.Repeat)+" by itself")
	}
	if i.Bias.Value > 0 {
		out = append(out, show(i.Bias)+" shared by all its readings")
	}
	if i.Resolution.Value > 0 {
		out = append(out, "read to "+show(i.Resolution))
	}
	return "standard uncertainty " + strings.Join(out, ", ")
}
