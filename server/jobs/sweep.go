package jobs

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river/rivertype"

	"millbase/server/app"
	"millbase/server/postgres"
)

// sweepForever looks for what lost its server until ctx ends.
func (q *Queue) sweepForever(ctx context.Context) {
	tick := time.NewTicker(q.cfg.Lease / 5)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		err := q.cfg.Store.Work(ctx, q.sweep)
		if err != nil && ctx.Err() == nil {
			q.cfg.Log.Warn("lost operations can't be looked for", "error", err)
		}
	}
}

// stray is an operation that nobody seems to work on.
type stray struct {
	ID     string
	Job    int64
	State  app.OperationState
	Losses int
	Cancel bool
}

// sweep puts operations whose lease ran out back into the queue, and those whose
// job the queue lost before they were taken. It forgets what ended long ago.
func (q *Queue) sweep(ctx context.Context, t pgx.Tx) error {
	rows, err := t.Query(ctx, `SELECT id, coalesce(job, 0), state, losses, cancel_wanted FROM operation
		WHERE state = 'running' AND lease_until < clock_timestamp() OR state = 'queued' AND updated_at < clock_timestamp() - $1::interval
		ORDER BY id LIMIT 100 FOR UPDATE SKIP LOCKED`, q.cfg.Lease)
	if err != nil {
		return err
	}
	strays, err := pgx.CollectRows(rows, pgx.RowToStructByPos[stray])
	if err != nil {
		return err
	}
	for _, s := range strays {
		if err := q.rescue(ctx, t, s); err != nil {
			return err
		}
	}
	_, err = t.Exec(ctx, "DELETE FROM operation WHERE ended_at < clock_timestamp() - $1::interval", q.cfg.Keep)
	return err
}

// rescue has an operation begun again, or ends it when it was lost too often or is
// to be cancelled.
func (q *Queue) rescue(ctx context.Context, t pgx.Tx, s stray) error {
	if s.State == app.OperationQueued {
		waiting, err := q.waits(ctx, t, s.Job)
		if err != nil || waiting {
			return err
		}
	} else {
		s.Losses++
	}
	if s.Cancel {
		failure, _ := q.cfg.Failure(ctx, context.Canceled)
		return q.endStray(ctx, t, s, app.OperationCancelled, failure)
	}
	if s.Losses >= mostLosses {
		failure, _ := q.cfg.Failure(ctx, app.Faultf(app.ErrBusy, "SERVER_LOST", "operations/"+s.ID,
			"the server that worked on it was lost %d times; ask for less at once, and tell whoever runs the service", s.Losses))
		return q.endStray(ctx, t, s, app.OperationFailed, failure)
	}
	if s.State == app.OperationRunning {
		q.cfg.Log.Warn("an operation lost its server and is begun again", "operation", s.ID)
	}
	job, err := q.client.InsertTx(ctx, t, postgres.OperationJob{ID: s.ID}, nil)
	if err != nil {
		return err
	}
	_, err = t.Exec(ctx, `UPDATE operation SET state = 'queued', lease_until = NULL, job = $2, losses = $3, version = version + 1, updated_at = clock_timestamp()
		WHERE id = $1`, s.ID, job.Job.ID, s.Losses)
	if err != nil {
		return err
	}
	return q.dropJob(ctx, t, s.Job)
}

// waits reports whether the queue will still hand the job over.
func (q *Queue) waits(ctx context.Context, t pgx.Tx, job int64) (bool, error) {
	row, err := q.client.JobGetTx(ctx, t, job)
	if errors.Is(err, rivertype.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	switch row.State {
	case rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable, rivertype.JobStateScheduled:
		return true, nil
	}
	return false, nil
}

// dropJob tells the queue that a job will not end by itself, and a server that still
// runs it to stop.
func (q *Queue) dropJob(ctx context.Context, t pgx.Tx, job int64) error {
	if _, err := q.client.JobCancelTx(ctx, t, job); !errors.Is(err, rivertype.ErrNotFound) {
		return err
	}
	return nil
}

func (q *Queue) endStray(ctx context.Context, t pgx.Tx, s stray, state app.OperationState, failure []byte) error {
	_, err := t.Exec(ctx, `UPDATE operation SET state = $2, failure = $3, losses = $4, lease_until = NULL, ended_at = clock_timestamp(),
			version = version + 1, updated_at = clock_timestamp()
		WHERE id = $1`, s.ID, string(state), failure, s.Losses)
	if err != nil {
		return err
	}
	return q.dropJob(ctx, t, s.Job)
}
