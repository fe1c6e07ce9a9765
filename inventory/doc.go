// Package inventory holds what the plant's book is about: materials and the
// classes they fall into, suppliers, and the properties that a material or a
// lot carries. Lots, the ledger, netting, allocation and formulas live in the
// packages below.
//
// Nothing here knows of money (see package costing), of a database or of a wire
// format.
package inventory
