package rpc

import (
	"context"
	"errors"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	statuspb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/emptypb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// operationService serves long work (AIP-151).
type operationService struct {
	pb.UnimplementedOperationServiceServer
	book *app.Book
}

// startOperation starts long work of a kind, once for what the request id stands
// for. check says what is wrong with the request.
func startOperation(ctx context.Context, book *app.Book, kind string, request proto.Message, once app.Request, check func(context.Context) error) (*longrunningpb.Operation, error) {
	raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(request)
	if err != nil {
		return nil, err
	}
	rec, err := book.StartOperation(ctx, kind, raw, once, check)
	if err != nil {
		return nil, err
	}
	return operationOut(rec)
}

// within puts the place of a part before the fields that an error names.
func within(place string, err error) error {
	var invalid app.Invalid
	if !errors.As(err, &invalid) {
		return err
	}
	out := make(app.Invalid, len(invalid))
	for i, f := range invalid {
		out[i] = app.FieldError{Field: place + f.Field, Problem: f.Problem}
	}
	return out
}

// GetOperation implements the service.
func (s *operationService) GetOperation(ctx context.Context, req *pb.GetOperationRequest) (*longrunningpb.Operation, error) {
	return s.named(req.GetName(), func(id string) (app.Record[app.Operation], error) { return s.book.Operation(ctx, id) })
}

// named reads the name, and answers the operation that get finds.
func (s *operationService) named(name string, get func(id string) (app.Record[app.Operation], error)) (*longrunningpb.Operation, error) {
	f := &fields{}
	id := f.id("name", name, operations)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := get(id)
	if err != nil {
		return nil, err
	}
	return operationOut(rec)
}

var operationFilter = filterFields{"kind": textField, "state": enumField(pb.OperationState(0))}

// ListOperations implements the service.
func (s *operationService) ListOperations(ctx context.Context, req *pb.ListOperationsRequest) (*pb.ListOperationsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), operations, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := operationFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Operations(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.Operation]) string { return r.Value.ID })
	out := &pb.ListOperationsResponse{NextPageToken: next}
	for _, rec := range recs {
		o, err := operationOut(rec)
		if err != nil {
			return nil, err
		}
		out.Operations = append(out.Operations, o)
	}
	return out, nil
}

// CancelOperation implements the service.
func (s *operationService) CancelOperation(ctx context.Context, req *pb.CancelOperationRequest) (*longrunningpb.Operation, error) {
	failure, _ := Failures(nil)(ctx, context.Canceled)
	return s.named(req.GetName(), func(id string) (app.Record[app.Operation], error) { return s.book.CancelOperation(ctx, id, failure) })
}

// spare is left of a call's time for the answer.
const spare = 500 * time.Millisecond

// WaitOperation implements the service.
func (s *operationService) WaitOperation(ctx context.Context, req *pb.WaitOperationRequest) (*longrunningpb.Operation, error) {
	wait := MaxTimeout
	if deadline, ok := ctx.Deadline(); ok {
		wait = max(time.Until(deadline)-spare, 0)
	}
	if req.GetTimeout() != nil {
		wait = min(wait, req.GetTimeout().AsDuration())
	}
	return s.named(req.GetName(), func(id string) (app.Record[app.Operation], error) { return s.book.WaitOperation(ctx, id, wait) })
}

// DeleteOperation implements the service.
func (s *operationService) DeleteOperation(ctx context.Context, req *pb.DeleteOperationRequest) (*emptypb.Empty, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), operations)
	if err := f.err(); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, s.book.DeleteOperation(ctx, id)
}

func operationOut(r app.Record[app.Operation]) (*longrunningpb.Operation, error) {
	o := r.Value
	meta, err := anypb.New(&pb.OperationMetadata{Kind: o.Kind, State: enum[pb.OperationState](string(o.State)), ProgressFraction: o.Fraction, Progress: o.Words,
		CancelRequested: o.CancelWanted && !o.State.Ended(), Attempt: int32(o.Attempt), Server: o.Worker, StartedBy: nameOf(keys, o.Caller),
		CreateTime: momentOut(r.CreatedAt), StartTime: momentOut(o.StartedAt), UpdateTime: momentOut(r.UpdatedAt), EndTime: momentOut(o.EndedAt)})
	if err != nil {
		return nil, err
	}
	out := &longrunningpb.Operation{Name: nameOf(operations, o.ID), Metadata: meta, Done: o.State.Ended()}
	switch {
	case o.State == app.OperationSucceeded:
		result := &anypb.Any{}
		if err := proto.Unmarshal(o.Result, result); err != nil {
			return nil, err
		}
		out.Result = &longrunningpb.Operation_Response{Response: result}
	case out.Done:
		failure := &statuspb.Status{}
		if err := proto.Unmarshal(o.Failure, failure); err != nil {
			return nil, err
		}
		out.Result = &longrunningpb.Operation_Error{Error: failure}
	}
	return out, nil
}
