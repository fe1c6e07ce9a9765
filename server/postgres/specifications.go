package postgres

import (
	"millbase/inventory"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

type limitRow struct {
	ID          string                `json:"id"`
	Title       string                `json:"title,omitempty"`
	Kind        formulation.LimitKind `json:"kind"`
	Lower       *float64              `json:"lower,omitempty"`
	Upper       *float64              `json:"upper,omitempty"`
	ColourIndex string                `json:"colour_index,omitempty"`
	ByStrength  bool                  `json:"by_strength,omitempty"`
	Metal       string                `json:"metal,omitempty"`
	Materials   []string              `json:"materials,omitempty"`
	Classes     []inventory.Class     `json:"classes,omitempty"`
	Property    string                `json:"property,omitempty"`
	Index       property.Index        `json:"index,omitempty"`
	MoveWeight  float64               `json:"move_weight,omitempty"`
	Confidence  float64               `json:"confidence,omitempty"`
	Budget      float64               `json:"budget,omitempty"`
	Spread      float64               `json:"spread,omitempty"`
	Hard        bool                  `json:"hard,omitempty"`
}

var specificationTable = &table[formulation.Specification]{
	name: "specification", noun: "specification", path: "specifications",
	id:    func(s *formulation.Specification) string { return s.ID },
	setID: func(s *formulation.Specification, id string) { s.ID = id },
	columns: []column[formulation.Specification]{
		plain("title", func(s *formulation.Specification) *string { return &s.Title }),
		named("material", func(s *formulation.Specification) *string { return &s.Material }),
		parts("limits", func(s *formulation.Specification) *[]formulation.Limit { return &s.Limits },
			func(l formulation.Limit) limitRow { return limitRow(l) },
			func(r limitRow) formulation.Limit { return formulation.Limit(r) }),
		plain("note", func(s *formulation.Specification) *string { return &s.Note }),
		plain("archived", func(s *formulation.Specification) *bool { return &s.Archived }),
	},
	filters: filters{
		"id": text("id"), "title": text("title"), "material": text("coalesce(material, '')"), "archived": yesNo("archived"),
	},
	refs: map[string]ref[formulation.Specification]{
		"specification_material_fkey": {"material", "material", func(s *formulation.Specification) string { return s.Material }},
	},
}
