package postgres

import (
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgtype"

	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

type batchLineRow struct {
	Material    string    `json:"material"`
	Lot         string    `json:"lot,omitempty"`
	Location    string    `json:"location,omitempty"`
	Quantity    mass.Mass `json:"quantity_mg"`
	Reservation string    `json:"reservation,omitempty"`
	Weighed     mass.Mass `json:"weighed_mg,omitempty"`
}

// revisionRef reads a nullable revision; NULL is 0.
type revisionRef struct{ n *int }

// ScanInt64 implements pgtype.Int64Scanner.
func (r revisionRef) ScanInt64(v pgtype.Int8) error {
	*r.n = int(v.Int64)
	return nil
}

var batchTable = &table[batch.Batch]{
	name: "batch", noun: "batch", path: "batches",
	id:    func(b *batch.Batch) string { return b.ID },
	setID: func(b *batch.Batch, id string) { b.ID = id },
	columns: []column[batch.Batch]{
		named("formula", func(b *batch.Batch) *string { return &b.Formula }),
		{"formula_revision",
			func(b *batch.Batch) any { return pgtype.Int4{Int32: int32(b.FormulaRevision), Valid: b.Formula != ""} },
			func(b *batch.Batch) any { return revisionRef{&b.FormulaRevision} }},
		named("specification", func(b *batch.Batch) *string { return &b.Specification }),
		plain("material", func(b *batch.Batch) *string { return &b.Material }),
		milligrams("quantity_mg", func(b *batch.Batch) *mass.Mass { return &b.Quantity }),
		date("due_date", func(b *batch.Batch) *time.Time { return &b.DueDate }),
		plain("state", func(b *batch.Batch) *batch.State { return &b.State }),
		parts("lines", func(b *batch.Batch) *[]batch.Line { return &b.Lines },
			func(l batch.Line) batchLineRow { return batchLineRow(l) },
			func(r batchLineRow) batch.Line { return batch.Line(r) }),
		named("finished_lot", func(b *batch.Batch) *string { return &b.FinishedLot }),
		milligrams("finished_mg", func(b *batch.Batch) *mass.Mass { return &b.FinishedMass }),
		instant("finished_at", func(b *batch.Batch) *time.Time { return &b.FinishedAt }),
		object("properties", func(b *batch.Batch) *property.Set { return &b.Properties }),
		plain("note", func(b *batch.Batch) *string { return &b.Note }),
	},
	filters: filters{
		"id": text("id"), "state": text("state"), "material": text("material"), "due_date": day("due_date"),
		"formula": text("coalesce(formula, '')"), "specification": text("coalesce(specification, '')"),
		"finished_lot": text("coalesce(finished_lot, '')"),
	},
	refs: map[string]ref[batch.Batch]{
		"batch_material_fkey":      {"material", "material", func(b *batch.Batch) string { return b.Material }},
		"batch_specification_fkey": {"specification", "specification", func(b *batch.Batch) string { return b.Specification }},
		"batch_finished_lot_fkey":  {"finished_lot", "lot", func(b *batch.Batch) string { return b.FinishedLot }},
		"batch_formula_fkey": {"formula", "formula revision",
			func(b *batch.Batch) string { return b.Formula + "@" + strconv.Itoa(b.FormulaRevision) }},
	},
}
