package rpc

import (
	"context"
	"errors"

	pb "millbase/proto/millbase/v1"

	"millbase/inventory"
	"millbase/inventory/property"
	"millbase/server/app"
)

// materialService serves materials and the property catalogue.
type materialService struct {
	pb.UnimplementedMaterialServiceServer
	book *app.Book
}

func (s *materialService) CreateProperty(ctx context.Context, req *pb.CreatePropertyRequest) (*pb.Property, error) {
	request, err := requestOf("CreateProperty", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	p := req.GetProperty()
	f := &fields{}
	d := property.Definition{
		Name: req.GetPropertyId(), Title: p.GetTitle(), Unit: p.GetUnit(), Qualified: p.GetQualified(),
		Index: property.Index(word(p.GetIndex())), Basis: p.GetBasis(),
		Scale: f.number("property.scale", p.GetScale()), Offset: f.number("property.offset", p.GetOffset()),
		Exponent: f.number("property.exponent", p.GetExponent()),
		Min:      f.number("property.min_value", p.GetMinValue()), Max: f.number("property.max_value", p.GetMaxValue()),
	}
	if p.DefaultValue != nil {
		v := f.number("property.default_value", p.GetDefaultValue())
		d.Default = &v
	}
	if d.Index == "" {
		d.Index = property.Linear
	}
	if d.Basis == "" {
		d.Basis = property.BasisMass
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.CreateProperty(ctx, d, request)
	return propertyOut(rec), err
}

func (s *materialService) GetProperty(ctx context.Context, req *pb.GetPropertyRequest) (*pb.Property, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), properties)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Property(ctx, id)
	return propertyOut(rec), err
}

func (s *materialService) ListProperties(ctx context.Context, req *pb.ListPropertiesRequest) (*pb.ListPropertiesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), properties)
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Properties(ctx, p.query(nil))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[property.Definition]) string { return r.Value.Name })
	return &pb.ListPropertiesResponse{Properties: each(recs, propertyOut), NextPageToken: next}, nil
}

func propertyOut(r app.Record[property.Definition]) *pb.Property {
	d := r.Value
	return &pb.Property{
		Name: nameOf(properties, d.Name), Title: d.Title, Unit: d.Unit, Qualified: d.Qualified,
		Index: enum[pb.BlendingIndex](string(d.Index)), Basis: d.Basis, Scale: d.Scale, Offset: d.Offset, Exponent: d.Exponent,
		DefaultValue: d.Default, MinValue: d.Min, MaxValue: d.Max, BuiltIn: d.BuiltIn,
	}
}

func (s *materialService) CreateMaterial(ctx context.Context, req *pb.CreateMaterialRequest) (*pb.Material, error) {
	request, err := requestOf("CreateMaterial", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	m, currency, err := s.materialIn(ctx, req.GetMaterialId(), req.GetMaterial())
	if err != nil {
		return nil, err
	}
	rec, err := s.book.CreateMaterial(ctx, m, request)
	return materialOut(ctx, rec, currency), err
}

func (s *materialService) GetMaterial(ctx context.Context, req *pb.GetMaterialRequest) (*pb.Material, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), materials)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Material(ctx, id)
	if err != nil {
		return nil, err
	}
	currency, err := s.currency(ctx)
	return materialOut(ctx, rec, currency), err
}

var materialFilter = filterFields{
	"material_class": enumField(pb.MaterialClass(0)).as("class"),
	"class":          enumField(pb.MaterialClass(0)),
	"colour_index":   textField,
	"archived":       flagField,
}

func (s *materialService) ListMaterials(ctx context.Context, req *pb.ListMaterialsRequest) (*pb.ListMaterialsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), materials, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := materialFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Materials(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	currency, err := s.currency(ctx)
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.BookMaterial]) string { return r.Value.ID })
	return &pb.ListMaterialsResponse{NextPageToken: next, Materials: each(recs, func(r app.Record[app.BookMaterial]) *pb.Material {
		return materialOut(ctx, r, currency)
	})}, nil
}

func (s *materialService) UpdateMaterial(ctx context.Context, req *pb.UpdateMaterialRequest) (*pb.Material, error) {
	patch := req.GetMaterial()
	f := &fields{}
	id := f.id("material.name", patch.GetName(), materials)
	version := f.etag("material.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	currency, err := s.book.PlantCurrency(ctx)
	if err != nil {
		return nil, err
	}
	rec, err := s.book.UpdateMaterial(ctx, id, version, func(now app.Record[app.BookMaterial]) (app.BookMaterial, error) {
		merged := materialWhole(now, currency)
		if err := applyMask("material", req.GetUpdateMask(), merged, patch); err != nil {
			return app.BookMaterial{}, err
		}
		return materialOf(id, merged, currency)
	})
	return materialOut(ctx, rec, currency), err
}

// currency of the plant, for those who see costs.
func (s *materialService) currency(ctx context.Context) (string, error) {
	if !app.CallerOf(ctx).Role.SeesCost() {
		return "", nil
	}
	currency, err := s.book.PlantCurrency(ctx)
	if errors.Is(err, app.ErrNotReady) {
		return "", nil // no plant yet, and so no costs
	}
	return currency, err
}

func (s *materialService) materialIn(ctx context.Context, id string, m *pb.Material) (app.BookMaterial, string, error) {
	currency, err := s.book.PlantCurrency(ctx)
	if err != nil {
		return app.BookMaterial{}, "", err
	}
	out, err := materialOf(id, m, currency)
	return out, currency, err
}

func materialOf(id string, m *pb.Material, currency string) (app.BookMaterial, error) {
	f := &fields{}
	out := app.BookMaterial{
		Material: inventory.Material{
			ID: id, Title: m.GetTitle(), Class: inventory.Class(word(m.GetMaterialClass())), ColourIndex: m.GetColourIndex(),
			Properties: f.set("material.properties", m.GetProperties()), Deviations: f.set("material.deviations", m.GetDeviations()), ShelfLifeDays: int(m.GetShelfLifeDays()),
			SafetyStock: f.mass("material.safety_stock_kg", m.GetSafetyStockKg()), Ordering: f.ordering("material.ordering.", m.GetOrdering()), Cautions: m.GetCautions(), Archived: m.GetArchived(),
		},
		StandardCostPerKg: f.price("material.standard_cost_per_kg", m.GetStandardCostPerKg(), currency),
	}
	return out, f.err()
}

func (f *fields) ordering(field string, o *pb.Ordering) inventory.Ordering {
	return inventory.Ordering{
		Rule: inventory.LotRule(word(o.GetLotRule())), Lot: f.mass(field+"fixed_lot_kg", o.GetFixedLotKg()), PeriodDays: int(o.GetLotPeriodDays()),
		LeadTimeDays: int(o.GetLeadTimeDays()), SafetyTimeDays: int(o.GetSafetyTimeDays()), FenceDays: int(o.GetFenceDays()),
	}
}

func orderingOut(o inventory.Ordering) *pb.Ordering {
	if o == (inventory.Ordering{}) {
		return nil
	}
	return &pb.Ordering{
		LotRule: enum[pb.LotRule](string(o.Rule)), FixedLotKg: kg(o.Lot), LotPeriodDays: int32(o.PeriodDays),
		LeadTimeDays: int32(o.LeadTimeDays), SafetyTimeDays: int32(o.SafetyTimeDays), FenceDays: int32(o.FenceDays),
	}
}

func materialOut(ctx context.Context, r app.Record[app.BookMaterial], currency string) *pb.Material {
	m := materialWhole(r, currency)
	if !app.CallerOf(ctx).Role.SeesCost() {
		m.StandardCostPerKg = nil
	}
	return m
}

// materialWhole writes a material with its cost, whoever asks.
func materialWhole(r app.Record[app.BookMaterial], currency string) *pb.Material {
	m := r.Value
	out := &pb.Material{
		Name: nameOf(materials, m.ID), Title: m.Title, MaterialClass: enum[pb.MaterialClass](string(m.Class)), ColourIndex: m.ColourIndex,
		Properties: m.Properties, Deviations: m.Deviations, ShelfLifeDays: int32(m.ShelfLifeDays), SafetyStockKg: kg(m.SafetyStock), Ordering: orderingOut(m.Ordering), Cautions: m.Cautions,
		Archived: m.Archived, Etag: etagOut(r.Version), CreateTime: momentOut(r.CreatedAt), UpdateTime: momentOut(r.UpdatedAt),
	}
	if !m.StandardCostPerKg.IsZero() {
		out.StandardCostPerKg = amountOut(currency, m.StandardCostPerKg)
	}
	return out
}
