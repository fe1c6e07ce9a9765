// Package apart runs an engine in processes of its own, so that a crash or a
// hang inside a solver library takes down neither the caller nor other solves.
//
// The caller's own program serves as the worker: run with one hidden argument,
// it does nothing but answer questions by Serve. Questions and answers go over
// pipes in Go's gob encoding. Workers are kept warm between solves. One that
// dies is replaced; if it had solved before, the solve is tried once more by a
// fresh one, and a solve that kills a fresh one is an error. One that does not
// come back in time, or does not obey a cancel, is killed and replaced.
package apart
