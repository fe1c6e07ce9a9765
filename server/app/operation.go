package app

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
)

// Operation is long work off the request: what was asked for, how far it is, and
// what came of it.
type Operation struct {
	ID      string // a UUID whose order is that of the starts
	Kind    string // the name of a Kind
	Request []byte
	Caller  string // id of the API key
	Role    Role   // of the caller
	State   OperationState

	Fraction     float64 // of the work, 0 to 1
	Words        string  // what is being done
	CancelWanted bool
	Attempt      int    // how often it was begun
	Worker       string // the server that has it

	Result  []byte // of what succeeded
	Failure []byte // of what failed or was cancelled

	StartedAt, EndedAt time.Time
}

// OperationState says where an operation is.
type OperationState string

// The states. What is succeeded, failed or cancelled has ended and never changes.
const (
	OperationQueued    OperationState = "queued"
	OperationRunning   OperationState = "running"
	OperationSucceeded OperationState = "succeeded"
	OperationFailed    OperationState = "failed"
	OperationCancelled OperationState = "cancelled"
)

// Ended reports whether nothing more comes.
func (s OperationState) Ended() bool { return s != OperationQueued && s != OperationRunning }

// Progress is told how far long work is: the fraction from 0 to 1, and what is
// being done in words. It is cheap to call, from any goroutine.
type Progress func(fraction float64, words string)

// tell is Progress for whom there may be nobody to tell.
func (p Progress) tell(fraction float64, words string) {
	if p != nil {
		p(fraction, words)
	}
}

// Kind is a kind of long work. Run gets the request as it was started with and
// makes the result; the caller stands in ctx. A cancelled ctx must end it soon. It
// may run more than once (a server was lost), so what it writes to the book it must
// write once by itself.
type Kind struct {
	Name string
	Run  func(ctx context.Context, request []byte, progress Progress) (result []byte, err error)
}

// OperationRepo keeps operations. Create also puts the operation into the job
// queue, in the same transaction.
type OperationRepo interface {
	Repo[Operation]
	Delete(ctx context.Context, id string) error
}

var operationsOf repoOf[Operation] = func(tx Tx) Repo[Operation] { return tx.Operations() }

// StartOperation starts long work for the caller, or answers the operation that
// the same request started before. check says what is wrong with the request, now
// rather than in the end.
func (b *Book) StartOperation(ctx context.Context, kind string, request []byte, req Request, check func(context.Context) error) (Record[Operation], error) {
	var rec Record[Operation]
	before, err := b.madeBefore(ctx, req, func(ctx context.Context, tx Tx, id string) (err error) {
		rec, err = tx.Operations().Get(ctx, id)
		return err
	})
	if before || err != nil {
		return rec, err
	}
	if err := check(ctx); err != nil {
		return rec, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return rec, err
	}
	caller := CallerOf(ctx)
	v := Operation{ID: id.String(), Kind: kind, Request: request, Caller: caller.Key, Role: caller.Role, State: OperationQueued}
	return createOnce(ctx, b, operationsOf, "operations", v.ID, v, req, func(context.Context, Tx) error { return nil })
}

// Operation reads one that the caller may see.
func (b *Book) Operation(ctx context.Context, id string) (Record[Operation], error) {
	rec, err := getOne(ctx, b, operationsOf, id)
	if err != nil {
		return rec, err
	}
	return rec, seesOperation(ctx, rec)
}

// seesOperation hides what another role started: its answer may say more than the
// caller's role may read.
func seesOperation(ctx context.Context, rec Record[Operation]) error {
	if role := CallerOf(ctx).Role; role != Admin && role != rec.Value.Role {
		return Faultf(ErrNotFound, "NOT_FOUND", "operations/"+rec.Value.ID, "there is no operation %q that your role may see", rec.Value.ID)
	}
	return nil
}

// Operations lists those that the caller may see, in the order they were started.
func (b *Book) Operations(ctx context.Context, q Query) ([]Record[Operation], error) {
	if role := CallerOf(ctx).Role; role != Admin {
		q.Where = append(q.Where, Condition{"role", "=", string(role)})
	}
	return listAll(ctx, b, operationsOf, q)
}

// CancelOperation ends what waits, and asks the server that runs it to stop; what
// has ended stays as it is. failure is what a cancelled operation answers.
func (b *Book) CancelOperation(ctx context.Context, id string, failure []byte) (Record[Operation], error) {
	var rec Record[Operation]
	err := b.changeOperation(ctx, id, func(ctx context.Context, tx Tx, now Record[Operation]) (err error) {
		rec = now
		if now.Value.State.Ended() || now.Value.CancelWanted {
			return nil
		}
		v := now.Value
		v.CancelWanted = true
		if v.State == OperationQueued {
			v.State, v.Failure, v.EndedAt = OperationCancelled, failure, b.clock()
		}
		rec, err = tx.Operations().Update(ctx, v, now.Version)
		return err
	})
	return rec, err
}

// DeleteOperation forgets one that has ended.
func (b *Book) DeleteOperation(ctx context.Context, id string) error {
	return b.changeOperation(ctx, id, func(ctx context.Context, tx Tx, now Record[Operation]) error {
		if !now.Value.State.Ended() {
			return Faultf(ErrNotReady, "OPERATION_NOT_ENDED", "operations/"+id, "operations/%s has not ended; cancel it first", id)
		}
		return tx.Operations().Delete(ctx, id)
	})
}

// changeOperation reads an operation and changes it in the same transaction, again
// when a server took it in between.
func (b *Book) changeOperation(ctx context.Context, id string, change func(context.Context, Tx, Record[Operation]) error) error {
	for {
		err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
			now, err := tx.Operations().Get(ctx, id)
			if err != nil {
				return err
			}
			if err := seesOperation(ctx, now); err != nil {
				return err
			}
			return change(ctx, tx, now)
		})
		if !errors.Is(err, ErrStale) || ctx.Err() != nil {
			return err
		}
	}
}

// waitStep is how often a waiting call looks.
const waitStep = 200 * time.Millisecond

// WaitOperation reads an operation when it has ended, or as it is when the time is
// over.
func (b *Book) WaitOperation(ctx context.Context, id string, within time.Duration) (Record[Operation], error) {
	timeout := time.NewTimer(within)
	defer timeout.Stop()
	for {
		rec, err := b.Operation(ctx, id)
		if err != nil || rec.Value.State.Ended() {
			return rec, err
		}
		select {
		case <-ctx.Done():
			return rec, ctx.Err()
		case <-timeout.C:
			return rec, nil
		case <-time.After(waitStep):
		}
	}
}
