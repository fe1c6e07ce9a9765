package app

import (
	"context"
	"fmt"

	"millbase/costing/purchase"
	"millbase/inventory"
)

func suppliersOf(tx Tx) Repo[purchase.Supplier] { return tx.Suppliers() }

func offersOf(tx Tx) Repo[purchase.Offer] { return tx.Offers() }

// CreateSupplier adds a supplier.
func (b *Book) CreateSupplier(ctx context.Context, s purchase.Supplier, req Request) (Record[purchase.Supplier], error) {
	if err := inventory.CheckID(s.ID); err != nil {
		return Record[purchase.Supplier]{}, InvalidField("supplier_id", "%s", err)
	}
	return createOnce(ctx, b, suppliersOf, "suppliers", s.ID, s, req, func(context.Context, Tx) error { return nil })
}

// Supplier reads one supplier.
func (b *Book) Supplier(ctx context.Context, id string) (Record[purchase.Supplier], error) {
	return getOne(ctx, b, suppliersOf, id)
}

// Suppliers lists suppliers; conditions: archived, currency.
func (b *Book) Suppliers(ctx context.Context, q Query) ([]Record[purchase.Supplier], error) {
	return listAll(ctx, b, suppliersOf, q)
}

// UpdateSupplier changes a supplier. Its offers keep the currency that they were
// made in.
func (b *Book) UpdateSupplier(ctx context.Context, id string, version int64, change func(Record[purchase.Supplier]) (purchase.Supplier, error)) (Record[purchase.Supplier], error) {
	return changeOne(ctx, b, suppliersOf, "suppliers/"+id, id, version, change, func(context.Context, Tx, purchase.Supplier) error { return nil })
}

// OfferID is the id of an offer in the store.
func OfferID(supplier, offer string) string { return supplier + "/" + offer }

// offerName is the resource name of an offer.
func offerName(o purchase.Offer) string { return "suppliers/" + o.Supplier + "/offers/" + o.ID }

// CreateOffer adds an offer of a supplier.
func (b *Book) CreateOffer(ctx context.Context, o purchase.Offer, req Request) (Record[purchase.Offer], error) {
	if err := inventory.CheckID(o.ID); err != nil {
		return Record[purchase.Offer]{}, InvalidField("offer_id", "%s", err)
	}
	var rec Record[purchase.Offer]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, OfferID(o.Supplier, o.ID))
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.Offers().Get(ctx, seen)
			return err
		}
		if err := checkOffer(ctx, tx, o); err != nil {
			return err
		}
		rec, err = tx.Offers().Create(ctx, o)
		return taken(err, offerName(o))
	})
	return rec, err
}

// Offer reads one offer.
func (b *Book) Offer(ctx context.Context, supplier, id string) (Record[purchase.Offer], error) {
	return getOne(ctx, b, offersOf, OfferID(supplier, id))
}

// Offers lists offers; conditions: supplier, material. A supplier that is named
// must exist.
func (b *Book) Offers(ctx context.Context, supplier string, q Query) ([]Record[purchase.Offer], error) {
	var recs []Record[purchase.Offer]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		if supplier != "" {
			if _, err := tx.Suppliers().Get(ctx, supplier); err != nil {
				return err
			}
			q.Where = append([]Condition{{"supplier", "=", supplier}}, q.Where...)
		}
		var err error
		recs, err = tx.Offers().List(ctx, q)
		return err
	})
	return recs, err
}

// UpdateOffer changes an offer.
func (b *Book) UpdateOffer(ctx context.Context, supplier, id string, version int64, change func(Record[purchase.Offer]) (purchase.Offer, error)) (Record[purchase.Offer], error) {
	name := offerName(purchase.Offer{Supplier: supplier, ID: id})
	return changeOne(ctx, b, offersOf, name, OfferID(supplier, id), version, change, checkOffer)
}

// checkOffer looks at an offer: its parent and material, and that its breaks
// ascend from zero with prices that do not.
func checkOffer(ctx context.Context, tx Tx, o purchase.Offer) error {
	if _, err := tx.Suppliers().Get(ctx, o.Supplier); err != nil {
		return err
	}
	if _, err := tx.Materials().Get(ctx, o.Material); err != nil {
		return missing(err, "offer.material", "materials/"+o.Material)
	}
	var bad Invalid
	if len(o.Breaks) == 0 || o.Breaks[0].From != 0 {
		bad = append(bad, FieldError{"offer.price_breaks[0].from_kg", "must be 0: the first price holds from nothing on"})
	}
	for i, br := range o.Breaks {
		if i > 0 && br.From <= o.Breaks[i-1].From {
			bad = append(bad, FieldError{fmt.Sprintf("offer.price_breaks[%d].from_kg", i), "must be above that of the break before"})
		}
		if br.PricePerKg.Sign() <= 0 {
			bad = append(bad, FieldError{fmt.Sprintf("offer.price_breaks[%d].price_per_kg", i), "must be above zero"})
		}
	}
	if !o.ValidFrom.IsZero() && !o.ValidUntil.IsZero() && o.ValidUntil.Before(o.ValidFrom) {
		bad = append(bad, FieldError{"offer.valid_until_date", "must not lie before valid_from_date"})
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}
