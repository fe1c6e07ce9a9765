package postgres

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/inventory/mass"
)

type orderLineRow struct {
	Material   string          `json:"material"`
	Offer      string          `json:"offer,omitempty"`
	Quantity   mass.Mass       `json:"quantity_mg"`
	Received   mass.Mass       `json:"received_mg,omitempty"`
	PricePerKg decimal.Decimal `json:"price_per_kg"`
	DueDate    time.Time       `json:"due_date"`
}

var purchaseOrderTable = &table[purchase.Order]{
	name: "purchase_order", noun: "purchase order", path: "purchaseOrders",
	id:    func(o *purchase.Order) string { return o.ID },
	setID: func(o *purchase.Order, id string) { o.ID = id },
	columns: []column[purchase.Order]{
		plain("supplier", func(o *purchase.Order) *string { return &o.Supplier }),
		plain("currency", func(o *purchase.Order) *string { return &o.Currency }),
		plain("state", func(o *purchase.Order) *purchase.OrderState { return &o.State }),
		parts("lines", func(o *purchase.Order) *[]purchase.Line { return &o.Lines },
			func(l purchase.Line) orderLineRow { return orderLineRow(l) },
			func(r orderLineRow) purchase.Line { return purchase.Line(r) }),
		plain("note", func(o *purchase.Order) *string { return &o.Note }),
	},
	filters: filters{
		"id": text("id"), "supplier": text("supplier"), "state": text("state"), "currency": text("currency"),
	},
	refs: map[string]ref[purchase.Order]{
		"purchase_order_supplier_fkey": {"supplier", "supplier", func(o *purchase.Order) string { return o.Supplier }},
	},
}
