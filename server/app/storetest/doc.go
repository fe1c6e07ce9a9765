// Package storetest is the conformance suite of app.Store: what every
// implementation has to keep. Run runs it; SQL runs the part that attacks the
// ledger past the store, by whatever statements a client could send.
package storetest
