// Package gateway is the REST face of the plant's book: grpc-gateway in the same
// process, on an in-process channel that runs every call through the same chain
// of interceptors as gRPC over TCP.
//
//	/v1/...         the API, described by /openapi.json
//	/openapi.json   OpenAPI 3, open to all
//	/healthz        200 as long as the process serves
//	/readyz         200 as long as the database answers too
//	/metrics        Prometheus; counts, never contents
//
// Errors are application/problem+json (RFC 9457) with the code, the reason and
// the field violations of the gRPC status. JSON names are the names of the
// .proto files; unknown ones are refused.
//
// A resource with an etag carries it in the ETag header, with a digest of what
// was shown behind a dot, since some of what is shown (stock, costs) can differ
// while the resource stays as it is. If-None-Match answers 304; If-Match makes a
// change conditional, as the etag field does.
package gateway
