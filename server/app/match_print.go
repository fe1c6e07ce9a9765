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
	field   string         // of the request that bare is from
	own     map[string]int // of the request's colourants, by candidate
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
	return p, nil
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

// colour fills in the colourants of the pool. Candidates of the book whose colour
// is not known leave it.
func (p *printed) colour(ctx context.Context, tx Tx, s *setting) error {
	known, err := p.characterised(ctx, tx)
	if err != nil {
		return err
	}
	if err := p.checkOwn(&s.pool); err != nil {
		return err
	}
	var colourless []string
	kept := pool{leftOut: s.pool.leftOut}
	for j := range s.pool.candidates {
		c := &s.pool.candidates[j]
		of, ok := known[c.Material]
		if i, own := p.own[c.ID]; own {
			of, ok = p.Colourants[i].Colourant, true
		}
		switch {
		case ok:
		case !pigmented(c):
			if !slices.Contains(colourless, titleOf(c)) {
				colourless = append(colourless, titleOf(c))
			}
		case j < len(s.req.Inline):
			return InvalidField("print.colourants", "%s has a colour: give its k here, or leave it out of the candidates", c.Name())
		default:
			kept.leave(c.ID, c.Title, "its colour is not known on %s: make drawdowns of it there and characterise it", p.onWhat())
			continue
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
func (p *printed) checkOwn(of *pool) error {
	for i, c := range p.Colourants {
		there := slices.ContainsFunc(of.candidates, func(x formulation.Candidate) bool { return x.ID == c.Candidate }) ||
			slices.ContainsFunc(of.leftOut, func(x LeftOut) bool { return x.Candidate == c.Candidate })
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
	rec, err := tx.Substrates().Get(ctx, p.Substrate)
	if err != nil {
		return absent(err, "substrates/"+p.Substrate)
	}
	p.bare, p.surface = rec.Value.Curve, rec.Value.Surface
	return nil
}

// characterised are the current characterisations on the substrate, by material.
func (p *printed) characterised(ctx context.Context, tx Tx) (map[string]match.Colourant, error) {
	if p.Substrate == "" {
		return nil, nil
	}
	list, err := tx.Characterisations().List(ctx, Query{Where: []Condition{{"substrate", "=", p.Substrate}, {"superseded", "=", "false"},
		{"opaque", "=", strconv.FormatBool(p.Mode == match.Opaque)}}})
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
