package app

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"millbase/inventory"
	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// printed is a ShadePrint with what the book had to say to it.
type printed struct {
	ShadePrint
	bare    colour.Curve
	surface colour.Surface
	field   string                     // of the request that bare is from
	own     map[string]int             // of the request's colourants, by candidate
	known   map[string]match.Colourant // of the book, by material
	// colourants are those of the pool, one per candidate.
	colourants []match.Colourant
}

// printOf finds the bare substrate. tx is nil without a book.
func (b *Book) printOf(ctx context.Context, tx Tx, of ShadePrint, target *colour.Curve) (*printed, error) {
	p := &printed{ShadePrint: of, own: map[string]int{}}
	for i, c := range of.Colourants {
		if _, twice := p.own[c.Candidate]; twice {
			return nil, InvalidField(fmt.Sprintf("print.colourants[%d].candidate", i), "%.80q is there twice", c.Candidate)
		}
		p.own[c.Candidate] = i
	}
	switch {
	case of.Substrate != "" && of.Bare != nil:
		return nil, InvalidField("print.bare", "the substrate of the book has its own curve: leave out either print.substrate or print.bare")
	case of.Substrate != "":
		p.field = "print.substrate"
		if err := p.fromBook(ctx, tx); err != nil {
			return nil, err
		}
	case of.Bare != nil:
		p.field, p.bare = "print.bare", *of.Bare
	case of.Mode == match.Opaque && target != nil: // hides whatever is below it
		p.field, p.bare = "target.curve", *target
	default:
		return nil, Invalid{{"print.substrate", "name the substrate, or give its curve (print.bare)"}, {"print.bare", "give the curve of the bare substrate, or name one of the book (print.substrate)"}}
	}
	if of.Surface != nil {
		p.surface = *of.Surface
	}
	var err error
	p.known, err = p.characterised(ctx, tx)
	return p, err
}

// sameGrid is a curve at the wavelengths of the substrate's, where it has them.
func (p *printed) sameGrid(c colour.Curve) colour.Curve {
	b := &p.bare
	if c.SameGrid(*b) || c.Step == 0 || b.Step%c.Step != 0 || (b.First-c.First)%c.Step != 0 || c.First > b.First || c.Last() < b.Last() {
		return c
	}
	out := colour.Curve{First: b.First, Step: b.Step, Values: make([]float64, len(b.Values))}
	for i := range out.Values {
		out.Values[i] = c.At(b.First + i*b.Step)
	}
	return out
}

// of is what a candidate does to the curve; known is false for a colour that nobody
// told, and a candidate without a colour has the zero Colourant.
func (p *printed) of(c *formulation.Candidate) (out match.Colourant, known bool) {
	if i, own := p.own[c.ID]; own {
		return p.Colourants[i].Colourant, true
	}
	if out, known = p.known[c.Material]; known {
		return out, true
	}
	return out, !pigmented(c)
}

// colour fills in the colourants of the pool. Candidates of the book whose colour
// is not known leave it. more are candidates that have no part in it.
func (p *printed) colour(s *setting, more ...inPot) error {
	if err := p.checkOwn(&s.pool, more); err != nil {
		return err
	}
	var colourless []string
	kept := pool{leftOut: s.pool.leftOut}
	for j := range s.pool.candidates {
		c := &s.pool.candidates[j]
		of, known := p.of(c)
		switch {
		case !known && j < len(s.req.Inline):
			return InvalidField("print.colourants", "%s has a colour: give its k here, or leave it out of the candidates", c.Name())
		case !known:
			kept.leave(c.ID, c.Title, "its colour is not known on %s: make drawdowns of it there and characterise it", p.onWhat())
			continue
		case of.K == nil && !slices.Contains(colourless, titleOf(c)):
			colourless = append(colourless, titleOf(c))
		}
		kept.candidates, kept.prices, kept.ladders = append(kept.candidates, *c), append(kept.prices, s.pool.prices[j]), append(kept.ladders, s.pool.ladders[j])
		p.colourants = append(p.colourants, of)
	}
	s.pool = kept
	if len(colourless) > 0 {
		s.say("Taken as colourless: %s.", listOf(few(colourless), "and"))
	}
	return nil
}

// checkOwn refuses colourants of candidates that are not there.
func (p *printed) checkOwn(of *pool, more []inPot) error {
	for i, c := range p.Colourants {
		there := slices.ContainsFunc(of.candidates, func(x formulation.Candidate) bool { return x.ID == c.Candidate }) ||
			slices.ContainsFunc(of.leftOut, func(x LeftOut) bool { return x.Candidate == c.Candidate }) ||
			slices.ContainsFunc(more, func(x inPot) bool { return x.ID == c.Candidate })
		if !there {
			return InvalidField(fmt.Sprintf("print.colourants[%d].candidate", i), "%.80q is none of the candidates", c.Candidate)
		}
	}
	return nil
}

// onWhat names the substrate.
func (p *printed) onWhat() string {
	if p.Substrate != "" {
		return "substrates/" + p.Substrate
	}
	return "this substrate"
}

// titleOf is the material's title, without the lot.
func titleOf(c *formulation.Candidate) string {
	title, _, _ := strings.Cut(c.Name(), ", lot ")
	title, _, _ = strings.Cut(title, ", offer of ")
	return title
}

// pigmented reports whether a candidate has a colour of its own, known or not.
func pigmented(c *formulation.Candidate) bool {
	switch c.Class {
	case inventory.Pigment, inventory.WorkOff, inventory.Ink:
		return true
	}
	return c.Properties.Sum(property.PigmentFraction) > 0
}

// fromBook takes curve and surface of the substrate in the book.
func (p *printed) fromBook(ctx context.Context, tx Tx) error {
	recs, err := tx.Substrates().List(ctx, p.substrate())
	if err == nil && len(recs) == 0 {
		err = ErrNotFound
	}
	if err != nil {
		return absent(err, "substrates/"+p.Substrate)
	}
	p.bare, p.surface = recs[0].Value.Curve, recs[0].Value.Surface
	return nil
}

// substrate asks for the one it is on.
func (p ShadePrint) substrate() Query { return Query{Where: []Condition{{"id", "=", p.Substrate}}} }

// characterisations asks for the current ones on the substrate.
func (p ShadePrint) characterisations() Query {
	return Query{Where: []Condition{{"substrate", "=", p.Substrate}, {"superseded", "=", "false"}, {"opaque", "=", strconv.FormatBool(p.Mode == match.Opaque)}}}
}

// characterised are the current characterisations on the substrate, by material.
func (p *printed) characterised(ctx context.Context, tx Tx) (map[string]match.Colourant, error) {
	if p.Substrate == "" {
		return nil, nil
	}
	list, err := tx.Characterisations().List(ctx, p.characterisations())
	if err != nil {
		return nil, err
	}
	out := make(map[string]match.Colourant, len(list))
	for _, c := range list {
		of := match.Colourant{K: c.Value.K}
		if c.Value.Opaque {
			of.S = c.Value.S
		}
		out[c.Value.Material] = of
	}
	return out, nil
}
