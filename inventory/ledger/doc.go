// Package ledger is the stock ledger: double-entry and append-only.
//
// A Movement has entries that sum to zero over accounts: a lot at a location, a
// supplier, a batch in process, scrap, count difference, a customer. Corrections
// are reversals. A movement carries an id chosen by the client: posting the same
// id with the same content again is answered as before, with other content it is
// refused.
//
// The constructors (NewReceipt, NewIssue, ...) are the only way to build a movement, so
// that an unbalanced one can't be written by accident; the database refuses one
// all the same.
package ledger
