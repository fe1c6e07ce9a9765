package app

import (
	"fmt"
	"strings"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

func contentsOfPot(pot []inPot) []property.Set {
	var out []property.Set
	for _, x := range pot {
		out = append(out, x.Properties)
	}
	return out
}

// inWords says what to do with the pot.
func (c *Corrected) inWords() string {
	a := c.Answer
	switch a.Outcome {
	case formulation.InLimits:
		return "The pot meets every limit as it is: nothing has to be added."
	case formulation.Corrected:
		return fmt.Sprintf("Add %s: that brings every limit back. %s.", c.additions(), c.sum(a.Pot))
	case formulation.InPart:
		return fmt.Sprintf("Not all of the pot can be brought back: %s. Take %s out, keep %s and add %s: that brings every limit back. %s.%s",
			c.why(), inKg(a.Pot-a.Kept), inKg(a.Kept), c.additions(), c.sum(a.Kept), c.place())
	}
	return fmt.Sprintf("Nothing that can be added brings the pot back: %s.%s", c.why(), c.place())
}

func inKg(m mass.Mass) string { return short(m.Kilograms()) + " kg" }

func (c *Corrected) additions() string {
	var parts []string
	for _, x := range c.Answer.Additions {
		parts = append(parts, inKg(x.Mass)+" of "+c.View.Problem.Candidates[x.Candidate].Name())
	}
	if len(parts) == 0 {
		return "nothing"
	}
	return listOf(few(parts), "and")
}

func (c *Corrected) sum(kept mass.Mass) string {
	return fmt.Sprintf("The additions are %s for %s; then there are %s in the pot, which holds %s",
		inKg(c.Answer.Added), c.Cost, inKg(kept+c.Answer.Added), inKg(c.Capacity))
}

// why names the smallest clashing set.
func (c *Corrected) why() string {
	clash := c.Answer.Clash
	if clash == nil {
		return "with all of it the limits can't be met together, or not by what can be weighed"
	}
	var asks []string
	for _, i := range clash.Limits {
		asks = append(asks, c.View.limitInWords(i))
	}
	out := "these candidates don't give " + listOf(few(asks), "and")
	var short []string
	for _, j := range clash.Stock {
		short = append(short, c.View.Problem.Candidates[j].Name())
	}
	switch {
	case len(short) > 0 && clash.Capacity:
		out += ", with so little of " + listOf(few(short), "and") + ", in a pot of " + inKg(c.Capacity)
	case len(short) > 0:
		out += ", with so little of " + listOf(few(short), "and")
	case clash.Capacity:
		out += " in a pot of " + inKg(c.Capacity)
	}
	return out
}

// place names the largest place for what leaves the pot.
func (c *Corrected) place() string {
	rest := c.Answer.Pot - c.Answer.Kept
	if len(c.WorkOff) == 0 {
		return " None of the inks of the book can take the rest in as it is."
	}
	w := c.WorkOff[0]
	title := w.Title
	if title == "" {
		title = w.Into
	}
	return fmt.Sprintf(" Of the %s that leave it, %s can go into %s of %s (%s), up to %s %% of it.",
		inKg(rest), inKg(w.Mass), inKg(w.Of), strings.TrimSpace(title), w.Into, short(100*w.Share))
}
