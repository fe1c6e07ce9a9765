// Command millbase is the plant's book at the command line: tables for people,
// --json for programs.
//
// It is a client of the service and of nothing else: pure Go, without cgo. One
// file holds one subcommand, its help on top.
//
// Exit codes: 0 done; 1 refused or failed; 2 the command line is wrong; 3 there
// is no formula that meets the limits; 4 the server can't be reached.
package main
