package postgres

import (
	"context"
	"fmt"
	"slices"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/property"
	"millbase/server/app"
)

// keptBook are the rows of a store that were listed, by collection.
type keptBook struct {
	plant             keptRows[app.Plant]
	balances          keptLists[app.LotBalance]
	substrates        keptRows[app.Substrate]
	properties        keptRows[property.Definition]
	materials         keptRows[app.BookMaterial]
	suppliers         keptRows[purchase.Supplier]
	offers            keptRows[purchase.Offer]
	lots              keptRows[app.StockLot]
	formulas          keptRows[formula.Formula]
	batches           keptRows[batch.Batch]
	orders            keptRows[purchase.Order]
	characterisations keptRows[app.Characterisation]
}

// keptRepo is a repo whose lists of a whole collection keep what they decoded.
type keptRepo[T any] struct {
	repo[T]
	x    *tx
	kept *keptRows[T]
}

// listing is the query on its way; nil where it is one for a page.
func (w keptRepo[T]) listing(q app.Query) (*listing[T], error) {
	if q.Limit != 0 || q.After != "" {
		return nil, nil
	}
	where, args, err := w.filters.where(w.noun, q)
	if err != nil {
		return nil, err
	}
	return &listing[T]{key: keyOf(w.name, where, args), table: w.name, id: "id", of: w.id, cols: w.selected(), scan: w.scan, order: "id",
		where: where, args: args, kept: w.kept}, nil
}

func keyOf(table, where string, args []any) string {
	key := table + where
	for _, a := range args {
		key += "|" + fmt.Sprint(a)
	}
	return key
}

// List answers with records that others share: what hangs on them is not to be
// changed.
func (w keptRepo[T]) List(ctx context.Context, q app.Query) ([]app.Record[T], error) {
	l, err := w.listing(q)
	if err != nil {
		return nil, err
	}
	if l == nil {
		return w.repo.List(ctx, q)
	}
	return listed(ctx, w.x, l)
}

// listed answers from what was read ahead, or reads.
func listed[T any](ctx context.Context, x *tx, l *listing[T]) ([]app.Record[T], error) {
	if recs, ok := x.ahead[l.key].([]app.Record[T]); ok {
		return slices.Clone(recs), nil
	}
	if err := readAll(ctx, x.t, l); err != nil {
		return nil, translate(err)
	}
	l.result()
	return slices.Clone(l.recs), nil
}

// Create forgets what was read ahead.
func (w keptRepo[T]) Create(ctx context.Context, v T) (app.Record[T], error) {
	w.x.ahead = nil
	return w.repo.Create(ctx, v)
}

// Update forgets what was read ahead.
func (w keptRepo[T]) Update(ctx context.Context, v T, version int64) (app.Record[T], error) {
	w.x.ahead = nil
	return w.repo.Update(ctx, v, version)
}

// pendingOf is a list that is to be read ahead.
func (x *tx) pendingOf(a app.Ahead) (pending, error) {
	switch a.List {
	case app.AheadPlant:
		return plantRepo{repo[app.Plant]{plantTable, x.t}, x}.listing(), nil
	case app.AheadBalances:
		return stock{x.t, x}.balances(a.Query, time.Time{})
	case app.AheadFormulas:
		return formulas{repo[formula.Formula]{formulaTable, x.t}, x}.listing(a.Query)
	case app.AheadProperties:
		return x.properties().listing(a.Query)
	case app.AheadMaterials:
		return x.materials().listing(a.Query)
	case app.AheadSuppliers:
		return x.suppliers().listing(a.Query)
	case app.AheadOffers:
		return x.offers().listing(a.Query)
	case app.AheadLots:
		return x.lots().listing(a.Query)
	case app.AheadBatches:
		return x.batches().listing(a.Query)
	case app.AheadOrders:
		return x.orders().listing(a.Query)
	case app.AheadSubstrates:
		return x.substrates().listing(a.Query)
	case app.AheadCharacterisations:
		return x.characterisations().listing(a.Query)
	}
	return nil, fmt.Errorf("no list %d can be read ahead", a.List)
}

func (x *tx) properties() keptRepo[property.Definition] {
	return keptRepo[property.Definition]{repo[property.Definition]{propertyTable, x.t}, x, &x.kept.properties}
}
func (x *tx) materials() keptRepo[app.BookMaterial] {
	return keptRepo[app.BookMaterial]{repo[app.BookMaterial]{materialTable, x.t}, x, &x.kept.materials}
}
func (x *tx) suppliers() keptRepo[purchase.Supplier] {
	return keptRepo[purchase.Supplier]{repo[purchase.Supplier]{supplierTable, x.t}, x, &x.kept.suppliers}
}
func (x *tx) offers() keptRepo[purchase.Offer] {
	return keptRepo[purchase.Offer]{repo[purchase.Offer]{offerTable, x.t}, x, &x.kept.offers}
}
func (x *tx) lots() keptRepo[app.StockLot] {
	return keptRepo[app.StockLot]{repo[app.StockLot]{lotTable, x.t}, x, &x.kept.lots}
}
func (x *tx) batches() keptRepo[batch.Batch] {
	return keptRepo[batch.Batch]{repo[batch.Batch]{batchTable, x.t}, x, &x.kept.batches}
}
func (x *tx) orders() keptRepo[purchase.Order] {
	return keptRepo[purchase.Order]{repo[purchase.Order]{purchaseOrderTable, x.t}, x, &x.kept.orders}
}
func (x *tx) substrates() keptRepo[app.Substrate] {
	return keptRepo[app.Substrate]{repo[app.Substrate]{substrateTable, x.t}, x, &x.kept.substrates}
}
func (x *tx) characterisations() keptRepo[app.Characterisation] {
	return keptRepo[app.Characterisation]{repo[app.Characterisation]{characterisationTable, x.t}, x, &x.kept.characterisations}
}
