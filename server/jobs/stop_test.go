package jobs_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/rpc"
	"millbase/server/servertest"
)

// working starts another server's queue on the same book.
func working(t *testing.T, s *servertest.Server, r run) *jobs.Queue {
	t.Helper()
	q, err := jobs.New(jobs.Config{Store: s.Store, Kinds: []app.Kind{kindOf(r)}, Failure: rpc.Failures(nil)})
	if err == nil {
		err = q.Start(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func stop(t *testing.T, q *jobs.Queue, within time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	if err := q.Stop(ctx); err != nil {
		t.Errorf("stopping: %v", err)
	}
}

// A server that stops finishes what ends within the grace, and gives back the rest,
// which another server begins at once.
func TestStopGivesWorkBack(t *testing.T) {
	s := servertest.Start(t)
	began := make(chan struct{}, 2)
	first := working(t, s, func(ctx context.Context, request string, _ app.Progress) (string, error) {
		began <- struct{}{}
		if request == "short" {
			time.Sleep(300 * time.Millisecond)
			return "first", ctx.Err()
		}
		<-ctx.Done()
		return "", ctx.Err()
	})
	short, long := start(t, s, "short"), start(t, s, "long")
	<-began
	<-began
	begin := time.Now()
	stop(t, first, time.Second)
	if took := time.Since(begin); took > 5*time.Second {
		t.Errorf("stopping took %s", took)
	}
	if o, m := ended(t, s, short); answer(t, o) != "first" || m.GetAttempt() != 1 {
		t.Errorf("what ended within the grace: %v", o)
	}
	second := working(t, s, func(context.Context, string, app.Progress) (string, error) { return "second", nil })
	defer stop(t, second, 5*time.Second)
	begin = time.Now()
	if o, m := ended(t, s, long); answer(t, o) != "second" || m.GetAttempt() != 2 || m.GetServer() != second.Name() {
		t.Errorf("what was given back: %v %v", o, m)
	}
	if took := time.Since(begin); took > 8*time.Second {
		t.Errorf("it was begun again only after %s: by its lease, not because it was given back", took)
	}
}

// While servers of two versions work side by side, what only the newer one knows is
// left to it, however often the older one gets it.
func TestUnknownKindIsLeftToOthers(t *testing.T) {
	s := servertest.Start(t)
	older, err := jobs.New(jobs.Config{Store: s.Store, Failure: rpc.Failures(nil)})
	if err == nil {
		err = older.Start(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	name := start(t, s, "")
	until(t, "the older server gave it back three times", func() bool {
		o, err := client(s, app.Purchasing).GetOperation(t.Context(), &pb.GetOperationRequest{Name: name})
		return err == nil && meta(t, o).GetAttempt() > 3
	})
	stop(t, older, 5*time.Second)
	newer := working(t, s, func(context.Context, string, app.Progress) (string, error) { return "newer", nil })
	defer stop(t, newer, 5*time.Second)
	if o, _ := ended(t, s, name); answer(t, o) != "newer" {
		t.Errorf("%v", o)
	}
}

// Postgres itself keeps what has ended as it is, and what has not from being deleted,
// whoever writes.
func TestWhatEndedIsFixed(t *testing.T) {
	s := serving(t, jobs.Config{}, func(context.Context, string, app.Progress) (string, error) { return "done", nil })
	name := start(t, s, "")
	ended(t, s, name)
	id := name[len("operations/"):]
	waiting := startInto(t, servertest.Start(t))
	for sql, want := range map[string]string{
		"UPDATE operation SET result = 'x' WHERE id = $1":                                     "operation_ended",
		"UPDATE operation SET state = 'queued', result = NULL, ended_at = NULL WHERE id = $1": "operation_ended",
	} {
		_, err := s.Store.Pool().Exec(t.Context(), sql, id)
		refused(t, sql, err, want)
	}
	for sql, want := range map[string]string{
		"DELETE FROM operation WHERE id = $1":                    "operation_not_ended",
		"UPDATE operation SET request = 'y' WHERE id = $1":       "operation_ended",
		"UPDATE operation SET state = 'succeeded' WHERE id = $1": "operation_ended_whole",
		"UPDATE operation SET state = 'running' WHERE id = $1":   "operation_leased",
		"UPDATE operation SET state = 'lost' WHERE id = $1":      "operation_state_known",
		"UPDATE operation SET fraction = 1.5 WHERE id = $1":      "operation_fraction_share",
	} {
		_, err := waiting.server.Store.Pool().Exec(t.Context(), sql, waiting.id)
		refused(t, sql, err, want)
	}
}

type waiting struct {
	server *servertest.Server
	id     string
}

// startInto starts an operation that nobody works on.
func startInto(t *testing.T, s *servertest.Server) waiting {
	t.Helper()
	return waiting{s, start(t, s, "x")[len("operations/"):]}
}

func refused(t *testing.T, sql string, err error, constraint string) {
	t.Helper()
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || pg.ConstraintName != constraint {
		t.Errorf("%s: got %v, want a breach of %s", sql, err, constraint)
	}
}
