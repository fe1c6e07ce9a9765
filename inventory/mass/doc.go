// Package mass is exact mass: whole milligrams in an int64.
//
// At the edge a mass is a number of kilograms that must be a whole number of
// milligrams; anything finer is refused, never rounded silently.
package mass
