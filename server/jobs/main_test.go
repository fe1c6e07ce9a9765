package jobs_test

import (
	"context"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/postgres/pgtest"
	"millbase/server/servertest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// run is the work of a kind that a test makes up; it returns a text.
type run func(ctx context.Context, request string, progress app.Progress) (string, error)

func kindOf(r run) app.Kind {
	return app.Kind{Name: "test", Run: func(ctx context.Context, request []byte, progress app.Progress) ([]byte, error) {
		text, err := r(ctx, string(request), progress)
		if err != nil {
			return nil, err
		}
		packed, err := anypb.New(wrapperspb.String(text))
		if err != nil {
			return nil, err
		}
		return proto.Marshal(packed)
	}}
}

// serving starts a server that does the work of r.
func serving(t *testing.T, cfg jobs.Config, r run) *servertest.Server {
	t.Helper()
	cfg.Kinds = []app.Kind{kindOf(r)}
	return servertest.StartWith(t, servertest.Options{Jobs: &cfg})
}

// start starts an operation as purchasing.
func start(t *testing.T, s *servertest.Server, request string) string {
	t.Helper()
	ctx := app.WithCaller(t.Context(), app.Caller{Key: "purchasing", Role: app.Purchasing})
	rec, err := s.Book.StartOperation(ctx, "test", []byte(request), app.Request{}, func(context.Context) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	return "operations/" + rec.Value.ID
}

func client(s *servertest.Server, role app.Role) pb.OperationServiceClient {
	return pb.NewOperationServiceClient(s.As(role))
}

func meta(t *testing.T, o *longrunningpb.Operation) *pb.OperationMetadata {
	t.Helper()
	m := &pb.OperationMetadata{}
	if err := o.GetMetadata().UnmarshalTo(m); err != nil {
		t.Fatal(err)
	}
	return m
}

// ended waits for the end of an operation.
func ended(t *testing.T, s *servertest.Server, name string) (*longrunningpb.Operation, *pb.OperationMetadata) {
	t.Helper()
	o, err := client(s, app.Purchasing).WaitOperation(t.Context(), &pb.WaitOperationRequest{Name: name, Timeout: durationpb.New(20 * time.Second)})
	if err != nil {
		t.Fatal(err)
	}
	if !o.GetDone() {
		t.Fatalf("it has not ended: %v", o)
	}
	return o, meta(t, o)
}

// answer is the text that an operation was answered with.
func answer(t *testing.T, o *longrunningpb.Operation) string {
	t.Helper()
	text := &wrapperspb.StringValue{}
	if err := o.GetResponse().UnmarshalTo(text); err != nil {
		t.Fatalf("%v: %v", o, err)
	}
	return text.GetValue()
}

// until waits for a condition.
func until(t *testing.T, what string, met func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !met(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s: not within 20 s", what)
		}
	}
}
