package app

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver/colour"
	"millbase/solver/match"
)

// QuoteShadeTerms ask for a quote on a colour.
type QuoteShadeTerms struct {
	// Match is the question; its quantity is one of the quote's, zero the first of
	// them. Cost basis and offers are the quote's.
	Match    MatchRequest
	Offer    match.Kind
	Material string // the ink that is made; empty: named like the quote
	Route    []formula.RouteStep
	// Asked is the question in the caller's own form. It is kept to the letter, so
	// that it can be shown and asked again.
	Asked json.RawMessage
	// Found is the mixture of the revision before, to be priced again; nil: match.
	Found *FoundShade
}

// FoundShade is a matched mixture as it goes from one revision to the next.
type FoundShade struct {
	shade QuoteShade
	parts []QuoteComponent
}

// QuoteShade is the shade that a quoted ink was matched to, and how near it comes.
type QuoteShade struct {
	Asked      json.RawMessage     `json:"asked"`
	Offer      string              `json:"offer"`
	Material   string              `json:"material"`
	Route      []formula.RouteStep `json:"route"`
	Quantity   mass.Mass           `json:"quantity_mg"` // that it was matched for
	Matched    string              `json:"matched"`     // the day, YYYY-MM-DD
	Spec       string              `json:"specification,omitempty"`
	Substrate  string              `json:"substrate,omitempty"`
	Tolerance  float64             `json:"tolerance_de00"`
	Target     *colour.Curve       `json:"target,omitempty"` // nil: given in CIELAB
	Predicted  colour.Curve        `json:"predicted"`
	Lights     []SeenShade         `json:"lights"` // the one matched under, then the second
	Metamerism *float64            `json:"metamerism,omitempty"`
	Bases      int                 `json:"bases"`
}

// SeenShade is target and match under one light.
type SeenShade struct {
	Viewing   colour.Viewing `json:"viewing"`
	Target    *colour.Lab    `json:"target,omitempty"` // nil: not known under this light
	Predicted colour.Lab     `json:"predicted"`
}

// Again is the mixture of a revision, for the terms of the next; nil for a quote
// from a formula.
func (q Quote) Again() *FoundShade {
	if q.Shade == nil {
		return nil
	}
	return &FoundShade{*q.Shade, q.Components}
}

// matchQuoted finds the mixture that a quote is on, in the transaction of the
// quote, and says what was assumed.
func (b *Book) matchQuoted(ctx context.Context, tx Tx, r *QuoteRequest) (found FoundShade, assumed []string, err error) {
	t := r.Shade
	if t.Found != nil {
		return *t.Found, []string{fmt.Sprintf("The mixture is the one matched on %s.", t.Found.shade.Matched)}, nil
	}
	ask := t.Match
	ask.Kinds, ask.FrontierPoints, ask.Question.Basis = []match.Kind{t.Offer}, 0, r.Basis
	if ask.Question.Quantity == 0 {
		ask.Question.Quantity = r.Quantities[0]
	}
	if !slices.Contains(r.Quantities, ask.Question.Quantity) {
		return found, nil, InvalidField("quote.shade.match.quantity_kg", "%s is none of the quote's quantities; leave it out or name one of them.", ask.Question.Quantity)
	}
	m, err := newMatching(b, ask)
	if err != nil {
		return found, nil, &ShadeFault{err}
	}
	if err := m.load(ctx, b, tx); err != nil {
		return found, nil, &ShadeFault{err}
	}
	out, err := m.solve(ctx, b)
	if err != nil {
		return found, nil, &ShadeFault{err}
	}
	o, err := out.quotable(t.Offer)
	if err != nil {
		return found, nil, err
	}
	found.parts, err = out.parts(o)
	found.shade = out.shade(o, t, ask)
	found.shade.Matched = m.set.date.Format(time.DateOnly)
	if found.shade.Material == "" {
		found.shade.Material = r.ID
	}
	assumed = slices.Clone(out.View.Assumptions)
	if out.Result.Outcome == match.OutOfReach {
		assumed = append(assumed, out.Summary)
	}
	return found, assumed, err
}

// quotable is the offer that the quote is on. Of a colour that is out of reach it
// is the closest mixture, if that is what was asked for.
func (m *Matched) quotable(kind match.Kind) (*MatchedOffer, error) {
	for i := range m.Offers {
		if o := &m.Offers[i]; o.Kind == kind && len(o.Answer.Components) > 0 {
			return o, nil
		}
	}
	switch m.Result.Outcome {
	case match.OutOfReach:
		return nil, Faultf(ErrNotReady, "OUT_OF_REACH", "", "%s Widen the tolerance, let more bases take part, or quote the closest.", m.Summary)
	case match.Clash:
		return nil, Faultf(ErrNotReady, "LIMITS_CLASH", "", "%s", m.Summary)
	}
	return nil, Faultf(ErrNotReady, "NO_SUCH_OFFER", "", "There is no %s mixture to quote: %s", kind, m.Summary)
}

// parts are the components of a mixture as parts of a formula.
func (m *Matched) parts(o *MatchedOffer) ([]QuoteComponent, error) {
	p := m.Problem.Blend
	var out []QuoteComponent
	var masses []mass.Mass
	whole := true
	for _, x := range o.Answer.Components {
		c := &p.Candidates[x.Candidate]
		if !strings.HasPrefix(c.ID, "lots/") && !strings.HasPrefix(c.ID, "suppliers/") {
			return nil, InvalidField("quote.shade.match.candidates", "%s is not in the book; a quote is made from lots and offers of the book.", c.Name())
		}
		part := QuoteComponent{Material: c.Material, Title: titleOf(c)}
		if lot, ok := strings.CutPrefix(c.ID, "lots/"); ok {
			part.Lot = lot
		}
		whole = whole && c.Properties.Retained() == 1
		same := func(k QuoteComponent) bool { return k.Material == part.Material && k.Lot == part.Lot }
		if i := slices.IndexFunc(out, same); i >= 0 {
			masses[i] += x.Mass
			continue
		}
		out, masses = append(out, part), append(masses, x.Mass)
	}
	for i, ppm := range partsPerMillion(masses, p.Quantity, whole) {
		out[i].PartsPerMillion = ppm
	}
	return slices.DeleteFunc(out, func(c QuoteComponent) bool { return c.PartsPerMillion == 0 }), nil
}

// partsPerMillion writes masses as shares of a quantity. Where all of it is
// retained they add up to the whole: the parts that are missing go to the largest
// remainders (Hamilton's method).
func partsPerMillion(masses []mass.Mass, quantity mass.Mass, whole bool) []int64 {
	out, rest, order := make([]int64, len(masses)), make([]mass.Mass, len(masses)), make([]int, len(masses))
	missing := formula.Whole
	for i, m := range masses {
		mode := mass.RoundHalfEven
		if whole {
			mode = mass.RoundFloor
		}
		out[i] = int64(mass.MulDiv(m, formula.Whole, int64(quantity), mode))
		rest[i] = m - mass.MulDiv(mass.Mass(out[i]), int64(quantity), formula.Whole, mass.RoundFloor)
		order[i] = i
		missing -= out[i]
	}
	if !whole {
		return out
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(min(1, max(-1, rest[b]-rest[a]))) })
	for k := 0; missing > 0 && len(order) > 0; k++ {
		out[order[k%len(order)]]++
		missing--
	}
	return out
}

func (m *Matched) shade(o *MatchedOffer, t *QuoteShadeTerms, ask MatchRequest) QuoteShade {
	p := m.Problem
	s := QuoteShade{Asked: t.Asked, Offer: o.Kind.String(), Material: t.Material, Route: t.Route, Quantity: ask.Question.Quantity, Spec: ask.Question.Specification,
		Substrate: ask.Print.Substrate, Tolerance: p.Tolerance, Target: p.Target.Curve, Predicted: o.Curve, Bases: o.Bases}
	if !math.IsNaN(o.Metamerism) {
		s.Metamerism = &o.Metamerism
	}
	first, second := SeenShade{Viewing: p.Viewing, Predicted: o.Lab}, SeenShade{Viewing: p.SecondViewing(), Predicted: o.SecondLab}
	if p.Target.Curve == nil {
		first.Target = &p.Target.Lab
	} else {
		a, b := p.Target.Curve.Seen(first.Viewing), p.Target.Curve.Seen(second.Viewing)
		first.Target, second.Target = &a, &b
	}
	s.Lights = []SeenShade{first, second}
	return s
}

// InWords says to the customer how near the match comes. The words for a
// CIEDE2000 difference are those of common practice.
func (s QuoteShade) InWords() string {
	var parts []string
	for i, l := range s.Lights {
		if l.Target == nil {
			continue
		}
		d := colour.Difference2000(*l.Target, l.Predicted)
		text := fmt.Sprintf("under %s %.1f (CIEDE2000), which is %s", l.Viewing, d, visible(d))
		if i > 0 {
			text = fmt.Sprintf("under %s %.1f, %s", l.Viewing, d, visible(d))
		}
		parts = append(parts, text)
	}
	return "By calculation the ink differs from the shade asked for " + strings.Join(parts, "; ") + "."
}

// visible says who sees a difference.
func visible(de00 float64) string {
	switch {
	case de00 < 0.5:
		return "not to be seen"
	case de00 < 1.05: // what reads as 1.0 counts as 1
		return "hardly to be seen, even side by side"
	case de00 < 2:
		return "to be seen side by side by a trained eye"
	case de00 < 3.5:
		return "to be seen side by side"
	}
	return "plainly to be seen"
}

// formulaOf is the formula of the mixture, not yet in the book.
func (f FoundShade) formulaOf(r *QuoteRequest) formula.Formula {
	out := formula.Formula{ID: f.shade.Material, Title: r.Title, Material: f.shade.Material, Specification: f.shade.Spec, Route: f.shade.Route, Released: true}
	for _, c := range f.parts {
		out.Ingredients = append(out.Ingredients, formula.Ingredient{Material: c.Material, Lot: c.Lot, PartsPerMillion: c.PartsPerMillion})
	}
	return out
}

// quotedShade is the formula that a quote on a colour is worked out from.
func (b *Book) quotedShade(ctx context.Context, tx Tx, s *supply, r *QuoteRequest) (FoundShade, formula.Formula, []string, error) {
	found, assumed, err := b.matchQuoted(ctx, tx, r)
	if err != nil {
		return found, formula.Formula{}, nil, err
	}
	made, known := s.materials[found.shade.Material]
	switch {
	case known && made.Class != inventory.Ink:
		return found, formula.Formula{}, nil, InvalidField("quote.shade.material", "materials/%s is a %s; name an ink, or a name that is not in the book yet.", made.ID, inWords(made.Class))
	case known && r.Title == "":
		r.Title = s.title(made.ID)
	case strings.TrimSpace(r.Title) == "":
		return found, formula.Formula{}, nil, InvalidField("quote.title", "name the ink as the customer will know it.")
	}
	if len(found.shade.Route) == 0 {
		found.shade.Route = s.usualRoute()
	}
	var words []string
	for _, step := range found.shade.Route {
		words = append(words, inWords(step.Step))
	}
	if len(words) > 0 {
		assumed = append(assumed, "The mixture is made by "+listOf(words, "and")+".")
	}
	return found, found.formulaOf(r), assumed, nil
}

// usualRoute is how the plant mixes finished base inks: let down, tested and
// canned, as far as it has the machines.
func (s *supply) usualRoute() []formula.RouteStep {
	var out []formula.RouteStep
	for _, step := range []formula.Step{formula.LetDown, formula.QualityTest, formula.Canning} {
		if len(s.plant.machinesFor(step)) > 0 {
			out = append(out, formula.RouteStep{Step: step, Passes: 1})
		}
	}
	return out
}

// ShadeFault is what is wrong with the question for the shade of a quote: its
// fields are those of a MatchRequest.
type ShadeFault struct{ Err error }

func (f *ShadeFault) Error() string { return f.Err.Error() }

// Unwrap gives the error as the match had it.
func (f *ShadeFault) Unwrap() error { return f.Err }
