package app

import (
	"encoding/json"
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// BookMaterial is a material with its standard cost, which the domain's material
// can't carry: inventory knows nothing of money.
type BookMaterial struct {
	inventory.Material
	// StandardCostPerKg in the plant's currency; zero: none set.
	StandardCostPerKg decimal.Decimal
}

// StockLot is a lot with what it cost.
type StockLot struct {
	lot.Lot
	Cost LotCost
}

// LotCost is the landed cost of a lot. CostPerKg is in the plant's currency and
// is what the lot basis values it at; the rest says how it came about.
type LotCost struct {
	CostPerKg     decimal.Decimal
	PricePerKg    decimal.Decimal // in PriceCurrency
	PriceCurrency string
	FreightPerKg  decimal.Decimal // in PriceCurrency
	DutyPercent   decimal.Decimal // of the price
	ExchangeRate  decimal.Decimal // plant currency per unit of PriceCurrency
	RateDate      time.Time
}

// StoredQuote is a revision of a quote as it was given, whole, so that it can be
// shown again to the cent whatever prices do afterwards.
type StoredQuote struct {
	ID       string
	Revision int // 0 on Create: 1
	Customer string
	Formula  string // "id@revision"; empty: matched to a shade
	// State is draft, sent or accepted; of a revision that another followed it is
	// replaced, but for the one that was sent last.
	State      string
	ValidUntil time.Time
	Made       time.Time // calendar date at the plant that its prices are of
	// Body is the quote in this package's own form.
	Body json.RawMessage
	// Inputs are what the revision was worked out from. They are kept when a revision
	// is added, and read by Tx.Inputs alone.
	Inputs json.RawMessage

	SentRevision int       // of the quote, sent last; 0: none
	Sent         time.Time // calendar date of this revision; zero: not sent
	// The acceptance of the quote; Accepted is zero when there was none.
	Accepted         time.Time
	AcceptedQuantity mass.Mass
	AcceptedDue      time.Time
	AcceptedBatch    string
}

// APIKey is a key that may call the service. The key itself is never kept: only
// its SHA-256 digest (keys are 256 random bits, so no slow hash is needed).
type APIKey struct {
	ID      string
	Title   string
	Role    string
	Digest  []byte
	Revoked bool
}
