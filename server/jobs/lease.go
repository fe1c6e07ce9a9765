package jobs

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"millbase/server/app"
	"millbase/server/postgres"
)

// claim is an operation that this server has taken.
type claim struct {
	id, kind, caller string
	role             app.Role
	request          []byte
	attempt          int // names every write
	losses           int
	progress         progress
}

// claim takes an operation, unless it has ended or another server has it.
func (q *Queue) claim(ctx context.Context, job *river.Job[postgres.OperationJob]) (c *claim, taken bool, err error) {
	c = &claim{id: job.Args.ID}
	err = q.cfg.Store.Work(ctx, func(ctx context.Context, t pgx.Tx) error {
		return t.QueryRow(ctx, `UPDATE operation SET state = 'running', attempt = attempt + 1, worker = $2, job = $3,
				lease_until = clock_timestamp() + $4, started_at = coalesce(started_at, clock_timestamp()),
				fraction = 0, words = '', version = version + 1, updated_at = clock_timestamp()
			WHERE id = $1 AND (state = 'queued' OR state = 'running' AND lease_until < clock_timestamp()) AND losses < $5
			RETURNING kind, caller, role, request, attempt, losses`, c.id, q.name, job.ID, q.cfg.Lease, mostLosses).
			Scan(&c.kind, &c.caller, &c.role, &c.request, &c.attempt, &c.losses)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, false, nil
	}
	return c, err == nil, err
}

// renew lengthens the lease and writes the progress; errTaken when the operation is
// not this server's any more.
func (q *Queue) renew(ctx context.Context, c *claim) (cancel bool, err error) {
	fraction, words := c.progress.get()
	ctx, stop := context.WithTimeout(ctx, q.cfg.Lease)
	defer stop()
	err = q.cfg.Store.Pool().QueryRow(ctx, `UPDATE operation SET lease_until = clock_timestamp() + $3, fraction = $4, words = $5,
			updated_at = clock_timestamp()
		WHERE id = $1 AND attempt = $2 AND state = 'running' RETURNING cancel_wanted`, c.id, c.attempt, q.cfg.Lease, fraction, words).Scan(&cancel)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, errTaken
	}
	return cancel, err
}

// writeEnd writes what came of the attempt, in one transaction with the end of the
// job; errTaken when the operation is not this server's any more. It goes on trying
// while the database does not answer.
func (q *Queue) writeEnd(ctx context.Context, c *claim, e end, job *river.Job[postgres.OperationJob]) error {
	for {
		err := q.cfg.Store.Work(ctx, func(ctx context.Context, t pgx.Tx) error { return writeEnd(ctx, t, c, e, job) })
		if err == nil || errors.Is(err, errTaken) || !errors.Is(err, app.ErrBusy) {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(500 * time.Millisecond):
		}
	}
}

func writeEnd(ctx context.Context, t pgx.Tx, c *claim, e end, job *river.Job[postgres.OperationJob]) error {
	fraction, words := c.progress.get()
	if e.state == app.OperationSucceeded {
		fraction = 1
	}
	tag, err := t.Exec(ctx, `UPDATE operation SET state = $3, result = $4, failure = $5, losses = losses + $6::boolean::integer, fraction = $7, words = $8,
			lease_until = NULL, ended_at = CASE WHEN $3 <> 'queued' THEN clock_timestamp() END,
			version = version + 1, updated_at = clock_timestamp()
		WHERE id = $1 AND attempt = $2 AND state = 'running'`,
		c.id, c.attempt, string(e.state), e.result, e.failure, e.loss, fraction, words)
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return errTaken
	}
	if e.state == app.OperationQueued {
		return nil // the job is snoozed
	}
	if _, err = river.JobCompleteTx[*riverpgxv5.Driver](ctx, t, job); errors.Is(err, rivertype.ErrNotFound) {
		return nil // the queue took it for lost; the operation counts
	}
	return err
}
