// Package money is exact money: a decimal amount in one currency.
//
// Nothing here rounds unless the call names the mode aloud. An amount is never
// a float64. Two currencies never meet by accident: adding them is an error,
// and the only way from one to the other is a Rate with its date.
//
// Money is a sum ("12.50 EUR"), PerKg a price or cost of one kilogram
// ("3.217 EUR/kg"). PerKg times a mass is exact, since a mass is whole
// milligrams; a sum divided by a mass is not, so that call asks for the number
// of decimal places and the rounding mode.
//
// Split shares a sum out so that the shares add up to the sum to the last cent.
package money
