package gateway

import (
	"context"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// lots answers with what it was asked.
type lots struct {
	pb.UnimplementedLotServiceServer
	lot *pb.Lot
}

func (l *lots) GetLot(ctx context.Context, req *pb.GetLotRequest) (*pb.Lot, error) {
	if req.GetName() == "lots/none" {
		return nil, status.Error(codes.NotFound, "no lot")
	}
	return l.lot, grpc.SetHeader(ctx, metadata.Pairs("seen", req.GetName()))
}

func (l *lots) SetLotStatus(_ context.Context, req *pb.SetLotStatusRequest) (*pb.Lot, error) {
	return &pb.Lot{Name: req.GetName(), Etag: req.GetEtag()}, nil
}

func someLot() *pb.Lot {
	return &pb.Lot{Name: "lots/l-1", Material: "materials/blue", Supplier: "suppliers/quellmark", Status: pb.LotStatus_LOT_STATUS_RELEASED, OnHandKg: 12.5,
		Certificate: map[string]float64{"tint_strength_fraction": 1.02, "density_kg_per_l": 1.6}, ReceivedDate: "2026-03-01", ExpiryDate: "2028-03-01", Etag: "v3"}
}

func counting(calls *int) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		*calls++
		if len(metadata.ValueFromIncomingContext(ctx, "authorization")) == 0 {
			return nil, status.Error(codes.Unauthenticated, "no key")
		}
		return handler(ctx, req)
	}
}

func TestChannelRunsTheChain(t *testing.T) {
	calls, heard := 0, &ears{}
	c := newChannel(counting(&calls), heard)
	pb.RegisterLotServiceServer(c, &lots{lot: someLot()})
	client := pb.NewLotServiceClient(c)
	if _, err := client.GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-1"}); status.Code(err) != codes.Unauthenticated || calls != 1 {
		t.Errorf("without a key: %v after %d calls of the chain", err, calls)
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer x")
	var header metadata.MD
	got, err := client.GetLot(ctx, &pb.GetLotRequest{Name: "lots/l-1"}, grpc.Header(&header))
	if err != nil || !proto.Equal(got, someLot()) || header.Get("seen")[0] != "lots/l-1" {
		t.Errorf("with a key: %v %v %v", got, header, err)
	}
	if _, err := client.GetLot(ctx, &pb.GetLotRequest{Name: "lots/none"}); status.Code(err) != codes.NotFound {
		t.Errorf("an error of the handler: %v", err)
	}
	if heard.ended != 3 || heard.failed != 2 {
		t.Errorf("the stats handler heard of %d calls, %d failed", heard.ended, heard.failed)
	}
	if _, err := pb.NewPlantServiceClient(c).WhoAmI(ctx, &pb.WhoAmIRequest{}); status.Code(err) != codes.Unimplemented {
		t.Errorf("a service that is not there: %v", err)
	}
	if _, err := c.NewStream(ctx, nil, "/x/y"); status.Code(err) != codes.Unimplemented {
		t.Errorf("a stream: %v", err)
	}
}

func TestIfMatch(t *testing.T) {
	calls := 0
	c := newChannel(counting(&calls), nil)
	pb.RegisterLotServiceServer(c, &lots{})
	with := func(header, etag string) (string, error) {
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer x", ifMatch, header)
		l, err := pb.NewLotServiceClient(c).SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/l-1", Etag: etag})
		return l.GetEtag(), err
	}
	for header, want := range map[string]string{`"v3.abc"`: "v3", `W/"v3"`: "v3", `v3`: "v3", `*`: ""} {
		if got, err := with(header, ""); err != nil || got != want {
			t.Errorf("If-Match %s reached the call as %q (%v)", header, got, err)
		}
	}
	if got, err := with(`"v3"`, "v3"); err != nil || got != "v3" {
		t.Errorf("the same twice: %q %v", got, err)
	}
	for header, etag := range map[string]string{`"v3"`: "v4", `"v3", "v4"`: ""} {
		if _, err := with(header, etag); status.Code(err) != codes.InvalidArgument {
			t.Errorf("If-Match %s with etag %q: %v", header, etag, err)
		}
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer x", ifMatch, `"v3"`)
	if _, err := pb.NewLotServiceClient(c).GetLot(ctx, &pb.GetLotRequest{Name: "lots/l-1"}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("If-Match on a read: %v", err)
	}
}

type ears struct{ ended, failed int }

func (*ears) TagRPC(ctx context.Context, _ *stats.RPCTagInfo) context.Context   { return ctx }
func (*ears) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }
func (*ears) HandleConn(context.Context, stats.ConnStats)                       {}
func (e *ears) HandleRPC(_ context.Context, s stats.RPCStats) {
	if end, ok := s.(*stats.End); ok {
		e.ended++
		if end.Error != nil {
			e.failed++
		}
	}
}

// BenchmarkChannel is a call with a handler that does nothing.
func BenchmarkChannel(b *testing.B) {
	calls := 0
	c := newChannel(counting(&calls), nil)
	pb.RegisterLotServiceServer(c, &lots{lot: someLot()})
	client := pb.NewLotServiceClient(c)
	ctx := metadata.AppendToOutgoingContext(b.Context(), "authorization", "Bearer x")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := client.GetLot(ctx, &pb.GetLotRequest{Name: "lots/l-1"}); err != nil {
			b.Fatal(err)
		}
	}
}
