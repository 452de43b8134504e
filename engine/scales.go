package engine

import "math"

// The thresholds of the verdict, in the one place where they are set. They are
// printed in every report.
const (
	// DeterminedAt is the blame from which a verdict is determined.
	DeterminedAt = 0.90
	// ProbableAt is the blame from which a verdict is probable: clearly more
	// likely than not.
	ProbableAt = 0.60
	// ConflictTold is the conflict from which fighting findings are named:
	// three to one.
	ConflictTold = 0.5
	// ConflictCaps is the conflict above which a verdict is probable at most.
	ConflictCaps = 1.0
	// Screen is the presence below which acted and blame are not worked out:
	// neither can be larger than present.
	Screen = 0.02
	// SingleOfFamily is the share of a family's blame from which a single
	// position of it is named.
	SingleOfFamily = 0.8
)

// Band is a verbal band of evidential strength.
type Band struct {
	From  float64 // likelihood ratio from which it holds
	Words string
}

// Bands are the verbal equivalents of likelihood ratios in the ENFSI guideline
// for evaluative reporting in forensic science, version 3.0 (2015), section
// on the evaluative scale. Below 2 it speaks of no support.
var Bands = []Band{
	{1e6, "extremely strong"},
	{1e4, "very strong"},
	{1e3, "strong"},
	{1e2, "moderately strong"},
	{1e1, "moderate"},
	{2, "weak"},
	{1, "no"},
}

// Strength puts decibans into the words of the scale; the sign is dropped.
func Strength(db float64) string {
	lr := math.Pow(10, math.Abs(db)/10)
	for _, b := range Bands {
		if lr >= b.From {
			return b.Words
		}
	}
	return "no"
}

// NoWeight is what every screen and report calls a weight below the first band that
// speaks of support.
const NoWeight = "hardly any weight"

// Support is decibans as a phrase: "weak support", or NoWeight.
func Support(db float64) string { return SupportOf(Strength(db)) }

// SupportOf is the phrase for a word of Bands.
func SupportOf(strength string) string {
	if strength == Bands[len(Bands)-1].Words {
		return NoWeight
	}
	return strength + " support"
}

// Likelihood is the words for probabilities from a number up.
type Likelihood struct {
	From  float64
	Words string
}

// Likelihoods are the words in which every report tells probabilities. The bands are
// this program's own; they keep "certain" out, because a probability never is.
var Likelihoods = []Likelihood{
	{0.99, "as good as certain"},
	{0.90, "very likely"},
	{0.75, "likely"},
	{0.60, "more likely than not"},
	{0.40, "about as likely as not"},
	{0.20, "less likely than not"},
	{0.05, "unlikely"},
	{0, "very unlikely"},
}

// Likely puts a probability into words.
func Likely(p float64) string {
	for _, l := range Likelihoods {
		if p >= l.From {
			return l.Words
		}
	}
	return Likelihoods[len(Likelihoods)-1].Words
}

// decibans is ten times the decimal log odds, kept within ±60.
func decibans(p float64) float64 {
	const most = 60
	if p <= 0 {
		return -most
	}
	if p >= 1 {
		return most
	}
	return max(-most, min(most, 10*math.Log10(p/(1-p))))
}

// chance is the probability of log odds in decibans.
func chance(db float64) float64 { return 1 / (1 + math.Pow(10, -db/10)) }

// rise is by how many decibans one chance is above another; 0 where nothing but rounding
// separates them.
func rise(p, q float64) float64 {
	const rounding = 1e-9
	if d := decibans(p) - decibans(q); math.Abs(d) >= rounding {
		return d
	}
	return 0
}
