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
	Closing    string          `json:"closing,omitempty"`
	Deliveries []deliveryRow   `json:"deliveries,omitempty"`
}

type deliveryRow struct {
	Movement string    `json:"movement"`
	Lot      string    `json:"lot"`
	Quantity mass.Mass `json:"quantity_mg"`
	Date     time.Time `json:"date"`
	Reversed bool      `json:"reversed,omitempty"`
}

// keptLine and readLine convert field by field; a test draws every field.
func keptLine(l purchase.Line) orderLineRow {
	r := orderLineRow{Material: l.Material, Offer: l.Offer, Quantity: l.Quantity, Received: l.Received, PricePerKg: l.PricePerKg,
		DueDate: l.DueDate, Closing: string(l.Closing)}
	for _, d := range l.Deliveries {
		r.Deliveries = append(r.Deliveries, deliveryRow(d))
	}
	return r
}

func readLine(r orderLineRow) purchase.Line {
	l := purchase.Line{Material: r.Material, Offer: r.Offer, Quantity: r.Quantity, Received: r.Received, PricePerKg: r.PricePerKg,
		DueDate: r.DueDate, Closing: purchase.Closing(r.Closing)}
	for _, d := range r.Deliveries {
		l.Deliveries = append(l.Deliveries, purchase.Delivery(d))
	}
	return l
}

var purchaseOrderTable = &table[purchase.Order]{
	name: "purchase_order", noun: "purchase order", path: "purchaseOrders",
	id:    func(o *purchase.Order) string { return o.ID },
	setID: func(o *purchase.Order, id string) { o.ID = id },
	columns: []column[purchase.Order]{
		plain("supplier", func(o *purchase.Order) *string { return &o.Supplier }),
		plain("currency", func(o *purchase.Order) *string { return &o.Currency }),
		plain("state", func(o *purchase.Order) *purchase.OrderState { return &o.State }),
		parts("lines", func(o *purchase.Order) *[]purchase.Line { return &o.Lines }, keptLine, readLine),
		date("sent_date", func(o *purchase.Order) *time.Time { return &o.SentDate }),
		plain("note", func(o *purchase.Order) *string { return &o.Note }),
	},
	filters: filters{
		"id": text("id"), "supplier": text("supplier"), "state": text("state"), "currency": text("currency"),
	},
	refs: map[string]ref[purchase.Order]{
		"purchase_order_supplier_fkey": {"supplier", "supplier", func(o *purchase.Order) string { return o.Supplier }},
	},
}
