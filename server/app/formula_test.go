package app_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

func (x *mill) create(id, makes string, parts ...formula.Ingredient) (app.Record[formula.Formula], error) {
	return x.book.CreateFormula(context.Background(), formula.Formula{ID: id, Title: id, Material: makes, Ingredients: parts}, app.Request{})
}

func TestFormulaRevisions(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	blue, varnish := formula.Ingredient{Material: "blue", PartsPerMillion: 200_000}, formula.Ingredient{Material: "varnish", PartsPerMillion: 800_000}
	first, err := x.create("cyan", "cyan", blue, varnish)
	if err != nil || first.Value.Revision != 1 || first.Value.Released {
		t.Fatalf("%+v %v", first, err)
	}
	request := app.Request{ID: uuid.NewString(), Method: "CreateFormula", Digest: []byte("x")}
	next := formula.Formula{ID: "cyan", Title: "Cyan", Material: "cyan", Ingredients: []formula.Ingredient{blue, varnish}, Released: true}
	for range 2 {
		rec, err := x.book.CreateFormula(ctx, next, request)
		if err != nil || rec.Value.Revision != 2 || rec.Value.Released {
			t.Fatalf("%+v %v", rec, err)
		}
	}
	if rec, err := x.book.ReleaseFormula(ctx, "cyan@1", true); err != nil || !rec.Value.Released || rec.Value.Revision != 1 {
		t.Errorf("%+v %v", rec, err)
	}
	if rec, err := x.book.ReleaseFormula(ctx, "cyan@1", true); err != nil || rec.Version != 2 {
		t.Errorf("released twice: %+v %v", rec, err)
	}
	if rec, err := x.book.GetFormula(ctx, "cyan"); err != nil || rec.Value.Revision != 2 || rec.Value.Released {
		t.Errorf("newest: %+v %v", rec, err)
	}
	if list, err := x.book.ListFormulaRevisions(ctx, "cyan"); err != nil || len(list) != 2 || !list[0].Value.Released {
		t.Errorf("%+v %v", list, err)
	}
	if rec, err := x.book.ReleaseFormula(ctx, "cyan@1", false); err != nil || rec.Value.Released {
		t.Errorf("withdrawn: %+v %v", rec, err)
	}
	for _, id := range []string{"cyan@3", "other@1"} {
		if _, err := x.book.ReleaseFormula(ctx, id, true); !errors.Is(err, app.ErrNotFound) {
			t.Errorf("%s: %v", id, err)
		}
	}
	if _, err := x.book.ListFormulaRevisions(ctx, "other"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("revisions of a formula that is not there: %v", err)
	}
}

func TestRevisionsAtTheSameMoment(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	made := formula.Formula{ID: "cyan", Title: "Cyan", Material: "cyan", Ingredients: []formula.Ingredient{{Material: "blue", PartsPerMillion: 1_000_000}}}
	const n = 6
	requests := make([]app.Request, n)
	names := make([]int, n)
	var wg sync.WaitGroup
	for i := range n {
		requests[i] = app.Request{ID: uuid.NewString(), Method: "CreateFormula", Digest: []byte{byte(i)}}
		wg.Go(func() {
			rec, err := x.book.CreateFormula(ctx, made, requests[i])
			if err != nil {
				t.Error(err)
			}
			names[i] = rec.Value.Revision
		})
	}
	wg.Wait()
	seen := map[int]bool{}
	for i, r := range requests {
		again, err := x.book.CreateFormula(ctx, made, r)
		if err != nil || again.Value.Revision != names[i] || seen[names[i]] {
			t.Errorf("request %d made revision %d, and sent again answers %d (%v)", i, names[i], again.Value.Revision, err)
		}
		seen[names[i]] = true
	}
	if len(seen) != n {
		t.Errorf("%d revisions of %d", len(seen), n)
	}
}

func TestFormulaFaults(t *testing.T) {
	x := newMill(t)
	x.fill()
	whole := func(m string) formula.Ingredient { return formula.Ingredient{Material: m, PartsPerMillion: 1_000_000} }
	for name, c := range map[string]struct {
		field string
		makes string
		parts []formula.Ingredient
	}{
		"shares":       {"formula.ingredients", "cyan", []formula.Ingredient{{Material: "blue", PartsPerMillion: 999_999}}},
		"not in book":  {"formula.ingredients[0].material", "cyan", []formula.Ingredient{whole("gold")}},
		"packaging":    {"formula.ingredients[0].material", "cyan", []formula.Ingredient{whole("tin")}},
		"makes tins":   {"formula.material", "tin", []formula.Ingredient{whole("blue")}},
		"makes gold":   {"formula.material", "gold", []formula.Ingredient{whole("blue")}},
		"of other lot": {"formula.ingredients[0].lot", "cyan", []formula.Ingredient{{Material: "blue", Lot: "oil-1", PartsPerMillion: 1_000_000}}},
		"no such lot":  {"formula.ingredients[0].lot", "cyan", []formula.Ingredient{{Material: "blue", Lot: "blue-9", PartsPerMillion: 1_000_000}}},
	} {
		_, err := x.create("f", c.makes, c.parts...)
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != c.field {
			t.Errorf("%s: got %v, want a fault at %s", name, err, c.field)
		}
	}
}

func TestFormulasMakeNoCircle(t *testing.T) {
	x := newMill(t)
	x.material("base", "Blue base", inventory.BaseInk, "", "", nil)
	x.material("paste", "Blue paste", inventory.BaseInk, "", "", nil)
	half := func(a, b string) []formula.Ingredient {
		return []formula.Ingredient{{Material: a, PartsPerMillion: 500_000}, {Material: b, PartsPerMillion: 500_000}}
	}
	for id, parts := range map[string][]formula.Ingredient{"cyan": half("base", "oil"), "base": half("paste", "varnish")} {
		if _, err := x.create(id, id, parts...); err != nil {
			t.Fatal(err)
		}
	}
	_, err := x.create("paste", "paste", half("cyan", "varnish")...)
	var bad app.Invalid
	if !errors.As(err, &bad) || !strings.Contains(bad[0].Problem, "paste is made from cyan is made from base is made from paste") {
		t.Errorf("got %v", err)
	}
	if _, err := x.create("paste", "paste", half("blue", "varnish")...); err != nil {
		t.Errorf("no circle, but %v", err)
	}
}

func TestSpecificationFaults(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	good := formulation.Specification{ID: "s", Title: "S", Material: "cyan", Limits: []formulation.Limit{
		{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: at(8)},
		{ID: "oil", Kind: formulation.Share, Materials: []string{"oil"}, Upper: at(0.2)}}}
	for name, c := range map[string]struct {
		field  string
		change func(*formulation.Specification)
	}{
		"title":    {"specification.title", func(s *formulation.Specification) { s.Title = " " }},
		"limits":   {"specification.limits", func(s *formulation.Specification) { s.Limits = nil }},
		"material": {"specification.material", func(s *formulation.Specification) { s.Material = "gold" }},
		"member":   {"specification.limits[1].materials[0]", func(s *formulation.Specification) { s.Limits[1].Materials = []string{"gold"} }},
		"property": {"specification.limits[0].property", func(s *formulation.Specification) { s.Limits[0].Property = "gloss_units" }},
		"bounds":   {"specification.limits[0].lower", func(s *formulation.Specification) { s.Limits[0].Lower, s.Limits[0].Upper = at(9), at(8) }},
		"twice":    {"specification.limits[1].id", func(s *formulation.Specification) { s.Limits[1].ID = "tack" }},
		"huge":     {"specification.limits[0].lower", func(s *formulation.Specification) { s.Limits[0].Lower = at(1e300) }},
		"id":       {"specification_id", func(s *formulation.Specification) { s.ID = "S 1" }},
	} {
		s := good
		s.Limits = append([]formulation.Limit(nil), good.Limits...)
		c.change(&s)
		_, err := x.book.CreateSpecification(ctx, s, app.Request{})
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != c.field {
			t.Errorf("%s: got %v, want a fault at %s", name, err, c.field)
		}
	}
	first, err := x.book.CreateSpecification(ctx, good, app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	// The plant's own properties can be limited as well.
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Properties().Create(ctx, property.Definition{Name: "gloss_units", Title: "Gloss", Unit: "gloss units",
			Index: property.Linear, Basis: property.BasisMass, Max: 100})
		return err
	})
	good.Limits = append(good.Limits, formulation.Limit{ID: "gloss", Kind: formulation.Blended, Property: "gloss_units", Lower: at(30)})
	second, err := x.book.UpdateSpecification(ctx, good, first.Version)
	if err != nil || len(second.Value.Limits) != 3 {
		t.Fatalf("%+v %v", second, err)
	}
	if _, err := x.book.UpdateSpecification(ctx, good, first.Version); !errors.Is(err, app.ErrStale) {
		t.Errorf("an old version: %v", err)
	}
	if got, err := x.book.GetSpecification(ctx, "s"); err != nil || got.Version != second.Version || *got.Value.Limits[2].Lower != 30 {
		t.Errorf("%+v %v", got, err)
	}
}
