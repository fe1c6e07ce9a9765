package postgres

import (
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/inventory/mass"
)

var supplierTable = &table[purchase.Supplier]{
	name: "supplier", noun: "supplier", path: "suppliers",
	id:    func(s *purchase.Supplier) string { return s.ID },
	setID: func(s *purchase.Supplier, id string) { s.ID = id },
	columns: []column[purchase.Supplier]{
		plain("title", func(s *purchase.Supplier) *string { return &s.Title }),
		plain("currency", func(s *purchase.Supplier) *string { return &s.Currency }),
		plain("lead_time_days", func(s *purchase.Supplier) *int { return &s.LeadTimeDays }),
		plain("contact", func(s *purchase.Supplier) *string { return &s.Contact }),
		plain("archived", func(s *purchase.Supplier) *bool { return &s.Archived }),
	},
	filters: filters{
		"id": text("id"), "title": text("title"), "currency": text("currency"), "archived": yesNo("archived"),
	},
}

type breakRow struct {
	From       mass.Mass       `json:"from_mg"`
	PricePerKg decimal.Decimal `json:"price_per_kg"`
}

// offerTable: the id in the table is "supplier/offer".
var offerTable = &table[purchase.Offer]{
	name: "offer", noun: "offer", path: "offers",
	id: func(o *purchase.Offer) string { return o.Supplier + "/" + o.ID },
	setID: func(o *purchase.Offer, id string) {
		o.Supplier, o.ID, _ = strings.Cut(id, "/")
	},
	columns: []column[purchase.Offer]{
		plain("supplier", func(o *purchase.Offer) *string { return &o.Supplier }),
		plain("offer", func(o *purchase.Offer) *string { return &o.ID }),
		plain("material", func(o *purchase.Offer) *string { return &o.Material }),
		plain("currency", func(o *purchase.Offer) *string { return &o.Currency }),
		parts("breaks", func(o *purchase.Offer) *[]purchase.Break { return &o.Breaks },
			func(b purchase.Break) breakRow { return breakRow(b) },
			func(r breakRow) purchase.Break { return purchase.Break(r) }),
		milligrams("pack_size_mg", func(o *purchase.Offer) *mass.Mass { return &o.PackSize }),
		milligrams("minimum_order_mg", func(o *purchase.Offer) *mass.Mass { return &o.MinimumOrder }),
		plain("lead_time_days", func(o *purchase.Offer) *int { return &o.LeadTimeDays }),
		plain("freight_per_kg", func(o *purchase.Offer) *decimal.Decimal { return &o.FreightPerKg }),
		plain("duty_percent", func(o *purchase.Offer) *decimal.Decimal { return &o.DutyPercent }),
		date("valid_from", func(o *purchase.Offer) *time.Time { return &o.ValidFrom }),
		date("valid_until", func(o *purchase.Offer) *time.Time { return &o.ValidUntil }),
	},
	filters: filters{
		"supplier": text("supplier"), "material": text("material"), "currency": text("currency"),
		"valid_from": day("valid_from"), "valid_until": day("valid_until"),
	},
	refs: map[string]ref[purchase.Offer]{
		"offer_supplier_fkey": {"supplier", "supplier", func(o *purchase.Offer) string { return o.Supplier }},
		"offer_material_fkey": {"material", "material", func(o *purchase.Offer) string { return o.Material }},
	},
}
