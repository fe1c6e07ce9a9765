// Package crashtest kills the server, again and again, while many clients post
// to the ledger, and holds the book to its word afterwards: no acknowledged
// movement is lost, none is applied twice, no balance is negative, and the
// balances agree with the ledger. It also kills the server that works on an
// operation, and sees that another one does it, once. It has tests only.
package crashtest
