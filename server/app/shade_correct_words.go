package app

import (
	"fmt"

	"millbase/solver/formulation"
)

// inWords says what to do with the pot, with or without what it costs.
func (c *ShadeCorrected) inWords(withCost bool) string {
	s := c.Shade
	is := fmt.Sprintf("is %.2f away under %s, where %g is allowed", s.Measured.DE00, c.Problem.Viewing, c.Problem.Tolerance)
	switch s.Outcome {
	case formulation.InLimits:
		return "The pot has its shade: it " + is + ". Nothing has to be added."
	case formulation.Corrected:
		return fmt.Sprintf("The pot %s. Add %s: that brings it to %.2f. %s.", is, c.additions(), s.After.DE00, c.amounts(withCost))
	case formulation.InPart:
		return fmt.Sprintf("The pot %s. Not all of the pot can be brought in: %s. Take %s out, keep %s and add %s: that brings it to %.2f. %s.",
			is, c.nearest(), inKg(s.Pot-s.Kept), inKg(s.Kept), c.additions(), s.After.DE00, c.amounts(withCost))
	}
	return fmt.Sprintf("The pot %s. Nothing that can be added brings it in: %s.", is, c.nearest())
}

// amounts is what there is in the pot with the additions.
func (c *ShadeCorrected) amounts(withCost bool) string {
	if withCost {
		return c.sum(c.Answer.Kept)
	}
	return fmt.Sprintf("The additions are %s; then there are %s in the pot, which holds %s",
		inKg(c.Answer.Added), inKg(c.Answer.Kept+c.Answer.Added), inKg(c.Capacity))
}

// nearest says how near all of the pot comes, and what is in the way.
func (c *ShadeCorrected) nearest() string {
	r := c.Shade.Reach
	if r == nil {
		return "with all of it the limits can't be met together, or not by what can be weighed"
	}
	out := fmt.Sprintf("the nearest is %.2f away (%s)", r.Nearest, r.Why)
	if c.Shade.Outcome == formulation.InPart {
		out = fmt.Sprintf("in a pot of %s there is too little room, and the nearest is %.2f away", inKg(c.Capacity), r.Nearest)
	}
	var ways []string
	for _, i := range r.InTheWay {
		ways = append(ways, c.View.limitInWords(i))
	}
	for _, j := range r.Short {
		ways = append(ways, "so little of "+c.View.Problem.Candidates[j].Name())
	}
	if len(ways) > 0 {
		out += ", with " + listOf(few(ways), "and") + " in the way"
	}
	return out
}
