package optimisefuzz

import (
	"fmt"
	"math"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// dice makes choices out of the fuzzer's bytes; when they are used up it goes
// on with its own.
type dice struct {
	data []byte
	own  uint64
}

func (d *dice) next() byte {
	if len(d.data) > 0 {
		b := d.data[0]
		d.data = d.data[1:]
		return b
	}
	d.own = d.own*6364136223846793005 + 1442695040888963407
	return byte(d.own >> 56)
}

// below is a number from 0 to n-1, n at most 65536.
func (d *dice) below(n int) int { return (int(d.next())<<8 | int(d.next())) % n }

func (d *dice) oneIn(n int) bool { return d.below(n) == 0 }

// between is a number of at most four digits in an interval.
func (d *dice) between(low, high float64) float64 {
	return math.Round((low+(high-low)*float64(d.below(1001))/1000)*1e4) / 1e4
}

// nasty are numbers that break programs.
var nasty = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 1e25, 1e12, 1e6, -1, -1e-9, 0, math.Copysign(0, -1),
	5e-324, 1e-300, 1e-9, 1e-6, 1.0000001, 0.3, 12, math.MaxFloat64}

// figure is a believable number, and now and then a nasty one.
func (d *dice) figure(low, high float64) float64 {
	if d.oneIn(150) {
		return nasty[d.below(len(nasty))]
	}
	return d.between(low, high)
}

func (d *dice) maybe(n int, low, high float64) *float64 {
	if !d.oneIn(n) {
		return nil
	}
	v := d.figure(low, high)
	return &v
}

// nature is what a material of a class is like.
type nature struct {
	class      pb.MaterialClass
	properties map[string][2]float64
}

var natures = []nature{
	{pb.MaterialClass_MATERIAL_CLASS_PIGMENT, map[string][2]float64{"pigment_fraction/PB15:3": {0.5, 1}, "tint_strength_fraction": {0.9, 1.1}, "density_kg_per_l": {1.4, 1.7}, "tack_units": {8, 12}, "oil_absorption_g_per_100g": {35, 60}, "viscosity_pa_s": {20, 60}}},
	{pb.MaterialClass_MATERIAL_CLASS_VARNISH, map[string][2]float64{"binder_solids_fraction": {0.5, 0.8}, "volatile_fraction": {0, 0.3}, "density_kg_per_l": {0.95, 1.05}, "tack_units": {8, 16}, "wetting_vehicle_fraction": {0.5, 1}, "viscosity_pa_s": {10, 80}}},
	{pb.MaterialClass_MATERIAL_CLASS_OIL, map[string][2]float64{"volatile_fraction": {0, 1}, "density_kg_per_l": {0.8, 0.95}, "tack_units": {0, 2}, "wetting_vehicle_fraction": {0, 1}, "viscosity_pa_s": {0.01, 0.1}}},
	{pb.MaterialClass_MATERIAL_CLASS_DRIER, map[string][2]float64{"metal_fraction/cobalt": {0.02, 0.12}, "volatile_fraction": {0.2, 0.5}, "density_kg_per_l": {0.9, 1}, "tack_units": {1, 3}, "viscosity_pa_s": {0.1, 0.5}}},
	{pb.MaterialClass_MATERIAL_CLASS_WAX, map[string][2]float64{"wax_solids_fraction": {0.3, 1}, "density_kg_per_l": {0.9, 1}, "tack_units": {2, 4}, "viscosity_pa_s": {5, 20}}},
	{pb.MaterialClass_MATERIAL_CLASS_WORK_OFF, map[string][2]float64{"pigment_fraction/PB15:3": {0.1, 0.2}, "binder_solids_fraction": {0.4, 0.6}, "volatile_fraction": {0.05, 0.3}, "density_kg_per_l": {1, 1.2}, "tack_units": {6, 12}, "wetting_vehicle_fraction": {0.3, 0.5}, "viscosity_pa_s": {10, 60}}},
}

// keys are the properties in an order of their own: a map has none.
var keys = []string{"pigment_fraction/PB15:3", "tint_strength_fraction", "density_kg_per_l", "tack_units", "oil_absorption_g_per_100g", "binder_solids_fraction",
	"volatile_fraction", "wetting_vehicle_fraction", "metal_fraction/cobalt", "wax_solids_fraction", "viscosity_pa_s"}

// request is a question of any shape, most of them believable.
func (d *dice) request() *pb.OptimiseRequest {
	req := &pb.OptimiseRequest{CurrencyCode: "EUR", QuantityKg: math.Trunc(d.between(0.1, 500)*1000) / 1000}
	if d.oneIn(60) {
		req.QuantityKg = d.figure(0.001, 5)
	}
	for j := range 1 + d.below(14) {
		req.Candidates = append(req.Candidates, d.candidate(j, req.QuantityKg))
	}
	for i := range d.below(9) {
		req.Limits = append(req.Limits, d.limit(fmt.Sprintf("l%d", i)))
	}
	if d.oneIn(2) {
		req.Weighing = d.weighing(req)
	}
	if d.oneIn(4) {
		for i := range 1 + d.below(2) {
			aim := &pb.Aim{Target: d.limit(fmt.Sprintf("a%d", i)), WeightBelow: d.figure(0, 1), WeightAbove: d.figure(0, 1), Rank: int32(d.below(3))}
			req.Aims = append(req.Aims, aim)
		}
		req.AimTolerancePercent = d.figure(0, 5)
	}
	if d.oneIn(6) {
		req.UseUp = &pb.UseUp{WorkOff: true, PremiumPerKg: euros(d.below(300))}
	}
	return req
}

func euros(cents int) *moneypb.Money {
	return &moneypb.Money{CurrencyCode: "EUR", Units: int64(cents / 100), Nanos: int32(cents%100) * 1e7}
}

func (d *dice) candidate(j int, quantity float64) *pb.InlineCandidate {
	n := natures[d.below(len(natures))]
	if j < 4 {
		n = natures[j] // a blend of nothing but wax is rarely one
	}
	c := &pb.InlineCandidate{CandidateId: fmt.Sprintf("c%d", j), Material: fmt.Sprintf("m%d", j/2), MaterialClass: n.class, PricePerKg: euros(1 + d.below(2000)),
		Properties: map[string]float64{}}
	for _, key := range keys {
		if r, has := n.properties[key]; has && !d.oneIn(200) {
			c.Properties[key] = d.figure(r[0], r[1])
			if d.oneIn(8) {
				if c.Deviations == nil {
					c.Deviations = map[string]float64{}
				}
				c.Deviations[key] = d.figure(0, (r[1]-r[0])/10)
			}
		}
	}
	if d.oneIn(3) {
		v := math.Trunc(quantity*d.figure(0, 1)*1000) / 1000
		c.AvailableKg = &v
	}
	if d.oneIn(25) {
		c.AtLeastKg = math.Trunc(quantity*d.figure(0, 0.05)*1000) / 1000
	}
	return c
}

// limit is one of each kind in turn, around what an ink has.
func (d *dice) limit(id string) *pb.Limit {
	l := &pb.Limit{LimitId: id, Hard: d.oneIn(8)}
	var low, high float64
	switch d.below(9) {
	case 0:
		low, high = 0.05, 0.3
		l.Subject = &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ByStrength: d.oneIn(2)}}
	case 1:
		low, high = 0, 0.4
		l.Subject = &pb.Limit_VocMass_{VocMass: &pb.Limit_VocMass{}}
	case 2:
		low, high = 50, 400
		l.Subject = &pb.Limit_VocContent_{VocContent: &pb.Limit_VocContent{}}
	case 3:
		low, high = 0, 0.3
		l.Subject = &pb.Limit_MetalOnBinder_{MetalOnBinder: &pb.Limit_MetalOnBinder{Metal: "cobalt"}}
	case 4:
		low, high = 0, 0.3
		l.Subject = &pb.Limit_Share_{Share: &pb.Limit_Share{Classes: []pb.MaterialClass{natures[d.below(len(natures))].class}}}
	case 5:
		low, high = 0, 0.06
		l.Subject = &pb.Limit_WaxSolids_{WaxSolids: &pb.Limit_WaxSolids{}}
	case 6:
		low, high = 0.02, 0.9
		l.Subject = &pb.Limit_WettingDemand_{WettingDemand: &pb.Limit_WettingDemand{}}
	case 7:
		low, high = 2, 14
		l.Subject = &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "tack_units"}}
	default:
		low, high = 0.85, 1.3
		l.Subject = &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "density_kg_per_l"}}
	}
	l.Lower, l.Upper = d.maybe(2, low, (low+high)/2), d.maybe(2, (low+high)/2, high)
	if l.Lower == nil && l.Upper == nil {
		v := d.figure(low, high)
		l.Upper = &v
	}
	if d.oneIn(6) {
		l.Safety = &pb.Limit_Safety{Confidence: d.figure(0.5, 0.999)}
		if d.oneIn(3) {
			l.Safety = &pb.Limit_Safety{Budget: d.figure(0, 4), Spread: d.figure(0, 4)}
		}
	}
	return l
}

func (d *dice) weighing(req *pb.OptimiseRequest) *pb.Weighing {
	divisions := []float64{0.0001, 0.001, 0.01, 0.1, 1}
	w := &pb.Weighing{Scales: []*pb.Scale{{Title: "bench", DivisionKg: divisions[d.below(4)]}}, TimeLimitSeconds: 0.5}
	if d.oneIn(3) {
		w.Scales = append(w.Scales, &pb.Scale{Title: "floor", DivisionKg: divisions[1+d.below(4)], FromKg: d.figure(0, 20)})
	}
	if d.oneIn(3) {
		w.LeastKg = d.figure(0, req.QuantityKg/20)
	}
	if d.oneIn(2) {
		w.MostComponents = int32(1 + d.below(9))
	}
	if d.oneIn(4) {
		w.MostLotsPerMaterial = int32(1 + d.below(2))
	}
	if d.oneIn(3) {
		w.ToleranceKg = d.figure(0, req.QuantityKg/50)
	}
	some := func() *pb.Members {
		return &pb.Members{Candidates: []string{fmt.Sprintf("c%d", d.below(len(req.Candidates)))}, Classes: []pb.MaterialClass{natures[d.below(len(natures))].class}}
	}
	if d.oneIn(5) {
		w.WholeContainers = append(w.WholeContainers, &pb.WholeContainer{Members: some(), ContentKg: d.figure(0.1, 25)})
	}
	if d.oneIn(5) {
		w.Implications = append(w.Implications, &pb.Implication{Used: some(), Needed: some()})
	}
	if d.oneIn(5) {
		w.Exclusions = append(w.Exclusions, &pb.Exclusion{Groups: []*pb.Members{some(), some()}})
	}
	if d.oneIn(5) {
		w.Choices = append(w.Choices, &pb.Choice{Members: some(), AtLeast: int32(d.below(3)), AtMost: int32(d.below(4))})
	}
	return w
}
