package app

import (
	"fmt"
	"strings"

	"millbase/solver/match"
)

// inWords says what came out.
func (m *Matched) inWords() string {
	switch m.Result.Outcome {
	case match.Clash:
		return m.View.Summary
	case match.OutOfReach:
		return m.outOfReach()
	}
	if len(m.Offers) == 0 {
		return "The shade can be matched, but none of the offers asked for can be made."
	}
	var parts []string
	for i := range m.Offers {
		parts = append(parts, m.offerInWords(&m.Offers[i]))
	}
	s := strings.Join(parts, "; ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
}

func (m *Matched) offerInWords(o *MatchedOffer) string {
	if len(o.Answer.Components) == 0 {
		return o.Kind.String() + ": none that can be weighed as asked"
	}
	s := fmt.Sprintf("%s: %.2f away at %s %s per kg", o.Kind, o.DE00, o.View.CostPerKg.Amount.StringFixed(4), o.View.Currency)
	switch o.Kind {
	case match.FewestBases:
		s += fmt.Sprintf(", %d coloured", o.Bases)
	case match.LeastMetameric:
		s += fmt.Sprintf(", %.2f under %s", o.Second00, m.Problem.SecondViewing())
	}
	return s
}

// outOfReach says how near it comes, and which limits and stocks stand in the way.
func (m *Matched) outOfReach() string {
	r := m.Result.Reach
	s := r.Sentence(m.Problem)
	var limits, stocks []string
	for _, i := range r.InTheWay {
		limits = append(limits, m.View.limitInWords(i))
	}
	for _, j := range r.Short {
		stocks = append(stocks, m.Problem.Blend.Candidates[j].Name())
	}
	if r.Without > m.Problem.Tolerance {
		return s // more stock or wider limits would not bring it in
	}
	if len(limits) > 0 {
		s += " In the way: " + listOf(few(limits), "and") + "."
	}
	if len(stocks) > 0 {
		s += " There is too little of " + listOf(few(stocks), "and") + "."
	}
	return s
}
