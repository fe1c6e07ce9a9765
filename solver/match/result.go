package match

import (
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// Kind says which mixture an offer is.
type Kind uint8

// The kinds of offers.
const (
	// Cheapest costs least within the tolerance.
	Cheapest Kind = iota
	// Closest has the least difference; among mixtures that no instrument could tell
	// from it, its curve is the nearest to the target's, or without a target curve
	// it is the cheapest.
	Closest
	// FewestBases has the fewest coloured materials within the tolerance, and costs
	// least among those.
	FewestBases
	// LeastMetameric changes least against the target under the second light, within
	// the tolerance under the first. It needs a target curve.
	LeastMetameric
)

// Kinds are all kinds of offers, in the order of an answer.
var Kinds = []Kind{Cheapest, Closest, FewestBases, LeastMetameric}

// String names the kind.
func (k Kind) String() string {
	switch k {
	case Cheapest:
		return "cheapest"
	case Closest:
		return "closest"
	case FewestBases:
		return "fewest bases"
	case LeastMetameric:
		return "least metameric"
	}
	return "unknown"
}

// Want says which offers are asked for, and how many points of the frontier of
// cost against difference (0: none, at most MaxPoints).
type Want struct {
	Kinds          []Kind
	FrontierPoints int
}

// MaxPoints is the largest number of points of a frontier.
const MaxPoints = 100

// Outcome says what kind of answer this is.
type Outcome uint8

// The outcomes.
const (
	Matched    Outcome = iota
	OutOfReach         // the nearest mixture is beyond the tolerance: see Reach
	Clash              // the other limits can't be met, whatever the shade: see Result.Clash
)

// Offer is a mixture. Differences are of the prediction from the target.
type Offer struct {
	Kind Kind
	// Answer holds masses, costs, limits and proof, as formulation gives them.
	Answer *formulation.Answer
	// Curve is the prediction from the whole masses, as an instrument measures it.
	Curve     colour.Curve
	Lab       colour.Lab // under Viewing
	SecondLab colour.Lab // under the second light
	DE00      float64    // CIEDE2000 under Viewing
	DE76      float64    // CIE 1976 under Viewing
	// Second00 is the CIEDE2000 difference under the second light, Metamerism the
	// index for the change of light (colour.Metamerism); NaN without a target curve.
	Second00   float64
	Metamerism float64
	// Bases is the number of coloured materials in it.
	Bases int
}

// Point is a point of the frontier of cost against difference.
type Point struct {
	Tolerance float64 // that was allowed
	DE00      float64 // of the mixture, unrounded
	CostPerKg float64
	Shares    []float64 // per candidate
}

// Reach says how near the candidates come to a target that is out of reach.
type Reach struct {
	Nearest float64 // CIEDE2000
	// Why names what is missing: "chroma: the nearest is too dull".
	Why string
	// DeltaL, DeltaC and DeltaH are the parts of the difference over their weights:
	// positive is lighter, more chromatic, further round.
	DeltaL, DeltaC, DeltaH float64
	// Without is the nearest without the limits of the specification, of the bases
	// alone; where it is within the tolerance, it is the limits that stand in the
	// way: those that bind are InTheWay, indices into Blend.Limits.
	Without  float64
	InTheWay []int
	// Short are candidates all of whose stock is used, indices into Blend.Candidates.
	Short []int
}

// Result is the answer to a Problem.
type Result struct {
	Outcome  Outcome
	Offers   []Offer // those asked for; when OutOfReach, the closest alone
	Frontier []Point // by rising tolerance
	Reach    *Reach  // set when OutOfReach
	Clash    *formulation.Answer
	LeftOut  []formulation.LeftOut
	Assumed  []string
	// Solves is the number of linear programs solved on the way.
	Solves int
}
