// Package postgres keeps the plant's book in Postgres. It implements app.Store.
//
// # Aggregates
//
// Every aggregate has one file that lists its columns; table carries out get,
// list, create and update for all of them, with versions, filters and pages.
// Formulas (revisions) and the plant (one row) have their own statements.
//
// # The ledger
//
// The rules stand in package migrations and are enforced by Postgres, whatever
// client connects. Posting is set-based: a movement, its entries and its use of
// reservations go in by one statement, any number of movements at a time. Callers
// of Post that wait at the same moment are gathered: a writer takes all that
// wait, posts them by one statement (one round trip, one commit, one flush of the
// log) and answers each. When one of them breaks a rule, the set is split
// under savepoints until that one stands alone; only it is refused.
//
// An id that is posted again runs into the primary key; its content digest tells
// a replay, which is answered as before, from a reused id, which is refused.
//
// # Errors
//
// A driver error becomes an app error in one place (rules.go), by the name of
// the constraint. What it does not know stays as it is, for the log.
package postgres
