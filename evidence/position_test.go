package evidence

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func engineOf(layout string, facts ...any) Engine {
	e := Engine{Facts: map[string]any{"layout": layout, "cycle": "four-stroke", "fuel": "petrol"}, AtLeast: map[string]bool{}}
	for i := 0; i < len(facts); i += 2 {
		e.Facts[facts[i].(string)] = facts[i+1]
	}
	return e
}

func TestCount(t *testing.T) {
	least := engineOf("v", "cylinders", 4)
	least.AtLeast["cylinders"] = true
	for _, tc := range []struct {
		e       Engine
		k       Kind
		n       int
		assumed string
	}{
		{engineOf("inline", "cylinders", 6), Cylinder, 6, ""},
		{engineOf("inline", "cylinders", 6), Rod, 6, ""},
		{engineOf("inline", "cylinders", 6), Main, 7, "7 main bearings: one at each end of every crankpin, one rod a pin"},
		{engineOf("inline", "cylinders", 6, "mains", 4), Main, 4, ""},
		{engineOf("v", "cylinders", 8), Main, 5, "5 main bearings: one at each end of every crankpin, two rods a pin"},
		{engineOf("opposed", "cylinders", 4), Main, 5, "5 main bearings: one at each end of every crankpin, one rod a pin"},
		{engineOf("inline", "cylinders", 6), Bank, 1, ""},
		{engineOf("v", "cylinders", 8), Bank, 2, ""},
		{engineOf("not stated", "cylinders", 8), Bank, 1, "1 bank: the layout is not stated"},
		{engineOf("v", "cylinders", 8), Camshaft, 2, "2 camshafts: one a bank"},
		{engineOf("v", "cylinders", 8, "camshafts", 1), Camshaft, 1, ""},
		{engineOf("single", "cycle", "two-stroke"), Camshaft, 0, "no camshaft: a two-stroke, or no timing drive"},
		{engineOf("single", "cycle", "two-stroke"), ExhaustValve, 0, "0 exhaust valves, 0 a cylinder"},
		{engineOf("inline", "cylinders", 6, "cam_bearings", 4), CamBearing, 4, ""},
		{engineOf("inline", "cylinders", 6), IntakeValve, 6, "6 intake valves, 1 a cylinder"},
		{engineOf("inline", "cylinders", 6, "intake_valves", 2), IntakeValve, 12, ""},
		{engineOf("single"), Cylinder, 1, ""},
		{engineOf("single"), Rod, 1, ""},
		{engineOf("not stated"), Cylinder, 4, "4 cylinders"},
		{engineOf("not stated"), Rod, 4, "4 rods, one a cylinder (4 cylinders)"},
		{least, Cylinder, 4, "4 cylinders: at least so many are told"},
		{engineOf("inline"), One, 1, ""},
	} {
		n, assumed := tc.e.Count(tc.k)
		assert.Equal(t, tc.n, n, "%v %s", tc.e.Facts, tc.k)
		assert.Equal(t, tc.assumed, assumed, "%v %s", tc.e.Facts, tc.k)
	}
}

func TestBanksAndNeighbours(t *testing.T) {
	v6, flat4, six, radial := engineOf("v", "cylinders", 6), engineOf("opposed", "cylinders", 4), engineOf("inline", "cylinders", 6), engineOf("radial", "cylinders", 7)
	crossed := engineOf("v", "cylinders", 6)
	crossed.BankList = []int{1, 2, 1, 2, 1, 2}
	banks := func(e Engine) (out []int) {
		n, _ := e.Count(Cylinder)
		for i := range n {
			out = append(out, e.BankOf(i+1))
		}
		return out
	}
	assert.Equal(t, []int{1, 1, 1, 2, 2, 2}, banks(v6))
	assert.Equal(t, []int{1, 2, 1, 2}, banks(flat4))
	assert.Equal(t, []int{1, 2, 1, 2, 1, 2}, banks(crossed))
	assert.Equal(t, []int{1, 1, 1, 2, 2}, banks(engineOf("v", "cylinders", 5)))
	assert.Zero(t, v6.BankOf(7))
	assert.NotEmpty(t, v6.BankNumbering())
	assert.NotEqual(t, v6.BankNumbering(), flat4.BankNumbering())
	assert.Empty(t, crossed.BankNumbering())
	assert.Empty(t, six.BankNumbering())

	assert.Equal(t, []int{2}, v6.Adjacent(Rod, 3))
	assert.Equal(t, []int{5}, v6.Adjacent(Cylinder, 4))
	assert.Equal(t, []int{1, 5}, crossed.Adjacent(Cylinder, 3))
	assert.Equal(t, []int{2, 4}, six.Adjacent(Main, 3))
	assert.Equal(t, []int{6}, six.Adjacent(Main, 7))
	assert.Equal(t, []int{2, 7}, radial.Adjacent(Cylinder, 1))
	assert.Equal(t, []int{1, 6}, radial.Adjacent(Cylinder, 7))
	assert.Empty(t, v6.Adjacent(Bank, 1))
	assert.Empty(t, six.Adjacent(Cylinder, 9))
	twin := engineOf("v", "cylinders", 4, "camshafts", 4, "cam_bearings", 12, "intake_valves", 2)
	assert.Equal(t, []int{2}, twin.Adjacent(Camshaft, 1))
	assert.Equal(t, []int{4}, twin.Adjacent(Camshaft, 3))
	assert.Equal(t, []int{2}, twin.Adjacent(CamBearing, 3))
	assert.Equal(t, []int{3}, twin.Adjacent(IntakeValve, 4))

	for _, tc := range []struct {
		e    Engine
		rod  int
		want []int
	}{
		{six, 1, []int{1, 2}}, {six, 6, []int{6, 7}},
		{engineOf("inline", "cylinders", 6, "mains", 4), 1, []int{1, 2}},
		{engineOf("inline", "cylinders", 6, "mains", 4), 2, []int{1, 2}},
		{engineOf("inline", "cylinders", 6, "mains", 4), 3, []int{2, 3}},
		{engineOf("inline", "cylinders", 6, "mains", 5), 1, []int{1, 2}},
		{engineOf("inline", "cylinders", 6, "mains", 5), 6, []int{4, 5}},
		{v6, 1, []int{1, 2}}, {v6, 4, []int{1, 2}}, {v6, 6, []int{3, 4}},
		{crossed, 1, []int{1, 2}}, {crossed, 2, []int{1, 2}}, {crossed, 5, []int{3, 4}},
		{flat4, 3, []int{3, 4}}, {flat4, 4, []int{4, 5}},
		{engineOf("opposed", "cylinders", 4, "mains", 3), 2, []int{1, 2}},
		{engineOf("opposed", "cylinders", 4, "mains", 3), 3, []int{2, 3}},
		{radial, 5, []int{1, 2}},
		{engineOf("single"), 1, []int{1, 2}},
		{engineOf("single", "mains", 1), 1, []int{1}},
		{six, 7, nil},
	} {
		assert.Equal(t, tc.want, tc.e.MainsBeside(tc.rod), "%v rod %d", tc.e.Facts, tc.rod)
	}
	sides := engineOf("opposed", "cylinders", 4)
	sides.BankList = []int{1, 1, 2, 2}
	assert.Equal(t, []int{2, 3}, sides.MainsBeside(3), "the first of the other bank has the second pin")
	assert.Equal(t, []int{3, 4}, sides.MainsBeside(2))
}

func TestName(t *testing.T) {
	e := engineOf("inline", "cylinders", 4, "intake_valves", 2)
	assert.Equal(t, "rod 3", e.Name(Rod, 3))
	assert.Equal(t, "cyl 3", e.Name(Cylinder, 3))
	assert.Equal(t, "main 2", e.Name(Main, 2))
	assert.Equal(t, "intake valve 3.2", e.Name(IntakeValve, 6))
	assert.Equal(t, "exhaust valve 3", e.Name(ExhaustValve, 3))
	assert.Equal(t, "cam bearing 5", e.Name(CamBearing, 5))
	assert.Empty(t, e.Name(One, 0))
	assert.Equal(t, 3, e.CylinderOf(IntakeValve, 6))
	assert.Equal(t, 3, e.CylinderOf(Rod, 3))
	assert.Zero(t, e.CylinderOf(Main, 3))
	assert.Zero(t, e.CylinderOf(IntakeValve, 9))
}

// spotTexts are positions as people write them; they seed the fuzzing too.
var spotTexts = []struct {
	text string
	want Spot
}{
	{"cyl 3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"Cylinder 3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"piston 3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"cyl. 3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"pot no. 3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"cyl3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"cyl #3", Spot{Kind: Cylinder, Indexes: []int{3}}},
	{"3", Spot{Indexes: []int{3}}},
	{"rod 5 / upper", Spot{Kind: Rod, Indexes: []int{5}, Place: "upper"}},
	{"rod 2/bolt  B", Spot{Kind: Rod, Indexes: []int{2}, Place: "bolt B"}},
	{"big end 2", Spot{Kind: Rod, Indexes: []int{2}}},
	{"con-rod 2", Spot{Kind: Rod, Indexes: []int{2}}},
	{"big-ends 2 and 3", Spot{Kind: Rod, Indexes: []int{2, 3}}},
	{"main 1..4", Spot{Kind: Main, Indexes: []int{1, 2, 3, 4}}},
	{"mains 1-3", Spot{Kind: Main, Indexes: []int{1, 2, 3}}},
	{"main bearings 2 to 3", Spot{Kind: Main, Indexes: []int{2, 3}}},
	{"rods 4, 1 and 3", Spot{Kind: Rod, Indexes: []int{1, 3, 4}}},
	{"rod 1,3,1", Spot{Kind: Rod, Indexes: []int{1, 3}}},
	{"rod 1 and rod 3", Spot{Kind: Rod, Indexes: []int{1, 3}}},
	{"all", Spot{All: true}},
	{"all rods", Spot{Kind: Rod, All: true}},
	{"all / lower", Spot{All: true, Place: "lower"}},
	{"all but cyl 3", Spot{Kind: Cylinder, All: true, Except: []int{3}}},
	{"all but 3", Spot{All: true, Except: []int{3}}},
	{"all but rod 1..2 / lower", Spot{Kind: Rod, All: true, Except: []int{1, 2}, Place: "lower"}},
	{"all mains except 1", Spot{Kind: Main, All: true, Except: []int{1}}},
	{"?a", Spot{Unknown: "a"}},
	{"cyl ?a", Spot{Kind: Cylinder, Unknown: "a"}},
	{"rod ?b / upper", Spot{Kind: Rod, Unknown: "b", Place: "upper"}},
	{"8 of 12", Spot{Count: 8, Of: 12}},
	{"2 of rods", Spot{Kind: Rod, Count: 2}},
	{"2 of the rods", Spot{Kind: Rod, Count: 2}},
	{"2 of 6 rods / upper", Spot{Kind: Rod, Count: 2, Of: 6, Place: "upper"}},
	{"3 of 8 intake valves", Spot{Kind: IntakeValve, Count: 3, Of: 8}},
	{"/ engine end", Spot{Place: "engine end"}},
	{"bank left", Spot{Kind: Bank, Indexes: []int{1}}},
	{"right bank", Spot{Kind: Bank, Indexes: []int{2}}},
	{"bank B", Spot{Kind: Bank, Indexes: []int{2}}},
	{"bank 1", Spot{Kind: Bank, Indexes: []int{1}}},
	{"camshaft 2", Spot{Kind: Camshaft, Indexes: []int{2}}},
	{"cam bearing 2", Spot{Kind: CamBearing, Indexes: []int{2}}},
	{"inlet valve 3", Spot{Kind: IntakeValve, Indexes: []int{3}}},
	{"exhaust valve 3.2", Spot{Kind: ExhaustValve, Indexes: []int{3}, Valves: []int{2}}},
	{"exhaust valves 4, 3.1, 3.2", Spot{Kind: ExhaustValve, Indexes: []int{3, 3, 4}, Valves: []int{1, 2, 0}}},
	{"exhaust valves 3.1 and 3", Spot{Kind: ExhaustValve, Indexes: []int{3}}},
}

var badSpots = map[string]string{
	"":                   `"" is no position: it is empty (as in "cyl 3", "all" or "/ engine end")`,
	"rod":                `"rod" is no position: it does not say which rod (as in "cyl 3", "all" or "?a" for one that is not known)`,
	"rod 0":              `"rod 0" is no position: positions are counted from 1`,
	"rod -1":             `"rod -1" is no position: "-1" is no number (as in "cyl 3", "all" or "?a" for one that is not known)`,
	"rod 3 /":            `"rod 3 /" is no position: nothing stands after the stroke (as in "rod 3 / upper")`,
	"rod 3..1":           `"rod 3..1" is no position: 3..1 runs backwards (did you mean "1..3"?)`,
	"rod 3 upper":        `"rod 3 upper" is no position: "upper" is not understood (as in "rods 1, 3 and 5..7"; a place stands after a stroke: "rod 3 / upper")`,
	"rod 1 and main 2":   `"rod 1 and main 2" is no position: it speaks of both rod and main bearing (give each kind an entry of its own in the list)`,
	"rod 1..40000000000": `"rod 1..40000000000" is no position: no engine has that many`,
	"cylnder 3":          `"cylnder 3" is no position: "cylnder" is not one of cyl, rod, main, bank, cam, cam bearing, intake valve, exhaust valve (did you mean "cylinder"?)`,
	"Engine end":         `"Engine end" is no position: "engine" is not one of cyl, rod, main, bank, cam, cam bearing, intake valve, exhaust valve (a place alone is written "/ Engine end")`,
	"3 of 8 valves":      `"3 of 8 valves" is no position: which valves? (say "intake valves" or "exhaust valves")`,
	"9 of 8":             `"9 of 8" is no position: 9 is more than 8`,
	"0 of 8":             `"0 of 8" is no position: none of them is no position (state = "not found" with at = "all" says that none had it)`,
	"2 rods":             `"2 rods" is no position: which, or how many? ("rod 2" is that one, "2 of rods" so many of them)`,
	"cyl ?":              `"cyl ?" is no position: an unknown position is a question mark and a letter (as in "cyl ?a": the same letter is the same one throughout the case)`,
	"all rods but cyl 3": `"all rods but cyl 3" is no position: all rods cannot leave out a cylinder`,
	"rod 3.2":            `"rod 3.2" is no position: ".2" is not understood (as in "rods 1, 3 and 5..7"; a place stands after a stroke: "rod 3 / upper")`,
}

func TestParseSpot(t *testing.T) {
	for _, tc := range spotTexts {
		s, err := ParseSpot(" " + tc.text + " ")
		require.NoError(t, err, tc.text)
		tc.want.Text = tc.text
		assert.Equal(t, tc.want, s)
		sameAgain(t, s)
	}
	for text, want := range badSpots {
		_, err := ParseSpot(text)
		assert.EqualError(t, err, want, text)
	}
}

// sameAgain checks that a spot written anew reads as the same spot.
func sameAgain(t require.TestingT, s Spot) {
	anew := s
	anew.Text = ""
	again, err := ParseSpot(anew.String())
	require.NoError(t, err, "%q was written as %q", s.Text, anew.String())
	again.Text = ""
	require.Equal(t, anew, again, "%q was written as %q", s.Text, anew.String())
}

func FuzzParseSpot(f *testing.F) {
	for _, tc := range spotTexts {
		f.Add(tc.text)
	}
	for text := range badSpots {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSpot(text)
		if err != nil {
			var bad ErrSpot
			if !errors.As(err, &bad) || bad.Why == "" || s.Text != "" {
				t.Fatalf("%q: half read: %v, %v", text, s, err)
			}
			return
		}
		own, err := ParseSpot(s.Text)
		if err != nil || fmt.Sprintf("%#v", own) != fmt.Sprintf("%#v", s) {
			t.Fatalf("%q reads differently the second time: %v, %v", text, own, err)
		}
		sameAgain(t, s)
		for _, list := range [][]int{s.Indexes, s.Except} {
			if !slices.IsSorted(list) || len(list) > 0 && list[0] < 1 {
				t.Fatalf("%q: %v", text, list)
			}
		}
	})
}

func TestResolve(t *testing.T) {
	e := engineOf("v", "cylinders", 6, "mains", 4, "intake_valves", 2, "exhaust_valves", 1)
	for _, tc := range []struct {
		at   string
		k    Kind
		want []int
	}{
		{"cyl 3", Rod, []int{3}}, {"rod 3", Cylinder, []int{3}}, {"3", Main, []int{3}}, {"all", Main, []int{1, 2, 3, 4}},
		{"all but 2", Rod, []int{1, 3, 4, 5, 6}}, {"?a", Bank, []int{1, 2}}, {"rod ?a", Cylinder, []int{1, 2, 3, 4, 5, 6}},
		{"2 of rods", Cylinder, []int{1, 2, 3, 4, 5, 6}},
		{"intake valve 3", IntakeValve, []int{5, 6}}, {"intake valve 3.2", IntakeValve, []int{6}}, {"cyl 3", IntakeValve, []int{5, 6}},
		{"intake valve 3.2", Cylinder, []int{3}}, {"all but intake valve 1", IntakeValve, []int{3, 4, 5, 6, 7, 8, 9, 10, 11, 12}},
		{"bank 2", Rod, []int{4, 5, 6}}, {"bank 2", ExhaustValve, []int{4, 5, 6}},
		{"bank left", Bank, []int{1}}, {"/ upper", One, nil},
	} {
		s, err := ParseSpot(tc.at)
		require.NoError(t, err)
		got, err := e.Resolve(s, tc.k)
		assert.NoError(t, err, "%s of %s", tc.at, tc.k)
		assert.Equal(t, tc.want, got, "%s of %s", tc.at, tc.k)
	}
	for _, tc := range []struct {
		at   string
		k    Kind
		want string
	}{
		{"cyl 9", Rod, "there is no cylinder 9: the engine has 6"},
		{"all but 7", Rod, "there is no rod 7: the engine has 6"},
		{"5", Main, "there is no main bearing 5: the engine has 4"},
		{"cyl 3", Bank, "cylinder says nothing of which bank"},
		{"main 3", Cylinder, "main bearing says nothing of which cylinder"},
		{"intake valve 1", ExhaustValve, "intake valve says nothing of which exhaust valve"},
		{"intake valve 3.3", IntakeValve, "there is no intake valve 3.3: each cylinder has 2"},
		{"intake valve 9", IntakeValve, "there is no cylinder 9: the engine has 6"},
		{"/ upper", Rod, "it does not say which rod"},
		{"8 of 12", Rod, "there is no rod 8: the engine has 6"},
		{"2 of 12", Rod, "there are not 12 rods: the engine has 6"},
		{"2 of intake valves", Cylinder, "2 of the intake valves cannot be told as cylinders"},
		{"cyl 1", One, "the engine has only one, so that no position can be told"},
	} {
		s, err := ParseSpot(tc.at)
		require.NoError(t, err)
		got, err := e.Resolve(s, tc.k)
		assert.EqualError(t, err, tc.want, "%s of %s", tc.at, tc.k)
		assert.Nil(t, got)
	}
	_, err := e.Resolve(Spot{Kind: Rod, Indexes: []int{7}}, Rod)
	assert.ErrorAs(t, err, &ErrPosition{})
	one := engineOf("single")
	got, err := one.Resolve(Spot{Place: "upper"}, Rod)
	assert.NoError(t, err)
	assert.Equal(t, []int{1}, got)
	got, err = one.Resolve(Spot{Kind: Cylinder, Indexes: []int{1}}, Bank)
	assert.NoError(t, err)
	assert.Equal(t, []int{1}, got)
	_, err = one.Resolve(Spot{Count: 2}, Rod)
	assert.EqualError(t, err, "there is no rod 2: the engine has 1")
	for _, s := range []Spot{{All: true}, {All: true, Except: []int{3}}, {Kind: Cylinder, Indexes: []int{3}}} {
		_, err = engineOf("inline", "intake_valves", 0).Resolve(s, IntakeValve)
		assert.EqualError(t, err, "there is no intake valve: the engine has none")
	}
	_, err = engineOf("not stated").Resolve(Spot{Kind: Rod, Indexes: []int{6}}, Rod)
	assert.EqualError(t, err, "there is no rod 6: the case does not say for certain how many there are, and 4 are assumed")
}

func drawEngine(t *rapid.T) Engine {
	e := engineOf(rapid.SampledFrom([]string{"inline", "v", "opposed", "single", "radial", "w", "not stated"}).Draw(t, "layout"))
	maybe := func(name string, from, to int) {
		if rapid.Bool().Draw(t, "say "+name) {
			e.Facts[name] = rapid.IntRange(from, to).Draw(t, name)
		}
	}
	if e.Text("layout") != "single" {
		maybe("cylinders", 1, 16)
	}
	maybe("mains", 1, 12)
	maybe("camshafts", 0, 4)
	maybe("cam_bearings", 0, 20)
	maybe("intake_valves", 0, 3)
	maybe("exhaust_valves", 0, 3)
	return e
}

// Whatever the engine: a name reads back as its own position, what is
// adjacent is so both ways, and whatever Resolve lists is there.
func TestPositionsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEngine(t)
		for _, k := range Kinds() {
			n, _ := e.Count(k)
			for i := 1; i <= n; i++ {
				s, err := ParseSpot(e.Name(k, i))
				require.NoError(t, err)
				got, err := e.Resolve(s, k)
				require.NoError(t, err)
				require.Equal(t, []int{i}, got, "%v %s %d", e.Facts, k, i)
				for _, j := range e.Adjacent(k, i) {
					require.NotEqual(t, i, j)
					require.Contains(t, e.Adjacent(k, j), i, "%v %s %d and %d", e.Facts, k, i, j)
				}
			}
			_, err := e.Resolve(Spot{Kind: k, Indexes: []int{n + 1}}, k)
			if !k.valve() {
				require.ErrorAs(t, err, &ErrPosition{}, "%v %s", e.Facts, k)
			}
		}
		rods, _ := e.Count(Rod)
		mains, _ := e.Count(Main)
		banks, _ := e.Count(Bank)
		last := []int{1}
		for i := 1; i <= rods; i++ {
			require.True(t, e.BankOf(i) >= 1 && e.BankOf(i) <= banks)
			beside := e.MainsBeside(i)
			require.True(t, slices.IsSorted(beside) && beside[0] >= 1 && beside[len(beside)-1]-beside[0] == len(beside)-1 && beside[len(beside)-1] <= mains, "%v rod %d: %v", e.Facts, i, beside)
			if banks == 1 {
				require.GreaterOrEqual(t, beside[0], last[0], "along the crankshaft")
				last = beside
			}
		}
		s, err := ParseSpot(rapid.SampledFrom(spotTexts).Draw(t, "at").text)
		require.NoError(t, err)
		k := rapid.SampledFrom(Kinds()).Draw(t, "kind")
		got, err := e.Resolve(s, k)
		if err != nil {
			require.Nil(t, got)
			return
		}
		n, _ := e.Count(k)
		require.True(t, slices.IsSorted(got))
		require.Equal(t, slices.Compact(slices.Clone(got)), got)
		for _, i := range got {
			require.True(t, i >= 1 && i <= n, "%v: %q of %s: %v", e.Facts, s.Text, k, got)
		}
		if s.All && s.Kind == One {
			out, err := e.Resolve(Spot{Indexes: s.Except, Kind: k}, k)
			if len(s.Except) > 0 {
				require.NoError(t, err)
			} else {
				out = nil
			}
			require.Len(t, got, n-len(out), "all, and all but some, leave nobody out")
		}
	})
}
