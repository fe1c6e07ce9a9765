package rpc_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
)

// nasty are numbers that break programs: not finite, huge, tiny, negative, at the
// edge of what is accepted.
var nasty = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 1e25, 1e12, 1e9, 1e6, -1, -1e-9, 0,
	math.Copysign(0, -1), 5e-324, 1e-300, 1e-9, 1e-6, 1.0000001, 0.3, 12, math.MaxFloat64}

// spoil replaces numbers of a message at random.
func spoil(random *rand.Rand, m protoreflect.Message, oneIn int) {
	draw := func(old protoreflect.Value) protoreflect.Value {
		if random.IntN(oneIn) > 0 {
			return old
		}
		return protoreflect.ValueOfFloat64(nasty[random.IntN(len(nasty))])
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap() && f.MapValue().Kind() == protoreflect.DoubleKind:
			keys := []string{}
			v.Map().Range(func(k protoreflect.MapKey, _ protoreflect.Value) bool {
				keys = append(keys, k.String())
				return true
			})
			slices.Sort(keys) // the same draws in the same order
			for _, k := range keys {
				key := protoreflect.ValueOfString(k).MapKey()
				v.Map().Set(key, draw(v.Map().Get(key)))
			}
		case f.IsList() && f.Kind() == protoreflect.MessageKind:
			for i := range v.List().Len() {
				spoil(random, v.List().Get(i).Message(), oneIn)
			}
		case f.IsList() && f.Kind() == protoreflect.DoubleKind:
			for i := range v.List().Len() {
				v.List().Set(i, draw(v.List().Get(i)))
			}
		case f.Kind() == protoreflect.MessageKind && !f.IsMap() && !f.IsList():
			spoil(random, v.Message(), oneIn)
		case f.Kind() == protoreflect.DoubleKind && !f.IsList():
			m.Set(f, draw(v))
		}
		return true
	})
}

// finite reports whether every number of a message is.
func finite(m protoreflect.Message) bool {
	ok := true
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsList() && f.Kind() == protoreflect.MessageKind:
			for i := range v.List().Len() {
				ok = ok && finite(v.List().Get(i).Message())
			}
		case f.IsList() && f.Kind() == protoreflect.DoubleKind:
			for i := range v.List().Len() {
				x := v.List().Get(i).Float()
				ok = ok && !math.IsNaN(x) && !math.IsInf(x, 0)
			}
		case f.Kind() == protoreflect.MessageKind && !f.IsMap() && !f.IsList():
			ok = ok && finite(v.Message())
		case f.Kind() == protoreflect.DoubleKind && !f.IsList():
			ok = ok && !math.IsNaN(v.Float()) && !math.IsInf(v.Float(), 0)
		}
		return ok
	})
	return ok
}

// Whatever numbers a request carries, the answer is a formula, a reason why there
// is none, or a refusal that names the field; never a crash, a hang or a fault of
// ours.
func TestNoNumberBreaksTheOptimiser(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	count := map[codes.Code]int{}
	rapid.Check(t, func(r *rapid.T) {
		req := proto.Clone(sheetfed()).(*pb.OptimiseRequest)
		seed := rapid.Uint64().Draw(r, "seed")
		spoil(rand.New(rand.NewPCG(seed, 0)), req.ProtoReflect(), rapid.SampledFrom([]int{5, 20, 40, 80}).Draw(r, "one in"))
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		out, err := client.Optimise(ctx, req)
		count[status.Code(err)]++
		switch status.Code(err) {
		case codes.OK:
			if !finite(out.ProtoReflect()) {
				r.Fatalf("a number of the answer is not finite: %v", out)
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
