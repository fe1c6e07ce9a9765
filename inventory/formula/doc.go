// Package formula is the plant's formula book: versioned formulas whose
// ingredients name a material or one lot, and the route of process steps by
// which the ink is made.
package formula
