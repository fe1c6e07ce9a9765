// Package figures writes masses, measured values and amounts of money for people:
// the same on a screen and on paper.
package figures
