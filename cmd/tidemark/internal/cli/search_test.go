package cli

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence/source"
	"tidemark/rules"
)

// A word of the book is found by its beginning and by its other endings, and not
// by its middle.
func TestBegins(t *testing.T) {
	for typed, words := range map[string]struct{ yes, no string }{
		"rust":     {"rust rusty rusted rusts", "thrust crust trust twisted"},
		"fretting": {"fretting fretted frets fret", "free frettle"},
		"spalled":  {"spalled spalling spall spalls", "spa"},
		"torn":     {"torn", "torque worn tear"},
		"blue":     {"blue blued blues", "blunt black"},
		"blued":    {"blue blued", "blunt"},
		"bodies":   {"body bodies", "bolt"},
		"leak":     {"leak leaks leaking leaked leakage", "bleak"},
		"cracked":  {"crack cracks cracked cracking", "crank"},
		"glasses":  {"glass glasses", "glaze"},
		"filings":  {"filing filings", "filter fill"},
		"play":     {"play plays played", "display"},
		"ring":     {"ring rings ringed", "spring bring bearing"},
		"bleed":    {"bleed bleeds", "ble"},
		"gas":      {"gas gases", "gap"},
		"o":        {"o", "oil old"},
	} {
		for w := range strings.FieldsSeq(words.yes) {
			assert.True(t, begins(w, typed), "%s finds %s", typed, w)
		}
		for w := range strings.FieldsSeq(words.no) {
			assert.False(t, begins(w, typed), "%s must not find %s", typed, w)
		}
	}
}

func TestNewSearch(t *testing.T) {
	for typed, want := range map[string]string{
		"torn screen": "screen torn", "Hole in the piston": "hole piston", "oil_pickup.screen": "oil pickup screen", "a": "", "to and the": "", "belt, BELT": "belt", "big-end": "big end",
	} {
		assert.Equal(t, want, strings.Join(newSearch([]string{typed}).words, " "), typed)
	}
	assert.Equal(t, newSearch([]string{"torn", "screen"}), newSearch([]string{"torn screen"}))
}

// found gives those with all the words, else those with the most of them.
func TestFound(t *testing.T) {
	list := []string{"oil pan", "oil pump worn", "pump", "belt worn: black dust by the pump", "seal: dust of the belt"}
	for typed, want := range map[string]struct {
		out  []string
		most int
	}{
		"oil": {[]string{"oil pan", "oil pump worn"}, 1}, "pump": {[]string{"oil pump worn", "pump"}, 1}, "dust": {list[3:], 1}, "seal belt": {list[4:], 2}, "pump oil": {[]string{"oil pump worn"}, 2}, "belt oil": {[]string{"oil pan", "oil pump worn", list[3], list[4]}, 1},
		"worn belt sprocket": {list[3:4], 2}, "sprocket": {nil, 0},
	} {
		out, most := found(newSearch([]string{typed}), list, func(s string) texts {
			names, more, _ := strings.Cut(s, ": ")
			return texts{[]string{names}, []string{more}}
		})
		assert.Equal(t, want.out, out, typed)
		assert.Equal(t, want.most, most, typed)
	}
}

// What people in the trade say on either side of the ocean finds what they mean.
func TestTradeWords(t *testing.T) {
	signs := map[string]string{ // what is typed: what must be among what is found
		"torn screen": "oil_pickup.screen_torn", "hole in piston": "piston.crown_holed", "air leak": "air_duct.split_or_loose", "sump": "oil_pan.sludge",
		"milky": "oil.emulsion", "mayonnaise": "oil.emulsion", "gudgeon pin": "piston_pin.tight_and_blued", "wrist pin": "piston_pin.tight_and_blued",
		"cambelt": "timing_belt.broken", "chain stretched": "timing_chain.too_long", "clogged filter": "oil_filter.choked", "seal leak": "oil_seal.wet_trail",
		"filings": "oil_pan.bearing_metal", "shavings": "oil_pan.bearing_metal", "glitter": "oil_pan.bearing_metal", "belt shredded": "accessory_belt.shredded", "grit": "oil.grit_between_fingers",
		"stiff": "oil_pump.will_not_turn", "play": "water_pump.shaft_rocks", "blue": "rod_journal.blue", "scored": "cylinder_bore.scored", "rust": "cylinder_bore.rust_band",
		"cracked": "cylinder_head.cracked", "spalled": "rod_bearing.fatigue_cracks", "fretting": "cam_sprocket.seat_fretted",
		"big end": "rod_bearing.lining_wiped", "con rod bent": "rod.bent", "connecting rod broken": "rod.broken", "conrod": "rod.bent", "oil control ring": "ring.broken", "scraper ring": "ring.broken",
		"barrel": "cylinder_bore.scored", "cylinder wall": "cylinder_bore.scored", "PCV": "breather.sludged", "head warped": "cylinder_head.warped", "mains": "main_bearing.lining_wiped",
		"idler pulley": "belt_idler.will_not_turn", "cam belt tensioner": "belt_tensioner.stiff", "lash": "accessory_gear.backlash_off", "slack": "timing_chain.sags_between_sprockets",
		"crankpin": "rod_journal.blue", "harmonic balancer": "damper.ring_shifted", "thrust washer": "thrust_bearing.face_melted", "end play": "crankshaft.end_float_over", "serpentine belt": "accessory_belt.shredded",
		"blown head gasket": "head_gasket.burnt_through", "spun bearing": "rod_bearing.spun_in_housing", "dropped valve": "valve.head_off", "petrol in oil": "oil.fuel_smell", "oil light": "owner_story.oil_lamp_on",
		"fuel dilution": "oil.fuel_smell", "snap ring": "circlip.out_of_groove", "turbo": "compressor_wheel.edges_hit", "sleeve": "liner.cracked", "inlet manifold": "intake_manifold.object_prints",
	}
	causes := map[string]string{
		"torn screen": "screen_fragment_adrift", "hole in piston": "piston_crown_holed", "air leak": "duct_split", "sump": "pan_holed_by_road", "milky": "coolant_in_oil", "mayonnaise": "coolant_in_oil",
		"gudgeon pin": "pin_seized", "wrist pin": "pin_seized", "cambelt": "belt_overdue", "chain stretched": "chain_elongated", "clogged filter": "filter_restricted", "seal leak": "oil_seal_leaking",
		"filings": "bearing_metal_adrift", "shavings": "bearing_metal_adrift", "belt shredded": "accessory_belt_shredded", "grit": "oil_dirty", "stiff": "tensioner_stiff", "play": "bearing_clearance_large",
		"scored": "bore_scored", "rust": "bore_rusted", "cracked": "head_cracked", "spalled": "rod_bearing_fatigued", "fretting": "shell_loose_in_seat",
		"ran dry": "oil_starvation", "hydraulic lock": "hydrolock", "pinking": "detonation", "bent valves": "valves_struck", "leg out of bed": "rod_through_block",
	}
	for what, list := range map[string]map[string]string{"signs": signs, "causes": causes} {
		for typed, want := range list {
			for _, args := range [][]string{{what, typed}, append([]string{what}, strings.Fields(typed)...)} {
				out, errs, status := ran(t, args...)
				assert.Equal(t, 0, status, "%s: %s", args, errs)
				assert.Empty(t, errs, args)
				assert.Contains(t, out, want+": ", args)
			}
		}
	}
	out, _, _ := ran(t, "signs", "rust")
	for _, no := range []string{"thrust_bearing", "twisted", "thrust plane"} {
		assert.NotContains(t, out, no)
	}
	// Lacquer is a sight and no cause: it is said where it is.
	_, errs, status := ran(t, "causes", "lacquer")
	assert.Equal(t, 2, status)
	assert.Equal(t, "tidemark: no cause or step matches \"lacquer\" (tidemark signs lacquer finds some)\n", errs)
	_, errs, _ = ran(t, "signs", "careless")
	assert.Contains(t, errs, "(tidemark causes careless finds some)")
}

// Every id is found by its own words, and every other word by which a thing is
// called finds it.
func TestAllFound(t *testing.T) {
	var faults source.Faults
	b := rules.Load(&faults, rules.Embedded())
	require.NotNil(t, b, faults.Error())
	also := 0
	for _, s := range b.Signs {
		for _, w := range append([]string{s.ID, s.Name}, s.Also...) {
			q := newSearch([]string{w})
			assert.Equal(t, len(q.words), q.hits(signTexts(s).names...), "%s by %q", s.ID, w)
		}
		also += len(s.Also)
	}
	for _, n := range b.Nodes {
		for _, w := range append([]string{n.ID, n.Name}, n.Also...) {
			q := newSearch([]string{w})
			assert.Equal(t, len(q.words), q.hits(nodeTexts(n).names...), "%s by %q", n.ID, w)
		}
	}
	parts := 0
	for _, p := range b.Parts {
		if len(p.Also) > 0 {
			parts++
		}
	}
	assert.Greater(t, parts, len(b.Parts)*9/10, "parts that people call something else as well")
	assert.Greater(t, also, 2*len(b.Signs), "other words for signs")
}

// An error says again no more than is needed to know what is meant.
func TestEchoIsShort(t *testing.T) {
	long := strings.Repeat("xyz_", 100)
	for _, args := range [][]string{
		{long}, {"rules", long}, {"signs", long}, {"causes", long}, {"causes", "--category", long}, {"signs", "--part", long}, {"diagnose", long}, {"diagnose", "--rules", long},
		{"diagnose", "--" + long}, {"diagnose", "-q" + long}, {"diagnose", "--memory", long}, {"diagnose", "--time", long}, {"diagnose", "--full=" + long}, {"signs", "--format", long},
	} {
		out, errs, status := ran(t, args...)
		assert.Equal(t, 2, status, args)
		assert.Empty(t, out)
		assert.LessOrEqual(t, strings.Count(errs, "xyz_"), mostEcho/4, errs)
		assert.Contains(t, errs, "xyz_")
		assert.Contains(t, errs, "…")
		assert.NotContains(t, errs, "strconv")
	}
}

func TestClipped(t *testing.T) {
	long := strings.Repeat("é", 61)
	assert.Equal(t, `a "b" and "`+long[:len(long)-4]+`…" (did you mean "c"?)`, clipped(`a "b" and "`+long+`" (did you mean "c"?)`))
	same := `"` + strings.Repeat("é", 60) + `" then a long run of words that no quotes stand round, which nobody may clip, "so"`
	assert.Equal(t, same, clipped(same))
	assert.Equal(t, `"`+strings.Repeat("x", 58)+`…" z`, clipped(`"`+strings.Repeat("x", 58)+`\"yyyyyyyyyyyyy" z`))
	assert.Equal(t, "…"+strings.Repeat("/dir", 14)+"/ab", clipLeft(strings.Repeat("/dir", 20)+"/ab"))
}

func ran(t *testing.T, args ...string) (out, errs string, status int) {
	t.Helper()
	var o, e bytes.Buffer
	status = Run(t.Context(), args, Env{In: strings.NewReader(""), Out: &o, Err: &e, Version: "test"})
	return o.String(), e.String(), status
}
