package jobs_test

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/servertest"
)

// An operation tells how far it is, answers, and is forgotten when told to.
func TestProgressAndAnswer(t *testing.T) {
	goOn := make(chan struct{})
	s := serving(t, jobs.Config{Beat: 20 * time.Millisecond}, func(ctx context.Context, request string, progress app.Progress) (string, error) {
		progress(0.25, "half of the first half")
		<-goOn
		if c := app.CallerOf(ctx); c.Role != app.Purchasing || c.Key != "purchasing" {
			return "", errors.New("the caller is lost")
		}
		return strings.ToUpper(request), nil
	})
	name := start(t, s, "linseed")
	ops := client(s, app.Purchasing)
	until(t, "progress", func() bool {
		o, err := ops.GetOperation(t.Context(), &pb.GetOperationRequest{Name: name})
		if err != nil {
			t.Fatal(err)
		}
		m := meta(t, o)
		return !o.GetDone() && m.GetState() == pb.OperationState_OPERATION_STATE_RUNNING && m.GetProgressFraction() == 0.25 &&
			m.GetProgress() == "half of the first half" && m.GetStartedBy() == "keys/purchasing"
	})
	o, err := ops.WaitOperation(t.Context(), &pb.WaitOperationRequest{Name: name, Timeout: durationpb.New(50 * time.Millisecond)})
	if err != nil || o.GetDone() {
		t.Errorf("a short wait: %v %v", o, err)
	}
	if _, err := ops.DeleteOperation(t.Context(), &pb.DeleteOperationRequest{Name: name}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("deleted while it ran: %v", err)
	}
	close(goOn)
	done, m := ended(t, s, name)
	if answer(t, done) != "LINSEED" || m.GetAttempt() != 1 || m.GetProgressFraction() != 1 || m.GetEndTime() == nil {
		t.Errorf("%v %v", done, m)
	}
	cancelled, err := ops.CancelOperation(t.Context(), &pb.CancelOperationRequest{Name: name})
	if err != nil || answer(t, cancelled) != "LINSEED" {
		t.Errorf("cancelled after its end: %v %v", cancelled, err)
	}
	if _, err := ops.DeleteOperation(t.Context(), &pb.DeleteOperationRequest{Name: name}); err != nil {
		t.Error(err)
	}
	if _, err := ops.GetOperation(t.Context(), &pb.GetOperationRequest{Name: name}); status.Code(err) != codes.NotFound {
		t.Errorf("it is still there: %v", err)
	}
}

// A cancelled operation ends within about a second, running or not.
func TestCancel(t *testing.T) {
	s := serving(t, jobs.Config{Workers: 1}, func(ctx context.Context, _ string, _ app.Progress) (string, error) {
		<-ctx.Done()
		return "", ctx.Err()
	})
	running := start(t, s, "")
	ops := client(s, app.Purchasing)
	until(t, "it runs", func() bool {
		o, err := ops.GetOperation(t.Context(), &pb.GetOperationRequest{Name: running})
		return err == nil && meta(t, o).GetState() == pb.OperationState_OPERATION_STATE_RUNNING
	})
	waiting := start(t, s, "")
	o, err := ops.CancelOperation(t.Context(), &pb.CancelOperationRequest{Name: waiting})
	if err != nil || !o.GetDone() || codes.Code(o.GetError().GetCode()) != codes.Canceled || meta(t, o).GetAttempt() != 0 {
		t.Errorf("what waited: %v %v", o, err)
	}
	begin := time.Now()
	o, err = ops.CancelOperation(t.Context(), &pb.CancelOperationRequest{Name: running})
	if err != nil || !meta(t, o).GetCancelRequested() {
		t.Errorf("%v %v", o, err)
	}
	o, m := ended(t, s, running)
	if m.GetState() != pb.OperationState_OPERATION_STATE_CANCELLED || codes.Code(o.GetError().GetCode()) != codes.Canceled {
		t.Errorf("%v", o)
	}
	if took := time.Since(begin); took > 2*time.Second {
		t.Errorf("it took %s to cancel", took)
	}
}

// What a request is refused for is the end; what may pass is tried three times; a
// panic is a failure that tells nothing of the inside.
func TestFailures(t *testing.T) {
	var tries atomic.Int32
	s := serving(t, jobs.Config{}, func(_ context.Context, request string, _ app.Progress) (string, error) {
		tries.Add(1)
		switch request {
		case "bad":
			return "", app.InvalidField("weeks", "must be above 0")
		case "busy":
			return "", app.Faultf(app.ErrBusy, "DATABASE_AWAY", "", "the database does not answer: try again in a moment")
		}
		panic("pigment " + request)
	})
	for _, c := range []struct {
		request string
		code    codes.Code
		tries   int32
		words   string
	}{
		{"bad", codes.InvalidArgument, 1, "weeks: must be above 0"},
		{"busy", codes.Unavailable, 3, "the database does not answer"},
		{"boom", codes.Internal, 1, "the log has the details"},
	} {
		tries.Store(0)
		o, m := ended(t, s, start(t, s, c.request))
		if got := o.GetError(); codes.Code(got.GetCode()) != c.code || !strings.Contains(got.GetMessage(), c.words) || strings.Contains(got.GetMessage(), "pigment") ||
			m.GetState() != pb.OperationState_OPERATION_STATE_FAILED || m.GetAttempt() != c.tries || tries.Load() != c.tries || len(got.GetDetails()) == 0 {
			t.Errorf("%s: %v after %d tries", c.request, o, tries.Load())
		}
	}
}

// A server that was silent for longer than its lease has lost the operation: another
// attempt does it, and what the first one brings in the end counts for nothing.
func TestSilentServerLosesItsWork(t *testing.T) {
	var tries atomic.Int32
	first := make(chan struct{})
	s := serving(t, jobs.Config{Lease: 500 * time.Millisecond, Beat: time.Hour}, func(_ context.Context, _ string, _ app.Progress) (string, error) {
		if tries.Add(1) == 1 {
			<-first // deaf to its context, as a process that is stopped
			return "first", nil
		}
		return "second", nil
	})
	name := start(t, s, "")
	o, m := ended(t, s, name)
	if answer(t, o) != "second" || m.GetAttempt() != 2 {
		t.Errorf("%v %v", o, m)
	}
	close(first)
	time.Sleep(300 * time.Millisecond)
	o, m = ended(t, s, name)
	if answer(t, o) != "second" || m.GetAttempt() != 2 || tries.Load() != 2 {
		t.Errorf("after the first came back: %v %v, %d tries", o, m, tries.Load())
	}
}

// Work that takes its server down with it is given up after three servers.
func TestLostTooOften(t *testing.T) {
	hang := make(chan struct{})
	s := serving(t, jobs.Config{Workers: 5, Lease: 300 * time.Millisecond, Beat: time.Hour}, func(context.Context, string, app.Progress) (string, error) {
		<-hang
		return "late", nil
	})
	defer close(hang)
	o, m := ended(t, s, start(t, s, ""))
	if codes.Code(o.GetError().GetCode()) != codes.Unavailable || !strings.Contains(o.GetError().GetMessage(), "lost 3 times") || m.GetAttempt() != 3 {
		t.Errorf("%v %v", o, m)
	}
}

// An operation is its starter's role's and the administrator's; other roles and the
// order desk see nothing of it.
func TestWhoSeesAnOperation(t *testing.T) {
	s := servertest.Start(t) // nobody works: it stays in the queue
	name := start(t, s, "secret")
	for _, role := range app.Roles {
		o, err := client(s, role).GetOperation(t.Context(), &pb.GetOperationRequest{Name: name})
		_, cancel := client(s, role).CancelOperation(t.Context(), &pb.CancelOperationRequest{Name: "operations/00000000-0000-4000-8000-000000000000"})
		list, _ := client(s, role).ListOperations(t.Context(), &pb.ListOperationsRequest{Filter: `state = "QUEUED" AND kind = "test"`})
		want, sees := codes.PermissionDenied, 0
		switch role {
		case app.Purchasing, app.Admin:
			want, sees = codes.OK, 1
		case app.InkMaker:
			want = codes.NotFound
		}
		if status.Code(err) != want || want == codes.OK && o.GetName() != name || len(list.GetOperations()) != sees {
			t.Errorf("%s: %v %v, %d listed", role, o, err, len(list.GetOperations()))
		}
		if want := map[bool]codes.Code{true: codes.PermissionDenied, false: codes.NotFound}[want == codes.PermissionDenied]; status.Code(cancel) != want {
			t.Errorf("%s cancels what is not there: %v", role, cancel)
		}
	}
}
