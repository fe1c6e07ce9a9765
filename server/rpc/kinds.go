package rpc

import (
	"context"
	"log/slog"

	statuspb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	"millbase/server/app"
)

// The kinds of long work, as operations show them.
const (
	repriceKind = "reprice_book"
	planKind    = "make_plan"
)

// Kinds is all the long work that a server of the book can do. Each is a method of
// this API that runs off the request: the operation keeps its request, and its
// response or the status that it would have been refused with.
func Kinds(book *app.Book) []app.Kind {
	return []app.Kind{
		kind(repriceKind, (&repricingService{book: book}).reprice),
		kind(planKind, (&planService{book: book}).make),
	}
}

// message is a pointer to a generated message.
type message[T any] interface {
	*T
	proto.Message
}

// kind makes long work of a method.
func kind[Req any, In message[Req], Out proto.Message](name string, run func(context.Context, In, app.Progress) (Out, error)) app.Kind {
	return app.Kind{Name: name, Run: func(ctx context.Context, request []byte, progress app.Progress) ([]byte, error) {
		in := In(new(Req))
		if err := proto.Unmarshal(request, in); err != nil {
			return nil, err
		}
		if err := requestRules.check(in, ""); err != nil { // a version with other rules may have taken it
			return nil, err
		}
		out, err := run(ctx, in, progress)
		if err != nil {
			return nil, err
		}
		packed, err := anypb.New(out)
		if err != nil {
			return nil, err
		}
		return proto.Marshal(packed)
	}}
}

// Failures says what an operation keeps of an error: the status that a call would
// have been answered with. again means that it may pass.
func Failures(log *slog.Logger) func(context.Context, error) (failure []byte, again bool) {
	return func(ctx context.Context, err error) ([]byte, bool) {
		s := status.Convert(statusOf(ctx, err, log))
		raw, err := proto.Marshal(s.Proto())
		if err != nil {
			raw, _ = proto.Marshal(&statuspb.Status{Code: int32(s.Code()), Message: s.Message()}) // plain fields always do
		}
		return raw, s.Code() == codes.Unavailable || s.Code() == codes.Aborted
	}
}
