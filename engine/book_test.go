package engine

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// What the whole book makes of cases that were thought through before it was
// written: what is named and in which words it stands, and pairs of cases that
// differ in one thing and must read differently. The bands are wide: they hold the
// reading, not the third digit.

var wholeBook = sync.OnceValue(func() *rules.Book {
	var faults source.Faults
	return rules.Load(&faults, rules.Embedded())
})

const diesel4 = `
[engine]
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
mains = 5
timing_drive = "gears"
balance_shafts = 0
lubrication = "wet sump"
induction = "natural"
fuel_system = "mechanical injection"
liners = "wet"
use = "tractor"
`

const balanced = `
[engine]
fuel = "petrol"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
mains = 5
timing_drive = "belt"
balance_shafts = 2
balance_drive = "belt"
oil_pump_drive = "balance shaft"
lubrication = "wet sump"
induction = "natural"
fuel_system = "port injection"
liners = "none"
use = "car"
`

const petrol4 = `
[engine]
fuel = "petrol"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
mains = 5
timing_drive = "chain"
balance_shafts = 0
lubrication = "wet sump"
fuel_system = "port injection"
`

// scenario works out a case against the whole book, more than one in a test if
// need be; every finding of it must have counted.
func scenario(t *testing.T, engine, question, findings string) *Diagnosis {
	t.Helper()
	b := wholeBook()
	require.NotNil(t, b)
	c := caseOf(t, b, engine, question, findings)
	d, err := Diagnose(t.Context(), b, c, Options{Version: "test", Looks: 1})
	require.NoError(t, err)
	properties(t, d)
	for _, f := range d.Findings {
		assert.True(t, f.Counted, "%s %s is no evidence: %s", f.ID, f.Sign, f.WhyNot)
	}
	return d
}

// caseOf is a case of an engine, checked against a book.
func caseOf(t *testing.T, b *rules.Book, engine, question, findings string) *evidence.Case {
	t.Helper()
	c := shortCase(t, question, findings)
	var faults source.Faults
	with, ok := evidence.Parse("engine.toml", []byte("[case]\nid = \"t\"\n"+engine), &faults)
	require.True(t, ok, faults.Error())
	c.Engine = with.Engine
	require.True(t, Check(b, c, &faults), faults.Error())
	return c
}

// of is a cause or step of the result; of one that has positions, all of them
// taken as one. What the result does not list must not be asked for.
func of(t *testing.T, d *Diagnosis, id string) Candidate {
	t.Helper()
	require.NotNil(t, wholeBook().Node(id), "the book has no %s", id)
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for _, c := range list {
			if c.ID == id && (c.At == "" || c.At == "any") {
				return c
			}
		}
	}
	require.Fail(t, "not in the result", id)
	return Candidate{}
}

// at is a cause or step at one position.
func at(t *testing.T, d *Diagnosis, id, position string) Candidate {
	t.Helper()
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for _, c := range list {
			if c.ID == id && c.At == position {
				return c
			}
		}
	}
	require.Fail(t, "not in the result", "%s at %s", id, position)
	return Candidate{}
}

// leader is the cause most to blame, what is not listed left aside.
func leader(d *Diagnosis) Candidate {
	for _, c := range d.Causes {
		if c.Kind != "unlisted" {
			return c
		}
	}
	return Candidate{}
}

func namesOf(d *Diagnosis) []string {
	var out []string
	for _, c := range d.Verdict.Names {
		out = append(out, c.ID)
	}
	return out
}

// Common practice: with the belt in shreds, the pump free and the shafts free,
// the guess that the pump locked the shaft must lose to the stiff tensioner.
func TestScenarioBelt(t *testing.T) {
	t.Parallel()
	d := scenario(t, balanced, "balance_drive_shredded", `
F1 seen balance_drive.shredded
F2 seen balance_tensioner.stiff
F3 seen balance_drive.edge_frayed
F4 not oil_pump.will_not_turn
F5 not balance_shaft.will_not_turn
F6 not balance_drive.teeth_gone_in_one_span`)
	tensioner := of(t, d, "balance_tensioner_stiff").Blame
	assert.Greater(t, tensioner, 0.6)
	for _, id := range []string{"balance_shaft_locked", "oil_pump_seized", "balance_shaft_seized"} {
		b := of(t, d, id).Blame
		assert.Less(t, b, 0.05, id)
	}
	require.NotEmpty(t, d.Verdict.Names)
	assert.NotContains(t, []string{"balance_shaft_locked", "oil_pump_seized"}, d.Verdict.Names[0].ID)
}

// Common practice: a seized oil pump can lock a balance shaft driven with it,
// and that shreds the belt.
func TestScenarioPumpLocksShaft(t *testing.T) {
	t.Parallel()
	d := scenario(t, balanced, "balance_drive_shredded", `
F1 seen balance_drive.shredded
F2 seen oil_pump.will_not_turn
F3 seen balance_drive.teeth_gone_in_one_span
F4 not balance_tensioner.stiff
F5 not balance_shaft.journal_picked_up`)
	pump := of(t, d, "oil_pump_seized").Blame
	assert.Greater(t, pump, 0.6)
	tensioner := of(t, d, "balance_tensioner_stiff").Blame
	assert.Less(t, tensioner, 0.1)
}

func TestScenarioSealant(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "crankshaft_seized", `
F1 seen oil_pickup.screen_clogged
F2 seen oil_pickup.sealant_on_screen
F3 seen oil_pan.sealant_strings
F4 seen rod_bearing.lining_wiped @ rod 3
F5 not oil_pan.sludge
F6 not oil.little_recovered`)
	require.NotEmpty(t, d.Verdict.Names)
	assert.Equal(t, "sealant_excess", d.Verdict.Names[0].ID)
	sludge := of(t, d, "sludge_formed").Blame
	assert.Less(t, sludge, 0.05)
}

// With two findings nothing deep can be determined, and it says so.
func TestScenarioSparse(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "crankshaft_seized", `
F1 seen starter.will_not_turn_engine
F2 seen rod_bearing.lining_wiped @ rod 2`)
	for _, n := range d.Verdict.Names {
		assert.NotEqual(t, "cause", n.Kind, "no single cause can be told from so little")
	}
	for _, c := range d.Causes {
		assert.Less(t, c.Blame, 0.6, c.ID)
	}
	assert.True(t, d.Stop.WorthGoingOn)
	assert.NotEmpty(t, d.Next)
}

// Two bolts are sheared; the one to blame is the nut that did not break. Why
// it was loose nobody has found, and that is left open.
func TestScenarioBackedOffNut(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "rod_through_block", `
F1 seen crankcase.hole_from_inside
F2 seen rod_bolt.sheared @ rod 3
F3 seen rod_bolt.fatigue_marks @ rod 3
F4 seen rod_bolt.nut_backed_off @ rod 3
F5 seen rod_cap.joint_fretted @ rod 3
F6 not oil_pickup.screen_clogged
F7 not rod_bearing.lining_wiped @ all but rod 3
F8 not running_record.peak_over_limit
F9 not rod_bearing.spun_in_housing @ rod 3`)
	assert.Equal(t, []string{"rod_bolt_loose"}, namesOf(d))
	assert.NotEqual(t, Undetermined, d.Verdict.Standing)
	assert.Greater(t, of(t, d, "rod_bolt_loose").Blame, of(t, d, "rod_bolt_broken").Blame, "the bolt that broke is not the one to blame")
	assert.GreaterOrEqual(t, len(d.Verdict.Behind), 3)
	for _, c := range d.Verdict.Behind {
		assert.Less(t, c.Blame, 0.6, c.ID)
		assert.Greater(t, c.Blame, 0.01, c.ID)
	}
	assert.Contains(t, d.Verdict.Words, "What lies behind it is open")
}

// The oil ran out by a loose drain plug, and a rod nut had never been
// tightened: each seen in the hand, and each would have done it.
func TestScenarioEitherWouldHaveDone(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "engine_stopped", `
F1 seen oil_pan.drain_plug_loose
F2 seen crankcase.oil_sprayed_fresh
F3 seen oil_pressure_gauge.went_to_zero_at_once
F4 seen rod_bolt.seat_without_turning_ring @ rod 2
F5 seen rod_bolt.nut_backed_off @ rod 2
F6 seen rod_bolt.fatigue_marks @ rod 2
F7 seen rod_cap.off @ rod 2
F8 not rod_bearing.spun_in_housing @ rod 2
F9 seen rod_bearing.spun_in_housing @ rod 4
F10 seen starter.will_not_turn_engine`)
	// That many other things stop an engine keeps it from being named; that either would
	// have done it is told all the same, and that neither is to blame alone.
	oil := map[string]bool{"plug_left_loose": true, "oil_lost_fast": true, "oil_starvation": true}
	nut := map[string]bool{"rod_nut_never_torqued": true, "rod_bolt_loose": true}
	pair := slices.IndexFunc(d.Together, func(s Set) bool {
		return len(s.IDs) == 2 && s.How == EitherEnough && (oil[s.IDs[0]] && nut[s.IDs[1]] || nut[s.IDs[0]] && oil[s.IDs[1]])
	})
	require.GreaterOrEqual(t, pair, 0, "%v", d.Together)
	assert.Greater(t, d.Together[pair].Blame, 0.3)
	for _, id := range []string{"plug_left_loose", "rod_nut_never_torqued"} {
		c := d.Causes[slices.IndexFunc(d.Causes, func(c Candidate) bool { return c.ID == id })]
		assert.Less(t, c.Blame, 0.3, "%s alone: the other would have done it", id)
		assert.Greater(t, c.Acted, 0.5, id)
		assert.Greater(t, d.Together[pair].Blame, c.Blame+0.2, "the two held at once")
	}
}

// A bearing that turned in its seat and is said not to be wiped nor its journal
// blue, metal on the screen and none in the pan: that cannot all be right. The
// fight is named, and keeps at probable what would else be determined.
func TestScenarioFightingFindings(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "rod_through_block", `
F1 seen rod_cap.off @ rod 3
F2 seen main_bearing.spun_in_housing @ main 2
F3 seen oil_pickup.metal_on_screen
F4 not main_bearing.lining_wiped @ main 2 ; by = "lens"
F5 not main_journal.blue @ main 2 ; by = "lens"
F6 not oil_pan.bearing_metal`)
	assert.Greater(t, d.Conflict.Value, ConflictCaps)
	require.NotEmpty(t, d.Conflict.Findings)
	assert.Subset(t, []string{"F2", "F3", "F4", "F5", "F6"}, d.Conflict.Findings)
	assert.GreaterOrEqual(t, d.Verdict.Blame, DeterminedAt)
	assert.Equal(t, Probable, d.Verdict.Standing)
	assert.Contains(t, d.Verdict.Why, "fight")
}

// One blow-up told in twenty-three findings is still one blow-up: nothing is
// called determined, and what is named is the step that the findings reach.
func TestScenarioBlowUpInManyFindings(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "engine_stopped", `
F1 seen crankcase.hole_from_inside
F2 seen rod_cap.off @ rod 3
F3 seen rod_bolt.sheared @ rod 3
F4 seen rod_bolt.nut_backed_off @ rod 3
F5 seen rod_cap.joint_fretted @ rod 3
F6 seen rod.broken @ rod 3
F7 seen rod.struck @ rod 3
F8 seen rod_bearing.lining_wiped @ rod 3
F9 seen rod_bearing.spun_in_housing @ rod 3
F10 seen rod_bearing.back_polished @ rod 3
F11 seen rod_journal.blue @ rod 3
F12 seen rod.big_end_blue @ rod 3
F13 seen oil_pan.bearing_metal
F14 seen oil_pickup.metal_on_screen
F15 seen oil_filter.bearing_metal
F16 seen oil_pump.rotors_scored
F17 seen oil.little_recovered
F18 seen crankcase.oil_sprayed_fresh
F19 seen starter.will_not_turn_engine
F20 seen owner_story.noise_before ; by = "told"
F21 seen owner_story.stopped_suddenly ; by = "told"
F22 seen rod_bolt.fatigue_marks @ rod 3
F23 seen oil_level_gauge.below_mark`)
	require.Len(t, d.Findings, 23)
	assert.NotEqual(t, Determined, d.Verdict.Standing)
	assert.Less(t, leader(d).Blame, 0.4, "no cause by itself")
	for _, id := range []string{"rod_bolt_loose", "rod_bolt_broken", "rod_through_block"} {
		assert.Greater(t, of(t, d, id).Acted, 0.8, id)
	}
	assert.Less(t, of(t, d, "rod_through_block").Blame, 0.2, "it would have stopped without the hole")
	assert.Equal(t, Probable, d.Verdict.Standing)
	assert.Equal(t, []string{"rod_bolt_loose"}, namesOf(d))
	assert.Nil(t, d.Verdict.BetterQuestion, "nothing lies farther back that surely acted")
}

// Where nothing can be named and a step farther back surely acted, that is the better
// thing to ask about.
func TestScenarioBetterQuestion(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "engine_stopped", "F1 seen crankcase.hole_from_inside\nF2 seen rod_bolt.sheared @ rod 3")
	assert.Equal(t, Undetermined, d.Verdict.Standing)
	require.NotNil(t, d.Verdict.BetterQuestion)
	assert.Equal(t, "rod_bolt_broken", d.Verdict.BetterQuestion.ID)
	assert.Greater(t, d.Verdict.BetterQuestion.Acted, 0.9)
}

// An old hose, a slow loss, heat, seals baked hard by it, and then water
// everywhere: the hose is to blame, and the flood only follows.
func TestScenarioCoolantLoop(t *testing.T) {
	t.Parallel()
	const late = `
F1 seen coolant.level_low
F2 seen coolant.fresh_runs
F3 seen liner_seal.hard_and_shrunk @ all
F4 seen temperature_gauge.read_hot`
	d := scenario(t, diesel4, "crankshaft_seized", late+`
F5 seen coolant_hose.perished_or_split
F6 seen coolant.dried_crust
F7 seen piston.scuffed @ cyl 4
F8 seen piston.stuck_in_bore @ cyl 4
F9 not thermostat.stuck_shut`)
	assert.Equal(t, "hose_perished", leader(d).ID)
	assert.Greater(t, leader(d).Blame, 0.5)
	assert.NotEqual(t, Undetermined, d.Verdict.Standing)
	early, flood := of(t, d, "coolant_lost_early"), of(t, d, "coolant_lost_late")
	assert.Greater(t, early.Blame, 2*flood.Blame)
	assert.Greater(t, flood.Present, 0.8)
	assert.True(t, flood.Follows)
	assert.True(t, of(t, d, "seal_heat_damaged").Follows)
	assert.Equal(t, Consequential, d.Findings[1].Role, "fresh runs")
	assert.Equal(t, Consequential, d.Findings[2].Role, "baked seals")

	// The same flood with a whole hose, no old crust and a stuck thermostat:
	// there was no loss before the heat.
	d = scenario(t, diesel4, "overheated", late+`
F5 seen thermostat.stuck_shut
F6 not coolant_hose.perished_or_split
F7 not coolant.dried_crust`)
	assert.Equal(t, "thermostat_stuck", leader(d).ID)
	assert.Greater(t, leader(d).Blame, 0.6)
	assert.Less(t, of(t, d, "coolant_lost_early").Blame, 0.2)
	assert.Greater(t, of(t, d, "coolant_lost_late").Present, 0.8)
	assert.Less(t, of(t, d, "coolant_lost_late").Blame, 0.01, "it came after the heat that is asked about")
}

// Common practice: a dowel left lying in the intake is drawn into a cylinder.
func TestTradeDowelFallsIntoCylinder(t *testing.T) {
	t.Parallel()
	d := scenario(t, petrol4, "compression_low", `
F1 seen intake_manifold.dowel_missing
F2 seen combustion_chamber.object_prints @ cyl 2
F3 seen combustion_chamber.dowel_shaped_prints @ cyl 2
F4 not combustion_chamber.object_prints @ all but cyl 2
F5 not valve.head_off @ cyl 2
F6 seen compression_test.low @ cyl 2
F7 not compression_test.low @ all but cyl 2`)
	assert.Equal(t, []string{"dowels_left_in_intake"}, namesOf(d))
	assert.Greater(t, leader(d).Blame, 0.6)
	assert.Greater(t, at(t, d, "hard_object_in_cylinder", "cyl 2").Acted, 0.8)
	assert.Less(t, at(t, d, "hard_object_in_cylinder", "cyl 3").Acted, 0.2)
	assert.Subset(t, chainIDs(d), []string{"dowels_left_in_intake", "hard_object_in_cylinder"})
}

// Common practice: a clogged pickup lowers the oil pressure.
func TestTradeCloggedPickupLowersPressure(t *testing.T) {
	t.Parallel()
	const told = `F1 seen oil_pressure_gauge.read_low ; by = "told" ; sure = "doubtful"`
	before := of(t, scenario(t, diesel4, "", told), "oil_pressure_low").Present
	after := of(t, scenario(t, diesel4, "", told+"\nF2 seen oil_pickup.screen_clogged"), "oil_pressure_low").Present
	assert.Less(t, before, 0.4)
	assert.Greater(t, after, 0.8)
}

// Common practice: an injector seal that is gone lets in air that nothing has
// measured and no filter has cleaned; dirt in that one port is then no sign of
// dust past the filter.
func TestTradeInjectorSealLetsAirAndDirtIn(t *testing.T) {
	t.Parallel()
	findings := strings.Join([]string{
		"F1 seen spark_plug.white_and_blistered @ cyl 3",
		"F2 seen intake_port.grit_bedded_in_oil_film @ cyl 3",
	}, "\n")
	before := scenario(t, petrol4, "", findings)
	after := scenario(t, petrol4, "", findings+"\nF3 seen injector_seal.gone_or_perished @ cyl 3")
	for id, base := range map[string]float64{"mixture_lean": 0.65, "dust_past_one_port": 0.5} {
		assert.Less(t, at(t, before, id, "cyl 3").Present, base, id)
		assert.Greater(t, at(t, after, id, "cyl 3").Present, 0.8, id)
	}
	assert.Less(t, of(t, after, "dust_ingested").Present, of(t, before, "dust_ingested").Present/2)
}

// The same with a timing belt: cam, idler and coolant pump turn freely under a
// frayed belt, and the tensioner does not; with the tensioner free and the
// idler standing, teeth sheared in one span, it is the idler.
func TestScenarioTimingBelt(t *testing.T) {
	t.Parallel()
	d := scenario(t, balanced, "timing_lost", `
F1 seen timing_belt.broken
F2 seen timing_belt.edge_frayed
F3 seen belt_tensioner.stiff
F4 seen belt_tensioner.pointer_off_its_mark
F5 seen timing_cover.belt_slap_marks
F6 not camshaft.will_not_turn
F7 not belt_idler.will_not_turn
F8 not water_pump.will_not_turn
F9 not timing_belt.teeth_gone_in_one_span`)
	assert.Greater(t, of(t, d, "tensioner_stiff").Blame, 0.5)
	for _, id := range []string{"cam_seized", "idler_seized", "water_pump_seized"} {
		assert.Less(t, of(t, d, id).Blame, 0.05, id)
	}
	d = scenario(t, balanced, "timing_lost", `
F1 seen timing_belt.broken
F2 seen timing_belt.teeth_gone_in_one_span
F3 seen belt_idler.will_not_turn
F4 not camshaft.will_not_turn
F5 not belt_tensioner.stiff
F6 not water_pump.will_not_turn
F7 not timing_belt.edge_frayed`)
	assert.Greater(t, of(t, d, "idler_seized").Blame, 0.5)
	assert.Less(t, of(t, d, "tensioner_stiff").Blame, 0.05)
}

// Common practice: a piece of the oil screen that is adrift can shut an oilway.
func TestTradeScreenFragmentShutsOilway(t *testing.T) {
	t.Parallel()
	const wiped = "F1 seen rod_bearing.lining_wiped @ rod 2\nF2 not rod_bearing.lining_wiped @ all but rod 2"
	before := at(t, scenario(t, diesel4, "", wiped), "rod_oilway_blocked", "rod 2").Present
	after := at(t, scenario(t, diesel4, "", wiped+"\nF3 seen oil_pickup.screen_torn"), "rod_oilway_blocked", "rod 2").Present
	assert.Less(t, before, 0.25)
	assert.Greater(t, after, before+0.2)
}

// Common practice: a liner seal that was rolled at fitting pinches the skirt of the
// very piston on which its band is seen.
func TestTradeSealPinchesThePistonThatShowsIt(t *testing.T) {
	t.Parallel()
	d := scenario(t, diesel4, "piston_seized", "F1 seen piston.scuffed_low_band @ cyl 2\nF2 not piston.scuffed_low_band @ all but cyl 2\nF3 seen liner.seal_twisted_or_swollen @ cyl 2")
	assert.Greater(t, at(t, d, "piston_scuffed", "cyl 2").Acted, 0.5)
	for _, other := range []string{"cyl 1", "cyl 3", "cyl 4"} {
		assert.Less(t, at(t, d, "piston_scuffed", other).Acted, 0.25, other)
	}
}

// Common practice: a pump that seizes holds a balance shaft that is driven with
// it. Where the pump has a drive of its own it holds nothing.
func TestTradePumpHoldsShaftOnlyOnTheSameDrive(t *testing.T) {
	t.Parallel()
	const found = "F1 seen oil_pump.will_not_turn\nF2 seen balance_drive.shredded"
	own := strings.Replace(balanced, `oil_pump_drive = "balance shaft"`, `oil_pump_drive = "crank"`, 1)
	same := of(t, scenario(t, balanced, "", found), "balance_shaft_locked").Present
	apart := of(t, scenario(t, own, "", found), "balance_shaft_locked").Present
	assert.Greater(t, same, 0.7)
	assert.Less(t, apart, same/2)
}

// No comparison with other cylinders is asked for where there is one, and of an
// engine with four they are.
func TestNoComparisonOnASingle(t *testing.T) {
	t.Parallel()
	single := strings.NewReplacer(`layout = "inline"`, `layout = "single"`, "cylinders = 4\nmains = 5", "cylinders = 1\nmains = 2").Replace(petrol4)
	for engine, want := range map[string]bool{petrol4: true, single: false} {
		b := wholeBook()
		c := caseOf(t, b, engine, "hydrolock", "F1 seen owner_story.drove_through_water")
		d, err := Diagnose(t.Context(), b, c, Options{Version: "test", Looks: 100})
		require.NoError(t, err)
		require.NotEmpty(t, d.Next)
		compares := false
		for _, l := range d.Next {
			s := b.Sign(l.Sign)
			compares = compares || s.When != nil && s.When.Eval(map[string]any{"engine.cylinders": 1}) == rules.No
		}
		assert.Equal(t, want, compares, engine)
	}
}
