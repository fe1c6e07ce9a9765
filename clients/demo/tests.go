package demo

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// bleached are lots that quality control tested against the standard: the pigment
// and how strong the lot is.
var bleached = []struct {
	material string
	base     string // whose hue its drawdown in white has
	strength float64
}{{"pb15-3-green-shade", "base-blue", 1.06}, {"pr57-1-bluish", "base-bluish-red", 0.97}, {"py13-process", "base-yellow", 1.03}}

// inWhite is a pigment's drawdown in white: of a hundredth of the absorption that
// its base ink has on paper.
func inWhite(base string, strength float64) *pb.Curve {
	out := Unit(base, Papers[0])
	for i, ks := range out {
		ks = 0.004 + 0.05*strength*ks
		out[i] = round(1+ks-math.Sqrt(ks*ks+2*ks), 4)
	}
	return &pb.Curve{FirstNm: firstNm, StepNm: stepNm, Values: out}
}

// loadBleachTests tests the first lot in stock of some pigments.
func (l *Loader) loadBleachTests(ctx context.Context) (int, error) {
	n := 0
	for _, b := range bleached {
		lots, err := l.lots.ListLots(ctx, &pb.ListLotsRequest{PageSize: 1, Filter: fmt.Sprintf(`material = "materials/%s" AND status = "RELEASED"`, b.material)})
		if err != nil {
			return n, err
		}
		for _, lot := range lots.Lots {
			_, err := l.tests.RecordBleachTest(ctx, &pb.RecordBleachTestRequest{Parent: lot.Name, TestId: "bleach-1", RequestId: uid(l.today, "bleach", b.material),
				Lot: inWhite(b.base, b.strength), Standard: inWhite(b.base, 1), Method: "1 part in 50 of white, automatic muller, 45/0"})
			if err != nil && status.Code(err) != codes.AlreadyExists {
				return n, fmt.Errorf("%s: %w", lot.Name, err)
			}
			n++
		}
	}
	return n, nil
}
