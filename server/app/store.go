package app

import (
	"context"
	"encoding/json"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// Store keeps the book. There is one implementation, on Postgres.
type Store interface {
	// View runs f on one consistent snapshot. f must not write.
	View(ctx context.Context, f func(context.Context, Tx) error) error
	// Update runs f in one transaction, committed when f returns nil. f may run
	// more than once (a serialization failure, a deadlock): it must have no
	// effect outside tx but on its own results.
	Update(ctx context.Context, f func(context.Context, Tx) error) error

	LedgerStore
	// Ping reports whether the database answers.
	Ping(ctx context.Context) error
	Close()
}

// LedgerStore posts to the ledger. Single posts of many callers are gathered
// into one transaction; each is durable when its call returns.
type LedgerStore interface {
	// Post appends one movement. The same id with the same content returns the
	// movement as it stands and replayed=true; with other content it is
	// ErrIDReused.
	Post(ctx context.Context, m ledger.Movement) (posted ledger.Movement, replayed bool, err error)
	// PostAll appends all movements in one transaction, or none of them; a
	// replayed one counts as done.
	PostAll(ctx context.Context, ms []ledger.Movement) ([]ledger.Movement, error)
	// Reserve sets mass aside; idempotent by id like Post.
	Reserve(ctx context.Context, r ledger.Reservation) (made ledger.Reservation, replayed bool, err error)
	// Release gives back what is left of a reservation; releasing a closed one
	// changes nothing.
	Release(ctx context.Context, id string) (ledger.Reservation, error)
}

// Record is a stored value with its version. Version starts at 1 and grows by
// one with every change; it is the resource's etag.
type Record[T any] struct {
	Value     T
	Version   int64
	CreatedAt time.Time
	UpdatedAt time.Time
}

// Query asks for a page of a list in id order.
type Query struct {
	Where []Condition // all must hold
	After string      // id of the last row of the page before
	Limit int         // at most this many rows; 0 is all
}

// Condition is field op value. Op is one of = != < <= > >=. A field that the
// aggregate can't filter by is a FieldError.
type Condition struct {
	Field string
	Op    string
	Value string
}

// Repo is what every aggregate offers. T is the domain value.
type Repo[T any] interface {
	// Get returns ErrNotFound for an unknown id.
	Get(ctx context.Context, id string) (Record[T], error)
	List(ctx context.Context, q Query) ([]Record[T], error)
	// Create returns ErrExists when the id is taken.
	Create(ctx context.Context, v T) (Record[T], error)
	// Update replaces the value; version is the one that was read, 0 skips the
	// check. ErrStale when it has changed since.
	Update(ctx context.Context, v T, version int64) (Record[T], error)
}

// Tx is one transaction.
type Tx interface {
	Properties() Repo[property.Definition]
	Materials() Repo[BookMaterial]
	Suppliers() Repo[purchase.Supplier]
	Offers() Repo[purchase.Offer] // id is "supplier/offer"
	// OfferPrices are kept with every change of an offer's prices, and listed with the
	// oldest of each offer first; conditions: offer, supplier, material.
	OfferPrices(ctx context.Context, q Query) ([]Record[purchase.PriceRecord], error)
	PriceOutlooks() Repo[purchase.Outlook] // id is that of the offer
	Lots() Repo[StockLot]
	Specifications() Repo[formulation.Specification]
	// Formulas: Get takes "id" (newest revision) or "id@3"; Create appends the
	// next revision; List gives the newest of each, or all revisions of one
	// formula with the condition formula = id; Update only releases or
	// withdraws a revision.
	Formulas() Repo[formula.Formula]
	Batches() Repo[batch.Batch]
	PurchaseOrders() Repo[purchase.Order]
	// Quotes: Get takes "id" (newest revision) or "id@3"; List gives the newest of
	// each, all revisions of one with the condition quote = id (oldest first), or
	// what was sent last of each with sent = true; Update with the next Revision
	// adds it, with the same one it changes the states only.
	Quotes() Repo[StoredQuote]
	// Inputs reads what a revision of a quote was worked out from, ErrNotFound when it
	// was not kept.
	Inputs(ctx context.Context, quote string, revision int) (json.RawMessage, error)
	Plans() PlanRepo
	// LotTests: the id is "lot/test".
	LotTests() Repo[LotTest]
	Substrates() Repo[Substrate]
	Characterisations() Repo[Characterisation]
	Keys() Repo[APIKey]
	Operations() OperationRepo
	Plant() PlantRepo
	Stock() StockReader
	// Ledger posts inside this transaction (finishing a batch).
	Ledger() TxLedger
	// ReadAhead reads lists in one round trip: the same lists asked for afterwards
	// are answered from it, until this transaction writes. Where seen is the same
	// as another time, so is all that the lists hold; empty, nothing can be said.
	// What hangs on the records is shared, and not to be changed.
	ReadAhead(ctx context.Context, lists ...Ahead) (seen string, err error)
	// Once records a request id. seen is the resource id recorded before for
	// the same id and content; other content is ErrIDReused.
	Once(ctx context.Context, r Request, resource string) (seen string, err error)
}

// Ahead is a list of a whole collection that is read ahead.
type Ahead struct {
	List  AheadList
	Query Query // without a page
}

// AheadList names what can be read ahead.
type AheadList uint8

// What can be read ahead. The plant has no conditions, balances are those of now.
const (
	AheadPlant AheadList = iota
	AheadBalances
	AheadProperties
	AheadMaterials
	AheadSuppliers
	AheadOffers
	AheadLots
	AheadFormulas
	AheadBatches
	AheadOrders
	AheadSubstrates
	AheadCharacterisations
)

// Request is a client-chosen request id (AIP-155) with a digest of its content.
type Request struct {
	ID     string
	Method string
	Digest []byte
}

// PlantRepo keeps the plant's one settings record.
type PlantRepo interface {
	Get(ctx context.Context) (Record[Plant], error)
	Put(ctx context.Context, p Plant, version int64) (Record[Plant], error)
}

// StockReader answers questions of the ledger.
type StockReader interface {
	// Balances of the lots that meet the conditions (lot, material, location,
	// status), as of a moment; zero is now. Rows of zero are left out unless a
	// lot is named. Reserved is only known for now.
	Balances(ctx context.Context, q Query, asOf time.Time) ([]LotBalance, error)
	Movement(ctx context.Context, id string) (ledger.Movement, error)
	// Movements newest first; conditions: lot, batch, kind, posted_at.
	Movements(ctx context.Context, q Query) ([]ledger.Movement, error)
	Reservation(ctx context.Context, id string) (ledger.Reservation, error)
	// Reservations; conditions: lot, batch, open ("true").
	Reservations(ctx context.Context, q Query) ([]ledger.Reservation, error)
	// Check rebuilds every balance and reservation total from the ledger and
	// reports what does not agree.
	Check(ctx context.Context) (LedgerCheck, error)
}

// TxLedger posts inside a transaction.
type TxLedger interface {
	Post(ctx context.Context, ms ...ledger.Movement) error
	Reserve(ctx context.Context, rs ...ledger.Reservation) error
	Release(ctx context.Context, ids ...string) error
}

// LotBalance is a balance with the lot's material.
type LotBalance struct {
	ledger.Balance
	Material string
}

// LedgerCheck is the result of rebuilding the balances from the ledger.
type LedgerCheck struct {
	Movements   int64
	Entries     int64
	Balances    int64
	Differences []LedgerDifference
	InStock     mass.Mass
	CheckedAt   time.Time
}

// LedgerDifference is one balance that does not agree with the ledger.
type LedgerDifference struct {
	Lot, Location string
	Kept, Rebuilt ledger.Balance
}
