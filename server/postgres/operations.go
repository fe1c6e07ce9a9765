package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"millbase/server/app"
)

// QueueSchema is the schema of the job queue's own tables.
const QueueSchema = "river"

// OperationJob is what the queue knows of an operation.
type OperationJob struct {
	ID string `json:"operation"`
}

// Kind implements river.JobArgs.
func (OperationJob) Kind() string { return "operation" }

var operationTable = &table[app.Operation]{
	name: "operation", noun: "operation", path: "operations",
	id:    func(o *app.Operation) string { return o.ID },
	setID: func(o *app.Operation, id string) { o.ID = id },
	columns: []column[app.Operation]{
		plain("kind", func(o *app.Operation) *string { return &o.Kind }),
		plain("request", func(o *app.Operation) *[]byte { return &o.Request }),
		plain("caller", func(o *app.Operation) *string { return &o.Caller }),
		plain("role", func(o *app.Operation) *app.Role { return &o.Role }),
		plain("state", func(o *app.Operation) *app.OperationState { return &o.State }),
		plain("fraction", func(o *app.Operation) *float64 { return &o.Fraction }),
		plain("words", func(o *app.Operation) *string { return &o.Words }),
		plain("cancel_wanted", func(o *app.Operation) *bool { return &o.CancelWanted }),
		plain("attempt", func(o *app.Operation) *int { return &o.Attempt }),
		plain("worker", func(o *app.Operation) *string { return &o.Worker }),
		plain("result", func(o *app.Operation) *[]byte { return &o.Result }),
		plain("failure", func(o *app.Operation) *[]byte { return &o.Failure }),
		instant("started_at", func(o *app.Operation) *time.Time { return &o.StartedAt }),
		instant("ended_at", func(o *app.Operation) *time.Time { return &o.EndedAt }),
	},
	filters: filters{"id": text("id"), "kind": text("kind"), "state": text("state"), "role": text("role")},
}

// operations implements app.OperationRepo.
type operations struct {
	repo[app.Operation]
	queue *river.Client[pgx.Tx]
	t     pgx.Tx
}

func (x *tx) Operations() app.OperationRepo {
	return operations{repo[app.Operation]{operationTable, x.t}, x.queue, x.t}
}

func (o operations) Create(ctx context.Context, v app.Operation) (app.Record[app.Operation], error) {
	rec, err := o.repo.Create(ctx, v)
	if err != nil {
		return rec, err
	}
	job, err := o.queue.InsertTx(ctx, o.t, OperationJob{v.ID}, nil)
	if err != nil {
		return rec, translate(err)
	}
	_, err = o.t.Exec(ctx, "UPDATE operation SET job = $2 WHERE id = $1", v.ID, job.Job.ID)
	return rec, translate(err)
}

func (o operations) Delete(ctx context.Context, id string) error {
	tag, err := o.t.Exec(ctx, "DELETE FROM operation WHERE id = $1", id)
	if err == nil && tag.RowsAffected() == 0 {
		return o.missing(id)
	}
	return translate(err)
}
