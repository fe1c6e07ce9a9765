package postgres

import (
	"millbase/server/app"
	"millbase/solver/colour"
)

var substrateTable = &table[app.Substrate]{
	name: "substrate", noun: "substrate", path: "substrates",
	id:    func(s *app.Substrate) string { return s.ID },
	setID: func(s *app.Substrate, id string) { s.ID = id },
	columns: []column[app.Substrate]{
		plain("title", func(s *app.Substrate) *string { return &s.Title }),
		plain("first_nm", func(s *app.Substrate) *int { return &s.Curve.First }),
		plain("step_nm", func(s *app.Substrate) *int { return &s.Curve.Step }),
		plain("reflectance", func(s *app.Substrate) *[]float64 { return &s.Curve.Values }),
		plain("k1", func(s *app.Substrate) *float64 { return &s.Surface.K1 }),
		plain("k2", func(s *app.Substrate) *float64 { return &s.Surface.K2 }),
		plain("specular", func(s *app.Substrate) *bool { return &s.Surface.Included }),
		plain("film_g_per_m2", func(s *app.Substrate) *float64 { return &s.FilmGPerM2 }),
		plain("measured", func(s *app.Substrate) *string { return &s.Measured }),
	},
	filters: filters{"id": text("id"), "title": text("title")},
}

type drawdownRow struct {
	Concentration float64  `json:"concentration"`
	FilmGPerM2    float64  `json:"film_g_per_m2,omitempty"`
	Curve         curveRow `json:"curve"`
	DE00          float64  `json:"de00"`
}

type curveRow struct {
	First  int       `json:"first_nm"`
	Step   int       `json:"step_nm"`
	Values []float64 `json:"values"`
}

var characterisationTable = &table[app.Characterisation]{
	name: "characterisation", noun: "characterisation", path: "characterisations",
	id:    func(c *app.Characterisation) string { return c.ID },
	setID: func(c *app.Characterisation, id string) { c.ID = id },
	columns: []column[app.Characterisation]{
		plain("material", func(c *app.Characterisation) *string { return &c.Material }),
		plain("substrate", func(c *app.Characterisation) *string { return &c.Substrate }),
		plain("opaque", func(c *app.Characterisation) *bool { return &c.Opaque }),
		named("white", func(c *app.Characterisation) *string { return &c.White }),
		plain("note", func(c *app.Characterisation) *string { return &c.Note }),
		parts("drawdowns", func(c *app.Characterisation) *[]app.Drawdown { return &c.Drawdowns },
			func(d app.Drawdown) drawdownRow {
				return drawdownRow{d.Concentration, d.FilmGPerM2, curveRow(d.Curve), d.DE00}
			},
			func(r drawdownRow) app.Drawdown {
				return app.Drawdown{Concentration: r.Concentration, FilmGPerM2: r.FilmGPerM2, Curve: colour.Curve(r.Curve), DE00: r.DE00}
			}),
		plain("k", func(c *app.Characterisation) *[]float64 { return &c.K }),
		numbers("s", func(c *app.Characterisation) *[]float64 { return &c.S }),
		plain("residual", func(c *app.Characterisation) *float64 { return &c.Residual }),
		plain("superseded", func(c *app.Characterisation) *bool { return &c.Superseded }),
	},
	filters: filters{
		"id": text("id"), "material": text("material"), "substrate": text("substrate"),
		"superseded": yesNo("superseded"), "opaque": yesNo("opaque"),
	},
	refs: map[string]ref[app.Characterisation]{
		"characterisation_material_fkey":  {"material", "material", func(c *app.Characterisation) string { return c.Material }},
		"characterisation_substrate_fkey": {"substrate", "substrate", func(c *app.Characterisation) string { return c.Substrate }},
		"characterisation_white_fkey":     {"white", "characterisation", func(c *app.Characterisation) string { return c.White }},
	},
}

// numbers is a list of numbers; none is an empty list, not NULL.
func numbers[T any](name string, field func(*T) *[]float64) column[T] {
	return column[T]{name,
		func(v *T) any {
			if values := *field(v); values != nil {
				return values
			}
			return []float64{}
		},
		func(v *T) any { return field(v) }}
}
