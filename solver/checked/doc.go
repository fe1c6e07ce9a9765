// Package checked is the engine that the rest of the house calls: it solves
// with one engine, has the answer checked by package certify, and if the check
// fails asks a second engine and has that answer checked. No engine's answer
// is trusted; an answer that comes back from here without an error was proven,
// or says that it was stopped.
package checked
