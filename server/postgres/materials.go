package postgres

import (
	"github.com/shopspring/decimal"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
)

var propertyTable = &table[property.Definition]{
	name: "property", noun: "property", path: "properties",
	id:    func(p *property.Definition) string { return p.Name },
	setID: func(p *property.Definition, id string) { p.Name = id },
	columns: []column[property.Definition]{
		plain("title", func(p *property.Definition) *string { return &p.Title }),
		plain("unit", func(p *property.Definition) *string { return &p.Unit }),
		plain("qualified", func(p *property.Definition) *bool { return &p.Qualified }),
		plain("blend_index", func(p *property.Definition) *property.Index { return &p.Index }),
		plain("basis", func(p *property.Definition) *string { return &p.Basis }),
		plain("scale", func(p *property.Definition) *float64 { return &p.Scale }),
		plain("index_offset", func(p *property.Definition) *float64 { return &p.Offset }),
		plain("exponent", func(p *property.Definition) *float64 { return &p.Exponent }),
		plain("default_value", func(p *property.Definition) **float64 { return &p.Default }),
		plain("min_value", func(p *property.Definition) *float64 { return &p.Min }),
		plain("max_value", func(p *property.Definition) *float64 { return &p.Max }),
		plain("built_in", func(p *property.Definition) *bool { return &p.BuiltIn }),
	},
	filters: filters{
		"name": text("id"), "unit": text("unit"), "qualified": yesNo("qualified"), "built_in": yesNo("built_in"),
	},
}

var materialTable = &table[app.BookMaterial]{
	name: "material", noun: "material", path: "materials",
	id:    func(m *app.BookMaterial) string { return m.ID },
	setID: func(m *app.BookMaterial, id string) { m.ID = id },
	columns: []column[app.BookMaterial]{
		plain("title", func(m *app.BookMaterial) *string { return &m.Title }),
		plain("class", func(m *app.BookMaterial) *inventory.Class { return &m.Class }),
		object("properties", func(m *app.BookMaterial) *property.Set { return &m.Properties }),
		object("deviations", func(m *app.BookMaterial) *property.Set { return &m.Deviations }),
		plain("colour_index", func(m *app.BookMaterial) *string { return &m.ColourIndex }),
		plain("shelf_life_days", func(m *app.BookMaterial) *int { return &m.ShelfLifeDays }),
		milligrams("safety_stock_mg", func(m *app.BookMaterial) *mass.Mass { return &m.SafetyStock }),
		plain("lot_rule", func(m *app.BookMaterial) *inventory.LotRule { return &m.Ordering.Rule }),
		milligrams("fixed_lot_mg", func(m *app.BookMaterial) *mass.Mass { return &m.Ordering.Lot }),
		plain("lot_period_days", func(m *app.BookMaterial) *int { return &m.Ordering.PeriodDays }),
		plain("lead_time_days", func(m *app.BookMaterial) *int { return &m.Ordering.LeadTimeDays }),
		plain("safety_time_days", func(m *app.BookMaterial) *int { return &m.Ordering.SafetyTimeDays }),
		plain("fence_days", func(m *app.BookMaterial) *int { return &m.Ordering.FenceDays }),
		object("cautions", func(m *app.BookMaterial) *[]string { return &m.Cautions }),
		plain("standard_cost_per_kg", func(m *app.BookMaterial) *decimal.Decimal { return &m.StandardCostPerKg }),
		plain("archived", func(m *app.BookMaterial) *bool { return &m.Archived }),
	},
	filters: filters{
		"id": text("id"), "title": text("title"), "class": text("class"), "colour_index": text("colour_index"),
		"archived": yesNo("archived"), "safety_stock": kilograms("safety_stock_mg"),
	},
}
