package rpc

import (
	"context"
	"fmt"

	"millbase/inventory/formula"
	"millbase/inventory/mass"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// FormulaServer serves the formula book.
type FormulaServer struct {
	millbasev1.UnimplementedFormulaServiceServer
	book *app.Book
}

// NewFormulaServer serves the book's formulas.
func NewFormulaServer(book *app.Book) *FormulaServer { return &FormulaServer{book: book} }

var formulaFilter = filterFields{"material": nameField(materials), "specification": nameField(specifications), "released": flagField}

// CreateFormula implements the service.
func (s *FormulaServer) CreateFormula(ctx context.Context, req *millbasev1.CreateFormulaRequest) (*millbasev1.Formula, error) {
	f := &fields{}
	in := f.formula("formula", req.GetFormula())
	in.ID = req.GetFormulaId()
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("CreateFormula", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	rec, err := s.book.CreateFormula(ctx, in, request)
	if err != nil {
		return nil, err
	}
	return formulaOut(rec), nil
}

// GetFormula implements the service.
func (s *FormulaServer) GetFormula(ctx context.Context, req *millbasev1.GetFormulaRequest) (*millbasev1.Formula, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), formulas)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.GetFormula(ctx, id)
	if err != nil {
		return nil, err
	}
	return formulaOut(rec), nil
}

// ListFormulas implements the service.
func (s *FormulaServer) ListFormulas(ctx context.Context, req *millbasev1.ListFormulasRequest) (*millbasev1.ListFormulasResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := formulaFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListFormulas(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListFormulasResponse{}
	list, out.NextPageToken = cut(p, list, func(r app.Record[formula.Formula]) string { return r.Value.ID })
	for _, rec := range list {
		out.Formulas = append(out.Formulas, formulaOut(rec))
	}
	return out, nil
}

// ListFormulaRevisions implements the service.
func (s *FormulaServer) ListFormulaRevisions(ctx context.Context, req *millbasev1.ListFormulaRevisionsRequest) (*millbasev1.ListFormulaRevisionsResponse, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), formulas)
	if err := f.err(); err != nil {
		return nil, err
	}
	list, err := s.book.ListFormulaRevisions(ctx, id)
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListFormulaRevisionsResponse{}
	for _, rec := range list {
		out.Formulas = append(out.Formulas, formulaOut(rec))
	}
	return out, nil
}

// ReleaseFormula implements the service.
func (s *FormulaServer) ReleaseFormula(ctx context.Context, req *millbasev1.ReleaseFormulaRequest) (*millbasev1.Formula, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), formulas)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.ReleaseFormula(ctx, id, !req.GetWithdraw())
	if err != nil {
		return nil, err
	}
	return formulaOut(rec), nil
}

func (f *fields) formula(field string, m *millbasev1.Formula) formula.Formula {
	out := formula.Formula{
		Title:         m.GetTitle(),
		Material:      f.id(field+".material", m.GetMaterial(), materials),
		Specification: f.optionalID(field+".specification", m.GetSpecification(), specifications),
		Note:          m.GetNote(),
	}
	if m.GetYieldFraction() != 0 {
		out.YieldPartsPerMillion = f.millionths(field+".yield_fraction", m.GetYieldFraction())
	}
	for i, in := range m.GetIngredients() {
		at := fmt.Sprintf("%s.ingredients[%d]", field, i)
		out.Ingredients = append(out.Ingredients, formula.Ingredient{
			Material:        f.id(at+".material", in.GetMaterial(), materials),
			Lot:             f.optionalID(at+".lot", in.GetLot(), lots),
			PartsPerMillion: f.millionths(at+".share", in.GetShare()),
		})
	}
	out.Route = f.route(field, m.GetRoute())
	return out
}

func (f *fields) route(field string, steps []*millbasev1.RouteStep) []formula.RouteStep {
	var out []formula.RouteStep
	for i, s := range steps {
		step := formula.RouteStep{Step: formula.Step(word(s.GetStep())), Passes: int(s.GetPasses())}
		if step.Step == "" {
			f.add(fmt.Sprintf("%s.route[%d].step", field, i), "is not known; use a PROCESS_STEP_...")
		}
		if step.Passes == 0 {
			step.Passes = 1
		}
		out = append(out, step)
	}
	return out
}

// millionths reads a fraction above 0 and at most 1, in whole parts per million.
func (f *fields) millionths(field string, v float64) int64 {
	m, err := mass.FromKilograms(v) // the same rule: at most six decimals, nothing is rounded
	switch {
	case err == nil && m > 0 && m <= mass.Kilogram:
		return int64(m)
	case err == nil || v > 1 || v <= 0:
		f.add(field, "%s must lie above 0 and be at most 1", number(v))
	default:
		f.add(field, "%s has more than six decimals; round it so that the shares add up to exactly 1", number(v))
	}
	return 1
}

func fraction(millionths int64) float64 { return mass.Mass(millionths).Kilograms() }

func formulaOut(rec app.Record[formula.Formula]) *millbasev1.Formula {
	v := rec.Value
	out := &millbasev1.Formula{
		Name:          nameOf(formulas, fmt.Sprintf("%s@%d", v.ID, v.Revision)),
		Revision:      int32(v.Revision),
		Title:         v.Title,
		Material:      nameOf(materials, v.Material),
		Specification: nameOf(specifications, v.Specification),
		YieldFraction: fraction(v.Yield()),
		Released:      v.Released,
		Note:          v.Note,
		Etag:          etagOut(rec.Version),
		CreateTime:    momentOut(rec.CreatedAt),
	}
	for _, in := range v.Ingredients {
		out.Ingredients = append(out.Ingredients, &millbasev1.Ingredient{Material: nameOf(materials, in.Material),
			Lot: nameOf(lots, in.Lot), Share: fraction(in.PartsPerMillion)})
	}
	out.Route = routeOut(v.Route)
	return out
}

func routeOut(route []formula.RouteStep) []*millbasev1.RouteStep {
	out := make([]*millbasev1.RouteStep, len(route))
	for i, s := range route {
		out[i] = &millbasev1.RouteStep{Step: enum[millbasev1.ProcessStep](string(s.Step)), Passes: int32(s.Passes)}
	}
	return out
}
