// Package measured reads colour measurements from open formats: the keyword
// tables of CGATS.17 (ISO 28178), the XML of CxF3 (ISO 17972-1), and plain CSV
// with a wavelength at the head of each column. What can't be read is refused with
// the line and the reason; nothing is guessed but percent, which is told by
// values above 2.
package measured
