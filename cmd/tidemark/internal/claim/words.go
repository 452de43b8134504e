package claim

import (
	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
)

// standing is what a report may say at one standing of the verdict. All sentences that
// tell how sure something is come from this table and from engine.Likelihoods, so that
// none can sound surer than its number.
type standing struct {
	standing engine.Standing
	from     float64 // blame from which it holds
	head     string
	means    string
	reading  string // how it is not to be read
	opens    string // a sentence that names what is to blame; %s is the name
	again    string // opens the answer to "would it happen again?"
}

var standings = []standing{
	{engine.Determined, engine.DeterminedAt, "Determined",
		"By what was found and by the book, what is named was there, and without it the engine would not have failed as it did, in at least 90 of 100 cases like this one.",
		"It is a judgement of at least 90 in 100, and no certainty; it holds as long as the findings and the book do.",
		"What is to blame is determined: %s.",
		"What has to be put right is known"},
	{engine.Probable, engine.ProbableAt, "Probable",
		"It is clearly more likely than not that what is named was there, and that without it the engine would not have failed as it did: from 60 to 90 of 100 cases like this one. In the others it was something else.",
		"It is not to be read as established. One in ten to four in ten such verdicts are expected to be wrong.",
		"Probably to blame, but not established: %s.",
		"What has to be put right is probably known, but not surely"},
	{engine.Undetermined, 0, "Not determined",
		"Nothing single, and no set of things, is to blame by as much as 60 in 100. What comes nearest is named as that and no more.",
		"It is an answer: what was found does not single anything out. It says nothing for or against anyone.",
		"What is to blame is not determined. What comes nearest, and is not claimed: %s.",
		"What would have to be put right is not known"},
}

func standingOf(s engine.Standing) standing {
	for _, x := range standings {
		if x.standing == s {
			return x
		}
	}
	return standings[len(standings)-1]
}

// excluded says how far a candidate is ruled out by its present or blame.
func excluded(p float64) string {
	switch {
	case p < 0.01:
		return "as good as ruled out"
	case p < 0.05:
		return engine.Likely(p)
	case p < engine.ProbableAt:
		return "not ruled out; " + engine.Likely(p)
	}
	return engine.Likely(p)
}

// often is a probability in figures and words: "83 %, likely".
func often(p float64) string { return report.Percent(p) + ", " + engine.Likely(p) }

// categories are what the cause categories mean, as a claim handler asks: in whose
// hands such a thing lies, without naming anyone.
var categories = []struct{ id, name, what string }{
	{"design", "design", "how the engine or an addition to it was laid out"},
	{"manufacture", "manufacture", "how a part was made"},
	{"assembly", "assembly", "how it was put together, when built or repaired"},
	{"maintenance", "maintenance", "what was done or left undone in service"},
	{"operation", "operation", "how it was run"},
	{"external", "from outside", "something that came to it from outside"},
}

func categoryName(id string) string {
	for _, c := range categories {
		if c.id == id {
			return c.name
		}
	}
	return id
}

// again says, by the category of a cause, what would bring it back.
var again = map[string]string{
	"design":      "It lies in the design, so it comes back in the same engine in the same use unless the design or the use is changed.",
	"manufacture": "It lies in a part as it was made: a new part is free of it unless it is of the same making; sister parts in this engine may have it too.",
	"assembly":    "It lies in how the engine was put together: it comes back if the same is done again, and what of it is still in the engine must come out first.",
	"maintenance": "It lies in maintenance: it comes back if maintenance stays as it was.",
	"operation":   "It lies in how the engine was run: it comes back if it is run so again.",
	"external":    "It came from outside the engine: it comes back unless what is outside is put right too.",
}

// waysOfKnowing part what was seen from what was told.
var waysOfKnowing = []struct {
	title string
	ways  []string
}{
	{"Seen, felt or measured on the engine", []string{"eye", "lens", "gauge", "crack test", ""}},
	{"Reported by a laboratory", []string{"laboratory"}},
	{"Read in papers", []string{"paper"}},
	{"Told by others, not seen", []string{"told"}},
}

// contractQuestions are what contracts of warranty and insurance turn on, with the
// causes and steps of the book that answer them.
var contractQuestions = []struct {
	question string
	ids      []string
}{
	{"Was the engine overheated?", []string{"overheated"}},
	{"Was it run on after a warning?", []string{"ran_on_after_oil_lamp", "run_on_after_alarm", "ran_on_with_knock", "chain_rattle_run_on"}},
	{"Was the oil level too low?", []string{"oil_level_low"}},
	{"Was the oil left in too long?", []string{"oil_overdue"}},
	{"Was the wrong oil in it?", []string{"wrong_oil_filled"}},
	{"Did it take in water?", []string{"driven_through_water", "hydrolock"}},
	{"Was it run beyond its speed?", []string{"overspeed"}},
}

// cautions stand in every report.
var cautions = []string{
	"This report supports a qualified person's judgement and does not replace it. Whoever signs it answers for it.",
	"The maker's manual, local rules and licensed practice come before anything that stands here.",
	"“To blame” is said of causes, never of persons. Nothing here says who has to pay, or that anyone acted wrongly.",
	"The numbers follow from the findings as entered and from the book. A wrong finding, or a cause that the book does not know, makes them wrong.",
	"Parts still to be looked at: hot oil and coolant, stored tension of springs and belts, fuel under high pressure, heavy parts and lifting gear, compressed air, charred seals, sodium-filled valves and asbestos in old gaskets can injure. Keep to the cautions beside each check.",
}

// handling is how exhibits are kept; by common practice of failure investigation.
var handling = []string{
	"Do not put the two faces of a fracture together again, not even to see whether they fit: the marks of the origin are the first thing to go.",
	"Do not touch, brush, wash or wire-brush a fracture face. Leave deposits on it: they may date it.",
	"Dry it with clean, dry, low-pressure air from a distance or by letting it stand. Then a light film of clean, acid-free oil over bare steel, unless a laboratory wants the deposit: then none, and a drying agent in the bag.",
	"Wrap each face by itself in clean, lint-free cloth or paper, then foam; nothing hard and no tape on the face.",
	"One part to a bag, the label tied to the part and a second one on the bag. Bearing shells in pairs, in the order of the engine.",
	"If a piece must be cut out: cold, at least 80 mm from the origin with a wheel and 100 mm with a flame, and photograph it before.",
	"Filters upright and unwashed, in a closed, oil-proof bag; oil samples in clean, dry bottles, labelled with the hours and where they were drawn.",
	"Nothing is thrown away, returned or washed until everyone concerned has agreed in writing.",
}
