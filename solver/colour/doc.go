// Package colour is the colour science of a printing ink: from a reflectance
// curve to tristimulus values, CIELAB and colour differences, and from the
// absorption and scattering of base inks to the curve of their mixture.
//
// # Curves
//
// A Curve is a spectral reflectance factor on an even grid of wavelengths, 380 to
// 730 nm at 10 or 20 nm as hand-held spectrophotometers give it. 1 is the perfect
// diffuser.
//
// # From curve to colour
//
// Tristimulus values are sums over weights (ASTM E308), worked out from the CIE
// observers and illuminants by the method of ASTM E2022: the curve is interpolated
// to 1 nm by Lagrange's polynomials and summed there, and the weights are what each
// measured value contributes. Where an instrument's range ends early, the weights
// beyond it go to its last value, as E308 has it.
//
// # From mixture to curve
//
// Kubelka and Munk's theory: the ratio of absorption K to scattering S of a film
// that hides what is below it is (1-R)^2/2R of its reflectance R. An offset ink is
// a translucent film on a stock that scatters for it, so one constant per ink is
// enough: the K/S of the print is that of the stock plus, per base ink, the
// concentration times a unit K/S (Film). An opaque mixture, or one in white, takes
// two constants per component: the sum of the K over the sum of the S (Opaque).
// Saunderson's correction takes the reflection at the surface out of a measured
// curve before, and puts it back after.
//
// The predictions are as good as the drawdowns that the constants were fitted to,
// and no better: a drawdown of the mixture decides.
package colour
