// Package property is the catalogue of what can be known about a material: each
// property has one unit (the last words of its name) and a rule by which it
// blends.
//
// # How a property blends
//
// The value of a blend of masses x (kg) is
//
//	value = f^-1( sum b_j x_j f(p_j) / sum b_j x_j )
//
// where f is the property's Index (a monotone function) and b_j the amount of
// Basis per kg of component j: 1 for mass, 1/density for volume, or the value of
// another property. So a limit on the value is a linear limit on the masses.
//
// # Keys
//
// A value is kept under a key: the property's name, and for a property that is
// kept per pigment or per metal the name, a slash and the qualifier:
// "density_kg_per_l", "pigment_fraction/PB15:3", "metal_fraction/cobalt".
package property
