package rpc_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
)

// Whatever numbers a request carries, the answer is a match, a reason why there is
// none, or a refusal that names the field.
func TestNoNumberBreaksAMatch(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	good := spot(mixed(map[int]float64{0: 0.3, 3: 0.12}), 0, 3, 7, 9, 11)
	good.FrontierPoints, good.ToleranceDe00, good.WaterDensityKgPerL = 3, 1, 0.997
	good.Print.Surface = &pb.Surface{K1: 0.02, K2: 0.3}
	count := map[codes.Code]int{}
	rapid.Check(t, func(r *rapid.T) {
		req := proto.Clone(good).(*pb.MatchShadeRequest)
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 0))
		spoil(random, req.ProtoReflect(), rapid.SampledFrom([]int{30, 100, 300, 1000}).Draw(r, "one in"))
		if random.IntN(4) == 0 { // a colour anywhere
			req.Target = &pb.ShadeTarget{Lab: &pb.Lab{L: 100 * random.Float64(), A: 200 * (random.Float64() - 0.5), B: 200 * (random.Float64() - 0.5)}}
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		out, err := client.MatchShade(ctx, req)
		count[status.Code(err)]++
		switch status.Code(err) {
		case codes.OK:
			if !finite(out.ProtoReflect()) {
				r.Fatalf("a number of the answer is not finite: %v", out)
			}
			for _, o := range out.Offers {
				if out.Outcome == pb.ShadeOutcome_SHADE_OUTCOME_MATCHED && o.Lights[0].GetDe00() > out.ToleranceDe00+1e-3 {
					r.Fatalf("the %s is %g away", o.Kind, o.Lights[0].GetDe00())
				}
			}
		case codes.InvalidArgument:
			if status.Convert(err).Message() == "" || len(status.Convert(err).Details()) == 0 {
				r.Fatalf("nothing says what to change: %v", err)
			}
		default:
			r.Fatalf("%v: %v", err, req)
		}
	})
	if count[codes.OK] == 0 || count[codes.InvalidArgument] == 0 {
		t.Errorf("the requests do not vary: %v", count)
	}
}
