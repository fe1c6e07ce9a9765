package postgres

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"millbase/inventory/formula"
	"millbase/server/app"
)

type ingredientRow struct {
	Material        string `json:"material"`
	Lot             string `json:"lot,omitempty"`
	PartsPerMillion int64  `json:"parts_per_million"`
}

type routeStepRow struct {
	Step   formula.Step `json:"step"`
	Passes int          `json:"passes"`
}

// formulaTable describes formula_revision; the id in it is the formula's.
var formulaTable = &table[formula.Formula]{
	name: "formula_revision", noun: "formula", path: "formulas",
	id:    func(f *formula.Formula) string { return f.ID },
	setID: func(f *formula.Formula, id string) { f.ID = id },
	columns: []column[formula.Formula]{
		plain("revision", func(f *formula.Formula) *int { return &f.Revision }),
		plain("title", func(f *formula.Formula) *string { return &f.Title }),
		named("material", func(f *formula.Formula) *string { return &f.Material }),
		named("specification", func(f *formula.Formula) *string { return &f.Specification }),
		parts("ingredients", func(f *formula.Formula) *[]formula.Ingredient { return &f.Ingredients },
			func(i formula.Ingredient) ingredientRow { return ingredientRow(i) },
			func(r ingredientRow) formula.Ingredient { return formula.Ingredient(r) }),
		parts("route", func(f *formula.Formula) *[]formula.RouteStep { return &f.Route },
			func(s formula.RouteStep) routeStepRow { return routeStepRow(s) },
			func(r routeStepRow) formula.RouteStep { return formula.RouteStep(r) }),
		plain("yield_ppm", func(f *formula.Formula) *int64 { return &f.YieldPartsPerMillion }),
		plain("released", func(f *formula.Formula) *bool { return &f.Released }),
		plain("note", func(f *formula.Formula) *string { return &f.Note }),
	},
	filters: filters{
		"formula": text("formula"), "material": text("coalesce(material, '')"), "specification": text("coalesce(specification, '')"),
		"released": yesNo("released"), "title": text("title"), "revision": whole("revision"),
	},
	refs: map[string]ref[formula.Formula]{
		"formula_revision_material_fkey":      {"material", "material", func(f *formula.Formula) string { return f.Material }},
		"formula_revision_specification_fkey": {"specification", "specification", func(f *formula.Formula) string { return f.Specification }},
	},
}

// formulas implements app.Repo: a formula is its revisions.
type formulas struct {
	rows repo[formula.Formula]
	x    *tx
}

const formulaNames = "title, material, specification, ingredients, route, yield_ppm, released, note"

var formulaSelected = "formula AS id, revision, " + formulaNames + ", version, created_at, updated_at"

func scanFormula(row pgx.CollectableRow) (app.Record[formula.Formula], error) {
	rec, err := formulaTable.scan(row)
	rec.Value.Created = rec.CreatedAt
	return rec, err
}

func (f formulas) one(ctx context.Context, sql string, args ...any) (app.Record[formula.Formula], error) {
	rows, err := f.rows.d.Query(ctx, sql, args...)
	if err != nil {
		return app.Record[formula.Formula]{}, err
	}
	return pgx.CollectExactlyOneRow(rows, scanFormula)
}

// Get takes "id" (the newest revision) or "id@3".
func (f formulas) Get(ctx context.Context, id string) (app.Record[formula.Formula], error) {
	name, rev, pinned := strings.Cut(id, "@")
	n := 0
	if pinned {
		var err error
		if n, err = strconv.Atoi(rev); err != nil || n < 1 {
			return app.Record[formula.Formula]{}, app.InvalidField("formula", "%q: a revision is a number from 1, as in %s@3", id, name)
		}
	}
	rec, err := f.one(ctx, "SELECT "+formulaSelected+` FROM formula_revision
		WHERE formula = $1 AND revision = CASE WHEN $2 > 0 THEN $2::int ELSE (SELECT newest FROM formula WHERE id = $1) END`, name, n)
	if errors.Is(err, pgx.ErrNoRows) {
		return rec, f.rows.missing(id)
	}
	return rec, translate(err)
}

// List gives the newest revision of each formula in id order, or every revision
// of one formula, oldest first, with the condition formula = id; After is then
// "id@revision".
func (f formulas) List(ctx context.Context, q app.Query) ([]app.Record[formula.Formula], error) {
	l, err := f.listing(q)
	if err != nil {
		return nil, err
	}
	if q.Limit == 0 && q.After == "" {
		return listed(ctx, f.x, l)
	}
	where, args := l.where, l.args
	if q.After != "" {
		name, rev, _ := strings.Cut(q.After, "@")
		n, err := strconv.Atoi(rev)
		if err != nil {
			n = 1 << 30 // no revision named: after all of them
		}
		args = append(args, name, n)
		more := fmt.Sprintf("(formula, revision) > ($%d, $%d)", len(args)-1, len(args))
		if where == "" {
			where = clause([]string{more})
		} else {
			where += " AND " + more
		}
	}
	sql := "SELECT " + formulaSelected + " FROM formula_revision" + where + " ORDER BY formula, revision"
	if q.Limit > 0 {
		sql += " LIMIT " + strconv.Itoa(q.Limit)
	}
	rows, err := f.rows.d.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(err)
	}
	recs, err := pgx.CollectRows(rows, scanFormula)
	return recs, translate(err)
}

// listing is the list on its way, without its page.
func (f formulas) listing(q app.Query) (*listing[formula.Formula], error) {
	ofOne := false
	for _, c := range q.Where {
		ofOne = ofOne || c.Field == "formula" && c.Op == "="
	}
	parts, args, err := f.rows.filters.conditions("formula", q.Where, nil)
	if err != nil {
		return nil, err
	}
	if !ofOne {
		parts = append(parts, "revision = (SELECT newest FROM formula n WHERE n.id = formula)")
	}
	where := clause(parts)
	return &listing[formula.Formula]{key: keyOf("formula_revision", where, args), table: "formula_revision", id: "formula || '@' || revision",
		of: func(v *formula.Formula) string { return v.ID + "@" + strconv.Itoa(v.Revision) }, cols: formulaSelected, scan: scanFormula,
		order: "formula, revision", where: where, args: args, kept: &f.x.kept.formulas}, nil
}

// Create appends the next revision, the first one of a new formula included.
// Revision and Created are set by the store.
func (f formulas) Create(ctx context.Context, v formula.Formula) (app.Record[formula.Formula], error) {
	// The row of formula is locked until the transaction ends, so that numbers
	// have no gaps and no duplicates.
	f.x.ahead = nil
	err := f.rows.d.QueryRow(ctx, `INSERT INTO formula (id, newest) VALUES ($1, 1)
		ON CONFLICT (id) DO UPDATE SET newest = formula.newest + 1 RETURNING newest`, v.ID).Scan(&v.Revision)
	if err != nil {
		return app.Record[formula.Formula]{}, translate(err)
	}
	args, err := formulaTable.args(&v)
	if err != nil {
		return app.Record[formula.Formula]{}, err
	}
	rec, err := f.one(ctx, "INSERT INTO formula_revision (formula, revision, "+formulaNames+
		") VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING "+formulaSelected, args...)
	return rec, f.rows.fault(err, &v)
}

// Update releases or withdraws a revision (the newest when v.Revision is 0);
// nothing else of it changes.
func (f formulas) Update(ctx context.Context, v formula.Formula, version int64) (app.Record[formula.Formula], error) {
	id := v.ID
	if v.Revision > 0 {
		id += "@" + strconv.Itoa(v.Revision)
	}
	f.x.ahead = nil
	now, err := f.Get(ctx, id)
	if err != nil {
		return now, err
	}
	rec, err := f.one(ctx, `UPDATE formula_revision SET released = $3, version = version + 1, updated_at = clock_timestamp()
		WHERE formula = $1 AND revision = $2 AND ($4::bigint = 0 OR version = $4) RETURNING `+formulaSelected,
		v.ID, now.Value.Revision, v.Released, version)
	if errors.Is(err, pgx.ErrNoRows) {
		return rec, stale("formula", "formulas/"+id, id, now.Version)
	}
	return rec, f.rows.fault(err, &v)
}
