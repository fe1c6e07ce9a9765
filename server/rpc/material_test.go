package rpc_test

import (
	"math"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func varnish() *pb.CreateMaterialRequest {
	return &pb.CreateMaterialRequest{MaterialId: "varnish-40", RequestId: uuid.NewString(), Material: &pb.Material{
		Title: "Quick-set varnish", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_VARNISH, SafetyStockKg: 250, ShelfLifeDays: 365,
		Properties: map[string]float64{"density_kg_per_l": 0.96, "binder_solids_fraction": 0.7}, Cautions: []string{"warm to 40 C before pumping"},
		StandardCostPerKg: euro(3, 100_000_000),
	}}
}

func TestMaterials(t *testing.T) {
	s := newStockroom(t)
	req := varnish()
	made := good(s.materials(app.InkMaker).CreateMaterial(t.Context(), req))(t)
	if made.GetName() != "materials/varnish-40" || made.GetEtag() != "v1" || made.GetStandardCostPerKg().GetUnits() != 3 || made.GetCreateTime() == nil {
		t.Errorf("made: %v", made)
	}
	if again := good(s.materials(app.InkMaker).CreateMaterial(t.Context(), req))(t); !proto.Equal(made, again) {
		t.Errorf("again: %v", again)
	}
	other := proto.Clone(req).(*pb.CreateMaterialRequest)
	other.Material.Title = "Another"
	_, err := s.materials(app.InkMaker).CreateMaterial(t.Context(), other)
	refusal{codes.AlreadyExists, "other content"}.check(t, "the request id with another title", err)
	other.RequestId = uuid.NewString()
	_, err = s.materials(app.InkMaker).CreateMaterial(t.Context(), other)
	refusal{codes.AlreadyExists, "exists already"}.check(t, "the id again", err)

	hidden := good(s.materials(app.Floor).GetMaterial(t.Context(), &pb.GetMaterialRequest{Name: made.GetName()}))(t)
	if hidden.GetStandardCostPerKg() != nil || hidden.GetTitle() != made.GetTitle() {
		t.Errorf("the floor sees %v", hidden)
	}
	list := good(s.materials(app.InkMaker).ListMaterials(t.Context(), &pb.ListMaterialsRequest{Filter: `material_class = VARNISH AND archived = false`}))(t)
	if len(list.GetMaterials()) != 1 || !proto.Equal(list.GetMaterials()[0], made) {
		t.Errorf("listed: %v", list)
	}
	_, err = s.materials(app.InkMaker).GetMaterial(t.Context(), &pb.GetMaterialRequest{Name: "materials/none"})
	refusal{codes.NotFound, "none"}.check(t, "an unknown one", err)
}

func TestMaterialUpdates(t *testing.T) {
	s := newStockroom(t)
	good(s.materials(app.InkMaker).CreateMaterial(t.Context(), varnish()))(t)
	update := func(role app.Role, m *pb.Material, paths ...string) (*pb.Material, error) {
		m.Name = "materials/varnish-40"
		return s.materials(role).UpdateMaterial(t.Context(), &pb.UpdateMaterialRequest{Material: m, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}})
	}
	// Quality control does not see the cost, and must not wipe it out.
	m := good(update(app.Quality, &pb.Material{Title: "Quick-set varnish, thin", Etag: "v1"}, "title"))(t)
	if m.GetEtag() != "v2" || m.GetStandardCostPerKg() != nil {
		t.Errorf("changed by quality: %v", m)
	}
	m = good(update(app.InkMaker, &pb.Material{SafetyStockKg: 300}))(t) // without a mask: what is set
	if m.GetTitle() != "Quick-set varnish, thin" || m.GetSafetyStockKg() != 300 || m.GetStandardCostPerKg().GetUnits() != 3 || m.GetShelfLifeDays() != 365 {
		t.Errorf("changed without a mask: %v", m)
	}
	for name, c := range map[string]struct {
		material *pb.Material
		paths    []string
		want     refusal
	}{
		"stale":             {&pb.Material{Title: "x", Etag: "v1"}, []string{"title"}, refusal{codes.Aborted, "read it again"}},
		"not an etag":       {&pb.Material{Title: "x", Etag: "x"}, []string{"title"}, refusal{codes.InvalidArgument, "material.etag"}},
		"an empty title":    {&pb.Material{}, []string{"title"}, refusal{codes.InvalidArgument, "material.title"}},
		"no class":          {&pb.Material{Title: "x"}, []string{"*"}, refusal{codes.InvalidArgument, "material.material_class"}},
		"stock below zero":  {&pb.Material{SafetyStockKg: -1}, []string{"safety_stock_kg"}, refusal{codes.InvalidArgument, "safety_stock_kg"}},
		"stock too fine":    {&pb.Material{SafetyStockKg: 1e-7}, []string{"safety_stock_kg"}, refusal{codes.InvalidArgument, "milligram"}},
		"a cost below zero": {&pb.Material{StandardCostPerKg: euro(-1, 0)}, []string{"standard_cost_per_kg"}, refusal{codes.InvalidArgument, "below zero"}},
		"a cost in dollars": {&pb.Material{StandardCostPerKg: &moneyUSD}, []string{"standard_cost_per_kg"}, refusal{codes.InvalidArgument, "EUR"}},
		"a colour index":    {&pb.Material{ColourIndex: "PB15:3"}, []string{"colour_index"}, refusal{codes.InvalidArgument, "pigments only"}},
	} {
		_, err := update(app.InkMaker, c.material, c.paths...)
		c.want.check(t, name, err)
	}
	_, err := s.materials(app.InkMaker).UpdateMaterial(t.Context(), &pb.UpdateMaterialRequest{Material: &pb.Material{Name: "materials/none", Title: "x"}})
	refusal{codes.NotFound, "none"}.check(t, "an unknown one", err)
	_, err = update(app.Floor, &pb.Material{Title: "x"}, "title")
	refusal{codes.PermissionDenied, "role floor"}.check(t, "the floor", err)
}

func TestMaterialsThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	for name, c := range map[string]struct {
		change func(r *pb.CreateMaterialRequest)
		want   refusal
	}{
		"a bad id":             {func(r *pb.CreateMaterialRequest) { r.MaterialId = "Varnish 40" }, refusal{codes.InvalidArgument, "material_id"}},
		"no id":                {func(r *pb.CreateMaterialRequest) { r.MaterialId = "" }, refusal{codes.InvalidArgument, "material_id"}},
		"no material":          {func(r *pb.CreateMaterialRequest) { r.Material = nil }, refusal{codes.InvalidArgument, "material: must be given"}},
		"an unknown property":  {func(r *pb.CreateMaterialRequest) { r.Material.Properties = map[string]float64{"taste_units": 1} }, refusal{codes.InvalidArgument, `material.properties["taste_units"]`}},
		"a metal without name": {func(r *pb.CreateMaterialRequest) { r.Material.Properties = map[string]float64{"metal_fraction": 0.1} }, refusal{codes.InvalidArgument, "say which one"}},
		"more than a kg in it": {func(r *pb.CreateMaterialRequest) {
			r.Material.Properties = map[string]float64{"binder_solids_fraction": 0.8, "volatile_fraction": 0.4}
		}, refusal{codes.InvalidArgument, "add up"}},
		"1e300": {func(r *pb.CreateMaterialRequest) { r.Material.Properties = map[string]float64{"tack_units": 1e300} }, refusal{codes.InvalidArgument, "plausible"}},
		"infinity": {func(r *pb.CreateMaterialRequest) {
			r.Material.Properties = map[string]float64{"tack_units": math.Inf(1)}
		}, refusal{codes.InvalidArgument, "finite"}},
		"a life of 200 years": {func(r *pb.CreateMaterialRequest) { r.Material.ShelfLifeDays = 73000 }, refusal{codes.InvalidArgument, "shelf_life_days"}},
		"a bad request id":    {func(r *pb.CreateMaterialRequest) { r.RequestId = "once" }, refusal{codes.InvalidArgument, "request_id"}},
	} {
		req := varnish()
		c.change(req)
		_, err := s.materials(app.InkMaker).CreateMaterial(t.Context(), req)
		c.want.check(t, name, err)
	}
	_, err := s.materials(app.OrderDesk).ListMaterials(t.Context(), &pb.ListMaterialsRequest{})
	refusal{codes.PermissionDenied, "order desk"}.check(t, "the order desk", err)
}

func TestProperties(t *testing.T) {
	s := newStockroom(t)
	req := &pb.CreatePropertyRequest{PropertyId: "gloss_units", Property: &pb.Property{Title: "Gloss at 60 degrees", Unit: "gloss units", MaxValue: 150}}
	made := good(s.materials(app.Quality).CreateProperty(t.Context(), req))(t)
	if made.GetName() != "properties/gloss_units" || made.GetIndex() != pb.BlendingIndex_BLENDING_INDEX_LINEAR || made.GetBasis() != "mass" || made.GetBuiltIn() {
		t.Errorf("made: %v", made)
	}
	good(s.materials(app.InkMaker).UpdateMaterial(t.Context(), &pb.UpdateMaterialRequest{Material: &pb.Material{Name: "materials/blue",
		Properties: map[string]float64{"density_kg_per_l": 1.6, "gloss_units": 70}}}))(t)
	var names []string
	token := ""
	for range 20 {
		page := good(s.materials(app.Floor).ListProperties(t.Context(), &pb.ListPropertiesRequest{PageSize: 4, PageToken: token}))(t)
		for _, p := range page.GetProperties() {
			names = append(names, p.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if len(names) < 15 || names[0] != "properties/binder_solids_fraction" {
		t.Errorf("the catalogue: %v", names)
	}
	if d := good(s.materials(app.Floor).GetProperty(t.Context(), &pb.GetPropertyRequest{Name: "properties/density_kg_per_l"}))(t); !d.GetBuiltIn() || d.GetUnit() != "kg/L" {
		t.Errorf("density: %v", d)
	}
	for name, c := range map[string]struct {
		id       string
		property *pb.Property
		want     refusal
	}{
		"again":             {"gloss_units", &pb.Property{Title: "x", Unit: "x", MaxValue: 1}, refusal{codes.AlreadyExists, "gloss_units"}},
		"built in":          {"tack_units", &pb.Property{Title: "x", Unit: "x", MaxValue: 1}, refusal{codes.AlreadyExists, "built in"}},
		"no unit in the id": {"gloss", &pb.Property{Title: "x", Unit: "x", MaxValue: 1}, refusal{codes.InvalidArgument, "unit last"}},
		"no title":          {"haze_units", &pb.Property{Unit: "x", MaxValue: 1}, refusal{codes.InvalidArgument, "title"}},
		"an unknown basis":  {"haze_units", &pb.Property{Title: "x", Unit: "x", MaxValue: 1, Basis: "moon_light"}, refusal{codes.InvalidArgument, "basis"}},
		"no range":          {"haze_units", &pb.Property{Title: "x", Unit: "x"}, refusal{codes.InvalidArgument, "plausible"}},
		"a log of zero":     {"haze_units", &pb.Property{Title: "x", Unit: "x", MaxValue: 1, Index: pb.BlendingIndex_BLENDING_INDEX_LOGARITHM}, refusal{codes.InvalidArgument, "logarithm"}},
		"1e300":             {"haze_units", &pb.Property{Title: "x", Unit: "x", MaxValue: 1e300}, refusal{codes.InvalidArgument, "max_value"}},
		"NaN":               {"haze_units", &pb.Property{Title: "x", Unit: "x", MaxValue: math.NaN()}, refusal{codes.InvalidArgument, "max_value"}},
	} {
		_, err := s.materials(app.Quality).CreateProperty(t.Context(), &pb.CreatePropertyRequest{PropertyId: c.id, Property: c.property})
		c.want.check(t, name, err)
	}
	_, err := s.materials(app.Floor).GetProperty(t.Context(), &pb.GetPropertyRequest{Name: "properties/none_units"})
	refusal{codes.NotFound, "none_units"}.check(t, "an unknown one", err)
}
