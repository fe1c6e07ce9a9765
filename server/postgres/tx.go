package postgres

import (
	"bytes"
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// tx implements app.Tx.
type tx struct {
	t     pgx.Tx
	kept  *keptBook
	queue *river.Client[pgx.Tx] // puts jobs in
	// ahead is what was read ahead, by the key of its query. What this
	// transaction writes clears it.
	ahead  map[string]any
	stamps map[string]string // of what is in ahead
}

var _ app.Tx = (*tx)(nil)

func (x *tx) Properties() app.Repo[property.Definition] { return x.properties() }
func (x *tx) Materials() app.Repo[app.BookMaterial]     { return x.materials() }
func (x *tx) Suppliers() app.Repo[purchase.Supplier]    { return x.suppliers() }
func (x *tx) Offers() app.Repo[purchase.Offer]          { return x.offers() }
func (x *tx) Lots() app.Repo[app.StockLot]              { return x.lots() }
func (x *tx) Specifications() app.Repo[formulation.Specification] {
	return repo[formulation.Specification]{specificationTable, x.t}
}
func (x *tx) Formulas() app.Repo[formula.Formula] {
	return formulas{repo[formula.Formula]{formulaTable, x.t}, x}
}
func (x *tx) Batches() app.Repo[batch.Batch]           { return x.batches() }
func (x *tx) PurchaseOrders() app.Repo[purchase.Order] { return x.orders() }
func (x *tx) Quotes() app.Repo[app.StoredQuote] {
	return quotes{repo[app.StoredQuote]{quoteTable, x.t}}
}
func (x *tx) Keys() app.Repo[app.APIKey]                        { return repo[app.APIKey]{keyTable, x.t} }
func (x *tx) Plant() app.PlantRepo                              { return plantRepo{repo[app.Plant]{plantTable, x.t}, x} }
func (x *tx) Stock() app.StockReader                            { return stock{x.t, x} }
func (x *tx) LotTests() app.Repo[app.LotTest]                   { return repo[app.LotTest]{lotTestTable, x.t} }
func (x *tx) Substrates() app.Repo[app.Substrate]               { return x.substrates() }
func (x *tx) Plans() app.PlanRepo                               { return plans{repo[app.StoredPlan]{planTable, x.t}} }
func (x *tx) Characterisations() app.Repo[app.Characterisation] { return x.characterisations() }
func (x *tx) Ledger() app.TxLedger {
	x.ahead = nil
	return txLedger{x.t}
}

// Once records a request id with the resource that it is answered by.
func (x *tx) Once(ctx context.Context, r app.Request, resource string) (string, error) {
	if r.ID == "" {
		return "", nil // the caller does not ask for it
	}
	tag, err := x.t.Exec(ctx, `INSERT INTO request (id, method, digest, resource) VALUES ($1, $2, $3, $4)
		ON CONFLICT (id) DO NOTHING`, r.ID, r.Method, r.Digest, resource)
	if err != nil {
		return "", translate(err)
	}
	if tag.RowsAffected() == 1 {
		return "", nil
	}
	var method, seen string
	var digest []byte
	err = x.t.QueryRow(ctx, `SELECT method, digest, resource FROM request WHERE id = $1`, r.ID).Scan(&method, &digest, &seen)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return "", &clash{app.Faultf(app.ErrBusy, "TRY_AGAIN", "", "another call with the same request id is under way: try again")}
	case err != nil:
		return "", translate(err)
	case method != r.Method || !bytes.Equal(digest, r.Digest):
		return "", app.Faultf(app.ErrIDReused, "ID_REUSED", "", "request id %s was used before with other content: use a new one", r.ID)
	}
	return seen, nil
}
