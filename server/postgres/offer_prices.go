package postgres

import (
	"context"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/server/app"
)

// offerPriceTable reads what a trigger keeps of every change of an offer's prices;
// the id, "supplier/offer@0000000003", puts an offer's prices in order.
var offerPriceTable = &table[purchase.PriceRecord]{
	name: `(SELECT offer || '@' || lpad(version::text, 10, '0') COLLATE "C" AS id, split_part(offer, '/', 1) AS supplier, offer, material, currency, breaks,
		freight_per_kg, duty_percent, valid_from, valid_until, version, entered_at AS created_at, entered_at AS updated_at FROM offer_price) AS p`,
	noun: "price", path: "prices",
	id: func(p *purchase.PriceRecord) string { return p.Supplier + "/" + p.ID },
	setID: func(p *purchase.PriceRecord, id string) {
		p.Supplier, p.ID, _ = strings.Cut(id, "/")
		p.ID, _, _ = strings.Cut(p.ID, "@")
	},
	columns: []column[purchase.PriceRecord]{
		plain("material", func(p *purchase.PriceRecord) *string { return &p.Material }),
		plain("currency", func(p *purchase.PriceRecord) *string { return &p.Currency }),
		parts("breaks", func(p *purchase.PriceRecord) *[]purchase.Break { return &p.Breaks },
			func(b purchase.Break) breakRow { return breakRow(b) },
			func(r breakRow) purchase.Break { return purchase.Break(r) }),
		plain("freight_per_kg", func(p *purchase.PriceRecord) *decimal.Decimal { return &p.FreightPerKg }),
		plain("duty_percent", func(p *purchase.PriceRecord) *decimal.Decimal { return &p.DutyPercent }),
		date("valid_from", func(p *purchase.PriceRecord) *time.Time { return &p.ValidFrom }),
		date("valid_until", func(p *purchase.PriceRecord) *time.Time { return &p.ValidUntil }),
	},
	filters: filters{"offer": text("offer"), "supplier": text("supplier"), "material": text("material")},
}

// OfferPrices lists what offers cost over time, the oldest of each first.
func (x *tx) OfferPrices(ctx context.Context, q app.Query) ([]app.Record[purchase.PriceRecord], error) {
	recs, err := repo[purchase.PriceRecord]{offerPriceTable, x.t}.List(ctx, q)
	for i := range recs {
		recs[i].Value.Version = recs[i].Version
	}
	return recs, err
}

type expectedRow struct {
	Week       time.Time       `json:"week"`
	PricePerKg decimal.Decimal `json:"price_per_kg"`
}

var priceOutlookTable = &table[purchase.Outlook]{
	name: "price_outlook", noun: "price outlook", path: "outlooks",
	id: func(o *purchase.Outlook) string { return o.Supplier + "/" + o.Offer },
	setID: func(o *purchase.Outlook, id string) {
		o.Supplier, o.Offer, _ = strings.Cut(id, "/")
	},
	columns: []column[purchase.Outlook]{
		plain("currency", func(o *purchase.Outlook) *string { return &o.Currency }),
		parts("weeks", func(o *purchase.Outlook) *[]purchase.Expected { return &o.Weeks },
			func(e purchase.Expected) expectedRow { return expectedRow(e) },
			func(r expectedRow) purchase.Expected { return purchase.Expected(r) }),
		plain("note", func(o *purchase.Outlook) *string { return &o.Note }),
	},
	filters: filters{"id": text("id"), "supplier": text("split_part(id, '/', 1)"), "offer": text("id"),
		"material": text("(SELECT material FROM offer WHERE offer.id = price_outlook.id)")},
	refs: map[string]ref[purchase.Outlook]{
		"price_outlook_offer_fkey": {"offer", "offer", func(o *purchase.Outlook) string { return o.Supplier + "/" + o.Offer }},
	},
}

// PriceOutlooks are kept by the id of the offer.
func (x *tx) PriceOutlooks() app.Repo[purchase.Outlook] {
	return repo[purchase.Outlook]{priceOutlookTable, x.t}
}
