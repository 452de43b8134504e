package evidence

import (
	"fmt"
	"slices"
)

// Kind is a kind of position: what there is more than one of.
type Kind string

// Kinds of position. One rod stands for one cylinder: where two rods share a
// journal, each has its own bearing.
const (
	One          Kind = "" // one an engine
	Cylinder     Kind = "cylinder"
	Rod          Kind = "rod"
	Main         Kind = "main"
	Bank         Kind = "bank"
	Camshaft     Kind = "camshaft"
	CamBearing   Kind = "cam_bearing"
	IntakeValve  Kind = "intake_valve"
	ExhaustValve Kind = "exhaust_valve"
)

// Kinds lists all kinds of position.
func Kinds() []Kind {
	return []Kind{Cylinder, Rod, Main, Bank, Camshaft, CamBearing, IntakeValve, ExhaustValve}
}

// Word is the kind as one says it: "cylinder", "main bearing"; "" for One.
func (k Kind) Word() string {
	switch k {
	case Main:
		return "main bearing"
	case CamBearing:
		return "cam bearing"
	case IntakeValve:
		return "intake valve"
	case ExhaustValve:
		return "exhaust valve"
	}
	return string(k)
}

// short is the kind as it is written in a position.
func (k Kind) short() string {
	switch k {
	case Cylinder:
		return "cyl"
	case Main:
		return "main"
	}
	return k.Word()
}

func (k Kind) valve() bool { return k == IntakeValve || k == ExhaustValve }

// upright kinds are those that go by the number of the cylinder.
func (k Kind) upright() bool { return k == Cylinder || k == Rod }

// ErrPosition tells a position that the engine has not got.
type ErrPosition struct {
	Kind  Kind
	Index int // 0 where none in particular is meant, and the engine has none at all
	Have  int
	// Assumed is what was assumed to arrive at Have; "" if the case says so.
	Assumed string
	// Valve is which valve of cylinder Index was meant; 0 for none.
	Valve int
}

func (e ErrPosition) Error() string {
	what := fmt.Sprintf("%s %d", e.Kind.Word(), e.Index)
	if e.Index == 0 {
		what = e.Kind.Word()
	}
	if e.Valve > 0 {
		return fmt.Sprintf("there is no %s.%d: each cylinder has %d", what, e.Valve, e.Have)
	}
	switch {
	case e.Have == 0:
		return fmt.Sprintf("there is no %s: the engine has none", what)
	case e.Assumed != "":
		are := "are"
		if e.Have == 1 {
			are = "is"
		}
		return fmt.Sprintf("there is no %s: the case does not say for certain how many there are, and %d %s assumed", what, e.Have, are)
	}
	return fmt.Sprintf("there is no %s: the engine has %d", what, e.Have)
}

// assumedCylinders stands in where a case does not say how many there are:
// the commonest number, and enough to tell one cylinder from all.
const assumedCylinders = 4

// Count is how many positions of a kind the engine has. Where the case does
// not say so, assumed tells what was taken in its place ("5 main bearings: one
// more than there are cylinders in line"); it is "" where the number is said
// or certain. There is one One.
func (e Engine) Count(k Kind) (n int, assumed string) {
	cyl, cylAssumed := e.cylinders()
	follow := func(text string, args ...any) string {
		s := fmt.Sprintf(text, args...)
		if cylAssumed != "" {
			s += " (" + cylAssumed + ")"
		}
		return s
	}
	said := func(name string) (int, bool) {
		n, ok := e.Facts[name].(int)
		return n, ok
	}
	plural := func(n int, k Kind) string {
		if n == 1 {
			return "1 " + k.Word()
		}
		return fmt.Sprintf("%d %ss", n, k.Word())
	}
	least := func(name string, n int, k Kind) (int, string) {
		if e.AtLeast[name] {
			return n, fmt.Sprintf("%s: at least so many are told", plural(n, k))
		}
		return n, ""
	}
	switch k {
	case Cylinder:
		return cyl, cylAssumed
	case Rod:
		if cylAssumed == "" {
			return cyl, ""
		}
		return cyl, follow("%s, one a cylinder", plural(cyl, k))
	case Main:
		if n, ok := said("mains"); ok {
			return least("mains", n, k)
		}
		switch e.Text("layout") {
		case "v", "w":
			n := (cyl+1)/2 + 1
			return n, follow("%s: one at each end of every crankpin, two rods a pin", plural(n, k))
		case "radial":
			return 2, "2 main bearings: one at each end of the crankpin"
		}
		return cyl + 1, follow("%s: one at each end of every crankpin, one rod a pin", plural(cyl+1, k))
	case Bank:
		if len(e.BankList) > 0 {
			return slices.Max(e.BankList), ""
		}
		if n, ok := said("banks"); ok {
			return least("banks", n, k)
		}
		switch e.Text("layout") {
		case "inline", "single", "radial":
			return 1, ""
		case "v", "opposed":
			return min(2, cyl), ""
		case "w":
			return min(2, cyl), "2 banks"
		}
		return 1, "1 bank: the layout is not stated"
	case Camshaft:
		if n, ok := said("camshafts"); ok {
			return least("camshafts", n, k)
		}
		if e.Text("timing_drive") == "none" || e.ported() {
			return 0, "no camshaft: a two-stroke, or no timing drive"
		}
		banks, _ := e.Count(Bank)
		return banks, fmt.Sprintf("%s: one a bank", plural(banks, k))
	case CamBearing:
		if n, ok := said("cam_bearings"); ok {
			return least("cam_bearings", n, k)
		}
		cams, _ := e.Count(Camshaft)
		banks, _ := e.Count(Bank)
		n := cams * ((cyl+banks-1)/max(1, banks) + 1)
		return n, follow("%s: on each camshaft one more than there are cylinders in a bank", plural(n, k))
	case IntakeValve, ExhaustValve:
		per, perAssumed := e.valves(k)
		if perAssumed == "" && cylAssumed == "" {
			return per * cyl, ""
		}
		return per * cyl, follow("%s, %d a cylinder", plural(per*cyl, k), per)
	}
	return 1, ""
}

// cylinders is how many there are, or are taken to be.
func (e Engine) cylinders() (n int, assumed string) {
	n, said := e.Facts["cylinders"].(int)
	switch {
	case said && e.AtLeast["cylinders"]:
		return n, fmt.Sprintf("%d cylinders: at least so many are told", n)
	case said:
		return n, ""
	case e.Text("layout") == "single":
		return 1, ""
	}
	return assumedCylinders, fmt.Sprintf("%d cylinders", assumedCylinders)
}

// ported tells a two-stroke that breathes through ports alone, as small ones
// on petrol do; a two-stroke diesel may have valves, so its case should say.
func (e Engine) ported() bool {
	return e.Text("cycle") == "two-stroke" && e.Text("fuel") != "diesel"
}

// valves is how many of that kind each cylinder has.
func (e Engine) valves(k Kind) (n int, assumed string) {
	name := string(k) + "s"
	if n, ok := e.Facts[name].(int); ok {
		if e.AtLeast[name] {
			return n, "at least so many are told"
		}
		return n, ""
	}
	if e.ported() || e.Text("cycle") == "two-stroke" && k == IntakeValve {
		return 0, "a two-stroke breathes in through ports"
	}
	return 1, "one a cylinder"
}

// Name is a position as reports write it, and as ParseSpot reads it: "cyl 3",
// "rod 3", "main 2", "cam bearing 4"; "intake valve 3.2" where a cylinder has
// several, else "intake valve 3". It is "" for One.
func (e Engine) Name(k Kind, index int) string {
	if k == One {
		return ""
	}
	if k.valve() {
		if per, _ := e.valves(k); per > 1 {
			return fmt.Sprintf("%s %d.%d", k.short(), 1+(index-1)/per, 1+(index-1)%per)
		}
	}
	return fmt.Sprintf("%s %d", k.short(), index)
}

// CylinderOf is the cylinder to which a position belongs: that of the same
// number for a rod, that in whose head it sits for a valve. It is 0 for kinds
// that belong to no one cylinder, and for positions that the engine has not.
func (e Engine) CylinderOf(k Kind, index int) int {
	if n, _ := e.Count(k); index < 1 || index > n {
		return 0
	}
	switch {
	case k.upright():
		return index
	case k.valve():
		per, _ := e.valves(k)
		return 1 + (index-1)/per
	}
	return 0
}

// BankOf is the bank in which a cylinder (or the rod of that number) stands,
// counting from 1; 0 if there is no such cylinder. Where the case gives no
// bank_of, see BankNumbering for what is assumed.
func (e Engine) BankOf(cyl int) int {
	n, _ := e.cylinders()
	if cyl < 1 || cyl > n {
		return 0
	}
	if cyl <= len(e.BankList) {
		return e.BankList[cyl-1]
	}
	banks, _ := e.Count(Bank)
	banks = max(1, min(banks, n))
	if e.Text("layout") == "opposed" {
		return 1 + (cyl-1)%banks
	}
	// The larger bank first where they differ: 1 to 3 and 4 to 5 of five.
	size := (n + banks - 1) / banks
	return min(banks, 1+(cyl-1)/size)
}

// BankNumbering tells what is assumed of how cylinders are numbered over the
// banks; "" where there is one bank, or the case gives bank_of. Opposed
// engines are mostly numbered from side to side, engines in V mostly one bank
// after the other.
func (e Engine) BankNumbering() string {
	banks, _ := e.Count(Bank)
	switch {
	case banks < 2 || len(e.BankList) > 0:
		return ""
	case e.Text("layout") == "opposed":
		return "odd cylinders in bank 1, even ones in bank 2"
	}
	return "cylinders numbered through bank 1 first"
}

// bankMembers lists the cylinders of a bank, ascending.
func (e Engine) bankMembers(bank int) []int {
	n, _ := e.cylinders()
	var out []int
	for i := 1; i <= n; i++ {
		if e.BankOf(i) == bank {
			out = append(out, i)
		}
	}
	return out
}

// row lists, in order, the positions of a kind that stand in one row with
// position i: one bank, one crankshaft or one camshaft.
func (e Engine) row(k Kind, i int) []int {
	n, _ := e.Count(k)
	from, to := 1, n
	switch {
	case k.upright():
		return e.bankMembers(e.BankOf(i))
	case k.valve():
		var out []int
		per, _ := e.valves(k)
		for _, c := range e.bankMembers(e.BankOf(e.CylinderOf(k, i))) {
			for v := 1; v <= per; v++ {
				out = append(out, (c-1)*per+v)
			}
		}
		return out
	case k == Bank || k == One:
		return []int{i}
	case k == Camshaft:
		if banks, _ := e.Count(Bank); banks > 1 && n >= banks {
			bank := (i - 1) * banks / n
			for from = 1; (from-1)*banks/n < bank; from++ {
			}
			for to = n; (to-1)*banks/n > bank; to-- {
			}
		}
	case k == CamBearing:
		if cams, _ := e.Count(Camshaft); cams > 1 && n%cams == 0 {
			size := n / cams
			from = (i-1)/size*size + 1
			to = from + size - 1
		}
	}
	out := make([]int, 0, to-from+1)
	for j := from; j <= to; j++ {
		out = append(out, j)
	}
	return out
}

// Adjacent lists, ascending, the neighbours of a position among its kind: next
// to it in the same bank, on the same crankshaft, or on the same camshaft. The
// cylinders of a radial engine stand in a ring. Nothing for a position that
// the engine has not.
func (e Engine) Adjacent(k Kind, i int) []int {
	if n, _ := e.Count(k); i < 1 || i > n {
		return nil
	}
	row := e.row(k, i)
	at := slices.Index(row, i)
	var out []int
	if at > 0 {
		out = append(out, row[at-1])
	}
	if at >= 0 && at+1 < len(row) {
		out = append(out, row[at+1])
	}
	if e.Text("layout") == "radial" && k.upright() && len(row) > 2 && (at == 0 || at == len(row)-1) {
		out = append(out, row[len(row)-1-at])
	}
	slices.Sort(out)
	return out
}

// MainsBeside lists, ascending, the main bearings that carry the crankpin of a
// rod: the one before and the one after it. Rods in V share a pin with those
// of the other banks; opposed rods have a pin each. Where the case gives more
// or fewer mains than fit between the pins, they are taken as spread evenly
// along the crankshaft. Nothing for a rod that the engine has not.
func (e Engine) MainsBeside(rod int) []int {
	n, _ := e.Count(Rod)
	mains, _ := e.Count(Main)
	if rod < 1 || rod > n || mains < 1 {
		return nil
	}
	if mains == 1 {
		return []int{1}
	}
	pins, pin := n, rod
	banks, _ := e.Count(Bank)
	switch layout := e.Text("layout"); {
	case layout == "radial":
		pins, pin = 1, 1
	case banks > 1:
		bank := e.BankOf(rod)
		rank := slices.Index(e.bankMembers(bank), rod)
		if layout == "opposed" {
			pin = 0
			// Along the crankshaft the banks take turns; a bank that has run
			// out is passed over.
			for b := 1; b <= banks; b++ {
				size := len(e.bankMembers(b))
				if b <= bank {
					pin += min(size, rank+1)
				} else {
					pin += min(size, rank)
				}
			}
			break
		}
		pins, pin = 0, rank+1
		for b := 1; b <= banks; b++ {
			pins = max(pins, len(e.bankMembers(b)))
		}
	}
	gaps := mains - 1
	// The gap between mains in which the middle of the pin falls.
	left := 1 + (2*pin-1)*gaps/(2*pins)
	return []int{left, left + 1}
}
