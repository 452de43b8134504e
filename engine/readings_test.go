package engine

import (
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
// written. The bands are wide: they hold the reading, not the third digit.

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

// read works out a case against the whole book; findings as in diagnose.
func read(t *testing.T, engine, question, findings string) *Diagnosis {
	t.Helper()
	t.Parallel()
	b := wholeBook()
	require.NotNil(t, b)
	c := shortCase(t, question, findings)
	var faults source.Faults
	with, ok := evidence.Parse("t.toml", []byte("[case]\nid = \"t\"\n"+engine), &faults)
	require.True(t, ok, faults.Error())
	c.Engine = with.Engine
	require.True(t, Check(b, c, &faults), faults.Error())
	d, err := Diagnose(b, c, Options{Version: "test"})
	require.NoError(t, err)
	properties(t, d)
	return d
}

// most is the most blame of any position of a cause or step.
func most(d *Diagnosis, id string) (blame, acted float64) {
	for _, list := range [][]Candidate{d.Causes, d.Steps} {
		for _, c := range list {
			if c.ID == id {
				blame, acted = max(blame, c.Blame), max(acted, c.Acted)
			}
		}
	}
	return blame, acted
}

// Common practice: with the belt in shreds, the pump free and the shafts free,
// the guess that the pump locked the shaft must lose to the stiff tensioner.
func TestReadingBelt(t *testing.T) {
	d := read(t, balanced, "balance_drive_shredded", `
F1 seen balance_drive.shredded
F2 seen balance_tensioner.stiff
F3 seen balance_drive.edge_frayed
F4 not oil_pump.will_not_turn
F5 not balance_shaft.will_not_turn
F6 not balance_drive.teeth_gone_in_one_span`)
	tensioner, _ := most(d, "balance_tensioner_stiff")
	assert.Greater(t, tensioner, 0.6)
	for _, id := range []string{"balance_shaft_locked", "oil_pump_seized", "balance_shaft_seized"} {
		b, _ := most(d, id)
		assert.Less(t, b, 0.05, id)
	}
	require.NotEmpty(t, d.Verdict.Names)
	assert.NotContains(t, []string{"balance_shaft_locked", "oil_pump_seized"}, d.Verdict.Names[0].ID)
}

// Common practice: a seized oil pump can lock a balance shaft driven with it,
// and that shreds the belt.
func TestReadingPumpLocksShaft(t *testing.T) {
	d := read(t, balanced, "balance_drive_shredded", `
F1 seen balance_drive.shredded
F2 seen oil_pump.will_not_turn
F3 seen balance_drive.teeth_gone_in_one_span
F4 not balance_tensioner.stiff
F5 not balance_shaft.journal_picked_up`)
	pump, _ := most(d, "oil_pump_seized")
	assert.Greater(t, pump, 0.6)
	tensioner, _ := most(d, "balance_tensioner_stiff")
	assert.Less(t, tensioner, 0.1)
}

func TestReadingSealant(t *testing.T) {
	d := read(t, diesel4, "crankshaft_seized", `
F1 seen oil_pickup.screen_clogged
F2 seen oil_pickup.sealant_on_screen
F3 seen oil_pan.sealant_strings
F4 seen rod_bearing.lining_wiped @ rod 3
F5 not oil_pan.sludge
F6 not oil.little_recovered`)
	require.NotEmpty(t, d.Verdict.Names)
	assert.Equal(t, "sealant_excess", d.Verdict.Names[0].ID)
	sludge, _ := most(d, "sludge_formed")
	assert.Less(t, sludge, 0.05)
}

// The broken bolts are innocent, the whole one that backed off is not; who left
// it loose stays open.
func TestReadingBackedOffNut(t *testing.T) {
	d := read(t, diesel4, "rod_through_block", `
F1 seen crankcase.hole_from_inside
F2 seen rod_cap.off @ rod 3
F3 seen rod_bolt.sheared @ rod 3
F4 seen rod_bolt.necked @ rod 3
F5 seen rod_bolt.nut_backed_off @ rod 3
F6 seen rod_cap.joint_fretted @ rod 3
F7 not rod_journal.blue @ rod 3`)
	loose, _ := most(d, "rod_bolt_loose")
	assert.Greater(t, loose, 0.8)
	require.NotEmpty(t, d.Verdict.Names)
	assert.NotEqual(t, "rod_bolt_broken", d.Verdict.Names[0].ID)
	spun, _ := most(d, "rod_bearing_spun")
	assert.Less(t, spun, 0.2)
}

// Two things in the hand of which either would have done: each acted, neither
// alone is to blame.
func TestReadingTwoSufficient(t *testing.T) {
	d := read(t, diesel4, "rod_through_block", `
F1 seen crankcase.hole_from_inside
F2 seen oil_cooler.burst_seam
F3 seen rod_bearing.spun_in_housing @ rod 2
F4 seen rod_cap.off @ rod 2
F5 seen rod_bolt.nut_backed_off @ rod 4
F6 seen rod_cap.off @ rod 4
F7 seen rod_journal.blue @ rod 2
F8 seen rod_cap.joint_fretted @ rod 4
F9 seen rod_bolt.seat_without_turning_ring @ rod 4
F10 not rod_journal.blue @ rod 4
F11 not rod_bearing.spun_in_housing @ rod 4`)
	loose, looseActed := most(d, "rod_bolt_loose")
	assert.Greater(t, looseActed, 0.5)
	assert.Less(t, loose, 0.5)
	spun, spunActed := most(d, "rod_bearing_spun")
	assert.Greater(t, spunActed, 0.5)
	assert.Less(t, spun, 0.6)
}

// With two findings nothing deep can be determined, and it says so.
func TestReadingSparse(t *testing.T) {
	d := read(t, diesel4, "crankshaft_seized", `
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

// One big end dry and blue, with its oilway surely open and full pressure to the
// end, while the screen is surely shut: these fight.
func TestReadingFight(t *testing.T) {
	calm := read(t, diesel4, "crankshaft_seized", `
F1 seen oil_pickup.screen_clogged
F2 not oil_pressure_gauge.read_low ; by = "gauge"
F3 not rod_bearing.lining_wiped @ all ; by = "gauge"
F4 not main_bearing.lining_wiped @ all ; by = "gauge"
F5 not piston.stuck_in_bore @ all ; by = "gauge"
F6 not rod_bearing.spun_in_housing @ all ; by = "gauge"`)
	assert.Greater(t, calm.Conflict.Value, ConflictTold)
	assert.NotEmpty(t, calm.Conflict.Findings)
	if calm.Conflict.Value > ConflictCaps {
		assert.NotEqual(t, Determined, calm.Verdict.Standing)
	}
}

// One blow-up told in many findings: no cause may be called determined because
// the wreck is told at length.
func TestReadingBlowUp(t *testing.T) {
	d := read(t, diesel4, "engine_stopped", `
F01 seen crankcase.hole_from_inside
F02 seen rod_cap.off @ rod 2
F03 seen rod.broken @ rod 2
F04 seen rod_bolt.sheared @ rod 2
F05 seen rod_bolt.necked @ rod 2
F06 seen rod.bent @ rod 2
F07 seen rod_journal.grooved @ rod 2
F08 seen rod_bearing.lining_wiped @ rod 2
F09 seen rod_journal.lining_smeared_on @ rod 2
F10 seen oil_pan.bearing_metal
F11 seen oil_filter.bearing_metal
F12 seen crankcase.oil_sprayed_fresh
F13 seen oil.little_recovered
F14 seen owner_story.stopped_suddenly ; by = "told"
F15 seen owner_story.noise_before ; by = "told"
F16 seen piston.head_print @ cyl 2
F17 seen oil_pickup.metal_on_screen
F18 seen oil_pump.rotors_scored
F19 seen rod.struck @ rod 3
F20 seen oil_level_gauge.below_mark
F21 seen rod_bearing.spun_in_housing @ rod 2
F22 seen rod.big_end_blue @ rod 2
F23 seen starter.will_not_turn_engine`)
	for _, c := range d.Causes {
		assert.Less(t, c.Blame, 0.9, "%s is not determined by a wreck told at length", c.ID)
	}
	_, through := most(d, "rod_through_block")
	assert.Greater(t, through, 0.6)
}

// Heat spoils a seal and the seal leaks more: the early leak is to blame, the
// late one is its consequence.
func TestReadingCoolantLoop(t *testing.T) {
	d := read(t, diesel4, "overheated", `
F1 seen coolant_hose.perished_or_split
F2 seen coolant.dried_crust
F3 seen coolant.level_low
F4 seen coolant.fresh_runs
F5 seen liner_seal.hard_and_shrunk @ all
F6 not thermostat.stuck_shut`)
	early, _ := most(d, "coolant_lost_early")
	assert.Greater(t, early, 0.8)
	late, _ := most(d, "coolant_lost_late")
	assert.Less(t, late, 0.05)
	hose, _ := most(d, "hose_perished")
	assert.Greater(t, hose, 0.6)
}

// Common practice: a fragment of the oil screen adrift can block an oilway.
func TestReadingScreenFragment(t *testing.T) {
	d := read(t, diesel4, "crankshaft_seized", `
F1 seen oil_pickup.screen_torn
F2 seen rod_oilway.screen_wire_in_it @ rod 3
F3 seen rod_bearing.lining_wiped @ rod 3
F4 not rod_bearing.lining_wiped @ all but rod 3
F5 seen rod_oilway.blocked @ rod 3
F6 not oil_pickup.screen_clogged
F7 not oil_pressure_gauge.read_low
F8 not oil.little_recovered`)
	b, _ := most(d, "screen_fragment_adrift")
	assert.Greater(t, b, 0.5)
	s, _ := most(d, "oil_starvation")
	assert.Less(t, s, 0.2)
}

// Common practice: dowels left in an intake can fall into a cylinder.
func TestReadingDowel(t *testing.T) {
	d := read(t, diesel4, "engine_stopped", `
F1 seen intake_manifold.dowel_missing
F2 seen combustion_chamber.dowel_shaped_prints @ cyl 2`)
	b, _ := most(d, "dowels_left_in_intake")
	assert.Greater(t, b, 0.5)
}

// Common practice: a clogged pickup lowers the oil pressure.
func TestReadingPickupLowersPressure(t *testing.T) {
	d := read(t, diesel4, "oil_pressure_low", "F1 seen oil_pickup.screen_clogged\nF2 not oil.little_recovered")
	b, _ := most(d, "pickup_blocked")
	assert.Greater(t, b, 0.6)
}

// Common practice: a destroyed injector seal lets unmetered air or dirt in.
func TestReadingInjectorSeal(t *testing.T) {
	petrol := strings.Replace(balanced, "balance_shafts = 2\nbalance_drive = \"belt\"\n", "balance_shafts = 0\n", 1)
	d := read(t, petrol, "dust_past_one_port", `
F1 seen injector_seal.gone_or_perished @ cyl 2
F2 seen intake_port.dust_track_at_injector @ cyl 2
F3 not air_filter.not_fitted
F4 not air_filter.torn`)
	b, _ := most(d, "injector_seal_destroyed")
	assert.Greater(t, b, 0.5)
}
