package rpc

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strings"

	"google.golang.org/protobuf/proto"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// OptimiserServer serves the cheapest formula.
type OptimiserServer struct {
	millbasev1.UnimplementedOptimiserServiceServer
	book *app.Book
}

// NewOptimiserServer serves the book's optimiser.
func NewOptimiserServer(book *app.Book) *OptimiserServer { return &OptimiserServer{book: book} }

// Optimise implements the service.
func (s *OptimiserServer) Optimise(ctx context.Context, req *millbasev1.OptimiseRequest) (*millbasev1.OptimiseResponse, error) {
	f := &fields{}
	in := f.question(req)
	if err := f.err(); err != nil {
		return nil, err
	}
	o, err := s.book.Optimise(ctx, in)
	if err != nil {
		return nil, weighingFields(aimFields(candidateFields(limitFields(err))), req.GetWeighing())
	}
	return optimisedOut(o), nil
}

// question reads a request for the cheapest formula.
func (f *fields) question(req *millbasev1.OptimiseRequest) app.OptimiseRequest {
	in := app.OptimiseRequest{
		Specification:      f.optionalID("specification", req.GetSpecification(), specifications),
		Limits:             f.limits("limits", req.GetLimits()),
		Quantity:           f.positive("quantity_kg", req.GetQuantityKg()),
		Date:               f.date("date", req.GetDate()),
		Basis:              f.basis("cost_basis", req.GetCostBasis()),
		Book:               f.bookCandidates("book", req.GetBook()),
		Currency:           req.GetCurrencyCode(),
		WaterDensityKgPerL: f.number("water_density_kg_per_l", req.GetWaterDensityKgPerL()),
		UseUp:              f.useUp("use_up", req.GetUseUp()),
		Weighing:           f.weighing("weighing", req.GetWeighing()),
		Goals:              f.aims("aims", req.GetAims()),
		GoalTolerance:      f.number("aim_tolerance_percent", req.GetAimTolerancePercent()) / 100,
		CostTolerance:      f.number("cost_tolerance_percent", req.GetCostTolerancePercent()) / 100,
		CostRank:           int(req.GetCostRank()),
	}
	for i, c := range req.GetCandidates() {
		in.Inline = append(in.Inline, f.inlineCandidate(fmt.Sprintf("candidates[%d]", i), c, req.GetCurrencyCode()))
	}
	for i, p := range req.GetProperties() {
		in.Properties = append(in.Properties, f.requestProperty(fmt.Sprintf("properties[%d]", i), p))
	}
	return in
}

var bases = map[millbasev1.CostBasis]valuation.Basis{
	millbasev1.CostBasis_COST_BASIS_UNSPECIFIED: valuation.Lot,
	millbasev1.CostBasis_COST_BASIS_LOT:         valuation.Lot,
	millbasev1.CostBasis_COST_BASIS_AVERAGE:     valuation.Average,
	millbasev1.CostBasis_COST_BASIS_REPLACEMENT: valuation.Replacement,
	millbasev1.CostBasis_COST_BASIS_STANDARD:    valuation.Standard,
}

// basis reads a cost basis; unset is the lot's own cost.
func (f *fields) basis(field string, b millbasev1.CostBasis) valuation.Basis {
	basis, ok := bases[b]
	if !ok {
		f.add(field, "is not known; use COST_BASIS_LOT, COST_BASIS_AVERAGE, COST_BASIS_REPLACEMENT or COST_BASIS_STANDARD")
	}
	return basis
}

func (f *fields) bookCandidates(field string, m *millbasev1.BookCandidates) *app.BookCandidates {
	if m == nil {
		return nil
	}
	out := &app.BookCandidates{Excluded: m.GetExcluded(), StockOnly: m.GetStockOnly(), WithFinishedInk: m.GetWithFinishedInk()}
	for i, name := range m.GetMaterials() {
		out.Materials = append(out.Materials, f.id(fmt.Sprintf("%s.materials[%d]", field, i), name, materials))
	}
	return out
}

func (f *fields) inlineCandidate(field string, m *millbasev1.InlineCandidate, currency string) app.InlineCandidate {
	out := app.InlineCandidate{Candidate: formulation.Candidate{
		ID:          m.GetCandidateId(),
		Title:       m.GetTitle(),
		Material:    strings.TrimPrefix(m.GetMaterial(), materials+"/"),
		Class:       inventory.Class(word(m.GetMaterialClass())),
		ColourIndex: m.GetColourIndex(),
		Properties:  f.set(field+".properties", m.GetProperties()),
		Deviation:   f.set(field+".deviations", m.GetDeviations()),
		Available:   -1,
		AtLeast:     f.mass(field+".at_least_kg", m.GetAtLeastKg()),
	}}
	if m != nil && m.AvailableKg != nil {
		if out.Available = f.mass(field+".available_kg", m.GetAvailableKg()); out.Available < 0 {
			f.add(field+".available_kg", "must not be below 0 kg; leave it out for any amount")
		}
	}
	if out.AtLeast < 0 {
		f.add(field+".at_least_kg", "must not be below 0 kg")
	}
	out.UsePremium = f.premium(field+".use_premium_per_kg", m.GetUsePremiumPerKg())
	price := m.GetPricePerKg()
	if price == nil {
		f.add(field+".price_per_kg", "must be given")
		return out
	}
	if price.GetCurrencyCode() == "" && currency != "" {
		price = proto.Clone(price).(*moneypb.Money)
		price.CurrencyCode = currency
	}
	if price.GetCurrencyCode() == "" {
		f.add(field+".price_per_kg.currency_code", "say in which currency: give it here, or currency_code of the request")
		return out
	}
	out.Price = money.PerKg(f.money(field+".price_per_kg", price))
	return out
}

// requestProperty reads the definition of a property that only this request
// knows; the catalogue says whether it can be used.
func (f *fields) requestProperty(field string, m *millbasev1.Property) property.Definition {
	d := property.Definition{
		Name:      strings.TrimPrefix(m.GetName(), properties+"/"),
		Title:     m.GetTitle(),
		Unit:      m.GetUnit(),
		Qualified: m.GetQualified(),
		Index:     property.Index(word(m.GetIndex())),
		Basis:     m.GetBasis(),
		Scale:     m.GetScale(),
		Offset:    m.GetOffset(),
		Exponent:  m.GetExponent(),
		Min:       m.GetMinValue(),
		Max:       m.GetMaxValue(),
	}
	if d.Title == "" {
		d.Title = d.Name
	}
	if d.Index == "" {
		d.Index = property.Linear
	}
	if d.Basis == "" {
		d.Basis = property.BasisMass
	}
	if m != nil && m.DefaultValue != nil {
		v := f.number(field+".default_value", m.GetDefaultValue())
		d.Default = &v
	}
	return d
}

var candidateField = regexp.MustCompile(`^candidates\[(\d+)\]\.(id|cost_per_kg)$`)

// candidateFields writes the field paths of candidates as the API has them.
func candidateFields(err error) error {
	bad, ok := err.(app.Invalid)
	if !ok {
		return err
	}
	for i, b := range bad {
		if m := candidateField.FindStringSubmatch(b.Field); m != nil {
			name := "candidate_id"
			if m[2] == "cost_per_kg" {
				name = "price_per_kg"
			}
			bad[i].Field = fmt.Sprintf("candidates[%s].%s", m[1], name)
		}
	}
	return bad
}

// optional is nil for an open end.
func optional(v float64) *float64 {
	if v > mass.Max.Kilograms()*1e3 || v < -mass.Max.Kilograms()*1e3 || math.IsNaN(v) {
		return nil
	}
	return &v
}
