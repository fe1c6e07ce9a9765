// Package archtest keeps the shape of the house: which folder may import which,
// what the domain may not do, how long a file or a function may be, that every
// package explains itself.
//
// [Load] reads a source tree without building it. Each [Rule] looks at the
// whole tree and returns what breaks it, with the place and what to change. The
// test of this package applies every rule to this repository, and shows on a
// small bad tree that every rule catches what it is there for.
//
// To add a folder, give it a row in [Arrows].
package archtest
