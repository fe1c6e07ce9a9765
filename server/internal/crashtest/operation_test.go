package crashtest

import (
	"context"
	"io"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
	"millbase/server/postgres/pgtest"
)

func TestMain(m *testing.M) { pgtest.MainDurable(m) }

// replicas starts two servers on one Postgres.
func replicas(t *testing.T) (a, b *server) {
	t.Helper()
	dir, program := build(t)
	url := pgtest.Database(t)
	both := make([]*server, 2)
	for i := range both {
		s := &server{t: t, program: program, data: filepath.Join(dir, "data-"+strconv.Itoa(i)), grpc: freeAddress(t), http: freeAddress(t)}
		s.args = []string{"--database-url", url, "--data", s.data}
		t.Cleanup(s.stop)
		s.start()
		both[i] = s
	}
	both[1].data = both[0].data // where the key is
	return both[0], both[1]
}

func metaOf(t *testing.T, o *longrunningpb.Operation) *pb.OperationMetadata {
	t.Helper()
	m := &pb.OperationMetadata{}
	if err := o.GetMetadata().UnmarshalTo(m); err != nil {
		t.Fatal(err)
	}
	return m
}

// works reports whether an operation is, or was, this server's.
func (s *server) works(m *pb.OperationMetadata) bool {
	return strings.Contains(m.GetServer(), "-"+strconv.Itoa(s.process.Process.Pid)+"-")
}

// TestKilledServersPlanIsMadeOnceByAnother kills the server that makes a plan in the
// middle of it.
func TestKilledServersPlanIsMadeOnceByAnother(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 6*time.Minute)
	defer cancel()
	a, b := replicas(t)
	connA, connB := a.dial(), b.dial()
	if err := demo.NewLoader(connA, demo.Today(time.Now()), func(string, ...any) {}).Load(ctx); err != nil {
		t.Fatal(err)
	}
	name, killed, other, conn := killInTheMiddle(ctx, t, a, b, connA, connB)
	began := time.Now()
	ops := pb.NewOperationServiceClient(conn)
	for m := (&pb.OperationMetadata{}); m.GetAttempt() < 2; time.Sleep(100 * time.Millisecond) {
		o, err := ops.GetOperation(ctx, &pb.GetOperationRequest{Name: name})
		if err != nil {
			t.Fatal(err)
		}
		m = metaOf(t, o)
	}
	takenOver := time.Since(began)
	if takenOver > 30*time.Second {
		t.Errorf("it took %s until another server began it again", takenOver)
	}
	done, err := ops.WaitOperation(ctx, &pb.WaitOperationRequest{Name: name, Timeout: durationpb.New(2 * time.Minute)})
	if err != nil {
		t.Fatal(err)
	}
	m := metaOf(t, done)
	t.Logf("begun again %s after the kill, ended after %s", takenOver.Round(time.Millisecond), time.Since(began).Round(time.Millisecond))
	if m.GetState() != pb.OperationState_OPERATION_STATE_SUCCEEDED || m.GetAttempt() != 2 || !other.works(m) {
		t.Fatalf("the other server was to make it at the second attempt: %v\n%v", m, done.GetError())
	}
	made := &pb.Plan{}
	if err := done.GetResponse().UnmarshalTo(made); err != nil {
		t.Fatal(err)
	}
	kept, err := pb.NewPlanServiceClient(conn).GetPlan(ctx, &pb.GetPlanRequest{Name: made.GetName()})
	if err != nil || len(made.GetBatches()) == 0 || len(kept.GetBatches()) != len(made.GetBatches()) {
		t.Errorf("the plan that was answered is not the one that is kept: %v %v", made.GetName(), err)
	}

	killed.start() // and finds nothing left to do
	time.Sleep(3 * time.Second)
	again, err := pb.NewOperationServiceClient(killed.dial()).GetOperation(ctx, &pb.GetOperationRequest{Name: name})
	if err != nil || !proto.Equal(again, done) {
		t.Errorf("after the killed server came back: %v %v", metaOf(t, again), err)
	}
	if got := metrics(t, other); !strings.Contains(got, `millbase_operation_attempts_total{kind="make_plan",outcome="succeeded"}`) {
		t.Error("the other server does not count its plan")
	}
	if got := metrics(t, killed); strings.Contains(got, `millbase_operation_attempts_total{kind="make_plan"`) {
		t.Error("the killed server began the plan again")
	}
}

// killInTheMiddle starts plans until it gets hold of a server while it makes one, and
// kills it. Each such plan is kept under its own id, so that one made twice would be
// seen.
func killInTheMiddle(ctx context.Context, t *testing.T, a, b *server, connA, connB *grpc.ClientConn) (name string, killed, other *server, conn *grpc.ClientConn) {
	t.Helper()
	for range 20 {
		o, err := pb.NewPlanServiceClient(connA).StartPlan(ctx, &pb.StartPlanRequest{Plan: &pb.MakePlanRequest{
			GapPercent: 1e-6, TimeLimitSeconds: 2, What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{Weeks: 12}}}})
		if err != nil {
			t.Fatal(err)
		}
		get := func(from *grpc.ClientConn) *pb.OperationMetadata {
			now, err := pb.NewOperationServiceClient(from).GetOperation(ctx, &pb.GetOperationRequest{Name: o.GetName()})
			if err != nil {
				t.Fatal(err)
			}
			return metaOf(t, now)
		}
		m := get(connB)
		for ; m.GetEndTime() == nil && m.GetProgressFraction() == 0; m = get(connB) {
			time.Sleep(5 * time.Millisecond)
		}
		killed, other, conn = a, b, connB
		if b.works(m) {
			killed, other, conn = b, a, connA
		}
		// Held still, it can't end between the look and the kill.
		if err := killed.process.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		if get(conn).GetState() == pb.OperationState_OPERATION_STATE_RUNNING {
			killed.kill()
			return o.GetName(), killed, other, conn
		}
		if err := killed.process.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
	}
	t.Fatal("every plan was made before its server could be killed")
	return "", nil, nil, nil
}

func metrics(t *testing.T, s *server) string {
	t.Helper()
	answer, err := http.Get("http://" + s.http + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
