package app

import (
	"context"
	"fmt"

	"millbase/costing/purchase"
)

// OfferScope names the offers that are asked for; an empty part is all.
type OfferScope struct{ Supplier, Offer string }

// conditions of the scope; an offer that is named whole must exist, and so must a
// supplier.
func (s OfferScope) conditions(ctx context.Context, tx Tx) ([]Condition, error) {
	if s.Supplier == "" {
		return nil, nil
	}
	if _, err := tx.Suppliers().Get(ctx, s.Supplier); err != nil {
		return nil, err
	}
	if s.Offer == "" {
		return []Condition{{"supplier", "=", s.Supplier}}, nil
	}
	id := OfferID(s.Supplier, s.Offer)
	_, err := tx.Offers().Get(ctx, id)
	return []Condition{{"offer", "=", id}}, err
}

// PriceHistory lists what offers cost over time, the oldest price of each offer
// first; conditions: material.
func (b *Book) PriceHistory(ctx context.Context, of OfferScope, q Query) ([]Record[purchase.PriceRecord], error) {
	var recs []Record[purchase.PriceRecord]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		where, err := of.conditions(ctx, tx)
		if err != nil {
			return err
		}
		q.Where = append(where, q.Where...)
		recs, err = tx.OfferPrices(ctx, q)
		return err
	})
	return recs, err
}

// PriceRecordID is the id of a record of the history, for the next page.
func PriceRecordID(p purchase.PriceRecord) string {
	return fmt.Sprintf("%s@%010d", OfferID(p.Supplier, p.ID), p.Version)
}

// PriceOutlooks lists what offers are expected to cost; conditions: material.
func (b *Book) PriceOutlooks(ctx context.Context, of OfferScope, q Query) ([]Record[purchase.Outlook], error) {
	var recs []Record[purchase.Outlook]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		where, err := of.conditions(ctx, tx)
		if err != nil {
			return err
		}
		q.Where = append(where, q.Where...)
		recs, err = tx.PriceOutlooks().List(ctx, q)
		return err
	})
	return recs, err
}

// PutPriceOutlook replaces what an offer is expected to cost; no weeks: nothing is
// expected of it. version is the one that was read; 0 skips the check.
func (b *Book) PutPriceOutlook(ctx context.Context, o purchase.Outlook, version int64) (Record[purchase.Outlook], error) {
	var rec Record[purchase.Outlook]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		offer, err := tx.Offers().Get(ctx, OfferID(o.Supplier, o.Offer))
		if err != nil {
			return err
		}
		if err := checkOutlook(o, offer.Value); err != nil {
			return err
		}
		o.Currency = offer.Value.Currency
		if rec, err = tx.PriceOutlooks().Update(ctx, o, version); !isNotFound(err) || version != 0 {
			return err
		}
		rec, err = tx.PriceOutlooks().Create(ctx, o)
		return err
	})
	return rec, err
}

func checkOutlook(o purchase.Outlook, offer purchase.Offer) error {
	var bad Invalid
	wrong := o.Check()
	for i := range o.Weeks {
		if why, found := wrong[i]; found {
			bad = append(bad, FieldError{fmt.Sprintf("outlook.weeks[%d]", i), why})
		}
	}
	if len(o.Weeks) > 0 && o.Currency != offer.Currency {
		bad = append(bad, FieldError{"outlook.weeks[0].price_per_kg", fmt.Sprintf("the offer is in %s; give its prices in %s", offer.Currency, offer.Currency)})
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// outlooks are those of all offers by the name of the offer.
func outlooks(ctx context.Context, tx Tx) (map[string]purchase.Outlook, error) {
	recs, err := tx.PriceOutlooks().List(ctx, Query{})
	out := map[string]purchase.Outlook{}
	for _, r := range recs {
		out[offerName(purchase.Offer{Supplier: r.Value.Supplier, ID: r.Value.Offer})] = r.Value
	}
	return out, err
}
