// Package storetest is the conformance suite of app.Store: what every
// implementation has to keep. Attacks on the ledger past the store, by whatever
// statements a client could send, are in the tests of package postgres.
package storetest
