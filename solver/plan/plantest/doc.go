// Package plantest makes joint plans at random for tests and benchmarks: invented
// plants with the proportions of an ink plant's stock.
package plantest
