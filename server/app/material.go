package app

import (
	"context"
	"fmt"

	"millbase/inventory"
	"millbase/inventory/property"
)

func materialsOf(tx Tx) Repo[BookMaterial] { return tx.Materials() }

// CreateMaterial adds a material to the book.
func (b *Book) CreateMaterial(ctx context.Context, m BookMaterial, req Request) (Record[BookMaterial], error) {
	if err := inventory.CheckID(m.ID); err != nil {
		return Record[BookMaterial]{}, InvalidField("material_id", "%s", err)
	}
	return createOnce(ctx, b, materialsOf, "materials", m.ID, m, req, func(ctx context.Context, tx Tx) error {
		return checkMaterial(ctx, tx, m)
	})
}

// Material reads one material.
func (b *Book) Material(ctx context.Context, id string) (Record[BookMaterial], error) {
	return getOne(ctx, b, materialsOf, id)
}

// Materials lists materials; conditions: class, colour_index, archived.
func (b *Book) Materials(ctx context.Context, q Query) ([]Record[BookMaterial], error) {
	return listAll(ctx, b, materialsOf, q)
}

// UpdateMaterial changes a material. change gets it as it stands and must not
// change its id.
func (b *Book) UpdateMaterial(ctx context.Context, id string, version int64, change func(Record[BookMaterial]) (BookMaterial, error)) (Record[BookMaterial], error) {
	return changeOne(ctx, b, materialsOf, "materials/"+id, id, version, change, checkMaterial)
}

func checkMaterial(ctx context.Context, tx Tx, m BookMaterial) error {
	var bad Invalid
	if !m.Class.Valid() {
		bad = append(bad, FieldError{"material.material_class", "must be one of the classes of the trade, such as PIGMENT or VARNISH"})
	}
	if m.SafetyStock < 0 {
		bad = append(bad, FieldError{"material.safety_stock_kg", "must not be below zero"})
	}
	if m.StandardCostPerKg.Sign() < 0 {
		bad = append(bad, FieldError{"material.standard_cost_per_kg", "must not be below zero"})
	}
	bad = append(bad, checkOrdering(m.Ordering)...)
	if m.ColourIndex != "" && m.Class != inventory.Pigment {
		bad = append(bad, FieldError{"material.colour_index", "belongs to pigments only; leave it out, and give pigment_fraction/" + m.ColourIndex + " for a base ink"})
	}
	values, err := checkSet(ctx, tx, "material.properties", m.Properties, m.ColourIndex)
	if err != nil {
		return err
	}
	spread, err := checkDeviations(ctx, tx, "material.deviations", m.Deviations)
	if err != nil {
		return err
	}
	if bad = append(append(bad, values...), spread...); len(bad) > 0 {
		return bad
	}
	return nil
}

// checkOrdering refuses a lot rule without its figure, and a figure that no rule
// reads: whoever sent it expects something that would not happen.
func checkOrdering(o inventory.Ordering) Invalid {
	var bad Invalid
	say := func(field, format string, args ...any) {
		bad = append(bad, FieldError{"material.ordering." + field, fmt.Sprintf(format, args...)})
	}
	switch o.Rule {
	case "", inventory.LotForLot, inventory.FixedLot, inventory.PeriodLots:
	default:
		say("lot_rule", "must be one of LOT_FOR_LOT, FIXED_LOT, PERIOD_LOTS")
	}
	if (o.Rule == inventory.FixedLot) != (o.Lot > 0) {
		say("fixed_lot_kg", "belongs to the rule FIXED_LOT, and must be above zero with it")
	}
	if (o.Rule == inventory.PeriodLots) != (o.PeriodDays > 0) {
		say("lot_period_days", "belongs to the rule PERIOD_LOTS, and must be 1 or more with it")
	}
	return bad
}

// checkSet lists what the catalogue says can't be right in a set of values.
func checkSet(ctx context.Context, tx Tx, field string, s property.Set, colourIndex string) (Invalid, error) {
	if len(s) == 0 {
		return nil, nil
	}
	catalogue, err := propertyCatalogue(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad Invalid
	for _, v := range catalogue.Check(s, colourIndex) {
		bad = append(bad, FieldError{field + `["` + v.Key + `"]`, v.Problem})
	}
	return bad, nil
}

// PlantCurrency is the currency that the plant counts in.
func (b *Book) PlantCurrency(ctx context.Context) (string, error) {
	var p Record[Plant]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		p, err = plantIn(ctx, tx)
		return err
	})
	return p.Value.Currency, err
}
