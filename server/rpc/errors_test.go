package rpc

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"millbase/server/app"
)

func TestErrorTable(t *testing.T) {
	for name, c := range map[string]struct {
		err    error
		code   codes.Code
		reason string
		text   string
	}{
		"not found":        {app.Faultf(app.ErrNotFound, "", "lots/l-1", "there is no lot l-1"), codes.NotFound, "NOT_FOUND", "there is no lot l-1"},
		"bare not found":   {app.ErrNotFound, codes.NotFound, "NOT_FOUND", "nothing of this name"},
		"exists":           {app.ErrExists, codes.AlreadyExists, "ALREADY_EXISTS", "taken"},
		"stale":            {app.ErrStale, codes.Aborted, "STALE_ETAG", "read it again"},
		"id reused":        {app.ErrIDReused, codes.AlreadyExists, "ID_REUSED", "new id"},
		"a ledger rule":    {app.Faultf(app.ErrConflict, "NEGATIVE_BALANCE", "lots/l-1", "only 3 kg"), codes.FailedPrecondition, "NEGATIVE_BALANCE", "only 3 kg"},
		"not ready":        {app.ErrNotReady, codes.FailedPrecondition, "NOT_READY", "not in a state"},
		"forbidden":        {app.ErrForbidden, codes.PermissionDenied, "FORBIDDEN", "role"},
		"busy":             {app.ErrBusy, codes.Unavailable, "BUSY", "again"},
		"cancelled":        {context.Canceled, codes.Canceled, "CANCELLED", "cancelled"},
		"too late":         {fmt.Errorf("query: %w", context.DeadlineExceeded), codes.DeadlineExceeded, "DEADLINE_EXCEEDED", "more time"},
		"wrapped":          {fmt.Errorf("posting: %w", app.Faultf(app.ErrConflict, "RESERVED", "", "it is reserved")), codes.FailedPrecondition, "RESERVED", "it is reserved"},
		"a field":          {app.InvalidField("quantity_kg", "must be above 0"), codes.InvalidArgument, "INVALID_ARGUMENT", "quantity_kg: must be above 0"},
		"anything else":    {errors.New("password of the database"), codes.Internal, "INTERNAL", "log has the details"},
		"a status already": {status.Error(codes.ResourceExhausted, "full"), codes.ResourceExhausted, "", "full"},
	} {
		var log bytes.Buffer
		s := status.Convert(statusOf(t.Context(), c.err, slog.New(slog.NewTextHandler(&log, nil))))
		if s.Code() != c.code || !strings.Contains(s.Message(), c.text) {
			t.Errorf("%s: %s %q", name, s.Code(), s.Message())
		}
		if got := reasonOf(s); got != c.reason {
			t.Errorf("%s: reason %q, want %q", name, got, c.reason)
		}
		if leaked := strings.Contains(s.Message(), "password"); leaked || (c.code == codes.Internal) != strings.Contains(log.String(), "password") {
			t.Errorf("%s: the detail must be in the log only; message %q, log %q", name, s.Message(), log.String())
		}
	}
	if statusOf(t.Context(), nil, nil) != nil {
		t.Error("no error became one")
	}
}

func TestEverySentinelHasASentence(t *testing.T) {
	for _, row := range errorTable {
		if len(sentences[row.kind]) < 20 {
			t.Errorf("%v has no sentence of its own", row.kind)
		}
	}
}

func TestInvalidListsEveryField(t *testing.T) {
	s := status.Convert(statusOf(t.Context(), app.Invalid{{Field: "a", Problem: "x"}, {Field: "b", Problem: "y"}}, nil))
	for _, detail := range s.Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok && len(bad.GetFieldViolations()) == 2 && bad.GetFieldViolations()[1].GetField() == "b" {
			return
		}
	}
	t.Errorf("details: %v", s.Details())
}

func reasonOf(s *status.Status) string {
	for _, detail := range s.Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
