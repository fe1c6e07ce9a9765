// Package formulationtest makes believable ink problems for tests and benches:
// invented lots of pigments, varnishes, oils, driers, waxes, additives and
// work-off, and the limits of an offset ink (common practice: 15 to 25 % pigment,
// 50 to 70 % varnish).
//
// Each problem is made around a hidden formula that meets it, so it has an
// answer; Impossible moves one limit out of reach. The same seed gives the same
// problem.
package formulationtest
