package plantday

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/grpc"

	pb "millbase/proto/millbase/v1"
)

// pot is what an answer puts together, with each component's values as the book
// has them. Its arithmetic is written out here from the limits' definitions and
// shares no code with the optimiser or with what checks it.
type pot struct {
	kg    []float64
	of    []map[string]float64
	ids   []string
	class []pb.MaterialClass
}

// filled looks every component of an answer up in the book.
func filled(t *testing.T, conn *grpc.ClientConn, answer *pb.OptimiseResponse) pot {
	t.Helper()
	var p pot
	for _, c := range answer.Components {
		lot, err := pb.NewLotServiceClient(conn).GetLot(t.Context(), &pb.GetLotRequest{Name: c.Candidate})
		must(t, 0, err)
		material, err := pb.NewMaterialServiceClient(conn).GetMaterial(t.Context(), &pb.GetMaterialRequest{Name: lot.Material})
		must(t, 0, err)
		values := map[string]float64{"tint_strength_fraction": 1, "retained_fraction": 1}
		for k, v := range material.Properties {
			values[k] = v
		}
		for _, over := range []map[string]float64{lot.Certificate, lot.Tested} {
			for k, v := range over {
				values[k] = v
			}
		}
		if values["retained_fraction"] != 1 || lot.Status != pb.LotStatus_LOT_STATUS_RELEASED || lot.Expired {
			t.Errorf("%s may not be in this formula: %v", lot.Name, lot)
		}
		p.kg, p.of = append(p.kg, c.MassKg), append(p.of, values)
		p.ids, p.class = append(p.ids, lot.Material), append(p.class, material.MaterialClass)
	}
	return p
}

func (p pot) sum(per func(v map[string]float64, i int) float64) (total float64) {
	for i, kg := range p.kg {
		total += kg * per(p.of[i], i)
	}
	return total
}

func (p pot) total() float64 { return p.sum(func(map[string]float64, int) float64 { return 1 }) }

// value works one limit out from its definition.
func (p pot) value(t *testing.T, l *pb.Limit) float64 {
	t.Helper()
	switch s := l.Subject.(type) {
	case *pb.Limit_PigmentLoading_:
		return p.pigment(s.PigmentLoading) / p.total()
	case *pb.Limit_VocContent_: // (Wv-Ww-Wec)/(V-Vw-Vec), 40 CFR 59.104(a)(1); no water or exempt solvent at this plant
		grams := p.sum(func(v map[string]float64, _ int) float64 { return 1000 * v["volatile_fraction"] })
		return grams / p.sum(func(v map[string]float64, _ int) float64 { return 1 / v["density_kg_per_l"] })
	case *pb.Limit_MetalOnBinder_:
		metal := p.sum(func(v map[string]float64, _ int) float64 { return v["metal_fraction/"+s.MetalOnBinder.Metal] })
		return 100 * metal / p.sum(func(v map[string]float64, _ int) float64 { return v["binder_solids_fraction"] })
	case *pb.Limit_Share_:
		return p.sum(func(_ map[string]float64, i int) float64 { return p.member(s.Share, i) }) / p.total()
	case *pb.Limit_WaxSolids_:
		return p.sum(func(v map[string]float64, _ int) float64 { return v["wax_solids_fraction"] }) / p.total()
	case *pb.Limit_WettingDemand_:
		taken := p.sum(func(v map[string]float64, _ int) float64 { return dry(v, "") * v["oil_absorption_g_per_100g"] / 100 })
		return taken / p.sum(func(v map[string]float64, _ int) float64 { return v["wetting_vehicle_fraction"] })
	case *pb.Limit_Blended_:
		return p.blended(t, s.Blended.Property)
	}
	t.Fatalf("no arithmetic here for limit %v", l)
	return 0
}

// dry is the dry pigment in 1 kg, of one Colour Index name or of all.
func dry(v map[string]float64, ci string) (total float64) {
	for k, x := range v {
		if name, ok := strings.CutPrefix(k, "pigment_fraction/"); ok && (ci == "" || ci == name) {
			total += x
		}
	}
	return total
}

func (p pot) pigment(l *pb.Limit_PigmentLoading) float64 {
	return p.sum(func(v map[string]float64, _ int) float64 {
		if l.ByStrength {
			return dry(v, l.ColourIndex) * v["tint_strength_fraction"]
		}
		return dry(v, l.ColourIndex)
	})
}

func (p pot) member(s *pb.Limit_Share, i int) float64 {
	for _, m := range s.Materials {
		if m == p.ids[i] {
			return 1
		}
	}
	for _, c := range s.Classes {
		if c == p.class[i] {
			return 1
		}
	}
	return 0
}

func (p pot) blended(t *testing.T, property string) float64 {
	t.Helper()
	switch property {
	case "viscosity_pa_s": // Arrhenius: logarithms by mass
		return math.Exp(p.sum(func(v map[string]float64, _ int) float64 { return math.Log(v[property]) }) / p.total())
	case "density_kg_per_l": // 1/rho = sum w/rho
		return p.total() / p.sum(func(v map[string]float64, _ int) float64 { return 1 / v[property] })
	case "tack_units", "gloss_units":
		return p.sum(func(v map[string]float64, _ int) float64 { return v[property] }) / p.total()
	}
	t.Fatalf("no arithmetic here for %s", property)
	return 0
}

// holds checks an answer against its specification: every limit is worked out
// from the lots, compared with what the answer says, and with the bounds.
func holds(t *testing.T, conn *grpc.ClientConn, spec *pb.Specification, answer *pb.OptimiseResponse) {
	t.Helper()
	said := map[string]float64{}
	for _, l := range answer.Limits {
		said[l.LimitId] = l.Value
	}
	p := filled(t, conn, answer)
	for _, l := range spec.Limits {
		got := p.value(t, l)
		room := 1e-5 * math.Max(math.Abs(got), 1e-3)
		if v, ok := said[l.LimitId]; !ok || math.Abs(v-got) > room {
			t.Errorf("%s: %s is %g by the lots, the answer says %g", spec.Name, l.LimitId, got, v)
		}
		if l.Lower != nil && got < *l.Lower-room || l.Upper != nil && got > *l.Upper+room {
			t.Errorf("%s: %s at %g is outside its bounds", spec.Name, l.LimitId, got)
		}
	}
}
