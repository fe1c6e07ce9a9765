// Package matchtest makes problems for tests and benchmarks of matches: twelve
// invented base inks with smooth absorption bands, of the hues and strengths that
// pigments of their Colour Index names usually have, and random targets inside
// their gamut.
package matchtest
