// Package costing holds what money is about: prices, valuation of stock, the
// roll-up of a formula's cost, quotes, purchase orders and lead times. The work
// is done in the packages below. All money is exact decimal.
package costing
