// Package app holds the use cases of the plant's book, one file per use case. It
// owns the Store interface, the clock and the errors; it knows nothing of gRPC
// or SQL. Package postgres implements Store, package rpc calls the use cases.
package app
