package rpc

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"millbase/server/app"
)

// domain names this service in google.rpc.ErrorInfo.
const domain = "millbase.v1"

// internalText is all that a caller hears of a fault of ours.
const internalText = "The service failed to carry this out; nothing was changed. Try again, and tell whoever runs the service when it happens again: the log has the details."

// errorRow says how an error of package app is answered.
type errorRow struct {
	kind   error
	code   codes.Code
	reason string // of google.rpc.ErrorInfo when the Fault names none
}

// errorTable is the one table from errors to status codes; the first row that
// the error wraps counts.
var errorTable = []errorRow{
	{app.ErrNotFound, codes.NotFound, "NOT_FOUND"},
	{app.ErrExists, codes.AlreadyExists, "ALREADY_EXISTS"},
	{app.ErrStale, codes.Aborted, "STALE_ETAG"},
	{app.ErrIDReused, codes.AlreadyExists, "ID_REUSED"},
	{app.ErrConflict, codes.FailedPrecondition, "CONFLICT"},
	{app.ErrNotReady, codes.FailedPrecondition, "NOT_READY"},
	{app.ErrForbidden, codes.PermissionDenied, "FORBIDDEN"},
	{app.ErrBusy, codes.Unavailable, "BUSY"},
	{context.Canceled, codes.Canceled, "CANCELLED"},
	{context.DeadlineExceeded, codes.DeadlineExceeded, "DEADLINE_EXCEEDED"},
}

// sentences for errors that come without one of their own.
var sentences = map[error]string{
	app.ErrNotFound:          "There is nothing of this name; check it, or list what there is.",
	app.ErrExists:            "The name is taken; choose another, or update the one that exists.",
	app.ErrStale:             "It was changed since you read it; read it again, and send the change with the new etag.",
	app.ErrIDReused:          "The id was used before with other content; use a new id for a new request.",
	app.ErrConflict:          "The book does not allow it as things stand.",
	app.ErrNotReady:          "It is not in a state for this.",
	app.ErrForbidden:         "Your key's role does not allow this.",
	app.ErrBusy:              "The service is too busy; send the same request again in a moment.",
	context.Canceled:         "The call was cancelled before it was finished.",
	context.DeadlineExceeded: "There was not enough time to finish; allow the call more time, or ask for less at once.",
}

// statusOf turns an error of a use case into a status with google.rpc details.
// An error that is a status already is passed on. Anything unknown is INTERNAL
// with a fixed text, and its detail goes to the log only.
func statusOf(ctx context.Context, err error, log *slog.Logger) error {
	if err == nil {
		return nil
	}
	if s, ok := err.(interface{ GRPCStatus() *status.Status }); ok {
		return s.GRPCStatus().Err()
	}
	var invalid app.Invalid
	if errors.As(err, &invalid) {
		return invalidStatus(invalid)
	}
	for _, row := range errorTable {
		if errors.Is(err, row.kind) {
			return faultStatus(row, err)
		}
	}
	if log == nil {
		log = slog.Default()
	}
	log.ErrorContext(ctx, "a call failed", "error", err)
	return detailed(codes.Internal, internalText, &errdetails.ErrorInfo{Domain: domain, Reason: "INTERNAL"})
}

func faultStatus(row errorRow, err error) error {
	message, info := sentences[row.kind], &errdetails.ErrorInfo{Domain: domain, Reason: row.reason}
	details := []protoadapt.MessageV1{info}
	var fault *app.Fault
	if errors.As(err, &fault) {
		message = fault.Message
		if fault.Reason != "" {
			info.Reason = fault.Reason
		}
		if fault.Resource != "" {
			info.Metadata = map[string]string{"resource": fault.Resource}
		}
	}
	if row.code == codes.Unavailable {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(100 * time.Millisecond)})
	}
	return detailed(row.code, message, details...)
}

func invalidStatus(invalid app.Invalid) error {
	bad := &errdetails.BadRequest{}
	for _, f := range invalid {
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Field, Description: f.Problem})
	}
	return detailed(codes.InvalidArgument, invalid.Error(), bad,
		&errdetails.ErrorInfo{Domain: domain, Reason: "INVALID_ARGUMENT"})
}

func detailed(code codes.Code, message string, details ...protoadapt.MessageV1) error {
	s, err := status.New(code, message).WithDetails(details...)
	if err != nil {
		return status.Error(code, message)
	}
	return s.Err()
}
