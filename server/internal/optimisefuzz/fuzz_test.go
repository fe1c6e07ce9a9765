package optimisefuzz

import (
	"context"
	"math"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/servertest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// patience is how long a call may take: more is a hang.
const patience = 20 * time.Second

func FuzzOptimise(f *testing.F) {
	for _, seed := range []string{"", "a", "believable", "an ink is made of pigment, varnish, oil, drier and wax", "\x00\x00\x00\x00\x00\x00", "\xff\xfe\xfd\xfc"} {
		for own := range uint64(8) {
			f.Add([]byte(seed), own)
		}
	}
	client := pb.NewOptimiserServiceClient(servertest.Start(f).As(app.InkMaker))
	f.Fuzz(func(t *testing.T, data []byte, own uint64) {
		d := &dice{data: data, own: own}
		req := d.request()
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		defer cancel()
		out, err := client.Optimise(ctx, req)
		if status.Code(err) == codes.InvalidArgument {
			if status.Convert(err).Message() == "" || len(status.Convert(err).Details()) == 0 {
				t.Fatalf("nothing says what to change: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatalf("%v: %v", err, req)
		}
		judge(t, req, out)
	})
}

// judge holds an answer to what it claims.
func judge(t *testing.T, req *pb.OptimiseRequest, out *pb.OptimiseResponse) {
	t.Helper()
	switch out.GetOutcome() {
	case pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL, pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_PROVEN:
		if !out.GetProof().GetCertified() {
			t.Fatalf("not certified: %v\n%v", out, req)
		}
		if problem := refuted(req, out); problem != "" {
			t.Fatalf("%s: %v\n%v", problem, out, req)
		}
	case pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE:
		if out.GetClash() == nil {
			t.Fatalf("no formula, and no reason: %v\n%v", out, req)
		}
	case pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_WEIGHABLE, pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_FOUND:
		if req.GetWeighing() == nil || out.GetWeighed() == nil {
			t.Fatalf("not weighable, and nothing was to be weighed or nothing says why: %v\n%v", out, req)
		}
	default:
		t.Fatalf("outcome %v: %v", out.GetOutcome(), req)
	}
}

// refuted says what is wrong with a formula by plain arithmetic on its masses;
// empty when nothing is.
func refuted(req *pb.OptimiseRequest, out *pb.OptimiseResponse) string {
	b := weigh(req, out)
	tolerance := 1e-9
	if w := req.GetWeighing(); w != nil {
		tolerance = w.GetToleranceKg()
		for _, s := range w.GetScales() {
			tolerance = max(tolerance, s.GetDivisionKg()/2)
		}
	}
	switch {
	case b.problem != "":
		return b.problem
	case math.Abs(b.kg-req.GetQuantityKg()) > tolerance+1e-9*b.kg:
		return "the masses do not add up to the quantity"
	}
	of := map[string]*pb.LimitResult{}
	for _, r := range out.GetLimits() {
		of[r.GetLimitId()] = r
	}
	for _, l := range req.GetLimits() {
		v, known := b.value(l)
		if !known {
			continue
		}
		slack := 1.001e-5*max(math.Abs(l.GetLower()), math.Abs(l.GetUpper())) + 1e-12
		if l.Lower != nil && v < l.GetLower()-slack || l.Upper != nil && v > l.GetUpper()+slack {
			return "limit " + l.GetLimitId() + " is missed"
		}
		if r := of[l.GetLimitId()]; r == nil || math.Abs(r.GetValue()-v) > 1e-7*math.Abs(v)+1e-9 {
			return "limit " + l.GetLimitId() + " is said to have another value"
		}
	}
	return ""
}

// blend is what was weighed in, added up.
type blend struct {
	kg, pigment, strong, voc, litres, cobalt, binder, wax, tack float64
	of                                                          map[pb.MaterialClass]float64
	problem                                                     string
}

func weigh(req *pb.OptimiseRequest, out *pb.OptimiseResponse) *blend {
	of := map[string]*pb.InlineCandidate{}
	for _, c := range req.GetCandidates() {
		of[c.GetCandidateId()] = c
	}
	b := &blend{of: map[pb.MaterialClass]float64{}}
	cost := 0.0
	for _, x := range out.GetComponents() {
		c, m := of[x.GetCandidate()], x.GetMassKg()
		if c == nil || m <= 0 || c.AvailableKg != nil && m > c.GetAvailableKg()+1e-9 || m < c.GetAtLeastKg()-1e-9 {
			b.problem = "component " + x.GetCandidate() + " is not within what there is of it"
			return b
		}
		p := c.GetProperties()
		strength, has := p["tint_strength_fraction"]
		if !has {
			strength = 1
		}
		b.kg += m
		b.pigment += m * p["pigment_fraction/PB15:3"]
		b.strong += m * p["pigment_fraction/PB15:3"] * strength
		b.voc += m * p["volatile_fraction"]
		b.litres += m / p["density_kg_per_l"]
		b.cobalt += m * p["metal_fraction/cobalt"]
		b.binder += m * p["binder_solids_fraction"]
		b.wax += m * p["wax_solids_fraction"]
		b.tack += m * p["tack_units"]
		b.of[c.GetMaterialClass()] += m
		cost += m * (float64(c.GetPricePerKg().GetUnits()) + float64(c.GetPricePerKg().GetNanos())/1e9)
	}
	if total := float64(out.GetTotalCost().GetUnits()) + float64(out.GetTotalCost().GetNanos())/1e9; math.Abs(total-cost) > 0.0051+1e-9*cost {
		b.problem = "the cost is not that of the masses"
	}
	return b
}

// value is a limit's value; known is false where the blend has none, or where
// this arithmetic does not reach.
func (b *blend) value(l *pb.Limit) (v float64, known bool) {
	switch s := l.GetSubject().(type) {
	case *pb.Limit_PigmentLoading_:
		v = b.pigment / b.kg
		if s.PigmentLoading.GetByStrength() {
			v = b.strong / b.kg
		}
	case *pb.Limit_VocMass_:
		v = b.voc / b.kg
	case *pb.Limit_VocContent_:
		v = 1000 * b.voc / b.litres
	case *pb.Limit_MetalOnBinder_:
		v = 100 * b.cobalt / b.binder
	case *pb.Limit_Share_:
		for _, class := range s.Share.GetClasses() {
			v += b.of[class] / b.kg
		}
	case *pb.Limit_WaxSolids_:
		v = b.wax / b.kg
	case *pb.Limit_Blended_:
		v = b.tack / b.kg
		if s.Blended.GetProperty() == "density_kg_per_l" {
			v = b.kg / b.litres
		}
	default:
		return 0, false
	}
	return v, !math.IsNaN(v) && !math.IsInf(v, 0)
}
