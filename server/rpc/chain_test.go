package rpc

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// Every method of the API must say who may call it.
func TestEveryMethodHasRoles(t *testing.T) {
	a, err := newAccess()
	if err != nil {
		t.Fatal(err)
	}
	methods := 0
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods += file.Services().Get(i).Methods().Len()
		}
		return true
	})
	if methods < 40 || len(a) != methods {
		t.Errorf("%d methods of %d say who may call them", len(a), methods)
	}
}

func TestAMethodWithoutRolesIsRefused(t *testing.T) {
	descriptor := pb.File_millbase_v1_material_proto.Services().Get(0).Methods().Get(0)
	if err := (access{}).add(noOptions{descriptor}); err == nil || !strings.Contains(err.Error(), "does not say who may call it") {
		t.Errorf("a method without the option: %v", err)
	}
	ctx := app.WithCaller(t.Context(), app.Caller{Role: app.Admin})
	_, err := access{}.unary(ctx, nil, &grpc.UnaryServerInfo{FullMethod: "/millbase.v1.New/Method"}, func(context.Context, any) (any, error) { return "done", nil })
	if status.Code(err) != codes.PermissionDenied {
		t.Errorf("a method that is not declared was let through: %v", err)
	}
}

type noOptions struct{ protoreflect.MethodDescriptor }

func (noOptions) Options() protoreflect.ProtoMessage { return (*descriptorpb.MethodOptions)(nil) }

func TestWhoIsLetIn(t *testing.T) {
	a := access{"/s/m": {app.Quality}}
	for role, want := range map[app.Role]codes.Code{
		app.Quality: codes.OK, app.Admin: codes.OK, app.OrderDesk: codes.PermissionDenied, "": codes.PermissionDenied, "stranger": codes.PermissionDenied,
	} {
		ctx := app.WithCaller(t.Context(), app.Caller{Role: role})
		_, err := a.unary(ctx, nil, &grpc.UnaryServerInfo{FullMethod: "/s/m"}, func(context.Context, any) (any, error) { return "done", nil })
		if status.Code(err) != want {
			t.Errorf("role %q: %v", role, err)
		}
	}
	if text := refusal(app.OrderDesk, []app.Role{app.Quality}); !strings.Contains(text, "order desk") || !strings.Contains(text, "quality, admin") {
		t.Errorf("the refusal reads %q", text)
	}
}

// Every pattern in the .proto files has a hint in words.
func TestEveryPatternIsExplained(t *testing.T) {
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		var walk func(protoreflect.MessageDescriptors)
		walk = func(messages protoreflect.MessageDescriptors) {
			for i := range messages.Len() {
				fields := messages.Get(i).Fields()
				for j := range fields.Len() {
					rules, _ := proto.GetExtension(fields.Get(j).Options(), validate.E_Field).(*validate.FieldRules)
					for _, s := range []*validate.StringRules{rules.GetString(), rules.GetRepeated().GetItems().GetString(), rules.GetMap().GetKeys().GetString()} {
						if p := s.GetPattern(); p != "" && strings.Contains(patternHint(p), "the pattern") {
							t.Errorf("%s: the pattern %s has no hint", fields.Get(j).FullName(), p)
						}
					}
				}
				walk(messages.Get(i).Messages())
			}
		}
		walk(file.Messages())
		return true
	})
}

func TestRulesSpeakPlainly(t *testing.T) {
	for name, c := range map[string]struct {
		in   proto.Message
		want []string
	}{
		"a bad id":      {&pb.CreateMaterialRequest{MaterialId: "No Good", Material: &pb.Material{Title: "x", MaterialClass: 1}}, []string{"material_id: use 1 to 63 lower-case letters"}},
		"no resource":   {&pb.CreateMaterialRequest{MaterialId: "m"}, []string{"material: must be given"}},
		"no class":      {&pb.CreateMaterialRequest{MaterialId: "m", Material: &pb.Material{Title: "x"}}, []string{"material.material_class: must be one of MATERIAL_CLASS_PIGMENT"}},
		"no title":      {&pb.CreateMaterialRequest{MaterialId: "m", Material: &pb.Material{MaterialClass: 1}}, []string{"material.title: must not be empty"}},
		"a long title":  {&pb.CreateMaterialRequest{MaterialId: "m", Material: &pb.Material{MaterialClass: 1, Title: strings.Repeat("x", 201)}}, []string{"at most 200 characters"}},
		"a bad uuid":    {&pb.CreateMovementRequest{MovementId: "7", Movement: &pb.Movement{Kind: 2}}, []string{"movement_id: must be a UUID"}},
		"NaN":           {&pb.ReceiveLotRequest{LotId: "l", Lot: &pb.Lot{Material: "materials/m"}, Location: "a", MovementId: "6f1c0a5e-7d7b-4f0e-9a54-2f4b8f0f5d11", QuantityKg: nan()}, []string{"quantity_kg"}},
		"a bad date":    {&pb.Offer{Material: "materials/m", PriceBreaks: []*pb.PriceBreak{{}}, ValidFromDate: "soon"}, []string{"valid_from_date: write a date like", "price_breaks[0].price_per_kg: must be given"}},
		"no price":      {&pb.Offer{Material: "materials/m"}, []string{"price_breaks: must not be empty"}},
		"another thing": {&pb.GetLotRequest{Name: "materials/m"}, []string{"name: write it like lots/..."}},
	} {
		err := requestRules.check(c.in, "")
		if err == nil {
			t.Errorf("%s was accepted", name)
			continue
		}
		for _, want := range c.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %v, want %q in it", name, err, want)
			}
		}
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestDeadlines(t *testing.T) {
	limit := deadline(time.Minute, time.Hour)
	left := func(ctx context.Context) time.Duration {
		var got time.Duration
		_, err := limit(ctx, nil, nil, func(ctx context.Context, _ any) (any, error) {
			until, ok := ctx.Deadline()
			if !ok {
				t.Error("a call without a deadline")
			}
			got = time.Until(until)
			return "done", nil
		})
		if err != nil {
			t.Error(err)
		}
		return got
	}
	if d := left(t.Context()); d > time.Minute || d < 50*time.Second {
		t.Errorf("a call without a deadline got %s", d)
	}
	long, cancel := context.WithTimeout(t.Context(), 10*time.Hour)
	defer cancel()
	if d := left(long); d > time.Hour || d < 50*time.Minute {
		t.Errorf("a call of ten hours got %s", d)
	}
	short, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	if d := left(short); d > time.Second {
		t.Errorf("a call of a second got %s", d)
	}
}

// A panic of a handler is INTERNAL for the caller and in the log for us; a
// stranger gets no further than the key.
func TestPanicsAndStrangers(t *testing.T) {
	var log bytes.Buffer
	chain, err := NewChain(Config{Book: nil, Log: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	info := &grpc.UnaryServerInfo{FullMethod: "/grpc.health.v1.Health/Check"} // open: reaches the handler without a book
	_, err = chain.Unary(t.Context(), nil, info, func(context.Context, any) (any, error) { panic("secret detail") })
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "secret") || !strings.Contains(log.String(), "secret detail") {
		t.Errorf("a panic: %v; log %q", err, log.String())
	}
	called := false
	_, err = chain.Unary(t.Context(), &pb.GetLotRequest{Name: "not valid"}, &grpc.UnaryServerInfo{FullMethod: pb.LotService_GetLot_FullMethodName},
		func(context.Context, any) (any, error) { called = true; return nil, nil })
	if status.Code(err) != codes.Unauthenticated || called {
		t.Errorf("a stranger with a bad request: %v", err)
	}
}
