package postgres

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory/lot"
	"millbase/inventory/property"
	"millbase/server/app"
)

var lotTable = &table[app.StockLot]{
	name: "lot", noun: "lot", path: "lots",
	id:    func(l *app.StockLot) string { return l.ID },
	setID: func(l *app.StockLot, id string) { l.ID = id },
	columns: []column[app.StockLot]{
		plain("material", func(l *app.StockLot) *string { return &l.Material }),
		plain("supplier_lot", func(l *app.StockLot) *string { return &l.SupplierLot }),
		named("supplier", func(l *app.StockLot) *string { return &l.Supplier }),
		plain("status", func(l *app.StockLot) *lot.Status { return &l.Status }),
		object("certificate", func(l *app.StockLot) *property.Set { return &l.Certificate }),
		object("tested", func(l *app.StockLot) *property.Set { return &l.Tested }),
		object("deviations", func(l *app.StockLot) *property.Set { return &l.Deviations }),
		date("received_date", func(l *app.StockLot) *time.Time { return &l.ReceivedDate }),
		date("expiry_date", func(l *app.StockLot) *time.Time { return &l.ExpiryDate }),
		plain("batch", func(l *app.StockLot) *string { return &l.Batch }),
		plain("note", func(l *app.StockLot) *string { return &l.Note }),
		plain("cost_per_kg", func(l *app.StockLot) *decimal.Decimal { return &l.Cost.CostPerKg }),
		plain("price_per_kg", func(l *app.StockLot) *decimal.Decimal { return &l.Cost.PricePerKg }),
		plain("price_currency", func(l *app.StockLot) *string { return &l.Cost.PriceCurrency }),
		plain("freight_per_kg", func(l *app.StockLot) *decimal.Decimal { return &l.Cost.FreightPerKg }),
		plain("duty_percent", func(l *app.StockLot) *decimal.Decimal { return &l.Cost.DutyPercent }),
		plain("exchange_rate", func(l *app.StockLot) *decimal.Decimal { return &l.Cost.ExchangeRate }),
		date("rate_date", func(l *app.StockLot) *time.Time { return &l.Cost.RateDate }),
	},
	filters: filters{
		"id": text("id"), "material": text("material"), "supplier": text("coalesce(supplier, '')"), "supplier_lot": text("supplier_lot"),
		"status": text("status"), "batch": text("batch"), "received_date": day("received_date"), "expiry_date": day("expiry_date"),
		"in_stock": yesNo("(id IN (SELECT lot FROM balance WHERE on_hand_mg > 0))"),
	},
	refs: map[string]ref[app.StockLot]{
		"lot_material_fkey": {"material", "material", func(l *app.StockLot) string { return l.Material }},
		"lot_supplier_fkey": {"supplier", "supplier", func(l *app.StockLot) string { return l.Supplier }},
	},
}
