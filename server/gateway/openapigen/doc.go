// Command openapigen turns the OpenAPI 2 document that protoc-gen-openapiv2
// writes into the OpenAPI 3 document that the gateway serves at /openapi.json.
//
//	go run ./server/gateway/openapigen -in millbase.swagger.json -out openapi.json
//
// The gateway's own generator for version 3 is alpha; its generator for
// version 2 and the converter of kin-openapi are kept and tested. On the way
// the program fills in what no .proto says (title, server, the API key) and
// validates the result, so that a document that tools would refuse is never
// committed. The same input gives the same bytes.
package main
