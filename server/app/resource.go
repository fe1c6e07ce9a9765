package app

import (
	"context"
	"errors"
)

// repoOf picks the repository of an aggregate in a transaction.
type repoOf[T any] func(Tx) Repo[T]

// createOnce adds a value, or answers what the same request made before. check
// looks at what the value refers to, in the same transaction.
func createOnce[T any](ctx context.Context, b *Book, repo repoOf[T], collection, id string, v T, req Request, check func(context.Context, Tx) error) (Record[T], error) {
	var rec Record[T]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, id)
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = repo(tx).Get(ctx, seen)
			return err
		}
		if err := check(ctx, tx); err != nil {
			return err
		}
		rec, err = repo(tx).Create(ctx, v)
		return taken(err, collection+"/"+id)
	})
	return rec, err
}

// errSeen ends a transaction that has only asked whether a request was seen.
var errSeen = errors.New("only asked")

// madeBefore reads what the same request made before, if it did; it leaves nothing
// behind.
func (b *Book) madeBefore(ctx context.Context, req Request, read func(ctx context.Context, tx Tx, id string) error) (bool, error) {
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, "")
		if err != nil {
			return err
		}
		if seen == "" {
			return errSeen
		}
		return read(ctx, tx, seen)
	})
	if errors.Is(err, errSeen) {
		return false, nil
	}
	return err == nil, err
}

// getOne reads one value.
func getOne[T any](ctx context.Context, b *Book, repo repoOf[T], id string) (Record[T], error) {
	var rec Record[T]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		rec, err = repo(tx).Get(ctx, id)
		return err
	})
	return rec, err
}

// listAll reads a page of values.
func listAll[T any](ctx context.Context, b *Book, repo repoOf[T], q Query) ([]Record[T], error) {
	var recs []Record[T]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		recs, err = repo(tx).List(ctx, q)
		return err
	})
	return recs, err
}

// changeOne reads a value, has it changed, checks and writes it in one
// transaction. version is the one that the caller read; 0 takes the newest.
func changeOne[T any](ctx context.Context, b *Book, repo repoOf[T], name, id string, version int64,
	change func(Record[T]) (T, error), check func(context.Context, Tx, T) error) (Record[T], error) {
	var rec Record[T]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		now, err := repo(tx).Get(ctx, id)
		if err != nil {
			return err
		}
		if version != 0 && version != now.Version {
			return stale(name)
		}
		v, err := change(now)
		if err != nil {
			return err
		}
		if err := check(ctx, tx, v); err != nil {
			return err
		}
		rec, err = repo(tx).Update(ctx, v, now.Version)
		return err
	})
	return rec, err
}

func stale(name string) error {
	return Faultf(ErrStale, "STALE_ETAG", name, "%s was changed since you read it; read it again, and send the change with the new etag", name)
}
