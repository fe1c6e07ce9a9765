// Package rpc is the gRPC face of the plant's book: one file per service, whose
// handlers only convert and call package app, and the chain of interceptors that
// every call passes, over TCP and from the gateway alike.
//
// # A call
//
// metrics, log, recovery, deadline, key, role, If-Match, rules of the request,
// errors, handler. The key comes before the rules, so that a stranger learns
// nothing from a refusal. Handlers return the errors of package app as they are;
// the table in errors.go turns them into a status with google.rpc details.
//
// # Converting
//
// A handler collects what is wrong with the fields of a request in a fields
// value and reports all of it at once:
//
//	f := &fields{}
//	quantity := f.mass("quantity_kg", req.GetQuantityKg())
//	lot := f.id("lot", req.GetLot(), lots)
//	if err := f.err(); err != nil {
//		return nil, err
//	}
//
// Resource names ("lots/l-1") are for the API, bare ids ("l-1") for the domain.
package rpc
