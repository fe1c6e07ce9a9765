// Package serve puts a book on the network: gRPC on one address, REST on
// another, both through one chain of interceptors and into the same metrics. It
// is what the command millbased and the tests start.
package serve
