// Package optimisefuzz throws requests of every shape at the public optimise
// call, through the whole server: no crash, no hang, no fault of ours, and no
// answer that plain arithmetic on its own masses refutes. It has tests only.
//
//	go test ./server/internal/optimisefuzz -fuzz FuzzOptimise -fuzztime 10m
package optimisefuzz
