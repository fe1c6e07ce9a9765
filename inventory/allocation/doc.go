// Package allocation chooses the lots for a demand: first expired, first out.
//
// Only released lots with something free (on hand less reserved) that still
// last until the day of use are taken, the earliest expiry first, then the
// earliest received, then by id; a lot without an expiry date comes last
// (common practice). Every lot that was passed over is listed with the reason,
// and what is missing is reported as a shortfall, never as a negative.
package allocation
