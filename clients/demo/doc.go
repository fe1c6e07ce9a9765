// Package demo is an invented ink plant, Tarnbeck Ink Works, with everything
// that the main job needs: materials, lots that differ in strength, price and
// expiry, suppliers and offers, specifications, formulas, batches and orders.
//
// It is loaded through the public API, as a plant would load its own book. All
// dates are relative to the day it is loaded; all figures are drawn from one
// seed, so that two loads on one day are alike. Property values are plausible
// for the trade (common practice) and belong to no real material.
package demo
