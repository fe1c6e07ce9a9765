package app

import (
	"context"
	"fmt"
	"slices"

	"millbase/inventory"
	"millbase/solver/colour"
)

func substratesOf(tx Tx) Repo[Substrate] { return tx.Substrates() }

func characterisationsOf(tx Tx) Repo[Characterisation] { return tx.Characterisations() }

// CreateSubstrate adds a substrate.
func (b *Book) CreateSubstrate(ctx context.Context, s Substrate, req Request) (Record[Substrate], error) {
	if err := inventory.CheckID(s.ID); err != nil {
		return Record[Substrate]{}, InvalidField("substrate_id", "%s", err)
	}
	return createOnce(ctx, b, substratesOf, "substrates", s.ID, s, req, func(context.Context, Tx) error { return checkSubstrate(s) })
}

// Substrate reads one substrate.
func (b *Book) Substrate(ctx context.Context, id string) (Record[Substrate], error) {
	return getOne(ctx, b, substratesOf, id)
}

// Substrates lists substrates.
func (b *Book) Substrates(ctx context.Context, q Query) ([]Record[Substrate], error) {
	return listAll(ctx, b, substratesOf, q)
}

// UpdateSubstrate changes a substrate. What characterisations were fitted on stays.
func (b *Book) UpdateSubstrate(ctx context.Context, id string, version int64, change func(Record[Substrate]) (Substrate, error)) (Record[Substrate], error) {
	var before Substrate
	return changeOne(ctx, b, substratesOf, "substrates/"+id, id, version, func(now Record[Substrate]) (Substrate, error) {
		before = now.Value
		return change(now)
	}, func(ctx context.Context, tx Tx, s Substrate) error {
		if err := checkSubstrate(s); err != nil {
			return err
		}
		if s.Surface == before.Surface && s.FilmGPerM2 == before.FilmGPerM2 && s.Curve.SameGrid(before.Curve) && slices.Equal(s.Curve.Values, before.Curve.Values) {
			return nil
		}
		used, err := tx.Characterisations().List(ctx, Query{Where: []Condition{{"substrate", "=", id}}, Limit: 1})
		if err != nil || len(used) == 0 {
			return err
		}
		return Faultf(ErrConflict, "SUBSTRATE_IN_USE", "substrates/"+id,
			"base inks were characterised on substrates/%s as it was measured; measured anew it is another substrate: add it under another id.", id)
	})
}

func checkSubstrate(s Substrate) error {
	if err := s.Curve.Validate(); err != nil {
		return InvalidField("substrate.curve", "%v", err)
	}
	return nil
}

// Characterise fits what a base ink does on a substrate to its drawdowns, and keeps
// both in the place of the one before.
func (b *Book) Characterise(ctx context.Context, c Characterisation, req Request) (Record[Characterisation], error) {
	if err := inventory.CheckID(c.ID); err != nil {
		return Record[Characterisation]{}, InvalidField("characterisation_id", "%s", err)
	}
	var rec Record[Characterisation]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, c.ID)
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.Characterisations().Get(ctx, seen)
			return err
		}
		fitted, err := c.fitted(ctx, tx)
		if err != nil {
			return err
		}
		if err := supersede(ctx, tx, c); err != nil {
			return err
		}
		rec, err = tx.Characterisations().Create(ctx, fitted)
		return taken(err, "characterisations/"+c.ID)
	})
	return rec, err
}

// fitted is c with its fit.
func (c Characterisation) fitted(ctx context.Context, tx Tx) (Characterisation, error) {
	if _, err := tx.Materials().Get(ctx, c.Material); err != nil {
		return c, missing(err, "characterisation.material", "materials/"+c.Material)
	}
	on, err := tx.Substrates().Get(ctx, c.Substrate)
	if err != nil {
		return c, missing(err, "characterisation.substrate", "substrates/"+c.Substrate)
	}
	white, err := c.whiteOf(ctx, tx)
	if err != nil {
		return c, err
	}
	c.Drawdowns = slices.Clone(c.Drawdowns)
	return c, c.fit(on.Value, white)
}

// supersede marks the current characterisation, in whose place c comes.
func supersede(ctx context.Context, tx Tx, c Characterisation) error {
	before, err := tx.Characterisations().List(ctx, Query{Where: []Condition{{"substrate", "=", c.Substrate}, {"material", "=", c.Material},
		{"opaque", "=", fmt.Sprint(c.Opaque)}, {"superseded", "=", "false"}}})
	if err != nil {
		return err
	}
	for _, old := range before {
		old.Value.Superseded = true
		if _, err := tx.Characterisations().Update(ctx, old.Value, old.Version); err != nil {
			return err
		}
	}
	return nil
}

// whiteOf is the white that the drawdowns are let down in, where one is named.
func (c *Characterisation) whiteOf(ctx context.Context, tx Tx) (*Characterisation, error) {
	switch {
	case c.White == "":
		return nil, nil
	case !c.Opaque:
		return nil, InvalidField("characterisation.white", "only drawdowns of an opaque ink are let down in white; leave it out, or give the mode as opaque.")
	}
	white, err := tx.Characterisations().Get(ctx, c.White)
	if err != nil {
		return nil, missing(err, "characterisation.white", "characterisations/"+c.White)
	}
	if !white.Value.Opaque || white.Value.Substrate != c.Substrate {
		return nil, InvalidField("characterisation.white", "characterisations/%s is not an opaque one on substrates/%s.", c.White, c.Substrate)
	}
	return &white.Value, nil
}

// fit fills in what is fitted to the drawdowns.
func (c *Characterisation) fit(on Substrate, white *Characterisation) error {
	drawdowns := make([]colour.Drawdown, len(c.Drawdowns))
	for i, d := range c.Drawdowns {
		if err := d.Curve.Validate(); err != nil {
			return InvalidField(fmt.Sprintf("characterisation.drawdowns[%d].curve", i), "%v", err)
		}
		if !d.Curve.SameGrid(on.Curve) {
			return InvalidField(fmt.Sprintf("characterisation.drawdowns[%d].curve", i),
				"is measured at other wavelengths than substrates/%s (%d to %d nm by %d); measure both alike.", c.Substrate, on.Curve.First, on.Curve.Last(), on.Curve.Step)
		}
		drawdowns[i] = colour.Drawdown{Concentration: d.Concentration, Curve: d.Curve}
		if d.FilmGPerM2 > 0 && !c.Opaque {
			drawdowns[i].Concentration *= d.FilmGPerM2 / on.FilmGPerM2
		}
	}
	var differences []float64
	var err error
	switch {
	case !c.Opaque:
		var f *colour.Fit
		if f, err = colour.FitFilm(on.Curve, drawdowns, on.Surface); err == nil {
			c.K, c.S, c.Residual, differences = f.Unit, nil, f.Residual, f.Differences
		}
	case white == nil:
		var f *colour.OpaqueFit
		if f, err = colour.FitWhite(drawdowns, on.Surface); err == nil {
			c.K, c.S, c.Residual, differences = f.K, f.S, f.Residual, f.Differences
		}
	default:
		var f *colour.OpaqueFit
		if f, err = colour.FitOpaque(colour.Optics{K: white.K, S: white.S}, drawdowns, on.Surface); err == nil {
			c.K, c.S, c.Residual, differences = f.K, f.S, f.Residual, f.Differences
		}
	}
	if err != nil {
		return InvalidField("characterisation.drawdowns", "%v", err)
	}
	for i := range c.Drawdowns {
		c.Drawdowns[i].DE00 = differences[i]
	}
	return nil
}

// The fit of a drawdown is in doubt beyond these: a visible difference, and one
// that a good instrument would not make.
const (
	doubtfulDE00     = 1.0
	doubtfulResidual = 0.01
)

// Warnings say what to doubt in a fit.
func (c *Characterisation) Warnings() []string {
	var out []string
	different := map[float64]bool{}
	for _, d := range c.Drawdowns {
		different[d.Concentration] = true
	}
	if len(different) < 3 && !(c.Opaque && c.White == "") {
		out = append(out, fmt.Sprintf("Drawdowns at %d concentrations do not show whether the ink behaves in proportion; three or more do.", len(different)))
	}
	for _, d := range c.Drawdowns {
		if d.DE00 > doubtfulDE00 {
			out = append(out, fmt.Sprintf("The drawdown at %g %% is %.1f CIEDE2000 away from its fit: draw it down again, or match near the concentrations that fit.", 100*d.Concentration, d.DE00))
		}
	}
	if c.Residual > doubtfulResidual {
		out = append(out, fmt.Sprintf("Drawdowns and fit differ by %.3f in reflectance (root mean square); check concentrations and film weights.", c.Residual))
	}
	return out
}

// MostAbsorption is the wavelength where the ink absorbs most, nm.
func (c *Characterisation) MostAbsorption() int {
	if len(c.Drawdowns) == 0 || len(c.K) == 0 {
		return 0
	}
	most := 0
	for i, k := range c.K {
		if k > c.K[most] {
			most = i
		}
	}
	grid := c.Drawdowns[0].Curve
	return grid.First + most*grid.Step
}

// Characterisation reads one.
func (b *Book) Characterisation(ctx context.Context, id string) (Record[Characterisation], error) {
	return getOne(ctx, b, characterisationsOf, id)
}

// Characterisations lists them; conditions: material, substrate, superseded, opaque.
func (b *Book) Characterisations(ctx context.Context, q Query) ([]Record[Characterisation], error) {
	return listAll(ctx, b, characterisationsOf, q)
}
