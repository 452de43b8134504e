package practice

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"tidemark/evidence"
	"tidemark/evidence/source"
)

// Profile is an engine on which exercises are drawn. It exists nowhere.
type Profile struct {
	ID   string
	Name string // "Ostrik T4 tractor engine"
	Came string // how it came in
	// Engine is the [engine] of its case; Hours are what [history] may say.
	Engine string
	Hours  []int
	Small  bool // few cylinders
	// Climate is what [history] says of it; KmPerHour is how far it goes in an hour that
	// it runs, 0 for what is not driven.
	Climate   string
	KmPerHour int
}

// Profiles are the engines, by id.
var profiles = []Profile{
	{"boat", "Merluna M3 boat engine", "It came in by trailer from a boatyard.",
		`use = "marine"
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 3
camshafts = 1
timing_drive = "gears"
balance_shafts = 0
balance_drive = "none"
lubrication = "wet sump"
oil_pump_drive = "gears"
induction = "natural"
fuel_system = "mechanical injection"
liners = "wet"`, []int{900, 2600, 5200}, true, "marine", 0},
	{"car", "Quenra C4 car engine", "It came in on a breakdown truck.",
		`use = "car"
fuel = "petrol"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
camshafts = 2
timing_drive = "belt"
balance_shafts = 0
balance_drive = "none"
lubrication = "wet sump"
oil_pump_drive = "crank"
induction = "natural"
fuel_system = "port injection"
liners = "none"`, []int{1400, 2900, 4300}, false, "temperate", 45},
	{"generator", "Imbril G6 generator engine", "It was lifted out of the cellar of a cold store.",
		`use = "generator"
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 6
camshafts = 1
timing_drive = "gears"
balance_shafts = 0
balance_drive = "none"
lubrication = "wet sump"
oil_pump_drive = "gears"
induction = "turbo"
fuel_system = "mechanical injection"
liners = "wet"`, []int{400, 3800, 7400}, false, "temperate", 0},
	{"motorcycle", "Velbru V2 motorcycle engine", "It came in complete, in its frame.",
		`use = "motorcycle"
fuel = "petrol"
cycle = "four-stroke"
cooling = "air"
layout = "v"
cylinders = 2
camshafts = 2
timing_drive = "chain"
balance_shafts = 0
balance_drive = "none"
lubrication = "wet sump"
oil_pump_drive = "gears"
induction = "natural"
fuel_system = "carburettor"
liners = "none"`, []int{300, 900, 1900}, true, "temperate", 45},
	{"saw", "Dorvath S1 chain saw engine", "It came in over the counter, still oily.",
		`use = "small"
fuel = "petrol"
cycle = "two-stroke"
cooling = "air"
layout = "single"
cylinders = 1
timing_drive = "none"
balance_shafts = 0
balance_drive = "none"
lubrication = "premix"
oil_pump_drive = "crank"
induction = "natural"
fuel_system = "carburettor"
liners = "coated"`, []int{60, 240, 600}, true, "temperate", 0},
	{"tractor", "Ostrik T4 tractor engine", "It came in whole on a low loader.",
		`use = "tractor"
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 4
camshafts = 1
timing_drive = "gears"
balance_shafts = 2
balance_drive = "gears"
lubrication = "wet sump"
oil_pump_drive = "balance shaft"
induction = "turbo"
fuel_system = "mechanical injection"
liners = "wet"`, []int{700, 3300, 6200}, false, "dusty", 12},
	{"truck", "Hjarvik H6 truck engine", "It came in on a tow bar, and was lifted out.",
		`use = "truck"
fuel = "diesel"
cycle = "four-stroke"
cooling = "liquid"
layout = "inline"
cylinders = 6
camshafts = 1
timing_drive = "gears"
balance_shafts = 0
balance_drive = "none"
lubrication = "wet sump"
oil_pump_drive = "gears"
induction = "turbo"
fuel_system = "common rail"
liners = "wet"`, []int{2100, 4800, 7600}, false, "temperate", 55},
}

// Engines lists the ids of the engines on which exercises are drawn, sorted.
func Engines() []string {
	var out []string
	for _, p := range profiles {
		out = append(out, p.ID)
	}
	slices.Sort(out)
	return out
}

func profile(id string) (Profile, bool) {
	i := slices.IndexFunc(profiles, func(p Profile) bool { return p.ID == id })
	if i < 0 {
		return Profile{}, false
	}
	return profiles[i], true
}

// rebuiltAt is after how many of its hours an engine that has been rebuilt was.
const rebuiltAt = 0.6

// blank is the case of a profile before anything is found. It says all that the book may
// ask of an engine, as whoever stands before one can; the oldest of its ages has been
// rebuilt.
func (p Profile) blank(rng *rand.Rand, question string) (*evidence.Case, error) {
	hours := p.Hours[rng.IntN(len(p.Hours))]
	rebuilt := len(p.Hours) > 1 && hours == p.Hours[len(p.Hours)-1]
	since := hours
	if rebuilt {
		since = int(float64(hours) * (1 - rebuiltAt))
	}
	text := fmt.Sprintf("[case]\nid = %q\nquestion = %q\n[engine]\nname = %q\n%s\n[history]\nhours = %d\nkm = %d\nrebuilt = %v\nhours_since_rebuild = %d\nclimate = %q\n",
		p.ID, question, p.Name, p.Engine, hours, hours*p.KmPerHour, rebuilt, since, p.Climate)
	var faults source.Faults
	c, ok := evidence.Parse("the "+p.ID+" engine", []byte(text), &faults)
	if !ok {
		return nil, fmt.Errorf("%s", strings.TrimSpace(faults.Error()))
	}
	return c, nil
}
