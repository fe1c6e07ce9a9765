package rpc_test

import (
	"math"
	"slices"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// bleach is a bleach test by reflectances at one wavelength; at the others lot and
// standard hardly absorb.
func bleach(lot, standard float64) *pb.RecordBleachTestRequest {
	curve := func(r float64) *pb.Curve {
		values := slices.Repeat([]float64{0.9}, 36)
		values[25] = r // 630 nm
		return &pb.Curve{FirstNm: 380, StepNm: 10, Values: values}
	}
	return &pb.RecordBleachTestRequest{Parent: "lots/l-1", TestId: "bleach-1", Lot: curve(lot), Standard: curve(standard), RequestId: uuid.NewString()}
}

// TestBleachTest: tint strength is (K/S of the lot)/(K/S of the standard), K/S =
// (1-R)^2/2R at the wavelength of most absorption (ISO 787-24, ISO 18314-2). A
// standard of R .20 gives 116.74 % at .18 and 86.42 % at .22, by that formula.
func TestBleachTest(t *testing.T) {
	s := newStockroom(t)
	quality := pb.NewLotTestServiceClient(s.As(app.Quality))
	req := bleach(0.18, 0.20)
	made := good(quality.RecordBleachTest(t.Context(), req))(t)
	if b := made.GetBleach(); b == nil || math.Abs(b.StrengthAtMostAbsorption-1.1674) > 5e-5 || b.MostAbsorptionNm != 630 || b.De00 <= 0 ||
		!(b.StrengthSummed > 1 && b.StrengthSummed < b.StrengthAtMostAbsorption) {
		t.Errorf("made: %v", made)
	}
	if len(made.GetWarnings()) != 1 {
		t.Errorf("116.74 %% without a warning: %v", made)
	}
	if again := good(quality.RecordBleachTest(t.Context(), req))(t); again.GetName() != made.GetName() {
		t.Errorf("again: %v", again)
	}
	strength := func() float64 {
		l := good(s.lots(app.InkMaker).GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-1"}))(t)
		if l.GetCertificate()["tint_strength_fraction"] != 1.04 {
			t.Errorf("the certificate has changed: %v", l)
		}
		return l.GetTested()["tint_strength_fraction"]
	}
	if v := strength(); math.Abs(v-1.1674) > 5e-5 {
		t.Errorf("the lot has a strength of %v", v)
	}
	later := bleach(0.22, 0.20)
	later.TestId = "bleach-2"
	good(quality.RecordBleachTest(t.Context(), later))(t)
	if v := strength(); math.Abs(v-0.8642) > 5e-5 {
		t.Errorf("after a later test the lot has a strength of %v", v)
	}
	// What is changed of the lot otherwise leaves the tests alone.
	good(s.lots(app.Quality).UpdateLot(t.Context(), &pb.UpdateLotRequest{Lot: &pb.Lot{Name: "lots/l-1", Material: "materials/blue", Note: "seen",
		Certificate: map[string]float64{"tint_strength_fraction": 1.04}}}))(t)
	if v := strength(); math.Abs(v-0.8642) > 5e-5 {
		t.Errorf("after an update the lot has a strength of %v", v)
	}
	gone := good(quality.WithdrawLotTest(t.Context(), &pb.WithdrawLotTestRequest{Name: "lots/l-1/tests/bleach-2", Reason: "swapped"}))(t)
	if v := strength(); !gone.GetWithdrawn() || math.Abs(v-1.1674) > 5e-5 {
		t.Errorf("withdrawn: %v, strength %v", gone, v)
	}
	_, err := quality.WithdrawLotTest(t.Context(), &pb.WithdrawLotTestRequest{Name: "lots/l-1/tests/bleach-2", Reason: "again"})
	refusal{codes.FailedPrecondition, "withdrawn already: swapped"}.check(t, "withdrawn twice", err)
	if list := good(quality.ListLotTests(t.Context(), &pb.ListLotTestsRequest{Parent: "lots/-"}))(t); len(list.GetTests()) != 2 {
		t.Errorf("list: %v", list)
	}
}

// TestBleachTestCountsInFormulas: of a lot that is twice as strong half as much
// goes into an ink of the same loading by strength.
func TestBleachTestCountsInFormulas(t *testing.T) {
	s := newStockroom(t)
	least := 0.18
	ask := func() float64 {
		r := good(pb.NewOptimiserServiceClient(s.As(app.InkMaker)).Optimise(t.Context(), &pb.OptimiseRequest{QuantityKg: 10, Book: &pb.BookCandidates{StockOnly: true},
			Limits:     []*pb.Limit{{LimitId: "loading", Lower: &least, Subject: &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ColourIndex: "PB15:3", ByStrength: true}}}},
			Candidates: []*pb.InlineCandidate{{CandidateId: "varnish", PricePerKg: euro(1, 0)}}}))(t)
		for _, c := range r.GetComponents() {
			if c.GetCandidate() == "lots/l-1" {
				return c.GetMassKg()
			}
		}
		t.Fatalf("no pigment: %v", r)
		return 0
	}
	before := ask()
	if math.Abs(before-1.8/1.04) > 1e-6 {
		t.Errorf("by the certificate %v kg", before)
	}
	tested := good(pb.NewLotTestServiceClient(s.As(app.Quality)).RecordBleachTest(t.Context(), bleach(0.18, 0.20)))(t)
	if after, want := ask(), 1.8/tested.GetValues()["tint_strength_fraction"]; math.Abs(after-want) > 1e-6 {
		t.Errorf("after the bleach test %v kg, want %v", after, want)
	}
}

func TestLotTestsThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	quality := pb.NewLotTestServiceClient(s.As(app.Quality))
	for name, c := range map[string]struct {
		change func(r *pb.RecordBleachTestRequest)
		want   refusal
	}{
		"no such lot":              {func(r *pb.RecordBleachTestRequest) { r.Parent = "lots/none" }, refusal{codes.NotFound, "none"}},
		"other wavelengths":        {func(r *pb.RecordBleachTestRequest) { r.Lot.FirstNm = 400 }, refusal{codes.InvalidArgument, "different wavelengths"}},
		"a standard that is white": {func(r *pb.RecordBleachTestRequest) { r.Standard.Values = slices.Repeat([]float64{1}, 36) }, refusal{codes.InvalidArgument, "does not absorb"}},
		"far too strong": {func(r *pb.RecordBleachTestRequest) { r.Lot.Values = slices.Repeat([]float64{0.001}, 36) },
			refusal{codes.InvalidArgument, "let down alike"}},
		"tomorrow": {func(r *pb.RecordBleachTestRequest) { r.TestDate = "2999-01-01" }, refusal{codes.InvalidArgument, "lies after today"}},
	} {
		req := bleach(0.18, 0.20)
		c.change(req)
		_, err := quality.RecordBleachTest(t.Context(), req)
		c.want.check(t, name, err)
	}
	record := func(values map[string]float64) error {
		_, err := quality.RecordLotTest(t.Context(), &pb.RecordLotTestRequest{Parent: "lots/l-1", TestId: "t-1", Test: &pb.LotTest{Values: values}})
		return err
	}
	refusal{codes.InvalidArgument, "say what was measured"}.check(t, "nothing measured", record(nil))
	refusal{codes.InvalidArgument, "no_such_units"}.check(t, "an unknown property", record(map[string]float64{"no_such_units": 1}))
	refusal{codes.InvalidArgument, "density"}.check(t, "a density of -1", record(map[string]float64{"density_kg_per_l": -1}))
	_, err := pb.NewLotTestServiceClient(s.As(app.InkMaker)).RecordBleachTest(t.Context(), bleach(0.18, 0.20))
	refusal{codes.PermissionDenied, "role ink maker"}.check(t, "an ink maker", err)
}
